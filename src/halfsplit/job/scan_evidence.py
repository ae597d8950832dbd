"""From a scan report to evidence in the job's circuit: which unit is which part, what a code says of which pin.

The small table of a job (entry `scan table`) is set by the technician; what it leaves open is suggested from names and
from the kind of failure that a code names. `tell` makes evidence of one report: a unit that answers or is silent, a
code that is there now. What is not told says why.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.model import Part
from halfsplit.diagnosis.codes import CODE_KINDS
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.errors import InputError
from halfsplit.job.open_job import OpenJob, now
from halfsplit.job.places import NoCircuitError, to_json
from halfsplit.job.scans import KeptReport, report_of, unit_table
from halfsplit.job.verbs import strike
from halfsplit.scan.descriptions import communication_partner
from halfsplit.scan.reading import ReportedCode
from halfsplit.scan.units import UnitReport
from halfsplit.store import counting

LOST = "lost communication"
FAILURES = tuple(CODE_KINDS)
NOT_TOLD = ""
MIDWAY = "stopped answering"
"""How a live scan begins what it says of a unit that fell silent while it was read."""

FAILURE_OF: Mapping[str, str] = {
    "circuit low": "circuit low",
    "circuit high": "circuit high",
    "circuit open": "circuit open",
    "circuit low or open": "circuit range",
    "circuit high or open": "circuit range",
    "circuit": "circuit range",
    "range": "circuit range",
    "supply": "supply low",
    "supply low": "supply low",
    "supply high": "supply high",
    "no communication": LOST,
}
"""Kind of a code (`scan.descriptions.KINDS`) → what the diagnosis can be told; the others say nothing of one pin."""


@dataclass(frozen=True)
class UnitRow:
    """A unit of the report. ``part``: of the circuit, '' for none; ``set_by``: 'table' or 'suggested'.

    ``why``: why it is not told to the bench whether it answers, or ''.
    """

    key: str
    name: str
    answers: bool | None
    part: str
    set_by: str
    why: str = ""


@dataclass(frozen=True)
class CodeRow:
    """A code of the report and what the bench is told of it. ``why``: why it is not told, or ''."""

    key: str
    unit: str
    code: str
    words: str
    status: str
    present: str
    failure: str
    pin: str
    set_by: str
    why: str
    caution: str


@dataclass(frozen=True)
class Table:
    """Units and codes of one report with their places in the circuit.

    ``modules``: (part, its words) that a unit can be; ``pins``: the choices of a code's pin, by part. ``state``: the
    operating state in which the report was read. ``stored``: how many entries of this report are evidence now.
    """

    kept: KeptReport
    units: tuple[UnitRow, ...]
    codes: tuple[CodeRow, ...]
    modules: tuple[tuple[str, str], ...]
    pins: Mapping[str, tuple[tuple[str, str], ...]]
    states: tuple[str, ...]
    state: str
    stored: int


def table_of(job: OpenJob, scan_id: str) -> Table | None:
    """The table of a report; None without a usable circuit. Raises NotFoundError where there is no such report."""
    kept = report_of(job, scan_id)
    circuit = job.circuit
    if circuit is None or not circuit.parts:
        return None
    said = job.last("scan table")
    units = tuple(_unit_rows(kept, unit_table(job), circuit))
    modules, states = _modules(circuit), tuple(circuit.states)
    return Table(
        kept,
        units,
        tuple(_code_rows(kept, units, _set_codes(said), circuit)),
        tuple((module.name, module.words) for module in modules),
        {part.name: _pins(part) for part in modules},
        states,
        said["state"] if said.get("state") in states else _state(circuit, units),
        len(_made(job, scan_id)[0]),
    )


def has_circuit(job: OpenJob) -> bool:
    """Whether the job has a circuit that can be worked with."""
    checked = job.checked
    return checked is not None and checked.usable


def fault_names(job: OpenJob) -> tuple[str, ...]:
    """Every fault of the job's circuit, for the simulated vehicle; empty without a circuit."""
    circuit = job.circuit
    return tuple(circuit.faults) if circuit is not None and _modules(circuit) else ()


def _modules(circuit: Circuit) -> tuple[Part, ...]:
    return tuple(part for part in circuit.parts.values() if part.behaviour is not None)


def _pins(part: Part) -> tuple[tuple[str, str], ...]:
    """Pins of a unit, each with what it is for."""
    behaviour = part.behaviour
    if behaviour is None:
        return tuple((pin, "") for pin in part.pins)
    role = {pin: "feed" for group in behaviour.feeds for pin in group}
    role |= dict.fromkeys(behaviour.earths, "ground")
    role |= {row.pin: row.name or "input" for row in behaviour.inputs}
    role |= {driver.pin: "output" for driver in behaviour.drivers}
    role |= {supply.pin: f"supply, {supply.volts:g} V" for supply in behaviour.supplies}
    role |= {pin: talk.bus for talk in behaviour.talks for pin in (talk.high, talk.low) if pin}
    return tuple((pin, role.get(pin, "")) for pin in part.pins)


