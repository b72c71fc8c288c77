"""A workspace in which every value that a record or a catalogue can hold is a canary, made from the model itself.

Words are `qz` and a number, amounts are 7310 and a number, days lie in the 1990s: whatever of them reaches a site can be
found there by one pattern. What an edition may say is put back afterwards, by the list of the test and not by the code.
"""

from __future__ import annotations

import copy
import datetime as dt
import enum
import io
import itertools
import json
import re
import types
import typing
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any

from annotated_types import Ge, Gt, Le, Lt
from hostile.hostile_records import MORE
from PIL import Image, PngImagePlugin
from pydantic import BaseModel, StringConstraints, ValidationError

from pipeline.findings.sample import SAMPLE_PART, SAMPLE_SHARED
from pipeline.model.catalogue import CATALOGUE_FILES, OPTIONAL_CATALOGUES
from pipeline.model.part import Part, Reading
from pipeline.model.quantity import Limits, Money, Range, Temperature, Years
from pipeline.reading.tree import parse_tree

WORD = re.compile(rb"(?i)qz[a-z]?\d{4}")
AMOUNT = re.compile(rb"7,?310,?\d{3}|7\.?310\d{2,}e|0\.731|73\.1")
DAY = re.compile(rb"\b199\d\b")
TRACES = (WORD, AMOUNT, DAY)
_IDS = ("length", "hard", "seat", "pin", "other")
Pointer = tuple[str | int, ...]


class Canaries:
    """Fills a model with canaries; `made` tells where each was put, `seen` which fields of which models were visited."""

    def __init__(self, numbers: bool = True) -> None:
        self.count = itertools.count(1000)
        self.numbers = numbers
        self.made: dict[str, Pointer] = {}
        self.seen: set[tuple[str, str]] = set()
        self.files: dict[str, str] = {}
        self.dropped: list[Pointer] = []

    def settle(self, model: type[BaseModel], value: dict[str, Any], base: dict[str, Any]) -> dict[str, Any]:
        """Take out again what a rule of the model forbids beside what was there: fields that exclude each other."""
        for _ in range(40):
            wrong = _find_wrong(model, value)
            if not wrong:
                return value
            pointer = wrong[0]
            owner = _find(value, pointer)
            pointer, owner = (pointer, owner) if isinstance(owner, dict) else (pointer[:-1], _find(value, pointer[:-1]))
            there = _find(base, pointer) or {}
            for key in [key for key in owner if key not in there]:
                held = owner.pop(key)
                if pointer not in [one[: len(pointer)] for one in _find_wrong(model, value)]:
                    self.dropped.append((*pointer, key))
                    break
                owner[key] = held
            else:
                raise AssertionError(f"{pointer}: no single field of the generator's can be taken out to mend it")
        raise AssertionError(f"the generated record is refused: {wrong}")

    def word(self, at: Pointer, kind: str = "") -> str:
        """A word that is nowhere else."""
        token = f"qz{kind}{next(self.count):04}"
        self.made[token] = at
        return token

    def fill(self, model: type[BaseModel], value: dict[str, Any], at: Pointer = ()) -> dict[str, Any]:
        """Return a map for a model: every field that it knows, canaries in all that can hold one."""
        found: dict[str, Any] = {}
        for name, field in model.model_fields.items():
            key = field.alias or name
            self.seen.add((model.__name__, key))
            if (model.__name__, key) in _FIXED and key not in value:
                found |= {} if _FIXED[model.__name__, key] is None else {key: _FIXED[model.__name__, key]}
                continue
            made = self.make(field.annotation, field.metadata, value.get(key), (*at, key))
            if made is not None:
                found[key] = made
        return found

    def make(self, kind: Any, extra: list[Any], old: Any, at: Pointer) -> Any:
        """Return a canary for a type, or what was there where it names something else."""
        while typing.get_origin(kind) is Annotated:
            kind, *more = typing.get_args(kind)
            extra = [*extra, *more]
        origin, args = typing.get_origin(kind), typing.get_args(kind)
        if origin in (typing.Union, types.UnionType):
            choices = [one for one in args if one is not type(None)]
            return old if len(choices) > 1 else self.make(choices[0], extra, old, at)
        if origin is tuple:
            if old is None and not self.numbers:
                return None
            items = old if old is not None else [None]
            return [
                one for i, item in enumerate(items) if (one := self.make(args[0], [], item, (*at, i))) is not None
            ] or None
        if origin is dict:
            if old is None and not self.numbers:
                return None
            items = old if old is not None else {self.word(at, "k"): None}
            return {key: self.make(args[1], [], one, (*at, key)) for key, one in items.items()}
        if origin is typing.Literal:
            return old if old is not None else args[0]
        return self.make_plain(kind, extra, old, at)

    def make_plain(self, kind: Any, extra: list[Any], old: Any, at: Pointer) -> Any:
        """Return a canary for a type without parts."""
        if kind is str:
            return self.make_text(extra, old, at)
        if kind is bool or (isinstance(kind, type) and issubclass(kind, enum.Enum)):
            return old if old is not None else False if kind is bool else next(iter(kind)).value
        if not self.numbers and kind in (int, float, dt.date, Money, Range, Limits, Temperature):
            return old
        number = next(self.count)
        if kind is dt.date:
            return (dt.date(1990, 1, 1) + dt.timedelta(days=number - 900)).isoformat()
        if kind in (int, float):
            return self.make_number(kind, extra, number, old)
        if kind is Money:
            return f"{7_310_000 + number - 1000}.17 USD"
        if kind is Range:
            return [7_310_000 + number - 1000 + i for i in (0.1, 0.2, 0.3)]
        if kind is Limits:
            return [-7_310_000.5 - number + 1000, 7_310_000.5 + number - 1000]
        if kind is Temperature:
            return "73.1 C"
        if kind is Years:
            return old if old is not None else "1951-1955"
        if old is None and not self.numbers:
            return None
        if kind is Reading and not isinstance(old, dict):
            old = {"value": 1}
        return self.fill(kind, old or {}, at)

    def make_number(self, kind: type, extra: list[Any], number: int, old: Any) -> Any:
        low, high = _find_bounds(extra)
        value = 7_310_000 + number - 1000 + (0 if kind is int else 0.25)
        if low <= value <= high:
            return kind(value)
        if kind is float:
            return 0.0731 if high < 0.5 else 0.731 + (number % 100) / 1e6
        return old if old is not None else int(max(low, 1))

    def make_text(self, extra: list[Any], old: Any, at: Pointer) -> Any:
        pattern = next((one.pattern for one in extra if isinstance(one, StringConstraints) and one.pattern), None)
        pattern = pattern or next(
            (getattr(one, "pattern", None) for one in extra if getattr(one, "pattern", None)), None
        )
        longest = next((one.max_length for one in extra if isinstance(one, StringConstraints) and one.max_length), None)
        if pattern is not None:
            return old if old is not None else self.make_id(pattern, at)
        if longest == 240:
            return self.make_path(old, at)
        if longest is not None:
            return self.word(at)
        return old if old is not None else "mm"

    def make_id(self, pattern: str, at: Pointer) -> str | None:
        """Return an id that nothing has; None for ids made of two, which name something of another record."""
        if "/" in pattern:
            return None
        if pattern.startswith("^[A-Z0-9]["):
            return self.word(at).upper()
        return self.word(at, "k") if pattern.startswith("^[A-Za-z0-9][") else None

    def make_path(self, old: Any, at: Pointer) -> str:
        old = old or f"none-{next(self.count)}.csv"
        if old not in self.files:
            self.files[old] = f"evidence/{self.word(at, 'f')}{Path(old).suffix}"
        return self.files[old]


