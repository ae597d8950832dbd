"""The workshop's instruments and their serial numbers, kept as lines of its settings: ``meter = 20417``."""

from __future__ import annotations

from collections.abc import Mapping

from halfsplit.quantities import QUANTITIES
from halfsplit.store import Workshop

INSTRUMENTS = ("meter", "test lamp", "21 W lamp", "load lamp", "clamp", "scope")
"""What a reading can be made with."""


def serials_of(workshop: Workshop) -> dict[str, str]:
    """Instrument → serial number, for those that have one.

    >>> serials_of(Workshop(serials="meter = 20417"))
    {'meter': '20417'}
    """
    pairs = (line.partition(" = ") for line in workshop.serials.splitlines())
    return {name.strip(): serial.strip() for name, _, serial in pairs if serial.strip()}


def written(serials: Mapping[str, str]) -> str:
    """As the settings keep them."""
    return "\n".join(
        f"{name} = {' '.join(serial.split())}" for name, serial in serials.items() if serial.strip()
    )


def usual_instrument(quantity: str) -> str | None:
    """What a quantity is measured with as a rule; None where nothing is needed, or there is no such quantity."""
    return QUANTITIES[quantity].instrument if quantity in QUANTITIES else None
