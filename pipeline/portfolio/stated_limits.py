"""Limits by a class, put in where a record is read: all that comes after sees limits, however they were stated."""

from __future__ import annotations

from dataclasses import replace

from pipeline.model.part import Part
from pipeline.model.workspace import Workspace


def put_limits(part: Part) -> Part:
    """Return a part with the limits that its features' classes give; the part itself where nothing is to be put in."""
    if all(feature.tolerance is None or feature.limits is not None for feature in part.features.values()):
        return part  # the tables are for those who need them: most records state their limits
    from pipeline.fit.stated_limits import resolve_part

    return resolve_part(part)


def put_all_limits(workspace: Workspace) -> Workspace:
    """Return a workspace whose parts have the limits that their features' classes give."""
    parts = {number: put_limits(part) for number, part in workspace.parts.items()}
    if all(part is workspace.parts[number] for number, part in parts.items()):
        return workspace
    return replace(workspace, parts=parts)
