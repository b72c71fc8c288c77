"""The strict door: every problem of a text has its rule and its exact place; wording is not compared."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.findings.finding import Finding
from pipeline.findings.sample import SAMPLE_PART
from pipeline.portfolio.check import check_workspace
from pipeline.reading.source import decode_source
from pipeline.reading.tree import parse_tree

RECORD = "projects/SD-100/part.yaml"
Place = tuple[int, int, str]


def find_places(findings: tuple[Finding, ...]) -> list[Place]:
    """Return (line, column, rule) of each finding."""
    return [(f.location.line, f.location.column, f.rule) for f in findings]


def read_text(raw: bytes | str) -> list[Place]:
    """Return what is wrong with a text before its shape is looked at."""
    source, findings = decode_source("x.yaml", raw.encode() if isinstance(raw, str) else raw)
    if source is None:
        return find_places(findings)
    return find_places(parse_tree("x.yaml", source.text)[1])


def write_record(write: Callable[..., Path], text: str | bytes) -> Path:
    """Return a sample workspace whose record holds exactly this text."""
    root = write()
    (root / RECORD).write_bytes(text if isinstance(text, bytes) else text.encode())
    return root


def find_record_places(root: Path) -> list[Place]:
    """Return (line, column, rule) of all findings in the sample's record."""
    return find_places(tuple(f for f in check_workspace(root).findings if f.location.path == RECORD))


TEXTS: list[tuple[str, bytes | str, list[Place]]] = [
    ("colon in a plain text", "name: a: b\n", [(1, 8, "Y001")]),
    ("open bracket", "a: [1,\nb: 2\n", [(3, 1, "Y001")]),
    ("open quote", 'a: "x\n', [(2, 1, "Y001")]),
    ("tab as indentation", "a:\n\tb: 1\n", [(2, 1, "Y001")]),
    ("two documents", "a: 1\n---\nb: 2\n", [(2, 1, "Y001")]),
    ("half a surrogate pair", 'a: "\\ud800"\n', [(1, 7, "Y001")]),
    ("key twice", "a: 1\nb: 2\na: 3\n", [(3, 1, "Y002")]),
    ("key twice, deeper", "m:\n  x: 1\n  y: 2\n  x: 3\n", [(4, 3, "Y002")]),
    ("key thrice", "a: 1\na: 2\na: 3\n", [(2, 1, "Y002"), (3, 1, "Y002")]),
    ("key twice in a flow map", "m: {x: 1, x: 2}\n", [(1, 11, "Y002")]),
    ("quoted key is the same key", 'a: 1\n"a": 2\n', [(2, 1, "Y002")]),
    ("anchor and alias", "a: &x 1\nb: *x\n", [(1, 4, "Y003"), (2, 4, "Y003")]),
    ("anchor of a map", "a: &x {b: 1}\n", [(1, 4, "Y003")]),
    ("too deep", "a: " + "[" * 21 + "]" * 21 + "\n", [(1, 24, "Y005")]),
    ("Latin-1", b"a: 1\nb: h\xf6ok\n", [(2, 5, "Y006")]),
    ("Latin-1 after letters of two bytes", "a: öö".encode() + b"\xe4", [(1, 6, "Y006")]),
    ("UTF-16", "a: 1\n".encode("utf-16"), [(1, 1, "Y006")]),
    ("escape character", "a: x\x1b[31m\n", [(1, 5, "Y007")]),
    ("text turned round", "a: 1\nb: x\u202ey\n", [(2, 5, "Y007")]),
    ("zero-width blank", "a: x\u200by\n", [(1, 5, "Y007")]),
    ("line end that only some programs see", "a: x\u2028b: y\n", [(1, 5, "Y007")]),
    ("next line", "a: x\u0085b: y\n", [(1, 5, "Y007")]),
    ("mark in the middle", "a: x\ufeffy\n", [(1, 5, "Y007")]),
    ("invisible letters", "a: x\U000e0041y\n", [(1, 5, "Y007")]),
    ("after CRLF", b"a: 1\r\nb: x\x07\r\n", [(2, 5, "Y007")]),
    ("NUL", b"a: x\x00\n", [(1, 5, "Y007")]),
    ("hidden by an escape", 'a: "x\\x1b[31m"\n', [(1, 4, "Y007")]),
    ("direction by an escape", 'a: 1\nb: "\\u202Ex"\n', [(2, 4, "Y007")]),
    ("hidden in a key", '"a\\u200b": 1\n', [(1, 1, "Y007")]),
    ("not a number", "a: .nan\n", [(1, 4, "Y008")]),
    ("infinite", "a: [1, -.inf]\n", [(1, 8, "Y008")]),
    ("beyond the range", "a: 1e999\n", [(1, 4, "Y008")]),
    ("more digits than a reading has", "a: " + "9" * 19 + "\n", [(1, 4, "Y008")]),
    ("tag", "a: !!python/name:os.system x\n", [(1, 4, "Y009")]),
    ("tag of our own", "a: !x {b: 1}\n", [(1, 4, "Y009")]),
    ("set", "a: !!set {b, c}\n", [(1, 4, "Y009")]),
    ("binary", "a: !!binary aGVsbG8=\n", [(1, 4, "Y009")]),
    ("list as a key", "? [a, b]\n: 1\n", [(1, 3, "Y010")]),
    ("merge key", "a: {b: 1}\n<<: {c: 1}\n", [(2, 1, "Y010")]),
    ("empty", "", [(1, 1, "Y011")]),
    ("only a comment", "# nothing\n", [(1, 1, "Y011")]),
    ("a list", "- a\n", [(1, 1, "Y011")]),
    ("a word", "hello\n", [(1, 1, "Y011")]),
    ("byte order mark at the start", b"\xef\xbb\xbfa: 1\n", []),
    ("CRLF", b"a: 1\r\nb: 2\r\n", []),
    ("letters of all kinds", "a: Größe ≥ 12 µm, 図面\n", []),
    ("twenty levels below a key", "a: " + "[" * 20 + "]" * 20 + "\n", []),
    ("eighteen digits", "a: " + "9" * 18 + "\n", []),
    ("star and ampersand in quotes", "a: '*x'\nb: \"R&D & co\"\n", []),
]


