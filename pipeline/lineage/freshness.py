"""Which evidence is still good, and why the rest is not, as a path in words.

Staleness is kept feature by feature. Evidence that covers features F and was made from revision R goes stale when a
later revision changed a feature of F; when its file is gone or is not the one attached; when it has run out; or when
what it was made from went stale for a feature of F.

A signed no-effect statement takes exactly the features that it names, from exactly the revision that it stands in, for
exactly the evidence that it keeps.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

from pipeline.lineage.nodes import Node, build_nodes, order_revisions, split_id
from pipeline.lineage.order import order_parents_first
from pipeline.model.part import Part
from pipeline.model.words import Condition
from pipeline.model.workspace import FileState, Workspace


class Cause(StrEnum):
    """Why evidence no longer counts."""

    FEATURE_CHANGED = "feature changed"
    FILE_MISSING = "file missing"
    FILE_NEVER_THERE = "file never attached"
    FILE_CHANGED = "file changed"
    FILE_UNLISTED = "file not listed"
    EXPIRED = "expired"
    REPLACED = "replaced"
    CHILD_CHANGED = "part of the assembly changed"
    NOT_AN_ORIGINAL = "not an original"


LATER_CAUSES = frozenset(
    {Cause.FEATURE_CHANGED, Cause.EXPIRED, Cause.REPLACED, Cause.CHILD_CHANGED, Cause.FILE_CHANGED, Cause.FILE_MISSING}
)
"""Causes that come after the evidence was good: they make it stale, while the others mean that it never counted."""


@dataclass(frozen=True, slots=True)
class Reason:
    """Why one piece of evidence is stale for some features: the words, and the path from the cause down to it."""

    cause: Cause
    words: str
    features: tuple[str, ...]
    path: tuple[str, ...]
    revision: str | None = None


@dataclass(frozen=True, slots=True)
class PartLineage:
    """The evidence of one part with its freshness.

    order : revisions from first to last. reasons : node id -> why it is stale (no entry, or empty: fresh).
    """

    number: str
    nodes: Mapping[str, Node]
    order: tuple[str, ...]
    reasons: Mapping[str, tuple[Reason, ...]]

    @property
    def current(self) -> str | None:
        """The last revision, None before the first."""
        return self.order[-1] if self.order else None

    def is_fresh(self, node_id: str) -> bool:
        """True when nothing speaks against the evidence."""
        return not self.reasons.get(node_id)

    def was_good(self, node_id: str) -> bool:
        """True when the evidence is fresh, or was good and went stale later."""
        return all(reason.cause in LATER_CAUSES for reason in self.reasons.get(node_id, ()))

    def find_stale_features(self, node_id: str) -> tuple[str, ...]:
        """Return the covered features for which the evidence no longer counts."""
        return tuple(sorted({f for reason in self.reasons.get(node_id, ()) for f in reason.features}))


@dataclass(frozen=True, slots=True)
class Lineage:
    """The lineage of every part."""

    parts: Mapping[str, PartLineage]


def compute_lineage(workspace: Workspace) -> Lineage:
    """Return nodes and freshness of every part, in the order of part numbers."""
    made = {number: build_nodes(part, workspace.catalogues) for number, part in workspace.parts.items()}
    done: dict[str, PartLineage] = {}

    def find_others(number: str) -> list[str]:
        others = {split_id(p)[0] for node in made[number].values() for p in node.parents}
        return sorted(o for o in others if o is not None and o in made)

    for number in order_parents_first(workspace.parts, find_others):
        done[number] = _Judge(workspace, workspace.parts[number], made[number], done).judge()
    return Lineage({number: done[number] for number in workspace.parts})


class _Judge:
    """Finds the reasons of every node of one part."""

    def __init__(
        self, workspace: Workspace, part: Part, nodes: Mapping[str, Node], done: Mapping[str, PartLineage]
    ) -> None:
        self.workspace = workspace
        self.part = part
        self.nodes = nodes
        self.done = done
        self.order = order_revisions(part)
        self.reasons: dict[str, tuple[Reason, ...]] = {}
        self.keeps = _collect_statements(part)

    def judge(self) -> PartLineage:
        """Return the lineage of the part."""
        for node_id in order_parents_first(self.nodes, self.find_parents):
            self.judge_node(self.nodes[node_id])
        return PartLineage(self.part.part, self.nodes, self.order, {key: self.reasons[key] for key in self.nodes})

    def find_parents(self, node_id: str) -> tuple[str, ...]:
        """Return what a node was made from, as far as it stands in the same record."""
        return tuple(parent for parent in self.nodes[node_id].parents if parent in self.nodes)

    def judge_node(self, node: Node) -> None:
        """Find the reasons of one node, after those of its parents."""
        found = [*self.judge_files(node), *self.judge_expiry(node), *self.judge_changes(node)]
        found += self.judge_children(node)
        for parent in node.parents:
            found += self.take_over(node, parent)
        found += self.take_over_from_base(node)
        self.reasons[node.id] = _merge(found)

    def judge_files(self, node: Node) -> Iterable[Reason]:
        """A file that is gone, is another one, or was never listed."""
        for name in node.files:
            file = self.workspace.files.get((self.part.part, name))
            if file is None or file.state in (FileState.INTACT, FileState.REFERENCE):
                continue
            cause, words = {
                FileState.MISSING: (Cause.FILE_MISSING, f"the file {name} of {node.label} is missing"),
                FileState.OUTSIDE: (Cause.FILE_MISSING, f"the file {name} of {node.label} lies behind a link"),
                FileState.CHANGED: (Cause.FILE_CHANGED, f"the file {name} of {node.label} is not the one attached"),
                FileState.UNLISTED: (Cause.FILE_UNLISTED, f"the file {name} of {node.label} has no hash on record"),
            }[file.state]
            if cause is Cause.FILE_MISSING and file.listed is None:
                cause = Cause.FILE_NEVER_THERE
            yield Reason(cause, words, node.covers, (node.id,))

    def judge_expiry(self, node: Node) -> Iterable[Reason]:
        """Quotes and tests run out; a quote that was ordered on in time has done its work."""
        if node.section not in ("quotes", "tests"):
            return
        valid_to: dt.date | None = getattr(self.part, node.section)[node.key].valid_to
        if valid_to is None or valid_to >= self.workspace.today:
            return
        used_on = find_order_day(self.part) if node.section == "quotes" else None
        if used_on is not None and used_on <= valid_to:
            return
        yield Reason(Cause.EXPIRED, f"{node.label} was valid to {valid_to}", node.covers, (node.id,))

    def judge_changes(self, node: Node) -> Iterable[Reason]:
        """Features that later revisions changed, less those that a no-effect statement takes."""
        if node.section == "measurements":
            yield from self.judge_replaced(node)
            yield from self.judge_original(node)
        if node.base is None or node.base not in self.order or node.section == "revisions":
            return
        for key in self.order[self.order.index(node.base) + 1 :]:
            names = self.part.revisions[key].changed
            touched = set(self.part.features if names is None else names) & set(node.covers)
            touched -= self.keeps.get((key, node.key), frozenset())
            if touched:
                features = tuple(sorted(touched))
                shown = ", ".join(f"`{f}`" for f in features)
                words = f"{node.label} was made on revision {node.base}; revision {key} changed {shown}, "
                words += f"which {node.key} covers"
                yield Reason(Cause.FEATURE_CHANGED, words, features, (f"revisions.{key}", node.id), key)

    def judge_replaced(self, node: Node) -> Iterable[Reason]:
        """A measurement that a later one replaces no longer counts for the features that were read again."""
        for key, other in self.part.measurements.items():
            if other.replaces == node.key:
                again = tuple(sorted(set(other.gives) & set(node.covers)))
                words = f"{node.label} was replaced by measurement {key}"
                yield Reason(Cause.REPLACED, words, again, (f"measurements.{key}", node.id))

    def judge_original(self, node: Node) -> Iterable[Reason]:
        """A reproduction is no original, and a replated one shows the plater's work on coated features."""
        measurement = self.part.measurements[node.key]
        original = self.part.originals.get(measurement.of)
        if original is None:
            return
        features, what = node.covers, "which is a reproduction"
        if original.condition is Condition.RESTORED and not measurement.coating_off:
            features = tuple(f for f in node.covers if self.part.features[f].coated)
            what = f"which is restored: {', '.join(f'`{f}`' for f in features)} carries a new coating"
        elif original.condition is not Condition.REPRODUCTION:
            return
        if features:
            words = f"{node.label} is of original {measurement.of}, {what}"
            yield Reason(Cause.NOT_AN_ORIGINAL, words, features, (f"originals.{measurement.of}", node.id))

    def judge_children(self, node: Node) -> Iterable[Reason]:
        """A trial of an assembly goes stale when a part in it was changed afterwards."""
        if node.section not in ("prototypes", "first_articles", "fit_checks") or node.on is None:
            return
        for number, child in _find_parts_inside(self.part, self.workspace.parts):
            for place, key in enumerate(order_revisions(child)):
                revision = child.revisions[key]
                is_change = bool(revision.changed) or (place > 0 and revision.changed is None)
                if revision.on <= node.on or not is_change:
                    continue
                words = f"{node.label} of {node.on} was made before revision {key} of {number}"
                yield Reason(Cause.CHILD_CHANGED, words, node.covers, (f"{number}/revisions.{key}", node.id), key)

    def take_over(self, node: Node, parent: str) -> Iterable[Reason]:
        """Reasons of what a node was made from, as far as they touch what the node covers."""
        other, _, _ = split_id(parent)
        if other is not None:
            lineage = self.done.get(other)
            inherited = () if lineage is None else lineage.reasons.get(parent.removeprefix(f"{other}/"), ())
            for reason in inherited:
                words = f"{other}: {reason.words}"
                yield replace(reason, words=words, features=node.covers, path=(parent, node.id))
            return
        if node.section == "measurements" and parent.startswith("measurements."):
            return  # a measurement that replaces another one owes nothing to it
        for reason in self.reasons.get(parent, ()):
            features = self.narrow(node, parent, reason)
            if features or (features is not None and not reason.features):
                yield replace(reason, features=features, path=(*reason.path, node.id))

    def take_over_from_base(self, node: Node) -> Iterable[Reason]:
        """A trial may speak of more features than its sample shows: for those its revision answers."""
        if node.section not in ("fit_checks", "tests") or f"revisions.{node.base}" not in self.nodes:
            return
        for reason in self.reasons.get(f"revisions.{node.base}", ()):
            features = tuple(f for f in reason.features if f in node.covers)
            if features:
                samples = tuple(p for p in node.parents if not p.startswith("revisions."))
                yield replace(reason, features=features, path=(*reason.path, *samples, node.id))

    def narrow(self, node: Node, parent: str, reason: Reason) -> tuple[str, ...] | None:
        """Return the features for which a reason of a parent speaks against a node too; None where it does not."""
        if parent.startswith("quotes."):
            return None
        if node.section == "tools" and parent.startswith("tools."):
            return None if self.is_kept(node, reason) else node.covers
        is_own = "/" not in reason.path[0] and sum(step.startswith("tools.") for step in reason.path) < 2
        if reason.cause is Cause.FEATURE_CHANGED and node.base is not None and is_own:
            return None  # it was judged against its own revision already
        covered = tuple(f for f in reason.features if f in node.covers)
        if node.section in ("fit_checks", "tests") and reason.path[0] == parent and not parent.startswith("revisions."):
            return node.covers  # the sample as a whole no longer counts
        if node.section != "revisions":
            return covered
        if reason.path[0].startswith("revisions."):
            return None  # the model file of an older revision does not matter once there is a newer one
        unsure = parent.startswith("measurements.") and reason.cause not in (Cause.REPLACED, Cause.NOT_AN_ORIGINAL)
        left = covered if unsure else tuple(f for f in covered if not self.is_supported(node, f))
        return left or None if covered else covered

    def is_kept(self, node: Node, reason: Reason) -> bool:
        """True when a signed statement keeps a tool from a change of the tool whose part it fits."""
        is_own = "/" not in reason.path[0]  # another record may have a revision of the same name
        revision = self.part.revisions.get(reason.revision or "") if is_own else None
        if revision is None:
            return False
        changed = revision.changed
        origin = self.nodes.get(reason.path[1])
        touched = set(self.part.features if changed is None else changed) & set(origin.covers if origin else ())
        return bool(touched) and touched <= self.keeps.get((reason.revision or "", node.key), frozenset())

    def is_supported(self, node: Node, feature: str) -> bool:
        """True when a revision was made from a measurement that is good for the feature."""
        return any(
            key in self.part.measurements
            and feature in self.part.measurements[key].gives
            and not any(feature in reason.features for reason in self.reasons.get(f"measurements.{key}", ()))
            for key in self.part.revisions[node.key].from_
        )


