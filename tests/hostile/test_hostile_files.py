"""Files that are meant to do harm: quick refusal in bounded memory, and everything else goes on."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import pytest
from hostile.unprivileged import entered_by_all, run_as_nobody

from pipeline.findings.finding import Finding
from pipeline.findings.sample import SAMPLE_PART
from pipeline.portfolio.check import check_workspace

RECORD = "projects/SD-100/part.yaml"


def check_text(root: Path, text: str | bytes) -> tuple[list[Finding], float, int]:
    """Return the findings of a record with this text, the seconds that took, and the most memory at once."""
    (root / RECORD).write_bytes(text.encode() if isinstance(text, str) else text)
    tracemalloc.start()
    start = time.perf_counter()
    found = list(check_workspace(root).findings)
    seconds, peak = time.perf_counter() - start, tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return found, seconds, peak


BOMBS: list[tuple[str, Callable[[], str], str]] = [
    ("50 MB", lambda: "note: " + "long " * 10_000_000, "Y004"),
    ("2 MB of nested brackets", lambda: "a: " + "[" * 2_000_000, "Y004"),
    ("0.9 MB of open brackets", lambda: "a: " + "[" * 900_000, "Y005"),
    ("0.9 MB of closed brackets", lambda: "a: " + "[" * 450_000 + "]" * 450_000, "Y005"),
    ("0.9 MB of nested maps", lambda: "{a: " * 225_000, "Y005"),
    ("0.9 MB of nested dashes", lambda: "- " * 450_000 + "x", "Y005"),
    ("0.9 MB of nested question marks", lambda: "? " * 450_000 + "x", "Y005"),
    ("a million aliases", lambda: "a: &a x\nb: [" + "*a," * 330_000 + "]", "Y003"),
    ("aliases that double", lambda: "\n".join(
        [f"a0: &a0 [x]\na{i}: &a{i} [*a{i - 1}, *a{i - 1}]" for i in range(1, 40)]), "Y003"),
    ("a hundred thousand values", lambda: "a: [" + "1," * 100_000 + "]", "Y005"),
]  # fmt: skip


@pytest.mark.parametrize(("build", "rule"), [b[1:] for b in BOMBS], ids=[b[0] for b in BOMBS])
@pytest.mark.hostile("YAML door", "huge files, deep nesting, aliases, more values than a record has")
def test_a_bomb_is_refused_quickly_in_bounded_memory(
    build: Callable[[], str], rule: str, sample: Callable[..., Path]
) -> None:
    text = build()
    found, seconds, peak = check_text(sample(), text)
    assert {f.rule for f in found} == {rule}
    assert len(found) <= 20
    assert seconds < 15
    assert peak < 150_000_000, f"{peak:,} bytes"


@pytest.mark.hostile("YAML door", "thousands of mistakes at once")
def test_thousands_of_unknown_keys_are_all_told_in_time_that_grows_with_their_number(
    sample: Callable[..., Path],
) -> None:
    root = sample()

    def build(count: int) -> str:
        return SAMPLE_PART + "".join(f"k{i}: {i}\n" for i in range(count))

    times = {}
    for count in (500, 5_000):
        (root / RECORD).write_text(build(count))
        start = time.perf_counter()
        found = check_workspace(root).findings
        times[count] = time.perf_counter() - start
        assert sum(f.rule == "M102" for f in found) == count
    assert times[5_000] / times[500] < 40  # ten times the keys; the square of that would be a hundred


@pytest.mark.hostile("YAML door", "thousands of mistakes at once")
def test_thousands_of_features_and_as_many_wrong_names_are_told(sample: Callable[..., Path]) -> None:
    features = "".join(f"  f{i}: {{what: x, kind: size, nominal: 1, unit: mm}}\n" for i in range(2_500))
    names = ", ".join(f"g{i}" for i in range(2_500))
    text = SAMPLE_PART.replace("features:\n", f"features:\n{features}", 1)
    text = text.replace("P1: {of: A, process: print,", f"P1: {{of: A, process: print, covers: [{names}],")
    found, seconds, _ = check_text(sample(), text)
    assert sum(f.rule == "R208" for f in found) == 2_500
    assert seconds < 30


@pytest.mark.parametrize("what", ["revisions", "replaced measurements", "tools"])
@pytest.mark.hostile("chains of references", "a thousand links in one record and between records")
def test_a_chain_of_any_length_in_one_record_is_followed(what: str, sample: Callable[..., Path]) -> None:
    count = 1_100
    root = sample()
    text = SAMPLE_PART.split("decisions:")[0]
    if what == "revisions":
        more = "".join(f"  A{i}: {{on: 2026-01-2{1 + i // 1000}, by: ann, changed: []}}\n" for i in range(count))
        text = text.replace("prototypes:\n", f"{more}prototypes:\n")
    elif what == "tools":
        more = "".join(f"  t{i}: {{kind: gauge, made_to_fit: [t{i + 1}]}}\n" for i in range(count))
        text = text.replace("tools:\n", f"tools:\n{more}  t{count}: {{kind: gauge, forms: [length]}}\n")
    else:
        line = "{{of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, gives: {{length: 40}}, replaces: N{}}}"
        more = "".join(f"  N{i}: {line.format(i + 1)}\n" for i in range(count))
        last = line.format("").replace(", replaces: N", "")
        text = text.replace("measurements:\n", f"measurements:\n{more}  N{count}: {last}\n")
    (root / RECORD).write_text(text)
    assert not [f for f in check_workspace(root).findings if f.rule[0] in "YMR"]


@pytest.mark.hostile("chains of references", "a thousand links in one record and between records")
def test_a_chain_of_assemblies_of_any_length_is_followed(sample: Callable[..., Path]) -> None:
    root = sample()
    for i in range(1_050):
        folder = root / f"projects/X-{i:04}"
        folder.mkdir()
        (folder / "part.yaml").write_text(
            f"part: X-{i:04}\nname: x\nfamily: cast\nsafety: S0\nengineer: ann\n"
            "fits: {a: {vehicle: finch, body: saloon, years: 1951}}\n"
            + (f"made_of: {{a: {{part: X-{i + 1:04}}}}}\n" if i < 1_049 else "")
        )
    checked = check_workspace(root)
    assert checked.workspace is not None
    assert len(checked.workspace.parts) == 1_051
    assert not checked.findings


@pytest.mark.skipif(sys.platform == "win32", reason="named pipes, devices and links of another kind there")
@pytest.mark.parametrize("kind", ["folder", "pipe", "device", "link", "link to a folder", "dangling link", "nothing"])
@pytest.mark.hostile("records on disk", "folders, pipes, devices, links and nothing in the place of a record")
def test_a_record_that_is_no_plain_file_is_told_and_the_others_go_on(
    kind: str, sample: Callable[..., Path], tmp_path: Path
) -> None:
    root = sample()
    record = root / "projects/SD-200/part.yaml"
    record.parent.mkdir()
    if kind == "folder":
        record.mkdir()
    elif kind == "pipe":
        os.mkfifo(record)
    elif kind == "nothing":
        pass
    else:
        target = {"device": Path("/dev/zero"), "link": root / RECORD, "link to a folder": tmp_path,
                  "dangling link": tmp_path / "none"}[kind]  # fmt: skip
        record.symlink_to(target)
    signal.alarm(20)  # a pipe or a device that is opened never ends
    try:
        checked = check_workspace(root)
    finally:
        signal.alarm(0)
    assert [(f.location.path, f.rule) for f in checked.findings] == [("projects/SD-200/part.yaml", "Y012")]
    assert checked.workspace is not None
    assert list(checked.workspace.parts) == ["SD-100"]


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no such permissions here")
@pytest.mark.parametrize(
    ("locked", "path"),
    [
        (RECORD, RECORD),
        ("projects/SD-100", RECORD),
        ("projects", "projects"),
        ("shared/people.yaml", "shared/people.yaml"),
    ],
)
@pytest.mark.fault("records and catalogues without the right to read them", "told by name; the others go on")
def test_what_may_not_be_read_is_told(locked: str, path: str, sample: Callable[..., Path], tmp_path: Path) -> None:
    root = sample()
    (root / locked).chmod(0)

    def sees_it() -> bool:
        found = {(f.rule, f.location.path) for f in check_workspace(root).findings}
        return found == {("Y012", path)}

    try:
        with entered_by_all(tmp_path):
            assert run_as_nobody(sees_it)
    finally:
        (root / locked).chmod(0o755)


@pytest.mark.skipif(sys.platform != "linux", reason="names of any bytes exist on Linux only")
@pytest.mark.parametrize("name", [b"\x1b[31mred", b"\xff\xfe", "x\u202ey".encode(), b"a b%20#?", b"--help", b"$(id)"])
@pytest.mark.hostile("records on disk", "folder names that are options, escape sequences, shell words, no text")
def test_a_folder_of_any_name_is_told_without_its_name_doing_harm(name: bytes, sample: Callable[..., Path]) -> None:
    from pipeline.findings.report import build_json, build_sarif, render_json, render_text

    root = sample()
    folder = root / "projects" / os.fsdecode(name)
    folder.mkdir()
    (folder / "part.yaml").write_text(SAMPLE_PART)
    findings = check_workspace(root).findings
    assert {f.rule for f in findings} == {"R203"}
    from pipeline.findings.catalogue import RULES

    shown = render_text(findings) + render_json(build_json(findings, 1, 1))
    shown += render_json(build_sarif(findings, RULES, "0"))
    shown.encode()
    assert not {"\x1b", "\u202e"} & set(shown)


@pytest.mark.hostile("records on disk", "case collisions")
def test_case_collisions_are_told_for_both(sample: Callable[..., Path]) -> None:
    root = sample()
    (root / "projects/sd-100").mkdir()
    if (root / "projects/sd-100/part.yaml").exists():
        pytest.skip("this file system knows no case")
    (root / "projects/sd-100/part.yaml").write_text(SAMPLE_PART)
    checked = check_workspace(root)
    assert [(f.rule, f.location.path) for f in checked.findings] == [("R203", "projects/sd-100/part.yaml")]


def test_an_empty_workspace_has_nothing_wrong(sample: Callable[..., Path]) -> None:
    import shutil

    root = sample()
    shutil.rmtree(root / "projects/SD-100")
    checked = check_workspace(root)
    assert not checked.findings
    assert checked.workspace is not None
    assert not checked.workspace.parts
    (root / "projects").rmdir()
    assert not check_workspace(root).findings


def test_missing_and_broken_catalogues_are_told_by_name(sample: Callable[..., Path]) -> None:
    files = {
        "shared/people.yaml": None,
        "shared/money.yaml": "currency: dollars\nhourly: {}\n",
        "shared/gates.yaml": "gates: [}\n",
    }
    checked = check_workspace(sample("", files))
    assert checked.workspace is None
    places = [(f.rule, str(f.location)) for f in checked.findings]
    assert places == [
        ("Y001", "shared/gates.yaml:1:9"),
        ("M109", "shared/money.yaml:1:11"),
        ("R201", "shared/people.yaml:1:1"),
    ]


@pytest.mark.skipif(sys.platform == "win32", reason="links need a right there")
@pytest.mark.hostile("records on disk", "links in the place of what is kept between runs")
@pytest.mark.parametrize("name", ["", "flow", "charts", "plans", "locks", "cache.sqlite", "history.sqlite"])
def test_nothing_is_kept_or_taken_away_behind_a_link(name: str, sample: Callable[..., Path], tmp_path: Path) -> None:
    """A workspace from elsewhere may bring a folder `.pipeline` with it: what it points at is not the program's."""
    from pipeline.cli.program import group
    from pipeline.sitegen.build import build_site

    root, elsewhere = sample(), tmp_path / "elsewhere"
    is_file = name.endswith(".sqlite")
    elsewhere.mkdir()
    (elsewhere / "letter").write_bytes(b"keep")
    place = root / ".pipeline" / name
    place.parent.mkdir(exist_ok=True)
    if name == "":
        place = root / ".pipeline"
    place.rmdir() if place.is_dir() else None
    place.symlink_to(elsewhere / "letter" if is_file else elsewhere)
    build_site(root)
    for words in (["plan"], ["review"], ["since", "2026-01-01"]):
        with contextlib.suppress(Exception):
            group.main([*words, "-w", str(root)], standalone_mode=False)
    with contextlib.suppress(Exception):
        write_bytes_locked(root)
    assert {p.name: p.read_bytes() for p in elsewhere.iterdir()} == {"letter": b"keep"}
    assert (root / "build/site/parts/SD-100.html").is_file()


def write_bytes_locked(root: Path) -> None:
    """Write a record as every command does."""
    from pipeline.writing.plans import Plan, PlannedFile, write_plan

    before = (root / RECORD).read_bytes()
    write_plan(root, Plan((PlannedFile(RECORD, before, before + b"# looked at\n"),)), "SD-100")
