"""Things that are joined, directly or through others, and which of them stands for all (union and find)."""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from typing import Generic, TypeVar

Thing = TypeVar("Thing", bound=Hashable)


class Joined(Generic[Thing]):
    """What was joined so far.

    >>> nets = Joined()
    >>> nets.join("F1.2", "S1.1"), nets.join("S1.1", "H1.1")
    (None, None)
    >>> nets.root("F1.2"), nets.root("G1.+")
    ('H1.1', 'G1.+')
    """

    def __init__(self) -> None:
        self._above: dict[Thing, Thing] = {}

    def root(self, thing: Thing) -> Thing:
        """The one that stands for all that this one is joined with; itself where it is alone."""
        above = self._above
        while above.setdefault(thing, thing) != thing:
            above[thing] = above[above[thing]]
            thing = above[thing]
        return thing

    def join(self, a: Thing, b: Thing) -> None:
        """Join two and all that belongs to them; what stood for ``b`` stands for all."""
        self._above[self.root(a)] = self.root(b)

    def groups(self, things: Iterable[Thing]) -> list[list[Thing]]:
        """Things that are joined, together; groups, and what is in each, in the order given."""
        groups: dict[Thing, list[Thing]] = {}
        for thing in things:
            groups.setdefault(self.root(thing), []).append(thing)
        return list(groups.values())

    def roots(self) -> dict[Thing, Thing]:
        """Each thing that was named → the one that stands for it."""
        return {thing: self.root(thing) for thing in list(self._above)}
