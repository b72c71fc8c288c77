"""QIF results: the structure of the standard's own examples, its units, and what is refused.

The document below follows the published example `samples/ExternalReferencesAndQPIds/All-in-one.QIF` of the standard
committee's community repository (QIF 3.0, ISO 23952:2020; seen): a sphere measured twice, 25.00828 mm and 25.68005 mm
across, sphericity 0.25146 mm and 0.05104 mm. That example states no units; `FileUnits` is as in
`samples/Results/testPython30.qif` (seen).
"""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.portfolio.evidence_values import convert_qif
from pipeline.reading.qif import QifFile, read_qif

UNITS = (
    "<FileUnits><PrimaryUnits><LinearUnit><SIUnitName>meter</SIUnitName><UnitName>{name}</UnitName>"
    "<UnitConversion><Factor>{factor}</Factor></UnitConversion></LinearUnit></PrimaryUnits></FileUnits>"
)
ITEMS = """
  <Characteristics><CharacteristicItems n="2">
    <SphericalDiameterCharacteristicItem id="5"><Name>SphericalDiameter1</Name>
      <CharacteristicDesignator><Designator>W1RFTM1</Designator></CharacteristicDesignator>
      <CharacteristicNominalId>3</CharacteristicNominalId></SphericalDiameterCharacteristicItem>
    <SphericityCharacteristicItem id="6"><CharacteristicDesignator><Designator>W1RFTM2</Designator>
      </CharacteristicDesignator></SphericityCharacteristicItem>
  </CharacteristicItems></Characteristics>"""
RESULTS = """
  <Results><MeasurementResultsSet n="2">
    <MeasurementResults id="7"><MeasuredCharacteristics><CharacteristicMeasurements n="2">
      <SphericalDiameterCharacteristicMeasurement id="8">
        <Status><CharacteristicStatusEnum>FAIL</CharacteristicStatusEnum></Status>
        <CharacteristicItemId>5</CharacteristicItemId>
        <Value>25.008279671621001</Value>
      </SphericalDiameterCharacteristicMeasurement>
      <SphericityCharacteristicMeasurement id="9">
        <CharacteristicItemId>6</CharacteristicItemId><Value>0.251457258827</Value>
      </SphericityCharacteristicMeasurement>
    </CharacteristicMeasurements></MeasuredCharacteristics></MeasurementResults>
    <MeasurementResults id="10"><MeasuredCharacteristics><CharacteristicMeasurements n="2">
      <SphericalDiameterCharacteristicMeasurement id="11">
        <CharacteristicItemId>5</CharacteristicItemId><Value combinedUncertainty="0.002">25.680053102205999</Value>
      </SphericalDiameterCharacteristicMeasurement>
      <SphericityCharacteristicMeasurement id="12">
        <CharacteristicItemId>6</CharacteristicItemId><Value>0.051042207099</Value>
      </SphericityCharacteristicMeasurement>
    </CharacteristicMeasurements></MeasuredCharacteristics></MeasurementResults>
  </MeasurementResultsSet></Results>"""


def build(units: str = UNITS.format(name="mm", factor="0.001"), items: str = ITEMS, results: str = RESULTS) -> str:
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<QIFDocument xmlns="http://qifstandards.org/xsd/qif3" versionQIF="3.0.0" idMax="14">{units}{items}{results}\n'
        "</QIFDocument>\n"
    )


def read(root: Path, text: str | bytes) -> tuple[QifFile | None, list[str]]:
    (root / "a.qif").write_bytes(text if isinstance(text, bytes) else text.encode())
    content, findings = read_qif(root, "a.qif")
    return content, [f.rule for f in findings]


def test_the_published_example(tmp_path: Path) -> None:
    content, findings = read(tmp_path, build())
    assert findings == []
    assert content is not None and content.version == "3.0.0"
    shown = [(v.name, v.kind, round(v.value, 5), v.unit, v.standard_u, v.status, v.set_id) for v in content.values]
    assert shown == [
        ("SphericalDiameter1", "SphericalDiameter", 25.00828, "mm", None, "FAIL", "7"),
        ("W1RFTM2", "Sphericity", 0.25146, "mm", None, "", "7"),
        ("SphericalDiameter1", "SphericalDiameter", 25.68005, "mm", 0.002, "", "10"),
        ("W1RFTM2", "Sphericity", 0.05104, "mm", None, "", "10"),
    ]


def test_inches_become_mm_and_angles_degrees(tmp_path: Path) -> None:
    content, _ = read(tmp_path, build(UNITS.format(name="inch", factor="0.0254")))
    assert content is not None
    assert content.values[0].value == pytest.approx(25.008279671621001 * 25.4, rel=1e-12)
    units = UNITS.format(name="mm", factor="0.001").replace(
        "<LinearUnit>", "<AngularUnit><SIUnitName>radian</SIUnitName><UnitName>degree</UnitName><UnitConversion>"
        "<Factor>0.017453292519943</Factor></UnitConversion></AngularUnit><LinearUnit>", 1
    )  # fmt: skip
    angle = (
        "<Results><MeasurementResultsSet><MeasurementResults id='1'><MeasuredCharacteristics>"
        "<CharacteristicMeasurements><AngleCharacteristicMeasurement id='2'><Value>45.5</Value>"
        "</AngleCharacteristicMeasurement></CharacteristicMeasurements></MeasuredCharacteristics></MeasurementResults>"
        "</MeasurementResultsSet></Results>"
    )
    content, findings = read(tmp_path, build(units, "", angle))
    assert findings == [] and content is not None
    assert (round(content.values[0].value, 9), content.values[0].unit) == (45.5, "deg")


def test_results_become_readings_by_name(tmp_path: Path) -> None:
    content, _ = read(tmp_path, build())
    assert content is not None
    readings = convert_qif(content)
    assert [round(v, 5) for v in readings.readings["SphericalDiameter1"]] == [25.00828, 25.68005]
    assert readings.units["W1RFTM2"] == "mm"


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        (build(units=""), "Q801"),
        (build(units=UNITS.format(name="mm", factor="0")), "Q804"),
        (build(results=RESULTS.replace("25.008279671621001", "NaN")), "Q803"),
        (build(results=""), "Q804"),
        (build()[:600], "Q804"),
        (build().replace("QIFDocument", "Report"), "Q804"),
        (build().replace("qif3", "qif2"), "Q804"),
        ('<!DOCTYPE a [<!ENTITY b "bbbb">]>' + build().split("\n", 1)[1], "Q804"),
        ("", "Q804"),
        (b"\xff\xfe\x00", "Q804"),
        (build(results="<a>" * 80 + "</a>" * 80), "Q804"),
    ],
)
def test_faults_are_findings(tmp_path: Path, text: str | bytes, rule: str) -> None:
    content, findings = read(tmp_path, text)
    assert content is None
    assert set(findings) == {rule}


def test_a_fault_has_its_line(tmp_path: Path) -> None:
    (tmp_path / "a.qif").write_text(build(results=RESULTS.replace("25.008279671621001", "much")))
    _, findings = read_qif(tmp_path, "a.qif")
    text = (tmp_path / "a.qif").read_text().splitlines()
    assert "SphericalDiameterCharacteristicMeasurement" in text[findings[0].location.line - 1]


def test_missing_file(tmp_path: Path) -> None:
    assert [f.rule for f in read_qif(tmp_path, "none.qif")[1]] == ["Q804"]
