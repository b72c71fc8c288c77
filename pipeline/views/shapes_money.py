"""Inputs of the drawings about money: what moves a figure, bar by bar."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class TornadoBar:
    """One input: the figure at its low and at its high end, and those ends in words, e.g. ``0.2`` and ``0.9``.

    ``turns`` is set where the figure changes its sign between the two.
    """

    label: str
    at_low: float
    at_high: float
    low_words: str
    high_words: str
    turns: bool = False


@dataclass(frozen=True)
class TornadoChart:
    """What moves a figure: one bar an input, the widest first, about the figure as it stands (``base``)."""

    title: str
    words: str
    unit: str
    base: float
    base_label: str
    bars: tuple[TornadoBar, ...]