def _find_parts_inside(part: Part, parts: Mapping[str, Part]) -> Iterable[tuple[str, Part]]:
    """Yield every part that an assembly holds, at any depth, once."""
    waiting, seen = [part], {part.part}
    while waiting:
        for component in waiting.pop().made_of.values():
            child = None if component.part is None else parts.get(component.part)
            if child is not None and child.part not in seen:
                seen.add(child.part)
                waiting.append(child)
                yield child.part, child


def find_order_day(part: Part) -> dt.date | None:
    """Return the day on which the first tool was ordered, or the money for it released."""
    from_tools = [tool.steps[step] for tool in part.tools.values() for step in tool.steps if step.value == "ordered"]
    return min(from_tools, default=None)


def _collect_statements(part: Part) -> dict[tuple[str, str], frozenset[str]]:
    """Return (revision, evidence key) -> features that signed statements declare without effect.

    Only a statement that another person saw, and only for features that its revision really changed.
    """
    kept: dict[tuple[str, str], frozenset[str]] = {}
    for key, revision in part.revisions.items():
        for statement in revision.no_effect:
            if statement.seen_by == statement.by:
                continue
            named = frozenset(statement.features) & frozenset(revision.changed or ())
            for evidence in statement.keeps:
                kept[(key, evidence)] = kept.get((key, evidence), frozenset()) | named
    return kept


def _merge(reasons: Iterable[Reason]) -> tuple[Reason, ...]:
    """Drop repeats (the same words reached by two paths), keep the shortest path, in a stable order."""
    best: dict[tuple[Cause, str], Reason] = {}
    for reason in sorted(reasons, key=lambda r: (len(r.path), r.path)):
        known = best.get((reason.cause, reason.words))
        if known is None:
            best[(reason.cause, reason.words)] = reason
        else:
            features = tuple(sorted({*known.features, *reason.features}))
            best[(reason.cause, reason.words)] = replace(known, features=features)
    return tuple(best.values())
