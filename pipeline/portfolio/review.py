"""The review: the workspace as it stood at a commit, a day or the last review, and what moved since."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from pipeline.gates.standing import compute_standings
from pipeline.history.blobs import read_blobs
from pipeline.history.commits import ChangeKind, Commit
from pipeline.history.conditions import Condition, ConditionKind
from pipeline.history.past import PastState, compare_trees, read_state_at
from pipeline.history.repository import Opened, Repository, is_ancestor, open_repository
from pipeline.lineage.freshness import compute_lineage
from pipeline.model.review import Review
from pipeline.model.workspace import EvidenceFile, FileState, Workspace
from pipeline.portfolio.moves import Move, State, find_moves
from pipeline.portfolio.portfolio import Portfolio
from pipeline.portfolio.stated_limits import put_all_limits
from pipeline.reading.past import NamedFile, PastRecords, build_past_workspace, judge_content, read_past_records
from pipeline.reading.reviews import find_last_review, read_reviews

WANTED = ("projects/*/part.yaml", "projects/*/evidence.sha256", "shared/*.yaml")


@dataclass(frozen=True)
class Since:
    """From where a review looks: `words` as a person says it, the day that the past state is judged as of, and what git
    is asked for: a commit, or a day (its end)."""

    words: str
    day: dt.date | None
    point: str | dt.date
    review: Review | None = None


@dataclass(frozen=True)
class ReviewResult:
    """A review. `commit` is the commit that the past state was read from (None: the history begins later, or there is
    none). `moves` is None where no past state could be read: `conditions` say why. `borrowed` names catalogues of today
    that stood in for unreadable ones, `broken` the records that could not be read as they stood."""

    since: Since
    day: dt.date
    until: dt.date
    commit: Commit | None
    moves: tuple[Move, ...] | None
    conditions: tuple[Condition, ...]
    borrowed: tuple[str, ...] = ()
    broken: tuple[str, ...] = ()


def choose_since(root: Path, portfolio: Portfolio, asked: str | None = None) -> Since:
    """Return from where to look: what was asked for, else the last recorded review, else one review's time ago.

    A day means that whole day: the state at the end of the day before. Raises ValueError where the catalogues cannot be
    used.
    """
    if portfolio.workspace is None:
        raise ValueError("the catalogues in shared/ cannot be used; mend them first")
    today = portfolio.workspace.today
    if asked is not None:
        try:
            day = dt.date.fromisoformat(asked)
        except ValueError:
            return Since(asked, None, asked)
        return Since(f"{day}", day - dt.timedelta(days=1), day - dt.timedelta(days=1))
    last = find_last_review([r for r in read_reviews(root)[0] if r.on <= today])
    if last is not None:
        return Since("the last review", last.on, last.head or last.on, last)
    day = today - dt.timedelta(days=portfolio.workspace.catalogues.shop.review_every_days)
    return Since(f"{day}", day - dt.timedelta(days=1), day - dt.timedelta(days=1))


def review_since(root: Path, portfolio: Portfolio, since: Since, opened: Opened | None = None) -> ReviewResult:
    """Compare the workspace on disk with what it was. Never raises for what a repository or a record holds; writes
    nothing. `opened`: the repository, if it is open already."""
    workspace = portfolio.workspace
    if workspace is None:
        raise ValueError("the catalogues in shared/ cannot be used; mend them first")
    opened = opened or open_repository(root)
    today = workspace.today
    day = min(since.day or today, today)
    if opened.repository is None:
        return ReviewResult(since, day, today, None, None, opened.conditions)
    past = read_state_at(opened.repository, since.point, WANTED)
    conditions = (*opened.conditions, *past.conditions)
    if past.commit is None:
        is_young = isinstance(since.point, dt.date) and _is_only_unknown(past.conditions)
        if not is_young:
            return ReviewResult(since, day, today, None, None, conditions)
        moves = find_moves(build_empty(workspace, day), build_present(portfolio))
        return ReviewResult(since, day, today, None, moves, opened.conditions)
    if since.day is None:
        day = min(past.commit.committed_at.date(), today)
    return _compare(opened.repository, portfolio, since, day, past, conditions)


def _is_only_unknown(conditions: tuple[Condition, ...]) -> bool:
    return all(c.kind is ConditionKind.UNKNOWN_REVISION for c in conditions)


def build_present(portfolio: Portfolio) -> State:
    """Return the workspace as it is read and judged today."""
    assert portfolio.workspace is not None
    return State(portfolio.workspace, portfolio.checked.lineage, portfolio.checked.standings)


def build_empty(workspace: Workspace, day: dt.date) -> State:
    """Return a workspace of no part: the state before the first record."""
    empty = Workspace({}, workspace.catalogues, {}, day)
    return State(empty, compute_lineage(empty), {})


def _compare(
    repository: Repository,
    portfolio: Portfolio,
    since: Since,
    day: dt.date,
    past: PastState,
    conditions: tuple[Condition, ...],
) -> ReviewResult:
    records = read_past_records(past.files, portfolio.checked.reading)
    head = read_state_at(repository, repository.head, ())
    files = _look_at_files(repository, records, past.blobs, head.blobs, portfolio)
    before = judge_workspace(build_past_workspace(records, files, day))
    moves = find_moves(before, build_present(portfolio), find_renumbered(past.blobs, head.blobs))
    assert portfolio.workspace is not None
    until = portfolio.workspace.today
    return ReviewResult(since, day, until, past.commit, moves, conditions, records.borrowed, records.broken)


def judge_workspace(workspace: Workspace) -> State:
    """Trace and judge a workspace as of its own day."""
    workspace = put_all_limits(workspace)
    lineage = compute_lineage(workspace)
    return State(workspace, lineage, compute_standings(workspace, lineage))


def find_renumbered(before: Mapping[str, str], after: Mapping[str, str]) -> dict[str, str]:
    """Return number now -> number then of parts whose folder was moved: another number, the same evidence.

    A record changes when its part is renumbered, for it holds the number; its evidence files do not. before, after :
    path -> blob of the two states.

    >>> find_renumbered({"projects/A/part.yaml": "1", "projects/A/evidence/x": "2"},
    ...                 {"projects/B/part.yaml": "3", "projects/B/evidence/x": "2"})
    {'B': 'A'}
    """
    then, now = _list_numbers(before), _list_numbers(after)
    votes: dict[tuple[str, str], int] = {}
    for change in compare_trees(before, after):
        if change.kind is ChangeKind.RENAMED and change.old_path is not None:
            pair = (_find_number(change.path), _find_number(change.old_path))
            if pair[0] in now - then and pair[1] in then - now:
                votes[pair] = votes.get(pair, 0) + 1
    found: dict[str, str] = {}
    for (new, old), _ in sorted(votes.items(), key=lambda item: (-item[1], item[0])):
        if new not in found and old not in found.values():
            found[new] = old
    return found


def _find_number(path: str) -> str:
    parts = path.split("/")
    return parts[1] if len(parts) > 2 and parts[0] == "projects" else ""


def _list_numbers(blobs: Mapping[str, str]) -> set[str]:
    return {_find_number(path) for path in blobs if path.endswith("/part.yaml")}


def _look_at_files(
    repository: Repository,
    records: PastRecords,
    then: Mapping[str, str],
    head: Mapping[str, str],
    portfolio: Portfolio,
) -> dict[tuple[str, str], EvidenceFile]:
    """Return the evidence of the past state. A file that is the same blob as at the head, listed with the same hash and
    intact on disk is what it is today; only the others are read and hashed."""
    assert portfolio.workspace is not None
    present = portfolio.workspace.files
    found: dict[tuple[str, str], EvidenceFile] = {}
    wanted: list[NamedFile] = []
    for file in records.named:
        today = present.get((file.number, file.name))
        blob = then.get(file.path)
        if blob is None:
            found[file.number, file.name] = judge_content(file.name, file.listed, None)
        elif _is_as_today(file, today, blob == head.get(file.path)) and today is not None:
            found[file.number, file.name] = today
        else:
            wanted.append(file)
    contents = dict(read_blobs(repository, [then[file.path] for file in wanted]))
    for file in wanted:
        content = contents[then[file.path]]
        if isinstance(content, bytes):
            found[file.number, file.name] = judge_content(file.name, file.listed, content)
    return found


def _is_as_today(file: NamedFile, today: EvidenceFile | None, same_blob: bool) -> bool:
    if today is None or not same_blob or today.listed != file.listed:
        return False
    return today.state in (FileState.INTACT, FileState.REFERENCE, FileState.UNLISTED)


def is_history_whole(repository: Repository, review: Review) -> bool:
    """True when the head still follows from the commit of a recorded review (or the review names none)."""
    return review.head is None or is_ancestor(repository, review.head)
