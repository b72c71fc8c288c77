"""Files of points and readings: what is read, what is refused and where."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from pipeline.reading.points import (
    MAX_FINDINGS,
    PointFile,
    ReadingFile,
    choose_separator,
    parse_number,
    read_measured_file,
)


def read(
    root: Path, text: str | bytes, name: str = "a.csv"
) -> tuple[PointFile | ReadingFile | None, list[tuple[str, int, int]]]:
    (root / name).write_bytes(text if isinstance(text, bytes) else text.encode())
    content, findings = read_measured_file(root, name)
    return content, [(f.rule, f.location.line, f.location.column) for f in findings]


HEAD = "# unit: mm\ngroup,x,y,z\n"


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("# unit: mm\nrim,1,2,3\nrim,4,5,6\n", {"rim": [[1, 2, 3], [4, 5, 6]]}),
        ("# unit: mm\n1 2 3\n\n  \n4\t5\t6\n".replace("\t", " "), {"": [[1, 2, 3], [4, 5, 6]]}),
        ("# unit: mm\nx\ty\tz\n1\t2\t3\n", {"": [[1, 2, 3]]}),
        ("# unit: in\n1,0,-1\n", {"": [[25.4, 0, -25.4]]}),
        ("# unit: inches\n1,0,0\n", {"": [[25.4, 0, 0]]}),
        ("# unit: um\n1000,0,0\n", {"": [[1, 0, 0]]}),
        ("# unit: mm\ngruppe;x;y;z\nrim;1,5;-2,25;3\n", {"rim": [[1.5, -2.25, 3]]}),
        ("group,x[mm],y[mm],z[mm]\na,1,2,3\nb,4,5,6\n", {"a": [[1, 2, 3]], "b": [[4, 5, 6]]}),
        ("group,x_in,y_in,z_in\na,1,2,3\n", {"a": [[25.4, 50.8, 76.2]]}),
        ("\ufeff# unit: mm\r\ngroup,x,y,z\r\na,1e1,2.5E-1,.5\r\n", {"a": [[10, 0.25, 0.5]]}),
        (HEAD + "# a remark\n a , 1 , 2 , 3 \n", {"a": [[1, 2, 3]]}),
        (HEAD + "a,1,2,3\nb,0,0,0\na,4,5,6\n", {"a": [[1, 2, 3], [4, 5, 6]], "b": [[0, 0, 0]]}),
    ],
)
def test_points_are_read_in_mm(tmp_path: Path, text: str, wanted: dict[str, list[list[float]]]) -> None:
    content, findings = read(tmp_path, text)
    assert findings == []
    assert isinstance(content, PointFile)
    assert {name: np.round(points, 9).tolist() for name, points in content.groups.items()} == wanted


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("group,x,y,z\na,1,2,3\n", [("Q801", 1, 1)]),
        ("# unit: furlong\na,1,2,3\n", [("Q801", 1, 9)]),
        ("# unit: mm\n# unit: in\na,1,2,3\n", [("Q802", 2, 9)]),
        ("# unit: mm\na,1,2,3\n# unit: in\n", [("Q802", 3, 9)]),
        ("group,x[mm],y[mm],z[in]\na,1,2,3\n", [("Q802", 1, 19)]),
        ("# unit: mm\ngroup,x[in],y[in],z[in]\na,1,2,3\n", [("Q802", 2, 7), ("Q802", 2, 13), ("Q802", 2, 19)]),
        (HEAD + "a,1,nan,3\n", [("Q803", 3, 5)]),
        (HEAD + "a,1,2,inf\n", [("Q803", 3, 7)]),
        (HEAD + "a,1,2,-Infinity\n", [("Q803", 3, 7)]),
        (HEAD + "a,1,2,1e400\n", [("Q803", 3, 7)]),
        (HEAD + "a,1_0,2,3\n", [("Q803", 3, 3)]),
        (HEAD + "a,1,two,3\n", [("Q803", 3, 5)]),
        (HEAD + "a,1,,3\n", [("Q803", 3, 5)]),
        (HEAD + "a,1,2,0x10\n", [("Q803", 3, 7)]),
        ("# unit: mm\n1 2 oops\n", [("Q803", 2, 5)]),
        ("# unit: mm\n   1 nan 3\n", [("Q803", 2, 6)]),
        (HEAD + "a,1,2,2e6\n", [("Q803", 3, 1)]),
        (HEAD + "a,1,2\n", [("Q804", 3, 1)]),
        (HEAD + "a,1,2,3,4\n", [("Q804", 3, 1)]),
        ("# unit: mm\n1 2\n", [("Q804", 2, 1)]),
        ("# unit: mm\n1,5,2,5,3,5\n", [("Q804", 2, 1)]),  # a decimal comma between commas
        ("# unit: mm\nx,z,y\n1,2,3\n", [("Q804", 2, 1)]),
        ("# unit: mm\n", [("Q804", 1, 1)]),
        ("", [("Q804", 1, 1)]),
        (HEAD + "a," + "1" * 3000 + ",2,3\n", [("Q804", 3, 1)]),
        (b"# unit: mm\na,1,2,3\na,\xff,2,3\n", [("Q804", 3, 3)]),
        (b"PK\x03\x04\x00\x00", [("Q804", 1, 5)]),
    ],
)
def test_faults_are_named_with_line_and_column(
    tmp_path: Path, text: str | bytes, wanted: list[tuple[str, int, int]]
) -> None:
    content, findings = read(tmp_path, text)
    assert content is None
    assert findings == wanted


def test_a_file_of_nothing_but_faults_is_told_from_its_first_lines(tmp_path: Path) -> None:
    _, findings = read(tmp_path, HEAD + "a,nan,2,3\n" * 500)
    assert [line for _, line, _ in findings] == list(range(3, 3 + MAX_FINDINGS))


def test_readings_keep_their_units(tmp_path: Path) -> None:
    content, findings = read(
        tmp_path, "# value: mean\nfeature,n,reading,unit\nplate,1,40.5,um\nplate,2,41,um\nhard,1,52,HRC\n"
    )
    assert findings == []
    assert isinstance(content, ReadingFile)
    assert content.readings == {"plate": (40.5, 41.0), "hard": (52.0,)}
    assert content.units == {"plate": "um", "hard": "HRC"}
    assert content.lines == {"plate": 3, "hard": 5}


@pytest.mark.parametrize(
    ("row", "wanted"),
    [
        ("plate,1,nan,um", ("Q803", 2, 9)),
        ("plate,1,40,furlong", ("Q801", 2, 12)),
        ("plate,1,40", ("Q804", 2, 1)),
        ("plate,1,40,um\nplate,2,41,mm", ("Q802", 3, 12)),
    ],
)
def test_faults_of_readings(tmp_path: Path, row: str, wanted: tuple[str, int, int]) -> None:
    content, findings = read(tmp_path, f"feature,n,reading,unit\n{row}\n")
    assert content is None
    assert findings == [wanted]


def test_head_tells_how_and_who(tmp_path: Path) -> None:
    text = (
        "# part: TW-1  measurement: M9  original: O3  day: 2026-01-20\n"
        "# instrument: arm-1  by: mara  temperature: 21.5 C\n# unit: mm\n# rim: diameter of the circle\nrim,1,2,3\n"
    )
    content, findings = read(tmp_path, text)
    assert isinstance(content, PointFile)
    assert findings == []
    assert content.how == {"rim": "diameter of the circle"}
    assert content.facts == {
        "part": "TW-1", "measurement": "M9", "original": "O3", "day": "2026-01-20", "instrument": "arm-1",
        "by": "mara", "temperature": "21.5 C",
    }  # fmt: skip


def test_missing_folder_and_link_are_findings(tmp_path: Path) -> None:
    (tmp_path / "real.csv").write_text(HEAD + "a,1,2,3\n")
    (tmp_path / "link.csv").symlink_to(tmp_path / "real.csv")
    (tmp_path / "folder.csv").mkdir()
    for name in ("none.csv", "link.csv", "folder.csv"):
        content, findings = read_measured_file(tmp_path, name)
        assert content is None
        assert [f.rule for f in findings] == ["Q804"]


def test_size_is_limited(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from pipeline.reading import points

    (tmp_path / "a.csv").write_text(HEAD + "a,1,2,3\n")
    faults = points.Faults("a.csv")
    assert list(points.open_lines(tmp_path, "a.csv", faults, most_bytes=10)) == []
    assert [f.rule for f in faults.found] == ["Q804"]


def test_no_more_groups_than_the_limit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipeline.reading.points.MAX_GROUPS", 3)
    _, findings = read(tmp_path, HEAD + "".join(f"g{i},1,2,3\n" for i in range(4)))
    assert findings == [("Q804", 6, 1)]


MEASURE = """
import sys
from pathlib import Path
from pipeline.reading.points import read_measured_file

