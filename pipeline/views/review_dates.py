"""Dates on the review: what is likely to be released next, with its odds, and how far such dates can be believed."""

from __future__ import annotations

from pipeline.planning.flow_simulation import JobForecast
from pipeline.portfolio.flow import Flow
from pipeline.portfolio.flow_forecast import find_day
from pipeline.portfolio.outlook import find_outlook
from pipeline.portfolio.portfolio import PartFile, Portfolio
from pipeline.views.addresses import find_part_page
from pipeline.views.flow_forecasts import list_weaknesses, word_odds, word_trust, word_without
from pipeline.views.shapes_marks import Line, Link, Mark, Run, Tone
from pipeline.views.shapes_site import ReviewGroup, ReviewItem
from pipeline.views.wording import word_day

WEEKS_AHEAD = 13.0
"""What is likely within a quarter of a year is named; the Flow page has the rest."""


def find_flow(source: Portfolio | PartFile) -> Flow | None:
    """Return the flow of a workspace; None where it was not reckoned, or nothing has begun."""
    outlook = find_outlook(source)
    flow = None if outlook is None else outlook.flow
    return flow if flow is not None and flow.firsts else None


def build_dates_groups(portfolio: Portfolio) -> tuple[ReviewGroup, ...]:
    """Make the group of parts that are likely to be released within a quarter of a year, the earliest first.

    None is made where the flow was not reckoned.
    """
    flow = find_flow(portfolio)
    if flow is None:
        return ()
    ranked = sorted(flow.simulation.forecasts, key=lambda one: (one.median, one.job))
    items = tuple(_build_item(portfolio, flow, one) for one in ranked if one.median <= WEEKS_AHEAD)
    empty = f"No part in work is likely to be released within 13 weeks. {word_trust(flow)}"
    return (ReviewGroup("dates", "Likely released within 13 weeks", items, empty),)


def _build_item(portfolio: Portfolio, flow: Flow, forecast: JobForecast) -> ReviewItem:
    weak = list_weaknesses(flow, forecast)
    said: list[Run] = [Run(word_odds(flow, forecast))]
    if weak:
        said.append(Run(f"; weak: {'; '.join(weak)}", Tone.FLAG))
    name = portfolio.parts[forecast.job].part.name
    likely = word_day(find_day(forecast.median, flow.day))
    return ReviewItem(likely, Link(forecast.job, find_part_page(forecast.job)), name, tuple(said), Mark.PLANNED)


def build_trust_notes(portfolio: Portfolio) -> tuple[Line, ...]:
    """Make the sentence on how far the dates of this shop can be believed; none where there are no dates."""
    flow = find_flow(portfolio)
    return () if flow is None or not flow.forecasts else ((Run(word_trust(flow)),),)


def word_shop_trust(portfolio: Portfolio) -> str:
    """Return how earlier dates of this shop came out, for the terminal."""
    flow = find_flow(portfolio)
    return "No date can be given: nothing has begun." if flow is None else word_trust(flow)


def word_part_dates(file: PartFile) -> str:
    """Return when a part is likely to be released, for the terminal; empty for a part that is held, or not in work."""
    flow = find_flow(file)
    forecast = None if flow is None else flow.forecasts.get(file.number)
    if flow is None:
        return ""
    if forecast is not None:
        return f"released: {word_odds(flow, forecast)}"
    why = flow.without.get(file.number, "held")
    return "" if why.startswith("held") else f"no date of release: {word_without(why)}"
