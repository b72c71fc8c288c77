"""Files of points and of single readings, read line by line in bounded memory.

A file of points is text: comments begin with ``#``; ``# unit: mm`` states the unit; ``# rim_od: diameter of the
least-squares circle`` says how a feature follows from its points. Then come lines ``group,x,y,z`` or ``x y z``, apart
by commas, by semicolons (with a decimal comma if the file has one) or by blanks. A file of readings begins with the
head ``feature,n,reading,unit``.

What a file says never raises: every fault is a finding with its line and column, and a file with a fault gives nothing.
"""

from __future__ import annotations

import math
import re
import stat
from array import array
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from pipeline.findings.finding import Finding, Location
from pipeline.findings.rule import Rule
from pipeline.findings.rules import measuring as rules
from pipeline.model.quantity import LENGTH_UNITS, UNITS
from pipeline.reading.source import describe_hidden, find_hidden, is_link_inside

Floats = npt.NDArray[np.float64]

MAX_BYTES = 400_000_000
"""Some eight million points; a longer scan is thinned where it was made."""
MAX_LINE = 2_000
MAX_GROUPS = 10_000
MAX_COORDINATE_MM = 100_000.0
"""A hundred metres; beyond it a coordinate has lost its decimal point."""
MAX_FINDINGS = 10
"""A file that is wrong throughout is told from its first lines."""

LOOSE = ""
"""Name of the group of points that have none."""

_NOTE = re.compile(r"#\s*([A-Za-z0-9][\w.-]{0,39})\s*:\s*(.*?)\s*$")
_FACT = re.compile(
    r"\b(part|measurement|original|day|instrument|by|temperature)\s*:\s*(-?[\w.-]+(?:\s+[CF]\b)?)", re.ASCII
)
_COLUMN_UNIT = re.compile(r"[xyz]\s*[\[(_ ]\s*(\w+)\s*[\])]?$", re.IGNORECASE)
_DECIMAL = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d{1,3})?$", re.ASCII)


@dataclass(frozen=True)
class PointFile:
    """Points by group, in millimetres.

    path : relative to the workspace. unit : as the file states it. groups : name -> (n, 3) array, read only.
    how : feature -> how its value follows from its points, in the file's words. lines : group -> its first line.
    facts : what the head says of the measurement (original, instrument, by, temperature, day).
    """

    path: str
    unit: str
    groups: Mapping[str, Floats]
    how: Mapping[str, str] = field(default_factory=dict)
    lines: Mapping[str, int] = field(default_factory=dict)
    facts: Mapping[str, str] = field(default_factory=dict)

    @property
    def count(self) -> int:
        """Points of all groups together."""
        return sum(len(points) for points in self.groups.values())


