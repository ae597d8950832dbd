"""Files that workshops have: logic analyser sessions, MAT, spreadsheets, dates and clock times; each written here by
the open format's own rules or by a general-purpose library."""

import datetime as dt
import io
import zipfile
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from scipy.io import savemat

from halfsplit.capture import Capture, analyse, suggested_roles
from halfsplit.errors import InputError
from tests.capture.signals.bus import can_frame, on_wire

META = """[global]
sigrok version=0.5.2

[device 1]
capturefile=logic-1
total probes=2
samplerate={rate}
total analog=1
probe1=CAN_RX
probe2=D1
analog3=supply
unitsize=1
"""


def session(folder: Path, *, rate: str = "5 MHz", parts: int = 3, **changes: str) -> Path:
    """A session with CAN frames on probe 1, its inverse on probe 2, in numbered parts, and an analogue channel."""
    levels = on_wire([can_frame(0x123, b"\x01\x02")] * 4, 2e-6, 5e6).astype(np.uint8)
    samples = (levels | (1 - levels) << 1).tobytes()
    path = folder / "bus.sr"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("version", "2")
        text = META.format(rate=rate)
        for old, new in changes.items():
            text = text.replace(old, new)
        archive.writestr("metadata", text)
        step = len(samples) // parts + 1
        for number in range(parts):
            archive.writestr(f"logic-1-{number + 1}", samples[number * step : (number + 1) * step])
        archive.writestr("analog-1-3-1", np.full(100, 12.5, "<f4").tobytes())
    return path


@pytest.mark.parametrize("parts", [1, 3, 11])
def test_a_logic_analyser_session(tmp_path: Path, parts: int) -> None:
    capture = Capture.read(session(tmp_path, parts=parts))
    assert [channel.name for channel in capture.channels] == ["CAN_RX", "D1", "supply"]
    assert capture.channels[0].rate == 5e6
    assert capture["supply"].values().tolist() == [12.5] * 100
    (result,) = analyse(capture, suggested_roles(capture))
    assert result.verdict == "good"
    assert "4 of 4 frames good" in result.reason


def test_sessions_that_are_damaged_are_refused_in_words(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="a sample rate of 'often'"):
        Capture.read(session(tmp_path, rate="often"))
    path = session(tmp_path)
    path.write_bytes(path.read_bytes()[:400])
    with pytest.raises(InputError, match=r"bus\.sr"):
        Capture.read(path)


def test_arrays_of_a_numerical_program(tmp_path: Path) -> None:
    volts = np.linspace(11.0, 14.0, 1000)
    for name, arrays in {
        "row.mat": {"battery_volts": volts, "rate": 2000.0},
        "column.mat": {"battery_volts": volts[:, None], "dt": 0.0005},
        "time.mat": {"battery_volts": volts, "t": np.arange(1000) / 2000},
        "struct.mat": {"recording": {"battery_volts": volts, "fs": 2000.0}},
    }.items():
        savemat(tmp_path / name, arrays, do_compression=True)
        (channel,) = Capture.read(tmp_path / name).channels
        assert channel.name == "battery_volts"
        assert channel.values() == pytest.approx(volts)
        assert channel.rate == pytest.approx(2000.0)
    savemat(tmp_path / "old.mat", {"volts": volts, "rate": 2000.0}, format="4")
    assert len(Capture.read(tmp_path / "old.mat").channels[0]) == 1000
    (tmp_path / "new.mat").write_bytes(b"\x89HDF\r\n\x1a\n" + bytes(100))
    with pytest.raises(InputError, match=r"version 7\.3"):
        Capture.read(tmp_path / "new.mat")
    (tmp_path / "torn.mat").write_bytes((tmp_path / "row.mat").read_bytes()[:300])
    with pytest.raises(InputError, match=r"torn\.mat"):
        Capture.read(tmp_path / "torn.mat")


def test_a_mat_file_that_unfolds_is_refused_by_what_it_says_of_itself(tmp_path: Path) -> None:
    savemat(tmp_path / "large.mat", {"x": np.broadcast_to(np.uint8(0), (300_000_000,))}, do_compression=True)
    with pytest.raises(InputError, match="300,000,000 values"):
        Capture.read(tmp_path / "large.mat")


