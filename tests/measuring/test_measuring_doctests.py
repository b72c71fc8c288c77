"""Every public function of the room shows a runnable example, and every example runs."""

import doctest
import importlib
import inspect
import pkgutil

import pytest

import pipeline.measuring

MODULES = [found.name for found in pkgutil.iter_modules(pipeline.measuring.__path__)]


@pytest.mark.parametrize("name", MODULES)
def test_examples_run(name):
    module = importlib.import_module(f"pipeline.measuring.{name}")
    result = doctest.testmod(module)
    assert result.failed == 0


@pytest.mark.parametrize("name", MODULES)
def test_public_functions_state_source_and_example(name):
    module = importlib.import_module(f"pipeline.measuring.{name}")
    for label, thing in vars(module).items():
        if label.startswith("_") or not inspect.isfunction(thing) or thing.__module__ != module.__name__:
            continue
        text = inspect.getdoc(thing) or ""
        assert ">>>" in text and "Source:" in text, f"{name}.{label}"


def test_room_is_found():
    assert len(MODULES) > 20
