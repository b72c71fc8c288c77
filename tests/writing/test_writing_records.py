"""Edits of a record's text, place by place: only the lines that must change do, whatever the record looks like."""

from __future__ import annotations

import codecs
import difflib
import doctest
import multiprocessing
import os
import subprocess
import sys
import textwrap
from pathlib import Path, PurePosixPath, PureWindowsPath

import pytest

from pipeline.reading.tree import parse_tree
from pipeline.writing import encoding, evidence_list, flow_text, names, records, sheets
from pipeline.writing.encoding import edit_bytes
from pipeline.writing.evidence_list import add_hashes
from pipeline.writing.flow_text import AsTyped, render_flow, simplify
from pipeline.writing.locks import LockedError, take_lock
from pipeline.writing.names import build_file_uri, build_safe_name, find_free_name, find_name_fault, render_relative
from pipeline.writing.plans import ChangedMeanwhileError, Plan, PlannedFile, render_diff, write_plan
from pipeline.writing.records import EditError, append_item, insert_entry, set_value

REPO = Path(__file__).parents[2]
ENTRY = {"of": "A", "why": "a: b, #c"}


@pytest.mark.parametrize("module", [encoding, evidence_list, flow_text, names, records, sheets])
def test_examples_run(module: object) -> None:
    found = doctest.testmod(module)  # type: ignore[arg-type]
    assert found.attempted and not found.failed


INSERTS = {
    "block of flow entries": ("a: 1\nfits:\n  x: {b: 1}   # keep\n\nroute: []\n", ['  y: {of: A, why: "a: b, #c"}']),
    "aligned keys": ("fits:\n  long-one:  {b: 1}\n  x:         {b: 2}\n", ['  y:         {of: A, why: "a: b, #c"}']),
    "block entries": ("fits:\n    x:\n        b: 1\n", ["    y:", "      of: A", '      why: "a: b, #c"']),
    "empty section": ("fits:\nroute: []\n", ['  y: {of: A, why: "a: b, #c"}']),
    "comment behind the last": ("fits:\n  x: {b: 1}\n  # more to come\nroute: []\n", ['  y: {of: A, why: "a: b, #c"}']),
    "no line end at the end": ("fits:\n  x: {b: 1}", ['  y: {of: A, why: "a: b, #c"}']),
    "text over several lines": ("fits:\n  x:\n    b: |\n      one\n      two\nroute: []\n", ["  y:", "    of: A", '    why: "a: b, #c"']),
    "entry over several lines": ("fits:\n  x: {b: 1,\n      c: 2}  # odd\nroute: []\n", ['  y: {of: A, why: "a: b, #c"}']),
}  # fmt: skip


@pytest.mark.parametrize("name", INSERTS)
def test_an_entry_goes_behind_the_last_one_and_looks_like_it(name: str) -> None:
    text, added = INSERTS[name]
    made = insert_entry(text, "fits", "y", ENTRY)
    lines = [line[2:] for line in difflib.ndiff(text.splitlines(), made.splitlines()) if line[0] in "+-"]
    assert lines == added
    assert made.endswith("\n")


def test_a_flow_section_takes_the_entry_inside_its_braces() -> None:
    assert insert_entry("fits: {}  # none\n", "fits", "y", {"a": 1}) == "fits: {y: {a: 1}}  # none\n"
    assert insert_entry("fits: {x: {a: 1},\n}\n", "fits", "y", {"a": 1}) == "fits: {x: {a: 1}, y: {a: 1},\n}\n"


def test_a_missing_section_is_made_where_the_record_tells_it() -> None:
    text = "part: A1\nname: x\n\nfits:\n  a: {b: 1}\n\n# what was decided\ndecisions:\n  - {say: go}\n"
    made = insert_entry(text, "quotes", "Q1", {"of": "A"})
    assert made == text.replace("\n# what", "\nquotes:\n  Q1:\n    of: A\n\n# what")
    assert append_item("part: A1\nnote: x\n", "waivers", {"of": "a"}).endswith("note: x\n\nwaivers:\n  - {of: a}\n")
    assert set_value(text, ("picture",), "evidence/a.png") == text.replace(
        "name: x\n", "name: x\npicture: evidence/a.png\n"
    )


