"""Where the cheapest quote changes: by volume, by the yield of one maker, by the exchange rate."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import pairwise

from pipeline.costing.bounds import check_count
from pipeline.costing.quote_ranking import check_names
from pipeline.costing.quote_sides import Purchase, build_side, find_missing
from pipeline.costing.quote_terms import Quote, build_stated
from pipeline.costing.quotes import compute_lines, divide_up, find_shortest


def _check_complete(quotes: Sequence[Quote]) -> None:
    check_names(quotes)
    for quote in quotes:
        missing = find_missing(quote)
        if missing:
            raise ValueError(f'"{quote.name}" does not state {missing[0]}; complete it before it is varied')


def _total(quote: Quote, purchase: Purchase, shortest: Decimal, fx: Decimal | None = None) -> Decimal:
    side = build_side(quote, purchase, fx=fx)
    return sum(compute_lines(quote, side, purchase, shortest)[2].values(), Decimal(0))


def spread_good(good: int, pattern: Sequence[int]) -> tuple[int, ...]:
    """So many good pieces over the years, in the proportion of a pattern; the parts add up to the whole.

    >>> spread_good(10, (1, 1, 2))
    (2, 3, 5)
    """
    whole, done, wanted, parts = sum(pattern), 0, 0, []
    for year in pattern:
        wanted += year
        until = good * wanted // whole
        parts.append(until - done)
        done = until
    return tuple(parts)


@dataclass(frozen=True)
class VolumeRange:
    """From so many good pieces over the horizon on (and a year, on average) this quote is the cheapest."""

    from_good: int
    per_year: Decimal
    name: str


class _VolumeScan:
    """Totals of every quote at a volume, each asked for once."""

    def __init__(self, quotes: Sequence[Quote], purchase: Purchase) -> None:
        self.quotes, self.purchase, self.shortest = quotes, purchase, find_shortest(quotes)
        self.known: dict[int, str] = {}

    def find_cheapest(self, good: int) -> str:
        if good not in self.known:
            scaled = replace(self.purchase, good_by_year=spread_good(good, self.purchase.good_by_year))
            totals = [(_total(quote, scaled, self.shortest), quote.name) for quote in self.quotes]
            self.known[good] = min(totals)[1]
        return self.known[good]

    def find_turns(self, low: int, high: int) -> list[int]:
        """Volumes in (low, high] at which the cheapest changes, to one piece."""
        if self.find_cheapest(low) == self.find_cheapest(high):
            return []
        if high - low == 1:
            return [high]
        middle = (low + high) // 2
        return self.find_turns(low, middle) + self.find_turns(middle, high)


def find_cheapest_by_volume(
    quotes: Sequence[Quote], purchase: Purchase, low: int, high: int, step: int | None = None
) -> tuple[VolumeRange, ...]:
    """Which quote is cheapest at which volume, with the crossing points.

    Totals are straight lines in volume between jumps (a refurbishment, a new set of tools, a price break, a minimum
    order). Volumes are looked at on a grid and on both sides of every jump, and each change is closed in on to one
    piece. Near a crossing whole pieces make totals waver by less than a piece; one crossing is given there.

    Args:
        quotes: complete ones.
        low, high: range of good pieces over the whole horizon, 1 <= low < high.
        step: look only at low, low + step ... and do not close in; a grid of 200 and all jumps if not given.

    Returns:
        Ranges in ascending volume; the first starts at `low`.

    Raises:
        ValueError: an incomplete quote, or a range that is out of order.
    """
    _check_complete(quotes)
    check_count(low, "the lowest volume", least=1)
    check_count(high, "the highest volume", least=low + 1)
    scan = _VolumeScan(quotes, purchase)
    if step is not None:
        check_count(step, "the step of volume", least=1)
        turns = _turn_on_grid(scan, range(low, high + 1, step))
    else:
        even = range(low, high, max(1, (high - low) // 200))
        grid = sorted({*_list_jumps(quotes, purchase, low, high), *even, high})
        turns = [turn for one, two in pairwise(grid) for turn in scan.find_turns(one, two)]
    starts = _merge_waver([low, *turns], scan)
    return tuple(VolumeRange(start, Decimal(start) / purchase.years, scan.find_cheapest(start)) for start in starts)


def _turn_on_grid(scan: _VolumeScan, grid: Sequence[int]) -> list[int]:
    return [two for one, two in pairwise(grid) if scan.find_cheapest(one) != scan.find_cheapest(two)]


def _merge_waver(starts: Sequence[int], scan: _VolumeScan, width: int = 3) -> list[int]:
    """Drop turns that only waver: back and forth within a few pieces."""
    kept: list[int] = []
    for start in starts:
        if len(kept) > 1 and start - kept[-1] < width and scan.find_cheapest(start) == scan.find_cheapest(kept[-2]):
            kept.pop()
        else:  # a turn: the cheapest is another one than before it
            kept.append(start)
    return kept


def _list_jumps(quotes: Sequence[Quote], purchase: Purchase, low: int, high: int) -> list[int]:
    """Volumes on both sides of each jump of a quote's total, as far as there are at most 500 of a kind."""
    jumps = []
    for quote in quotes:
        side = build_side(quote, purchase)
        for shots in (side.tool_life, side.refurbish_every):
            if shots is not None:
                pieces = shots * quote.pieces_per_shot * side.yield_share
                most = min(500, divide_up(high, max(pieces, Decimal(1))))
                jumps += [int(pieces * number) for number in range(1, most + 1)]
        jumps += [int(step.quantity * side.yield_share) for step in quote.breaks]
        jumps += [int(step.quantity * purchase.years * side.yield_share) for step in quote.breaks]
        jumps.append(int(side.least_order * side.yield_share))
    return [jump + near for jump in jumps for near in (-1, 0, 1, 2) if low <= jump + near <= high]


