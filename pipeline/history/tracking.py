"""Follow every file through the graph of commits: for each fact, the commit that first recorded it and the one that
last changed it, through renames and merges.

Each commit's state is a map from path to `Node`. A commit with one parent takes its parent's map over and replaces
what it changed; a fork copies the map, a merge joins the nodes of its parents fact by fact. What a merge took from a
parent keeps that parent's dates; where several parents hold the same value, the earliest commit counts.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from pipeline.history.commits import ChangeKind, RawCommit
from pipeline.history.facts import is_item, place_items
from pipeline.history.raw_log import FileChange, LoggedCommit

Blocks = tuple[Mapping[str, str], ...]
Mark = tuple[str, str, str, str | None]
"""first commit, last change, return after a removal ("" if never removed), last value if it is removed now (else
None)."""

ChangeEntry = tuple[str, str, ChangeKind, str | None, str | None, str | None]
"""commit, path, kind, old blob, new blob, old path."""

_SIMILAR = 0.5
_MOST_PAIRS = 10_000


@dataclass(frozen=True, slots=True, eq=False)
class Node:
    """One file at one commit. `blob` is None while it is deleted; `blocks` are the facts of its last readable
    version."""

    lineage: str
    blob: str | None
    blocks: Blocks
    marks: Mapping[str, Mark]
    earlier: tuple[str, ...] = ()

    def join_values(self) -> dict[str, str]:
        """All facts of the version in the order of the record."""
        joined: dict[str, str] = {}
        for block in self.blocks:
            joined.update(block)
        return joined


State = dict[str, Node]
ReadVersion = Callable[[str, str], Blocks | None]
"""(path, blob) -> the facts of that version, None if the record cannot be read."""


@dataclass(slots=True)
class Trail:
    """What is known so far: commits by hash, and what happened to each line of descent (changes, versions that could
    not be read: commit, path and blob)."""

    commits: dict[str, RawCommit] = field(default_factory=dict)
    changes: dict[str, list[ChangeEntry]] = field(default_factory=dict)
    broken: dict[str, list[tuple[str, str, str]]] = field(default_factory=dict)
    joined: dict[str, str] = field(default_factory=dict)

    def find_lineage(self, lineage: str) -> str:
        """The line of descent that this one became part of when two were merged."""
        while lineage in self.joined:
            lineage = self.joined[lineage]
        return lineage

    def order(self, digest: str) -> tuple[int, str]:
        """When a commit was recorded, as a key that does not depend on the order of reading."""
        raw = self.commits[digest]
        text = raw[3].partition(" ")[0]
        return (int(text) if text.lstrip("-").isdigit() else 0, digest)


class _Parent:
    """Another parent of a merge: its state, and where each line of descent is in it (looked up only when needed)."""

    def __init__(self, state: State, trail: Trail) -> None:
        self.state = state
        self._trail = trail
        self._homes: dict[str, str] | None = None

    def find_home(self, lineage: str) -> str | None:
        """The path of a line of descent."""
        if self._homes is None:
            self._homes = {self._trail.find_lineage(node.lineage): path for path, node in self.state.items()}
        return self._homes.get(self._trail.find_lineage(lineage))

    def find_node(self, path: str, first: Node | None) -> Node | None:
        """The same file in this parent: at the same path, or wherever the line of descent of `first` is."""
        found = self.state.get(path)
        if found is not None or first is None:
            return found
        home = self.find_home(first.lineage)
        return None if home is None else self.state[home]


class Tracker:
    """Walks commits, parents first. `is_record` tells records from other files (which have one fact: their
    contents)."""

    def __init__(self, trail: Trail, is_record: Callable[[str], bool], read_version: ReadVersion) -> None:
        self.trail = trail
        self._is_record = is_record
        self._read_version = read_version

    def walk(self, commits: Sequence[LoggedCommit], base: Mapping[str, State]) -> State:
        """The state at the last of `commits`; `base` gives the states of parents that are not among them."""
        children = Counter(parent for commit in commits for parent in commit.parents)
        states: dict[str, State] = dict(base)
        state: State = {}
        for commit in commits:
            parents = [parent for parent in commit.parents if parent in states]
            before = [states[parent] for parent in parents]
            for parent in parents:
                children[parent] -= 1
            state = self._start(parents, children, states)
            self.trail.commits[commit.raw[0]] = commit.raw
            self._apply(commit, state, [_Parent(other, self.trail) for other in before[1:]])
            states[commit.raw[0]] = state
        return state

    @staticmethod
    def _start(parents: Sequence[str], children: Mapping[str, int], states: dict[str, State]) -> State:
        """The first parent's map: taken over by its last child, copied before that. Others that are done with are let
        go."""
        for parent in parents[1:]:
            if children[parent] == 0 and parent != parents[0]:
                states.pop(parent, None)
        if not parents:
            return {}
        return states.pop(parents[0]) if children[parents[0]] == 0 else dict(states[parents[0]])

    def _apply(self, commit: LoggedCommit, state: State, others: Sequence[_Parent]) -> None:
        digest = commit.raw[0]
        moves = self._find_moves(commit.files, state, others)
        changed = {change.path for change in commit.files}
        before = {change.path: state.get(change.path) for change in commit.files}
        for old in moves.values():
            state.pop(old, None)
        for change in commit.files:
            if change.path in moves.values() and change.new_blob is None:
                continue
            source = moves.get(change.path)
            first = before[source] if source else before[change.path]
            nodes = [first, *(other.find_node(change.path, first) for other in others)]
            self._set(digest, change, source, [node for node in nodes if node is not None], state, bool(others))
        for other in others:
            self._join_unchanged(digest, state, other, changed)

    def _set(
        self, digest: str, change: FileChange, source: str | None, nodes: list[Node], state: State, is_merge: bool
    ) -> None:
        """Put the new version of one file into the state, and note the change unless a merge only took it over."""
        path, blob = change.path, change.new_blob
        lineage = nodes[0].lineage if nodes else f"{digest}:{path}"
        for node in nodes[1:]:
            self._unite(lineage, node.lineage)
        if not (is_merge and any(node.blob == blob for node in nodes)):
            kind = _name_change(change, source)
            entry = (digest, path, kind, nodes[0].blob if nodes else None, blob, source)
            self.trail.changes.setdefault(lineage, []).append(entry)
        blocks = self._find_blocks(digest, path, blob, nodes, lineage)
        earlier = tuple(dict.fromkeys([*(p for node in nodes for p in node.earlier), *([source] if source else [])]))
        state[path] = self._join(digest, lineage, blob, blocks, nodes, earlier)

    def _find_blocks(self, digest: str, path: str, blob: str | None, nodes: Sequence[Node], lineage: str) -> Blocks:
        if blob is None:
            return ()
        if not self._is_record(path):
            return ({"content": blob},)
        blocks = self._read_version(path, blob)
        if blocks is not None:
            return blocks
        if all(node.blob != blob for node in nodes):
            self.trail.broken.setdefault(lineage, []).append((digest, path, blob))
        same = [node for node in nodes if node.blob == blob]
        return (same or nodes)[0].blocks if nodes else ()

    def _unite(self, kept: str, lineage: str) -> None:
        kept, lineage = self.trail.find_lineage(kept), self.trail.find_lineage(lineage)
        if kept != lineage:
            self.trail.joined[lineage] = kept

    def _join_unchanged(self, digest: str, state: State, other: _Parent, changed: set[str]) -> None:
        """Files that a merge has as its first parent had them, where the other parent's past differs."""
        mine = _Parent(state, self.trail)
        for path, node in [(path, node) for path, node in other.state.items() if state.get(path) is not node]:
            here = path if path in state else mine.find_home(node.lineage)
            if path in changed or here in changed:
                continue
            if here is None:
                gone = node if node.blob is None else self._join(digest, node.lineage, None, (), [node], node.earlier)
                state[path] = gone
            else:
                kept = state[here]
                self._unite(kept.lineage, node.lineage)
                state[here] = self._join(digest, kept.lineage, kept.blob, kept.blocks, [kept, node], kept.earlier)

    def _join(
        self,
        digest: str,
        lineage: str,
        blob: str | None,
        blocks: Blocks,
        nodes: Sequence[Node],
        earlier: tuple[str, ...],
    ) -> Node:
        if len(nodes) <= 1:
            marks = _advance(digest, nodes[0] if nodes else None, blocks)
        else:
            marks = self._join_marks(digest, blocks, nodes)
        return Node(lineage, blob, blocks, marks, earlier)

    def _join_marks(self, digest: str, blocks: Blocks, nodes: Sequence[Node]) -> dict[str, Mark]:
        """Fact by fact: a parent that holds the same value passes its mark on (the earliest of several); else the merge
        changed it. The first commit is the earliest of all parents that know the fact."""
        values = Node(digest, None, blocks, {}).join_values()
        lines = [_advance(digest, node, blocks, edits=False) for node in nodes]
        marks: dict[str, Mark] = {}
        for key in dict.fromkeys([*values, *(key for line in lines for key in line)]):
            known = [line[key] for line in lines if key in line]
            kept = [mark for mark in known if mark[1] != digest]
            last = min(kept or known, key=lambda mark: self.trail.order(mark[1]))
            firsts = [mark[0] for mark in known if mark[0] != digest] or [digest]
            first = min(firsts, key=self.trail.order)
            marks[key] = (first, *last[1:])
        return marks

    def _find_moves(self, files: Iterable[FileChange], state: State, others: Sequence[_Parent]) -> dict[str, str]:
        """new path -> old path of the files that this commit moved: the same line of descent in a merged branch, the
        same contents, or (records only) at least half of the facts the same, the most alike first."""
        gone = {c.path: n for c in files if c.new_blob is None and (n := state.get(c.path)) is not None and n.blob}
        come = {c.path: c.new_blob for c in files if c.new_blob is not None and not _is_living(state.get(c.path))}
        if not gone or not come:
            return {}
        moves: dict[str, str] = {}
        for other in others:
            lineages = {node.lineage: path for path, node in gone.items()}
            for path in come:
                node = other.state.get(path)
                if node is not None and node.lineage in lineages:
                    moves.setdefault(path, lineages[node.lineage])
        self._match_contents(gone, come, moves)
        self._match_alike(gone, come, moves)
        return moves

    def _match_contents(self, gone: Mapping[str, Node], come: Mapping[str, str], moves: dict[str, str]) -> None:
        free: dict[tuple[str | None, bool], list[str]] = {}
        for path in sorted(set(gone) - set(moves.values()), reverse=True):
            free.setdefault((gone[path].blob, self._is_record(path)), []).append(path)
        for path in sorted(set(come) - set(moves)):
            same = free.get((come[path], self._is_record(path)))
            if same:
                moves[path] = same.pop()

    def _match_alike(self, gone: Mapping[str, Node], come: Mapping[str, str], moves: dict[str, str]) -> None:
        old = [path for path in sorted(set(gone) - set(moves.values())) if self._is_record(path)]
        new = [path for path in sorted(set(come) - set(moves)) if self._is_record(path)]
        if len(old) * len(new) > _MOST_PAIRS:
            return
        pairs = []
        for path in new:
            blocks = self._read_version(path, come[path])
            pairs += [(-_compare(gone[other].blocks, blocks), path, other) for other in old if blocks is not None]
        for unlike, path, other in sorted(pairs):
            if -unlike >= _SIMILAR and path not in moves and other not in moves.values():
                moves[path] = other


