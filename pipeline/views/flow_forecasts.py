"""Dates with their odds, and how earlier dates came out."""

from __future__ import annotations

from pipeline.planning.flow_backtest import Hits, PastForecast, score_forecasts
from pipeline.planning.flow_simulation import JobForecast
from pipeline.portfolio.flow import Flow
from pipeline.portfolio.flow_forecast import find_day
from pipeline.views.addresses import find_method_page, find_part_page
from pipeline.views.shapes_charts import Curve, CurveChart, CurvePoint
from pipeline.views.shapes_marks import (
    Cell,
    Column,
    Line,
    Link,
    Mark,
    Row,
    Run,
    Table,
    Tone,
    Working,
    WorkingInput,
    build_line,
)
from pipeline.views.shapes_site import Figure, Section
from pipeline.views.wording import word_count, word_day, word_list

WEEKS_AHEAD = 104.0
"""The drawing ends here; the table does not."""

METHOD = Link("How the flow is reckoned", find_method_page("flow"))
FIRST, FEW = 12, 4
"""So many parts stand before the fold, soonest first; a list that is hardly longer does not fold."""
WHOLE = "all-forecasts"
"""The anchor of the list of all forecasts, where it folds."""


def is_list_long(flow: Flow) -> bool:
    """True when the list of all forecasts folds, and the next parts to be done stand before it."""
    return len(flow.simulation.forecasts) + len(flow.without) > FIRST + FEW


def build_forecasts_sections(flow: Flow) -> tuple[Section, ...]:
    """Make the table of all parts in work with their likely day and the day of which 85 % can be sure.

    Of a long list the next parts to be done stand first; the whole of it folds below them.
    """
    ranked = sorted(flow.simulation.forecasts, key=lambda one: (one.median, one.job))
    columns = (
        Column("part"), Column("stage"), Column("likely by", "50 %", sort=True), Column("sure by", "85 %", sort=True),
        Column("between", "85 % of futures"), Column("weak where"),
    )  # fmt: skip
    dated = [_build_row(flow, forecast) for forecast in ranked]
    rows = (*dated, *(_build_without(flow, number, why) for number, why in flow.without.items()))
    empty = "Nothing is in work, so there is nothing to forecast."
    whole = Table("Forecasts", columns, rows, empty, "flow/forecasts.csv")
    figures = (_build_outlook(flow, ranked),) if ranked else ()
    count, working = word_count(len(rows), "part"), _build_working(flow)
    if not is_list_long(flow):
        return (Section("forecasts", "When it will be done", count, (), figures, (whole,), working=working),)
    first = tuple(dated[:FIRST])
    soon = Table("The next to be done", columns, first, "No part has a date yet; the list below says why.")
    aside = f"{len(first)} of {count}"
    return (
        Section("forecasts", "When it will be done, the next first", aside, (), figures, (soon,), working=working),
        Section(WHOLE, "All forecasts", count, tables=(whole,), fold=True),
    )


def _name(flow: Flow, number: str) -> Line:
    return (Run(number, href=find_part_page(number)), Run(f" {flow.workspace.parts[number].name}"))


def _build_row(flow: Flow, forecast: JobForecast) -> Row:
    days = [find_day(weeks, flow.day) for weeks in (forecast.median, forecast.promise, forecast.early, forecast.late)]
    likely, sure, early, late = (word_day(day) for day in days)
    weak = "; ".join(list_weaknesses(flow, forecast))
    stage = flow.stays[forecast.job][-1].gate.value
    cells = (
        _name(flow, forecast.job), build_line(stage), build_line(Run(likely, Tone.STRONG)), build_line(sure),
        build_line(f"{early} to {late}"), build_line(weak),
    )  # fmt: skip
    return Row(tuple(Cell(line) for line in cells))


def word_odds(flow: Flow, forecast: JobForecast) -> str:
    """Return the two days of a forecast."""
    likely, sure = (word_day(find_day(weeks, flow.day)) for weeks in (forecast.median, forecast.promise))
    return f"likely by {likely}, 85 % by {sure}"


def word_trust(flow: Flow) -> str:
    """Return how earlier forecasts of this shop came out, in a sentence."""
    hits = flow.backtest.in_range
    if hits.share is None:
        return "How far such dates can be believed is not known yet: no earlier forecast is old enough to be tested."
    return f"Of {hits.of} earlier forecasts, {hits.share * 100:.0f} % came out inside their 85 % range."


def list_weaknesses(flow: Flow, forecast: JobForecast) -> list[str]:
    """Return what a forecast does not know: stages that outlasted their like, gates that must be proven again."""
    found = [f"{step} has outlasted its like" for step in forecast.outlived]
    redone = [str(gate) for gate in flow.find_redone(forecast.job)]
    return found + ([f"{word_list(redone)} to be proven again, not counted"] if redone else [])


def _build_without(flow: Flow, number: str, why: str) -> Row:
    stage = flow.stays[number][-1].gate.value
    cells = (_name(flow, number), build_line(stage), build_line("–"), build_line("–"), build_line("–"), build_line(why))
    mark = Mark.HELD if why.startswith("held") else Mark.MISSING
    return Row((Cell(cells[0], mark), *(Cell(line) for line in cells[1:])))


def word_without(why: str) -> str:
    """Return why a part has no forecast, as the end of a sentence."""
    return why.rstrip(".")


