"""Methods about sizes: readings with their uncertainty against limits, and stacks that close in a gap."""

from __future__ import annotations

from pipeline.fit.stack import compute_chance_outside, compute_stack
from pipeline.model.catalogue import Resources
from pipeline.portfolio.portfolio import Portfolio
from pipeline.views.addresses import PARTS
from pipeline.views.method_shapes import build_method, build_symbols, build_table, find_source
from pipeline.views.shapes_marks import Caution, Column, Link, Table
from pipeline.views.shapes_site import MethodPage, Section
from pipeline.views.wording import word_day, word_number


def build_readings_method(portfolio: Portfolio) -> MethodPage:
    """Make the page on readings and limits."""
    if portfolio.workspace is None:
        raise ValueError("the catalogues of this workspace cannot be used; no method page can be made")
    catalogues = portfolio.workspace.catalogues
    rows = (
        (
            one.name,
            "–" if one.mpe_mm is None else word_number(one.mpe_mm),
            word_number(one.mpe_per_m),
            f"{word_day(one.calibrated)} to {word_day(one.due)}",
        )
        for one in catalogues.resources.instruments.values()
    )
    heads = ("instrument", Column("MPE", "± mm", True), Column("and", "mm per metre", True), "in calibration")
    money = catalogues.money
    return build_method(
        "readings",
        "Readings and limits",
        "What was read from originals, how sure it is, and whether the limits are wide enough for it.",
        "Is the nominal backed by what survives, and could the instrument tell a good part from a bad one?",
        (
            "deviation = reading − nominal",
            "MPE = a + b × length",
            "u = √(MPE² / 3 + s² / n + r²)     (rectangular within ±MPE; r: of a gauge study, where there is one)",
            "s: of the n readings themselves; of one reading, what the study of its instrument found on that kind of "
            "feature; degrees of freedom of each by Welch and Satterthwaite",
            "at 20 °C: reading × (1 + α (20 − t)), with α × length × Δt / √3 in the uncertainty, where α is on record",
            "U = k × u             (95.45 %, k = 2 for many degrees of freedom), unless the report states U",
            "ratio = (upper limit − lower limit) / 2 / U",
            f"wanted: ratio ≥ {money.ratio_least:g}; {money.ratio_wanted:g} is comfortable",
        ),
        build_symbols(
            ("MPE", "maximum permissible error of the instrument, half-width", "mm"),
            ("a, b", "its constant part and the part that grows with length", "mm, mm per metre"),
            ("α, t, Δt", "expansion of the material, temperature of the part, how far that may be off", "1/K, °C, K"),
            ("s, r", "repeatability and reproducibility, as standard deviations of one reading", "unit of the feature"),
            ("n", "readings whose mean was recorded", "–"),
            ("k", "coverage factor of the effective degrees of freedom", "1"),
            ("u, U", "standard and expanded uncertainty of a reading", "unit of the feature"),
        ),
        "JCGM 100:2008, 4.2 (type A; 4.2.4: known from an earlier study), 4.3.7 (rectangular distribution), 6.2 "
        "(expanded uncertainty), G.4 (degrees of freedom) and H.1 (temperature); ISO 1; the ratio of four: common "
        "practice, no source",
        (
            "A worn reading, a reproduction, a restored original under plating and a reading out of calibration "
            "are left out and drawn open.",
            "The uncertainty is that of instrument, repeats and temperature: form comes on top, and so does the "
            "operator where no gauge study of the instrument is stated in shared/resources.yaml.",
            "A mean of two or three originals says little about the drawing they were made to.",
        ),
        (
            Caution(
                "Originals may hold hazards.",
                "Asbestos, radium, lead, cadmium: see Safety before one is cleaned or opened.",
            ),
        ),
        Section(
            "instruments",
            "Instruments",
            tables=(build_table("Instruments on record", heads, rows), _build_studied(catalogues.resources)),
        ),
        (Link("Parts", PARTS),),
    )


def _build_studied(resources: Resources) -> Table:
    """List what gauge studies found of the instruments, by kind of feature."""
    heads = (
        "instrument", "kind of feature", "study", Column("repeatability", "one reading", True),
        Column("degrees of freedom", "", True), Column("reproducibility", "between people", True),
        Column("people", "", True), "unit",
    )  # fmt: skip
    rows = (
        (
            one.name,
            str(kind),
            found.of,
            word_number(found.repeatability),
            str(found.dof),
            word_number(found.reproducibility) if found.reproducibility else "–",
            str(found.people),
            found.unit,
        )
        for one in resources.instruments.values()
        for kind, found in one.studies.items()
    )
    return build_table("What gauge studies found, for single readings", heads, rows)


def build_stacks_method(portfolio: Portfolio) -> MethodPage:
    """Make the page on tolerance stacks."""
    del portfolio
    return build_method(
        "stacks",
        "Stacks",
        "What gap is left when every dimension moves within its limits.",
        "Will the part go on, with a gap within its limits, on a vehicle nobody has measured yet?",
        (
            "gap = Σ sᵢ × mᵢ                        (mᵢ: middle of the limits of contributor i)",
            "worst case:            T = Σ |sᵢ| tᵢ",
            "root-sum-square:       T = √ Σ (sᵢ tᵢ)²",
            "inflated:              T = min(1.5 × root-sum-square, worst case)",
            "share of i in the spread = (sᵢ σᵢ)² / Σ (sⱼ σⱼ)²",
            "chance outside = Φ((lower − gap) / σ) + Φ((gap − upper) / σ)",
        ),
        build_symbols(
            ("sᵢ", "how much the gap grows with contributor i: 1, −1, 0.5 for a diameter …", "1"),
            ("tᵢ", "half the width of its limits", "mm"),
            ("σᵢ", "its standard deviation by the distribution that the record names", "mm"),
            ("T", "half the width of the predicted gap", "mm"),
        ),
        f"{find_source(compute_stack)}; {find_source(compute_chance_outside)}",
        (
            "Root-sum-square holds for contributors that vary on their own. Two that come from one setting do not.",
            "A coating takes room on every face it lies on, and is in the stack with its own limits.",
            "The vehicle's own dimensions are the widest contributors, and the least known.",
        ),
        (Caution("A stack is no fit check.", "Bodies were repaired, shimmed and bent. Try it on the vehicle."),),
        None,
        (Link("Parts", PARTS),),
    )
