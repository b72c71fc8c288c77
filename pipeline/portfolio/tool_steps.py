"""A tool on its way from quoted to accepted: what speaks against its next step, before anything is written."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from pipeline.findings.finding import Pointer
from pipeline.gates.judgement import find_outside
from pipeline.gates.standing import find_decision_faults, is_waiver_live
from pipeline.model.part import Part, Tool
from pipeline.model.words import TOOL_STEPS, Result, Say, ToolStep
from pipeline.portfolio.near import Near

NEEDS_BEFORE = {
    ToolStep.CUTTING: ToolStep.ORDERED,
    ToolStep.ON_TRIAL: ToolStep.CUTTING,
    ToolStep.ACCEPTED: ToolStep.CUTTING,
}
"""The step without which another cannot be. A nest or a gauge is accepted without a trial; a tool of one's own may be
ordered without a quote."""


def find_next_step(tool: Tool) -> ToolStep | None:
    """Return the step that comes next, None for a tool that is accepted."""
    if tool.state is None:
        return ToolStep.QUOTED
    later = TOOL_STEPS[TOOL_STEPS.index(tool.state) + 1 :]
    return later[0] if later else None


def find_step_faults(near: Near, name: str, step: ToolStep, day: dt.date) -> tuple[str, ...]:
    """Return why a step of a tool cannot be recorded, each with its place in the record and a way out."""
    assert near.part is not None
    tool = near.part.tools[name]
    if step in tool.steps:
        place = find_place(near, ("tools", name, "steps", step.value))
        return (f"{place}: {name} is {step} since {tool.steps[step]}; if the day is wrong, correct it there",)
    return (
        *_find_order_faults(near, name, tool, step, day),
        *(_find_order_of_money(near, day) if step is ToolStep.ORDERED else ()),
        *(_find_hold(near, name) if step is ToolStep.CUTTING else ()),
    )


def find_place(near: Near, pointer: Pointer) -> str:
    """Return `file:line` of a place in the record; of its nearest parent where it is not there."""
    assert near.tree is not None
    place = near.tree.locate(pointer)
    return f"{place.path}:{place.line}"


def _find_order_faults(near: Near, name: str, tool: Tool, step: ToolStep, day: dt.date) -> Iterator[str]:
    """Yield steps that are missing before this one, and days that run backwards."""
    place = find_place(near, ("tools", name, "steps"))
    wanted = NEEDS_BEFORE.get(step)
    later = [one for one in TOOL_STEPS[TOOL_STEPS.index(step) + 1 :] if one in tool.steps]
    if wanted is not None and wanted not in tool.steps:
        state = f"is {tool.state} since {tool.steps[tool.state]}" if tool.state is not None else "has no step yet"
        way = f'pipeline tool {near.number} {name} "{wanted}" --day DAY'
        yield f"{place}: {name} {state}; {step} comes after {wanted}: record that first ({way})"
    if later:
        yield (
            f"{place}: {name} is {later[0]} since {tool.steps[later[0]]}, which comes after {step}; "
            "a step left out is added there by hand, with its day"
        )
    before = [one for one in TOOL_STEPS[: TOOL_STEPS.index(step)] if one in tool.steps]
    if before and tool.steps[before[-1]] > day:
        place = find_place(near, ("tools", name, "steps", before[-1].value))
        yield f"{place}: {name} is {before[-1]} since {tool.steps[before[-1]]}, after {day}; give the right --day"
    if day > near.today:
        yield f"{day} has not come yet (today is {near.today}); record the step when it has happened"


def _find_order_of_money(near: Near, day: dt.date) -> Iterator[str]:
    """Yield why the order cannot be recorded: no release of the money, or evidence that went stale since."""
    assert near.part is not None and near.standing is not None and near.workspace is not None
    release = near.standing.release
    place = find_place(near, ("decisions",))
    way = f"release it first (pipeline release {near.number})"
    if release is None or release.say is not Say.GO:
        yield f"{place}: no release of tooling money is recorded, and an order spends it; {way}"
        return
    index = near.standing.release_index
    if index is not None:
        place = find_place(near, ("decisions", index))
    faults = find_decision_faults(release, near.catalogues.gates.release, near.workspace)
    if faults:
        yield f"{place}: the release of {release.on} does not count: {faults[0].split(': ', 1)[1]}; {way}"
    elif release.on > day:
        yield f"{place}: the money was released on {release.on}, after {day}; give the right --day"


def _find_hold(near: Near, name: str) -> Iterator[str]:
    """Yield the hold calls on a tool: metal is not cut on evidence that went stale."""
    assert near.standing is not None
    for call in near.standing.hold_calls:
        if call.tool == name:
            place = find_place(near, ("tools", name))
            yield (
                f"{place}: hold call: {call.words}; redo that evidence, or sign a no-effect statement "
                f"(pipeline next {near.number} names what is open)"
            )


def find_new_holds(after: Near, name: str) -> tuple[str, ...]:
    """Return the hold calls on a tool in the record as it would be: an order on stale evidence is one at once."""
    if after.standing is None:
        return ()
    return tuple(
        f"{find_place(after, ('tools', name))}: the order would stand on stale evidence: {call.words}; prove it again, "
        f"or sign a no-effect statement, before the order (pipeline next {after.number})"
        for call in after.standing.hold_calls
        if call.tool == name
    )


def find_step_notes(near: Near, name: str, step: ToolStep, day: dt.date) -> tuple[str, ...]:
    """Return what a person should know before writing: waivers that end with the step, a proof still missing."""
    part = near.part
    assert part is not None
    notes = []
    if step is ToolStep.CUTTING:
        ending = [w for w in part.waivers if w.until == "before metal is cut" and is_waiver_live(part, w, day)]
        notes += [f"the waiver of {waiver.of} ends with this step: its gate is blocked again" for waiver in ending]
    kind = near.catalogues.tool_kinds.kinds.get(part.tools[name].kind)
    if step is ToolStep.ACCEPTED and kind is not None and not kind.gauge and not _has_article(part, name):
        way = f'pipeline tool {near.number} {name} "first article"'
        notes.append(f"no good first article off {name} is on record; the tooling gate wants one ({way})")
    return tuple(notes)


def _has_article(part: Part, name: str) -> bool:
    return any(name in article.tools and article.result is Result.GOOD for article in part.first_articles.values())


def find_keeper(near: Near, name: str) -> str | None:
    """Return the record that keeps a tool which this part uses: its own number, another's, None for no such tool."""
    assert near.part is not None
    if name in near.part.tools:
        return near.number
    return next((use.split("/")[0] for use in near.part.uses_tools if use.split("/")[1] == name), None)


