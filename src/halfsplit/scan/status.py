"""The status byte of a fault code, ISO 14229-1 annex D, in words.

>>> Status(0x2F).words
'failed now, failed this cycle, pending, confirmed, failed since clear'
>>> Status(0x50).present
'not tested'
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class StatusBit:
    """One bit: mask, the standard's name, our words."""

    mask: int
    name: str
    words: str


BITS = (
    StatusBit(0x01, "testFailed", "failed now"),
    StatusBit(0x02, "testFailedThisOperationCycle", "failed this cycle"),
    StatusBit(0x04, "pendingDTC", "pending"),
    StatusBit(0x08, "confirmedDTC", "confirmed"),
    StatusBit(0x10, "testNotCompletedSinceLastClear", "not tested since clear"),
    StatusBit(0x20, "testFailedSinceLastClear", "failed since clear"),
    StatusBit(0x40, "testNotCompletedThisOperationCycle", "not tested this cycle"),
    StatusBit(0x80, "warningIndicatorRequested", "warning lamp asked for"),
)
NAMES = {bit.name: bit.mask for bit in BITS}


@dataclass(frozen=True, slots=True)
class Status:
    """A status byte. available: the bits that the unit supports at all (its status availability mask)."""

    byte: int
    available: int = 0xFF

    def has(self, name: str) -> bool:
        """Whether the bit of that standard name (a key of `NAMES`) is set and supported."""
        return bool(self.byte & self.available & NAMES[name])

    @property
    def names(self) -> tuple[str, ...]:
        """The standard's names of the bits that are set, lowest first."""
        return tuple(bit.name for bit in BITS if self.has(bit.name))

    @property
    def words(self) -> str:
        """The bits that are set, in words, lowest first."""
        return ", ".join(bit.words for bit in BITS if self.has(bit.name)) or "no bit set"

    @property
    def present(self) -> str:
        """Is the fault there now: `yes`, `no`, or `not tested` when the unit has not looked this cycle."""
        if self.has("testFailed"):
            return "yes"
        unsupported = not self.available & NAMES["testFailed"]
        return "not tested" if unsupported or self.has("testNotCompletedThisOperationCycle") else "no"

    @property
    def advice(self) -> str:
        """What the status means for the next step, in one sentence."""
        if self.has("testFailed"):
            return "The unit sees the fault now: measure now."
        if self.has("testNotCompletedSinceLastClear"):
            return "The unit has not tested this since the codes were cleared: its silence proves nothing."
        if self.has("testNotCompletedThisOperationCycle"):
            return (
                "Not tested in this cycle yet: meet the conditions of the test before you conclude anything."
            )
        if self.has("confirmedDTC") or self.has("testFailedSinceLastClear"):
            return "It failed before and passes now: a good reading while the fault is absent clears nothing."
        return "Tested and passed."
