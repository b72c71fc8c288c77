"""Engineering economy: interest factors, present worth, internal rates, payback, learning curves, order quantity."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from pipeline.costing.bounds import check_count, check_finite, check_not_negative, check_positive, check_probability

Floats = NDArray[np.float64]


def _check_rate(rate: float) -> None:
    check_finite(rate, "the interest rate per period")
    if rate <= -1:
        raise ValueError(f"the interest rate per period is {rate}; more than -1 (-100 %) is wanted")


def compute_compound_amount(rate: float, periods: float) -> float:
    """F/P: what one unit of money now grows to.

    Args:
        rate: interest per period, as a fraction (0.10 = 10 %).
        periods: number of periods, zero or more.

    Raises:
        ValueError: rate <= -1, or periods negative.

    Source: compound-interest tables of engineering economy.

    >>> round(compute_compound_amount(0.10, 5), 4)
    1.6105
    """
    _check_rate(rate)
    check_not_negative(periods, "the number of periods")
    return float((1 + rate) ** periods)


def compute_present_amount(rate: float, periods: float) -> float:
    """P/F: what one unit of money after so many periods is worth now; 1 / F/P.

    Raises:
        ValueError: as `compute_compound_amount`.

    >>> round(compute_present_amount(0.10, 5), 4)
    0.6209
    """
    return 1 / compute_compound_amount(rate, periods)


def compute_series_present_worth(rate: float, periods: int) -> float:
    """P/A: what one unit of money at the end of each period is worth now.

    Raises:
        ValueError: rate <= -1, or periods below 1.

    Source: compound-interest tables of engineering economy.

    >>> round(compute_series_present_worth(0.10, 5), 4)
    3.7908
    """
    _check_rate(rate)
    check_count(periods, "the number of periods", least=1)
    if rate == 0:
        return float(periods)
    return -math.expm1(-periods * math.log1p(rate)) / rate


def compute_capital_recovery(rate: float, periods: int) -> float:
    """A/P: the equal payment at the end of each period that pays back one unit of money now; 1 / P/A.

    Raises:
        ValueError: as `compute_series_present_worth`.

    >>> round(compute_capital_recovery(0.10, 5), 5)
    0.2638
    """
    return 1 / compute_series_present_worth(rate, periods)


def compute_sinking_fund(rate: float, periods: int) -> float:
    """A/F: the equal payment at the end of each period that grows to one unit of money; A/P - i.

    Raises:
        ValueError: as `compute_series_present_worth`.

    >>> round(compute_sinking_fund(0.10, 5), 5)
    0.1638
    """
    return compute_capital_recovery(rate, periods) - rate


def compute_tool_share(tool: float, pieces_per_year: float, years: int, rate: float) -> float:
    """What one good piece must carry of its tool, with interest: tool x A/P / pieces a year.

    Args:
        tool: price of the tool, money.
        pieces_per_year: good pieces a year, more than zero.
        years: whole years over which the tool is paid back.
        rate: interest per year, fraction.

    Raises:
        ValueError: negative price, zero volume, no years.

    >>> round(compute_tool_share(12_000, 500, 5, 0.10), 4)
    6.3311
    """
    check_not_negative(tool, "the price of the tool")
    check_positive(pieces_per_year, "the pieces a year")
    return tool * compute_capital_recovery(rate, years) / pieces_per_year


def compute_present_worth(rate: float, flows: Sequence[float], times: Sequence[float] | None = None) -> float:
    """Net present worth of cash flows. The first flow lies at time zero and is not discounted.

    (A spreadsheet's NPV function puts its first flow one period away; its result is this one / (1 + rate).)

    Args:
        rate: interest per period, fraction, above -1.
        flows: money, in positive and out negative.
        times: when each flow falls, in periods; 0, 1, 2... if not given. Fractions are allowed.

    Raises:
        ValueError: lengths differ, a number is not finite, a time is negative, rate <= -1.

    >>> round(compute_present_worth(0.10, [-100, 60, 60]), 4)
    4.1322
    """
    _check_rate(rate)
    when = range(len(flows)) if times is None else times
    if len(when) != len(flows):
        raise ValueError(f"{len(flows)} flows have {len(when)} times; one time for each is wanted")
    for flow, time in zip(flows, when, strict=True):
        check_finite(flow, "a cash flow")
        check_not_negative(time, "the time of a cash flow")
    return math.fsum(flow * (1 + rate) ** -time for flow, time in zip(flows, when, strict=True))


def find_internal_rates(
    flows: Sequence[float], times: Sequence[float] | None = None, highest: float = 1000.0
) -> tuple[float, ...]:
    """Every rate at which the present worth is zero, ascending; empty where there is none.

    Flows that change sign more than once may have several (Descartes): all of them are said, none is chosen.
    Present worth is scanned on 1,000 rates from -99 % to `highest`, even in log(1 + rate), and each change of sign is
    closed in on; a root that only touches zero, or two between neighbours, are found where the worth turns.

    Args:
        flows, times: as `compute_present_worth`.
        highest: the highest rate looked at, as a fraction per period.

    Raises:
        ValueError: as `compute_present_worth`.

    >>> [round(rate, 6) for rate in find_internal_rates([-1600, 10_000, -10_000])]
    [0.25, 4.0]
    >>> find_internal_rates([-100, -5])
    ()
    """
    compute_present_worth(0.0, flows, times)
    if not (any(flow > 0 for flow in flows) and any(flow < 0 for flow in flows)):
        return ()
    when = list(range(len(flows))) if times is None else list(times)
    money = [float(flow) for flow in flows]
    grid = np.linspace(math.log(0.01), math.log1p(highest), 1001)
    worth = np.exp(-np.outer(grid, when)) @ np.asarray(money)
    roots = [float(grid[i]) for i in np.flatnonzero(worth == 0)]
    crossed = np.flatnonzero(worth[:-1] * worth[1:] < 0)
    roots += [_close_in(money, when, float(grid[i]), float(grid[i + 1])) for i in crossed]
    roots += _find_touching(money, when, grid, worth)
    return tuple(sorted(math.expm1(root) for root in roots))


def _worth_at(money: Sequence[float], when: Sequence[float], force: float) -> float:
    return math.fsum(flow * math.exp(-force * time) for flow, time in zip(money, when, strict=True))


def _close_in(money: Sequence[float], when: Sequence[float], low: float, high: float) -> float:
    """The root between two forces of interest whose worths differ in sign, by halving."""
    rising = _worth_at(money, when, high) > 0
    for _ in range(52):
        middle = (low + high) / 2
        if (_worth_at(money, when, middle) > 0) == rising:
            high = middle
        else:
            low = middle
    return (low + high) / 2


def _find_touching(money: Sequence[float], when: Sequence[float], grid: Floats, worth: Floats) -> list[float]:
    """Roots between neighbours of one sign: where the worth turns back at zero, or dips through it and returns."""
    size = np.abs(worth)
    inner = (size[1:-1] < size[:-2]) & (size[1:-1] < size[2:])
    inner &= (worth[:-2] * worth[2:] > 0) & (worth[1:-1] * worth[:-2] > 0)
    found: list[float] = []
    for i in np.flatnonzero(inner) + 1:
        left, right = float(grid[i - 1]), float(grid[i + 1])
        sign = math.copysign(1.0, float(worth[i]))
        turn = _find_turn(money, when, left, right, sign)
        lowest = sign * _worth_at(money, when, turn)
        scale = _worth_at([abs(flow) for flow in money], when, turn)
        if abs(lowest) < 1e-12 * scale:
            found.append(turn)
        elif lowest < 0:
            found += [_close_in(money, when, left, turn), _close_in(money, when, turn, right)]
    return found


def _find_turn(money: Sequence[float], when: Sequence[float], low: float, high: float, sign: float) -> float:
    """Where sign x worth is lowest between two forces of interest, by thirds."""
    for _ in range(100):
        left, right = low + (high - low) / 3, high - (high - low) / 3
        if sign * _worth_at(money, when, left) < sign * _worth_at(money, when, right):
            high = right
        else:
            low = left
    return (low + high) / 2


def compute_payback(flows: Sequence[float], times: Sequence[float] | None = None) -> float | None:
    """When the running sum of the flows first comes back to zero for good, or None where it never does.

    Between two flows the money is taken to come in evenly. Not discounted.

    Raises:
        ValueError: lengths differ, not finite, times not ascending.

    >>> compute_payback([-100, 40, 40, 40])
    2.5
    >>> compute_payback([-100, 10]) is None
    True
    """
    when = list(range(len(flows))) if times is None else list(times)
    if len(when) != len(flows) or any(later < sooner for sooner, later in pairwise(when)):
        raise ValueError("the times of the flows must be as many as the flows, and ascending")
    running, answer = 0.0, 0.0
    for i, flow in enumerate(flows):
        check_finite(flow, "a cash flow")
        before, running = running, running + flow
        if running < 0:
            answer = math.inf
        elif before < 0:
            last = when[i - 1]
            answer = last + (when[i] - last) * -before / flow
    return None if math.isinf(answer) else float(answer)


def compute_break_even(fixed_one: float, unit_one: float, fixed_two: float, unit_two: float) -> float | None:
    """The number of pieces at which two ways of making cost the same; None where there is no such positive number.

    Args:
        fixed_one, fixed_two: money spent once. unit_one, unit_two: money for each piece.

    Raises:
        ValueError: a cost is negative.

    >>> round(compute_break_even(2000, 8.00, 15_000, 2.50))
    2364
    """
    for value in (fixed_one, unit_one, fixed_two, unit_two):
        check_not_negative(value, "a cost")
    if unit_one == unit_two:
        return None
    pieces = (fixed_two - fixed_one) / (unit_one - unit_two)
    return pieces if pieces > 0 else None


def compute_unit_factor(slope: float, unit: int) -> float:
    """Learning by the unit model (Crawford): cost of the n-th unit as a share of the first, n ** log2(slope).

    Args:
        slope: share that is left at each doubling, above 0 and up to 1 (0.8 = "80 % curve").
        unit: which unit, from 1.

    Raises:
        ValueError: slope or unit out of range.

    >>> round(compute_unit_factor(0.8, 10), 4)
    0.4765
    """
    check_probability(slope, "the slope of the learning curve")
    check_positive(slope, "the slope of the learning curve")
    check_count(unit, "the unit's number", least=1)
    return float(unit ** math.log2(slope))


def compute_unit_total(slope: float, units: int) -> float:
    """Learning by the unit model: cost of the first n units together, in first-unit costs.

    Raises:
        ValueError: as `compute_unit_factor`.

    >>> round(compute_unit_total(0.8, 10), 3)
    6.315
    """
    check_count(units, "the number of units", least=1)
    return math.fsum(compute_unit_factor(slope, unit) for unit in range(1, units + 1))


def compute_average_total(slope: float, units: int) -> float:
    """Learning by the cumulative-average model (Wright): cost of the first n units together, n ** (1 + log2(slope)).

    Name the model: for the same 80 % this gives 4.765 for ten units where the unit model gives 6.315.
    Source: T. P. Wright, Journal of the Aeronautical Sciences 3 (1936).

    Raises:
        ValueError: as `compute_unit_factor`.

    >>> round(compute_average_total(0.8, 10), 3)
    4.765
    """
    return units * compute_unit_factor(slope, units)


def compute_order_quantity(
    per_year: float, order_cost: float, holding: float, daily_use: float = 0.0, daily_making: float = math.inf
) -> float:
    """Economic order quantity: sqrt(2 D S / H), with stock built up while it is used where the rates are given.

    Args:
        per_year: pieces wanted a year, more than zero.
        order_cost: money for placing one order or setting up one batch.
        holding: money for keeping one piece a year, more than zero.
        daily_use, daily_making: pieces a day used and made (production order quantity); all at once if not given.

    Raises:
        ValueError: zero volume, zero holding cost, or use not below making.

    Source: F. W. Harris (1913); operations-management textbooks.

    >>> compute_order_quantity(1000, 10, 0.5)
    200.0
    """
    check_positive(per_year, "the pieces a year")
    check_not_negative(order_cost, "the cost of an order")
    check_positive(holding, "the cost of keeping one piece a year")
    check_not_negative(daily_use, "the daily use")
    if not daily_use < daily_making:
        raise ValueError(f"{daily_use:g} pieces a day are used, {daily_making:g} made; more made than used is wanted")
    return math.sqrt(2 * per_year * order_cost / (holding * (1 - daily_use / daily_making)))
