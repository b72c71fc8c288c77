"""Every file that a record names, and where it names it."""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.model.part import Part

EVIDENCE_SECTIONS = (
    "measurements", "revisions", "prototypes", "fit_checks", "tests", "quotes", "tools", "first_articles",
    "gauge_studies", "sample_runs",
)  # fmt: skip


def find_named_files(part: Part) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Yield every file that a record names, with the pointer of its key."""
    if part.picture is not None:
        yield part.picture, ("picture",)
    if part.safety_review is not None and part.safety_review.file is not None:
        yield part.safety_review.file, ("safety_review", "file")
    for section in EVIDENCE_SECTIONS:
        for key, entry in getattr(part, section).items():
            for field in ("file", "settings"):
                name = getattr(entry, field, None)
                if name is not None:
                    yield name, (section, key, field)
