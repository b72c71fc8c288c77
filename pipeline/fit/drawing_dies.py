"""Drawn cups: blank size, number of draws with the ratio set that decided it, and every draw's diameter and height."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pipeline.fit.sources import Standing

MOST_DRAWS = 12
_DUST = 1e-9


@dataclass(frozen=True)
class RatioSet:
    """Least ratios of cup diameter to what it is drawn from: `first` from the blank, then the redraws in order.

    The last redraw's ratio goes for all that follow. The set depends on the material, the relative thickness and the
    lubricant, so a result always carries the set that it was made with.

    Example:
        >>> RatioSet("bad", 1.1, (0.8,), Standing.COMMON_PRACTICE)
        Traceback (most recent call last):
        ...
        ValueError: the draw ratio 1.1 of set "bad" is impossible; a cup is narrower than what it is drawn from
    """

    name: str
    first: float
    redraws: tuple[float, ...]
    standing: Standing

    def __post_init__(self) -> None:
        if not self.redraws:
            raise ValueError(f'set "{self.name}" has no redraw ratio; write at least one, e.g. 0.78')
        for ratio in (self.first, *self.redraws):
            if not 0 < ratio < 1:
                raise ValueError(
                    f'the draw ratio {ratio:g} of set "{self.name}" is impossible; '
                    "a cup is narrower than what it is drawn from"
                )

    def find_ratio(self, draw: int) -> float:
        """Return the least ratio of a draw, counted from 1."""
        return self.first if draw == 1 else self.redraws[min(draw - 2, len(self.redraws) - 1)]


USUAL_RATIOS = RatioSet("deep-drawing steel, usual", 0.55, (0.78, 0.80, 0.82), Standing.COMMON_PRACTICE)


@dataclass(frozen=True)
class DrawStep:
    """One draw: from `from_mm` to `diameter_mm` (ratio of the two and its least), with the cup's height after it."""

    number: int
    from_mm: float
    diameter_mm: float
    ratio: float
    least_ratio: float
    height_mm: float


@dataclass(frozen=True)
class DrawPlan:
    """Blank, draws and the ratio set that gave them; `evened` shares the reduction so that each draw is used alike."""

    diameter_mm: float
    height_mm: float
    blank_mm: float
    ratios: RatioSet
    steps: tuple[DrawStep, ...]
    evened_mm: tuple[float, ...]
    one_draw_height_mm: float

    @property
    def draws(self) -> int:
        """Number of draws."""
        return len(self.steps)


def compute_blank_diameter(
    diameter_mm: float, height_mm: float, *, corner_radius_mm: float = 0.0, flange_mm: float | None = None
) -> float:
    """Return the diameter of the flat blank of a cup in mm, by equal area (the wall keeps its thickness).

    With a sharp corner this is `D = sqrt(d² + 4 d h)`; with a flange `d²` becomes the flange's. A corner radius takes
    `1.72 r d + 0.57 r²` off under the root. Add the trim allowance to the height first.

    Args:
        diameter_mm: mean diameter of the cup in mm, above 0.
        height_mm: height over all on the same mean line in mm, 0 or more.
        corner_radius_mm: mean radius between bottom and wall in mm, up to half the diameter and up to the height.
        flange_mm: diameter of a flange in mm, the cup's own or more; None for none.

    Errors:
        ValueError: a size, radius or flange that such a cup cannot have.

    Source: equal area, a standard handbook formula (sharp corner and flange); the corner term from Pappus' theorem.

    Example:
        >>> round(compute_blank_diameter(50, 50), 3)
        111.803
    """
    if not (diameter_mm > 0 and height_mm >= 0 and math.isfinite(diameter_mm) and math.isfinite(height_mm)):
        raise ValueError(f"a cup {diameter_mm:g} mm wide and {height_mm:g} mm high is impossible")
    if not 0 <= corner_radius_mm <= min(diameter_mm / 2, height_mm):
        raise ValueError(f"a corner radius of {corner_radius_mm:g} mm does not go into this cup")
    rim = diameter_mm if flange_mm is None else flange_mm
    if rim < diameter_mm:
        raise ValueError(f"a flange of {rim:g} mm is narrower than the cup of {diameter_mm:g} mm")
    saved = (8 - 2 * math.pi) * corner_radius_mm * diameter_mm + (4 * math.pi - 12) * corner_radius_mm**2
    return math.sqrt(rim**2 + 4 * diameter_mm * height_mm - saved)


