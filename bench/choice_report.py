"""The tables and the plot of `bench choice`."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np

from bench.shared import Row, mean, share, table

BINS = (0.0, 0.2, 0.4, 0.6, 0.7, 0.8, 0.9, 0.95, 0.99, 1.0001)
AIM_OPTIMUM, AIM_TRACING, AIM_RIGHT = 1.05, 2.0, 0.97
LONG = 16
"""Measuring points in line from which tracing is held against the engine."""
ALIKE = 0.5
"""Undecided, and the hidden fault holds at least this share of what the first suspect holds: they look alike."""
WAYS = ("halving", "tracing")


def jobs(rows: Iterable[Row]) -> list[Row]:
    """The rows of whole jobs."""
    return [row for row in rows if row["kind"] == "job"]


def right(row: Row) -> bool:
    """Whether the engine ended with the hidden cause."""
    return bool(row["ours"]["named"] == row["group"])


def look_alike(row: Row) -> bool:
    """Undecided to the end between the hidden fault and others that no test offered tells from it."""
    ours = row["ours"]
    return ours["named"] is None and ours["last"] >= ALIKE * max(ours["rivals"].values(), default=1.0)


def one_line(row: Row) -> str:
    """What is printed while the bench runs."""
    place = f"{row['circuit']} {row['number']}"
    if row["kind"] == "small":
        ratios = [f"{name} {value / row['optimal']:.3f}" for name, value in row.get("minutes", {}).items()]
        return f"{place}: small problem, {', '.join(ratios) or 'nothing to choose'}"
    ours = row["ours"]
    word = "right" if right(row) else f"named {ours['named']}" if ours["named"] else "undecided"
    proven = ", proven" if ours["proven"] else ""
    return (
        f"{place}: {row['fault']}: {word}{proven}, {ours['tests']} tests, {ours['minutes']:.0f} min, "
        f"{ours['slips']} slips, {ours['seconds']:.1f} s"
    )


def tables(rows: Sequence[Row]) -> str:
    """All tables as Markdown."""
    done = jobs(rows)
    if not done:
        return "No job is kept yet."
    parts = (_ends(done), _lines(done), _optimum(rows), _calibration(done), _circuits(done), _short(done))
    return "\n\n".join(part for part in parts if part)


def _median(values: Sequence[float]) -> str:
    return f"{np.median(values):.1f}" if len(values) else "-"


def _ends(done: Sequence[Row]) -> str:
    """How each way ends over all jobs."""
    found = [row for row in done if row["ours"]["found"] is not None]
    proven = [row for row in done if row["ours"]["proven"]]
    lines = [
        _ending("ours, to the first 95 %", len(done), [r["ours"]["found"] == r["group"] for r in found],
                [r["ours"]["found_tests"] for r in found], [r["ours"]["found_minutes"] for r in found]),
        _ending("ours, to the end", len(done), [right(r) for r in done if r["ours"]["named"]],
                [r["ours"]["tests"] for r in done], [r["ours"]["minutes"] for r in done]),
        _ending("of these proven", len(done), [right(r) for r in proven],
                [r["ours"]["tests"] for r in proven], [r["ours"]["minutes"] for r in proven]),
    ]  # fmt: skip
    for way in WAYS:
        ended = [row[way] for row in done if row[way]["named"]]
        lines.append(
            _ending(way, len(done), [one["right"] for one in ended],
                    [one["tests"] for one in ended], [one["minutes"] for one in ended])
        )  # fmt: skip
    cured = [row["replacing"] for row in done if row["replacing"]["cured"]]
    lines.append(
        _ending("replacing the likeliest part", len(done), [True] * len(cured),
                [one["parts"] for one in cured], [one["minutes"] for one in cured])
    )  # fmt: skip
    slips = sum(row["ours"]["slips"] for row in done)
    cost = mean([row["replacing"]["cost"] for row in done], 0)
    head = ("way", "names a cause", "right", "wrong", "none named", "tests, mean", "minutes, mean", "median")
    return (
        f"{len(done)} jobs, {slips} slips in the engine's readings; fitted in vain when replacing: "
        f"{mean([row['replacing']['parts'] for row in done])} parts, {cost} euro.\n\n" + table(head, lines)
    )


def _ending(
    name: str, count: int, good: Sequence[bool], tests: Sequence[float], minutes: Sequence[float]
) -> tuple[str, ...]:
    share = [len(good), sum(good), len(good) - sum(good), count - len(good)]
    return (name, *(f"{one / count:.1%}" for one in share), mean(tests), mean(minutes), _median(minutes))


def _comparable(done: Sequence[Row]) -> list[Row]:
    """Jobs that both the engine and tracing and halving ended right."""
    return [
        row
        for row in done
        if right(row)
        and row["ours"]["stretch_minutes"] is not None
        and all(row[way]["right"] for way in WAYS)
    ]


def _at_load(row: Row) -> bool:
    """Whether the hidden fault is the load that was told of, or one of its own contacts."""
    return any(row["group"].partition(".")[0] == one["name"] for one in row["told"])


def _long(row: Row) -> bool:
    return bool(row["points"] >= LONG)


CLASSES: tuple[tuple[str, Callable[[Row], bool]], ...] = (
    ("under 10 points", lambda row: row["points"] < 10),
    ("10 to 15 points", lambda row: 10 <= row["points"] < LONG),
    ("16 points and more, patterns", lambda row: _long(row) and not row["circuit"].startswith("line")),
    ("16 points and more, long lines", lambda row: _long(row) and row["circuit"].startswith("line")),
    ("16 points and more, all", _long),
    ("of these the fault at the load", lambda row: _long(row) and _at_load(row)),
    ("of these the fault elsewhere", lambda row: _long(row) and not _at_load(row)),
)


def _minutes(row: Row, way: str) -> float:
    """Minutes of a way; of the engine to the same stretch as tracing, to 95 % for the repair, to the end."""
    own = {"stretch": "stretch_minutes", "found": "found_minutes", "end": "minutes"}
    return float(row["ours"][own[way]] if way in own else row[way]["minutes"])


def _lines(done: Sequence[Row]) -> str:
    """Minutes along lines of so many points, of the jobs that all three ended right."""
    lines = []
    for name, wanted in CLASSES:
        some = [row for row in _comparable(done) if wanted(row)]
        if some:
            told = [mean([_minutes(row, way) for row in some]) for way in ("stretch", "found", "end", *WAYS)]
            ratios = [
                _ratio(some, "tracing", "stretch"),
                f"{np.median([_minutes(r, 'tracing') / max(_minutes(r, 'stretch'), 1.0) for r in some]):.2f}",
                _ratio(some, "halving", "stretch"),
                _ratio(some, "tracing", "found"),
            ]
            lines.append((name, str(len(some)), *told, *ratios))
    theirs = ("tracing / ours, stretch", "its median", "halving / ours, stretch", "tracing / ours, repair")
    head = ("line", "jobs", "ours to the stretch", "ours to the repair", "ours, end", *WAYS, *theirs)
    return table(head, lines) if lines else ""


def _ratio(some: Sequence[Row], way: str, mine: str) -> str:
    """Ratio of the mean minutes to the engine's, with the middle 90 % of 1,000 drawings with replacement."""
    theirs = np.array([_minutes(row, way) for row in some])
    ours = np.array([_minutes(row, mine) for row in some])
    drawn = np.random.default_rng(0).integers(0, len(some), (1000, len(some)))
    low, high = np.percentile(theirs[drawn].mean(axis=1) / ours[drawn].mean(axis=1), (5, 95))
    return f"{theirs.mean() / ours.mean():.2f} ({low:.2f} to {high:.2f})"


