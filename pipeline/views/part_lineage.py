"""The lineage drawing: layers from originals to first articles, rows without collisions, long lines led round boxes.

The method is the usual one for layered drawings of graphs: put each node in a layer, give a line that spans several
layers a crossing in each, order every layer by the mean row of what leads to it (barycentre). Source: K. Sugiyama,
S. Tagawa, M. Toda, Methods for Visual Understanding of Hierarchical System Structures, IEEE Transactions on Systems,
Man and Cybernetics 11 (1981), from memory.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from pipeline.lineage.freshness import PartLineage
from pipeline.lineage.graph import find_affected
from pipeline.lineage.nodes import Node
from pipeline.model.words import Hand, ToolStep
from pipeline.portfolio.portfolio import PartFile
from pipeline.views.addresses import Anchors, find_part_page, name_gate_anchor
from pipeline.views.change_cost import render_span, render_weeks
from pipeline.views.part_evidence import judge_freshness
from pipeline.views.shapes_lineage import LineageDrawing, LineageEdge, LineageFeature, LineageNode
from pipeline.views.shapes_marks import Mark
from pipeline.views.states import find_tool_mark
from pipeline.views.wording import shorten, word_count, word_day, word_list

_LAYERS = (
    "originals",
    "measurements",
    "revisions",
    "prototypes",
    "trials",
    "quotes",
    "tools",
    "fitted tools",
    "articles",
)
_HEADS = {
    "originals": "originals",
    "measurements": "measured",
    "revisions": "revisions",
    "prototypes": "prototypes",
    "trials": "fit checks, tests",
    "quotes": "quotes",
    "tools": "tools",
    "fitted tools": "made to fit",
    "articles": "articles, refits",
}
_WIDTH = 1152
_TO_COME = "first article to come"
MOST_NAMED = 30
"""So many pieces that a change would make stale are named: without a script nothing else tells them."""


@dataclass(frozen=True)
class _Box:
    """A node of the drawing before it has a place."""

    id: str
    layer: str
    kind: str
    label: str
    note: str
    mark: Mark
    href: str
    parents: tuple[str, ...]


def build_lineage(file: PartFile, anchors: Anchors) -> LineageDrawing | None:
    """Lay out everything that a part's evidence descends from; None for a part without evidence."""
    boxes = {box.id: box for box in _find_boxes(file, anchors)}
    if len(boxes) < 2:
        return None
    used = [layer for layer in _LAYERS if any(box.layer == layer for box in boxes.values())]
    place = {box.id: used.index(box.layer) for box in boxes.values()}
    edges = _find_edges(boxes, place)
    rows, via = _order_rows(list(boxes), place, edges, len(used))
    width = min(_WIDTH / max(len(used), 4) - 30, 140)
    ids = {box.id: _name_box(box, anchors) for box in boxes.values()}
    nodes = tuple(
        LineageNode(
            ids[box.id],
            place[box.id],
            rows[box.id],
            box.kind,
            shorten(box.label, min(_count_letters(width, box.mark, 6.5), 14)),
            shorten(box.note, min(_count_letters(width, box.mark, 5.7), 20)),
            box.mark,
            box.href,
        )
        for box in sorted(boxes.values(), key=lambda b: (place[b.id], rows[b.id]))
    )
    shown = tuple(
        LineageEdge(ids[a], ids[b], _mark_edge(file.lineage, boxes, a, b), via.get((a, b), ())) for a, b in edges
    )
    features = _build_features(file, ids)
    return LineageDrawing(tuple(_HEADS[one] for one in used), nodes, shown, features, _word_drawing(file, boxes))


def _count_letters(width: float, mark: Mark, letter: float) -> int:
    """Return how many letters of a width fit into a box; a hatched band takes room."""
    return int((width - (20 if mark is Mark.STALE else 11)) / letter)


def _name_box(box: _Box, anchors: Anchors) -> str:
    return anchors.find(box.id) if anchors.has(box.id) else box.id.replace(" ", "-")


