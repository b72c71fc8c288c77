"""When the stages of a part before tooling are through, as odds: the flow's forecast, for the plan of the spend."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from pipeline.lineage.freshness import Lineage
from pipeline.planning.flow_simulation import StepsForecast
from pipeline.portfolio.flow import SEED, plan_present
from pipeline.portfolio.flow_forecast import forecast_ready_alone
from pipeline.portfolio.shop import Shop

_KEY = "ready before tooling"


def find_ready_forecasts(shop: Shop) -> Mapping[str, StepsForecast]:
    """Return the forecast of every part in work that has one, by number.

    Where the flow was reckoned already its figures are taken (`keep_ready`); else the same simulation is made, and
    kept.
    """
    if _KEY not in shop.kept:
        first = next(iter(shop.parts.values()), None)
        lineage = Lineage({number: file.lineage for number, file in shop.parts.items()})
        plan = None if first is None else plan_present(first.workspace, lineage, list(shop.parts))
        keep_ready(shop, () if plan is None else forecast_ready_alone(plan, SEED))
    found: Mapping[str, StepsForecast] = shop.kept[_KEY]
    return found


def keep_ready(shop: Shop, found: Iterable[StepsForecast]) -> None:
    """Let the shop know what the flow forecasts."""
    shop.kept[_KEY] = {one.job: one for one in found}
