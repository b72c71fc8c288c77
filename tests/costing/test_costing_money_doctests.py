"""Every example in the docstrings of the money half of the costing room runs and gives what it says."""

from __future__ import annotations

import doctest
import importlib

import pytest

MODULES = (
    "bounds",
    "money",
    "estimate",
    "factors",
    "information",
    "errors_left",
    "loop",
    "loop_series",
    "loop_inputs",
    "quote_sides",
    "quote_terms",
    "quotes",
    "quote_cash",
    "quote_ranking",
    "quote_switches",
    "calibration",
    "case",
    "worth",
    "worth_simulation",
    "worth_drivers",
)


@pytest.mark.parametrize("name", MODULES)
def test_docstring_examples_hold(name: str) -> None:
    module = importlib.import_module(f"pipeline.costing.{name}")
    result = doctest.testmod(module)
    assert result.attempted > 0
    assert result.failed == 0
