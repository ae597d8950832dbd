"""How good the choice of tests is: hidden faults on every pattern, the engine against four other ways and the optimum.

Each case is a fault drawn from the priors, of those that anyone notices, told as a customer would (one or two loads;
where none is touched, a stage, a silent unit or a code), on a vehicle with parameters of its own, instrument error and
one slip of the probe in 50 readings of volts. Results are kept line by line, so that a run can be broken off and gone
on with; `--report` prints what is there.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path

from bench import choice_report
from bench.choice_jobs import Case, case, circuits
from bench.choice_ours import ours, replace
from bench.choice_small import small
from bench.choice_walks import Located, halve, trace, walk
from bench.shared import Row, keep, kept_rows
from halfsplit import Circuit, Diagnosis

RESULTS = Path("bench-results") / "choice.jsonl"
AT_A_TIME = 2
"""Cases of one circuit in a row, that share what was solved: every circuit has its turn before any has all."""

Key = tuple[str, str, int, int]


def work(names: list[str], runs: int, seed: int, done: set[Key]) -> Iterator[Row]:
    """Work out what is not done yet: the small problem of each circuit's first case, and so many cases of each."""
    known = circuits()
    for start in range(0, runs, AT_A_TIME):
        for name in names:
            shared: Diagnosis | None = None
            for number in range(start, min(start + AT_A_TIME, runs)):
                wanted = [kind for kind in ("small", "job") if (kind, name, number, seed) not in done]
                if number:
                    wanted = [kind for kind in wanted if kind == "job"]
                made = case(known[name], seed, number) if wanted else None
                if made is None:
                    continue
                shared = shared or Diagnosis(known[name], seed=1)
                for kind in wanted:
                    head = {"kind": kind, "circuit": name, "number": number, "seed": seed}
                    yield head | (_small(made, seed) if kind == "small" else _job(made, shared))


def _small(made: Case, seed: int) -> Row:
    found = small(made, seed)
    return asdict(found) if found else {"faults": 0}


def _job(made: Case, shared: Diagnosis) -> Row:
    halved, traced = walk(made, halve), walk(made, trace)
    ended = [one.repairs for one in (traced, halved) if made.fault.group in one.repairs]
    return {
        "fault": made.fault.name,
        "group": made.fault.group,
        "told": [asdict(one) for one in made.told],
        "points": traced.points,
        "halving": _located(made, halved),
        "tracing": _located(made, traced),
        "replacing": asdict(replace(made, shared)),
        "ours": asdict(ours(made, shared, ended[0] if ended else frozenset())),
    }


def _located(made: Case, found: Located) -> Row:
    return {
        "right": made.fault.group in found.repairs,
        "named": sorted(found.repairs),
        "tests": found.tests,
        "minutes": found.minutes,
    }


def _key(row: Row) -> Key:
    return row["kind"], row["circuit"], row["number"], row["seed"]


def _names(asked: str | None, known: dict[str, Circuit]) -> list[str]:
    names = asked.split(",") if asked else list(known)
    unknown = [name for name in names if name not in known]
    if unknown:
        raise SystemExit(f"there is no circuit {', '.join(unknown)}; there are {', '.join(known)}")
    return names


def main(arguments: list[str]) -> int:
    """Work out what is missing, print the tables; 1 where an aim is missed."""
    parser = argparse.ArgumentParser(prog="python -m bench choice", description=__doc__)
    parser.add_argument("--runs", type=int, default=1, help="cases of each circuit")
    parser.add_argument("--patterns", help="names of circuits, with commas; all if not given")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--results", type=Path, default=RESULTS, help="file of results, gone on with")
    parser.add_argument("--report", action="store_true", help="only print what is there")
    parser.add_argument("--plot", type=Path, help="draw to this SVG file")
    given = parser.parse_args(arguments)
    names = _names(given.patterns, dict(circuits()))
    rows = kept_rows(given.results)
    if not given.report:
        for row in work(names, given.runs, given.seed, {_key(row) for row in rows}):
            keep(given.results, row)
            rows.append(row)
            print(time.strftime("%H:%M:%S"), choice_report.one_line(row), file=sys.stderr, flush=True)
    mine = [row for row in rows if row["circuit"] in names and row["seed"] == given.seed]
    mine.sort(key=lambda row: (names.index(row["circuit"]), row["number"]))
    if given.plot:
        choice_report.plot(mine, given.plot)
    print(choice_report.tables(mine))
    return int(bool(choice_report.missed(mine)))
