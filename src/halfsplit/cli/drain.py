"""`drain`: what a log of the parasitic draw shows, without a job."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from halfsplit.cli.app import app, example
from halfsplit.cli.circuit import Json
from halfsplit.cli.output import put, put_json

if TYPE_CHECKING:
    from halfsplit.drain import DrainAnalysis


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
    from halfsplit.drain.words import amps_words, time_words

    yield found.verdict
    yield f"  log: {time_words(found.duration)}, taken by {found.instrument.name}"
    if found.level is not None and found.asleep_after is not None:
        level = f"{amps_words(found.level)} ± {amps_words(found.level_error)}"
        yield f"  asleep: {level}, after {time_words(found.asleep_after)}"
    yield f"  mean: {amps_words(found.mean)} ± {amps_words(found.mean_error)}, {found.ampere_hours_a_day:.2f} Ah a day"
    for kind in found.kinds:
        every = f", every {time_words(kind.period)}" if kind.period and kind.regular else ""
        yield f"  woken {kind.count} times for {time_words(kind.seconds)} at {amps_words(kind.mean)}{every}"
        yield f"    which adds {amps_words(kind.amps)} on average"
    yield from (f"  {remark}" for remark in found.remarks)
