"""Every example in the docstrings of the planning room runs and gives what it says."""

from __future__ import annotations

import doctest
import importlib
import pkgutil

import pytest

import pipeline.planning

MODULES = [found.name for found in pkgutil.iter_modules(pipeline.planning.__path__)]


@pytest.mark.parametrize("name", MODULES)
def test_examples_run(name: str) -> None:
    assert doctest.testmod(importlib.import_module(f"pipeline.planning.{name}")).failed == 0


def test_the_room_has_examples() -> None:
    modules = [importlib.import_module(f"pipeline.planning.{name}") for name in MODULES]
    finder = doctest.DocTestFinder()
    assert sum(len(test.examples) for module in modules for test in finder.find(module)) > 60
