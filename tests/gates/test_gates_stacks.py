"""The stack of an interface, from what a record says to limits in millimetres, and what a record says that gives none."""

from __future__ import annotations

from typing import Any

import pytest
from lineage.lineage_workspace import parse_record
from lineage.test_lineage_edges import build_record

from pipeline.fit.contributors import Distribution
from pipeline.fit.stack import StackResult
from pipeline.gates.stacks import build_contributors, compute_interface
from pipeline.model.part import Part

SLOT = {"name": "slot", "nominal": 40.5, "limits": [-0.1, 0.1]}
LENGTH = {"feature": "length", "sign": -1}
FEATURES = {
    "plate": {"what": "plating", "kind": "thickness", "nominal": 20, "limits": [-5, 5], "unit": "um"},
    "inch": {"what": "spacer", "kind": "size", "nominal": 0.1, "limits": [-0.01, 0.01], "unit": "in"},
    "free": {"what": "free end", "kind": "size", "nominal": 3, "unit": "mm"},
    "least": {"what": "wall", "kind": "size", "nominal": 3, "limits": [-0.1, None], "unit": "mm"},
    "lean": {"what": "lean", "kind": "angle", "nominal": 3, "limits": [-1, 1], "unit": "deg"},
}


def build_part(*stack: dict[str, Any], gap: dict[str, Any] | None = None) -> Part:
    """Return the sample with more features and with one interface that has this stack."""
    seat = {"what": "hook to slot", "gap": gap or {"limits": [0.1, 0.9]}, "stack": list(stack)}
    return parse_record(build_record("SD-100", features=FEATURES, interfaces={"seat": seat}))


def test_a_coating_closes_the_gap_on_every_face_that_it_covers_and_units_become_millimetres() -> None:
    """By hand: 40.5 - 40 - 2 x 0.020 + 2.54 = 3.0 mm; worst case 0.1 + 0.2 + 2 x 0.005 + 0.254 = 0.564 mm each way."""
    part = build_part(SLOT, LENGTH, {"coating": "plate", "faces": 2}, {"feature": "inch"})
    found = compute_interface(part, "seat")
    assert isinstance(found, StackResult)
    assert (found.worst.low_mm, found.worst.high_mm) == pytest.approx((3.0 - 0.564, 3.0 + 0.564))
    contributors, problems = build_contributors(part, "seat")
    assert problems == []
    assert [one.sensitivity for one in contributors] == [1, -1, -2, 1]


def test_a_gap_in_inches_and_what_is_stated_for_it_are_held_in_millimetres() -> None:
    """By hand: slot 1.6 +- 0.004 in = 40.64 +- 0.1016 mm, less 40 +- 0.2 mm; 0.01 to 0.03 in are 0.254 to 0.762 mm."""
    slot = {"name": "slot", "nominal": 1.6, "limits": [-0.004, 0.004]}
    found = compute_interface(build_part(slot, LENGTH, gap={"limits": [0.01, 0.03], "unit": "in"}), "seat")
    assert isinstance(found, StackResult)
    assert (found.lower_limit_mm, found.upper_limit_mm) == pytest.approx((0.254, 0.762))
    assert (found.worst.low_mm, found.worst.high_mm) == pytest.approx((0.64 - 0.3016, 0.64 + 0.3016))


def test_a_bought_in_pin_takes_its_limits_from_its_class() -> None:
    """ISO 286-2:2010: 14 g6 is -17 to -6 um; in a slot of 14.1 +- 0.01 mm it leaves 0.096 to 0.127 mm."""
    pin = {"name": "pin", "nominal": 14, "tolerance": "g6", "sign": -1}
    part = build_part({"name": "slot", "nominal": 14.1, "limits": [-0.01, 0.01]}, pin)
    found = compute_interface(part, "seat")
    assert isinstance(found, StackResult)
    assert (found.worst.low_mm, found.worst.high_mm) == pytest.approx((0.096, 0.127))
    assert [one.name for one in build_contributors(part, "seat")[0]] == ["slot", "pin (g6)"]


@pytest.mark.parametrize(("open_side", "kept"), [([0.1, None], (0.1, None)), ([None, 0.9], (None, 0.9))])
def test_a_gap_with_one_limit_stays_open_on_the_other_side(open_side: list[Any], kept: tuple[Any, Any]) -> None:
    found = compute_interface(build_part(SLOT, LENGTH, gap={"limits": open_side}), "seat")
    assert isinstance(found, StackResult)
    assert (found.lower_limit_mm, found.upper_limit_mm) == kept


@pytest.mark.parametrize("shape", ["normal", "uniform", "triangular"])
def test_a_link_scatters_as_the_record_says(shape: str) -> None:
    contributors, _ = build_contributors(build_part({**SLOT, "shape": shape}), "seat")
    assert contributors[0].distribution is Distribution(shape)


@pytest.mark.parametrize(
    ("stack", "gap", "words"),
    [
        ((), None, "no stack is recorded"),
        ((SLOT,), {"limits": [1, 2], "unit": "deg"}, "the gap is not a length (deg)"),
        (({"feature": "gone"},), None, "link 1: there is no feature gone"),
        ((SLOT, {"coating": "gone"}), None, "link 2: there is no feature gone"),
        (({"feature": "free"},), None, "link 1: free has no limits"),
        (({"feature": "least"},), None, "link 1: wall is limited on one side only"),
        (({**SLOT, "limits": [None, 0.1]},), None, "link 1: slot is limited on one side only"),
        (({"feature": "lean"},), None, "link 1: lean is not a length (deg)"),
        (({"feature": "lean"}, SLOT, {"feature": "free"}), None,
         "link 1: lean is not a length (deg); link 3: free has no limits"),
        ((SLOT, SLOT), None, "slot is in the stack twice; make it one contributor and add its sensitivities"),
        (({"name": "pin", "nominal": 14, "tolerance": "g19"},), None,
         "link 1: pin: IT19 is not in the table; write a grade from 4 to 16"),
    ],
)  # fmt: skip
def test_a_stack_that_cannot_be_reckoned_says_which_link_and_why(
    stack: tuple[dict[str, Any], ...], gap: dict[str, Any] | None, words: str
) -> None:
    assert compute_interface(build_part(*stack, gap=gap), "seat") == words
