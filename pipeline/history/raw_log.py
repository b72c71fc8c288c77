"""The raw log, read once: every commit with what it changed against its first parent.

Git is asked for the newest commit first, which is the order in which its objects lie: a fifth quicker than parents
first. The reader turns the list round.

Merges show their difference from the first parent (`--diff-merges=first-parent`), so that the state of every commit is
exactly that of its first parent with the listed files replaced, whatever a merge did.
"""

from __future__ import annotations

import re
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import islice
from typing import IO

from pipeline.history.commits import RawCommit
from pipeline.history.conditions import Condition, ConditionKind, parse_refusal
from pipeline.history.repository import DATE_FORMAT, Repository, read_git_version
from pipeline.history.safe_git import start_git

_ARGUMENTS = (
    "log", "--topo-order", "--raw", "-z", "--no-abbrev", "--no-renames", "--diff-merges=first-parent",
    "--no-ext-diff", "--no-textconv", "--no-notes", "--no-color", "--encoding=UTF-8", DATE_FORMAT,
    "--format=%x01%H%x00%P%x00%an%x00%ae%x00%cd%x00%ad%x00%s",
)  # fmt: skip
_FILE_MODES = (b"100644", b"100755", b"100664")
_ENTRY = re.compile(rb":(\d{6}) (\d{6}) ([0-9a-f]{40,64}) ([0-9a-f]{40,64}) [A-Z]\d*")


class DamagedLog(ValueError):
    """Bytes that no git writes: the log was cut off or changed on its way."""


@dataclass(frozen=True, slots=True)
class FileChange:
    """One file of one commit against its first parent; a blob is None where the file is not there (or is no plain
    file)."""

    path: str
    old_blob: str | None
    new_blob: str | None


@dataclass(slots=True)
class LoggedCommit:
    """One commit of the log with its parents (all of them, in order) and the files under the workspace that it
    changed."""

    raw: RawCommit
    parents: tuple[str, ...]
    files: list[FileChange] = field(default_factory=list)


@dataclass(slots=True)
class RawLog:
    """A reading of the log: commits, parents first; `conditions` say where damage ended it early."""

    commits: list[LoggedCommit]
    conditions: list[Condition]


Look = Callable[[list[LoggedCommit]], None]
AT_ONCE = 200
"""So many commits fill the pipe of git: while they are looked at, git gets the next ones ready."""


def read_raw_log(repository: Repository, head: str, beyond: str | None = None, look: Look | None = None) -> RawLog:
    """Read the log of `head`, without what `beyond` already holds (full hashes; None: everything). A damaged object
    ends the reading early with a condition; the commits before it are given.

    look : is shown the commits as they come, some at a time, the newest first, while git works on the next ones. What
    is shown is not always given: where the log is damaged it is read again from its beginning.
    """
    span = [head] if beyond is None else [head, f"^{beyond}"]
    conditions: list[Condition] = []
    commits: list[LoggedCommit] = []
    stream = _read_commits(repository, span, conditions)
    while some := list(islice(stream, AT_ONCE)):
        commits += some
        if look is not None:
            look(some)
    if not conditions:
        commits.reverse()
        return RawLog(commits, conditions)
    again: list[Condition] = []
    return RawLog(list(_read_commits(repository, ["--reverse", *span], again)), again or conditions)


def _read_commits(repository: Repository, span: list[str], conditions: list[Condition]) -> Iterator[LoggedCommit]:
    with tempfile.TemporaryFile() as errors:
        process = start_git(
            repository.folder,
            [*_ARGUMENTS, *span, "--"],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=errors,
        )
        assert process.stdout is not None
        try:
            yield from parse_raw_log(process.stdout, repository.prefix.encode("utf-8", "surrogateescape"))
        except DamagedLog as error:
            conditions.append(Condition(ConditionKind.GIT_FAILED, detail=str(error)))
        finally:
            process.stdout.close()
            process.wait()
        if process.returncode != 0:
            errors.seek(0)
            conditions.append(_explain(repository, errors.read()))


def _explain(repository: Repository, stderr: bytes) -> Condition:
    refusal = parse_refusal(stderr, "log")
    if refusal.kind is ConditionKind.GIT_TOO_OLD:
        version = read_git_version(repository.folder) or ()
        return Condition(refusal.kind, detail="this is git " + ".".join(map(str, version)))
    return refusal


def _split_stream(stream: IO[bytes], size: int = 1 << 20) -> Iterator[list[bytes]]:
    """Tokens between NUL bytes, in lists, without holding the whole log."""
    rest = b""
    while chunk := stream.read(size):
        tokens = (rest + chunk).split(b"\0")
        rest = tokens.pop()
        yield tokens
    if rest:
        yield [rest]


def parse_raw_log(stream: IO[bytes], prefix: bytes = b"") -> Iterator[LoggedCommit]:
    """Commits from the bytes of the log. Only files under `prefix` are given, relative to it.

    Raises DamagedLog at bytes that git never writes; the commits before them have been given.
    """
    current: LoggedCommit | None = None
    header: list[bytes] = []
    entry: bytes | None = None
    for tokens in _split_stream(stream):
        for token in tokens:
            if entry is not None:
                _add_file(current, entry, token, prefix)
                entry = None
            elif header and len(header) < 7:
                header.append(token)
                if len(header) == 7:
                    current = _build_logged(header)
            elif token[:1] == b"\1":
                if current is not None:
                    yield current
                header = [token[1:]]
            elif token.lstrip(b"\n")[:1] == b":":
                entry = token
    if current is not None:
        yield current


def _build_logged(header: list[bytes]) -> LoggedCommit:
    digest, parents, author, email, committed, authored, subject = (part.decode("utf-8", "replace") for part in header)
    return LoggedCommit((digest, author, email, committed, authored, subject), tuple(parents.split()))


def _add_file(commit: LoggedCommit | None, entry: bytes, path: bytes, prefix: bytes) -> None:
    found = _ENTRY.fullmatch(entry.lstrip(b"\n"))
    if found is None:
        raise DamagedLog(f"the log holds {entry[:40]!r} where a change of a file should stand")
    if commit is None or not path.startswith(prefix):
        return
    old_mode, new_mode, old, new = found.groups()
    old_blob = old.decode("ascii") if old_mode in _FILE_MODES else None
    new_blob = new.decode("ascii") if new_mode in _FILE_MODES else None
    if old_blob != new_blob:
        text = path[len(prefix) :].decode("utf-8", "surrogateescape")
        commit.files.append(FileChange(text, old_blob, new_blob))
