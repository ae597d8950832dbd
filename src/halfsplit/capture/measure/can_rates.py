"""The rates of a CAN signal: the time of a bit, and of a bit in the fast part of CAN FD frames.

Within a classic frame every stretch between two edges of one direction is a whole number of bits, whatever the
asymmetry of the edges. In CAN FD that holds up to the bit that switches the rate. A rate is believed where frames come
out whole: a CRC of 15 bits fits by chance once in 32,768 times, the longer ones of CAN FD hardly ever.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Final

import numpy as np

from halfsplit.capture.measure.can_bits import TURNS, Timing
from halfsplit.capture.measure.can_frames import WHOLE, Frame, bursts, decode, frames
from halfsplit.capture.measure.result import CannotTell
from halfsplit.capture.measure.signal import Edges, Floats, without_glitches

_KILOBITS: Final = (1000, 800, 500, 250, 125, 100, 95.238, 83.333, 62.5, 50, 33.333, 20, 10)
STANDARD_RATES: Final = tuple(1e3 * rate for rate in _KILOBITS)
"""Bit rates that are in use; a measured rate within 1 % of one is named after it (common practice, no source)."""

DATA_RATES: Final = (2e6, 5e6, 4e6, 1e6, 8e6, 2.5e6, 1.6e6, 6.667e6, 3.2e6, 500e3, 800e3, 10e6, 250e3)
"""Rates of the fast part that are in use (common practice, no source)."""

_FACTORS: Final = (1.0, 0.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 16.0)
_ENOUGH: Final = 4000
_LOOKED_AT: Final = 4
"""Frames whose fast part is tried at each rate."""


def rates(signal: Edges, stop: float) -> Timing:
    """The rates of a signal whose high level is recessive; `stop` is the time of its last sample, in seconds.

    The shortest stretches give a first value, which is fitted. Where it makes no frame (glitches below a bit, or a
    faster part) its multiples and the usual rates are tried: the one that makes most frames is taken. Raises
    `CannotTell` where the stretches are no multiples of one time.
    """
    if signal.times.size < 12:
        raise CannotTell(f"only {signal.times.size} edges were found: no frame was recorded")
    head = Edges(signal.times[:_ENOUGH], signal.rising[:_ENOUGH], signal.starts_high)
    end = stop if head.times.size == signal.times.size else float(head.times[-1])
    spans, dominant = np.diff(signal.times), ~signal.rising[:-1]
    first = 0.5 * (_shortest(spans[dominant]) + _shortest(spans[~dominant]))
    best, most = Timing(first), 0.0
    # How much sense frames make: the share that is good, or recognised as CAN FD.
    weight = {"good": 1.0, "not acknowledged": 0.9, "FD, not read": 0.02}
    for bit in _bits(first):
        fitted = _least_squares(lambda bit: _stretches(signal, bit), bit)
        rate = data_rate(head, end, Timing(fitted))
        read = [frame for frame in frames(head, end, rate) if frame.status != "cut off"]
        sense = sum(weight.get(frame.status, 0.0) for frame in read) / max(len(read), 1)
        if sense > most:
            best, most = rate, sense
        if sense > 0.9:
            break
    if not most:
        multiples = _stretches(signal, first) / first
        if multiples.size < 4 or np.mean(np.abs(multiples - np.round(multiples))) > 0.15:
            raise CannotTell(
                "the stretches between edges are no multiples of one bit time: this is no CAN signal"
            )
    return _by_frames(head, frames(head, end, best), best)


def data_rate(signal: Edges, stop: float, timing: Timing) -> Timing:
    """The timing with the rate of the fast part and the form of CAN FD, where frames with one were recorded.

    Every usual rate that is not slower than the first one is tried on the first frames, in both forms.
    """
    clean = without_glitches(signal, 0.02 * timing.bit)
    fast = [burst for burst in bursts(clean, timing.bit)[:40] if decode(clean, *burst, stop, timing)[0].fd][
        :_LOOKED_AT
    ]
    best, most = timing, 0
    for turn in TURNS if fast else ():
        for trial in _trials(clean, fast, replace(timing, turn=turn)):
            good = sum(decode(clean, *burst, stop, trial)[0].status in WHOLE for burst in fast)
            best, most = (trial, good) if good > most else (best, most)
            if good == len(fast):
                break
        if most:
            break
    if not any(decode(clean, *burst, stop, best)[0].fast for burst in fast):
        return replace(best, data_bit=0.0)
    # The fast bit by least squares over the parts that are surely fast.
    parts = [decode(clean, *burst, stop, best)[0] for burst in fast]
    parts = [frame for frame in parts if frame.fast and frame.status in WHOLE]
    begun = np.array([frame.start + (42.0 if frame.extended else 20.0) * best.bit for frame in parts])
    ends = np.array([frame.stop - 13 * best.bit for frame in parts])
    bit = _least_squares(lambda bit: _within(clean, begun, ends, bit), best.data_bit)
    return replace(best, data_bit=bit)


def _trials(signal: Edges, fast: list[tuple[int, int]], timing: Timing) -> Iterator[Timing]:
    spans = np.concatenate([np.diff(signal.times[first : last + 1]) for first, last in fast])
    usual = [1.0 / rate for rate in DATA_RATES if 0.05 * timing.bit < 1.0 / rate < 1.2 * timing.bit]
    shortest = _shortest(spans)
    measured = [shortest, *(timing.bit / k for k in (1, 1.5, 2, 2.5, *range(3, 17)))]
    usual.sort(key=lambda bit: abs(bit - shortest))
    for bit in (*usual, *measured):
        for iso in (True, False):
            yield replace(timing, data_bit=bit, iso=iso)


def _bits(first: float) -> Iterator[float]:
    """Times of a bit to be tried: the measured one, its multiples, then the usual ones."""
    tried: list[float] = []
    for bit in (*(first * factor for factor in _FACTORS), *(1.0 / rate for rate in STANDARD_RATES)):
        if bit >= 0.4 * first and not any(abs(bit / other - 1) < 0.01 for other in tried):
            tried.append(bit)
            yield bit


def _shortest(spans: Floats) -> float:
    """The shortest length that comes often: glitches that come once or twice are passed over.

    Slow edges make the bits of one level longer and those of the other shorter by as much, so that the mean of both
    levels' shortest is one bit.
    """
    ordered = np.sort(spans)
    few = max(2, int(0.02 * ordered.size))
    start = ordered[min(few, ordered.size - 1)]
    cluster = ordered[(ordered >= 0.7 * start) & (ordered < 1.4 * start)]
    return float(np.median(cluster))


def _least_squares(stretches: Callable[[float], Floats], guess: float) -> float:
    """The time of which all stretches are nearest to whole multiples; the guess where there are too few."""
    bit = guess
    for _ in range(4):
        edges = stretches(bit)
        if edges.size < 2:
            return guess
        whole = np.round(edges / bit)
        bit = float(np.sum(edges * whole) / np.sum(whole**2))
    return bit if abs(bit / guess - 1) < 0.1 else guess


def _by_frames(signal: Edges, frames: list[Frame], timing: Timing) -> Timing:
    """The bit by least squares over whole frames, of those with a fast part up to it."""
    whole = [frame for frame in frames if frame.status in WHOLE]
    if not whole:
        return timing
    begun = np.array([frame.start for frame in whole])
    slow = [(32.5 if frame.extended else 14.5) * timing.bit for frame in whole]
    ends = np.array([f.start + bits if f.fast else f.stop for f, bits in zip(whole, slow, strict=True)])
    return replace(timing, bit=_least_squares(lambda bit: _within(signal, begun, ends, bit), timing.bit))


def _stretches(signal: Edges, bit: float) -> Floats:
    """Times between edges of one direction within the first twelve bits of each burst, in seconds."""
    begun = signal.times[[first for first, _ in bursts(signal, bit)][:2000]]
    return _within(signal, begun, begun + 12.3 * bit, bit)


def _within(signal: Edges, begun: Floats, ends: Floats, bit: float) -> Floats:
    """Times between edges of one direction within spans that follow each other, between 1.5 and 10.5 bits."""
    if not begun.size:
        return np.empty(0)
    owner = np.searchsorted(begun, signal.times + 1e-12, side="right") - 1
    inside = (owner >= 0) & (signal.times < ends[np.maximum(owner, 0)])
    parts = []
    for up in (True, False):
        chosen = inside & (signal.rising == up)
        parts.append(np.diff(signal.times[chosen])[np.diff(owner[chosen]) == 0])
    within = np.concatenate(parts)
    return np.asarray(within[(within < 10.5 * bit) & (within > 1.5 * bit)])
