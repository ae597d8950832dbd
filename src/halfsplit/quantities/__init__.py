"""What can be measured or seen: one record a quantity, read by the diagnosis, the job, the pages and the terminal.

>>> QUANTITIES["volts"].unit, QUANTITIES["lamp"].words, [name for name, record in QUANTITIES.items() if record.leads]
('V', ('bright', 'dim', 'dark'), ['volts', 'ohms', 'lamp'])
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

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


QUANTITIES: Mapping[str, Quantity] = {
    quantity.name: quantity
    for quantity in (
        Quantity(
            "volts",
            "measure volts from {leads}.",
            unit="V",
            shown_in="V",
            numeric=True,
            leads=True,
            instrument="meter",
            border=0.05,
            plausible=(0.0, 15.0),
            probed=True,
            for_customer="voltage from {leads}",
        ),
        Quantity(
            "amps",
            "clamp round {at}: how many amperes?",
            unit="A",
            shown_in="A",
            numeric=True,
            instrument="clamp",
            border=0.05,
            plausible=(0.0, 30.0),
            probed=True,
            place="current in {at}",
            for_customer="current in {the_part}",
        ),
        Quantity(
            "ohms",
            "feed off; measure ohms from {leads}.",
            unit="ohm",
            shown_in="ohm",
            numeric=True,
            leads=True,
            instrument="meter",
            border=0.05,
            plausible=(-1.0, 8.0),
            probed=True,
            stateless=True,
            for_customer="resistance from {leads}",
        ),
        Quantity(
            "lamp",
            "{instrument} from {leads}: bright, dim or dark?",
            words=("bright", "dim", "dark"),
            leads=True,
            instrument="test lamp",
            probed=True,
            for_customer="test lamp from {leads}",
        ),
        Quantity(
            "works",
            "does {the_part} work{as_it_should}?",
            words=("yes", "weak", "no"),
            from_the_seat=True,
            minutes=FREE_MINUTES,
            place="{part}",
            for_customer="{part}",
            said=MappingProxyType({"yes": "works", "weak": "weak", "no": "does not work"}),
        ),
        Quantity(
            "answers",
            "does {the_part} answer the scan tool?",
            words=YES_NO,
            from_the_seat=True,
            minutes=1.0,
            place="{part}",
            for_customer="{part}: does it answer?",
            said=MappingProxyType({"yes": "answers", "no": "silent"}),
        ),
        Quantity(
            "code",
            "has {part} set a fault code '{detail}'?",
            words=("set", "not set"),
            stateless=True,
            from_the_seat=True,
            minutes=1.5,
            place="code in {part}",
        ),
        Quantity(
            "inspection",
            "look closely at {part}: contacts, pins, corrosion, chafing. Good or bad?",
            words=("good", "bad"),
            stateless=True,
            minutes=2.5,
            place="look at {part}",
            question_of_detail="{aspect} of {part}: done and good?",
            for_customer="{look} {the_part}",
        ),
        Quantity("stage", "check {own_words}.", words=YES_NO, minutes=2.0),
        Quantity(
            "duty",
            "duty cycle at {at}.",
            unit="1",
            shown_in="%",
            numeric=True,
            border=0.01,
            plausible=(0.0, 1.0),
            probed=True,
            place="duty cycle at {at}",
        ),
        Quantity(
            "hertz",
            "frequency at {at}.",
            unit="Hz",
            shown_in="Hz",
            numeric=True,
            border=1.0,
            plausible=(0.0, 1000.0),
            probed=True,
            place="frequency at {at}",
        ),
        Quantity(
            "wiggle",
            "load on; move {part} for a minute and watch a reading. Does it jump?",
            words=YES_NO,
            minutes=2.0,
            place="move {at}: the reading jumps",
        ),
        Quantity(
            "blown",
            "is {the_part} blown?",
            words=YES_NO,
            stateless=True,
            minutes=0.7,
            place="{part} blown",
            for_customer="{part}: is it blown?",
        ),
        Quantity(
            "event", "did it come or go when {at} was touched?", words=YES_NO, stateless=True, minutes=0.0
        ),
        Quantity(
            "gauge",
            "what does {own_words} show?",
            numeric=True,
            plausible=(0.0, 1.0),
            from_the_seat=True,
            minutes=FREE_MINUTES,
        ),
    )
}
"""By name, in the order in which they are offered."""
