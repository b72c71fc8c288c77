"""The lineage drawing: a laid-out graph. Whoever fills it decides layers and rows; the template only multiplies."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.views.shapes_marks import Mark


@dataclass(frozen=True)
class LineageNode:
    """One piece of evidence or one tool.

    ``id`` is unique in the page (``F2``). ``layer`` counts from 0 at the left (originals) and ``row`` from 0 at
    the top; no two nodes share both.
    ``label`` has at most about 14 letters, ``note`` at most about 18 (``rev C, 20 May``). ``href`` leads to its
    evidence.
    """

    id: str
    layer: int
    row: int
    kind: str
    label: str
    note: str
    mark: Mark
    href: str


@dataclass(frozen=True)
class LineageEdge:
    """*target* was made from *source* (node ids). ``mark`` is STALE where this step is the reason.

    ``via`` are free crossings (layer, row) the line passes, where it would else run through other nodes.
    """

    source: str
    target: str
    mark: Mark
    via: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True)
class LineageFeature:
    """A feature that could change, and the ids of the nodes that a change would make stale, in order of redoing."""

    key: str
    name: str
    makes_stale: tuple[str, ...]
    words: str
    """The same as a sentence: ``5 pieces of evidence: P1, F1, F2, Q1 and the die; 2 to 5 weeks``."""


@dataclass(frozen=True)
class LineageDrawing:
    """The whole drawing. ``layers`` are the heads of the columns. ``words`` says the drawing as a whole."""

    layers: tuple[str, ...]
    nodes: tuple[LineageNode, ...]
    edges: tuple[LineageEdge, ...]
    features: tuple[LineageFeature, ...]
    words: str