@dataclass(frozen=True)
class ReadingFile:
    """Single readings by feature, as they stand, with the unit of each feature and its first line."""

    path: str
    readings: Mapping[str, tuple[float, ...]]
    units: Mapping[str, str]
    lines: Mapping[str, int]
    facts: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a text file: its number from 1, its fields and the separator between them (None: blanks)."""

    number: int
    text: str
    fields: list[str]
    separator: str | None

    def find_column(self, index: int) -> int:
        """Return the column (from 1) at which a field begins."""
        if self.separator is not None:
            start = sum(len(part) + 1 for part in self.text.split(self.separator)[:index])
            rest = self.text[start:]
            return start + len(rest) - len(rest.lstrip()) + 1
        found = list(re.finditer(r"\S+", self.text))
        return found[index].start() + 1 if index < len(found) else 1


class Faults:
    """Collects findings of one file, at most `MAX_FINDINGS` of them."""

    def __init__(self, path: str) -> None:
        self.path = path
        self.found: list[Finding] = []

    def add(self, rule: Rule, message: str, line: int = 1, column: int = 1) -> None:
        """Note one fault."""
        self.found.append(rule.build_finding(Location(self.path, line, column), message))

    @property
    def is_full(self) -> bool:
        """True when enough was said."""
        return len(self.found) >= MAX_FINDINGS


def open_lines(root: Path, path: str, faults: Faults, most_bytes: int = MAX_BYTES) -> Iterator[tuple[int, str]]:
    """Yield (number, text) of the lines of a file that are not blank; stops with a fault where it cannot be read.

    The file is never held in memory: a line is at most `MAX_LINE` characters.
    """
    file = root / path
    try:
        if is_link_inside(root, file):
            return faults.add(rules.UNREADABLE_READINGS, f"{path} is a link or lies behind one")
        status = file.stat()
        if not stat.S_ISREG(status.st_mode):
            return faults.add(rules.UNREADABLE_READINGS, f"{path} is not a plain file")
        if status.st_size > most_bytes:
            message = f"{path} has {status.st_size:,} bytes; at most {most_bytes:,} are read: thin the scan"
            return faults.add(rules.UNREADABLE_READINGS, message)
        with file.open("rb") as stream:
            yield from _decode_lines(stream, faults)
    except OSError as error:
        faults.add(rules.UNREADABLE_READINGS, f"{path} cannot be read: {error.strerror or type(error).__name__}")


def _decode_lines(stream: object, faults: Faults) -> Iterator[tuple[int, str]]:
    number = 0
    while raw := stream.readline(MAX_LINE + 2):  # type: ignore[attr-defined]
        number += 1
        if len(raw) > MAX_LINE and not raw.endswith(b"\n"):
            return faults.add(rules.UNREADABLE_READINGS, f"a line of more than {MAX_LINE:,} characters", number)
        if number == 1 and raw.startswith(b"\xef\xbb\xbf"):
            raw = raw[3:]
        try:
            text = raw.decode("utf-8").rstrip("\r\n")
        except UnicodeDecodeError as error:
            message = f"byte {raw[error.start]:#04x} is not UTF-8 text"
            return faults.add(rules.UNREADABLE_READINGS, message, number, error.start + 1)
        if "\0" in text:
            column = text.index("\0") + 1
            return faults.add(rules.UNREADABLE_READINGS, "the file is not text (a zero byte)", number, column)
        if not text.isprintable() and (hidden := find_hidden(text)) is not None:  # asked of a million lines
            message = describe_hidden(text[hidden])
            return faults.add(rules.UNREADABLE_READINGS, message, number, hidden + 1)
        if text and not text.isspace():
            yield number, text


def choose_separator(text: str) -> str | None:
    """Return what stands between the fields of a line: `;`, a tab, `,` or None for blanks.

    >>> choose_separator("rim;1,5;2;3"), choose_separator("a,1,2,3"), choose_separator("1.5 2 3")
    (';', ',', None)
    """
    return next((mark for mark in (";", "\t", ",") if mark in text), None)


def split_line(number: int, text: str, separator: str | None) -> Line:
    """Return a line with its fields, stripped."""
    return Line(number, text, [part.strip() for part in text.split(separator)], separator)


def parse_number(text: str, comma: bool = False) -> float | None:
    """Return a finite number, or None where the text is none (`nan`, `inf`, `1_000`, `1,5` without `comma`).

    >>> parse_number("1,5", comma=True), parse_number("1_000"), parse_number("nan")
    (1.5, None, None)
    """
    shown = text.replace(",", ".") if comma and text.count(",") == 1 and "." not in text else text
    if _DECIMAL.match(shown) is None:
        return None
    value = float(shown)
    return value if math.isfinite(value) else None


def read_measured_file(root: Path, path: str) -> tuple[PointFile | ReadingFile | None, tuple[Finding, ...]]:
    """Read a file of points or of readings, whichever it is; the first line that is no comment decides.

    path : relative to `root`, with `/`. Returns None and the findings that say why where it cannot be used.
    """
    faults = Faults(path)
    reader = _Reader(faults)
    reader.read(open_lines(root, path, faults))
    if faults.found:
        return None, tuple(faults.found)
    return reader.build(), tuple(faults.found)


class _Reader:
    """Takes the lines of one file in turn."""

    def __init__(self, faults: Faults) -> None:
        self.faults = faults
        self.unit: str | None = None
        self.how: dict[str, str] = {}
        self.facts: dict[str, str] = {}
        self.buffers: dict[str, array[float]] = {}
        self.lines: dict[str, int] = {}
        self.readings: dict[str, list[float]] = {}
        self.units: dict[str, str] = {}
        self.head: list[str] | None = None
        self.separator: str | None = None
        self.width = 0
        self.is_lost = False  # the columns are not known: no further line can be read

    def read(self, lines: Iterator[tuple[int, str]]) -> None:
        """Read all lines, or as far as it makes sense."""
        for number, text in lines:
            if text.lstrip().startswith("#"):
                self.take_comment(number, text.strip())
            elif self.width == 0:
                self.begin(number, text)
            elif self.head is not None:
                self.take_reading(split_line(number, text, self.separator))
            else:
                self.take_point(number, text)
            if self.faults.is_full or self.is_lost:
                return
        if not self.faults.found:
            self.finish()

    def take_comment(self, number: int, text: str) -> None:
        """Take the unit, how a feature follows, or what is known of the measurement from a comment."""
        note = _NOTE.match(text)
        if note is None:
            return
        name, words = note.groups()
        if name.lower() in ("unit", "units"):
            self.take_unit(words, number, text.index(words) + 1 if words else 1)
            return
        facts = _FACT.findall(text)
        if name in ("part", "measurement", "original", "day", "instrument", "by", "temperature"):
            self.facts.update(facts)
        elif words:
            self.how[name] = words

    def take_unit(self, words: str, number: int, column: int) -> None:
        """Take the unit of the file; a second one that differs is a fault."""
        unit = {"inch": "in", "inches": "in", '"': "in", "µm": "um"}.get(words.lower(), words)
        if unit not in LENGTH_UNITS:
            message = f'"{words}" is not a unit of length; write one of {", ".join(LENGTH_UNITS)}'
            self.faults.add(rules.UNIT_MISSING, message, number, column)
        elif self.unit not in (None, unit):
            self.faults.add(rules.UNITS_MIXED, f"the file says {self.unit} and then {unit}", number, column)
        else:
            self.unit = unit

    def begin(self, number: int, text: str) -> None:
        """Take the first line that is no comment: a head of columns, or already data."""
        self.separator = choose_separator(text)
        line = split_line(number, text, self.separator)
        names = [name.lower() for name in line.fields]
        if names[:3] == ["feature", "n", "reading"]:
            self.head, self.width = names, len(names)
            return
        if any(_is_axis(name) for name in names):
            self.take_head(line, names)
            return
        self.width = len(line.fields)
        if self.width not in (3, 4):
            message = f"{self.width} columns; a line of points has x, y, z, with the group before them or without"
            self.faults.add(rules.UNREADABLE_READINGS, message, number)
            self.is_lost = True
            return
        self.take_point(number, text)

    def take_head(self, line: Line, names: list[str]) -> None:
        """Take a head `group,x,y,z` or `x,y,z`, perhaps with units such as `x[mm]`."""
        axes = [name[0] for name in names if _is_axis(name)]
        self.width = len(names)
        if axes != ["x", "y", "z"] or self.width not in (3, 4) or not all(map(_is_axis, names[-3:])):
            message = f'the columns are "{line.text.strip()}"; they must be group,x,y,z or x,y,z in this order'
            self.faults.add(rules.UNREADABLE_READINGS, message, line.number)
            self.is_lost = True
            return
        for index, name in enumerate(names):
            unit = _COLUMN_UNIT.search(name)
            if unit is not None:
                self.take_unit(unit.group(1), line.number, line.find_column(index))

    def take_point(self, number: int, text: str) -> None:
        """Take one point. Written for speed: this runs once a line of a million."""
        fields = text.split(self.separator)
        if len(fields) != self.width:
            self.refuse_width(number, text, len(fields))
            return
        group, (a, b, c) = (fields[0].strip(), fields[1:]) if self.width == 4 else (LOOSE, fields)
        try:
            if "_" in a or "_" in b or "_" in c or not (a.isascii() and b.isascii() and c.isascii()):
                raise ValueError  # digits of other scripts look like others than they are
            x, y, z = float(a), float(b), float(c)
        except ValueError:
            point = self.parse_slowly(number, text)
            if point is None:
                return
            x, y, z = point
        if not -1e15 < x + y + z < 1e15:  # a cheap first look: NaN and infinity fail it too
            self.refuse_value(number, text)
            return
        buffer = self.buffers.get(group)
        if buffer is None:
            buffer = self.begin_group(number, group)
        buffer.append(x)
        buffer.append(y)
        buffer.append(z)

    def begin_group(self, number: int, group: str) -> array[float]:
        """Start a new group."""
        if len(self.buffers) >= MAX_GROUPS:
            self.faults.add(rules.UNREADABLE_READINGS, f"more than {MAX_GROUPS:,} groups of points", number)
        self.lines[group] = number
        buffer = array("d")
        self.buffers[group] = buffer
        return buffer

    def parse_slowly(self, number: int, text: str) -> tuple[float, float, float] | None:
        """Take a point with decimal commas, or say which field is no number."""
        comma = self.separator in (";", "\t", None)
        line = split_line(number, text, self.separator)
        values = [parse_number(one, comma) for one in line.fields[-3:]]
        if None in values:
            self.refuse_value(number, text)
            return None
        x, y, z = (value or 0.0 for value in values)
        return x, y, z

    def refuse_width(self, number: int, text: str, width: int) -> None:
        """Say that a line has another number of columns."""
        message = f'{width} columns where the lines before have {self.width}: "{text.strip()[:60]}"'
        self.faults.add(rules.UNREADABLE_READINGS, message, number)

    def refuse_value(self, number: int, text: str) -> None:
        """Point at the field that is no finite number."""
        line = split_line(number, text, self.separator)
        comma = self.separator in (";", "\t", None)
        first = len(line.fields) - 3
        for index, one in enumerate(line.fields[first:], first):
            value = parse_number(one, comma)
            if value is None or abs(value) > 1e14:
                message = f'"{one[:40]}" is not a finite coordinate'
                self.faults.add(rules.NOT_A_COORDINATE, message, number, line.find_column(index))
                return

    def take_reading(self, line: Line) -> None:
        """Take one line of readings: feature, number, value and unit."""
        if len(line.fields) != self.width:
            self.refuse_width(line.number, line.text, len(line.fields))
            return
        name, comma = line.fields[0], self.separator != ","
        value = parse_number(line.fields[2], comma)
        if value is None:
            message = f'"{line.fields[2][:40]}" is not a finite reading'
            self.faults.add(rules.NOT_A_COORDINATE, message, line.number, line.find_column(2))
            return
        unit = line.fields[3] if self.width > 3 else (self.unit or "")
        if unit not in UNITS:
            message = f'"{unit}" is not a unit that is known here; use one of {", ".join(UNITS)}'
            self.faults.add(rules.UNIT_MISSING, message, line.number, line.find_column(3) if self.width > 3 else 1)
            return
        if self.units.setdefault(name, unit) != unit:
            message = f"{name} is in {self.units[name]} and then in {unit}"
            self.faults.add(rules.UNITS_MIXED, message, line.number, line.find_column(3))
            return
        self.lines.setdefault(name, line.number)
        self.readings.setdefault(name, []).append(value)

    def finish(self) -> None:
        """Say what is missing once all lines are read."""
        if self.head is not None:
            if not self.readings:
                self.faults.add(rules.UNREADABLE_READINGS, "the file has a head and no readings")
            return
        if not self.buffers:
            self.faults.add(rules.UNREADABLE_READINGS, "the file holds no points")
        elif self.unit is None:
            self.faults.add(rules.UNIT_MISSING, "the file does not state its unit")
        else:
            self.check_reach()

    def check_reach(self) -> None:
        """Refuse coordinates that no part has."""
        most = MAX_COORDINATE_MM / LENGTH_UNITS[self.unit or "mm"]
        for group, buffer in self.buffers.items():
            away = np.abs(np.frombuffer(buffer, dtype=np.float64))
            if float(away.max()) > most:
                row = int(away.argmax()) // 3 + 1
                message = f"point {row} of {group or 'the file'} has a coordinate of {away.max():g} {self.unit}"
                self.faults.add(rules.NOT_A_COORDINATE, f"{message}; check the unit", self.lines[group])

    def build(self) -> PointFile | ReadingFile:
        """Return what was read; the points are scaled in place, so that a long scan is held once."""
        if self.head is not None:
            readings = {name: tuple(values) for name, values in self.readings.items()}
            return ReadingFile(self.faults.path, readings, self.units, self.lines, self.facts)
        unit = self.unit or "mm"
        groups = {}
        for name, buffer in self.buffers.items():
            points = np.frombuffer(buffer, dtype=np.float64).reshape(-1, 3)
            if LENGTH_UNITS[unit] != 1.0:
                points *= LENGTH_UNITS[unit]
            points.flags.writeable = False
            groups[name] = points
        return PointFile(self.faults.path, unit, groups, self.how, self.lines, self.facts)


def _is_axis(name: str) -> bool:
    return name in ("x", "y", "z") or _COLUMN_UNIT.match(name) is not None
