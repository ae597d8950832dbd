"""From what was typed or tapped on the bench to a value, or to a question.

Nothing doubtful is taken in silence and nothing typed is lost: a `Doubt` carries the text and says what to do.
"""

from __future__ import annotations

from collections.abc import Mapping

from halfsplit.diagnosis.measurement import ANSWERS, UNITS
from halfsplit.errors import InputError
from halfsplit.quantities import QUANTITIES
from halfsplit.store import Workshop
from halfsplit.units import UNITS as WRITTEN
from halfsplit.units import format_quantity, is_over_range, plausible, read_field

OVER_RANGE = "OL"
"""A meter above its range, as it is kept; JSON knows no infinity."""
FLICKERS = "flickers"
"""A lamp or reading that comes and goes: an event at the place, not a value."""
FIELD_UNITS = {name: quantity.shown_in for name, quantity in QUANTITIES.items() if quantity.shown_in}
"""Quantity → the unit that its field shows."""


class Doubt(InputError):
    """A reading that is asked about before it is stored.

    ``typed`` is the text as entered. ``sure`` tells whether a plain 'yes, store it' settles the question; where it
    is false, no number can be made of the text and it has to be entered again.
    """

    def __init__(self, question: str, typed: str, *, sure: bool) -> None:
        super().__init__(question)
        self.typed = typed
        self.sure = sure


def read_entry(
    quantity: str, typed: str, *, unit: str = "", confirmed: bool = False, net_volts: float = 12.0
) -> float | str:
    """What was entered for this quantity, in its SI unit, as a word, or `OVER_RANGE`; ``unit``: that of the pad.

    Raises `Doubt`: not usable, or usable but odd and not ``confirmed``. A decimal comma, a unit in doubt, 400 V on a
    12 V net, NaN and a word that is no answer are all asked about.

    >>> read_entry("volts", "12.3"), read_entry("lamp", "dim"), read_entry("stage", "380 kPa", unit="bar")
    (12.3, 'dim', 3.8)
    """
    text = typed.strip()
    if quantity == "ohms" and is_over_range(text):
        return OVER_RANGE
    if quantity in ("stage", "gauge") and unit:
        # A stage and a gauge are told in the unit of the circuit file, whatever that is: 'rpm', 'bar'.
        known = unit in WRITTEN
        number = text if known or unit == "1" else text.removesuffix(unit)
        try:
            value = read_field(number, unit if known else "A").value
        except InputError as error:
            raise Doubt(f"{error}", text, sure=False) from error
        return value / WRITTEN[unit][1] if known else value
    if quantity in FIELD_UNITS:
        return _number(quantity, text, unit or FIELD_UNITS[quantity], confirmed, net_volts)
    words = ANSWERS.get(quantity, ())
    if text.lower() in words:
        return text.lower()
    given = repr(text) if text else "Nothing"
    raise Doubt(f"{given} is no answer here. It is one of: {', '.join(words)}.", typed, sure=False)


def _number(quantity: str, text: str, unit: str, confirmed: bool, net_volts: float) -> float:
    if is_over_range(text):
        raise Doubt("OL on this range: choose a higher range and measure again.", text, sure=False)
    try:
        in_unit = read_field(text, unit)
    except InputError as error:
        raise Doubt(f"{error}", text, sure=False) from error
    question = in_unit.question or plausible(
        in_unit.value, UNITS.get(quantity) or WRITTEN[unit][0], net_volts
    )
    if question and not confirmed:
        raise Doubt(question[:1].upper() + question[1:], text, sure=True)
    return in_unit.value


def shown_value(quantity: str, value: float | str) -> str:
    """A stored value in words.

    >>> shown_value("volts", 0.02), shown_value("works", "weak"), shown_value("ohms", "OL")
    ('20 mV', 'weak', 'OL (open)')
    """
    if isinstance(value, str):
        return "OL (open)" if value == OVER_RANGE else value
    return format_quantity(float(value), UNITS.get(quantity) or "1")


INSTRUMENTS = ("meter", "test lamp", "21 W lamp", "load lamp", "clamp", "scope")
"""What a reading can be made with."""


def serials_of(workshop: Workshop) -> dict[str, str]:
    """Instrument → serial number, for those that have one.

    >>> serials_of(Workshop(serials="meter = 20417"))
    {'meter': '20417'}
    """
    pairs = (line.partition(" = ") for line in workshop.serials.splitlines())
    return {name.strip(): serial.strip() for name, _, serial in pairs if serial.strip()}


def written_serials(serials: Mapping[str, str]) -> str:
    """Serial numbers as the settings keep them, one line for each instrument."""
    return "\n".join(
        f"{name} = {' '.join(serial.split())}" for name, serial in serials.items() if serial.strip()
    )


def usual_instrument(quantity: str) -> str | None:
    """What a quantity is measured with as a rule; None where nothing is needed, or there is no such quantity."""
    return QUANTITIES[quantity].instrument if quantity in QUANTITIES else None
