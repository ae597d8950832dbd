"""From a capture and the roles of its channels to results: which analyses apply, and on what arrays."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from typing import ClassVar, Final, Literal

import numpy as np

from halfsplit.capture.capture import Capture
from halfsplit.capture.channel import Channel
from halfsplit.capture.measure.bus_traffic import BusLogResult, bus_traffic
from halfsplit.capture.measure.can import CanResult, can, can_logic
from halfsplit.capture.measure.charging import ChargingResult, charging
from halfsplit.capture.measure.crank_cam import CrankCamResult, crank_cam
from halfsplit.capture.measure.cranking import CrankingResult, cranking
from halfsplit.capture.measure.diagnostic_line import DiagnosticLineResult, diagnostic_line
from halfsplit.capture.measure.duty_cycle import DutyResult, duty_cycle, duty_edges
from halfsplit.capture.measure.general import GeneralResult, general, general_edges
from halfsplit.capture.measure.ignition_coil import CoilResult, ignition_coil
from halfsplit.capture.measure.injector import InjectorResult, compare, injector
from halfsplit.capture.measure.lin import LinResult, lin, lin_logic
from halfsplit.capture.measure.motor_current import MotorResult, motor_current
from halfsplit.capture.measure.relative_compression import CompressionResult, relative_compression
from halfsplit.capture.measure.result import CannotTell, Mark, R, Result, answers
from halfsplit.capture.measure.sensor import sensor_edges
from halfsplit.capture.measure.signal import Edges, Floats, Levels, edges, level_edges, two_levels
from halfsplit.capture.measure.trust import not_whole, without_wild
from halfsplit.capture.measure.voltage_drop import DropResult, voltage_drop
from halfsplit.capture.roles import INJECTORS, is_logic, role_named
from halfsplit.errors import InputError


@dataclass(frozen=True)
class Setup:
    """What the technician knows of the vehicle and the measurement; each may stay unknown.

    `celsius` and `state_of_charge` (0 to 1) are the battery's; `sync_degrees` the crank degrees of the sync pulse
    after the dead centre of `sync_cylinder`; `teeth` the crank edges of a turn; `path` a key of the voltage drop's
    limits; `bit_rate` CAN's in bits a second; `reference` the result of a good crank and cam capture.
    """

    cylinders: int | None = None
    firing_order: tuple[int, ...] = ()
    celsius: float | None = None
    state_of_charge: float | None = None
    sync_cylinder: int = 1
    sync_degrees: float = 0.0
    teeth: int | None = None
    segments: int | None = None
    rated_amps: float | None = None
    supply: float | None = None
    bit_rate: float | None = None
    path: str = "feed"
    reference: CrankCamResult | None = None


Named = Mapping[str, Channel]
Run = Callable[[Named, Setup], Result | None]


def analyse(capture: Capture, roles: Mapping[str, str], setup: Setup | None = None) -> tuple[Result, ...]:
    """All results that the roles allow, in the order of `ANALYSES`.

    `roles` goes from channel names to role names. Several channels may be injectors: each is measured by itself and
    they are compared. Marks are in the capture's own time. Raises `InputError` for a role that does not exist or, but
    for injectors, that two channels have, and `NotFoundError` for a channel that is not there.
    """
    given: dict[str, list[Channel]] = {}
    for name, role in roles.items():
        given.setdefault(role_named(role).name, []).append(capture[name])
    for role, channels in given.items():
        if len(channels) > 1 and role not in INJECTORS:
            first, second, *_ = (channel.name for channel in channels)
            raise InputError(f"two channels are given as {role!r}: {first!r} and {second!r}")
    asked = [(role, channel) for role, channels in given.items() for channel in channels]
    wrong = [_unscaled(role, channel) for role, channel in asked]
    pairs = [pair for pair, unfit in zip(asked, wrong, strict=True) if unfit is None]
    named = dict(pairs)
    injectors = [(role, channel) for role, channel in pairs if role in INJECTORS]
    if len(injectors) == len(named.keys() & INJECTORS):
        injectors = []
    else:
        named = {role: channel for role, channel in named.items() if role not in INJECTORS}
    known = setup or Setup()
    results: list[Result] = []
    for kind, needs, run in ANALYSES:
        if any(need in named for need in needs):
            try:
                result = run(named, known)
            except CannotTell as because:
                result = kind(verdict="cannot tell", reason=because.message)
            results += [result] if result is not None else []
    # Cranking, relative compression and charging may share the battery's volts: what these show decides.
    shared = () if "starter current" in named else (CrankingResult, CompressionResult, ChargingResult)
    judged = any(isinstance(result, shared) and result.verdict != "cannot tell" for result in results)
    kept = [r for r in results if not (judged and isinstance(r, shared) and r.verdict == "cannot tell")]
    return (*filter(None, wrong), *kept, *_injectors(injectors, known))


def _injectors(each: Sequence[tuple[str, Channel]], known: Setup) -> Iterator[Result]:
    """Those of several cylinders, one by one, and their differences."""
    one_by_one = answers(InjectorResult)(_injector)
    measured = {channel.name: one_by_one({role: channel}, known) for role, channel in each}
    for name, result in measured.items():
        yield replace(result, reason=f"{name}: {result.reason}")
    if measured:
        yield compare(measured)


def unassigned(capture: Capture, roles: Mapping[str, str]) -> tuple[GeneralResult, ...]:
    """The general measurements of the channels that have no role."""
    free = (channel for channel in capture.channels if channel.name not in roles)
    return tuple(replace(answers(GeneralResult)(_general)(channel), channel=channel.name) for channel in free)


def _general(channel: Channel) -> GeneralResult:
    if channel.edges and channel.has_time:
        return general_edges(channel.name, *_changes(channel))
    length = min(len(channel), _MOST_GENERAL)
    rate = channel.rate
    if rate is None and channel.has_time and length > 2:
        steps = np.diff(channel.clock(0, length))
        rate = 1.0 / float(np.median(steps[steps > 0])) if (steps > 0).any() else None
    result = general(channel.name, channel.values(0, length), rate, channel.unit)
    if length == len(channel):
        return result
    return replace(result, notes=(*result.notes, f"from the first {length:,} samples"))


class UnitResult(Result):
    """A channel in another unit than its role needs: a clamp that was recorded in volts, counts of a sound card."""

    analysis: ClassVar[str] = "unit"


def _unscaled(role: str, channel: Channel) -> UnitResult | None:
    wanted = role_named(role).unit
    if not wanted or channel.unit not in ("V", "A", "ohm", "s", "count") or channel.unit == wanted:
        return None
    units = f"channel {channel.name!r} is in {channel.unit}, the {role} has to be in {wanted}"
    reason = f"{units}: give its scale, {wanted} for each {channel.unit}"
    return UnitResult(verdict="cannot tell", reason=reason)


def _compression(named: Named, known: Setup) -> Result | None:
    if not known.cylinders:
        return None
    role = "starter current" if "starter current" in named else "battery volts"
    sync = None
    with suppress(CannotTell):  # a channel that shows no pulse tells nothing
        if "sync pulse" in named:
            pulses = _edges(named["sync pulse"])
            # The pulses go up if they are shorter than the pauses between them.
            gaps = np.diff(pulses.times)
            up, down = gaps[pulses.rising[:-1]], gaps[~pulses.rising[:-1]]
            shorter_high = not down.size or not up.size or bool(np.median(up) <= np.median(down))
            sync = pulses.of(shorter_high) - named[role].start
    sampled = _of(
        relative_compression,
        role,
        setup=("cylinders", "firing_order", "sync_cylinder", "sync_degrees"),
        most_rate=_ENOUGH,
        kind="amps" if role == "starter current" else "volts",
        sync=sync,
    )
    return sampled(named, known)


def _charging(named: Named, known: Setup, role: str, kind: Literal["volts", "amps"]) -> Result | None:
    return None if "starter current" in named else _of(charging, role, kind=kind)(named, known)


def _drop(
    drop: Floats | None,
    upper: Floats | None,
    lower: Floats | None,
    amps: Floats | None,
    rate: float,
    *,
    path: str,
) -> DropResult:
    if drop is not None:
        return voltage_drop(drop, None, amps, rate, path=path)
    if upper is None or lower is None:
        raise CannotTell("only one end of the path was recorded: record both, or the drop across it")
    return voltage_drop(upper, lower, amps, rate, path=path)


# Analyses of edges


def _crank(named: Named, known: Setup) -> CrankCamResult:
    """Edges keep the capture's time, so these marks need no shift. A cam alone is measured as the wheel it is."""
    signal = _edges(named["crank"] if "crank" in named else named["cam"])
    cam = _edges(named["cam"]) if "crank" in named and "cam" in named else None
    result = crank_cam(signal, cam, teeth=known.teeth, reference=known.reference)
    if "crank" in named:
        return result
    note = "the camshaft's own wheel: its speeds are given as a crankshaft's, double them"
    return replace(result, notes=(*result.notes, note))


