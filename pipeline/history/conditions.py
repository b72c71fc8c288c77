"""What can limit a reading of the history, as values with words that say what to do."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum


class ConditionKind(StrEnum):
    """The named things that can be wrong with a repository or one of its readings."""

    NO_GIT = "no-git"
    GIT_TOO_OLD = "git-too-old"
    NOT_A_REPOSITORY = "not-a-repository"
    OWNED_BY_ANOTHER = "owned-by-another"
    NO_WORK_TREE = "no-work-tree"
    NO_COMMITS = "no-commits"
    DETACHED_HEAD = "detached-head"
    SHALLOW = "shallow"
    UNKNOWN_REVISION = "unknown-revision"
    CORRUPT_OBJECT = "corrupt-object"
    OBJECT_NOT_HERE = "object-not-here"
    CLOCK_AHEAD = "clock-ahead"
    BROKEN_RECORD = "broken-record"
    GIT_FAILED = "git-failed"


_WORDS: dict[ConditionKind, tuple[str, str]] = {
    ConditionKind.NO_GIT: (
        "git was not found on this machine, so nothing is known about who recorded what and when",
        "install git and make sure that it is on the PATH",
    ),
    ConditionKind.GIT_TOO_OLD: (
        "this git is too old to read merges reliably",
        "install git 2.31 or newer",
    ),
    ConditionKind.NOT_A_REPOSITORY: (
        "this folder is not inside a git repository, so nothing is known about who recorded what and when",
        "run git init in the workspace and commit the records",
    ),
    ConditionKind.OWNED_BY_ANOTHER: (
        "the repository belongs to another user of this machine, so git refuses to read it",
        "if you trust its owner, run: git config --global --add safe.directory <the folder>",
    ),
    ConditionKind.NO_WORK_TREE: (
        "this is a repository without a work tree",
        "clone it and work in the clone",
    ),
    ConditionKind.NO_COMMITS: (
        "nothing has been committed yet, so no date can be checked",
        "commit the records",
    ),
    ConditionKind.DETACHED_HEAD: (
        "no branch is checked out (detached HEAD): the history shown is that of the commit checked out",
        "git switch <branch> to see the branch",
    ),
    ConditionKind.SHALLOW: (
        "the clone is shallow: what was recorded before its oldest commit shows that commit's date",
        "git fetch --unshallow",
    ),
    ConditionKind.UNKNOWN_REVISION: (
        "no such revision or day in this history",
        "use a branch, a tag, a commit hash or a day written as YYYY-MM-DD",
    ),
    ConditionKind.CORRUPT_OBJECT: (
        "an object of the repository is damaged and was left out",
        "run git fsck, and fetch the object again from a good clone",
    ),
    ConditionKind.OBJECT_NOT_HERE: (
        "an object is missing from this clone and was left out (nothing is fetched behind your back)",
        "git fetch from a complete clone",
    ),
    ConditionKind.CLOCK_AHEAD: (
        "a commit is dated in the future: the clock of the machine that made it was wrong",
        "set that clock; dates of this commit cannot be believed",
    ),
    ConditionKind.BROKEN_RECORD: (
        "the record could not be read as it stood in this commit; the commit was skipped for its facts",
        "nothing to do if the record reads well today",
    ),
    ConditionKind.GIT_FAILED: (
        "git gave up",
        "run git fsck in the workspace",
    ),
}


@dataclass(frozen=True, slots=True)
class Condition:
    """One thing that limits a reading. `subject` is the commit, path, revision or object that it is about ("" if none);
    `detail` is what git itself said, where that helps."""

    kind: ConditionKind
    subject: str = ""
    detail: str = ""

    @property
    def message(self) -> str:
        """What is the case, in one sentence."""
        about = f"{self.subject}: " if self.subject else ""
        said = f" ({self.detail})" if self.detail else ""
        return f"{about}{_WORDS[self.kind][0]}{said}"

    @property
    def fix(self) -> str:
        """What to do about it."""
        return _WORDS[self.kind][1]


_SIGNS: tuple[tuple[str, ConditionKind], ...] = (
    (r"dubious ownership|unsafe repository", ConditionKind.OWNED_BY_ANOTHER),
    (r"cannot use bare repository|must be run in a work tree", ConditionKind.NO_WORK_TREE),
    (r"not a git repository", ConditionKind.NOT_A_REPOSITORY),
    (r"unrecognized argument: --diff-merges|unknown value for --diff-merges", ConditionKind.GIT_TOO_OLD),
    (r"does not have any commits|bad default revision|ambiguous argument 'HEAD'", ConditionKind.NO_COMMITS),
    (r"promisor|lazy fetch|transport '.*' not allowed", ConditionKind.OBJECT_NOT_HERE),
    (r"corrupt|is empty|bad (object|tree|file)|unable to (read|unpack|parse)|could not (read|parse)|cannot read"
     r"|inflate|bad signature|hash mismatch|failed to (read|parse)|broken", ConditionKind.CORRUPT_OBJECT),
)  # fmt: skip


def parse_refusal(stderr: bytes, subject: str = "") -> Condition:
    """Turn what git wrote on its error stream (English: LC_ALL=C) into a named condition; the last line is the
    detail."""
    text = stderr.decode("utf-8", "replace")
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    detail = next((line for line in lines if line.startswith("fatal:")), lines[-1] if lines else "")
    kind = next((kind for sign, kind in _SIGNS if re.search(sign, text)), ConditionKind.GIT_FAILED)
    return Condition(kind, subject, detail.removeprefix("fatal: ").removeprefix("error: ")[:300])
