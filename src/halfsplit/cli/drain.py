"""`drain`: what a log of the parasitic draw shows, without a job."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from halfsplit.cli.app import app, example
from halfsplit.cli.circuit import Json
from halfsplit.cli.output import put, put_json, tell
from halfsplit.errors import InputError

if TYPE_CHECKING:
    from halfsplit.drain import DrainAnalysis


@app.command(
    epilog=example(
        "halfsplit drain night.csv",
        "halfsplit drain night.csv --instrument shunt --capacity 70 --celsius 5",
        "halfsplit drain night.csv --instrument clamp --zero -30",
        "halfsplit drain night.csv --meter TCPIP0::192.0.2.7::5025::SOCKET --hours 10",
    )
)
def drain(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="A log of the battery's current.", show_default=False)
    ],
    interval: Annotated[
        float | None, typer.Option(min=1e-6, help="Seconds between samples, where the file gives no times.")
    ] = None,
    unit: Annotated[str, typer.Option(help="A, mA or uA, where the file does not say it.")] = "",
    instrument: Annotated[str, typer.Option(help="meter, clamp or shunt.")] = "meter",
    capacity: Annotated[
        float | None, typer.Option(help="Ampere-hours printed on the battery: gives the days left.")
    ] = None,
    charge: Annotated[float, typer.Option(min=0, max=100, help="State of charge in per cent.")] = 100.0,
    celsius: Annotated[float, typer.Option(help="Temperature where the vehicle will stand.")] = 20.0,
    zero: Annotated[
        float, typer.Option(help="Milliamperes that the instrument shows without a current: taken off.")
    ] = 0.0,
    reversed_: Annotated[
        bool | None,
        typer.Option(
            "--reversed/--not-reversed",
            help="Whether the instrument was the wrong way round.",
            show_default=False,
        ),
    ] = None,
    meter: Annotated[
        str,
        typer.Option(
            metavar="ADDRESS", help="Log into FILE first, from a meter over SCPI, by its address for pyvisa."
        ),
    ] = "",
    hours: Annotated[float, typer.Option(min=0.01, max=200, help="How long to log, with --meter.")] = 10.0,
    as_json: Json = False,
) -> None:
    """Tell what a log of the parasitic draw shows: level asleep, what wakes it, days until it may not start.

    With --meter the log is made first, a reading each --interval (a second, if it is not given); Ctrl-C ends it early.
    """
    from halfsplit.drain import CAUTIONS, INSTRUMENTS, Battery, analyse, days_until_no_start, read_log

    if instrument not in INSTRUMENTS:
        raise typer.BadParameter(f"is one of {', '.join(INSTRUMENTS)}", param_hint="--instrument")
    if meter:
        _record(file, meter, interval or 1.0, hours)
        interval = None
    log = read_log(file, interval=interval, unit=unit or None, zero=zero / 1000, turned=reversed_)
    analysis = analyse(log, INSTRUMENTS[instrument])
    forecast = None
    if capacity is not None and analysis.can_tell:
        battery = Battery(capacity, charge=charge / 100, celsius=celsius)
        forecast = days_until_no_start(analysis.mean, analysis.mean_error, battery)
    if as_json:
        days = forecast and {name: getattr(forecast, name) for name in forecast.__dataclass_fields__}
        return put_json(analysis.as_dict() | {"forecast": days, "cautions": list(CAUTIONS)})
    lines = [
        *_drain_lines(analysis),
        *([forecast.words] if forecast else []),
        *(f"Caution: {caution}" for caution in CAUTIONS),
    ]
    return put("\n".join(lines))


def _record(file: Path, address: str, interval: float, hours: float) -> None:
    """Make the log: cautions first, then a word each half hour."""
    from halfsplit.drain import CAUTIONS
    from halfsplit.drain.meter import Meter, Sample, record
    from halfsplit.drain.words import amps_words, time_words

    if file.exists():
        raise InputError(f"{file} is there already", remedy="name another file")
    for caution in CAUTIONS:
        tell(f"Caution: {caution}")
    shown = -1

    def progress(taken: Sample) -> None:
        nonlocal shown
        if taken.seconds // 1800 > shown:
            shown = int(taken.seconds // 1800)
            tell(f"after {time_words(taken.seconds)}: {amps_words(taken.amps)}")

    with Meter(address) as meter:
        tell(f"{meter.identity}: logging into {file} for {hours:g} h")
        count = record(meter, file, interval, hours * 3600, progress=progress)
    tell(f"{count} readings")


def _drain_lines(analysis: DrainAnalysis) -> Iterator[str]:
    from halfsplit.drain.words import amps_words, time_words

    yield analysis.verdict
    if analysis.question is not None:
        zero, unit = analysis.question.zero, analysis.question.unit
        yield (
            f"  say it with --unit {unit}, or --unit A if the values are right"
            if zero is None
            else f"  say it with --zero {1000 * zero:.0f} (what the instrument shows without a current, in mA), "
            "or --reversed"
        )
    yield f"  log: {time_words(analysis.duration)}, taken by {analysis.instrument.name}"
    if analysis.level is not None and analysis.asleep_after is not None:
        level = f"{amps_words(analysis.level)} ± {amps_words(analysis.level_error)}"
        yield f"  asleep: {level}, after {time_words(analysis.asleep_after)}"
    a_day = f"{analysis.ampere_hours_a_day:.2f} Ah a day"
    yield f"  mean: {amps_words(analysis.mean)} ± {amps_words(analysis.mean_error)}, {a_day}"
    for kind in analysis.kinds:
        every = f", every {time_words(kind.period)}" if kind.period and kind.regular else ""
        yield f"  woken {kind.count} times for {time_words(kind.seconds)} at {amps_words(kind.mean)}{every}"
        yield f"    which adds {amps_words(kind.amps)} on average"
    yield from (f"  {remark}" for remark in analysis.remarks)
