"""A wiring harness as its file tells it, whatever the standard: places where wires end, and wires between them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

PlaceKind = Literal["plug", "splice", "ring", "box", "loose"]
"""A connector of the harness; a permanent joint; a ring terminal; a carrier of fuses and relays; a bare end."""


@dataclass(frozen=True, slots=True)
class End:
    """One end of a wire: the key of its place and the name of the cavity there ('' where it has none)."""

    place: str
    cavity: str = ""


@dataclass(frozen=True, slots=True)
class Place:
    """Where wires end. ``mates``: cavity → the end that it is plugged to, where the file holds both sides."""

    key: str
    name: str
    kind: PlaceKind
    words: str = ""
    mates: Mapping[str, End] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True, slots=True)
class Core:
    """A wire, or one core of a cable. ``mm2`` and ``metres`` are None and ``colour`` is '' where the file is silent.

    ``colour`` has the letters of IEC 60757. ``keys``: the ids in the file under which a configuration names it.
    """

    a: End
    b: End
    mm2: float | None = None
    metres: float | None = None
    colour: str = ""
    signal: str = ""
    number: str = ""
    keys: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Seat:
    """A slot of a carrier with what is put into it: 'fuse', 'relay' or '' for what the file does not tell.

    ``cavities`` are the cavities of the carrier that lead to the slot's contacts, in their order. ``amps`` is the
    rating of a fuse, None where the file does not give it. ``filled``: something is seated there.
    """

    box: str
    name: str
    cavities: tuple[str, ...]
    kind: Literal["fuse", "relay", ""] = ""
    amps: float | None = None
    words: str = ""
    filled: bool = False


@dataclass(frozen=True, slots=True)
class Harness:
    """All of a file. ``configurations``: name → ids of what is built in. ``notes``: what was left out, and why.

    ``partial``: keys of places (``BOX/SLOT`` for a slot) that have more wires than are here, since a part was cut out.
    """

    title: str
    places: Mapping[str, Place]
    cores: tuple[Core, ...]
    seats: tuple[Seat, ...] = ()
    configurations: Mapping[str, frozenset[str]] = field(default_factory=lambda: MappingProxyType({}))
    notes: tuple[str, ...] = ()
    partial: frozenset[str] = frozenset()
