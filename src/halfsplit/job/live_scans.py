"""Reading a vehicle live, from a page: in a thread of its own, with progress and a stop; and clearing, step by step.

A run belongs to a job; one at a time. What it reads is kept with the job like any other report. Nothing hangs: every
wait of a scan has an end, a run has one as well, and whoever started it can stop it.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

from halfsplit.circuit.circuit import Circuit
from halfsplit.errors import ConflictError, HalfsplitError, InputError, NotFoundError
from halfsplit.job.open_job import OpenJob, new_id, now
from halfsplit.job.scans import KeptReport, keep_report, kept_reports, report_of
from halfsplit.scan.channel import BIT_RATES, Address, Channel, StoppedError
from halfsplit.scan.simulated import running
from halfsplit.scan.vehicle import SimulatedUnit, SimulatedVehicle, demo_vehicle
from halfsplit.store import JobStore

if TYPE_CHECKING:
    # What speaks on a bus takes a second to import: only where a vehicle is read or cleared.
    from halfsplit.scan.clear import LogEntry
    from halfsplit.scan.link import Link
    from halfsplit.scan.live import LiveScan
    from halfsplit.scan.reading import ReportedCode

LONGEST = 300.0
"""Seconds after which a run is stopped; the largest vehicles take some two minutes."""


@dataclass
class LiveRun:
    """A live scan as it goes. ``lines``: what it has done; ``problem``: why it ended without a report, or ''.

    ``scan_id``: the report that was kept; ``warnings``: what the bus and its units did wrong.
    """

    run_id: str
    channel: str
    bit_rate: int
    moment: str
    who: str
    started: datetime
    lines: list[str] = field(default_factory=list)
    warnings: tuple[str, ...] = ()
    problem: str = ""
    scan_id: str = ""
    done: bool = False
    wish: threading.Event = field(default_factory=threading.Event, repr=False)

    @property
    def stopping(self) -> bool:
        return self.wish.is_set() and not self.done


_RUNS: WeakKeyDictionary[JobStore, dict[str, LiveRun]] = WeakKeyDictionary()
_LOCK = threading.Lock()


def start_run(
    job: OpenJob, channel: str, bit_rate: int, *, moment: str, listed_only: bool = False
) -> LiveRun:
    """Begin to read a vehicle. Raises InputError for a channel that cannot be, ConflictError while another run goes.

    ``listed_only``: through an adapter of the workshop's list alone.
    """
    job.must_be_open()
    words = channel.strip()
    if not words.startswith(SIMULATED):
        Channel.parse(words, bit_rate)
        if listed_only:
            _must_be_listed(job.store, words)
    run = LiveRun(new_id(), words, bit_rate, moment, job.who, now())
    with _LOCK:
        runs = _RUNS.setdefault(job.store, {})
        if job.job_id in runs and not runs[job.job_id].done:
            raise ConflictError("this job's vehicle is being read already: wait, or stop that")
        runs[job.job_id] = run
    threading.Thread(target=_work, args=(job, run), daemon=True, name=f"scan {job.job_id}").start()
    return run


def _must_be_listed(store: JobStore, words: str) -> None:
    """Raise InputError where the owner has not named the adapter: whoever is signed in reaches no other address."""
    if words not in store.workshop().adapters.splitlines():
        raise InputError(
            f"{words[:60]!r} is not among the workshop's adapters",
            remedy="an owner adds it under Settings, as it is written here",
        )


def run_of(job: OpenJob) -> LiveRun | None:
    """The latest run of a job, going or done."""
    with _LOCK:
        return _RUNS.get(job.store, {}).get(job.job_id)


def stop_run(job: OpenJob) -> None:
    """Ask the run of a job to end; it does within a moment. Without one there is nothing to do."""
    run = run_of(job)
    if run is not None:
        run.wish.set()


def _work(job: OpenJob, run: LiveRun) -> None:
    from halfsplit.scan.live import scan

    limit = time.monotonic() + LONGEST
    try:
        expected = known_addresses(job)
        channel, own = _channel(job, run.channel, run.bit_rate)
        scanned = scan(
            channel,
            expected=own or expected,
            progress=run.lines.append,
            stop=lambda: run.wish.is_set() or time.monotonic() > limit,
        )
        run.warnings = scanned.warnings
        if scanned.units:
            run.scan_id = _keep(job, run, scanned).scan_id
        else:
            run.problem = "No unit was found, so there is no report to keep."
    except StoppedError:
        run.problem = (
            "Stopped, nothing was stored."
            if run.wish.is_set()
            else f"Stopped after {LONGEST:.0f} s, nothing was stored: the bus never goes quiet."
        )
    except HalfsplitError as error:
        run.problem = str(error)
    except Exception as error:  # noqa: BLE001 - the thread's last line: whatever an adapter's driver does is told
        run.problem = f"The adapter's driver failed: {type(error).__name__}: {error}"[:400]
    finally:
        run.done = True


def _channel(job: OpenJob, words: str, bit_rate: int) -> tuple[Channel, Mapping[str, Address]]:
    """The channel that words name, and the units to be expected there (none for a real vehicle)."""
    if words.startswith(SIMULATED):
        return simulated_channel(job, words, bit_rate)
    return Channel.parse(words, bit_rate), {}


def known_addresses(job: OpenJob) -> dict[str, Address]:
    """The units that earlier live scans of the vehicle found: one that is missing now is told as silent.

    What a simulated vehicle had is no unit of the real one.
    """
    addresses: dict[str, Address] = {}
    for kept in kept_reports(job):
        if not str(kept.live.get("channel", "")).startswith(SIMULATED):
            addresses |= _addresses(kept)
    return addresses


def _addresses(kept: KeptReport) -> dict[str, Address]:
    given = kept.live.get("addresses")
    if not isinstance(given, dict):
        return {}
    return {str(name): Address(int(pair[0]), int(pair[1])) for name, pair in given.items() if len(pair) == 2}


def _keep(job: OpenJob, run: LiveRun, scanned: LiveScan) -> KeptReport:
    addresses = {unit.name: [unit.address.request, unit.address.response] for unit in scanned.units}
    return keep_report(
        job,
        scanned.text.encode(),
        name=f"read live, {run.started.astimezone():%H.%M}",
        moment=run.moment,
        source="live",
        problems=scanned.warnings,
        live={"channel": run.channel, "bit_rate": run.bit_rate, "addresses": addresses},
        scan_id=run.run_id,
    )


# Clearing


@dataclass(frozen=True)
class ClearView:
    """What clearing one unit would take away. ``codes``: (code, meaning, status); ``listed``: the codes in one line."""

    scan_id: str
    unit: str
    codes: tuple[tuple[str, str, str], ...]
    lost: tuple[str, ...]
    notes: tuple[str, ...]
    listed: str


def clearable(kept: KeptReport) -> tuple[str, ...]:
    """Units of a live report that answered and have codes."""
    known = _addresses(kept)
    return tuple(
        unit.name for unit in kept.report.units if unit.name in known and unit.answers and unit.codes
    )


def clear_view(job: OpenJob, scan_id: str, unit: str, *, listed_only: bool = False) -> ClearView:
    """Read what a unit stores now and what clearing would take away. Raises ConflictError or BusError."""
    from halfsplit.scan.clear import plan_clear

    kept = report_of(job, scan_id)
    with _linked(job, kept, listed_only=listed_only) as link:
        plan = plan_clear(link, _address(kept, unit), unit)
    codes = tuple((code.name, code.meaning, code.status_words) for code in plan.codes)
    return ClearView(scan_id, plan.unit, codes, plan.lost, plan.notes, _listed(plan.codes))


def _listed(codes: tuple[ReportedCode, ...]) -> str:
    return " ".join(sorted(code.name for code in codes))


def clear_unit(
    job: OpenJob, scan_id: str, unit: str, *, listed: str, by: str, listed_only: bool = False
) -> str:
    """Clear the codes of a unit as they were shown (``listed``). Returns what happened; it is logged in the job.

    Raises ConflictError, with nothing cleared, where the codes are not saved with the job or have changed since.
    """
    from halfsplit.scan.clear import clear_codes, plan_clear

    def log(entry: LogEntry) -> None:
        said = {name: getattr(entry, name) for name in ("unit", "done", "outcome", "by")}
        text = f"{entry.unit}: {entry.done}, confirmed by {entry.by}: {entry.outcome}"
        job.keep("scan clear", {**said, "text": text})

    job.must_be_open()
    kept = report_of(job, scan_id)
    saved = {code.name for code in kept.report.unit(unit).codes}
    with _linked(job, kept, listed_only=listed_only) as link:
        plan = plan_clear(link, _address(kept, unit), unit)
        if _listed(plan.codes) != listed:
            raise ConflictError(f"the codes of {unit} have changed since they were shown: look at them again")
        confirmation = plan.confirm(by, saved={code.name for code in plan.codes} <= saved)
        return clear_codes(link, confirmation, log).words


@contextmanager
def _linked(job: OpenJob, kept: KeptReport, *, listed_only: bool) -> Iterator[Link]:
    from halfsplit.scan.link import Link

    words = str(kept.live.get("channel") or "")
    if not words:
        raise InputError("this report was not read live", remedy="read the vehicle, then clear")
    if listed_only and not words.startswith(SIMULATED):
        _must_be_listed(job.store, words)  # a job that was imported brings a channel of its own
    run = run_of(job)
    if run is not None and not run.done:
        raise ConflictError("the vehicle is being read: wait for the end")
    channel, _ = _channel(job, words, int(kept.live.get("bit_rate") or BIT_RATES[0]))
    limit = time.monotonic() + LONGEST / 5
    with Link(channel.open(), stop=lambda: time.monotonic() > limit) as link:
        yield link


def _address(kept: KeptReport, unit: str) -> Address:
    address = _addresses(kept).get(unit)
    if address is None:
        raise NotFoundError(f"there is no unit {unit[:60]!r} in this live report")
    return address


# A simulated vehicle: units of the job's circuit, fed as the circuit engine says, on a bus of its own in another
# process, over slcan on a loopback socket. It stays there while the workbench runs: what was cleared stays cleared.

SIMULATED = "simulated"
"""The channel: an invented van, or the job's circuit in order where it has control units; ``simulated F30 open`` is
that circuit with a fault."""
FIRST_REQUEST = 0x700
MOST_UNITS = 20
MISSED = "U1{number:03X}-87"
"""An invented maker's code for each unit that another misses: message missing (failure type 87)."""
CONFIRMED_NOW = 0x2F
KEPT = 3
"""Simulated vehicles that run at once, the latest."""


