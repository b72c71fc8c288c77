"""`pipeline loop`: what is probably still wrong with a part, and whether one more loop pays."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import click

from pipeline.cli.options import add_workspace_options, show_lines, take_parts, take_workspace


@click.command("loop")
@click.argument("part")
@add_workspace_options
@click.option("--json", "as_json", is_flag=True, help="The same answers for a program, numbers unrounded.")
def command(part: str, workspace: Path | None, today: dt.date | None, as_json: bool) -> int:
    """Show the errors that are probably left in PART, by failure mode, and whether one more loop pays."""
    portfolio, numbers = take_parts(take_workspace(workspace), today, (part,))
    file = portfolio.parts[numbers[0]]
    from pipeline.views.loop import build_loop_json, render_loop

    if as_json:
        import json

        click.echo(json.dumps(build_loop_json(file), indent=2, ensure_ascii=False, allow_nan=False))
    else:
        show_lines(render_loop(file))
    return 0
