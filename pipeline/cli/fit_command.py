"""`pipeline fit`: a sample tried on a vehicle."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipeline.cli.asking import Asker
from pipeline.cli.attach_studies import take_person
from pipeline.cli.bench_step import Desk, add_bench_options, run_step, take_near

if TYPE_CHECKING:
    from pipeline.portfolio.near import Near
    from pipeline.portfolio.proposal import Draft


@click.command("fit")
@click.argument("part")
@click.argument("traveller", required=False, type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--empty", is_flag=True, help="Print an empty traveller (CSV): a row for all that is still to be tried.")
@click.option("--with", "sample", metavar="ID", help="Prototype or first article that was tried.")
@click.option("--car", metavar="ID", help="Vehicle that it was tried on (shared/vehicles.yaml, cars).")
@click.option("--fits", metavar="ID", help="Application that it covers.")
@click.option("--hand", metavar="WORD", help="left or right, where the part has hands.")
@click.option("--gaps", metavar="I=G G;...", help='Measured gaps: "seat=0.4 0.5; rim=0.6".')
@click.option("--covers", metavar="F,...", help="Features looked at besides those of the interfaces.")
@click.option("--result", metavar="WORD", help="good, bad or open.")
@click.option("--by", metavar="ID", help="Who tried it.")
@click.option("--seen-by", metavar="ID", help="Another person who looked; nobody signs off their own fit check.")
@click.option("--file", type=click.Path(exists=True, dir_okay=False, path_type=Path), help="Photo or report.")
@click.option("--hours", metavar="N", help="Hours that it took.")
@click.option("--note", metavar="TEXT", help="What was seen.")
@add_bench_options
def command(part: str, traveller: Path | None, empty: bool, desk: Desk, **flags: Any) -> int:
    """Record a fit check of PART, vehicle by vehicle and hand by hand, or all of a filled-in TRAVELLER at once.

    A traveller is a CSV file with one row for each interface on one vehicle and hand. Columns: with, car, fits, hand,
    on, by, seen_by, interface, gaps (blanks between: 0.6 0.8 0.7), covers, result (good, bad, open), note. Rows that
    agree in with, car, fits, hand, on and by make one fit check; rows without gaps, covers, result and note are passed
    over. `pipeline fit PART --empty` prints one to fill in. The traveller itself is kept as the evidence.
    """
    near = take_near(desk, part)
    if empty:
        from pipeline.views.traveller import render_empty_traveller

        click.echo(render_empty_traveller(near.build_part_file()), nl=False)
        return 0
    asker = desk.build_asker()
    if traveller is not None:
        asker.refuse_missing()
        entries = read_entries(traveller)
        return run_step(desk, "fit", part, lambda n: build_draft(n, entries, traveller), near)
    entries = [_take_entry(asker, near, flags, desk.day or near.today)]
    asker.refuse_missing()
    return run_step(desk, "fit", part, lambda n: build_draft(n, entries, flags["file"]), near)


def read_entries(traveller: Path) -> list[dict[str, Any]]:
    """Return the fit checks of a traveller; end with every fault, and its row, where there is one."""
    from pipeline.cli.answers import parse_day
    from pipeline.reading.traveller import parse_traveller
    from pipeline.writing.flow_text import AsTyped

    if traveller.stat().st_size > 1_000_000:
        raise click.UsageError(f"{traveller} is larger than a traveller can be (1 MB).")
    tried, faults = parse_traveller(traveller.read_bytes())
    entries, problems = [], list(faults)
    for one in tried:
        values = one.values
        try:
            day = parse_day(values["on"])
        except ValueError as error:
            problems.append(f"row {one.rows[0]}: {error}")
            continue
        entries.append({
            "with": values["with"], "on": day, "by": values["by"], "seen_by": values["seen_by"] or None,
            "car": values["car"], "fits": values["fits"], "hand": values["hand"] or None,
            "gaps": {key: [AsTyped(gap) for gap in gaps] for key, gaps in one.gaps.items()},
            "covers": list(one.covers), "result": values["result"], "note": values["note"] or None,
        })  # fmt: skip
    if problems or not entries:
        for problem in problems or ["no row is filled in"]:
            click.echo(f"refused: {traveller.name}: {problem}", err=True)
        click.echo("Nothing was written.", err=True)
        raise click.exceptions.Exit(1)
    return entries


def _take_entry(asker: Asker, near: Near, flags: dict[str, Any], day: dt.date) -> dict[str, Any]:
    from pipeline.cli.answers import parse_gaps, parse_not_negative, parse_some_of, parse_text
    from pipeline.model.words import Result
    from pipeline.views.bench import describe_open_cells, find_cars_for, find_first_open_cell

    part = near.part
    assert part is not None
    if asker.interactive:
        click.echo("\n".join(describe_open_cells(near.build_part_file())))
    cell = find_first_open_cell(near.build_part_file())
    samples = [*part.prototypes, *part.first_articles]
    sample = asker.take_choice(flags["sample"], "--with", "Which sample was tried", samples)
    fits = asker.take_choice(
        flags["fits"], "--fits", "On which application", part.fits, default=cell[0] if asker.interactive else None
    )
    hand = None
    if part.hands is not None:
        hand = asker.take_choice(
            flags["hand"], "--hand", "Hand", ["left", "right"], default=cell[1] if asker.interactive else None
        )
    cars = find_cars_for(near.build_part_file(), fits)
    car = asker.take_choice(
        flags["car"], "--car", "On which vehicle", near.catalogues.vehicles.cars if flags["car"] else cars
    )
    gaps = None
    if part.interfaces:
        shown = "; ".join(f"{key} {entry.gap.limits.lower} to {entry.gap.limits.upper} {entry.gap.unit}"
                          for key, entry in part.interfaces.items())  # fmt: skip
        question = f"Gaps, e.g. {next(iter(part.interfaces))}=0.4 0.5 ({shown})"
        gaps = asker.take(flags["gaps"], "--gaps", question, parse_gaps(part.interfaces), optional=True)
    covers = asker.take(
        flags["covers"], "--covers", "Further features looked at", parse_some_of(part.features, "feature"),
        optional=True,
    )  # fmt: skip
    result = asker.take_choice(flags["result"], "--result", "Result", [r.value for r in Result])
    by = take_person(asker, near, flags["by"], "--by", "Who tried it")
    seen_by = take_person(asker, near, flags["seen_by"], "--seen-by", "Seen by which other person", optional=True)
    hours = asker.take(flags["hours"], "--hours", "Hours it took", parse_not_negative, optional=True)
    note = asker.take(flags["note"], "--note", "What was seen", parse_text, optional=True)
    return {
        "with": sample, "on": day, "by": by, "seen_by": seen_by, "car": car, "fits": fits, "hand": hand, "gaps": gaps,
        "covers": covers, "result": result, "file": None, "hours": hours, "note": note,
    }  # fmt: skip


def build_draft(near: Near, entries: list[dict[str, Any]], file: Path | None) -> Draft:
    """Return the draft of one fit check or several; each names the file, since all were made from it."""
    from pipeline.portfolio.attaching import attach_several
    from pipeline.portfolio.entries import find_next_key, keep_given
    from pipeline.portfolio.proposal import Draft
    from pipeline.views.bench import describe_gaps
    from pipeline.writing.records import insert_entry

    assert near.part is not None
    attachments, notes = attach_several(near, () if file is None else (file,))
    first = find_next_key(near.part, "fit_checks")
    stem, start = first.rstrip("0123456789"), int(first[len(first.rstrip("0123456789")) :])
    made = {}
    for place, entry in enumerate(entries):
        made[f"{stem}{start + place}"] = keep_given({**entry, "file": attachments[0].path if attachments else None})

    def edit(text: str) -> str:
        for key, entry in made.items():
            text = insert_entry(text, "fit_checks", key, entry)
        return text

    notes = (*notes, *describe_gaps(near.part, made))
    where = "; ".join(
        f"{key} on {e['fits']}{', ' + str(e['hand']) if e.get('hand') else ''}: {e['result']}"
        for key, e in made.items()
    )
    pointers = tuple(("fit_checks", key) for key in made)
    return Draft(edit, pointers, f"fit check {where}", tuple(attachments), notes=notes)
