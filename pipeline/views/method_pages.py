"""Every method that a figure of the site rests on: formula, symbols, source, limits, and the shop's own figures."""

from __future__ import annotations

from collections.abc import Callable

from pipeline.portfolio.portfolio import Portfolio
from pipeline.views.addresses import METHODS
from pipeline.views.method_costs import (
    build_change_cost_method,
    build_delay_method,
    build_impact_method,
    build_money_method,
)
from pipeline.views.method_evidence import (
    build_coverage_method,
    build_freshness_method,
    build_proofs_method,
    build_watch_method,
)
from pipeline.views.method_flow import build_flow_method, build_history_method
from pipeline.views.method_gates import build_gates_method, build_safety_method
from pipeline.views.method_making import build_forming_method, build_studies_method
from pipeline.views.method_measures import build_readings_method, build_stacks_method
from pipeline.views.method_plan import build_plan_method
from pipeline.views.method_shapes import build_table
from pipeline.views.shapes_marks import Run, build_line
from pipeline.views.shapes_site import MethodPage, PageHead, Section, SectionsPage

_PAGES: tuple[Callable[[Portfolio], MethodPage], ...] = (
    build_freshness_method,
    build_coverage_method,
    build_proofs_method,
    build_gates_method,
    build_readings_method,
    build_stacks_method,
    build_studies_method,
    build_forming_method,
    build_change_cost_method,
    build_impact_method,
    build_delay_method,
    build_money_method,
    build_plan_method,
    build_watch_method,
    build_flow_method,
    build_history_method,
    build_safety_method,
)


def build_method_pages(portfolio: Portfolio) -> tuple[MethodPage, ...]:
    """Make the page of every method, with the shop's own policy and factors where it has them."""
    return () if portfolio.workspace is None else tuple(build(portfolio) for build in _PAGES)


def build_method_index(portfolio: Portfolio) -> SectionsPage:
    """Make the list of methods."""
    pages = build_method_pages(portfolio)
    rows = ((build_line(Run(page.head.title, href=page.head.href)), page.answers, page.source) for page in pages)
    table = build_table("All methods", ("method", "answers", "source"), rows)
    head = PageHead("Method", METHODS, "Every formula with its source, its limits and its cautions.", "method")
    intro = build_line(
        "A figure of this site opens to its working, and its working leads here. What is the shop's own choice "
        "is shown "
        "as it stands in shared/; what is common practice without a source says so."
    )
    return SectionsPage(head, intro, (Section("methods", "Methods", tables=(table,)),))
