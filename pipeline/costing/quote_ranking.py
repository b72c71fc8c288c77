"""Which quote: the complete ones that pass and still stand in order of cost, the others beside them with a range."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from pipeline.costing.quote_sides import Purchase
from pipeline.costing.quote_terms import Quote
from pipeline.costing.quotes import Footing, compute_footing, find_shortest


@dataclass(frozen=True)
class Ranked:
    """One quote in the comparison.

    Attributes:
        footing: all its lines.
        rank: 1 for the cheapest; None where something keeps it out of the order.
        obstacles: why it has no rank: a term that fails, a missing point, expiry, a changed revision.
        beats_even_at_worst: an incomplete quote whose highest possible total is below every ranked one.
    """

    footing: Footing
    rank: int | None
    obstacles: tuple[str, ...]
    beats_even_at_worst: bool


@dataclass(frozen=True)
class Comparison:
    """All quotes on one footing: ranked ones first, then the others by name. `cheapest` is None if none has a rank."""

    rows: tuple[Ranked, ...]
    cheapest: str | None
    shortest_weeks: Decimal


def find_obstacles(quote: Quote, footing: Footing, purchase: Purchase, stale: str | None = None) -> tuple[str, ...]:
    """What keeps a quote out of the order of cost, in words: failed terms, missing points, expiry, a changed revision.

    Args:
        stale: why the quote no longer stands (its revision's features changed), if it does not.
    """
    words = list(footing.failed)
    if footing.missing:
        words.append(f"incomplete, not stated: {', '.join(footing.missing)}")
    if not quote.is_valid_on(purchase.on):
        words.append(f"expired on {quote.valid_to}")
    if stale is not None:
        words.append(stale)
    return tuple(words)


def compare_quotes(quotes: Sequence[Quote], purchase: Purchase, stale: Mapping[str, str] | None = None) -> Comparison:
    """Put quotes side by side. Only a quote that is complete, passes every term, is valid and stands gets a rank.

    Args:
        stale: for each quote that no longer stands, by name, why.

    Raises:
        ValueError: two quotes of one name, or no fresh rate of a currency.
    """
    check_names(quotes)
    shortest = find_shortest(quotes)
    reasons = {} if stale is None else stale
    footings = {quote.name: compute_footing(quote, purchase, shortest) for quote in quotes}
    obstacles = {
        quote.name: find_obstacles(quote, footings[quote.name], purchase, reasons.get(quote.name)) for quote in quotes
    }
    open_rows = sorted(
        (footing for name, footing in footings.items() if not obstacles[name]),
        key=lambda footing: (footing.low, footing.name),
    )
    best = open_rows[0].low if open_rows else None
    rows = [Ranked(footing, rank, (), False) for rank, footing in enumerate(open_rows, start=1)]
    for name in sorted(name for name in footings if obstacles[name]):
        footing = footings[name]
        wins = not footing.is_complete and best is not None and footing.high is not None and footing.high < best
        rows.append(Ranked(footing, None, obstacles[name], wins))
    return Comparison(tuple(rows), open_rows[0].name if open_rows else None, shortest)


def check_names(quotes: Sequence[Quote]) -> None:
    """Refuse a comparison without quotes, or with two of one name.

    Raises:
        ValueError: none, or two of one name.

    >>> check_names([])
    Traceback (most recent call last):
    ...
    ValueError: there is no quote to compare; one or more is wanted
    """
    names = [quote.name for quote in quotes]
    if not names:
        raise ValueError("there is no quote to compare; one or more is wanted")
    for name in names:
        if names.count(name) > 1:
            raise ValueError(f'two quotes are called "{name}"; give each its own name')
