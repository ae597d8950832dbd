"""Single events in a trace, such as the pulses of an injector or a coil: where each starts and ends."""

from dataclasses import dataclass
from functools import reduce
from typing import Final

import numpy as np

from halfsplit.capture.measure.result import Quantity
from halfsplit.capture.measure.signal import Floats, edges, local_median, noise, smooth

MISSING: Final = 1.6
"""Share of the usual time from event to event from which one is missing."""


@dataclass(frozen=True)
class Pulse:
    """Sample numbers: the first of the pulse and the first after it."""

    first: int
    last: int

    def of(self, values: Floats) -> Floats:
        """The samples of the pulse."""
        return values[self.first : self.last]


def above(values: Floats, rate: float, wall: float, back: float, shortest: float) -> list[Pulse]:
    """Stretches over `wall` until under `back`, at least `shortest` seconds long; whole ones only."""
    crossings = edges(values, rate, back, wall)
    rises, falls = crossings.of(True), crossings.of(False)
    pulses = []
    for rise in rises:
        place = int(np.searchsorted(falls, rise))
        if place < falls.size and falls[place] - rise >= shortest:
            pulses.append(Pulse(int(np.ceil(rise * rate)), int(np.ceil(falls[place] * rate))))
    return pulses


def ramps(
    amps: Floats, rate: float, shares: tuple[float, float], least: float, shortest: float
) -> list[Pulse] | None:
    """Pulses of a coil's current, each from where its ramp leaves the rest; None where it swings by less than `least`.

    `shares` of the swing begin and end a pulse; `least` is in amperes, to which ten times the noise comes.
    """
    rest, top = resting(amps), float(np.quantile(amps, 0.999))
    if top - rest < least + 10 * noise(amps):
        return None
    wall, back = (rest + share * (top - rest) for share in shares)
    pulses = above(amps, rate, wall, back, shortest)
    return [Pulse(foot(amps, pulse.first, rest, wall), pulse.last) for pulse in pulses]


def foot(values: Floats, first: int, rest: float, wall: float) -> int:
    """The sample at which a ramp that crosses `wall` at `first` left its rest level.

    The straight line through the ramp's lower part is followed back to the rest level, which is better than the
    first sample over the noise.
    """
    end = first
    while end < values.size - 1 and values[end] < rest + 2 * (wall - rest) and end < first + 10_000:
        end += 1
    begin = first
    while begin > 0 and values[begin] > rest + 0.4 * (wall - rest):
        begin -= 1
    if end - begin < 3:
        return begin
    slope, constant = np.polyfit(np.arange(begin, end), values[begin:end], 1)
    if slope <= 0:
        return begin
    return max(round(float((rest - constant) / slope)), 0)


def usual(name: str, values: Floats, unit: str, *least: float) -> Quantity:
    """The median of something that was measured several times; `least` are the parts of its error that stay."""
    spread = float(np.std(values) / np.sqrt(values.size))
    return Quantity(name, float(np.median(values)), unit, float(reduce(np.hypot, least, spread)))


def resting(values: Floats) -> float:
    """The level at which a trace of pulses rests: its commonest value."""
    low, high = np.quantile(values, [0.001, 0.999])
    if high <= low:
        return float(low)
    counts, walls = np.histogram(values, bins=200, range=(float(low), float(high)))
    best = int(np.argmax(counts))
    inside = values[(values >= walls[best]) & (values <= walls[best + 1])]
    return float(np.median(inside))


def slopes(values: Floats, rate: float, seconds: float) -> Floats:
    """Change a second, from straight lines over about `seconds` on either side."""
    width = max(int(seconds * rate), 1)
    even = smooth(smooth(values, width), width)
    return np.asarray(np.gradient(even) * rate)


def slope_noise(values: Floats, rate: float, seconds: float) -> float:
    """Standard deviation of `slopes` that the noise of the samples makes."""
    width = max(int(seconds * rate), 1)
    return noise(values) * rate / width * float(np.sqrt(2.0 / width))


def missed(times: Floats, neighbours: int) -> tuple[float, ...]:
    """When events were due that did not come: the time to the next is a multiple of its neighbours'.

    The median of so many `neighbours` on either side is taken, so that a slow change of speed is none.
    """
    gaps = np.diff(times)
    if gaps.size < 3:
        return ()
    local = local_median(gaps, neighbours)
    late = np.flatnonzero(gaps > MISSING * local).tolist()
    return tuple(
        float(times[i] + local[i] * k) for i in late for k in range(1, round(float(gaps[i] / local[i])))
    )