def sheet(folder: Path, times: list[object], *, title: str = "Time") -> Path:
    book = openpyxl.Workbook()
    book.active.append(["a note that is short"])
    page = book.create_sheet("measured")
    page.append(["Recorded in the yard", None, None])
    page.append([title, "supply (V)", "current (mA)"])
    for number, time in enumerate(times):
        page.append([time, 12.5 + 0.01 * number, 18 + number])
    path = folder / "sheet.xlsx"
    book.save(path)
    return path


START = dt.datetime(2026, 11, 28, 23, 59, 59)  # noqa: DTZ001 - what a spreadsheet holds


@pytest.mark.parametrize(
    ("times", "title"),
    [
        ([0.1 * i for i in range(200)], "Time (s)"),
        ([START + dt.timedelta(seconds=0.1 * i) for i in range(200)], "Datum"),
        ([START + dt.timedelta(seconds=0.1 * i) for i in range(200)], "Timestamp"),
    ],
)
def test_a_spreadsheet(tmp_path: Path, times: list[object], title: str) -> None:
    capture = Capture.read(sheet(tmp_path, times, title=title))
    assert [(channel.name, channel.unit) for channel in capture.channels] == [
        ("supply", "V"),
        ("current", "A"),
    ]
    assert capture["supply"].stop == pytest.approx(19.9, abs=0.01)
    assert capture["current"].values()[:2] == pytest.approx([0.018, 0.019])
    assert any("'measured'" in note for note in capture.notes)


def test_a_spreadsheet_that_is_none(tmp_path: Path) -> None:
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as archive:
        archive.writestr("[Content_Types].xml", "nothing")
    path = tmp_path / "letter.xlsx"
    path.write_bytes(data.getvalue())
    with pytest.raises(InputError, match=r"letter\.xlsx.*spreadsheet"):
        Capture.read(path)


@pytest.mark.parametrize(
    "form",
    [
        "{0:%Y-%m-%d %H:%M:%S}.{1:03d}",
        "{0:%Y-%m-%dT%H:%M:%S}.{1:03d}Z",
        "{0:%d.%m.%Y %H:%M:%S},{1:03d}",
        "{0:%d/%m/%Y %H:%M:%S}.{1:03d}",
        "{0:%H:%M:%S}.{1:03d}",
    ],
)
def test_dates_and_clock_times_in_text(tmp_path: Path, form: str) -> None:
    """Ten samples a second over midnight."""
    rows = ["time;volts"]
    for number in range(100):
        now = START + dt.timedelta(milliseconds=100 * number)
        rows.append(f"{form.format(now, now.microsecond // 1000)};{12 + number / 100}")
    path = tmp_path / "clock.csv"
    path.write_text("\n".join(rows))
    (channel,) = Capture.read(path).channels
    assert len(channel) == 100
    assert channel.stop - channel.clock()[0] == pytest.approx(9.9, abs=0.01)


def test_a_date_and_a_clock_time_in_columns_of_their_own(tmp_path: Path) -> None:
    rows = ["date,time,volts"]
    for number in range(100):
        now = START + dt.timedelta(milliseconds=100 * number)
        rows.append(f"{now:%Y-%m-%d},{now:%H:%M:%S}.{now.microsecond // 1000:03d},{12 + number / 100}")
    path = tmp_path / "columns.csv"
    path.write_text("\n".join(rows))
    capture = Capture.read(path)
    assert [channel.name for channel in capture.channels] == ["volts"]
    assert capture["volts"].stop - capture["volts"].clock()[0] == pytest.approx(9.9, abs=0.01)


def test_many_channels_of_different_rates_in_one_file(tmp_path: Path) -> None:
    """Each pair of columns has a time of its own; the faster pair goes on where the slower one ends."""
    rows = ["time fast (s),fast (V),time slow (s),slow (A)"]
    for number in range(1000):
        slow = f"{number / 10},{number % 7}" if number < 100 else ","
        rows.append(f"{number / 100},{number % 5},{slow}")
    path = tmp_path / "rates.csv"
    path.write_text("\n".join(rows))
    capture = Capture.read(path)
    assert [(channel.name, len(channel)) for channel in capture.channels] == [("fast", 1000), ("slow", 100)]
    assert capture["fast"].rate == pytest.approx(100)
    assert capture["slow"].rate == pytest.approx(10)
