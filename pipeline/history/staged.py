"""What is staged for the next commit: the index as git holds it, read without touching the working tree.

A hook that looked at the files on disk would judge what will not be committed, and miss what will.
"""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from pipeline.history.blobs import read_blobs
from pipeline.history.conditions import Condition, parse_refusal
from pipeline.history.repository import Repository
from pipeline.history.safe_git import _find_launcher, build_command, build_environment, run_git


@dataclass(frozen=True, slots=True)
class Staged:
    """The index of a workspace: the blob of every plain file, by path in the workspace, and the paths that differ from
    the last commit (all of them, where there is none)."""

    folder: Path
    blobs: dict[str, str]
    changed: frozenset[str]
    prefix: str = ""
    conditions: tuple[Condition, ...] = ()

    def read(self, paths: Iterable[str]) -> dict[str, bytes]:
        """Return the staged bytes of paths; those that are not there, or are damaged, are left out."""
        wanted = {path: self.blobs[path] for path in paths if path in self.blobs}
        repository = Repository(self.folder, self.prefix, "", None)
        contents = dict(read_blobs(repository, wanted.values()))
        return {path: found for path, blob in wanted.items() if isinstance(found := contents[blob], bytes)}


def read_staged(folder: Path) -> Staged:
    """Read the index of the repository around a workspace. Never raises for what git says.

    A commit of some paths only (`git commit --only`) has an index of its own, which git names to its hooks in
    GIT_INDEX_FILE; that one is read then.
    """
    top = run_git(folder, ["rev-parse", "--show-prefix"])
    if top.code != 0:
        return Staged(folder, {}, frozenset(), conditions=(parse_refusal(top.err),))
    prefix = top.out.decode("utf-8", "surrogateescape").rstrip("\n")
    listed = _run_on_index(folder, ["ls-files", "-s", "-z", "--full-name", "--", "."])
    blobs = dict(_parse_index(listed, prefix))
    has_head = run_git(folder, ["rev-parse", "--verify", "--quiet", "HEAD^{commit}"]).code == 0
    if not has_head:
        return Staged(folder, blobs, frozenset(blobs), prefix)
    names = _run_on_index(folder, ["diff-index", "--cached", "--name-only", "-z", "--no-renames", "HEAD", "--", "."])
    paths = (name.decode("utf-8", "surrogateescape") for name in names.split(b"\0") if name)
    changed = frozenset(path[len(prefix) :] for path in paths if path.startswith(prefix))
    return Staged(folder, blobs, changed, prefix)


def _run_on_index(folder: Path, arguments: list[str]) -> bytes:
    """Run git on the index that the hook was given, if any: the one variable of git's that is let through, as a file
    inside the repository's own git folder."""
    given = os.environ.get("GIT_INDEX_FILE")
    if not given:
        return run_git(folder, arguments).out
    inside = run_git(folder, ["rev-parse", "--absolute-git-dir"]).out.decode("utf-8", "surrogateescape").strip()
    top = run_git(folder, ["rev-parse", "--show-toplevel"]).out.decode("utf-8", "surrogateescape").strip()
    index = (Path(top) / given).resolve()
    if not inside or not index.is_relative_to(Path(inside).resolve()) or not index.is_file():
        return run_git(folder, arguments).out
    process = _find_launcher()(
        build_command(arguments),
        cwd=folder,
        env=build_environment() | {"GIT_INDEX_FILE": str(index)},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
    )
    return bytes(process.communicate()[0])


def _parse_index(out: bytes, prefix: str) -> Iterator[tuple[str, str]]:
    """Plain files only, and no side of a conflict: links and submodules are no evidence."""
    for line in out.split(b"\0"):
        head, _, name = line.partition(b"\t")
        parts = head.split()
        path = name.decode("utf-8", "surrogateescape")
        if len(parts) == 3 and parts[0].startswith(b"100") and parts[2] == b"0" and path.startswith(prefix):
            yield path[len(prefix) :], parts[1].decode("ascii")


def find_hooks_folder(folder: Path) -> tuple[Path | None, str]:
    """Return the folder that git takes its hooks from here, and a word on it; None where there is no repository.

    `core.hooksPath` of the user or of the repository is honoured, as git does.
    """
    where = run_git(folder, ["rev-parse", "--git-common-dir"])
    if where.code != 0:
        return None, parse_refusal(where.err).message
    for scope in ("--local", "--global"):
        answer = run_git(folder, ["config", scope, "--type=path", "--get", "core.hooksPath"])
        given = answer.out.decode("utf-8", "surrogateescape").strip()
        if answer.code == 0 and given:
            top = run_git(folder, ["rev-parse", "--show-toplevel"]).out.decode("utf-8", "surrogateescape").strip()
            return (Path(top) / given).resolve(), "core.hooksPath"
    return (folder / where.out.decode("utf-8", "surrogateescape").strip() / "hooks").resolve(), ""
