"""The cost-of-change ladder: an error's cost at each of nine stages and today, for each feature and the whole part."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from pipeline.costing.change import Change, build_change, build_plain_change
from pipeline.costing.change_basis import ChangeBasis, FeatureErrors
from pipeline.costing.change_classes import Mix, split_whole
from pipeline.costing.change_cost import compute_figure
from pipeline.costing.figures import Figure, Part, mix_figures
from pipeline.costing.ranges import CENT, ZERO
from pipeline.costing.redo import find_affected
from pipeline.costing.rungs import compute_rungs
from pipeline.costing.stages import Stage

RULE_OF_TEN = Decimal(10)
"""The folk rule: an error costs ten times as much at each following stage. A saying of the trade, not a measurement."""


@dataclass(frozen=True, slots=True)
class Step:
    """From one stage to the next: ``ratio`` of the likely totals, two decimals (``None`` where the earlier is 0)."""

    earlier: Stage
    later: Stage
    ratio: Decimal | None
    folk_ratio: Decimal = RULE_OF_TEN


@dataclass(frozen=True, slots=True)
class Ladder:
    """What a change costs, whoever's it is.

    ``feature``: key, or ``None`` for the whole part. ``share``: its share of the part's errors, 0 to 1.
    ``rungs``: nine figures in the order of the stages. ``steps``: the eight ratios. ``today``: if the error were found
    now.
    """

    feature: str | None
    share: Decimal
    rungs: tuple[Figure, ...]
    today: Figure

    @property
    def steps(self) -> tuple[Step, ...]:
        """The eight ratios from each stage to the next."""
        return compute_steps(self.rungs)

    def find_rung(self, stage: Stage) -> Figure:
        """Find the figure at a stage."""
        return self.rungs[stage]


@dataclass(frozen=True, slots=True)
class PartLadder:
    """The ladder of the whole part (weighted by where errors usually are) and of each feature, in the order given."""

    part: Ladder
    features: tuple[Ladder, ...]


def compute_ladder(basis: ChangeBasis) -> PartLadder:
    """Compute a part's ladder and those of its features.

    With no features the part is one: everything is redone, tools change by the family's mix. Features that reach the
    same items and have the same mix share their figures. Source: common practice (no source).
    """
    if not basis.features:
        return PartLadder(_climb(basis, None, Decimal(1), build_change(basis, None)), ())
    ordered = sorted(basis.features, key=lambda one: one.key)
    total = sum((one.share for one in ordered), ZERO)
    shares = split_whole([one.share / total for one in ordered])
    known: dict[tuple[tuple[int, ...], Mix], Ladder] = {}
    found = {one.key: _climb_feature(basis, one, share, known) for one, share in zip(ordered, shares, strict=True)}
    # the part is mixed in the order of the keys, so that the order in which features are given cannot shift a cent
    return PartLadder(_mix_ladders(basis, tuple(found.values())), tuple(found[one.key] for one in basis.features))


def _climb_feature(
    basis: ChangeBasis, feature: FeatureErrors, share: Decimal, known: dict[tuple[tuple[int, ...], Mix], Ladder]
) -> Ladder:
    reached = find_affected(basis.graph, (feature.key,))
    like = known.get((reached, feature.mix))
    if like is not None:
        return Ladder(feature.key, share, like.rungs, like.today)
    change = build_plain_change(basis.graph, (feature.key,), reached, feature.mix)
    ladder = known[reached, feature.mix] = _climb(basis, feature.key, share, change)
    return ladder


def _climb(basis: ChangeBasis, feature: str | None, share: Decimal, change: Change) -> Ladder:
    rungs = compute_rungs(basis, change)
    return Ladder(feature, share, rungs, _find_today(basis, change, rungs))


def _find_today(basis: ChangeBasis, change: Change, rungs: Sequence[Figure]) -> Figure:
    """The figure of today: mostly what exists is what a stage of the ladder has, and its figure can serve."""
    items = basis.graph.items
    redone = tuple([position for position in change.reached if items[position].exists])
    stage = max((items[position].stage for position in redone), default=None)
    if stage is not None and rungs[stage].positions == redone:
        return rungs[stage]
    return compute_figure(basis, change, None)


def compute_steps(rungs: Sequence[Figure]) -> tuple[Step, ...]:
    """Compute the ratio of likely totals from each stage to the next, beside the folk rule of ten."""
    return tuple(
        Step(earlier, later, _divide(rungs[later].exact.total.likely, rungs[earlier].exact.total.likely))
        for earlier, later in zip(tuple(Stage), tuple(Stage)[1:], strict=False)
    )


def _divide(later: Decimal, earlier: Decimal) -> Decimal | None:
    return (later / earlier).quantize(CENT) if earlier else None


def _mix_ladders(basis: ChangeBasis, ladders: Sequence[Ladder]) -> Ladder:
    """Mix the features' ladders by their shares; features that share their figures count as one case."""
    cases: dict[int, list[Ladder]] = {}
    for ladder in ladders:
        if ladder.share > 0:
            cases.setdefault(id(ladder.rungs), []).append(ladder)
    labels = {one.key: one.label or one.key for one in basis.features}
    named = [
        (", ".join(labels[one.feature or ""] for one in case), sum((one.share for one in case), ZERO), case[0])
        for case in cases.values()
    ]
    rungs = tuple(
        mix_figures([Part(label, share, one.rungs[stage]) for label, share, one in named], stage) for stage in Stage
    )
    today = mix_figures([Part(label, share, one.today) for label, share, one in named], None)
    return Ladder(None, Decimal(1), rungs, today)
