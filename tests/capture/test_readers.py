"""One compliance suite for every reader, then what only the text reader meets."""

import gc
import tracemalloc
import wave
import zipfile
from collections.abc import Callable
from pathlib import Path

import can
import numpy as np
import openpyxl
import pytest
from scipy.io import savemat

from halfsplit.capture import Capture
from halfsplit.capture.readers import READERS
from halfsplit.errors import InputError

RATE = 1000.0
VOLTS = np.round(12.6 - 2.0 * np.abs(np.sin(np.arange(600) / 40)), 3)
AMPS = np.round(100.0 + 50.0 * np.cos(np.arange(600) / 25), 2)


def write_text(path: Path) -> None:
    rows = np.column_stack([np.arange(600) / RATE, VOLTS, AMPS])
    np.savetxt(
        path,
        rows,
        fmt=["%.3f", "%.3f", "%.2f"],
        delimiter=",",
        header="Time (s),volts (V),amps (A)",
        comments="",
    )


def write_wav(path: Path) -> None:
    counts = np.column_stack([VOLTS * 1000, AMPS * 100]).astype("<i2")
    with wave.open(str(path), "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(int(RATE))
        file.writeframes(counts.tobytes())


def write_npz(path: Path) -> None:
    with path.open("wb") as file:
        np.savez(file, rate=RATE, volts=VOLTS, amps=AMPS)


def write_parquet(path: Path) -> None:
    arrow = pytest.importorskip("pyarrow", reason="pyarrow is not installed: pip install halfsplit[captures]")
    from pyarrow import parquet

    table = arrow.table({"time (s)": np.arange(600) / RATE, "volts (V)": VOLTS, "amps (A)": AMPS})
    parquet.write_table(table, path, row_group_size=250)


def write_mdf(path: Path) -> None:
    mdf = pytest.importorskip("asammdf", reason="asammdf is not installed: pip install halfsplit[captures]")
    file = mdf.MDF()
    times = np.arange(600) / RATE
    file.append(
        [mdf.Signal(VOLTS, times, name="volts", unit="V"), mdf.Signal(AMPS, times, name="amps", unit="A")]
    )
    file.save(path.with_suffix(".mf4"), overwrite=True)
    path.with_suffix(".mf4").rename(path)


def write_example(path: Path) -> None:
    volts = " ".join(str(round(v * 1000)) for v in VOLTS)
    amps = " ".join(str(round(a * 100)) for a in AMPS)
    path.write_text(
        f"halfsplit samples 1\nrate {RATE}\nchannel volts V 0.001 0\n{volts}\nchannel amps A 0.01 0\n{amps}\n"
    )


def write_session(path: Path) -> None:
    text = f"[device 1]\nsamplerate={RATE:g}\ntotal analog=2\nanalog1=volts\nanalog2=amps\n"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("version", "2")
        archive.writestr("metadata", text)
        archive.writestr("analog-1-1-1", VOLTS.astype("<f4").tobytes())
        archive.writestr("analog-1-2-1", AMPS.astype("<f4").tobytes())


def write_sheet(path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.append(["Time (s)", "volts (V)", "amps (A)"])
    for row in np.column_stack([np.arange(600) / RATE, VOLTS, AMPS]).tolist():
        book.active.append(row)
    book.save(path)


def write_mat(path: Path) -> None:
    savemat(path, {"rate": RATE, "volts": VOLTS, "amps": AMPS}, appendmat=False)


def write_bus_log(path: Path) -> None:
    """No samples but frames: it takes part where damage and progress are tried."""
    with can.CSVWriter(path) as log:
        for number in range(600):
            log(
                can.Message(
                    timestamp=number / RATE, arbitration_id=0x123, data=bytes(8), is_extended_id=False
                )
            )


WRITERS: dict[str, Callable[[Path], None]] = {
    "MDF": write_mdf,
    "Parquet": write_parquet,
    "NPZ": write_npz,
    "WAV": write_wav,
    "example": write_example,
    "logic analyser session": write_session,
    "spreadsheet": write_sheet,
    "MAT": write_mat,
    "bus log": write_bus_log,
    "delimited text": write_text,
}
GAINS = {"WAV": {"channel 1": (1e-3, "V"), "channel 2": (1e-2, "A")}}


@pytest.fixture(params=[reader.NAME for reader in READERS])
def file(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[str, Path]:
    """A file of each format, under a name whose ending says nothing."""
    path = tmp_path / "recording.dat"
    WRITERS[request.param](path)
    return request.param, path


@pytest.fixture(params=[reader.NAME for reader in READERS if reader.NAME != "bus log"])
def recording(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[str, Path]:
    """The same two channels in each format, under a name whose ending says nothing."""
    path = tmp_path / "recording.dat"
    WRITERS[request.param](path)
    return request.param, path


def test_every_reader_has_a_writer_here() -> None:
    assert set(WRITERS) == {reader.NAME for reader in READERS}


def test_the_content_decides(file: tuple[str, Path]) -> None:
    name, path = file
    head = path.read_bytes()[:65_536]
    assert next(reader.NAME for reader in READERS if reader.sniff(head)) == name


def test_channels_values_and_time(recording: tuple[str, Path]) -> None:
    name, path = recording
    capture = Capture.read(path).scaled(GAINS.get(name, {}))
    assert capture.source == path.name
    first, second = capture.channels
    np.testing.assert_allclose(first.values(), VOLTS, atol=2e-3)
    np.testing.assert_allclose(second.values(), AMPS, atol=2e-2)
    assert first.rate == pytest.approx(RATE, rel=1e-6)
    assert first.stop == pytest.approx(0.599, abs=1e-6)
    assert first.times is None


def test_names_and_units(recording: tuple[str, Path]) -> None:
    name, path = recording
    capture = Capture.read(path).scaled(GAINS.get(name, {}))
    if name != "WAV":
        assert [channel.name for channel in capture.channels] == ["volts", "amps"]
    if name == "logic analyser session":
        assert {channel.unit for channel in capture.channels} == {
            "V"
        }  # the format says no unit: its inputs are volts
    elif name not in ("NPZ", "MAT"):
        assert [channel.unit for channel in capture.channels] == ["V", "A"]


def test_samples_stay_raw(recording: tuple[str, Path]) -> None:
    name, path = recording
    kind = Capture.read(path).channels[0].raw.dtype.kind
    assert kind == ("i" if name in ("WAV", "example") else "f")


def test_progress_ends_at_one(file: tuple[str, Path]) -> None:
    seen: list[float] = []
    Capture.read(file[1], progress=seen.append)
    assert seen == sorted(seen)
    assert seen[-1] == 1.0


def read_or_told(path: Path) -> tuple[Capture, str]:
    """What was read with its source, or nothing and the error's text; any other error passes on."""
    try:
        capture = Capture.read(path)
    except InputError as error:
        return Capture(()), str(error)
    return capture, capture.source


# asammdf leaves an object behind that fails in its own __del__ when a file is damaged
ASAMMDF_DEL = pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")


@ASAMMDF_DEL
@pytest.mark.parametrize("share", [0.02, 0.3, 0.6, 0.95])
def test_a_file_that_breaks_off_is_read_as_far_as_it_goes_or_refused(
    file: tuple[str, Path], share: float
) -> None:
    _, path = file
    whole = path.read_bytes()
    path.write_bytes(whole[: int(share * len(whole))])
    capture, told = read_or_told(path)
    assert path.name in told
    assert all(len(channel) <= 600 for channel in capture.channels)
    gc.collect()


@ASAMMDF_DEL
def test_damaged_bytes_never_end_in_another_error(file: tuple[str, Path]) -> None:
    _, path = file
    whole = bytearray(path.read_bytes())
    random = np.random.default_rng(0)
    for _ in range(25):
        broken = whole.copy()
        for place in random.integers(0, len(whole), 12):
            broken[place] = int(random.integers(0, 256))
        path.write_bytes(bytes(broken))
        assert read_or_told(path)[1]
    gc.collect()


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty"),
        (b"\x7fELF\x02\x01\x01\x00" * 20, "no known kind of recording"),
        (b"hello\nthere is nothing\nto measure\n", "line 1: found 'hello'"),
    ],
)
def test_what_is_no_recording(tmp_path: Path, content: bytes, words: str) -> None:
    path = tmp_path / "thing.csv"
    path.write_bytes(content)
    with pytest.raises(InputError, match=words):
        Capture.read(path)


def test_a_missing_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be opened"):
        Capture.read(tmp_path / "nothing.csv")


def test_npz_with_a_member_that_is_no_array_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "named.npz"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("channel.npy", b"not what its name says")
    with pytest.raises(InputError, match="is no array"):
        Capture.read(path)


def test_npz_that_would_fill_the_memory_is_refused_unread(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "zeros.npz"
    np.savez_compressed(path, rate=1000.0, a=np.zeros(10_000))
    monkeypatch.setattr("halfsplit.capture.readers.timebase.MOST_BYTES", 10_000)
    with pytest.raises(InputError, match="unfolds to"):
        Capture.read(path)


def test_npz_with_objects_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "objects.npz"
    np.savez(path, rate=1000.0, volts=np.array([1, "a", None], dtype=object))
    with pytest.raises(InputError, match="its arrays cannot be read"):
        Capture.read(path)


def test_two_channels_of_one_name_are_told_apart(tmp_path: Path) -> None:
    path = tmp_path / "same.csv"
    path.write_text("Time (s),V,V\n0,1,2\n0.1,3,4\n0.2,5,6\n")
    assert [channel.name for channel in Capture.read(path).channels] == ["V", "V (2)"]


def test_an_archive_of_many_columns_is_refused_before_it_is_unfolded(tmp_path: Path) -> None:
    path = tmp_path / "bomb.npz"
    np.savez_compressed(path, rate=1000.0, a=np.zeros((2, 2_000_000), np.int8))
    tracemalloc.start()
    with pytest.raises(InputError, match="2,000,001 channels, at most 1,000"):
        Capture.read(path)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 1_000_000


def test_a_text_of_many_columns_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "wide.csv"
    row = ",".join(["1"] * 200_000)
    path.write_text(f"{row}\n{row}\n{row}\n")
    with pytest.raises(InputError, match="200,000 channels, at most 1,000"):
        Capture.read(path)


def test_a_long_npz_is_read_in_blocks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("halfsplit.capture.readers.npz._ROWS", 1000)
    path = tmp_path / "long.npz"
    ramp, table = np.arange(5_300) / 7, np.arange(9_000).reshape(4_500, 2)
    np.savez(path, rate=1000.0, ramp=ramp)
    assert Capture.read(path)["ramp"].values() == pytest.approx(ramp, rel=1e-6)
    np.savez(path, rate=1000.0, rows=table, turned=np.asfortranarray(table))
    found = Capture.read(path)
    for name in ("rows", "turned"):
        assert np.array_equal(found[f"{name} 1"].raw, table[:, 0])
        assert np.array_equal(found[f"{name} 2"].raw, table[:, 1])
