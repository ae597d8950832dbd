"""What a screen asks of a capture: bytes of a window, values at cursors, what lies between, the event to align by.

Compared with the same question put to the plain samples.
"""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfsplit.capture import Capture, Channel
from halfsplit.capture.screen import event, packed, stretch, value_at, windows
from halfsplit.errors import InputError

RATE = 1000.0


def unpacked(data: bytes) -> tuple[dict, list[np.ndarray]]:
    length = int.from_bytes(data[:4], "little")
    head = json.loads(data[4 : 4 + length])
    place, found = -(-(4 + length) // 8) * 8, []
    for one in head["windows"]:
        found.append(np.frombuffer(data, "<f4", 3 * one["count"], place).reshape(3, -1))
        place += 12 * one["count"]
    assert place == len(data)
    return head, found


def test_a_window_as_bytes_has_the_extremes_of_each_column() -> None:
    samples = np.sin(np.arange(20_000) / 300.0)
    samples[12_345] = 5.0
    capture = Capture((Channel("a", samples, "V", rate=RATE, start=100.0),))
    head, ((times, low, high),) = unpacked(packed(windows(capture, ["a"], 100.0, 120.0, 200)))
    assert (head["origin"], head["windows"][0]["exact"]) == (100.0, False)
    assert times == pytest.approx(np.arange(200) * 0.1, abs=1e-5)
    assert high.max() == 5.0
    assert np.argmax(high) == 123
    assert low.min() == pytest.approx(-1.0, abs=1e-6)


@pytest.mark.parametrize("span", [1e8, 1e6, 1e3, 40])
def test_an_answer_has_no_more_bytes_than_the_screen_has_columns(span) -> None:
    raw = np.lib.stride_tricks.as_strided(np.zeros(1, np.float32), (int(span) + 1,), (0,))  # takes no memory
    capture = Capture((Channel("a", raw, rate=RATE),))
    data = packed(windows(capture, ["a"], 0.0, span / RATE, 1000))
    assert len(data) <= 12 * 2002 + 200


@pytest.mark.parametrize(
    ("start", "stop", "pixels", "channels"),
    [
        (1, 1, 10, 1),
        (2, 1, 10, 1),
        (0, np.inf, 10, 1),
        (np.nan, 1, 10, 1),
        (0, 1, 0, 1),
        (0, 1, 5000, 1),
        (0, 1, 9, 17),
    ],
)
def test_a_window_that_is_none_is_refused(start, stop, pixels, channels) -> None:
    capture = Capture((Channel("a", np.zeros(10), rate=RATE),))
    with pytest.raises(InputError):
        windows(capture, ["a"] * channels, start, stop, pixels)


def test_values_at_a_cursor_lie_on_the_line_between_samples_and_nowhere_else() -> None:
    even = Channel("a", np.array([0.0, 10.0, np.nan, 4.0]), rate=10.0, start=1.0, gain=2.0, offset=1.0)
    assert value_at(even, 1.05) == pytest.approx(11.0)
    assert value_at(even, 1.1) == pytest.approx(21.0)
    assert value_at(even, 1.3) == pytest.approx(9.0)
    assert [value_at(even, time) for time in (0.9, 1.15, 1.31)] == [None, None, None]
    held = Channel("b", np.array([0, 1, 0]), times=np.array([0.0, 2.0, 5.0]), edges=True)
    assert [value_at(held, time) for time in (0.0, 1.9, 2.0, 4.9, 5.0)] == [0, 0, 1, 1, 0]
    assert value_at(Channel("empty", np.zeros(0), rate=1.0), 0.0) is None


def test_what_lies_between_two_cursors_is_that_of_the_plain_samples() -> None:
    samples = np.random.default_rng(5).normal(1e4, 2.0, 9000)
    samples[4000] = np.nan
    found = stretch(Channel("a", samples, rate=RATE), 7.0, 2.0)
    part = samples[2000:7000]
    assert found is not None
    assert found.samples == 4999
    assert found.mean == pytest.approx(np.nanmean(part), rel=1e-12)
    assert (found.low, found.high) == (np.nanmin(part), np.nanmax(part))
    assert found.deviation == pytest.approx(np.nanstd(part), rel=1e-6)
    assert stretch(Channel("a", samples, rate=RATE), 2.0, 2.0) is None


def test_a_record_of_edges_is_weighed_by_how_long_each_level_is_held() -> None:
    held = Channel("b", np.array([0.0, 1.0, 0.0]), times=np.array([0.0, 2.0, 5.0]), edges=True)
    found = stretch(held, 1.0, 5.0)
    assert found is not None
    assert (found.mean, found.low, found.high) == (0.75, 0.0, 1.0)
    assert stretch(held, 3.0, 4.0).mean == 1.0


@given(
    data=st.lists(st.integers(-3, 3), min_size=2, max_size=40),
    repeat=st.sampled_from([1, 50, 700]),
    rising=st.booleans(),
    gain=st.sampled_from([1.0, -2.0]),
)
def test_the_first_event_is_that_of_a_plain_search(data, repeat, rising, gain) -> None:
    raw = np.repeat(np.array(data, float), repeat)
    channel = Channel("a", raw, rate=RATE, gain=gain)
    values = channel.values() * (1 if rising else -1)
    low, swing = values.min(), np.ptp(values)
    expected = None
    if swing:
        armed = np.flatnonzero(values < low + 0.25 * swing)
        after = np.flatnonzero(values[armed[0] :] > low + 0.5 * swing)
        expected = (armed[0] + after[0]) / RATE if after.size else None
    assert event(channel, rising=rising) == (None if expected is None else pytest.approx(expected))


def test_a_flat_trace_has_no_event() -> None:
    assert event(Channel("a", np.full(100_000, 12.0), rate=RATE)) is None
    assert event(Channel("a", np.full(10, np.nan), rate=RATE)) is None


def test_part_of_a_capture_keeps_its_time() -> None:
    capture = Capture(
        (
            Channel("a", np.arange(100.0), rate=10.0, start=5.0),
            Channel("b", np.array([0, 1, 0]), times=np.array([5.0, 7.0, 14.0]), edges=True),
        )
    ).part(8.0, 10.0)
    assert capture["a"].clock()[[0, -1]] == pytest.approx([8.0, 9.9])
    assert capture["a"].values()[0] == 30.0
    assert capture["b"].clock().tolist() == [7.0]
