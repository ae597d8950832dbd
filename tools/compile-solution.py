"""Compile ahead what would else be compiled while a page waits: circuits, the choice of tests, trigger wheels.

The compiled code is kept beside the sources, or in the user's cache folder where those cannot be written. What is
there from before is removed first: the cache notices a change of a loop's own file, not of one that it calls.
"""

import gc
from pathlib import Path

import numpy as np

from halfsplit import Circuit, Diagnosis
from halfsplit.capture.measure.wheel_path import cheapest_offsets
from halfsplit.circuit.batch import Batch, Cars, Cases
from halfsplit.circuit.substitution import answer
from halfsplit.diagnosis.ramps import add_ramps
from halfsplit.diagnosis.rollout import _minutes_after
from halfsplit.diagnosis.widths import widen

gc.disable()  # a compiler makes very many small things, and this process ends soon

for loops in (answer, add_ramps, _minutes_after, widen, cheapest_offsets):
    for old in Path(loops.stats.cache_path).glob("*.nb[ci]"):
        old.unlink()

circuit = Circuit.parse(
    "battery G1\nfuse F1 10 A\nlamp H1 21 W\nground E1\nG1.+ -- F1 -- H1 -- E1\nG1.- -- E1\n"
)
network = circuit.network
system = network.system("as drawn")
# A short adds an element that no front of the elimination knows: the part of the code that joints do not reach.
faults = [circuit.faults[name] for name in ("H1.1 open", "wire F1.2 H1.1 short to body")]
batch = Batch(
    Cars([system]), Cases.of(system, [one.changes for one in faults], [one.locks for one in faults])
)
every = np.arange(network.size)
batch.volts(every)
batch.source_ohms(every)
batch.port_ohms(every[:1], every[1:2])
job = Diagnosis(circuit)
job.complain("H1", works="no", state="as drawn")
job.next_tests(1)
cheapest_offsets(np.zeros(4), np.zeros(2), 1.0, 1.0)
