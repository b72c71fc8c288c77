"""The command line as a fixture."""

from __future__ import annotations

import pytest
from cli.command_line import Caller


@pytest.fixture
def call(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Caller:
    """Return a function that runs a command and gives its code and what it printed."""
    return Caller(monkeypatch, capsys)
