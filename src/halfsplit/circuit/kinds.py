"""KINDS: for each kind of part its letter code, pins and values.

One table. What a kind is electrically is in ``network.py`` (a table from kind to the function that makes its
elements); what can fail is in ``faults.py``. Defaults marked * in ``docs/notation.md`` are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType


@dataclass(frozen=True, slots=True)
class Kind:
    """What the notation takes for one kind of part.

    ``pins`` empty: any pin. ``optional``: further pins that may be used. ``units``: the values it takes, by unit
    or word. ``defaults``: in SI units. ``load``: judged by 'works'.
    """

    name: str
    code: str
    pins: tuple[str, ...] = ()
    optional: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    defaults: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    load: bool = False


def _kind(
    name: str,
    code: str,
    pins: str,
    units: str = "",
    *,
    optional: str = "",
    load: bool = False,
    **defaults: float,
) -> Kind:
    own, further, values = (tuple(words.split()) for words in (pins, optional, units))
    return Kind(name, code, own, further, values, MappingProxyType(defaults), load)


KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        kind.name: kind
        for kind in (
            _kind("battery", "G", "+ -", "V ohm", V=12.6, ohm=0.006),
            _kind("generator", "", "+ -", "V ohm", V=14.2, ohm=0.020),
            _kind("fuse", "F", "1 2", "A"),
            _kind("breaker", "", "1 2", "A"),
            _kind(
                "relay",
                "K",
                "30 85 86 87",
                "ohm A pulls drops",
                optional="87a",
                ohm=85.0,
                A=20.0,
                pulls=7.0,
                drops=2.0,
            ),
            _kind("switch", "S", "1 2"),
            _kind("lamp", "H", "1 2", "W A", load=True, W=21.0),
            _kind("motor", "M", "1 2", "A", load=True, A=5.0),
            _kind("heater", "E", "1 2", "W A ohm", load=True, W=120.0),
            _kind("resistor", "R", "1 2", "ohm W A", load=True, ohm=100.0),
            _kind("solenoid", "Y", "1 2", "A ohm", load=True, A=1.0),
            _kind("diode", "V", "a k", "V", V=0.7),
            _kind("sensor", "B", "1 2", "ohm share", optional="3", ohm=2000.0, share=0.5),
            _kind("module", "A", "", "A", A=0.15),
            _kind("connector", "X", ""),
            _kind("splice", "SP", ""),
            _kind("ground", "GND", ""),
            _kind("mass", "", "", "ohm"),
        )
    }
)

CODES: Mapping[str, str] = MappingProxyType(
    {kind.code: kind.name for kind in KINDS.values() if kind.code not in ("", "E")}
)
"""Letter code → kind, for names that are not declared. ``E`` is missing: a heater or a ground, the file must say."""

LOADS: tuple[str, ...] = tuple(kind.name for kind in KINDS.values() if kind.load)