def _state(circuit: Circuit, units: Sequence[UnitRow]) -> str:
    """The state in which most of the report's units answer when healthy; the last one of equals."""
    parts = [unit.part for unit in units if unit.part]

    def answering(state: str) -> int:
        solution = circuit.solve(state)
        return sum(solution.answers(part) for part in parts)

    states = list(circuit.states)
    return max(reversed(states), key=answering) if parts else states[-1]


# Units


def _unit_rows(kept: KeptReport, table: Mapping[str, str], circuit: Circuit) -> Iterator[UnitRow]:
    modules = _modules(circuit)
    names = {part.name for part in modules}
    for unit in kept.report.units:
        set_part = table.get(unit.key)
        known = set_part is not None and (not set_part or set_part in names)
        part = set_part if known and set_part is not None else likely_part(unit.name, modules)
        midway = any(problem.startswith(f"{unit.name}: {MIDWAY}") for problem in kept.problems)
        yield UnitRow(
            unit.key,
            unit.name,
            unit.answers,
            part,
            "table" if known else "suggested",
            "it answered and then fell silent: ask again, or wiggle its feed" if midway else "",
        )


def _set_codes(said: Mapping[str, Any]) -> dict[tuple[str, str], tuple[str, str]]:
    """(unit's key, code) → (failure, pin), as the technician set them."""
    rows = [row for row in said.get("codes") or () if isinstance(row, dict)]
    return {
        (str(row.get("unit")), str(row.get("code"))): (
            str(row.get("failure") or ""),
            str(row.get("pin") or ""),
        )
        for row in rows
    }


def _code_rows(
    kept: KeptReport,
    units: Sequence[UnitRow],
    table: Mapping[tuple[str, str], tuple[str, str]],
    circuit: Circuit,
) -> Iterator[CodeRow]:
    part_of = {unit.key: unit.part for unit in units}
    for unit in kept.report.units:
        for code in unit.codes:
            part = part_of.get(unit.key, "")
            set_here = table.get((unit.key, code.name))
            failure, pin = set_here if set_here is not None else _suggested(code, part, circuit)
            why = _why_not(code, part, failure, pin, circuit)
            yield CodeRow(
                unit.key,
                unit.name,
                code.name,
                code.meaning,
                code.status_words,
                code.present,
                failure,
                pin,
                "suggested" if set_here is None else "table",
                why,
                code.caution,
            )


def _suggested(code: ReportedCode, part: str, circuit: Circuit) -> tuple[str, str]:
    """What a code most likely says of which pin; the pin is left open where names do not tell."""
    failure = FAILURE_OF.get((code.code.kind if code.code else None) or "", NOT_TOLD)
    if failure == LOST:
        others = [module for module in _modules(circuit) if module.name != part]
        ours = communication_partner(code.code.letters) if code.code else None
        return failure, likely_part(ours or "", others) or likely_part(code.words, others)
    behaviour = circuit.parts[part].behaviour if part in circuit.parts else None
    if failure in ("supply low", "supply high") and behaviour is not None and len(behaviour.feeds) == 1:
        return failure, behaviour.feeds[0][0]
    return failure, ""


def _why_not(code: ReportedCode, part: str, failure: str, pin: str, circuit: Circuit) -> str:
    """Why a code is not told to the bench, or ''."""
    if code.caution:
        return "a restraint circuit: it is not measured here"
    if not part:
        return "its unit is not in the circuit"
    if code.present == "no" or "not tested" in code.status:
        return "not there now, or not tested: it says nothing of what can be measured now"
    stored = bool({"stored", "intermittent"} & set(code.status)) and "pending" not in code.status
    if code.present == "unknown" and stored:
        return "kept in memory: whether it is there now is not said"
    if not failure:
        return "it does not say what a pin sees"
    if failure == LOST:
        return "" if pin in circuit.parts and pin != part else "which unit is missed?"
    return "" if pin in circuit.parts[part].pins else "which pin?"


# The table as it is set, and told


def save_table(
    job: OpenJob, units: Mapping[str, str], codes: Sequence[Mapping[str, str]], *, state: str
) -> None:
    """Keep the table: unit's key → part, and for codes (unit, code) their failure and pin. Raises InputError."""
    circuit = job.circuit
    if circuit is None:
        raise NoCircuitError
    names = {part.name for part in _modules(circuit)}
    for part in units.values():
        if part and part not in names:
            raise InputError(f"there is no control unit {part[:40]!r} in this circuit", where="part")
    for row in codes:
        if row.get("failure") and row["failure"] not in FAILURES:
            raise InputError(
                f"{row['failure'][:40]!r} is no kind of failure", remedy=f"one of {', '.join(FAILURES)}"
            )
    before = job.last("scan table")
    kept_codes = _set_codes(before) | {
        (code["unit"], code["code"]): (code.get("failure", ""), code.get("pin", ""))
        for code in codes
        if code.get("unit") and code.get("code")
    }
    said = {
        "units": {**unit_table(job), **{key: part for key, part in units.items() if key}},
        "codes": [
            {"unit": unit, "code": code, "failure": failure, "pin": pin}
            for (unit, code), (failure, pin) in kept_codes.items()
        ],
        "state": state if state in circuit.states else "",
        "text": "Which unit of the scan tool is which part, and what its codes say of which pin: set",
    }
    if {name: before.get(name) for name in said} != said:
        job.keep("scan table", said)


