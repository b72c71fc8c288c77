"""Which applications and hands have been tried, and with what result: counted, never flagged."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import StrEnum

from pipeline.lineage.freshness import PartLineage
from pipeline.model.part import FitCheck, Part
from pipeline.model.words import Hand, Result


class CellState(StrEnum):
    """What is known of one application on one hand."""

    GOOD = "good"
    STALE = "stale"
    BAD = "did not fit"
    OPEN = "not judged"
    MISSING = "missing"


@dataclass(frozen=True, slots=True)
class Cell:
    """One application on one hand: its state, and the fit check that decides it (None if there is none)."""

    application: str
    hand: Hand
    state: CellState
    check: str | None


@dataclass(frozen=True, slots=True)
class Coverage:
    """The matrix of applications and hands of one part."""

    hands: tuple[Hand, ...]
    cells: tuple[Cell, ...]

    @property
    def good(self) -> int:
        """How many cells are good."""
        return sum(cell.state is CellState.GOOD for cell in self.cells)

    @property
    def share(self) -> float:
        """Share of good cells, 0..1; a part that fits nothing has none."""
        return self.good / len(self.cells) if self.cells else 0.0


def find_hands(part: Part) -> tuple[Hand, ...]:
    """Return the hands that need a trial of their own. A left one proves no right one, mirrored or not."""
    return (Hand.NONE,) if part.hands is None else (Hand.LEFT, Hand.RIGHT)


def compute_coverage(
    part: Part,
    lineage: PartLineage,
    counts: Callable[[str], bool] | None = None,
    accepts: Callable[[FitCheck], bool] = lambda _: True,
    applications: Iterable[str] | None = None,
) -> Coverage:
    """Return the application x hand matrix.

    counts : says whether evidence (by node id) counts; fresh evidence, if None.
    accepts : says which fit checks are looked at, e.g. only those made with first articles.
    applications : those that are wanted; all of the record, if None.
    The latest fit check that counts and was judged decides a cell; where none counts, a stale one says so.
    """
    judge = lineage.is_fresh if counts is None else counts
    hands = find_hands(part)
    wanted = part.fits if applications is None else applications
    cells = [_compute_cell(part, judge, accepts, application, hand) for application in wanted for hand in hands]
    return Coverage(hands, tuple(cells))


def _compute_cell(
    part: Part,
    counts: Callable[[str], bool],
    accepts: Callable[[FitCheck], bool],
    application: str,
    hand: Hand,
) -> Cell:
    tried = [
        (check.on, key)
        for key, check in part.fit_checks.items()
        if check.fits == application and check.hand is hand and accepts(check)
    ]
    counting = [key for _, key in sorted(tried, reverse=True) if counts(f"fit_checks.{key}")]
    judged = [key for key in counting if part.fit_checks[key].result is not Result.OPEN]
    for key in (*judged, *counting):
        return Cell(application, hand, _STATES[part.fit_checks[key].result], key)
    if tried:
        return Cell(application, hand, CellState.STALE, max(tried)[1])
    return Cell(application, hand, CellState.MISSING, None)


_STATES = {Result.GOOD: CellState.GOOD, Result.BAD: CellState.BAD, Result.OPEN: CellState.OPEN}
