"""A roundness trace about its least-squares circle, magnified, as a form tester draws it."""

from __future__ import annotations

from math import cos, radians, sin

from pipeline.charts.sheet import Sheet, check_finite, word_number
from pipeline.views.shapes_charts import RoundnessPlot

_WIDTH, _HEIGHT, _CENTRE_X, _CENTRE, _BASE, _REACH = 480.0, 342.0, 240.0, 160.0, 104.0, 34.0


def render_roundness(chart: RoundnessPlot) -> str:
    """Draw the trace, its least-squares circle and the circles that just hold it (about the same centre).

    Angles run anticlockwise from the right, as in mathematics. Raises ValueError for fewer than 8 points, lengths that
    differ, or numbers that are not finite.
    """
    _check_trace(chart)
    peak, valley = max(chart.deviations_um), min(chart.deviations_um)
    most = max(abs(peak), abs(valley), (chart.tolerance_um or 0.0) / 2, 1e-9)
    scale = _REACH / most
    sheet = Sheet(_WIDTH, _HEIGHT)
    for angle in range(0, 360, 30):
        _draw_spoke(sheet, angle)
    sheet.path(_circle(_BASE), "soft", 1.0, (6, 4), closed=True)
    for edge in (peak, valley):
        sheet.path(_circle(_BASE + edge * scale), "line", 1.0, closed=True)
    if chart.tolerance_um is not None:
        for sign in (-1, 1):
            sheet.path(_circle(_BASE + sign * chart.tolerance_um / 2 * scale), "ink", 1.5, closed=True)
    pairs = zip(chart.angles_deg, chart.deviations_um, strict=True)
    sheet.path([_point(angle, _BASE + value * scale) for angle, value in pairs], "tone", 1.75, closed=True)
    sheet.words(_CENTRE_X, _CENTRE - 2, f"{word_number(round(peak - valley, 1))} µm", "middle", bold=True, size=15)
    sheet.words(_CENTRE_X, _CENTRE + 15, "peak to valley", "middle", "soft")
    if chart.tolerance_um is not None:
        sheet.words(_CENTRE_X, _CENTRE + 31, f"tolerance {word_number(chart.tolerance_um)} µm", "middle", "soft")
    sheet.words(
        _CENTRE_X,
        _HEIGHT - 4,
        "dashed: least-squares circle; fine: circles that hold the trace",
        "middle",
        "soft",
        size=11,
    )
    return sheet.render(chart.title, chart.words)


def _point(angle: float, radius: float) -> tuple[float, float]:
    return _CENTRE_X + radius * cos(radians(angle)), _CENTRE - radius * sin(radians(angle))


def _circle(radius: float) -> list[tuple[float, float]]:
    return [_point(angle, radius) for angle in range(0, 360, 5)]


def _draw_spoke(sheet: Sheet, angle: int) -> None:
    inner, outer = _point(angle, _BASE + _REACH + 4), _point(angle, _BASE + _REACH + 8)
    sheet.path((inner, outer), "line", 1.0)
    if angle % 90 == 0:
        x, y = _point(angle, _BASE + _REACH + 15)
        sheet.words(x, y + 4, f"{angle}°", "middle", "soft", size=10)


def _check_trace(chart: RoundnessPlot) -> None:
    if len(chart.angles_deg) != len(chart.deviations_um):
        raise ValueError(
            f"roundness {chart.title!r}: {len(chart.angles_deg)} angles and "
            f"{len(chart.deviations_um)} deviations; give one deviation an angle"
        )
    if len(chart.angles_deg) < 8:
        raise ValueError(
            f"roundness {chart.title!r}: {len(chart.angles_deg)} points are too few to draw; give at least 8"
        )
    check_finite(f"roundness {chart.title!r}", *chart.angles_deg, *chart.deviations_um, chart.tolerance_um)
