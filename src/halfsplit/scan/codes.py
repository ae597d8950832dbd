"""Fault codes as SAE J2012 and ISO 15031-6 encode them: letter, four characters, failure type.

Two bytes: bits 15 and 14 are the system (P, C, B, U), bits 13 and 12 the first figure, then three hexadecimal
characters. A third byte, where there is one, is the failure type (SAE J2012-DA).

>>> code = FaultCode.parse("U0121-87")
>>> code.number, code.failure_type, code.text
(49441, 135, 'U0121-87')
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from halfsplit.errors import InputError
from halfsplit.scan.descriptions import RANGES, Description, describe, failure_type

SYSTEMS = {"P": "powertrain", "C": "chassis", "B": "body", "U": "network"}
LETTERS = "PCBU"

STANDARD = "standard"
MAKER = "maker-specific"

FIRST_STANDARD_P3 = 0x3400

_WRITTEN = re.compile(r"([PCBU])([0-3])([0-9A-F]{3})(?:[-: /.]?([0-9A-F]{2}))?", re.IGNORECASE)

# Restraint circuits carry squibs: the whole block B0000 to B00FF is theirs (SAE J2012, from memory).
RESTRAINTS = range(0x8000, 0x8100)
RESTRAINT_CAUTION = (
    "Airbag and belt-tensioner circuits are never probed or lamp-tested: battery off, the waiting time of "
    "the vehicle's documentation, qualified people only."
)


@dataclass(frozen=True, slots=True, order=True)
class FaultCode:
    """One code. number: the two bytes, 0 to 0xFFFF. failure_type: the third byte, or None."""

    number: int
    failure_type: int | None = None

    @classmethod
    def parse(cls, text: str) -> FaultCode:
        """Read `P0143`, `P0143-13`, `p014313` or `U0121:87`. Raises InputError."""
        match = _WRITTEN.fullmatch(text.strip())
        if match is None:
            raise InputError(
                f"{text.strip()[:40]!r} is not a fault code",
                remedy="write a letter P, C, B or U, a figure 0 to 3 and three of 0 to F, as in U0121 or U0121-87",
            )
        letter, first, rest, failure = match.groups()
        number = LETTERS.index(letter.upper()) << 14 | int(first) << 12 | int(rest, 16)
        return cls(number, None if failure is None else int(failure, 16))

    @classmethod
    def from_bytes(cls, data: bytes) -> FaultCode:
        """Read two bytes (SAE J1979) or three (ISO 14229-1). Raises InputError for any other length."""
        if len(data) not in (2, 3):
            raise InputError(f"a fault code of {len(data)} bytes", remedy="two or three bytes expected")
        return cls(int.from_bytes(data[:2], "big"), data[2] if len(data) == 3 else None)

    def to_bytes(self) -> bytes:
        """The two or three bytes as a control unit sends them."""
        tail = b"" if self.failure_type is None else bytes([self.failure_type])
        return self.number.to_bytes(2, "big") + tail

    @property
    def letters(self) -> str:
        """The five characters without the failure type."""
        return f"{LETTERS[self.number >> 14]}{self.number >> 12 & 3}{self.number & 0xFFF:03X}"

    @property
    def text(self) -> str:
        """As it is written here: five characters, and the failure type after a hyphen."""
        return self.letters if self.failure_type is None else f"{self.letters}-{self.failure_type:02X}"

    @property
    def system(self) -> str:
        """powertrain, chassis, body or network."""
        return SYSTEMS[self.letters[0]]

    @property
    def defined_by(self) -> str:
        """Who gives the code its meaning: `standard`, `maker-specific` or `reserved`."""
        if self.letters.startswith("P3"):
            return STANDARD if self.number >= FIRST_STANDARD_P3 else MAKER
        return next(owner for owner, ranges in RANGES.items() if self.letters[:2] in ranges.split())

    @property
    def failure(self) -> Description | None:
        """What the failure type says, or None where there is none or its meaning is not known here."""
        return None if self.failure_type is None else failure_type(self.failure_type)

    @property
    def description(self) -> Description | None:
        """Our own short description where the code is a standard one that we describe, else None."""
        return describe(self.letters) if self.defined_by == STANDARD else None

    @property
    def kind(self) -> str | None:
        """What kind of failure it names (`descriptions.KINDS`): the failure type's, else the description's."""
        said = (self.failure, self.description)
        return next((each.kind for each in said if each is not None and each.kind is not None), None)

    @property
    def caution(self) -> str:
        """The caution that belongs beside this code, or nothing."""
        return RESTRAINT_CAUTION if self.number in RESTRAINTS else ""

    @property
    def words(self) -> str:
        """One line for the technician: what the code says, and whose words they are."""
        if self.description is not None:
            parts = [f"{self.description.text} (our words)"]
        elif self.defined_by == STANDARD:
            parts = [f"{self.system} code of the standard, not described here: see the maker's documentation"]
        else:
            parts = [f"{self.defined_by} {self.system} code: see the vehicle maker's documentation"]
        if self.failure is not None and self.failure.text:
            parts.append(self.failure.text)
        elif self.failure_type:
            parts.append(f"failure type {self.failure_type:02X}: not known here")
        return "; ".join(parts)


BITS = {
    "testFailed": "failed now",
    "testFailedThisOperationCycle": "failed this cycle",
    "pendingDTC": "pending",
    "confirmedDTC": "confirmed",
    "testNotCompletedSinceLastClear": "not tested since clear",
    "testFailedSinceLastClear": "failed since clear",
    "testNotCompletedThisOperationCycle": "not tested this cycle",
    "warningIndicatorRequested": "warning lamp asked for",
}
"""The bits of ISO 14229-1 annex D, lowest first: the standard's names and our words."""
NAMES = {name: 1 << place for place, name in enumerate(BITS)}


@dataclass(frozen=True, slots=True)
class Status:
    """The status byte of a code. available: the bits that the unit supports at all (its status availability mask).

    >>> Status(0x2F).words
    'failed now, failed this cycle, pending, confirmed, failed since clear'
    >>> Status(0x50).present
    'not tested'
    """

    byte: int
    available: int = 0xFF

    def has(self, name: str) -> bool:
        """Whether the bit of that standard name (a key of `NAMES`) is set and supported."""
        return bool(self.byte & self.available & NAMES[name])

    @property
    def words(self) -> str:
        """The bits that are set, in words, lowest first."""
        return ", ".join(words for name, words in BITS.items() if self.has(name)) or "no bit set"

    @property
    def present(self) -> str:
        """Is the fault there now: `yes`, `no`, or `not tested` when the unit has not looked this cycle."""
        if self.has("testFailed"):
            return "yes"
        unsupported = not self.available & NAMES["testFailed"]
        return "not tested" if unsupported or self.has("testNotCompletedThisOperationCycle") else "no"
