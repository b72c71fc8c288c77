"""The examples in the docstrings of the cost-of-change modules run."""

from __future__ import annotations

import doctest
import importlib

import pytest

MODULES = (
    "change_classes", "delay", "paths", "ranges", "redo", "stages", "tool_redo", "working",
)  # fmt: skip


@pytest.mark.parametrize("name", MODULES)
def test_examples_run(name: str) -> None:
    module = importlib.import_module(f"pipeline.costing.{name}")
    results = doctest.testmod(module)
    assert results.attempted > 0
    assert results.failed == 0
