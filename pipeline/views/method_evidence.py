"""Methods about evidence: freshness, coverage, what can prove what, and what the review looks for."""

from __future__ import annotations

from pipeline.lineage.freshness import Cause
from pipeline.model.catalogue import Catalogues
from pipeline.portfolio.portfolio import Portfolio
from pipeline.views.addresses import HOME, PARTS, REVIEW, VEHICLES
from pipeline.views.method_shapes import build_method, build_symbols, build_table
from pipeline.views.shapes_marks import Caution, Column, Link
from pipeline.views.shapes_site import MethodPage, Section
from pipeline.views.wording import word_list, word_number

_CAUSES: dict[Cause, tuple[str, str]] = {
    Cause.FEATURE_CHANGED: ("a later revision changed a feature that the evidence covers", "those features"),
    Cause.FILE_CHANGED: ("the file on disk is not the one that was attached: its sha256 differs", "all it covers"),
    Cause.FILE_MISSING: ("the file was attached and is gone", "all it covers"),
    Cause.FILE_NEVER_THERE: ("the record names a file that never was attached; it never counted", "all it covers"),
    Cause.FILE_UNLISTED: ("the file has no hash on record; it never counted", "all it covers"),
    Cause.EXPIRED: ("a quote or a test ran out; a quote ordered on in time has done its work", "all it covers"),
    Cause.REPLACED: ("a measurement was replaced by a later one", "the features read again"),
    Cause.NOT_AN_ORIGINAL: ("what was measured is a reproduction; it never counted", "all it covers"),
    Cause.CHILD_CHANGED: ("a part of the assembly was revised after the trial", "all it covers"),
}


def _catalogues(portfolio: Portfolio) -> Catalogues:
    if portfolio.workspace is None:
        raise ValueError("the catalogues of this workspace cannot be used; no method page can be made")
    return portfolio.workspace.catalogues


def build_freshness_method(portfolio: Portfolio) -> MethodPage:
    """Make the page on what goes stale and why."""
    del portfolio
    rows = ((cause.value, *_CAUSES[cause]) for cause in Cause)
    table = build_table("Causes", ("cause", "when", "stale for"), rows)
    return build_method(
        "freshness",
        "Freshness",
        "Which evidence still counts, and why the rest does not.",
        "Does this piece of evidence still stand for the part as it is modelled today?",
        (
            "changed(r) = features that revision r lists as changed; all of them where it does not say",
            "kept(r, e) = features that signed no-effect statements of r declare without effect on e",
            "stale(e) = covers(e) ∩ ( ∪ over revisions r after base(e): changed(r) − kept(r, e) ) ∪ "
            "stale(parents of e)",
            "e counts for feature f where f is in covers(e) and not in stale(e)",
        ),
        build_symbols(
            ("e", "a piece of evidence or a tool", "–"),
            ("base(e)", "the revision that it was made from, directly or through what it was made from", "revision"),
            ("covers(e)", "the features it speaks of", "features"),
            ("parents of e", "what it was made from: measurement, revision, prototype, quote, tool", "–"),
        ),
        "common practice, no source; traceability of evidence to its origin as in ISO 10007 (from memory)",
        (
            "A change that the record does not list cannot be seen: a revision without `changed` counts as "
            "having changed everything.",
            "A no-effect statement counts only where a second person has seen it, and only for the features and "
            "the evidence it names.",
            "Freshness says that evidence stands on today's model. It does not say that the evidence is good.",
        ),
        (Caution("Fresh is not safe.", "Fit, function and strength are proven by different evidence.", "See Safety."),),
        Section("causes", "What makes evidence stale", tables=(table,)),
        (Link("Review, gone stale", f"{REVIEW}#still-stale"), Link("Parts", PARTS)),
    )


