"""`pipeline next`: the shortest way to the next gate, for one part, one engineer, or all."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import click

from pipeline.cli.options import add_workspace_options, show_lines, take_parts, take_workspace


@click.command("next")
@click.argument("parts", nargs=-1, metavar="[PART]...")
@add_workspace_options
@click.option("--engineer", "-e", metavar="ID", help="Only the parts of this engineer (an id of shared/people.yaml).")
@click.option("--limit", default=3, show_default=True, type=click.IntRange(1, 100), help="Most steps shown a part.")
def command(
    parts: tuple[str, ...], workspace: Path | None, today: dt.date | None, engineer: str | None, limit: int
) -> int:
    """Say what is missing for the next gate, and what would put it there.

    Hold calls come first, then stale gates, then what is ready for a decision, then the rest.
    """
    from pipeline.views.next_steps import build_next_lines

    portfolio, numbers = take_parts(take_workspace(workspace), today, parts)
    people = portfolio.workspace.catalogues.people.people if portfolio.workspace else {}
    if engineer is not None and engineer not in people:
        raise click.UsageError(f"There is no person {engineer!r}; shared/people.yaml has {', '.join(sorted(people))}.")
    lines = build_next_lines(portfolio, numbers, engineer, limit)
    show_lines(lines)
    if not lines:
        click.echo("Nothing to do: every part looked at is released, dropped or waits for nobody here.")
    return 0
