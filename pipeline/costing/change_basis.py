"""All that a part's changes are priced from: what can be redone, where errors are likely, what waiting costs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

from pipeline.costing.change_classes import Mix
from pipeline.costing.delay import NO_DELAY, Delay
from pipeline.costing.ranges import ZERO, Range, check_range
from pipeline.costing.redo import RedoGraph
from pipeline.costing.stages import Stage


@dataclass(frozen=True, slots=True)
class FeatureErrors:
    """Where errors in a part are likely to be, and of which way.

    ``share``: how often an error is in this feature, in proportion to the others (any numbers from 0 up).
    ``mix``: which class of tool change it would take (``narrow_mix`` of the family's mix). Raises ``ValueError`` below
    zero.
    """

    key: str
    mix: Mix
    share: Decimal = Decimal(1)
    label: str = ""

    def __post_init__(self) -> None:
        if not self.share.is_finite() or self.share < 0:
            raise ValueError(f'the share of errors in "{self.key}" is {self.share}; write a number from 0 up')
        check_mix(self.mix, self.key)


def check_mix(mix: Mix, name: str) -> None:
    """Raise ``ValueError`` unless the weights of a mix of change classes are from 0 up and add to 1."""
    total = sum((weight for _, weight in mix), ZERO)
    if any(weight < 0 for _, weight in mix) or abs(total - 1) > Decimal("1e-9"):
        raise ValueError(
            f'the weights of the change classes of "{name}" add to {total}; write weights from 0 up that add to 1'
        )


@dataclass(frozen=True, slots=True)
class StatedWeeks:
    """A shop's own recovery weeks, which stand in place of the longest path.

    ``by_stage``: weeks low / likely / high from finding the error to being where one was. From ``adds_class_from`` on,
    the weeks of the tool's change class come on top (the longest of the tools that change). A stage that is not stated
    uses the longest path.
    """

    by_stage: Mapping[Stage, Range]
    adds_class_from: Stage = Stage.TOOL_CUT

    def __post_init__(self) -> None:
        for stage, weeks in self.by_stage.items():
            check_range(weeks, f"the recovery weeks at stage {stage.words}")


@dataclass(frozen=True)
class ChangeBasis:
    """All that a part's changes are priced from; money in one currency.

    ``graph``: what can be redone. ``features``: where errors are and of which way; none means that only the whole part
    is looked at.
    ``part_mix``: the family's mix of change classes. ``delay``: what waiting costs. ``stated_weeks``: the shop's own,
    if any.
    Raises ``ValueError`` on a feature given twice, shares that are all zero, or a mix that does not add to 1.
    """

    graph: RedoGraph
    part_mix: Mix
    features: tuple[FeatureErrors, ...] = ()
    delay: Delay = NO_DELAY
    stated_weeks: StatedWeeks | None = None

    def __post_init__(self) -> None:
        check_mix(self.part_mix, "the part")
        keys = [one.key for one in self.features]
        for key in keys:
            if keys.count(key) > 1:
                raise ValueError(f'feature "{key}" is given {keys.count(key)} times; give it once')
        if self.features and not any(one.share > 0 for one in self.features):
            raise ValueError("every feature's share of errors is 0; give at least one a share above 0")

    @cached_property
    def by_feature(self) -> Mapping[str, FeatureErrors]:
        """Each feature's entry by its key."""
        return {one.key: one for one in self.features}
