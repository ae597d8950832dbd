"""Bus logs written by python-can's own writers, with a unit that falls silent, a bus that sleeps, and error frames."""

from pathlib import Path

import can
import numpy as np
import pytest

from halfsplit.capture import Capture, Setup, analyse, suggested_roles
from halfsplit.capture.measure.bus_traffic import BusLogResult
from halfsplit.errors import InputError

PERIODS = {0x0C9: 0.010, 0x1F1: 0.020, 0x18FEF100: 0.100, 0x3E9: 0.050}
SECONDS = 20.0
GONE = 12.3


def messages(*, silent: bool = True, errors: int = 0, sleep: float = SECONDS) -> list[can.Message]:
    """Periodic frames with a jitter of 2 % of the period, and one identifier without a period."""
    random = np.random.default_rng(3)
    found = []
    for identifier, period in PERIODS.items():
        end = GONE if silent and identifier == 0x1F1 else sleep
        times = np.arange(0.003, end, period)
        times = times + random.normal(0, 0.02 * period, times.size)
        found += [(float(time), identifier) for time in times]
    found += [(float(time), 0x555) for time in random.uniform(0, SECONDS, 40)]
    frames = [
        can.Message(
            timestamp=1000 + time,
            arbitration_id=identifier,
            is_extended_id=identifier > 0x7FF,
            data=bytes(8),
            channel=0,
        )
        for time, identifier in found
    ]
    frames += [
        can.Message(timestamp=1000 + 15 + 0.001 * i, is_error_frame=True, channel=0) for i in range(errors)
    ]
    return sorted(frames, key=lambda one: one.timestamp)


def written(folder: Path, ending: str, frames: list[can.Message]) -> Path:
    path = folder / f"night.{ending}"
    with can.Logger(path) as log:
        for frame in frames:
            log(frame)
    return path


def result_of(path: Path, setup: Setup | None = None) -> BusLogResult:
    capture = Capture.read(path)
    (result,) = analyse(capture, suggested_roles(capture), setup)
    assert isinstance(result, BusLogResult)
    return result


@pytest.mark.parametrize("ending", ["asc", "blf", "trc", "log", "csv"])
def test_logs_of_five_forms(tmp_path: Path, ending: str) -> None:
    result = result_of(written(tmp_path, ending, messages()))
    assert result.verdict == "measured"
    by_number = {one.number: one for one in result.senders}
    assert set(by_number) == {"0C9", "1F1", "18FEF100", "3E9", "555"}
    for number, period in (("0C9", 0.010), ("18FEF100", 0.100), ("3E9", 0.050)):
        assert by_number[number].period == pytest.approx(period, rel=0.02)
        assert by_number[number].jitter == pytest.approx(0.02 * np.sqrt(2) * period, rel=0.3)
    assert not by_number["555"].period
    assert [one.number for one in result.senders if one.gone] == ["1F1"]
    assert result["1F1 fell silent"].value == pytest.approx(GONE, abs=0.05)


def test_a_log_of_the_screen(tmp_path: Path) -> None:
    lines = [
        f" ({one.timestamp:.6f})  can0  {one.arbitration_id:0{8 if one.is_extended_id else 3}X}   [8]  00 00"
        for one in messages()
    ]
    path = tmp_path / "screen.txt"
    path.write_text("\n".join(lines))
    assert [one.number for one in result_of(path).senders if one.gone] == ["1F1"]


def test_a_bus_that_goes_to_sleep_misses_nobody(tmp_path: Path) -> None:
    result = result_of(written(tmp_path, "asc", messages(silent=False, sleep=14.0)))
    assert "goes to sleep" in " ".join(result.notes)
    assert not any(quantity.name.endswith("fell silent") for quantity in result.quantities)


@pytest.mark.parametrize(("errors", "verdict"), [(2, "measured"), (200, "fault")])
def test_error_frames(tmp_path: Path, errors: int, verdict: str) -> None:
    result = result_of(written(tmp_path, "asc", messages(silent=False, errors=errors)))
    assert result["error frames"].value == errors
    assert result.verdict == verdict


def test_the_load(tmp_path: Path) -> None:
    """185 frames a second of 8 bytes: 111 to 135 bits each with 11 bits of identifier (ISO 11898-1)."""
    result = result_of(written(tmp_path, "blf", messages(silent=False)), Setup(bit_rate=500e3))
    assert result["load"].value == pytest.approx(100 * 182 * 123 / 500e3, rel=0.1)


def test_a_log_that_breaks_off_is_read_up_to_there(tmp_path: Path) -> None:
    path = written(tmp_path, "csv", messages())
    lines = path.read_text().splitlines()
    path.write_text("\n".join([*lines[:1000], "not,a,frame,at,all,x,y", *lines[1000:]]))
    capture = Capture.read(path)
    assert any("read up to there" in note for note in capture.notes)
    assert len(capture.channels[0]) == 999
    path.write_bytes(b"LOGG" + bytes(2000))
    with pytest.raises(InputError, match="bus log"):
        Capture.read(path)
