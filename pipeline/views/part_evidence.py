"""Every piece of evidence with its freshness, and why it is stale if it is."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from pipeline.gates.measured import is_counted
from pipeline.lineage.freshness import Reason
from pipeline.lineage.nodes import Node
from pipeline.model.part import FitCheck
from pipeline.model.words import Condition, Gate, GateState, Hand, Result
from pipeline.portfolio.portfolio import PartFile
from pipeline.views.addresses import Anchors
from pipeline.views.history import find_evidence_commit
from pipeline.views.reasons import build_reason_line
from pipeline.views.shapes_marks import Line, Link, Mark, Run
from pipeline.views.shapes_part import EvidenceLine
from pipeline.views.states import build_bench, name_person, name_supplier
from pipeline.views.wording import word_count, word_day, word_list, word_number

Published = Mapping[str, str]
"""Path of an evidence file in the part's folder -> its address in the site, for files that the site has a copy of."""

SECTION_GATES = {
    "originals": Gate.MEASURE,
    "measurements": Gate.MEASURE,
    "revisions": Gate.MODEL,
    "prototypes": Gate.PROTOTYPE,
    "fit_checks": Gate.FIT_CHECK,
    "quotes": Gate.QUOTE,
    "tests": Gate.TOOLING,
    "first_articles": Gate.TOOLING,
    "gauge_studies": Gate.MEASURE,
    "sample_runs": Gate.TOOLING,
}


def build_evidence(file: PartFile, anchors: Anchors, published: Published) -> tuple[EvidenceLine, ...]:
    """Make one line for each piece of evidence but the tools, in the order in which evidence descends."""
    nodes = [node for node in file.lineage.nodes.values() if node.section != "tools"]
    return tuple(_build_line(file, anchors, published, node) for node in nodes)


def _build_line(file: PartFile, anchors: Anchors, published: Published, node: Node) -> EvidenceLine:
    entry = getattr(file.part, node.section)[node.key]
    mark, freshness = judge_freshness(file, node)
    what, of, by = _DESCRIBE[node.section](file, entry)
    return EvidenceLine(
        id=anchors.find(node.id),
        kind=node.label.rpartition(" ")[0],
        what=what,
        of=of,
        covers=_word_cover(file, node),
        on="not dated" if node.on is None else word_day(node.on),
        by=by,
        mark=mark,
        freshness=freshness,
        reason=build_reasons(file, file.lineage.reasons.get(node.id, ())),
        file=_find_file(node, published),
        commit=find_evidence_commit(file, node.id),
    )


def _find_file(node: Node, published: Published) -> Link | None:
    for name in node.files:
        short = name.rpartition("/")[2]
        return Link(short, published[name]) if name in published else Link(f"{short} (not in the site)", "")
    return None


def build_reasons(file: PartFile, reasons: tuple[Reason, ...], limit: int = 3) -> Line:
    """Return why something is stale: each reason with its path in words."""
    runs: list[Run] = []
    for at, reason in enumerate(reasons[:limit]):
        runs += [*([Run("; ")] if at else []), *build_reason_line(file, reason.words)]
    if len(reasons) > limit:
        runs.append(Run(f"; and {word_count(len(reasons) - limit, 'more reason')}"))
    return tuple(runs)


def _word_cover(file: PartFile, node: Node) -> str:
    if not node.covers:
        return "–"
    if len(node.covers) == len(file.part.features):
        return "all features"
    return word_list([file.part.features[key].what for key in node.covers], 3)


def judge_freshness(file: PartFile, node: Node) -> tuple[Mark, str]:
    """Return the line and the word of one piece of evidence: fresh, stale since when, replaced, not counted."""
    reasons = file.lineage.reasons.get(node.id, ())
    if reasons:
        return Mark.STALE, _word_since(file, node, reasons)
    if node.section == "revisions":
        return _judge_revision(file, node)
    if node.section in ("originals", "measurements"):
        return _judge_measured(file, node)
    result = getattr(getattr(file.part, node.section)[node.key], "result", Result.GOOD)
    if result is not Result.GOOD:
        return Mark.IN_HAND, "fresh; did not pass" if result is Result.BAD else "fresh; not judged yet"
    return _mark_by_gate(file, node.section), "fresh"


def _mark_by_gate(file: PartFile, section: str) -> Mark:
    """Return thick where the gate it serves is proven, else thin."""
    gate = SECTION_GATES[section]
    return Mark.PROVEN if file.standing.gates[gate].state is GateState.PROVEN else Mark.IN_HAND


def _word_since(file: PartFile, node: Node, reasons: tuple[Reason, ...]) -> str:
    days = [file.part.revisions[r.revision].on for r in reasons if r.revision in file.part.revisions]
    covered = set(node.covers)
    stale = set(file.lineage.find_stale_features(node.id)) & covered
    part = f" for {len(stale)} of {word_count(len(covered), 'feature')}" if covered and stale < covered else ""
    since = f" since {word_day(min(days))}" if days else ""
    return f"stale{since}{part}"


def _judge_revision(file: PartFile, node: Node) -> tuple[Mark, str]:
    order = file.lineage.order
    if node.key == file.lineage.current:
        return _mark_by_gate(file, "revisions"), "current"
    return Mark.NOT_NEEDED, f"followed by {order[order.index(node.key) + 1]}"


