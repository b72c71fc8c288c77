"""`pipeline waive`: a requirement set aside, with a reason, a name and an end."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

import click

from pipeline.cli.attach_studies import take_person
from pipeline.cli.bench_step import Desk, add_bench_options, run_step, take_near

if TYPE_CHECKING:
    from pipeline.portfolio.near import Near
    from pipeline.portfolio.proposal import Draft

EVENTS = ("before metal is cut", "first article")


@click.command("waive")
@click.argument("part")
@click.argument("requirement", required=False)
@click.option("--until", metavar="DAY|EVENT", help=f"A day, or one of: {', '.join(EVENTS)}.")
@click.option("--by", metavar="ID", help="Who sets it aside.")
@click.option("--risk", metavar="ID", help="Who carries the risk; another person.")
@click.option("--exposure", metavar="MONEY", help="Greatest loss if it goes wrong, e.g. 9600 USD.")
@click.option("--instead", metavar="TEXT", help="What is checked instead.")
@click.option("--why", metavar="TEXT", help="Why it is set aside.")
@add_bench_options
def command(part: str, requirement: str | None, desk: Desk, **flags: str | None) -> int:
    """Set REQUIREMENT of PART aside (e.g. fit-check.coverage) until a day or an event.

    What cannot be waived is refused: safety tests, a wrong revision, a missing second signature, and whatever else
    shared/gates.yaml lists.
    """
    from pipeline.cli.answers import parse_money, parse_text

    near = take_near(desk, part)
    assert near.standing is not None
    asker = desk.build_asker()
    open_ones = [r.id for standing in near.standing.gates.values() for r in standing.open_requirements]
    name = asker.take(requirement, "REQUIREMENT", f"Which requirement (open: {', '.join(open_ones)})", parse_text)
    _refuse_at_once(near, name)
    entry = {
        "of": name,
        "on": desk.day or near.today,
        "until": asker.take(flags["until"], "--until", f"Until (a day, or {' / '.join(EVENTS)})", parse_until),
        "by": take_person(asker, near, flags["by"], "--by", "Who sets it aside"),
        "risk": take_person(asker, near, flags["risk"], "--risk", "Who carries the risk", default=None),
        "exposure": asker.take(flags["exposure"], "--exposure", "Greatest loss (9600 USD)", parse_money),
        "instead": asker.take(flags["instead"], "--instead", "What is checked instead", parse_text),
        "why": asker.take(flags["why"], "--why", "Why", parse_text),
    }
    asker.refuse_missing()
    return run_step(desk, "waive", part, lambda n: _build_draft(n, entry), near)


def parse_until(text: str) -> dt.date | str:
    """Return a day or an event."""
    from pipeline.cli.answers import parse_day

    if text.strip() in EVENTS:
        return text.strip()
    try:
        return parse_day(text)
    except ValueError:
        raise ValueError(f'"{text}" is neither a day (2027-01-31) nor one of: {", ".join(EVENTS)}') from None


def _refuse_at_once(near: Near, name: str | None) -> None:
    """A person who names what cannot be waived is told before six more questions."""
    if name is not None and name in near.catalogues.gates.cannot_be_waived:
        click.echo(f"refused: {name} cannot be waived (shared/gates.yaml)", err=True)
        raise click.exceptions.Exit(1)


def _build_draft(near: Near, entry: dict[str, Any]) -> Draft:
    from pydantic import ValidationError

    from pipeline.model.part import Waiver
    from pipeline.portfolio.deciding import find_waiver_faults
    from pipeline.portfolio.proposal import Draft
    from pipeline.writing.records import append_item

    assert near.part is not None
    try:
        waiver = Waiver.model_validate(entry)
    except ValidationError as error:
        raise ValueError(error.errors(include_url=False)[0]["msg"]) from None
    faults = tuple(find_waiver_faults(near, waiver))
    pointer = ("waivers", len(near.part.waivers))
    subject = f"{waiver.of} waived until {waiver.until}"
    return Draft(lambda text: append_item(text, "waivers", entry), (pointer,), subject, refusals=faults)