@dataclass(frozen=True)
class Switch:
    """The value of one input of one quote at which the cheapest changes, all else as it stands.

    Attributes:
        name: the quote whose input it is. what: "yield" or "rate".
        value: as it stands. turns_at: where the answer turns.
        winner: the cheapest quote beyond that value.
    """

    name: str
    what: str
    value: Decimal
    turns_at: Decimal
    winner: str


def find_yield_switch(quotes: Sequence[Quote], purchase: Purchase, name: str) -> Switch | None:
    """The yield of one quote at which the cheapest changes; None where no yield from 1 % to 100 % does it.

    For the cheapest quote it is how far its yield may fall; for another, how far it would have to rise.

    Raises:
        ValueError: no quote of that name, or an incomplete quote.
    """
    quote = _find_quote(quotes, name)
    value = quote.yield_share.low or Decimal(1)
    shortest = find_shortest(quotes)

    def lead(share: Decimal) -> Decimal:
        tried = replace(quote, yield_share=build_stated(share))
        return _total(tried, purchase, shortest) - _find_rival(quotes, purchase, name, shortest)[0]

    end = Decimal("0.01") if lead(value) <= 0 else Decimal(1)
    return _close_switch(quotes, purchase, name, "yield", lead, value, end)


def find_rate_switch(quotes: Sequence[Quote], purchase: Purchase, name: str) -> Switch | None:
    """The exchange rate of one quote's currency, for this quote alone, at which the cheapest changes.

    None where the quote is in the home currency or no rate from a tenth to ten times today's does it.

    Raises:
        ValueError: no quote of that name, an incomplete quote, or no fresh rate.
    """
    quote = _find_quote(quotes, name)
    if quote.currency == purchase.rates.home:
        return None
    value = purchase.rates.find_rate(quote.currency, purchase.on).rate
    shortest = find_shortest(quotes)

    def lead(rate: Decimal) -> Decimal:
        return _total(quote, purchase, shortest, fx=rate) - _find_rival(quotes, purchase, name, shortest)[0]

    end = value * 10 if lead(value) <= 0 else value / 10
    return _close_switch(quotes, purchase, name, "rate", lead, value, end)


def _find_quote(quotes: Sequence[Quote], name: str) -> Quote:
    _check_complete(quotes)
    for quote in quotes:
        if quote.name == name:
            return quote
    raise ValueError(f'there is no quote "{name}"; there are {", ".join(quote.name for quote in quotes)}')


def _find_rival(quotes: Sequence[Quote], purchase: Purchase, name: str, shortest: Decimal) -> tuple[Decimal, str]:
    rivals = [(_total(quote, purchase, shortest), quote.name) for quote in quotes if quote.name != name]
    if not rivals:
        raise ValueError(f'"{name}" is the only quote; another one is needed for a comparison')
    return min(rivals)


def _close_switch(
    quotes: Sequence[Quote],
    purchase: Purchase,
    name: str,
    what: str,
    lead: Callable[[Decimal], Decimal],
    value: Decimal,
    end: Decimal,
) -> Switch | None:
    """Halve between where it stands and the far end, until the change of the cheapest is known to six digits."""
    wins = lead(value) <= 0
    if (lead(end) <= 0) == wins:
        return None
    here, there = value, end
    while abs(there - here) > Decimal("1e-7") * value:
        middle = (here + there) / 2
        here, there = (middle, there) if (lead(middle) <= 0) == wins else (here, middle)
    rival = _find_rival(quotes, purchase, name, find_shortest(quotes))[1]
    return Switch(name, what, value, there, rival if wins else name)
