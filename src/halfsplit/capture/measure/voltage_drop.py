"""Voltage drop over a stretch of circuit at steady load, and its resistance when the current is there too.

By Ohm's law R = (U_on - U_off) / (I_on - I_off): the difference between load on and off takes the zero errors of
both instruments out. A small drop proves a path good only with current shown in the same state; without one it may
be small because nothing flows. Limits are common practice, no source.
"""

from dataclasses import dataclass
from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture.measure.result import CannotTell, Mark, Quantity, Result, Verdict, answers
from halfsplit.capture.measure.signal import Floats, Levels, clipped, noise, require, runs, smooth, two_levels

LIMITS: Final = {"feed": 0.5, "ground": 0.2, "starter cable": 0.5, "connector": 0.1}
"""Path -> volts at most under load. Common practice, no source."""

LEAST_AMPS: Final = 0.1
"""A clamp below 100 mA cannot tell."""

_LEAST_STEADY: Final = 0.02
_HELD: Final = 0.05
"""Spread about a level, as a share of the swing, up to which it is held: an inrush spreads by a sixth and more."""


@dataclass(frozen=True, kw_only=True)
class DropResult(Result):
    """Quantities: drop (V), current (A) and resistance (mohm) as far as they were recorded."""

    analysis: ClassVar[str] = "voltage drop"


@answers(DropResult)
def voltage_drop(
    upper: Floats, lower: Floats | None, amps: Floats | None, rate: float, *, path: str = "feed"
) -> DropResult:
    """The drop from `upper` to `lower` (volts against one ground), or `upper` alone if measured across the path.

    `path` is a key of `LIMITS`. All arrays have one length and `rate`.
    """
    drop = upper - lower if lower is not None else upper
    require(rate, drop, amps, least_rate=5.0, least_seconds=_LEAST_STEADY, what="a voltage drop")
    for trace in (upper, lower):
        if trace is not None and clipped(trace) > 0.02:
            raise CannotTell("a trace is clipped: choose a wider range")
    notes: list[str] = []
    if amps is not None and float(np.median(amps[np.abs(amps) >= np.quantile(np.abs(amps), 0.8)])) < 0:
        amps = -amps
        side = "the clamp sits the other way round, the sign was turned"
        notes.append(f"the current is negative under load: {side}")
    on, off = _states(drop, amps, rate)
    if not on.any():
        raise CannotTell("the load is never on for long enough to be steady")
    quantities = _quantities(drop, amps, on, off)
    verdict, reason = _judged(quantities, path, notes, switched=bool(off.any()))
    marks = tuple(Mark(a / rate, b / rate, "load on") for a, b in runs(on)[:50])
    return DropResult(
        verdict=verdict, reason=reason, quantities=tuple(quantities), marks=marks, notes=tuple(notes)
    )


def _states(drop: Floats, amps: Floats | None, rate: float) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Samples of steady load and of no load; the load's onset and end are left out."""
    leading = smooth(amps if amps is not None else drop, int(0.002 * rate))
    levels = _levels(leading)
    if levels is None:  # one level has to be one: a load that rises and falls all the time has no steady drop
        trace = amps if amps is not None else drop
        low, middle, high = np.quantile(trace, [0.05, 0.5, 0.95])
        if high - low > 0.5 * abs(middle) and high - low > 6 * noise(trace):
            raise CannotTell(f"the load is never steady: it moves between {low:.3g} and {high:.3g}")
        return np.ones(drop.size, np.bool_), np.zeros(drop.size, np.bool_)
    high = leading > levels.middle
    if amps is None and abs(levels.low) > abs(levels.high):
        high = ~high
    return _inner(high, rate), _inner(~high, rate)


def _levels(leading: Floats) -> Levels | None:
    """Load off and on. A lamp's or a motor's inrush is several times its load and falls all the time.

    Its highest samples are left out until the upper level is one that is held; a load that ripples is taken as it is.
    """
    points = []
    for share in (1.0, 0.98, 0.95, 0.9, 0.8):
        size = np.abs(leading)
        levels = two_levels(leading[size <= np.quantile(size, share)])
        if levels is None:
            continue
        if max(levels.low_spread, levels.high_spread) < _HELD * levels.swing:
            return levels
        points.append(levels)
    return points[0] if points else None


def _inner(mask: NDArray[np.bool_], rate: float) -> NDArray[np.bool_]:
    """Each run without its first 40 % (inrush) and its last 5 %."""
    inner = np.zeros(mask.size, np.bool_)
    for first, last in runs(mask):
        length = last - first
        if length >= max(_LEAST_STEADY * rate / 2, 5):
            inner[first + int(0.4 * length) : last - max(int(0.05 * length), 1)] = True
    return inner


def _quantities(
    drop: Floats, amps: Floats | None, on: NDArray[np.bool_], off: NDArray[np.bool_]
) -> list[Quantity]:
    """The drop, and where the current was recorded that and the resistance."""
    volts, error = _mean(drop[on])
    quantities = [Quantity("drop", volts, "V", error)]
    if amps is None:
        return quantities
    current, spread = _mean(amps[on])
    rest_volts, rest_error = _mean(drop[off]) if off.any() else (0.0, 0.0)
    rest_current, rest_spread = _mean(amps[off]) if off.any() else (0.0, 0.0)
    flows, falls = current - rest_current, volts - rest_volts
    if abs(flows) < LEAST_AMPS:
        raise CannotTell(f"the current is {current:.3f} A only: under {LEAST_AMPS:g} A a clamp cannot tell")
    quantities.append(Quantity("current", flows, "A", float(np.hypot(spread, rest_spread))))
    milliohms = falls / flows * 1e3
    relative = np.hypot(
        np.hypot(error, rest_error) / max(abs(falls), 1e-9), np.hypot(spread, rest_spread) / abs(flows)
    )
    return [*quantities, Quantity("resistance", milliohms, "mohm", abs(milliohms) * float(relative))]


def _mean(part: Floats) -> tuple[float, float]:
    """Mean and its standard error, taking every tenth sample as independent."""
    return float(part.mean()), float(part.std() / np.sqrt(max(part.size / 10, 1)))


def _judged(
    quantities: list[Quantity], path: str, notes: list[str], *, switched: bool
) -> tuple[Verdict, str]:
    limit = LIMITS.get(path)
    if limit is None:
        raise CannotTell(f"there is no limit for {path!r}; known are {', '.join(LIMITS)}")
    drop, *shown = quantities
    volts = drop.value
    if volts < -max(3 * drop.uncertainty, 0.02):
        volts = -volts
        notes.append("the drop is negative: the two leads are exchanged, or the current flows the other way")
    amount = f"{volts * 1e3:.0f} mV" if abs(volts) < 1 else f"{volts:.2f} V"
    if shown:
        current, ohms = shown[0].value, shown[1].value / 1e3
        resistance = f"{ohms * 1e3:.1f} mohm" if abs(ohms) < 1 else f"{ohms:.3g} ohm"
        amount += f" at {current:.2f} A, {resistance}"
    if volts > limit:
        return "fault", f"{amount}: over {limit:g} V for a {path}"
    if shown:
        return "good", f"{amount}: within {limit:g} V for a {path}"
    if switched:
        notes.append("the load is seen to switch in the drop only: show its current to clear the path")
        return "measured", f"{amount} as the load switches"
    lacking = "no current is shown in the same state: the path is not cleared by it"
    return "cannot tell", f"the drop is {amount} but {lacking}"
