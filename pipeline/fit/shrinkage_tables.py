"""Ranges of linear shrinkage by material, each with how well it is founded; a moulder's own trial beats all of them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from pipeline.fit.sources import Standing


class ShrinkageUse(StrEnum):
    """What shrinkage is counted from: a plastics mould, a foundry pattern, a die, or wax and metal."""

    PLASTIC_MOULD = "plastic mould cavity"
    PATTERN = "foundry pattern"
    DIE_CAVITY = "die-casting cavity"
    INVESTMENT = "wax and metal together"


@dataclass(frozen=True)
class MaterialShrinkage:
    """A published range of linear shrinkage as shares of the cavity or pattern (0.005 is 0.5 %)."""

    material: str
    low: float
    high: float
    use: ShrinkageUse
    standing: Standing
    note: str = ""


def _row(
    material: str, low: float, high: float, use: ShrinkageUse, standing: Standing = Standing.SEEN, note: str = ""
) -> MaterialShrinkage:
    return MaterialShrinkage(material, low / 100, high / 100, use, standing, note)


_MOULD, _PATTERN = ShrinkageUse.PLASTIC_MOULD, ShrinkageUse.PATTERN

SHRINKAGES: tuple[MaterialShrinkage, ...] = (
    _row("PMMA general purpose", 0.2, 0.9, _MOULD),
    _row("PMMA high flow", 0.2, 0.7, _MOULD),
    _row("ABS medium impact", 0.5, 0.8, _MOULD),
    _row("ABS high impact", 0.5, 0.7, _MOULD),
    _row("ABS", 0.4, 0.6, _MOULD, note="a second table; the first gives 0.5 to 0.8 %"),
    _row("PA66 unfilled", 1.0, 2.5, _MOULD, note="a second table gives 1.0 to 2.0 %"),
    _row("PA6", 0.7, 1.5, _MOULD),
    _row("PA glass filled", 0.5, 1.0, _MOULD, note="less along the fibres than across them"),
    _row("PC", 0.5, 0.7, _MOULD),
    _row("POM", 2.0, 3.5, _MOULD),
    _row("PP", 1.0, 3.0, _MOULD),
    _row("HDPE", 1.5, 3.0, _MOULD),
    _row("PVC rigid", 0.2, 0.4, _MOULD),
    _row("PVC flexible", 1.5, 3.0, _MOULD),
    _row("SAN", 0.2, 0.6, _MOULD),
    _row("zinc alloy, gravity", 1.5, 1.5, _PATTERN),
    _row("aluminium alloy", 1.25, 1.25, _PATTERN),
    _row("steel", 2.0, 2.0, _PATTERN),
    _row("grey iron", 1.0, 1.0, _PATTERN),
    _row("bronze", 1.5, 1.5, _PATTERN),
    _row("brass", 1.5, 1.5, _PATTERN),
    _row("zinc die casting", 0.4, 0.6, ShrinkageUse.DIE_CAVITY, Standing.FROM_MEMORY),
    _row("aluminium die casting", 0.5, 0.7, ShrinkageUse.DIE_CAVITY, Standing.FROM_MEMORY),
    _row("investment casting, steel", 1.8, 2.5, ShrinkageUse.INVESTMENT, Standing.FROM_MEMORY),
    _row("investment casting, aluminium", 1.2, 1.8, ShrinkageUse.INVESTMENT, Standing.FROM_MEMORY),
)
"""Sources: moulding, two public tables of plastics; pattern, public foundry tables (zinc 1.5, aluminium 1.25, steel 2,
grey iron 1 %). Shares have no unit: a column headed "mm/mm" that is 25.4 times one headed "in/in" is a misprint.
"""


def find_shrinkage(material: str) -> MaterialShrinkage | None:
    """Return the row of a material by its name in the table (case does not matter), or None.

    Example:
        >>> row = find_shrinkage("pom")
        >>> row.low, row.high, row.standing.value
        (0.02, 0.035, 'seen')
    """
    wanted = material.strip().casefold()
    return next((row for row in SHRINKAGES if row.material.casefold() == wanted), None)
