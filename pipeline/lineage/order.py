"""What comes first stands first, however deep the chain and whatever ring it holds."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator


def order_parents_first(names: Iterable[str], find_parents: Callable[[str], Iterable[str]]) -> tuple[str, ...]:
    """Return names so that each stands after its parents; in a ring, the one that was met first comes last.

    Walks without recursion: a record may hold a chain of any length.

    >>> order_parents_first("ab", {"a": "b", "b": ""}.__getitem__)
    ('b', 'a')
    """
    done: dict[str, None] = {}
    open_: set[str] = set()
    for name in names:
        stack: list[tuple[str, Iterator[str]]] = []
        if name not in done:
            stack.append((name, iter(tuple(find_parents(name)))))
            open_.add(name)
        while stack:
            current, parents = stack[-1]
            waiting = next((p for p in parents if p not in done and p not in open_), None)
            if waiting is None:
                stack.pop()
                done[current] = None
                continue
            open_.add(waiting)
            stack.append((waiting, iter(tuple(find_parents(waiting)))))
    return tuple(done)
