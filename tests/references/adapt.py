"""NASA's ADAPT-Lite recordings as evidence: the readings of each gauge before the injected fault, and after it.

``adapt.circuit`` is the testbed as a circuit of ours. No number of a recording stands in the project: the gauges'
ratios are set so that the sound circuit shows what the recording shows before the fault.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from halfsplit import Circuit, Diagnosis
from halfsplit.diagnosis.cost import part_of
from halfsplit.diagnosis.predictions import Predictions
from halfsplit.diagnosis.priors import Priors, default_priors

Floats = NDArray[np.float64]
Readings = Mapping[str, float]

CIRCUIT = Path(__file__).with_name("adapt.circuit")
STATE = "as drawn"
BEFORE_SECONDS = 20.0
WINDOW_SECONDS = 2.0
WINDOWS = 3
"""Those that differ most from before are the evidence of the fault."""
DRAWS, SPREAD = 4, 0.1


@dataclass(frozen=True)
class Recording:
    """One file: seconds (N,), and the channels (N,) by name, NaN where a slow channel has no sample."""

    seconds: Floats
    channels: Mapping[str, Floats]

    @staticmethod
    def read(path: Path) -> Recording:
        with path.open(encoding="utf-8", newline="") as file:
            names, *rows = csv.reader(file)
        table = np.array([[float(cell) if cell else np.nan for cell in row] for row in rows])
        return Recording(table[:, 0], {name: table[:, column] for column, name in enumerate(names) if column})

    def mean(self, start: float, end: float) -> Readings:
        """Mean of each channel over a stretch, for those with a sample in it."""
        chosen = (self.seconds >= start) & (self.seconds < end)
        stretch = {name: values[chosen & ~np.isnan(values)] for name, values in self.channels.items()}
        return {name: float(values.mean()) for name, values in stretch.items() if len(values)}


def before(recording: Recording, injected_at: float) -> Readings:
    """The last seconds of the sound testbed."""
    return recording.mean(max(0.0, injected_at - BEFORE_SECONDS), injected_at)


def after(recording: Recording, injected_at: float, sound: Readings, circuit: Circuit) -> Readings:
    """The mean of the windows that differ most from before, by the gauges' errors: a fault may come and go, or grow."""
    starts = np.arange(injected_at, recording.seconds[-1] - WINDOW_SECONDS, WINDOW_SECONDS)
    windows = [recording.mean(float(start), float(start) + WINDOW_SECONDS) for start in starts]
    chosen = sorted(windows, key=lambda one: -_difference(one, sound, circuit))[:WINDOWS]
    return {
        name: float(np.mean([one[name] for one in chosen if name in one] or [sound[name]])) for name in sound
    }


def _difference(window: Readings, sound: Readings, circuit: Circuit) -> float:
    errors = {name: gauge.error or 1.0 for name, gauge in circuit.model.gauges.items()}
    return sum(((value - sound[name]) / errors[name]) ** 2 for name, value in window.items())


def calibrated(sound: Readings) -> Circuit:
    """The testbed whose gauges show these readings when nothing is wrong."""
    drawn = Circuit.read(CIRCUIT)
    model = drawn.model
    gauges = {
        name: replace(gauge, ratio=sound[name] / shown) if shown else gauge
        for name, gauge in model.gauges.items()
        for shown in (_shown(drawn, name),)
    }
    stages = {
        gauge.place: replace(model.stages[gauge.place], good=sound[gauge.name])
        for gauge in model.gauges.values()
        if gauge.quantity == "stage"
    }
    stages_too = MappingProxyType({**model.stages, **stages})
    return Circuit(replace(model, gauges=MappingProxyType(gauges), stages=stages_too))


def _shown(circuit: Circuit, name: str) -> float:
    """What a gauge of ratio 1 shows; 0 where it is no measure of the circuit's."""
    gauge, solution = circuit.model.gauges[name], circuit.solve(STATE)
    if gauge.quantity == "volts":
        return solution.volts(gauge.place)
    return solution.amps(gauge.place) if gauge.quantity == "amps" else 0.0


def diagnose(recording: Recording, injected_at: float) -> Diagnosis:
    """A job with the readings before and after the fault as its evidence."""
    sound = before(recording, injected_at)
    return job_with(sound, after(recording, injected_at, sound, calibrated(sound)))


def job_with(sound: Readings, faulty: Readings) -> Diagnosis:
    """A job with the readings of the sound testbed and of the one with a fault."""
    circuit = calibrated(sound)
    predictions = Predictions(circuit, draws=DRAWS, seed=0, spread=SPREAD)
    job = Diagnosis(circuit, predictions=predictions, priors=_priors())
    for name, value in sound.items():
        job.measure("gauge", name, state=STATE, value=value, present="no")
    for name, value in faulty.items():
        job.measure("gauge", name, state=STATE, value=value)
    return job


def _priors() -> Priors:
    """Only components were made to fail there: wires and contacts of a laboratory are hardly ever the cause."""
    priors = default_priors()
    wiring = {kind: 0.1 * rate for kind, rate in priors.rates.items() if kind in ("wire", "contact")}
    return replace(priors, rates={**priors.rates, **wiring})


def components(job: Diagnosis) -> dict[str, float]:
    """Probability by component, likeliest first: a component's contacts count as its own."""
    told: dict[str, float] = {}
    for one in job.suspects():
        name = part_of(one.part)
        told[name] = told.get(name, 0.0) + one.probability
    return dict(sorted(told.items(), key=lambda item: -item[1]))
