"""Where a unit is asked and where it answers, by ISO 15765-4; and with what frames are filled up."""

from __future__ import annotations

from dataclasses import dataclass

PADDING = 0xCC
FUNCTIONAL = 0x7DF
FUNCTIONAL_EXTENDED = 0x18DB33F1


@dataclass(frozen=True, slots=True, order=True)
class Address:
    """The identifiers of one unit: request to it, response from it (ISO 15765-4)."""

    request: int
    response: int

    @property
    def extended(self) -> bool:
        """Whether these are 29-bit identifiers."""
        return self.request > 0x7FF

    @classmethod
    def of_response(cls, identifier: int) -> Address | None:
        """The address of a legislated unit by the identifier of its response, or None where it is none."""
        if 0x7E8 <= identifier <= 0x7EF:
            return cls(identifier - 8, identifier)
        if identifier & 0x1FFFFF00 == 0x18DAF100:
            return cls(0x18DA00F1 | (identifier & 0xFF) << 8, identifier)
        return None

    def __str__(self) -> str:
        width = 8 if self.extended else 3
        return f"{self.request:0{width}X}/{self.response:0{width}X}"