def build_coverage_method(portfolio: Portfolio) -> MethodPage:
    """Make the page on bodies and hands covered."""
    del portfolio
    return build_method(
        "coverage",
        "Coverage",
        "Which bodies and hands have been tried, counted and never ticked by hand.",
        "On how many of the bodies that the part is said to fit has it been tried, with a result that still counts?",
        (
            "cells = applications × hands (one hand where the part has none)",
            "a cell is good where its latest fit check that counts came out good",
            "coverage = good cells / cells",
        ),
        build_symbols(("cell", "one application on one hand", "–"), ("coverage", "share of good cells", "1")),
        "common practice, no source",
        (
            "A left part proves no right one, mirrored or not: each hand wants its own trial.",
            "Years within an application count as one; split the application where the body changed.",
            "A dashed cell is not tried, a hatched one was tried on a model that changed since.",
        ),
        (),
        None,
        (Link("Vehicles", VEHICLES), Link("Parts", PARTS)),
    )


def build_proofs_method(portfolio: Portfolio) -> MethodPage:
    """Make the page on what each kind of build or test can prove."""
    catalogues = _catalogues(portfolio)
    processes = catalogues.processes
    wanted = ((kind.value, proof, processes.proofs.get(proof, "")) for kind, proof in processes.needs.items())
    able = (
        (
            p.name,
            word_list([*p.proves], 20),
            "laboratory or licensed engineer" if p.laboratory else "the shop",
            word_number(p.weeks),
        )
        for p in processes.processes.values()
    )
    tables = (
        build_table("What a feature wants", ("kind of feature", "wants proof of", "which means"), wanted),
        build_table(
            "What a build or test can prove",
            ("build or test", "can prove", "made by", Column("weeks", number=True)),
            able,
        ),
    )
    return build_method(
        "proofs",
        "What can prove what",
        "A printed part proves no hardness, no plating and no mould shrinkage.",
        "Can this kind of evidence prove this kind of feature at all?",
        (
            "proven(f) = some evidence that counts for f, made by a process whose proofs hold the proof that "
            "kind(f) wants",
        ),
        build_symbols(
            ("kind(f)", "what a feature is: size, hardness, colour …", "–"), ("proofs", "what a process can prove", "–")
        ),
        "common practice, no source; the shop's own list in shared/processes.yaml",
        (
            "A process proves only what its line says, however good the sample looks.",
            "A first article or a test that came out bad, or reads outside its limits, speaks against a good one of "
            "the same day or before, until a newer good one is there: a tool that gave a bad piece that day does not "
            "hold its size. First articles are set against those off the same tools and of the same hand, safety "
            "tests against those of the same kind.",
        ),
        (
            Caution(
                "Strength is tested, never judged by eye.",
                "A competent laboratory or a licensed engineer tests.",
                "Local codes decide.",
                True,
            ),
        ),
        Section("lists", "As the shop has it", tables=tables),
        (Link("Parts", PARTS),),
    )


def build_watch_method(portfolio: Portfolio) -> MethodPage:
    """Make the page on what the review and the home page look for."""
    shop = _catalogues(portfolio).shop
    families = _catalogues(portfolio).families.families
    rows = (
        (family.name, gate.value, f"{word_number(w.likely)} ({word_number(w.low)} to {word_number(w.high)})")
        for family in families.values()
        for gate, w in family.weeks.items()
    )
    table = build_table("Weeks by family and stage", ("family", "stage", Column("usual", "weeks", True)), rows)
    return build_method(
        "watch",
        "What needs somebody",
        "When something stands on the first page and in the review.",
        "What is due, what runs out, what stands still?",
        (
            "decision due: every requirement of the next gate is met or waived, and nobody has decided",
            f"running out: a quote or a waiver that ends within {shop.quote_warning_days} days, or has ended and "
            "is still wanted",
            "standing still: days since the last evidence / 7 > highest usual weeks of the stage",
            f"what moved: since the last recorded review; without one, in the last {shop.review_every_days} days",
        ),
        build_symbols(("last evidence", "day of the youngest evidence; edits of a record do not count", "day")),
        "common practice, no source; the shop's own days in shared/shop.yaml, weeks in shared/families.yaml",
        ("The usual weeks are the shop's estimate until enough parts have passed to measure them.",),
        (),
        Section("weeks", "Usual length of stages", tables=(table,), fold=True),
        (Link("What needs you", HOME), Link("Review", REVIEW)),
    )
