"""`pipeline revise`: a new issue of the model, and what it makes stale, before anything is written."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipeline.cli.asking import Asker
from pipeline.cli.attach_studies import take_person
from pipeline.cli.bench_step import Desk, add_bench_options, run_step, take_near

if TYPE_CHECKING:
    from pipeline.portfolio.near import Near
    from pipeline.portfolio.proposal import Draft


@click.command("revise")
@click.argument("part")
@click.argument("file", required=False, type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--changed", metavar="F,...", help="Features that it changed against the revision before.")
@click.option("--why", metavar="TEXT", help="Why it was changed.")
@click.option("--from", "origin", metavar="ID,...", help="Measurements it was modelled from.")
@click.option("--by", metavar="ID", help="Who modelled it.")
@click.option("--as", "name", metavar="ID", help="Id of the revision; the next letter, if left out.")
@click.option("--hours", metavar="N", help="Hours that it took.")
@click.option("--no-effect", metavar="ID,...", help="Evidence that stays good in spite of the change, e.g. F1,F2.")
@click.option("--no-effect-features", metavar="F,...", help="Changed features that it speaks of; all, if left out.")
@click.option("--no-effect-why", metavar="TEXT", help="Why the change does not touch that evidence.")
@click.option("--seen-by", metavar="ID", help="Another person, who looked at the statement.")
@add_bench_options
def command(part: str, file: Path | None, desk: Desk, **flags: str | None) -> int:
    """Issue a revision of PART with its model FILE. Name the features that it changed.

    What goes stale and what that costs is shown before anything is written. Where evidence is claimed to stay good, a
    signed no-effect statement is asked for: which features, which evidence, why, by whom, seen by whom.
    """
    from pipeline.cli.answers import parse_key, parse_not_negative, parse_some_of, parse_text

    near = take_near(desk, part)
    record, lineage = near.part, near.lineage
    assert record is not None and lineage is not None
    asker = desk.build_asker()
    is_first = not record.revisions
    changed: list[str] | None = None
    effect: tuple[str, ...] = ()
    if not is_first:
        changed = asker.take(
            flags["changed"], "--changed", f"Features changed against {lineage.current} ({', '.join(record.features)})",
            parse_some_of(record.features, "feature"),
        )  # fmt: skip
        if changed:
            effect = show_effect(near, changed, quiet=desk.as_json)
    why = asker.take(flags["why"], "--why", "Why", parse_text, optional=is_first)
    measured = ",".join(record.measurements) if is_first else None
    origin = asker.take(
        flags["origin"], "--from", "Modelled from which measurements",
        parse_some_of(record.measurements, "measurement"), optional=True, default=measured or None,
    )  # fmt: skip
    by = take_person(asker, near, flags["by"], "--by", "Who modelled it")
    name = asker.take(flags["name"], "--as", "Id", parse_key, optional=True) if flags["name"] else None
    hours = asker.take(flags["hours"], "--hours", "Hours it took", parse_not_negative, optional=True)
    statement = take_statement(asker, near, changed, by, flags, desk.day or near.today)
    asker.refuse_missing()
    entry = {
        "on": desk.day or near.today, "by": by, "file": None, "from": origin, "changed": changed, "why": why,
        "no_effect": [statement] if statement else None, "hours": hours,
    }  # fmt: skip
    return run_step(desk, "revise", part, lambda n: _build_draft(n, name, file, entry, effect), near)


def show_effect(near: Near, changed: list[str], *, quiet: bool) -> tuple[str, ...]:
    """Show what a change makes stale and what that costs; where nothing may be shown yet, return it for the answer."""
    from pipeline.views.bench import render_effect

    lines = tuple(render_effect(near.build_part_file(), changed))
    if quiet:
        return lines
    click.echo("\n".join(lines))
    return ()


def take_statement(
    asker: Asker, near: Near, changed: list[str] | None, by: str | None, flags: dict[str, str | None], day: dt.date
) -> dict[str, Any] | None:
    """Ask which evidence stays good in spite of the change; where one is claimed, ask for the signed statement."""
    from pipeline.cli.answers import parse_some_of, parse_text
    from pipeline.views.bench import find_stale_to_be

    affected = [node.rpartition(".")[2] for node in find_stale_to_be(near.build_part_file(), changed or [])]
    if not changed or (not affected and flags["no_effect"] is None):
        return None
    keeps = asker.take(
        flags["no_effect"], "--no-effect", f"Which of these stays good all the same: {', '.join(affected)}",
        parse_some_of(affected, "piece of evidence"), optional=True,
    )  # fmt: skip
    if keeps is None:
        return None
    features = asker.take(
        flags["no_effect_features"], "--no-effect-features", "For which changed features",
        parse_some_of(changed, "changed feature"), default=",".join(changed),
    )  # fmt: skip
    reason = asker.take(flags["no_effect_why"], "--no-effect-why", "Why does the change not touch it", parse_text)

    def parse_other(text: str) -> str:
        from pipeline.cli.asking import choose

        found = choose(text, list(near.catalogues.people.people))
        if found == by:
            raise ValueError(f"{found} signs the statement; another person must have seen it")
        return found

    seen_by = asker.take(flags["seen_by"], "--seen-by", "Seen by which other person", parse_other)
    return {"features": features, "keeps": keeps, "by": by, "on": day, "why": reason, "seen_by": seen_by}


def _build_draft(
    near: Near, name: str | None, file: Path | None, entry: dict[str, Any], effect: tuple[str, ...]
) -> Draft:
    from pipeline.portfolio.attaching import attach_several
    from pipeline.portfolio.entries import find_next_revision, keep_given
    from pipeline.portfolio.proposal import Draft
    from pipeline.writing.records import insert_entry

    assert near.part is not None
    attachments, notes = attach_several(near, () if file is None else (file,))
    notes = (*effect, *notes)
    key = name or find_next_revision(near.part)
    given = keep_given({**entry, "file": attachments[0].path if attachments else None})
    if not attachments:
        notes = (*notes, "no model file: the model gate wants one (`pipeline attach --to` names it later)")
    changed = f", changed {', '.join(entry['changed'])}" if entry["changed"] else ""
    return Draft(
        lambda text: insert_entry(text, "revisions", key, given), (("revisions", key),), f"revision {key}{changed}",
        tuple(attachments), notes=notes,
    )  # fmt: skip
