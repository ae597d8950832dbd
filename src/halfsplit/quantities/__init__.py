"""What can be measured or seen: one record a quantity, read by the diagnosis, the job, the pages and the terminal.

>>> QUANTITIES["volts"].unit, QUANTITIES["lamp"].words, [name for name, one in QUANTITIES.items() if one.leads]
('V', ('bright', 'dim', 'dark'), ['volts', 'ohms', 'lamp'])
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

YES_NO = ("yes", "no")


@dataclass(frozen=True, slots=True)
class Quantity:
    """A quantity by its name in evidence.

    ``unit``: SI unit of its value, '' where the answer is one of ``words``. ``shown_in``: the unit of its field.
    ``numeric``: whether the diagnosis takes a number. ``leads``: taken with two leads. ``instrument``: the usual one.
    ``border``: a limit between two results is told no finer than this (SI), since nobody reads a meter to the
    millivolt. ``place``: where it was taken, in words: ``{at}`` a point, ``{part}`` a part with what it is.
    """

    name: str
    unit: str = ""
    words: tuple[str, ...] = ()
    shown_in: str = ""
    numeric: bool = False
    leads: bool = False
    instrument: str | None = None
    border: float = 0.0
    place: str = "{at}"


QUANTITIES: Mapping[str, Quantity] = {
    one.name: one
    for one in (
        Quantity("volts", "V", (), "V", numeric=True, leads=True, instrument="meter", border=0.05),
        Quantity(
            "amps", "A", (), "A", numeric=True, instrument="clamp", border=0.05, place="current in {at}"
        ),
        Quantity("ohms", "ohm", (), "ohm", numeric=True, leads=True, instrument="meter", border=0.05),
        Quantity("lamp", words=("bright", "dim", "dark"), leads=True, instrument="test lamp"),
        Quantity("works", words=("yes", "weak", "no"), place="{part} works"),
        Quantity("answers", words=YES_NO, place="{part} answers"),
        Quantity("code", words=("set", "not set"), place="code in {part}"),
        Quantity("inspection", words=("good", "bad"), place="look at {part}"),
        Quantity("stage", words=YES_NO),
        Quantity("duty", "1", (), "%", numeric=True, border=0.01, place="duty cycle at {at}"),
        Quantity("hertz", "Hz", (), "Hz", numeric=True, border=1.0, place="frequency at {at}"),
        Quantity("wiggle", words=YES_NO, place="move {at}: the reading jumps"),
        Quantity("blown", words=YES_NO, place="{part} blown"),
        Quantity("event", words=YES_NO),
        Quantity("gauge", numeric=True),
    )
}
"""By name, in the order in which they are offered."""
