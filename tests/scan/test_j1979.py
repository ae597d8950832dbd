"""Codes by SAE J1979, refusals in words, and what simulated units answer."""

import pytest

from halfsplit.scan.channel import Address
from halfsplit.scan.codes import FaultCode
from halfsplit.scan.descriptions import negative_words
from halfsplit.scan.uds import codes_of
from halfsplit.scan.vehicle import SimulatedUnit, SimulatedVehicle, UnitState, demo_vehicle


def test_codes_of_an_answer() -> None:
    found = codes_of(bytes.fromhex("430201 43C100 0000".replace(" ", "")))
    assert found == (FaultCode.parse("P0143"), FaultCode.parse("U0100"))
    assert codes_of(b"\x43") == ()
    assert codes_of(b"\x43\x00") == ()


@pytest.mark.parametrize(
    ("service", "code", "words"),
    [
        (0x19, 0x78, "read codes: the unit is still working on it (7F 19 78)"),
        (
            0x14,
            0x22,
            "clear codes: the conditions are not met: check ignition, engine, gear and battery (7F 14 22)",
        ),
        (0x31, 0xF0, "service 31: a reason of the maker's own (7F 31 F0)"),
    ],
)
def test_negative_responses_in_words(service: int, code: int, words: str) -> None:
    assert negative_words(service, code) == words


def test_a_vehicle_is_fed_by_a_plain_mapping() -> None:
    vehicle = demo_vehicle().feeding({"Body": False, "Tailgate": True})
    assert vehicle.unfed == {"Body"}
    assert SimulatedVehicle.from_dict(vehicle.as_dict()) == vehicle


def test_a_unit_refuses_what_it_does_not_have_and_is_quiet_to_all() -> None:
    state = UnitState(SimulatedUnit("x", Address(0x740, 0x748)))
    assert state.answer(bytes.fromhex("2EF190")) == bytes.fromhex("7F2E11")
    assert state.answer(bytes.fromhex("0100"), functional=True) is None
    assert state.answer(bytes.fromhex("3101")) == bytes.fromhex("7F3111")
