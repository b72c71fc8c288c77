"""Run git so that nothing the repository, its configuration or its attributes say can start a program.

A workspace may come from anybody. Git can be told by a repository's own configuration to run commands (fsmonitor,
hooks, external diff and text converters, filters, pager, signature checkers, remote helpers for objects that are
missing). Here: configuration that starts programs is overruled on the command line (which outranks every file), no
transport is allowed at all, `GIT_*` variables of the caller are not inherited, replacement objects and grafts are off
(they would rewrite the audit trail), and only plumbing that reads objects is used. Nothing takes a lock in the
repository.

Source: git's own manual pages git(1), git-config(1), gitprotocol; common practice (no source) for the selection.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

_OVERRULED: tuple[str, ...] = (
    "core.fsmonitor=false",
    f"core.hooksPath={os.devnull}",
    f"core.attributesFile={os.devnull}",
    "core.pager=cat",
    "core.useReplaceRefs=false",
    "core.quotePath=false",
    "core.askPass=",
    "core.sshCommand=false",
    "core.gitProxy=false",
    "core.alternateRefsCommand=false",
    "credential.helper=",
    "diff.external=",
    "diff.renames=false",
    "diff.ignoreSubmodules=all",
    "log.showSignature=false",
    "log.showRoot=true",
    "log.mailmap=false",
    "log.follow=false",
    "log.decorate=false",
    "color.ui=false",
    "gc.auto=0",
    "maintenance.auto=false",
    "submodule.recurse=false",
    "protocol.allow=never",
    "safe.bareRepository=explicit",
)
_KEPT = frozenset({"GIT_CEILING_DIRECTORIES", "GIT_TEST_ASSUME_DIFFERENT_OWNER"})


@dataclass(frozen=True, slots=True)
class Answer:
    """What a git command gave: its exit code (127 where git itself is missing) and both streams as bytes."""

    code: int
    out: bytes
    err: bytes


def build_environment(environ: Mapping[str, str] | None = None) -> dict[str, str]:
    """The caller's environment without its `GIT_*` variables (a hook's GIT_DIR would point elsewhere), with prompts,
    locks, network transports, lazy fetching, replacement objects and the machine-wide configuration off and messages
    in English."""
    given = os.environ if environ is None else environ
    kept = {name: text for name, text in given.items() if not name.upper().startswith("GIT_") or name in _KEPT}
    return kept | {
        "LC_ALL": "C",
        "LANGUAGE": "C",
        "GIT_CONFIG_NOSYSTEM": "1",
        "GIT_ATTR_NOSYSTEM": "1",
        "GIT_OPTIONAL_LOCKS": "0",
        "GIT_TERMINAL_PROMPT": "0",
        "GIT_NO_REPLACE_OBJECTS": "1",
        "GIT_GRAFT_FILE": os.devnull,
        "GIT_NO_LAZY_FETCH": "1",
        "GIT_ALLOW_PROTOCOL": "none",
        "GIT_PAGER": "cat",
    }


def build_command(arguments: Sequence[str]) -> list[str]:
    """The whole argument list: git, what is overruled, then the command. Paths are always taken literally."""
    overruled = [word for setting in _OVERRULED for word in ("-c", setting)]
    return ["git", "--no-pager", "--literal-pathspecs", *overruled, *arguments]


def _find_launcher() -> Callable[..., subprocess.Popen[bytes]]:
    """On Windows a bare `git` would be looked for in the current folder first, that is in the workspace: GitPython's
    launcher closes that hole. Elsewhere the standard library's is the same thing."""
    if sys.platform != "win32":
        return subprocess.Popen
    from git.cmd import safer_popen

    return safer_popen


def start_git(directory: Path, arguments: Sequence[str], **streams: Any) -> subprocess.Popen[bytes]:
    """Start git in `directory`; the caller closes it. Raises FileNotFoundError where git is missing."""
    return _find_launcher()(build_command(arguments), cwd=directory, env=build_environment(), **streams)


def run_git(directory: Path, arguments: Sequence[str], given: bytes = b"") -> Answer:
    """Run git in `directory` to its end, with `given` on its standard input. Never raises for what git says."""
    pipe = subprocess.PIPE
    try:
        process = start_git(directory, arguments, stdin=pipe, stdout=pipe, stderr=pipe)
    except (FileNotFoundError, NotADirectoryError, PermissionError) as problem:
        return Answer(127, b"", str(problem).encode())
    out, err = process.communicate(given)
    return Answer(process.returncode, out, err)
