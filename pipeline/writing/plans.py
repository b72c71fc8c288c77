"""A plan of files to write: shown first, written whole, and never over bytes that nobody has looked at."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pipeline.reading.source import is_link_inside
from pipeline.writing.files import sweep_drafts, write_bytes
from pipeline.writing.locks import take_lock


class ChangedMeanwhileError(Exception):
    """A file is no longer what it was when the plan was made."""

    def __init__(self, path: str) -> None:
        super().__init__(f"{path} was changed by somebody else in the meantime")
        self.path = path


@dataclass(frozen=True, slots=True)
class PlannedFile:
    """One file of a plan: its path in the workspace (with `/`), its bytes as they were read (None: it was not there)
    and as they will be."""

    path: str
    before: bytes | None
    after: bytes

    @property
    def is_text(self) -> bool:
        """True when both states can be shown as text."""
        states = [content or b"" for content in (self.before, self.after)]
        return all(b"\0" not in content and _decode(content) is not None for content in states)


@dataclass(frozen=True, slots=True)
class Plan:
    """Files in the order in which they are written: evidence first, its list next, the record that names it last.

    So a program that is stopped between two of them leaves at most a file that no record speaks of yet.
    """

    files: tuple[PlannedFile, ...]

    @property
    def paths(self) -> tuple[str, ...]:
        """The paths that will change."""
        return tuple(file.path for file in self.files if file.before != file.after)


def read_bytes_if_there(root: Path, path: str) -> bytes | None:
    """Return the bytes of a file of the workspace, None where there is none. Raises OSError where it is a link."""
    file = root / path
    if is_link_inside(root, file):
        raise OSError(f"{path} is a link, or lies behind one; nothing is written through links")
    return file.read_bytes() if file.is_file() else None


def render_diff(plan: Plan) -> str:
    """Return the plan as a unified diff; a file that is no text is told with its size."""
    lines: list[str] = []
    for file in plan.files:
        if file.before == file.after:
            continue
        if not file.is_text or len(file.after) > 200_000:
            lines.append(f"new file {file.path} ({len(file.after):,} bytes)" if file.before is None else f"{file.path}")
            continue
        name = "/dev/null" if file.before is None else f"a/{file.path}"
        old, new = _split(file.before), _split(file.after)
        lines += (line.rstrip("\r\n") for line in difflib.unified_diff(old, new, name, f"b/{file.path}", n=2))
    return "\n".join(lines)


def _decode(content: bytes | None) -> str | None:
    try:
        return (content or b"").decode("utf-8")
    except UnicodeDecodeError:
        return None


def _split(content: bytes | None) -> Sequence[str]:
    return (_decode(content) or "").splitlines(keepends=True)


def write_plan(root: Path, plan: Plan, lock: str) -> tuple[str, ...]:
    """Write a plan's files, each in one step, holding the lock `lock` of the workspace. Returns the paths written.

    Raises ChangedMeanwhileError, with nothing written, when a file is not what it was when the plan was made; OSError
    when the disk refuses.
    """
    with take_lock(root, lock):
        return write_plan_holding_lock(root, plan)


def write_plan_holding_lock(root: Path, plan: Plan) -> tuple[str, ...]:
    """Write a plan's files as `write_plan` does, for a caller that holds the lock already. Raises as it does."""
    for file in plan.files:
        if read_bytes_if_there(root, file.path) != file.before:
            raise ChangedMeanwhileError(file.path)
    for file in plan.files:
        sweep_drafts(root / file.path)
        if file.before != file.after:
            write_bytes(root / file.path, file.after)
    return plan.paths
