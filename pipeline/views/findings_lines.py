"""A finding as a page shows it."""

from __future__ import annotations

from pipeline.findings.finding import Finding, place_message
from pipeline.views.addresses import find_part_page, find_rule_page
from pipeline.views.shapes_marks import FindingLine, Link


def build_finding_line(finding: Finding, part: Link | None = None) -> FindingLine:
    """Make the line of a finding; ``part`` leads to the part where the page is not its own."""
    return FindingLine(
        Link(finding.rule, find_rule_page(finding.rule)),
        finding.severity.value,
        str(finding.location),
        place_message(finding),
        finding.fix,
        part,
    )


def link_record(finding: Finding, known: frozenset[str]) -> Link:
    """Return the link to a finding's part, or plain words where the part has no page."""
    if finding.record in known:
        return Link(finding.record, find_part_page(finding.record))
    return Link(finding.record or finding.location.path, "")