def find_article_faults(near: Near, name: str, day: dt.date) -> tuple[str, ...]:
    """Return why no first article can come off a tool yet; the tool may be kept in another part's record."""
    assert near.part is not None
    keeper = find_keeper(near, name)
    record = near.part if keeper == near.number else near.others.get(keeper or "")
    tool = None if record is None else record.tools.get(name)
    if keeper is None or tool is None:
        return (f"{near.number} has no tool {name}",)
    is_own = keeper == near.number
    cut = tool.steps.get(ToolStep.CUTTING)
    if cut is None:
        state = f"is {tool.state}" if tool.state is not None else "has no step yet"
        place = find_place(near, ("tools", name, "steps") if is_own else ("uses_tools",))
        way = f"pipeline tool {keeper} {name} cutting --day DAY"
        return (f"{place}: {name} {state}: no pieces come off a tool that is not cut ({way})",)
    if cut > day:
        place = find_place(near, ("tools", name, "steps", ToolStep.CUTTING.value) if is_own else ("uses_tools",))
        return (f"{place}: {name} was cut from {cut} on, after {day}; give the right --day",)
    return ()


def find_readings_outside(part: Part, given: dict[str, list[float]], result: str) -> tuple[str, ...]:
    """Return why a result cannot be called good: readings outside of their limits."""
    if result != Result.GOOD:
        return ()
    words = []
    for key, values in given.items():
        outside = [f"{value:g}" for value in find_outside(tuple(values), part.features[key])]
        if outside:
            words.append(
                f"{key} reads {', '.join(outside)} {part.features[key].unit}, outside its limits: record the result as "
                "bad, or correct the reading"
            )
    return tuple(words)
