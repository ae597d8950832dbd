"""`halfsplit scan --live` on a simulated vehicle in another process, over slcan on a loopback socket. All invented."""

from collections.abc import Iterator

import pytest

from halfsplit.scan import ScanReport
from halfsplit.scan.channel import Address, Channel
from halfsplit.scan.simulated import running
from halfsplit.scan.vehicle import NOISE, STOPS, SimulatedUnit, SimulatedVehicle

CODES = (("B1044-13", 0x2F), ("B1045-11", 0x28))
BODY = SimulatedUnit("Body", Address(0x740, 0x748), CODES, {0xF197: "Body"}, stays=("B1044-13",))


def words(channel: Channel) -> str:
    return f"{channel.interface}:{channel.name}"


@pytest.fixture
def channel() -> Iterator[str]:
    """A bus with garbage on it, one sound unit and one that stops answering in the middle, which happens once."""
    stops = SimulatedUnit("Stops", Address(0x750, 0x758), CODES, {0xF197: "Stops"}, fault=STOPS, after=4)
    with running(SimulatedVehicle((BODY, stops), fault=NOISE)) as found:
        yield words(found)


def test_a_live_scan_says_what_it_read_and_who_fell_silent(run, channel, tmp_path):
    code, out, err = run("scan", "--live", channel, "--save", tmp_path / "now.txt")
    assert code == 0
    assert "B1044-13  maker-specific body code" in out
    assert "stopped answering while it was read" in out
    assert "the adapter or its cable delivers garbage" in out
    assert "reading 740/748" in err
    saved = ScanReport.read(tmp_path / "now.txt")
    assert [one.name for one in saved.unit("Body").codes] == ["B1044-13", "B1045-11"]
    # a file that is there is never written over, and the vehicle is not read in vain
    code, out, err = run("scan", "--live", channel, "--save", tmp_path / "now.txt")
    assert (code, out) == (1, "")
    assert "is there already" in err


def test_a_wrong_bit_rate_is_said_and_is_no_success(run, channel):
    code, out, _ = run("scan", "--live", channel, "--bit-rate", "250000")
    assert code == 1
    assert "Nothing at all is heard at 250000 bit/s: wrong bit rate" in out


def test_clearing_tells_what_is_lost_wants_a_name_and_is_logged(run, channel, tmp_path):
    file = tmp_path / "before.txt"
    assert run("scan", "--live", channel, "--clear", "Body")[0] == 2  # nothing is cleared that was not saved
    code, _, err = run("scan", "--live", channel, "--save", file, "--clear", "Body", typed="\n")
    assert code == 1
    assert "the snapshots and counters" in err
    assert "nobody confirmed it" in err
    assert not (tmp_path / "before.txt.log").exists()
    file = tmp_path / "again.txt"
    code, _, err = run("scan", "--live", channel, "--save", file, "--clear", "body", "--by", "Ada")
    assert code == 0
    assert "B1044-13 came back at once" in err
    log = (tmp_path / "again.txt.log").read_text()
    assert "Ada  Body: clear B1044-13, B1045-11" in log


def test_the_invented_van_needs_no_adapter(run):
    code, out, _ = run("scan", "--live", "simulated")
    assert code == 0
    assert "Tailgate: does not answer" in out


@pytest.mark.parametrize(
    "wrong",
    ["nonsense", "slcan:", "slcan:spy:///dev/null?file=/tmp/x", "serial:loop://", "slcan:socket://h:1?x=1"],
)
def test_a_channel_that_cannot_be_is_refused_before_anything_is_opened(run, wrong):
    code, out, err = run("scan", "--live", wrong)
    assert (code, out) == (1, "")
    assert "no adapter" in err or "names no CAN interface" in err
