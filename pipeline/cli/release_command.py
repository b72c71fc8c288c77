"""`pipeline release`: the owner's release of tooling money."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from pipeline.cli.attach_studies import take_person
from pipeline.cli.bench_step import Desk, add_bench_options, run_step, take_near

if TYPE_CHECKING:
    from pipeline.portfolio.near import Near
    from pipeline.portfolio.proposal import Draft


@click.command("release")
@click.argument("part")
@click.option("--by", metavar="ID", help="Who releases the money; the role is checked against shared/gates.yaml.")
@click.option("--second", metavar="ID", help="Second signature, where the policy wants one.")
@click.option("--why", metavar="TEXT", help="Why now.")
@add_bench_options
def command(part: str, desk: Desk, by: str | None, second: str | None, why: str | None) -> int:
    """Release the money for the tooling of PART, and print the sheet to sign.

    Refused, with every blocker, unless each earlier gate is proven today: nobody signs for a tool on evidence that is
    missing, stale or weak. With --dry-run the sheet is printed and nothing is written.
    """
    from pipeline.cli.answers import parse_text

    near = take_near(desk, part)
    asker = desk.build_asker()
    policy = near.catalogues.gates.release
    by = take_person(asker, near, by, "--by", f"Who releases ({' or '.join(policy.decided_by)})", default=None)
    if policy.second_signature:
        second = take_person(asker, near, second, "--second", "Second signature", default=None)
    reason = asker.take(why, "--why", "Why now", parse_text, optional=True)
    asker.refuse_missing()
    entry = {
        "release": "tooling", "on": desk.day or near.today, "by": by, "second": second, "say": "go", "why": reason,
    }  # fmt: skip
    return run_step(desk, "release", part, lambda n: _build_draft(n, entry), near)


def _build_draft(near: Near, entry: dict[str, Any]) -> Draft:
    from pipeline.model.part import Decision
    from pipeline.model.words import Say
    from pipeline.portfolio.deciding import find_release_blockers
    from pipeline.portfolio.entries import keep_given
    from pipeline.portfolio.proposal import Draft
    from pipeline.views.bench import build_release_sheet
    from pipeline.writing.records import append_item

    assert near.part is not None
    given = keep_given(entry)
    decision = Decision.model_validate({**given, "say": Say.GO})
    blockers = find_release_blockers(near, decision)
    notes = () if blockers else tuple(build_release_sheet(near.build_part_file(), decision))
    pointer = ("decisions", len(near.part.decisions))
    return Draft(
        lambda text: append_item(text, "decisions", given), (pointer,), "tooling released", refusals=blockers,
        notes=notes,
    )  # fmt: skip