def _optimum(rows: Iterable[Row]) -> str:
    worked = [row for row in rows if row["kind"] == "small" and row["faults"]]
    if not worked:
        return ""
    lines = []
    for name in worked[0]["minutes"]:
        ratios = np.array([row["minutes"][name] / row["optimal"] for row in worked])
        total = sum(row["minutes"][name] for row in worked) / sum(row["optimal"] for row in worked)
        lines.append((name, f"{ratios.mean():.3f}", f"{total:.3f}", f"{ratios.max():.3f}"))
    sizes = (
        f"{mean([row['faults'] for row in worked])} faults and {mean([row['tests'] for row in worked])} tests"
    )
    head = ("way", "mean of the ratios", "ratio of the means", "worst")
    return (
        f"{len(worked)} small problems, on average {sizes}; expected minutes over the optimum:\n\n"
        + table(head, lines)
    )


def told_and_true(done: Sequence[Row]) -> list[tuple[float, float, float, int]]:
    """(lower end of the bin, mean told, share true, how many) over all moments of all jobs."""
    pairs = np.array([one for row in done for one in row["ours"]["shares"]], dtype=float).reshape(-1, 2)
    found = []
    for low, high in pairwise(BINS):
        inside = pairs[(pairs[:, 0] >= low) & (pairs[:, 0] < high)]
        if len(inside):
            found.append((low, float(inside[:, 0].mean()), float(inside[:, 1].mean()), len(inside)))
    return found


