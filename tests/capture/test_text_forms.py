"""Delimited text in the forms that instruments and spreadsheets write. All of them are invented here."""

from pathlib import Path

import numpy as np
import pytest

from halfsplit.capture import Capture
from halfsplit.capture.readers import text
from halfsplit.errors import InputError

FORMS = {
    "units in the names": "Time (ms),battery (V)\n0,12.5\n1,12.25\n2,12.0\n3,11.5\n",
    "a row of units": "Time,battery\n(ms),(V)\n\n0.0,12.5\n1.0,12.25\n2.0,12.0\n3.0,11.5\n",
    "bare units in a row": "t;battery\ns;V\n0;12.5\n0.001;12.25\n0.002;12.0\n0.003;11.5\n",
    "decimal comma": "Zeit [s];battery [V]\n0,000;12,5\n0,001;12,25\n0,002;12,0\n0,003;11,5\n",
    "decimal comma and tabs": "Zeit/ms\tbattery/V\n0,0\t12,5\n1,0\t12,25\n2,0\t12,0\n3,0\t11,5\n",
    "settings above": "Recorder,bench 2\nDate,2026-03-01\n\nTime_ms,battery_V\n0,12.5\n1,12.25\n2,12\n3,11.5\n",
    "interval instead of time": "Sample interval;1 ms\nbattery (V)\n12.5\n12.25\n12.0\n11.5\n",
    "interval with its unit in the key": "Interval (us),1000\nbattery (V)\n12.5\n12.25\n12.0\n11.5\n",
    "rate instead of time": "Sample rate: 1 kS/s\nindex,battery (V)\n0,12.5\n1,12.25\n2,12.0\n3,11.5\n",
    "rate in hertz": "Samplerate\t1000 Hz\nbattery [V]\n12.5\n12.25\n12.0\n11.5\n",
    "no heading": "0.000,12.5\n0.001,12.25\n0.002,12.0\n0.003,11.5\n",
    "blanks between": "# time   battery (V)\n0.000   12.5\n0.001   12.25\n0.002  12.0\n0.003   11.5\n",
    "sep line": "sep=;\nTime (s);battery (V)\n0;12.5\n0.001;12.25\n0.002;12\n0.003;11.5\n",
    "a comma at each end": "Time (s),battery (V),\n0,12.5,\n0.001,12.25,\n0.002,12,\n0.003,11.5,\n",
    "quotes": '"Time (s)","battery (V)"\n"0","12.5"\n"0.001","12.25"\n"0.002","12.0"\n"0.003","11.5"\n',
    "quoted decimal commas": (
        '"Time (s)","battery (V)"\n"0,0","12,5"\n"0,001","12,25"\n"0,002","12,0"\n"0,003","11,5"\n'
    ),
    "settings beside the numbers": "Points,4,,0,12.5\nStep,1,,0.001,12.25\nUnit,V,,0.002,12\nEnd,0,,0.003,11.5\n",
    "exponents": "Time (s),battery (V)\n0E0,1.25E1\n1E-3,1.225e+01\n2E-3,12.0\n3E-3,11.5\n",
    "millivolts": "Time (s),battery (mV)\n0,12500\n0.001,12250\n0.002,12000\n0.003,11500\n",
    "time of day": "Time,battery (V)\n10:00:00.000,12.5\n10:00:00.001,12.25\n10:00:00.002,12.0\n10:00:00.003,11.5\n",
    "date and time": "stamp;battery (V)\n2026-03-01 10:00:00.000;12.5\n2026-03-01 10:00:00.001;12.25\n"
    "2026-03-01 10:00:00.002;12.0\n2026-03-01 10:00:00.003;11.5\n",
    "a footer": "Time (s),battery (V)\n0,12.5\n0.001,12.25\n0.002,12\n0.003,11.5\n\nend of recording\n",
}


