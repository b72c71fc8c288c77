"""Run-out limits of wheels as service manuals print them: data to set a requirement by, each with its standing."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from pipeline.fit.sources import Source, Standing

CAUTION = (
    "Wheels carry the vehicle. These limits are for comparison only; the vehicle maker's figure governs where there "
    "is one, and strength and approval of a wheel are a matter for a competent laboratory and the law of the place."
)


class RunoutDirection(StrEnum):
    """Which way the run-out is read."""

    RADIAL = "radial"
    LATERAL = "lateral"


@dataclass(frozen=True)
class RunoutLimit:
    """Range of printed limits in mm, total indicator reading: the tightest and the loosest that were found."""

    item: str
    direction: RunoutDirection
    tightest_mm: float
    loosest_mm: float
    source: Source


class RunoutVerdict(StrEnum):
    """How a reading stands to the range of printed limits."""

    WITHIN_ALL = "within every printed limit"
    WITHIN_SOME = "within the loosest printed limit only"
    BEYOND_ALL = "beyond every printed limit"


_MANUALS = Source("several service manuals", Standing.SEEN)
_ONE_MAKER = Source("service limit of one vehicle maker's manual", Standing.SEEN)
_ADVICE = Source("general advice of the trade, in inches there", Standing.SEEN)
_R, _L = RunoutDirection.RADIAL, RunoutDirection.LATERAL

RUNOUT_LIMITS: tuple[RunoutLimit, ...] = (
    RunoutLimit("steel wheel", _R, 0.8, 0.8, _MANUALS),
    RunoutLimit("steel wheel", _L, 0.8, 1.0, _MANUALS),
    RunoutLimit("alloy wheel", _R, 0.25, 0.7, _MANUALS),
    RunoutLimit("alloy wheel", _L, 0.25, 0.8, _MANUALS),
    RunoutLimit("wheel in service", _R, 1.5, 1.5, _ONE_MAKER),
    RunoutLimit("wheel in service", _L, 2.0, 2.0, _ONE_MAKER),
    RunoutLimit("tyre on its wheel", _R, 1.59, 1.59, _MANUALS),
    RunoutLimit("tyre on its wheel", _L, 1.78, 1.78, _MANUALS),
    RunoutLimit("any wheel", _R, 0.040 * 25.4, 0.040 * 25.4, _ADVICE),
    RunoutLimit("any wheel", _L, 0.045 * 25.4, 0.045 * 25.4, _ADVICE),
)


def find_runout_limit(item: str, direction: RunoutDirection) -> RunoutLimit | None:
    """Return the printed limits of an item and direction, or None where the table has none.

    Example:
        >>> find_runout_limit("alloy wheel", RunoutDirection.LATERAL).loosest_mm
        0.8
    """
    return next((row for row in RUNOUT_LIMITS if row.item == item and row.direction is direction), None)


def check_runout(reading_mm: float, limit: RunoutLimit) -> RunoutVerdict:
    """Return how a total indicator reading stands to the printed limits (on a limit counts as within).

    Args:
        reading_mm: total indicator reading in mm, 0 or more.
        limit: row of the table.

    Errors:
        ValueError: a reading below 0.

    Source: the row's own; see also `CAUTION`.

    Example:
        >>> check_runout(0.5, find_runout_limit("alloy wheel", RunoutDirection.RADIAL)).value
        'within the loosest printed limit only'
    """
    if not reading_mm >= 0:
        raise ValueError(f"a run-out of {reading_mm:g} mm is impossible; a total indicator reading is 0 or more")
    if reading_mm <= limit.tightest_mm:
        return RunoutVerdict.WITHIN_ALL
    return RunoutVerdict.WITHIN_SOME if reading_mm <= limit.loosest_mm else RunoutVerdict.BEYOND_ALL