def calibration_error(done: Sequence[Row]) -> float:
    """Mean difference between what was told and how often it was true, weighted by how often it was told."""
    bins = told_and_true(done)
    return sum(abs(told - true) * many for _, told, true, many in bins) / sum(many for *_, many in bins)


def _once_a_job(done: Sequence[Row], low: float, high: float) -> str:
    """Share true where each job counts once, however long it stayed in the bin."""
    each = [[true for told, true in row["ours"]["shares"] if low <= told < high] for row in done]
    shares = [float(np.mean(one)) for one in each if one]
    return f"{np.mean(shares):.1%} of {len(shares)}"


def _calibration(done: Sequence[Row]) -> str:
    ends = dict(pairwise(BINS))
    lines = [
        (f"{low:.0%} to {min(ends[low], 1.0):.0%}", str(many), f"{told:.1%}", f"{true:.1%}",
         _once_a_job(done, low, ends[low]))
        for low, told, true, many in told_and_true(done)
    ]  # fmt: skip
    head = ("the first suspect is told to hold", "times", "on average", "it was the one", "each job once")
    return table(head, lines) + f"\n\nMean error of what is told: {calibration_error(done):.1%}."


def _circuits(done: Sequence[Row]) -> str:
    lines = []
    for name in dict.fromkeys(row["circuit"] for row in done):
        some = [row for row in done if row["circuit"] == name]
        found = [row["ours"]["found_minutes"] for row in some if row["ours"]["found_minutes"] is not None]
        ended = [[row[way]["minutes"] for row in some if row[way]["right"]] for way in WAYS]
        lines.append(
            (name, str(len(some)), share([right(row) for row in some]),
             share([row["ours"]["proven"] and right(row) for row in some]),
             mean([row["ours"]["tests"] for row in some]),
             mean(found), mean([row["ours"]["minutes"] for row in some]), *(mean(one) for one in ended),
             mean([row["replacing"]["minutes"] for row in some]))
        )  # fmt: skip
    ours = ("circuit", "jobs", "right", "proven", "tests", "min to 95 %", "min to the end")
    return table((*ours, *WAYS, "replacing"), lines)