@dataclass(frozen=True)
class _Running:
    """A simulated vehicle in its process, which ends with the ``stack``."""

    key: tuple[str, str, int]
    vehicle: SimulatedVehicle
    stack: ExitStack
    channel: Channel


_VEHICLES: WeakKeyDictionary[JobStore, list[_Running]] = WeakKeyDictionary()
_STARTING = threading.Lock()


def simulated_channel(job: OpenJob, words: str, bit_rate: int) -> tuple[Channel, Mapping[str, Address]]:
    """The channel to the vehicle that the words name, and its units. Raises UnknownNameError for a fault it has not."""
    fault = words.removeprefix(SIMULATED).strip()
    circuit, version = job.circuit, job.record.circuit_version
    vehicle = vehicle_of(circuit, fault) if circuit is not None else None
    key = (job.job_id, fault, version if vehicle is not None else 0)
    with _STARTING:
        alive = _VEHICLES.setdefault(job.store, [])
        simulated = next((vehicle for vehicle in alive if vehicle.key == key), None)
        if simulated is None:
            stack, chosen = ExitStack(), vehicle or demo_vehicle()
            simulated = _Running(key, chosen, stack, stack.enter_context(running(chosen)))
            alive.append(simulated)
            while len(alive) > KEPT:
                alive.pop(0).stack.close()
    # At another bit rate than the vehicle's nothing is heard, as on a real bus.
    channel = Channel(simulated.channel.interface, simulated.channel.name, bit_rate)
    return channel, simulated.vehicle.addresses


