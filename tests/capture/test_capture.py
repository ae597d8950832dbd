"""Channels, windows, pyramids and captures that are kept on disk."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from halfsplit.capture import Capture, Channel, storage
from halfsplit.capture import pyramid as pyramids
from halfsplit.errors import InputError, NotFoundError

RANDOM = np.random.default_rng(7)


def test_values_follow_gain_and_offset() -> None:
    channel = Channel("clamp", np.array([0, 100, -50], np.int16), "V", 0.01, 0.5, rate=10.0)
    np.testing.assert_allclose(channel.values(), [0.5, 1.5, 0.0])
    amps = channel.scaled(100.0, -50.0, "A")
    np.testing.assert_allclose(amps.values(), [0.0, 100.0, -50.0])
    assert amps.unit == "A"


def test_a_channel_that_cannot_be() -> None:
    with pytest.raises(ValueError, match="2 dimensions"):
        Channel("a", np.zeros((2, 2)))
    with pytest.raises(ValueError, match="3 samples, 2 times"):
        Channel("a", np.zeros(3), times=np.zeros(2))


def test_an_unknown_channel_is_told_with_those_there_are() -> None:
    capture = Capture((Channel("battery", np.zeros(3), rate=1.0),), "x.csv")
    with pytest.raises(NotFoundError, match=r"no channel 'clamp' in x\.csv; there are 'battery'"):
        capture["clamp"]
    with pytest.raises(InputError, match="is empty"):
        capture.window("battery", 1.0, 1.0, 100)


@settings(max_examples=60)
@given(st.integers(0, 2**32), st.integers(1, 30_000), st.integers(2, 12))
def test_extremes_hold_all_samples_and_no_others(seed: int, samples: int, pixels: int) -> None:
    """Against numpy's own minimum and maximum: never narrower, and wider by less than a bin on either side."""
    random = np.random.default_rng(seed)
    raw = random.integers(-999, 999, samples).astype(np.int16)
    walls = np.sort(random.integers(0, samples + 1, pixels + 1))
    if walls[-1] == walls[0]:
        return
    tree = pyramids.build(raw)
    low, high = pyramids.extremes(raw, tree, walls)
    level = tree.level(float(walls[-1] - walls[0]) / (walls.size - 1))
    slack = pyramids.size(level) if level >= 0 else 0
    for i, (first, last) in enumerate(pairwise(walls.tolist())):
        if last <= first:
            continue
        around = raw[max(first - slack, 0) : last + slack]
        inside = raw[first:last] if slack == 0 else raw[-(-first // slack) * slack : last // slack * slack]
        assert around.min() <= low[i] <= (inside.min() if inside.size else low[i])
        assert around.max() >= high[i] >= (inside.max() if inside.size else high[i])


def test_a_single_spike_is_seen_at_every_zoom() -> None:
    raw = np.zeros(3_000_000, np.float32)
    raw[1_234_567] = 99.0
    capture = Capture((Channel("v", raw, rate=1e6),))
    for start, stop in ((0.0, 3.0), (1.0, 1.5), (1.2, 1.25), (1.2345, 1.2346)):
        window = capture.window("v", start, stop, 800)
        assert window.high.max() == 99.0
        assert window.times[np.argmax(window.high)] == pytest.approx(1.234567, abs=2 * (stop - start) / 800)


def test_few_samples_come_as_they_are_with_one_beside() -> None:
    capture = Capture((Channel("v", np.arange(100.0), rate=10.0, start=5.0),))
    window = capture.window("v", 6.0, 7.0, 100)
    assert window.exact
    assert window.times.tolist() == pytest.approx([5.9 + 0.1 * i for i in range(12)])
    assert window.low.tolist() == [9.0 + i for i in range(12)]


def test_negative_gain_keeps_low_below_high() -> None:
    capture = Capture((Channel("v", RANDOM.normal(size=50_000), gain=-2.0, rate=1e3),))
    window = capture.window("v", 0.0, 50.0, 100)
    assert (window.low <= window.high).all()


def test_edges_hold_their_level_through_empty_pixels() -> None:
    times = np.concatenate([np.linspace(0, 1, 5000), [9.0], np.linspace(9.5, 10, 5000)])
    raw = np.concatenate([np.arange(5000) % 2, [1], np.arange(5000) % 2]).astype(np.uint8)
    capture = Capture((Channel("crank", raw, times=times, edges=True),))
    window = capture.window("crank", 0.0, 10.0, 100)
    between = (window.times > 1.2) & (window.times < 8.5)
    assert between.sum() > 60
    assert (window.low[between] == 1).all()
    assert (window.high[between] == 1).all()


def test_gaps_become_null_in_json() -> None:
    capture = Capture((Channel("v", np.array([1.0, np.nan, 3.0]), rate=1.0),))
    assert capture.window("v", 0.0, 2.5, 100).as_dict()["low"] == [1.0, None, 3.0]


def test_windows_of_a_long_trace_touch_little(monkeypatch: pytest.MonkeyPatch) -> None:
    """Work is counted, not time: no window reads more than a few thousand numbers a pixel-thousand."""
    raw = RANDOM.normal(size=8_000_000).astype(np.float32)
    capture = Capture((Channel("v", raw, rate=1e6),))
    touched = []
    reduced = pyramids._reduced

    def counted(extreme: np.ufunc, values: np.ndarray, walls: np.ndarray, single: np.ndarray) -> np.ndarray:
        touched.append(int(walls[-1] - walls[0]))
        return reduced(extreme, values, walls, single)

    monkeypatch.setattr(pyramids, "_reduced", counted)
    for stop in (0.01, 0.1, 1.0, 8.0):
        capture.window("v", 0.0, stop, 1000)
    assert max(touched) <= pyramids.BASE * 1000


def test_keep_and_load(tmp_path: Path) -> None:
    source = tmp_path / "drive.csv"
    source.write_text(
        "Time (s),battery (mV)\n" + "".join(f"{i / 1000},{12000 + i % 500}\n" for i in range(20_000))
    )
    kept = storage.keep(source, tmp_path / "kept")
    again = storage.load(tmp_path / "kept")
    for capture in (kept, again):
        channel = capture["battery"]
        assert isinstance(channel.raw, np.memmap)
        assert (channel.unit, channel.gain, channel.rate) == ("V", 1e-3, 1000.0)
        np.testing.assert_array_equal(channel.values(), Capture.read(source)["battery"].values())
        assert channel.pyramid is channel.kept_pyramid
    fresh = Capture.read(source).window("battery", 0.0, 20.0, 50)
    np.testing.assert_array_equal(again.window("battery", 0.0, 20.0, 50).low, fresh.low)
    assert storage.original(tmp_path / "kept").read_bytes() == source.read_bytes()


def test_uneven_times_edges_and_notes_are_kept(tmp_path: Path) -> None:
    times = np.cumsum(RANDOM.exponential(size=1000))
    channel = Channel("crank", (np.arange(1000) % 2).astype(np.uint8), times=times, edges=True)
    storage.save(Capture((channel,), "x.csv", ("a note",)), tmp_path / "kept")
    loaded = storage.load(tmp_path / "kept")
    assert loaded.notes == ("a note",)
    assert loaded["crank"].edges
    np.testing.assert_array_equal(loaded["crank"].times, times)


def test_an_altered_original_and_a_damaged_folder_are_told(tmp_path: Path) -> None:
    source = tmp_path / "drive.csv"
    source.write_text("Time (s),v (V)\n0,1\n1,2\n2,3\n")
    storage.keep(source, tmp_path / "kept")
    with pytest.raises(InputError, match="is there already"):
        storage.keep(source, tmp_path / "kept")
    (tmp_path / "kept" / "original" / "drive.csv").write_text("changed")
    with pytest.raises(InputError, match="the hash differs"):
        storage.original(tmp_path / "kept")
    (tmp_path / "kept" / "0.raw.npy").write_bytes(b"nothing")
    with pytest.raises(InputError, match="damaged"):
        storage.load(tmp_path / "kept")


def test_a_write_that_breaks_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError("disk full")

    monkeypatch.setattr(storage, "save_array", full)
    with pytest.raises(OSError, match="disk full"):
        storage.save(Capture((Channel("v", np.zeros(3), rate=1.0),)), tmp_path / "kept")
    assert list(tmp_path.iterdir()) == []
