"""How a cut tool is changed: five classes, light to heavy; what each costs on a kind of tool, how likely it is."""

from __future__ import annotations

import enum
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from pipeline.costing.ranges import ZERO, Number, Range, check_range, to_decimal
from pipeline.costing.working import Line, build_amount_line, build_share_line

_WEIGHT_SLACK = Decimal("0.0005")
_FINE = Decimal("1e-10")


class ChangeClass(enum.Enum):
    """How metal that is already cut is put right, from light to heavy. Source: common practice (no source).

    ``METAL_OFF`` takes metal off the tool, so the *part* gains material: the direction that "steel-safe" keeps open.
    ``WELD`` adds metal and recuts it. ``INSERT`` swaps an insert, where the tool was built with one. ``CAVITY_SET``
    makes the forming surfaces anew in the old bolster. ``NEW_TOOL`` begins again.
    """

    METAL_OFF = "metal-off"
    WELD = "weld"
    INSERT = "insert"
    CAVITY_SET = "cavity-set"
    NEW_TOOL = "new-tool"

    weight_order: int
    """0 for the lightest, 4 for the heaviest."""

    def __init__(self, _words: str) -> None:
        self.weight_order = len(self.__class__.__members__)


Mix = tuple[tuple[ChangeClass, Decimal], ...]
"""How likely each class is for an error found in a cut tool: (class, weight), light to heavy, adding to 1."""


def build_mix(weights: Mapping[ChangeClass, Number]) -> Mix:
    """Build a mix of classes from weights that add to 1.

    Raises ``ValueError`` on no weights, a negative one, or a sum that is not 1 (half a thousandth either way is taken
    as rounding).

    >>> build_mix({ChangeClass.WELD: 0.25, ChangeClass.METAL_OFF: 0.75})[0]
    (<ChangeClass.METAL_OFF: 'metal-off'>, Decimal('0.75'))
    """
    stated = {one: to_decimal(weight) for one, weight in weights.items()}
    for one, weight in stated.items():
        if not weight.is_finite() or weight < 0:
            raise ValueError(f"the weight of {one.value} is {weight}; write a share from 0 to 1")
    total = sum(stated.values(), ZERO)
    if abs(total - 1) > _WEIGHT_SLACK:
        raise ValueError(f"the weights of the change classes add to {total}; write weights that add to 1")
    return _scale(stated, total)


def narrow_mix(family: Mix, wrong: Iterable[ChangeClass]) -> Mix:
    """Narrow a family's mix to the ways in which a feature is likely to be wrong; none named leaves the family's mix.

    The family's weights are kept in proportion; where the family gives none of the named classes any weight, they
    count alike.

    >>> family = build_mix({ChangeClass.METAL_OFF: 0.6, ChangeClass.WELD: 0.3, ChangeClass.NEW_TOOL: 0.1})
    >>> [(one.value, str(weight)) for one, weight in narrow_mix(family, [ChangeClass.WELD, ChangeClass.NEW_TOOL])]
    [('weld', '0.75'), ('new-tool', '0.25')]
    """
    named = set(wrong)
    if not named:
        return family
    kept = {one: weight for one, weight in family if one in named}
    total = sum(kept.values(), ZERO)
    if total == 0:
        kept, total = {one: Decimal(1) for one in named}, Decimal(len(named))
    return _scale(kept, total)


def _scale(weights: Mapping[ChangeClass, Decimal], total: Decimal) -> Mix:
    counted = sorted(
        ((one, weight) for one, weight in weights.items() if weight > 0), key=lambda pair: pair[0].weight_order
    )
    shares = split_whole([weight / total for _, weight in counted])
    return tuple(zip((one for one, _ in counted), shares, strict=True))


def split_whole(shares: Sequence[Decimal]) -> list[Decimal]:
    """Round shares of a whole to ten decimals so that they add to 1 exactly; the greatest takes what rounding leaves.

    >>> [str(one) for one in split_whole([Decimal(1) / 3] * 3)]
    ['0.3333333334', '0.3333333333', '0.3333333333']
    """
    rounded = [share.quantize(_FINE).normalize() for share in shares]
    greatest = rounded.index(max(rounded))
    rounded[greatest] += 1 - sum(rounded, ZERO)
    return rounded


