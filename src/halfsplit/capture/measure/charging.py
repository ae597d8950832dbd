"""Charging: mean, ripple, and what the ripple's spectrum says of the generator's rectifier.

Three phases through six diodes give six humps a turn of the field (electrical period 1/f). With all whole, the
ripple has lines at 6 f and its multiples alone. A diode that is open takes two of the six humps away once a period,
one that is shorted pulls a phase to a rail for half of it: both bring strong lines at f, 2 f, 3 f. Without one phase
the two others act as one winding with two humps a period: lines at 2 f, 4 f alone, and between the
humps no current flows at all. So the trace is folded at the lowest frequency that repeats, and its shape tells.

Limits (common practice, no source): 13.8 to 14.8 V, ripple under 0.5 V peak to peak. Controlled generators go from
12.2 to 15.2 V: a mean outside the first range alone is told, not condemned.
"""

from dataclasses import dataclass
from typing import ClassVar, Final, Literal

import numpy as np

from halfsplit.capture.measure.result import CannotTell, Mark, Quantity, Result, Verdict, answers
from halfsplit.capture.measure.signal import Floats, cut_off, noise, require, smooth, thinned
from halfsplit.capture.measure.starting import upright

USUAL: Final = (13.8, 14.8)
CONTROLLED: Final = (12.2, 15.2)
RIPPLE: Final = 0.5

_LEAST_RATE: Final = 4000.0
_SLOWEST, _FASTEST = 60.0, 12_000.0
"""Hz between which the humps of a generator lie: some 1,200 at idle."""

_SECONDS: Final = 0.5
"""Longest stretch whose spectrum is taken: the engine's speed must not wander far within it."""


@dataclass(frozen=True, kw_only=True)
class ChargingResult(Result):
    """`pattern`: 'even', 'open diode', 'shorted diode', 'bad diode', 'missing phase' or '' where none is seen."""

    analysis: ClassVar[str] = "charging"

    pattern: str = ""


@dataclass(frozen=True)
class _Ripple:
    """What one period looks like, and the frequency of the humps in Hz, 0 where none stands over the noise."""

    pattern: str = ""
    frequency: float = 0.0
    error: float = 0.0


@answers(ChargingResult)
def charging(values: Floats, rate: float, *, kind: Literal["volts", "amps"] = "volts") -> ChargingResult:
    """Battery volts or generator amps with the engine running, at `rate` samples a second."""
    require(rate, values, least_rate=_LEAST_RATE, least_seconds=0.05, what="the ripple of a generator")
    if cut_off(np.abs(values)) > 0.02:
        raise CannotTell("the trace is clipped: choose a wider range")
    values, turned = upright(values) if kind == "amps" else (values, False)
    mean, error, unit = float(values.mean()), noise(values), "V" if kind == "volts" else "A"
    if kind == "volts" and not 8.0 < mean < 18.0:
        raise CannotTell(
            f"the mean is {mean:.2f} V: this is no 12 V battery with the engine running, or the coupling is AC"
        )
    part = values[: int(_SECONDS * rate)]
    ripple, swing = _ripple(part, rate), _peak_to_peak(values, rate)
    quantities = [Quantity("mean", mean, unit, error / 10), Quantity("ripple", swing, unit, error)]
    notes = []
    if ripple.frequency:
        quantities.append(Quantity("hump frequency", ripple.frequency, "Hz", ripple.error))
    else:
        notes.append("no ripple above the noise: the generator does not charge, or the rate is too low")
    if turned:
        notes.append("the current is negative: the clamp sits the other way round, the sign was turned")
    verdict, reason = _judged(ripple, mean, swing, kind)
    if verdict == "fault" and (weak := _weak(part, ripple, rate)):
        verdict = "cannot tell"
        reason = f"{weak}, so the shape of the ripple tells nothing; {reason.partition(';')[0]}"
    return ChargingResult(
        verdict=verdict,
        reason=reason,
        quantities=tuple(quantities),
        marks=(Mark(0.0, part.size / rate, "spectrum"),),
        notes=tuple(notes),
        pattern=ripple.pattern,
    )


_LEAST_HUMP: Final = 5.0
"""Samples of a hump that show its shape."""

_LEVELS: Final = 30
_FLAT: Final = 0.03


def _weak(part: Floats, ripple: _Ripple, rate: float) -> str:
    """Why the shape of a ripple cannot be trusted, '' where it can."""
    if not ripple.pattern:
        return ""
    if rate < _LEAST_HUMP * ripple.frequency:
        return f"{rate:g} samples a second give {rate / ripple.frequency:.1f} samples a hump"
    low, high = float(part.min()), float(part.max())
    if np.unique(thinned(part)).size > _LEVELS and high > low:
        for level in (low, high):
            if float(np.mean(np.abs(part - level) < 1e-4 * (high - low))) > _FLAT:
                return "the trace is cut off at its top or bottom"
    return ""