def _word_drawing(file: PartFile, boxes: Mapping[str, _Box]) -> str:
    stale = [box.label for box in boxes.values() if box.mark is Mark.STALE]
    words = f"Lineage of {file.number}, {word_count(len(boxes), 'piece')} of evidence and tools"
    return words + (f"; stale: {word_list(stale, 8)}." if stale else "; nothing is stale.")


# --- boxes ----------------------------------------------------------------------------------------


def _find_boxes(file: PartFile, anchors: Anchors) -> Iterable[_Box]:
    foreign: dict[str, None] = {}
    for node in file.lineage.nodes.values():
        foreign |= dict.fromkeys(parent for parent in node.parents if "/" in parent)
        yield _build_box(file, anchors, node)
    for node_id in foreign:
        number, _, rest = node_id.partition("/")
        layer = "tools" if rest.startswith("tools.") else "articles"
        label = f"{number} {rest.partition('.')[2]}"
        yield _Box(
            node_id, layer, "tool of another part", label, "another record", Mark.IN_HAND, anchors.link(node_id), ()
        )
    if file.part.tools and not file.part.first_articles:
        gate = f"{find_part_page(file.number)}#{name_gate_anchor(list(file.standing.gates)[-1])}"
        tools = tuple(f"tools.{key}" for key in file.part.tools)
        yield _Box(_TO_COME, "articles", "first article", "first article", "not yet", Mark.MISSING, gate, tools)


def _build_box(file: PartFile, anchors: Anchors, node: Node) -> _Box:
    mark, _ = judge_freshness(file, node) if node.section != "tools" else (_mark_tool(file, node), "")
    label = f"rev {node.key}" if node.section == "revisions" else node.key
    kind = node.label.rpartition(" ")[0]
    return _Box(
        node.id, _find_layer(file, node), kind, label, _word_note(file, node), mark, anchors.link(node.id), node.parents
    )


def _mark_tool(file: PartFile, node: Node) -> Mark:
    return find_tool_mark(file.part.tools[node.key]) if file.lineage.is_fresh(node.id) else Mark.STALE


def _find_layer(file: PartFile, node: Node) -> str:
    if node.section == "tools":
        return "fitted tools" if file.part.tools[node.key].made_to_fit else "tools"
    if node.section in ("fit_checks", "tests"):
        late = any(parent.startswith("first_articles.") for parent in node.parents)
        return "articles" if late else "trials"
    return _PLAIN_LAYERS.get(node.section, node.section)


_PLAIN_LAYERS = {"first_articles": "articles", "sample_runs": "articles", "gauge_studies": "measurements"}


def _word_note(file: PartFile, node: Node) -> str:
    part = file.part
    if node.section == "originals":
        original = part.originals[node.key]
        return f"{original.condition}" + ("" if original.hand is Hand.NONE else f", {original.hand}")
    if node.section == "revisions":
        return word_day(node.on, year=False) + "".join(f", {key}" for key in part.revisions[node.key].changed or ())
    if node.section == "fit_checks":
        check = part.fit_checks[node.key]
        return check.fits + ("" if check.hand is Hand.NONE else f", {check.hand}")
    if node.section == "tools":
        state = part.tools[node.key].state
        when = "" if state is None else f" {word_day(part.tools[node.key].steps[state], year=False)}"
        return f"{state or 'not quoted'}{when}"
    if node.section == "quotes":
        return f"rev {part.quotes[node.key].of}, {word_day(node.on, year=False)}"
    if node.section == "tests":
        return part.tests[node.key].kind
    if node.section == "prototypes":
        return f"rev {part.prototypes[node.key].of}, {part.prototypes[node.key].process}"
    return word_day(node.on, year=False)


# --- edges and rows -------------------------------------------------------------------------------


def _find_edges(boxes: Mapping[str, _Box], place: Mapping[str, int]) -> list[tuple[str, str]]:
    """Return the lines to draw: forward ones only, less those that a longer way says already."""
    parents = {box.id: [p for p in box.parents if p in boxes and place[p] < place[box.id]] for box in boxes.values()}
    above: dict[str, frozenset[str]] = {}

    def find_above(node: str) -> frozenset[str]:
        if node not in above:
            above[node] = frozenset(x for p in parents[node] for x in (p, *find_above(p)))
        return above[node]

    return [
        (parent, box)
        for box in boxes
        for parent in parents[box]
        if not any(parent in find_above(other) for other in parents[box] if other != parent)
    ]


