"""One batch reader for the contents of objects: every blob of a reading comes through one `cat-file --batch`."""

from __future__ import annotations

import subprocess
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from threading import Thread
from typing import IO

from pipeline.history.conditions import Condition, ConditionKind, parse_refusal
from pipeline.history.repository import Repository
from pipeline.history.safe_git import run_git, start_git

_MOST_QUESTIONS = 20


def read_blobs(repository: Repository, hashes: Iterable[str]) -> Iterator[tuple[str, bytes | Condition]]:
    """The contents of the named blobs, in the order given, each once. One that is missing, is no blob, or is damaged
    gives a Condition in its place; the others still come (git stops at a damaged object, so the reader starts anew
    behind it).
    """
    waiting = list(dict.fromkeys(hashes))
    asked = 0
    while waiting:
        done = 0
        with tempfile.TemporaryFile() as errors:
            for digest, content in _read_until_it_stops(repository.folder, waiting, errors):
                done += 1
                if isinstance(content, Condition) and asked < _MOST_QUESTIONS:
                    asked += 1
                    yield digest, _explain_missing(repository.folder, content)
                else:
                    yield digest, content
            if done < len(waiting):
                errors.seek(0)
                yield waiting[done], parse_refusal(errors.read(), waiting[done])
        waiting = waiting[done + 1 :]


def _explain_missing(folder: Path, missing: Condition) -> Condition:
    """The batch calls a damaged loose object missing too; asked for it alone, git says what is the matter."""
    if missing.kind is not ConditionKind.OBJECT_NOT_HERE:
        return missing
    found = parse_refusal(run_git(folder, ["cat-file", "-t", missing.subject]).err, missing.subject)
    return found if found.kind is ConditionKind.CORRUPT_OBJECT else missing


def _read_until_it_stops(folder: Path, hashes: list[str], errors: IO[bytes]) -> Iterator[tuple[str, bytes | Condition]]:
    pipe = subprocess.PIPE
    process = start_git(folder, ["cat-file", "--batch"], stdin=pipe, stdout=pipe, stderr=errors, bufsize=1 << 18)
    assert process.stdin is not None and process.stdout is not None
    feeder = Thread(target=_feed, args=(process.stdin, hashes), daemon=True)
    feeder.start()
    try:
        for digest in hashes:
            content = _read_one(process.stdout, digest)
            if content is None:
                return
            yield digest, content
    finally:
        process.stdout.close()
        process.kill()
        process.wait()
        feeder.join()


def _feed(stream: IO[bytes], hashes: list[str]) -> None:
    """Ask for everything without waiting for answers; a reader that stopped early just breaks the pipe."""
    try:
        stream.write("".join(f"{digest}\n" for digest in hashes).encode())
        stream.close()
    except OSError:
        return


def _read_one(stream: IO[bytes], digest: str) -> bytes | Condition | None:
    header = stream.readline().split()
    if len(header) < 2:
        return None
    if header[-1] == b"missing":
        return Condition(ConditionKind.OBJECT_NOT_HERE, digest)
    size = int(header[2])
    content = stream.read(size + 1)
    if len(content) != size + 1:
        return None
    return content[:-1] if header[1] == b"blob" else Condition(ConditionKind.CORRUPT_OBJECT, digest, "not a file")
