"""A whole sample harness (KBL, open data) as a circuit, or copies of it: its size, and what each step takes."""

import re
import resource
import sys
import time
from collections.abc import Sequence

import numpy as np

from bench.shared import DATA, timed
from halfsplit.circuit.batch import of_faults
from halfsplit.circuit.kinds import LOADS
from halfsplit.diagnosis.diagnosis import Diagnosis
from halfsplit.harness.build import build
from halfsplit.harness.read import read
from halfsplit.notation.circuit import Circuit


def whole_harness(name: str = "main.kbl") -> Circuit:
    """The harness with what is likely plugged into its connectors, ready to be solved."""
    return Circuit.parse(build(read((DATA / "harness" / name).read_bytes(), name)).text)


def copied(circuit: Circuit, text: str, copies: int) -> Circuit:
    """So many copies of a circuit beside each other on the battery of the first."""
    names = sorted((part.name for part in circuit.parts.values() if part.kind != "battery"), key=len)
    name = re.compile(r'(?<![\w"])(' + "|".join(map(re.escape, reversed(names))) + r")(?!\w)")
    lines = [line for line in text.splitlines() if not line.startswith(("battery", "title", "state"))]
    more = []
    for number in range(2, copies + 1):
        for line in lines:
            pieces = re.split(r'("[^"]*")', line)
            more += ["".join(each if each[:1] == '"' else name.sub(rf"\1c{number}", each) for each in pieces)]
    return Circuit.parse("\n".join([text, *more]))


def measure(circuit: Circuit) -> None:
    """Print seconds of one processor for all faults, for suspects and for the next tests, and the memory."""
    clock = time.process_time
    state = list(circuit.states)[-1]
    loads = [part.name for part in circuit.parts.values() if part.kind in LOADS and part.kind != "resistor"]
    system, faults = circuit.network.system(state), list(circuit.faults.values())
    seconds = {"all faults": timed(lambda: of_faults(system, faults).volts(np.arange(3)), clock)[0]}
    job = Diagnosis(circuit)
    job.complain(loads[len(loads) // 2], works="no", state=state)
    seconds["suspects"] = timed(job.suspects, clock)[0]
    for named in ("first next test", "a later one"):
        seconds[named], tests = timed(lambda: job.next_tests(5), clock)
        likeliest = max(tests[0].outcomes, key=lambda outcome: outcome.probability)
        job.record(tests[0], likeliest.word or likeliest.typical, sure=True)
        seconds[f"suspects after {named}"] = timed(job.suspects, clock)[0]
    print(f"{len(circuit.points)} points, {len(faults)} faults; seconds of one processor")
    for named, each in seconds.items():
        print(f"{named:32}{each:6.2f}")
    print(f"{'highest memory':32}{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024:6} MB")


def main(arguments: Sequence[str] = ()) -> int:
    """Print what each step takes. ``arguments``: the file's name, and how many copies of it to put together."""
    path = DATA / "harness" / (arguments[0] if arguments else "main.kbl")
    copies = int(arguments[1]) if len(arguments) > 1 else 1
    if not path.exists():
        print(f"{path.name} is not here: the outside data is not part of the project")
        return 0
    start = time.perf_counter()
    harness = read(path.read_bytes(), path.name)
    read_in = time.perf_counter()
    text = build(harness).text
    built = time.perf_counter()
    circuit = Circuit.parse(text)
    parsed = time.perf_counter()
    size = f"{len(circuit.points)} points, {len(circuit.faults)} faults, {len(circuit.states)} states"
    print(f"{path.name}: {len(harness.cores)} connections, {len(harness.places)} places; {size}")
    print(
        f"read {read_in - start:.2f} s, built {built - read_in:.2f} s, parsed and checked {parsed - built:.2f} s"
    )
    measure(circuit if copies == 1 else copied(circuit, text, copies))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
