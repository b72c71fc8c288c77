"""Open a repository, its head, any revision or day in it, and whether one commit follows from another."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from pathlib import Path

from pipeline.history.commits import Commit, build_commit
from pipeline.history.conditions import Condition, ConditionKind, parse_refusal
from pipeline.history.safe_git import run_git

OLDEST_GIT = (2, 31)
COMMIT_FORMAT = "%H%x00%an%x00%ae%x00%cd%x00%ad%x00%s"
DATE_FORMAT = "--date=raw"
_WHERE = ("rev-parse", "--is-inside-work-tree", "--git-path", "shallow", "--show-prefix")


@dataclass(frozen=True, slots=True)
class Repository:
    """A repository that can be read. `folder` is the workspace; `prefix` is its path inside the repository ("" or
    ending in `/`); `floors` are the commits at which a shallow clone was cut."""

    folder: Path
    prefix: str
    head: str
    branch: str | None
    floors: frozenset[str] = frozenset()

    @property
    def is_shallow(self) -> bool:
        """Whether older commits were left out of this clone."""
        return bool(self.floors)


@dataclass(frozen=True, slots=True)
class Opened:
    """A repository, or None, and everything that limits its reading."""

    repository: Repository | None
    conditions: tuple[Condition, ...] = ()


def _close(kind: ConditionKind, subject: str = "", detail: str = "") -> Opened:
    return Opened(None, (Condition(kind, subject, detail),))


def open_repository(folder: Path) -> Opened:
    """Open the repository that holds the workspace `folder`. Never raises for the state of the repository: no git, no
    repository, no commits, another owner, a shallow clone and a detached head are conditions."""
    where = run_git(folder, [*_WHERE, "HEAD^{commit}", "--symbolic-full-name", "HEAD"])
    if where.code == 127:
        return _close(ConditionKind.NO_GIT)
    lines = where.out.decode("utf-8", "surrogateescape").split("\n")
    if where.code != 0 or len(lines) != 6:
        return _explain_refusal(folder)
    inside, shallow, prefix, head, branch, _ = lines
    if inside != "true":
        return _close(ConditionKind.NO_WORK_TREE)
    return _describe(Repository(folder, prefix, head, _name_branch(branch), _read_floors(folder / shallow)))


def _name_branch(full: str) -> str | None:
    """The branch of a full reference name; None for a head that is on none."""
    return full.removeprefix("refs/heads/") if full.startswith("refs/heads/") else None


def _describe(repository: Repository) -> Opened:
    conditions = []
    if repository.branch is None:
        conditions.append(Condition(ConditionKind.DETACHED_HEAD, repository.head[:12]))
    if repository.is_shallow:
        conditions.append(Condition(ConditionKind.SHALLOW))
    return Opened(repository, tuple(conditions))


def _explain_refusal(folder: Path) -> Opened:
    """Ask again in smaller steps, to tell what is the matter."""
    where = run_git(folder, list(_WHERE))
    if where.code != 0:
        return Opened(None, (parse_refusal(where.err),))
    if not where.out.startswith(b"true"):
        return _close(ConditionKind.NO_WORK_TREE)
    exists = run_git(folder, ["rev-parse", "--verify", "--quiet", "HEAD"])
    if exists.code != 0 and run_git(folder, ["symbolic-ref", "--quiet", "HEAD"]).code == 0:
        return _close(ConditionKind.NO_COMMITS)
    return Opened(None, (parse_refusal(run_git(folder, ["cat-file", "-t", "HEAD"]).err, "HEAD"),))


def _read_floors(path: Path) -> frozenset[str]:
    try:
        return frozenset(path.read_text(encoding="ascii", errors="replace").split())
    except OSError:
        return frozenset()


def read_git_version(folder: Path) -> tuple[int, ...] | None:
    """The version of git on this machine, or None where there is none."""
    answer = run_git(folder, ["version"])
    found = re.search(rb"(\d+)\.(\d+)(?:\.(\d+))?", answer.out)
    return tuple(int(part) for part in found.groups() if part) if found else None


def read_commit(repository: Repository, revision: str = "HEAD") -> tuple[Commit | None, tuple[Condition, ...]]:
    """The commit that a revision names; None with a condition where there is none or it is damaged."""
    digest, conditions = find_revision(repository, revision)
    if digest is None:
        return None, conditions
    asked = ["log", "-1", "--no-notes", "--encoding=UTF-8", DATE_FORMAT, f"--format={COMMIT_FORMAT}", digest, "--"]
    answer = run_git(repository.folder, asked)
    parts = answer.out.decode("utf-8", "replace").rstrip("\n").split("\0")
    if answer.code != 0 or len(parts) != 6:
        return None, (parse_refusal(answer.err, revision),)
    return build_commit((parts[0], parts[1], parts[2], parts[3], parts[4], parts[5])), ()


def read_head(repository: Repository) -> tuple[Commit | None, tuple[Condition, ...]]:
    """The commit checked out. Its `committed_at` is the date to build reproducible output with."""
    return read_commit(repository, repository.head)


def find_revision(repository: Repository, revision: str) -> tuple[str | None, tuple[Condition, ...]]:
    """The full hash of the commit that a branch, tag, hash or expression such as `HEAD~3` names. Words that look like
    an option, or that hold a line end or a NUL, name nothing: git is not even asked."""
    unknown = Condition(ConditionKind.UNKNOWN_REVISION, repr(revision)[:120])
    if not revision or revision.startswith("-") or any(mark in revision for mark in "\0\n\r"):
        return None, (unknown,)
    if revision == "HEAD":
        return repository.head, ()
    answer = run_git(repository.folder, ["rev-parse", "--verify", "--quiet", f"{revision}^{{commit}}"])
    digest = answer.out.decode("ascii", "replace").strip()
    if answer.code != 0 or not re.fullmatch(r"[0-9a-f]{40,64}", digest):
        return None, (parse_refusal(answer.err, revision) if b"corrupt" in answer.err else unknown,)
    return digest, ()


def find_revision_at(repository: Repository, moment: datetime) -> tuple[str | None, tuple[Condition, ...]]:
    """The newest commit of the main line (first parents of the head) that is not dated after `moment` (aware; committer
    date). None with a condition where the history starts later."""
    seconds = int(moment.timestamp())
    asked = ["rev-list", "-1", "--first-parent", f"--before={seconds} +0000", repository.head, "--"]
    answer = run_git(repository.folder, asked)
    digest = answer.out.decode("ascii", "replace").strip()
    if answer.code != 0:
        return None, (parse_refusal(answer.err, moment.isoformat()),)
    return (digest, ()) if digest else (None, (Condition(ConditionKind.UNKNOWN_REVISION, moment.isoformat()),))


def find_point(repository: Repository, when: str | date | datetime) -> tuple[str | None, tuple[Condition, ...]]:
    """The commit that a person means by `when`: a moment; a day (its end, in UTC); text that is a day (`2026-11-02`);
    else a revision. A revision that happens to be named like a day is reached as `refs/heads/2026-11-02`."""
    if isinstance(when, datetime):
        return find_revision_at(repository, when if when.tzinfo else when.replace(tzinfo=UTC))
    if isinstance(when, date):
        return find_revision_at(repository, datetime.combine(when, time(23, 59, 59), UTC))
    try:
        return find_point(repository, date.fromisoformat(when))
    except ValueError:
        return find_revision(repository, when)


def is_ancestor(repository: Repository, older: str, newer: str = "HEAD") -> bool:
    """Whether `newer` follows from `older` (a commit follows from itself). False where either is unknown: history that
    a remembered commit is no longer part of was rewritten."""
    first, _ = find_revision(repository, older)
    second, _ = find_revision(repository, newer)
    if first is None or second is None:
        return False
    return run_git(repository.folder, ["merge-base", "--is-ancestor", first, second]).code == 0


class Signature(str):
    """The state of a commit's signature in git's own letter: G good, U good of unknown trust, B bad, X or Y expired, R
    revoked key, E cannot be checked, N none."""


def read_signatures(repository: Repository, hashes: tuple[str, ...]) -> dict[str, Signature]:
    """The signature states of the named commits, verified by git. This is the one reading that starts another program:
    the signature checker of the machine (gpg or ssh-keygen), never one that the repository's configuration names. Call
    it only when a person asked for signatures. Commits that cannot be read are left out."""
    checkers = [
        word
        for setting in (
            "gpg.program=gpg",
            "gpg.openpgp.program=gpg",
            "gpg.x509.program=gpgsm",
            "gpg.ssh.program=ssh-keygen",
        )
        for word in ("-c", setting)
    ]
    wanted = [digest for digest in hashes if re.fullmatch(r"[0-9a-f]{40,64}", digest)]
    given = "".join(f"{digest}\n" for digest in wanted).encode()
    asked = [*checkers, "log", "--no-walk=unsorted", "--stdin", "--no-notes", "--format=%H%x00%G?"]
    answer = run_git(repository.folder, asked, given) if wanted else None
    lines = answer.out.decode("ascii", "replace").splitlines() if answer else []
    return {digest: Signature(state) for digest, _, state in (line.partition("\0") for line in lines) if state}
