"""The table of where the time goes counts what was at work."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from where import count_shares, render_shares, sample


def test_a_library_counts_for_the_room_that_called_it_and_pages_apart() -> None:
    found = count_shares({"views/a.py": 3, "views/b.py": 2, "sitegen/theme/x.html": 1, "loading modules": 4})
    assert found.samples == 10
    assert list(found.rooms.items()) == [("views", 0.5), ("loading modules", 0.4), ("templates", 0.1)]
    assert "loading modules" not in found.modules


def test_rooms_stand_by_weight_and_small_ones_are_left_out() -> None:
    one, two = count_shares({"gates/a.py": 990, "fit/a.py": 1, "views/a.py": 9}), count_shares({"views/a.py": 1})
    assert render_shares({"one": one, "two": two}).splitlines() == [
        "| at work | one | two |", "| --- | --- | --- |", "| views | 1% | 100% |", "| gates | 99% | 0% |",
    ]  # fmt: skip


def test_a_command_is_sampled_to_its_end() -> None:
    found = sample(["explain", "C801"])
    assert found.samples > 0
    assert abs(sum(found.rooms.values()) - 1) < 1e-9
