"""A whole workspace from disk: catalogues, every record that can be read, and what is wrong with the others."""

from __future__ import annotations

import datetime as dt
import gc
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from pipeline.findings.finding import Finding, Location, Pointer, Related
from pipeline.findings.rules import links as link_rules
from pipeline.findings.rules import text as text_rules
from pipeline.model.catalogue import CATALOGUE_FILES, OPTIONAL_CATALOGUES, Catalogues
from pipeline.model.part import Part
from pipeline.model.quantity import Frozen
from pipeline.model.workspace import EvidenceFile, Workspace
from pipeline.reading.evidence import read_evidence_files
from pipeline.reading.kept_trees import Keeper, KeptTrees
from pipeline.reading.shape import parse_shape, salvage_shape
from pipeline.reading.source import read_source
from pipeline.reading.tree import Tree

Locate = Callable[[str, Pointer], Location]


@dataclass(frozen=True, slots=True)
class Reading:
    """What came of reading a workspace. `salvaged` holds the broken records as far as they could be understood."""

    workspace: Workspace | None
    findings: tuple[Finding, ...]
    trees: dict[str, Tree] = field(default_factory=dict)
    salvaged: dict[str, Part] = field(default_factory=dict)
    records: int = 0

    def locate(self, path: str, pointer: Pointer) -> Location:
        """Return the place of a value; `path` is the file's path in the workspace."""
        tree = self.trees.get(path)
        return Location(path) if tree is None else tree.locate(pointer)


def build_part_path(number: str) -> str:
    """Return the path of a part's record in the workspace."""
    return f"projects/{number}/part.yaml"