def _peak_to_peak(values: Floats, rate: float) -> float:
    """Median of the peak-to-peak values of stretches of 20 ms, less slow changes and a few samples' noise."""
    even = smooth(values, 3)
    width = int(0.02 * rate)
    blocks = even[: even.size // width * width].reshape(-1, width)
    return float(np.median(blocks.max(axis=1) - blocks.min(axis=1)))


class _Lines:
    """The spectrum of a ripple and the heights of its lines."""

    def __init__(self, ripple: Floats, rate: float) -> None:
        window = ripple * np.hanning(ripple.size)
        size = 1 << int(np.ceil(np.log2(4 * ripple.size)))
        self._power = np.abs(np.fft.rfft(window, size)) * 4.0 / ripple.size
        self._step = rate / size
        self.width = rate / ripple.size
        self.floor = float(np.median(self._power))

    def strongest(self, least: float, most: float) -> float:
        first, last = int(least / self._step), int(most / self._step)
        return (first + int(np.argmax(self._power[first:last]))) * self._step

    def height(self, frequency: float) -> float:
        """The highest value within two widths of a frequency."""
        place = round(frequency / self._step)
        reach = max(int(2 * self.width / self._step), 1)
        part = self._power[max(place - reach, 0) : place + reach + 1]
        return float(part.max()) if part.size else 0.0


def _ripple(part: Floats, rate: float) -> _Ripple:
    """Find the electrical frequency, and tell the shape of one period."""
    ripple = part - smooth(part, int(rate / 40.0))
    lines = _Lines(ripple, rate)
    base = top = lines.strongest(_SLOWEST, min(_FASTEST, 0.45 * rate))
    if float(np.ptp(ripple)) <= 1e-6 * float(np.abs(part).max()) or lines.height(top) < 5 * lines.floor:
        return _Ripple()
    # The lowest frequency of which the strongest line is a multiple, up to six, and which has lines of its own.
    limit = max(0.25 * lines.height(top), 5 * lines.floor)
    for order in (6, 5, 4, 3, 2):
        inner = [k for k in range(1, order) if lines.height(k * (top / order)) > limit]
        if top / order >= _SLOWEST / 2 and inner and np.gcd.reduce([order, *inner]) == 1:
            base = top / order
            break
    # The mean of one period, in 60 parts.
    phase = np.mod(np.arange(ripple.size) * base / rate, 1.0)
    bins = np.minimum((phase * 60).astype(np.int64), 59)
    folded = np.bincount(bins, ripple, minlength=60) / np.maximum(np.bincount(bins, minlength=60), 1)
    pattern, humps = _shape((folded - folded.min()) / (folded.max() - folded.min()))
    return _Ripple(pattern, humps * base, humps * (lines.width / 4))


def _shape(level: Floats) -> tuple[str, int]:
    """What one period of the ripple looks like, from 0 to 1, and how many humps a whole rectifier gives in it.

    Sound: each hump falls back to the same low level, and there is no floor between humps (at heavy load they come
    in two sizes). Two phases: single humps, and a floor for over 30 % of the time. A bad diode: one deep valley in a
    broad stretch of humps; low for a quarter to a third of the time if it is open, for 0.43 and more if shorted.
    """
    broad = float(np.mean(level > 0.9))
    # Valleys below 0.25 that are parted by a rise of a tenth.
    if broad < 0.3 and _swings(np.minimum(level, 0.35) / 0.35, 0.28) > 1:
        return "even", 1
    if broad < 0.36 and _swings(1.0 - level, 0.05) == 1:
        return ("missing phase", 3) if float(np.mean(level < 0.25)) >= 0.3 else ("even", 1)
    low = float(np.mean(level < 0.5))
    return "open diode" if low < 0.385 else "shorted diode" if low > 0.42 else "bad diode", 6


def _swings(level: Floats, least: float) -> int:
    """How often a closed curve from 0 to 1 rises by `least` after it fell by `least`."""
    turned = np.roll(level, -int(np.argmin(level)))
    count, extreme, rising = 0, 0.0, True
    for value in np.append(turned, turned[0]):
        extreme = max(extreme, value) if rising else min(extreme, value)
        if abs(value - extreme) > least:
            count += rising
            extreme, rising = value, not rising
    return count


def _judged(ripple: _Ripple, mean: float, swing: float, kind: str) -> tuple[Verdict, str]:
    head = f"{mean:.2f} V, ripple {swing:.2f} V" if kind == "volts" else f"{mean:.0f} A, ripple {swing:.0f} A"
    names = {
        "open diode": "humps are missing for a third of each period: a diode is open",
        "shorted diode": "over half of each period is low: a diode is shorted",
        "bad diode": "humps are missing in each period: a diode is open or shorted",
        "missing phase": "single humps with a floor between them: a phase is missing, or a diode is shorted",
    }
    if ripple.pattern in names:
        return "fault", f"{head}; {names[ripple.pattern]}"
    if kind == "amps":
        return ("measured", head) if ripple.pattern else ("cannot tell", f"no ripple is seen in {head}")
    if swing > RIPPLE:
        smoothing = "the battery or its connections do not smooth it"
        return "fault", f"{head}: over {RIPPLE:g} V peak to peak: {smoothing}"
    if not CONTROLLED[0] <= mean <= CONTROLLED[1]:
        side = "does not charge" if mean < CONTROLLED[0] else "overcharges"
        return "fault", f"{head}: outside {CONTROLLED[0]} to {CONTROLLED[1]} V, the generator {side}"
    if not ripple.pattern:
        return "cannot tell", f"no ripple is seen in {head}: the generator may not be charging"
    if USUAL[0] <= mean <= USUAL[1]:
        return "good", f"{head}, all humps alike"
    usual = f"the usual {USUAL[0]} to {USUAL[1]} V"
    return "measured", f"{head}: outside {usual}, as a controlled generator may be"