def test_items_are_appended_in_every_form() -> None:
    assert append_item("decisions:\n- {a: 1}  # x\n", "decisions", {"b": 2}) == "decisions:\n- {a: 1}  # x\n- {b: 2}\n"
    assert append_item("decisions: []\n", "decisions", {"b": 2}) == "decisions: [{b: 2}]\n"
    assert append_item("decisions:\n", "decisions", {"b": 2}) == "decisions:\n  - {b: 2}\n"
    nested = "decisions:\n  - gate: a\n    say: go   # yes\nwaivers: []\n"
    assert append_item(nested, "decisions", {"b": 2}) == nested.replace("waivers", "  - {b: 2}\nwaivers")


@pytest.mark.parametrize(
    ("text", "pointer", "value", "after"),
    [
        ("a: 1  # x\n", ("a",), 2, "a: 2  # x\n"),
        ("a: {b: [1, 2]}\n", ("a", "b"), [3], "a: {b: [3]}\n"),
        ("a: {b: [1, 2]}\n", ("a", "b", 0), 9, "a: {b: [9, 2]}\n"),
        ("a:\n  b: 'x'\n  c: 2\n", ("a", "b"), "no", 'a:\n  b: "no"\n  c: 2\n'),
        ("a:\n  b:\n  c: 2\n", ("a", "b"), "x", "a:\n  b: x\n  c: 2\n"),
        ("a: {b: , c: 2}\n", ("a", "b"), 1, "a: {b: 1 , c: 2}\n"),
        ("a: {b: 1}\n", ("a", "c"), AsTyped("112.40"), "a: {b: 1, c: 112.40}\n"),
        ('"a": 1\n', ("a",), 2, '"a": 2\n'),
    ],
)
def test_values_are_set_in_place(text: str, pointer: tuple[str | int, ...], value: object, after: str) -> None:
    assert set_value(text, pointer, value) == after


def test_what_cannot_be_edited_is_refused_and_nothing_is_lost() -> None:
    for edit in (
        lambda: insert_entry("fits:\n  a: {b: 1}\n", "fits", "a", {}),
        lambda: insert_entry("fits: [1]\n", "fits", "b", {}),
        lambda: append_item("fits: {a: 1}\n", "fits", {}),
        lambda: insert_entry("", "fits", "b", {}),
        lambda: insert_entry("{part: A1}\n", "fits", "b", {"a": 1}),
        lambda: set_value("a: 1\n", ("b", "c"), 1),
    ):
        with pytest.raises(EditError):
            edit()


@pytest.mark.parametrize("mark", [b"", codecs.BOM_UTF8])
@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_byte_order_mark_and_line_ends_stay_as_they_were(mark: bytes, line_end: str) -> None:
    text = "part: A1\nfits:\n  a: {b: 1}  # ü\n".replace("\n", line_end)
    content = mark + text.encode()
    made = edit_bytes(content, lambda t: append_item(insert_entry(t, "fits", "c", {"b": "ö"}), "waivers", {"a": 1}))
    assert made.startswith(content) and made[:3].count(codecs.BOM_UTF8) == (1 if mark else 0)
    assert made.count(b"\n") == made.count(line_end.encode()) == 7
    listed = add_hashes(
        mark + f"{'a' * 64}  evidence/b{line_end}".encode(), {"evidence/a": "b" * 64, "evidence/c": "c" * 64}
    )
    assert listed.startswith(mark) and listed.count(line_end.encode()) == 3
    assert [line[66:] for line in listed.removeprefix(mark).decode().split(line_end)] == [
        "evidence/a",
        "evidence/b",
        "evidence/c",
        "",
    ]


