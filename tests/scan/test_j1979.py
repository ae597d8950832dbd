"""Scalings of SAE J1979 against the shared table (from scapy), and the simulated units' answers as values."""

from collections.abc import Callable

import pytest

from halfsplit.scan import j1979
from halfsplit.scan.address import Address
from halfsplit.scan.codes import FaultCode
from halfsplit.scan.negative import negative_words
from halfsplit.scan.vehicle import SimulatedUnit, SimulatedVehicle, UnitState, demo_vehicle

Rows = Callable[[str], list[dict[str, str]]]

UNITS = {"deg. C": "°C", "min-1": "1/min", "deg.": "°"}
SIZES = {"!B": 1, "!H": 2}


def test_scalings_agree_with_the_shared_table(standard_rows: Rows) -> None:
    rows = {int(row["pid_hex"], 16): row for row in standard_rows("j1979_pid_scaling_from_scapy.csv")}
    compared = 0
    for number, parameter in j1979.PARAMETERS.items():
        row = rows[number]
        assert parameter.scale == pytest.approx(float(row["scaling"])), parameter
        assert parameter.offset == float(row["offset"]), parameter
        assert parameter.unit == UNITS.get(row["unit"], row["unit"]), parameter
        # the table gives the air mass flow one byte; SAE J1979 gives it two, as its 655.35 g/s at most show
        assert parameter.size == (2 if number == 0x10 else SIZES[row["struct_format"]]), parameter
        compared += 1
    assert compared >= 30


def test_supported_parameters() -> None:
    """The worked bits of SAE J1979: BE 1F A8 13 has 01, 03 to 07, 0C to 11, 13, 15, 1C, 1F and 20."""
    expected = {0x01, 0x03, 0x04, 0x05, 0x06, 0x07, *range(0x0C, 0x12), 0x13, 0x15, 0x1C, 0x1F, 0x20}
    assert j1979.supported(0, bytes.fromhex("BE1FA813")) == expected


def test_codes_of_an_answer() -> None:
    found = j1979.codes(bytes.fromhex("430201 43C100 0000".replace(" ", "")))
    assert found == (FaultCode.parse("P0143"), FaultCode.parse("U0100"))
    assert j1979.codes(b"\x43") == ()
    assert j1979.codes(b"\x43\x00") == ()


def test_readiness_bits() -> None:
    """SAE J1979: A is the lamp and the count, B the continuous tests, C which there are, D which are not complete."""
    ready = j1979.readiness(bytes([0x83, 0x17, 0x21, 0x21]))
    assert (ready.warning_lamp, ready.codes) == (True, 3)
    assert ready.incomplete == ("misfire", "catalyst", "oxygen sensor")


def test_an_unknown_parameter_keeps_its_bytes() -> None:
    found = j1979.measured(0x7F, b"\x01\x02")
    assert (found.name, found.number, found.raw) == ("parameter 7F", None, b"\x01\x02")
    assert j1979.measured(0x0C, b"\x01").number is None


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
