"""The spending plan of a workspace: inputs from the records, answers from the solver, kept from run to run."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from pipeline.model.catalogue import Catalogues
from pipeline.planning.funding_plan import FundingPlan
from pipeline.portfolio.funding import NO_WISHES, Funding, Wishes, build_funding
from pipeline.portfolio.funding_curve import CashCurve, compute_cash_curve
from pipeline.portfolio.funding_store import study_kept
from pipeline.portfolio.funding_study import USUAL, OnStage, Study, StudySettings
from pipeline.portfolio.funding_worlds import build_world_model
from pipeline.portfolio.portfolio import PartFile, Portfolio


@dataclass(frozen=True)
class Spending:
    """Inputs and answers together, and the records that they come from."""

    funding: Funding
    study: Study
    files: Mapping[str, PartFile]
    catalogues: Catalogues
    wishes: Wishes
    settings: StudySettings

    def draw_curve(self, plan: FundingPlan) -> CashCurve:
        """Return cumulative cash of a plan of this case."""
        return compute_cash_curve(self.funding, plan, self.catalogues.money.beliefs.tool_spread, self.settings.seed)


def plan_spending(
    portfolio: Portfolio,
    root: Path | None = None,
    wishes: Wishes = NO_WISHES,
    settings: StudySettings = USUAL,
    on_stage: OnStage | None = None,
) -> Spending | None:
    """Return the spending plan; None where there is no workspace or no part.

    root : workspace in whose `.pipeline` answers are kept; None keeps nothing. on_stage : called as it goes on.
    """
    if portfolio.workspace is None or not portfolio.parts:
        return None
    catalogues = portfolio.workspace.catalogues
    funding = build_funding(next(iter(portfolio.parts.values())).shop, wishes)
    if funding is None:
        return None
    model = build_world_model(funding, catalogues.money.beliefs.tool_spread)
    with keep_output_clean():
        study = study_kept(root, funding.case, model, settings, on_stage)
    return Spending(funding, study, portfolio.parts, catalogues, wishes, settings)


@contextmanager
def keep_output_clean() -> Iterator[None]:
    """Send what the solver's compiled code prints of itself to nowhere: the output is the answer alone, or its JSON."""
    try:
        sys.stdout.flush()
        kept = os.dup(1)
    except (OSError, AttributeError):  # started without an output: there is nothing to keep clean
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)
