"""Workspaces built in memory from plain values, for laws that try very many of them."""

from __future__ import annotations

import copy
import datetime as dt
from functools import cache
from typing import Any

from pipeline.findings.sample import SAMPLE_SHARED
from pipeline.model.catalogue import CATALOGUE_FILES, Catalogues
from pipeline.model.part import Part
from pipeline.model.workspace import Workspace
from pipeline.reading.shape import parse_shape
from pipeline.reading.tree import Tree, dump_plain, parse_tree


@cache
def build_catalogues(gates: str | None = None) -> Catalogues:
    """Return the sample's catalogues, with another gate policy if one is given."""
    found = {}
    for name, model in CATALOGUE_FILES.items():
        tree, _ = parse_tree(name, gates if name == "gates" and gates else SAMPLE_SHARED[f"shared/{name}.yaml"])
        assert tree is not None
        found[name] = parse_shape(tree, model)[0]
    return Catalogues.model_construct(None, **found)


def parse_record(value: dict[str, Any]) -> Part:
    """Return a part from plain values."""
    part, findings = parse_shape(Tree("x.yaml", "", dump_plain(value)), Part)
    assert part is not None, findings
    return part


def parse_text(text: str) -> dict[str, Any]:
    """Return the plain values of a record."""
    tree, findings = parse_tree("x.yaml", text)
    assert tree is not None, findings
    return copy.deepcopy(tree.value)


def build_workspace(*values: dict[str, Any], gates: str | None = None) -> Workspace:
    """Return a workspace of these records, in this order; files are not looked at. gates : text of shared/gates.yaml."""
    parts = {value["part"]: parse_record(value) for value in values}
    return Workspace(parts, build_catalogues(gates), {}, dt.date(2026, 6, 1))
