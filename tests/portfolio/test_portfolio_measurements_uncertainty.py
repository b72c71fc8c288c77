"""The quick uncertainty of the gates and the full budget of the pages are one figure; nominals, verdicts, samples."""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from scipy import stats

from pipeline.gates.judgement import Bench
from pipeline.gates.measured import compute_ratio
from pipeline.gates.reading_uncertainty import (
    CONFIDENCE,
    build_uncertainty_parts,
    build_warmth,
    compute_coverage_factor,
    compute_expanded,
)
from pipeline.measuring.nominal import LeftOutReason, NominalStatus
from pipeline.measuring.verdict import Outcome
from pipeline.model.catalogue import NeedParameters
from pipeline.portfolio.measurements import (
    PartMeasured,
    build_measurements,
    check_ratio,
    decide_value,
    find_edges,
    find_shape,
)
from pipeline.portfolio.portfolio import PartFile, build_portfolio
from pipeline.portfolio.tool_shrinkage import check_tools

ROOT = Path(__file__).parents[2]
Sample = Callable[..., Path]
HEAD = "of: {of}, on: 2026-01-1{n}, by: ann, with: arm, at: {at}, file: evidence/o{n}.csv"


@pytest.fixture(scope="module")
def demo() -> dict[str, PartFile]:
    return dict(build_portfolio(ROOT).parts)


def measure(file: PartFile, root: Path | None = None) -> PartMeasured:
    return build_measurements(file.part, file.lineage, file.workspace, root)


def build(sample: Sample, sections: str, **files: str | None) -> PartFile:
    root = sample(sections + "decisions: []\n", {f"projects/SD-100/{name}": text for name, text in files.items()})
    return build_portfolio(root).parts["SD-100"]


# --- one figure, two roads ------------------------------------------------------------------------


@pytest.mark.parametrize("dof", [1, 2, 3, 4, 5, 6, 7, 10, 11, 30, 99, 100, 999])
def test_coverage_factor_is_students(dof: int) -> None:
    """Reference: scipy's Student distribution; and JCGM 100:2008, table G.2, column 95.45 (from memory) below."""
    assert compute_coverage_factor(dof) == pytest.approx(stats.t.ppf((1 + CONFIDENCE) / 2, dof), rel=1e-9)


def test_coverage_factor_of_table_g2() -> None:
    """JCGM 100:2008, table G.2, column 95.45: 13.97, 4.53, 3.31, 2.87, 2.65, 2.28, 2.13, 2.00 (from memory)."""
    table = {1: 13.97, 2: 4.53, 3: 3.31, 4: 2.87, 5: 2.65, 10: 2.28, 20: 2.13, math.inf: 2.000}
    assert {dof: round(compute_coverage_factor(dof), 2) for dof in table} == {
        k: pytest.approx(v) for k, v in table.items()
    }


def test_pages_and_gates_give_one_uncertainty(demo: dict[str, PartFile]) -> None:
    compared = 0
    for file in demo.values():
        instruments = file.workspace.catalogues.resources.instruments
        for key, found in measure(file).features.items():
            for value in found.values:
                entry = file.part.measurements[value.measurement]
                warmth = build_warmth(file.part, file.workspace.catalogues, entry.at.celsius)
                instrument = instruments.get(entry.with_)
                parts, _ = build_uncertainty_parts(value.recorded, found.feature, instrument, warmth)
                quick = compute_expanded(parts)
                assert (quick is None) is (value.budget is None), (file.number, key)
                if quick is not None and value.budget is not None:
                    assert value.budget.expanded == pytest.approx(quick, rel=1e-9)
                    compared += 1
    assert compared > 200


def test_ratio_of_the_gate_is_the_ratio_of_the_page(demo: dict[str, PartFile]) -> None:
    compared = 0
    for file in demo.values():
        bench = Bench(file.part, file.lineage, file.workspace, NeedParameters())
        for key, found in measure(file).features.items():
            gate, page = compute_ratio(bench, key), found.ratio
            limits = found.feature.limits
            if gate is None or page is None or limits is None or None in (limits.lower, limits.upper):
                continue
            worn = any(value.left_out == "recorded as worn" for value in found.values)
            if not worn:  # the gate looks for the finest reading of all, worn or not
                assert page.ratio == pytest.approx(gate, rel=1e-9), (file.number, key)
                compared += 1
    assert compared > 60


