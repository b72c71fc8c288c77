"""`pipeline case`: what a part is worth, how sure that is, and what drives it."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import click

from pipeline.cli.options import add_workspace_options, show_lines, take_parts, take_workspace


@click.command("case")
@click.argument("part")
@add_workspace_options
@click.option("--json", "as_json", is_flag=True, help="The same answers for a program, numbers unrounded.")
@click.option("--seed", type=click.IntRange(0), help="With --json: seed of the simulation, if not the pages' own.")
@click.option("--draws", type=click.IntRange(1, 1_000_000), help="With --json: how many worlds, if not the pages' own.")
def command(
    part: str, workspace: Path | None, today: dt.date | None, as_json: bool, seed: int | None, draws: int | None
) -> int:
    """Show the case of PART: worth, internal rate, payback, chance of a loss, and what drives them."""
    if not as_json and (seed is not None or draws is not None):
        raise click.UsageError("--seed and --draws go with --json; the pages keep their own, so that they agree.")
    portfolio, numbers = take_parts(take_workspace(workspace), today, (part,))
    file = portfolio.parts[numbers[0]]
    from pipeline.views.case import build_case_json, render_case

    if as_json:
        import json

        from pipeline.portfolio.case import DRAWS, SEED

        answer = build_case_json(file, DRAWS if draws is None else draws, SEED if seed is None else seed)
        click.echo(json.dumps(answer, indent=2, ensure_ascii=False, allow_nan=False))
    else:
        show_lines(render_case(file))
    return 0
