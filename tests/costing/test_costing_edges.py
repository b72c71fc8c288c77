"""Edges of costing that mutation testing found nobody looking at."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from pipeline.costing.impact import compute_impact
from pipeline.costing.paths import Cycle
from pipeline.portfolio.portfolio import build_portfolio


def test_an_impact_says_which_features_it_speaks_of(sample: Callable[..., Path]) -> None:
    file = build_portfolio(sample()).parts["SD-100"]
    assert not isinstance(file.basis, Cycle)
    assert compute_impact(file.basis, ("length",), None).features == ("length",)
    assert compute_impact(file.basis, ("length", "hard"), None).features == ("hard", "length")  # in the order of names
