"""Evidence files and their list of hashes: intact, changed, gone, not listed, behind a link, no plain file."""

from __future__ import annotations

import hashlib
import os
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.findings.sample import SAMPLE_PART
from pipeline.model.workspace import FileState
from pipeline.portfolio.check import check_workspace
from pipeline.reading.evidence import parse_evidence_list

PART = "projects/SD-100"
HASH = "0" * 64
LISTS: list[tuple[str, str, dict[str, str], list[int]]] = [
    ("empty", "", {}, []),
    ("two blanks as sha256sum writes text", f"{HASH}  evidence/a.csv\n", {"evidence/a.csv": HASH}, []),
    ("star as sha256sum writes binary", f"{HASH} *evidence/a.csv\n", {"evidence/a.csv": HASH}, []),
    ("blank in a name", f"{HASH}  evidence/a b.csv\n", {"evidence/a b.csv": HASH}, []),
    ("blank lines", f"\n{HASH}  a\n\n", {"a": HASH}, []),
    ("no line end", f"{HASH}  a", {"a": HASH}, []),
    ("Windows line ends", f"{HASH}  a\r\n{HASH}  b\r\n", {"a": HASH, "b": HASH}, []),
    ("no hash", "evidence/a.csv\n", {}, [1]),
    ("short hash", f"{HASH[1:]}  a\n", {}, [1]),
    ("long hash", f"0{HASH}  a\n", {}, [1]),
    ("capitals", f"{'A' * 64}  a\n", {}, [1]),
    ("one blank", f"{HASH} a\n", {}, [1]),
    ("no name", f"{HASH}  \n", {}, [1]),
    ("twice", f"{HASH}  a\n{'1' * 64}  a\n", {"a": HASH}, [2]),
    ("good lines around a bad one", f"{HASH}  a\nx\n{HASH}  b\n", {"a": HASH, "b": HASH}, [2]),
]


@pytest.mark.parametrize(("text", "listed", "wrong"), [c[1:] for c in LISTS], ids=[c[0] for c in LISTS])
def test_the_list_is_read_line_by_line(text: str, listed: dict[str, str], wrong: list[int]) -> None:
    found, findings = parse_evidence_list("evidence.sha256", text)
    assert found == listed
    assert [(f.location.line, f.rule) for f in findings] == [(line, "E305") for line in wrong]


def find_rules(root: Path) -> set[str]:
    """Return the rules broken in files of the sample, gates apart."""
    return {f.rule for f in check_workspace(root).findings if f.rule[0] in "EY"}


def find_state(root: Path, name: str = "evidence/o1.csv") -> FileState:
    """Return what was found of one evidence file."""
    workspace = check_workspace(root).workspace
    assert workspace is not None
    return workspace.files[("SD-100", name)].state


def test_intact_changed_missing_and_unlisted_files(sample: Callable[..., Path]) -> None:
    root = sample()
    file = root / PART / "evidence/o1.csv"
    assert (find_state(root), find_rules(root)) == (FileState.INTACT, set())
    file.write_bytes(file.read_bytes() + b" ")
    assert (find_state(root), find_rules(root)) == (FileState.CHANGED, {"E302"})
    file.unlink()
    assert (find_state(root), find_rules(root)) == (FileState.MISSING, {"E301"})
    (root / PART / "evidence.sha256").unlink()
    assert find_rules(root) == {"E301", "E303"}


def test_one_byte_more_or_less_is_another_file(sample: Callable[..., Path]) -> None:
    root = sample()
    file = root / PART / "evidence/o1.csv"
    content = file.read_bytes()
    for other in (content[:-1], content + b"\n", content.replace(b"\n", b"\r\n"), b""):
        file.write_bytes(other)
        assert find_state(root) is FileState.CHANGED
    file.write_bytes(content)
    assert find_state(root) is FileState.INTACT


@pytest.mark.skipif(sys.platform == "win32", reason="links need a privilege on Windows")
@pytest.mark.parametrize("kind", ["to the file itself", "outside", "dangling", "to a folder", "folder is a link"])
@pytest.mark.hostile("evidence lists and references", "links")
def test_evidence_behind_a_link_is_refused(kind: str, sample: Callable[..., Path], tmp_path: Path) -> None:
    root = sample()
    file = root / PART / "evidence/o1.csv"
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "o1.csv").write_bytes(file.read_bytes())
    if kind == "folder is a link":
        for one in (root / PART / "evidence").iterdir():
            one.replace(outside / one.name)
        (root / PART / "evidence").rmdir()
        (root / PART / "evidence").symlink_to(outside)
    else:
        target = {"to the file itself": file.with_name("real.csv"), "outside": outside / "o1.csv",
                  "dangling": outside / "none", "to a folder": outside}[kind]  # fmt: skip
        file.replace(file.with_name("real.csv"))
        file.symlink_to(target)
    assert find_state(root) is FileState.OUTSIDE
    assert find_rules(root) == {"E304"}


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
@pytest.mark.parametrize("kind", ["folder", "pipe", "name too long"])
@pytest.mark.hostile("evidence lists and references", "folders and pipes in the place of evidence")
def test_evidence_that_is_no_plain_file_is_missing(kind: str, sample: Callable[..., Path]) -> None:
    root = sample()
    file = root / PART / "evidence/o1.csv"
    file.unlink()
    if kind == "folder":
        file.mkdir()
    elif kind == "pipe":
        os.mkfifo(file)
    else:
        record = root / PART / "part.yaml"
        record.write_text(record.read_text().replace("evidence/o1.csv", f"evidence/{'ü' * 200}"))
        assert find_state(root, f"evidence/{'ü' * 200}") is FileState.MISSING
        return
    assert find_state(root) is FileState.MISSING


def test_a_large_evidence_file_is_hashed_in_bounded_memory(sample: Callable[..., Path]) -> None:
    import tracemalloc

    root = sample()
    content = b"\0" * 30_000_000
    (root / PART / "evidence/o1.csv").write_bytes(content)
    tracemalloc.start()
    state = find_state(root)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert state is FileState.CHANGED
    assert peak < 10_000_000
    listing = root / PART / "evidence.sha256"
    lines = [x for x in listing.read_text().splitlines() if "o1.csv" not in x]
    listing.write_text("\n".join([*lines, f"{hashlib.sha256(content).hexdigest()}  evidence/o1.csv"]) + "\n")
    assert find_state(root) is FileState.INTACT


@pytest.mark.hostile("evidence lists and references", "links")
def test_a_list_behind_a_link_lists_nothing(sample: Callable[..., Path], tmp_path: Path) -> None:
    root = sample()
    listing = root / PART / "evidence.sha256"
    (tmp_path / "list").write_bytes(listing.read_bytes())
    listing.unlink()
    listing.symlink_to(tmp_path / "list")
    found = [(f.rule, f.location.path) for f in check_workspace(root).findings if f.rule == "Y012"]
    assert found == [("Y012", f"{PART}/evidence.sha256")]
    assert find_state(root) is FileState.UNLISTED


def test_files_of_other_records_are_not_reached(sample: Callable[..., Path]) -> None:
    root = sample()
    record = root / PART / "part.yaml"
    record.write_text(SAMPLE_PART.replace("evidence/o1.csv", "../SD-100/evidence/o1.csv"))
    assert "M112" in {f.rule for f in check_workspace(root).findings}
