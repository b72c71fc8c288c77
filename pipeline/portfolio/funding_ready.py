"""When a part is ready for the release of its tooling money: now, or a forecast, with the gate that is in the way."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

from pipeline.gates.judgement import Met
from pipeline.gates.standing import GateStanding, find_decision_faults
from pipeline.model.quantity import Range
from pipeline.model.words import GATES, Gate, GateState, Say
from pipeline.portfolio.flow_forecast import find_day
from pipeline.portfolio.flow_ready import find_ready_forecasts
from pipeline.portfolio.portfolio import PartFile

DECIDING_WEEKS = 1.0
"""Weeks until a decision that only waits for a person, where the shop reviews each week: common practice, no source."""


@dataclass(frozen=True)
class Ready:
    """Weeks from today until every gate before tooling is proven; 0 for all where they are.

    gate : the first gate in the way. requirement : id of what it wants and lacks, empty where only the decision is
    missing. why : both in words. known : False where nobody can say when (on hold); the weeks mean nothing then.
    has_odds : the weeks are those of the flow's forecast: half of its futures by `likely`, 85 % between `low` and
    `high`; else they are the usual weeks of the family.
    """

    low: float
    likely: float
    high: float
    gate: Gate | None = None
    requirement: str = ""
    why: str = ""
    known: bool = True
    has_odds: bool = False

    @property
    def is_now(self) -> bool:
        """True when the money can be released today."""
        return self.gate is None

    def word_day(self, today: dt.date) -> str:
        """Return the day on which it is likely to be ready, with its odds where these are known."""
        low, likely, high = (find_day(weeks, today) for weeks in (self.low, self.likely, self.high))
        if self.has_odds:
            return f"likely by {likely}, in 85 of 100 futures between {low} and {high}"
        return f"forecast for {today + dt.timedelta(weeks=self.likely)}"


def forecast_ready_in_flow(file: PartFile) -> Ready:
    """Return when a part's gates before tooling are proven, as the flow forecasts it.

    Where the flow has no forecast (too few parts finished a stage), or nothing but decisions is missing, these are the
    usual weeks of the part's family.

    The flow knows how long stages really last here, how long this one has lasted, and what queues. Gates that were
    passed and must be proven again are not in it: their usual weeks are added, end to end.
    """
    usual = forecast_ready(file)
    found = None if usual.is_now or not usual.known else find_ready_forecasts(file.shop).get(file.number)
    open_gates = [s for gate in GATES[:-1] if (s := file.standing.gates[gate]).state is not GateState.PROVEN]
    remain = [s for s in open_gates if found is not None and s.gate.value in found.steps]
    if found is None or all(s.state is GateState.READY for s in remain):
        return usual
    again = [_find_weeks(file, s) for s in open_gates if s not in remain]
    return replace(
        usual,
        low=found.early + sum(one.low for one in again),
        likely=found.median + sum(one.likely for one in again),
        high=found.late + sum(one.high for one in again),
        has_odds=True,
    )


def forecast_ready(file: PartFile) -> Ready:
    """Return when a part's gates before tooling are proven: the usual weeks of each stage that is still open.

    Reckoned from the part's own record alone. A gate that only waits for its decision takes the days between two
    reviews. Stages follow each other. Weeks are those of the part's family (`weeks` in shared/families.yaml).
    """
    before = [file.standing.gates[gate] for gate in GATES[:-1]]
    open_gates = [standing for standing in before if standing.state is not GateState.PROVEN]
    if not open_gates:
        return Ready(0.0, 0.0, 0.0)
    held = next((s for s in open_gates if s.state in (GateState.HELD, GateState.DROPPED)), None)
    if held is not None:
        return Ready(0.0, 0.0, 0.0, held.gate, "", _word_held(held), known=False)
    weeks = [_find_weeks(file, standing) for standing in open_gates]
    low, likely, high = (sum(getattr(one, end) for one in weeks) for end in ("low", "likely", "high"))
    first = open_gates[0]
    requirement = first.open_requirements[0].id if first.open_requirements else ""
    return Ready(low, likely, high, first.gate, requirement, _word_gate(first, len(open_gates) - 1))


def _word_held(standing: GateStanding) -> str:
    why = "" if standing.decision is None or not standing.decision.why else f": {standing.decision.why}"
    return f"the {standing.gate} gate is {standing.state}{why}"


def _word_gate(standing: GateStanding, more: int) -> str:
    lacking = [r for r in standing.open_requirements if r.state is not Met.WAIVED]
    if lacking:
        first = lacking[0]
        stale = "went stale: " if first.state is Met.STALE else ""
        words = f"the {standing.gate} gate is {standing.state}: {stale}{first.answer.words} ({first.id})"
    else:
        words = f"the {standing.gate} gate is {standing.state}"
    return words + (f", and {more} more gate{'' if more == 1 else 's'} after it" if more else "")


def _find_weeks(file: PartFile, standing: GateStanding) -> Range:
    """Return the weeks that an open gate is still good for."""
    if standing.state is GateState.READY:
        every = file.workspace.catalogues.shop.review_every_days / 7
        return Range(low=0.0, likely=min(DECIDING_WEEKS, every), high=max(DECIDING_WEEKS, 2 * every))
    usual = file.workspace.catalogues.families.families[file.part.family].weeks.get(standing.gate)
    return (
        Range(low=0.0, likely=0.0, high=0.0)
        if usual is None
        else Range(low=usual.low, likely=usual.likely, high=usual.high)
    )


def is_release_signed(file: PartFile) -> bool:
    """True when the owner's last word on this part's tooling money is a go that counts."""
    decision = file.standing.release
    if decision is None or decision.say is not Say.GO:
        return False
    return not find_decision_faults(decision, file.workspace.catalogues.gates.release, file.workspace)
