"""Captures: text against numpy's reader and windows of long traces; `capture_errors` has what is measured in them."""

import functools
import io
import itertools
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from bench.capture_errors import table
from bench.shared import quickest, timed
from halfsplit.capture import Capture, Channel

AIM_READING = 2.0
AIM_MEMORY = 1e9
AIM_WINDOW = 0.05


def _write(path: Path, rows: int) -> None:
    random = np.random.default_rng(1)
    with path.open("w") as file:
        file.write("Time (s),volts (V),amps (A),other (V)\n")
        for first in range(0, rows, 200_000):
            clock = (first + np.arange(200_000)) * 1e-5
            part = io.StringIO()
            np.savetxt(part, np.column_stack([clock, random.normal(size=(200_000, 3))]), "%.5f", ",")
            file.write(part.getvalue())


def _reading(rows: int) -> bool:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.csv"
        _write(path, rows)
        numpy = quickest(lambda: np.loadtxt(path, delimiter=",", skiprows=1, dtype=np.float32))
        ours = quickest(lambda: Capture.read(path))
        script = (
            "import resource, sys; from halfsplit.capture import Capture; Capture.read(sys.argv[1]);"
            "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024)"
        )
        told = subprocess.run(
            [sys.executable, "-c", script, str(path)], check=True, capture_output=True, text=True
        )
        memory = float(told.stdout)
        print(f"text of {path.stat().st_size / 1e6:.0f} MB: {ours:.2f} s, numpy.loadtxt {numpy:.2f} s")
    print(
        f"ratio {ours / numpy:.2f} (aim: under {AIM_READING:g}); highest memory {memory / 1e6:.0f} MB (aim: under 1 GB)"
    )
    return ours / numpy < AIM_READING and memory < AIM_MEMORY


def _windows(samples: int) -> bool:
    raw = np.random.default_rng(1).normal(size=samples).astype(np.float32)
    capture = Capture((Channel("trace", raw, rate=1e6),))
    build, _ = timed(lambda: capture["trace"].pyramid)
    length = samples / 1e6
    zooms = itertools.product((1.0, 0.3, 0.1, 0.01, 1e-3, 1e-4), (0.0, 0.37, 0.9))
    spans = [(place * length, min(place + share, 1.0) * length) for share, place in zooms]
    slowest = max(timed(functools.partial(capture.window, "trace", a, b, 2000))[0] for a, b in spans)
    print(f"{samples / 1e6:.0f} M samples: pyramid in {build:.2f} s")
    print(
        f"slowest of {len(spans)} windows of 2,000 pixels {1e3 * slowest:.1f} ms (aim: under {1e3 * AIM_WINDOW:g})"
    )
    return slowest < AIM_WINDOW


def main(arguments: list[str]) -> int:
    """`python -m bench capture [MILLIONS OF ROWS] [MILLIONS OF SAMPLES]`; 1 where an aim is missed."""
    rows, samples = (int(float(text) * 1e6) for text in (*arguments, *("1", "100")[len(arguments) :]))
    sound = [_reading(rows), _windows(samples)]
    print("\nError over noise (share of the swing) and what is done beside it")
    print("\n".join(table()))
    return 0 if all(sound) else 1
