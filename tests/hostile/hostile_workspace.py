"""A workspace with hostile text in every text field that the model admits: found by walking the schemas, not by a list.

A field that is new in the model is filled by itself where its section stands in the record of `hostile_records`; where
it does not, `find_uncovered` names it, and a test fails until that record knows the section.
"""

from __future__ import annotations

import copy
import datetime as dt
import hashlib
import json
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import cycle
from pathlib import Path
from typing import Any

from hostile.hostile_records import Pointer, build_whole_record, list_pointers
from pydantic import ValidationError

from pipeline.findings.rule import Example
from pipeline.findings.sample import SAMPLE_SHARED, build_sample
from pipeline.model.catalogue import CATALOGUE_FILES, OPTIONAL_CATALOGUES
from pipeline.model.part import Part
from pipeline.reading.schema import SCHEMA_NAMES
from pipeline.reading.schema import build_schema as build_schema_anew
from pipeline.reading.shape import parse_shape
from pipeline.reading.tree import parse_tree

build_schema = lru_cache(maxsize=None)(build_schema_anew)
CANARY = "q7evil"
EVIL = (
    f"=HYPERLINK(1)<script>alert('{CANARY}')</script>\"'><img src=x onerror=alert(1)><{CANARY} onclick=alert(1)>"
    "{{7*7}}{% raw %}${7*7}]]><![CDATA[x<!--figure " + "a" * 64 + "--> javascript:alert(1) [x](javascript:alert(1)) "
    "%s%n{0}\nBEGIN:VEVENT\nEND:VCALENDAR\n</title></textarea></svg>&#x3c;b&#x3e;"
)
FILES = (
    'evidence/"><img src=x onerror=alert(1)>.csv',
    "evidence/javascript:alert(1).csv",
    "evidence/a%20b#c?d=e&f.csv",
    "evidence/--output=x.csv",
    "evidence/$(id)`id`;x.csv",
    "evidence/=1+1.stl",
    "evidence/<script>.svg",
)
"""Names that a record may give to its evidence on Linux."""


@dataclass
class Filled:
    """A tree with hostile text in it: the values, the pointers that took it, and the fields of the schema they are."""

    name: str
    value: dict[str, Any]
    taken: list[Pointer] = field(default_factory=list)
    fields: set[tuple[str, str]] = field(default_factory=set)


def is_free_text(schema: Any) -> bool:
    """True for a schema that admits any short text."""
    if not isinstance(schema, dict):
        return False
    if "anyOf" in schema:
        return any(is_free_text(one) for one in schema["anyOf"])
    return schema.get("type") == "string" and not {"pattern", "enum", "const", "format"} & set(schema)


