"""The drawing of a job's circuit, with suspicion, the last readings and, on request, what each point should read."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

from halfsplit.circuit.circuit import Circuit
from halfsplit.drawing import CSS, Overlays, Plan, paint_plan, plan
from halfsplit.errors import HalfsplitError
from halfsplit.job.bench import bench_view
from halfsplit.job.entering import shown_value
from halfsplit.job.memory import Bench
from halfsplit.job.open_job import OpenJob
from halfsplit.notation.checked import Checked, check_text
from halfsplit.store import struck_ids

DRAWING_CSS = CSS
LEAST_SUSPICION = 0.03
"""Shares below this are not shaded: a drawing in which everything is tinted tells nothing."""
FOLD_FROM = 40
"""Parts from which on only what is concerned is drawn, unless the whole is asked for."""
WIDEST_FOCUS = 12


@lru_cache(maxsize=24)
def _plan(text: str, focus: frozenset[str]) -> Plan:
    circuit = check_text(text).circuit
    assert circuit is not None  # noqa: S101 - asked only for a text that is usable
    return plan(circuit.model, focus=focus)


def circuit_drawing(
    checked: Checked, *, width: float | None = None, readings: Mapping[str, str] | None = None
) -> str:
    """The drawing of a circuit as SVG, with ``readings`` at their points; '' where the text is not usable."""
    if not checked.usable:
        return ""
    return paint_plan(_plan(checked.text, frozenset()), Overlays({}, readings or {}, {}), width=width).svg


def bench_drawing(
    job: OpenJob, *, state: str = "", whole: bool = False, width: float | None = None
) -> tuple[str, bool]:
    """The drawing of the bench as SVG, and whether part of it is folded away.

    ``state``: the one for which expected volts are shown.

    '' where the job has no usable circuit.
    """
    view = bench_view(job)
    with job.bench() as bench:
        checked = bench.checked
        if checked is None or checked.circuit is None or not checked.usable:
            return "", False
        suspicion = {one.part: one.probability for one in view.suspects if one.probability >= LEAST_SUSPICION}
        focus = frozenset() if whole else _focus(checked.circuit, list(suspicion), bench)
        overlays = Overlays(suspicion, last_readings(bench), _expected(checked.circuit, state))
        return paint_plan(_plan(checked.text, focus), overlays, width=width).svg, bool(focus)


def _focus(circuit: Circuit, suspects: list[str], bench: Bench) -> frozenset[str]:
    """In a large circuit, the parts in question; nothing (the whole is drawn) in a small one."""
    if len(circuit.parts) <= FOLD_FROM:
        return frozenset()
    complained = [str(entry.payload.get("load")) for entry in bench.entries if entry.kind == "complaint"]
    return frozenset(name for name in (*suspects[:WIDEST_FOCUS], *complained) if name in circuit.parts)


def last_readings(bench: Bench) -> dict[str, str]:
    """Point → the last reading in volts against the battery's negative post, as it is written in the drawing."""
    struck = struck_ids(bench.entries)
    told: dict[str, str] = {}
    for entry in bench.entries:
        said = entry.payload
        plain = entry.kind == "reading" and said.get("quantity") == "volts"
        if plain and not said.get("to") and not said.get("changes") and entry.entry_id not in struck:
            told[str(said["at"])] = shown_value("volts", said["value"])
    return told


def _expected(circuit: Circuit, state: str) -> dict[str, str]:
    if not state:
        return {}
    try:
        solution = circuit.solve(state)
    except HalfsplitError:
        return {}
    return {
        point: f"{solution.volts(point):.1f} V" for point in circuit.points if not point.endswith(":part")
    }