def _is_living(node: Node | None) -> bool:
    return node is not None and node.blob is not None


def _name_change(change: FileChange, source: str | None) -> ChangeKind:
    if source is not None:
        return ChangeKind.RENAMED
    if change.new_blob is None:
        return ChangeKind.DELETED
    return ChangeKind.ADDED if change.old_blob is None else ChangeKind.MODIFIED


def _compare(old: Blocks, new: Blocks) -> float:
    """How alike two versions are: twice the facts that they share over all their facts."""
    first: set[tuple[str, str]] = set()
    second: set[tuple[str, str]] = set()
    for block in old:
        first.update(block.items())
    for block in new:
        second.update(block.items())
    return 2 * len(first & second) / (len(first) + len(second)) if first or second else 0.0


def _advance(digest: str, node: Node | None, blocks: Blocks, edits: bool = True) -> dict[str, Mark]:
    """The marks after one commit on top of one node. Only blocks that differ are looked into. `edits`: whether list
    items may have been edited in place (a merge takes them from its parents instead)."""
    if node is None:
        return {key: (digest, digest, "", None) for block in blocks for key in block}
    kept_old = {id(block) for block in node.blocks}
    kept_new = {id(block) for block in blocks}
    before = {key: value for block in node.blocks if id(block) not in kept_new for key, value in block.items()}
    after = {key: value for block in blocks if id(block) not in kept_old for key, value in block.items()}
    marks = dict(node.marks)
    homes = _find_edited(before, after) if edits else {}
    taken = set(homes.values())
    for key, value in after.items():
        marks[key] = _mark(digest, node.marks, before, homes.get(key, key), value)
    for key, value in before.items():
        if key in taken:
            marks.pop(key, None)
        elif key not in after:
            first, _, returned, _ = node.marks[key]
            marks[key] = (first, digest, returned, value)
    return marks


def _mark(digest: str, marks: Mapping[str, Mark], before: Mapping[str, str], home: str, value: str) -> Mark:
    """The mark of one fact that is there now; `home` is the key that it had before."""
    if home in before:
        first, last, returned, _ = marks[home]
        return (first, last if before[home] == value else digest, returned, None)
    gone = marks.get(home)
    return (digest, digest, "", None) if gone is None else (gone[0], digest, digest, None)


def _find_edited(before: Mapping[str, str], after: Mapping[str, str]) -> dict[str, str]:
    """new key -> old key of list items that were edited where they stand: the text at a place is new, and the text that
    stood there is gone from the list."""
    new = [key for key in after if is_item(key) and key not in before]
    old = [key for key in before if is_item(key) and key not in after]
    if not new or not old:
        return {}
    places, olds = place_items(after), {place: key for key, place in place_items(before).items()}
    return {key: olds[places[key]] for key in new if olds.get(places[key]) in old}
