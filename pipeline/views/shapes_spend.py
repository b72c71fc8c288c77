"""Shapes of the page of tooling spend: drawings of cash, a plan at one budget, the page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.views.shapes_marks import Caution, Line, Link

if TYPE_CHECKING:
    from pipeline.views.shapes_site import Figure, PageHead, Section, Tally


@dataclass(frozen=True)
class SpendColumn:
    """One quarter: what was promised before, what the plan pays, and the cash that can be spent in it (``cash``).

    ``words`` stand under its label.
    """

    label: str
    promised: float
    planned: float
    cash: float
    words: str = ""


@dataclass(frozen=True)
class SpendChart:
    """Payments by quarter under the cash line; ``unit`` is the currency code."""

    title: str
    words: str
    unit: str
    columns: tuple[SpendColumn, ...]


@dataclass(frozen=True)
class CashChart:
    """Cumulative cash at the end of each quarter: low, expected and high. ``planned`` quarters belong to the plan."""

    title: str
    words: str
    unit: str
    labels: tuple[str, ...]
    low: tuple[float, ...]
    mean: tuple[float, ...]
    high: tuple[float, ...]
    planned: int


@dataclass(frozen=True)
class SpendRelease:
    """One release of a plan: what, which part, what it costs, and what must be true first (empty: nothing)."""

    tool: Link
    name: str
    cost: str
    first: str = ""


@dataclass(frozen=True)
class SpendQuarter:
    """What is released in one quarter, what is paid in it, what is left after it."""

    label: str
    releases: tuple[SpendRelease, ...]
    paid: str
    left: str


@dataclass(frozen=True)
class SpendPoint:
    """A plan that was solved at one budget. ``next_words`` says what the next larger solved budget changes.

    ``budget`` in money, for the slider; everything else is in words. ``quarters`` is empty where nothing fits, and
    ``summary`` then says why.
    """

    budget: float
    budget_words: str
    worth_words: str
    summary: str
    next_words: str
    quarters: tuple[SpendQuarter, ...]
    figures: tuple[Figure, ...]


@dataclass(frozen=True)
class SpendPage:
    """Which tools, when, with this cash. Template ``spend.html``; ``spend_data.html`` writes the solved points.

    ``answers`` come first: what to release now, what is just below the line and why, how sure. ``at`` is the place of
    the stated budget among the points; -1 where there is no point. ``stated_words`` says that budget.
    """

    head: PageHead
    answers: tuple[tuple[str, Line], ...]
    tallies: tuple[Tally, ...]
    cautions: tuple[Caution, ...]
    points: tuple[SpendPoint, ...]
    at: int
    step: float
    unit: str
    stated_words: str
    data_href: str
    sections: tuple[Section, ...]
    empty: str = ""
    releases_href: str = ""
    """Where the releases of every solved budget lie as CSV."""


@dataclass(frozen=True)
class FrontierChart:
    """Solved budgets against worth added. ``at`` is the place of the stated budget; ``most`` the worth that no cash
    can raise. Between two points the lower one holds at least.
    """

    title: str
    words: str
    unit: str
    budgets: tuple[float, ...]
    worths: tuple[float, ...]
    at: int | None = None
    at_label: str = ""
    most: float | None = None
