"""The live scan against a simulated vehicle in another process, sound and misbehaving. All units are invented.

The far end speaks through can-isotp too; that the frames are right is checked against the shared table of
ISO 15765-2 in `test_transport.py`.
"""

import json
import socket
import subprocess
import sys
from collections.abc import Iterator

import pytest

from halfsplit.errors import ConflictError, InputError
from halfsplit.scan import compare
from halfsplit.scan.channel import Address, BusError, Channel
from halfsplit.scan.clear import LogEntry, clear_codes, plan_clear
from halfsplit.scan.link import Link
from halfsplit.scan.live import LiveScan, LiveUnit, scan
from halfsplit.scan.simulated import running
from halfsplit.scan.uds import Patience, Refusal, UnitSession
from halfsplit.scan.vehicle import (
    FLOOD,
    GARBAGE,
    NOISE,
    PENDING,
    PENDING_FOR_EVER,
    STOPS,
    SimulatedUnit,
    SimulatedVehicle,
    demo_vehicle,
)

PATIENCE = Patience(answer=0.4, pending=0.6, whole=1.5)
MANY = tuple((f"B1{number:03X}-13", 0x2F) for number in range(40))

VEHICLE = SimulatedVehicle(
    (
        *demo_vehicle().units,
        SimulatedUnit(
            "Stops", Address(0x750, 0x758), MANY, {0xF197: "Stops", 0xF187: "X"}, fault=STOPS, after=4
        ),
        SimulatedUnit("Late", Address(0x751, 0x759), (("C1000-11", 0x09),), {0xF197: "Late"}, fault=PENDING),
        SimulatedUnit("Never", Address(0x752, 0x75A), (), {0xF197: "Never"}, fault=PENDING_FOR_EVER),
        SimulatedUnit("Babble", Address(0x753, 0x75B), (), fault=GARBAGE),
        SimulatedUnit(
            "Old", Address(0x7E3, 0x7EB), (("P0301", 0x0C), ("P0171", 0x80)), legislated=True, old=True
        ),
        SimulatedUnit("Deep", Address(0x754, 0x75C), MANY, {0xF197: "Deep"}, extended_only=True),
        SimulatedUnit("Long", Address(0x18DA28F1, 0x18DAF128), MANY, {0xF197: "Long"}),
    ),
    unfed=demo_vehicle().unfed,
)


@pytest.fixture(scope="module")
def channel() -> Iterator[Channel]:
    with running(VEHICLE) as channel:
        yield channel


@pytest.fixture(scope="module")
def found(channel: Channel) -> LiveScan:
    return scan(channel, expected=VEHICLE.addresses, patience=PATIENCE)


@pytest.fixture
def link(channel: Channel) -> Iterator[Link]:
    with Link(channel.open()) as link:
        yield link


@pytest.fixture
def to_be_cleared() -> Iterator[Link]:
    """A link to a vehicle of the test's own: no other test misses the codes."""
    with running(VEHICLE) as channel, Link(channel.open()) as link:
        yield link


def unit(scan: LiveScan, name: str) -> LiveUnit:
    return next(unit for unit in scan.units if unit.name == name)


def test_sound_units_give_their_codes_and_names(found: LiveScan) -> None:
    engine = unit(found, "Engine")
    assert [(code.name, code.status_byte) for code in engine.codes] == [
        ("P0562-16", 0x2F),
        ("P0117-11", 0x28),
    ]
    assert engine.identification == {"VIN": "WZZHALFSP0T000001", "name": "Engine", "software version": "0107"}
    assert unit(found, "Brakes").answers
    assert unit(found, "Brakes").codes == ()
    assert found.problems == ()


def test_unfed_units_are_silent(found: LiveScan) -> None:
    for name in ("Tailgate", "Trailer"):
        assert not unit(found, name).answers
        assert f"{name}: does not answer" in found.warnings


def test_an_answer_of_many_frames_is_put_together(found: LiveScan) -> None:
    assert [code.name for code in unit(found, "Deep").codes] == [text for text, _ in MANY]


def test_codes_of_the_extended_session_are_read_and_the_session_is_left(found: LiveScan, link: Link) -> None:
    assert len(unit(found, "Deep").codes) == 40
    with pytest.raises(Refusal, match="the service is not there in this session"):
        UnitSession(link, Address(0x754, 0x75C), PATIENCE).codes()


def test_a_unit_that_stops_midway_is_told(found: LiveScan) -> None:
    stopped = unit(found, "Stops")
    assert not stopped.answers
    assert stopped.problems == ("stopped answering while it was read: no answer",)


def test_a_unit_that_answers_late_is_waited_for(found: LiveScan) -> None:
    assert [code.name for code in unit(found, "Late").codes] == ["C1000-11"]


def test_a_unit_that_never_finishes_ends_in_bounded_time(found: LiveScan) -> None:
    assert "still working on it, and never answered" in unit(found, "Never").problems[0]


def test_garbage_is_told_as_such(found: LiveScan) -> None:
    assert "breaks the rules of ISO 15765-2" in unit(found, "Babble").problems[0]


def test_an_old_unit_is_read_by_sae_j1979(found: LiveScan) -> None:
    old = unit(found, "Old")
    assert [(code.name, code.status) for code in old.codes] == [
        ("P0301", ("confirmed", "pending")),
        ("P0171", ("permanent",)),
    ]


