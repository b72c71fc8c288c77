"""A look over a machine and a workspace: what is there, what is missing, and what to do about it."""

from __future__ import annotations

import importlib.metadata
import platform
import re
import shutil
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

import pipeline
from pipeline.history.repository import OLDEST_GIT, open_repository, read_git_version
from pipeline.history.staged import find_hooks_folder
from pipeline.history.user import read_user_email
from pipeline.keeping.seals import find_key_path, is_key_kept
from pipeline.writing.names import MAX_PATH, find_name_fault, fold_name

FONTS = ("DejaVu Sans",)
"""What figures are set in; it comes with the library that draws them."""


class Level(StrEnum):
    """How a thing looks."""

    GOOD = "ok"
    WARN = "look"
    BAD = "missing"


@dataclass(frozen=True, slots=True)
class Look:
    """One thing that was looked at."""

    what: str
    level: Level
    words: str
    fix: str = ""


def look_over(root: Path | None, start: Path) -> list[Look]:
    """Look at the machine and, where there is one, at the workspace. Never raises for what is found."""
    found = [*_look_at_versions(), *_look_at_git(root or start), *_look_at_fonts(), _look_at_seal()]
    if root is None:
        return [*found, Look("workspace", Level.BAD, f"{start} is not in one", "pipeline init DIR starts one")]
    return [*found, *_look_at_workspace(root), *_look_at_names(root)]


def _look_at_versions() -> Iterator[Look]:
    place = f"{pipeline.__version__} with Python {platform.python_version()} on {sys.platform}"
    yield Look("pipeline", Level.GOOD, place)
    for wanted in importlib.metadata.requires("repro-pipeline") or ():
        name, least = _parse_wanted(wanted)
        if "extra ==" in wanted:
            continue
        try:
            there = importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            yield Look(name, Level.BAD, "is not installed", f"pip install '{wanted.split(';')[0]}'")
            continue
        if least and _count(there) < _count(least):
            yield Look(name, Level.WARN, f"{there} is older than {least}", f"pip install -U '{wanted.split(';')[0]}'")


def _parse_wanted(text: str) -> tuple[str, str]:
    match = re.match(r"([A-Za-z0-9._-]+)\s*(?:\(?>=\s*([0-9.]+))?", text)
    return (match.group(1), match.group(2) or "") if match else (text, "")


def _count(version: str) -> tuple[int, ...]:
    return tuple(int(part) for part in re.findall(r"\d+", version)[:3])


def _look_at_git(folder: Path) -> Iterator[Look]:
    version = read_git_version(folder)
    if version is None:
        yield Look("git", Level.BAD, "was not found; nothing is known of who recorded what", "install git")
        return
    shown = ".".join(map(str, version))
    if version[:2] < OLDEST_GIT:
        yield Look("git", Level.WARN, f"{shown} is too old to read merges reliably", "install git 2.31 or newer")
    else:
        yield Look("git", Level.GOOD, shown)
    email = read_user_email(folder)
    if email is None:
        yield Look("git user", Level.WARN, "no e-mail is set", "git config --global user.email you@example.com")
    else:
        yield Look("git user", Level.GOOD, email)
    conditions = open_repository(folder).conditions
    if not conditions:
        yield Look("repository", Level.GOOD, "history can be read")
    for condition in conditions:
        yield Look("repository", Level.WARN, condition.message, condition.fix)


def _look_at_fonts() -> Iterator[Look]:
    try:
        folder = Path(str(importlib.metadata.distribution("matplotlib").locate_file("matplotlib/mpl-data/fonts/ttf")))
    except importlib.metadata.PackageNotFoundError:
        yield Look("fonts", Level.BAD, "figures cannot be drawn: matplotlib is not installed", "pip install matplotlib")
        return
    missing = [name for name in FONTS if not any(folder.glob(f"{name.replace(' ', '')}*.ttf"))]
    level = Level.WARN if missing else Level.GOOD
    words = f"not there: {', '.join(missing)}" if missing else f"{', '.join(FONTS)}, with the library"
    yield Look("fonts", level, words, "pip install --force-reinstall matplotlib" if missing else "")


def _look_at_seal() -> Look:
    """Whether what a run leaves in .pipeline/ can be believed by the next one: that takes a secret of the user."""
    place = find_key_path()
    if is_key_kept():
        return Look("kept values", Level.GOOD, f"what builds leave in .pipeline/ is sealed with {place}")
    where = "there is no home folder" if place is None else f"{place} cannot be kept"
    words = f"{where}, so nothing of an earlier build is believed and each one begins anew"
    return Look(
        "kept values", Level.WARN, words, "let that file be written, or set XDG_STATE_HOME to a folder of yours"
    )


def _look_at_workspace(root: Path) -> Iterator[Look]:
    from pipeline.model.catalogue import CATALOGUE_FILES
    from pipeline.reading.workspace import find_record_folders

    missing = [name for name in CATALOGUE_FILES if not (root / f"shared/{name}.yaml").is_file()]
    count = len(find_record_folders(root))
    if missing:
        names = ", ".join(f"shared/{name}.yaml" for name in missing)
        yield Look("workspace", Level.BAD, f"{names} is missing", "copy it from `pipeline init` in a new folder")
    else:
        yield Look("workspace", Level.GOOD, f"{root}, {count} records, all catalogues")
    attributes = root / ".gitattributes"
    kept = attributes.is_file() and "evidence/**" in attributes.read_text("utf-8", "replace")
    fix = "" if kept else "add the line: projects/*/evidence/** -text"
    words = "evidence is kept byte for byte" if kept else "git may change the line ends of evidence, and its hashes"
    yield Look(".gitattributes", Level.GOOD if kept else Level.WARN, words, fix)
    schemas = (root / "schemas" / "part.schema.json").is_file()
    words = "schemas/ is there" if schemas else "no schemas: an editor cannot complete records"
    yield Look(
        "editor help",
        Level.GOOD if schemas else Level.WARN,
        words,
        "" if schemas else "pipeline schema --write schemas",
    )
    yield _look_at_hook(root)
    if not shutil.disk_usage(root).free > 100_000_000:
        yield Look("disk", Level.WARN, "less than 100 MB are free", "make room")


def _look_at_hook(root: Path) -> Look:
    folder, words = find_hooks_folder(root)
    if folder is None:
        return Look("hook", Level.WARN, words or "no repository")
    file = folder / "pre-commit"
    if file.is_file() and "pipeline hook run" in file.read_text("utf-8", "replace"):
        return Look("hook", Level.GOOD, "staged records are checked before each commit")
    return Look("hook", Level.WARN, "staged records are not checked before a commit", "pipeline hook install")


def _look_at_names(root: Path) -> Iterator[Look]:
    """Names below projects/ that Windows cannot hold, or takes for the same file."""
    faults = list(_find_name_faults(root))
    for fault in faults[:20]:
        yield Look("file names", Level.WARN, fault, "rename it, and its line in evidence.sha256 and in the record")
    if not faults:
        yield Look("file names", Level.GOOD, "every system can hold them")


def _find_name_faults(root: Path) -> Iterator[str]:
    seen: dict[str, str] = {}
    for path in sorted((root / "projects").rglob("*")):
        shown = path.relative_to(root).as_posix()
        fault = find_name_fault(path.name)
        if fault is not None:
            yield f"{shown}: {fault}"
        if len(shown) > MAX_PATH:
            yield f"{shown[:60]}...: {len(shown)} characters; {MAX_PATH} leave room for a clone on Windows"
        twin = seen.setdefault(fold_name(shown), shown)
        if twin != shown:
            yield f"{shown} and {twin} are the same file on Windows"
