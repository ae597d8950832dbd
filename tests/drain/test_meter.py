"""A meter over SCPI, simulated by pyvisa-sim; over-range and silence."""

import math
import socket
from itertools import islice
from pathlib import Path

import pytest

from halfsplit.drain import read_log
from halfsplit.drain.meter import Meter, MeterError, record, sample
from halfsplit.errors import InputError

SIMULATED = """\
spec: "1.1"
devices:
  meter:
    eom:
      TCPIP SOCKET: {q: "\\n", r: "\\n"}
    error: "ERROR"
    dialogues:
      - {q: "*IDN?", r: "Invented,Meter,0001,1.0"}
      - {q: "MEAS:CURR:DC?", r: "+2.31000000E-02"}
  over:
    eom:
      TCPIP SOCKET: {q: "\\n", r: "\\n"}
    error: "ERROR"
    dialogues:
      - {q: "MEAS:CURR:DC?", r: "+9.90000000E+37"}
  foreign:
    eom:
      TCPIP SOCKET: {q: "\\n", r: "\\n"}
    error: "NOT UNDERSTOOD"
    dialogues:
      - {q: "*IDN?", r: "Invented,Other,0002,1.0"}
resources:
  TCPIP0::192.0.2.7::5025::SOCKET: {device: meter}
  TCPIP0::192.0.2.8::5025::SOCKET: {device: over}
  TCPIP0::192.0.2.9::5025::SOCKET: {device: foreign}
"""


@pytest.fixture
def backend(tmp_path: Path) -> str:
    (tmp_path / "meter.yaml").write_text(SIMULATED)
    return f"{tmp_path / 'meter.yaml'}@sim"


class Clock:
    """A clock that moves only when someone sleeps."""

    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now

    def sleep(self, seconds: float) -> None:
        self.now += seconds


def test_a_log_from_a_meter(backend: str) -> None:
    clock = Clock()
    with Meter("TCPIP0::192.0.2.7::5025::SOCKET", backend) as meter:
        assert meter.identity == "Invented,Meter,0001,1.0"
        samples = list(islice(sample(meter, 5.0, clock=clock, sleep=clock.sleep), 40))
    assert [one.seconds for one in samples[:3]] == [0, 5, 10]
    assert [one.amps for one in samples] == pytest.approx([0.0231] * 40)


def test_over_range_is_no_number(backend: str) -> None:
    with Meter("TCPIP0::192.0.2.8::5025::SOCKET", backend) as meter:
        assert math.isnan(meter.amps())


def test_an_instrument_that_does_not_understand_is_told_after_five_tries(backend: str) -> None:
    clock = Clock()
    readings = []
    with (
        Meter("TCPIP0::192.0.2.9::5025::SOCKET", backend) as meter,
        pytest.raises(MeterError, match="a number expected"),
    ):
        readings.extend(sample(meter, 1.0, clock=clock, sleep=clock.sleep))
    assert clock.now == 104.0


def test_a_meter_that_is_not_there_is_told() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        port = taken.getsockname()[1]
    with pytest.raises(MeterError, match="is the meter on, is the address right"):
        Meter(f"TCPIP0::127.0.0.1::{port}::SOCKET")


def test_an_address_that_is_none_is_told(backend: str) -> None:
    with pytest.raises(MeterError, match="cannot be opened"):
        Meter("on the bench", backend)


def test_an_interval_of_nothing_is_told(backend: str) -> None:
    with (
        Meter("TCPIP0::192.0.2.7::5025::SOCKET", backend) as meter,
        pytest.raises(InputError, match="0 s between"),
    ):
        next(sample(meter, 0))


def test_a_log_is_recorded_reading_by_reading_and_read_back(backend: str, tmp_path: Path) -> None:
    clock, path = Clock(), tmp_path / "new.csv"
    with Meter("TCPIP0::192.0.2.7::5025::SOCKET", backend) as meter:
        assert record(meter, path, 2.0, 120.0, clock=clock, sleep=clock.sleep) == 61
        with pytest.raises(InputError, match="is there already"):
            record(meter, path, 2.0, 120.0, clock=clock, sleep=clock.sleep)
    log = read_log(path)
    assert log.amps == pytest.approx(0.0231)
    assert log.step == pytest.approx(2.0)


def test_what_was_logged_stays_when_it_is_stopped(backend: str, tmp_path: Path) -> None:
    clock, path = Clock(), tmp_path / "new.csv"

    def stop(one) -> None:
        if one.seconds >= 10:
            raise KeyboardInterrupt

    with Meter("TCPIP0::192.0.2.7::5025::SOCKET", backend) as meter:
        record(meter, path, 1.0, 3600.0, clock=clock, sleep=clock.sleep, progress=stop)
    assert len(path.read_text().splitlines()) == 12  # a head and eleven readings
