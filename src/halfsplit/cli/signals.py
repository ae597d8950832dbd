"""`capture`, `scan` and `drain`: what files of instruments show, without a job."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from halfsplit.cli.app import FAILED, app, example
from halfsplit.cli.circuit import Json
from halfsplit.cli.output import progress, put, put_json, table, tell, write_new
from halfsplit.errors import InputError

if TYPE_CHECKING:
    from halfsplit.capture import Capture
    from halfsplit.drain import DrainAnalysis
    from halfsplit.scan import Comparison, ScanReport

Files = Annotated[
    list[Path] | None, typer.Argument(metavar="FILE…", help="Recorded files.", show_default=False)
]


# capture


@app.command(
    epilog=example(
        "halfsplit capture crank.csv",
        'halfsplit capture crank.csv --role "channel 1=battery volts" --role "channel 2=starter current" --cylinders 4',
        "halfsplit capture --roles",
    )
)
def capture(
    files: Files = None,
    role: Annotated[
        list[str] | None,
        typer.Option(metavar="CHANNEL=ROLE", help="What a channel shows; may be given again."),
    ] = None,
    scale: Annotated[
        list[str] | None,
        typer.Option(
            metavar="CHANNEL=GAINUNIT", help="A gain and a unit, such as 'channel 2=100A' for a clamp."
        ),
    ] = None,
    rate: Annotated[
        float | None, typer.Option(min=1e-3, help="Samples a second, where the file has no time.")
    ] = None,
    cylinders: Annotated[int | None, typer.Option(min=1, max=16, help="Cylinders of the engine.")] = None,
    firing_order: Annotated[str, typer.Option(help="Such as 1,3,4,2.")] = "",
    celsius: Annotated[float | None, typer.Option(help="Temperature of the battery.")] = None,
    path: Annotated[
        str, typer.Option(help="Of a voltage drop: what it was taken over, such as feed or ground.")
    ] = "feed",
    svg: Annotated[
        Path | None, typer.Option(metavar="OUT", help="Draw the (one) capture into this file.")
    ] = None,
    roles: Annotated[bool, typer.Option("--roles", help="List the roles that a channel can have.")] = False,
    as_json: Json = False,
) -> None:
    """Tell what a capture of an oscilloscope shows.

    Each channel has a role, taken from its name where that says it. Only what the trace can carry is measured; for the
    rest the answer is 'cannot tell' with the reason.
    """
    from halfsplit.capture import ROLES, Setup, analyse

    if roles:
        return put(
            table(
                ["role", "unit", "where the leads go"],
                ([one.name, one.unit, one.lead] for one in ROLES.values()),
            )
        )
    _some(files)
    setup = Setup(cylinders=cylinders, firing_order=_firing_order(firing_order), celsius=celsius, path=path)
    told = []
    for file in files or ():
        found = _read_capture(file, scale or [], rate)
        named = _roles(found, role or [])
        results = analyse(found, named, setup)
        told.append((file, found, named, results))
    if svg:
        _draw(told, svg)
    _tell_captures(told, as_json=as_json)
    return None


def _some(files: Sequence[Path] | None) -> None:
    if not files:
        raise typer.BadParameter("at least one is needed", param_hint="FILE")


def _read_capture(file: Path, scale: Sequence[str], rate: float | None) -> Capture:
    from halfsplit.capture import Capture

    with progress(file.name) as done:
        found = Capture.read(file, progress=done)
    gains = dict(_gain(one) for one in scale)
    for name in gains:
        _ = found[name]
    found = found.scaled(gains)
    return found.with_rate(rate) if rate else found


def _gain(text: str) -> tuple[str, tuple[float, str]]:
    """``channel 2=100A`` → ('channel 2', (100.0, 'A'))."""
    name, _, amount = text.rpartition("=")
    number = amount.rstrip("VAWohmkuHzPa ")
    try:
        gain = float(number)
    except ValueError:
        gain = 0.0
    if not name or not gain:
        raise InputError(f"{text!r} is no scale", remedy="write CHANNEL=100A: amps (or another unit) a volt")
    return name, (gain, amount[len(number) :].strip())


def _roles(found: Capture, given: Sequence[str]) -> dict[str, str]:
    from halfsplit.capture import suggested_roles

    named = suggested_roles(found)
    for text in given:
        name, equals, role = text.rpartition("=")
        if not equals or not name:
            raise InputError(
                f"{text!r} names no role", remedy="write CHANNEL=ROLE; the roles are listed by --roles"
            )
        _ = found[name]
        named = {channel: one for channel, one in named.items() if one != role} | {name: role}
    return named


def _firing_order(text: str) -> tuple[int, ...]:
    try:
        return tuple(int(part) for part in text.split(",") if part.strip())
    except ValueError:
        raise InputError(f"{text!r} is no firing order", remedy="write it like 1,3,4,2") from None


Told = list[tuple[Path, "Capture", dict[str, str], tuple[Any, ...]]]


def _draw(told: Told, svg: Path) -> None:
    from halfsplit.capture import plot_svg

    if len(told) != 1:
        raise InputError("a drawing is of one capture", remedy="give one file with --svg")
    _, found, named, results = told[0]
    drawn = plot_svg(found, results, roles=named or None)
    write_new(svg, lambda stream: stream.write(drawn), replace=True)


def _tell_captures(told: Told, *, as_json: bool) -> None:
    from halfsplit.capture import results_dict

    if as_json:
        return put_json(
            [
                {
                    "file": file.name,
                    "channels": _channels(found),
                    "roles": named,
                    "notes": list(found.notes),
                    **results_dict(results),
                }
                for file, found, named, results in told
            ]
        )
    return put("\n\n".join("\n".join(_capture_lines(*one)) for one in told))


def _channels(found: Capture) -> list[dict[str, Any]]:
    return [
        {
            "name": one.name,
            "unit": one.unit,
            "samples": len(one),
            "rate": one.rate,
            "start": one.start,
            "stop": one.stop,
        }
        for one in found.channels
    ]


def _capture_lines(
    file: Path, found: Capture, named: dict[str, str], results: tuple[Any, ...]
) -> Iterator[str]:
    from halfsplit.capture import report_lines

    yield file.name
    for one in found.channels:
        base = f"{one.stop - one.start:.4g} s" if one.has_time else "no time base"
        yield f"  {one.name}: {named.get(one.name, 'no role')}, {len(one):,} samples, {base}"
    yield from (f"  {note}" for note in found.notes)
    yield from report_lines(results)


# scan


@app.command(
    epilog=example(
        "halfsplit scan before.txt",
        "halfsplit scan before.txt after.txt",
        "halfsplit scan --live socketcan:can0 --save now.txt",
    )
)
def scan(
    files: Files = None,
    live: Annotated[str, typer.Option(metavar="CHANNEL", help="Read a vehicle: interface:channel.")] = "",
    bit_rate: Annotated[int, typer.Option(help="Bits a second on the bus, for --live.")] = 500_000,
    save: Annotated[Path | None, typer.Option(help="Save what --live read as a report.")] = None,
    as_json: Json = False,
) -> None:
    """List the fault codes of a saved scan report, or of a vehicle; with two reports, compare them.

    Compared are the first (before) and the second (after): exit status 1 unless all codes are gone and every unit
    answers. Nothing is cleared by this command.
    """
    if live:
        if files:
            raise typer.BadParameter("is read instead of files", param_hint="--live")
        return _live(live, bit_rate, save, as_json=as_json)
    from halfsplit.scan import ScanReport, compare

    _some(files)
    reports = [ScanReport.read(file) for file in files or ()]
    if len(reports) == 2:
        found = compare(reports[0], reports[1])
        put_json(found.as_dict()) if as_json else put("\n".join(_comparison(found)))
        raise typer.Exit(0 if found.clean else FAILED)
    if as_json:
        return put_json([one.as_dict() for one in reports])
    return put("\n\n".join("\n".join(_report(one)) for one in reports))


def _report(found: ScanReport) -> Iterator[str]:
    yield found.source
    for name, text in found.vehicle.items():
        yield f"  {name}: {text}"
    for unit in found.units:
        yield f"{unit.name}{'' if unit.answers is not False else ': does not answer'}"
        for code in unit.codes:
            meaning = code.code.words if code.code else code.words
            status = f" ({code.status_words})" if code.status_words else ""
            yield f"  {code.name}  {meaning}{status}"
            if code.code and code.code.caution:
                yield f"    Caution: {code.code.caution}"
        if not unit.codes and unit.answers:
            yield "  no codes"
    yield from (f"Look at this: {warning}" for warning in found.warnings)


def _comparison(found: Comparison) -> Iterator[str]:
    from halfsplit.scan.compare import VERDICTS

    for verdict in VERDICTS:
        for change in found.of(verdict):
            status = " → ".join(word for word in (change.before, change.after) if word)
            yield f"{verdict:14}  {change.unit}  {change.code}  {status or change.why}".rstrip()
    for words, names in (
        ("answers now", found.answers_now),
        ("silent now", found.silent_now),
        ("still silent", found.still_silent),
        ("not read again", found.not_read),
        ("added", found.added),
    ):
        if names:
            yield f"{words:14}  {', '.join(names)}"
    yield from found.notes


def _live(channel: str, bit_rate: int, save: Path | None, *, as_json: bool) -> None:
    from halfsplit.scan.channel import Channel
    from halfsplit.scan.live import scan as scan_bus

    found = scan_bus(Channel.parse(channel, bit_rate), progress=tell)
    if save:
        write_new(save, lambda stream: stream.write(found.text.encode()))
    if as_json:
        put_json(found.as_dict())
    else:
        put("\n".join([*_report(found.report), *found.warnings]))
    if not any(unit.answers for unit in found.units):
        raise typer.Exit(FAILED)


# drain


@app.command(
    epilog=example(
        "halfsplit drain night.csv", "halfsplit drain night.csv --instrument shunt --capacity 70 --celsius 5"
    )
)
def drain(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="A log of the battery's current.", show_default=False)
    ],
    interval: Annotated[
        float | None, typer.Option(min=1e-6, help="Seconds between samples, where no time is told.")
    ] = None,
    unit: Annotated[str, typer.Option(help="A, mA or uA, where the file does not say it.")] = "",
    instrument: Annotated[str, typer.Option(help="meter, clamp or shunt.")] = "meter",
    capacity: Annotated[
        float | None, typer.Option(help="Ampere-hours printed on the battery: tells the days left.")
    ] = None,
    charge: Annotated[float, typer.Option(min=0, max=100, help="State of charge in per cent.")] = 100.0,
    celsius: Annotated[float, typer.Option(help="Temperature where the vehicle will stand.")] = 20.0,
    as_json: Json = False,
) -> None:
    """Tell what a log of the parasitic draw shows: level asleep, what wakes it, days until it may not start."""
    from halfsplit.drain import CAUTIONS, INSTRUMENTS, Battery, analyse, days_until_no_start, read_log

    if instrument not in INSTRUMENTS:
        raise typer.BadParameter(f"is one of {', '.join(INSTRUMENTS)}", param_hint="--instrument")
    found = analyse(read_log(file, interval=interval, unit=unit or None), INSTRUMENTS[instrument])
    forecast = None
    if capacity is not None:
        battery = Battery(capacity, charge=charge / 100, celsius=celsius)
        forecast = days_until_no_start(found.mean, found.mean_error, battery)
    if as_json:
        days = forecast and {name: getattr(forecast, name) for name in forecast.__dataclass_fields__}
        return put_json(found.as_dict() | {"forecast": days, "cautions": list(CAUTIONS)})
    lines = [
        *_drain_lines(found),
        *([forecast.words] if forecast else []),
        *(f"Caution: {one}" for one in CAUTIONS),
    ]
    return put("\n".join(lines))


def _drain_lines(found: DrainAnalysis) -> Iterator[str]:
    yield found.verdict
    yield f"  log: {_long(found.duration)}, taken by {found.instrument.name}"
    if found.level is not None and found.asleep_after is not None:
        yield f"  asleep: {_amps(found.level)} ± {_amps(found.level_error)}, after {_long(found.asleep_after)}"
    yield f"  mean: {_amps(found.mean)} ± {_amps(found.mean_error)}, {found.ampere_hours_a_day:.2f} Ah a day"
    for kind in found.kinds:
        every = f", every {_long(kind.period)}" if kind.period and kind.regular else ""
        yield f"  woken {kind.count} times for {_long(kind.seconds)} at {_amps(kind.mean)}{every}"
        yield f"    which adds {_amps(kind.amps)} on average"
    yield from (f"  {remark}" for remark in found.remarks)


def _amps(value: float) -> str:
    return f"{1000 * value:.1f} mA" if abs(value) < 1 else f"{value:.2f} A"


def _long(seconds: float) -> str:
    """A time as people say it.

    >>> _long(42), _long(600), _long(9000)
    ('42 s', '10 min', '2.5 h')
    """
    if seconds < 120:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 7200 else f"{seconds / 3600:.1f} h"
