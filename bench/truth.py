"""How true the answers are: random circuits with hidden faults of five kinds, how jobs end, and calibration.

`python -m bench truth --jobs 1000 --workers 2` runs the shares 600 single, 150 with one wrong reading, 100 that come
and go, 75 pairs, 75 not in the model. `--keep FILE` keeps the rows, and a run that is broken off goes on; runs of
several seeds add up: `--report FILE FILE`.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from itertools import pairwise
from pathlib import Path

import numpy as np

from bench.shared import Row, keep, kept_rows, mean, share, table
from bench.truth_jobs import KINDS, run
from halfsplit.job.spread import each

BANDS = (0.0, 0.2, 0.4, 0.6, 0.8, 0.9, 0.95, 0.99, 1.0001)


def wanted(count: int) -> list[tuple[str, int]]:
    """Kind and number of each job; each kind has its share, at least one, and they take turns."""
    each = {kind: max(1, round(share * count)) for kind, share in KINDS.items()}
    told = [(kind, number) for kind, many in each.items() for number in range(many)]
    return sorted(told, key=lambda one: (one[1] + 0.5) / each[one[0]])


def main(arguments: list[str]) -> int:
    """Run what is missing and print the tables."""
    parser = argparse.ArgumentParser(prog="python -m bench truth", description=__doc__)
    parser.add_argument("--jobs", type=int, default=30)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument(
        "--cluster", default="", help="a Dask scheduler's address, or local; instead of --workers"
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kind", default="", help="only this kind of job")
    parser.add_argument("--keep", type=Path, help="keep the rows here and go on from what it holds")
    parser.add_argument(
        "--report", nargs="*", type=Path, help="print what these files hold, or what is kept; run nothing"
    )
    given = parser.parse_args(arguments)
    kept = [given.keep] if given.keep else []
    rows = [row for path in given.report or kept for row in kept_rows(path)]
    if given.report is not None:
        print(tables(rows))
        return 0
    have = {(row["kind"], row["number"]) for row in rows if row["seed"] == given.seed}
    todo = [one for one in wanted(given.jobs) if one not in have and given.kind in one[0]]
    for row in _run(todo, given.seed, given.workers, given.cluster):
        rows.append(row)
        print(one_line(row), flush=True)
        if given.keep:
            keep(given.keep, row)
    print(tables(rows))
    return 0


def _piece(piece: tuple[str, int, int]) -> Row:
    return run(*piece)


def _run(todo: Sequence[tuple[str, int]], seed: int, workers: int, cluster: str) -> Iterator[Row]:
    if cluster:
        yield from each(_piece, [(kind, seed, number) for kind, number in todo], cluster=cluster)
        return
    if workers <= 1:
        yield from (run(kind, seed, number) for kind, number in todo)
        return
    with ProcessPoolExecutor(workers) as pool:
        waiting = [pool.submit(run, kind, seed, number) for kind, number in todo]
        for done in as_completed(waiting):
            yield done.result()


def outcome(row: Row) -> str:
    """How a job ended, in one word or two."""
    if row["named"] is None:
        return "says so" if row["says_so"] and row["kind"] == "not in the model" else "undecided"
    one_of_two = row["kind"] == "pair" and set(row["named"].split(" + ")) <= set(row["names"])
    word = "right" if row["right"] else "one of two" if one_of_two else "wrong"
    return ("proven " if row["proven"] else "found ") + word


def one_line(row: Row) -> str:
    """What is printed while the bench runs."""
    end = row["named"] or ", ".join(f"{name} {share:.2f}" for name, share in list(row["first"].items())[:3])
    slip = f" ({row['slip']})" if row["slip"] else ""
    return (
        f"{row['kind']} {row['number']}: {row['hidden']}{slip}: {outcome(row)}: {end}; "
        f"{row['tests']} tests, {row['minutes']:.0f} min, {row['seconds']:.1f} s"
    )


def tables(rows: Sequence[Row]) -> str:
    """Ends and calibration as Markdown."""
    if not rows:
        return "No job is kept yet."
    every = sorted(rows, key=lambda row: (list(KINDS).index(row["kind"]), row["number"]))
    parts = [_ends(every), _more(every)]
    for title, once in (("Each job once", True), ("All moments", False)):
        parts.append(f"{title}:\n\n{_calibration(every, once=once)}")
    return "\n\n".join(parts)


def _ends(rows: Sequence[Row]) -> str:
    ends_told = ("right", "proven right", "proven wrong", "found wrong", "undecided")
    head = ("kind", "jobs", *ends_told, "tests", "minutes")
    lines = []
    for kind in [*KINDS, "all"]:
        some = [row for row in rows if kind in (row["kind"], "all")]
        if not some:
            continue
        ends = [outcome(row) for row in some]
        lines.append((
            kind, str(len(some)), share([row["right"] for row in some]),
            share([end == "proven right" for end in ends]), share([end == "proven wrong" for end in ends]),
            share([end.endswith(" wrong") for end in ends]), share([row["named"] is None for row in some]),
            mean([row["tests"] for row in some]), mean([row["minutes"] for row in some]),
        ))  # fmt: skip
    return table(head, lines)


def _more(rows: Sequence[Row]) -> str:
    told = []
    pairs = [row for row in rows if row["kind"] == "pair"]
    if pairs:
        told.append(f"pairs: both named {share([r['right'] for r in pairs])}, "
                    f"at least one {share([r['one_of'] for r in pairs])}")  # fmt: skip
    unknown = [row for row in rows if row["kind"] == "not in the model"]
    if unknown:
        fine = [row["right"] or row["says_so"] or row["region"] for row in unknown]
        told.append(f"not in the model: says so or names it {share([r['right'] or r['says_so'] for r in unknown])}, "
                    f"or stays undecided with the right region {share(fine)}")  # fmt: skip
    moments = [(told_, true) for row in rows for told_, true in row["moments"]]
    last = [row["moments"][-1] for row in rows]
    told.append(
        f"Brier score of the first suspect: {_brier(last):.3f} at the stop, {_brier(moments):.3f} over all"
    )
    told.append(f"seconds a job {np.mean([row['seconds'] for row in rows]):.1f}")
    return "\n".join(f"- {one}" for one in told)


def _brier(moments: Sequence[tuple[float, bool]]) -> float:
    return float(np.mean([(told - true) ** 2 for told, true in moments]))


def bands(rows: Sequence[Row], *, once: bool) -> list[tuple[float, float, float, float, int]]:
    """Low and high end, told on average, share true and count of each band; ``once``: a job counts once in a band."""
    found = []
    for low, high in pairwise(BANDS):
        inside = [[one for one in row["moments"] if low <= one[0] < high] for row in rows]
        if once:
            inside = [[tuple(np.mean(np.array(some, dtype=float), axis=0))] for some in inside if some]
        every = [one for some in inside for one in some]
        if every:
            told, true = np.mean(np.array(every, dtype=float), axis=0)
            found.append((low, high, float(told), float(true), len(every)))
    return found


def _calibration(rows: Sequence[Row], *, once: bool) -> str:
    each = bands(rows, once=once)
    lines = [
        (
            f"{low:.0%} to {min(high, 1):.0%}",
            str(count),
            f"{told:.1%}",
            f"{true:.1%}",
            f"{100 * (true - told):+.1f}",
        )
        for low, high, told, true, count in each
    ]
    total = sum(one[-1] for one in each)
    error = sum(abs(told - true) * count for *_, told, true, count in each) / total
    worst = max((abs(told - true) for *_, told, true, count in each if count >= 30), default=float("nan"))
    of_what = ("jobs" if once else "moments", "on average", "it was the one", "points")
    head = ("the first suspect is told to hold", *of_what)
    return (
        table(head, lines)
        + f"\n\nMean error {100 * error:.1f} points; worst band of 30 and more {100 * worst:.1f}."
    )
