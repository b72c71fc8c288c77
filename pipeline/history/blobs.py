"""One batch reader for the contents of objects: every blob of a reading comes through one `cat-file --batch`."""

from __future__ import annotations

import contextlib
import subprocess
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from types import TracebackType
from typing import IO

from pipeline.history.conditions import Condition, ConditionKind, parse_refusal
from pipeline.history.repository import Repository
from pipeline.history.safe_git import run_git, start_git

_MOST_QUESTIONS = 20
AT_ONCE = 60
"""So many hashes (64 characters and a line end at most) fit into the smallest pipe of any system (4 KiB), so that
asking never waits for an answer that nobody takes."""


class BlobReader:
    """Asks one git process for contents, as often as is wanted; to be used in a `with` statement."""

    def __init__(self, repository: Repository) -> None:
        self._folder = repository.folder
        self._process: subprocess.Popen[bytes] | None = None
        self._errors: IO[bytes] | None = None
        self._asked = 0

    def __enter__(self) -> BlobReader:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> bytes:
        """End the process, and return what it said on its error stream."""
        process, errors = self._process, self._errors
        self._process = self._errors = None
        if process is None or errors is None:
            return b""
        assert process.stdin is not None and process.stdout is not None
        process.stdout.close()
        process.kill()
        process.wait()
        with contextlib.suppress(OSError):  # what was asked and not taken is lost, as it should be
            process.stdin.close()
        with errors:
            errors.seek(0)
            return errors.read()

    def read(self, hashes: Iterable[str]) -> Iterator[tuple[str, bytes | Condition]]:
        """The contents of the named blobs, in the order given, each once. One that is missing, is no blob, or is
        damaged gives a Condition in its place; the others still come (git stops at a damaged object, so it is started
        anew behind it). Take all of them before you ask for more."""
        waiting = list(dict.fromkeys(hashes))
        while waiting:
            some, done = waiting[:AT_ONCE], 0
            try:
                for digest, content in self._ask(some):
                    done += 1
                    yield digest, self._explain(content)
            finally:
                said = self.close() if done < len(some) else b""
            if done < len(some):
                yield some[done], parse_refusal(said, some[done])
                done += 1
            waiting = waiting[done:]

    def _ask(self, hashes: list[str]) -> Iterator[tuple[str, bytes | Condition]]:
        if self._process is None:
            pipe, self._errors = subprocess.PIPE, tempfile.TemporaryFile()  # noqa: SIM115 (closed with the process)
            self._process = start_git(
                self._folder, ["cat-file", "--batch"], stdin=pipe, stdout=pipe, stderr=self._errors, bufsize=1 << 18
            )
        process = self._process
        assert process.stdin is not None and process.stdout is not None
        try:
            process.stdin.write("".join(f"{digest}\n" for digest in hashes).encode())
            process.stdin.flush()
        except OSError:
            return  # it stopped at what was asked before
        for digest in hashes:
            content = _read_one(process.stdout, digest)
            if content is None:
                return
            yield digest, content

    def _explain(self, content: bytes | Condition) -> bytes | Condition:
        """The batch calls a damaged loose object missing too; asked for it alone, git says what is the matter."""
        if not isinstance(content, Condition) or self._asked >= _MOST_QUESTIONS:
            return content
        self._asked += 1
        return _explain_missing(self._folder, content)


def read_blobs(repository: Repository, hashes: Iterable[str]) -> Iterator[tuple[str, bytes | Condition]]:
    """The contents of the named blobs, in the order given, each once (see `BlobReader.read`)."""
    with BlobReader(repository) as reader:
        yield from reader.read(hashes)


def _explain_missing(folder: Path, missing: Condition) -> Condition:
    if missing.kind is not ConditionKind.OBJECT_NOT_HERE:
        return missing
    found = parse_refusal(run_git(folder, ["cat-file", "-t", missing.subject]).err, missing.subject)
    return found if found.kind is ConditionKind.CORRUPT_OBJECT else missing


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