@pytest.mark.parametrize(("raw", "places"), [case[1:] for case in TEXTS], ids=[case[0] for case in TEXTS])
def test_text_rules_stand_where_the_fault_is(raw: bytes | str, places: list[Place]) -> None:
    assert read_text(raw) == places


VALUES: list[tuple[str, object]] = [
    ("no", "no"), ("yes", "yes"), ("on", "on"), ("off", "off"), ("True", "True"), ("NULL", "NULL"), ("12:30", "12:30"),
    ("1.10", 1.1), ('"1.10"', "1.10"), ("007", "007"), ("0x1F", "0x1F"), ("0o17", "0o17"), ("1_000", "1_000"),
    ("1,5", "1,5"), ("2026-05-20", "2026-05-20"), ("1951-1955", "1951-1955"), ("=1+1", "=1+1"), ("12 mm", "12 mm"),
    ("0", 0), ("-3", -3), ("+3", 3), ("2.", 2.0), (".5", 0.5), ("1e3", 1000.0), ("1e+3", 1000.0), ("-0", 0),
    ("true", True), ("false", False), ("null", None), ("~", None), ("", None), ("1.2.3", "1.2.3"), ("1e", "1e"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "value"), VALUES, ids=[text or "nothing" for text, _ in VALUES])
def test_only_plain_numbers_true_false_and_null_are_not_text(text: str, value: object) -> None:
    tree, findings = parse_tree("x.yaml", f"a: {text}\n")
    assert not findings
    assert tree is not None
    found = tree.value["a"]
    assert (type(found), found) == (type(value), value)


