"""Run the command line in this process, and look at what a user would see."""

from __future__ import annotations

import sys
from dataclasses import dataclass

import pytest

from pipeline.cli.program import run


@dataclass(frozen=True)
class Said:
    """What a command printed, and the code it left with."""

    code: int
    out: str
    err: str


class Caller:
    """Calls `pipeline ...` in this process."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
        self.monkeypatch, self.capsys = monkeypatch, capsys

    def __call__(self, *words: object) -> Said:
        self.monkeypatch.setattr(sys, "argv", ["pipeline", *map(str, words)])
        self.capsys.readouterr()
        with pytest.raises(SystemExit) as left:
            run()
        printed = self.capsys.readouterr()
        assert isinstance(left.value.code, int)
        return Said(left.value.code, printed.out, printed.err)
