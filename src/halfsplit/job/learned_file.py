"""What was learned from closed jobs: a small readable file, and the priors that follow from it.

Files of several workshops are added up; the engine can be told to leave what is in the file alone.
"""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from platformdirs import user_data_path

from halfsplit.circuit.circuit import Circuit
from halfsplit.diagnosis.conditions import Circumstances, Condition, Slips, Visits
from halfsplit.diagnosis.learned import (
    Cause,
    CircuitTally,
    Share,
    Tally,
    digest,
    kind_shares,
    merged,
    said_here,
    taught,
)
from halfsplit.diagnosis.priors import Priors, default_priors
from halfsplit.errors import InputError
from halfsplit.notation.checked import check_text
from halfsplit.store import JobStore

LARGEST_FILE = 20_000_000
"""Bytes of a file of what was learned."""
_WORD = re.compile(r"[^\x00-\x1f\"\\]{1,200}")


@dataclass(frozen=True)
class Learned:
    """What was learned, where it comes from and whether the engine uses it. ``sources``: who, when, how many jobs."""

    tally: Tally
    sources: tuple[tuple[str, datetime, int], ...] = ()
    used: bool = True


def learned_path() -> Path:
    """Where the file lies: by ``HALFSPLIT_LEARNED``, or in this user's data folder."""
    named = os.environ.get("HALFSPLIT_LEARNED", "")
    return Path(named) if named else user_data_path("halfsplit") / "learned.toml"


# The priors that follow


def priors_for(circuit: Circuit, vehicle: Sequence[str] = ()) -> Priors:
    """The shipped priors, moved by what was learned where there is such a file and it is not switched off.

    ``vehicle``: its age and distance in coarse words.
    """
    path = learned_path()
    try:
        stamp = path.stat().st_mtime_ns
    except OSError:
        return default_priors()
    learned = _kept(path, stamp)
    if learned is None or not learned.used:
        return default_priors()
    return taught(default_priors(), learned.tally, circuit, vehicle)


@lru_cache(maxsize=4)
def _kept(path: Path, _stamp: int) -> Learned | None:
    try:
        return read_learned(path)
    except InputError:
        return None  # told where it is read by name; a diagnosis goes on with the shipped priors


def present() -> Learned | None:
    """What is in use on this machine. Raises InputError where the file cannot be read."""
    path = learned_path()
    return read_learned(path) if path.exists() else None


def switched(*, used: bool) -> Learned | None:
    """Let the engine use what was learned, or not; None where there is nothing."""
    learned = present()
    if learned is not None:
        write_learned(learned_path(), replace(learned, used=used))
    return learned


def added(several: Sequence[Learned]) -> Learned:
    """What several workshops learned, in one."""
    sources = tuple(dict.fromkeys(source for learned in several for source in learned.sources))
    return Learned(merged([learned.tally for learned in several]), sources)


# In words


@dataclass(frozen=True)
class CircuitSaid:
    """What was the cause in one circuit: (part, jobs), the most frequent first; ``title``: as a job of ours has it."""

    title: str
    jobs: int
    parts: tuple[tuple[str, int], ...]


def kinds_said(learned: Learned) -> tuple[tuple[str, Share], ...]:
    """Every kind of cause with its share, the most frequent first."""
    return tuple(sorted(kind_shares(learned.tally).items(), key=lambda item: -item[1].share))


TELLING = 5
CONDITION_WORDS = {
    "disturbed": "the cause is where hands have been before",
    "began at that visit": "the cause is where hands have been when it began",
}


def circumstances_said(known: Circumstances) -> tuple[tuple[str, str, str], ...]:
    """What was learned besides causes, each line with its count: (what, counted, what is believed now).

    Conditions of which fewer than `TELLING` jobs tell are left out.
    """
    said = [
        (
            CONDITION_WORDS.get(name, name),
            f"{condition.jobs} of {condition.of} jobs, {condition.expected:.1f} expected",
            f"{condition.factor:.2f} times as likely",
        )
        for name, condition in known.conditions.items()
        if condition.of >= TELLING
    ]
    said += [
        (f"minutes to {name}", f"{visit.count} visits", f"{visit.factor:.2f} times the shipped minutes")
        for name, visit in known.visits.items()
        if visit.count
    ]
    said += [
        (f"readings with the {name} that slip", f"{slip.wrong} of {slip.of}", f"{100 * slip.share:.1f} %")
        for name, slip in known.slips.items()
    ]
    return tuple(said)


def circuits_said(learned: Learned, store: JobStore) -> tuple[CircuitSaid, ...]:
    """The circuits that this store has jobs on, of what was learned; by the latest jobs."""
    said: dict[str, CircuitSaid] = {}
    for summary in store.list_jobs(limit=50):
        version = store.circuit(summary.job_id)
        circuit = check_text(version.text).circuit if version else None
        if circuit is None:
            continue
        here = said_here(learned.tally, circuit)
        if here:
            title = circuit.model.title or f"job {summary.number}"
            said.setdefault(
                digest(circuit.model), CircuitSaid(title, here[0][2], tuple(pair[:2] for pair in here))
            )
    return tuple(said.values())


# The file


