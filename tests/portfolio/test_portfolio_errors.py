"""Errors left by failure mode, from records: the closed form, coverage, staleness, priors from released parts."""

from __future__ import annotations

import functools
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.costing.errors_left import ClosedPart, FailureMode, Prior, compute_miss, compute_remaining, update_prior
from pipeline.portfolio.errors import compute_part_errors
from pipeline.portfolio.portfolio import PartFile, Portfolio, build_portfolio

ROOT = Path(__file__).parents[2]
REDO = "redo: {remeasure_h: 6, remodel_h: 10, reprint: 380, fit_h: 4, fit_hire: 300, requote_h: 6, tool_redesign: 1800, setup: 1500, inspect_h: 16}"
FAMILY = (
    "families:\n  cast:\n    name: cast\n    tool_kinds: [die]\n    mix: {metal-off: 1}\n    "
    + REDO
    + "\n    errors: %s\n"
)
ERRORS = "{fit: {a: 1, b: 4}, function: {a: 1, b: 10}, material-process: {a: 1, b: 8.333333333333}}"
PROCESSES = """\
proofs: {size: dimensions, fit: fit on the vehicle, hardness: hardness, marking: marking}
needs: {size: size, distance: size, hardness: hardness, marking: marking}
processes:
  print: {name: printed sample, proves: [size, fit], detects: {fit: 0.8, function: %s}}
  first-article: {name: finished pieces, proves: [size, fit, marking], detects: {dimension: 0.9, fit: 0.8, appearance: 0.8}}
  hardness-test: {name: hardness test, laboratory: true, proves: [hardness], detects: {material-process: 0.6}}
fit_check: {fit: 0.8, function: %s, material-process: 0.9}
"""
FILES: dict[str, str | None] = {
    "shared/families.yaml": FAMILY % ERRORS,
    "shared/processes.yaml": PROCESSES % (0.0, 0.6),
}

Sample = Callable[..., Path]


@functools.cache
def demo() -> Portfolio:
    return build_portfolio(ROOT)


def read(root: Path) -> PartFile:
    return build_portfolio(root).parts["SD-100"]


def test_one_clean_loop_of_the_worked_example(sample: Sample) -> None:
    """Worked example (invented inputs): priors .25 / .10 / .12, a loop that finds .8 / .6 / nothing, and found nothing."""
    errors = compute_part_errors(read(sample(files=FILES)))
    left = {row.mode: row.remaining for row in errors.rows}
    assert left[FailureMode.FIT].mean == pytest.approx(0.04167, abs=5e-6)
    assert left[FailureMode.FUNCTION].mean == pytest.approx(0.03774, abs=5e-6)
    assert left[FailureMode.MATERIAL_PROCESS].mean == pytest.approx(0.12, abs=5e-6)
    assert left[FailureMode.FIT].chance_of_none == pytest.approx(0.96)
    assert left[FailureMode.FUNCTION].chance_of_none == pytest.approx(0.96364, abs=5e-6)
    assert left[FailureMode.MATERIAL_PROCESS].chance_of_none == pytest.approx(0.89286, abs=5e-6)
    assert errors.unseen == (FailureMode.MATERIAL_PROCESS,)


def test_a_fit_check_shows_material_no_better_than_its_sample_does(sample: Sample) -> None:
    """The catalogue says .9 for material at a fit check; the print that was tried shows none."""
    row = compute_part_errors(read(sample(files=FILES))).find_row(FailureMode.MATERIAL_PROCESS)
    assert row is not None
    assert row.is_unseen


def test_a_trial_on_one_of_two_bodies_covers_half(sample: Sample) -> None:
    fits = "fits:\n  saloon: {vehicle: finch, body: saloon, years: 1951-1955}\n  estate: {vehicle: finch, body: estate, years: 1952-1955}\n"
    row = compute_part_errors(read(sample(fits, FILES))).find_row(FailureMode.FIT)
    assert row is not None
    assert [sight.power for sight in row.saw] == [pytest.approx(0.4)]
    assert row.remaining.mean == pytest.approx(0.6 / 4.4)


def test_two_trials_of_one_sample_are_one_round_not_two_independent_looks(sample: Sample) -> None:
    part = (
        "fits:\n  saloon: {vehicle: finch, body: saloon, years: 1951-1955}\n  estate: {vehicle: finch, body: estate, years: 1952-1955}\n"
        "fit_checks:\n"
        "  F1: {with: P1, on: 2026-02-05, by: ann, seen_by: bob, car: car-1, fits: saloon, gaps: {seat: [0.4, 0.5]}, result: good}\n"
        "  F2: {with: P1, on: 2026-02-06, by: ann, seen_by: bob, car: car-2, fits: estate, gaps: {seat: [0.4, 0.5]}, result: good}\n"
    )
    row = compute_part_errors(read(sample(part, FILES))).find_row(FailureMode.FIT)
    assert row is not None
    assert [sight.power for sight in row.saw] == [pytest.approx(0.8)]


