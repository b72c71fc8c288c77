"""Measurement results in QIF 3.0 (ISO 23952:2020): the measured value of each named characteristic.

What is read follows the published examples of the standard's own committee (its community repository, folder
``samples``: results of a widget, of a sheet-metal part and of ``testPython30``; seen): ``FileUnits`` with the factor of
the linear and angular unit, ``CharacteristicItems`` with their names and designators, and the
``CharacteristicMeasurements`` of each ``MeasurementResults`` with item, value, status and, where stated, the attribute
``combinedUncertainty``. Features, plans, statistics and models are left alone. A document type declaration is refused:
it can hide entities that grow without end.
"""

from __future__ import annotations

import math
import stat
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from xml.parsers import expat

from pipeline.findings.finding import Finding
from pipeline.findings.rules import measuring as rules
from pipeline.reading.points import Faults, parse_number
from pipeline.reading.source import describe_hidden, find_hidden, is_link_inside

MAX_BYTES = 50_000_000
MAX_DEPTH = 60
MAX_VALUE = 1e12
"""In mm or degrees, as in records; beyond it a unit's factor is wrong."""
_SPACE = "http://qifstandards.org/xsd/qif3"
_ANGLES = ("Angle", "Angular")
_NO_LENGTH = ("SurfaceTexture", "Thread", "UserDefined", "Weld", "Pressure", "Temperature", "Mass", "Force")
"""Kinds whose value is no length or angle of the part; they are left alone."""


@dataclass(frozen=True, slots=True)
class QifValue:
    """One measured characteristic.

    name : of the characteristic item, else its designator. kind : e.g. `Diameter`, `Flatness`. value : mm, or degrees
    for angles. unit : `mm` or `deg`. standard_u : combined standard uncertainty in the same unit, None where the file
    does not state it. status : the file's own word. set_id : id of the results it belongs to. line : in the file.
    """

    name: str
    kind: str
    value: float
    unit: str
    standard_u: float | None
    status: str
    set_id: str
    line: int


@dataclass(frozen=True, slots=True)
class QifFile:
    """Measured values of one document, in its order."""

    path: str
    version: str
    values: tuple[QifValue, ...]


@dataclass
class _Raw:
    kind: str
    set_id: str
    line: int
    column: int
    texts: dict[str, str] = field(default_factory=dict)
    u: str | None = None
    unit: str | None = None


def read_qif(root: Path, path: str) -> tuple[QifFile | None, tuple[Finding, ...]]:
    """Read the measured values of a QIF document; every fault is a finding with its line and column."""
    faults = Faults(path)
    raw = _read_bytes(root, path, faults)
    if raw is None:
        return None, tuple(faults.found)
    reader = _Reader(faults)
    reader.parse(raw)
    values = () if faults.found else reader.build()
    if faults.found:
        return None, tuple(faults.found)
    return QifFile(path, reader.version, values), ()


def _read_bytes(root: Path, path: str, faults: Faults) -> bytes | None:
    file = root / path
    try:
        status = file.stat()
        if is_link_inside(root, file) or not stat.S_ISREG(status.st_mode):
            faults.add(rules.UNREADABLE_READINGS, f"{path} is no plain file")
        elif status.st_size > MAX_BYTES:
            message = f"{path} has {status.st_size:,} bytes; at most {MAX_BYTES:,} are read"
            faults.add(rules.UNREADABLE_READINGS, message)
        else:
            return file.read_bytes()
    except OSError as error:
        faults.add(rules.UNREADABLE_READINGS, f"{path} cannot be read: {error.strerror or type(error).__name__}")
    return None


class _Stop(Exception):
    """Ends the parse once a fault makes the rest meaningless."""


