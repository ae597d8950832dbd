"""Vehicles to find a fault on: made from a seed, and with a fault that comes and goes."""

from __future__ import annotations

import numpy as np

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.faults import Fault
from halfsplit.circuit.interventions import Intervention
from halfsplit.diagnosis.measurement import Measurement, Present
from halfsplit.practice.vehicle import Vehicle


class ComesAndGoes(Vehicle):
    """A vehicle whose fault is there for a share of the measurements (``presence``).

    ``present`` tells whether it was there during the last one: whoever watches the load sees that.
    """

    presence = 0.6
    wiggled = 0.6
    present: Present = "yes"

    def answer(self, measurement: Measurement) -> float | str:
        """What a technician reads while the fault happens to be there or not."""
        # A look sees the damage at any time, and a wiggle at the right place brings the fault on.
        always = measurement.quantity in ("inspection", "wiggle")
        self.present = "yes" if always or self.generator.random() < self.presence else "no"
        return super().answer(measurement)

    def fault_now(self, changes: tuple[Intervention, ...]) -> Fault | None:
        return super().fault_now(changes) if self.present == "yes" else None


def vehicle(
    circuit: Circuit, fault: Fault, seed: int, *, slips: float = 0.0, intermittent: bool = False
) -> Vehicle:
    """A vehicle with this fault; the same seed gives the same vehicle and the same readings in the same order."""
    kind = ComesAndGoes if intermittent else Vehicle
    return kind(circuit, fault, np.random.default_rng(seed), slips=slips)
