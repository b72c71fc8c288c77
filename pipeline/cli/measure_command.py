"""`pipeline measure`: a file of points or readings as features with uncertainty and a verdict."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipeline.cli.options import DayType, add_workspace_options, find_workspace, show_lines, take_parts
from pipeline.cli.program import EXIT_CLEAN, EXIT_FINDINGS

if TYPE_CHECKING:
    from pipeline.portfolio.measure_file import EntryFacts, FileFeature
    from pipeline.portfolio.portfolio import PartFile
    from pipeline.reading.points import PointFile, ReadingFile

FITS = (
    "circle", "sphere", "cylinder", "centres", "faces", "angle", "plane", "line", "runout", "position", "profile",
)  # fmt: skip


@dataclass(frozen=True)
class Place:
    """Where a file lies: the root that its path is relative to, the part it belongs to, its path in the part's folder.

    part and inside are None for a file outside of a workspace's evidence folders.
    """

    root: Path
    path: str
    part: PartFile | None
    inside: str | None


@click.command("measure")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@add_workspace_options
@click.option("--feature", "-f", "features", multiple=True, metavar="ID", help="Only this feature; may stand again.")
@click.option("--part", "number", metavar="PART", help="Part that it belongs to; known for a file in its evidence/.")
@click.option("--kind", type=click.Choice(FITS), help="Fit this, whatever the record says of the feature.")
@click.option("--of", metavar="ID", help="The original that was measured.")
@click.option("--day", type=DayType(), metavar="DAY", help="Day of the measurement.")
@click.option("--by", metavar="ID", help="Who measured.")
@click.option("--with", "instrument", metavar="ID", help="Instrument (shared/resources.yaml): its error limit counts.")
@click.option("--at", metavar="TEXT", help='Temperature, e.g. "21.5 C".')
@click.option(
    "--against", type=click.Path(exists=True, dir_okay=False, path_type=Path), help="Lay all points on this mesh."
)
@click.option("--write", is_flag=True, help="Put the entry into the record and the file's hash into evidence.sha256.")
@click.option("--json", "as_json", is_flag=True, help="Print plain data for a program.")
def command(
    file: Path,
    workspace: Path | None,
    today: dt.date | None,
    features: tuple[str, ...],
    number: str | None,
    kind: str | None,
    as_json: bool,
    write: bool,
    against: Path | None,
    **facts: Any,
) -> int:
    """Fit the points of FILE (or average its readings), with uncertainty and a verdict against the record's limits.

    FILE: `# unit: mm`, then lines `group,x,y,z` or `x y z`; or `feature,n,reading,unit`; or QIF 3 results. A line of
    YAML to paste into the record is offered at the end; --write inserts it and changes nothing else.

    Exit code 1: the file has faults, or a feature could not be measured.
    """
    from pipeline.portfolio.evidence_values import read_values_file
    from pipeline.portfolio.fits import FitKind
    from pipeline.portfolio.measure_file import list_features, measure_features, word_findings
    from pipeline.views.measure_report import render_file_features

    place = _find_place(file.resolve(), workspace, today, number)
    content, findings = read_values_file(place.root, place.path)
    if content is None:
        lines = word_findings(findings) or [f"{place.path} is no file of points, readings or QIF results"]
        click.echo("\n".join(lines), err=True)
        return EXIT_FINDINGS
    known = _gather_facts(place, content, facts)
    names = list(features) or list_features(content)
    part, space = (None, None) if place.part is None else (place.part.part, place.part.workspace)
    instrument = None if space is None else space.catalogues.resources.instruments.get(known.with_ or "")
    found = measure_features(content, names, part, instrument, space, None if kind is None else FitKind(kind), known.at)
    line, key = _build_line(place, found, known)
    if as_json:
        from pipeline.findings.report import render_json
        from pipeline.views.measure_report import build_report

        click.echo(render_json(build_report(content, found, line)))
    else:
        show_lines(render_file_features(content, found))
        _echo_against(content, against)
        _echo_offer(place, line, write)
    if write:
        _write(place, found, known, key)
    return EXIT_FINDINGS if any(one.value is None for one in found) else EXIT_CLEAN


def _find_place(file: Path, workspace: Path | None, today: dt.date | None, number: str | None) -> Place:
    """Find the workspace and the part of a file; without either it is measured on its own."""
    try:
        root = find_workspace((workspace or file.parent).resolve())
    except click.UsageError:
        if number is not None or workspace is not None:
            raise
        return Place(file.parent, file.name, None, None)
    inside = None
    if file.is_relative_to(root):
        steps = file.relative_to(root).parts
        if steps[0] == "projects" and len(steps) > 2:
            number = number or steps[1]
            inside = "/".join(steps[2:]) if number == steps[1] else None
    if number is None:
        return Place(file.parent, file.name, None, None)
    portfolio, numbers = take_parts(root, today, (number,))
    part = portfolio.parts[numbers[0]]
    if inside is None:
        return Place(file.parent, file.name, part, None)
    return Place(root, file.relative_to(root).as_posix(), part, inside)


def _gather_facts(place: Place, content: PointFile | ReadingFile, given: dict[str, Any]) -> EntryFacts:
    """Take what options say, else what the record says of this file, else what the head of the file says."""
    from pipeline.portfolio.measure_file import EntryFacts, find_measurement_of

    told = content.facts
    day = given["day"]
    if day is None and "day" in told:
        try:
            day = dt.date.fromisoformat(told["day"])
        except ValueError:
            day = None
    facts = EntryFacts(
        given["of"] or told.get("original"),
        day,
        given["by"] or told.get("by"),
        given["instrument"] or told.get("instrument"),
        given["at"] or told.get("temperature"),
    )
    if place.part is not None and place.inside is not None and facts.with_ is None:
        key = find_measurement_of(place.part.part, place.inside)
        if key is not None:
            entry = place.part.part.measurements[key]
            at = facts.at or f"{entry.at.celsius:g} C"
            return EntryFacts(facts.of or entry.of, facts.on or entry.on, facts.by or entry.by, entry.with_, at)
    return facts


def _build_line(place: Place, found: tuple[FileFeature, ...], facts: EntryFacts) -> tuple[str, str]:
    """Return the line of YAML that the file makes, and its id; empty where no feature of a part was measured."""
    from pipeline.portfolio.entries import find_next_key
    from pipeline.portfolio.measure_file import build_entry
    from pipeline.writing.flow_text import render_flow

    shown = [one for one in found if one.value is not None and one.name]
    if place.part is None or not shown:
        return "", ""
    key = find_next_key(place.part.part, "measurements")
    entry = build_entry(shown, facts, place.inside or f"evidence/{Path(place.path).name}")
    return f"  {key}: {render_flow(entry)}", key


def _echo_offer(place: Place, line: str, write: bool) -> None:
    from pipeline.portfolio.measure_file import find_measurement_of

    there = None if place.part is None or place.inside is None else find_measurement_of(place.part.part, place.inside)
    if there is not None:
        click.echo(f"\n{there} records this file already.")
    elif line and not write:
        click.echo(f"\nTo record it, put this under measurements: (or run it again with --write)\n{line}")


def _echo_against(content: PointFile | ReadingFile, against: Path | None) -> None:
    """Lay all points on a mesh and print what remains."""
    from pipeline.portfolio.measure_file import word_findings
    from pipeline.reading.points import PointFile

    if against is None or not isinstance(content, PointFile):
        return
    import numpy as np

    from pipeline.reading.meshes import read_mesh
    from pipeline.views.measurements_meshes import compare_scan

    mesh, problems = read_mesh(against.resolve().parent, against.name)
    for line in word_findings(problems):
        click.echo(line, err=True)
    if mesh is None:
        return
    try:
        fit = compare_scan(np.concatenate(list(content.groups.values())), mesh)
    except ValueError as error:
        click.echo(f"\nno best fit on {against.name}: {error}")
        return
    away = fit.deviations_mm
    click.echo(f"\n{against.name}: {' × '.join(f'{edge:.2f}' for edge in mesh.size_mm)} mm, {fit.method}")
    click.echo(
        f"  {fit.count} points: {fit.rms_mm:.4f} mm root mean square, {away.min():+.4f} to {away.max():+.4f} mm "
        "(outside positive)"
    )


def _write(place: Place, found: tuple[FileFeature, ...], facts: EntryFacts, key: str) -> None:
    """Put the entry into the record; nothing that is there is changed."""
    from pipeline.portfolio.measure_file import build_entry, find_measurement_of, list_faults, plan_entry
    from pipeline.writing.locks import LockedError
    from pipeline.writing.plans import ChangedMeanwhileError, render_diff, write_plan
    from pipeline.writing.records import EditError

    if place.part is None or place.inside is None:
        raise click.UsageError(
            "--write needs a file in the evidence/ folder of its part (projects/<number>/evidence/); put it there."
        )
    part = place.part.part
    there = find_measurement_of(part, place.inside)
    if there is not None:
        raise click.UsageError(
            f"{there} records {place.inside} already and stays as it is. A correction is a file and a measurement of "
            f"its own, with `replaces: {there}`."
        )
    missing = facts.find_missing()
    if missing:
        raise click.UsageError(f"--write wants {', '.join('--day' if m == '--on' else m for m in missing)} too.")
    faults = list_faults(part, place.part.workspace, facts, found)
    if faults:
        raise click.UsageError("Nothing is written: " + "; ".join(faults) + ".")
    try:
        plan = plan_entry(place.root, part, key, build_entry(found, facts, place.inside))
        write_plan(place.root, plan, part.part)
    except (EditError, ValueError, ChangedMeanwhileError, LockedError, OSError) as error:
        raise click.ClickException(f"Nothing is written: {error}.") from None
    click.echo(f"\nWrote {key} into {', '.join(plan.paths)}:", err=True)
    click.echo(render_diff(plan), err=True)