def _edges(channel: Channel) -> Edges:
    """Edges in the capture's time. Raises `CannotTell`."""
    _require_time(channel)
    if channel.edges:
        return _changes(channel)[0]
    (values,), rate, start = together([channel])
    edges = sensor_edges(without_wild("crank", values)[0], rate)
    return Edges(edges.times + start, edges.rising, edges.starts_high)


def _changes(channel: Channel) -> tuple[Edges, float]:
    """The edges of a record of them, and the resolution of its clock in seconds. Raises `CannotTell`."""
    resolution = max(least_step(channel) / 20, 1e-9)
    return level_edges(channel.clock(), channel.values()), resolution


def _duty(named: Named, known: Setup) -> Result:
    channel = named["switched signal"]
    if channel.edges:
        return duty_edges(*_changes(channel))
    return _of(duty_cycle, "switched signal")(named, known)


def _can(named: Named, known: Setup) -> Result:
    if "CAN high" in named and "CAN low" in named:
        return _of(can, "CAN high", "CAN low", setup=("bit_rate",))(named, known)
    role = next(name for name in ("CAN receive", "CAN high", "CAN low") if name in named)
    return _logic(named[role], partial(can_logic, bit_rate=known.bit_rate))


def _bus_log(named: Named, known: Setup) -> BusLogResult:
    frames, lengths = named["bus frames"], named.get("bus frame bytes")
    _require_time(frames)
    if not np.isfinite(frames.raw).all():
        raise CannotTell(
            f"channel {frames.name!r} has samples that are no identifiers: give the log as it was written"
        )
    sizes = np.asarray(lengths.raw) if lengths is not None and len(lengths) == len(frames) else None
    return bus_traffic(frames.clock(), np.asarray(frames.raw, np.uint32), sizes, bit_rate=known.bit_rate)


