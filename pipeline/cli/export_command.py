"""`pipeline export`: all parts as a spreadsheet."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import click

from pipeline.cli.options import add_workspace_options, take_parts, take_workspace


@click.command("export")
@click.argument("file", required=False, type=click.Path(dir_okay=False, path_type=Path), metavar="[FILE]")
@click.option("--xlsx", "form", flag_value="xlsx", help="A workbook; the default for FILE.xlsx.")
@click.option("--csv", "form", flag_value="csv", help="CSV (RFC 4180), the default.")
@click.option("--force", is_flag=True, help="Write over a FILE that is there.")
@add_workspace_options
def command(file: Path | None, form: str | None, force: bool, workspace: Path | None, today: dt.date | None) -> int:
    """Write all parts as a spreadsheet, a row for each application, to FILE or to the terminal.

    `pipeline import` reads it back without a map. No cell is a formula: text that begins like one gets an apostrophe.
    """
    from pipeline.portfolio.exporting import HEADINGS, build_table
    from pipeline.writing.files import write_bytes
    from pipeline.writing.sheets import render_csv, render_xlsx

    form = form or ("xlsx" if file is not None and file.suffix.casefold() == ".xlsx" else "csv")
    if file is None and form == "xlsx":
        raise click.UsageError("A workbook needs a FILE, e.g. `pipeline export parts.xlsx`.")
    if file is not None and file.exists() and not force:
        raise click.UsageError(f"{file} is there already; --force writes over it.")
    portfolio, numbers = take_parts(take_workspace(workspace), today, ())
    rows = build_table([portfolio.parts[number] for number in numbers])
    if form == "xlsx":
        content = render_xlsx("Parts", HEADINGS, rows)
    else:
        content = render_csv(HEADINGS, rows).encode("utf-8-sig" if file else "utf-8")
    if file is None:
        click.echo(content.decode("utf-8"), nl=False)
    else:
        write_bytes(file, content)
        click.echo(f"Wrote {len(rows)} rows of {len(numbers)} parts to {file}.")
    return 0
