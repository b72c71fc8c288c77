"""Files that become evidence: copied or referred to, listed by hash, each once."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Mapping, Sequence
from pathlib import Path

from pipeline.model.named_files import EVIDENCE_SECTIONS
from pipeline.model.part import Part
from pipeline.portfolio.near import Near
from pipeline.portfolio.proposal import Attachment, attach_bytes, attach_file
from pipeline.reading.evidence import read_hash
from pipeline.reading.large_files import REFERENCE_ENDING, LargeFile, parse_reference, render_reference
from pipeline.writing.names import build_file_uri

MAX_COPY = 200_000_000
"""Bytes of a file that is still copied into the repository; a larger one is kept elsewhere and referred to."""


def attach_several(
    near: Near, files: Sequence[Path], taken: Mapping[str, str] | None = None
) -> tuple[list[Attachment], tuple[str, ...]]:
    """Return files as attachments, and notes on their names. Raises ValueError on a duplicate or one too large."""
    found: list[Attachment] = []
    notes: list[str] = []
    hashes = dict(taken or {})
    for file in files:
        if file.stat().st_size > MAX_COPY:
            raise ValueError(
                f"{file.name} has {file.stat().st_size:,} bytes; above {MAX_COPY:,} keep it elsewhere: --reference"
            )
        attachment, more = attach_file(near, file, hashes)
        hashes[attachment.path] = attachment.sha256
        found.append(attachment)
        notes.extend(more)
    return found, tuple(notes)


def attach_reference(
    near: Near, files: Sequence[Path], uri: str | None, sha256: str | None, size: str | None
) -> tuple[list[Attachment], tuple[str, ...]]:
    """Return references to files that stay where they are. Raises ValueError on one that is referred to already."""
    if not files:
        if uri is None or sha256 is None or size is None:
            raise ValueError("a reference needs a file, or --uri, --sha256 and --size")
        name = uri.rstrip("/").rpartition("/")[2] or "file"
        larges = [(name, LargeFile(sha256.lower(), int(size), uri))]
    else:
        larges = []
        for file in files:
            digest, length = read_hash(file)
            larges.append((file.name, LargeFile(digest, length, uri or build_file_uri(file.resolve()))))
    found: list[Attachment] = []
    notes: list[str] = []
    for name, large in larges:
        _refuse_known(near, name, large)
        content = render_reference(large)
        taken = {a.path: a.sha256 for a in found}
        attachment, more = attach_bytes(
            near, name + REFERENCE_ENDING, content, hashlib.sha256(content).hexdigest(), taken
        )
        found.append(attachment)
        notes += [*more, f"{name} is kept at {large.uri}; the record keeps its hash and marks it as kept elsewhere"]
    return found, tuple(notes)


def _refuse_known(near: Near, name: str, large: LargeFile) -> None:
    for path, listed in near.listed.items():
        if listed == large.sha256:
            raise ValueError(f"{name} is attached already: {path} has these very bytes")
        file = near.root / near.folder / path
        if path.endswith(REFERENCE_ENDING) and file.is_file():
            known = parse_reference(file.read_bytes())
            if known is not None and known.sha256 == large.sha256:
                raise ValueError(f"{name} is attached already: {path} refers to these very bytes")


def check_calibration(near: Near, instrument: str, day: dt.date) -> tuple[str, ...]:
    """Return a note on the calibration of an instrument on a day; a warning where it does not hold."""
    found = near.catalogues.resources.instruments.get(instrument)
    if found is None:
        return ()
    state = (
        "in calibration" if found.calibrated <= day <= found.due else "NOT in calibration: the reading will not count"
    )
    certificate = f", certificate {found.certificate}" if found.certificate else ""
    return (f"{instrument} on {day}: {state} (from {found.calibrated} to {found.due}{certificate})",)


def find_entry(part: Part, name: str) -> tuple[str, str]:
    """Return (section, id) of an entry that can name a file. Raises ValueError where there is none, or several."""
    section, dot, key = name.rpartition(".")
    found = [
        (one, key if dot else name)
        for one in EVIDENCE_SECTIONS
        if (not dot or one == section) and (key if dot else name) in getattr(part, one)
    ]
    if len(found) == 1:
        return found[0]
    if found:
        raise ValueError(f"{name} stands in {' and '.join(one for one, _ in found)}; write {found[0][0]}.{name}")
    known = [k for one in EVIDENCE_SECTIONS for k in getattr(part, one)]
    raise ValueError(f"there is no {name}; there is {', '.join(known) or 'nothing yet'}")
