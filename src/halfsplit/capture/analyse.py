"""From a capture and the roles of its channels to results: which analyses apply, and on what arrays."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar, Final, Literal, TypeVar

import numpy as np

from halfsplit.capture.aligned import least_step, together
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
from halfsplit.capture.measure.injector import InjectorResult, injector
from halfsplit.capture.measure.lin import LinResult, lin, lin_logic
from halfsplit.capture.measure.motor_current import MotorResult, motor_current
from halfsplit.capture.measure.relative_compression import CompressionResult, relative_compression
from halfsplit.capture.measure.result import CannotTell, Mark, Result
from halfsplit.capture.measure.sensor import sensor_edges
from halfsplit.capture.measure.signal import Edges, Floats, edges, level_edges, two_levels
from halfsplit.capture.measure.trust import not_whole, without_wild
from halfsplit.capture.measure.voltage_drop import DropResult, voltage_drop
from halfsplit.capture.roles import is_logic, role_named
from halfsplit.errors import InputError

R = TypeVar("R", bound=Result)


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


def analyse(capture: Capture, roles: Mapping[str, str], setup: Setup | None = None) -> tuple[Result, ...]:
    """All results that the roles allow, in the order of `ANALYSES`.

    `roles` goes from channel names to role names. Marks are in the capture's own time. Raises `InputError` for a role
    that does not exist or that two channels have, and `NotFoundError` for a channel that is not there.
    """
    named: dict[str, Channel] = {}
    for channel, role in roles.items():
        name = role_named(role).name
        if name in named:
            raise InputError(f"two channels are given as {name!r}: {named[name].name!r} and {channel!r}")
        named[name] = capture[channel]
    known = setup or Setup()
    wrong = [_unscaled(role, channel) for role, channel in named.items() if _needs_scale(role, channel)]
    named = {role: channel for role, channel in named.items() if not _needs_scale(role, channel)}
    results = wrong + [
        result
        for needs, run in ANALYSES
        if any(need in named for need in needs)
        for result in run(named, known)
    ]
    return tuple(results)


def unassigned(capture: Capture, roles: Mapping[str, str]) -> tuple[GeneralResult, ...]:
    """The general measurements of the channels that have no role."""
    return tuple(_general(channel) for channel in capture.channels if channel.name not in roles)


def _general(channel: Channel) -> GeneralResult:
    if channel.edges and channel.has_time:
        try:
            step = least_step(channel) / 20
        except CannotTell as because:
            return GeneralResult(verdict="cannot tell", reason=because.message, channel=channel.name)
        return general_edges(channel.name, level_edges(channel.clock(), channel.values()), max(step, 1e-9))
    length = min(len(channel), _MOST_GENERAL)
    rate = channel.rate
    if rate is None and channel.has_time and length > 2:
        steps = np.diff(channel.clock()[:length])
        rate = 1.0 / float(np.median(steps[steps > 0])) if (steps > 0).any() else None
    result = general(channel.name, channel.values(0, length), rate, channel.unit)
    if length == len(channel):
        return result
    return replace(result, notes=(*result.notes, f"from the first {length:,} samples"))


class UnitResult(Result):
    """A channel in another unit than its role needs: a clamp that was recorded in volts, counts of a sound card."""

    analysis: ClassVar[str] = "unit"


def _needs_scale(role: str, channel: Channel) -> bool:
    wanted = role_named(role).unit
    return bool(wanted) and channel.unit in ("V", "A", "ohm", "s", "count") and channel.unit != wanted


def _unscaled(role: str, channel: Channel) -> Result:
    wanted = role_named(role).unit
    reason = (
        f"channel {channel.name!r} is in {channel.unit}, the {role} has to be in {wanted}: give its scale, "
        f"{wanted} for each {channel.unit}"
    )
    return UnitResult(verdict="cannot tell", reason=reason)


def _starting(named: Named, setup: Setup) -> Sequence[Result]:
    """Cranking, relative compression and charging share the battery's volts: what these show decides."""
    results: list[Result] = []
    if "starter current" in named:
        return [*_cranking(named, setup), *_compression(named, setup)]
    if "battery volts" in named:
        results += [*_cranking(named, setup), *_compression(named, setup), *_charging(named, "battery volts")]
    if "generator current" in named:
        results += _charging(named, "generator current")
    judged = [result for result in results if result.verdict != "cannot tell"]
    return judged or results


