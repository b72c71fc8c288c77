"""Quotes on one footing: the worked example to the cent, scope, expiry, volumes, switches, cash and present value."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from decimal import Decimal

import pytest

from pipeline.costing.money import Rate, Rates, round_money
from pipeline.costing.quote_cash import build_cash, compute_present_value
from pipeline.costing.quote_ranking import compare_quotes
from pipeline.costing.quote_sides import Purchase
from pipeline.costing.quote_switches import find_cheapest_by_volume, find_rate_switch, find_yield_switch
from pipeline.costing.quote_terms import (
    PASS_OR_FAIL,
    POINTS,
    Milestone,
    PriceBreak,
    Quote,
    Scope,
    build_not_stated,
    build_not_wanted,
    build_scope_table,
    build_stated,
    find_expiring,
)
from pipeline.costing.quotes import compute_footing

DAY = dt.date(2026, 10, 15)
ALL_PASS = dict.fromkeys(PASS_OR_FAIL, True)
RATES = Rates("USD", (Rate("CAD", dt.date(2026, 10, 10), Decimal("0.92"), "invented for a worked example"),), 30)


def build_quote(
    name: str, currency: str, deposit: str, order: int, life: int, every: int, **values: float | str
) -> Quote:
    home = {"samples", "freight", "secondary"}
    points = {point: build_stated(value, "USD" if point in home else None) for point, value in values.items()}
    return Quote(
        name=name,
        currency=currency,
        issued=dt.date(2026, 10, 1),
        valid_to=dt.date(2027, 1, 15),
        milestones=(
            Milestone("order", Decimal(deposit), Decimal(0)),
            Milestone("good pieces", 1 - Decimal(deposit)),
        ),
        order_quantity=order,
        minimum_order=build_stated(1),
        tool_life=build_stated(life),
        refurbish_every=build_stated(every),
        pieces_per_shot=2,
        payment_days=build_stated(0),
        terms=ALL_PASS,
        **points,  # type: ignore[arg-type]
    )


# worked example (invented inputs), arithmetic run independently of this project
A = build_quote(
    "A", "USD", "0.5", 800, 100_000, 40_000, tool=38_000, refurbishment=4500, piece="6.9", freight="0.15", duty=0,
    secondary="4.8", yield_share="0.94", tool_duty=0, weeks=14, samples=0,
)  # fmt: skip
B = build_quote(
    "B", "CAD", "0.5", 3000, 50_000, 25_000, tool=21_500, refurbishment=3500, piece="5.2", freight="0.62", duty="0.06",
    secondary="4.8", yield_share="0.88", tool_duty="0.06", weeks=22, samples=2600,
)  # fmt: skip
C = build_quote(
    "C", "USD", "0.4", 400, 5000, 2500, tool=11_500, refurbishment=2400, piece="10.4", freight="0.15", duty=0,
    secondary="4.8", yield_share="0.9", tool_duty=0, weeks=9, samples=0,
)  # fmt: skip
QUOTES = (A, B, C)
DELAY = Decimal(800 * 42) / 2 / 52
PURCHASE = Purchase((1600,) * 5, RATES, DAY, Decimal("0.10"), Decimal("0.18"), DELAY)

EXPECTED = {
    "A": {"made": 8511, "shots": 4256, "sets": 1, "refurbs": 0, "landed": "11.85", "good": "12.6064", "tool": "38000.00",
              "run": "100855.35", "refurb": "0.00", "finance": "511.54", "holding": "4538.30", "delay": "1615.38",
              "total": "145520.57", "per_good": "18.1901", "headline": "11.65"},
    "B": {"made": 9091, "shots": 4546, "sets": 1, "refurbs": 0, "landed": "10.491", "good": "11.9216", "tool": "23566.80",
              "run": "95374.04", "refurb": "0.00", "finance": "418.42", "holding": "16094.21", "delay": "4200.00",
              "total": "139653.48", "per_good": "17.4567", "headline": "7.2565"},
    "C": {"made": 8889, "shots": 4445, "sets": 1, "refurbs": 1, "landed": "15.35", "good": "17.0556", "tool": "11500.00",
              "run": "136446.15", "refurb": "2400.00", "finance": "79.62", "holding": "3070.00", "delay": "0.00",
              "total": "153495.77", "per_good": "19.1870", "headline": "11.8375"},
}  # fmt: skip


@pytest.mark.parametrize("quote", QUOTES, ids=lambda quote: quote.name)
def test_worked_example_line_by_line(quote: Quote) -> None:
    expected = EXPECTED[quote.name]
    footing = compute_footing(quote, PURCHASE, Decimal(9))
    lines = {line.name: line.low for line in footing.lines}
    made = footing.quantities
    assert (made.bought, made.shots, made.sets, made.refurbishments) == (
        expected["made"], expected["shots"], expected["sets"], expected["refurbs"],
    )  # fmt: skip
    assert float(footing.landed) == pytest.approx(float(expected["landed"]), abs=5e-5)
    assert float(footing.landed_good) == pytest.approx(float(expected["good"]), abs=5e-5)
    assert float(footing.headline) == pytest.approx(float(expected["headline"]), abs=5e-5)
    sums = {
        "tool": lines["tool"] + lines["duty on the tool"] + lines["samples"],
        "run": lines["pieces"] + lines["duty on pieces"] + lines["freight"] + lines["secondary operations"],
        "refurb": lines["refurbishment"],
        "finance": lines["finance of payments before delivery"],
        "holding": lines["carrying cost of stock"],
        "delay": lines["delay"],
    }
    assert {name: round_money(amount) for name, amount in sums.items()} == {
        name: Decimal(str(expected[name])) for name in sums
    }
    assert footing.total == Decimal(str(expected["total"]))
    assert footing.per_good == Decimal(str(expected["per_good"]))


def test_worked_example_order() -> None:
    comparison = compare_quotes(QUOTES, PURCHASE)
    assert [(row.footing.name, row.rank) for row in comparison.rows] == [("B", 1), ("A", 2), ("C", 3)]
    assert comparison.cheapest == "B"
    assert comparison.shortest_weeks == 9


def test_shown_lines_and_rounding_come_to_the_total() -> None:
    for quote in QUOTES:
        footing = compute_footing(quote, PURCHASE, Decimal(9))
        shown = sum((round_money(line.low) for line in footing.lines), Decimal(0))
        assert shown + footing.rounding == footing.total
        assert abs(footing.rounding) <= Decimal("0.05")


def test_worked_example_volumes() -> None:
    on_grid = find_cheapest_by_volume(QUOTES, PURCHASE, 200, 12_000, step=50)
    assert [(row.from_good, row.name) for row in on_grid] == [(200, "C"), (5350, "B")]
    exact = find_cheapest_by_volume(QUOTES, PURCHASE, 200, 12_000)
    assert [row.name for row in exact] == ["C", "B"]
    # brute force over every volume gives 5302 with whole pieces wavering up to 5304
    assert 5302 <= exact[1].from_good <= 5304
    assert exact[1].per_year == Decimal(exact[1].from_good) / 5


def build_bare(name: str, currency: str, tool: str) -> Quote:
    """A quote that states the price of its tool, paid with the order, and of which nothing else is wanted."""
    nothing = {point: build_not_wanted() for point in POINTS if point not in ("tool", "milestones")}
    paid = (Milestone("order", Decimal(1)),)
    return Quote(name, currency, DAY, DAY, tool=build_stated(tool), milestones=paid, **nothing)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("home", "turns_at", "winner"),
    [
        ("874", "8.74", "home"),  # nine and a half times as much
        ("966", None, None),  # ten and a half times
        ("92", "0.92", "home"),  # alike as it stands: any more, and the other one wins
        ("9.684", "0.09684", "foreign"),  # nine and a half times less
        ("8.76", None, None),
    ],
)
def test_a_rate_is_looked_for_from_a_tenth_to_ten_times_todays(
    home: str, turns_at: str | None, winner: str | None
) -> None:
    """By hand: 100 in a currency that stands at 0.92, beside a tool in the home currency."""
    quotes = (build_bare("foreign", "CAD", "100"), build_bare("home", "USD", home))
    switch = find_rate_switch(quotes, Purchase((1,), RATES, DAY, Decimal(0), Decimal(0)), "foreign")
    assert (switch and switch.winner) == winner
    if switch is not None and turns_at is not None:
        assert float(switch.turns_at) == pytest.approx(float(turns_at), abs=1e-6)


def test_a_small_rate_is_closed_in_on_to_six_digits_as_well() -> None:
    """By hand: 100,000 at 0.0065 beside 700 at home turn at 0.007."""
    rates = Rates("USD", (Rate("JPY", DAY, Decimal("0.0065"), "invented"),))
    quotes = (build_bare("foreign", "JPY", "100000"), build_bare("home", "USD", "700"))
    switch = find_rate_switch(quotes, Purchase((1,), rates, DAY, Decimal(0), Decimal(0)), "foreign")
    assert switch is not None
    assert float(switch.turns_at) == pytest.approx(0.007, rel=1e-6)


def test_a_short_stretch_behind_a_refurbishment_is_found() -> None:
    """By hand, yield 0.8, two pieces a shot: "worn" costs 775.60 more once, 0.80 less a piece paid for, and 20 whenever it
    has made 250 shots. It is cheaper from 995 pieces paid for (796 good), dearer again from 1,002 (801 good: 501 shots)
    and cheaper for good from 1,020 (816 good). The grid looks at 751 and at 901."""
    plain = replace(
        build_bare("plain", "USD", "1000"), piece=build_stated("1.80"), yield_share=build_stated("0.8"), pieces_per_shot=2
    )  # fmt: skip
    worn = replace(
        plain, name="worn", tool=build_stated("1775.60"), piece=build_stated(1), refurbish_every=build_stated(250),
        refurbishment=build_stated(20),
    )  # fmt: skip
    bought = Purchase((1,), RATES, DAY, Decimal(0), Decimal(0))
    found = find_cheapest_by_volume((plain, worn), bought, 1, 30_001)
    assert [(row.from_good, row.name) for row in found] == [(1, "plain"), (796, "worn"), (801, "plain"), (816, "worn")]


def test_worked_example_yield_at_which_another_wins() -> None:
    switch = find_yield_switch(QUOTES, PURCHASE, "B")
    assert switch is not None
    assert float(switch.turns_at) == pytest.approx(0.836, abs=5e-4)
    assert switch.winner == "A"
    below = replace(B, yield_share=build_stated("0.8355"))
    assert compare_quotes((A, below, C), PURCHASE).cheapest == "A"


def test_a_grid_of_volumes_ends_where_it_was_told_to() -> None:
    """At steps of 50 the cheapest changes at 5,350."""
    for high, names in ((5349, ["C"]), (5350, ["C", "B"])):
        assert [row.name for row in find_cheapest_by_volume(QUOTES, PURCHASE, 200, high, step=50)] == names
    by_piece = find_cheapest_by_volume(QUOTES, PURCHASE, 5290, 5310, step=1)
    assert by_piece == find_cheapest_by_volume(QUOTES, PURCHASE, 5290, 5310)
    with pytest.raises(ValueError, match="step of volume is 0; a whole number of 1 or more"):
        find_cheapest_by_volume(QUOTES, PURCHASE, 200, 5350, step=0)


def test_a_yield_that_is_not_wanted_is_that_of_all_pieces() -> None:
    switch = find_yield_switch((A, replace(B, yield_share=build_not_wanted()), C), PURCHASE, "B")
    assert switch is not None
    assert switch.value == 1
    assert float(switch.turns_at) == pytest.approx(0.836, abs=5e-4)


def test_a_dearer_quote_is_told_how_far_it_must_rise() -> None:
    dearer = replace(B, yield_share=build_stated("0.80"))
    switch = find_yield_switch((A, dearer, C), PURCHASE, "B")
    assert switch is not None
    assert switch.winner == "B"
    assert float(switch.turns_at) == pytest.approx(0.836, abs=5e-4)
    dear_tool = replace(C, tool=build_stated(40_000))
    assert find_yield_switch((A, B, dear_tool), PURCHASE, "C") is None


def test_the_rate_at_which_another_wins() -> None:
    switch = find_rate_switch(QUOTES, PURCHASE, "B")
    assert switch is not None
    assert switch.winner == "A"
    moved = replace(PURCHASE, rates=Rates("USD", (Rate("CAD", DAY, switch.turns_at, "tried"),), 30))
    totals = {row.footing.name: row.footing.low for row in compare_quotes(QUOTES, moved).rows}
    assert abs(totals["A"] - totals["B"]) < Decimal("0.05")
    assert find_rate_switch(QUOTES, PURCHASE, "A") is None


def test_a_missing_line_makes_a_range_and_no_rank() -> None:
    silent = replace(B, freight=build_not_stated())
    comparison = compare_quotes((A, silent, C), PURCHASE)
    row = next(row for row in comparison.rows if row.footing.name == "B")
    assert comparison.cheapest == "A"
    assert row.rank is None
    assert row.footing.total is None
    assert row.footing.per_good is None
    assert row.footing.high is None
    assert row.footing.low < Decimal("139653.48")
    assert row.footing.missing == ("freight",)
    assert row.obstacles == ("incomplete, not stated: freight",)
    unbounded = [line.name for line in row.footing.lines if line.high is None]
    assert unbounded == ["freight", "carrying cost of stock"]


def test_a_missing_line_with_a_bound_gives_a_bounded_range() -> None:
    """By hand: freight is paid for 9,091 pieces, and 18 % a year of it for five years on 1,500 / 0.88 pieces of stock:
    10,625.09 for each unit of money a piece, so 0.22 less and 0.28 more than the 0.62 of the worked example."""
    silent = replace(B, freight=build_not_stated("0.40", "0.90", "USD"))
    row = next(row for row in compare_quotes((A, silent, C), PURCHASE).rows if row.footing.name == "B")
    assert row.rank is None
    assert row.footing.high is not None
    assert row.footing.low == pytest.approx(Decimal("137315.96"), abs=Decimal("0.01"))
    assert row.footing.high == pytest.approx(Decimal("142628.51"), abs=Decimal("0.01"))
    assert row.beats_even_at_worst  # 145,520.57 is the cheapest of those that have a rank


def test_only_an_incomplete_quote_that_is_cheaper_at_its_worst_is_said_to_beat_the_others() -> None:
    """A comes to 145,520.57. B reaches it at a freight of 0.62 + 5,867.09 / 10,625.09 = 1.1722."""
    bounds = (("0.90", True), ("1.17", True), ("1.18", False), ("9", False))
    for high, beats in bounds:
        silent = replace(B, freight=build_not_stated("0.40", high, "USD"))
        rows = {row.footing.name: row for row in compare_quotes((A, silent, C), PURCHASE).rows}
        assert {name: row.beats_even_at_worst for name, row in rows.items()} == {"A": False, "B": beats, "C": False}
    unbounded = replace(B, freight=build_not_stated())
    expired = replace(B, valid_to=dt.date(2026, 10, 14))
    for other in (unbounded, expired):
        assert not any(row.beats_even_at_worst for row in compare_quotes((A, other, C), PURCHASE).rows)
    alone = replace(B, freight=build_not_stated("0.40", "0.90", "USD"))
    assert not compare_quotes((alone,), PURCHASE).rows[0].beats_even_at_worst


def test_free_is_not_the_same_as_not_stated() -> None:
    free = replace(B, freight=build_stated(0, "USD"))
    assert compute_footing(free, PURCHASE).is_complete
    assert compute_footing(replace(B, freight=build_not_wanted()), PURCHASE).is_complete
    assert not compute_footing(replace(B, freight=build_not_stated(0, 0)), PURCHASE).is_complete


def test_terms_are_pass_or_fail_and_not_money() -> None:
    keeps_tool = replace(B, terms={**ALL_PASS, "tool ownership": False})
    silent = replace(C, terms={term: True for term in PASS_OR_FAIL if term != "storage"})
    comparison = compare_quotes((A, keeps_tool, silent), PURCHASE)
    assert comparison.cheapest == "A"
    reasons = {row.footing.name: row.obstacles for row in comparison.rows}
    assert reasons["B"] == ("tool ownership: refused",)
    assert reasons["C"] == ("storage: not stated",)


def test_expired_and_stale_quotes_have_no_rank() -> None:
    late = replace(PURCHASE, on=dt.date(2027, 1, 16), rates=replace(RATES, limit_days=365))
    assert compare_quotes(QUOTES, late).cheapest is None
    last_day = replace(late, on=dt.date(2027, 1, 15))
    assert compare_quotes(QUOTES, last_day).cheapest == "B"
    stale = compare_quotes(QUOTES, PURCHASE, {"B": "made against revision C; boss_pitch changed in D"})
    assert stale.cheapest == "A"
    assert stale.rows[-1].obstacles == ("made against revision C; boss_pitch changed in D",)


def test_scope_comes_before_money() -> None:
    other = replace(B, freight=build_not_stated(), secondary=build_not_wanted(), spare={"packing": Scope.STATED})
    table = {row.point: row for row in build_scope_table((A, other))}
    assert [said.value for said in table["freight"].said] == ["stated", "not stated"]
    assert [said.value for said in table["secondary operations"].said] == ["stated", "not wanted"]
    assert [said.value for said in table["packing"].said] == ["not stated", "stated"]
    assert not table["freight"].is_even
    assert table["tool price"].is_even


def test_the_buyer_s_list_of_what_runs_out() -> None:
    soon = replace(B, valid_to=dt.date(2026, 11, 1))
    gone = replace(C, valid_to=dt.date(2026, 10, 14))
    rows = find_expiring((A, soon, gone), DAY, within_days=30)
    assert [(row.name, row.days) for row in rows] == [("C", -1), ("B", 17)]
    on_limit = replace(A, valid_to=DAY + dt.timedelta(days=30))
    assert find_expiring((on_limit,), DAY)[0].days == 30
    assert find_expiring((replace(A, valid_to=DAY + dt.timedelta(days=31)),), DAY) == ()


@pytest.mark.parametrize(
    ("order", "price"),
    [(1, "6.90"), (799, "6.90"), (800, "6.50"), (2999, "6.50"), (3000, "6.10"), (5000, "6.10")],
)
def test_the_unit_price_is_read_at_the_order_quantity(order: int, price: str) -> None:
    stepped = replace(
        A, order_quantity=order, breaks=(PriceBreak(800, Decimal("6.50")), PriceBreak(3000, Decimal("6.10")))
    )
    footing = compute_footing(stepped, PURCHASE)
    assert footing.landed == Decimal(price) + Decimal("4.95")


def test_a_price_break_may_begin_with_the_first_piece() -> None:
    stepped = replace(A, order_quantity=1, breaks=(PriceBreak(1, Decimal("6.50")),))
    assert compute_footing(stepped, PURCHASE).landed == Decimal("6.50") + Decimal("4.95")


def test_a_minimum_order_is_paid_even_where_less_is_needed() -> None:
    small = replace(PURCHASE, good_by_year=(100,))
    footing = compute_footing(replace(A, minimum_order=build_stated(500), order_quantity=None), small)
    assert footing.quantities.bought == 500
    assert footing.quantities.order == 500


@pytest.mark.parametrize(
    ("shots_wanted", "life", "every", "sets", "refurbishments"),
    [
        (2500, 5000, 2500, 1, 0),  # on the limit: nothing more is to be made
        (2501, 5000, 2500, 1, 1),
        (5000, 5000, 2500, 1, 1),  # at the end of its life a set is not refurbished
        (5001, 5000, 2500, 2, 1),
        (7501, 5000, 2500, 2, 2),
        (10_000, 5000, 10_000, 2, 0),
    ],
)
def test_tool_life_is_counted_in_shots(
    shots_wanted: int, life: int, every: int, sets: int, refurbishments: int
) -> None:
    quote = replace(
        A, tool_life=build_stated(life), refurbish_every=build_stated(every), yield_share=build_stated(1),
    )  # fmt: skip
    made = compute_footing(quote, replace(PURCHASE, good_by_year=(2 * shots_wanted,))).quantities
    assert (made.shots, made.sets, made.refurbishments) == (shots_wanted, sets, refurbishments)


def test_a_tool_that_needs_no_refurbishment_gets_none_whatever_one_would_cost() -> None:
    footing = compute_footing(replace(C, refurbish_every=build_not_wanted()), PURCHASE)
    assert footing.quantities.refurbishments == 0
    assert [line.low for line in footing.lines if line.name == "refurbishment"] == [0]


def test_a_tool_makes_one_piece_a_shot_where_nothing_else_is_said() -> None:
    """By hand: 1,600 good pieces of 0.8 are 2,000 paid for and 2,000 shots, so a life of 1,000 shots takes two sets."""
    plain = Quote("plain", "USD", DAY, DAY, tool_life=build_stated(1000), yield_share=build_stated("0.8"))
    made = compute_footing(plain, replace(PURCHASE, good_by_year=(1600,))).quantities
    assert (made.bought, made.shots, made.sets) == (2000, 2000, 2)


@pytest.mark.parametrize("quote", QUOTES, ids=lambda quote: quote.name)
def test_cash_without_interest_comes_to_the_lines(quote: Quote) -> None:
    plain = replace(PURCHASE, money_rate=Decimal(0))
    cash = build_cash(quote, plain, Decimal(9))
    footing = compute_footing(quote, plain, Decimal(9))
    assert float(compute_present_value(cash, Decimal(0))) == pytest.approx(float(footing.low), abs=0.01)
    assert list(cash) == sorted(cash, key=lambda line: (line.week, line.what))


def test_cash_dates_and_present_value() -> None:
    cash = build_cash(A, PURCHASE, Decimal(9))
    assert [(line.week, line.what, line.amount) for line in cash[:1]] == [(0, "tool: order", Decimal("19000.0"))]
    assert sum(line.amount for line in cash if line.what == "pieces, landed") == Decimal("100855.35")
    assert min(line.week for line in cash if line.what == "pieces, landed") == 14
    value = compute_present_value(cash, Decimal("0.10"))
    by_hand = sum(float(line.amount) / 1.1 ** (float(line.week) / 52) for line in cash)
    assert float(value) == pytest.approx(by_hand)
    later = build_cash(replace(A, payment_days=build_stated(91)), PURCHASE, Decimal(9))
    assert compute_present_value(later, Decimal("0.10")) < value
    assert min(line.week for line in later if line.what == "pieces, landed") == 14 + 13  # 91 days are 13 weeks


def test_a_worn_out_set_is_bought_again_when_its_shots_are_reached() -> None:
    worn = replace(C, tool_life=build_stated(2000), refurbish_every=build_stated(1000))
    cash = build_cash(worn, PURCHASE, Decimal(9))
    sets = [line for line in cash if line.what == "tool: next set"]
    assert len(sets) == 2
    assert float(sets[0].week) == pytest.approx(9 + 260 * 2000 / 4445)
    done = [float(line.week) for line in cash if line.what == "refurbishment"]
    assert done == pytest.approx([9 + 260 * shots / 4445 for shots in (1000, 3000)])  # in the middle of each whole life


def test_a_zero_rate_of_yield_and_other_impossible_quotes_are_refused() -> None:
    day = dt.date(2026, 1, 1)
    cases = [
        (lambda: Quote("Q", "USD", day, None), "no last day of validity"),
        (lambda: Quote("Q", "USD", day, dt.date(2025, 1, 1)), "before it was issued"),
        (lambda: Quote("Q", "usd", day, day), "three capital letters"),
        (lambda: replace(A, tool_life=build_stated(0)), 'tool life of "A" is 0'),
        (lambda: replace(A, refurbish_every=build_stated(0)), "shots between refurbishments"),
        (lambda: replace(A, yield_share=build_stated(0)), 'yield of "A" is 0'),
        (lambda: replace(A, yield_share=build_stated("1.1")), "a share from 0 to 1"),
        (lambda: replace(A, milestones=(Milestone("order", Decimal("0.4")),)), "add up to 0.4"),
        (lambda: replace(A, breaks=(PriceBreak(5, Decimal(1)), PriceBreak(2, Decimal(1)))), "ascending"),
        (lambda: replace(A, pieces_per_shot=0), "pieces per shot"),
        (lambda: replace(A, order_quantity=0), "order quantity"),
        (lambda: build_stated(-1), "zero or more"),
        (lambda: build_not_stated(3, 2), "out of order"),
        (lambda: PriceBreak(5, Decimal(-1)), "from 5 pieces is -1"),
        (lambda: PriceBreak(0, Decimal(1)), "quantity of a price break is 0; a whole number of 1 or more"),
        (lambda: Milestone("order", Decimal("1.5")), "share from 0 to 1"),
        (lambda: replace(PURCHASE, good_by_year=(0, 0)), "volume of 1 or more"),
        (lambda: replace(PURCHASE, good_by_year=(-5,)), "good pieces of year 1 is -5"),
        (lambda: compute_footing(B, replace(PURCHASE, on=dt.date(2026, 12, 1))), "52 days before"),
        (lambda: compare_quotes((), PURCHASE), "no quote to compare"),
        (lambda: compare_quotes((A, A), PURCHASE), 'two quotes are called "A"'),
        (lambda: find_cheapest_by_volume((replace(A, duty=build_not_stated()), B), PURCHASE, 1, 9), "does not state"),
        (lambda: find_cheapest_by_volume(QUOTES, PURCHASE, 10, 10), "highest volume is 10"),
        (lambda: find_yield_switch(QUOTES, PURCHASE, "Z"), 'no quote "Z"'),
        (lambda: find_yield_switch((A,), PURCHASE, "A"), "the only quote"),
    ]
    for call, words in cases:
        with pytest.raises(ValueError, match=words):
            call()  # type: ignore[no-untyped-call]