def write_learned(path: Path, learned: Learned) -> None:
    """Write the file, whole or not at all. Raises InputError where it cannot be written."""
    lines = [
        "# What closed jobs taught: how often each thing was the cause. Made by `halfsplit learn`; counts, no names of",
        "# customers or vehicles. A circuit is named by a digest of its parts and wires.",
        f"use = {_toml(learned.used)}",
    ]
    for table, row in _rows(learned):
        lines += ["", f"[[{table}]]", *(f"{name} = {_toml(value)}" for name, value in row.items())]
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        fresh = path.with_name(path.name + ".new")
        fresh.write_text("\n".join(lines) + "\n", encoding="utf-8")
        fresh.replace(path)
    except OSError as error:
        raise InputError(f"{path} cannot be written: {error.strerror}") from None


def _rows(learned: Learned) -> Iterator[tuple[str, dict[str, Any]]]:
    """Each row of the file with its table; `_learned` reads them."""
    tally, known = learned.tally, learned.tally.circumstances
    for who, at, jobs in learned.sources:
        yield "source", {"who": who, "at": at, "jobs": jobs}
    for kind, (seen, missed) in tally.looks.items():
        yield "look", {"kind": kind, "found": seen, "missed": missed}
    for name, condition in known.conditions.items():
        yield "condition", {"name": name, **vars(condition)}
    for name, visit in known.visits.items():
        yield "place", {"name": name, "visits": visit.count, "log": visit.log}
    for name, slip in known.slips.items():
        yield "slip", {"instrument": name, "wrong": slip.wrong, "of": slip.of}
    for name, circuit in tally.circuits.items():
        causes = sorted(circuit.causes.items(), key=lambda pair: (-pair[1], pair[0].part, pair[0].mode))
        rows = [{"part": c.part, "kind": c.kind, "mode": c.mode, "jobs": jobs} for c, jobs in causes]
        shares = {f'"{kind}"': share for kind, share in circuit.shares.items()}
        yield "circuit", {"digest": name, "jobs": circuit.jobs, "shares": shares, "causes": rows}


def _toml(value: Any) -> str:
    match value:
        case bool():
            return str(value).lower()
        case str():
            plain = "".join(sign for sign in value if sign.isprintable() and sign not in '"\\')
            return f'"{plain[:200]}"'
        case datetime():
            return value.isoformat()
        case dict():
            return "{" + ", ".join(f"{name} = {_toml(inner)}" for name, inner in value.items()) + "}"
        case list():
            return "[\n" + "".join(f"  {_toml(item)},\n" for item in value) + "]"
    return repr(value)


def read_learned(path: Path) -> Learned:
    """Read such a file. Raises InputError where it is none."""
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise InputError(f"more than {LARGEST_FILE:,} bytes", where=str(path))
        table = tomllib.loads(path.read_text(encoding="utf-8"))
        return _learned(table)
    except OSError as error:
        raise InputError(f"{path} cannot be read: {error.strerror}") from None
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise InputError(
            f"this is no file of `halfsplit learn` ({error})", remedy="make it again", where=str(path)
        ) from None


def _learned(table: dict[str, Any]) -> Learned:
    circuits = {}
    for row in table.get("circuit", ()):
        shares = {str(kind): float(share) for kind, share in row["shares"].items()}
        if any(not 0.0 <= share <= 1.0 for share in shares.values()) or sum(shares.values()) <= 0.0:
            raise ValueError("shares are between 0 and 1")
        causes = {}
        for cause in row["causes"]:
            words = [str(cause[name]) for name in ("part", "kind", "mode")]
            if not all(_WORD.fullmatch(word) for word in words):
                raise ValueError("a part that is no name")
            causes[Cause(*words)] = _count(cause["jobs"])
        circuits[str(row["digest"])] = CircuitTally(shares, causes)
    looks = {str(row["kind"]): (_count(row["found"]), _count(row["missed"])) for row in table.get("look", ())}
    sources = tuple((str(row["who"]), row["at"], _count(row["jobs"])) for row in table.get("source", ()))
    if any(not isinstance(at, datetime) for _, at, _ in sources):
        raise ValueError("a source without a date")
    return Learned(Tally(circuits, looks, _circumstances(table)), sources, used=table["use"] is True)


def _circumstances(table: dict[str, Any]) -> Circumstances:
    conditions = {
        _word(row["name"]): Condition(
            _count(row["jobs"]), _count(row["of"]), _number(row["expected"], row["of"])
        )
        for row in table.get("condition", ())
    }
    visits = {
        _word(row["name"]): Visits(_count(row["visits"]), _number(row["log"], 10.0 * row["visits"]))
        for row in table.get("place", ())
    }
    slips = {
        _word(row["instrument"]): Slips(_count(row["wrong"]), _count(row["of"]))
        for row in table.get("slip", ())
    }
    if any(condition.jobs > condition.of for condition in conditions.values()) or any(
        slip.wrong > slip.of for slip in slips.values()
    ):
        raise ValueError("more of them than there are")
    return Circumstances(conditions, visits, slips)


def _word(value: Any) -> str:
    if not isinstance(value, str) or not _WORD.fullmatch(value):
        raise ValueError("a name that is none")
    return value


def _number(value: Any, most: float) -> float:
    if isinstance(value, bool) or not abs(float(value)) <= most:
        raise ValueError(f"{value!r} is too much")
    return float(value)


def _count(value: Any) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= 1_000_000_000:
        raise ValueError(f"{value!r} is no number of jobs")
    return value
