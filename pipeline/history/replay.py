"""Make a real repository out of dated commits: the same commits give the same hashes, tens of thousands in seconds.

Used to replay the history of a workspace from the dates in its records, and to make histories of any size for tests.
Source: git's manual page git-fast-import(1).
"""

from __future__ import annotations

import re
import subprocess
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import IO, NamedTuple

from pipeline.history.safe_git import Answer, run_git, start_git

MAIN = "main"
_NOON = time(12, 0, 0)
_RESERVED = frozenset(
    {"con", "prn", "aux", "nul", *(f"com{n}" for n in range(1, 10)), *(f"lpt{n}" for n in range(1, 10))}
)
_PLAIN = ("-c", "core.autocrlf=false", "-c", "core.symlinks=false", "-c", "core.protectNTFS=true")
_BRANCH = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_-]*(/[A-Za-z0-9_][A-Za-z0-9_-]*)*")


class PlannedCommit(NamedTuple):
    """One commit to write; a plain tuple of the first five will do. `at`: a day means noon UTC, a moment without a
    zone is UTC. `files`: path -> contents, or None to delete. `branch`: a new one starts where `MAIN` stands.
    `merges`: branches that this commit merges (`files` then says what differs from the first parent)."""

    at: date | datetime
    author: str
    email: str
    message: str
    files: Mapping[str, bytes | None]
    branch: str = MAIN
    merges: tuple[str, ...] = ()


def write_history(folder: Path, commits: Iterable[PlannedCommit | tuple[object, ...]]) -> str:
    """Make `folder` (new or empty) a repository with these commits, branch `MAIN` checked out; give the hash of its
    head.

    Names are cleaned of what git cannot hold and e-mail addresses moved under `example.invalid`, so that no real
    mailbox can be meant. Raises ValueError for a folder that is in use, an impossible path, branch or date, or no
    commits; RuntimeError where git is missing or refuses.

    >>> import datetime, tempfile
    >>> files = {"projects/T/part.yaml": b"part: T"}
    >>> with tempfile.TemporaryDirectory() as place:
    ...     head = write_history(Path(place) / "w", [(datetime.date(2026, 2, 2), "Mara", "mara", "Revision A", files)])
    >>> head
    '7b402d489382c000a4782d7e536f98ac058bae77'
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise ValueError(f"{folder} is not empty: a history is written into a new or empty folder")
    folder.mkdir(parents=True, exist_ok=True)
    _expect(
        run_git(folder, ["init", "--quiet", "--template=", "--object-format=sha1", f"--initial-branch={MAIN}", "."])
    )
    _import(folder, commits)
    _expect(run_git(folder, [*_PLAIN, "reset", "--quiet", "--hard", f"refs/heads/{MAIN}", "--"]))
    answer = _expect(run_git(folder, ["rev-parse", "--verify", f"refs/heads/{MAIN}"]))
    return answer.out.decode("ascii").strip()


def _expect(answer: Answer) -> Answer:
    if answer.code != 0:
        raise RuntimeError(f"git could not write the history: {answer.err.decode('utf-8', 'replace').strip()}")
    return answer


def _import(folder: Path, commits: Iterable[PlannedCommit | tuple[object, ...]]) -> None:
    asked = [
        "-c",
        "fastimport.unpackLimit=0",
        "-c",
        "pack.compression=1",
        "-c",
        "core.compression=1",
        "fast-import",
        "--quiet",
        "--done",
        "--date-format=raw",
        "--depth=20",
    ]
    with tempfile.TemporaryFile() as errors:
        process = start_git(folder, asked, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=errors)
        assert process.stdin is not None
        try:
            _write_stream(process.stdin, commits)
            process.stdin.close()
        except BrokenPipeError:
            pass
        except BaseException:
            process.kill()
            raise
        finally:
            code = process.wait()
        errors.seek(0)
        _expect(Answer(code, b"", errors.read()))


def _write_stream(stream: IO[bytes], commits: Iterable[PlannedCommit | tuple[object, ...]]) -> None:
    started: set[str] = set()
    for given in commits:
        planned = given if isinstance(given, PlannedCommit) else PlannedCommit(*given)  # type: ignore[arg-type]
        stream.write(b"".join(_render_commit(planned, started)))
        started.add(planned.branch)
    if MAIN not in started:
        raise ValueError(f"no commit on {MAIN}: there is nothing to check out")
    stream.write(b"done\n")


def _render_commit(planned: PlannedCommit, started: set[str]) -> Iterator[bytes]:
    for branch in (planned.branch, *planned.merges):
        if not _BRANCH.fullmatch(branch):
            raise ValueError(f"{branch!r} is no branch name: use letters, digits, - and _")
    identity = f"{clean_name(planned.author)} <{clean_email(planned.email)}> {_render_moment(planned.at)}\n"
    yield f"commit refs/heads/{planned.branch}\nauthor {identity}committer {identity}".encode()
    yield _render_data(planned.message.replace("\0", "").encode())
    if planned.branch not in started and started:
        yield f"from refs/heads/{MAIN}\n".encode()
    yield from (f"merge refs/heads/{branch}\n".encode() for branch in planned.merges)
    for path, content in planned.files.items():
        name = check_path(path).encode()
        yield b"D " + name + b"\n" if content is None else b"M 100644 inline " + name + b"\n" + _render_data(content)
    yield b"\n"


def _render_data(content: bytes) -> bytes:
    return b"data %d\n" % len(content) + content + b"\n"


def _render_moment(at: date | datetime) -> str:
    moment = at if isinstance(at, datetime) else datetime.combine(at, _NOON)
    moment = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
    seconds, offset = int(moment.timestamp()), moment.utcoffset()
    minutes = round(offset.total_seconds() / 60) if offset else 0
    if seconds < 0:
        raise ValueError(f"{moment.isoformat()} is before 1970: git cannot date a commit then")
    return f"{seconds} {'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}{abs(minutes) % 60:02d}"


def clean_name(name: str) -> str:
    """A name that git can hold: without control characters, angle brackets and trimmed punctuation; `unknown` if empty.

    >>> clean_name(" Mara <o'Dell>\\n")
    "Mara o'Dell"
    """
    kept = "".join(mark for mark in name if mark.isprintable() and mark not in "<>")
    return " ".join(kept.split()).strip(" .,:;\\\"'") or "unknown"


def clean_email(email: str) -> str:
    """An address under `example.invalid` (RFC 2606: a domain that never exists), from the part before the @.

    >>> clean_email("Mara@shop.example"), clean_email("")
    ('mara@example.invalid', 'unknown@example.invalid')
    """
    local = re.sub(r"[^a-z0-9._-]+", "-", email.partition("@")[0].lower()).strip("-.")
    return f"{local or 'unknown'}@example.invalid"


def check_path(path: str) -> str:
    """Give the path back if every system can check it out inside the folder; else raise ValueError with what is
    wrong."""
    parts = path.split("/")
    if any(part in ("", ".", "..") or (part.lower().startswith(".git") and part not in _GIT_FILES) for part in parts):
        raise ValueError(f"{path!r} leaves the workspace, or names git's own files")
    if any(mark in '<>:"|?*\\' or not mark.isprintable() for mark in path):
        raise ValueError(f"{path!r} holds a character that Windows does not allow in a file name")
    if any(part[-1] in ". " or part.split(".")[0].lower() in _RESERVED for part in parts):
        raise ValueError(f"{path!r} is a name that Windows reserves, or ends in a dot or a blank")
    return path


_GIT_FILES = frozenset({".gitattributes", ".gitignore", ".gitkeep"})
