"""What a run left for the next one is believed only with this user's own seal."""

from __future__ import annotations

import os
import stat
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline.keeping import seals
from pipeline.keeping.seals import find_key_path, is_sealed, name_keeper, read_own_key, seal


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A home of its own, in which no secret was made yet."""
    for name in ("XDG_STATE_HOME", "LOCALAPPDATA"):
        monkeypatch.setenv(name, str(tmp_path / "state"))
    monkeypatch.setenv("HOME", str(tmp_path))
    _forget()
    yield tmp_path
    _forget()


def _forget() -> None:
    read_own_key.cache_clear()
    name_keeper.cache_clear()


@pytest.mark.skipif(sys.platform != "linux", reason="a seal made by another program is BLAKE2b as coreutils has it")
def test_a_seal_is_the_keyed_hash_of_the_standard(home: Path) -> None:
    # RFC 7693 (BLAKE2), keyed, 32 bytes: the key is a first block of its own, padded with zeros to 128 bytes.
    del home
    import hashlib

    parts = (b"name", "wört".encode())
    framed = b"".join(len(p).to_bytes(8, "big") + p for p in parts)
    assert seal(b"name", "wört") == hashlib.blake2b(framed, key=read_own_key(), digest_size=32).hexdigest()


def test_pieces_cannot_be_moved_from_one_to_the_next(home: Path) -> None:
    del home
    made = seal("room", "name", b"value")
    assert is_sealed(made, "room", "name", b"value")
    for other in (
        ("roomn", "ame", b"value"),
        ("room", "namev", b"alue"),
        ("room", "name", b"valu"),
        ("room", b"value"),
    ):
        assert not is_sealed(made, *other)
    for wrong in ("", made[:-1], made.upper() + "0", None, 7, "ü" * 64):
        assert not is_sealed(wrong, "room", "name", b"value")


def test_the_secret_is_made_once_and_only_its_owner_may_read_it(home: Path) -> None:
    path = find_key_path()
    assert path is not None and home in path.parents and not path.exists()
    first = read_own_key()
    assert len(first) == seals.SIZE and path.read_bytes() == first
    if sys.platform != "win32":
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    _forget()
    assert read_own_key() == first
    assert [entry.name for entry in path.parent.iterdir()] == [path.name]


def test_a_damaged_secret_is_made_anew(home: Path) -> None:
    del home
    path = find_key_path()
    assert path is not None
    path.parent.mkdir(parents=True)
    path.write_bytes(b"short")
    made = read_own_key()
    assert path.read_bytes() == made and len(made) == seals.SIZE


def test_without_a_place_for_the_secret_nothing_of_an_earlier_run_is_believed(home: Path) -> None:
    (home / "state").write_text("a file where a folder should be")
    made = seal("x")
    assert is_sealed(made, "x")
    _forget()
    assert not is_sealed(made, "x")


def test_doctor_says_whether_kept_values_can_be_believed(home: Path) -> None:
    from pipeline.portfolio.checkup import Level, look_over

    def look() -> tuple[Level, str, str]:
        (one,) = [one for one in look_over(None, home) if one.what == "kept values"]
        return one.level, one.words, one.fix

    level, words, _ = look()
    assert level is Level.GOOD and "seal.key" in words
    path = find_key_path()
    assert path is not None
    path.unlink()
    path.parent.rmdir()
    path.parent.parent.rmdir()
    (home / "state").write_text("a file where a folder should be")
    _forget()
    level, words, fix = look()
    assert level is Level.WARN and "begins anew" in words and "XDG_STATE_HOME" in fix


def test_without_a_home_the_secret_is_for_this_process_alone(monkeypatch: pytest.MonkeyPatch, home: Path) -> None:
    del home
    monkeypatch.setattr(seals, "find_key_path", lambda: None)
    assert len(read_own_key()) == seals.SIZE


def test_programs_that_start_at_once_agree_on_one_secret(home: Path) -> None:
    code = "from pipeline.keeping.seals import seal; print(seal('x'))"
    runs = [
        subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, env=dict(os.environ)) for _ in range(4)
    ]
    for run in runs:
        run.communicate()
    after = {subprocess.run([sys.executable, "-c", code], capture_output=True, check=True).stdout for _ in range(2)}
    assert len(after) == 1, home


def test_two_users_keep_side_by_side(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from pipeline.portfolio.build_cache import BuildCache

    for user in ("one", "two"):
        monkeypatch.setenv("XDG_STATE_HOME", str(home / user))
        monkeypatch.setenv("LOCALAPPDATA", str(home / user))
        monkeypatch.setenv("HOME", str(home / user))
        _forget()
        cache = BuildCache(home)
        assert dict(cache.take_all("room", "stamp")) == {}
        cache.keep("room", "name", "stamp", user)
        cache.close()
    for user in ("one", "two"):
        monkeypatch.setenv("XDG_STATE_HOME", str(home / user))
        monkeypatch.setenv("LOCALAPPDATA", str(home / user))
        monkeypatch.setenv("HOME", str(home / user))
        _forget()
        assert dict(BuildCache(home).take_all("room", "stamp")) == {"name": user}
