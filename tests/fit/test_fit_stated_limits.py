"""Limits by a class: looked up where a feature states no limits, told where the table has none or says otherwise."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pipeline.fit.stated_limits import compute_class_limits, describe_class, find_class_fault, resolve_part
from pipeline.model.part import Feature
from pipeline.portfolio.check import check_workspace
from pipeline.portfolio.near import read_near


def make(tolerance: str, nominal: float = 14.0, unit: str = "mm", **more: Any) -> Feature:
    values = {"what": "x", "kind": "size", "nominal": nominal, "unit": unit, "tolerance": tolerance, **more}
    return Feature.model_validate_json(json.dumps(values))


# ISO 286-2:2010 tables (14 H7, 14 g6, 25 P7); ISO 2768-1:1989 table 1 (m: 6 to 30 mm, 30 to 120 mm); ISO 8062-3:2007
# table 2 (DCTG 6 from 100 to 160 mm: 0.88 mm in all). The deviations in mm.
@pytest.mark.parametrize(
    ("tolerance", "nominal", "lower", "upper"),
    [("H7", 14, 0.0, 0.018), ("g6", 14, -0.017, -0.006), ("P7", 25, -0.035, -0.014), ("ISO 2768-m", 12, -0.2, 0.2),
     ("ISO 2768-1-m", 45, -0.3, 0.3), ("ISO 2768-mK", 45, -0.3, 0.3), ("DCTG 6", 112.4, -0.44, 0.44),
     ("ISO 8062-3 DCTG6", 112.4, -0.44, 0.44)],
)  # fmt: skip
def test_a_class_gives_the_limits_of_its_table(tolerance: str, nominal: float, lower: float, upper: float) -> None:
    found = compute_class_limits(make(tolerance, nominal))
    assert (found.limits.lower, found.limits.upper) == pytest.approx((lower, upper))
    assert found.source.startswith("ISO ")


def test_inches_are_looked_up_in_millimetres_and_given_back_in_inches() -> None:
    found = compute_class_limits(make("H7", 0.5, "in")).limits  # 12.7 mm: +0.018 mm = 0.00070866 in
    assert (found.lower, found.upper) == (0.0, pytest.approx(0.018 / 25.4, abs=1e-7))


@pytest.mark.parametrize(
    ("tolerance", "more", "reason"),
    [("H19", {}, "IT19 is not in the table"), ("H7", {"shape": "shaft"}, "a capital letter is for holes"),
     ("g6", {"shape": "hole"}, "a small letter is for shafts"), ("ISO 2768-v", {"nominal": 2.0}, "has no value at 2 mm"),
     ("DCTG 17", {}, "DCTG 17 does not exist"), ("H7", {"nominal": 501.0}, "outside the table"),
     ("ISO 2768-m", {"kind": "angle", "unit": "deg"}, "not for angle"), ("H7", {"nominal": 0.0}, "outside the table"),
     ("as the drawing says", {}, "is no class known here")],
)  # fmt: skip
def test_what_no_table_has_is_told_and_gives_no_limits(tolerance: str, more: dict[str, Any], reason: str) -> None:
    feature = make(tolerance, **{"nominal": 14.0, **more})
    fault = find_class_fault(feature)
    assert fault is not None and fault[0] and reason in fault[1], fault


def test_a_note_of_the_drawing_beside_limits_is_let_alone_and_a_class_that_differs_is_not() -> None:
    assert find_class_fault(make("to sheet 3", limits=[-0.1, 0.1])) is None
    assert find_class_fault(make("ISO 2768-m", limits=[-0.2, 0.2])) is None
    assert describe_class(make("ISO 2768-m", limits=[-0.2, 0.2])) is not None
    fault = find_class_fault(make("ISO 2768-m", limits=[-0.1, 0.2]))
    assert (
        fault is not None
        and not fault[0]
        and "[-0.1, 0.2] mm are not those of ISO 2768-m at 14 mm: ± 0.2 mm" in fault[1]
    )
    assert describe_class(make("ISO 2768-m", limits=[-0.1, 0.2])) is None


def test_everything_that_comes_after_sees_the_limits(sample: Callable[..., Path]) -> None:
    features = "features:\n  length: {what: length, kind: size, nominal: 40, tolerance: %s, unit: mm, critical: true}\n"
    root = sample(features % "ISO 2768-f" + "decisions: []\n")
    checked = check_workspace(root)
    assert checked.workspace is not None and not [f for f in checked.findings if f.rule in ("P504", "Q817")]
    limits = checked.workspace.parts["SD-100"].features["length"].limits
    assert limits is not None and (limits.lower, limits.upper) == (
        -0.15,
        0.15,
    )  # ISO 2768-1:1989 table 1, f, 30 to 120 mm
    near, _ = read_near(root, "SD-100")
    assert near is not None and near.part is not None and near.part.features["length"].limits == limits
    assert resolve_part(near.part) is near.part
    broken = check_workspace(sample(features % "H19" + "decisions: []\n"))
    assert {(f.rule, f.pointer) for f in broken.findings} >= {("Q817", "features.length.tolerance")}


def test_pages_name_the_class_and_its_table(sample: Callable[..., Path]) -> None:
    from pipeline.portfolio.portfolio import build_portfolio
    from pipeline.views.addresses import Anchors
    from pipeline.views.measurements import build_measurement_sections
    from pipeline.views.part_features import build_features

    root = sample(
        "features:\n  length: {what: length, kind: size, nominal: 40, tolerance: ISO 2768-f, unit: mm}\ndecisions: []\n"
    )
    file = build_portfolio(root, None).parts["SD-100"]
    line = build_features(file, Anchors(file.part, file.lineage.nodes))[0]
    assert line.limits == "±0.15 (ISO 2768-f)"
    assert line.working is not None and "limits by their class: ISO 2768-f at 40 mm: ± 0.15 mm" in line.working.formula
    verdicts = next(s for s in build_measurement_sections(file) if s.anchor == "measuring-verdicts")
    assert verdicts.working is not None and any("ISO 2768-1:1989 Table 1" in one for one in verdicts.working.formula)


def test_a_fit_of_a_bore_on_a_bought_in_pin_is_stacked_by_classes(sample: Callable[..., Path]) -> None:
    """ISO 286-2:2010: 14 H7 is 0 to +18 um, 14 g6 is -17 to -6 um: clearance of 6 to 35 um, worst case."""
    from pipeline.gates.stacks import compute_interface

    part = (
        "features:\n  length: {what: bore, kind: size, nominal: 14, tolerance: H7, unit: mm, shape: hole, critical: true}\n"
        "interfaces:\n  pin: {what: bore on pin, gap: {limits: [0.0, 0.05]}, stack: [{feature: length}, "
        "{name: pin, nominal: 14, tolerance: %s, sign: -1}]}\ndecisions: []\n"
    )
    workspace = check_workspace(sample(part % "g6")).workspace
    assert workspace is not None
    result = compute_interface(workspace.parts["SD-100"], "pin")
    assert not isinstance(result, str)
    assert (result.worst.low_mm, result.worst.high_mm) == pytest.approx((0.006, 0.035))
    broken = check_workspace(sample(part % "g19")).workspace
    assert broken is not None and "IT19 is not in the table" in str(compute_interface(broken.parts["SD-100"], "pin"))
