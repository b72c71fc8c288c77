"""What to do next, part by part, as the terminal and the home page show it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from pipeline.gates.judgement import Met
from pipeline.model.part import RedoCost
from pipeline.model.words import GATES, Gate, GateState, Role
from pipeline.portfolio.portfolio import PartFile, Portfolio
from pipeline.views.change_cost import render_amount
from pipeline.views.states import name_person, name_supplier

_RANK = {
    GateState.STALE: 1,
    GateState.READY: 2,
    GateState.IN_WORK: 3,
    GateState.NOT_STARTED: 4,
    GateState.HELD: 5,
}


@dataclass(frozen=True)
class Action:
    """One step: what to do, why (may be empty), who does it, and the day by which it is wanted, if one is known."""

    do: str
    why: str
    who: str
    due: dt.date | None = None


def find_actions(file: PartFile) -> tuple[Action, ...]:
    """Return the next steps of a part, most pressing first, with why and who."""
    engineer = name_person(file.workspace.catalogues, file.part.engineer)
    whys = _find_whys(file)
    actions = []
    calls = {
        f"ask {call.toolmaker or 'the toolmaker'} to wait with {call.tool}": call for call in file.standing.hold_calls
    }
    for step in file.standing.todo:
        call = calls.get(step)
        if call is not None:
            maker = name_supplier(file.workspace.catalogues, call.toolmaker) if call.toolmaker else "the toolmaker"
            actions.append(
                Action(f"ask {maker} to wait with {call.tool}", "the metal is not cut yet", "buyer", call.cut_planned)
            )
            continue
        gate, why = whys.get(step, (file.standing.gate, ""))
        if step.startswith("decide the ") and gate is not None:
            policy = file.workspace.catalogues.gates.gates[gate]
            actions.append(Action(step, "all that the gate wants is in hand", " or ".join(policy.decided_by)))
        else:
            actions.append(Action(step, why, "buyer" if gate is Gate.QUOTE else engineer))
    return tuple(actions)


def _find_whys(file: PartFile) -> dict[str, tuple[Gate | None, str]]:
    """Return step -> the gate that wants it and what the requirement found."""
    whys: dict[str, tuple[Gate | None, str]] = {}
    for gate, standing in file.standing.gates.items():
        for requirement in standing.open_requirements:
            for step in requirement.answer.todo:
                whys.setdefault(step, (gate, requirement.answer.words))
    return whys


def order_by_need(files: Sequence[PartFile]) -> list[PartFile]:
    """Return the parts that need somebody: hold calls, then stale, ready, in work, not started, held."""
    waiting = [f for f in files if f.standing.hold_calls or not (f.standing.released or f.standing.is_dropped)]
    return sorted(waiting, key=lambda f: (not f.standing.hold_calls, _RANK.get(f.standing.state, 9), f.number))


def describe_place(file: PartFile) -> str:
    """Return where a part stands in a few words."""
    standing = file.standing
    if standing.hold_calls:
        return "HOLD CALL"
    if standing.released:
        return "released"
    return f"{standing.gate} gate {standing.state}" if standing.gate is not None else str(standing.state)


@dataclass(frozen=True)
class Opening:
    """What would open the next gates of a part: the steps with what each is likely to cost, and the gates.

    costs : likely cost of each step in workspace currency, as redoing it costs; None where nothing is known of it.
    gates : the gates that could then be decided, in order; none where tools must be made first.
    """

    file: PartFile
    steps: tuple[str, ...]
    costs: tuple[Decimal | None, ...]
    gates: tuple[Gate, ...]

    @property
    def cost(self) -> Decimal:
        """What is known of the cost of all steps."""
        return sum((cost for cost in self.costs if cost is not None), Decimal(0))

    @property
    def rank(self) -> tuple[bool, bool, bool, Decimal, int, str]:
        """Hold calls first; what is held last; then least money for each gate that opens, and fewest steps."""
        standing = self.file.standing
        unknown = any(cost is None for cost in self.costs)
        each = self.cost / max(len(self.gates), 1)
        held = standing.state is GateState.HELD
        return (not standing.hold_calls, held, unknown, each, len(self.steps), self.file.number)


def find_opening(file: PartFile) -> Opening:
    """Return what would open the next gates of a part."""
    by_step = {
        step: requirement.id
        for standing in file.standing.gates.values()
        for requirement in standing.open_requirements
        for step in requirement.answer.todo
    }
    steps = file.standing.todo
    costs = tuple(estimate_step(file, by_step.get(step)) for step in steps)
    return Opening(file, steps, costs, _find_gates_to_open(file))


def _find_gates_to_open(file: PartFile) -> tuple[Gate, ...]:
    """Return the stale gates, the first open one, and those behind it for which all that they want is there already."""
    standing = file.standing
    stale = [gate for gate in GATES if standing.gates[gate].state is GateState.STALE]
    if standing.gate is None or standing.is_dropped:
        return tuple(stale)
    found = [standing.gate]
    for gate in GATES[GATES.index(standing.gate) + 1 :]:
        if any(r.state not in (Met.MET, Met.WAIVED) for r in standing.gates[gate].requirements):
            break
        found.append(gate)
    return tuple(dict.fromkeys((*stale, *found)))


def estimate_step(file: PartFile, requirement: str | None) -> Decimal | None:
    """Return what one step for a requirement is likely to cost: hours at the shop's rates, or the stated price.

    Decisions, signatures and phone calls cost nothing here. None where the shop states no figure.
    """
    if requirement is None:
        return Decimal(0)
    hourly = file.workspace.catalogues.money.hourly
    engineer = Decimal(str(hourly.get(Role.ENGINEER, 0.0)))
    buyer = Decimal(str(hourly.get(Role.BUYER, hourly.get(Role.ENGINEER, 0.0))))
    redo = {
        "measure": ("remeasure_h", engineer),
        "model": ("remodel_h", engineer),
        "prototype": ("reprint", Decimal(1)),
        "fit-check": ("fit_h", engineer),
        "quote": ("requote_h", buyer),
        "tooling": ("inspect_h", engineer),
    }
    free = ("second-signature", "chosen", "children", "safety-review", "safety-tests", "accepted", "proofs")
    gate, _, what = requirement.partition(".")
    if what in free:
        return None if what in ("safety-review", "safety-tests", "accepted", "proofs", "children") else Decimal(0)
    name, rate = redo[gate]
    own = getattr(file.part.redo or RedoCost(), name, None)
    family = file.workspace.catalogues.families.families[file.part.family]
    return Decimal(str(getattr(family.redo, name) if own is None else own)) * rate


def order_by_cost(files: Sequence[PartFile]) -> list[Opening]:
    """Return what would open the most gates for the least money, part by part; hold calls first."""
    waiting = [f for f in files if f.standing.hold_calls or not (f.standing.released or f.standing.is_dropped)]
    return sorted((find_opening(file) for file in waiting), key=lambda opening: opening.rank)


def build_next_lines(
    portfolio: Portfolio,
    numbers: Sequence[str],
    engineer: str | None = None,
    limit: int = 3,
    word_dates: Callable[[PartFile], str] | None = None,
) -> list[str]:
    """Return lines for the terminal: a head for each part, then its next steps, the cheapest gates first.

    word_dates : says when a part is likely to be released (`review_dates.word_part_dates`); None: nobody asked.
    """
    files = [portfolio.parts[n] for n in numbers if engineer in (None, portfolio.parts[n].part.engineer)]
    lines: list[str] = []
    for opening in order_by_cost(files):
        file = opening.file
        lines.append(f"{file.number}  {file.part.name}: {describe_place(file)}  ({file.part.engineer})")
        actions = find_actions(file)
        for index, (action, cost) in enumerate(zip(actions[:limit], opening.costs, strict=False), 1):
            lines.append(f"    {index}. {action.do}{_render_cost(file, cost)}")
        if len(actions) > limit:
            lines.append(f"    and {len(actions) - limit} more: pipeline next {file.number} --limit {len(actions)}")
        if file.standing.state is GateState.HELD:
            lines.append("    held: decide go, rework or drop to take it up again")
        elif opening.gates and actions:
            lines.append(f"    opens: {', '.join(opening.gates)}{_render_total(opening)}")
        dates = "" if word_dates is None else word_dates(file)
        if dates:
            lines.append(f"    {dates}")
    return lines


def _render_cost(file: PartFile, cost: Decimal | None) -> str:
    currency = file.workspace.catalogues.money.currency
    return f"  (about {render_amount(cost)} {currency})" if cost else ""


def _render_total(opening: Opening) -> str:
    currency = opening.file.workspace.catalogues.money.currency
    least = "at least " if any(cost is None for cost in opening.costs) else "about "
    return f", for {least}{render_amount(opening.cost)} {currency}" if opening.cost else ""
