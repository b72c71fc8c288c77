"""What the types of a record take and what they refuse, in words that say what to write instead."""

from __future__ import annotations

import datetime as dt
import json
from decimal import Decimal
from typing import Any

import pytest
from pydantic import BaseModel, TypeAdapter, ValidationError

from pipeline.findings.sample import SAMPLE_PART
from pipeline.model.catalogue import Family, Gates, Quarter, StudiedSpread
from pipeline.model.edition import EditionName
from pipeline.model.named_files import find_named_files
from pipeline.model.part import Component, Contributor, Decision, Hands, Part, Quote, SpendWish, Waiver
from pipeline.model.quantity import (
    Day,
    EvidencePath,
    Limits,
    Money,
    Number,
    PositiveRange,
    Price,
    Range,
    Temperature,
    Unit,
    Years,
)
from pipeline.reading.tree import parse_tree


def take(kind: Any, value: Any) -> Any:
    """Return a value of a type, as a record gives it."""
    return TypeAdapter(kind).validate_python(value)


@pytest.mark.parametrize(
    ("kind", "given", "taken"),
    [
        (Day, "2026-05-20", dt.date(2026, 5, 20)),
        (Day, dt.date(2026, 5, 20), dt.date(2026, 5, 20)),
        (EvidencePath, "evidence/o1 ä.csv", "evidence/o1 ä.csv"),
        (Money, "38000 USD", Money(amount=Decimal(38000), currency="USD")),
        (Money, "-0.1234  EUR", Money(amount=Decimal("-0.1234"), currency="EUR")),
        (Money, "1000000000000 USD", Money(amount=Decimal(10) ** 12, currency="USD")),
        (Price, "0 USD", Money(amount=Decimal(0), currency="USD")),
        (Range, [1, 2, 3], Range(low=1, likely=2, high=3)),
        (Range, 2, Range(low=2, likely=2, high=2)),
        (PositiveRange, [0, 0, 1], Range(low=0, likely=0, high=1)),
        (Limits, [-0.2, None], Limits(lower=-0.2, upper=None)),
        (Limits, [0.1, 0.1], Limits(lower=0.1, upper=0.1)),
        (Years, "1951-1955", Years(first=1951, last=1955)),
        (Years, "1951 - 1955", Years(first=1951, last=1955)),
        (Years, 1953, Years(first=1953, last=1953)),
        (Unit, "um", "um"),
        (EditionName, "partner", "partner"),
    ],
)
def test_what_a_record_writes_is_taken_as_it_is_meant(kind: Any, given: Any, taken: Any) -> None:
    assert take(kind, given) == taken
    if isinstance(taken, BaseModel):
        assert take(kind, taken) == taken, "a value that was made already is taken as it is"


def test_fahrenheit_is_turned_into_celsius() -> None:
    assert take(Temperature, "68 F").celsius == pytest.approx(20.0)
    assert take(Temperature, "-40 F").celsius == pytest.approx(-40.0)
    assert take(Temperature, "21.5 C") == Temperature(celsius=21.5)