def test_a_unit_with_29_bits_is_found(channel: Channel) -> None:
    with Link(channel.open()) as link:
        session = UnitSession(link, Address(0x18DA28F1, 0x18DAF128), PATIENCE)
        assert len(session.codes()) == 40


def test_the_scan_is_a_report_like_any_other(found: LiveScan) -> None:
    report = found.report
    assert not report.unclear
    assert report.vehicle["vin"] == "WZZHALFSP0T000001"
    assert report.unit("Tailgate").answers is False
    assert {change.verdict for change in compare(report, found.report).codes} == {"stayed"}
    assert found.as_dict()["units"][0]["codes"][0]["code"] == "P0562-16"


def test_only_two_sessions_can_be_asked_for(link: Link) -> None:
    with pytest.raises(ValueError, match="only the default and the extended session"):
        UnitSession(link, Address(0x7E0, 0x7E8), PATIENCE).change_session(2)


def test_a_wrong_bit_rate_is_told(channel: Channel) -> None:
    found = scan(Channel(channel.interface, channel.name, 250_000), sweep=False, patience=PATIENCE)
    assert found.units == ()
    assert found.problems[0].startswith(
        "Nothing at all is heard at 250000 bit/s: wrong bit rate, ignition off"
    )


def test_clearing_needs_a_name_and_a_saved_scan(link: Link) -> None:
    plan = plan_clear(link, Address(0x740, 0x748), "Body", PATIENCE)
    assert [stored.code.text for stored in plan.codes] == ["U0230-87", "U1012-87", "B1044-13"]
    assert any("snapshots" in sentence for sentence in plan.lost)
    with pytest.raises(ConflictError, match="needs the name of the person"):
        plan.confirm(" ", saved=True)
    with pytest.raises(ConflictError, match="not saved with the job yet"):
        plan.confirm("A. Person", saved=False)


def test_clearing_is_logged_and_tells_what_came_back(to_be_cleared: Link) -> None:
    log: list[LogEntry] = []
    plan = plan_clear(to_be_cleared, Address(0x740, 0x748), "Body", PATIENCE)
    confirmation = plan.confirm("A. Person", saved=True)
    result = clear_codes(to_be_cleared, confirmation, log.append, PATIENCE)
    assert result.cleared
    assert result.words == "Body: cleared; U0230-87, U1012-87 came back at once: the fault is there now"
    assert [(entry.by, entry.unit, entry.done) for entry in log] == [
        ("A. Person", "Body", "clear U0230-87, U1012-87, B1044-13")
    ]
    with pytest.raises(ConflictError, match="have changed since they were confirmed"):
        clear_codes(to_be_cleared, confirmation, log.append, PATIENCE)
    assert log[-1].outcome.startswith("not cleared: the codes have changed")


def test_a_silent_unit_is_not_cleared(link: Link) -> None:
    with pytest.raises(ConflictError, match="Tailgate cannot be read"):
        plan_clear(link, Address(0x742, 0x74A), "Tailgate", PATIENCE)


@pytest.mark.parametrize(
    ("fault", "words"),
    [(FLOOD, "The bus is flooded: identifier 001 alone comes"), (NOISE, "frames could not be read")],
)
def test_a_flood_and_garbage_lines_are_told_and_nothing_hangs(fault: str, words: str) -> None:
    vehicle = SimulatedVehicle(demo_vehicle().units[:1], bit_rate=250_000, fault=fault)
    with running(vehicle) as channel:
        found = scan(channel, sweep=False, patience=PATIENCE)
    assert any(words in problem for problem in found.problems)
    # on a full bus a unit may come too late; then its silence is told, and no code is made up
    for unit in found.units:
        assert [code.name for code in unit.codes] == ["P0562-16", "P0117-11"] or unit.problems


# pyserial leaves its socket to the garbage collector when the other end has gone.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning", "ignore::ResourceWarning")
def test_an_adapter_that_goes_away_is_told() -> None:
    with running(SimulatedVehicle(demo_vehicle().units[:1])) as channel:
        link = Link(channel.open())
    with link, pytest.raises(BusError, match=r"connection to the adapter is lost|bus does not take a frame"):
        link.listen(10)


def test_a_channel_that_is_not_there_is_told() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        port = taken.getsockname()[1]
    with pytest.raises(BusError, match=r"cannot be opened at 500000 bit/s .* is the adapter plugged in"):
        Channel.parse(f"slcan:socket://127.0.0.1:{port}").open()


@pytest.mark.parametrize("text", ["", "slcan", "slcan:", "nothing:can0"])
def test_channel_words(text: str) -> None:
    with pytest.raises(InputError, match="names no CAN interface: write interface:channel"):
        Channel.parse(text)


def test_channel_bit_rate() -> None:
    assert Channel.parse("socketcan:can0", 125_000) == Channel("socketcan", "can0", 125_000)
    with pytest.raises(InputError, match="a bit rate of 500: write bits a second"):
        Channel.parse("socketcan:can0", 500)


def test_the_vehicle_process_ends_with_its_parent() -> None:
    process = subprocess.Popen(
        [sys.executable, "-m", "halfsplit.scan.simulated"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    process.communicate(json.dumps(demo_vehicle().as_dict()) + "\n", timeout=120)
    assert process.returncode == 0