def build_record(section: str, line: str) -> str:
    """Return the sample's record with a line put in the place of one that starts like it."""
    lines = SAMPLE_PART.splitlines()
    at = next(i for i, text in enumerate(lines) if text.startswith(section))
    lines[at] = line
    return "\n".join(lines) + "\n"


# (what, start of the line that is replaced, what stands there instead with a § where the fault is, rule)
SHAPES: list[tuple[str, str, str, str]] = [
    ("key missing in an entry", "  O1:", "  O1: §{condition: used}", "M101"),
    ("unknown key", "  O1:", "  O1: {condition: used, from: lent, §handd: left}", "M102"),
    ("unknown first key", "engineer:", "engineer: ann\n§enginer: bob", "M102"),
    ("unknown word", "  O1:", "  O1: {condition: §second-hand, from: lent}", "M103"),
    ("unknown safety class", "safety:", "safety: §S9", "M103"),
    ("unknown unit", "  hard:", "  hard: {what: hardness, kind: hardness, nominal: 50, unit: §rockwell}", "M103"),
    ("number in words", "  length:", "  length: {what: l, kind: size, nominal: §forty, unit: mm, critical: true}", "M104"),
    ("true as a number", "  length:", "  length: {what: l, kind: size, nominal: §true, unit: mm, critical: true}", "M104"),
    ("decimal comma", "  length:", '  length: {what: l, kind: size, nominal: §"40,5", unit: mm, critical: true}', "M104"),
    ("leading zero", "  length:", "  length: {what: l, kind: size, nominal: §040, unit: mm, critical: true}", "M104"),
    ("clock as a number", "  length:", "  length: {what: l, kind: size, nominal: §12:30, unit: mm, critical: true}", "M104"),
    ("half a piece", "engineer:", "engineer: ann\nstock: {pieces: §2.5, unit_cost: 1}", "M104"),
    ("day that is not in the calendar", "  P1:", "  P1: {of: A, process: print, on: §2026-02-30}", "M105"),
    ("day first", "  P1:", "  P1: {of: A, process: print, on: §03/04/2026}", "M105"),
    ("short day", "  P1:", "  P1: {of: A, process: print, on: §2026-2-3}", "M105"),
    ("day with a time", "  P1:", "  P1: {of: A, process: print, on: §2026-02-03T10:00}", "M105"),
    ("week of the year", "  P1:", "  P1: {of: A, process: print, on: §2026-W05-1}", "M105"),
    ("digits of another script", "  P1:", "  P1: {of: A, process: print, on: §٢٠٢٦-٠٢-٠٣}", "M105"),
    ("year as a number", "  P1:", "  P1: {of: A, process: print, on: §2026}", "M105"),
    ("number as a name", "name:", "name: §1951", "M106"),
    ("no as a truth", "  hard:", "  hard: {what: h, kind: hardness, nominal: 50, unit: HRC, critical: §no}", "M106"),
    ("list for a map", "originals:", "demand: §[1, 2, 3]\noriginals:", "M106"),
    ("text for a list", "  A:", "  A: {on: 2026-01-20, by: ann, from: §M1}", "M106"),
    ("three limits", "  hard:", "  hard: {what: h, kind: hardness, nominal: 50, limits: §[1, 2, 3], unit: HRC}", "M106"),
    ("negative price", "engineer:", "engineer: ann\nredo: {reprint: §-380}", "M107"),
    ("share above one", "engineer:", "engineer: ann\ndemand: {per_year: [1, 2, 3], price: 6 USD, ramp: §1.2}", "M107"),
    ("number beyond measure", "  length:", "  length: {what: l, kind: size, nominal: §1e13, unit: mm}", "M107"),
    ("price below zero", "engineer:", "engineer: ann\ndemand: {per_year: [1, 2, 3], price: §-6 USD}", "M107"),
    ("currency sign", "engineer:", "engineer: ann\ndemand: {per_year: [1, 2, 3], price: §$68}", "M108"),
    ("price without currency", "engineer:", "engineer: ann\ndemand: {per_year: [1, 2, 3], price: §68}", "M108"),
    ("thousands comma", "engineer:", 'engineer: ann\ndemand: {per_year: [1, 2, 3], price: §"38,000 USD"}', "M108"),
    ("part number in small letters", "part:", "part: §sd-100", "M109"),
    ("lookalike letter in an id", "  hard:", "  §hаrd: {what: h, kind: hardness, nominal: 50, unit: HRC}", "M109"),
    ("id like an option", "  hard:", "  §--hard: {what: h, kind: hardness, nominal: 50, unit: HRC}", "M109"),
    ("id like a path", "  hard:", "  §../hard: {what: h, kind: hardness, nominal: 50, unit: HRC}", "M109"),
    ("temperature without a unit", "  M1:", "  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: §20, gives: {length: 40}}", "M109"),
    ("years in words", "  saloon:", "  saloon: {vehicle: finch, body: saloon, years: §early}", "M109"),
    ("range that falls", "engineer:", "engineer: ann\ndemand: {per_year: §[3, 2, 1], price: 6 USD}", "M110"),
    ("limits the wrong way", "  hard:", "  hard: {what: h, kind: hardness, nominal: 50, limits: §[5, -5], unit: HRC}", "M110"),
    ("both limits open", "  hard:", "  hard: {what: h, kind: hardness, nominal: 50, limits: §[null, null], unit: HRC}", "M110"),
    ("decision for nothing", "  - {gate: measure,", "  - §{on: 2026-01-15, by: bob, say: go}", "M110"),
    ("empty name", "name:", 'name: §""', "M111"),
    ("blank name", "name:", 'name: §"   "', "M111"),
    ("endless name", "name:", "name: §" + "x" * 2001, "M111"),
    ("reads nothing", "  M1:", "  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, gives: §{}}", "M111"),
    ("file above the part", "name:", "name: x\npicture: §../../secret.png", "M112"),
    ("file from the root", "name:", "name: x\npicture: §/etc/hostname", "M112"),
    ("file of a drive", "name:", "name: x\npicture: §C:/secret.png", "M112"),
    ("backslash", "name:", "name: x\npicture: §evidence\\x.png", "M112"),
]  # fmt: skip


