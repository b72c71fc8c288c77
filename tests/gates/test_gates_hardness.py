"""A hardness in another scale: where it counts as one, and its uncertainty at the end of the table."""

from __future__ import annotations

import pytest

from pipeline.gates.hardness_readings import convert_hardness_reading, is_other_scale
from pipeline.model.part import Feature, Reading
from pipeline.model.words import FeatureKind


def build_feature(unit: str = "HRC", kind: FeatureKind = FeatureKind.HARDNESS) -> Feature:
    """Return a feature whose nominal is stated in a scale."""
    return Feature(what="hook", kind=kind, nominal=50.0, unit=unit)


# ASTM A370-03a table 2 (as ASTM E140 table 1): HRC 40 = HV 392, 41 = 402, 67 = 900, 68 = 940. Outside of it there is
# nothing to reckon with, so the slope comes from the side that the table holds.
@pytest.mark.parametrize(
    ("value", "stated", "hrc", "converted"),
    [
        (392.0, 10.0, 40.0, 1.0),  # below 392 nothing: 40 to 41 HRC over 392 to 402 HV
        (940.0, 40.0, 68.0, 1.0),  # above 940 nothing: 67 to 68 HRC over 900 to 940 HV
        (402.0, 10.0, 41.0, 1.0),  # both sides: 40 to 42 HRC over 392 to 412 HV
        (395.0, 600.0, 40.3, None),  # neither side: the slope is not known, so the uncertainty is not either
    ],
)
def test_uncertainty_is_reckoned_on_the_sides_that_the_table_holds(
    value: float, stated: float, hrc: float, converted: float | None
) -> None:
    reading = Reading.model_validate({"value": value, "unit": "HV", "U": stated})
    found = convert_hardness_reading(reading, build_feature())
    assert found.reading.value == hrc and found.reading.unit == "HRC"
    assert found.reading.u == (None if converted is None else pytest.approx(converted))


def test_every_reading_of_a_row_is_converted_and_the_caution_goes_along() -> None:
    """ASTM A370-03a table 2: 482, 468 and 455 HBW are 50, 49 and 48 HRC."""
    reading = Reading.model_validate({"value": 468.0, "unit": "HBW", "readings": (482.0, 468.0, 455.0)})
    found = convert_hardness_reading(reading, build_feature())
    assert found.reading.readings == (50.0, 49.0, 48.0)
    assert found.words.startswith("468 HBW converted to 49.0 HRC by row HRC 49 of the table, ASTM A370-03a")
    assert "no proof" in found.caution


def test_a_converted_value_is_worth_one_decimal() -> None:
    """495 HV lies between HRC 48 (484) and 49 (498): 48 + 11 / 14 = 48.7857."""
    found = convert_hardness_reading(
        Reading.model_validate({"value": 495.0, "unit": "HV", "readings": (495.0,)}), build_feature()
    )
    assert (found.reading.value, found.reading.readings) == (48.8, (48.8,))


@pytest.mark.parametrize(
    ("unit", "feature", "is_other"),
    [
        ("HV", build_feature(), True),
        ("HRC", build_feature(), False),
        (None, build_feature(), False),
        ("ShoreA", build_feature(), False),
        ("HV", build_feature("ShoreA"), False),
        ("HV", build_feature(kind=FeatureKind.SIZE), False),
    ],
)
def test_only_scales_of_the_table_are_other_scales(unit: str | None, feature: Feature, is_other: bool) -> None:
    assert is_other_scale(Reading(value=50.0, unit=unit), feature) is is_other