def _short(done: Sequence[Row]) -> str:
    """The jobs that did not end right, each with what it ended with."""
    lines = []
    for row in done:
        if not right(row):
            ours = row["ours"]
            undecided = "looks alike" if look_alike(row) else "undecided"
            what = f"names {ours['named']}" if ours["named"] else undecided
            rivals = ", ".join(f"{name} {held:.2f}" for name, held in ours["rivals"].items() if held >= 0.02)
            lines.append((row["circuit"], row["fault"], what, str(ours["slips"]), rivals))
    alike = sum(look_alike(row) for row in done)
    head = ("circuit", "hidden", "end", "slips", "first suspects")
    if not lines:
        return "Every job ended right."
    return f"Not right: {len(lines)}, of which {alike} look alike to the end.\n\n" + table(head, lines)


def missed(rows: Sequence[Row]) -> list[str]:
    """The aims that the rows miss, in words."""
    done, told = jobs(rows), []
    small = [row for row in rows if row["kind"] == "small" and row["faults"]]
    if done and np.mean([right(row) for row in done]) < AIM_RIGHT:
        told.append(f"right cause: under {AIM_RIGHT:.0%}")
    if small and np.mean([row["minutes"]["ours"] / row["optimal"] for row in small]) > AIM_OPTIMUM:
        told.append(f"expected minutes: over {AIM_OPTIMUM} times the optimum")
    long = [row for row in _comparable(done) if row["points"] >= LONG]
    if long:
        theirs, ours = ([_minutes(row, way) for row in long] for way in ("tracing", "found"))
        ratio = np.mean(theirs) / np.mean(ours)
        if ratio < AIM_TRACING:
            told.append(f"tracing on {LONG} points and more: under {AIM_TRACING:g} times our minutes")
    return told


FARTHEST = 180.0
"""Minutes that the plot shows; what takes longer lies beyond."""
INK = ("#000000", "#e69f00", "#cc79a7", "#009e73", "#56b4e9")
"""Okabe and Ito's colours, which the colour-blind can tell apart too."""


def plot(rows: Sequence[Row], path: Path) -> None:
    """Share of the jobs ended right within so many minutes, and what was told against what was true."""
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib import pyplot as plt

    mpl.rcParams |= {"svg.hashsalt": "choice", "font.size": 9}
    done = jobs(rows)
    figure, (left, other) = plt.subplots(1, 2, figsize=(9.5, 4.0), layout="constrained")
    for (name, minutes), ink in zip(_curves(done), INK, strict=True):
        shares = np.arange(len(minutes) + 1) / len(done)
        left.step([0, *sorted(minutes)], shares, where="post", color=ink, label=name)
    left.set(xlim=(0, FARTHEST), ylim=(0, 1), xlabel="minutes", ylabel="share of all jobs, ended right")
    left.legend(loc="lower right")
    bins = told_and_true(done)
    other.plot([0, 1], [0, 1], color="#999999", linewidth=0.8)
    _, told, true, many = zip(*bins, strict=True)
    other.scatter(told, true, s=[4 + 3 * count**0.5 for count in many], color=INK[3])
    for _, x, y, count in bins:
        other.annotate(str(count), (x, y), textcoords="offset points", xytext=(6, -9), fontsize=7)
    other.set(xlim=(0, 1.1), ylim=(0, 1.05))
    other.set(xlabel="told of the first suspect", ylabel="share of the times it was the one")
    path.parent.mkdir(parents=True, exist_ok=True)
    figure.savefig(path, format="svg", metadata={"Date": None, "Creator": None})
    plt.close(figure)


def _curves(done: Sequence[Row]) -> list[tuple[str, list[float]]]:
    found = [_minutes(r, "found") for r in done if r["ours"]["found"] == r["group"]]
    proven = [_minutes(r, "end") for r in done if right(r) and r["ours"]["proven"]]
    cured = [r["replacing"]["minutes"] for r in done if r["replacing"]["cured"]]
    ways = [(f"{way} (to the stretch)", [r[way]["minutes"] for r in done if r[way]["right"]]) for way in WAYS]
    return [
        ("Halfsplit, cause at 95 %", found),
        ("Halfsplit, proven", proven),
        *ways,
        ("replacing the likeliest", cured),
    ]
