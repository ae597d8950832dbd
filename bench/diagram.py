"""Reading of vector pages: connections found, wrong joints and wires named, on drawings whose truth is known."""

from __future__ import annotations

import itertools
import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial

import shapely  # type: ignore[import-untyped]

from bench.diagram_cases import SEEN, UNSEEN, Case, own, schemdraw_cases
from halfsplit.diagram.files import open_file, sheet_of
from halfsplit.diagram.marks import Marks, Page
from halfsplit.diagram.read import proposal
from halfsplit.joined import Joined

NEAR = 2.5
"""A pin lies on a trace that passes within so many points."""


@dataclass(frozen=True)
class Score:
    """Counts: pairs of pins in one net (``found``, ``missed``, ``wrong``, ``doubtful`` of the wrong), wires named."""

    found: int = 0
    missed: int = 0
    wrong: int = 0
    doubtful: int = 0
    named: int = 0
    wires: int = 0
    seconds: float = 0.0

    def __add__(self, other: Score) -> Score:
        return Score(
            self.found + other.found,
            self.missed + other.missed,
            self.wrong + other.wrong,
            self.doubtful + other.doubtful,
            self.named + other.named,
            self.wires + other.wires,
            max(self.seconds, other.seconds),
        )


def score(case: Case, marks: Marks, seconds: float = 0.0) -> Score:
    """Compares what was read with what the page shows, by where the pins stand on it."""
    net: Joined[str] = Joined()
    sure: Joined[str] = Joined()
    for trace in marks.traces.values():
        net.join(trace.a, trace.b)
        if not trace.doubts:
            sure.join(trace.a, trace.b)
    truth: Joined[str] = Joined()
    for a, b in case.wires:
        truth.join(a, b)
    at = _located(case, marks)
    counts = [0, 0, 0, 0]
    for a, b in itertools.combinations(sorted({pin for wire in case.wires for pin in wire}), 2):
        meant = truth.root(a) == truth.root(b)
        read = a in at and b in at and net.root(at[a]) == net.root(at[b])
        counts[0] += meant and read
        counts[1] += meant and not read
        counts[2] += read and not meant
        counts[3] += read and not meant and sure.root(at[a]) != sure.root(at[b])
    named = _named(case, marks, net, at)
    both = sum(a in named and b in named for a, b in case.wires)
    found, missed, wrong, doubtful = counts
    return Score(found, missed, wrong, doubtful, both, len(case.wires), seconds)


def _located(case: Case, marks: Marks) -> dict[str, str]:
    """Pin → end of the trace on which it stands."""
    traces = list(marks.traces.values())
    if not traces:
        return {}
    tree = shapely.STRtree([shapely.LineString(trace.spots) for trace in traces])
    found = {}
    for pin, spot in case.pins.items():
        number = int(tree.nearest(shapely.Point(spot)))
        if shapely.Point(spot).distance(tree.geometries[number]) <= NEAR:
            found[pin] = traces[number].a
    return found


def _named(case: Case, marks: Marks, net: Joined[str], at: dict[str, str]) -> set[str]:
    """The pins whose net has a pin of that part, of that name where the page shows one; each read pin counts once."""
    used: set[str] = set()
    good = set()
    for name, end in at.items():
        part, _, pin = name.partition(":")[0].partition(".")
        here = [
            mark
            for mark in marks.pins.values()
            if mark.key not in used
            and net.root(mark.key) == net.root(end)
            and marks.parts[mark.part].name == part
            and (not pin or mark.name == pin or (case.printed and name not in case.printed))
        ]
        joints = [
            joint.key
            for joint in marks.joints.values()
            if not pin and joint.name == part and net.root(joint.key) == net.root(end)
        ]
        for key in [mark.key for mark in here][:1] or joints[:1]:
            used.add(key)
            good.add(name)
    return good


def read(case: Case) -> tuple[Marks, float]:
    """What the reader proposes for a case, and the seconds that it takes from the file on."""
    start = time.perf_counter()
    sheet = sheet_of(open_file(case.data), 1)
    marks = proposal(sheet, Page("g1", "", 1, sheet.width, sheet.height))
    return marks, time.perf_counter() - start


def _rows() -> dict[str, Callable[[], Iterable[Case]]]:
    rows: dict[str, Callable[[], Iterable[Case]]] = {"own drawings": own}
    for style in SEEN:
        rows[f"schemdraw, {style.name}"] = partial(schemdraw_cases, [style], range(0, 12, 2))
        rows[f"schemdraw, {style.name}, kept back"] = partial(schemdraw_cases, [style], range(1, 12, 2))
    for style in UNSEEN:
        rows[f"schemdraw, {style.name}, style kept back"] = partial(schemdraw_cases, [style], range(1, 12, 2))
    return rows


def main(arguments: list[str]) -> int:
    """Prints a row for each kind of drawing; ``kept`` as an argument adds those that were kept back."""
    kept = "kept" in arguments
    print(f"{'':52} pages  pairs  found  wrong (doubtful)  wires named  slowest")
    failed = False
    for name, cases in _rows().items():
        if "kept back" in name and not kept:
            continue
        total, pages = Score(), 0
        for case in cases():
            pages += 1
            one = score(case, *read(case))
            total += one
            if "-v" in arguments and (one.missed or one.wrong or one.named < one.wires):
                print(f"   {case.name}: {one}")
        pairs = total.found + total.missed
        print(
            f"{name:52} {pages:5} {pairs:6} {total.found / pairs:6.1%} {total.wrong:6} ({total.doubtful})       "
            f"{total.named / total.wires:10.1%} {total.seconds:7.2f} s"
        )
        failed |= (
            total.found < 0.99 * pairs or total.wrong > total.doubtful or total.named < 0.8 * total.wires
        )
    return int(failed)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