@pytest.mark.parametrize(
    "value",
    [
        "1953",
        "no",
        "true",
        "12:30",
        "a: b",
        " x",
        "x ",
        "#x",
        "-",
        "- x",
        "[a",
        "1e5",
        "0x1F",
        ".5",
        "5.",
        "ünï",
        "a\nb",
        '"q"',
        "it's",
        "{x}",
        "*a",
        "&a",
        "!t",
        "%x",
        "@x",
        "`x",
        "null",
        "~",
        "2026-05-20",
        "1951-1955",
        "38000 USD",
        "20.5 C",
        "a,b",
        "?x",
        "x:",
        "|",
        ">",
        "5-10",
        "7 Nm",
        "007",
    ],
)
def test_text_reads_back_as_the_same_text(value: str) -> None:
    for shown in (f"a: {{b: {render_flow(value)}, c: 1}}\n", f"a: {render_flow(value)}\n"):
        tree, findings = parse_tree("", shown)
        assert tree is not None and not findings, shown
        read = tree.value["a"]["b"] if isinstance(tree.value["a"], dict) else tree.value["a"]
        assert read == value and type(read) is str
    assert simplify(AsTyped("6.90")) == 6.9


def test_a_plan_is_shown_as_a_diff_and_binary_files_by_size() -> None:
    plan = Plan(
        (PlannedFile("e.bin", None, b"\0\1"), PlannedFile("a.yaml", b"a: 1\n", b"a: 2\n"), PlannedFile("b", b"x", b"x"))
    )
    assert render_diff(plan) == "new file e.bin (2 bytes)\n--- a/a.yaml\n+++ b/a.yaml\n@@ -1 +1 @@\n-a: 1\n+a: 2"
    assert plan.paths == ("e.bin", "a.yaml")


@pytest.mark.fault("a record that somebody else edits before it is written", "nothing is written; the reason is told")
def test_a_file_that_was_changed_in_between_is_never_written_over(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"other")
    plan = Plan((PlannedFile("new", None, b"x"), PlannedFile("a", b"old", b"mine")))
    with pytest.raises(ChangedMeanwhileError, match="a was changed"):
        write_plan(tmp_path, plan, "A1")
    assert (tmp_path / "a").read_bytes() == b"other" and not (tmp_path / "new").exists()


@pytest.mark.skipif(sys.platform == "win32", reason="symbolic links")
@pytest.mark.hostile("records on disk", "writing through links")
def test_nothing_is_written_through_a_link(tmp_path: Path) -> None:
    (tmp_path / "real").write_bytes(b"x")
    (tmp_path / "link").symlink_to("real")
    with pytest.raises(OSError, match="link"):
        write_plan(tmp_path, Plan((PlannedFile("link", b"x", b"y"),)), "A1")


def test_a_lock_is_waited_for_and_then_told(tmp_path: Path) -> None:
    with (
        take_lock(tmp_path, "A1"),
        pytest.raises(LockedError, match="writing A1"),
        take_lock(tmp_path, "A1", wait=0.05),
    ):
        raise AssertionError("two hold one lock")
    with take_lock(tmp_path, "A1", wait=0.05):
        pass


def _stop_at(root: str, call: int) -> str:
    """A program that writes a plan and is stopped, as by a loss of power, at the nth call that touches the disk."""
    return textwrap.dedent(f"""
        import os, pathlib
        from pipeline.writing import files
        from pipeline.writing.plans import Plan, PlannedFile, write_plan
        left = {call}
        def step(real):
            def call(*a, **k):
                global left
                left -= 1
                if left == 0:
                    os._exit(9)
                return real(*a, **k)
            return call
        files.os.fdopen = step(os.fdopen); files.os.fsync = step(os.fsync)
        pathlib.Path.chmod = step(pathlib.Path.chmod); pathlib.Path.replace = step(pathlib.Path.replace)
        old = lambda n: (pathlib.Path({root!r}) / n).read_bytes()
        write_plan(pathlib.Path({root!r}), Plan((PlannedFile("a", old("a"), b"A" * 5000), PlannedFile("b", old("b"), b"B" * 5000))), "A1")
    """)


