"""Our own short descriptions of the standard codes that matter to circuits.

The numbers and what they stand for are those of SAE J2012 (from memory); every word is ours, and a page that
shows one says so. Codes that makers define are never described. A code that is not here is not wrong: it is
shown as standard and undescribed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

KINDS = (
    "circuit",
    "circuit low",
    "circuit high",
    "circuit open",
    "circuit low or open",
    "circuit high or open",
    "overcurrent",
    "resistance low",
    "range",
    "intermittent",
    "signal",
    "supply",
    "supply low",
    "supply high",
    "no communication",
    "bus",
    "message",
    "internal",
    "coding",
    "mechanical",
    "misfire",
    "mixture",
    "pressure",
    "charging",
)


@dataclass(frozen=True, slots=True)
class Description:
    """text: our words. kind: one of `KINDS`, what sort of failure the code names."""

    text: str
    kind: str


# A block of codes that repeats one pattern: one letter for each successive code.
PATTERN = {
    "c": ("circuit", "circuit"),
    "o": ("circuit, probably open", "circuit open"),
    "r": ("signal out of range or implausible", "range"),
    "l": ("signal low", "circuit low"),
    "h": ("signal high", "circuit high"),
    "i": ("signal intermittent", "intermittent"),
    "L": ("control circuit low", "circuit low"),
    "H": ("control circuit high", "circuit high"),
    "C": ("control circuit", "circuit"),
    "t": ("heater circuit", "circuit"),
    "s": ("reacts slowly", "signal"),
    "n": ("shows no activity", "signal"),
}

BLOCKS = (
    ("P0010", "intake camshaft actuator, bank 1", "C"),
    ("P0013", "exhaust camshaft actuator, bank 1", "C"),
    ("P0030", "heater of oxygen sensor 1, bank 1:", "CLH"),
    ("P0036", "heater of oxygen sensor 2, bank 1:", "CLH"),
    ("P0090", "fuel pressure regulator", "CLH"),
    ("P0100", "air mass sensor", "crlhi"),
    ("P0105", "intake pressure sensor", "crlhi"),
    ("P0110", "intake air temperature sensor", "crlhi"),
    ("P0115", "coolant temperature sensor", "crlhi"),
    ("P0120", "throttle position sensor A", "crlhi"),
    ("P0130", "oxygen sensor 1, bank 1,", "clhsnt"),
    ("P0136", "oxygen sensor 2, bank 1,", "clhsnt"),
    ("P0150", "oxygen sensor 1, bank 2,", "clhsnt"),
    ("P0156", "oxygen sensor 2, bank 2,", "clhsnt"),
    ("P0180", "fuel temperature sensor A", "crlhi"),
    ("P0190", "fuel rail pressure sensor", "crlhi"),
    ("P0195", "oil temperature sensor", "crlhi"),
    ("P0220", "throttle position sensor B", "crlhi"),
    ("P0235", "boost pressure sensor A", "crlh"),
    ("P0243", "boost control valve A", "C"),
    ("P0245", "boost control valve A", "LH"),
    ("P0325", "knock sensor 1", "crlhi"),
    ("P0335", "crankshaft sensor A", "crlhi"),
    ("P0340", "camshaft sensor A, bank 1,", "crlhi"),
    ("P0345", "camshaft sensor A, bank 2,", "crlhi"),
    ("P0365", "camshaft sensor B, bank 1,", "crlhi"),
    ("P0450", "fuel tank pressure sensor", "crlhi"),
    ("P0460", "fuel level sensor A", "crlhi"),
    ("P0500", "vehicle speed sensor A", "crli"),
    ("P0520", "oil pressure sensor or switch", "crlh"),
    ("P0530", "refrigerant pressure sensor A", "crlh"),
    ("P0571", "brake switch A", "clh"),
    ("P0615", "starter relay", "CLH"),
    ("P0627", "fuel pump A", "CLH"),
    ("P0645", "compressor clutch relay", "CLH"),
    ("P0685", "main relay of the engine control unit", "CLH"),
    ("P0691", "cooling fan 1", "LH"),
    ("P0693", "cooling fan 2", "LH"),
    ("P0705", "gear range sensor A", "crlhi"),
    ("P0710", "transmission fluid temperature sensor A", "crlhi"),
    ("P0715", "transmission input speed sensor A", "crni"),
    ("P0720", "transmission output speed sensor", "crni"),
    ("P2102", "throttle motor", "LH"),
    ("P2120", "pedal position sensor D", "crlhi"),
    ("P2125", "pedal position sensor E", "crlhi"),
    ("P2146", "supply of injector group A:", "olh"),
    ("P2149", "supply of injector group B:", "olh"),
    ("P2226", "barometric pressure sensor", "crlhi"),
    ("P2505", "power input of the engine control unit:", "crlhi"),
)

SINGLE = {
    "P0016": ("crankshaft and camshaft signals do not agree, bank 1", "signal"),
    "P0087": ("fuel rail pressure too low", "pressure"),
    "P0088": ("fuel rail pressure too high", "pressure"),
    "P0089": ("fuel pressure regulator performance", "pressure"),
    "P0093": ("large leak in the fuel system", "pressure"),
    "P0171": ("mixture too lean, bank 1", "mixture"),
    "P0172": ("mixture too rich, bank 1", "mixture"),
    "P0174": ("mixture too lean, bank 2", "mixture"),
    "P0175": ("mixture too rich, bank 2", "mixture"),
    "P0200": ("injector circuit", "circuit open"),
    "P0217": ("engine too hot", "mechanical"),
    "P0230": ("fuel pump relay control circuit", "circuit"),
    "P0231": ("fuel pump supply circuit low", "circuit low"),
    "P0232": ("fuel pump supply circuit high", "circuit high"),
    "P0233": ("fuel pump supply circuit intermittent", "intermittent"),
    "P0234": ("boost pressure too high", "pressure"),
    "P0299": ("boost pressure too low", "pressure"),
    "P0300": ("misfire in several cylinders", "misfire"),
    "P0313": ("misfire with little fuel in the tank", "misfire"),
    "P0320": ("engine speed input circuit", "circuit"),
    "P0350": ("ignition coil circuit", "circuit"),
    "P0380": ("glow plug circuit A", "circuit"),
    "P0401": ("exhaust gas recirculation flow too small", "mechanical"),
    "P0402": ("exhaust gas recirculation flow too large", "mechanical"),
    "P0403": ("exhaust gas recirculation control circuit", "circuit"),
    "P0405": ("exhaust gas recirculation sensor A low", "circuit low"),
    "P0406": ("exhaust gas recirculation sensor A high", "circuit high"),
    "P0420": ("catalyst efficiency too low, bank 1", "mixture"),
    "P0430": ("catalyst efficiency too low, bank 2", "mixture"),
    "P0442": ("small leak in the tank ventilation", "mechanical"),
    "P0443": ("tank vent valve control circuit", "circuit"),
    "P0444": ("tank vent valve control circuit open", "circuit open"),
    "P0445": ("tank vent valve control circuit shorted", "overcurrent"),
    "P0455": ("large leak in the tank ventilation", "mechanical"),
    "P0480": ("cooling fan 1 control circuit", "circuit"),
    "P0481": ("cooling fan 2 control circuit", "circuit"),
    "P0485": ("cooling fan feed or ground circuit", "circuit"),
    "P0504": ("brake switches A and B do not agree", "signal"),
    "P0506": ("idle speed too low", "mechanical"),
    "P0507": ("idle speed too high", "mechanical"),
    "P0524": ("oil pressure too low", "pressure"),
    "P0560": ("supply voltage of the vehicle", "supply"),
    "P0561": ("supply voltage unstable", "supply"),
    "P0562": ("supply voltage low", "supply low"),
    "P0563": ("supply voltage high", "supply high"),
    "P0600": ("serial communication link", "bus"),
    "P0601": ("unit memory checksum", "internal"),
    "P0602": ("unit not programmed", "coding"),
    "P0603": ("unit lost its stored values: feed 30 of the unit was away, or memory failed", "supply low"),
    "P0604": ("unit working memory", "internal"),
    "P0605": ("unit program memory", "internal"),
    "P0606": ("unit processor", "internal"),
    "P0607": ("unit performance", "internal"),
    "P0620": ("generator control circuit", "charging"),
    "P0621": ("generator lamp or L terminal circuit", "charging"),
    "P0622": ("generator field or F terminal circuit", "charging"),
    "P0625": ("generator field circuit low", "charging"),
    "P0626": ("generator field circuit high", "charging"),
    "P0641": ("sensor supply A: circuit, probably open", "supply"),
    "P0642": ("sensor supply A low", "supply low"),
    "P0643": ("sensor supply A high", "supply high"),
    "P0650": ("warning lamp control circuit", "circuit"),
    "P0651": ("sensor supply B: circuit, probably open", "supply"),
    "P0652": ("sensor supply B low", "supply low"),
    "P0653": ("sensor supply B high", "supply high"),
    "P0670": ("glow plug control unit circuit", "circuit"),
    "P0688": ("switched feed from the main relay, probably open", "circuit open"),
    "P0689": ("switched feed from the main relay low", "supply low"),
    "P0690": ("switched feed from the main relay high", "supply high"),
    "P0697": ("sensor supply C: circuit, probably open", "supply"),
    "P0698": ("sensor supply C low", "supply low"),
    "P0699": ("sensor supply C high", "supply high"),
    "P0700": ("transmission control unit asks for the warning lamp: read that unit", "message"),
    "P0743": ("converter clutch solenoid circuit", "circuit"),
    "P0753": ("shift solenoid A circuit", "circuit"),
    "P2100": ("throttle motor circuit open", "circuit open"),
    "P2101": ("throttle motor does not follow", "range"),
    "P2135": ("throttle position sensors A and B do not agree", "signal"),
    "P2138": ("pedal position sensors D and E do not agree", "signal"),
    "P2500": ("generator lamp or L terminal circuit low", "charging"),
    "P2501": ("generator lamp or L terminal circuit high", "charging"),
    "P2503": ("charging voltage low", "charging"),
    "P2504": ("charging voltage high", "charging"),
    "C0020": ("brake pump motor control circuit", "circuit"),
    "C0031": ("wheel speed sensor, front left", "signal"),
    "C0034": ("wheel speed sensor, front right", "signal"),
    "C0037": ("wheel speed sensor, rear left", "signal"),
    "C003A": ("wheel speed sensor, rear right", "signal"),
    "C0040": ("brake pedal switch A", "signal"),
    "C0051": ("steering angle sensor", "signal"),
    "U0001": ("high-speed CAN bus", "bus"),
    "U0002": ("high-speed CAN bus performance", "bus"),
    "U0003": ("high-speed CAN, high line open", "bus"),
    "U0004": ("high-speed CAN, high line low", "bus"),
    "U0005": ("high-speed CAN, high line high", "bus"),
    "U0006": ("high-speed CAN, low line open", "bus"),
    "U0007": ("high-speed CAN, low line low", "bus"),
    "U0008": ("high-speed CAN, low line high", "bus"),
    "U0009": ("high-speed CAN, both lines together", "bus"),
    "U0010": ("medium-speed CAN bus", "bus"),
    "U0019": ("low-speed CAN bus", "bus"),
    "U0028": ("vehicle bus A", "bus"),
    "U0073": ("bus A off", "bus"),
    "U0300": ("software of the units does not match", "coding"),
    "U3000": ("control unit", "internal"),
    "U3001": ("control unit was not shut down in order: feed lost while running", "supply low"),
    "U3003": ("battery voltage", "supply"),
    "U3004": ("accessory power relay", "supply"),
    "U3006": ("feed A of the control unit", "supply"),
    "U3007": ("feed B of the control unit", "supply"),
    "U3008": ("ground A of the control unit", "supply"),
    "U3009": ("ground B of the control unit", "supply"),
}

# U01xx and U02xx: lost communication with the unit of that number; U04xx: data from it are invalid.
PARTNERS = {
    0x100: "engine control unit",
    0x101: "transmission control unit",
    0x102: "transfer case control unit",
    0x103: "gear selector unit",
    0x104: "cruise control unit",
    0x105: "injector control unit",
    0x106: "glow plug control unit",
    0x107: "throttle control unit",
    0x109: "fuel pump control unit",
    0x110: "drive motor control unit A",
    0x111: "battery energy control unit A",
    0x114: "four-wheel drive clutch unit",
    0x120: "starter generator control unit",
    0x121: "anti-lock brake control unit",
    0x122: "stability control unit",
    0x123: "yaw rate sensor",
    0x124: "lateral acceleration sensor",
    0x125: "acceleration sensor of several axes",
    0x126: "steering angle sensor",
    0x127: "tyre pressure unit",
    0x128: "parking brake unit",
    0x129: "brake system unit",
    0x131: "power steering unit",
    0x132: "suspension unit",
    0x140: "body control unit",
    0x146: "gateway A",
    0x151: "restraint control unit",
    0x155: "instrument cluster",
    0x156: "information centre A",
    0x159: "parking aid unit A",
    0x163: "navigation unit",
    0x164: "climate control unit",
    0x166: "auxiliary heater unit",
    0x167: "immobiliser unit",
    0x168: "vehicle security unit",
    0x169: "sunroof unit",
    0x181: "headlamp levelling unit",
    0x182: "front lighting unit",
    0x183: "rear lighting unit",
    0x184: "radio",
    0x186: "audio amplifier",
    0x198: "telephone and telematics unit",
    0x199: "door unit A",
    0x200: "door unit B",
    0x201: "door unit C",
    0x202: "door unit D",
    0x208: "seat unit A",
    0x212: "steering column unit",
    0x214: "remote control receiver",
    0x230: "tailgate unit",
    0x231: "rain sensor unit",
}
INVALID_DATA = {
    0x401: 0x100,
    0x402: 0x101,
    0x415: 0x121,
    0x416: 0x122,
    0x422: 0x140,
    0x423: 0x155,
    0x428: 0x126,
}


def describe(letters: str) -> Description | None:
    """Our description of a standard code of five characters, or None where we have none."""
    return _table().get(letters.upper())


def described() -> tuple[str, ...]:
    """Every code that has a description, in order."""
    return tuple(sorted(_table()))


@cache
def _table() -> dict[str, Description]:
    entries = dict(_blocks()) | dict(_cylinders()) | dict(_network())
    return entries | {code: Description(text, kind) for code, (text, kind) in SINGLE.items()}


def _blocks() -> Iterator[tuple[str, Description]]:
    """The standard counts these blocks in decimal: P0140 follows P0139."""
    for first, part, pattern in BLOCKS:
        for offset, letter in enumerate(pattern):
            words, kind = PATTERN[letter]
            yield f"{first[0]}{int(first[1:]) + offset:04}", Description(f"{part} {words}", kind)


def _cylinders() -> Iterator[tuple[str, Description]]:
    """Codes counted in decimal by cylinder: the standard leaves out the figures A to F in these blocks."""
    for cylinder in range(1, 13):
        yield f"P0{200 + cylinder}", Description(f"injector circuit, cylinder {cylinder}", "circuit open")
        low = 261 + 3 * (cylinder - 1)
        yield f"P0{low}", Description(f"injector circuit low, cylinder {cylinder}", "circuit low")
        yield f"P0{low + 1}", Description(f"injector circuit high, cylinder {cylinder}", "circuit high")
        yield f"P0{300 + cylinder}", Description(f"misfire, cylinder {cylinder}", "misfire")
        coil = "ABCDEFGHIJKL"[cylinder - 1]
        yield f"P0{350 + cylinder}", Description(f"ignition coil {coil} circuit", "circuit")
        yield (
            f"P{2300 + 3 * (cylinder - 1)}",
            Description(f"ignition coil {coil} control circuit low", "circuit low"),
        )
        yield (
            f"P{2301 + 3 * (cylinder - 1)}",
            Description(f"ignition coil {coil} control circuit high", "circuit high"),
        )
    for cylinder in range(1, 9):
        yield f"P0{670 + cylinder}", Description(f"glow plug circuit, cylinder {cylinder}", "circuit")


def _network() -> Iterator[tuple[str, Description]]:
    for number, unit in PARTNERS.items():
        yield f"U{number:04X}", Description(f"no communication with the {unit}", "no communication")
    for number, partner in INVALID_DATA.items():
        yield f"U{number:04X}", Description(f"invalid data from the {PARTNERS[partner]}", "message")


def communication_partner(letters: str) -> str | None:
    """The unit that a 'no communication' code (U01xx, U02xx) names, in our words, or None."""
    is_network = len(letters) == 5 and letters[0].upper() == "U"
    return PARTNERS.get(int(letters[1:], 16)) if is_network else None
