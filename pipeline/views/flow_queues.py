"""What queues at each resource, and where one more hour a week would help most."""

from __future__ import annotations

import math

from pipeline.planning.flow_queue import compute_steady_queue
from pipeline.planning.flow_simulation import ExtraHour
from pipeline.portfolio.flow import LITTLE_WEEKS, AtResource, Flow
from pipeline.views.addresses import find_method_page, find_part_page
from pipeline.views.shapes_marks import (
    Cell,
    Column,
    Line,
    Link,
    Mark,
    RangeMark,
    Row,
    Run,
    Table,
    Tone,
    Working,
    WorkingInput,
    build_line,
)
from pipeline.views.shapes_site import Section
from pipeline.views.wording import word_count, word_number, word_share

METHOD = Link("How the flow is reckoned", find_method_page("flow"))


def build_queue_section(flow: Flow) -> Section:
    """Make the table of queues, longest first, with limits and the worth of one more hour a week."""
    scale = max([r.queue.weeks for r in flow.resources if math.isfinite(r.queue.weeks)], default=1.0) or 1.0
    columns = (
        Column("resource"), Column("queue", "weeks", number=True), Column("waiting", "h", number=True),
        Column("capacity", "h a week", number=True), Column("asked for, 26 weeks", "of its hours", number=True),
        Column("parts there", number=True), Column("limit", number=True),
        Column("wait to come", "weeks a turn", number=True),
        Column("one more hour a week saves", "part-weeks", number=True), Column("who waits"),
    )  # fmt: skip
    rows = tuple(_build_row(flow, resource, scale) for resource in flow.resources)
    empty = "No resource is on record. Write what parts queue for, with its hours a week, into shared/resources.yaml."
    table = Table("Queues", columns, rows, empty, "flow/queues.csv")
    return Section(
        "queues", "Where it queues", "", _build_intro(flow), (), (table,), _build_after(flow), _build_working(flow)
    )


def _find_extra(flow: Flow, key: str) -> ExtraHour | None:
    return next((extra for extra in flow.simulation.extra if extra.resource == key), None)


def _build_row(flow: Flow, resource: AtResource, scale: float) -> Row:
    queue, extra = resource.queue, _find_extra(flow, resource.key)
    wait = next((use.wait for use in flow.simulation.uses if use.resource == resource.key), None)
    weeks = "no hours" if math.isinf(queue.weeks) else word_number(queue.weeks, 1)
    drawn = None
    if math.isfinite(queue.weeks):
        drawn = RangeMark(0.0, queue.weeks, queue.weeks, 0.0, scale, f"queue of {weeks} weeks")
    saves = "–" if extra is None else f"{word_number(extra.gain, 1)} ± {word_number(2 * extra.standard_error, 1)}"
    over, asked = resource.over > 0, flow.asked.get(resource.key)
    limit = "–" if resource.limit is None else str(resource.limit)
    cells = (
        Cell(build_line(resource.name), Mark.STALE if over else None),
        Cell(build_line(weeks), drawing=drawn),
        Cell(build_line(word_number(queue.hours, 0))),
        Cell(build_line(word_number(queue.hours_per_week, 0))),
        Cell(build_line("–" if asked is None else word_share(round(asked, 2)))),
        Cell(build_line(Run(str(len(resource.parts)), Tone.FLAG if over else Tone.PLAIN))),
        Cell(build_line(limit)),
        Cell(build_line("–" if wait is None else word_number(wait, 2))),
        Cell(build_line(saves)),
        Cell(_list_parts(resource.parts)),
    )
    return Row(cells)


def _list_parts(parts: tuple[str, ...], limit: int = 1) -> Line:
    runs: list[Run] = []
    for number in parts[:limit]:
        runs += [*([Run(", ")] if runs else []), Run(number, href=find_part_page(number))]
    if len(parts) > limit:
        runs.append(Run(f" and {len(parts) - limit} more"))
    return tuple(runs) or build_line("–")


def _build_intro(flow: Flow) -> Line:
    busy = [r for r in flow.resources if r.parts]
    if not busy:
        return build_line("Nothing waits for a resource now.")
    first = busy[0]
    weeks = "no hours at all" if math.isinf(first.queue.weeks) else f"{word_number(first.queue.weeks, 1)} weeks of work"
    over = [f"{r.name} ({len(r.parts)} parts, limit {r.limit})" for r in flow.resources if r.over]
    tail = f" Over their limit: {', '.join(over)}." if over else " No resource is over its limit on parts at once."
    return (Run(f"The longest queue is at {first.name}: "), Run(weeks, Tone.STRONG),
            Run(f" for {word_count(len(first.parts), 'part')}.{tail}"))  # fmt: skip


def _build_after(flow: Flow) -> Line:
    """Where an hour helps, then what the load of the fullest resource means."""
    return (*_word_extra(flow), *_word_load(flow))


def _word_load(flow: Flow) -> Line:
    """What a queue of that load does in the long run, by the formula for a server that takes one after another."""
    key = max(flow.asked, key=lambda one: (flow.asked[one], one), default=None)
    load = 0.0 if key is None else flow.asked[key]
    if key is None or load <= 0.0:
        return ()
    share = word_share(round(load, 2))
    said = f" Most is asked of {flow.floor.name(key)}: {share} of its hours in {LITTLE_WEEKS} weeks. "
    if load >= 1.0:
        return build_line(f"{said}More than it has: its queue grows until hours are added or work is taken away.")
    present = word_number(compute_steady_queue(load, 1.0).present, 1)
    return build_line(f"{said}In the long run a queue so full holds {present} parts, if they come at random (M/M/1).")


def _word_extra(flow: Flow) -> Line:
    if not flow.simulation.extra:
        return ()
    best = flow.simulation.extra[0]
    if best.gain <= 2 * best.standard_error:
        return build_line(
            "One more hour a week at any one resource would bring no part forward that can be told apart."
        )
    share = f"{best.moved * 100:.0f} %"
    return (
        Run("One more hour a week helps most at "),
        Run(flow.floor.name(best.resource), Tone.STRONG),
        Run(f": {word_number(best.gain, 1)} part-weeks in all, {share} of the parts in work earlier."),
    )


def _build_working(flow: Flow) -> Working:
    resources = flow.workspace.catalogues.resources.resources
    inputs = tuple(
        WorkingInput(
            entry.name,
            "no hours stated"
            if entry.hours_each is None
            else f"{entry.hours_each.low:g} / {entry.hours_each.likely:g} / {entry.hours_each.high:g} h a part",
            build_line(f"shared/resources.yaml, used in {', '.join(entry.used_in) or 'no stage'}"),
        )
        for entry in resources.values()
    )
    return Working(
        (
            "queue = hours that wait / hours a week; a part waits while its stage has brought no evidence yet",
            "hours of a part = (low + 4 × likely + high) / 6",
            "modelling hours are shared evenly among the engineers in the shop; each has the queue of his own parts",
            "asked for = hours of the parts that came into its stages in 26 weeks / its hours in them",
            "in the long run, M/M/1: parts = load / (1 − load)",
            "saves = mean over the same simulated futures of (end before − end with one more hour), summed over parts",
        ),
        inputs,
        "work over capacity: common practice, no source; M/M/1: Gross and Harris, Fundamentals of Queueing Theory, "
        "chapter 2; common random numbers: A. M. Law, Simulation Modeling and "
        "Analysis",
        "One more hour is tried at the resources with the longest waits to come.",
        METHOD,
    )