def resolve(schema: dict[str, Any], root: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield (definition name, schema) of every alternative behind references."""
    if "$ref" in schema:
        name = schema["$ref"].rpartition("/")[2]
        for _, found in resolve(root["$defs"][name], root):
            yield name, found
    elif "anyOf" in schema:
        for one in schema["anyOf"]:
            yield from resolve(one, root)
    else:
        yield "", schema


def find_fields(name: str) -> set[tuple[str, str]]:
    """Return (definition, property) of every free-text field of a schema; texts in lists and maps count by their field."""
    root = build_schema(name)
    found = set()
    for owner, schema in {"": root, **root.get("$defs", {})}.items():
        for key, one in schema.get("properties", {}).items():
            inner = [one, *(found for _, found in resolve(one, root))]
            inside = [i.get("items", {}) for i in inner] + [i.get("additionalProperties", {}) for i in inner]
            inside += [v for i in inner for v in i.get("patternProperties", {}).values()]
            if key not in WORKING and any(is_free_text(i) for i in (*inner, *inside)):
                found.add((owner, key))
    return found


def walk_schema(name: str, pointer: Pointer) -> set[tuple[str, str]]:
    """Return every (definition, property) that a pointer passes."""
    root = build_schema(name)
    places: list[tuple[str, dict[str, Any]]] = [("", root)]
    passed = set()
    for step in pointer:
        following: list[tuple[str, dict[str, Any]]] = []
        for owner, schema in places:
            if isinstance(step, int):
                following += resolve(schema.get("items", {}), root) if isinstance(schema.get("items"), dict) else []
            elif step in schema.get("properties", {}):
                passed.add((owner, step))
                following += resolve(schema["properties"][step], root)
            else:
                for child in (schema.get("additionalProperties"), *schema.get("patternProperties", {}).values()):
                    following += resolve(child, root) if isinstance(child, dict) else []
        places = following
    return passed


def list_maps(name: str, value: Any) -> Iterator[tuple[Pointer, str, dict[str, Any]]]:
    """Yield every map of a tree with its pointer and the definitions that it may be."""
    root = build_schema(name)
    yield (), "", root
    for pointer in list_pointers(value):
        places: list[tuple[str, dict[str, Any]]] = [("", root)]
        for step in pointer:
            following: list[tuple[str, dict[str, Any]]] = []
            for _, schema in places:
                child = schema.get("items") if isinstance(step, int) else schema.get("properties", {}).get(step)
                children = [child] if child is not None else [
                    schema.get("additionalProperties"), *schema.get("patternProperties", {}).values()]  # fmt: skip
                for one in children:
                    following += resolve(one, root) if isinstance(one, dict) else []
            places = following
        for owner, schema in places:
            if "properties" in schema:
                yield pointer, owner, schema


def put(value: Any, pointer: Pointer, new: Any) -> Any:
    """Return a copy with a value put in a place, also a new one."""
    made = copy.deepcopy(value)
    place = made
    for step in pointer[:-1]:
        place = place[step]
    place[pointer[-1]] = new
    return made


def read(value: Any, pointer: Pointer) -> Any:
    """Return the value in a place."""
    for step in pointer:
        value = value[step]
    return value


def fits(name: str, value: Any) -> bool:
    """True when the reader takes a tree as it is."""
    model = Part if name == "part" else (CATALOGUE_FILES | OPTIONAL_CATALOGUES)[name]
    tree, findings = parse_tree("x.yaml", json.dumps(value, ensure_ascii=True))
    return tree is not None and not findings and not parse_shape(tree, model)[1]


def is_taken(name: str, value: Any) -> bool:
    """True when the types take a tree: what is asked for each place, before `fits` is asked of the whole."""
    model = Part if name == "part" else (CATALOGUE_FILES | OPTIONAL_CATALOGUES)[name]
    try:
        model.model_validate_json(json.dumps(value))
    except ValidationError:
        return False
    return True


def fill(name: str, value: dict[str, Any], text: str = EVIL) -> Filled:
    """Put hostile text into every place that takes it: where text stands, and into free-text keys that are left out."""
    filled = Filled(name, copy.deepcopy(value))
    assert fits(name, filled.value), f"the tree of {name} to start from is not valid"
    places = [p for p in list_pointers(value) if isinstance(read(value, p), str)]
    for pointer, _, schema in list(list_maps(name, value)):
        here = read(value, pointer)
        places += [
            (*pointer, key) for key, one in schema["properties"].items()
            if isinstance(here, dict) and key not in here and is_free_text(one)
        ]  # fmt: skip
    names = cycle(FILES)
    for pointer in places:
        for words in (text, next(names)):
            made = put(filled.value, pointer, words)
            if pointer[-1] not in WORKING and is_taken(name, made):
                filled.value = made
                filled.taken.append(pointer)
                filled.fields |= walk_schema(name, pointer)
                break
    assert fits(name, filled.value), f"the filled tree of {name} is not valid"
    return filled


def find_uncovered(filled: dict[str, Filled]) -> set[str]:
    """Return the free-text fields of the model that no hostile text reached, as `schema: definition.property`."""
    return {
        f"{name}: {owner}.{key}"
        for name, one in filled.items()
        for owner, key in find_fields(name) - one.fields
    }  # fmt: skip


WORKING = frozenset({"unit"})
"""Keys whose words are checked against a list besides their type."""

EXTRA: dict[str, dict[str, Any]] = {
    "part": {
        "interfaces": {"rim": {"what": "w", "gap": {"limits": [0.1, 0.9]},
                               "stack": [{"feature": "length"}, {"name": "sill", "nominal": -39.5, "limits": [-0.1, 0.1]}]},
                       "pin": {"what": "w", "gap": {"limits": [0.1, 0.9]},
                               "stack": [{"feature": "length"}, {"name": "pin", "nominal": 39.5, "tolerance": "g6"}]}},
        "expansion": {"per_k": [11, 11.7, 12.5], "source": "s"},
        "gauge_studies": {"G1": {"feature": "length", "on": "2026-01-09", "by": "ann", "with": "arm", "file": "evidence/g.csv"}},
        "sample_runs": {"R1": {"feature": "length", "tools": ["die"], "of": "A", "on": "2026-05-22", "by": "ann", "with": "arm", "file": "evidence/r.csv"}},
        "plan": {"not_before": "2027-Q1"},
        "revisions": {"B": {"on": "2026-05-20", "by": "ann", "file": "evidence/hook-a.stl", "changed": ["length"],
                            "no_effect": [{"features": ["length"], "keeps": ["Q1"], "by": "ann", "on": "2026-05-21", "why": "w", "seen_by": "bob"}]}},
    },
    "families": {"families": {"cast": {"expansion": {"per_k": [11, 11.7, 12.5]}, "cautions": ["take care"]}}},
    "money": {"rates": [{"money": "EUR", "on": "2026-05-01", "rate": 1.1, "source": "s"}]},
    "people": {"people": {"ann": {"emails": ["ann@example.invalid"]}}},
    "safety": {"hazards": {"lead": "wear gloves"}, "cautions": ["take care"]},
    "editions": {"editions": {"outer": {"parts": ["open", "announced", "released"], "intro": "ask here", "fields": ["family", "hands", "replaces", "picture", "marking", "stage", "expected", "price", "fitting", "trials"]}}},
}  # fmt: skip
"""Sections that neither the sample nor the whole record shows."""


@lru_cache(maxsize=1)
def build_filled() -> dict[str, Filled]:
    """Return every file of the model, filled with hostile text."""
    trees: dict[str, dict[str, Any]] = {"part": build_whole_record()}
    for name in SCHEMA_NAMES[1:]:
        tree, _ = parse_tree(name, SAMPLE_SHARED.get(f"shared/{name}.yaml", ""))
        trees[name] = {} if tree is None else tree.value
    for name, more in EXTRA.items():
        trees[name] = merge(trees[name], more)
    return {name: fill(name, value) for name, value in trees.items()}


def merge(value: Any, more: Any) -> Any:
    """Return a tree with another laid into it."""
    if not isinstance(value, dict) or not isinstance(more, dict):
        return more
    return {**value, **{key: merge(value.get(key), child) for key, child in more.items()}}


def write_workspace(root: Path) -> dict[str, Filled]:
    """Write the hostile workspace, with hostile file names, hostile evidence and a hostile history; return what it holds."""
    filled = build_filled()
    files = dict(build_sample(Example()))
    record = copy.deepcopy(filled["part"].value)
    contents = {
        FILES[0]: "# unit: mm\n# length: <b>\u202e\x1b[31m of a\nlength,1,2,3\n<script>,4,5,6\n",
        FILES[1]: "feature,n,reading,unit\nlength,1,40.02,mm\n\x1b]0;evil\x07,1,2,mm\n",
        FILES[2]: "# unit: mm\npart,appraiser,trial,value\n<b>,\x1b[1m,1,2.5\n",
        FILES[3]: "--help\n",
        FILES[4]: "x\n",
        FILES[5]: "solid =cmd|' /C calc'!A0\nfacet\n",
        FILES[
            6
        ]: "<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'><script>alert(1)</script><title>q7evil</title></svg>",
    }
    record["picture"] = FILES[6]
    for name, text in contents.items():
        files[f"projects/SD-100/{name}"] = text.encode()
    listed = "".join(f"{hashlib.sha256(text.encode()).hexdigest()}  {name}\n" for name, text in contents.items())
    files["projects/SD-100/evidence.sha256"] = files.get("projects/SD-100/evidence.sha256", b"") + listed.encode()
    files["projects/SD-100/part.yaml"] = json.dumps(record, ensure_ascii=True, indent=1).encode()
    files["projects/SD-200/part.yaml"] = (
        b"part: SD-200\nname: other\nfamily: cast\nsafety: S0\nengineer: ann\n"
        b"fits: {a: {vehicle: finch, body: saloon, years: 1951}}\n"
        b"features: {edge: {what: edge, kind: size, nominal: 3, unit: mm}}\n"
        b"tools: {die: {kind: die, forms: [edge], price: 4000 USD}}\n"
    )
    for name, one in filled.items():
        if name != "part":
            files[f"shared/{name}.yaml"] = json.dumps(one.value, ensure_ascii=True, indent=1).encode()
    for path, content in files.items():
        target = root / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
    commit(root)
    return filled


def commit(root: Path) -> None:
    """Record the workspace twice, by people whose names and words steer terminals and read like markup."""

    def git(*words: str, **more: Any) -> None:
        subprocess.run(["git", "-c", "core.autocrlf=false", *words], cwd=root, check=True, capture_output=True, **more)

    who = "\x1b[31mEve\u202e =1+1 &lt;script&gt; {{7*7}}"
    subject = f"\x1b]0;title\x07<script>alert('{CANARY}')</script> =1+1 \u2066 {{{{7*7}}}}"
    git("init", "-q", "-b", "--output=x".lstrip("-"), ".")
    for number, day in enumerate((dt.date(2026, 1, 12), dt.date(2026, 5, 31))):
        (root / "projects/SD-200/note.txt").write_text(f"{number}\n")
        record = root / "projects/SD-100/part.yaml"
        whole = record.read_bytes()
        if number == 0:
            value = json.loads(whole)
            value["name"] = "plain"
            value["features"].pop("hard", None)
            record.write_text(json.dumps(value))
        git("add", "-A", "--", ".")
        env = {"GIT_AUTHOR_DATE": f"{day}T12:00:00Z", "GIT_COMMITTER_DATE": f"{day}T12:00:00Z", "PATH": "/usr/bin:/bin",
               "GIT_AUTHOR_NAME": who, "GIT_COMMITTER_NAME": who, "GIT_AUTHOR_EMAIL": f"{CANARY}\x1b[0m@example.invalid", "GIT_COMMITTER_EMAIL": "eve@example.invalid"}  # fmt: skip
        git("commit", "-q", "--allow-empty", "-m", subject, env=env)
        record.write_bytes(whole)
