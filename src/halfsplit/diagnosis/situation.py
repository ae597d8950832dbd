"""What is known of a job at one moment: the input of suspects, tests and proof."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfsplit.circuit.circuit import Circuit
from halfsplit.diagnosis.expected import Context
from halfsplit.diagnosis.measurement import Measurement, Reading
from halfsplit.diagnosis.posterior import Inference, Posterior

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

TELLS_OF_A_FAULT = {("answers", "no"), ("code", "set"), ("blown", "yes"), ("stage", "no")}
PARTICLES = 3000
GROUPS = 40


@dataclass(frozen=True, eq=False)
class Situation:
    """``opened``: places that are open already; ``state``: the one that the vehicle is in."""

    circuit: Circuit
    instruments: tuple[str, ...]
    intermittent: bool
    inference: Inference
    posterior: Posterior
    readings: tuple[Reading, ...]
    refused: Mapping[Measurement, str]
    opened: frozenset[str]
    state: str | None

    @property
    def context(self) -> Context:
        return self.posterior.belief.context

    @property
    def live(self) -> tuple[Reading, ...]:
        """Readings that are not struck out."""
        return tuple(reading for reading in self.readings if reading.struck is None)

    @property
    def complaints(self) -> tuple[Reading, ...]:
        """What is wrong with the vehicle: complaints, and loads seen not to work as they should."""
        healthy = self.circuit.healthy_word
        return tuple(
            reading
            for reading in self.live
            if reading.measurement.quantity == "works"
            and not reading.measurement.changes
            and reading.present != "no"
            and reading.value != healthy(reading.measurement.at, reading.measurement.state)
        )

    @property
    def wrong(self) -> tuple[Reading, ...]:
        """What says that something is wrong: the complaints, silent units, codes, blown fuses, stages that do not hold.

        A job may begin with the scan alone: not every fault is noticed at a load.
        """
        told = tuple(
            reading
            for reading in self.live
            if reading.present != "no"
            and (reading.measurement.quantity, reading.value) in TELLS_OF_A_FAULT
            and not reading.measurement.changes
        )
        return (*self.complaints, *told)

    def particles(self) -> tuple[Ints, Floats, Ints, list[str]]:
        """The particles that matter.

        Flat indices (N,) into (C, D), weights that add up to 1, group (N,) numbered from 0 and the names of those
        groups; small groups are merged into one at the end.
        """
        names, group = self.posterior.groups
        flat = self.posterior.weights.ravel()
        order = np.argsort(-flat, kind="stable")[:PARTICLES]
        order = order[flat[order] >= 1e-9 * flat[order[0]]]
        weights = flat[order] / flat[order].sum()
        groups = group[order // self.posterior.weights.shape[1]]
        totals = np.bincount(groups, weights=weights, minlength=len(names))
        leading = np.argsort(-totals, kind="stable")[:GROUPS]
        leading = leading[totals[leading] > 0]
        number = np.full(len(names), len(leading))
        number[leading] = np.arange(len(leading))
        told = [names[index] for index in leading]
        return order, weights, number[groups], [*told, "others"]

    def likeliest(self, least: float = 0.005, most: int = 16) -> list[str]:
        """Names of the leading repair groups."""
        special = ("nothing wrong", "not in this model")
        return [
            name
            for name, share in self.posterior.probability.items()
            if share >= least and name not in special
        ][:most]
