"""Codes and status bytes against the shared tables, and against udsoncan as an independent decoder."""

from collections.abc import Callable

import pytest
import udsoncan
from hypothesis import given
from hypothesis import strategies as st

from halfsplit.errors import InputError
from halfsplit.scan.codes import BITS, MAKER, NAMES, STANDARD, FaultCode, Status
from halfsplit.scan.descriptions import KINDS, communication_partner, describe, described, failure_type

Rows = Callable[[str], list[dict[str, str]]]

STATUS_COLUMNS = (
    ("test_failed", "testFailed"),
    ("test_failed_this_operation_cycle", "testFailedThisOperationCycle"),
    ("pending", "pendingDTC"),
    ("confirmed", "confirmedDTC"),
    ("test_not_completed_since_last_clear", "testNotCompletedSinceLastClear"),
    ("test_failed_since_last_clear", "testFailedSinceLastClear"),
    ("test_not_completed_this_operation_cycle", "testNotCompletedThisOperationCycle"),
    ("warning_indicator_requested", "warningIndicatorRequested"),
)


def test_two_byte_codes_agree_with_the_shared_table(standard_rows: Rows) -> None:
    table = standard_rows("dtc_two_byte.csv")
    assert len(table) >= 20
    for row in table:
        data = bytes.fromhex(row["byte1_hex"] + row["byte2_hex"])
        assert FaultCode.from_bytes(data).text == row["dtc"]
        assert FaultCode.parse(row["dtc"]).to_bytes() == data


def test_status_bytes_agree_with_the_shared_table(standard_rows: Rows) -> None:
    for row in standard_rows("uds_dtc_status_byte.csv"):
        status = Status(int(row["status_hex"], 16))
        for column, name in STATUS_COLUMNS:
            assert status.has(name) == (row[column] == "1"), (row["status_hex"], name)


@given(st.integers(0, 255))
def test_status_bits_agree_with_udsoncan(byte: int) -> None:
    theirs = udsoncan.Dtc.Status.from_byte(byte)
    ours = Status(byte)
    pairs = {
        "testFailed": theirs.test_failed,
        "testFailedThisOperationCycle": theirs.test_failed_this_operation_cycle,
        "pendingDTC": theirs.pending,
        "confirmedDTC": theirs.confirmed,
        "testNotCompletedSinceLastClear": theirs.test_not_completed_since_last_clear,
        "testFailedSinceLastClear": theirs.test_failed_since_last_clear,
        "testNotCompletedThisOperationCycle": theirs.test_not_completed_this_operation_cycle,
        "warningIndicatorRequested": theirs.warning_indicator_requested,
    }
    assert {name: ours.has(name) for name in NAMES} == pairs


@given(st.integers(0, 0xFFFF), st.none() | st.integers(0, 255))
def test_every_code_survives_text_and_bytes(number: int, failure: int | None) -> None:
    code = FaultCode(number, failure)
    assert FaultCode.parse(code.text) == code
    assert FaultCode.from_bytes(code.to_bytes()) == code
    assert code.words
    assert code.defined_by in (STANDARD, MAKER, "reserved")


@pytest.mark.parametrize(
    ("code", "who", "system"),
    # SAE J2012 ranges, from memory.
    [
        ("P0143", STANDARD, "powertrain"),
        ("P1143", MAKER, "powertrain"),
        ("P2A00", STANDARD, "powertrain"),
        ("P33FF", MAKER, "powertrain"),
        ("P3400", STANDARD, "powertrain"),
        ("B1000", MAKER, "body"),
        ("B2000", MAKER, "body"),
        ("C3000", "reserved", "chassis"),
        ("U0100", STANDARD, "network"),
        ("U1000", MAKER, "network"),
        ("U3003", STANDARD, "network"),
    ],
)
def test_ranges(code: str, who: str, system: str) -> None:
    assert FaultCode.parse(code).defined_by == who
    assert FaultCode.parse(code).system == system


@pytest.mark.parametrize(
    ("written", "kind", "words"),
    # SAE J2012 and J2012-DA numbers, from memory; the words are ours.
    [
        ("P0117", "circuit low", "coolant temperature sensor signal low (our words)"),
        ("P0138", "circuit high", "oxygen sensor 2, bank 1, signal high (our words)"),
        ("P0140", "signal", "oxygen sensor 2, bank 1, shows no activity (our words)"),
        ("P0141", "circuit", "oxygen sensor 2, bank 1, heater circuit (our words)"),
        ("P0204", "circuit open", "injector circuit, cylinder 4 (our words)"),
        ("P0270", "circuit low", "injector circuit low, cylinder 4 (our words)"),
        ("P0304", "misfire", "misfire, cylinder 4 (our words)"),
        ("P0562", "supply low", "supply voltage low (our words)"),
        ("P2303", "circuit low", "ignition coil B control circuit low (our words)"),
        (
            "U0121-87",
            "no communication",
            "no communication with the anti-lock brake control unit (our words); message missing",
        ),
        (
            "B1A23-13",
            "circuit open",
            "maker-specific body code: see the vehicle maker's documentation; circuit open",
        ),
        (
            "P0A01",
            None,
            "powertrain code of the standard, not described here: see the maker's documentation",
        ),
        (
            "C1234-EE",
            None,
            "maker-specific chassis code: see the vehicle maker's documentation; "
            "failure type EE: not known here",
        ),
    ],
)
def test_words(written: str, kind: str | None, words: str) -> None:
    code = FaultCode.parse(written)
    assert code.kind == kind
    assert code.words == words


def test_no_maker_code_is_described() -> None:
    assert len(described()) > 300
    for letters in described():
        assert FaultCode.parse(letters).defined_by == STANDARD
        description = describe(letters)
        assert description is not None
        assert description.kind in KINDS


def test_failure_types_have_a_known_kind() -> None:
    known = [entry for byte in range(256) if (entry := failure_type(byte))]
    assert len(known) > 80
    assert all(entry.kind is None or entry.kind in KINDS for entry in known)


def test_restraint_codes_carry_their_caution() -> None:
    assert "never probed" in FaultCode.parse("B0001").caution
    assert FaultCode.parse("B0100").caution == ""


def test_communication_partner() -> None:
    assert communication_partner("U0155") == "instrument cluster"
    assert communication_partner("P0155") is None


@pytest.mark.parametrize("text", ["", "P4000", "X0143", "P014", "P01433", "U0121-8", "P0143 sporadic"])
def test_what_is_not_a_code_is_told(text: str) -> None:
    with pytest.raises(InputError, match="is not a fault code: write a letter P, C, B or U"):
        FaultCode.parse(text)


@pytest.mark.parametrize("data", [b"", b"\x01", b"\x01\x43\x00\x00"])
def test_wrong_lengths_are_told(data: bytes) -> None:
    with pytest.raises(InputError, match="two or three bytes expected"):
        FaultCode.from_bytes(data)


@pytest.mark.parametrize(
    ("byte", "present"),
    [(0x2F, "yes"), (0x50, "not tested"), (0x68, "not tested"), (0x28, "no"), (0x00, "no")],
)
def test_status_says_whether_the_fault_is_there_now(byte: int, present: str) -> None:
    assert Status(byte).present == present


def test_bits_that_a_unit_does_not_support_are_not_read() -> None:
    assert Status(0xFF, available=0x08).words == "confirmed"
    assert Status(0x00, available=0x08).present == "not tested"
    assert Status(0x00).words == "no bit set"
    assert sum(NAMES.values()) == 0xFF
    assert list(BITS) == list(NAMES)
