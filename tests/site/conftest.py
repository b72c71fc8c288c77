"""The sample site of the theme and the built demo, for the tests of the site."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest
from told_demo import find_built_demo


@pytest.fixture(scope="session")
def theme_samples() -> ModuleType:
    """The sample views of the theme (``theme_samples.py`` beside this file)."""
    path = Path(__file__).with_name("theme_samples.py")
    spec = importlib.util.spec_from_file_location("theme_samples", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["theme_samples"] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def theme_site(theme_samples: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Every page type of the theme with 200 parts."""
    folder: Path = theme_samples.write_sample_site(tmp_path_factory.mktemp("theme"))
    return folder


@pytest.fixture(scope="session")
def large_theme_site(theme_samples: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same with 2,000 parts."""
    folder: Path = theme_samples.write_sample_site(tmp_path_factory.mktemp("large"), 2000)
    return folder


@pytest.fixture(scope="session")
def demo_site() -> Path:
    """The site of the demo's thirty hand-written parts with their history; nobody writes into it."""
    return find_built_demo(30)