def test_repeated_readings_widen_by_their_scatter(sample: Sample) -> None:
    """Worked by hand: mpe 0.02 -> 0.02/sqrt 3; 40.00, 40.02, 40.04 -> s/sqrt 3 = 0.011547; dof 2."""
    file = build(
        sample,
        "measurements:\n  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o1.csv, "
        "gives: {length: {value: 40.02, readings: [40.00, 40.02, 40.04]}}}\n"
        "revisions:\n  A: {on: 2026-01-20, by: ann, file: evidence/hook-a.stl, from: [M1]}\n",
    )
    value = measure(file).features["length"].values[0]
    assert value.budget is not None
    assert value.budget.combined == pytest.approx(math.hypot(0.02 / math.sqrt(3), 0.02 / math.sqrt(3)), rel=1e-9)
    assert value.budget.dof_used == 8  # 2 * (sqrt 2)^4
    assert value.expanded == pytest.approx(value.budget.combined * stats.t.ppf((1 + CONFIDENCE) / 2, 8), rel=1e-9)
    assert value.notes == ()


def test_stated_uncertainty_stands_for_everything(demo: dict[str, PartFile]) -> None:
    value = measure(demo["TW-124"]).features["od"].values[0]
    assert value.recorded.readings and value.recorded.u == 0.03
    assert value.expanded == pytest.approx(0.03)


def test_scatter_alone_is_no_uncertainty(sample: Sample) -> None:
    file = build(
        sample,
        "measurements:\n  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o1.csv, "
        "gives: {length: 40.0, hard: {value: 50, readings: [50, 51, 49]}}}\n"
        "revisions:\n  A: {on: 2026-01-20, by: ann, file: evidence/hook-a.stl, from: [M1]}\n",
    )
    value = measure(file).features["hard"].values[0]
    assert value.expanded is None and value.verdict is None
    assert "not known" in value.no_verdict
    assert any("error limit" in note for note in value.notes)


# --- temperature ----------------------------------------------------------------------------------


WARM = (
    "measurements:\n  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: 21.5 C, file: evidence/o1.csv, "
    "gives: {length: 40.02}}\nrevisions:\n  A: {on: 2026-01-20, by: ann, file: evidence/hook-a.stl, from: [M1]}\n"
)
ZINC = "expansion: {per_k: [26, 27, 28], source: a handbook}\n"


def test_without_expansion_temperature_is_said_and_left_alone(sample: Sample) -> None:
    value = measure(build(sample, WARM)).features["length"].values[0]
    assert value.value == 40.02 and value.correction_mm == 0
    assert any("21.5 °C" in note and "not recorded" in note for note in value.notes)


def test_with_expansion_a_size_is_brought_to_20_degrees(sample: Sample) -> None:
    """ISO 1: 27e-6 x 40.02 x (20 - 21.5) = -0.00162081 mm. JCGM 100:2008, H.1: the temperature joins the budget with
    27e-6 x 40 x 1 / sqrt 3 (of the nominal), the coefficient with 1e-6 x 40 x 1.5 / sqrt 3, both together with a third
    of 1e-6 x 40."""
    plain = measure(build(sample, WARM)).features["length"].values[0]
    value = measure(build(sample, ZINC + WARM)).features["length"].values[0]
    assert value.value == pytest.approx(40.02 - 0.00162081, abs=1e-9)
    assert value.budget is not None and plain.budget is not None
    assert [row.component.name for row in value.budget.rows][1:] == [
        "temperature of the part", "coefficient of expansion", "both together (second order)"
    ]  # fmt: skip
    length = 40.0
    added = [27e-6 * length / math.sqrt(3), 1e-6 * length * 1.5 / math.sqrt(3), 1e-6 * length / 3]
    assert [row.contribution for row in value.budget.rows][1:] == pytest.approx(added)
    assert value.budget.combined == pytest.approx(math.hypot(plain.budget.combined, *added))
    assert "brought to 20 °C by 27e-6 per K, a handbook (-0.0016 mm)" in value.notes


