"""Which edition of a site lies in a folder. Editions never share one, and none lies inside another."""

from __future__ import annotations

import re
from pathlib import Path

INTERNAL = "internal"
"""The edition with everything in it; the same word as in the model, which nobody has to load for it."""
_EDITION = re.compile(r'<meta name="edition" content="([^"]*)">')
_OURS = "css/drawing.css"


def find_built_edition(folder: Path) -> str | None:
    """Return the edition of the site in a folder; None where there is no site of ours."""
    try:
        text = (folder / "index.html").read_text("utf-8", "replace")
    except OSError:
        return None
    found = _EDITION.search(text)
    return found.group(1) if found else INTERNAL if _OURS in text else None


def find_edition_conflict(out: Path, name: str) -> str:
    """Return why an edition must not be written into a folder, and what to do; empty where it may.

    Two editions never share a folder, and none lies inside another: whoever publishes one would publish both.
    """
    for folder in (out, *out.parents):
        found = find_built_edition(folder)
        if found is not None and found != name:
            place = "holds" if folder == out else f"lies in {folder}, which holds"
            return f"{out} {place} the {found} edition, and this is the {name} one; choose another --out"
    return ""
