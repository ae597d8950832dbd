"""The failure type byte of SAE J2012-DA: third byte of a code, upper half the category, lower half the kind.

The numbers and their sense are the standard's (from memory); the words are ours. Numbers not listed here
are shown as numbers with their category.
"""

from __future__ import annotations

from dataclasses import dataclass

CATEGORIES = {
    0x0: "general",
    0x1: "electrical",
    0x2: "signal",
    0x3: "signal timing",
    0x4: "inside the unit",
    0x5: "programming",
    0x6: "calculated value",
    0x7: "mechanical",
    0x8: "bus message",
    0x9: "component",
}


@dataclass(frozen=True, slots=True)
class FailureType:
    """byte: 0 to 255. text: our words, empty for 0. kind: one of `descriptions.KINDS`, or None."""

    byte: int
    text: str
    kind: str | None
    category: str


_KNOWN: dict[int, tuple[str, str | None]] = {
    0x00: ("", None),
    0x01: ("electrical failure", "circuit"),
    0x02: ("signal failure", "signal"),
    0x04: ("failure inside the unit", "internal"),
    0x05: ("programming failure", "internal"),
    0x07: ("mechanical failure", "mechanical"),
    0x08: ("bus signal or message failure", "message"),
    0x09: ("component failure", "mechanical"),
    0x11: ("circuit short to ground", "circuit low"),
    0x12: ("circuit short to supply", "circuit high"),
    0x13: ("circuit open", "circuit open"),
    0x14: ("circuit short to ground or open", "circuit low or open"),
    0x15: ("circuit short to supply or open", "circuit high or open"),
    0x16: ("circuit volts below the limit", "circuit low"),
    0x17: ("circuit volts above the limit", "circuit high"),
    0x18: ("circuit current below the limit", "circuit open"),
    0x19: ("circuit current above the limit", "overcurrent"),
    0x1A: ("circuit resistance below the limit", "resistance low"),
    0x1B: ("circuit resistance above the limit", "circuit open"),
    0x1C: ("circuit volts out of range", "range"),
    0x1D: ("circuit current out of range", "range"),
    0x1E: ("circuit resistance out of range", "range"),
    0x1F: ("circuit intermittent", "intermittent"),
    0x21: ("signal amplitude too small", "signal"),
    0x22: ("signal amplitude too large", "signal"),
    0x23: ("signal stuck low", "circuit low"),
    0x24: ("signal stuck high", "circuit high"),
    0x25: ("signal shape wrong", "signal"),
    0x26: ("signal changes too slowly", "signal"),
    0x27: ("signal changes too fast", "signal"),
    0x28: ("signal offset out of range", "range"),
    0x29: ("signal invalid", "signal"),
    0x2A: ("signal stuck within its range", "signal"),
    0x2B: ("signals connected to each other", "signal"),
    0x2F: ("signal erratic", "intermittent"),
    0x31: ("no signal", "signal"),
    0x32: ("low time too short", "signal"),
    0x33: ("low time too long", "signal"),
    0x34: ("high time too short", "signal"),
    0x35: ("high time too long", "signal"),
    0x36: ("frequency too low", "signal"),
    0x37: ("frequency too high", "signal"),
    0x38: ("frequency wrong", "signal"),
    0x39: ("too few pulses", "signal"),
    0x3A: ("too many pulses", "signal"),
    0x41: ("checksum wrong", "internal"),
    0x42: ("memory failure", "internal"),
    0x43: ("special memory failure", "internal"),
    0x44: ("data memory failure", "internal"),
    0x45: ("program memory failure", "internal"),
    0x46: ("calibration memory failure", "internal"),
    0x47: ("watchdog or safety processor failure", "internal"),
    0x48: ("supervising software failure", "internal"),
    0x49: ("electronics inside the unit failed", "internal"),
    0x4A: ("wrong component fitted", "internal"),
    0x4B: ("too hot", None),
    0x51: ("not programmed", "coding"),
    0x52: ("not activated", "coding"),
    0x53: ("deactivated", "coding"),
    0x54: ("calibration missing", "coding"),
    0x55: ("not configured", "coding"),
    0x56: ("configuration invalid", "coding"),
    0x61: ("calculation of the signal failed", "signal"),
    0x62: ("two signals do not agree", "signal"),
    0x63: ("protection time ran out", None),
    0x64: ("signal not plausible", "signal"),
    0x65: ("too few changes of the signal", "signal"),
    0x66: ("too many changes of the signal", "signal"),
    0x67: ("signal wrong after an event", "signal"),
    0x68: ("information about an event", None),
    0x71: ("actuator stuck", "mechanical"),
    0x72: ("actuator stuck open", "mechanical"),
    0x73: ("actuator stuck closed", "mechanical"),
    0x74: ("actuator slips", "mechanical"),
    0x75: ("emergency position not reached", "mechanical"),
    0x76: ("mounting position wrong", "mechanical"),
    0x77: ("commanded position not reached", "mechanical"),
    0x78: ("alignment or adjustment wrong", "mechanical"),
    0x79: ("linkage failure", "mechanical"),
    0x7A: ("fluid leak or seal failure", "mechanical"),
    0x7B: ("fluid level low", "mechanical"),
    0x81: ("invalid data received", "message"),
    0x82: ("message counter wrong", "message"),
    0x83: ("message protection value wrong", "message"),
    0x84: ("received value below its range", "message"),
    0x85: ("received value above its range", "message"),
    0x86: ("received value invalid", "message"),
    0x87: ("message missing", "no communication"),
    0x88: ("bus off", "bus"),
    0x91: ("parameter out of tolerance", "range"),
    0x92: ("works wrongly or poorly", "mechanical"),
    0x93: ("does not work", "mechanical"),
    0x94: ("works when it should not", "mechanical"),
    0x95: ("assembled wrongly", "mechanical"),
    0x96: ("component failed inside", "mechanical"),
    0x97: ("obstructed or blocked", "mechanical"),
    0x98: ("component too hot", None),
    0x9A: ("operating conditions not met", None),
}


def failure_type(byte: int) -> FailureType | None:
    """What failure type `byte` says, or None where its meaning is not known here."""
    if byte not in _KNOWN:
        return None
    text, kind = _KNOWN[byte]
    return FailureType(byte, text, kind, CATEGORIES[byte >> 4])