class _Reader:
    """Listens to the elements of one document."""

    def __init__(self, faults: Faults) -> None:
        self.faults = faults
        self.version = ""
        self.stack: list[str] = []
        self.text: list[str] = []
        self.items: dict[str, dict[str, str]] = {}
        self.item: dict[str, str] = {}
        self.raws: list[_Raw] = []
        self.raw: _Raw | None = None
        self.set_id = ""
        self.unit: dict[str, str] = {}
        self.factors: dict[str, dict[str, float]] = {"Linear": {}, "Angular": {}}
        self.primary: dict[str, str] = {}
        self.parser: Any = None

    def parse(self, raw: bytes) -> None:
        """Walk through the document."""
        self.parser = expat.ParserCreate(namespace_separator=" ")
        self.parser.StartElementHandler = self.start
        self.parser.EndElementHandler = self.end
        self.parser.CharacterDataHandler = self.text.append
        self.parser.StartDoctypeDeclHandler = self.refuse_doctype
        try:
            self.parser.Parse(raw, True)
        except expat.ExpatError as error:
            message = f"the file is not well-formed XML: {expat.ErrorString(error.code)}"
            self.faults.add(rules.UNREADABLE_READINGS, message, error.lineno, error.offset + 1)
        except (LookupError, ValueError) as error:  # an encoding that is not known, or not one that XML may have
            self.faults.add(rules.UNREADABLE_READINGS, f"the file is not in an encoding that can be read: {error}")
        except _Stop:
            return

    def stop(self, message: str) -> None:
        """Note a fault here and end."""
        line, column = self.parser.CurrentLineNumber, self.parser.CurrentColumnNumber + 1
        self.faults.add(rules.UNREADABLE_READINGS, message, line, column)
        raise _Stop

    def refuse_doctype(self, *_: object) -> None:
        """A results file has no need of a document type."""
        self.stop("the file declares a document type, which a results file never needs")

    def start(self, name: str, attributes: dict[str, str]) -> None:
        """An element begins."""
        space, _, tag = name.rpartition(" ")
        if not self.stack:
            if tag != "QIFDocument" or space != _SPACE:
                self.stop(f"the root is <{tag}> of {space or 'no namespace'}, not a QIFDocument of QIF 3")
            self.version = attributes.get("versionQIF", "")
        if len(self.stack) > MAX_DEPTH:
            self.stop(f"the file is nested more than {MAX_DEPTH} deep")
        above = self.stack[-1] if self.stack else ""
        self.stack.append(tag)
        self.text.clear()
        if above == "CharacteristicItems":
            self.item = {"id": attributes.get("id", "")}
        elif tag == "MeasurementResults":
            self.set_id = attributes.get("id", "")
            self.refuse_hidden(self.set_id)
        elif above == "CharacteristicMeasurements" and tag.endswith("CharacteristicMeasurement"):
            kind = tag.removesuffix("CharacteristicMeasurement")
            line, column = self.parser.CurrentLineNumber, self.parser.CurrentColumnNumber + 1
            self.raw = _Raw(kind, self.set_id, line, column)
        elif self.raw is not None and tag == "Value" and above.endswith("CharacteristicMeasurement"):
            self.raw.u = attributes.get("combinedUncertainty")
            self.raw.unit = attributes.get("linearUnit") or attributes.get("angularUnit")
        elif tag in ("LinearUnit", "AngularUnit") and "FileUnits" in self.stack:
            self.unit = {}

    def refuse_hidden(self, text: str) -> None:
        """A name that turns text round, or cannot be seen, is no name."""
        hidden = find_hidden(text)
        if hidden is not None:
            self.stop(describe_hidden(text[hidden]))

    def end(self, name: str) -> None:
        """An element ends."""
        tag = self.stack.pop()
        above = self.stack[-1] if self.stack else ""
        text = "".join(self.text).strip()
        self.text.clear()
        self.refuse_hidden(text)
        del name
        if self.raw is not None:
            self.take_measurement(tag, above, text)
        elif above == "CharacteristicItems":
            self.items[self.item.get("id", "")] = self.item
        elif above.endswith("CharacteristicItem") and tag == "Name":
            self.item["name"] = text
        elif above == "CharacteristicDesignator" and tag == "Designator":
            self.item["designator"] = text
        elif "FileUnits" in self.stack:
            self.take_unit(tag, above, text)

    def take_measurement(self, tag: str, above: str, text: str) -> None:
        """Take one field of a measurement, or the end of it."""
        if self.raw is None:
            return
        if above == "CharacteristicMeasurements":
            self.raws.append(self.raw)
            self.raw = None
        elif above.endswith("CharacteristicMeasurement") and tag in ("CharacteristicItemId", "Value"):
            self.raw.texts[tag] = text
        elif tag == "CharacteristicStatusEnum":
            self.raw.texts["Status"] = text

    def take_unit(self, tag: str, above: str, text: str) -> None:
        """Take one field of a unit, or the end of it."""
        if tag in ("UnitName", "SIUnitName", "Factor", "Offset"):
            self.unit[tag] = text
        elif tag in ("LinearUnit", "AngularUnit"):
            kind, name = tag.removesuffix("Unit"), self.unit.get("UnitName") or self.unit.get("SIUnitName", "")
            factor = parse_number(self.unit.get("Factor", "1"))
            if factor is None or factor <= 0:
                self.stop(f'the unit "{name}" has no usable factor')
                return
            self.factors[kind][name] = factor
            if above == "PrimaryUnits":
                self.primary[kind] = name

    def build(self) -> tuple[QifValue, ...]:
        """Return the values in mm and degrees; says what is missing."""
        if not self.raws:
            self.faults.add(rules.UNREADABLE_READINGS, "the file holds no measured characteristic")
        found = [self.convert(raw) for raw in self.raws if "Value" in raw.texts]
        if self.raws and not found and not self.faults.found:
            self.faults.add(rules.UNREADABLE_READINGS, "no measured characteristic has a value")
        return tuple(value for value in found if value is not None)

    def convert(self, raw: _Raw) -> QifValue | None:
        """Return one value in mm or degrees, or None with the reason noted."""
        number = parse_number(raw.texts["Value"])
        u = None if raw.u is None else parse_number(raw.u)
        if number is None or (raw.u is not None and (u is None or u < 0)):
            message = f'"{raw.texts["Value"][:40]}" is not a finite value'
            self.faults.add(rules.NOT_A_COORDINATE, message, raw.line, raw.column)
            return None
        is_angle = raw.kind.startswith(_ANGLES)
        if raw.kind.startswith(_NO_LENGTH):
            return None
        kind = "Angular" if is_angle else "Linear"
        name = raw.unit or self.primary.get(kind)
        if name is None or name not in self.factors[kind]:
            message = f"the file does not state the unit of {raw.kind} (FileUnits, {kind}Unit)"
            self.faults.add(rules.UNIT_MISSING, message, raw.line, raw.column)
            return None
        factor = self.factors[kind][name] * (math.degrees(1.0) if is_angle else 1000.0)
        if not all(abs(one * factor) <= MAX_VALUE for one in (number, u or 0.0)):
            message = f'"{raw.texts["Value"][:40]}" {name} is no size that a part has'
            self.faults.add(rules.NOT_A_COORDINATE, message, raw.line, raw.column)
            return None
        item = self.items.get(raw.texts.get("CharacteristicItemId", ""), {})
        shown = item.get("name") or item.get("designator") or f"id {raw.texts.get('CharacteristicItemId', '?')}"
        return QifValue(
            shown, raw.kind, round(number * factor, 12), "deg" if is_angle else "mm",
            None if u is None else round(u * factor, 12), raw.texts.get("Status", ""), raw.set_id, raw.line,
        )  # fmt: skip
