"""When the stages of a part before tooling are through, as odds: the flow's forecast, for the plan of the spend."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from pipeline.lineage.freshness import Lineage
from pipeline.planning.flow_simulation import StepsForecast
from pipeline.portfolio.flow import SEED, plan_present
from pipeline.portfolio.flow_forecast import forecast_ready_alone
from pipeline.portfolio.shop import Shop, keep_for_shop


@keep_for_shop
def find_ready_forecasts(shop: Shop) -> Mapping[str, StepsForecast]:
    """Return the forecast of every part in work that has one, by number.

    Where the flow was reckoned already its figures are taken (`keep_ready`); else the same simulation is made.
    """
    first = next(iter(shop.parts.values()), None)
    if first is None:
        return {}
    lineage = Lineage({number: file.lineage for number, file in shop.parts.items()})
    plan = plan_present(first.workspace, lineage, list(shop.parts))
    return {one.job: one for one in forecast_ready_alone(plan, SEED)}


def keep_ready(shop: Shop, found: Iterable[StepsForecast]) -> None:
    """Let the shop know what the flow forecasts, as the answer of `find_ready_forecasts`."""
    key = f"{find_ready_forecasts.__module__}.{find_ready_forecasts.__qualname__}"
    shop.kept[key] = {one.job: one for one in found}
