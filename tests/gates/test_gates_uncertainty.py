"""The parts of a reading's uncertainty, each worked by hand, and what is left out of it and said so."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

import pytest

from pipeline.gates.reading_uncertainty import (
    PartShape,
    UncertaintyPart,
    Warmth,
    build_uncertainty_parts,
    compute_expanded,
    find_factor,
)
from pipeline.model.catalogue import Instrument, StudiedSpread
from pipeline.model.part import Feature, Reading
from pipeline.model.words import FeatureKind

SIZE = Feature(what="bore", kind=FeatureKind.SIZE, nominal=500.0, unit="mm")
WARM = Warmth(celsius=25.0, within=2.0, least=10.0, likely=11.5, greatest=13.0, source="handbook")
NO_LIMIT = "the instrument's error limit for this unit is not recorded"
ONE = "one reading: its repeatability is not known"


def build_instrument(**more: Any) -> Instrument:
    """Return an arm with a limit of 0.02 mm + 0.03 mm/m."""
    days = {"calibrated": dt.date(2025, 6, 1), "due": dt.date(2026, 12, 1)}
    return Instrument(**{"name": "arm", "mpe_mm": 0.02, "mpe_per_m": 0.03, **days, **more})


def build_study(**more: Any) -> StudiedSpread:
    """Return a study of three people: 3 um of one reading with 60 degrees of freedom, 4 um between people."""
    found = {"repeatability": 3.0, "reproducibility": 4.0, "unit": "um", "dof": 60, "people": 3, "of": "SD-100/G1"}
    return StudiedSpread(**{**found, **more})


def read(value: float = 500.0, **more: Any) -> Reading:
    """Return a reading."""
    return Reading.model_validate({"value": value, **more})


def show(parts: tuple[UncertaintyPart, ...]) -> dict[str, tuple[float, PartShape, float]]:
    """Return name -> (value rounded to a nanometre, shape, degrees of freedom)."""
    return {part.name: (round(part.value, 6), part.shape, part.dof) for part in parts}


def test_an_error_limit_grows_with_the_size_and_spreads_evenly() -> None:
    """ISO 10360-12: 0.02 + 0.03 x 0.5 m = 0.035 mm; JCGM 100:2008, 4.3.7: u = 0.035 / sqrt 3."""
    parts, left_out = build_uncertainty_parts(read(), SIZE, build_instrument())
    assert show(parts) == {"instrument, error limit": (0.035, PartShape.RECTANGULAR, math.inf)}
    assert parts[0].standard == pytest.approx(0.035 / math.sqrt(3))
    assert compute_expanded(parts) == pytest.approx(2 * 0.035 / math.sqrt(3))
    assert left_out == (ONE,)


def test_an_inch_is_looked_up_in_millimetres() -> None:
    """20 in are 508 mm: 0.02 + 0.03 x 0.508 = 0.03524 mm; a stated U of 0.001 in is 0.0254 mm."""
    inch = SIZE.model_copy(update={"nominal": 20.0, "unit": "in"})
    parts, _ = build_uncertainty_parts(read(20.0), inch, build_instrument())
    assert show(parts)["instrument, error limit"][0] == 0.03524
    stated, left_out = build_uncertainty_parts(read(20.0, U=0.001), inch, build_instrument())
    assert show(stated) == {"stated U": (0.0254, PartShape.EXPANDED, math.inf)}
    assert compute_expanded(stated) == pytest.approx(0.0254) and left_out == ()
    assert find_factor(inch, read(508.0, unit="mm")) == 1.0


def test_a_hardness_keeps_its_own_unit() -> None:
    """A stated U of 1.5 HRC is 1.5 HRC; 49, 50 and 51 HRC have s = 1, their mean 1 / sqrt 3 (JCGM 100:2008, 4.2.3)."""
    hard = SIZE.model_copy(update={"kind": FeatureKind.HARDNESS, "nominal": 50.0, "unit": "HRC"})
    stated, _ = build_uncertainty_parts(read(50.0, U=1.5), hard, None)
    assert show(stated) == {"stated U": (1.5, PartShape.EXPANDED, math.inf)}
    parts, _ = build_uncertainty_parts(read(50.0, readings=(49.0, 50.0, 51.0)), hard, None)
    assert show(parts) == {"repeatability": (round(1 / math.sqrt(3), 6), PartShape.STANDARD, 2)}


def test_repeated_readings_have_a_mean_that_scatters_less() -> None:
    """JCGM 100:2008, 4.2.3: 10, 14, 12 um apart have s = 2 um; their mean 2 / sqrt 3 um with 2 degrees of freedom."""
    parts, left_out = build_uncertainty_parts(read(readings=(500.010, 500.014, 500.012)), SIZE, None)
    assert show(parts) == {"repeatability": (round(0.002 / math.sqrt(3), 6), PartShape.STANDARD, 2)}
    assert left_out == (NO_LIMIT,)
    assert compute_expanded(parts) is None, "scatter alone says nothing of what all readings share"


@pytest.mark.parametrize(
    ("instrument", "feature"),
    [
        (None, SIZE),
        (build_instrument(mpe_mm=None), SIZE),
        (build_instrument(), SIZE.model_copy(update={"unit": "deg", "kind": FeatureKind.ANGLE})),
    ],
)
def test_nothing_known_is_no_uncertainty_and_says_what_is_missing(
    instrument: Instrument | None, feature: Feature
) -> None:
    assert build_uncertainty_parts(read(), feature, instrument) == ((), (NO_LIMIT, ONE))
    assert compute_expanded(()) is None


# JCGM 100:2008, H.1.3 to H.1.7, by hand for 500 mm, 11.5e-6/K known to 1.5e-6/K, 25 C known to 2 C:
# 500 x 11.5e-6 x 2 = 0.0115; 500 x 5 x 1.5e-6 = 0.00375; 500 x 2 x 1.5e-6 / 3 = 0.0005 (second order).
WARMTH = {
    "temperature of the part": (0.0115, PartShape.RECTANGULAR, math.inf),
    "coefficient of expansion": (0.00375, PartShape.RECTANGULAR, math.inf),
    "both together (second order)": (0.0005, PartShape.STANDARD, math.inf),
}


def test_warmth_adds_three_parts_to_a_length_whose_error_limit_is_known() -> None:
    parts, _ = build_uncertainty_parts(read(), SIZE, build_instrument(), WARM)
    assert show(parts) == {"instrument, error limit": (0.035, PartShape.RECTANGULAR, math.inf), **WARMTH}


@pytest.mark.parametrize(
    ("what", "feature", "instrument"),
    [
        ("a form does not grow", SIZE.model_copy(update={"kind": FeatureKind.FLATNESS}), build_instrument()),
        ("an angle does not grow", SIZE.model_copy(update={"unit": "deg"}), build_instrument()),
        ("nothing else is known", SIZE, None),
    ],
)
def test_warmth_adds_nothing_else(what: str, feature: Feature, instrument: Instrument | None) -> None:
    parts, _ = build_uncertainty_parts(read(), feature, instrument, WARM)
    assert not set(show(parts)) & set(WARMTH), what


def test_a_size_without_nominal_grows_by_what_was_read() -> None:
    parts, _ = build_uncertainty_parts(read(500.0), SIZE.model_copy(update={"nominal": 0.0}), build_instrument(), WARM)
    assert show(parts)["temperature of the part"][0] == 0.0115


STUDIED = {
    "repeatability, gauge study": (0.003, PartShape.STANDARD, 60),
    "reproducibility, gauge study": (0.004, PartShape.STANDARD, 2),  # three people: two degrees of freedom
}


@pytest.mark.parametrize(
    ("reading", "has_scatter", "names"),
    [
        (read(), False, {"repeatability, gauge study", "reproducibility, gauge study"}),
        (read(), True, {"reproducibility, gauge study"}),
        (read(readings=(500.0, 500.0)), False, {"repeatability", "reproducibility, gauge study"}),
    ],
)
def test_a_study_stands_in_for_the_scatter_that_one_reading_cannot_show(
    reading: Reading, has_scatter: bool, names: set[str]
) -> None:
    instrument = build_instrument(studies={FeatureKind.SIZE: build_study()})
    parts, left_out = build_uncertainty_parts(reading, SIZE, instrument, has_scatter=has_scatter)
    found = show(parts)
    assert set(found) == {"instrument, error limit"} | names and left_out == ()
    assert {name: found[name] for name in names & set(STUDIED)} == {
        name: STUDIED[name] for name in names & set(STUDIED)
    }


def test_a_study_that_found_no_difference_between_people_adds_none() -> None:
    instrument = build_instrument(studies={FeatureKind.SIZE: build_study(reproducibility=0.0)})
    parts, _ = build_uncertainty_parts(read(), SIZE, instrument)
    assert set(show(parts)) == {"instrument, error limit", "repeatability, gauge study"}


@pytest.mark.parametrize(
    ("kind", "unit", "study", "counts"),
    [
        (FeatureKind.SIZE, "mm", build_study(), True),
        (FeatureKind.SIZE, "mm", build_study(unit="HRC"), False),
        (FeatureKind.HARDNESS, "HRC", build_study(unit="HRC"), True),
        (FeatureKind.HARDNESS, "HRC", build_study(unit="HV"), False),
    ],
)
def test_a_study_counts_for_features_of_its_kind_in_a_unit_that_goes_with_it(
    kind: FeatureKind, unit: str, study: StudiedSpread, counts: bool
) -> None:
    feature = SIZE.model_copy(update={"kind": kind, "unit": unit})
    parts, left_out = build_uncertainty_parts(read(), feature, build_instrument(studies={kind: study}))
    assert ("repeatability, gauge study" in show(parts)) is counts
    assert (ONE in left_out) is not counts
    other = build_instrument(studies={FeatureKind.RUNOUT: study})
    assert "repeatability, gauge study" not in show(build_uncertainty_parts(read(), feature, other)[0])


def test_few_degrees_of_freedom_widen_the_factor() -> None:
    """Welch-Satterthwaite (JCGM 100:2008, G.4.1): two equal parts, one with 2 degrees of freedom: 2 x (sqrt 2)^4 = 8;
    table G.2, column 95.45: 2.37 for 8 (from memory)."""
    limit = UncertaintyPart("limit", math.sqrt(3), PartShape.RECTANGULAR, math.inf, "")
    scatter = UncertaintyPart("scatter", 1.0, PartShape.STANDARD, 2, "")
    assert compute_expanded((limit, scatter)) == pytest.approx(math.sqrt(2) * 2.37, abs=0.01)
    assert compute_expanded((limit,)) == pytest.approx(2.0)
    assert compute_expanded((UncertaintyPart("limit", 0.0, PartShape.RECTANGULAR, math.inf, ""),)) is None