@dataclass(frozen=True, slots=True)
class ClassPrice:
    """What one class of change costs on a kind of tool, as the workspace's catalogue or a toolmaker states it.

    ``share``: of the tool's price, low / likely / high (0.02 is 2 %), or ``amount``: money; exactly one of the two.
    ``weeks``: from the order for the change to the changed tool. ``redesign_in_price``: the price holds the tool's
    redesign, which is then not paid a second time. ``factor``: from the shop's own changes, for a share;
    ``weeks_factor``: the same for the weeks. Raises ``ValueError`` when both or neither are given, or a figure is out
    of order.
    """

    change_class: ChangeClass
    weeks: Range
    share: Range | None = None
    amount: Range | None = None
    redesign_in_price: bool = False
    factor: Range | None = None
    weeks_factor: Range | None = None

    def __post_init__(self) -> None:
        name = self.change_class.value
        for factor, what in ((self.factor, "factor"), (self.weeks_factor, "factor of the weeks")):
            if factor is not None:
                check_range(factor, f"the {what} of change class {name}")
        if (self.share is None) == (self.amount is None):
            raise ValueError(
                f"change class {name}: write either its share of the tool's price or its amount, one of the two"
            )
        check_range(self.weeks, f"the weeks of change class {name}")
        if self.share is not None:
            check_range(self.share, f"the share of change class {name}")
        if self.amount is not None:
            check_range(self.amount, f"the amount of change class {name}")


@dataclass(frozen=True, slots=True)
class ClassEffect:
    """What one class of change does to one tool: its line of working and its weeks."""

    change_class: ChangeClass
    line: Line
    weeks: Range
    redesign_in_price: bool = False

    def __post_init__(self) -> None:
        check_range(self.weeks, f'the weeks of "{self.line.label}"')


def build_class_effects(
    label: str, price: Decimal | None, prices: Iterable[ClassPrice], *, inserts: bool
) -> tuple[ClassEffect, ...]:
    """Build what each class of change would do to a tool of this price, light to heavy.

    ``inserts``: whether the tool was built with inserts; without them ``insert`` is left out, and an error that an
    insert would have met falls to the next heavier class. Raises ``ValueError`` on a class stated twice or when
    ``new-tool`` is missing.

    >>> new = ClassPrice(ChangeClass.NEW_TOOL, Range(*map(Decimal, (10, 14, 20))), share=Range(*[Decimal(1)] * 3))
    >>> build_class_effects("change to die", Decimal(38000), [new], inserts=False)[0].line.amount.likely
    Decimal('38000.00')
    """
    usable = [one for one in prices if inserts or one.change_class is not ChangeClass.INSERT]
    effects = tuple(
        ClassEffect(one.change_class, _build_line(label, price, one), _find_weeks(one), one.redesign_in_price)
        for one in sorted(usable, key=lambda one: one.change_class.weight_order)
    )
    check_class_effects(effects, label)
    return effects


def _find_weeks(stated: ClassPrice) -> Range:
    """The weeks of a class: low by low, likely by likely, high by high where the shop's own changes gave a factor."""
    if stated.weeks_factor is None:
        return stated.weeks
    return Range(*(weeks * times for weeks, times in zip(stated.weeks, stated.weeks_factor, strict=True)))


def _build_line(label: str, price: Decimal | None, stated: ClassPrice) -> Line:
    name = f"{label}: {stated.change_class.value}"
    if stated.share is not None:
        return build_share_line(name, stated.share, price, stated.factor)
    return build_amount_line(name, stated.amount)


def check_class_effects(effects: tuple[ClassEffect, ...], label: str) -> None:
    """Raise ``ValueError`` unless each class is there once, and ``new-tool``, to which all others fall, is there."""
    names = [one.change_class for one in effects]
    if names != sorted(names, key=lambda name: name.weight_order):
        raise ValueError(f'"{label}" lists change classes out of order; list them light to heavy')
    for name in names:
        if names.count(name) > 1:
            raise ValueError(f'"{label}" states change class {name.value} {names.count(name)} times; write it once')
    if ChangeClass.NEW_TOOL not in names:
        raise ValueError(
            f'"{label}" states no new-tool; write it, because it is what an error comes to when nothing lighter will do'
        )


def find_falls(effects: tuple[ClassEffect, ...]) -> tuple[int, ...]:
    """Find for each class, light to heavy, which effect of a tool meets it: its own, or the next heavier that there is.

    ``effects`` stand light to heavy and end with ``new-tool``.

    >>> line = build_amount_line("new die", 38000)
    >>> weeks = Range(Decimal(10), Decimal(14), Decimal(20))
    >>> find_falls((ClassEffect(ChangeClass.WELD, line, weeks), ClassEffect(ChangeClass.NEW_TOOL, line, weeks)))
    (0, 0, 1, 1, 1)
    """
    falls: list[int] = []
    for place, effect in enumerate(effects):
        falls += [place] * (effect.change_class.weight_order + 1 - len(falls))
    return tuple(falls)
