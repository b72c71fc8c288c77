"""Workspaces for the tests of the spending plan: the demo, and the demo with a few words changed."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from pathlib import Path

from pipeline.portfolio.funding import NO_WISHES, Funding, Wishes, build_funding
from pipeline.portfolio.portfolio import Portfolio, build_portfolio

ROOT = Path(__file__).parents[2]


def copy_demo(folder: Path, changes: Mapping[str, tuple[str, str]] | None = None) -> Path:
    """Copy the demo and replace text in its files: path -> (old, new). A text that is not there is an error."""
    for name in ("projects", "shared"):
        shutil.copytree(ROOT / name, folder / name)
    for path, (old, new) in (changes or {}).items():
        file = folder / path
        text = file.read_text("utf-8")
        assert old in text, f"{path} no longer holds {old!r}"
        file.write_text(text.replace(old, new, 1), "utf-8")
    return folder


def fund(portfolio: Portfolio, wishes: Wishes = NO_WISHES) -> Funding:
    """Return the inputs of the plan of a portfolio."""
    found = build_funding(next(iter(portfolio.parts.values())).shop, wishes)
    assert found is not None
    return found


def fund_copy(folder: Path, changes: Mapping[str, tuple[str, str]] | None = None) -> Funding:
    """Return the inputs of the plan of a changed demo."""
    return fund(build_portfolio(copy_demo(folder, changes)))
