"""Studies that were made before, kept by what they were made from: plain JSON in `.pipeline/plans`, safe to delete."""

from __future__ import annotations

import contextlib
import functools
import hashlib
import json
import os
from pathlib import Path

import pipeline.planning
import pipeline.portfolio.funding_study
from pipeline.keeping.seals import is_sealed, seal
from pipeline.planning.funding_case import FundingCase
from pipeline.planning.funding_sureness import WorldModel
from pipeline.portfolio.funding_study import USUAL, OnStage, Study, StudySettings, compute_study
from pipeline.portfolio.plain_values import decode, encode
from pipeline.reading.source import is_link_inside

FOLDER = ".pipeline/plans"
KEPT = 40
"""Studies that are kept; the oldest go first."""


@functools.cache
def compute_stamp() -> str:
    """Return what else a study depends on: the code that makes it (sha256, hex)."""
    digest = hashlib.sha256()
    sources = [*Path(pipeline.planning.__file__).parent.glob("funding_*.py")]
    sources += [*Path(pipeline.portfolio.funding_study.__file__).parent.glob("funding*.py")]
    for path in sorted(sources):
        digest.update(path.read_bytes().replace(b"\r\n", b"\n"))
    return digest.hexdigest()


def compute_key(case: FundingCase, model: WorldModel, settings: StudySettings) -> str:
    """Return the key of a study: sha256 of its inputs and the stamp."""
    return hashlib.sha256(f"{compute_stamp()}\n{case!r}\n{model!r}\n{settings!r}".encode()).hexdigest()


def study_kept(
    root: Path | None,
    case: FundingCase,
    model: WorldModel,
    settings: StudySettings = USUAL,
    on_stage: OnStage | None = None,
) -> Study:
    """Return the study of a case: the one kept in the workspace `root` where there is one, else made and kept.

    What is damaged or cannot be written is made anew, never an error. A study that was stopped by hand is not kept.
    """
    is_kept = root is not None and not is_link_inside(root, root / FOLDER)
    path = root / FOLDER / f"{compute_key(case, model, settings)}.json" if root is not None and is_kept else None
    kept = None if path is None else _read(path)
    if kept is not None:
        return kept
    study = compute_study(case, model, settings, on_stage)
    if path is not None and study.is_complete:
        _write(path, study)
    return study


def _read(path: Path) -> Study | None:
    try:
        found, _, text = path.read_text("utf-8").partition("\n")
        if not is_sealed(found, path.name, text):
            return None
        study: Study = decode(Study, json.loads(text))
        return study
    except (OSError, ValueError, TypeError, KeyError, AttributeError):
        return None


def _write(path: Path, study: Study) -> None:
    with contextlib.suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        draft = path.with_suffix(f".{os.getpid()}")
        text = json.dumps(encode(study), separators=(",", ":"))
        draft.write_text(f"{seal(path.name, text)}\n{text}", encoding="utf-8", newline="\n")
        draft.replace(path)
        kept = sorted(path.parent.glob("*.json"), key=lambda one: (one.stat().st_mtime, one.name))
        for old in kept[:-KEPT]:
            old.unlink(missing_ok=True)
