"""Every recorded change of the shop, predicted against actual, in money and in weeks: its own factors and its steps
from stage to stage."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from pipeline.costing.calibration import (
    Belief,
    ChangeCase,
    ShopFactor,
    StageCase,
    StageRatio,
    compute_shop_factors,
    compute_stage_ratios,
)
from pipeline.costing.stages import Stage
from pipeline.model.catalogue import Beliefs
from pipeline.model.part import Change
from pipeline.portfolio.money import convert_price
from pipeline.portfolio.portfolio import PartFile
from pipeline.portfolio.shop import Shop, keep_for_shop

NO_TOOL = "no tool"
"""Kind of a change that touched no tool: it was found while there was only a model and samples."""
NO_CLASS = "model and samples"


@dataclass(frozen=True)
class RecordedChange:
    """One recorded change in workspace currency at the rates of its day; None where a price is missing or has no rate.

    left_out : why it is not counted in the factors, empty where it is. predicted_weeks, weeks : None where not stated;
    weeks_left_out : why they are not counted in the factors of weeks, empty where they are.
    """

    number: str
    key: str
    what: str
    tool_kind: str
    change_class: str
    stage: str
    predicted: float | None
    actual: float | None
    left_out: str
    predicted_weeks: float | None = None
    weeks: float | None = None
    weeks_left_out: str = ""


@dataclass(frozen=True)
class Calibration:
    """How well costs and weeks of changes were foretold.

    factors, weeks_factors : by tool kind and class, of the cost and of the weeks. ratios : from stage to stage.
    """

    changes: tuple[RecordedChange, ...]
    factors: tuple[ShopFactor, ...]
    ratios: tuple[StageRatio, ...]
    beliefs: Beliefs
    weeks_factors: tuple[ShopFactor, ...] = ()

    @property
    def counted(self) -> int:
        """How many changes have both a prediction and an actual cost."""
        return sum(not change.left_out for change in self.changes)

    @property
    def counted_weeks(self) -> int:
        """How many changes have both predicted and actual weeks."""
        return sum(not change.weeks_left_out for change in self.changes)

    def is_used(self, factor: ShopFactor) -> bool:
        """True where a kind and class has closed changes enough for its factor to go into the ladders."""
        return factor.tool_kind != NO_TOOL and factor.cases >= self.beliefs.few_cases

    @property
    def is_few(self) -> bool:
        """Whether there are too few cases to lean on."""
        return self.counted < self.beliefs.few_cases


@keep_for_shop
def compute_calibration(shop: Shop) -> Calibration:
    """Return predicted against actual over the whole workspace, by tool kind and class of change."""
    files = [file for _, file in sorted(shop.parts.items())]
    beliefs = files[0].workspace.catalogues.money.beliefs if files else Beliefs()
    changes = tuple(change for file in files for change in _list_changes(file))
    cases = [
        ChangeCase(one.tool_kind, one.change_class, one.predicted, one.actual, f"{one.number} {one.key}")
        for one in changes
        if one.predicted and one.actual
    ]
    weeks = [
        ChangeCase(one.tool_kind, one.change_class, one.predicted_weeks, one.weeks, f"{one.number} {one.key}", "weeks")
        for one in changes
        if one.predicted_weeks and one.weeks
    ]
    stages = [StageCase(one.stage, one.actual, f"{one.number} {one.key}") for one in changes if one.actual]
    belief = Belief(beliefs.between_shops, beliefs.single_changes, beliefs.scatter_worth)
    return Calibration(
        changes,
        compute_shop_factors(cases, belief, beliefs.interval),
        compute_stage_ratios(stages, [stage.words for stage in Stage], beliefs.interval),
        beliefs,
        compute_shop_factors(weeks, belief, beliefs.interval),
    )


def find_used_factors(file: PartFile) -> Mapping[tuple[str, str], ShopFactor]:
    """Return the factors that go into a part's ladder: of its tools' kinds, with `few_cases` closed changes at least.

    Below that a factor is shown on the page of predicted against actual and touches no figure. Only the change of a
    tool is calibrated, no tool that is remade whole.
    """
    return _pick_used(file, lambda found: found.factors)


def find_used_weeks(file: PartFile) -> Mapping[tuple[str, str], ShopFactor]:
    """Return the factors that the weeks of a part's tool changes are multiplied with, chosen as those of the costs."""
    return _pick_used(file, lambda found: found.weeks_factors)


def _pick_used(
    file: PartFile, choose: Callable[[Calibration], tuple[ShopFactor, ...]]
) -> Mapping[tuple[str, str], ShopFactor]:
    if not file.shop.parts:
        return {}
    found = compute_calibration(file.shop)
    kinds = {tool.kind for tool in file.part.tools.values()}
    return {
        (one.tool_kind, one.change_class): one for one in choose(found) if found.is_used(one) and one.tool_kind in kinds
    }


def _list_changes(file: PartFile) -> Iterator[RecordedChange]:
    for key, change in file.part.changes.items():
        predicted, actual = (
            None if price is None else float(price)
            for price in (
                convert_price(file.rates, change.predicted, change.on),
                convert_price(file.rates, change.actual, change.on),
            )
        )
        yield RecordedChange(
            file.number,
            key,
            change.what,
            _find_tool_kind(file, change),
            NO_CLASS if change.class_ is None else change.class_.value,
            change.found_at.value,
            predicted,
            actual,
            _find_lack(change, predicted, actual),
            change.predicted_weeks,
            change.weeks,
            _find_weeks_lack(change),
        )


def _find_tool_kind(file: PartFile, change: Change) -> str:
    """Return the kind of the tool that was changed, of this record or of the one that keeps a shared tool."""
    if change.tool is None:
        return NO_TOOL
    if change.tool in file.part.tools:
        return file.part.tools[change.tool].kind
    for use in file.part.uses_tools:
        number, name = use.split("/")
        other = file.workspace.parts.get(number)
        if name == change.tool and other is not None and name in other.tools:
            return other.tools[name].kind
    return change.tool


def _find_lack(change: Change, predicted: float | None, actual: float | None) -> str:
    for what, stated, found in (("predicted", change.predicted, predicted), ("actual", change.actual, actual)):
        if stated is None:
            return f"no {what} cost yet"
        if found is None:
            return f"no rate of {stated.currency} for {change.on}"
        if found == 0:
            return f"{what} cost of 0 gives no ratio"
    return ""


def _find_weeks_lack(change: Change) -> str:
    for what, found in (("predicted", change.predicted_weeks), ("actual", change.weeks)):
        if found is None:
            return f"no {what} weeks yet"
        if found == 0:
            return f"{what} weeks of 0 give no ratio"
    return ""
