"""What several benchmarks share: where the outside data are, seconds of some work, rows that are kept, tables."""

from __future__ import annotations

import json
import os
import socket
import sys
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from halfsplit import Diagnosis
from halfsplit.diagnosis.proof import Finding
from halfsplit.diagnosis.propose import Test

DATA = Path(os.environ.get("HALFSPLIT_DATA", Path(__file__).parents[2] / "shared" / "data"))
Result = TypeVar("Result")
Row = dict[str, Any]


def timed(work: Callable[[], Result], clock: Callable[[], float] = time.perf_counter) -> tuple[float, Result]:
    """Seconds that some work takes, and what comes of it."""
    start = clock()
    result = work()
    return clock() - start, result


def quickest(work: Callable[[], object], times: int = 3) -> float:
    """The least seconds of a few runs: other programs on the machine only ever add."""
    return min(timed(work)[0] for _ in range(times))


def free_port() -> int:
    """A port of this machine that nobody has."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def gone_on(job: Diagnosis, made: int, most: int) -> tuple[Finding | None, Test | None]:
    """What is found by now, and the next test: none where it is proven or so many were made."""
    finding = job.finding()
    over = made >= most or (finding is not None and finding.proven)
    return finding, next(iter([] if over else job.next_tests(1)), None)


def kept_rows(path: Path) -> list[Row]:
    """The rows that a benchmark has kept, without a last one that was cut off."""
    rows = []
    for line in path.read_text(encoding="utf-8").splitlines() if path.exists() else ():
        try:
            rows.append(json.loads(line))
        except json.JSONDecodeError:
            print(f"{path}: a line that was cut off is left out", file=sys.stderr)
    return rows


def keep(path: Path, row: Mapping[str, Any]) -> None:
    """Put a row behind those that are kept."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a", encoding="utf-8") as file:
        file.write(json.dumps(row, default=float) + "\n")


def table(head: Sequence[str], lines: Iterable[Sequence[str]]) -> str:
    """A table of Markdown, all columns but the first at the right."""
    rule = "| --- " + "| ---: " * (len(head) - 1) + "|"
    cells = ["| " + " | ".join(line) + " |" for line in (head, *lines)]
    return "\n".join([cells[0], rule, *cells[1:]])


def share(values: Sequence[bool]) -> str:
    """The share of those that hold, in per cent."""
    return f"{np.mean(values):.1%}" if len(values) else "-"


def mean(values: Sequence[float], digits: int = 1) -> str:
    """The mean, a bar where there is none."""
    return f"{np.mean(values):.{digits}f}" if len(values) else "-"
