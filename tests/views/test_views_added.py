"""A page tells what was added to a record after its gates were decided, and since when; of the rest it says nothing."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from pipeline.portfolio.portfolio import PartFile, build_portfolio
from pipeline.views.addresses import Anchors
from pipeline.views.csv_tables import join_line
from pipeline.views.part_features import build_features
from pipeline.views.part_gates import build_coverage
from pipeline.views.part_interfaces import build_interfaces
from pipeline.views.part_page import build_part_page

Sample = Callable[..., Path]
SECTIONS = (
    "features:\n"
    "  length: {what: overall length, kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm, critical: true}\n"
    "  hard: {what: hardness, kind: hardness, nominal: 50, limits: [-5, 5], unit: HRC%s}\n"
    "interfaces:\n"
    "  seat: {what: hook to sill, gap: {limits: [0.1, 0.9]}, features: [length]}\n"
    "  arch: {what: hook to arch, gap: {limits: [0.1, 0.9]}, features: [length]%s}\n"
    "fits:\n  saloon: {vehicle: finch, body: saloon, years: 1951-1955}\n"
    "  estate: {vehicle: finch, body: estate, years: 1952-1955%s}\n"
)
DATED = SECTIONS % (", since: 2026-04-01", ", since: 2026-04-02", ", since: 2026-04-03")


def list_words(file: PartFile) -> dict[str, str]:
    """What the page says of each feature, interface and application."""
    anchors = Anchors(file.part, file.lineage.nodes)
    words = {line.key: join_line(line.verdict) for line in build_features(file, anchors)}
    words |= {one.anchor: join_line(one.verdict) for one in build_interfaces(file, anchors)}
    rows = build_coverage(file, anchors).rows
    return words | {key: row.application.text for key, row in zip(file.part.fits, rows, strict=True)}


def test_what_was_added_later_says_since_when_beside_it(sample: Sample) -> None:
    words = list_words(build_portfolio(sample(DATED)).parts["SD-100"])
    assert words["hard"].endswith("; added or made critical on 1 Apr 2026")
    assert words["interface-arch"].endswith("; added on 2 Apr 2026")
    assert words["estate"] == "Finch estate 1952–1955; added on 3 Apr 2026"
    assert not [key for key in ("length", "interface-seat", "saloon") if "added" in words[key]]


def test_a_record_without_days_says_nothing_of_it(sample: Sample) -> None:
    plain = list_words(build_portfolio(sample(SECTIONS % ("", "", ""))).parts["SD-100"])
    dated = list_words(build_portfolio(sample(DATED)).parts["SD-100"])
    assert not [words for words in plain.values() if "added" in words]
    assert {key: words.split("; added")[0] for key, words in dated.items()} == plain


def test_the_gate_on_the_page_is_stale_for_that_reason_and_the_decision_is_not_accused(sample: Sample) -> None:
    page = build_part_page(build_portfolio(sample(DATED)).parts["SD-100"], {})
    gate = next(gate for gate in page.gates if gate.name == "fit check")
    told = str(gate)
    assert "interface added since: arch" in told and "application added since: estate" in told
    assert "claims more than the evidence proves" not in told
    undated = build_part_page(build_portfolio(sample(SECTIONS % ("", "", ""))).parts["SD-100"], {})
    assert "claims more than the evidence proves" in str(undated.gates)
