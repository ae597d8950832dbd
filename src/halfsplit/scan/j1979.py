"""SAE J1979 / ISO 15031-5 over CAN: values of services 01 and 02, codes of 03, 07 and 0A, texts of 09.

The scalings are the standard's (from memory; the tests compare them with an independent table); names are ours.
"""

from __future__ import annotations

from dataclasses import dataclass

from halfsplit.scan.codes import FaultCode


@dataclass(frozen=True, slots=True)
class Parameter:
    """A parameter: its number, our name, how many bytes, value = raw × scale + offset, unit."""

    number: int
    name: str
    size: int
    scale: float
    offset: float
    unit: str
    signed: bool = False


@dataclass(frozen=True, slots=True)
class Measured:
    """A value of a parameter. number: None for a parameter whose meaning is not known here: then raw alone."""

    parameter: int
    name: str
    number: float | None
    unit: str
    raw: bytes


PER_CENT = 100 / 255

PARAMETERS = {
    parameter.number: parameter
    for parameter in (
        Parameter(0x04, "calculated engine load", 1, PER_CENT, 0, "%"),
        Parameter(0x05, "coolant temperature", 1, 1, -40, "°C"),
        Parameter(0x06, "short-term fuel trim, bank 1", 1, 100 / 128, -100, "%"),
        Parameter(0x07, "long-term fuel trim, bank 1", 1, 100 / 128, -100, "%"),
        Parameter(0x08, "short-term fuel trim, bank 2", 1, 100 / 128, -100, "%"),
        Parameter(0x09, "long-term fuel trim, bank 2", 1, 100 / 128, -100, "%"),
        Parameter(0x0A, "fuel pressure", 1, 3, 0, "kPa"),
        Parameter(0x0B, "intake pressure", 1, 1, 0, "kPa"),
        Parameter(0x0C, "engine speed", 2, 0.25, 0, "1/min"),
        Parameter(0x0D, "vehicle speed", 1, 1, 0, "km/h"),
        Parameter(0x0E, "ignition advance", 1, 0.5, -64, "°"),
        Parameter(0x0F, "intake air temperature", 1, 1, -40, "°C"),
        Parameter(0x10, "air mass flow", 2, 0.01, 0, "g/s"),
        Parameter(0x11, "throttle position", 1, PER_CENT, 0, "%"),
        Parameter(0x1F, "time since engine start", 2, 1, 0, "s"),
        Parameter(0x21, "distance with the warning lamp on", 2, 1, 0, "km"),
        Parameter(0x22, "fuel rail pressure against manifold", 2, 0.079, 0, "kPa"),
        Parameter(0x23, "fuel rail pressure", 2, 10, 0, "kPa"),
        Parameter(0x2C, "exhaust gas recirculation asked for", 1, PER_CENT, 0, "%"),
        Parameter(0x2E, "tank vent valve", 1, PER_CENT, 0, "%"),
        Parameter(0x2F, "fuel level", 1, PER_CENT, 0, "%"),
        Parameter(0x30, "warm-ups since codes were cleared", 1, 1, 0, ""),
        Parameter(0x31, "distance since codes were cleared", 2, 1, 0, "km"),
        Parameter(0x33, "barometric pressure", 1, 1, 0, "kPa"),
        Parameter(0x42, "supply voltage of the control unit", 2, 0.001, 0, "V"),
        Parameter(0x43, "absolute load", 2, PER_CENT, 0, "%"),
        Parameter(0x45, "relative throttle position", 1, PER_CENT, 0, "%"),
        Parameter(0x46, "ambient air temperature", 1, 1, -40, "°C"),
        Parameter(0x47, "throttle position B", 1, PER_CENT, 0, "%"),
        Parameter(0x49, "pedal position D", 1, PER_CENT, 0, "%"),
        Parameter(0x4A, "pedal position E", 1, PER_CENT, 0, "%"),
        Parameter(0x4C, "throttle asked for", 1, PER_CENT, 0, "%"),
        Parameter(0x4D, "time with the warning lamp on", 2, 1, 0, "min"),
        Parameter(0x4E, "time since codes were cleared", 2, 1, 0, "min"),
        Parameter(0x5C, "oil temperature", 1, 1, -40, "°C"),
        Parameter(0x5E, "fuel rate", 2, 0.05, 0, "L/h"),
    )
}
VIN_ITEM, CALIBRATION_ITEM, NAME_ITEM = 0x02, 0x04, 0x0A

# Service 01, parameter 01: which self-tests there are and which are not complete; bits of byte B and, spark, C and D.
CONTINUOUS = ("misfire", "fuel system", "comprehensive components")
SPARK_TESTS = (
    *("catalyst", "heated catalyst", "tank vent", "secondary air"),
    *("", "oxygen sensor", "sensor heater", "recirculation"),
)


@dataclass(frozen=True, slots=True)
class Readiness:
    """warning_lamp: asked for. codes: how many are confirmed. incomplete: self-tests that are still open."""

    warning_lamp: bool
    codes: int
    incomplete: tuple[str, ...]


def measured(parameter: int, raw: bytes) -> Measured:
    """The value of the bytes of one parameter."""
    known = PARAMETERS.get(parameter)
    if known is None or len(raw) < known.size:
        return Measured(parameter, f"parameter {parameter:02X}", None, "", raw)
    number = int.from_bytes(raw[: known.size], "big", signed=known.signed) * known.scale + known.offset
    return Measured(parameter, known.name, number, known.unit, raw[: known.size])


def supported(base: int, raw: bytes) -> frozenset[int]:
    """The parameters whose bits are set in the four bytes of parameter `base` (00, 20, 40, …)."""
    bits = int.from_bytes(raw[:4], "big")
    return frozenset(base + place for place in range(1, 33) if bits >> (32 - place) & 1)


def codes(message: bytes) -> tuple[FaultCode, ...]:
    """The codes of an answer 43, 47 or 4A on CAN (ISO 15031-5): a count, then two bytes each; zeros are no code."""
    pairs = (message[place : place + 2] for place in range(2, len(message) - 1, 2))
    codes_read = tuple(FaultCode.from_bytes(pair) for pair in pairs if pair != b"\x00\x00")
    return codes_read[: message[1]] if len(message) > 1 else ()


def text_of(message: bytes) -> str:
    """The text of an answer 49: service, item, count, then characters with padding."""
    return "".join(chr(byte) for byte in message[3:] if 0x20 < byte < 0x7F or byte == 0x20).strip()


def readiness(raw: bytes) -> Readiness:
    """Parameter 01 of service 01: four bytes A to D."""
    a, b, c, d = raw[:4]
    spark = not b & 0x08
    incomplete = [name for bit, name in enumerate(CONTINUOUS) if b >> bit & 1 and b >> (bit + 4) & 1]
    if spark:
        incomplete += [name for bit, name in enumerate(SPARK_TESTS) if name and c >> bit & 1 and d >> bit & 1]
    elif c & d:
        incomplete.append("self-tests of a compression-ignition engine")
    return Readiness(bool(a & 0x80), a & 0x7F, tuple(incomplete))