def compute_one_draw_limit(ratio: float) -> float:
    """Return the greatest height of a cup from one draw, as a multiple of its diameter: `(1/m² - 1) / 4`.

    Args:
        ratio: least ratio of cup to blank diameter, above 0 and below 1 (0.5 is a limiting draw ratio of 2).

    Errors:
        ValueError: a ratio outside that range.

    Source: equal area with a sharp corner, derived.

    Example:
        >>> round(compute_one_draw_limit(0.55), 4), compute_one_draw_limit(0.5)
        (0.5764, 0.75)
    """
    if not 0 < ratio < 1:
        raise ValueError(f"a draw ratio of {ratio:g} is impossible; it is above 0 and below 1")
    return (1 / ratio**2 - 1) / 4


def plan_draws(diameter_mm: float, height_mm: float, ratios: RatioSet = USUAL_RATIOS) -> DrawPlan:
    """Return the blank and the fewest draws of a plain cup, each at its least ratio but the last.

    Args:
        diameter_mm: mean diameter of the finished cup in mm, above 0.
        height_mm: height over all with its trim allowance in mm, above 0.
        ratios: least ratios; the answer depends on them and carries them.

    Errors:
        ValueError: an impossible cup, or one that would need more than 12 draws: draw it with an anneal or spin it.

    Source: equal area and least draw ratios, a standard handbook method; the usual set is common practice, no source.

    Example:
        >>> plan = plan_draws(50, 100)
        >>> plan.blank_mm, [round(step.diameter_mm, 2) for step in plan.steps]
        (150.0, [82.5, 64.35, 51.48, 50])
    """
    if not height_mm > 0:
        raise ValueError(f"a cup {height_mm:g} mm high needs no draw; write a height above 0")
    blank = compute_blank_diameter(diameter_mm, height_mm)
    diameters = _find_diameters(blank, diameter_mm, ratios)
    return DrawPlan(
        diameter_mm=diameter_mm,
        height_mm=height_mm,
        blank_mm=blank,
        ratios=ratios,
        steps=_build_steps(blank, diameters, ratios),
        evened_mm=_even_out(blank, diameter_mm, len(diameters), ratios),
        one_draw_height_mm=compute_one_draw_limit(ratios.first) * diameter_mm,
    )


def _find_diameters(blank: float, final: float, ratios: RatioSet) -> tuple[float, ...]:
    diameters: list[float] = []
    current = blank
    for draw in range(1, MOST_DRAWS + 1):
        current *= ratios.find_ratio(draw)
        if current <= final * (1 + _DUST):
            return (*diameters, final)
        diameters.append(current)
    raise ValueError(f"a blank of {blank:.1f} mm does not come to {final:g} mm in {MOST_DRAWS} draws with these ratios")


def _build_steps(blank: float, diameters: tuple[float, ...], ratios: RatioSet) -> tuple[DrawStep, ...]:
    return tuple(
        DrawStep(
            number=number,
            from_mm=before,
            diameter_mm=after,
            ratio=after / before,
            least_ratio=ratios.find_ratio(number),
            height_mm=(blank**2 - after**2) / (4 * after),
        )
        for number, (before, after) in enumerate(zip((blank, *diameters[:-1]), diameters, strict=True), start=1)
    )


def _even_out(blank: float, final: float, draws: int, ratios: RatioSet) -> tuple[float, ...]:
    """Return diameters that use each draw's limit to the same power, so that none is worked harder than the others."""
    limits = [math.log(ratios.find_ratio(draw)) for draw in range(1, draws + 1)]
    power = math.log(final / blank) / math.fsum(limits)
    evened = [blank * math.exp(power * math.fsum(limits[:draw])) for draw in range(1, draws)]
    return (*evened, final)
