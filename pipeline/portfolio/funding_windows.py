"""The first quarter in which the sale of each part could start, cash aside."""

from __future__ import annotations

from pipeline.planning.funding_case import FundingCase
from pipeline.planning.funding_needs import compute_needs, compute_tool_window


def find_first_starts(case: FundingCase) -> dict[str, int]:
    """Return for each product the quarter of its start if all its tools were released as soon as they can be.

    Instructions (not before, kept out) do not count: waiting because of them is waiting too. A tool that cannot be
    released within the plan counts with its own forecast.
    """
    there = {}
    for tool in case.tools:
        start = max(0, tool.earliest)
        there[tool.key] = max(0, tool.on_hand_from) if tool.on_hand_from is not None else start + tool.ready_after
    needs = compute_needs(case)
    return {key: max([one.lead, *(there[tool] + lag for tool, lag in one.lags.items())]) for key, one in needs.items()}


def count_windows(case: FundingCase) -> int:
    """Return how many tools can be released in some quarter of the plan."""
    count = len(case.quarters)
    return sum(not compute_tool_window(tool, count).is_empty for tool in case.tools)