def test_temperature_in_the_quick_budget_is_the_full_methods(sample: Sample) -> None:
    """The measuring room's own rows (JCGM 100:2008, H.1) and the plain ones of the gates are one figure."""
    from pipeline.measuring.uncertainty import Temperature, build_temperature_components

    value = measure(build(sample, ZINC + WARM)).features["length"].values[0]
    assert value.budget is not None
    full = build_temperature_components(40.0, Temperature(21.5, 1.0, 27e-6, 1e-6))
    assert [row.contribution for row in value.budget.rows][1:] == pytest.approx(
        [abs(row.sensitivity) * row.standard for row in full]
    )


def test_the_family_gives_the_expansion_and_a_part_of_another_material_its_own(
    sample: Sample, demo: dict[str, PartFile]
) -> None:
    value = measure(demo["TW-101"]).features["rim_od"].values[0]
    assert value.warmth is not None and (value.warmth.likely, value.warmth.celsius) == (27.4, 21.5)
    assert value.value == pytest.approx(112.36 * (1 - 1.5 * 27.4e-6), abs=1e-9)
    own = measure(build(sample, ZINC + WARM)).features["length"].values[0]
    assert own.warmth is not None and own.warmth.source == "a handbook"


def test_pages_and_the_terminal_say_how_a_size_was_brought_to_20_degrees(demo: dict[str, PartFile]) -> None:
    from pipeline.views.measurements import build_measurement_sections

    verdicts = next(s for s in build_measurement_sections(demo["TW-101"]) if s.anchor == "measuring-verdicts")
    assert verdicts.working is not None
    shown = [line for line in verdicts.working.formula if line.startswith("rim_od (") and "to 20 °C (ISO 1)" in line]
    assert shown and "112.36 mm × 27.4e-6/K × (20 − 21.5) K = -0.0046 mm" in shown[0]
    notes = [row.value for row in verdicts.working.inputs if row.name.startswith("M")]
    assert any("brought to 20 °C by 27.4e-6 per K" in note and "mm)" not in note for note in notes)


# --- verdicts -------------------------------------------------------------------------------------


def test_guard_band_is_a_share_of_u(demo: dict[str, PartFile]) -> None:
    """ISO 14253-1:2017: 1.645 u; shared/money.yaml says 0.822 U, which is the same at k = 2."""
    value = measure(demo["TW-101"]).features["rim_od"].values[0]
    assert value.verdict is not None and value.expanded is not None
    assert value.verdict.guard_band == pytest.approx(0.822 * value.expanded)
    assert value.verdict.guard_factor == pytest.approx(1.644, abs=1e-3)


def test_verdicts_turn_at_the_guarded_edges(demo: dict[str, PartFile]) -> None:
    file = demo["TW-101"]
    feature = file.part.features["rim_od"]
    budget = measure(file).features["rim_od"].values[0].budget
    assert budget is not None
    guard = 0.822 * budget.expanded
    cases = {
        112.65 - guard - 1e-6: Outcome.CONFORM,
        112.65 - guard + 1e-6: Outcome.UNDECIDED,
        112.65 + guard - 1e-6: Outcome.UNDECIDED,
        112.65 + guard + 1e-6: Outcome.NOT_CONFORM,
    }
    for value, outcome in cases.items():
        verdict, why = decide_value(feature, value, budget, 0.822)
        assert verdict is not None and verdict.outcome is outcome and why == ""


def test_an_error_has_no_lower_limit_at_zero(demo: dict[str, PartFile]) -> None:
    file = demo["TW-101"]
    slot = file.part.features["drain_slot"]
    assert find_edges(slot) == (None, 0.6)
    assert find_edges(file.part.features["rim_od"]) == pytest.approx((112.15, 112.65))
    budget = measure(file).features["drain_slot"].values[0].budget
    verdict, _ = decide_value(slot, 0.0, budget, 0.822)
    assert verdict is not None and verdict.outcome is Outcome.CONFORM


@pytest.mark.parametrize(
    ("limits", "words"),
    [("", "no limits"), (", limits: [0, 0]", "tolerance of zero")],
)
def test_no_limits_or_none_between_them_is_a_sentence(sample: Sample, limits: str, words: str) -> None:
    file = build(sample, f"features:\n  length: {{what: overall length, kind: size, nominal: 40{limits}, unit: mm}}\n")
    value = measure(file).features["length"].values[0]
    assert value.verdict is None and value.ratio is None
    assert words in value.no_verdict


