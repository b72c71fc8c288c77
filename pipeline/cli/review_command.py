"""`pipeline review`: the review since the last one, and the record that it took place."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli.asking import Asker
from pipeline.cli.bench_step import Desk, add_bench_options, offer_commit
from pipeline.cli.options import show_lines
from pipeline.cli.program import EXIT_CLEAN, EXIT_FINDINGS

if TYPE_CHECKING:
    from pipeline.writing.plans import Plan

NEW_FILE = "# Reviews that took place, oldest first: the next one starts from the commit that the last one looked at.\n"


@click.command("review")
@click.option("--close", is_flag=True, help="Record that the review took place: who, on which day, up to which commit.")
@click.option("--by", metavar="ID", help="Who held it (an id of shared/people.yaml).")
@click.option("--note", metavar="TEXT", help="A line to remember it by.")
@add_bench_options
def command(close: bool, by: str | None, note: str | None, desk: Desk) -> int:
    """Show what moved since the last review; with --close, record in shared/reviews.yaml that it took place.

    The commit that is checked out is recorded with it: the next review starts there, and a history that no longer holds
    it is reported as rewritten. The change is shown and asked for before it is written.

    \b
    pipeline review --close --by ito
    """
    from pipeline.cli.since_command import build_page
    from pipeline.findings.report import render_json
    from pipeline.views.review_terminal import build_review_dict, render_review

    if close:
        return _close(desk, by, note)
    page = build_page(desk.root, desk.today)
    if desk.as_json:
        click.echo(render_json(build_review_dict(page)))
        return EXIT_CLEAN
    show_lines(render_review(page))
    click.echo("\nWhen it has taken place: pipeline review --close")
    return EXIT_CLEAN


def _close(desk: Desk, by: str | None, note: str | None) -> int:
    """Work the entry out, show it, ask, write it, offer the commit."""
    from pipeline.findings.report import render_json
    from pipeline.writing.locks import LockedError
    from pipeline.writing.plans import ChangedMeanwhileError, render_diff, write_plan

    asker = desk.build_asker()
    entry, notes = _build_entry(desk, asker, by, note)
    plan = _plan(desk.root, entry)
    if not desk.as_json:
        for line in notes:
            click.echo(line)
        show_lines(render_diff(plan).splitlines())
    if desk.dry_run or (not desk.yes and not (desk.interactive and asker.confirm("Write this?", default=True))):
        click.echo("Nothing was written." if not desk.dry_run else "Nothing was written (--dry-run).", err=desk.as_json)
        return EXIT_CLEAN
    try:
        paths = write_plan(desk.root, plan, "reviews")
    except (ChangedMeanwhileError, LockedError, OSError) as error:
        click.echo(f"refused: {error}\nNothing was written.", err=True)
        return EXIT_FINDINGS
    if desk.as_json:
        plain = {key: str(value) for key, value in entry.items()}
        click.echo(render_json({"format": "repro-pipeline review closed 1", "files": list(paths), "review": plain}))
        return EXIT_CLEAN
    click.echo(f"Wrote {', '.join(paths)}.")
    offer_commit(desk, paths, f"Review of {entry['on']}")
    return EXIT_CLEAN


def _build_entry(desk: Desk, asker: Asker, by: str | None, note: str | None) -> tuple[dict[str, object], list[str]]:
    """Return the entry, and what should be known before it is written."""
    from pipeline.cli.answers import parse_text
    from pipeline.cli.options import take_parts
    from pipeline.history.repository import open_repository
    from pipeline.reading.reviews import read_reviews

    portfolio, _ = take_parts(desk.root, desk.today, ())
    assert portfolio.workspace is not None
    _, problems = read_reviews(desk.root)
    if problems:
        first = problems[0]
        raise click.UsageError(f"{first.location}: {first.message}. Mend shared/reviews.yaml first: {first.fix}.")
    people = portfolio.workspace.catalogues.people.people
    who = asker.take_choice(by, "--by", "Who held the review", people, default=_find_me(desk.root, people))
    said = asker.take(note, "--note", "A line to remember it by", parse_text, optional=True) if note else None
    asker.refuse_missing()
    opened = open_repository(desk.root)
    head = None if opened.repository is None else opened.repository.head
    notes = [f"note: {c.message}. To mend it: {c.fix}." for c in opened.conditions]
    if head is None:
        notes.append("note: no commit is recorded with the review, so the next one goes by its day alone.")
    day: dt.date = desk.day or portfolio.workspace.today
    entry: dict[str, object] = {"on": day, "by": who, "head": head, "note": said}
    return {key: value for key, value in entry.items() if value is not None}, notes


def _find_me(root: Path, people: object) -> str | None:
    from pipeline.history.user import read_user_email

    email = (read_user_email(root) or "").casefold()
    known = people if isinstance(people, dict) else {}
    return next((key for key, person in known.items() if email in {one.casefold() for one in person.emails}), None)


def _plan(root: Path, entry: dict[str, object]) -> Plan:
    """Return the plan that adds a review at the end of shared/reviews.yaml, and makes the file where there is none."""
    from pipeline.reading.reviews import REVIEWS
    from pipeline.writing.encoding import edit_bytes
    from pipeline.writing.flow_text import render_flow
    from pipeline.writing.plans import Plan, PlannedFile, read_bytes_if_there
    from pipeline.writing.records import append_item

    try:
        before = read_bytes_if_there(root, REVIEWS)
    except OSError as error:
        raise click.UsageError(str(error)) from None
    if before is None or not before.strip():
        after = f"{NEW_FILE}reviews:\n  - {render_flow(entry)}\n".encode()
    else:
        after = edit_bytes(before, lambda old: append_item(old, "reviews", entry, ("reviews",)))
    return Plan((PlannedFile(REVIEWS, before, after),))
