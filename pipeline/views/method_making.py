"""Methods about the measuring itself and about forming: gauge studies, runs, classes of limits, draws, mirrors."""

from __future__ import annotations

from pipeline.fit.drawing_dies import compute_blank_diameter
from pipeline.fit.sight_requirements import CAUTION, SIGHT_REQUIREMENTS
from pipeline.fit.stated_limits import compute_class_limits
from pipeline.gates.hardness_readings import convert_hardness_reading
from pipeline.measuring.capability import compute_capability
from pipeline.measuring.gauge_study import STUDY_WIDTH, study_by_anova
from pipeline.portfolio.portfolio import Portfolio
from pipeline.views.addresses import PARTS
from pipeline.views.method_shapes import build_method, build_symbols, build_table, find_source
from pipeline.views.shapes_marks import Caution, Link
from pipeline.views.shapes_site import MethodPage, Section


def build_studies_method(portfolio: Portfolio) -> MethodPage:
    """Make the page on gauge studies and runs of pieces."""
    if portfolio.workspace is None:
        raise ValueError("the catalogues of this workspace cannot be used; no method page can be made")
    shop = portfolio.workspace.catalogues.shop
    return build_method(
        "studies",
        "Gauge studies and runs",
        "How much of a tolerance the gauge itself takes, and how well a process holds the rest.",
        "Can this instrument tell a good piece from a bad one, and will the next thousand pieces be like these?",
        (
            "EV² = mean square of repeats;  AV² = (mean square of people − error) / (pieces × repeats)",
            "GRR² = EV² + AV²;  total² = GRR² + PV²",
            f"share of the tolerance = {STUDY_WIDTH:g} × GRR / (upper limit − lower limit)",
            "kinds told apart = 1.41 × PV / GRR, rounded down",
            "Cp = (upper − lower) / 6 s;  Cpk = nearer distance from the mean / 3 s;  Pp, Ppk with the spread of all",
            f"wanted: share ≤ {100 * shop.gauge_share:g} %; Cpk ≥ {shop.capability_wanted:g}",
        ),
        build_symbols(
            ("EV, AV", "repeatability of one person on one piece, and reproducibility between people", "unit read"),
            ("GRR", "the gauge: both together", "unit read"),
            ("PV", "spread of the pieces of the study", "unit read"),
            ("s", "spread within: from moving ranges of two, or pooled from subgroups", "unit read"),
        ),
        f"{find_source(study_by_anova)}; {find_source(compute_capability)}; what is wanted: common practice, no source",
        (
            "The method by ranges sees no interaction of people and pieces; both are shown.",
            "The pieces of a study must span what the process makes, or the gauge looks worse than it is.",
            "Thirty pieces bound Cpk loosely: look at the lower end of the interval.",
        ),
        (),
        None,
        (Link("Parts", PARTS),),
    )


def build_forming_method(portfolio: Portfolio) -> MethodPage:
    """Make the page on classes of limits, drawn cups, mirrors and hardness scales."""
    del portfolio
    rows = ((one.key, one.place.value, str(one.source)) for one in SIGHT_REQUIREMENTS)
    return build_method(
        "forming",
        "Limits by class, draws, mirrors, hardness",
        "What a class of limits allows, what a drawn cup takes, what a mirror shows, how hardness scales compare.",
        "Which limits does the drawing mean, how many draws does the cup want, and can the driver see the road?",
        (
            "limits = those of the class at the nominal size: ISO 286 (H7, g6), ISO 2768-1 (f, m, c, v), DCTG 1 to 16",
            "blank = √(d² + 4 d h);  each draw: diameter ≥ least ratio × diameter before it",
            "normal of a mirror halves the angle between the eye and what is aimed at",
            "hardness between two rows of the table: on the straight line between them; outside: not at all",
        ),
        build_symbols(
            ("d, h", "mean diameter and height of the cup on the mean line of its wall, with the trim", "mm"),
            ("least ratio", "of the family (`draw_ratios`): first draw, then the redraws", "1"),
        ),
        f"{find_source(compute_class_limits)}; {find_source(compute_blank_diameter)}; "
        f"{find_source(convert_hardness_reading)}; law of reflection",
        (
            "A class that has no value at a size gives no limits: that is an error of the record.",
            "A converted hardness is an estimate for one kind of steel: it proves nothing in another stated scale.",
            "Draw ratios are common practice, no source: they depend on sheet, thickness and lubricant.",
        ),
        (Caution("A view by geometry is no approval.", CAUTION),),
        Section(
            "mirrors",
            "Published figures for mirrors",
            tables=(build_table("What `asks` of a sight line may name", ("key", "mirror", "source"), rows),),
        ),
        (Link("Parts", PARTS),),
    )
