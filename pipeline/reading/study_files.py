"""Tables of samples and of gauge studies: one value a line, with the piece, the appraiser and the trial."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pipeline.findings.finding import Finding
from pipeline.findings.rules import measuring as rules
from pipeline.model.quantity import UNITS
from pipeline.reading.points import Faults, Line, choose_separator, open_lines, parse_number, split_line

MAX_BYTES = 5_000_000
_UNIT = re.compile(r"#\s*units?\s*:\s*(\S+)\s*$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class StudyRow:
    """One reading of a gauge study: which piece, who read it, which time round, and what was read."""

    part: str
    appraiser: str
    trial: str
    value: float


@dataclass(frozen=True, slots=True)
class StudyFile:
    """A gauge study as it was recorded, in its unit."""

    path: str
    unit: str
    rows: tuple[StudyRow, ...]


@dataclass(frozen=True, slots=True)
class SampleFile:
    """Values of consecutive pieces in their unit, in the order of making; `pieces` names them where the file does."""

    path: str
    unit: str
    values: tuple[float, ...]
    pieces: tuple[str, ...] = ()


def read_gauge_study(root: Path, path: str) -> tuple[StudyFile | None, tuple[Finding, ...]]:
    """Read a table `part,appraiser,trial,value` with `# unit: mm` above it.

    Nothing that the file says raises; a reading that stands twice for one piece, appraiser and trial is a finding.
    """
    faults = Faults(path)
    table = _Table(faults, ("part", "appraiser", "trial", "value"))
    rows: list[StudyRow] = []
    seen: dict[tuple[str, str, str], int] = {}
    for line, value in table.read(open_lines(root, path, faults, MAX_BYTES)):
        part, appraiser, trial = (line.fields[table.columns[name]] for name in ("part", "appraiser", "trial"))
        key = (part, appraiser, trial)
        if key in seen:
            message = f"piece {part}, {appraiser}, trial {trial} stands twice; first on line {seen[key]}"
            faults.add(rules.UNREADABLE_READINGS, message, line.number)
        seen[key] = line.number
        rows.append(StudyRow(part, appraiser, trial, value))
    unit = table.finish(len(rows))
    return (None if unit is None else StudyFile(path, unit, tuple(rows))), tuple(faults.found)


def read_sample(root: Path, path: str) -> tuple[SampleFile | None, tuple[Finding, ...]]:
    """Read a table `value` or `piece,value`, one piece a line in the order of making, with `# unit: mm` above it."""
    faults = Faults(path)
    table = _Table(faults, ("value",))
    values, pieces = [], []
    for line, value in table.read(open_lines(root, path, faults, MAX_BYTES)):
        values.append(value)
        if "piece" in table.columns:
            pieces.append(line.fields[table.columns["piece"]])
    unit = table.finish(len(values))
    return (None if unit is None else SampleFile(path, unit, tuple(values), tuple(pieces))), tuple(faults.found)


class _Table:
    """A table with a head, one number in its column `value`."""

    def __init__(self, faults: Faults, wanted: tuple[str, ...]) -> None:
        self.faults = faults
        self.wanted = wanted
        self.columns: dict[str, int] = {}
        self.unit: str | None = None
        self.separator: str | None = None

    def read(self, lines: Iterator[tuple[int, str]]) -> Iterator[tuple[Line, float]]:
        """Yield each line with its value; faults are noted on the way."""
        for number, text in lines:
            if self.faults.is_full:
                return
            if text.lstrip().startswith("#"):
                self.take_unit(number, text)
            elif not self.columns:
                self.take_head(number, text)
                if not self.columns:
                    return
            else:
                yield from self.take_row(split_line(number, text, self.separator))

    def take_unit(self, number: int, text: str) -> None:
        """Take the unit; another one later is a fault."""
        found = _UNIT.match(text.strip())
        if found is None:
            return
        unit = found.group(1)
        if unit not in UNITS:
            self.faults.add(rules.UNIT_MISSING, f'"{unit}" is not a unit that is known here', number)
        elif self.unit not in (None, unit):
            self.faults.add(rules.UNITS_MIXED, f"the file says {self.unit} and then {unit}", number)
        else:
            self.unit = unit

    def take_head(self, number: int, text: str) -> None:
        """Take the names of the columns."""
        self.separator = choose_separator(text) or ","
        names = [name.lower() for name in split_line(number, text, self.separator).fields]
        missing = [name for name in self.wanted if name not in names]
        if missing:
            message = f'the head is "{text.strip()[:60]}"; the column {", ".join(missing)} is missing'
            self.faults.add(rules.UNREADABLE_READINGS, message, number)
            return
        if len(set(names)) < len(names):
            message = f'the head is "{text.strip()[:60]}"; a column stands twice'
            self.faults.add(rules.UNREADABLE_READINGS, message, number)
            return
        self.columns = {name: index for index, name in enumerate(names)}

    def take_row(self, line: Line) -> Iterator[tuple[Line, float]]:
        """Yield a row whose value is a number, in the table's unit."""
        if len(line.fields) != len(self.columns):
            message = f"{len(line.fields)} columns where the head has {len(self.columns)}"
            self.faults.add(rules.UNREADABLE_READINGS, message, line.number)
            return
        if "unit" in self.columns:
            self.take_unit(line.number, f"# unit: {line.fields[self.columns['unit']]}")
        column = self.columns["value"]
        value = parse_number(line.fields[column], self.separator != ",")
        if value is None:
            message = f'"{line.fields[column][:40]}" is not a finite number'
            self.faults.add(rules.NOT_A_COORDINATE, message, line.number, line.find_column(column))
            return
        yield line, value

    def finish(self, rows: int) -> str | None:
        """Return the unit, or None with the reason noted."""
        if not self.faults.found and rows == 0:
            self.faults.add(rules.UNREADABLE_READINGS, "the file holds no readings")
        elif not self.faults.found and self.unit is None:
            self.faults.add(rules.UNIT_MISSING, "the file does not state its unit")
        return None if self.faults.found else self.unit
