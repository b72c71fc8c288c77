"""What must hold for every stack, whatever its figures."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.fit.contributors import BOUNDED, Contributor, Distribution, compute_spread_factor
from pipeline.fit.stack import StackVerdict, compute_stack
from pipeline.fit.stack_simulation import compute_counted_chance, simulate_stack

size = st.floats(-200, 200).map(lambda value: round(value, 4))
width = st.floats(0.001, 2.0).map(lambda value: round(value, 4))
sensitivity = st.sampled_from([-2.0, -1.0, -0.5, 0.5, 1.0, 2.0])
distributions = st.sampled_from(sorted(Distribution))


@st.composite
def stacks(draw: st.DrawFn, kinds: st.SearchStrategy[Distribution] = distributions) -> list[Contributor]:
    count = draw(st.integers(1, 6))
    parts = []
    for index in range(count):
        lower = draw(st.floats(-1, 1).map(lambda value: round(value, 4)))
        parts.append(
            Contributor(
                f"part {index}",
                draw(size),
                lower,
                lower + draw(width),
                draw(sensitivity),
                draw(kinds),
                draw(st.sampled_from([2.0, 3.0, 4.0])),
            )
        )
    return parts


@given(stacks())
def test_shares_sum_to_one_and_rss_never_passes_the_worst_case(parts: list[Contributor]) -> None:
    result = compute_stack(parts)
    assert sum(row.variance_share for row in result.rows) == pytest.approx(1.0, abs=1e-12)
    assert result.rss_half_mm <= result.inflated_half_mm + 1e-12 <= result.worst_half_mm + 2e-12
    assert result.sd_mm <= result.worst_half_mm + 1e-12


@settings(max_examples=40, deadline=None)
@given(stacks(kinds=st.sampled_from(sorted(BOUNDED))), st.integers(0, 2**31))
def test_worst_case_bounds_every_draw_of_parts_inside_their_limits(parts: list[Contributor], seed: int) -> None:
    result, drawn = compute_stack(parts), simulate_stack(parts, draws=2000, seed=seed)
    assert result.worst.low_mm - 1e-9 <= drawn.least_mm <= drawn.greatest_mm <= result.worst.high_mm + 1e-9


@settings(max_examples=25, deadline=None)
@given(stacks(), st.integers(0, 2**31))
def test_draws_agree_with_the_closed_form(parts: list[Contributor], seed: int) -> None:
    """Mean within 5 standard errors, standard deviation within 10 % (20,000 draws; flat laws scatter less)."""
    result, drawn = compute_stack(parts), simulate_stack(parts, draws=20_000, seed=seed)
    assert abs(drawn.mean_mm - result.mean_gap_mm) <= 5 * result.sd_mm / 20_000**0.5 + 1e-9
    assert drawn.sd_mm == pytest.approx(result.sd_mm, rel=0.05)


@given(stacks(), st.floats(0.01, 5.0), st.floats(1.0, 5.0))
def test_a_wider_tolerance_never_lowers_the_chance_outside_of_a_centred_gap(
    parts: list[Contributor], room: float, scale: float
) -> None:
    middle = compute_stack(parts).mean_gap_mm
    wider = [
        replace(
            part,
            lower_mm=part.middle_mm - part.nominal_mm - scale * part.half_width_mm,
            upper_mm=part.middle_mm - part.nominal_mm + scale * part.half_width_mm,
        )
        for part in parts
    ]
    limits = {"lower_limit_mm": middle - room, "upper_limit_mm": middle + room}
    before, after = compute_stack(parts, **limits).chance.outside, compute_stack(wider, **limits).chance.outside
    assert before is not None and after is not None
    assert after >= before - 1e-9


@given(stacks())
def test_turning_every_sign_mirrors_the_gap(parts: list[Contributor]) -> None:
    mirrored = compute_stack([replace(part, sensitivity=-part.sensitivity) for part in parts])
    result = compute_stack(parts)
    assert mirrored.mean_gap_mm == -result.mean_gap_mm
    assert mirrored.worst.low_mm == pytest.approx(-result.worst.high_mm, abs=1e-9)
    assert mirrored.sd_mm == result.sd_mm


@given(stacks(), st.floats(-1, 1))
def test_a_spacer_moves_the_gap_and_leaves_the_scatter(parts: list[Contributor], thickness: float) -> None:
    spaced = compute_stack([*parts, Contributor("spacer", thickness, 0.0, 0.0)])
    result = compute_stack(parts)
    assert spaced.mean_gap_mm == pytest.approx(result.mean_gap_mm + thickness, abs=1e-9)
    assert spaced.sd_mm == result.sd_mm
    assert spaced.worst_half_mm == result.worst_half_mm


@given(stacks())
def test_limits_at_the_worst_case_hold_and_a_hair_tighter_do_not(parts: list[Contributor]) -> None:
    worst = compute_stack(parts).worst
    held = compute_stack(parts, lower_limit_mm=worst.low_mm, upper_limit_mm=worst.high_mm)
    assert held.verdict is StackVerdict.WORST_CASE
    tight = compute_stack(parts, lower_limit_mm=worst.low_mm + 1e-5, upper_limit_mm=worst.high_mm)
    assert tight.verdict is not StackVerdict.WORST_CASE


@given(st.floats(0.0005, 12.0))
def test_sorting_at_the_limits_lies_between_uniform_and_normal(sigma_level: float) -> None:
    share = compute_spread_factor(Distribution.TRUNCATED_NORMAL, sigma_level)
    assert share <= min(1 / sigma_level, 3**-0.5) + 1e-6


@given(st.integers(1, 5000), st.data())
def test_counted_interval_holds_the_count(draws: int, data: st.DataObject) -> None:
    hits = data.draw(st.integers(0, draws))
    counted = compute_counted_chance(hits, draws)
    assert 0 <= counted.low <= counted.chance <= counted.high <= 1