def tell(job: OpenJob, scan_id: str) -> int:
    """Make a report evidence, by its table as it stands; told again, only what differs is struck out and added.

    Returns how many entries of this report count now. Raises ConflictError without a circuit, or in a closed job.
    """
    job.must_be_open()
    table = table_of(job, scan_id)
    if table is None:
        raise NoCircuitError
    wanted = {}
    for kind, payload in _wanted(table):
        words = "|".join([kind, *(f"{name}={payload[name]}" for name in sorted(payload))])
        wanted[f"{scan_id[:60]}-{sha256(words.encode()).hexdigest()[:12]}"] = (kind, payload)
    live, ever = _made(job, scan_id)
    for base in live.keys() - wanted.keys():
        entry_id = live[base]
        job.store.strike(
            job.job_id,
            entry_id,
            entry_id=_fresh(ever, f"{entry_id}-s"),
            reason="the table of units and codes was changed",
            who=job.who,
            at=now(),
        )
    entries = [
        job.new_entry(kind, payload, entry_id=_fresh(ever, entry_id), present="yes", instrument="scan tool")
        for entry_id, (kind, payload) in wanted.items()
        if entry_id not in live
    ]
    job.store.record_all(job.job_id, entries)
    return len(wanted)


def strike_report(job: OpenJob, scan_id: str, *, reason: str) -> None:
    """Strike a report out, and with it what it gave as evidence. Raises InputError without a reason."""
    report_of(job, scan_id)
    strike(job, scan_id, reason=reason)
    for entry_id in _made(job, scan_id)[0].values():
        strike(job, entry_id, reason=f"its scan report was struck out: {reason}")


def _wanted(table: Table) -> Iterator[tuple[str, dict[str, Any]]]:
    """(kind, payload) of each piece of evidence in a report."""
    part_of = {unit.key: unit.part for unit in table.units}
    units_told: set[str] = set()
    for unit in table.units:
        if unit.part and unit.answers is not None and not unit.why and unit.part not in units_told:
            units_told.add(unit.part)
            word = "yes" if unit.answers else "no"
            place = to_json(Measurement("answers", unit.part, table.state))
            yield "reading", place | {"value": word, "typed": word}
    for code in table.codes:
        if not code.why:
            said = {"module": part_of[code.key], "failure": code.failure, "pin": code.pin, "set": True}
            yield "code", {**said, "state": table.state, "code": code.code}


TOLD_ID = re.compile(r"(.+-[0-9a-f]{12})(?:-\d+)?")


def _made(job: OpenJob, scan_id: str) -> tuple[dict[str, str], set[str]]:
    """What a report gave as evidence that counts (id as first told → id now), and every id of the job."""
    entries, mine = job.entries, f"{scan_id[:60]}-"
    live = {}
    for entry in counting(entries):
        match = TOLD_ID.fullmatch(entry.entry_id)
        if match and match[1].startswith(mine) and entry.kind in ("reading", "code"):
            live[match[1]] = entry.entry_id
    return live, {entry.entry_id for entry in entries}


def _fresh(ever: set[str], entry_id: str) -> str:
    """The id itself, or with a number where it was used before (told, struck out, and told again)."""
    number, fresh = 2, entry_id
    while fresh in ever:
        fresh, number = f"{entry_id}-{number}", number + 1
    ever.add(fresh)
    return fresh


COMMON_WORDS = frozenset(
    """a an and control the of for unit module ecu system electronic electronics steuergerat steuergeraet
    calculateur unite""".split()  # noqa: SIM905
)
"""What says nothing in the name of a unit."""


def likely_part(name: str, modules: Sequence[Part]) -> str:
    """The unit of the circuit that a name most likely means, '' where none or several fit alike."""
    wanted = _tokens(name)
    scored: list[tuple[float, str]] = []
    for part in modules:
        if UnitReport(part.name).key in (UnitReport(name).key, *(UnitReport(word).key for word in wanted)):
            return part.name
        own = _tokens(part.words)
        shared = len(wanted & own)
        scored.append((shared / len(wanted | own) if shared else 0.0, part.name))
    scored.sort(reverse=True)
    if not scored or scored[0][0] <= 0 or (len(scored) > 1 and scored[1][0] == scored[0][0]):
        return ""
    return scored[0][1]


def _tokens(text: str) -> frozenset[str]:
    words = (UnitReport(word).key for word in re.split(r"[\W_]+", text))
    return frozenset(
        word.removesuffix("s") if len(word) > 3 else word
        for word in words
        if word and word not in COMMON_WORDS
    )
