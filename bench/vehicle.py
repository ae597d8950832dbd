"""A made-up vehicle of N branches, as a model: fuses, relays, switches, control units, shared grounds and connectors.

Branches come in groups of five that share a control unit, two connectors and a ground, as a door or a tailgate does.
Everything is drawn from a seeded generator; no vehicle stood model for it.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from bench.drawing import Drawing, cavities
from halfsplit.circuit.model import Behaviour, Driver, Input, Model, PinIs, Supply

GROUP = 5
LARGEST_CAR = 60
LOADS = (
    ("lamp", {"W": 5.0}),
    ("lamp", {"W": 21.0}),
    ("lamp", {"W": 55.0}),
    ("motor", {"A": 4.2}),
    ("motor", {"A": 9.0}),
    ("heater", {"W": 120.0}),
    ("solenoid", {"A": 1.2}),
)
FUSES = (5.0, 7.5, 10.0, 15.0, 20.0, 30.0)


def vehicle(branches: int, seed: int = 1) -> Model:
    """A vehicle of so many branches in two states, "rest" and "everything on"."""
    return _Vehicle(branches, np.random.default_rng(seed)).model()


class _Vehicle:
    def __init__(self, branches: int, generator: np.random.Generator) -> None:
        self.generator = generator
        self.drawing = Drawing()
        self.switches: dict[str, str] = {}
        draw = self.drawing
        # One battery feeds sixty branches; what is larger has more of them side by side, and feeders to match.
        share = max(1.0, branches / LARGEST_CAR)
        draw.part("G1", "battery", V=12.6, ohm=0.006 / share)
        draw.part("F0", "fuse", A=300.0 * share)
        draw.part("SP0", "splice", "")
        draw.part("E0", "ground", "")
        draw.path(f"G1.+ --[{50 * share:g}]-- F0 --[{50 * share:g}]-- SP0")
        draw.path(f"G1.- --[{50 * share:g}]-- E0", 0.6)
        for group in range(-(-branches // GROUP)):
            self._group(group, min(GROUP, branches - group * GROUP))

    def model(self) -> Model:
        self.drawing.state("rest")
        self.drawing.state("everything on", self.switches)
        return self.drawing.model("A made-up vehicle")

    def _group(self, group: int, branches: int) -> None:
        draw, number = self.drawing, group + 1
        for name, kind in (
            (f"SP{number}", "splice"),
            (f"E{number}", "ground"),
            (f"X{number}01", "connector"),
            (f"X{number}02", "connector"),
        ):
            draw.part(name, kind, "")
        draw.path(f"SP0 --[10]-- SP{number}")
        out, back = cavities(f"X{number}01"), cavities(f"X{number}02")
        ways = [
            str(way) for way in self.generator.choice(["switch", "relay", "driver", "driven relay"], branches)
        ]
        pins = _Pins()
        for branch, way in enumerate(ways):
            self._branch(group, branch, way, pins, out, back)
        self._control_unit(number, pins, out)

    def _branch(
        self, group: int, branch: int, way: str, pins: _Pins, out: Iterator[str], back: Iterator[str]
    ) -> None:
        draw, number = self.drawing, group + 1
        name = f"{number}{branch}"
        load, fuse, switch, relay = f"L{name}", f"F{name}", f"S{name}", f"K{name}"
        kind, values = LOADS[int(self.generator.integers(len(LOADS)))]
        amps = values["A"] if "A" in values else values["W"] / 12.0
        draw.part(load, kind, values=values)
        draw.part(switch, "switch")
        if way != "driver":
            draw.part(fuse, "fuse", A=next(rating for rating in FUSES if rating >= 1.3 * amps))
        self.switches[switch] = "closed"
        draw.path(f"{load}.2 -- {next(back)} -- E{number}")
        if way in ("relay", "driven relay"):
            draw.part(relay, "relay")
            draw.path(f"SP{number} -- {fuse} -- {relay}.30")
            draw.path(f"{relay}.87 -- {next(out)} -- {load}.1")
            draw.path(f"{relay}.85 -- E{number}")
        if way == "switch":
            draw.path(f"SP{number} -- {fuse} -- {switch} -- {next(out)} -- {load}.1")
        elif way == "relay":
            draw.path(f"{fuse}.2 -- {switch} -- {relay}.86")
        else:
            asked, driven = pins.pair()
            draw.path(f"SP{number} -- {switch} -- {next(out)} -- A{number}.{asked}")
            target = f"{relay}.86" if way == "driven relay" else f"{load}.1"
            draw.path(f"A{number}.{driven} -- {next(out)} -- {target}")

    def _control_unit(self, number: int, pins: _Pins, out: Iterator[str]) -> None:
        draw, unit = self.drawing, f"A{number}"
        behaviour = Behaviour(
            feeds=(("30",),),
            earths=("31",),
            draws=0.25,
            inputs=tuple(Input(asked, pull="down", ohms=10e3) for asked, _ in pins.pairs),
            drivers=tuple(
                Driver(driven, "high", PinIs(asked, "high"), limit=25.0) for asked, driven in pins.pairs
            ),
            supplies=(Supply("40", 5.0),),
        )
        names = ["30", "31", "40", "41", "42", *(pin for pair in pins.pairs for pin in pair)]
        draw.part(unit, "module", " ".join(names), behaviour=behaviour)
        draw.part(f"F{number}9", "fuse", A=30.0)
        draw.part(f"B{number}", "sensor", "1 2 3", ohm=2000.0, share=float(self.generator.uniform(0.1, 0.9)))
        draw.path(f"SP{number} -- F{number}9 -- {next(out)} -- {unit}.30")
        draw.path(f"{unit}.31 -- {next(out)} -- E{number}")
        for pin, other in (("40", "1"), ("41", "2"), ("42", "3")):
            draw.path(f"{unit}.{pin} -- {next(out)} -- B{number}.{other}")
        draw.path(f"B{number}.3 -- E{number}")


class _Pins:
    """Fresh pins of a control unit, in pairs of an input and the driver that follows it."""

    def __init__(self) -> None:
        self.pairs: list[tuple[str, str]] = []

    def pair(self) -> tuple[str, str]:
        first = 2 * len(self.pairs) + 1
        self.pairs.append((str(first), str(first + 1)))
        return self.pairs[-1]
