"""A new part goes from nothing to the release of its tooling, and on to its accepted tool, by commands alone, in a real
terminal, with a mistake at each step; and the pages show it proven."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from pipeline.demo.empty import write_empty_workspace
from pipeline.model.words import GATES, GateState, Say
from pipeline.portfolio.portfolio import build_portfolio

pexpect = pytest.importorskip("pexpect")
pytestmark = [pytest.mark.slow, pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")]

REPO = Path(__file__).parents[2]
PROMPT = re.compile(r"\[([A-Za-z-]+)\][^\r\n\[\]]*: $")
DAY = "2026-02-10"


@dataclass
class Terminal:
    """A person at a terminal: answers each prompt from a list, by its flag; an empty line where there is no answer."""

    root: Path
    env: dict[str, str] = field(default_factory=dict)

    def run(self, *arguments: str, commit: bool = False, **answers: list[str]) -> tuple[int, str]:
        child = pexpect.spawn(
            sys.executable, ["-m", "pipeline", *arguments, "--on", DAY], cwd=str(self.root), env=self.env,
            encoding="utf-8", timeout=60, dimensions=(50, 400),
        )  # fmt: skip
        child.setecho(False)
        said = ""
        waiting = {name.replace("_", "-"): list(values) for name, values in answers.items()}
        asked: dict[str, int] = {}
        while True:
            found = child.expect([PROMPT, r"Write this\? \[Y/n\]: $", r"Commit it now\? \[y/N\]: $",
                                  r"Another application\? \[y/N\]: $", pexpect.EOF])  # fmt: skip
            said += child.before + (child.after if isinstance(child.after, str) else "")
            if found == 4:
                break
            if found == 0:
                flag = child.match.group(1).lstrip("-")
                asked[flag] = asked.get(flag, 0) + 1
                assert asked[flag] < 8, f"{flag} is asked again and again\n{said[-3000:]}"
                queue = waiting.get(flag, [])
                child.sendline(queue.pop(0) if queue else "")
            else:
                child.sendline("y" if found == 1 or (found == 2 and commit) else "n")
        child.close()
        left = {name: values for name, values in waiting.items() if values}
        assert not left, f"never asked for {left}\n{said}"
        return child.exitstatus, said


@pytest.fixture
def terminal(tmp_path: Path) -> Terminal:
    root = tmp_path / "shop"
    write_empty_workspace(root, "Test works", "USD")
    (root / "shared/people.yaml").write_text(
        "people:\n  lee: {name: Lee, roles: [lead]}\n  ann: {name: Ann, roles: [engineer], emails: [ann@example.invalid]}\n"
        "  kim: {name: Kim, roles: [owner, buyer]}\n", "utf-8",
    )  # fmt: skip
    (root / "shared/suppliers.yaml").write_text("suppliers:\n  s1: {name: First}\n  s2: {name: Second}\n", "utf-8")
    for number in (1, 2, 3):
        (root / f"o{number}.csv").write_text(f"# unit: mm\nlength,40.0{number}\n", "utf-8")
    (root / "hook.stl").write_text("solid hook\nendsolid hook\n", "utf-8")
    for number in (1, 2):
        (root / f"offer{number}.txt").write_text(f"offer {number}\n", "utf-8")
    env = {**os.environ, "PYTHONPATH": str(REPO), "TERM": "dumb", "HOME": str(tmp_path), "GIT_CONFIG_NOSYSTEM": "1"}
    env |= {"GIT_AUTHOR_EMAIL": "ann@example.invalid", "GIT_AUTHOR_NAME": "Ann"}
    env |= {"GIT_COMMITTER_EMAIL": "ann@example.invalid", "GIT_COMMITTER_NAME": "Ann"}
    subprocess.run(["git", "init", "-q", str(root)], check=True, env=env)
    return Terminal(root, env)


def test_a_part_goes_from_nothing_to_a_tooling_release_with_a_mistake_at_each_step(terminal: Terminal) -> None:
    start(terminal)
    measure(terminal)
    model_and_try(terminal)
    ask_and_release(terminal)
    portfolio = build_portfolio(terminal.root, None)
    file = portfolio.parts["HK-1"]
    assert [str(f) for f in file.findings if f.severity == "error"] == []
    assert [file.standing.gates[gate].state for gate in GATES[:-1]] == [GateState.PROVEN] * 5
    assert file.standing.release is not None and file.standing.release.say is Say.GO
    from pipeline.views.next_steps import describe_place

    assert describe_place(file) == "tooling gate not started"
    from pipeline.views.part_gates import build_rail

    rail = build_rail(file)
    assert [gate.mark.value for gate in rail.gates[:5]] == ["proven"] * 5
    log = subprocess.run(
        ["git", "log", "--format=%s %ae"],
        cwd=terminal.root,
        env=terminal.env,
        capture_output=True,
        text=True,
        check=True,
    )
    assert "HK-1: tooling released ann@example.invalid" in log.stdout
    accept(terminal)
    file = build_portfolio(terminal.root, None).parts["HK-1"]
    assert [str(f) for f in file.findings if f.severity == "error"] == []
    assert [file.standing.gates[gate].state for gate in GATES] == [GateState.PROVEN] * 6


def start(terminal: Terminal) -> None:
    code, said = terminal.run(
        "new", commit=True, NUMBER=["hk-1", "HK-1"], name=["Bonnet hook"], family=["sandcast", "sand-cast"],
        safety=["S9", "S0"], engineer=["", ], fits=["exmple", "example", "saloon", "1950-55", "1950-1955", ""],
        feature=["length | overall | size | forty | +-0.2 | mm", "length | overall | size | 40 | +-0.2 | mm | critical", ""],
        interface=["seat | hook to sill | 0.1 0.9 | width", "seat | hook to sill | 0.1 0.9 | length", ""],
    )  # fmt: skip
    assert code == 0, said
    assert (
        '"hk-1" is not a part number' in said
        and "did you mean sand-cast?" in said
        and '"forty" is not a number' in said
    )
    assert "there is no feature width" in said and "Committed" in said
    assert "engineer: ann" in (terminal.root / "projects/HK-1/part.yaml").read_text("utf-8")
    code, said = terminal.run("new", "HK-1", "--yes", "--name", "x")
    assert code == 2 and "projects/HK-1 is there already" in said


def measure(terminal: Terminal) -> None:
    code, said = terminal.run("decide", "HK-1", "measure", "go", by=["lee"])
    assert code == 1 and "the measure gate wants measure.originals: 0 originals measured, 3 wanted" in said
    for number in (1, 2, 3):
        code, said = terminal.run(
            "attach", "HK-1", f"o{number}.csv", kind=["reading", "measurement"], of=[f"O{number}"],
            condition=["rusty", "used"], **{"from": ["a yard"]}, by=["anne", "ann"], at=["warm", "20 C"],
            gives=["width=40", "length=forty", f"length=40.0{number}"], **{"with": ["laser", "caliper"]},
        )  # fmt: skip
        assert code == 0, said
        assert "in calibration (from" in said and '"forty" is not a number' in said
    code, said = terminal.run("attach", "HK-1", "o3.csv", "--to", "M1")
    assert code == 1 and "attached already: evidence/o3.csv has these very bytes" in said
    code, said = terminal.run("decide", "HK-1", "measure", "go", by=["ann"])
    assert code == 1 and "ann is not lead (that is lee)" in said
    code, said = terminal.run("decide", "HK-1", "measure", "go", by=["lee"])
    if code == 1:
        said = waive_ratio(terminal, said)
    assert "gate: measure" in said


def waive_ratio(terminal: Terminal, said: str) -> str:
    """A caliper is too coarse for these limits: a requirement that the shop may set aside, by name."""
    assert "measure.ratio" in said
    code, said = terminal.run("waive", "HK-1", "tooling.second-signature")
    assert code == 1 and "cannot be waived" in said
    code, said = terminal.run(
        "waive", "HK-1", "measure.ratio", until=["soon", "2026-12-31"], by=["lee"], risk=["kim"],
        exposure=["much", "500 USD"], instead=["a plug gauge at first articles"], why=["no finer instrument in the shop"],
    )  # fmt: skip
    assert code == 0, said
    code, said = terminal.run("decide", "HK-1", "measure", "go", by=["lee"])
    assert code == 0, said
    return said


def model_and_try(terminal: Terminal) -> None:
    code, said = terminal.run("decide", "HK-1", "model", "go", by=["lee"])
    assert code == 1 and "model.revision: no model yet" in said
    code, said = terminal.run("revise", "HK-1", "hook.stl", **{"from": ["M1,M9", "M1,M2,M3"]}, by=["ann"])
    assert code == 0 and '"M9" is not there' in said, said
    assert terminal.run("decide", "HK-1", "model", "go", by=["lee"])[0] == 0
    code, said = terminal.run(
        "attach", "HK-1", "--kind", "prototype", process=["printer", "resin-print"], by=["ann"], cost=["-4", "80"]
    )
    assert code == 0 and '"-4" is below zero' in said, said
    assert terminal.run("decide", "HK-1", "prototype", "go", by=["lee"])[0] == 0
    code, said = terminal.run(
        "fit", "HK-1", "--seen-by", "ann", **{"with": ["P1"]}, gaps=["seat=0.4 0.5"], result=["good"], by=["ann"]
    )
    assert code == 1 and "P502" in said, said
    code, said = terminal.run(
        "fit", "HK-1", **{"with": ["P2", "P1"]}, car=["car-9", "car-1"], gaps=["seat=wide", "seat=0.4 0.5"],
        result=["fine", "good"], by=["ann"], **{"seen-by": ["lee"]},
    )  # fmt: skip
    assert code == 0 and "Still to be tried" in said, said
    code, said = terminal.run("decide", "HK-1", "fit check", "go", by=["lee"], second=["lee"])
    assert code == 1 and "lee is not another person" in said, said
    assert terminal.run("decide", "HK-1", "fit check", "go", by=["lee"], second=["kim"])[0] == 0


def ask_and_release(terminal: Terminal) -> None:
    code, said = terminal.run("release", "HK-1", by=["kim"], second=["lee"])
    assert code == 1 and "quote gate: not started" in said and "release: quote.valid" in said, said
    for number in (1, 2):
        code, said = terminal.run(
            "quote", "HK-1", f"offer{number}.txt", **{"from": ["s9", f"s{number}"]}, valid_to=["2026-13-01", "2026-12-31"],
            tools=["pattern=1800"], tool_kinds=["casting-pattern"] if number == 1 else [],
            pay=["order=0.5", "order=0.5,delivery=0.5"], piece=["many=4", "500=4.20"], weeks=["6"], **{"yield": ["0.95"]},
            freight=["0.1"], duty=["0"], owns_tool=["us"],
        )  # fmt: skip
        assert code == 0 and "the shares add up to 0.5, not to 1" in said, said
    code, said = terminal.run("decide", "HK-1", "quote", "go", by=["lee"], choose=["Q1"])
    assert code == 1 and "lee is not buyer or owner" in said, said
    code, said = terminal.run("decide", "HK-1", "quote", "go", by=["kim"], choose=["Q9", "Q1"])
    assert code == 0, said
    code, said = terminal.run("release", "HK-1", by=["ann"], second=["lee"])
    assert code == 1 and "ann is not owner (that is kim)" in said, said
    code, said = terminal.run("release", "HK-1", commit=True, by=["kim"], second=["lee"])
    assert code == 0 and "TOOLING RELEASE" in said and "1,800 USD" in said and "Committed" in said, said
    code, said = terminal.run("release", "HK-1", by=["kim"], second=["lee"])
    assert code == 1 and "released on 2026-02-10 by kim already" in said, said


def accept(terminal: Terminal) -> None:
    """The tool is ordered, cut, tried and accepted by its first article; a radius that was forgotten is added on the way."""
    code, said = terminal.run(
        "feature", "HK-1", ID=["length", "throat"], what=["throat of the hook"], kind=["gap", "distance"], nominal=["12"],
        limits=["some", "ISO 2768-m"], wrong=["melt", "weld"],
    )  # fmt: skip
    assert code == 0 and "has length already; change it there and issue a revision" in said, said
    assert "throat: ISO 2768-m at 12 mm: ± 0.2 mm" in said
    code, said = terminal.run("tool", "HK-1", "pattern", "cutting")
    assert code == 1 and "cutting comes after ordered" in said and "projects/HK-1/part.yaml:" in said, said
    code, said = terminal.run("tool", "HK-1", TOOL=["die", "pattern"], STEP=["orderd", "ordered"])
    assert code == 0 and "did you mean pattern?" not in said and '"die" is not there' in said, said
    assert terminal.run("tool", "HK-1", "pattern", "cutting")[0] == 0
    (terminal.root / "pour.txt").write_text("poured at 710 C\n", "utf-8")
    code, said = terminal.run(
        "tool", "HK-1", "pattern", "first article", "--settings", "pour.txt", by=["ann"], seen_by=["lee"], pieces=["few", "5"],
        finished=["maybe", "yes"], covers=["length"], gives=["length=long", "length=40.1 40.0 40.1 39.9 40.0"],
        result=["fine", "good"],
    )  # fmt: skip
    assert code == 0, said
    assert terminal.run("tool", "HK-1", "pattern", "accepted")[0] == 0
    code, said = terminal.run(
        "fit", "HK-1", **{"with": ["A1"]}, car=["car-1"], gaps=["seat=0.4 0.5"], result=["good"], by=["ann"],
        **{"seen-by": ["lee"]},
    )  # fmt: skip
    assert code == 0, said
    code, said = terminal.run("decide", "HK-1", "tooling", "go", by=["lee"], second=["lee"])
    assert code == 1 and "lee is not another person" in said, said
    code, said = terminal.run("decide", "HK-1", "tooling", "go", by=["lee"], second=["kim"])
    assert code == 0, said
