"""The register of resources: what waits at each, in which order, for how long, and who leads what comes next."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from pipeline.lineage.coverage import CellState, compute_coverage
from pipeline.model.catalogue import Car, Catalogues
from pipeline.model.words import Gate, GateState, Hand
from pipeline.planning.flow_ageing import AgeBand
from pipeline.portfolio.flow import AtResource, Flow, Turn
from pipeline.portfolio.flow_stays import Ending
from pipeline.portfolio.outlook import find_outlook
from pipeline.portfolio.portfolio import PartFile, Portfolio
from pipeline.views.addresses import FLOW, REGISTERS, RESOURCES, find_part_page
from pipeline.views.money_words import build_row
from pipeline.views.open_cells import find_cars
from pipeline.views.part_head import word_body
from pipeline.views.shapes_marks import Cell, Column, Line, Link, Mark, RangeMark, Row, Run, Table, Tone, build_line
from pipeline.views.shapes_site import PageHead, Section, SectionsPage, Tally
from pipeline.views.states import name_person, name_vehicle
from pipeline.views.traveller import find_traveller, has_traveller
from pipeline.views.wording import word_count, word_day, word_number

NO_RESOURCE = "No resource is on record. Write what parts queue for, with its hours a week, into shared/resources.yaml."
NO_FLOW = "What waits is not known yet: write `opened:` in a record, and decide its gates with pipeline decide."
NO_CAR = "No vehicle is on record. Write those on which parts can be tried into shared/vehicles.yaml under cars:."


def build_resource_register(portfolio: Portfolio, flow: Flow | None = None) -> SectionsPage:
    """Make the page; the queues are those of the flow, which reckons them once for all pages.

    flow : the flow of the workspace; that of the site, if None.
    """
    summary = "What waits where, for how many weeks, and who leads what comes next."
    head = PageHead("Resources", RESOURCES, summary, "registers", (Link("Registers", REGISTERS),))
    if flow is None:
        outlook = find_outlook(portfolio)
        flow = None if outlook is None else outlook.flow
    if flow is None or not flow.firsts:
        return SectionsPage(head, build_line(NO_FLOW), ())
    if not flow.resources:
        return SectionsPage(head, build_line(NO_RESOURCE), ())
    intro = build_line(
        "First come, first served. Where one more hour a week would help most stands under ",
        Run("Flow", href=f"{FLOW}#queues"),
        ".",
    )
    sections = (
        _build_overview(flow),
        _build_people(flow),
        _build_cars(portfolio, flow),
        *(_build_section(flow, one) for one in flow.resources if one.turns),
    )
    return SectionsPage(head, intro, sections, _build_tallies(flow))


def _build_tallies(flow: Flow) -> tuple[Tally, ...]:
    busy = [one for one in flow.resources if one.turns]
    longest = [one for one in busy[:1] if math.isfinite(one.queue.weeks)]
    over = sum(one.over > 0 for one in flow.resources)
    waiting = len({turn.number for one in busy for turn in one.turns})
    tallies = [
        Tally(str(waiting), "part waits" if waiting == 1 else "parts wait", f"{RESOURCES}#overview", Mark.IN_HAND)
    ]
    tallies += [
        Tally(word_number(one.queue.weeks, 1), f"weeks: the longest queue, {one.name}", find_resource(one.key))
        for one in longest
    ]
    return (*tallies, Tally(str(over), "over the limit", f"{RESOURCES}#overview", Mark.STALE if over else None))


def name_resource_anchor(key: str) -> str:
    """Return the anchor of a resource; an engineer's share of one has a colon in its key.

    >>> name_resource_anchor("model:mara")
    'resource-model~mara'
    """
    return f"resource-{key.replace(':', '~')}"


def find_resource(key: str) -> str:
    """Return the address of a resource in the register."""
    return f"{RESOURCES}#{name_resource_anchor(key)}"


# --- side by side ---------------------------------------------------------------------------------


def _build_overview(flow: Flow) -> Section:
    finite = [one.queue.weeks for one in flow.resources if math.isfinite(one.queue.weeks)]
    scale = max(finite, default=1.0) or 1.0
    columns = (
        Column("resource", sort=True),
        Column("queue", "weeks", True, True),
        Column("waiting", "h", True, True),
        Column("capacity", "h a week", True, True),
        Column("parts there", number=True, sort=True),
        Column("limit", number=True),
        Column("next"),
        Column("who leads it"),
    )
    rows = tuple(_build_overview_row(flow, one, scale) for one in flow.resources)
    table = Table("Resources side by side", columns, rows, NO_RESOURCE, "data/resources.csv", folds=True)
    return Section("overview", "Side by side", "longest queue first", (), (), (table,))


def word_queue(weeks: float) -> str:
    """Return the length of a queue in weeks; where nobody has hours for it, that.

    >>> word_queue(2.25), word_queue(math.inf)
    ('2.2', 'no hours')
    """
    return "no hours" if math.isinf(weeks) else word_number(weeks, 1)


def _build_overview_row(flow: Flow, one: AtResource, scale: float) -> Row:
    queue = one.queue
    words = word_queue(queue.weeks)
    drawn = None
    if 0 < queue.weeks < math.inf:
        drawn = RangeMark(0.0, queue.weeks, queue.weeks, 0.0, scale, f"queue of {words} weeks")
    first = one.turns[0] if one.turns else None
    name = Run(one.name, href=find_resource(one.key) if one.turns else "")
    return Row(
        (
            Cell((name,), Mark.STALE if one.over else None),
            Cell((Run(words, Tone.FLAG if math.isinf(queue.weeks) else Tone.PLAIN),), drawing=drawn),
            Cell(build_line(word_number(queue.hours, 0))),
            Cell(build_line(word_number(queue.hours_per_week, 0))),
            Cell((Run(str(len(one.turns)), Tone.FLAG if one.over else Tone.PLAIN),)),
            Cell(build_line("–" if one.limit is None else str(one.limit))),
            Cell(build_line("–") if first is None else _say_part(flow, first.number)),
            Cell(build_line("–" if first is None else _name_leader(flow, first.number))),
        )
    )


def _say_part(flow: Flow, number: str) -> Line:
    return (Run(number, href=find_part_page(number)), Run(f" {flow.workspace.parts[number].name}", Tone.SOFT))


def _name_leader(flow: Flow, number: str) -> str:
    return name_person(flow.workspace.catalogues, flow.workspace.parts[number].engineer)


# --- one resource ---------------------------------------------------------------------------------


def _build_section(flow: Flow, one: AtResource) -> Section:
    columns = (
        Column("turn", number=True),
        Column("part"),
        Column("stage"),
        Column("in it since", number=True),
        Column("so far", "weeks", True),
        Column("takes", "h", True),
        Column("done in", "weeks", True),
        Column("who leads it"),
    )
    rows = tuple(_list_turns(flow, one))
    csv = f"data/{name_resource_anchor(one.key)}.csv"
    table = Table(f"Who waits: {one.name}", columns, rows, "Nothing waits.", csv)
    queue = one.queue
    aside = f"{word_count(len(one.turns), 'part')}, {word_queue(queue.weeks)} weeks"
    intro = f"{word_number(queue.hours, 0)} h wait, {word_number(queue.hours_per_week, 0)} h a week."
    runs = [Run(intro)]
    if one.over:
        runs.append(Run(f" {len(one.turns)} parts are there, {one.limit} is the limit.", Tone.FLAG))
    return Section(name_resource_anchor(one.key), one.name, aside, tuple(runs), (), (table,), fold=True)


def _list_turns(flow: Flow, one: AtResource) -> Iterator[Row]:
    """Yield the turns in order; each is done once all hours before it and its own are worked off."""
    hours, capacity = 0.0, one.queue.hours_per_week
    for place, turn in enumerate(one.turns, 1):
        hours += turn.hours
        yield _build_turn(flow, turn, place, hours / capacity if capacity > 0 else math.inf)


def _build_turn(flow: Flow, turn: Turn, place: int, weeks: float) -> Row:
    so_far = (flow.day - turn.arrived).days / 7
    return build_row(
        (
            str(place),
            _say_part(flow, turn.number),
            str(turn.gate),
            word_day(turn.arrived),
            word_number(so_far, 1),
            word_number(turn.hours, 1),
            "–" if math.isinf(weeks) else word_number(weeks, 1),
            _name_leader(flow, turn.number),
        )
    )


# --- engineers ------------------------------------------------------------------------------------


def _build_people(flow: Flow) -> Section:
    columns = (
        Column("engineer", sort=True),
        Column("parts in work", number=True, sort=True),
        *(Column(str(gate), number=True) for gate in Gate),
        Column("stand too long", number=True, sort=True),
        Column("held", number=True),
        Column("next to model"),
    )
    rows = tuple(_build_person(flow, key) for key in _list_leaders(flow))
    table = Table(
        "Engineers and what they lead", columns, rows, "Nobody leads a part in work.", "data/engineers.csv", folds=True
    )
    note = build_line("Stand too long: longer in their stage than 85 % of their like.")
    return Section("engineers", "Engineers", "parts in work by gate", note, (), (table,))


def _list_leaders(flow: Flow) -> tuple[str, ...]:
    """Return the engineers in the shop, then everybody else who leads a part in work."""
    leading = sorted({flow.workspace.parts[stay.number].engineer for stay in flow.open_stays})
    return tuple(dict.fromkeys((*flow.floor.engineers, *leading)))


def _build_person(flow: Flow, key: str) -> Row:
    mine = [stay for stay in flow.open_stays if flow.workspace.parts[stay.number].engineer == key]
    held = [stay for stay in mine if stay.ending is Ending.HELD]
    numbers = {stay.number for stay in mine}
    stuck = sum(age.item in numbers and age.band is AgeBand.STUCK for age in flow.ages)
    work = [stay for stay in mine if stay.ending is not Ending.HELD]
    models = [one for one in flow.resources if one.key.endswith(f":{key}") and one.turns]
    following: Line = _say_part(flow, models[0].turns[0].number) if models else build_line("–")
    gone = "" if key in flow.floor.engineers else ", not an engineer in the shop"
    counts = [sum(stay.gate is gate for stay in work) for gate in Gate]
    return build_row(
        (
            (Run(name_person(flow.workspace.catalogues, key)), *((Run(gone, Tone.FLAG),) if gone else ())),
            str(len(work)),
            *(str(count) if count else "–" for count in counts),
            (Run(str(stuck), Tone.FLAG),) if stuck else "–",
            str(len(held)) if held else "–",
            following,
        )
    )


# --- vehicles to try parts on ---------------------------------------------------------------------


@dataclass(frozen=True)
class WantedTrial:
    """An application on one hand that wants a fit check now, and the vehicles on which it can be tried."""

    file: PartFile
    application: str
    hand: Hand
    cars: tuple[str, ...]


def find_trials(portfolio: Portfolio) -> tuple[WantedTrial, ...]:
    """Return the trials that are wanted now: of parts at the fit check gate, applications without a good fresh one."""
    found = []
    for _, file in sorted(portfolio.parts.items()):
        at = file.standing.gates[Gate.FIT_CHECK].state
        is_wanted = (file.standing.gate is Gate.FIT_CHECK and at is not GateState.HELD) or at is GateState.STALE
        if not is_wanted or file.standing.is_dropped:
            continue
        for cell in compute_coverage(file.part, file.lineage).cells:
            if cell.state is not CellState.GOOD:
                cars = find_cars(file.workspace.catalogues, file.part, cell.application)
                found.append(WantedTrial(file, cell.application, cell.hand, cars))
    return tuple(found)


def _build_cars(portfolio: Portfolio, flow: Flow) -> Section:
    catalogues, trials = flow.workspace.catalogues, find_trials(portfolio)
    columns = (
        Column("vehicle", sort=True),
        Column("what it is", sort=True),
        Column("year", number=True, sort=True),
        Column("there", "days a week", True, True),
        Column("trials wanted", number=True, sort=True),
        Column("of parts"),
        Column("note"),
    )
    rows = [_build_car(catalogues, key, car, trials) for key, car in catalogues.vehicles.cars.items()]
    table = Table("Vehicles to try parts on", columns, tuple(rows), NO_CAR, "data/cars.csv" if rows else "", folds=True)
    lacking = [trial for trial in trials if not any(catalogues.vehicles.cars[car].days_per_week for car in trial.cars)]
    homeless = {(trial.file.number, trial.application): trial for trial in lacking}.values()
    after: list[Run] = []
    for at, trial in enumerate(homeless):
        start = Run(", ") if at else Run("No vehicle is there for ", Tone.FLAG)
        after += [start, _link_trial(trial), Run(f" on {trial.application}")]
    aside = f"{word_count(len(trials), 'trial')} wanted now"
    tail = (*after, Run(".")) if after else ()
    return Section("vehicles", "Vehicles to try parts on", aside, tail, (), (table,))


def _link_trial(trial: WantedTrial) -> Run:
    """Return the way to the sheet that goes to the vehicle."""
    number = trial.file.number
    return Run(number, href=find_traveller(number) if has_traveller(trial.file) else find_part_page(number))


def _build_car(catalogues: Catalogues, key: str, car: Car, trials: tuple[WantedTrial, ...]) -> Row:
    mine = [trial for trial in trials if key in trial.cars]
    runs: list[Run] = []
    for trial in {trial.file.number: trial for trial in mine}.values():
        runs += [*([Run(", ")] if runs else []), _link_trial(trial)]
    away = car.days_per_week == 0
    return build_row(
        (
            key,
            f"{name_vehicle(catalogues, car.vehicle)} {word_body(catalogues, car)}",
            str(car.year),
            (Run("away", Tone.FLAG if mine else Tone.PLAIN),) if away else word_number(car.days_per_week),
            str(len(mine)) if mine else "–",
            tuple(runs) or "–",
            car.note or "",
        )
    )
