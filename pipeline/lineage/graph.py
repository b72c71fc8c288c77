"""The lineage as a graph: cycles, order, and what a change to a feature would make stale."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from graphlib import CycleError, TopologicalSorter
from heapq import heappop, heappush
from typing import Any

from pipeline.lineage.freshness import PartLineage
from pipeline.lineage.nodes import SECTION_LABELS, split_id
from pipeline.model.workspace import Workspace


def order_nodes(lineage: PartLineage) -> tuple[str, ...]:
    """Return node ids so that everything comes after what it was made from; the same graph gives the same order.

    Of what may come next the smallest by section and id comes first (a lexicographical topological order). Where the
    record has a ring, all stand by section and id.
    """
    rank = {section: place for place, section in enumerate(SECTION_LABELS)}

    def sort_key(node_id: str) -> tuple[int, str]:
        return (rank[split_id(node_id)[1]], node_id)

    sorter = TopologicalSorter({node.id: set(node.parents) for node in lineage.nodes.values()})
    try:
        sorter.prepare()
    except CycleError:
        return tuple(sorted({*lineage.nodes, *(p for n in lineage.nodes.values() for p in n.parents)}, key=sort_key))
    ordered: list[str] = []
    ready: list[tuple[tuple[int, str], str]] = []
    while sorter.is_active():
        for node_id in sorter.get_ready():
            heappush(ready, (sort_key(node_id), node_id))
        ordered.append(heappop(ready)[1])
        sorter.done(ordered[-1])
    return tuple(ordered)


def find_affected(lineage: PartLineage, features: Iterable[str]) -> tuple[str, ...]:
    """Return the evidence that a change to these features would make stale: fresh, and covering one of them."""
    wanted = set(features)
    stale_already = {node_id for node_id, reasons in lineage.reasons.items() if reasons}
    return tuple(
        node_id
        for node_id in order_nodes(lineage)
        if node_id in lineage.nodes
        and lineage.nodes[node_id].base is not None
        and lineage.nodes[node_id].section != "revisions"
        and node_id not in stale_already
        and wanted & set(lineage.nodes[node_id].covers)
    )


def find_cycles(workspace: Workspace) -> tuple[tuple[str, ...], ...]:
    """Return the cycles among tools, assemblies, replaced measurements and superseded numbers.

    Each cycle is a tuple of names such as `TW-101/tools.die`, starting with the smallest.
    """
    edges = tuple(_find_edges(workspace))
    before: dict[str, set[str]] = {}
    for first, then in edges:
        before.setdefault(then, set()).add(first)
    try:
        TopologicalSorter(before).prepare()
    except CycleError:
        return _name_cycles(edges)
    return ()


def _name_cycles(edges: Iterable[tuple[str, str]]) -> tuple[tuple[str, ...], ...]:
    import networkx as nx  # a third of a check's start-up time: only where there is a ring to be named

    graph: Any = nx.DiGraph(edges)
    found = []
    for names in nx.strongly_connected_components(graph):
        first = min(names)
        if len(names) > 1 or graph.has_edge(first, first):
            found.append(tuple(edge[0] for edge in nx.find_cycle(graph.subgraph(names), first)))
    return tuple(sorted(found))


def _find_edges(workspace: Workspace) -> Iterator[tuple[str, str]]:
    """Yield (what comes first, what follows it)."""
    for number, part in workspace.parts.items():
        for key, tool in part.tools.items():
            for other in tool.made_to_fit:
                target = other.replace("/", "/tools.") if "/" in other else f"{number}/tools.{other}"
                yield (target, f"{number}/tools.{key}")
        for component in part.made_of.values():
            if component.part is not None:
                yield (f"{component.part}/made_of", f"{number}/made_of")
        for key, measurement in part.measurements.items():
            if measurement.replaces is not None:
                yield (f"{number}/measurements.{measurement.replaces}", f"{number}/measurements.{key}")
        for old in part.supersedes:
            yield (f"{old.number}/supersedes", f"{number}/supersedes")