@pytest.mark.parametrize(
    ("kind", "given", "words"),
    [
        (Day, 20260520, "20260520 is not a day; write it as 2026-05-20"),
        (Day, "20.5.2026", "not a day"),
        (Day, "2026-02-30", "not a day"),
        (EvidencePath, "evidence\\o1.csv", "uses a backslash; write paths with /"),
        (EvidencePath, "/etc/passwd", "leaves the folder of the part"),
        (EvidencePath, "C:o1.csv", "leaves the folder of the part"),
        (EvidencePath, "evidence/../../o1.csv", "leaves the folder of the part"),
        (EvidencePath, "evidence/o1\n.csv", "cannot hold control characters"),
        (EvidencePath, "evidence/o1\x7f.csv", "cannot hold control characters"),
        (Money, 38000, "38000 has no currency; write it as 38000 USD"),
        (Money, "38,000 USD", "is not money; write it as 38000 USD"),
        (Money, "38000 $", "is not money"),
        (Money, "1000000000001 USD", "is more than any tool costs"),
        (Money, "-1000000000001 USD", "is more than any tool costs"),
        (Price, "-1 USD", "-1 USD is below zero; a price cannot be negative"),
        (Range, [1, 2], r"\[1, 2\] is not a range; write it as \[low, likely, high\]"),
        (Range, True, "True is not a range"),
        (Range, [1, 3, 2], "1, 3, 2 do not rise"),
        (Range, [2, 1, 3], "2, 1, 3 do not rise"),
        (PositiveRange, [-1, 0, 1], "-1 is below zero"),
        (Limits, [0.1], r"\[0.1\] is not a pair of limits; write it as \[-0.25, 0.25\]"),
        (Limits, [None, None], "both limits are empty; give at least one"),
        (Limits, [0.2, 0.1], "lower limit 0.2 is above upper limit 0.1"),
        (Years, "51-55", "'51-55' are not years; write them as 1951-1955"),
        (Years, True, "are not years"),
        (Years, "1955-1951", "first year 1955 is after last year 1951"),
        (Temperature, "21.5", "'21.5' is not a temperature; write it as 21.5 C"),
        (Temperature, 21.5, "21.5 is not a temperature"),
        (Number, True, "true is not a number"),
        (Number, "3", '"3" is not a number'),
        (Number, 1e13, "less than or equal to"),
        (Number, float("nan"), "less than or equal to"),
        (Unit, "inch", '"inch" is not a unit that is known here; use one of mm, um, in, cm'),
        (Quarter, "2026-5", "should match pattern"),
        (EditionName, "Internal", "is the edition with everything in it; choose another name"),
    ],
)
def test_what_cannot_be_meant_is_refused_in_words(kind: Any, given: Any, words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        take(kind, given)


def test_money_and_years_read_as_a_person_writes_them() -> None:
    assert str(take(Money, "38000 USD")) == "38,000.00 USD"
    assert (str(take(Years, 1953)), str(take(Years, "1951-1955"))) == ("1953", "1951–1955")


REDO = (
    "remeasure_h",
    "remodel_h",
    "reprint",
    "fit_h",
    "fit_hire",
    "requote_h",
    "tool_redesign",
    "setup",
    "plating_trial",
    "inspect_h",
)
FAMILY = {"name": "cast", "redo": dict.fromkeys(REDO, 1)}
GO = {"on": "2026-05-20", "by": "bob", "say": "go"}
STUDY = {"of": "SD-100/G1", "repeatability": 0.01, "dof": 60}
SLOT = {"name": "slot", "nominal": 20.4, "limits": [-0.1, 0.1]}
HANDS = {"left": "SD-100", "right": "SD-101"}
QUOTE = {"from": "foundry", "of": "A", "on": "2026-05-01", "money": "USD", "piece": {"500": 4.2}}
HALVES = [{"at": "order", "share": 0.5}, {"at": "delivery", "share": 0.5}]
NEED = {"decided_by": ["lead"], "needs": {"model.revision": {}}}
GATES = dict.fromkeys(("measure", "model", "prototype", "fit check", "quote", "tooling"), NEED)
WAIVER = {"of": "fit-check.coverage", "by": "bob", "risk": "kim", "exposure": "900 USD", "instead": "x", "why": "y"}


def read(kind: type[BaseModel], value: Any) -> BaseModel:
    """Return an entry of a record from plain values, as its text gives them."""
    return kind.model_validate_json(json.dumps(value))


@pytest.mark.parametrize(
    ("kind", "value"),
    [
        (Contributor, {"feature": "length"}),
        (Contributor, {"coating": "plate", "faces": 2}),
        (Contributor, SLOT),
        (Contributor, {"name": "pin", "nominal": 14, "tolerance": "g6"}),
        (Hands, {**HANDS, "relation": "mirror"}),
        (Hands, {**HANDS, "relation": "mirror-except", "except": ["slot"]}),
        (Quote, {**QUOTE, "valid_to": "2026-05-01", "pay": HALVES}),
        (Component, {"part": "SD-100"}),
        (Component, {"bought": "a pin"}),
        (SpendWish, {"not_before": "2026-Q2", "not_after": "2026-Q2"}),
        (SpendWish, {"must": False}),
        (SpendWish, {"must": True, "not_after": "2026-Q2"}),
        (Family, {**FAMILY, "mix": {"weld": 0.5, "new-tool": 0.5}}),
        (Family, {**FAMILY, "draw_ratios": []}),
        (Family, {**FAMILY, "draw_ratios": [0.55, 0.78]}),
        (Gates, {"gates": GATES, "release": NEED}),
        (Decision, {**GO, "gate": "model"}),
        (Decision, {**GO, "release": "tooling"}),
        (StudiedSpread, {**STUDY, "people": 1}),
        (StudiedSpread, {**STUDY, "reproducibility": 0.1, "people": 2}),
        (Waiver, {**WAIVER, "until": "2027-01-31"}),
        (Waiver, {**WAIVER, "until": "before metal is cut"}),
        (Waiver, {**WAIVER, "until": "first article"}),
    ],
)
def test_entries_that_go_together_are_taken(kind: type[BaseModel], value: Any) -> None:
    made = read(kind, value)
    assert kind.model_validate(made) == made


@pytest.mark.parametrize(
    ("kind", "value", "words"),
    [
        (Contributor, {}, "a link of a stack names one of feature, coating or name"),
        (Contributor, {"feature": "a", "coating": "b"}, "names one of feature, coating or name"),
        (Contributor, {"name": "slot", "nominal": 20.4}, 'the link "slot" needs nominal and limits'),
        (Contributor, {"name": "slot", "limits": [0, 1]}, 'the link "slot" needs nominal and limits'),
        (Contributor, {**SLOT, "tolerance": "H7"}, "states limits and a class; take one of them out"),
        (Contributor, {"feature": "a", "nominal": 1}, "nominal and limits of a feature or a coating stand with the feature"),
        (Contributor, {**SLOT, "sign": 0}, "sign 0 takes the link out of the stack"),
        (Hands, {**HANDS, "relation": "mirror", "except": ["slot"]}, "it goes with relation mirror-except, and only there"),
        (Hands, {**HANDS, "relation": "mirror-except"}, "it goes with relation mirror-except, and only there"),
        (Quote, {**QUOTE, "valid_to": "2026-04-30"}, "valid_to 2026-04-30 is before the day of the quote, 2026-05-01"),
        (Quote, {**QUOTE, "pay": HALVES[:1]}, "the payment shares add up to 0.50, not to 1"),
        (Quote, {**QUOTE, "piece": {"0": 4.2}}, '"0" is not an order quantity'),
        (Quote, {**QUOTE, "piece": {"²": 4.2}}, '"²" is not an order quantity'),
        (Quote, {**QUOTE, "piece": {"many": 4.2}}, '"many" is not an order quantity'),
        (Component, {}, "a component is either `part`"),
        (Component, {"part": "SD-100", "bought": "a pin"}, "a component is either `part`"),
        (SpendWish, {"not_before": "2026-Q3", "not_after": "2026-Q2"}, "not_before 2026-Q3 is later than not_after 2026-Q2"),
        (SpendWish, {"must": False, "not_before": "2026-Q2"}, "`must: false` keeps the tools out"),
        (SpendWish, {"must": False, "not_after": "2026-Q2"}, "`must: false` keeps the tools out"),
        (Family, {**FAMILY, "mix": {"weld": 0.5, "new-tool": 0.4}}, "adds up to 0.900, not to 1"),
        (Family, {**FAMILY, "draw_ratios": [0.55]}, "draw_ratios has the first draw only"),
        (Family, {**FAMILY, "draw_ratios": [0.55, 1]}, "less than 1"),
        (Family, {**FAMILY, "draw_ratios": [0, 0.78]}, "greater than 0"),
        (Gates, {"gates": {k: v for k, v in GATES.items() if k != "quote"}, "release": NEED}, "no policy for the gate quote"),
        (Decision, GO, "a decision names either `gate` or `release: tooling`"),
        (Decision, {**GO, "gate": "model", "release": "tooling"}, "a decision names either `gate` or `release: tooling`"),
        (Waiver, "for ever", "should be a valid dictionary|should be an object"),
        (StudiedSpread, {**STUDY, "reproducibility": 0.1, "people": 1}, "one person shows no reproducibility"),
        (Waiver, {**WAIVER, "until": "one day"}, "neither a day .2027-01-31. nor one of"),
        (Waiver, {**WAIVER, "until": "2027-31-01"}, "not a day"),
    ],
)  # fmt: skip
def test_entries_that_contradict_themselves_are_refused_in_words(kind: type[BaseModel], value: Any, words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        read(kind, value)


def test_every_file_that_a_record_names_is_found_with_its_place() -> None:
    tree, _ = parse_tree("x.yaml", SAMPLE_PART)
    assert tree is not None
    value = json.loads(json.dumps(tree.value))
    value |= {
        "picture": "evidence/hook.png",
        "safety_review": {"on": "2026-01-05", "by": "bob", "regulations": ["lamps"], "plan": "x", "file": "evidence/review.pdf"},
    }  # fmt: skip
    value["first_articles"] = {"N1": {
        "tools": ["die"], "of": "A", "on": "2026-05-20", "by": "ann", "pieces": 3, "finished": True, "result": "good",
        "file": "evidence/report.csv", "settings": "evidence/settings.csv"}}  # fmt: skip
    assert dict(find_named_files(read(Part, value))) == {  # type: ignore[arg-type]
        "evidence/hook.png": ("picture",),
        "evidence/review.pdf": ("safety_review", "file"),
        "evidence/o1.csv": ("measurements", "M1", "file"),
        "evidence/o2.csv": ("measurements", "M2", "file"),
        "evidence/hook-a.stl": ("revisions", "A", "file"),
        "evidence/report.csv": ("first_articles", "N1", "file"),
        "evidence/settings.csv": ("first_articles", "N1", "settings"),
    }
