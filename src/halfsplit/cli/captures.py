"""`capture`: what the files of an oscilloscope show, without a job."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from halfsplit.cli.app import app, example
from halfsplit.cli.circuit import Json
from halfsplit.cli.output import progress, put, put_json, table, write_new
from halfsplit.errors import InputError

if TYPE_CHECKING:
    from halfsplit.capture import Capture

Files = Annotated[
    list[Path] | None, typer.Argument(metavar="FILE…", help="Recorded files.", show_default=False)
]


@app.command(
    epilog=example(
        "halfsplit capture crank.csv",
        'halfsplit capture crank.csv --channel "A=battery volts" --channel "B=starter current" --cylinders 4',
        "halfsplit capture pump.csv --plot pump.svg",
        "halfsplit capture --roles",
    )
)
def capture(
    files: Files = None,
    channel: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME=ROLE", help="What a channel shows; may be given again."),
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
    teeth: Annotated[
        int | None,
        typer.Option(min=1, max=400, help="Teeth of the crank's wheel, where its trace leaves them open."),
    ] = None,
    bit_rate: Annotated[
        float | None,
        typer.Option(min=1000, max=20e6, help="Bits a second of a bus, where a log leaves them open."),
    ] = None,
    celsius: Annotated[float | None, typer.Option(help="Temperature of the battery.")] = None,
    path: Annotated[
        str, typer.Option(help="Of a voltage drop: what it was taken over, such as feed or ground.")
    ] = "feed",
    plot: Annotated[
        Path | None, typer.Option(metavar="OUT.svg", help="Draw the (one) capture into this file.")
    ] = None,
    roles: Annotated[bool, typer.Option("--roles", help="List the roles that a channel can have.")] = False,
    as_json: Json = False,
) -> None:
    """Tell what a capture of an oscilloscope shows.

    Each channel has a role, taken from its name where that says it. Only what the trace can carry is measured; for the
    rest the answer is 'cannot tell' with the reason.
    """
    from halfsplit.capture import ROLES, Setup, analyse, plot_svg, unassigned

    if roles:
        return put(
            table(
                ["role", "unit", "where the leads go"],
                ([role.name, role.unit, role.lead] for role in ROLES.values()),
            )
        )
    if not files:
        raise typer.BadParameter("at least one is needed", param_hint="FILE")
    setup = Setup(
        cylinders=cylinders,
        firing_order=_firing_order(firing_order),
        teeth=teeth,
        celsius=celsius,
        path=path,
        bit_rate=bit_rate,
    )
    measured = []
    for file in files or ():
        recording = _read_capture(file, scale or [], rate)
        named = _roles(recording, channel or [])
        results = (*analyse(recording, named, setup), *unassigned(recording, named))
        measured.append((file, recording, named, results))
    if plot:
        if len(measured) != 1:
            raise InputError("a drawing is of one capture", remedy="give one file with --plot")
        _, recording, named, results = measured[0]
        drawn = plot_svg(recording, results, roles=named or None)
        write_new(plot, lambda stream: stream.write(drawn), replace=True)
    if as_json:
        return put_json([_capture_json(*each) for each in measured])
    return put("\n\n".join("\n".join(_capture_lines(*each)) for each in measured))


def _read_capture(file: Path, scale: Sequence[str], rate: float | None) -> Capture:
    from halfsplit.capture import Capture

    with progress(file.name) as done:
        recording = Capture.read(file, progress=done)
    gains = {}
    for text in scale:  # such as ``channel 2=100A``
        name, _, amount = text.rpartition("=")
        number = amount.rstrip("VAWohmkuHzPa ")
        try:
            gain = float(number)
        except ValueError:
            gain = 0.0
        if not name or not gain:
            raise InputError(
                f"{text!r} is no scale", remedy="write CHANNEL=100A: amps (or another unit) a volt"
            )
        gains[name] = (gain, amount[len(number) :].strip())
    for name in gains:
        _ = recording[name]
    recording = recording.scaled(gains)
    return recording.with_rate(rate) if rate else recording


def _roles(recording: Capture, given: Sequence[str]) -> dict[str, str]:
    from halfsplit.capture import suggested_roles

    asked = {}
    for text in given:
        name, equals, role = text.rpartition("=")
        if not equals or not name:
            raise InputError(
                f"{text!r} names no role", remedy="write NAME=ROLE; the roles are listed by --roles"
            )
        _ = recording[name]
        asked[name] = role
    suggested = suggested_roles(recording).items()
    return {name: role for name, role in suggested if role not in asked.values()} | asked


def _firing_order(text: str) -> tuple[int, ...]:
    try:
        return tuple(int(part) for part in text.split(",") if part.strip())
    except ValueError:
        raise InputError(f"{text!r} is no firing order", remedy="write it like 1,3,4,2") from None


def _capture_json(
    file: Path, recording: Capture, named: dict[str, str], results: tuple[Any, ...]
) -> dict[str, Any]:
    from halfsplit.capture import results_dict

    return {
        "file": file.name,
        "channels": [
            {
                "name": channel.name,
                "unit": channel.unit,
                "samples": len(channel),
                "rate": channel.rate,
                "start": channel.start,
                "stop": channel.stop,
            }
            for channel in recording.channels
        ],
        "roles": named,
        "notes": list(recording.notes),
        **results_dict(results),
    }


def _capture_lines(
    file: Path, recording: Capture, named: dict[str, str], results: tuple[Any, ...]
) -> Iterator[str]:
    from halfsplit.capture import report_lines

    yield file.name
    for channel in recording.channels:
        base = f"{channel.stop - channel.start:.4g} s" if channel.has_time else "no time base"
        yield f"  {channel.name}: {named.get(channel.name, 'no role')}, {len(channel):,} samples, {base}"
    yield from (f"  {note}" for note in recording.notes)
    yield from report_lines(results)
