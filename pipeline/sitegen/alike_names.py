"""Files of a site that are one and the same on a system that does not tell upper and lower case apart."""

from __future__ import annotations

from collections.abc import Iterable

from pipeline.writing.names import fold_name


def find_alike(paths: Iterable[str]) -> list[tuple[str, ...]]:
    """Return each group of different paths that many systems take for one, sorted.

    >>> find_alike(["calendar/for-mara.ics", "calendar/for-Mara.ics", "index.html"])
    [('calendar/for-Mara.ics', 'calendar/for-mara.ics')]
    """
    groups: dict[str, set[str]] = {}
    for path in paths:
        groups.setdefault(fold_name(path), set()).add(path)
    return sorted(tuple(sorted(group)) for group in groups.values() if len(group) > 1)


def describe_alike(paths: tuple[str, ...]) -> str:
    """Say which files are one on many systems, and the way out."""
    return (
        f"{' and '.join(paths)} are one file where upper and lower case are not told apart (Windows, macOS, many "
        "shared drives), and only one of them would stay; rename what one of them is made from"
    )
