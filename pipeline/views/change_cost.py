"""The cost of a change as the terminal and the page show it."""

from __future__ import annotations

from decimal import Decimal

from pipeline.costing.figures import Figure
from pipeline.costing.impact import Impact
from pipeline.costing.ladder import Ladder
from pipeline.costing.ranges import Range
from pipeline.costing.stages import Stage
from pipeline.portfolio.portfolio import PartFile

FOLK_RULE = "The folk rule says × 10 from stage to stage; it is a saying, not a measurement."
"""What the ladder is often compared with."""


def render_amount(value: Decimal) -> str:
    """Return money without cents, as a table shows it.

    >>> render_amount(Decimal("6555.38"))
    '6,555'
    """
    return f"{value.quantize(Decimal(1)):,}"


def render_span(found: Range) -> str:
    """Return likely, then low to high where they differ."""
    if found.low == found.high:
        return render_amount(found.likely)
    return f"{render_amount(found.likely)} ({render_amount(found.low)} to {render_amount(found.high)})"


def render_weeks(found: Range) -> str:
    """Return weeks: likely, then low to high where they differ."""
    shown = [f"{float(value):.1f}".rstrip("0").rstrip(".") for value in found]
    return shown[1] if shown[0] == shown[2] else f"{shown[1]} ({shown[0]} to {shown[2]})"


def build_ladder_rows(ladder: Ladder) -> list[tuple[str, str, str, str, str]]:
    """Return (stage, cost, weeks, ratio to the stage before, mark) for each stage and for today."""
    ratios = {step.later: step.ratio for step in ladder.steps}
    rows = []
    for stage in Stage:
        figure = ladder.find_rung(stage)
        ratio = ratios.get(stage)
        here = "today" if ladder.today.stage is stage else ""
        shown = "" if ratio is None else f"× {ratio}"
        rows.append((stage.words, _render_total(figure), render_weeks(figure.weeks), shown, here))
    return rows


def _render_total(figure: Figure) -> str:
    return render_span(figure.total) + (" at least" if figure.missing else "")


def render_ladder(file: PartFile, feature: str | None) -> list[str]:
    """Return the ladder of a part, or of one of its features, as lines of a terminal table."""
    found = file.ladder
    if found is None:
        return [f"{file.number}: its tools wait for each other in a ring; `pipeline check {file.number}` names it"]
    ladder = found.part if feature is None else next(one for one in found.features if one.feature == feature)
    currency = file.workspace.catalogues.money.currency
    what = "the whole part" if feature is None else file.part.features[feature].what
    lines = [f"{file.number} {file.part.name}: what one change costs, by when it is found ({what}; {currency})", ""]
    rows = build_ladder_rows(ladder)
    wide = max(len(row[1]) for row in rows)
    lines += [f"  {s:<14} {c:>{wide}}  {w:>16} wk  {r:>7}  {m}".rstrip() for s, c, w, r, m in rows]
    lines += render_calibration(file, feature)
    today = ladder.today
    lines += ["", f"If found today: {render_span(today.total)} {currency}, {render_weeks(today.weeks)} weeks."]
    if today.stage is None:
        lines[-1] = "If found today: nothing yet exists that would be redone."
    if any(rung.missing for rung in ladder.rungs):
        missing = sorted({name for rung in ladder.rungs for name in rung.missing})
        lines.append(f"At least: no price is recorded for {', '.join(missing)}.")
    lines.append(FOLK_RULE)
    return lines


def list_factors(file: PartFile) -> list[str]:
    """Return the shop's own factors that are in a part's ladder, each in words; none where it is as estimated."""
    level = round(100 * file.workspace.catalogues.money.beliefs.interval)
    return [
        f"{one.tool_kind}, {one.change_class}{what}: × {one.factor:.2f} ({one.low:.2f} to {one.high:.2f} at {level} %, "
        f"{one.cases} closed changes)"
        for found, what in ((file.factors, ""), (file.weeks_factors, ", weeks"))
        for one in found.values()
    ]


def build_calibrated_rows(file: PartFile, feature: str | None = None) -> list[tuple[str, str, str, str, str]]:
    """Return (stage, cost as estimated, as calibrated, weeks as estimated, as calibrated) for each stage; none where no
    factor is used."""
    ladders = [found for found in (file.estimated_ladder, file.ladder) if found is not None]
    if not file.is_calibrated or len(ladders) < 2:
        return []
    estimated, calibrated = (
        one.part if feature is None else next(row for row in one.features if row.feature == feature) for one in ladders
    )
    pairs = [(stage, estimated.find_rung(stage), calibrated.find_rung(stage)) for stage in Stage]
    return [
        (stage.words, _render_total(old), _render_total(new), render_weeks(old.weeks), render_weeks(new.weeks))
        for stage, old, new in pairs
    ]


def render_calibration(file: PartFile, feature: str | None) -> list[str]:
    """Return the ladder as estimated beside the one that our own changes calibrated, as lines of a terminal table."""
    rows = build_calibrated_rows(file, feature)
    if not rows:
        return []
    wide = max(len(row[1]) for row in rows)
    lines = ["", "The costs above are calibrated by our own closed changes:"]
    lines += [f"  {one}" for one in list_factors(file)]
    for stage, old, new, weeks, own in rows:
        took = f", {own} weeks (estimated {weeks})" if own != weeks else ""
        if old != new or took:
            lines.append(f"  {stage:<14} as estimated {old:>{wide}}   as calibrated {new}{took}")
    return lines


def render_impact(file: PartFile, impact: Impact) -> list[str]:
    """Return what a change drags along as lines of a terminal table."""
    currency = file.workspace.catalogues.money.currency
    names = ", ".join(file.part.features[f].what for f in impact.features)
    when = "today" if impact.found is None else f"at the stage {impact.found.words}"
    lines = [f"{file.number} {file.part.name}: a change to {names}, found {when}", ""]
    for index, step in enumerate(impact.steps, 1):
        cost = render_span(step.cost) + ("" if all(line.amount is not None for line in step.lines) else " at least")
        weeks = f"week {render_weeks(step.starts)} to {render_weeks(step.finishes)}"
        lines.append(
            f"  {index:>2}. {step.label}: {cost} {currency}, {weeks}{', critical' if step.is_critical else ''}"
        )
        lines.append(f"      {step.reason}")
    figure = impact.figure
    if not impact.steps:
        lines.append("  Nothing that exists covers it: the change is free but for the drawing.")
    lines += [
        "",
        f"Redone: {render_span(figure.direct)} {currency}. Weeks: {render_weeks(figure.weeks)}. "
        f"Delay: {render_span(figure.delay)} {currency}.",
        f"Together: {render_span(figure.total)} {currency}{' at least' if figure.missing else ''}.",
    ]
    return lines