def stop_simulated(store: JobStore) -> None:
    """End the simulated vehicles of a store; they end with the program in any case."""
    with _STARTING:
        for vehicle in _VEHICLES.pop(store, []):
            vehicle.stack.close()


def vehicle_of(circuit: Circuit, fault: str = "") -> SimulatedVehicle | None:
    """The units of a circuit on a bus, fed and in touch as the circuit says; None where it has no control unit.

    Each unit that answers has a code for each that is silent, in the state in which most units answer.
    """
    names = [part.name for part in circuit.parts.values() if part.behaviour is not None][:MOST_UNITS]
    if not names:
        return None
    healthy = {state: circuit.solve(state) for state in circuit.states}
    chosen = max(
        reversed(list(healthy)), key=lambda state: sum(healthy[state].answers(name) for name in names)
    )
    solution = circuit.solve(chosen, circuit.faults[fault] if fault else None)
    silent = [name for name in names if healthy[chosen].answers(name) and not solution.answers(name)]
    units = []
    for number, name in enumerate(names):
        words = circuit.parts[name].words
        missed = [
            (MISSED.format(number=names.index(other)), CONFIRMED_NOW) for other in silent if other != name
        ]
        request = FIRST_REQUEST + 0x10 * (number // 8) + number % 8
        units.append(
            SimulatedUnit(
                f"{name} {words}".strip(),
                Address(request, request + 8),
                tuple(missed[:8]),
                {0xF197: f"{name} {words}".strip()[:40]},
                stays=tuple(code for code, _ in missed[:8]),
            )
        )
    unfed = frozenset(
        unit.name for unit, name in zip(units, names, strict=True) if not solution.answers(name)
    )
    return SimulatedVehicle(tuple(units), unfed=unfed)
