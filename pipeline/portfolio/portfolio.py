"""The whole road from a folder to everything that pages and commands show."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.costing.calibration import ShopFactor
from pipeline.costing.change_basis import ChangeBasis
from pipeline.costing.ladder import PartLadder, compute_ladder
from pipeline.costing.money import Rates
from pipeline.costing.paths import Cycle
from pipeline.costing.ranges import build_range
from pipeline.findings.finding import Finding
from pipeline.gates.standing import Standing
from pipeline.lineage.freshness import PartLineage
from pipeline.model.part import Part
from pipeline.model.workspace import Workspace
from pipeline.portfolio.check import Checked, check_workspace
from pipeline.portfolio.money import build_rates
from pipeline.portfolio.redo import build_change_basis
from pipeline.portfolio.reliance import Reliance, Watched, compute_digest
from pipeline.portfolio.shop import Shop, kept_property

if TYPE_CHECKING:
    from pipeline.portfolio.build_cache import BuildCache

MEASURED, EVIDENCE_ROOT = "measured", "evidence root"
"""Keys under which a part's file keeps what was measured, and the folder in which its evidence may be opened."""


@dataclass
class Timings:
    """How long each step of the road took, in seconds, in the order of the road."""

    steps: dict[str, float] = field(default_factory=dict)

    @contextmanager
    def take(self, name: str) -> Iterator[None]:
        """Time what happens inside."""
        start = time.perf_counter()
        try:
            yield
        finally:
            self.steps[name] = self.steps.get(name, 0.0) + time.perf_counter() - start


@dataclass(frozen=True)
class PartFile:
    """Everything that is known of one part: the record, its lineage, where it stands, what a change costs.

    shop : the files of all parts. kept : what was reckoned of this part and is asked for again (see `keep_for_part`).
    """

    part: Part
    lineage: PartLineage
    standing: Standing
    findings: tuple[Finding, ...]
    workspace: Workspace
    rates: Rates
    shop: Shop = field(default_factory=Shop, repr=False, compare=False)
    kept: dict[str, Any] = field(default_factory=dict, repr=False, compare=False)
    relied: dict[str, frozenset[Reliance]] = field(default_factory=dict, repr=False, compare=False)

    @property
    def number(self) -> str:
        """The part's number."""
        return self.part.part

    @kept_property
    def factors(self) -> Mapping[tuple[str, str], ShopFactor]:
        """The shop's own factors that its costs are calibrated with, by tool kind and class of change; mostly none."""
        from pipeline.portfolio.calibration import find_used_factors

        return find_used_factors(self)

    @kept_property
    def weeks_factors(self) -> Mapping[tuple[str, str], ShopFactor]:
        """The same for the weeks that a tool's change takes."""
        from pipeline.portfolio.calibration import find_used_weeks

        return find_used_weeks(self)

    @property
    def is_calibrated(self) -> bool:
        """True where a factor of the shop's own is in its costs or its weeks."""
        return bool(self.factors or self.weeks_factors)

    @kept_property
    def estimated_basis(self) -> ChangeBasis | Cycle:
        """All that its changes are priced from, as the catalogue has it, without the shop's own factors."""
        return build_change_basis(self.part, self.lineage, self.workspace, self.rates)

    @kept_property
    def basis(self) -> ChangeBasis | Cycle:
        """All that its changes are priced from, calibrated; a ring of tools where they wait for each other."""
        if not self.is_calibrated:
            return self.estimated_basis
        own, weeks = (
            {
                key: build_range(round(one.low, 4), round(one.factor, 4), round(one.high, 4))
                for key, one in found.items()
            }
            for found in (self.factors, self.weeks_factors)
        )
        return build_change_basis(self.part, self.lineage, self.workspace, self.rates, own, weeks)

    @kept_property
    def ladder(self) -> PartLadder | None:
        """What a change costs at each stage; None where the tools wait for each other in a ring."""
        return None if isinstance(self.basis, Cycle) else compute_ladder(self.basis)

    @kept_property
    def estimated_ladder(self) -> PartLadder | None:
        """The ladder as the catalogue estimates it; the very same where no factor of the shop's own is used."""
        if not self.is_calibrated or isinstance(self.estimated_basis, Cycle):
            return self.ladder
        return compute_ladder(self.estimated_basis)

    def spell_reliance(self) -> str:
        """Return what says that two files of a part are the same: all but the other parts."""
        return compute_digest((self.part, self.lineage, self.standing, self.findings))


@dataclass(frozen=True)
class Portfolio:
    """All parts, and the findings of the whole workspace."""

    checked: Checked
    parts: Mapping[str, PartFile]
    timings: Timings

    @property
    def workspace(self) -> Workspace | None:
        """The workspace; None when its catalogues cannot be used."""
        return self.checked.workspace

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All findings by place."""
        return self.checked.findings


def build_portfolio(
    root: Path, today: dt.date | None = None, *, deep: bool = False, cache: BuildCache | None = None
) -> Portfolio:
    """Walk the whole road: read, link, trace, judge; costs are reckoned when a page asks for them.

    root : folder with `projects/` and `shared/`. today : day to speak of; see `check_workspace`.
    deep : open and fit the evidence too, so that its findings are among the others (the site does).
    cache : where what was found in the evidence is looked up and kept.
    """
    timings = Timings()
    with timings.take("check"):
        checked = check_workspace(root, today, deep=deep, cache=cache)
    if checked.workspace is None:
        return Portfolio(checked, {}, timings)
    with timings.take("assemble"):
        parts = _assemble(checked, checked.workspace)
        _put_measured(parts, checked, root if deep else None)
    return Portfolio(checked, parts, timings)


def _put_measured(parts: Mapping[str, PartFile], checked: Checked, root: Path | None) -> None:
    """Give the files what a deep check has measured already; the rest is measured when a page asks."""
    for number, file in parts.items():
        file.kept[EVIDENCE_ROOT] = root
        measured = checked.measured.get(number)
        if measured is not None and measured.found is not None:
            file.kept[MEASURED], file.relied[MEASURED] = measured.found, measured.relied


def _assemble(checked: Checked, workspace: Workspace) -> dict[str, PartFile]:
    rates = build_rates(workspace.catalogues)
    by_record: dict[str, list[Finding]] = {}
    for finding in checked.findings:
        by_record.setdefault(finding.record, []).append(finding)
    shop = Shop(Watched("shop", {}))
    shop.parts |= {
        number: PartFile(
            part,
            checked.lineage.parts[number],
            checked.standings[number],
            tuple(by_record.get(number, ())),
            workspace,
            rates,
            shop,
        )
        for number, part in workspace.parts.items()
        if part.family in workspace.catalogues.families.families
    }
    return shop.parts