_FIXED: dict[tuple[str, str], Any] = {
    ("Decision", "gate"): None, ("Decision", "release"): None, ("Component", "part"): None, ("Component", "bought"): None,
    ("SpendWish", "not_before"): "2027-Q1", ("SpendWish", "not_after"): "2028-Q1", ("SpendWish", "must"): True,
    ("Quote", "pay"): [{"at": "order", "share": 1}], ("Quote", "hands_per_set"): 1, ("Hands", "except"): None,
    ("Interface", "stack"): None, ("Tool", "made_to_fit"): None, ("Tool", "steps"): None,
    ("Measurement", "replaces"): None, ("Original", "hand"): None, ("Feature", "coating"): None,
    ("FitCheck", "hand"): None, ("Prototype", "hand"): None, ("FirstArticle", "hand"): None,
    ("Person", "until"): None, ("Car", "year"): None,
    ("Contributor", "feature"): None, ("Contributor", "name"): None, ("Contributor", "coating"): None,
    ("Contributor", "nominal"): None, ("Contributor", "limits"): None, ("Contributor", "sign"): 1,
}  # fmt: skip
"""Fields that exclude each other, or that say something only together with another record: left as the record has them."""


def _find(value: Any, pointer: Pointer) -> Any:
    """Return what stands at a pointer; None where nothing does."""
    for step in pointer:
        try:
            value = value[step]
        except (KeyError, IndexError, TypeError):
            return None
    return value


def _find_wrong(model: type[BaseModel], value: dict[str, Any]) -> list[Pointer]:
    """Return the places that the reader refuses."""
    try:
        model.model_validate_json(json.dumps(value))
    except ValidationError as error:
        return [tuple(one["loc"]) for one in error.errors(include_url=False)]
    return []


