"""A folder `.pipeline` that came with somebody else's workspace is never believed, however well it is forged."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from pipeline.keeping.seals import name_keeper, read_own_key
from pipeline.portfolio.build_cache import BuildCache
from pipeline.reading.kept_trees import ROOM, compute_stamp
from pipeline.reading.workspace import read_workspace

RECORD = "projects/SD-100/part.yaml"


@pytest.fixture
def become(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[str], None]]:
    """Work on as another user, with a secret of their own."""

    def change(name: str) -> None:
        for variable in ("XDG_STATE_HOME", "LOCALAPPDATA", "HOME"):
            monkeypatch.setenv(variable, str(tmp_path / "homes" / name))
        read_own_key.cache_clear()
        name_keeper.cache_clear()

    yield change
    read_own_key.cache_clear()
    name_keeper.cache_clear()


def forge_record(root: Path, name: str) -> None:
    """Keep, as whoever one is, values for a record's text that it does not hold."""
    from pipeline.reading.source import read_source
    from pipeline.reading.tree import parse_tree

    source, _ = read_source(root, RECORD)
    assert source is not None
    tree, _ = parse_tree(RECORD, source.text)
    assert tree is not None
    cache = BuildCache(root)
    digest = hashlib.sha256(source.text.encode()).hexdigest()
    cache.keep(ROOM, RECORD, compute_stamp(), [digest, json.dumps({**tree.value, "name": name})])
    cache.close()


def read_name(root: Path) -> str:
    cache = BuildCache(root)
    workspace = read_workspace(root, keeper=cache).workspace
    cache.close()
    assert workspace is not None
    return workspace.parts["SD-100"].name


@pytest.mark.hostile("records on disk", "kept values forged by whoever sent the workspace")
def test_values_that_somebody_else_kept_for_a_record_are_not_read(
    sample: Callable[..., Path], become: Callable[[str], None]
) -> None:
    root = sample()
    become("sender")
    true = read_name(root)
    forge_record(root, "forged")
    assert read_name(root) == "forged", "the forgery would work on whoever believes it"
    become("receiver")
    assert read_name(root) == true
    assert read_name(root) == true, "nor the second time, from what the receiver kept"


@pytest.mark.hostile("records on disk", "kept values forged by whoever sent the workspace")
def test_seals_of_one_place_do_not_count_in_another(sample: Callable[..., Path], become: Callable[[str], None]) -> None:
    import sqlite3

    root = sample()
    become("receiver")
    cache = BuildCache(root)
    cache.keep("room", "cheap", "stamp", {"price": 1})
    cache.keep("room", "dear", "stamp", {"price": 900})
    cache.close()
    with sqlite3.connect(root / ".pipeline/cache.sqlite") as connection:
        connection.execute("UPDATE kept SET name = 'x' WHERE name = 'dear'")
        connection.execute("UPDATE kept SET name = 'dear' WHERE name = 'cheap'")
    connection.close()
    assert dict(BuildCache(root).take_all("room", "stamp")) == {}


@pytest.mark.hostile("records on disk", "kept values forged by whoever sent the workspace")
def test_figures_plans_forecasts_and_histories_of_somebody_else_are_made_anew(
    tmp_path: Path, become: Callable[[str], None]
) -> None:
    from pipeline.history.cache import Remembered, read_cache, write_cache
    from pipeline.portfolio.flow_forecast import Simulation, keep_simulation, read_simulation
    from pipeline.sitegen.chart_cache import ChartCache, compute_key

    def remember() -> None:
        remembered = Remembered("0" * 40, lambda path: path.endswith(".yaml"))
        remembered.authors["eve@example.org"] = ("Eve", 1, "0 +0000")
        assert write_cache(tmp_path / "history.sqlite", "asked", remembered)

    def recall() -> list[bool]:
        known = read_cache(tmp_path / "history.sqlite", "asked", lambda path: path.endswith(".yaml"))
        return [
            ChartCache(tmp_path)._read(compute_key("figure")) is not None,
            read_simulation(tmp_path, "key") is not None,
            known is not None and "eve@example.org" in known.authors,
        ]

    become("sender")
    ChartCache(tmp_path)._write(compute_key("figure"), "<svg><script>alert(1)</script></svg>")
    keep_simulation(tmp_path, "key", Simulation((), (), (), (), 1))
    remember()
    assert recall() == [True, True, True]
    become("receiver")
    assert recall() == [False, False, False]
