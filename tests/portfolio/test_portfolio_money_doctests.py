"""The examples in the docstrings of the modules that take money from records to answers are true."""

from __future__ import annotations

import doctest
import importlib

import pytest

MODULES = (
    "pipeline.portfolio.errors", "pipeline.portfolio.quotes", "pipeline.portfolio.landed", "pipeline.views.money_words",
    "pipeline.views.release_sheet", "pipeline.views.quote_sheet",
)  # fmt: skip


@pytest.mark.parametrize("name", MODULES)
def test_examples_are_true(name: str) -> None:
    outcome = doctest.testmod(importlib.import_module(name))
    assert outcome.attempted > 0
    assert outcome.failed == 0
