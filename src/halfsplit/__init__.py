"""Fault finding on vehicle electrics by measurement.

    import halfsplit as hs

    circuit = hs.Circuit.read("rear-screen.circuit")
    job = hs.Diagnosis(circuit)
    job.complain("E9", works="weak", state="screen on")
    test = job.next_tests(limit=1)[0]
    job.record(test, 8.9)
    job.finding()

The names are described in ``docs/python.md``. Each is loaded on first use: what talks to a bus needs no compiled
solution, and a circuit needs no readers of captures.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from halfsplit.capture.capture import Capture
    from halfsplit.circuit.faults import Fault
    from halfsplit.circuit.interventions import fit, jump, lamp_for, stand_in, unplug
    from halfsplit.circuit.network import UnknownNameError
    from halfsplit.circuit.problems import CircuitError
    from halfsplit.diagnosis.diagnosis import Diagnosis, ImplausibleReadingError
    from halfsplit.errors import HalfsplitError
    from halfsplit.notation.circuit import Circuit
    from halfsplit.scan.compare import compare
    from halfsplit.scan.report import ScanReport

# Matrices here are small and many: threads of the linear algebra's own would mostly wait for each other, ten times
# as long where somebody else works too. It reads this when it is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

__version__ = "0.1.0"

__all__ = [
    "Capture",
    "Circuit",
    "CircuitError",
    "Diagnosis",
    "Fault",
    "HalfsplitError",
    "ImplausibleReadingError",
    "ScanReport",
    "UnknownNameError",
    "__version__",
    "compare",
    "fit",
    "jump",
    "lamp_for",
    "stand_in",
    "unplug",
]

_LATER = {
    "Capture": "halfsplit.capture.capture",
    "Circuit": "halfsplit.notation.circuit",
    "CircuitError": "halfsplit.circuit.problems",
    "Diagnosis": "halfsplit.diagnosis.diagnosis",
    "Fault": "halfsplit.circuit.faults",
    "HalfsplitError": "halfsplit.errors",
    "ImplausibleReadingError": "halfsplit.diagnosis.diagnosis",
    "UnknownNameError": "halfsplit.circuit.network",
    "fit": "halfsplit.circuit.interventions",
    "jump": "halfsplit.circuit.interventions",
    "lamp_for": "halfsplit.circuit.interventions",
    "stand_in": "halfsplit.circuit.interventions",
    "unplug": "halfsplit.circuit.interventions",
    "ScanReport": "halfsplit.scan.report",
    "compare": "halfsplit.scan.compare",
}


def __getattr__(name: str) -> Any:
    if name in _LATER:
        from importlib import import_module

        return getattr(import_module(_LATER[name]), name)
    raise AttributeError(f"module 'halfsplit' has no attribute {name!r}")
