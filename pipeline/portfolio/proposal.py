"""What a command means to write: the files, the record as it would be, and every reason against it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from pipeline.findings.finding import Finding, Pointer, render_pointer
from pipeline.model.named_files import find_named_files
from pipeline.portfolio.near import Near, find_new_faults, preview
from pipeline.reading.evidence import LIST_NAME, read_hash
from pipeline.reading.large_files import MAX_POINTER, parse_pointer
from pipeline.reading.source import is_link_inside
from pipeline.writing.encoding import edit_bytes
from pipeline.writing.evidence_list import add_hashes
from pipeline.writing.names import build_safe_name, find_free_name
from pipeline.writing.plans import Plan, PlannedFile, read_bytes_if_there


@dataclass(frozen=True, slots=True)
class Attachment:
    """A file that comes with an edit: its path in the part's folder, its bytes, the hash that is listed for it."""

    path: str
    content: bytes
    sha256: str
    is_there: bool = False


@dataclass(frozen=True)
class Proposal:
    """An edit that was worked out and not yet written.

    after : the record as it would be. pointers : the places that are written. refusals : why it must not be written.
    notes : what a person should know first. subject : the edit in a few words, for a commit.
    """

    plan: Plan
    before: Near
    after: Near
    pointers: tuple[str, ...]
    subject: str
    refusals: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def faults(self) -> tuple[Finding, ...]:
        """Errors that the edit itself would bring."""
        if self.after.part is None:
            return self.after.findings
        return find_new_faults(self.before.findings, self.after.findings, self.pointers)


@dataclass(frozen=True)
class Draft:
    """The parts of a proposal before it is judged: an edit of the text, the places, the files."""

    edit: Callable[[str], str]
    pointers: tuple[Pointer, ...]
    subject: str
    attachments: tuple[Attachment, ...] = ()
    refusals: tuple[str, ...] = ()
    notes: tuple[str, ...] = field(default=())


def build_proposal(near: Near, draft: Draft) -> Proposal:
    """Work an edit out on the bytes that were read, and judge what would come of it.

    Raises EditError where the text does not take the edit.
    """
    content = edit_bytes(near.content or b"", draft.edit)
    new = {a.path: a.sha256 for a in draft.attachments}
    files = [PlannedFile(f"{near.folder}/{a.path}", None, a.content) for a in draft.attachments if not a.is_there]
    if new:
        path = f"{near.folder}/{LIST_NAME}"
        listed = read_bytes_if_there(near.root, path)
        files.append(PlannedFile(path, listed, add_hashes(listed, new)))
    files.append(PlannedFile(near.path, near.content, content))
    after = preview(near, content, new)
    pointers = tuple(render_pointer(pointer) for pointer in draft.pointers)
    return Proposal(Plan(tuple(files)), near, after, pointers, draft.subject, draft.refusals, draft.notes)


def find_duplicate(near: Near, digest: str) -> str | None:
    """Return the listed file of this part that has these very bytes, None where there is none."""
    return next((path for path, listed in near.listed.items() if listed == digest), None)


def attach_file(near: Near, file: Path, taken: Mapping[str, str] | None = None) -> tuple[Attachment, tuple[str, ...]]:
    """Return a file as an attachment, with notes on its name.

    A file that lies in the part's evidence folder stays where it is; any other is copied there under a name that every
    system can hold and that collides with none. taken : paths of this same edit -> hash.
    Raises ValueError on a file that is attached already, OSError where it cannot be read.
    """
    digest, size = read_hash(file)
    pointer = parse_pointer(file.read_bytes()) if size < MAX_POINTER else None
    listed_as = digest if pointer is None else pointer.sha256
    left = _find_left(near, file, digest, listed_as)
    if left is not None:
        note = f"{left} lies there already and no entry names it (a command was stopped half-way): it is taken up"
        return Attachment(left, file.read_bytes(), listed_as, is_there=True), (note,)
    same = find_duplicate(near, listed_as) or next((p for p, d in (taken or {}).items() if d == listed_as), None)
    if same is not None:
        raise ValueError(f"{file.name} is attached already: {same} has these very bytes")
    folder = near.root / near.folder
    inside = _find_place(folder, file)
    if inside is not None:
        return Attachment(inside, file.read_bytes(), listed_as, is_there=True), ()
    return _place_bytes(near, file.name, file.read_bytes(), listed_as, taken or {})


def _find_left(near: Near, file: Path, digest: str, listed_as: str) -> str | None:
    """Return the place of these very bytes among the evidence, where no entry names it: a command was stopped after it
    had copied the file and before it wrote the record. None where there is none."""
    if near.part is None or _find_place(near.root / near.folder, file) is not None:
        return None
    named = {name for name, _ in find_named_files(near.part)}
    own_name = f"evidence/{build_safe_name(file.name)}"
    listed = [path for path, known in near.listed.items() if known == listed_as]
    for path in (*listed, *([] if own_name in near.listed else [own_name])):
        place = near.root / near.folder / path
        is_free = path not in named and place.is_file() and not is_link_inside(near.root, place)
        if is_free and read_hash(place)[0] == digest:
            return path
    return None


def attach_bytes(
    near: Near, name: str, content: bytes, digest: str, taken: Mapping[str, str] | None = None
) -> tuple[Attachment, tuple[str, ...]]:
    """Return bytes that lie in no file yet, such as a reference, as an attachment. Raises ValueError on a duplicate."""
    same = find_duplicate(near, digest)
    if same is not None:
        raise ValueError(f"{name} is attached already: {same} has these very bytes")
    return _place_bytes(near, name, content, digest, taken or {})


def _find_place(folder: Path, file: Path) -> str | None:
    """Return the path in the part's folder of a file that lies in its evidence folder, None for any other."""
    evidence = (folder / "evidence").resolve()
    found = file.resolve()
    return found.relative_to(folder.resolve()).as_posix() if found.is_relative_to(evidence) else None


def _place_bytes(
    near: Near, name: str, content: bytes, digest: str, taken: Mapping[str, str]
) -> tuple[Attachment, tuple[str, ...]]:
    evidence = near.root / near.folder / "evidence"
    there = [entry.name for entry in evidence.iterdir()] if evidence.is_dir() else []
    there += [path.rpartition("/")[2] for path in (*taken, *near.listed)]
    safe = build_safe_name(name)
    free = find_free_name(safe, there)
    notes = []
    if safe != name:
        notes.append(f"{name} is kept as {free}: the name would not do on every system")
    elif free != name:
        notes.append(f"{name} is kept as {free}: another file has that name")
    return Attachment(f"evidence/{free}", content, digest), tuple(notes)
