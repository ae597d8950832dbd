"""`scan`: fault codes of a saved report or of a vehicle; two reports compared; codes cleared behind a confirmation."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from halfsplit.cli.app import FAILED, app, example
from halfsplit.cli.circuit import Json
from halfsplit.cli.output import put, put_json, tell, write_new
from halfsplit.errors import ConflictError, InputError, NotFoundError

if TYPE_CHECKING:
    from halfsplit.scan import Comparison, ScanReport
    from halfsplit.scan.channel import Address, Channel
    from halfsplit.scan.clear import LogEntry
    from halfsplit.scan.live import LiveScan

Files = Annotated[
    list[Path] | None, typer.Argument(metavar="FILE…", help="Saved reports.", show_default=False)
]
SIMULATED = "simulated"


@dataclass(frozen=True)
class Clearing:
    """Where the report goes, which unit is to be cleared after that ('' for none), and who confirms it."""

    save: Path | None
    unit: str
    by: str

    def log(self, entry: LogEntry) -> None:
        """One line in the log beside the saved report; it only ever grows."""
        assert self.save is not None  # noqa: S101 - --clear needs --save
        when = entry.when.isoformat(timespec="seconds")
        line = f"{when}  {entry.by}  {entry.unit}: {entry.done}: {entry.outcome}\n"
        with self.save.with_name(f"{self.save.name}.log").open("a", encoding="utf-8") as stream:
            stream.write(line)


@app.command(
    epilog=example(
        "halfsplit scan before.txt",
        "halfsplit scan before.txt after.txt",
        "halfsplit scan --live socketcan:can0 --save now.txt",
        "halfsplit scan --live simulated",
    )
)
def scan(
    files: Files = None,
    live: Annotated[
        str,
        typer.Option(
            metavar="CHANNEL", help="Read a vehicle: interface:channel, or 'simulated' for an invented one."
        ),
    ] = "",
    bit_rate: Annotated[int, typer.Option(help="Bits a second on the bus, for --live.")] = 500_000,
    save: Annotated[Path | None, typer.Option(help="Save what --live read as a report.")] = None,
    clear: Annotated[
        str,
        typer.Option(
            metavar="UNIT", help="With --live and --save: clear this unit's codes, after a confirmation."
        ),
    ] = "",
    by: Annotated[str, typer.Option(metavar="NAME", help="Who confirms --clear; else it is asked.")] = "",
    as_json: Json = False,
) -> None:
    """List the fault codes of a saved scan report, or of a vehicle; with two reports, compare them.

    Compared are the first (before) and the second (after): exit status 1 unless all codes are gone and every unit
    answers. Nothing is cleared but by --clear, which tells first what is lost, asks who confirms it, and writes what
    was done into a log beside the saved report.
    """
    if live:
        if files:
            raise typer.BadParameter("is read instead of files", param_hint="--live")
        if clear and not save:
            raise typer.BadParameter(
                "needs --save: codes are saved before they are cleared", param_hint="--clear"
            )
        return _live(live, bit_rate, Clearing(save, clear, by), as_json=as_json)
    from halfsplit.scan import ScanReport, compare

    if not files:
        raise typer.BadParameter("at least one is needed", param_hint="FILE")
    reports = [ScanReport.read(file) for file in files or ()]
    if len(reports) == 2:
        comparison = compare(reports[0], reports[1])
        put_json(comparison.as_dict()) if as_json else put("\n".join(_comparison(comparison)))
        raise typer.Exit(0 if comparison.clean else FAILED)
    if as_json:
        return put_json([report.as_dict() for report in reports])
    return put("\n\n".join("\n".join(_report(report)) for report in reports))


def _report(report: ScanReport) -> Iterator[str]:
    yield report.source
    for name, text in report.vehicle.items():
        yield f"  {name}: {text}"
    for unit in report.units:
        yield f"{unit.name}{'' if unit.answers is not False else ': does not answer'}"
        for code in unit.codes:
            status = f" ({code.status_words})" if code.status_words else ""
            yield f"  {code.name}  {code.meaning}{status}"
            if code.caution:
                yield f"    Caution: {code.caution}"
        if not unit.codes and unit.answers:
            yield "  no codes"
    yield from (f"Look at this: {warning}" for warning in report.warnings)


def _comparison(comparison: Comparison) -> Iterator[str]:
    from halfsplit.scan.compare import VERDICTS

    for verdict in VERDICTS:
        for change in comparison.of(verdict):
            status = " → ".join(word for word in (change.before, change.after) if word)
            yield f"{verdict:14}  {change.unit}  {change.code}  {status or change.why}".rstrip()
    for words, names in (
        ("answers now", comparison.answers_now),
        ("silent now", comparison.silent_now),
        ("still silent", comparison.still_silent),
        ("not read again", comparison.not_read),
        ("added", comparison.added),
    ):
        if names:
            yield f"{words:14}  {', '.join(names)}"
    yield from comparison.notes


def _live(words: str, bit_rate: int, clearing: Clearing, *, as_json: bool) -> None:
    from halfsplit.scan.live import scan as scan_bus

    if clearing.save and clearing.save.exists():
        raise InputError(f"{clearing.save} is there already", remedy="name another file")
    with _channel(words, bit_rate) as (channel, expected):
        scanned = scan_bus(channel, expected=expected, progress=tell)
        if clearing.save:
            text = scanned.text.encode()
            write_new(clearing.save, lambda stream: stream.write(text))
        if as_json:
            put_json(scanned.as_dict())
        else:
            lines = list(_report(scanned.report))
            put("\n".join([*lines, *(warning for warning in scanned.warnings if warning not in lines)]))
        if clearing.unit:
            _clear(channel, scanned, clearing)
    if not any(unit.answers for unit in scanned.units):
        raise typer.Exit(FAILED)


@contextmanager
def _channel(words: str, bit_rate: int) -> Iterator[tuple[Channel, dict[str, Address]]]:
    """The channel of an adapter, or of an invented vehicle in another process, and the units expected there."""
    from halfsplit.scan.channel import Channel
    from halfsplit.scan.simulated import running
    from halfsplit.scan.vehicle import demo_vehicle

    if words != SIMULATED:
        yield Channel.parse(words, bit_rate), {}
        return
    vehicle = demo_vehicle()
    with running(vehicle) as own:
        yield Channel(own.interface, own.name, bit_rate), vehicle.addresses


def _clear(channel: Channel, scanned: LiveScan, clearing: Clearing) -> None:
    """Tell what is lost, ask, clear, and log: nothing is cleared without a name."""
    from halfsplit.scan.clear import clear_codes, plan_clear
    from halfsplit.scan.link import Link

    there = [unit for unit in scanned.units if unit.answers]
    wanted = clearing.unit.strip().casefold()
    unit = next((unit for unit in there if unit.name.casefold() == wanted), None)
    if unit is None:
        names = ", ".join(unit.name for unit in there) or "none"
        raise NotFoundError(f"no unit {clearing.unit!r} answers; those that do: {names}")
    with Link(channel.open()) as link:
        plan = plan_clear(link, unit.address, unit.name)
        listed = ", ".join(stored.name for stored in plan.codes) or "no codes"
        tell(f"{plan.unit}: {listed}. Clearing takes away:")
        for code in plan.lost:
            tell(f"  - {code}")
        for note in plan.notes:
            tell(note)
        by = clearing.by or typer.prompt(
            "Name of who confirms it (empty: nothing is cleared)", default="", show_default=False, err=True
        )
        if not by.strip():
            raise ConflictError("nothing was cleared: nobody confirmed it")
        result = clear_codes(link, plan.confirm(by, saved=True), clearing.log)
    tell(result.words)
    if not result.cleared:
        raise typer.Exit(FAILED)
