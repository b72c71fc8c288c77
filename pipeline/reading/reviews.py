"""The reviews that took place, from shared/reviews.yaml; a workspace need not have one."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from pipeline.findings.finding import Finding
from pipeline.model.review import Review, Reviews
from pipeline.reading.shape import parse_shape
from pipeline.reading.source import read_source
from pipeline.reading.tree import parse_tree

REVIEWS = "shared/reviews.yaml"


def read_reviews(root: Path) -> tuple[tuple[Review, ...], tuple[Finding, ...]]:
    """Return the recorded reviews, oldest first, and what is wrong with their file. An absent file is an empty one."""
    if not (root / REVIEWS).exists() and not (root / REVIEWS).is_symlink():
        return (), ()
    source, findings = read_source(root, REVIEWS)
    if source is None or not source.text.strip():
        return (), findings
    tree, problems = parse_tree(REVIEWS, source.text)
    if tree is None:
        return (), problems
    found, complaints = parse_shape(tree, Reviews)
    reviews = () if found is None else tuple(sorted(found.reviews, key=lambda review: review.on))
    return reviews, (*findings, *problems, *complaints)


def find_last_review(reviews: Sequence[Review]) -> Review | None:
    """Return the youngest review, None where none took place."""
    return reviews[-1] if reviews else None