@pytest.mark.parametrize(("start", "marked", "rule"), [c[1:] for c in SHAPES], ids=[c[0] for c in SHAPES])
def test_shape_rules_stand_where_the_fault_is(start: str, marked: str, rule: str, sample: Callable[..., Path]) -> None:
    with_mark = build_record(start, marked).splitlines()
    at = next(i for i, line in enumerate(with_mark, 1) if "§" in line)
    place = (at, with_mark[at - 1].index("§") + 1, rule)
    text = "\n".join(with_mark).replace("§", "") + "\n"
    assert find_record_places(write_record(sample, text)) == [place]


def test_a_missing_first_key_points_at_the_start_and_a_missing_entry_key_at_its_entry(
    sample: Callable[..., Path],
) -> None:
    text = SAMPLE_PART.replace("safety: S0\n", "").replace("{condition: used, from", "{condition: used, note")
    assert find_record_places(write_record(sample, text)) == [(1, 1, "M101"), (8, 7, "M101")]


def test_an_empty_value_points_at_its_key(sample: Callable[..., Path]) -> None:
    text = SAMPLE_PART.replace("engineer: ann\n", "engineer:\n")
    assert find_record_places(write_record(sample, text)) == [(5, 1, "M106")]


TEN = """\
part: SD-100
name: Sample hook
family: casst
safety: S0
engineer: ann
colour: red
fits:
  saloon: {vehicle: finch, body: saloon, years: 1951-1955}
originals:
  O1: {condition: second-hand, from: lent}
  O2: {condition: nos, from: boxed}
  O2: {condition: nos, from: yard}
features:
  length: {what: overall length, kind: size, nominal: forty, limits: [-0.2, 0.2], unit: mm, critical: true}
  hard: {what: hardness, kind: hardness, nominal: 50, limits: [5, -5], unit: HRC}
interfaces:
  seat: {what: hook to sill, gap: {limits: [0.1, 0.9]}, features: [lenght]}
revisions:
  A: {on: 2026-02-30, by: ann, file: evidence/hook-a.stl}
  B: {on: 2026-03-01, by: ann, file: evidence/none.stl, changed: []}
prototypes:
  P1: {of: A, process: whittling, on: 2026-02-01}
fit_checks:
  F1: {with: P1, on: 2026-02-05, by: ann, seen_by: ann, car: car-1, fits: saloon, result: good}
demand: {per_year: [1, 2, 3], price: $68}
picture: ../x.png
"""


