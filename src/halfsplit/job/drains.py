"""The parasitic draw of a job: its log, its battery, its branches, kept like all evidence.

Entry `drain` is a log (the file is an attachment), `drain reading` how one is read otherwise (its unit, the
instrument's zero, the way round), `drain battery` what is known of the battery. The analysis is made from them each
time.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from halfsplit.drain import (
    CAUTIONS,
    INSTRUMENTS,
    Battery,
    DrainAnalysis,
    Forecast,
    analyse,
    days_until_no_start,
    parse_log,
)
from halfsplit.drain.asking import Question
from halfsplit.drain.battery import RESTED, TABLES, StateOfCharge, state_of_charge
from halfsplit.drain.plot import plot_svg
from halfsplit.drain.read import text_of
from halfsplit.drain.words import amps_words, time_words
from halfsplit.errors import HalfsplitError, InputError, NotFoundError
from halfsplit.job.battery import KINDS
from halfsplit.job.drain_branches import Branches, branches_of, checked_instrument
from halfsplit.job.open_job import OpenJob, new_id
from halfsplit.job.verbs import strike
from halfsplit.job.views import shown_as

LARGEST_LOG = 39_000_000
UNITS = ("", "A", "mA", "uA")
KEPT = 8
MOST_ROWS = 200
"""Levels and kinds of wake-ups that are listed."""


@dataclass(frozen=True)
class DrainLog:
    """A log as it is kept. ``how``: unit, interval and instrument as they were given."""

    drain_id: str
    name: str
    at: datetime
    who: str
    file: str
    how: Mapping[str, Any]


@dataclass(frozen=True)
class DrainFigures:
    """What a log shows, in words. ``facts``: (what, value); ``levels``: (from, for how long, mean), ``more`` left out.

    ``wakes``: (how often, how long, mean, every, charge of one, share of the mean current). ``plot``: SVG of our own.
    ``question``: what has to be answered first; ``certain``: what holds whatever the answer.
    """

    log: DrainLog
    verdict: str
    can_tell: bool
    usual: bool
    facts: tuple[tuple[str, str], ...]
    wakes: tuple[tuple[str, str, str, str, str, str], ...]
    levels: tuple[tuple[str, str, str], ...]
    more: int
    remarks: tuple[str, ...]
    plot: str
    question: Question | None = None
    certain: str = ""


@dataclass(frozen=True)
class DrainView:
    """Everything about a drain. ``battery``: what was entered; ``charge``, ``forecast``: told of it."""

    logs: tuple[DrainLog, ...]
    figures: DrainFigures | None
    problem: str
    battery: Mapping[str, Any]
    charge: StateOfCharge | None
    forecast: Forecast | None
    branches: Branches
    cautions: tuple[str, ...]


# The log


def keep_log(job: OpenJob, data: bytes, *, name: str, how: Mapping[str, Any]) -> DrainLog:
    """Store a current log. Raises InputError, which says what was expected, and nothing is stored then."""
    if len(data) > LARGEST_LOG:
        raise InputError(
            f"larger than {LARGEST_LOG // 1_000_000} MB", remedy="log one sample a second", where=name
        )
    given = _how(how)
    shown = _worked_out(data, name, given)
    drain_id = new_id()
    kept = job.keep_file("capture", data, name=name, file_id=f"{drain_id}-file")
    said = {
        "file": kept.attachment_id,
        "name": kept.name,
        "sha256": kept.sha256,
        **given,
        "text": f"Current log “{kept.name}”: {shown[0].verdict}",
    }
    entry = job.keep("drain", said, entry_id=drain_id)
    _remember((kept.sha256, *given.values()), shown)
    return DrainLog(drain_id, kept.name, entry.at, job.who, kept.attachment_id, given)


def _how(how: Mapping[str, Any]) -> dict[str, Any]:
    """Unit, interval and instrument, checked. Raises InputError."""
    unit, instrument = str(how.get("unit") or ""), str(how.get("instrument") or "meter")
    if unit not in UNITS:
        raise InputError(f"{unit[:20]!r} is no unit of a current", remedy="A, mA or uA", where="unit")
    checked_instrument(instrument)
    interval = how.get("interval")
    if interval is not None and not 1e-4 <= float(interval) <= 3600:
        raise InputError(
            f"{interval:g} s between samples", remedy="enter seconds, from 0.0001 to 3600", where="interval"
        )
    zero = float(how.get("zero") or 0.0)  # what the instrument shows without a current, in A
    if not -50 <= zero <= 50:
        raise InputError(f"a zero of {zero:g} A", remedy="enter milliamperes, up to 50,000", where="zero")
    return {
        "unit": unit,
        "interval": interval,
        "instrument": instrument,
        "zero": zero,
        "turned": how.get("turned") if isinstance(how.get("turned"), bool) else None,
    }


def read_again(job: OpenJob, drain_id: str, how: Mapping[str, Any]) -> DrainLog:
    """Read a log otherwise: ``how`` has its unit, the instrument's zero in A, whether it was turned round (or None).

    The file stays as it came. Raises NotFoundError or InputError, and nothing is stored then.
    """
    log = _log(job, drain_id)
    given = _how({**log.how, **how})
    shown = _worked_out(job.file(log.file), log.name, given)
    turned = {None: "", True: ", turned round", False: ", not turned round"}[given["turned"]]
    words = f"a zero of {amps_words(given['zero'])}{', in ' + given['unit'] if given['unit'] else ''}{turned}"
    said = {
        "drain": drain_id,
        **{name: given[name] for name in AGAIN},
        "text": f"“{log.name}” is read with {words}: {shown[0].verdict}",
    }
    job.keep("drain reading", said)
    return _log(job, drain_id)


AGAIN = ("unit", "zero", "turned")
"""What of a log can be said otherwise after it was loaded."""


def _log(job: OpenJob, drain_id: str) -> DrainLog:
    kept = next((log for log in logs_of(job) if log.drain_id == drain_id), None)
    if kept is None:
        raise NotFoundError(f"there is no log {drain_id[:60]!r} in this job")
    return kept


def _worked_out(data: bytes, name: str, how: Mapping[str, Any]) -> Shown:
    log = parse_log(
        text_of(data, name),
        source=name,
        interval=how["interval"],
        unit=how["unit"] or None,
        zero=how["zero"],
        turned=how["turned"],
    )
    analysis = analyse(log, INSTRUMENTS[how["instrument"]])
    return analysis, plot_svg(log, analysis), plot_svg(log, analysis, standalone=True)


Shown = tuple[DrainAnalysis, str, str]
"""What a log shows, its plot for a page, and its plot for paper."""
_FOUND: OrderedDict[tuple[Any, ...], Shown] = OrderedDict()
"""What the latest logs showed, with their plots: a night of 864,000 samples is not read again for every page."""
_LOCK = threading.Lock()


def _remember(key: tuple[Any, ...], pair: Shown) -> Shown:
    with _LOCK:
        _FOUND[key] = pair
        while len(_FOUND) > KEPT:
            _FOUND.popitem(last=False)
    return pair


def logs_of(job: OpenJob) -> tuple[DrainLog, ...]:
    """The logs of a job that are not struck out, in their order, each read as was said last."""
    again = {
        entry.payload.get("drain"): {name: entry.payload.get(name) for name in AGAIN}
        for entry in job.live("drain reading")
    }
    return tuple(
        DrainLog(
            entry.entry_id,
            str(entry.payload["name"]),
            entry.at,
            entry.who,
            str(entry.payload["file"]),
            _how({**entry.payload, **again.get(entry.entry_id, {})}),
        )
        for entry in job.live("drain")
    )


def analysis_of(job: OpenJob, log: DrainLog) -> Shown:
    """What a kept log shows, and its plots. Raises InputError where it cannot be read any more."""
    key = (job.store.attachment(job.job_id, log.file).sha256, *log.how.values())
    with _LOCK:
        pair = _FOUND.get(key)
    return pair or _remember(key, _worked_out(job.file(log.file), log.name, log.how))


# The battery


def save_battery(job: OpenJob, given: Mapping[str, Any]) -> None:
    """Keep what is known of the battery.

    ``given``: ``capacity`` (Ah), ``kind``, ``volts`` at rest, ``celsius`` of it, ``rested`` (hours), ``charge`` (per
    cent, where it is known otherwise), ``stands`` (°C where the vehicle will stand); None where not known.
    Raises InputError.
    """
    said = {
        name: given.get(name)
        for name in ("capacity", "kind", "volts", "celsius", "rested", "charge", "stands")
    }
    if said["kind"] and said["kind"] not in TABLES:
        raise InputError(f"{said['kind'][:30]!r} is no type of battery", remedy=f"one of {', '.join(TABLES)}")
    charge = charge_of(said)
    if said["capacity"] is not None:
        days_until_no_start(0.01, 0.0, _battery(said, charge))
    capacity = "" if said["capacity"] is None else f"{said['capacity']:g} Ah, "
    said["text"] = f"Battery for the drain: {capacity}{charge.words if charge else 'charge not known'}"
    job.keep("drain battery", said)


def charge_of(said: Mapping[str, Any]) -> StateOfCharge | None:
    """The state of charge by what is known of the battery; None where nothing is."""
    if said.get("charge") is not None:
        share = float(said["charge"]) / 100
        if not 0 <= share <= 1:
            raise InputError(f"{said['charge']:g} % of charge", remedy="enter 0 to 100", where="charge")
        return StateOfCharge(share, 0.05, f"{said['charge']:.0f} % charged, as entered.")
    if said.get("volts") is None:
        return None
    celsius = 20.0 if said.get("celsius") is None else float(said["celsius"])
    return state_of_charge(float(said["volts"]), celsius, said.get("kind") or None, said.get("rested"))


def _battery(said: Mapping[str, Any], charge: StateOfCharge | None) -> Battery:
    battery = Battery(float(said["capacity"]))
    if charge is not None and charge.share is not None:
        battery = replace(battery, charge=charge.share, charge_error=max(charge.error, 0.02))
    stands = said.get("stands")
    return battery if stands is None else replace(battery, celsius=float(stands))


# The whole


def drain_view(job: OpenJob, drain_id: str = "", *, standalone: bool = False) -> DrainView:
    """Everything about the drain of a job; of the log that is named, else the latest. ``standalone``: for paper."""
    job.must_be_there()
    logs = logs_of(job)
    log = next((log for log in logs if log.drain_id == drain_id), logs[-1] if logs else None)
    figures, problem, analysis = None, "", None
    if log is not None:
        try:
            analysis, *plots = analysis_of(job, log)
            figures = _figures(log, analysis, plots[standalone])
        except HalfsplitError as error:
            problem = f"“{log.name}” cannot be read: {error}"
    battery, read = job.last("drain battery"), job.record.intake.battery
    if not battery and read is not None:  # what the intake says, where nothing else was entered
        rested = RESTED if read.rested else None
        kind = KINDS.get(read.type, "")
        battery = {"volts": read.volts, "celsius": read.celsius, "kind": kind, "rested": rested}
    charge, forecast = None, None
    with suppress(InputError):  # what was taken in may be no 12 V battery's
        charge = charge_of(battery)
    if battery.get("capacity") is not None and analysis is not None and analysis.can_tell:
        forecast = days_until_no_start(analysis.mean, analysis.mean_error, _battery(battery, charge))
    branches = branches_of(job, analysis)
    return DrainView(logs, figures, problem, battery, charge, forecast, branches, CAUTIONS)


def _figures(log: DrainLog, analysis: DrainAnalysis, plot: str) -> DrainFigures:
    asked, certain = analysis.question, ""
    if asked is not None and asked.zero is not None and analysis.level is not None:
        # what a zero that is off does not touch: how much being awake adds
        above = amps_words(analysis.mean - analysis.level)
        certain = f"Whatever the zero: the mean is {above} above the level asleep."
    wakes = []
    for kind in analysis.kinds[:MOST_ROWS]:
        about = "" if kind.regular else "irregular, about "
        every = "once" if kind.period is None else f"{about}{time_words(kind.period)}"
        share = f"{100 * kind.amps / analysis.mean:.0f} %" if analysis.mean > 0 else ""
        lasts, draws = time_words(kind.seconds), amps_words(kind.mean)
        wakes.append((f"{kind.count}", lasts, draws, every, f"{1000 * kind.charge:.2f} mAh", share))
    return shown_as(
        DrainFigures,
        analysis,
        log=log,
        usual="usual values" in analysis.verdict,
        facts=tuple(_facts(analysis)),
        wakes=tuple(wakes),
        levels=tuple(
            (time_words(segment.start), time_words(segment.seconds), amps_words(segment.mean))
            for segment in analysis.segments[:MOST_ROWS]
        ),
        more=max(len(analysis.segments) - MOST_ROWS, 0),
        plot=plot,
        certain=certain,
    )


def _facts(analysis: DrainAnalysis) -> Iterator[tuple[str, str]]:
    if analysis.level is not None and analysis.asleep_after is not None:
        yield "Asleep", f"{amps_words(analysis.level)} ± {amps_words(analysis.level_error)}"
        yield "Time to sleep", time_words(analysis.asleep_after)
    yield "Mean", f"{amps_words(analysis.mean)} ± {amps_words(analysis.mean_error)}"
    yield "A day", f"{analysis.ampere_hours_a_day:.2f} Ah"
    if analysis.kinds:
        yield "Of this, wake-ups", f"{100 * analysis.wake_share:.0f} %"
    yield "Log", f"{time_words(analysis.duration)}, by {analysis.instrument.name}"


def strike_log(job: OpenJob, drain_id: str, *, reason: str) -> None:
    """Strike a log out. Raises NotFoundError, or InputError without a reason."""
    _log(job, drain_id)
    strike(job, drain_id, reason=reason)
