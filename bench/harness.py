"""A whole sample harness (KBL, open data) as a circuit: its size, and seconds to read, build and check it."""

import os
import sys
import time
from collections.abc import Sequence
from pathlib import Path

from halfsplit.harness.build import build
from halfsplit.harness.read import read
from halfsplit.notation.circuit import Circuit

DATA = Path(os.environ.get("HALFSPLIT_DATA", Path(__file__).parents[2] / "shared" / "data"))


def whole_harness(name: str = "main.kbl") -> Circuit:
    """The harness with what is likely plugged into its connectors, ready to be solved."""
    return Circuit.parse(build(read((DATA / "harness" / name).read_bytes(), name)).text)


def main(arguments: Sequence[str] = ()) -> int:
    """Print what each step takes."""
    path = DATA / "harness" / (arguments[0] if arguments else "main.kbl")
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
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
