"""A secret of this user on this machine, with which everything that a run leaves for the next one is sealed.

What lies in `.pipeline` is believed: pages and values are taken from it unread. A folder that came with somebody
else's repository or archive could hold values made to deceive, with hashes that fit. So a hash does not count, only a
seal that nobody else can make. Without the secret (a home that cannot be written) nothing that was kept is believed.
"""

from __future__ import annotations

import functools
import hashlib
import hmac
import os
import secrets
import sys
from pathlib import Path

SIZE = 32
NAME = "repro-pipeline"


def find_key_path() -> Path | None:
    """Return where the secret lies: among the user's own state, by the custom of the system; None without a home."""
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA")
    elif sys.platform == "darwin":
        base = os.path.expanduser("~/Library/Application Support")  # noqa: PTH111 - a Path without a home raises
    else:
        base = os.environ.get("XDG_STATE_HOME") or os.path.expanduser("~/.local/state")  # noqa: PTH111
    return Path(base) / NAME / "seal.key" if base and os.path.isabs(base) else None  # noqa: PTH117


@functools.cache
def read_own_key() -> bytes:
    """Return the secret, made at the first call of all; one for this process alone where none can be kept."""
    path = find_key_path()
    try:
        return secrets.token_bytes(SIZE) if path is None else _read(path) or _make(path)
    except OSError:
        return secrets.token_bytes(SIZE)


def is_key_kept() -> bool:
    """True when the secret is on the disk, so that the next run has the same."""
    key, path = read_own_key(), find_key_path()  # the first call of all makes the secret
    try:
        return path is not None and _read(path) == key
    except OSError:
        return False


def _read(path: Path) -> bytes | None:
    try:
        key = path.read_bytes()
    except FileNotFoundError:
        return None
    return key if len(key) == SIZE else None


def _make(path: Path) -> bytes:
    """Write a new secret, readable by its owner; of two programs that do it at once, both use the one that is there."""
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    draft = path.with_name(f"{path.name}.{os.getpid()}.{secrets.token_hex(4)}")
    handle = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        os.write(handle, secrets.token_bytes(SIZE))
    finally:
        os.close(handle)
    if _read(path) is None:  # absent, or of a wrong size: damaged
        draft.replace(path)
    else:
        draft.unlink()
    return _read(path) or secrets.token_bytes(SIZE)


def seal(*content: bytes | str) -> str:
    """Return the seal of what is kept (hex): a keyed hash, BLAKE2b of RFC 7693, of the pieces in their order.

    Where a value lies (its name, its stamp) belongs to the pieces, so that no value can be moved to another place.
    """
    digest = hashlib.blake2b(key=read_own_key(), digest_size=32)
    for piece in content:
        raw = piece.encode("utf-8", "surrogatepass") if isinstance(piece, str) else piece
        digest.update(len(raw).to_bytes(8, "big"))
        digest.update(raw)
    return digest.hexdigest()


def is_sealed(found: object, *content: bytes | str) -> bool:
    """True when a seal is ours and of these pieces."""
    return isinstance(found, str) and hmac.compare_digest(seal(*content).encode(), found.encode("utf-8", "replace"))


@functools.cache
def name_keeper() -> str:
    """Return a short name of whoever keeps, which says nothing of the secret: users of one folder do not write over
    what the other kept."""
    return hashlib.blake2b(b"keeper", key=read_own_key(), digest_size=6).hexdigest()
