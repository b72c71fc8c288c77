"""The evidence of one part as nodes of a graph: what each was made from, and which features it covers."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable
from dataclasses import dataclass

from pipeline.model.added import is_added_after
from pipeline.model.catalogue import Catalogues
from pipeline.model.part import Feature, FitCheck, Part, Prototype, Tool
from pipeline.model.words import ToolStep

SECTION_LABELS = {
    "originals": "original",
    "measurements": "measurement",
    "revisions": "revision",
    "prototypes": "prototype",
    "fit_checks": "fit check",
    "tests": "test",
    "quotes": "quote",
    "tools": "tool",
    "first_articles": "first article",
    "gauge_studies": "gauge study",
    "sample_runs": "sample run",
}
"""Sections of a record that hold evidence, in the order in which evidence descends, and the word for one entry."""


@dataclass(frozen=True, slots=True)
class Node:
    """One piece of evidence.

    id : section and key, e.g. `fit_checks.F2`.
    base : the revision that it was made from, directly or through its ancestors; None for originals, measurements and
        gauge studies.
    covers : features that it speaks of, sorted.
    parents : ids of what it was made from; another part's entry is `TW-160/tools.die`.
    """

    id: str
    section: str
    key: str
    label: str
    on: dt.date | None
    base: str | None
    covers: tuple[str, ...]
    parents: tuple[str, ...]
    files: tuple[str, ...] = ()


def split_id(node_id: str) -> tuple[str | None, str, str]:
    """Return (other part or None, section, key).

    >>> split_id("TW-160/tools.die")
    ('TW-160', 'tools', 'die')
    """
    part, _, rest = node_id.rpartition("/")
    section, _, key = rest.partition(".")
    return part or None, section, key


def order_revisions(part: Part) -> tuple[str, ...]:
    """Return revision keys from first to last: by day, then by letter or number as a person counts."""
    return tuple(sorted(part.revisions, key=lambda k: (part.revisions[k].on, rank_revision_name(k))))


def rank_revision_name(key: str) -> tuple[tuple[int, int, str], ...]:
    """Return what sorts names of revisions as a person counts.

    >>> sorted(["AA", "10", "B", "Z", "A1", "9", "A"], key=rank_revision_name)
    ['9', '10', 'A', 'A1', 'B', 'Z', 'AA']
    """
    pieces = re.findall(r"[0-9]+|[A-Za-z]+|[^0-9A-Za-z]+", key)
    return tuple((0, int(piece), "") if piece.isdigit() else (1, len(piece), piece) for piece in pieces)


def is_provable(catalogues: Catalogues, process: str, feature: Feature) -> bool:
    """True when the process can prove a feature of that kind at all."""
    need = catalogues.processes.needs.get(feature.kind)
    found = catalogues.processes.processes.get(process)
    return need is not None and found is not None and need in found.proves


def find_interface_features(part: Part, interface: str) -> tuple[str, ...]:
    """Return the features that decide an interface: those of its stack, its coatings, and those it names."""
    entry = part.interfaces.get(interface)
    if entry is None:
        return ()
    names: dict[str, None] = dict.fromkeys(entry.features)
    for link in entry.stack:
        names |= dict.fromkeys(name for name in (link.feature, link.coating) if name is not None)
    for name in list(names):
        coating = part.features[name].coating if name in part.features else None
        if coating is not None:
            names[coating] = None
    return tuple(names)


def compute_prototype_cover(part: Part, prototype: Prototype, catalogues: Catalogues) -> tuple[str, ...]:
    """Return what a prototype can show: what it claims, or all features, as far as its process can prove them."""
    claimed: Iterable[str] = part.features if prototype.covers is None else prototype.covers
    return tuple(
        f for f in claimed if f in part.features and is_provable(catalogues, prototype.process, part.features[f])
    )


def compute_fit_cover(part: Part, check: FitCheck) -> tuple[str, ...]:
    """Return the features that a fit check speaks of: those of the interfaces it measured, and those it names.

    A fit check that names neither speaks of every interface that the part had on its day, or of all features where
    there was none.
    """
    names: dict[str, None] = dict.fromkeys(check.covers)
    for interface in check.gaps or (() if check.covers else find_tried_interfaces(part, check)):
        names |= dict.fromkeys(find_interface_features(part, interface))
    return tuple(names) or tuple(part.features)


def find_tried_interfaces(part: Part, check: FitCheck) -> tuple[str, ...]:
    """Return the interfaces that a fit check was made for: those that the record had on its day."""
    return tuple(key for key, one in part.interfaces.items() if not is_added_after(one, check.on))


def compute_tool_cover(part: Part, tool: Tool) -> tuple[str, ...]:
    """Return the features that a tool gives or checks; a tool that only follows another one takes over its features."""
    names: dict[str, None] = {}
    waiting, seen = [tool], set[str]()
    while waiting:
        one = waiting.pop()
        own = (*one.forms, *one.checks)
        followed = [] if own else [key for key in one.made_to_fit if key in part.tools]
        names |= dict.fromkeys(own if own or followed else part.features)
        waiting += [part.tools[key] for key in followed if key not in seen]
        seen.update(followed)
    return tuple(names) or tuple(part.features)


def find_revision_on(part: Part, order: tuple[str, ...], day: dt.date | None) -> str | None:
    """Return the revision that was current on a day; the last one if the day is None; the first if all are later."""
    if not order:
        return None
    if day is None:
        return order[-1]
    before = [key for key in order if part.revisions[key].on <= day]
    return before[-1] if before else order[0]


def find_tool_revision(part: Part, order: tuple[str, ...], tool: Tool) -> str | None:
    """Return the revision that a tool is cut to."""
    if tool.of is not None:
        return tool.of
    return find_revision_on(part, order, tool.steps.get(ToolStep.ORDERED) or tool.steps.get(ToolStep.QUOTED))


class _NodeMaker:
    """Makes the nodes of one part, section by section, each from those that stand before it."""

    def __init__(self, part: Part, catalogues: Catalogues) -> None:
        self.part = part
        self.catalogues = catalogues
        self.order = order_revisions(part)
        self.nodes: dict[str, Node] = {}

    def add(
        self,
        section: str,
        key: str,
        on: dt.date | None,
        base: str | None,
        covers: Iterable[str],
        parents: Iterable[str],
        files: Iterable[str | None] = (),
    ) -> None:
        """Add one node; covers that the part does not define are dropped (the links room reports them)."""
        known = tuple(sorted({f for f in covers if f in self.part.features}))
        named = tuple(dict.fromkeys(p for p in parents if "/" in p or p in self.nodes or p.startswith("tools.")))
        node_id = f"{section}.{key}"
        label = f"{SECTION_LABELS[section]} {key}"
        files_found = tuple(f for f in files if f is not None)
        self.nodes[node_id] = Node(node_id, section, key, label, on, base, known, named, files_found)

    def find_base(self, key: str) -> tuple[str | None, str | None]:
        """Return (revision, parent id) of a sample by its key: a first article, a prototype or a revision."""
        for section in ("first_articles", "prototypes"):
            entry = getattr(self.part, section).get(key)
            if entry is not None:
                return entry.of, f"{section}.{key}"
        return (key, f"revisions.{key}") if key in self.part.revisions else (None, None)

    def make(self) -> dict[str, Node]:
        """Return all nodes of the part."""
        part = self.part
        for key in part.originals:
            self.add("originals", key, None, None, (), ())
        for key, m in part.measurements.items():
            parents = [f"originals.{m.of}"] + ([f"measurements.{m.replaces}"] if m.replaces else [])
            self.add("measurements", key, m.on, None, m.gives, parents, [m.file])
        self._make_revisions()
        for key, p in part.prototypes.items():
            cover = compute_prototype_cover(part, p, self.catalogues)
            self.add("prototypes", key, p.on, p.of, cover, [f"revisions.{p.of}"], [p.file])
        for key, q in part.quotes.items():
            self.add("quotes", key, q.on, q.of, q.covers or part.features, [f"revisions.{q.of}"], [q.file])
        self._make_tools()
        for key, a in part.first_articles.items():
            cover = (*a.covers, *a.gives) or tuple(part.features)
            parents = [f"revisions.{a.of}", *(self.find_tool_id(t) for t in a.tools)]
            self.add("first_articles", key, a.on, a.of, cover, parents, [a.file, a.settings])
        for key, study in part.gauge_studies.items():
            self.add("gauge_studies", key, study.on, None, [study.feature], (), [study.file])
        for key, run in part.sample_runs.items():
            parents = [f"revisions.{run.of}", *(self.find_tool_id(t) for t in run.tools)]
            self.add("sample_runs", key, run.on, run.of, [run.feature], parents, [run.file])
        for key, f in part.fit_checks.items():
            base, parent = self.find_base(f.with_)
            self.add("fit_checks", key, f.on, base, compute_fit_cover(part, f), [parent] if parent else [], [f.file])
        for key, t in part.tests.items():
            base, parent = self.find_base(t.of)
            self.add("tests", key, t.on, base, t.covers, [parent] if parent else [], [t.file])
        return self.nodes

    def find_tool_id(self, name: str) -> str:
        """Return the node id of a tool of this part, or of the shared tool that is called so."""
        if name in self.part.tools:
            return f"tools.{name}"
        shared = next((u for u in self.part.uses_tools if u.split("/")[1] == name), None)
        return f"tools.{name}" if shared is None else shared.replace("/", "/tools.")

    def _make_revisions(self) -> None:
        before: str | None = None
        for key in self.order:
            revision = self.part.revisions[key]
            parents = [f"measurements.{m}" for m in revision.from_] + ([f"revisions.{before}"] if before else [])
            self.add("revisions", key, revision.on, key, self.part.features, parents, [revision.file])
            before = key

    def _make_tools(self) -> None:
        part = self.part
        for key, tool in part.tools.items():
            base = find_tool_revision(part, self.order, tool)
            parents = [f"revisions.{base}"] if base else []
            parents += [f"quotes.{q}" for q, quote in part.quotes.items() if key in quote.tools and quote.of == base]
            parents += [t.replace("/", "/tools.") if "/" in t else f"tools.{t}" for t in tool.made_to_fit]
            first_day = min(tool.steps.values()) if tool.steps else None
            self.add("tools", key, first_day, base, compute_tool_cover(part, tool), parents, [tool.file])


def build_nodes(part: Part, catalogues: Catalogues) -> dict[str, Node]:
    """Return the evidence nodes of a part by id."""
    return _NodeMaker(part, catalogues).make()
