"""What can be measured or seen: one record a quantity, read by the diagnosis, the job, the pages and the terminal.

>>> QUANTITIES["volts"].unit, QUANTITIES["lamp"].words, [name for name, record in QUANTITIES.items() if record.leads]
('V', ('bright', 'dim', 'dark'), ['volts', 'ohms', 'lamp'])
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib.resources import files
from types import MappingProxyType
from typing import Any

YES_NO = ("yes", "no")
FREE_MINUTES = 0.3
"""Something that is seen or heard from where one stands (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """A quantity by its name in evidence.

    ``unit``: SI unit of its value, '' where the answer is one of ``words``. ``shown_in``: the unit of its field.
    ``numeric``: whether the diagnosis takes a number. ``leads``: taken with two leads. ``instrument``: the usual one.
    ``border``: a limit between two results is told no finer than this (SI), since nobody reads a meter to the
    millivolt. ``plausible``: over which a slip of a number is spread evenly (SI, ohms as log10).

    How it is taken: ``probed``: a lead or clamp is put on at a place. ``stateless``: in whatever state the vehicle is.
    ``from_the_seat``: no place is opened for it. ``minutes`` it takes, None where that depends on the place.

    In words, with fields in braces: ``place``: where it was taken (``{at}`` a point, ``{part}`` a part with what it
    is). ``question``: what the technician is asked (``{leads}`` from where to where, ``{the_part}``, ``{detail}`` what
    else defines the test, ``{own_words}`` the drawing's for a stage or gauge). ``question_of_detail``: the same where
    there is a detail. ``for_customer``: what was done, to somebody without a meter; '' where that is not told.
    ``said``: an answer as it is put to a customer, where it is not the word itself.
    """

    name: str
    question: str
    unit: str = ""
    words: tuple[str, ...] = ()
    shown_in: str = ""
    numeric: bool = False
    leads: bool = False
    instrument: str | None = None
    border: float = 0.0
    plausible: tuple[float, float] | None = None
    probed: bool = False
    stateless: bool = False
    from_the_seat: bool = False
    minutes: float | None = None
    place: str = "{at}"
    question_of_detail: str = ""
    for_customer: str = ""
    said: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))


def _quantity(name: str, said: Mapping[str, Any]) -> Quantity:
    plain: dict[str, Any] = {
        field: tuple(value) if isinstance(value, list) else value for field, value in said.items()
    }
    return Quantity(name, **plain)


QUANTITIES: Mapping[str, Quantity] = {
    name: _quantity(name, said)
    for name, said in tomllib.loads(
        files("halfsplit.quantities").joinpath("quantities.toml").read_text(encoding="utf-8")
    ).items()
}
"""By name, in the order in which they are offered."""
