"""`pipeline ladder`: what one change costs, by the stage at which it is found."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import click

from pipeline.cli.options import add_workspace_options, show_lines, take_feature, take_parts, take_workspace


@click.command("ladder")
@click.argument("part")
@add_workspace_options
@click.option("--feature", "-f", metavar="ID", help="One feature instead of the whole part.")
def command(part: str, workspace: Path | None, today: dt.date | None, feature: str | None) -> int:
    """Show what one change to PART costs at each of the nine stages, and if it is found today."""
    from pipeline.views.change_cost import render_ladder

    portfolio, numbers = take_parts(take_workspace(workspace), today, (part,))
    file = portfolio.parts[numbers[0]]
    if feature is not None:
        take_feature(file.part, feature)
    show_lines(render_ladder(file, feature))
    return 0