def _judge_measured(file: PartFile, node: Node) -> tuple[Mark, str]:
    bench = build_bench(file)
    if node.section == "measurements":
        counted = is_counted(bench, node.key)
        return (_mark_by_gate(file, node.section), "fresh") if counted else (Mark.NOT_NEEDED, "does not count")
    condition = file.part.originals[node.key].condition
    if condition is Condition.REPRODUCTION:
        return Mark.NOT_NEEDED, "never counts: a reproduction"
    used = [k for k, m in file.part.measurements.items() if m.of == node.key]
    if not used:
        return Mark.MISSING, "not measured"
    if not any(is_counted(bench, key) for key in used):
        return Mark.NOT_NEEDED, "measured, does not count"
    coated = condition is Condition.RESTORED and any(f.coated for f in file.part.features.values())
    return _mark_by_gate(file, "originals"), "counts, but not for coated features" if coated else "counts"


# --- what each kind of evidence is -----------------------------------------------------------------


def _describe_original(file: PartFile, entry: Any) -> tuple[str, str, str]:
    del file
    hand = "" if entry.hand is Hand.NONE else f", {entry.hand}"
    condition = "new old stock" if entry.condition is Condition.NOS else str(entry.condition)
    note = f"; {entry.note}" if entry.note else ""
    back = f"; given back {word_day(entry.returned)}" if entry.returned else ""
    return f"{condition}{hand}{note}{back}", "", f"from {entry.from_}"


def _describe_measurement(file: PartFile, entry: Any) -> tuple[str, str, str]:
    catalogues = file.workspace.catalogues
    instrument = catalogues.resources.instruments.get(entry.with_)
    name = entry.with_ if instrument is None else instrument.name
    degrees = word_number(entry.at.celsius, 1)
    return f"{name}, {degrees} °C", entry.of, name_person(catalogues, entry.by)


def _describe_revision(file: PartFile, entry: Any) -> tuple[str, str, str]:
    names = [file.part.features[key].what for key in entry.changed or () if key in file.part.features]
    changed = f"changed {word_list(names)}" if names else "first issue" if entry.changed is None else "changed nothing"
    why = f": {entry.why}" if entry.why else ""
    return changed + why, ", ".join(entry.from_), name_person(file.workspace.catalogues, entry.by)


def _describe_prototype(file: PartFile, entry: Any) -> tuple[str, str, str]:
    process = file.workspace.catalogues.processes.processes.get(entry.process)
    name = entry.process if process is None else process.name.lower()
    hand = "" if entry.hand is Hand.NONE else f", {entry.hand}"
    return f"{name}{hand}", f"revision {entry.of}", _name_maker(file, entry.by)


def _name_maker(file: PartFile, key: str | None) -> str:
    if key in file.workspace.catalogues.suppliers.suppliers:
        return name_supplier(file.workspace.catalogues, key)
    return name_person(file.workspace.catalogues, key)


def _describe_fit(file: PartFile, entry: FitCheck) -> tuple[str, str, str]:
    catalogues = file.workspace.catalogues
    hand = "" if entry.hand is Hand.NONE else f", {entry.hand}"
    seen = f", seen by {name_person(catalogues, entry.seen_by)}" if entry.seen_by else ""
    note = f"; {entry.note}" if entry.note else ""
    what = f"{entry.car} for {entry.fits}{hand}: {entry.result}{note}"
    return what, entry.with_, f"{name_person(catalogues, entry.by)}{seen}"


def _describe_test(file: PartFile, entry: Any) -> tuple[str, str, str]:
    process = file.workspace.catalogues.processes.processes.get(entry.kind)
    name = entry.kind if process is None else process.name.lower()
    where = f" at {name_supplier(file.workspace.catalogues, entry.at)}" if entry.at else ""
    until = f", valid to {word_day(entry.valid_to)}" if entry.valid_to else ""
    return f"{name}{where}: {entry.result}{until}", entry.of, name_person(file.workspace.catalogues, entry.by)


def _describe_quote(file: PartFile, entry: Any) -> tuple[str, str, str]:
    until = "no validity stated" if entry.valid_to is None else f"valid to {word_day(entry.valid_to)}"
    return until, f"revision {entry.of}", name_supplier(file.workspace.catalogues, entry.from_)


def _describe_article(file: PartFile, entry: Any) -> tuple[str, str, str]:
    finished = "finished" if entry.finished else "not finished"
    hand = "" if entry.hand is Hand.NONE else f", {entry.hand}"
    what = f"{word_count(entry.pieces, finished + ' piece')} of every cavity{hand}: {entry.result}"
    seen = f", seen by {name_person(file.workspace.catalogues, entry.seen_by)}" if entry.seen_by else ""
    tools = word_list(list(entry.tools))
    return what, f"revision {entry.of}, off {tools}", f"{name_person(file.workspace.catalogues, entry.by)}{seen}"


def _describe_study(file: PartFile, entry: Any) -> tuple[str, str, str]:
    instrument = file.workspace.catalogues.resources.instruments.get(entry.with_)
    name = entry.with_ if instrument is None else instrument.name
    return f"gauge study of {name}", "", name_person(file.workspace.catalogues, entry.by)


def _describe_run(file: PartFile, entry: Any) -> tuple[str, str, str]:
    instrument = file.workspace.catalogues.resources.instruments.get(entry.with_)
    name = entry.with_ if instrument is None else instrument.name
    of = f"revision {entry.of}, off {word_list(list(entry.tools))}"
    return f"consecutive pieces, {name}", of, name_person(file.workspace.catalogues, entry.by)


_DESCRIBE: Mapping[str, Callable[[PartFile, Any], tuple[str, str, str]]] = {
    "originals": _describe_original,
    "measurements": _describe_measurement,
    "revisions": _describe_revision,
    "prototypes": _describe_prototype,
    "fit_checks": _describe_fit,
    "tests": _describe_test,
    "quotes": _describe_quote,
    "first_articles": _describe_article,
    "gauge_studies": _describe_study,
    "sample_runs": _describe_run,
}
