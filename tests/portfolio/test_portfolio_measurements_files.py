"""What evidence files give: fits against recorded values, and a finding for every bad input."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from pipeline.findings.finding import Finding
from pipeline.model.words import FeatureKind
from pipeline.portfolio.check import check_workspace
from pipeline.portfolio.fits import FitKind, choose_fit, find_groups, fit_feature, fit_round
from pipeline.portfolio.portfolio import build_portfolio

ROOT = Path(__file__).parents[2]
Sample = Callable[..., Path]
RING = np.array([[20 * math.cos(t), 20 * math.sin(t), 0.0] for t in np.arange(24) * 2 * math.pi / 24])


def deep(
    sample: Sample, text: str, gives: str = "length: 40.0", features: str = "", name: str = "scan.csv"
) -> list[Finding]:
    part = features + (
        "measurements:\n"
        "  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o1.csv, gives: {length: 40.02}}\n"
        f"  M2: {{of: O2, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/{name}, gives: {{{gives}}}}}\n"
    )
    root = sample(part, {f"projects/SD-100/evidence/{name}": text})
    return list(check_workspace(root, deep=True).findings)


def write(points: np.ndarray, group: str = "length", unit: str = "mm") -> str:
    return f"# unit: {unit}\ngroup,x,y,z\n" + "".join(f"{group},{x:.6f},{y:.6f},{z:.6f}\n" for x, y, z in points)


def shown(findings: list[Finding]) -> list[tuple[str, str]]:
    return [(f.rule, str(f.location)) for f in findings]


# --- every bad input is a finding, never a crash or a silent number --------------------------------

POINTS = "projects/SD-100/evidence/scan.csv"
RECORD = "projects/SD-100/part.yaml"


@pytest.mark.parametrize(
    ("text", "rule", "place"),
    [
        (write(RING[:2]), "Q805", f"{POINTS}:3:1"),  # two points for a circle
        (write(np.array([[1.0, 0, 0], [2, 0, 0], [3, 0, 0]])), "Q805", f"{POINTS}:3:1"),  # collinear
        (write(np.zeros((5, 3))), "Q805", f"{POINTS}:3:1"),  # one point five times
        (write(RING, "other"), "Q805", f"{POINTS}:1:1"),  # no group of that name
        (write(RING) + "# unit: in\n", "Q802", f"{POINTS}:27:9"),  # mixed units
        (write(RING) + "length,nan,0,0\n", "Q803", f"{POINTS}:27:8"),
        ("", "Q804", f"{POINTS}:1:1"),
        ("group,x,y,z\nlength,1,2,3\n", "Q801", f"{POINTS}:1:1"),
        ("feature,n,reading,unit\nother,1,40,mm\n", "Q805", f"{POINTS}:1:1"),
        ("feature,n,reading,unit\nlength,1,40,HRC\n", "Q805", f"{POINTS}:2:1"),
    ],
)
def test_bad_point_files(sample: Sample, text: str, rule: str, place: str) -> None:
    findings = deep(sample, text)
    assert shown(findings) == [(rule, place)]
    assert findings[0].record == "SD-100" and findings[0].pointer.startswith("measurements.M2")


def test_open_mesh(sample: Sample) -> None:
    part = "revisions:\n  A: {on: 2026-01-20, by: ann, file: evidence/open.stl, from: [M1, M2]}\n"
    text = "solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\nendloop\nendfacet\nendsolid a\n"
    findings = check_workspace(sample(part, {"projects/SD-100/evidence/open.stl": text}), deep=True).findings
    assert shown(list(findings)) == [("Q808", "projects/SD-100/evidence/open.stl:1:1")]
    assert "3 of its edges" in findings[0].message


@pytest.mark.parametrize(
    ("section", "rule"),
    [
        ("features:\n  length: {what: overall length, kind: size, nominal: 40, unit: mm, critical: true}\n", "P504"),
        (
            "features:\n  length: {what: overall length, kind: size, nominal: 40, limits: [0, 0], unit: mm, critical: true}\n",
            "Q811",
        ),
        (
            "originals:\n  O1: {condition: reproduction, from: a}\n  O2: {condition: reproduction, from: b}\ndecisions: []\n",
            "Q812",
        ),
    ],
)
def test_bad_records_are_told_without_opening_files(sample: Sample, section: str, rule: str) -> None:
    findings = check_workspace(sample(section)).findings
    assert {f.rule for f in findings} == {rule}
    assert {f.rule for f in check_workspace(sample(section), deep=True).findings} == {rule}


def test_one_original_is_told(sample: Sample) -> None:
    part = (
        "measurements:\n  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o1.csv, "
        "gives: {length: 40.02}}\nrevisions:\n  A: {on: 2026-01-20, by: ann, file: evidence/hook-a.stl, from: [M1]}\n"
        "decisions: []\n"
    )
    findings = check_workspace(sample(part), deep=True).findings
    assert shown(list(findings)) == [("Q813", f"{RECORD}:12:11")]


# --- recorded values against their points ----------------------------------------------------------


def test_agreement_is_judged_by_the_uncertainty_of_the_reading(sample: Sample) -> None:
    """U = 2 * 0.02 / sqrt 3 = 0.0231 mm about the fitted 40.000 mm."""
    assert deep(sample, write(RING), "length: 40.023") == []
    findings = deep(sample, write(RING), "length: 40.024")
    assert [f.rule for f in findings] == ["Q806"]
    assert findings[0].location.path == RECORD
    assert str(findings[0].related[0].location) == f"{POINTS}:3:1"
    assert "0.024 away where 0.0231 is allowed" in findings[0].message


def test_a_slip_of_units_is_named(sample: Sample) -> None:
    findings = deep(sample, write(RING / 25.4), "length: 40.0")
    assert [f.rule for f in findings] == ["Q806"]
    assert "inches and millimetres" in findings[0].message


def test_other_systems_of_units_are_told_though_the_value_agrees(sample: Sample) -> None:
    findings = deep(sample, write(RING / 25.4, unit="in"), "length: 40.0")
    assert [f.rule for f in findings] == ["Q807"]
    assert deep(sample, write(RING / 25.4, unit="in"), "length: {value: 1.5748, unit: in}") == []


def test_readings_are_averaged_and_compared(sample: Sample) -> None:
    text = "feature,n,reading,unit\nhard,1,50,HRC\nhard,2,52,HRC\n"
    for value, rules in (("51", []), ("53", []), ("53.5", ["Q806"])):  # scatter of the mean 1.0, twice that is allowed
        assert [f.rule for f in deep(sample, text, f"hard: {value}") if f.rule != "Q813"] == rules


def test_a_changed_file_is_still_fitted(sample: Sample) -> None:
    findings = check_workspace(ROOT, deep=True, only=("TW-215",)).findings
    assert any(f.rule == "E302" for f in findings)


def test_the_demo_fits_its_own_points() -> None:
    """Every file of the demo gives its recorded value back; the one that was changed is the trap (invented)."""
    portfolio = build_portfolio(ROOT, deep=True)
    rules = [
        f
        for f in portfolio.findings
        if f.rule in ("Q801", "Q802", "Q803", "Q804", "Q805", "Q806", "Q807", "Q808", "Q809")
    ]
    assert rules == []
    compared = 0
    for file in portfolio.parts.values():
        for found in file.kept["measured"].features.values():
            for value in found.values:
                if value.file_value is not None and value.file_value.fit is not None and file.number != "TW-215":
                    factor = 25.4 if found.feature.unit == "in" else 1.0
                    # a value was written to 0.01 mm or 0.001 in, and small circles at uneven heights lean a little
                    assert value.file_value.value * factor == pytest.approx(value.value * factor, abs=0.006)
                    compared += 1
    assert compared > 150


# --- which fit ------------------------------------------------------------------------------------


def test_groups_of_a_feature() -> None:
    groups = {"pitch.1": RING, "pitch.2": RING, "pitch": RING, "pitch.datum": RING, "pitch.x": RING, "pitcher": RING}
    assert list(find_groups("pitch", groups)) == ["1", "2", "", "datum"]


@pytest.mark.parametrize(
    ("kind", "names", "how", "wanted"),
    [
        (FeatureKind.SIZE, ("",), "", FitKind.CIRCLE),
        (FeatureKind.SIZE, ("",), "least-squares cylinder", FitKind.CYLINDER),
        (FeatureKind.SIZE, ("",), "a sphere", FitKind.SPHERE),
        (FeatureKind.SIZE, ("1", "2"), "", FitKind.CENTRES),
        (FeatureKind.DISTANCE, ("1", "2"), "means of two faces", FitKind.FACES),
        (FeatureKind.DISTANCE, ("1", "2"), "centres of circles", FitKind.CENTRES),
        (FeatureKind.ANGLE, ("1", "2"), "", FitKind.ANGLE),
        (FeatureKind.FLATNESS, ("",), "", FitKind.PLANE),
        (FeatureKind.RUNOUT, ("",), "", FitKind.RUNOUT),
        (FeatureKind.POSITION, ("",), "", FitKind.POSITION),
        (FeatureKind.PROFILE, ("",), "", FitKind.PROFILE),
        (None, ("",), "", FitKind.CIRCLE),
    ],
)
def test_choice_of_the_fit(kind: FeatureKind | None, names: tuple[str, ...], how: str, wanted: FitKind) -> None:
    assert choose_fit(kind, dict.fromkeys(names, RING), how) is wanted


def test_two_faces_are_no_rings() -> None:
    grid = np.array([[0.0, y, z] for y in (0, 5, 10) for z in (0, 5, 10)])
    assert choose_fit(FeatureKind.DISTANCE, {"1": grid, "2": grid + np.array([30, 0, 0])}) is FitKind.FACES
    assert fit_feature("w", FitKind.FACES, {"1": grid, "2": grid + np.array([30, 0, 0])}).value == pytest.approx(30)


def test_a_hardness_has_no_points() -> None:
    with pytest.raises(ValueError, match="single readings"):
        choose_fit(FeatureKind.HARDNESS, {"": RING})


def test_fits_of_exact_features() -> None:
    """Values set by construction."""
    ball = np.array([[3, 0, 0], [-3, 0, 0], [0, 3, 0], [0, -3, 0], [0, 0, 3], [0, 0, -3.0]]) + np.array([100, 50, 20])
    pipe = np.vstack([RING, RING + np.array([0, 0, 15]), RING + np.array([0, 0, 30])])
    ramp = np.column_stack([np.arange(10.0), np.zeros(10), np.zeros(10)])
    slope = np.column_stack([np.arange(10.0), np.arange(10.0) * math.tan(math.radians(130)), np.zeros(10)])
    cases = [
        (FitKind.CIRCLE, {"": RING + np.array([5, 5, 5])}, 40.0),
        (FitKind.SPHERE, {"": ball}, 6.0),
        (FitKind.CYLINDER, {"": pipe}, 40.0),
        (FitKind.CENTRES, {"1": RING, "2": RING + np.array([60, 80, 0])}, 100.0),
        (FitKind.POSITION, {"": RING + np.array([0.03, 0.04, 0])}, 0.1),
        (FitKind.ANGLE, {"1": ramp, "2": slope}, 50.0),  # tan 130 falls: the line runs down at 50 degrees
        (FitKind.ANGLE, {"1": ramp, "2": slope[::-1]}, 130.0),  # taken the other way it is the obtuse one
        (FitKind.LINE, {"": ramp}, 0.0),
        (FitKind.PROFILE, {"": np.array([[0, 0, 0.1], [1, 0, -0.3]])}, -0.3),
    ]
    for kind, groups, value in cases:
        fit = fit_feature("x", kind, groups)
        assert fit.value == pytest.approx(value, abs=1e-9), kind
        assert fit.kind is kind and fit.how and fit.method


def test_runout_parts_its_first_harmonic() -> None:
    """A perfect ring 0.1 mm off the axis: run-out 0.2, first harmonic 0.1, next to nothing else."""
    fit = fit_feature("r", FitKind.RUNOUT, {"": RING + np.array([0.1, 0, 0])})
    assert fit.value == pytest.approx(0.2, abs=1e-4)
    assert fit.harmonic is not None and fit.harmonic.amplitude_mm == pytest.approx(0.1, abs=1e-6)
    assert fit.harmonic.phase_deg == pytest.approx(0, abs=1e-6) or fit.harmonic.phase_deg == pytest.approx(360)
    assert fit.trace is not None and len(fit.trace.angles_deg) == 24


def test_runout_about_its_own_datum() -> None:
    datum = np.vstack([RING * 0.2 + np.array([7, 3, z]) for z in (0.0, 20.0, 40.0)])
    fit = fit_feature("r", FitKind.RUNOUT, {"": RING + np.array([7.05, 3, 10]), "datum": datum})
    assert fit.value == pytest.approx(0.1, abs=1e-4)
    assert "cylinder" in fit.notes[0]
    flat = fit_feature("r", FitKind.RUNOUT, {"": RING + np.array([7.05, 3, 10]), "datum": datum[:24]})
    assert "lean" in flat.notes[0]


def test_a_short_arc_and_three_points_are_noted() -> None:
    arc = RING[:6]
    assert "short arc" in fit_feature("x", FitKind.CIRCLE, {"": arc}).notes[0]
    three = fit_feature("x", FitKind.CIRCLE, {"": RING[[0, 8, 16]]})
    assert three.scatter_u is None and "three points" in three.notes[-1]


@pytest.mark.parametrize(
    ("kind", "groups"),
    [
        (FitKind.CIRCLE, {"1": RING}),
        (FitKind.CENTRES, {"": RING}),
        (FitKind.FACES, {"1": RING}),
        (FitKind.PLANE, {"": RING[:3]}),
        (FitKind.LINE, {"": RING[:2]}),
        (FitKind.RUNOUT, {"": RING[:6]}),
        (FitKind.CIRCLE, {"": np.full((4, 3), np.nan)}),
    ],
)
def test_what_does_not_fix_a_feature_is_a_sentence(kind: FitKind, groups: dict[str, np.ndarray]) -> None:
    with pytest.raises(ValueError, match=r"\w+ \w+ \w+"):
        fit_feature("x", kind, groups)


def test_a_circle_keeps_to_the_axis_of_the_file_where_heights_are_uneven() -> None:
    """Touches at uneven heights on the wall of a small hole: the plane through them leans, the hole does not."""
    rng = np.random.default_rng(5)
    wall = RING * 0.1 + np.column_stack([np.zeros(24), np.zeros(24), rng.normal(0, 0.5, 24)])
    assert fit_round(wall).radius_mm == pytest.approx(2.0, abs=1e-9)
    tilt = math.radians(20)
    turn = np.array([[1, 0, 0], [0, math.cos(tilt), -math.sin(tilt)], [0, math.sin(tilt), math.cos(tilt)]])
    assert fit_round(RING @ turn.T).radius_mm == pytest.approx(20.0, abs=1e-9)  # a clear lean is followed


# --- results against limits -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("section", "outside"),
    [
        ("length: [40.2, 39.8]", False),  # on both limits
        ("length: [40.21]", True),
        ("hard: [40]", True),
    ],
)
def test_first_articles_that_are_called_good(sample: Sample, section: str, outside: bool) -> None:
    head = "first_articles:\n  FA1: {tools: [die], of: A, on: 2026-05-10, by: ann, seen_by: bob, pieces: 3, finished: true, "
    for result in ("good", "bad"):
        root = sample(head + f"gives: {{{section}}}, result: {result}}}\n")
        rules = {f.rule for f in check_workspace(root).findings}
        assert ("Q816" in rules) is (outside and result == "good")


@pytest.mark.parametrize(("value", "outside"), [("1.5748", False), ("1.6", True)])
def test_tests_in_another_unit_of_length(sample: Sample, value: str, outside: bool) -> None:
    part = (
        "tests:\n  T1: {kind: hardness-test, of: P1, on: 2026-03-01, by: ann, at: lab, covers: [hard], "
        f"gives: {{length: {{value: {value}, unit: in}}, hard: {{value: 700, unit: HV}}}}, result: good}}\n"
    )
    rules = {f.rule for f in check_workspace(sample(part)).findings}
    assert ("Q816" in rules) is outside
