"""`pipeline quotes`: the quotes of a part on one footing; without a part, those that need the buyer."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import click

from pipeline.cli.options import add_workspace_options, show_lines, take_parts, take_workspace


@click.command("quotes")
@click.argument("part", required=False)
@add_workspace_options
@click.option(
    "--days", type=click.IntRange(0, 3650), help="Without PART: days to look ahead; the shop's own, if left out."
)
@click.option("--json", "as_json", is_flag=True, help="The same answers for a program, money to the cent.")
def command(part: str | None, workspace: Path | None, today: dt.date | None, days: int | None, as_json: bool) -> int:
    """Compare the quotes of PART on one footing. Without PART: the quotes that run out, or that no longer stand."""
    if part is not None and days is not None:
        raise click.UsageError("--days goes with the list of all quotes: leave PART out.")
    portfolio, numbers = take_parts(take_workspace(workspace), today, () if part is None else (part,))
    from pipeline.views.buyer import build_buyer_json, build_buyer_section
    from pipeline.views.quotes import build_quotes_json, render_quotes
    from pipeline.views.terminal_sections import render_sections

    if as_json:
        import json

        answer = build_buyer_json(portfolio, days) if part is None else build_quotes_json(portfolio.parts[numbers[0]])
        click.echo(json.dumps(answer, indent=2, ensure_ascii=False, allow_nan=False))
    elif part is None:
        show_lines(render_sections((build_buyer_section(portfolio, days),)))
    else:
        show_lines(render_quotes(portfolio.parts[numbers[0]]))
    return 0