def _lin(named: Named, known: Setup) -> Result:
    channel = named["LIN"]
    if channel.edges or is_logic(channel):
        return _logic(channel, lin_logic)
    return _of(lin, "LIN", setup=("supply",))(named, known)


def _logic(channel: Channel, run: Callable[[Edges, int, float], Result]) -> Result:
    """Run a decoder on one line, sampled or as a record of edges; its times count from the first sample."""
    _require_time(channel)
    if channel.edges:
        rate = 20.0 / least_step(channel)
        start = float(channel.clock()[0])
        clock = channel.clock() - start
        signal, samples = level_edges(clock, channel.values()), int(clock[-1] * rate) + 1
    else:
        (values,), rate, start = together([channel])
        levels = two_levels(values) or Levels(float(values.min()), float(values.max()), 0.0, 0.0)
        if levels.swing <= 0:
            raise CannotTell(f"the line stays at {levels.low:g}: nothing is sent")
        signal, samples = edges(values, rate, *levels.walls(0.3)), values.size
    return _moved(run(signal, samples, rate), start)


_MOST_GENERAL: Final = 5_000_000
"""Samples from which the general measurements are taken."""

_ENOUGH: Final = 20_000.0
"""Samples a second for what a starter does: its ripple has no more, and its spectrum is cheap then."""


def _require_time(channel: Channel) -> None:
    if not channel.has_time:
        raise CannotTell(f"channel {channel.name!r} has no time base: give its sample rate")


def _moved(result: R, start: float) -> R:
    if abs(start) < 1e-9:
        return result
    marks = tuple(Mark(m.start + start, m.stop + start, m.label) for m in result.marks)
    note = f"times count from the first sample, at {start:g} s"
    return replace(result, marks=marks, notes=(*result.notes, note))


