"""What the terminal says of a site that was built."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.findings.finding import Finding, Severity
from pipeline.views.wording import word_count


def count_errors(findings: Sequence[Finding]) -> int:
    """Return how many findings are errors."""
    return sum(finding.severity is Severity.ERROR for finding in findings)


def render_built(pages: int, parts: int, findings: Sequence[Finding], stands: bool = False) -> str:
    """Return what was built: pages, parts, findings. stands : nothing had changed.

    >>> render_built(3, 1, [])
    '3 pages, 1 part. No findings.'
    >>> render_built(3, 1, [], stands=True)
    'Nothing has changed, the site stands: 3 pages, 1 part. No findings.'
    """
    stood = "Nothing has changed, the site stands: " if stands else ""
    words = f"{stood}{word_count(pages, 'page')}, {word_count(parts, 'part')}. "
    if not findings:
        return words + "No findings."
    errors = count_errors(findings)
    shown = f", {word_count(errors, 'error')} among them" if errors else ""
    return words + f"{word_count(len(findings), 'finding')}{shown}: `pipeline check` lists them."
