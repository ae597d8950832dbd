"""Negative responses of ISO 14229-1 in words: what the unit refuses and what to do. The words are ours."""

from __future__ import annotations

SERVICES = {
    0x01: "current data",
    0x02: "freeze frame",
    0x03: "stored codes",
    0x04: "clear codes and readiness",
    0x07: "pending codes",
    0x09: "vehicle information",
    0x0A: "permanent codes",
    0x10: "session change",
    0x14: "clear codes",
    0x19: "read codes",
    0x22: "read identification",
    0x3E: "tester present",
}

# ISO 14229-1, table of negative response codes.
RESPONSES = {
    0x10: "refused, no reason given",
    0x11: "the unit does not have this service",
    0x12: "the unit does not have this sub-function",
    0x13: "the request has the wrong length or form",
    0x14: "the answer would be too long",
    0x21: "the unit is busy: try again",
    0x22: "the conditions are not met: check ignition, engine, gear and battery",
    0x24: "the request came out of order",
    0x25: "a unit behind this one does not answer",
    0x26: "a failure stops the unit from doing it",
    0x31: "the unit does not have this value",
    0x33: "access is locked",
    0x34: "the unit wants a signed login",
    0x35: "the key is wrong",
    0x36: "too many attempts",
    0x37: "a waiting time has not passed",
    0x72: "writing to memory failed",
    0x78: "the unit is still working on it",
    0x7E: "not in this session",
    0x7F: "the service is not there in this session",
    0x81: "engine speed too high",
    0x82: "engine speed too low",
    0x83: "the engine must not run",
    0x84: "the engine must run",
    0x85: "the engine has not run long enough",
    0x86: "temperature too high",
    0x87: "temperature too low",
    0x88: "vehicle speed too high",
    0x89: "vehicle speed too low",
    0x8A: "throttle or pedal too far open",
    0x8B: "throttle or pedal not open enough",
    0x8C: "gear must be in neutral",
    0x8D: "a gear must be in",
    0x8F: "brake pedal must be pressed",
    0x90: "selector must be in park",
    0x91: "converter clutch locked",
    0x92: "supply voltage too high",
    0x93: "supply voltage too low: charge the battery",
}
PENDING = 0x78
NEGATIVE = 0x7F
NOT_SUPPORTED = frozenset({0x11, 0x12, 0x31, 0x7E, 0x7F})
OTHER_SESSION = frozenset({0x7E, 0x7F})


def negative_words(service: int, code: int) -> str:
    """One line for the technician: what was asked, what the unit says, and the number for the record."""
    asked = SERVICES.get(service, f"service {service:02X}")
    said = RESPONSES.get(
        code, "a reason of the maker's own" if code >= 0x94 else "a reason that the standard reserves"
    )
    return f"{asked}: {said} (7F {service:02X} {code:02X})"
