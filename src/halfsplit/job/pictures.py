"""The drawing of a job's circuit, with suspicion, the last readings and, on request, what each point should read."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.model import Model
from halfsplit.drawing import CSS, Fold, Overlays, Plan, arranged, concerned, paint_plan
from halfsplit.errors import HalfsplitError
from halfsplit.job.bench import shown_bench
from halfsplit.job.diagrams import bench_page
from halfsplit.job.entering import shown_value
from halfsplit.job.memory import VIEW, Bench, in_turn
from halfsplit.job.open_job import OpenJob
from halfsplit.job.places import from_json
from halfsplit.job.tests import lead_points
from halfsplit.notation.checked import Checked, check_text
from halfsplit.notation.library import Sample

DRAWING_CSS = CSS
PLANS = 200
"""Arrangements that are kept; each takes some 20 kB and a tenth of a second."""
LEAST_SUSPICION = 0.03
"""Shares below this are not shaded: a drawing in which everything is tinted tells nothing."""
MOST_NEAR = 6
"""Suspects whose current paths are drawn on the bench; the others are folded into stubs that a tap unfolds."""
LEAST_NEAR = 0.05


@dataclass(frozen=True)
class BenchDrawing:
    """``svg``: '' where the job has no usable circuit; ``state``: the one whose expected volts are shown, '' for none.

    ``opened``: parts that a tap unfolded; ``place``: the test whose leads are marked, None where there is none;
    ``folded``: whether part of the circuit is folded away. ``diagram``: whether the job has a diagram on which it can
    be shown; ``page``: it is shown on that, of this name.
    """

    svg: str = ""
    states: tuple[str, ...] = ()
    state: str = ""
    opened: tuple[str, ...] = ()
    place: Mapping[str, Any] | None = None
    folded: bool = False
    diagram: bool = False
    page: str = ""


def _plan(text: str, focus: frozenset[str]) -> Plan:
    return _arranged(text, concerned(_model(text), focus))


@lru_cache(maxsize=PLANS)
def _arranged(text: str, fold: Fold) -> Plan:
    with in_turn(late=True):
        return arranged(_model(text), fold)


def _model(text: str) -> Model:
    circuit = check_text(text).circuit
    assert circuit is not None  # noqa: S101 - asked only for a text that is usable
    return circuit.model


def circuit_drawing(
    checked: Checked, *, width: float | None = None, readings: Mapping[str, str] | None = None
) -> str:
    """The drawing of a circuit as SVG, with ``readings`` at their points; '' where the text is not usable."""
    if not checked.usable:
        return ""
    return paint_plan(_plan(checked.text, frozenset()), Overlays({}, readings or {}, {}), width=width).svg


@lru_cache(maxsize=64)
def sample_drawing(sample: Sample) -> str:
    """The drawing of a pattern or demo as SVG that stands alone; '' where its text is not usable."""
    checked = check_text(sample.text)
    if not checked.usable:
        return ""
    return paint_plan(_plan(checked.text, frozenset()), Overlays(), standalone=True).svg


def bench_drawing(
    job: OpenJob,
    *,
    place: Mapping[str, Any] | None = None,
    state: str = "",
    whole: bool = False,
    opened: Iterable[str] = (),
    width: float | None = None,
    paths: bool = False,
) -> BenchDrawing:
    """The drawing of the bench: the current paths of the suspects and of the next test, the rest as stubs.

    ``place``: the test whose leads are marked. ``state``: the one for which expected volts are shown. ``whole``:
    nothing is folded. ``opened``: parts that were unfolded by a tap. ``paths``: the current paths, even where
    the job has a diagram of its own to show it on.
    """
    bench = shown_bench(job)
    checked, suspects = bench.checked, bench.shown[VIEW].suspects
    if checked is None or checked.circuit is None or not checked.usable:
        return BenchDrawing()
    circuit, opened = checked.circuit, tuple(opened)
    shown = BenchDrawing("", tuple(circuit.states), state if state in circuit.states else "", opened, place)
    suspicion = {
        suspect.part: suspect.probability for suspect in suspects if suspect.probability >= LEAST_SUSPICION
    }
    measured = from_json(place) if place else None
    leads = lead_points(measured, circuit) if measured else {}
    near = [suspect.part for suspect in suspects[:MOST_NEAR] if suspect.probability >= LEAST_NEAR]
    focus: set[str] = set()
    for name in [] if whole else [*near, measured.at if measured else "", *leads, *opened]:
        # Parts and points; a wire is named by its ends.
        focus |= set(name.split()[1:3] if name.startswith("wire ") else [name.removesuffix(" body")]) - {""}
    overlays = Overlays(suspicion, last_readings(bench), _expected(circuit, shown.state), leads)
    page = None if whole else bench_page(job, overlays, [*leads, *suspicion])
    if page is not None and not paths:
        return replace(shown, svg=page.svg, diagram=True, page=page.name)
    plan = _plan(checked.text, frozenset(focus))
    svg = paint_plan(plan, overlays, width=width).svg
    return replace(shown, svg=svg, folded=plan.fold.model is not plan.model, diagram=page is not None)


def last_readings(bench: Bench) -> dict[str, str]:
    """Point → the last reading in volts against the battery's negative post, as it is written in the drawing."""
    said = [entry.payload for entry in bench.live if entry.kind == "reading"]
    return {
        str(reading["at"]): shown_value("volts", reading["value"])
        for reading in said
        if reading.get("quantity") == "volts" and not reading.get("to") and not reading.get("changes")
    }


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