def _find_bounds(extra: list[Any]) -> tuple[float, float]:
    low, high = 0.0, 1e12
    for one in itertools.chain.from_iterable(getattr(e, "metadata", [e]) for e in extra):
        low = max(low, float(getattr(one, "ge", getattr(one, "gt", low)))) if isinstance(one, Ge | Gt) else low
        high = min(high, float(getattr(one, "le", getattr(one, "lt", high)))) if isinstance(one, Le | Lt) else high
    return low, high


def build_canary_part(canaries: Canaries) -> dict[str, Any]:
    """Return a record in which everything is a canary, linked as the sample record is."""
    text = SAMPLE_PART + MORE
    for at, name in enumerate(_IDS):
        text = re.sub(rf"\b{name}\b(?!-)", f"qzk{9000 + at}", text)
    tree, findings = parse_tree("x.yaml", text)
    assert tree is not None and not findings
    value = copy.deepcopy(tree.value)
    stack = [
        {"feature": "qzk9000"},
        {"name": canaries.word(("stack",)), "nominal": 7310900.5, "limits": [-7310901, 7310901]},
    ]
    value["interfaces"]["qzk9002"]["stack"] = stack
    value["picture"] = "evidence/picture.png"
    return canaries.settle(Part, canaries.fill(Part, copy.deepcopy(value)), value)


def build_canary_catalogues(canaries: Canaries) -> dict[str, dict[str, Any]]:
    """Return the sample's catalogues with a canary in every text, and a second family and vehicle for what stays in."""
    found: dict[str, dict[str, Any]] = {}
    for name, model in {**CATALOGUE_FILES, **OPTIONAL_CATALOGUES}.items():
        if name != "editions":
            tree, _ = parse_tree(name, SAMPLE_SHARED[f"shared/{name}.yaml"])
            assert tree is not None
            value = copy.deepcopy(tree.value)
            if name == "families":
                value["families"]["qzk9100"] = copy.deepcopy(value["families"]["cast"])
            if name == "vehicles":
                value["vehicles"]["qzk9101"] = copy.deepcopy(value["vehicles"]["finch"])
            if name == "safety":
                value["hazards"] = {"asbestos": "x", "radium": "x"}
            found[name] = canaries.settle(model, canaries.fill(model, copy.deepcopy(value)), value)
    found["shop"]["as_of"] = "2026-06-01"
    found["money"]["hourly"] = {"engineer": 7310801, "buyer": 7310802}
    found["money"]["budgets"] = {"2026-Q3": 7310803}
    return found


def write_json(path: Path, value: Any) -> None:
    """Write a record or a catalogue: JSON is YAML too."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(json.dumps(value, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def build_png(tokens: Iterator[int]) -> bytes:
    """Return a picture that carries canaries in everything that a picture can carry beside its pixels."""
    image = Image.new("RGB", (48, 30), (180, 170, 150))
    words = PngImagePlugin.PngInfo()
    words.add_text("Comment", f"qz{next(tokens):04}")
    words.add_text("Author", f"qz{next(tokens):04}", zip=True)
    words.add_itxt("XML:com.adobe.xmp", f"qz{next(tokens):04}", zip=True)
    exif = Image.Exif()
    exif[0x010E] = f"qz{next(tokens):04}"
    out = io.BytesIO()
    image.save(out, "PNG", pnginfo=words, exif=exif)
    return out.getvalue() + f"qz{next(tokens):04}".encode()


def find_traces(content: bytes) -> list[bytes]:
    """Return every trace of a canary in a file: as it stands, and packed anywhere inside it."""
    found = [match.group() for pattern in TRACES for match in pattern.finditer(content)]
    for start in re.finditer(rb"\x78[\x01\x5e\x9c\xda]", content):
        try:
            unpacked = zlib.decompressobj().decompress(content[start.start() :], 1_000_000)
        except zlib.error:
            continue
        found += [match.group() for match in WORD.finditer(unpacked)]
    return found


def list_fields(model: type[BaseModel], known: set[type] | None = None) -> set[tuple[str, str]]:
    """Return every field of a model and of the models inside it."""
    known = set() if known is None else known
    if model in known or model in (Money, Range, Limits, Years, Temperature):
        return set()
    known.add(model)
    found = {(model.__name__, field.alias or name) for name, field in model.model_fields.items()}
    for field in model.model_fields.values():
        for inner in _list_models(field.annotation):
            found |= list_fields(inner, known)
    return found


def _list_models(kind: Any) -> Iterator[type[BaseModel]]:
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        yield kind
    for one in typing.get_args(kind):
        yield from _list_models(one)
