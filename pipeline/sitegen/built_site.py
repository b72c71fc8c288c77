"""A site that was built, or why it was not."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pipeline.findings.finding import Finding


class SiteNotBuilt(Exception):
    """The site could not be built; the old one, if there is one, is as it was."""


@dataclass(frozen=True)
class BuiltSite:
    """A site that was built: where, how many pages, what was found, what the log warned of, what was drawn anew.

    stands : nothing had changed, so that it is the one that was there.
    """

    out: Path
    pages: int
    parts: int
    findings: tuple[Finding, ...]
    warnings: tuple[str, ...]
    drawn: int
    stands: bool = False

    @property
    def index(self) -> Path:
        """The first page."""
        return self.out / "index.html"


def name_empty(site_dir: Path) -> Path:
    """Return the folder that stands for hand-written pages where there are none, while a draft is built."""
    return site_dir.with_name(site_dir.name.removesuffix(".part") + ".pages.part")