def _cranking(named: Named, setup: Setup) -> Sequence[Result]:
    def run(arrays: Mapping[str, Floats], rate: float) -> Result:
        arrays, rate = _slower(arrays, rate)
        return cranking(
            arrays.get("battery volts"),
            arrays.get("starter current"),
            rate,
            cylinders=setup.cylinders,
            celsius=setup.celsius,
            state_of_charge=setup.state_of_charge,
        )

    return [_sampled(named, ("battery volts", "starter current"), "cranking", run)]


def _compression(named: Named, setup: Setup) -> Sequence[Result]:
    if not setup.cylinders:
        return []
    role = "starter current" if "starter current" in named else "battery volts"

    def run(arrays: Mapping[str, Floats], rate: float) -> Result:
        arrays, rate = _slower(arrays, rate)
        return relative_compression(
            arrays[role],
            rate,
            kind="amps" if role == "starter current" else "volts",
            cylinders=setup.cylinders or 0,
            firing_order=setup.firing_order,
            sync=_pulses(named, named[role].start),
            sync_cylinder=setup.sync_cylinder,
            sync_degrees=setup.sync_degrees,
        )

    return [_sampled(named, (role,), "relative compression", run)]


def _slower(arrays: Mapping[str, Floats], rate: float) -> tuple[Mapping[str, Floats], float]:
    """Means over whole samples down to some 20 kS/s: a starter's ripple has no more, and its spectrum is cheap then."""
    width = int(rate / _ENOUGH)
    if width < 2:
        return arrays, rate
    means = {
        role: values[: values.size // width * width].reshape(-1, width).mean(axis=1)
        for role, values in arrays.items()
    }
    return means, rate / width


def _pulses(named: Named, start: float) -> Floats | None:
    if "sync pulse" not in named:
        return None
    try:
        pulses = _edges(named["sync pulse"])
    except CannotTell:
        return None
    rises, falls = pulses.of(True), pulses.of(False)
    # The pulses go up if they are shorter than the pauses between them.
    gaps = np.diff(pulses.times)
    up = gaps[pulses.rising[:-1]]
    down = gaps[~pulses.rising[:-1]]
    shorter_high = not down.size or not up.size or bool(np.median(up) <= np.median(down))
    return (rises if shorter_high else falls) - start


def _charging(named: Named, role: str) -> Sequence[Result]:
    kind: Literal["volts", "amps"] = "volts" if role == "battery volts" else "amps"
    return [
        _sampled(named, (role,), "charging", lambda arrays, rate: charging(arrays[role], rate, kind=kind))
    ]


def _motor(named: Named, setup: Setup) -> Sequence[Result]:
    def run(arrays: Mapping[str, Floats], rate: float) -> Result:
        return motor_current(
            arrays["motor current"], rate, segments=setup.segments, rated_amps=setup.rated_amps
        )

    return [_sampled(named, ("motor current",), "motor current", run)]


def _injector(named: Named, setup: Setup) -> Sequence[Result]:
    names = ("injector volts", "injector current")
    return [
        _sampled(named, names, "injector", lambda a, rate: injector(a.get(names[0]), a.get(names[1]), rate))
    ]


def _coil(named: Named, setup: Setup) -> Sequence[Result]:
    def run(arrays: Mapping[str, Floats], rate: float) -> Result:
        return ignition_coil(arrays.get("coil current"), arrays.get("coil volts"), rate, supply=setup.supply)

    return [_sampled(named, ("coil current", "coil volts"), "ignition coil", run)]


def _crank(named: Named, setup: Setup) -> Sequence[Result]:
    """Edges keep the capture's time, so these marks need no shift. A cam alone is measured as the wheel it is."""
    crank = named["crank"] if "crank" in named else named["cam"]
    try:
        signal = _edges(crank)
        cam = _edges(named["cam"]) if "crank" in named and "cam" in named else None
    except CannotTell as because:
        return [CrankCamResult(verdict="cannot tell", reason=because.message)]
    result = crank_cam(signal, cam, teeth=setup.teeth, reference=setup.reference)
    if "crank" not in named:
        note = "the camshaft's own wheel: its speeds are given as a crankshaft's, double them"
        result = replace(result, notes=(*result.notes, note))
    return [result]


def _edges(channel: Channel) -> Edges:
    """Edges in the capture's time. Raises `CannotTell`."""
    if not channel.has_time:
        raise CannotTell(_NO_TIME.format(channel.name))
    if channel.edges:
        least_step(channel)
        return level_edges(channel.clock(), channel.values())
    (values,), rate, start = together([channel])
    edges = sensor_edges(without_wild("crank", values)[0], rate)
    return Edges(edges.times + start, edges.rising, edges.starts_high)


def _duty(named: Named, setup: Setup) -> Sequence[Result]:
    channel = named["switched signal"]
    if channel.edges:
        try:
            step = least_step(channel) / 20
        except CannotTell as because:
            return [DutyResult(verdict="cannot tell", reason=because.message)]
        return [duty_edges(level_edges(channel.clock(), channel.values()), max(step, 1e-9))]
    return [
        _sampled(
            named, ("switched signal",), DutyResult.analysis, lambda a, r: duty_cycle(a["switched signal"], r)
        )
    ]


def _drop(named: Named, setup: Setup) -> Sequence[Result]:
    def run(arrays: Mapping[str, Floats], rate: float) -> Result:
        upper = arrays.get("drop volts", arrays.get("upper volts"))
        lower = None if "drop volts" in arrays else arrays.get("lower volts")
        if upper is None or ("drop volts" not in arrays and lower is None):
            raise CannotTell("only one end of the path was recorded: record both, or the drop across it")
        return voltage_drop(upper, lower, arrays.get("load current"), rate, path=setup.path)

    return [
        _sampled(named, ("drop volts", "upper volts", "lower volts", "load current"), "voltage drop", run)
    ]


def _can(named: Named, setup: Setup) -> Sequence[Result]:
    if "CAN high" in named and "CAN low" in named:
        names = ("CAN high", "CAN low")
        return [
            _sampled(
                named, names, "CAN", lambda a, r: can(a[names[0]], a[names[1]], r, bit_rate=setup.bit_rate)
            )
        ]
    role = next(name for name in ("CAN receive", "CAN high", "CAN low") if name in named)
    return [_logic(named[role], lambda s, n, r: can_logic(s, n, r, bit_rate=setup.bit_rate), CanResult)]


def _bus_log(named: Named, setup: Setup) -> Sequence[Result]:
    frames, lengths = named["bus frames"], named.get("bus frame bytes")
    if not frames.has_time:
        return [BusLogResult(verdict="cannot tell", reason=_NO_TIME.format(frames.name))]
    if not np.isfinite(frames.raw).all():
        return [BusLogResult(verdict="cannot tell", reason=_NO_IDENTIFIER.format(frames.name))]
    sizes = np.asarray(lengths.raw) if lengths is not None and len(lengths) == len(frames) else None
    return [bus_traffic(frames.clock(), np.asarray(frames.raw, np.uint32), sizes, bit_rate=setup.bit_rate)]


def _diagnostic(named: Named, setup: Setup) -> Sequence[Result]:
    return [_logic(named["diagnostic line"], diagnostic_line, DiagnosticLineResult)]


def _lin(named: Named, setup: Setup) -> Sequence[Result]:
    channel = named["LIN"]
    if channel.edges or is_logic(channel):
        return [_logic(channel, lin_logic, LinResult)]
    return [_sampled(named, ("LIN",), "LIN", lambda a, rate: lin(a["LIN"], rate, supply=setup.supply))]


def _logic(channel: Channel, run: Callable[[Edges, int, float], R], kind: type[R]) -> Result:
    """Run a decoder on one line, sampled or as a record of edges; its times count from the first sample."""
    if not channel.has_time:
        return kind(verdict="cannot tell", reason=_NO_TIME.format(channel.name))
    if channel.edges:
        try:
            rate = 20.0 / least_step(channel)
        except CannotTell as because:
            return kind(verdict="cannot tell", reason=because.message)
        clock = channel.clock() - channel.clock()[0]
        return _moved(
            run(level_edges(clock, channel.values()), int(clock[-1] * rate) + 1, rate), channel.clock()[0]
        )
    try:
        (values,), rate, start = together([channel])
    except CannotTell as because:
        return kind(verdict="cannot tell", reason=because.message)
    levels = two_levels(values)
    if levels is None:
        low, high = float(values.min()), float(values.max())
        if high <= low:
            return kind(verdict="cannot tell", reason=f"the line stays at {low:g}: nothing is sent")
        wall = (low + 0.3 * (high - low), low + 0.7 * (high - low))
    else:
        wall = (levels.low + 0.3 * levels.swing, levels.low + 0.7 * levels.swing)
    return _moved(run(edges(values, rate, *wall), values.size, rate), start)


_MOST_GENERAL: Final = 5_000_000
"""Samples from which the general measurements are taken."""

_ENOUGH: Final = 20_000.0
"""Samples a second for what a starter does."""

_NO_TIME: Final = "channel {!r} has no time base: give its sample rate"
_NO_IDENTIFIER: Final = "channel {!r} has samples that are no identifiers: give the log as it was written"


def _sampled(
    named: Named, roles: Sequence[str], analysis: str, run: Callable[[Mapping[str, Floats], float], Result]
) -> Result:
    """Run an analysis on those of the roles that are there, at one rate, and move its marks to the capture's time."""
    there = [role for role in roles if role in named]
    kind = _KINDS[analysis]
    without = [named[role].name for role in there if not named[role].has_time]
    if without:
        return kind(verdict="cannot tell", reason=_NO_TIME.format(without[0]))
    try:
        arrays, rate, start = together([named[role] for role in there])
        mended = {role: without_wild(role, values) for role, values in zip(there, arrays, strict=True)}
        _require_whole({role: values for role, (values, _) in mended.items()})
        result = run({role: values for role, (values, _) in mended.items()}, rate)
    except CannotTell as because:
        return kind(verdict="cannot tell", reason=because.message)
    wild = tuple(
        f"{named[role].name}: {len(places)} wild sample{'s' if len(places) > 1 else ''} left out, the first at "
        f"{start + places[0] / rate:.4f} s"
        for role, (_, places) in mended.items()
        if places
    )
    return _moved(replace(result, notes=(*result.notes, *wild)), start)


def _require_whole(arrays: Mapping[str, Floats]) -> None:
    for role, values in arrays.items():
        if lacking := not_whole(role, values):
            raise CannotTell(lacking)


def _moved(result: R, start: float) -> R:
    if abs(start) < 1e-9:
        return result
    marks = tuple(Mark(m.start + start, m.stop + start, m.label) for m in result.marks)
    return replace(
        result, marks=marks, notes=(*result.notes, f"times count from the first sample, at {start:g} s")
    )


_KINDS: Final[dict[str, type[Result]]] = {
    kind.analysis: kind
    for kind in (
        BusLogResult,
        CanResult,
        ChargingResult,
        CoilResult,
        CompressionResult,
        CrankCamResult,
        CrankingResult,
        DiagnosticLineResult,
        DropResult,
        DutyResult,
        InjectorResult,
        LinResult,
        MotorResult,
    )
}
ANALYSES: Final[tuple[tuple[tuple[str, ...], Callable[[Named, Setup], Sequence[Result]]], ...]] = (
    (("starter current", "battery volts", "generator current"), _starting),
    (("motor current",), _motor),
    (("injector volts", "injector current"), _injector),
    (("coil volts", "coil current"), _coil),
    (("crank", "cam"), _crank),
    (("switched signal",), _duty),
    (("drop volts", "upper volts", "lower volts"), _drop),
    (("CAN high", "CAN low", "CAN receive"), _can),
    (("LIN",), _lin),
    (("bus frames",), _bus_log),
    (("diagnostic line",), _diagnostic),
)
"""The roles that an analysis can start from, and what runs it."""