def _order_rows(
    boxes: Sequence[str], place: Mapping[str, int], edges: Sequence[tuple[str, str]], layers: int
) -> tuple[dict[str, int], dict[tuple[str, str], tuple[tuple[int, int], ...]]]:
    """Return row of every box, and the crossings of every line that spans several layers.

    Lines that leave one box share their crossings.
    """
    inside: list[list[tuple[str, int]]] = [[] for _ in range(layers)]
    for box in boxes:
        inside[place[box]].append((box, place[box]))
    crossed = {(a, layer) for a, b in edges for layer in range(place[a] + 1, place[b])}
    for source, layer in sorted(crossed):
        inside[layer].append((source, layer))
    leads: dict[tuple[str, int], list[tuple[str, int]]] = {}
    for a, b in edges:
        steps = [(a, layer) for layer in range(place[a], place[b])] + [(b, place[b])]
        for before, after in pairwise(steps):
            if before not in leads.setdefault(after, []):
                leads[after].append(before)
    rows: dict[tuple[str, int], int] = {}
    for items in inside:
        known = {item: at for at, item in enumerate(items)}
        centres = {item: _find_centre(leads.get(item, ()), rows, at) for item, at in known.items()}
        if any(name.startswith("revisions.") and place[name] == at for name, at in items):
            centres = {item: float(at) for item, at in known.items()}  # revisions stand in the order of their issue
        order = sorted(items, key=lambda item: (centres[item], known[item]))
        rows |= {item: at for at, item in enumerate(order)}
    via = {
        (a, b): tuple((layer, rows[(a, layer)]) for layer in range(place[a] + 1, place[b]))
        for a, b in edges
        if place[b] - place[a] > 1
    }
    return {box: rows[(box, place[box])] for box in boxes}, via


def _find_centre(leads: Sequence[tuple[str, int]], rows: Mapping[tuple[str, int], int], default: int) -> float:
    """Return the mean row of what leads to a box; a box that nothing leads to keeps its place."""
    return sum(rows[lead] for lead in leads) / len(leads) if leads else float(default)


def _mark_edge(lineage: PartLineage, boxes: Mapping[str, _Box], source: str, target: str) -> Mark:
    """Return the line kind of a step: stale where it is part of the way down from what changed."""
    if any((source, target) in pairwise(r.path) for r in lineage.reasons.get(target, ())):
        return Mark.STALE
    if boxes[target].mark in (Mark.MISSING, Mark.PLANNED):
        return boxes[target].mark
    return Mark.PROVEN if boxes[target].mark is Mark.PROVEN else Mark.IN_HAND


# --- what a change would make stale ---------------------------------------------------------------


def _build_features(file: PartFile, ids: Mapping[str, str]) -> tuple[LineageFeature, ...]:
    affected = find_affected(file.lineage, file.part.features)
    made = []
    for key, feature in file.part.features.items():
        nodes = [one for one in affected if key in file.lineage.nodes[one].covers and one in ids]
        made.append(
            LineageFeature(key, feature.what, tuple(ids[one] for one in nodes), _word_affected(file, key, nodes))
        )
    return tuple(made)


def _word_affected(file: PartFile, feature: str, nodes: Sequence[str]) -> str:
    if not nodes:
        return "nothing that is fresh today"
    words = f"{word_count(len(nodes), 'piece')}: {word_list([_name(file, one) for one in nodes], MOST_NAMED)}"
    found = None if file.ladder is None else next((o for o in file.ladder.features if o.feature == feature), None)
    if found is None or found.today.total.high == 0:
        return words
    currency = file.workspace.catalogues.money.currency
    least = " at least" if found.today.missing else ""
    return f"{words}; {render_weeks(found.today.weeks)} weeks, {render_span(found.today.total)} {currency}{least}"


def _name(file: PartFile, node_id: str) -> str:
    node = file.lineage.nodes[node_id]
    if node.section != "tools":
        return node.key
    made = ToolStep.CUTTING in file.part.tools[node.key].steps
    return f"{node.key} (cut)" if made else node.key