def test_ratio_says_what_would_do_instead(demo: dict[str, PartFile]) -> None:
    file = demo["TW-101"]
    ratio = check_ratio(file.part.features["rim_od"], 0.1, file.workspace)
    assert ratio is not None and ratio.ratio == pytest.approx(2.5)
    assert "outside micrometer" in ratio.sentence
    assert check_ratio(file.part.features["plate"], 5.0, file.workspace).ratio == pytest.approx(2.0)  # type: ignore[union-attr]


def test_shapes_follow_from_the_words(demo: dict[str, PartFile]) -> None:
    features = demo["TW-104"].part.features
    assert find_shape(features["lens_bore"]) == "bore or slot"
    assert find_shape(features["plate"]) == "coating thickness"
    assert find_shape(demo["TW-101"].part.features["rim_od"]) == "outside size"


# --- nominals -------------------------------------------------------------------------------------


def test_worn_originals_stay_out_and_are_named(demo: dict[str, PartFile]) -> None:
    nominal = measure(demo["TW-101"]).features["boss_pitch"].nominal
    brought = (41.92 * (1 - 1.5 * 27.4e-6) + 41.86 * (1 - 1.5 * 27.4e-6)) / 2  # both were read at 21.5 degrees
    assert nominal.mean == pytest.approx(brought, abs=1e-9)
    assert [left.original for left in nominal.left_out] == ["O3"]
    assert nominal.agrees is True


def test_drawing_guess_carries_its_chance_of_accident(demo: dict[str, PartFile]) -> None:
    guess = measure(demo["TW-104"]).features["foot_pitch"].nominal.guesses[0]
    assert guess.text == "2 1/4 in"
    assert guess.chance_by_accident < 0.1


def test_an_error_has_no_nominal_to_guess(demo: dict[str, PartFile]) -> None:
    nominal = measure(demo["TW-101"]).features["drain_slot"].nominal
    assert nominal.agrees is None and nominal.guesses == () and nominal.bound is None
    assert "zero was meant" in nominal.sentence


def test_one_original_gives_no_bound(sample: Sample) -> None:
    file = build(
        sample,
        "measurements:\n  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o1.csv, "
        "gives: {length: 40.02}}\nrevisions:\n  A: {on: 2026-01-20, by: ann, file: evidence/hook-a.stl, from: [M1]}\n",
    )
    nominal = measure(file).features["length"].nominal
    assert nominal.status is NominalStatus.SINGLE_ORIGINAL
    assert nominal.bound is None and nominal.guesses == ()
    assert "One original" in nominal.sentence


def test_only_reproductions_give_no_nominal(sample: Sample) -> None:
    file = build(
        sample, "originals:\n  O1: {condition: reproduction, from: fair}\n  O2: {condition: reproduction, from: fair}\n"
    )
    nominal = measure(file).features["length"].nominal
    assert nominal.status is NominalStatus.ONLY_REPRODUCTIONS
    assert nominal.mean is None
    assert "reproductions" in nominal.sentence


def test_restored_coating_is_taken_off_where_it_was_measured(sample: Sample) -> None:
    """By hand: replated to 60 um, new ones carried 20 um on each face: 40.08 - 2 * 0.040 = 40.00."""
    gives = "M{n}: {{of: {of}, on: 2026-01-1{n}, by: ann, with: arm, at: 20 C, file: evidence/o1.csv, gives: {{{g}}}}}"
    rows = [
        gives.format(n=1, of="O1", g="length: 40.00, plate: {value: 20, U: 2}"),
        gives.format(n=2, of="O2", g="length: 40.02, plate: {value: 20, U: 2}"),
        gives.format(n=3, of="O3", g="length: 40.08, plate: {value: 60, U: 2}"),
        gives.format(n=4, of="O4", g="length: 40.30"),
    ]
    file = build(
        sample,
        "originals:\n  O1: {condition: used, from: a}\n  O2: {condition: nos, from: b}\n"
        "  O3: {condition: restored, from: c}\n  O4: {condition: restored, from: d}\n"
        "features:\n"
        "  length: {what: overall length, kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm, critical: true, coated: true, coating: plate, shape: shaft}\n"
        "  plate: {what: plating, kind: thickness, nominal: 20, limits: [-5, 5], unit: um}\n"
        "measurements:\n" + "".join(f"  {row}\n" for row in rows),
    )
    nominal = measure(file).features["length"].nominal
    assert nominal.mean == pytest.approx((40.00 + 40.02 + 40.00) / 3)
    assert [(left.original, left.reason) for left in nominal.left_out] == [("O4", LeftOutReason.RECOATED)]


