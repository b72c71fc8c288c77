"""JSON Schemas for editors: every record of the demo is valid, and mistakes are refused."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from cli.command_line import Caller
from hostile.hostile_records import build_whole_record, put_key, put_value
from jsonschema import Draft202012Validator

from pipeline.findings.sample import SAMPLE_SHARED
from pipeline.reading.schema import SCHEMA_NAMES, build_schema
from pipeline.reading.tree import parse_tree

ROOT = Path(__file__).parents[2]
RECORDS = sorted((ROOT / "projects").glob("*/part.yaml"))
CATALOGUES = sorted((ROOT / "shared").glob("*.yaml"))


@cache
def build_validator(name: str) -> Any:
    """Return the validator of one schema."""
    schema = build_schema(name)
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


def find_complaints(name: str, value: Any) -> list[str]:
    """Return what a schema says against a value, with its place."""
    return [f"{'.'.join(map(str, e.path))}: {e.message[:200]}" for e in build_validator(name).iter_errors(value)]


def read_value(path: Path) -> Any:
    """Return the plain values of a file."""
    tree, findings = parse_tree(path.name, path.read_text("utf-8"))
    assert tree is not None, findings
    return tree.value


def test_there_are_records_to_look_at() -> None:
    assert len(RECORDS) >= 24
    assert len(CATALOGUES) == 12


@pytest.mark.parametrize("path", RECORDS, ids=lambda path: path.parent.name)
def test_every_demo_record_is_valid(path: Path) -> None:
    assert find_complaints("part", read_value(path)) == []


@pytest.mark.parametrize("path", CATALOGUES, ids=lambda path: path.stem)
def test_every_demo_catalogue_is_valid(path: Path) -> None:
    assert find_complaints(path.stem, read_value(path)) == []


def test_the_sample_and_a_record_with_every_section_are_valid() -> None:
    assert find_complaints("part", build_whole_record()) == []
    for name, text in SAMPLE_SHARED.items():
        tree, _ = parse_tree(name, text)
        assert tree is not None
        assert find_complaints(Path(name).stem, tree.value) == []


MISTAKES: list[tuple[str, tuple[Any, ...], Any]] = [
    ("number as a name", ("name",), 1951),
    ("empty name", ("name",), ""),
    ("unknown safety class", ("safety",), "S9"),
    ("unknown condition", ("originals", "O1", "condition"), "second-hand"),
    ("unknown kind of feature", ("features", "length", "kind"), "lenght"),
    ("nominal in words", ("features", "length", "nominal"), "forty"),
    ("number beyond measure", ("features", "length", "nominal"), 1e13),
    ("three limits", ("features", "length", "limits"), [1, 2, 3]),
    ("truth as text", ("features", "length", "critical"), "yes"),
    ("list for a map", ("originals",), ["O1"]),
    ("text for a list", ("revisions", "A", "from"), "M1"),
    ("price below zero", ("redo", "reprint"), -1),
    ("share above one", ("stock", "salvage"), 1.5),
    ("price without a currency", ("tools", "die", "price"), 9000),
    ("currency sign", ("tools", "die", "price"), "$9000"),
    ("years in words", ("fits", "saloon", "years"), "early"),
    ("temperature without a unit", ("measurements", "M1", "at"), 20),
    ("two numbers for a range", ("demand", "per_year"), [1, 2]),
    ("currency of four letters", ("quotes", "Q1", "money"), "USDX"),
    ("unknown gate", ("decisions", 0, "gate"), "measuring"),
    ("unknown step", ("tools", "die", "steps"), {"bought": "2026-05-01"}),
    ("part number in small letters", ("part",), "sd-100"),
    ("part number that is the list of parts", ("part",), "INDEX"),
    ("part number that Windows keeps", ("part",), "AUX"),
]  # fmt: skip


@pytest.mark.parametrize(("pointer", "value"), [m[1:] for m in MISTAKES], ids=[m[0] for m in MISTAKES])
def test_a_mistake_is_refused_at_its_place(pointer: tuple[Any, ...], value: Any) -> None:
    record = build_whole_record()
    put_value(record, pointer, value)
    complaints = find_complaints("part", record)
    assert complaints
    assert all(c.startswith(".".join(map(str, pointer[:1]))) for c in complaints)


@pytest.mark.parametrize("section", ["originals", "features", "prototypes", "tools", "quotes", "fits"])
def test_unknown_keys_missing_keys_and_bad_ids_are_refused(section: str) -> None:
    whole = build_whole_record()
    first = next(iter(whole[section]))
    for change in ("unknown", "missing", "id"):
        record = copy.deepcopy(whole)
        if change == "unknown":
            record[section][first]["colour_of_the_day"] = 1
        elif change == "missing":
            record[section][first] = {}
        else:
            put_key(record, (section, first), "../x")
        assert find_complaints("part", record), change


def test_the_command_prints_and_writes_what_the_reader_uses(call: Caller, tmp_path: Path) -> None:
    assert json.loads(call("schema").out) == build_schema("part")
    assert json.loads(call("schema", "families").out) == build_schema("families")
    said = call("schema", "--write", tmp_path / "schemas")
    assert said.code == 0
    found = {file.name: json.loads(file.read_text("utf-8")) for file in (tmp_path / "schemas").iterdir()}
    assert found == {f"{name}.schema.json": build_schema(name) for name in SCHEMA_NAMES}


def test_a_schema_explains_its_keys(sample: Callable[..., Path]) -> None:
    schema = build_schema("part")
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["properties"]["confidential"]["description"]
    assert schema["additionalProperties"] is False