def _of(
    analysis: Callable[..., R],
    *roles: str,
    setup: Sequence[str] = (),
    most_rate: float = np.inf,
    **more: object,
) -> Callable[[Named, Setup], R]:
    """What runs an analysis on the sampled traces of these roles (None: not recorded), at one rate.

    `setup` names what it takes of the `Setup`. Traces far above `most_rate` (samples a second) are taken as means over
    whole samples. The marks of its result are in the capture's time.
    """

    def run(named: Named, known: Setup) -> R:
        there = [role for role in roles if role in named]
        for role in there:
            _require_time(named[role])
        traces, rate, start = together([named[role] for role in there])
        arrays, notes = {}, []
        for role, trace in zip(there, traces, strict=True):
            arrays[role], wild = without_wild(role, trace)
            if wild:
                samples = f"{len(wild)} wild sample{'s' if len(wild) > 1 else ''} left out"
                notes.append(f"{named[role].name}: {samples}, the first at {start + wild[0] / rate:.4f} s")
        for role, values in arrays.items():
            if lacking := not_whole(role, values):
                raise CannotTell(lacking)
        width = max(int(rate / most_rate), 1)
        if width > 1:
            rows = {role: values[: values.size // width * width] for role, values in arrays.items()}
            arrays = {role: values.reshape(-1, width).mean(axis=1) for role, values in rows.items()}
        taken = {name: getattr(known, name) for name in setup}
        result = analysis(*map(arrays.get, roles), rate / width, **taken, **more)
        return _moved(replace(result, notes=(*result.notes, *notes)), start)

    return run


_STARTER: Final = ("battery volts", "starter current")
_COIL: Final = ("coil current", "coil volts")
_ENDS: Final = ("drop volts", "upper volts", "lower volts")
_BATTERY: Final = ("cylinders", "celsius", "state_of_charge")
_injector: Final = _of(injector, *INJECTORS)

ANALYSES: Final[tuple[tuple[type[Result], tuple[str, ...], Run], ...]] = (
    (CrankingResult, _STARTER, _of(cranking, *_STARTER, setup=_BATTERY, most_rate=_ENOUGH)),
    (CompressionResult, _STARTER, _compression),
    (ChargingResult, ("battery volts",), partial(_charging, role="battery volts", kind="volts")),
    (ChargingResult, ("generator current",), partial(_charging, role="generator current", kind="amps")),
    (MotorResult, ("motor current",), _of(motor_current, "motor current", setup=("segments", "rated_amps"))),
    (InjectorResult, INJECTORS, _injector),
    (CoilResult, _COIL, _of(ignition_coil, *_COIL, setup=("supply",))),
    (CrankCamResult, ("crank", "cam"), _crank),
    (DutyResult, ("switched signal",), _duty),
    (DropResult, _ENDS, _of(_drop, *_ENDS, "load current", setup=("path",))),
    (CanResult, ("CAN high", "CAN low", "CAN receive"), _can),
    (LinResult, ("LIN",), _lin),
    (BusLogResult, ("bus frames",), _bus_log),
    (DiagnosticLineResult, ("diagnostic line",), lambda n, _: _logic(n["diagnostic line"], diagnostic_line)),
)
"""Each analysis by its result: the roles that it can start from, and what runs it (None: it does not apply)."""


# Channels brought to one rate, and what their times say


def together(channels: Sequence[Channel]) -> tuple[list[Floats], float, float]:
    """The channels' values at one rate, that rate and the time of the first sample.

    Channels of one even time base are taken as they are; others are brought to the fastest of the rates over their
    common time, by straight lines between samples.
    """
    empty = next((channel.name for channel in channels if not len(channel)), None)
    if empty is not None:
        raise CannotTell(f"channel {empty!r} holds no sample here")
    first = channels[0]
    base = {(channel.rate, channel.start, len(channel)) for channel in channels}
    if first.rate and len(base) == 1:
        return [channel.values() for channel in channels], first.rate, first.start
    rate = max(c.rate or 1.0 / float(np.median(_steps(c, "two different times"))) for c in channels)
    start, stop = max(c.clock()[0] for c in channels), min(c.stop for c in channels)
    if stop - start < 2 / rate:
        raise CannotTell("the channels have no time in common")
    clock = start + np.arange(int((stop - start) * rate) + 1) / rate
    return [np.interp(clock, channel.clock(), channel.values()) for channel in channels], rate, float(start)


def least_step(channel: Channel) -> float:
    """Seconds between the two closest changes of a record of edges. Raises `CannotTell` where there are no two."""
    return float(_steps(channel, "two changes").min())


def _steps(channel: Channel, lacking: str) -> Floats:
    steps = np.diff(channel.clock())
    steps = steps[steps > 0]
    if not steps.size:
        raise CannotTell(f"channel {channel.name!r} has no {lacking}")
    return np.asarray(steps)
