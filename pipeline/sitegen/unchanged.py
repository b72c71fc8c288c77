"""Is a site still what a build would make? Then there is nothing to build.

What a build is made from are the files of projects/, shared/ and site/, the commit checked out, the day, this program
and its libraries. Where all of that is the same, byte by byte, and every file of the site is as the build left it, the
site stands. Whoever sets up MkDocs so that something else goes into the pages (other plugins, hooks, variables of the
environment, files from elsewhere) gets a whole build each time.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import os
import stat
from collections.abc import Iterator, Mapping
from contextlib import closing
from pathlib import Path, PurePosixPath
from typing import Any

from pipeline.findings.finding import Finding
from pipeline.history.repository import open_repository
from pipeline.portfolio.build_cache import BuildCache, compute_code_stamp
from pipeline.portfolio.plain_values import decode, encode
from pipeline.reading.tree import parse_tree
from pipeline.sitegen.built_site import BuiltSite

ROOM = "site"
SOURCES = ("projects", "shared", "site")
CONFIG = "site/mkdocs.yml"
EPOCH = "SOURCE_DATE_EPOCH"
_THEME = Path(__file__).with_name("theme")
_OWN_WORDS = frozenset(
    {"site_name", "site_url", "site_description", "site_author", "copyright", "site_dir", "use_directory_urls", "nav",
     "extra_css", "validation", "strict", "exclude_docs", "not_in_nav"}
)  # fmt: skip
"""Settings of MkDocs that bring nothing into a page but what they say themselves, or what lies in site/."""
_EXTENSIONS = frozenset(
    {"abbr", "admonition", "attr_list", "def_list", "fenced_code", "footnotes", "md_in_html", "meta", "nl2br",
     "sane_lists", "smarty", "tables", "toc", "wikilinks"}
)  # fmt: skip
"""The extensions that come with Python-Markdown; others may read any file."""
CHUNK = 1 << 20


class SiteMemory:
    """What a build of a site was made from and what it made, kept for the next one."""

    def __init__(self, root: Path, out: Path, today: dt.date | None, edition: str) -> None:
        self.root, self.out, self.edition = root, out, edition
        self.today = today
        self.before = self.describe_sources()

    def describe_sources(self) -> str | None:
        """Return the digest of everything that the site is made from; None where not all of that can be known."""
        if not is_closed(self.root):
            return None
        digest = hashlib.sha256()
        _feed(digest, "code", compute_code_stamp(), *self._describe_moment())
        try:
            for name in SOURCES:
                folder = self.root / name
                _feed(digest, name, str(os.path.lexists(folder)))
                for path, content in read_folder(folder) if os.path.lexists(folder) else ():
                    _feed(digest, path, content)
            for path, content in read_folder(_THEME):
                _feed(digest, "theme", path, content)
        except (OSError, NotPlainFile):
            return None
        return digest.hexdigest()

    def _describe_moment(self) -> Iterator[str]:
        """Yield which day it is, where the records stand in git, and what else a page may speak of."""
        yield (self.today or dt.date.today()).isoformat()
        yield str(self.today is None)
        yield os.environ.get(EPOCH, "")
        yield repr(open_repository(self.root))
        yield str(self.root)

    def recall(self) -> BuiltSite | None:
        """Return the site as its build told of it, if a build would make the very same; None otherwise."""
        if self.before is None or not self.out.is_dir():
            return None
        with closing(BuildCache(self.root)) as cache:
            kept = dict(cache.take_all(ROOM, self.before)).get(self._name)
        try:
            if kept is None or describe_site(self.out) != kept["site"]:
                return None
            findings = tuple(decode(Finding, one) for one in kept["findings"])
            warnings = tuple(map(str, kept["warnings"]))
            return BuiltSite(self.out, int(kept["pages"]), int(kept["parts"]), findings, warnings, 0, stands=True)
        except (OSError, NotPlainFile, KeyError, TypeError, ValueError):
            return None

    def keep(self, built: BuiltSite, draft: Path, made: Mapping[str, bytes]) -> None:
        """Keep what was built, unless what it was made from has changed meanwhile.

        draft : where the site lies until it takes its place; if it never does, what stands there is another one, and
        nothing is believed. made : path -> sha256 of the files that were written a moment ago, not to be read again.
        """
        if self.before is None or self.describe_sources() != self.before:
            return
        try:
            site = describe_site(draft, made)
        except (OSError, NotPlainFile):
            return
        told = [encode(finding) for finding in built.findings]
        value = {"site": site, "pages": built.pages, "parts": built.parts, "findings": told,
                 "warnings": list(built.warnings)}  # fmt: skip
        with closing(BuildCache(self.root)) as cache:
            cache.keep(ROOM, self._name, self.before, value)

    @property
    def _name(self) -> str:
        return f"{self.edition} {self.out}"


class NotPlainFile(Exception):
    """A link, a pipe or a device: what it holds may change without a trace."""


def read_folder(
    folder: str | Path, known: Mapping[str, bytes] | None = None, above: str = ""
) -> Iterator[tuple[str, bytes]]:
    """Yield path (with `/`) and sha256 of every file of a folder, and the path of every folder in it, in order.

    known : what need not be read. Raises NotPlainFile for what is neither file nor folder, OSError where something
    cannot be read.
    """
    for entry in sorted(os.scandir(folder), key=lambda one: one.name):
        path = above + entry.name
        if entry.is_dir(follow_symlinks=False):
            yield f"{path}/", b""
            yield from read_folder(entry.path, known, f"{path}/")
        elif entry.is_file(follow_symlinks=False):
            yield path, (known or {}).get(path) or _hash_file(entry.path)
        else:
            raise NotPlainFile(entry.path)


def _hash_file(path: str) -> bytes:
    """Return the sha256 of a file, read in bounded memory."""
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_NOFOLLOW", 0))
    try:
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            raise NotPlainFile(path)
        digest = hashlib.sha256()
        while chunk := os.read(handle, CHUNK):
            digest.update(chunk)
        return digest.digest()
    finally:
        os.close(handle)


def describe_site(out: Path, made: Mapping[str, bytes] | None = None) -> str:
    """Return the digest (hex) of all files of a site, by path and content. made : those that need not be read."""
    digest = hashlib.sha256()
    for path, content in read_folder(out, made):
        _feed(digest, path, content)
    return digest.hexdigest()


def _feed(digest: Any, *pieces: str | bytes) -> None:
    """Add pieces, each with its length, so that no two rows of pieces are the same text."""
    for piece in pieces:
        raw = piece.encode("utf-8", "surrogateescape") if isinstance(piece, str) else piece
        digest.update(len(raw).to_bytes(8, "big"))
        digest.update(raw)


def is_closed(root: Path) -> bool:
    """True when MkDocs takes nothing into a site but what lies in the workspace and in this program."""
    path = root / CONFIG
    if not path.exists():
        return not path.is_symlink()
    try:
        tree, problems = parse_tree(CONFIG, path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError):
        return False
    if tree is None or problems:
        return False
    return all(_is_own(word, said) for word, said in tree.value.items())


def _is_own(word: str, said: Any) -> bool:
    if word in _OWN_WORDS:
        return True
    if word == "docs_dir":
        return isinstance(said, str) and _stays_inside(said)
    if word == "markdown_extensions":
        return isinstance(said, list) and all(one in _EXTENSIONS for one in map(_name_entry, said))
    if word == "plugins":
        return isinstance(said, list) and all(map(_is_own_plugin, said))
    if word == "theme":
        chosen = said if isinstance(said, dict) else {"name": said}
        return (
            chosen.keys() <= {"name", "custom_dir"}
            and chosen.get("name") == "pipeline"
            and (
                "custom_dir" not in chosen
                or (isinstance(chosen["custom_dir"], str) and _stays_inside(chosen["custom_dir"]))
            )
        )
    return False


def _is_own_plugin(entry: Any) -> bool:
    if entry in ("pipeline", "search"):
        return True
    says = entry.get("pipeline") if isinstance(entry, dict) and len(entry) == 1 else None
    return isinstance(says, dict) and says.get("workspace", "..") == ".."


def _name_entry(entry: Any) -> Any:
    return next(iter(entry)) if isinstance(entry, dict) and len(entry) == 1 else entry


def _stays_inside(path: str) -> bool:
    pure = PurePosixPath(path.replace("\\", "/"))
    return not pure.is_absolute() and ".." not in pure.parts and ":" not in path