@pytest.mark.parametrize("form", FORMS)
def test_the_same_recording_in_every_form(form: str, tmp_path: Path) -> None:
    path = tmp_path / "form.txt"
    path.write_text(FORMS[form], encoding="utf-8")
    capture = Capture.read(path)
    (channel,) = capture.channels
    np.testing.assert_allclose(channel.values(), [12.5, 12.25, 12.0, 11.5], rtol=1e-6)
    assert channel.rate == pytest.approx(1000.0, rel=1e-4)
    if form not in ("no heading", "settings beside the numbers"):
        assert channel.name == "battery"
        assert channel.unit == "V"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_encodings_and_line_ends(encoding: str, ending: str, tmp_path: Path) -> None:
    path = tmp_path / "form.csv"
    content = "Time (\u00b5s),battery (V)\n0,12.5\n100,12.25\n200,12.0\n300,11.5\n".replace("\n", ending)
    path.write_bytes(content.encode(encoding))
    (channel,) = Capture.read(path).channels
    assert channel.rate == pytest.approx(10_000.0)
    np.testing.assert_allclose(channel.values(), [12.5, 12.25, 12.0, 11.5])


def read(tmp_path: Path, content: str) -> Capture:
    path = tmp_path / "capture.csv"
    path.write_text(content, encoding="utf-8")
    return Capture.read(path)


def test_a_block_for_each_channel(tmp_path: Path) -> None:
    blocks = "".join(
        f"Channel: {name}\nInterval,0.5 ms\nValue ({unit})\n"
        + "".join(f"{start + i}\n" for i in range(5))
        + "\n"
        for name, unit, start in (("battery", "V", 10), ("clamp", "A", 100))
    )
    capture = read(tmp_path, blocks)
    assert [(c.name, c.unit, c.rate) for c in capture.channels] == [
        ("battery", "V", 2000.0),
        ("clamp", "A", 2000.0),
    ]
    np.testing.assert_allclose(capture["clamp"].values(), [100, 101, 102, 103, 104])


def test_blocks_with_a_time_column_each(tmp_path: Path) -> None:
    blocks = "Time (s),battery (V)\n0,1\n1,2\n2,3\n\nTime (s),clamp (A)\n0,5\n0.5,6\n1,7\n"
    capture = read(tmp_path, blocks)
    assert [(c.name, c.rate) for c in capture.channels] == [("battery", 1.0), ("clamp", 2.0)]


def test_pairs_of_time_and_value_side_by_side(tmp_path: Path) -> None:
    content = "Time A (s),A (V),Time B (s),B (A)\n0,1,0,10\n1,2,0.5,20\n2,3,1,30\n,,1.5,40\n"
    capture = read(tmp_path, content)
    assert [(c.name, c.rate, len(c)) for c in capture.channels] == [("A", 1.0, 3), ("B", 2.0, 4)]


def test_a_slower_channel_with_blank_cells(tmp_path: Path) -> None:
    rows = "".join(f"{i / 10},{i},{i if i % 5 == 0 else ''}\n" for i in range(50))
    capture = read(tmp_path, "Time (s),fast,slow\n" + rows)
    assert capture["fast"].rate == pytest.approx(10.0)
    assert capture["slow"].rate == pytest.approx(2.0)
    np.testing.assert_allclose(capture["slow"].values(), np.arange(0, 50, 5))


def test_over_range_and_words_for_no_reading_become_gaps(tmp_path: Path) -> None:
    rows = "".join(
        f"{i / 10},{cell}\n" for i, cell in enumerate(["1", "2", "OL", "4", "\u221e", "6"] + ["7"] * 50)
    )
    values = read(tmp_path, "Time (s),ohms\n" + rows).channels[0].values()
    assert np.flatnonzero(np.isnan(values)).tolist() == [2, 4]


def test_a_record_of_edges_keeps_its_times(tmp_path: Path) -> None:
    capture = read(tmp_path, "Time[s], crank\n0.0, 1\n0.0031, 0\n0.0042, 1\n0.0099, 0\n0.0101, 1\n")
    (channel,) = capture.channels
    assert channel.edges
    assert channel.times is not None
    assert channel.times.tolist() == [0.0, 0.0031, 0.0042, 0.0099, 0.0101]


def test_a_second_channel_called_sec_is_no_time(tmp_path: Path) -> None:
    capture = read(tmp_path, "timestamp,pri,sec\n1.0,1,0\n1.7,0,0\n2.1,1,1\n3.5,0,1\n")
    assert [channel.name for channel in capture.channels] == ["pri", "sec"]


def test_times_printed_with_few_digits_are_still_even(tmp_path: Path) -> None:
    rows = "".join(f"{9.9 + i * 1e-5:.6g},{i % 7}\n" for i in range(30_000))
    (channel,) = read(tmp_path, "Time (s),signal\n" + rows).channels
    assert channel.rate == pytest.approx(1e5, rel=2e-3)


