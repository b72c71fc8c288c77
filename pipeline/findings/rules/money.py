"""Rules about money: rates, validity of quotes, volumes, payments, prices."""

from __future__ import annotations

from pipeline.findings.finding import Severity
from pipeline.findings.rule import Example, Rule

ERROR, WARNING, NOTE = Severity.ERROR, Severity.WARNING, Severity.NOTE
_MONEY = "currency: USD\nhourly: {engineer: 75, buyer: 60}\nrates:\n"
_RATE = "  - {money: EUR, on: %s, rate: 1.08, source: bank list}\n"
_QUOTE = (
    "quotes:\n  Q1: {from: foundry, of: A, on: 2026-05-01, valid_to: 2026-08-01, money: %s, tools: {die: 9000}, "
    "piece: {%s}, weeks: 12, yield: 0.95, freight: 0.1, duty: 0, owns_tool: us%s}\n"
)
_DEMAND = "demand: {per_year: [%s], price: %s USD}\n"
_HELD_BACK = ", pay: [{at: order, share: 0.5}, {at: approved finished samples, share: 0.5}]"

RATE_TOO_OLD = Rule(
    "C801", "Money in another currency has a fresh rate", WARNING,
    "A price at last year's rate is a guess; it is left out of every sum until there is a fresh rate.",
    "add a dated rate with its source to shared/money.yaml",
    Example(_QUOTE % ("EUR", "500: 4.20", ""), {"shared/money.yaml": _MONEY + _RATE % "2025-11-03"}),
    Example(_QUOTE % ("EUR", "500: 4.20", ""), {"shared/money.yaml": _MONEY + _RATE % "2026-05-04"}),
)  # fmt: skip
RATE_TWICE = Rule(
    "C802", "A currency has one rate a day", ERROR,
    "With two rates of one day nobody can tell which one a sum was made with; the later line is used.",
    "take one of the two out",
    Example("", {"shared/money.yaml": _MONEY + _RATE % "2026-05-04" + _RATE % "2026-05-04"}),
    Example("", {"shared/money.yaml": _MONEY + _RATE % "2026-05-04" + _RATE % "2026-05-11"}),
)  # fmt: skip
NO_VALIDITY = Rule(
    "C803", "A quote says until when it holds", WARNING,
    "Without a last day it can be withdrawn at any time, so it cannot support a tooling release.",
    "ask the supplier and write valid_to",
    Example((_QUOTE % ("USD", "500: 4.20", "")).replace("valid_to: 2026-08-01, ", "")),
    Example(_QUOTE % ("USD", "500: 4.20", "")),
)  # fmt: skip
NO_VOLUME = Rule(
    "C804", "Demand is above zero", WARNING,
    "With no piece sold no tool earns anything back, and quotes cannot be compared.",
    "write the pieces a year that the market is thought to take, or drop the part",
    Example(_DEMAND % ("0, 0, 40", "68")), Example(_DEMAND % ("0, 10, 40", "68")),
)  # fmt: skip
ALL_PAID_FIRST = Rule(
    "C805", "Something is held back until finished samples are approved", NOTE,
    "Once the whole tool is paid, nothing but goodwill brings the toolmaker back to mend it.",
    "agree on a last payment at approved finished samples or at delivery, if the tool is worth the talk",
    Example(_QUOTE % ("USD", "500: 4.20", ", pay: [{at: order, share: 0.6}, {at: first shots, share: 0.4}]")),
    Example(_QUOTE % ("USD", "500: 4.20", _HELD_BACK)),
)  # fmt: skip
PRICE_RISES = Rule(
    "C806", "A larger order is not dearer by the piece", WARNING,
    "A piece price that rises with the quantity is nearly always a slip of the pen.",
    "compare with the quote and correct the price or the quantity",
    Example(_QUOTE % ("USD", "500: 4.20, 2000: 4.80", "")), Example(_QUOTE % ("USD", "500: 4.20, 2000: 3.80", "")),
)  # fmt: skip
SOLD_AT_A_LOSS = Rule(
    "C807", "A piece costs less than it is sold for", NOTE,
    "What is lost on every piece cannot be made up by volume.",
    "look at the price, ask for other offers, or say in `note` why it is sold all the same",
    Example(_DEMAND % ("100, 200, 300", "4")), Example(_DEMAND % ("100, 200, 300", "68")),
)  # fmt: skip
PAYMENT_TWICE = Rule(
    "C808", "A milestone of payment stands once", WARNING,
    "Two lines for one milestone are usually one that should name another.",
    "name the right milestone, or add the two shares up",
    Example(_QUOTE % ("USD", "500: 4.20", ", pay: [{at: order, share: 0.3}, {at: order, share: 0.2}, {at: delivery, share: 0.5}]")),
    Example(_QUOTE % ("USD", "500: 4.20", _HELD_BACK)),
)  # fmt: skip
ORDER_TOO_SMALL = Rule(
    "C809", "An order is not smaller than the maker's least order", WARNING,
    "The maker does not take it, so sums are made with the least order: stock and cash are not those that were thought.",
    "order more at a time, or ask the maker for a smaller least order and write what is agreed",
    Example(_QUOTE % ("USD", "500: 4.20", ", least_order: 500, order: 400")),
    Example(_QUOTE % ("USD", "500: 4.20", ", least_order: 500, order: 500")),
)  # fmt: skip

RULES = (
    RATE_TOO_OLD, RATE_TWICE, NO_VALIDITY, NO_VOLUME, ALL_PAID_FIRST, PRICE_RISES, SOLD_AT_A_LOSS, PAYMENT_TWICE,
    ORDER_TOO_SMALL,
)  # fmt: skip
