"""`pipeline impact`: what a change drags along, in which order, in how many weeks, at what cost."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import click

from pipeline.cli.options import add_workspace_options, show_lines, take_feature, take_parts, take_workspace
from pipeline.model.words import LadderStage


@click.command("impact")
@click.argument("part")
@click.argument("features", nargs=-1, required=True, metavar="FEATURE...")
@add_workspace_options
@click.option(
    "--found",
    type=click.Choice([stage.value for stage in LadderStage]),
    help="Suppose it is found at this stage instead of today.",
)
def command(
    part: str, features: tuple[str, ...], workspace: Path | None, today: dt.date | None, found: str | None
) -> int:
    """Preview a change to FEATURE... of PART. Nothing is written."""
    from pipeline.costing.impact import compute_impact
    from pipeline.costing.paths import Cycle
    from pipeline.costing.stages import parse_stage
    from pipeline.views.change_cost import render_impact

    portfolio, numbers = take_parts(take_workspace(workspace), today, (part,))
    file = portfolio.parts[numbers[0]]
    for feature in features:
        take_feature(file.part, feature)
    basis = file.basis
    if isinstance(basis, Cycle):
        raise click.UsageError(f"{part}: {basis.message}")
    impact = compute_impact(basis, features, None if found is None else parse_stage(found))
    show_lines(render_impact(file, impact))
    return 0
