"""What a current log shows: when the vehicle sleeps, at what level, what wakes it, what that costs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass, replace
from itertools import groupby
from typing import Any

import numpy as np

from halfsplit.drain.asking import Question, question
from halfsplit.drain.levels import Segment, segments
from halfsplit.drain.log import CurrentLog

HOUR = 3600.0
DAY_HOURS = 24.0

SETTLED = 120.0
SLEEP_BAND = 0.5
SLEEP_MARGIN = 0.003
USUAL_LIMIT = 0.05
"""Asleep, a vehicle draws at most 50 mA (common practice, no source)."""

AWAKE = 0.4
"""Above this, units are awake (common practice, no source)."""

STUCK = 1800.0
ALIKE = 1.35
REGULAR = 0.1


@dataclass(frozen=True, slots=True)
class Instrument:
    """How well the current was measured: share of the reading, and amps of offset (one standard deviation each).

    floor: below this many amps it cannot tell anything.
    """

    name: str
    share: float
    offset: float
    floor: float = 0.0


METER = Instrument("meter", 0.005, 0.0005)
CLAMP = Instrument("clamp", 0.02, 0.03, floor=0.1)
SHUNT = Instrument("shunt", 0.003, 0.0002)
INSTRUMENTS = {instrument.name: instrument for instrument in (METER, CLAMP, SHUNT)}
"""Meter in series, current clamp, shunt with a logger (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class WakeUp:
    """One time awake. start, seconds: s. mean, peak: A. charge: Ah above the level asleep."""

    start: float
    seconds: float
    mean: float
    peak: float
    charge: float


@dataclass(frozen=True, slots=True)
class WakeKind:
    """Wake-ups that look alike. period: s between starts, None for one alone; regular: whether it keeps that period.

    charge: Ah that one costs. amps: A, what they add to the mean current.
    """

    count: int
    period: float | None
    regular: bool
    seconds: float
    mean: float
    charge: float
    amps: float
    first: float


@dataclass(frozen=True, slots=True)
class DrainAnalysis:
    """The result. Currents in A, times in s from the start of the log, charges in Ah.

    level: asleep, None if it never sleeps; level_error: one standard deviation. asleep_after: None likewise.
    mean, mean_error: of the current from the first sleep on (of the whole log if it never sleeps).
    verdict: one sentence. question: what has to be said first, with a proposal, or
    None. remarks: what was odd about the log. segments: every level, in order.
    """

    level: float | None
    level_error: float
    asleep_after: float | None
    charge_until_asleep: float
    wake_ups: tuple[WakeUp, ...]
    kinds: tuple[WakeKind, ...]
    mean: float
    mean_error: float
    segments: tuple[Segment, ...]
    verdict: str
    remarks: tuple[str, ...]
    instrument: Instrument
    duration: float
    can_tell: bool = True
    question: Question | None = None

    @property
    def ampere_hours_a_day(self) -> float:
        """Ah that the battery loses in a day at the mean current."""
        return self.mean * DAY_HOURS

    @property
    def wake_share(self) -> float:
        """The share of the mean current that the wake-ups make, 0 to 1."""
        return sum(kind.amps for kind in self.kinds) / self.mean if self.mean > 0 else 0.0

    def as_dict(self) -> dict[str, Any]:
        """Everything as plain values."""
        return asdict(self) | {"ampere_hours_a_day": self.ampere_hours_a_day, "wake_share": self.wake_share}


def analyse(log: CurrentLog, instrument: Instrument = METER) -> DrainAnalysis:
    """Analyse a log. Never fails on a log that could be made: what cannot be told is said in the verdict."""
    stretches = segments(log)
    base = _level_asleep(stretches)
    asleep = [part for part in stretches if base is not None and _sleeps(part, base, log.resolution)]
    start, level, scatter = None, None, 0.0
    wake_ups: tuple[WakeUp, ...] = ()
    rest = list(stretches)
    if base is not None and asleep:
        start = asleep[0].start
        rest = [part for part in stretches if part.start >= start]
        level = _weighted([part for part in asleep if part.mean > -SLEEP_MARGIN] or asleep)
        wake_ups = tuple(_wake_ups(log, rest, base, level))
        seconds = sum(part.seconds for part in asleep)
        scatter = float(np.sqrt(sum((part.error * part.seconds / seconds) ** 2 for part in asleep)))
    mean, spread = _mean_current(log, 0.0 if start is None else start)
    result = DrainAnalysis(
        level=level,
        level_error=_error(instrument, level or 0.0, scatter),
        asleep_after=start,
        charge_until_asleep=_charge(log, 0.0, start) if start else 0.0,
        wake_ups=wake_ups,
        kinds=_kinds(wake_ups, log, rest[0].start),
        mean=mean,
        mean_error=_error(instrument, mean, spread),
        segments=stretches,
        verdict="",
        remarks=log.remarks,
        instrument=instrument,
        duration=log.duration,
        can_tell=level is None or level >= instrument.floor,
    )
    asked = question(log.amps, level, unit_said=log.unit_said)
    if asked:
        return replace(result, verdict=f"Cannot tell: {asked.words}", can_tell=False, question=asked)
    return replace(result, verdict=_verdict(result))


def _level_asleep(stretches: Iterable[Segment]) -> float | None:
    """The lowest level that holds for two minutes, or None. From the first sample on: it slept before the log began.

    Levels below zero count only if they fill most of the log: else something charged the battery for a while.
    """
    lasting = [segment for segment in stretches if segment.seconds >= SETTLED]
    positive = [segment for segment in lasting if segment.mean > -SLEEP_MARGIN]
    mostly = sum(part.seconds for part in positive) >= 0.5 * sum(part.seconds for part in lasting)
    return min((segment.mean for segment in (positive if mostly else lasting)), default=None)


def _sleeps(segment: Segment, base: float, resolution: float) -> bool:
    return segment.mean <= base + SLEEP_BAND * abs(base) + max(SLEEP_MARGIN, resolution)


def _weighted(parts: list[Segment]) -> float:
    seconds = sum(part.seconds for part in parts)
    return sum(part.mean * part.seconds for part in parts) / seconds


def _wake_ups(log: CurrentLog, rest: list[Segment], base: float, level: float) -> Iterator[WakeUp]:
    """Stretches between two sleeps; one that the log ends in is a wake-up too."""
    for sleeps, group in groupby(rest, key=lambda segment: _sleeps(segment, base, log.resolution)):
        parts = list(group)
        if sleeps:
            continue
        start, end = parts[0].start, parts[-1].end
        first, last = np.searchsorted(log.seconds, (start, end))
        charge = _charge(log, start, end) - level * (end - start) / HOUR
        peak = float(np.max(log.amps[first : max(last, first + 1)]))
        yield WakeUp(start, end - start, _weighted(parts), peak, charge)


def _charge(log: CurrentLog, start: float, end: float) -> float:
    """Ah between two times; in a gap nothing is counted."""
    first, last = np.searchsorted(log.seconds, (start, end))
    steps = np.minimum(np.diff(log.seconds[first : last + 1]), 5 * log.step)
    return float(np.sum(log.amps[first : first + steps.size] * steps)) / HOUR


def _mean_current(log: CurrentLog, start: float) -> tuple[float, float]:
    """Mean from `start` on, by time, and its standard error from eight parts of it."""
    first = int(np.searchsorted(log.seconds, start))
    steps = np.minimum(np.diff(log.seconds[first:]), 5 * log.step)
    amps = log.amps[first : first + steps.size]
    mean = float(np.average(amps, weights=steps))
    parts = [part.mean() for part in np.array_split(amps, 8) if part.size]
    return mean, float(np.std(parts, ddof=1) / np.sqrt(len(parts))) if len(parts) > 1 else 0.0


def _error(instrument: Instrument, amps: float, scatter: float) -> float:
    return float(np.hypot(np.hypot(instrument.share * amps, instrument.offset), scatter))


def _kinds(wake_ups: tuple[WakeUp, ...], log: CurrentLog, start: float) -> tuple[WakeKind, ...]:
    """Wake-ups from `start` on, grouped by mean current and length, the costliest group first."""
    lost = sum(end - max(begin, start) for begin, end in log.gaps if end > start)
    seconds = max(log.duration - start - lost, log.step)
    groups: list[list[WakeUp]] = []
    for wake in wake_ups:
        group = next((group for group in groups if _alike(group[0], wake)), None)
        if group is None:
            groups.append([wake])
        else:
            group.append(wake)
    kinds = []
    for group in groups:
        steps = np.diff([wake.start for wake in group])
        period = float(np.median(steps)) if steps.size else None
        wanders = float(np.median(np.abs(steps - period))) if period is not None else 0.0
        charge = float(np.mean([wake.charge for wake in group]))
        kind = WakeKind(
            count=len(group),
            period=period,
            regular=period is not None and steps.size >= 2 and wanders <= REGULAR * period,
            seconds=float(np.median([wake.seconds for wake in group])),
            mean=float(np.mean([wake.mean for wake in group])),
            charge=charge,
            amps=charge * len(group) * HOUR / seconds,
            first=group[0].start,
        )
        kinds.append(kind)
    return tuple(sorted(kinds, key=lambda kind: -kind.amps))


def _alike(a: WakeUp, b: WakeUp) -> bool:
    """Whether two last and draw about the same."""
    (short, long), (low, high) = sorted((a.seconds, b.seconds)), sorted((a.mean, b.mean))
    return (long - short <= 2.0 or long <= ALIKE * short) and high <= ALIKE * low


def _verdict(analysis: DrainAnalysis) -> str:
    if analysis.level is None:
        why = "the vehicle does not sleep, or the log is too short"
        return f"The current never settles for two minutes: {why}."
    if not analysis.can_tell:
        floor = f"a {analysis.instrument.name} says nothing below {1000 * analysis.instrument.floor:.0f} mA"
        return f"Cannot tell: {floor}. Use a meter in series or a shunt, or millivolts across the fuses."
    if analysis.level > AWAKE:
        return f"It does not sleep: never below {analysis.level:.2f} A for two minutes."
    level = f"{1000 * analysis.level:.0f} mA asleep"
    if analysis.level > USUAL_LIMIT:
        return f"{level}, more than the usual {1000 * USUAL_LIMIT:.0f} mA: something stays on. Look for its branch."
    last = analysis.wake_ups[-1] if analysis.wake_ups else None
    if last is not None and last.seconds > STUCK and last.start + last.seconds >= analysis.duration - 1:
        woke = f"it woke after {last.start / HOUR:.1f} h and did not sleep again"
        return f"{level} is usual, but {woke}: {last.mean:.2f} A."
    if analysis.mean > USUAL_LIMIT:
        return f"{level} is usual, but {1000 * analysis.mean:.0f} mA on average: it is woken. Look for what wakes it."
    return f"{level} and {1000 * analysis.mean:.0f} mA on average: usual values."
