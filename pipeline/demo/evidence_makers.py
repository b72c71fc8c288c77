"""Draws the demo's invented evidence from its records: points, readings, meshes, pictures and reports.

Real work measures first and records after. A demonstration has it the other way round: the record says what was read,
and this module makes files that a fit of the points gives back. Same record, same files. Pure: it takes records and
returns bytes; nothing here touches a disk.
"""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.demo import evidence_papers as papers
from pipeline.demo.evidence_points import build_points
from pipeline.demo.evidence_runs import build_run, build_study
from pipeline.demo.evidence_shapes import build_mesh, build_photograph
from pipeline.model.part import Part
from pipeline.model.words import FeatureKind

CHANGED_AFTER_LISTING = ("TW-215", "evidence/o1-points.csv")
"""The one file that the demo changes after its hash was listed, so that the site can show what that looks like."""


def build_evidence(part: Part, build_picture: bool = True) -> dict[str, bytes]:
    """Return path (relative to the part's folder) -> content for every file of the record but the drawing.

    part : the record.
    build_picture : also draw the photographs (PNG), which take longest.
    """
    files: dict[str, bytes] = {}
    for path, content in build_texts(part):
        files[path] = content.encode("utf-8")
    for key, revision in part.revisions.items():
        if revision.file is not None and not revision.file.endswith(".csv"):
            larger_by = 0.2 * _count_later_sizes(part, key)
            files[revision.file] = build_mesh(part.part, f"{part.part} revision {key}, invented", larger_by)
    if build_picture:
        files.update(_build_pictures(part))
    return files


def _count_later_sizes(part: Part, key: str) -> int:
    """How many later revisions changed a size: each took 0.2 mm off."""
    later = list(part.revisions.values())[list(part.revisions).index(key) + 1 :]
    sizes = {name for name, feature in part.features.items() if feature.kind is FeatureKind.SIZE}
    return sum(bool(sizes & set(revision.changed or ())) for revision in later)


def build_texts(part: Part) -> Iterator[tuple[str, str]]:
    """Yield path and text of every file that is text: points, readings, reports, offers, settings."""
    for key, measurement in part.measurements.items():
        if measurement.file is not None:
            yield measurement.file, build_points(part, key)
    for key, revision in part.revisions.items():
        if revision.file is not None and revision.file.endswith(".csv"):
            yield revision.file, papers.build_cutting_patterns(part, key)
    for key, quote in part.quotes.items():
        if quote.file is not None:
            yield quote.file, papers.build_quote_letter(part, key, quote)
    for key, test in part.tests.items():
        if test.file is not None:
            yield test.file, papers.build_report(part, key, test)
    for key, article in part.first_articles.items():
        if article.settings is not None:
            yield article.settings, papers.build_settings(part, key, article)
        if article.file is not None:
            yield article.file, papers.build_article_report(part, key, article)
    for key, study in part.gauge_studies.items():
        yield study.file, build_study(part, key, study)
    for key, run in part.sample_runs.items():
        yield run.file, build_run(part, key, run)
    for key, tool in part.tools.items():
        if tool.file is not None:
            yield tool.file, papers.build_shrinkage_table(part, key)
    if part.safety_review is not None and part.safety_review.file is not None:
        yield part.safety_review.file, papers.build_safety_note(part)


def _build_pictures(part: Part) -> Iterator[tuple[str, bytes]]:
    for prototype in part.prototypes.values():
        if prototype.file is not None:
            yield prototype.file, build_photograph(part.part, prototype.coated)
    for key, check in part.fit_checks.items():
        if check.file is not None:
            yield check.file, build_photograph(part.part, True, key)
