"""Age of what is in work at each stage, against how long the stage usually takes."""

from __future__ import annotations

from pipeline.charts.axes import Frame, draw_left_axis
from pipeline.charts.sheet import Sheet, check_finite
from pipeline.views.shapes_charts import AgeChart, AgeItem
from pipeline.views.shapes_marks import ReadingShape

_WIDTH, _HEIGHT = 480.0, 280.0


def render_ages(chart: AgeChart) -> str:
    """Draw a dot for each part over its stage; strokes at the 50th (thin) and 85th (thick) percentile of its duration.

    Raises ValueError for no stage, percentiles that do not match the stages, or an item in a stage that does not exist.
    """
    _check_ages(chart)
    known = [value for value in (*chart.half, *chart.most) if value is not None]
    most = max([*known, *(item.weeks for item in chart.items), 1.0])
    frame = Frame(44, _WIDTH - 8, _HEIGHT - 26, 30, 0, len(chart.stages), 0, most * 1.05)
    sheet = Sheet(_WIDTH, _HEIGHT)
    draw_left_axis(sheet, frame, "weeks in the stage; strokes: half are done, 85 % are done")
    sheet.line(frame.left, frame.bottom, frame.right, frame.bottom, "ink", 1.0)
    for at, stage in enumerate(chart.stages):
        sheet.words(frame.x(at + 0.5), frame.bottom + 16, stage, "middle", "soft")
        for value, width in ((chart.half[at], 1.0), (chart.most[at], 3.0)):
            if value is not None:
                sheet.line(frame.x(at + 0.1), frame.y(value), frame.x(at + 0.9), frame.y(value), "ink", width)
        _draw_items(sheet, frame, at, [item for item in chart.items if item.stage == at])
    return sheet.render(chart.title, chart.words)


def _draw_items(sheet: Sheet, frame: Frame, at: int, items: list[AgeItem]) -> None:
    """Place dots side by side where ages are alike, so that each can be counted."""
    lanes: dict[int, int] = {}
    for item in sorted(items, key=lambda one: (one.weeks, one.label)):
        level = round(frame.y(item.weeks) / 8)
        lane = lanes.get(level, 0)
        lanes[level] = lane + 1
        shift = (lane + 1) // 2 * (9 if lane % 2 else -9)
        x, y = frame.x(at + 0.5) + shift, frame.y(item.weeks)
        sheet.reading(x, y, ReadingShape.USED, "flag" if item.flag else "tone")
        if item.flag:
            sheet.words(x + 7, y + 4, item.label, colour="flag", size=11)


def _check_ages(chart: AgeChart) -> None:
    if not chart.stages or not len(chart.half) == len(chart.most) == len(chart.stages):
        raise ValueError(
            f"ages {chart.title!r}: {len(chart.stages)} stages, {len(chart.half)} and "
            f"{len(chart.most)} percentiles; give one each a stage"
        )
    check_finite(f"ages {chart.title!r}", *chart.half, *chart.most, *(item.weeks for item in chart.items))
    for item in chart.items:
        if not 0 <= item.stage < len(chart.stages):
            raise ValueError(
                f"ages {chart.title!r}: {item.label!r} is in stage {item.stage}, there are {len(chart.stages)}"
            )
