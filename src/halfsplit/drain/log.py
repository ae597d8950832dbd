"""A current log: what a meter or a clamp wrote over hours, made fit for analysis, with every repair told."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from halfsplit.errors import InputError

Floats = NDArray[np.float64]

GAP_STEPS = 5.0
LEAST_GAP = 2.0
SHORTEST = 60.0
FEWEST = 30
COARSE = 0.2
_LARGEST_ZERO = 0.5
"""A: a clamp whose zero is off by more is turned round rather than not zeroed (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class CurrentLog:
    """Samples of the battery current.

    seconds: (n,) from the first sample, rising. amps: (n,) in A, positive out of the battery.
    gaps: (start, end) in s, without samples in between. remarks: what was found odd and what was done about it.
    unit_said: whether the file or a person gave the unit of the current; else amperes were assumed.
    """

    seconds: Floats
    amps: Floats
    gaps: tuple[tuple[float, float], ...] = ()
    remarks: tuple[str, ...] = ()
    source: str = ""
    unit_said: bool = True

    @classmethod
    def of(
        cls,
        seconds: Floats,
        amps: Floats,
        source: str = "",
        remarks: tuple[str, ...] = (),
        *,
        zero: float = 0.0,
        turned: bool | None = None,
    ) -> CurrentLog:
        """A log from raw samples: unusable values dropped, a clock that jumps back mended, the sign turned, gaps found.

        zero: A, taken off every value. turned: whether to turn the sign, None to decide by the log. Raises InputError
        where too little is left to say anything.
        """
        if zero:
            remarks = (*remarks, f"The instrument's zero of {1000 * zero:.0f} mA was taken off every value.")
        clock, current = np.asarray(seconds, dtype=np.float64), np.asarray(amps, dtype=np.float64) - zero
        good = np.isfinite(clock) & np.isfinite(current)
        if lost := int(np.count_nonzero(~good)):
            remark = f"{lost} of {good.size} values are no numbers (over-range or empty) and were left out."
            clock, current, remarks = clock[good], current[good], (*remarks, remark)
        log = _mend_clock(cls(clock, current, (), remarks, source))
        if turned is None and log.amps.size and np.mean(log.amps <= 0) >= 0.95 and np.any(log.amps < 0):
            # What wakes up draws more, never less: a log that is negative throughout and rises downwards is turned. One
            # that is negative asleep and goes up when it wakes has its zero off, and is left for the person to say.
            lowest, rest, highest = np.quantile(log.amps, [0.0005, 0.5, 0.9995])
            turned = not (highest - rest > 2 * (rest - lowest) and rest > -_LARGEST_ZERO)
        if turned:
            wrong = "The current is negative throughout: the leads or the clamp were the wrong way round."
            remark = f"{wrong} The sign was turned."
            log = replace(log, amps=-log.amps, remarks=(*log.remarks, remark))
        log = _find_gaps(log)
        covered = log.covered if log.seconds.size else 0.0
        if log.seconds.size < FEWEST or covered < SHORTEST:
            enough = "log for at least an hour after the vehicle was locked, better a night"
            raise InputError(
                f"{log.seconds.size} samples over {covered:.0f} s are too few",
                remedy=f"{enough}, one sample a second or more",
                where=source,
            )
        return replace(log, remarks=(*log.remarks, *_oddities(log)))

    @property
    def duration(self) -> float:
        """Seconds from the first sample to the last, gaps included."""
        return float(self.seconds[-1] - self.seconds[0])

    @cached_property
    def step(self) -> float:
        """The usual time between two samples, in s."""
        return float(np.median(np.diff(self.seconds)))

    @cached_property
    def resolution(self) -> float:
        """The smallest step between two neighbouring values in A; 0 where too few values differ to tell."""
        steps = np.abs(np.diff(self.amps))
        real = steps[steps > 1e-9]
        return float(np.min(real)) if real.size > max(0.01 * steps.size, 2) else 0.0

    @property
    def covered(self) -> float:
        """Seconds that were measured: the duration without the gaps."""
        return self.duration - sum(end - start for start, end in self.gaps)


def _mend_clock(log: CurrentLog) -> CurrentLog:
    """Where time jumps back the logger was restarted or its clock set; the parts are joined with the usual step."""
    if log.seconds.size < FEWEST:
        return replace(log, seconds=log.seconds - (log.seconds[0] if log.seconds.size else 0.0))
    steps = np.diff(log.seconds)
    back = np.flatnonzero(steps < 0)
    usual = float(np.median(steps[steps > 0])) if np.any(steps > 0) else 1.0
    remarks = tuple(
        f"The clock jumps back by {-steps[place]:.0f} s after {log.seconds[place] - log.seconds[0]:.0f} s "
        "(restart, or clock set): the parts were joined, the time between them is not known."
        for place in back[:5]
    )
    more = (f"{back.size - 5} more jumps of the clock.",) if back.size > 5 else ()
    steps[back] = usual
    seconds = np.concatenate(([0.0], np.cumsum(steps)))
    return replace(log, seconds=seconds, remarks=(*log.remarks, *remarks, *more))


def _find_gaps(log: CurrentLog) -> CurrentLog:
    if log.seconds.size < FEWEST:
        return log
    steps = np.diff(log.seconds)
    long = np.flatnonzero(steps > max(GAP_STEPS * float(np.median(steps)), LEAST_GAP))
    gaps = tuple((float(log.seconds[place]), float(log.seconds[place + 1])) for place in long)
    if not gaps:
        return log
    lost = sum(end - start for start, end in gaps)
    share = 100 * lost / max(float(log.seconds[-1]), 1e-9)
    remark = (
        f"{len(gaps)} gap{'s' if len(gaps) > 1 else ''} of {lost:.0f} s together ({share:.1f} % of the log), the first "
        f"after {gaps[0][0]:.0f} s: what flowed then is not known and is in no figure."
    )
    return replace(log, gaps=gaps, remarks=(*log.remarks, remark))


def _oddities(log: CurrentLog) -> Iterator[str]:
    """What cannot be mended but must be known."""
    negative = float(np.mean(log.amps < -0.005))
    if negative > 0.02:
        yield (
            f"{100 * negative:.0f} % of the values are negative: the instrument's zero is off (zero it with the jaws "
            "closed and empty), or something charges the battery."
        )
    if np.all(log.amps == log.amps[0]):
        yield "Every value is the same: the logger is frozen, or its leads are not connected."
    elif log.resolution > COARSE * float(np.median(np.abs(log.amps))):
        yield f"The instrument resolves {log.resolution * 1000:.0f} mA only, which is coarse for what it measures."
    if log.duration < 3600:
        yield "Less than an hour: vehicles can take 20 to 60 minutes to sleep (common practice, no source)."
