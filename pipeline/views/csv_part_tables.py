"""Tables of a part's page with a shape of their own, as CSV: gates, coverage, quotes, findings, history, lineage."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from pipeline.views.csv_tables import join_line, render_csv
from pipeline.views.shapes_lineage import LineageDrawing
from pipeline.views.shapes_marks import MARK_WORDS, FindingLine
from pipeline.views.shapes_part import (
    CoverageMatrix,
    GateDetail,
    HistoryLine,
    PartPage,
    QuoteComparison,
    RequirementLine,
)
from pipeline.views.shapes_site import RulesPage
from pipeline.views.shapes_spend import SpendPoint, SpendQuarter


def list_part_tables(view: PartPage, stem: str) -> Iterator[tuple[str, str]]:
    """Yield address and text of the tables of a part's page that have a shape of their own; none without rows."""
    if view.gates:
        yield f"{stem}/gates.csv", render_gates_csv(view.gates)
    if view.coverage.rows:
        yield f"{stem}/coverage.csv", render_coverage_csv(view.coverage)
    if view.quotes.columns:
        yield f"{stem}/quotes.csv", render_quotes_csv(view.quotes)
    if view.history:
        yield f"{stem}/history.csv", render_history_csv(view.history)
    if view.findings:
        yield f"{stem}/findings.csv", render_findings_csv(view.findings)
    if view.lineage is not None:
        yield f"{stem}/made-from.csv", render_lineage_csv(view.lineage)
        if view.lineage.features:
            yield f"{stem}/would-go-stale.csv", render_stale_csv(view.lineage)


def render_gates_csv(gates: Sequence[GateDetail]) -> str:
    """Return every requirement of every gate as CSV: what is wanted, what proves it, what is missing."""
    rows = (
        (gate.name, gate.state, MARK_WORDS[one.mark], one.wants, join_line(one.proof), one.lacking, _name_rule(one))
        for gate in gates
        for one in gate.requirements
    )
    return render_csv(("gate", "state", "stands", "wants", "proof", "lacks", "rule"), rows)


def _name_rule(requirement: RequirementLine) -> str:
    return "" if requirement.rule is None else requirement.rule.text


def render_coverage_csv(matrix: CoverageMatrix) -> str:
    """Return the applications against the hands as CSV."""
    rows = ((row.application.text, *(cell.words or MARK_WORDS[cell.mark] for cell in row.cells)) for row in matrix.rows)
    return render_csv(("body", *matrix.hands), rows)


def render_quotes_csv(quotes: QuoteComparison) -> str:
    """Return quotes side by side as CSV, one column a quote with its state in the head."""
    heads = (f"{quote.id} {quote.supplier.text} ({quote.state})" for quote in quotes.columns)
    rows = ((group.title, row.label, row.unit, *row.values) for group in quotes.groups for row in group.rows)
    return render_csv(("group", "line", "unit", *heads), rows)


def render_history_csv(history: Sequence[HistoryLine]) -> str:
    """Return what git knows of a record as CSV."""
    head = ("on", "what", "said to be by", "recorded on", "recorded by", "commit", "doubt")
    rows = (
        (h.on, join_line(h.line), h.who, *(("",) * 4 if c is None else (c.on, c.who, c.short, c.doubt)))
        for h in history
        for c in (h.commit,)
    )
    return render_csv(head, rows)


def render_findings_csv(findings: Sequence[FindingLine]) -> str:
    """Return findings as CSV."""
    head = ("rule", "weight", "part", "what is wrong", "how to mend it", "where")
    rows = (
        (f.rule.text, f.severity, "" if f.part is None else f.part.text, f.message, f.fix, f.where) for f in findings
    )
    return render_csv(head, rows)


def render_lineage_csv(lineage: LineageDrawing) -> str:
    """Return what was made from what as CSV."""
    rows = (
        (n.label, n.kind, n.note, MARK_WORDS[n.mark], ", ".join(e.source for e in lineage.edges if e.target == n.id))
        for n in lineage.nodes
    )
    return render_csv(("evidence", "kind", "note", "stands", "made from"), rows)


def render_stale_csv(lineage: LineageDrawing) -> str:
    """Return what a change to each feature would make stale as CSV."""
    rows = ((feature.name, feature.words) for feature in lineage.features)
    return render_csv(("if this changes", "this goes stale"), rows)


def render_rules_csv(page: RulesPage) -> str:
    """Return the catalogue of rules as CSV, with how often each is broken today."""
    rows = (
        (group.title, rule.id, rule.title, rule.severity, str(rule.broken))
        for group in page.groups
        for rule in group.rules
    )
    return render_csv(("group", "rule", "what it wants", "weight", "broken today"), rows)


def render_releases_csv(points: Iterable[SpendPoint]) -> str:
    """Return what every solved budget releases as CSV, one row for each of its quarters."""
    rows = (
        (point.budget_words, quarter.label, _list_releases(quarter), quarter.paid, quarter.left)
        for point in points
        for quarter in point.quarters
    )
    return render_csv(("budget in all", "quarter", "release", "paid in it", "left after it"), rows)


def _list_releases(quarter: SpendQuarter) -> str:
    found = (f"{one.tool.text} {one.name}, {one.cost} {one.first}".rstrip() for one in quarter.releases)
    return "; ".join(found) or "nothing"
