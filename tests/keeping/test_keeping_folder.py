"""What the program keeps stays out of git, and is written nowhere else."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.cli.program import group
from pipeline.keeping.kept_folder import make_kept_folder


def test_a_check_leaves_nothing_that_git_would_take(sample: Callable[..., Path]) -> None:
    root = sample()
    assert not (root / ".gitignore").exists(), "the workspace itself says nothing of what the program keeps"
    for words in (["init", "-q"], ["add", "-A"]):
        subprocess.run(["git", *words], cwd=root, check=True)
    group.main(["check", "-w", str(root)], standalone_mode=False)
    assert (root / ".pipeline/cache.sqlite").is_file()
    found = subprocess.run(["git", "status", "--porcelain"], cwd=root, check=True, capture_output=True, text=True)
    assert not [line for line in found.stdout.splitlines() if ".pipeline" in line]


@pytest.mark.skipif(sys.platform == "win32", reason="links need a right there")
@pytest.mark.hostile("records on disk", "links in the place of what is kept between runs")
def test_the_line_for_git_is_not_written_through_a_link(tmp_path: Path) -> None:
    place = tmp_path / ".pipeline"
    place.mkdir()
    (place / ".gitignore").symlink_to(tmp_path / "elsewhere")
    make_kept_folder(place)
    assert not (tmp_path / "elsewhere").exists()


def test_what_somebody_wrote_there_stays(tmp_path: Path) -> None:
    make_kept_folder(tmp_path / ".pipeline")
    line = tmp_path / ".pipeline/.gitignore"
    assert line.read_text("utf-8") == "*\n"
    line.write_text("!shown\n", "utf-8")
    make_kept_folder(tmp_path / ".pipeline")
    assert line.read_text("utf-8") == "!shown\n"
