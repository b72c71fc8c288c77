"""Build the site of a workspace: beside the old one, then in its place in one step.

What renders pages is loaded only where there is something to build.
"""

from __future__ import annotations

import datetime as dt
import shutil
import tempfile
from pathlib import Path

from pipeline.sitegen.built_site import BuiltSite, SiteNotBuilt, name_empty
from pipeline.sitegen.edition_folders import INTERNAL, find_edition_conflict
from pipeline.sitegen.site_lock import lock_site
from pipeline.sitegen.unchanged import SiteMemory

__all__ = ["BuiltSite", "SiteNotBuilt", "build_site", "swap_folders"]

DEFAULT_OUT = "build/site"


def build_site(root: Path, out: Path | None = None, today: dt.date | None = None, edition: str = INTERNAL) -> BuiltSite:
    """Build the site of a workspace into `out` (`build/site`, or `build/<edition>` of the workspace, if None).

    The new site is built in a folder beside `out` and then takes its place: whatever stops a build (a crash, a kill, a
    full disk) leaves the old site whole. Two builds of one commit and day give the same bytes; where the site stands
    as a build would make it, nothing is done.

    Raises EditionUnknown for an edition that the workspace does not have, SiteBusy when another build of the same site
    is running, SiteNotBuilt when MkDocs refuses, OSError when the disk does.
    """
    root = root.resolve()
    _check_edition_name(root, edition)
    default = DEFAULT_OUT if edition == INTERNAL else f"build/{edition}"
    out = (root / default if out is None else out).resolve()
    _refuse_wrong_place(root, out)
    conflict = find_edition_conflict(out, edition)
    if conflict:
        raise SiteNotBuilt(conflict)
    with lock_site(out):
        _sweep(out)
        memory = SiteMemory(root, out, today, edition)
        standing = memory.recall()
        if standing is not None:
            return standing
        draft = Path(tempfile.mkdtemp(prefix=f".{out.name}.", suffix=".part", dir=out.parent))
        try:
            built, digests = _build_into(root, draft, out, today, edition)
            draft.chmod(0o755)
            memory.keep(built, draft, digests)
            swap_folders(draft, out)
        finally:
            for left in (draft, name_empty(draft)):
                shutil.rmtree(left, ignore_errors=True)
    return built


def _refuse_wrong_place(root: Path, out: Path) -> None:
    """Never put a site where something else is: over records, or over a folder that is no site."""
    for name in ("projects", "shared", "site", ".git"):
        place = root / name
        if out == place or place in out.parents:
            raise SiteNotBuilt(f"{out} lies in {name}/, among what the site is made from; choose another --out")
    if out == root or out in root.parents:
        raise SiteNotBuilt(f"{out} holds the workspace itself; choose another --out")
    if out.is_dir() and any(out.iterdir()) and not (out / "index.html").is_file():
        raise SiteNotBuilt(f"{out} is not empty and is no site; choose another --out, or empty it yourself")
    if out.exists() and not out.is_dir():
        raise SiteNotBuilt(f"{out} is a file; choose another --out")


def _sweep(out: Path) -> None:
    """Take away what a killed build left behind. We hold the lock, so nobody else is using it.

    A site that was moved aside and whose successor never arrived goes back to its place first.
    """
    aside = out.parent / f".{out.name}.old"
    if aside.is_dir() and not out.exists():
        aside.replace(out)
    for left in [*out.parent.glob(f".{out.name}.*.part"), aside]:
        shutil.rmtree(left, ignore_errors=True)


def swap_folders(draft: Path, out: Path) -> None:
    """Put a finished site in the place of the old one by two renames.

    A kill between the two is mended by the next build, or the next `serve`.
    """
    aside = out.parent / f".{out.name}.old"
    if out.exists():
        out.replace(aside)
    try:
        draft.replace(out)
    except OSError:
        if aside.is_dir():
            aside.replace(out)
        raise
    shutil.rmtree(aside, ignore_errors=True)


def _check_edition_name(root: Path, edition: str) -> None:
    if edition != INTERNAL:
        from pipeline.sitegen.edition_files import check_edition_name

        check_edition_name(root, edition)


def _build_into(
    root: Path, draft: Path, out: Path, today: dt.date | None, edition: str
) -> tuple[BuiltSite, dict[str, bytes]]:
    from pipeline.sitegen.mkdocs_build import build_into

    return build_into(root, draft, out, today, edition)
