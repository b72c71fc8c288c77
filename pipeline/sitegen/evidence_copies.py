"""Which files of a record the site gets a copy of, where, and in which form."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from urllib.parse import quote, unquote

from pipeline.model.named_files import find_named_files
from pipeline.model.workspace import FileState
from pipeline.portfolio.portfolio import PartFile
from pipeline.sitegen.svg_cleaning import clean_svg
from pipeline.views.addresses import find_evidence_copy

MAX_BYTES = 8_000_000
"""Larger files stay in the workspace; their line says so."""

PICTURES = frozenset({".svg", ".png", ".jpg", ".jpeg", ".gif", ".webp", ".avif"})
ACTIVE = frozenset(
    {
        ".html",
        ".htm",
        ".xhtml",
        ".xht",
        ".shtml",
        ".xml",
        ".xsl",
        ".js",
        ".mjs",
        ".svgz",
        ".mht",
        ".mhtml",
        ".wasm",
        ".hta",
    }
)
"""Kinds that a browser would run: they are handed out as plain text."""


@dataclass(frozen=True)
class Copy:
    """A file of the site: its path there, and either its bytes or the file that they are copied from."""

    path: str
    content: bytes | None = None
    source: Path | None = None


@dataclass(frozen=True)
class PartCopies:
    """The copies of one part: the files, the address by the record's own path, and the picture's address (or none)."""

    copies: tuple[Copy, ...]
    published: dict[str, str]
    picture: str


def find_copies(root: Path, file: PartFile) -> PartCopies:
    """Return what the site takes of one part's files: those that are there, inside the workspace and not too large."""
    copies: list[Copy] = []
    published: dict[str, str] = {}
    for name in dict.fromkeys(name for name, _ in find_named_files(file.part)):
        copy = _copy_one(root, file, name)
        if copy is not None:
            copies.append(copy)
            published[name] = quote(copy.path)
    record = Copy(f"parts/{file.number}/part.yaml", source=root / "projects" / file.number / "part.yaml")
    return PartCopies((*copies, record), published, _find_picture(file, published))


def _is_there(file: PartFile, name: str) -> bool:
    found = file.workspace.files.get((file.number, name))
    if found is None or found.size is None or found.size > MAX_BYTES:
        return False
    return found.state in (FileState.INTACT, FileState.CHANGED, FileState.UNLISTED)


def _copy_one(root: Path, file: PartFile, name: str) -> Copy | None:
    """Return the copy of one file; a drawing is cleaned, what a browser would run is handed out as text."""
    if not _is_there(file, name):
        return None
    source = root / "projects" / file.number / name
    kind = PurePosixPath(name).suffix.lower()
    target = unquote(find_evidence_copy(file.number, name))
    if kind == ".svg":
        clean = clean_svg(source.read_bytes(), follow_scheme=name == file.part.picture)
        return Copy(f"{target}.txt", source=source) if clean is None else Copy(target, content=clean)
    return Copy(f"{target}.txt" if kind in ACTIVE or not kind else target, source=source)


def _find_picture(file: PartFile, published: Mapping[str, str]) -> str:
    """Return the address of the picture; none where it is not there or of a kind that a page does not show."""
    address = published.get(file.part.picture or "", "")
    return address if PurePosixPath(address).suffix.lower() in PICTURES else ""
