"""What a week of delay costs: the weekly contribution, times the share of delayed sales that is lost for good."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

from pipeline.costing.ranges import (
    NOTHING,
    ZERO,
    Range,
    check_range,
    render_money,
    render_number,
    render_range,
    round_range,
)

WEEKS_PER_YEAR = Decimal(52)
_FINE = Decimal("1e-10")


@dataclass(frozen=True)
class Delay:
    """What waiting costs a part.

    ``units_per_year``: demand low / likely / high. ``contribution``: price less landed cost of a piece, money.
    ``lost_share``: share (0 to 1) of a delayed sale that never comes back; not the whole margin, because most buyers
    of an old vehicle's part wait.
    ``on_critical_path``: ``False`` where nothing waits for the part; then delay costs nothing.
    Raises ``ValueError`` on a negative demand or contribution, or a share outside 0 to 1. Source: common practice (no
    source).
    """

    units_per_year: Range
    contribution: Decimal
    lost_share: Decimal
    on_critical_path: bool = True

    def __post_init__(self) -> None:
        check_range(self.units_per_year, "the demand in units per year")
        if not self.contribution.is_finite() or self.contribution < 0:
            raise ValueError(
                f"the contribution is {self.contribution} per piece; "
                "a part sold at a loss loses nothing by waiting, write 0"
            )
        if not 0 <= self.lost_share <= 1:
            raise ValueError(f"the lost share is {self.lost_share}; write a share from 0 to 1")

    @property
    def per_week(self) -> Range:
        """Cost of one week, to the cent.

        >>> Delay(Range(*[Decimal(800)] * 3), Decimal(42), Decimal("0.5")).per_week.likely
        Decimal('323.08')
        """
        return round_range(self.exact_per_week)

    @cached_property
    def exact_per_week(self) -> Range:
        """Cost of one week, not rounded to the cent (ten decimals, because short numbers add fast)."""
        if not self.on_critical_path:
            return NOTHING
        worth = self.contribution * self.lost_share
        return Range(*((units * worth / WEEKS_PER_YEAR).quantize(_FINE) for units in self.units_per_year))

    def compute_exact(self, weeks: Range) -> Range:
        """Compute the cost of ``weeks`` of delay before rounding, low with low and high with high."""
        return Range(*(length * price for length, price in zip(weeks, self.exact_per_week, strict=True)))

    def render_working(self, weeks: Range) -> str:
        """Write how the cost of these weeks was reckoned, in words."""
        if not self.on_critical_path:
            return "nothing waits for this part: 0"
        unit = "week" if weeks.low == weeks.high == 1 else "weeks"
        return (
            f"{render_range(weeks)} {unit} x {render_range(self.units_per_year)} a year"
            f" x {render_money(self.contribution)}"
            f" / 52 x {render_number(self.lost_share)} lost for good"
        )


NO_DELAY = Delay(NOTHING, ZERO, ZERO, on_critical_path=False)
