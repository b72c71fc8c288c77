"""All that the site has of one part, taken from the last build where nothing that it relied on has changed.

The key is what was looked at, not a guess: while the views of a part are made, the lists of parts, files and answers
note each look (`pipeline.portfolio.reliance`). What all pages rely on (the code, the catalogues, the day, the facts of
the site, the theme) is the stamp. The commit stands on every page and changes with each one: it is filled in last.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

from markupsafe import Markup, escape

from pipeline.portfolio.build_cache import BuildCache, compute_code_stamp
from pipeline.portfolio.ledger import Ledger
from pipeline.portfolio.outlook import FORECAST, STORY, list_told
from pipeline.portfolio.portfolio import PartFile, Portfolio
from pipeline.portfolio.reliance import NotPlain, Reliance, compute_digest
from pipeline.portfolio.shop import ANSWER, ANSWERS
from pipeline.reading.evidence import look_at_file
from pipeline.sitegen.evidence_copies import Copy
from pipeline.sitegen.link_check import PageLinks
from pipeline.sitegen.packed_texts import PackedTexts
from pipeline.views.flow import build_forecast_sections
from pipeline.views.shapes_site import Site

ROOM, TEXTS = "parts", "texts"
COMMIT = Markup("<!--commit-->")
"""Stands for the commit until a page is finished; no text of a record can look like it."""


@dataclass(frozen=True)
class PartOutput:
    """Pages and tables of one part, with its figures and without the commit; its copies of evidence; where its pages
    lead."""

    texts: PackedTexts
    copies: tuple[Copy, ...]
    links: Mapping[str, PageLinks]


@dataclass(frozen=True)
class MadePart:
    """What was made of a part now, what was looked at for it, and how many figures were drawn."""

    number: str
    output: PartOutput
    relied: frozenset[Reliance]
    drawn: int


def blank_commit(site: Site) -> Site:
    """Return the facts of a site with a place for the commit."""
    return replace(site, commit=COMMIT)


def fill_commit(text: str, site: Site) -> str:
    """Return a page with the commit in its places."""
    return text.replace(str(COMMIT), str(escape(site.commit)))


class PartStore:
    """What the last builds left of each part."""

    def __init__(self, root: Path, portfolio: Portfolio, cache: BuildCache, common: Iterable[Any]) -> None:
        """common : what every page relies on besides the workspace: the facts of the site, the theme."""
        self.root, self.parts, self.cache = root, portfolio.parts, cache
        space = portfolio.workspace
        shared = () if space is None else (space.catalogues, space.today, space.broken)
        self.stamp = f"{compute_code_stamp()}{compute_digest((shared, tuple(common)))}"
        self.ledger = build_ledger(portfolio)

    def recall(self) -> dict[str, PartOutput]:
        """Return the parts whose pages would come out as they did."""
        found: dict[str, PartOutput] = {}
        packed = dict(self.cache.take_packed(TEXTS, self.stamp))
        for number, kept in self.cache.take_all(ROOM, self.stamp):
            try:
                texts = packed.get(number)
                if number not in self.parts or texts is None or kept["texts"] != _compute_sum(texts):
                    continue
                if self.ledger.confirm(kept["relied"]):
                    found[number] = _read_output(self.root, kept, texts)
                    self.cache.mark_used(ROOM, number)
                    self.cache.mark_used(TEXTS, number)
            except (KeyError, TypeError, ValueError):
                continue  # not what we write: made anew
        return found

    def keep(self, part: MadePart) -> PartOutput:
        """Keep what was made of a part, unless something it relied on has no digest or changed under the build.

        Returns what was made.
        """
        number = part.number
        lines = self.ledger.write({*part.relied, ("shop", number)})
        if lines is not None and self._is_at_rest(self.parts[number], part.relied):
            self.cache.keep(ROOM, number, self.stamp, {"relied": lines, **_write_output(self.root, part.output)})
            self.cache.keep_packed(TEXTS, number, self.stamp, part.output.texts.packed)
        return part.output

    def _is_at_rest(self, file: PartFile, relied: Iterable[Reliance]) -> bool:
        """Return whether the files that were looked at are still those that were hashed at the start."""
        for number, path in (key for name, key in relied if name == "file" and isinstance(key, tuple)):
            known = file.workspace.files.get((number, path))
            if known is not None and look_at_file(self.root, f"projects/{number}", path, known.listed) != known:
                return False
        return True


def build_ledger(portfolio: Portfolio) -> Ledger:
    """Return the digests of what a part's pages can rely on."""
    space, parts = portfolio.workspace, portfolio.parts
    if space is None or not parts:
        return Ledger({}, {})
    shop, digests = next(iter(parts.values())).shop, portfolio.checked.digests

    def answer(name: str) -> Any:
        if name not in ANSWERS:
            raise NotPlain(f"{name} is not among the answers of the shop")
        return ANSWERS[name](shop)

    def find_file(number: str) -> tuple[Any, ...]:
        file = parts.get(number)
        record = ledger.find(("part", number))  # reckoned for those inside already
        return () if file is None else (record, digests.find(file.lineage), file.standing, file.findings)

    entries: dict[str, Any] = {
        "part": portfolio.checked.spell_record,
        "file": space.files.get,
        "shop": find_file,
        ANSWER: answer,
        STORY: lambda number: list_told(parts[number]),
        FORECAST: lambda number: build_forecast_sections(parts[number]),
    }
    wholes: dict[str, Callable[[], Any]] = {
        "part": portfolio.checked.spell_records,
        "file": partial(dict, space.files),
        "shop": partial(dict, parts),
    }
    ledger = Ledger(entries, wholes)
    return ledger


def compute_theme_digest(folders: Iterable[str | Path]) -> str:
    """Return the sha256 (hex) of all templates that pages are rendered from, the maker's own first."""
    digest = hashlib.sha256()
    for folder in map(Path, folders):
        for path in sorted(folder.rglob("*.html")):
            digest.update(f"\0{path.relative_to(folder).as_posix()}\0".encode())
            digest.update(path.read_bytes())
        digest.update(b"\1")
    return digest.hexdigest()


def _write_output(root: Path, output: PartOutput) -> dict[str, Any]:
    copies = [
        [
            copy.path,
            None if copy.content is None else copy.content.decode("latin-1"),
            None if copy.source is None else copy.source.relative_to(root).as_posix(),
        ]
        for copy in output.copies
    ]
    links = {at: [list(found.addresses), sorted(found.ids)] for at, found in output.links.items()}
    texts = {"texts": _compute_sum(output.texts.packed), "addresses": list(output.texts.addresses)}
    return {**texts, "copies": copies, "links": links}


def _read_output(root: Path, kept: Mapping[str, Any], packed: bytes) -> PartOutput:
    copies = tuple(
        Copy(path, None if content is None else content.encode("latin-1"), None if source is None else root / source)
        for path, content, source in kept["copies"]
    )
    links = {at: PageLinks(tuple(found), frozenset(ids)) for at, (found, ids) in kept["links"].items()}
    return PartOutput(PackedTexts(tuple(map(str, kept["addresses"])), packed), copies, links)


def _compute_sum(packed: bytes) -> str:
    return hashlib.sha256(packed).hexdigest()
