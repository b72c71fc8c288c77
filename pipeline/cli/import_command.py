"""`pipeline import`: parts from a spreadsheet."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli.options import add_workspace_options, take_workspace

if TYPE_CHECKING:
    from pipeline.portfolio.importing import ImportPlan, SheetMap
    from pipeline.reading.spreadsheets import Sheet


@click.command("import")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path), metavar="FILE.csv|xlsx")
@click.option("--map", "map_file", type=click.Path(exists=True, dir_okay=False, path_type=Path),
              help="How the columns are read (YAML); not needed for a sheet of `pipeline export`.")  # fmt: skip
@click.option("--write", is_flag=True, help="Write the new records; without it nothing is written.")
@click.option("--update", is_flag=True, help="Show each difference to records that are there; with --write, set them.")
@click.option("--json", "as_json", is_flag=True, help="Answer as JSON.")
@click.option("--all", "show_all", is_flag=True, help="Tell every row, also those that are as they were.")
@add_workspace_options
def command(
    file: Path, map_file: Path | None, write: bool, update: bool, as_json: bool, show_all: bool,
    workspace: Path | None, today: dt.date | None,
) -> int:  # fmt: skip
    """Read parts from a spreadsheet. First a dry run: what each column becomes, what was guessed, what is refused.

    A record that is there is never overwritten; --update shows each difference, and with --write sets just those
    values. Running it again changes nothing. Exit code 1 when a row was refused.

    \b
    sheet: Parts                  # the first, if left out
    header: 2                     # row of the headings; [1, 2] for two rows
    columns:
      Part No.: part
      Model: {to: fits.vehicle, words: {Sdg: sedge}}
      Started: {to: opened, day: dmy}
      Length: {to: features.length.nominal, unit: in}
      Price: {to: demand.price, money: USD}
    defaults: {safety: S0, engineer: mara}
    ignore: [Remarks]
    """
    from pipeline.findings.report import render_json
    from pipeline.portfolio.importing import Outcome, plan_import
    from pipeline.views.importing import build_import_dict, render_import

    root = take_workspace(workspace)
    how, sheet = _read(file, map_file)
    try:
        plan = plan_import(root, sheet, how, today)
    except ValueError as error:
        raise click.UsageError(f"{file.name}: {error}") from None
    written, failed = _write(root, plan, update=update) if write else ((), 0)
    if as_json:
        click.echo(render_json(build_import_dict(plan, written, wrote=write)))
    else:
        click.echo(render_import(plan, written, wrote=write, update=update, show_all=show_all))
    return 1 if failed or plan.count(Outcome.REFUSED) else 0


def _read(file: Path, map_file: Path | None) -> tuple[SheetMap, Sheet]:
    from pipeline.portfolio.importing import OWN_MAP, parse_map
    from pipeline.reading.spreadsheets import SheetError, read_sheet

    how = OWN_MAP
    if map_file is not None:
        try:
            how = parse_map(map_file.read_text("utf-8-sig"))
        except (ValueError, UnicodeDecodeError) as error:
            raise click.UsageError(f"{map_file.name}: {error}") from None
    try:
        return how, read_sheet(file, how.sheet)
    except SheetError as error:
        raise click.UsageError(str(error)) from None


def _write(root: Path, plan: ImportPlan, *, update: bool) -> tuple[tuple[str, ...], int]:
    """Write the records, each whole; one that somebody else wrote in between, or that the disk refuses, is told and
    counted."""
    from pipeline.portfolio.importing import Outcome
    from pipeline.reading.workspace import build_part_path
    from pipeline.writing.plans import ChangedMeanwhileError, Plan, PlannedFile, write_plan

    wanted = {Outcome.NEW, *([Outcome.DIFFERS] if update else [])}
    written: list[str] = []
    failed = 0
    for row in plan.rows:
        if row.outcome not in wanted or row.content is None or row.number is None:
            continue
        file = PlannedFile(build_part_path(row.number), row.before, row.content)
        try:
            written += write_plan(root, Plan((file,)), row.number)
        except (ChangedMeanwhileError, OSError) as error:
            click.echo(f"row {row.row}: {error}; run the import again", err=True)
            failed += 1
    return tuple(written), failed
