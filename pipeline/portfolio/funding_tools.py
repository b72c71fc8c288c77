"""What is released together: tools of a part as one set, shared tools each for itself; and what is signed already."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from pipeline.model.words import ToolStep
from pipeline.portfolio.funding_quarters import QUARTERS, count_quarters, find_offset
from pipeline.portfolio.funding_ready import Ready, forecast_ready_in_flow, is_release_signed
from pipeline.portfolio.portfolio import PartFile
from pipeline.portfolio.quotes import list_wanted_tools
from pipeline.portfolio.tooling_cash import ToolCash, ToolingCash, compute_tooling_cash


@dataclass(frozen=True)
class ToolSet:
    """Tools that one signature releases.

    key : how the plan calls it: `TW-161/mould` for one tool, `TW-118 tools` for several, `TW-172 release` where a part
    needs no tool of its own. due : what is still to be paid, as if it were ordered today. signed : the money is
    released, or the tools are ordered, so that nothing is left to choose. weeks : from release (signed: from today) to
    the first good pieces. shared : other parts are made with it too.
    """

    key: str
    part: str
    tools: tuple[str, ...]
    due: tuple[ToolCash, ...]
    ready: Ready
    weeks: tuple[float, float, float]
    signed: bool
    shared: bool = False

    @property
    def cost(self) -> Decimal:
        """All that is still to be paid."""
        return sum((line.amount for line in self.due), Decimal(0))

    @property
    def payments(self) -> tuple[float, ...]:
        """Money due k quarters after release."""
        by_offset: dict[int, Decimal] = {}
        for line in self.due:
            offset = find_offset(line.week)
            by_offset[offset] = by_offset.get(offset, Decimal(0)) + line.amount
        return tuple(float(by_offset.get(k, 0)) for k in range(max(by_offset, default=0) + 1))

    def find_earliest(self, today: dt.date) -> int:
        """Return the first quarter in which it may be released; past the plan where nobody can say when."""
        if not self.ready.known:
            return QUARTERS
        return count_quarters(today + dt.timedelta(weeks=self.ready.likely), today)

    def find_there(self, today: dt.date) -> int:
        """Return the quarter of the first good pieces of a signed set: its weeks, or its open gates if longer."""
        if not self.ready.known:
            return QUARTERS
        return count_quarters(today + dt.timedelta(weeks=max(self.weeks[1], self.ready.likely)), today)


def name_set(number: str, tools: tuple[str, ...], signed: bool = False) -> str:
    """Return how the plan calls tools that are released together.

    >>> name_set("TW-161", ("mould",)), name_set("TW-118", ("blank", "draw1")), name_set("TW-172", ())
    ('TW-161/mould', 'TW-118 tools', 'TW-172 release')
    """
    if len(tools) == 1:
        return f"{number}/{tools[0]}"
    return f"{number} release" if not tools else f"{number} tools ordered" if signed else f"{number} tools"


def find_shared_tools(files: Iterable[PartFile]) -> frozenset[str]:
    """Return the tools (`TW-171/form`) that parts use out of another part's record; dropped parts use nothing."""
    return frozenset(use for file in files if not file.standing.is_dropped for use in file.part.uses_tools)


def list_tool_sets(file: PartFile, shared: frozenset[str]) -> tuple[ToolSet, ...]:
    """Return the sets of a part: signed and open tools apart, each shared tool for itself."""
    cash, ready = compute_tooling_cash(file), forecast_ready_in_flow(file)
    all_signed = file.standing.released or is_release_signed(file)
    left_out = set(cash.unpriced)
    groups: dict[tuple[bool, str], list[str]] = {}
    for key in list_wanted_tools(file):
        own = f"{file.number}/{key}"
        if key not in left_out:
            groups.setdefault((all_signed or _is_ordered(file, key), own if own in shared else ""), []).append(key)
    if not any(not name for _, name in groups):
        groups[all_signed, ""] = []
    both = len({signed for signed, name in groups if not name}) > 1
    sets = [
        ToolSet(
            name or name_set(file.number, tuple(tools), signed and both),
            file.number, tuple(tools), _find_due(cash, tools), ready, cash.weeks, signed, bool(name),
        )
        for (signed, name), tools in groups.items()
    ]  # fmt: skip
    return _add_samples(sets, cash)


def _is_ordered(file: PartFile, key: str) -> bool:
    tool = file.part.tools.get(key)
    return tool is not None and tool.state is not None and tool.state is not ToolStep.QUOTED


def _find_due(cash: ToolingCash, tools: list[str]) -> tuple[ToolCash, ...]:
    return tuple(line for line in cash.due if line.tool in tools)


def _add_samples(sets: list[ToolSet], cash: ToolingCash) -> tuple[ToolSet, ...]:
    """Put what belongs to no single tool (samples) to the part's own set, the open one where there are two."""
    rest = tuple(line for line in cash.due if not line.tool)
    own = [one for one in sets if not one.shared]
    if not rest or not own:
        return tuple(sets)
    chosen = next((one for one in own if not one.signed), own[0])
    more = ToolSet(
        chosen.key, chosen.part, chosen.tools, (*chosen.due, *rest), chosen.ready, chosen.weeks, chosen.signed
    )
    return tuple(more if one is chosen else one for one in sets)


def sum_committed(sets: Iterable[ToolSet], today: dt.date, count: int = QUARTERS) -> tuple[Decimal, ...]:
    """Return what signed tools still take in each quarter; what falls later is put into the last one, to be safe."""
    found = [Decimal(0)] * count
    for one in sets:
        for line in one.due if one.signed else ():
            found[min(count - 1, count_quarters(line.on, today))] += line.amount
    return tuple(found)


def find_set(sets: Mapping[str, ToolSet], name: str) -> ToolSet | None:
    """Return the set that `TW-118`, `TW-118/die` or its own key names; None where there is none.

    A part's number stands for its own open set, else for its signed one.
    """
    if name in sets:
        return sets[name]
    number, _, tool = name.partition("/")
    own = [one for one in sets.values() if one.part == number]
    fitting = [one for one in own if tool in one.tools] if tool else [one for one in own if not one.shared]
    return next((one for one in fitting if not one.signed), fitting[0] if fitting else None)
