"""The page of the flow: what came and went, how long stages last, what stands still, what queues, when it will be
done, and how earlier forecasts came out. Also the forecast on the page of a part."""

from __future__ import annotations

from pipeline.model.words import GATES
from pipeline.planning.flow_ageing import AgeBand
from pipeline.planning.flow_backtest import Hits
from pipeline.portfolio.flow import Flow
from pipeline.portfolio.flow_forecast import find_day
from pipeline.portfolio.flow_stays import Ending
from pipeline.portfolio.outlook import FORECAST, find_outlook
from pipeline.portfolio.portfolio import PartFile, Portfolio
from pipeline.portfolio.reliance import note, take_notes
from pipeline.views.addresses import FLOW, find_method_page
from pipeline.views.flow_durations import build_ageing_section, build_durations_section
from pipeline.views.flow_forecasts import (
    WHOLE,
    build_backtest_section,
    build_forecasts_sections,
    is_list_long,
    list_weaknesses,
    word_without,
)
from pipeline.views.flow_movement import build_little_section, build_movement_section
from pipeline.views.flow_queues import build_queue_section
from pipeline.views.shapes_marks import (
    Cell,
    Column,
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
from pipeline.views.shapes_site import PageHead, Section, SectionsPage, Tally
from pipeline.views.wording import word_day, word_number

METHOD = Link("How the flow is reckoned", find_method_page("flow"))


def build_flow_page(portfolio: Portfolio) -> SectionsPage:
    """Make the page of the flow; of a workspace without parts, what would fill it."""
    head = PageHead("Flow", FLOW, "What arrives and leaves, what queues where, and dates with their odds.", "flow")
    outlook = find_outlook(portfolio)
    flow = None if outlook is None else outlook.flow
    if flow is None or not flow.firsts:
        empty = "Nothing to show yet: write `opened:` in a record, and decide its gates with pipeline decide."
        return SectionsPage(head, build_line(empty), ())
    sections = (
        build_movement_section(flow),
        build_ageing_section(flow),
        build_queue_section(flow),
        build_backtest_section(flow),
        *build_forecasts_sections(flow),
        build_durations_section(flow),
        build_little_section(flow),
    )
    intro = build_line(
        "Reckoned from the decisions on record; a stage ends with the first go for its gate. Whether those days can be "
        "believed, git tells on each part's page. A date here is a chance, never a promise: it supposes that the shop "
        "goes on as it did."
    )
    return SectionsPage(head, intro, sections, _build_tallies(flow))


def _build_tallies(flow: Flow) -> tuple[Tally, ...]:
    stuck = sum(age.band is AgeBand.STUCK for age in flow.ages)
    held = sum(stay.ending is Ending.HELD for stay in flow.open_stays)
    left = flow.compute_little().left
    tallies = [
        Tally(str(len(flow.open_stays) - held), "parts in work", f"{FLOW}#forecasts", Mark.IN_HAND),
        Tally(str(left), "left in the last 26 weeks", f"{FLOW}#movement", Mark.PROVEN),
        Tally(str(stuck), "stand longer than 85 % of their like", f"{FLOW}#ageing", Mark.STALE),
    ]
    if held:
        place = WHOLE if is_list_long(flow) else "forecasts"
        tallies.append(Tally(str(held), "held", f"{FLOW}#{place}", Mark.HELD))
    hits = flow.backtest.in_range
    if hits.share is not None:
        words = f"of {hits.of} earlier forecasts came out inside their 85 % range"
        tallies.append(Tally(word_hits(hits), words, f"{FLOW}#backtest"))
    return tuple(tallies)


def word_hits(hits: Hits) -> str:
    """Return the share of forecasts that came true."""
    return "–" if hits.share is None else f"{hits.share * 100:.0f} %"


def build_forecast_sections(file: PartFile, flow: Flow | None = None) -> tuple[Section, ...]:
    """Make the forecast on a part's page: the likely day, the day of which 85 % can be sure, and what remains.

    flow : the flow of the workspace; that of the site, if None. Nothing is said of released and dropped parts.
    """
    if flow is None:
        note(FORECAST, file.number)
        with take_notes(aside=True):
            outlook = find_outlook(file)
            return () if outlook is None or outlook.flow is None else build_forecast_sections(file, outlook.flow)
    if not flow.stays.get(file.number) or flow.stays[file.number][-1].left is not None:
        return ()
    forecast = flow.forecasts.get(file.number)
    if forecast is None:
        why = flow.without.get(file.number, "it is not in work")
        intro = build_line(f"No forecast: {word_without(why)}.")
        return (Section("forecast", "When it will be done", "no forecast", intro, fold=True),)
    likely, sure = (word_day(find_day(weeks, flow.day)) for weeks in (forecast.median, forecast.promise))
    early, late = (word_day(find_day(weeks, flow.day)) for weeks in (forecast.early, forecast.late))
    said: list[Run] = [Run("Likely released by "), Run(likely, Tone.STRONG), Run("; 85 % by "), Run(sure, Tone.STRONG)]
    said.append(Run(f". In 85 of 100 simulated futures it is released between {early} and {late}."))
    weak = list_weaknesses(flow, forecast)
    if weak:
        said += [Run(" This is weak: "), Run("; ".join(weak), Tone.FLAG), Run(".")]
    hits = flow.backtest.by_promise
    if hits.share is not None:
        said.append(Run(f" Of {hits.of} earlier “85 % by” days of this shop, {word_hits(hits)} were kept."))
    table = _build_remaining(file, flow)
    return (
        Section(
            "forecast",
            "When it will be done",
            f"likely by {likely}; 85 % by {sure}",
            tuple(said),
            (),
            (table,),
            working=_build_part_working(file, flow),
            fold=True,
        ),
    )


def _build_remaining(file: PartFile, flow: Flow) -> Table:
    stay = flow.stays[file.number][-1]
    columns = (
        Column("stage"), Column("so far", "weeks", number=True), Column("half are through in", "weeks", number=True),
        Column("85 % in", "weeks", number=True), Column("queues at"), Column("taken from"),
    )  # fmt: skip
    rows = []
    for gate in GATES[GATES.index(stay.gate) :]:
        usual = flow.usual.get((file.part.family, gate))
        so_far = word_number(stay.find_age(flow.day), 1) if gate is stay.gate else "–"
        half, most = (None, None) if usual is None else (usual.half, usual.most)
        needs = ", ".join(flow.floor.name(need.resource) for need in flow.floor.find_needs(file.part, gate)) or "–"
        source = "–" if usual is None else usual.source
        texts = (str(gate), so_far, word_weeks(half), word_weeks(most), needs, source)
        rows.append(Row(tuple(Cell(build_line(text)) for text in texts)))
    return Table("Stages that remain", columns, tuple(rows), "No stage remains.")


def word_weeks(weeks: float | None) -> str:
    """Return weeks with one decimal; a dash where they are not known."""
    return "–" if weeks is None else word_number(weeks, 1)


def _build_part_working(file: PartFile, flow: Flow) -> Working:
    forecast, stay = flow.forecasts[file.number], flow.stays[file.number][-1]
    inputs = (
        WorkingInput("stage since", word_day(stay.arrived), build_line("first go for the gate before it")),
        WorkingInput("simulated futures", str(flow.simulation.worlds), build_line("the same seed each time")),
        WorkingInput("mean", f"{word_number(forecast.mean, 1)} ± {word_number(forecast.standard_error, 1)} weeks",
                     build_line("with its Monte Carlo error")),
    )  # fmt: skip
    return Working(
        (
            "length of each stage ~ how long it lasted here before, given how long it has lasted already",
            "stage ends = max(length, its turns at its resources, first come first served)",
            "likely = the day by which half of the futures are done; 85 % by = the day by which 85 % are",
        ),
        inputs,
        "product-limit estimate (Kaplan and Meier 1958) and simulation of queues (A. M. Law, Simulation Modeling and "
        "Analysis)",
        "It supposes that the shop's pace, its people and its cash stay as they were.",
        METHOD,
    )