def read_peak():
    return int(Path("/proc/self/status").read_text().split("VmHWM:")[1].split()[0])  # kB, of this process alone

read_measured_file(Path(sys.argv[1]), "small.csv")
before = read_peak()
content, findings = read_measured_file(Path(sys.argv[1]), "big.csv")
assert not findings
print(content.count, read_peak() - before)
"""


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="peak memory is read from /proc")
def test_a_million_points_are_read_in_bounded_memory(tmp_path: Path) -> None:
    """The points themselves are 24 bytes each; the text (over 20 MB) is never held beside them."""
    count = 1_000_000
    (tmp_path / "small.csv").write_text(HEAD + "a,1,2,3\n")
    with (tmp_path / "big.csv").open("w") as stream:
        stream.write(HEAD)
        for block in range(100):
            rows = (f"scan,{block}.{i % 1000:03d},{i % 777}.25,-{i % 97}.5\n" for i in range(count // 100))
            stream.write("".join(rows))
    command = [sys.executable, "-c", MEASURE, str(tmp_path)]
    run = subprocess.run(command, capture_output=True, text=True, cwd=Path(__file__).parents[2], check=True)
    read_count, kilobytes = map(int, run.stdout.split())
    assert read_count == count
    assert 24 * count / 1024 * 0.5 < kilobytes < 24 * count / 1024 * 2.3  # the buffer moves now and then as it grows


def test_small_words() -> None:
    assert [choose_separator(t) for t in ("a;1,5", "a\t1", "a,1", "a 1")] == [";", "\t", ",", None]
    assert [parse_number(t, True) for t in ("1,5", "-,5", "1.5", "1,5,2", "", "1e5", "١")] == [
        1.5,
        -0.5,
        1.5,
        None,
        None,
        1e5,
        None,
    ]