def test_a_trial_that_measured_one_of_two_interfaces_covers_half(sample: Sample) -> None:
    part = (
        "interfaces:\n  seat: {what: hook to sill, gap: {limits: [0.1, 0.9]}, features: [length]}\n"
        "  lip: {what: lip to door, gap: {limits: [0.1, 0.9]}, features: [hard]}\n"
    )
    row = compute_part_errors(read(sample(part, FILES))).find_row(FailureMode.FIT)
    assert row is not None
    assert [sight.power for sight in row.saw] == [pytest.approx(0.4)]


def test_a_test_that_needs_a_laboratory_counts_only_from_one(sample: Sample) -> None:
    test = "tests:\n  T1: {kind: hardness-test, of: P1, on: 2026-03-01, by: ann%s, covers: [hard], result: good}\n"
    alone = compute_part_errors(read(sample(test % "", FILES))).find_row(FailureMode.MATERIAL_PROCESS)
    competent = compute_part_errors(read(sample(test % ", at: lab", FILES))).find_row(FailureMode.MATERIAL_PROCESS)
    assert alone is not None
    assert competent is not None
    assert (alone.remaining.miss, competent.remaining.miss) == (1.0, pytest.approx(0.4))


def test_what_was_found_and_corrected_raises_what_is_expected(sample: Sample) -> None:
    changes = "changes:\n  C1: {found_at: fit check, on: 2026-02-06, by: ann, what: fouled, mode: fit, found_by: F1, fixed_in: A}\n"
    row = compute_part_errors(read(sample(changes, FILES))).find_row(FailureMode.FIT)
    assert row is not None
    assert row.found == 1
    assert row.remaining == compute_remaining(
        Prior(1, 4), compute_miss(compute_part_errors(read(sample(changes, FILES))).checks, FailureMode.FIT), 1
    )
    assert row.remaining.mean == pytest.approx(2 * 0.04166666667)


def test_a_known_error_that_is_not_corrected_is_named(sample: Sample) -> None:
    changes = "changes:\n  C1: {found_at: fit check, on: 2026-02-06, by: ann, what: fouls the sill, mode: fit}\n"
    errors = compute_part_errors(read(sample(changes, FILES)))
    assert errors.open_changes == ("C1: fouls the sill",)


def test_an_error_that_no_recorded_check_could_see_does_not_break_the_table(sample: Sample) -> None:
    """Found at the first article, of material: nothing on record sees it, and a look was made all the same."""
    changes = "changes:\n  C1: {found_at: tool cut, on: 2026-02-06, by: ann, what: soft, mode: material-process, actual: 90 USD}\n"
    row = compute_part_errors(read(sample(changes, FILES))).find_row(FailureMode.MATERIAL_PROCESS)
    assert row is not None
    assert row.remaining.mean == pytest.approx(
        2 / (8.333333333333 + 0.5)
    )  # half of such errors are seen by such a look


def test_stale_evidence_proves_nothing_but_what_it_found_is_remembered() -> None:
    """TW-101: revision D changed what P1, F1 and F2 cover. C1 was found at a fit check that saw .8 of 2 of 6 trials."""
    errors = compute_part_errors(demo().parts["TW-101"])
    assert set(errors.unseen) == {row.mode for row in errors.rows}
    assert errors.stale == ("prototype P1", "fit check F1", "fit check F2")
    row = errors.find_row(FailureMode.FIT)
    assert row is not None
    assert row.remaining.miss == 1.0
    assert row.remaining.shape == pytest.approx(row.prior.shape + 1)
    assert row.remaining.weight == pytest.approx(row.prior.weight + 0.8 / 3)
    assert row.remaining.mean > row.prior.mean  # it proved error-prone, and nothing stands for the model as it is


def test_released_parts_of_the_family_move_the_prior_and_never_their_own() -> None:
    rim, housing = demo().parts["TW-101"], demo().parts["TW-104"]
    assert compute_part_errors(rim).closed == ("TW-104",)
    assert compute_part_errors(housing).closed == ()
    row = compute_part_errors(rim).find_row(FailureMode.DIMENSION)
    assert row is not None
    assert row.prior == update_prior(Prior(1, 5), [ClosedPart(2, 0.9)], 5)  # TW-104 had two errors of dimension
    own = compute_part_errors(housing).find_row(FailureMode.DIMENSION)
    assert own is not None
    assert own.prior == Prior(1, 5)


def test_unfinished_pieces_show_no_finish(sample: Sample) -> None:
    article = "first_articles:\n  A1: {tools: [die], of: A, on: 2026-05-20, by: ann, seen_by: bob, pieces: 3, finished: %s, covers: [length], result: good}\n"
    files = FILES | {"shared/families.yaml": FAMILY % "{appearance: {a: 1, b: 4}, dimension: {a: 1, b: 4}}"}
    bare = compute_part_errors(read(sample(article % "false", files)))
    done = compute_part_errors(read(sample(article % "true", files)))
    assert bare.unseen == (FailureMode.APPEARANCE,)
    assert done.unseen == ()


def test_a_family_without_usual_errors_has_no_rows(sample: Sample) -> None:
    assert compute_part_errors(read(sample())).rows == ()


def test_every_part_of_the_demo_has_its_table() -> None:
    for file in demo().parts.values():
        for row in compute_part_errors(file).rows:
            assert 0 <= row.remaining.miss <= 1
            assert 0 < row.remaining.chance_of_none <= 1