def test_coating_off_adds_what_a_new_part_carried(sample: Sample) -> None:
    file = build(
        sample,
        "originals:\n  O1: {condition: restored, from: a}\n  O2: {condition: nos, from: b}\n"
        "features:\n"
        "  length: {what: bore, kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm, critical: true, coated: true, coating: plate, shape: hole}\n"
        "  plate: {what: plating, kind: thickness, nominal: 20, limits: [-5, 5], unit: um}\n"
        "measurements:\n"
        "  M1: {of: O1, on: 2026-01-11, by: ann, with: arm, at: 20 C, file: evidence/o1.csv, coating_off: true, gives: {length: 40.04}}\n"
        "  M2: {of: O2, on: 2026-01-12, by: ann, with: arm, at: 20 C, file: evidence/o2.csv, gives: {length: 40.00, plate: {value: 20, U: 2}}}\n",
    )
    nominal = measure(file).features["length"].nominal
    assert nominal.mean == pytest.approx(40.00)  # the bore closes by 2 x 0.020 when it is plated


def test_readings_out_of_calibration_and_replaced_do_not_count(demo: dict[str, PartFile]) -> None:
    values = [value for found in measure(demo["TW-206"]).features.values() for value in found.values]
    assert any("out of calibration" in value.left_out for value in values)


# --- samples and tools ----------------------------------------------------------------------------


def test_first_articles_are_held_against_the_limits(demo: dict[str, PartFile]) -> None:
    measured = measure(demo["TW-124"])
    first, second = measured.features["od"].samples
    assert (first.article, first.inside, len(first.values)) == ("FA1", 5, 5)
    assert first.capability is not None and first.capability.cpk.lower < first.capability.cpk.value
    assert second.article == "FA2"
    edge = measured.features["black_edge"].samples[0]
    outside = sum(not 0 <= value <= 0.25 for value in edge.values)
    assert edge.inside == len(edge.values) - outside


def test_pieces_that_all_read_the_same_have_no_capability(sample: Sample) -> None:
    file = build(
        sample,
        "first_articles:\n  FA1: {tools: [die], of: A, on: 2026-05-10, by: ann, seen_by: bob, pieces: 3, finished: true, "
        "gives: {length: [40, 40, 40]}, result: good}\n",
    )
    found = measure(file).features["length"].samples[0]
    assert found.inside == 3 and found.capability is None and "no spread" in found.no_capability


def test_a_shrinkage_that_is_recorded_as_it_was_read_is_told_once(demo: dict[str, PartFile]) -> None:
    file = demo["TW-124"]
    mould = check_tools(file.part, file.lineage)[0]
    assert sum(" from the 0.50 %" in words for words in mould.sentences) == 1
    shrinkage = file.part.tools["mould"].shrinkage
    assert shrinkage is not None
    other = shrinkage.model_copy(update={"measured": 0.008})
    tool = file.part.tools["mould"].model_copy(update={"shrinkage": other})
    part = file.part.model_copy(update={"tools": {**file.part.tools, "mould": tool}})
    told = check_tools(part, file.lineage)[0].sentences
    assert told[0].startswith("measured 0.80 %") and told[1].startswith("Measured shrinkage 0.62 %")


def test_shrinkage_from_first_articles_and_from_the_record_agree(demo: dict[str, PartFile]) -> None:
    """The demo's moulding shrank 0.62 %, not 0.50 % (invented)."""
    (tool,) = measure(demo["TW-124"]).tools
    assert tool.differs is True and tool.outside_range is True
    assert tool.articles == ("FA1",)  # the only one of the revision that the mould was cut to
    assert tool.check is not None and tool.check.mean.value == pytest.approx(0.0062, abs=2e-4)
    assert any("0.62 %" in sentence for sentence in tool.sentences)


# --- how it loads ---------------------------------------------------------------------------------


def test_a_quick_check_loads_no_numerical_library() -> None:
    code = (
        "import sys\nfrom pathlib import Path\nfrom pipeline.portfolio.check import check_workspace\n"
        "check_workspace(Path('.'))\nprint([m for m in ('numpy', 'scipy', 'trimesh', 'matplotlib') if m in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert run.stdout.strip() == "[]"