@contextmanager
def _garbage_waits() -> Iterator[None]:
    """Loading makes very many objects that all stay: collecting in between only costs time."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def read_workspace(
    root: Path, today: dt.date | None = None, only: tuple[str, ...] = (), keeper: Keeper | None = None
) -> Reading:
    """Read a workspace. Nothing that a file says raises.

    root : folder with `projects/` and `shared/`.
    today : the day to speak of; the shop's `as_of`, or the clock's day, if None.
    only : part numbers whose evidence files are looked at; all if empty.
    keeper : where the values of files that did not change are found; without one all are parsed.
    """
    with _garbage_waits():
        return _read_workspace(root, today, only, KeptTrees(keeper))


def _read_workspace(root: Path, today: dt.date | None, only: tuple[str, ...], kept: KeptTrees) -> Reading:
    trees: dict[str, Tree] = {}
    findings: list[Finding] = []
    catalogues = read_catalogues(root, trees, findings, kept)
    parts, salvaged, count = _read_parts(root, trees, findings, kept)
    if catalogues is None:
        return Reading(None, tuple(findings), trees, salvaged, count)
    files: dict[tuple[str, str], EvidenceFile] = {}
    for number, part in parts.items():
        if only and number not in only:
            continue
        found, problems = read_evidence_files(root, f"projects/{number}", part)
        files.update({(number, name): file for name, file in found.items()})
        findings.extend(problems)
    day = today or catalogues.shop.as_of or dt.date.today()
    folders = find_record_folders(root) if len(parts) < count else []
    broken = tuple(name for name in folders if name not in parts and _is_there(root / build_part_path(name)))
    workspace = Workspace(parts, catalogues, files, day, broken)
    return Reading(workspace, tuple(findings), trees, salvaged, count)


def read_catalogues(
    root: Path, trees: dict[str, Tree], findings: list[Finding], kept: KeptTrees | None = None
) -> Catalogues | None:
    """Read shared/*.yaml; None when one of them cannot be used, since nothing can be judged without them."""
    kept = kept or KeptTrees()
    found: dict[str, Frozen] = {}
    for name, model in CATALOGUE_FILES.items():
        path = f"shared/{name}.yaml"
        if not _is_there(root / path):
            findings.append(link_rules.NO_CATALOGUE.build_finding(Location(path), f"{path} is missing"))
            continue
        tree = _read_tree(root, path, trees, findings, kept)
        value, problems = (None, ()) if tree is None else parse_shape(tree, model)
        findings.extend(problems)
        if value is not None:
            found[name] = value
    if len(found) < len(CATALOGUE_FILES):
        return None
    return Catalogues.model_construct(None, **found, **_read_optional(root, trees, findings, kept))


def _read_optional(
    root: Path, trees: dict[str, Tree], findings: list[Finding], kept: KeptTrees
) -> dict[str, Frozen | None]:
    """Read the catalogues that a workspace may do without; None for one that is there and cannot be used."""
    found: dict[str, Frozen | None] = {}
    for name, model in OPTIONAL_CATALOGUES.items():
        path = f"shared/{name}.yaml"
        if _is_there(root / path):
            tree = _read_tree(root, path, trees, findings, kept)
            found[name], problems = (None, ()) if tree is None else parse_shape(tree, model)
            findings.extend(problems)
    return found


def _read_tree(root: Path, path: str, trees: dict[str, Tree], findings: list[Finding], kept: KeptTrees) -> Tree | None:
    source, problems = read_source(root, path)
    findings.extend(problems)
    if source is None:
        return None
    tree, problems = kept.parse(path, source.text)
    findings.extend(problems)
    if tree is not None:
        trees[path] = tree
    return tree


def find_record_folders(root: Path) -> list[str]:
    """Return the names of the folders in projects/, sorted; hidden ones are left alone."""
    try:
        entries = list((root / "projects").iterdir())
    except OSError:
        return []
    return sorted(entry.name for entry in entries if not entry.name.startswith(".") and _is_folder(entry))


def _is_folder(entry: Path) -> bool:
    try:
        return entry.is_dir()
    except OSError:
        return False


def _is_there(file: Path) -> bool:
    """True when a file exists, or when it cannot be told (reading it says why)."""
    try:
        return file.exists()
    except OSError:
        return True


def _check_projects_folder(root: Path) -> Iterator[Finding]:
    """A projects/ folder that cannot be listed is no empty one."""
    try:
        next((root / "projects").iterdir(), None)
    except FileNotFoundError:
        return
    except OSError as error:
        reason = error.strerror or type(error).__name__
        yield text_rules.UNREADABLE.build_finding(Location("projects"), f"projects/ cannot be listed: {reason}")


STAND_IN = "stand-in"
_STAND_INS = {
    "name": STAND_IN,
    "family": STAND_IN,
    "safety": "S0",
    "engineer": STAND_IN,
    "fits": {STAND_IN: {"vehicle": STAND_IN, "body": STAND_IN, "years": 1951}},
}
"""What stands in a broken record for a first key that was refused, while further mistakes are looked for."""


def _read_parts(
    root: Path, trees: dict[str, Tree], findings: list[Finding], kept: KeptTrees
) -> tuple[dict[str, Part], dict[str, Part], int]:
    parts: dict[str, Part] = {}
    salvaged: dict[str, Part] = {}
    findings.extend(_check_projects_folder(root))
    folders = find_record_folders(root)
    alike: dict[str, list[str]] = {}
    for name in folders:
        alike.setdefault(name.casefold(), []).append(name)
    for name in folders:
        path = build_part_path(name)
        if not _is_there(root / path):
            message = f"projects/{name} holds no part.yaml"
            findings.append(text_rules.UNREADABLE.build_finding(Location(path), message, record=name))
            continue
        before = len(findings)
        tree = _read_tree(root, path, trees, findings, kept)
        if tree is None:
            continue
        part, problems = parse_shape(tree, Part, record=name)
        told = {finding.location for finding in findings[before:]}
        findings.extend(problem for problem in problems if problem.location not in told)
        if part is None or len(findings) > before:
            rest = part or salvage_shape(tree, Part, {**_STAND_INS, "part": name})
            if rest is not None:
                if tree.value.get("part") == rest.part:
                    _is_placed_right(name, rest, tree, alike, findings)
                salvaged[name] = rest.model_copy(update={"part": name})
            continue
        if not _is_placed_right(name, part, tree, alike, findings):
            continue
        parts[name] = part
    return parts, salvaged, len(folders)


def _is_placed_right(
    name: str, part: Part, tree: Tree, alike: Mapping[str, Sequence[str]], findings: list[Finding]
) -> bool:
    """A record lies in the folder of its number, and no other record has that number.

    alike : the folders by their name without capitals.
    """
    number = part.part
    twin = next((folder for folder in alike.get(number.casefold(), ()) if folder != name), None)
    if number == name and (twin is None or name < twin):
        return True
    place = tree.locate(("part",))
    if twin is not None:
        related = (Related(Location(build_part_path(twin)), "the other record"),)
        message = f"{number} is the number of projects/{twin} too"
        rule = link_rules.NUMBER_TWICE
        findings.append(rule.build_finding(place, message, record=name, pointer=("part",), related=related))
        return False
    message = f"the record in projects/{name} says that it is {number}"
    findings.append(link_rules.WRONG_FOLDER.build_finding(place, message, record=name, pointer=("part",)))
    return False
