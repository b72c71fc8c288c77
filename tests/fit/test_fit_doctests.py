"""Every public numeric function of the room carries an example, and every example runs."""

from __future__ import annotations

import doctest
import importlib
import inspect
import pkgutil
from types import ModuleType

import pytest

import pipeline.fit

MODULES = sorted(found.name for found in pkgutil.iter_modules(pipeline.fit.__path__))
WITHOUT_FUNCTIONS = {"sources"}


def _load(name: str) -> ModuleType:
    return importlib.import_module(f"pipeline.fit.{name}")


@pytest.mark.parametrize("name", MODULES)
def test_examples_run(name: str) -> None:
    outcome = doctest.testmod(_load(name))
    assert outcome.failed == 0
    assert outcome.attempted > 0 or name in WITHOUT_FUNCTIONS or name.endswith("_tables")


@pytest.mark.parametrize("name", MODULES)
def test_public_functions_say_source_and_show_an_example(name: str) -> None:
    module = _load(name)
    for function_name, function in inspect.getmembers(module, inspect.isfunction):
        if function.__module__ != module.__name__ or function_name.startswith(("_", "refuse_")):
            continue
        text = inspect.getdoc(function) or ""
        assert "Example:" in text, f"{name}.{function_name} shows no example"
        if not function_name.startswith(("is_", "find_")):
            assert "Source:" in text, f"{name}.{function_name} names no source"


def test_room_is_pure() -> None:
    """The room opens no files and starts no processes: it imports numbers and nothing else."""
    banned = ("open(", "import os", "pathlib", "subprocess", "yaml", "networkx", "time.time", "datetime")
    for name in MODULES:
        source = inspect.getsource(_load(name))
        assert not [word for word in banned if word in source], name
