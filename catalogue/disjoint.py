"""Connected components of pairs (union-find)."""

from collections.abc import Iterable
from typing import TypeVar

T = TypeVar("T")


def tied_sets(things: Iterable[T], pairs: Iterable[tuple[T, T]]) -> list[list[T]]:
    """The connected components of ``things`` under ``pairs``, in order; an unpaired thing is a set of its own."""
    above = {thing: thing for thing in things}

    def root(thing: T) -> T:
        while above[thing] != thing:
            thing = above[thing]
        return thing

    for first, second in pairs:
        above[root(second)] = root(first)
    sets: dict[T, list[T]] = {}
    for thing in above:
        sets.setdefault(root(thing), []).append(thing)
    return list(sets.values())