@pytest.mark.slow
def test_a_kill_at_any_write_leaves_the_old_or_the_new_file_whole(tmp_path: Path) -> None:
    states = set()
    for call in range(1, 11):
        root = tmp_path / str(call)
        root.mkdir()
        for name in "ab":
            (root / name).write_bytes(b"old")
        env = {**os.environ, "PYTHONPATH": str(REPO)}
        done = subprocess.run([sys.executable, "-c", _stop_at(str(root), call)], env=env, check=False)
        found = tuple((root / name).read_bytes() for name in "ab")
        assert found[0] in (b"old", b"A" * 5000) and found[1] in (b"old", b"B" * 5000)
        assert found[1] == b"old" or found[0] != b"old", "the record was written before its evidence"
        states.add((found[0] == b"old", found[1] == b"old"))
        if done.returncode == 0:
            break
    assert done.returncode == 0 and len(states) == 3, "every point between the two files was met"


def _attach_many(root: str, worker: int, count: int) -> None:
    from pipeline.cli.program import group

    for number in range(count):
        group.main(
            ["change", "SD-100", "-w", root, "--found-at", "model", "--what", f"w{worker} n{number}", "--mode", "fit",
             "--by", "ann", "--yes"], standalone_mode=False,
        )  # fmt: skip


@pytest.mark.slow
@pytest.mark.fault("several commands on one record at once", "no edit is lost")
def test_commands_at_once_on_one_record_never_lose_an_edit(tmp_path: Path) -> None:
    from pipeline.findings.rule import Example
    from pipeline.findings.sample import build_sample

    for name, content in build_sample(Example()).items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(content)
    context = multiprocessing.get_context("fork" if sys.platform != "win32" else "spawn")
    workers = [context.Process(target=_attach_many, args=(str(tmp_path), worker, 4)) for worker in range(3)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    text = (tmp_path / "projects/SD-100/part.yaml").read_text("utf-8")
    assert all(f"w{worker} n{number}" in text for worker in range(3) for number in range(4))
    assert all(f"  C{number}: " in text for number in range(1, 13))


@pytest.mark.parametrize(
    ("name", "fault"),
    [
        ("CON", "reserved"), ("con.txt", "reserved"), ("Lpt1.tar.gz", "reserved"), ("aux .csv", "reserved"), ("a?", "refuses"),
        ("a:b", "refuses"), ("a\tb", "refuses"), ("trailing.", "dot"), ("trailing ", "blank"), ("", "empty"), ("..", "empty"),
        ("x" * 101, "101 characters"), ("console.txt", None), ("com10", None), ("TW-101", None), ("ünï.stl", None),
    ],
)  # fmt: skip
def test_names_that_windows_cannot_hold_are_told(name: str, fault: str | None) -> None:
    found = find_name_fault(name)
    assert (found is None) if fault is None else (found is not None and fault in found)
    assert find_name_fault(build_safe_name(name)) is None


def test_names_that_differ_only_in_case_or_form_collide() -> None:
    assert find_free_name("photo.jpg", ["PHOTO.jpg"]) == "photo-2.jpg"
    assert find_free_name("u\u0308.stl", ["ü.stl"]) == "u\u0308-2.stl"
    assert find_free_name("a", ["b"]) == "a"


def test_paths_of_every_flavour_become_the_records_own() -> None:
    assert (
        render_relative(PureWindowsPath("C:\\Shop\\projects\\TW-1\\evidence\\a b.csv"), PureWindowsPath("c:\\shop"))
        == "projects/TW-1/evidence/a b.csv"
    )
    assert render_relative(PurePosixPath("/w/projects/TW-1"), PurePosixPath("/w")) == "projects/TW-1"
    with pytest.raises(ValueError):
        render_relative(PureWindowsPath("D:\\a"), PureWindowsPath("C:\\"))
    assert build_file_uri(PureWindowsPath("C:\\scans\\a#1.e57")) == "file:///C:/scans/a%231.e57"