def test_ten_and_more_different_mistakes_in_one_record_are_all_told_in_one_run(sample: Callable[..., Path]) -> None:
    assert find_record_places(write_record(sample, TEN)) == [
        (3, 9, "R206"),
        (6, 1, "M102"),
        (10, 19, "M103"),
        (12, 3, "Y002"),
        (14, 55, "M104"),
        (15, 63, "M110"),
        (17, 68, "R208"),
        (19, 11, "M105"),
        (20, 38, "E301"),
        (22, 24, "R212"),
        (24, 52, "P502"),
        (25, 38, "M108"),
        (26, 10, "M112"),
    ]


def test_further_mistakes_are_told_when_first_keys_are_missing_or_refused(sample: Callable[..., Path]) -> None:
    text = (
        SAMPLE_PART.replace("family: cast\n", "")
        .replace("safety: S0", "safety: S9")
        .replace("of: A, proc", "of: Z, proc")
    )
    text = text.replace(
        "  saloon: {vehicle: finch, body: saloon, years: 1951-1955}", "  saloon: {vehicle: finch, body: saloon}"
    )
    rules = {place[2] for place in find_record_places(write_record(sample, text))}
    assert rules == {"M101", "M103", "R209"}


def test_a_broken_record_is_left_out_and_the_others_go_on(sample: Callable[..., Path]) -> None:
    good = SAMPLE_PART.replace("SD-100", "SD-101")
    root = write_record(sample, "part: [\n")
    folder = root / "projects/SD-101"
    (folder / "evidence").mkdir(parents=True)
    for file in (root / "projects/SD-100/evidence").iterdir():
        (folder / "evidence" / file.name).write_bytes(file.read_bytes())
    (folder / "evidence.sha256").write_bytes((root / "projects/SD-100/evidence.sha256").read_bytes())
    (folder / "part.yaml").write_text(good)
    checked = check_workspace(root)
    assert checked.workspace is not None
    assert list(checked.workspace.parts) == ["SD-101"]
    assert find_places(checked.findings) == [(2, 1, "Y001")]
    assert checked.reading.records == 2


def test_a_mark_and_windows_line_ends_change_no_place(sample: Callable[..., Path]) -> None:
    text = SAMPLE_PART.replace("of: A, process", "of: Z, process")
    plain = find_record_places(write_record(sample, text))
    marked = find_record_places(write_record(sample, b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode()))
    assert plain == marked == [(22, 12, "R209")]


def test_columns_count_characters_not_bytes(sample: Callable[..., Path]) -> None:
    line = "  O1: {from: Müllers Größe 図面, condition: rare}"
    text = SAMPLE_PART.replace("  O1: {condition: used, from: lent by a member}", line)
    assert find_record_places(write_record(sample, text)) == [(9, line.index("rare") + 1, "M103")]


def test_a_decimal_comma_is_answered_with_how_to_write_it(sample: Callable[..., Path]) -> None:
    text = SAMPLE_PART.replace("nominal: 40", "nominal: 40,5").replace("limits: [-0.2, 0.2]", "limits: [-0,2, 0,2]")
    findings = check_workspace(write_record(sample, text)).findings
    told = {f.pointer: f"{f.message} {f.fix}" for f in findings if f.pointer.startswith("features.length")}
    assert "decimals with a point" in told["features.length.5"]
    assert "[-0.25, 0.25]" in told["features.length.limits"]
