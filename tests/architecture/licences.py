"""The libraries that the program stands on: licence, lowest version that is tested, and why each earns its place."""

from __future__ import annotations

import re
import tomllib
from importlib.metadata import metadata
from pathlib import Path

ROOT = Path(__file__).parents[2]
WHY = {
    "click": "the command line: words, help, prompts",
    "defusedxml": "XML from outside (workbooks, drawings) without entities or document types",
    "gitpython": "starts git on Windows without looking for it in the workspace",
    "jinja2": "the templates of the site, with escaping on",
    "matplotlib": "figures as SVG, drawn once at build",
    "mkdocs": "the site: hand-written pages, theme, preview",
    "networkx": "the graph of what descends from what",
    "numpy": "points, meshes, simulation",
    "openpyxl": "workbooks in and out",
    "pydantic": "the types of a record, strict and frozen",
    "pyyaml": "the text of a record, with the place of every value",
    "scipy": "fits, distributions, the plan of the tooling money",
    "segno": "the code on a traveller that leads to the part's page",
    "trimesh": "meshes of models (STL not by the book, PLY)",
}
IMPORTED_AS = {"gitpython": "git", "pyyaml": "yaml"}


def read_dependencies() -> dict[str, str]:
    """Return name -> lowest version, as pyproject.toml declares them."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    found = [re.fullmatch(r"([A-Za-z0-9_.-]+)>=([0-9.]+)", one) for one in project["dependencies"]]
    assert all(found), project["dependencies"]
    return {one.group(1).lower(): one.group(2) for one in found if one is not None}


def read_licence(name: str) -> str:
    """Return the licence that a package states: its SPDX expression, else its classifier, else its short field."""
    found = metadata(name)
    expression = found.get("License-Expression")
    if expression:
        return str(expression)
    classified = [
        one.rpartition(" :: ")[2] for one in found.get_all("Classifier") or [] if one.startswith("License ::")
    ]
    named = [one for one in classified if one != "OSI Approved"]
    return ", ".join(named) or (found.get("License") or "see the package").splitlines()[0][:60]


def simplify_licence(text: str) -> str:
    """Return the family of a licence, so that the table is the same whatever release is installed.

    >>> simplify_licence("BSD License"), simplify_licence("MIT License")
    ('BSD', 'MIT')
    """
    for family in ("BSD", "MIT", "PSF", "Python Software Foundation", "Apache", "HPND", "ISC"):
        if family.casefold() in text.casefold():
            return "PSF" if family.startswith("Python") else family
    return text


def render_licences() -> str:
    """Return the table of what the program stands on."""
    rows = [
        f"| {name} | {lowest} | {simplify_licence(read_licence(name))} | {WHY[name]} |"
        for name, lowest in sorted(read_dependencies().items())
    ]
    return "\n".join(["| library | tested from | licence | why |", "| --- | --- | --- | --- |", *rows])
