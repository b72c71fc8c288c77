"""Lines of `evidence.sha256`: the hash of each evidence file, as `sha256sum -c` reads it."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.writing.encoding import edit_bytes, find_line_end


def add_hashes(content: bytes | None, hashes: Mapping[str, str]) -> bytes:
    """Return the list with further lines `<sha256>  <path>`, put in by path; lines that are there stay to the byte.

    hashes : path in the part's folder -> sha256 in hex. Raises ValueError on a path that is listed with another hash.

    >>> add_hashes(None, {"evidence/a.csv": "0" * 64}).decode()[-17:]
    '  evidence/a.csv\\n'
    """
    return edit_bytes(content or b"", lambda text: _add(text, hashes))


def _add(text: str, hashes: Mapping[str, str]) -> str:
    mark = find_line_end(text)
    lines = text.splitlines(keepends=True)
    if lines and not lines[-1].endswith(("\n", "\r")):
        lines[-1] += mark
    listed = {_name(line): line[:64] for line in lines}
    for path, digest in sorted(hashes.items()):
        if path in listed:
            if listed[path] != digest:
                raise ValueError(f"{path} is listed with another hash")
            continue
        at = next((i for i, line in enumerate(lines) if _name(line) > path), len(lines))
        lines.insert(at, f"{digest}  {path}{mark}")
    return "".join(lines)


def _name(line: str) -> str:
    return line[66:].rstrip("\r\n")


def replace_hash(content: bytes, path: str, digest: str) -> bytes:
    """Return the list with the hash of one path replaced."""

    def edit(text: str) -> str:
        lines = text.splitlines(keepends=True)
        return "".join(digest + line[64:] if _name(line) == path else line for line in lines)

    return edit_bytes(content, edit)