def test_no_time_base_is_told_and_can_be_given(tmp_path: Path) -> None:
    capture = read(tmp_path, "battery (V)\n12.5\n12.4\n12.3\n")
    assert not capture.channels[0].has_time
    assert "give the sample rate" in capture.notes[0]
    assert capture.with_rate(500.0).channels[0].rate == 500.0


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (
            "Time (s),battery (V)\n0,12.5\n1,12.4\n2,1x.3\n3,12.2\n4,12.1\n",
            "capture.csv, line 4: found '1x.3' in column 2, expected a number with a decimal point: "
            "correct or delete the line",
        ),
        (
            "Zeit (s);battery (V)\n0;12,5\n1;12,4\n2;1x,3\n3;12,2\n4;12,1\n5;12,0\n",
            "capture.csv, line 4: found '1x,3' in column 2, expected a number with a decimal comma: "
            "correct or delete the line",
        ),
        (
            "Time (s),a,b\n0,1,2\n1,3\n2,5,6\n3,7,8\n",
            "capture.csv, line 3: found 2 cells, expected at least 3: complete or delete the line",
        ),
        (
            "Time (s),battery (V)\n0,1\n2,2\n1,3\n3,4\n",
            "capture.csv: the time falls from 2 to 1 s at sample 3: "
            "export one recording a file, in the order of time",
        ),
        (
            "only words\nand more\n",
            "capture.csv, line 1: found 'only words' and no two lines of numbers after it; expected columns of "
            "numbers, parted by comma, semicolon, tab or blanks: "
            "export the samples as text, one column for each channel",
        ),
    ],
)
def test_errors_say_line_found_and_expected(content: str, words: str, tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        read(tmp_path, content)
    assert str(caught.value) == words


def test_a_last_line_that_breaks_off_is_left_out_with_a_note(tmp_path: Path) -> None:
    capture = read(tmp_path, "Time (s),a,b\n0,1,2\n1,3,4\n2,5")
    assert len(capture["a"]) == 2
    assert capture.notes == ("line 4 breaks off and was left out",)


def test_long_files_are_read_in_blocks_and_move_to_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same file in one block and in many, in memory and spilled, is the same capture."""
    rows = 20_000
    table = np.column_stack([np.arange(rows) * 1e-4, np.random.default_rng(1).normal(12, 1, rows)])
    path = tmp_path / "long.csv"
    np.savetxt(path, table, fmt="%.5f", delimiter=";", header="Time (s);battery (V)", comments="")
    whole = Capture.read(path)
    monkeypatch.setattr(text, "_BLOCK", 5_000)
    monkeypatch.setattr("halfsplit.capture.readers.timebase._IN_MEMORY", 50_000)
    held: list[int] = []
    quick = text.quick
    monkeypatch.setattr(
        text, "quick", lambda block, layout: (held.append(len(block)), quick(block, layout))[1]
    )
    parts = Capture.read(path)
    assert max(held) < rows / 20
    assert sum(held) == rows
    assert isinstance(parts.channels[0].raw, np.memmap)
    np.testing.assert_array_equal(parts.channels[0].values(), whole.channels[0].values())
    assert parts.channels[0].rate == whole.channels[0].rate


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("Zeit;Kanal A;Kanal B\ns;V;V\n0;1;2\n1;1;2\n2;1;2\n", ["Kanal A", "Kanal B"]),
        ("Zeit (s);Kanal A;Kanal V\n0;1;2\n1;1;2\n2;1;2\n", ["Kanal A", "Kanal V"]),
        ("time (s),probe A,probe B\n0,1,2\n1,1,2\n2,1,2\n", ["probe A", "probe B"]),
        ("time (s),pressure A,pressure C\n0,1,2\n1,1,2\n2,1,2\n", ["pressure A", "pressure C"]),
        ("time (s),Motor A\ns,mV\n0,1\n1,1\n2,1\n", ["Motor A"]),
    ],
)
def test_a_letter_that_tells_channels_apart_is_no_unit(tmp_path: Path, text: str, names: list[str]) -> None:
    file = tmp_path / "sheet.csv"
    file.write_text(text, encoding="utf-8")
    assert [channel.name for channel in Capture.read(file).channels] == names