def _build_outlook(flow: Flow, ranked: list[JobForecast]) -> Figure:
    """How many of the parts in work are released by each week: as likely as not, and 85 % sure for each of them."""
    likely = sorted(forecast.median for forecast in ranked)
    sure = sorted(forecast.promise for forecast in ranked)
    end = min(sure[-1], WEEKS_AHEAD)
    curves = (
        Curve("likely", _count_up(likely, end), Mark.PROVEN, steps=True),
        Curve("85 % each", _count_up(sure, end), Mark.PLANNED, steps=True),
    )
    quarter = sum(weeks <= 13 for weeks in likely)
    sure_quarter = sum(weeks <= 13 for weeks in sure)
    words = (
        f"Of {len(ranked)} parts in work {quarter} are likely released within 13 weeks; {sure_quarter} at 85 % each."
    )
    chart = CurveChart("Parts in work released by then", words, f"weeks after {word_day(flow.day)}", "parts", curves)
    note = f"{words} The distance between the two lines is the price of being sure."
    return Figure(chart, build_line(note))


def _count_up(weeks: list[float], end: float) -> tuple[CurvePoint, ...]:
    inside = [week for week in weeks if week <= end]
    points = [CurvePoint(0.0, 0.0), *(CurvePoint(w, float(n)) for n, w in enumerate(inside, 1))]
    return (*points, CurvePoint(end, float(len(inside))))


def _build_working(flow: Flow) -> Working:
    return Working(
        (
            "for each part the stages that remain, one after another; the present one given how long it has lasted",
            "length of a stage ~ the family's finished parts, all families' on its scale, the weeks on record",
            "stage ends = max(length, its turns at its resources); resources serve first come, first served",
            "likely: half of the futures are done by then; sure: 85 % are",
        ),
        (
            WorkingInput("simulated futures", str(flow.simulation.worlds), build_line("the same seed each time")),
            WorkingInput("least finished", "8 parts for each stage that remains", build_line("else no date is given")),
        ),
        "Kaplan and Meier 1958; A. M. Law, Simulation Modeling and Analysis; weights of the three: Ferguson 1973, else "
        "common practice, no source",
        "Dropped and held parts have none. A date supposes that the shop's pace, people and cash stay as they were.",
        METHOD,
    )


def build_backtest_section(flow: Flow) -> Section:
    """Make the section on how forecasts of earlier days came out."""
    test = flow.backtest
    columns = (
        Column("forecast made"), Column("forecasts", number=True), Column("inside the 85 % range"),
        Column("done by the 50 % day"), Column("done by the 85 % day"),
    )  # fmt: skip
    days = sorted({forecast.at for forecast in test.forecasts})
    rows = [_build_test_row(flow, at, tuple(f for f in test.forecasts if f.at == at)) for at in days]
    whole = (
        "all together",
        str(len(test.forecasts)),
        *(_word(h) for h in (test.in_range, test.by_median, test.by_promise)),
    )
    if rows:
        rows.append(Row(tuple(Cell(build_line(Run(text, Tone.STRONG))) for text in whole)))
    empty = "No earlier forecast can be tested yet: at least 8 parts must have finished every stage before it."
    table = Table("Earlier forecasts", columns, tuple(rows), empty, "flow/backtest.csv")
    return Section(
        "backtest", "Can these dates be believed?", "", _build_verdict(test.in_range, test.by_promise), (), (table,),
        working=_build_test_working(),
    )  # fmt: skip


def _build_test_row(flow: Flow, at: float, made: tuple[PastForecast, ...]) -> Row:
    score = score_forecasts(made, 0.0)
    day = word_day(find_day(at, flow.day))
    texts = (day, str(len(made)), _word(score.in_range), _word(score.by_median), _word(score.by_promise))
    return Row(tuple(Cell(build_line(text)) for text in texts))


def _word(hits: Hits) -> str:
    return "–" if hits.share is None else f"{hits.share * 100:.0f} % ({hits.hit} of {hits.of})"


def _build_verdict(in_range: Hits, by_promise: Hits) -> Line:
    if in_range.share is None:
        return build_line("Not known yet: no earlier forecast is old enough to be held against what happened.")
    low, high = (f"{share * 100:.0f}" for share in (in_range.low, in_range.high))
    said = f"{in_range.share * 100:.0f} %"
    verdict = (
        "That is what 85 % should give." if in_range.low <= 0.85 <= in_range.high
        else "That is less than 85 %: take the dates with care." if in_range.share < 0.85
        else "That is more than 85 %: the ranges are wider than they need be."
    )  # fmt: skip
    kept = "" if by_promise.share is None else f" Of the 85 % days, {by_promise.share * 100:.0f} % were kept."
    return (
        Run("Forecasts were made again from what was recorded on earlier days, and held against what happened: "),
        Run(said, Tone.STRONG),
        Run(f" of {in_range.of} came out inside their 85 % range (95 % interval {low} to {high} %). {verdict}{kept}"),
    )


def _build_test_working() -> Working:
    return Working(
        (
            "on each earlier day: the decisions recorded by then, the stage lengths known by then, the same simulation",
            "a forecast counts once its own last day is over, whatever happened; parts dropped since are left out",
            "interval of a share: Wilson",
        ),
        (
            WorkingInput(
                "tested",
                "days 12 to 52 weeks back, where 8 parts had finished every stage",
                build_line("every 8 weeks"),
            ),
        ),
        "rolling-origin evaluation (Hyndman and Athanasopoulos, Forecasting: Principles and Practice, 5.10); "
        "E. B. Wilson, JASA 22 (1927) 209-212",
        "Forecasts of one part at several days depend on each other, so the interval is narrower than it should be.",
        METHOD,
    )
