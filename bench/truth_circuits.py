"""Vehicle circuits made at random: fuses, switches, relays, a control unit, plugs, shared feeds and grounds.

Nothing here knows the patterns: a branch is put together from its pieces by dice, so that no circuit was at hand while
the engine was built. All values and places are invented.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

PLACES = (
    "engine bay",
    "cabin fuse box",
    "left front door",
    "tailgate",
    "behind the glove box",
    "rear bumper",
)
LOADS = (("lamp", "H", "21 W"), ("lamp", "H", "5 W"), ("motor", "M", "4 A"), ("motor", "M", "9 A"),
         ("heater", "E", "120 W"), ("solenoid", "Y", "1.2 A"))  # fmt: skip
COLOURS = ("RD", "BK", "GN", "YE", "BU/WH", "GY", "VT", "WH/RD")


@dataclass
class Sketch:
    """A circuit while it is made: declarations, paths, and what each state switches on."""

    dice: np.random.Generator
    parts: list[str] = field(default_factory=list)
    paths: list[str] = field(default_factory=list)
    unit: list[str] = field(default_factory=list)
    states: dict[str, dict[str, str]] = field(default_factory=lambda: {"off": {}})
    count: dict[str, int] = field(default_factory=dict)
    plugs: dict[str, int] = field(default_factory=dict)
    grounds: list[str] = field(default_factory=list)
    pins: int = 0

    def new(self, code: str) -> str:
        """The next name of a code letter."""
        self.count[code] = self.count.get(code, 0) + 1
        return f"{code}{self.count[code]}"

    def part(self, code: str, kind: str, values: str, place: str | None = None) -> str:
        """Declare a part and return its name."""
        name = self.new(code)
        self.parts.append(f'{kind} {name} {values} at "{place or self.dice.choice(PLACES)}"')
        return name

    def wire(self) -> str:
        """A wire, some of them with colour, size and length."""
        size = self.dice.choice(["", "1.5mm2 ", "0.75mm2 ", "2.5mm2 "])
        length = f" {self.dice.uniform(0.3, 4):.1f}m" if self.dice.random() < 0.6 else ""
        return f"--[{size}{self.dice.choice(COLOURS)}{length}]--"

    def cavity(self) -> str:
        """The next free cavity of one of the plugs."""
        name = str(self.dice.choice(list(self.plugs)))
        self.plugs[name] += 1
        return f"{name}.{self.plugs[name]}"

    def path(self, *points: str) -> None:
        """Points joined one after the other, through plugs here and there."""
        told = [points[0]]
        for point in points[1:]:
            if self.dice.random() < 0.45:
                told.append(self.cavity())
            told.append(point)
        text = told[0]
        for point in told[1:]:
            text += f" {self.wire()} {point}"
        self.paths.append(text)

    def state(self, name: str, switch: str, position: str) -> None:
        """A state in which one switch is on; everything that is on is on in the last state too."""
        self.states[name] = {switch: position}


def circuit_text(seed: int, branches: tuple[int, int] = (2, 5)) -> str:
    """One circuit in the notation; the same seed gives the same text."""
    dice = np.random.default_rng([77, seed])
    sketch = Sketch(dice)
    sketch.parts.append('battery G1 at "engine bay"')
    for _ in range(int(dice.integers(1, 4))):
        sketch.plugs[sketch.part("X", "connector", "")] = 0
    for _ in range(int(dice.integers(2, 4))):
        name = sketch.new("E")
        sketch.parts.append(f'ground {name} at "{dice.choice(PLACES)}"')
        sketch.grounds.append(name)
    sketch.paths.append(f"G1.- --[16mm2 0.6m]-- {sketch.grounds[0]}")
    sketch.paths.append("G1.+ --[10mm2 1m]-- SP1")
    for kind in dice.choice(len(BRANCHES), int(dice.integers(*branches)) + 1):
        BRANCHES[kind](sketch)
    return _text(sketch, seed)


def _text(sketch: Sketch, seed: int) -> str:
    lines = [f"title Random vehicle {seed}", "", *sketch.parts]
    if sketch.unit:
        lines += ['module A1 at "behind the glove box"', *(f"  {line}" for line in sketch.unit)]
    everything = {switch: position for one in sketch.states.values() for switch, position in one.items()}
    if len(sketch.states) > 2:
        sketch.states["all on"] = everything
    lines += ["", *sketch.paths, ""]
    for name, switches in sketch.states.items():
        set_to = ", ".join(f"{switch} {position}" for switch, position in switches.items())
        lines.append(f'state "{name}" {set_to}'.rstrip())
    return "\n".join(lines) + "\n"


def _load(sketch: Sketch) -> str:
    kind, code, values = LOADS[int(sketch.dice.integers(len(LOADS)))]
    if code == "E":
        name = sketch.new("E")
        sketch.parts.append(f'heater {name} {values} at "{sketch.dice.choice(PLACES)}"')
        return name
    return sketch.part(code, kind, values)


def _fuse(sketch: Sketch, amps: int) -> str:
    name = sketch.part("F", "fuse", f"{amps} A", "cabin fuse box")
    sketch.path("SP1", f"{name}.1")
    return f"{name}.2"


def _ground(sketch: Sketch) -> str:
    return str(sketch.dice.choice(sketch.grounds))


def _switched(sketch: Sketch) -> None:
    """Fuse, switch, one or two loads side by side, ground."""
    fuse, switch = _fuse(sketch, 20), sketch.part("S", "switch", "off on")
    sketch.path(fuse, f"{switch}.1")
    start = f"{switch}.2"
    loads = [_load(sketch) for _ in range(int(sketch.dice.integers(1, 3)))]
    if len(loads) > 1:
        splice = f"SP{len(sketch.paths) + 2}"
        sketch.path(start, splice)
        start = splice
    for load in loads:
        sketch.path(start, f"{load}.1")
        sketch.path(f"{load}.2", _ground(sketch))
    sketch.state(f"{switch} on", switch, "on")


def _ground_switched(sketch: Sketch) -> None:
    """Fuse, load, switch to ground."""
    fuse, switch, load = _fuse(sketch, 15), sketch.part("S", "switch", "off on"), _load(sketch)
    sketch.path(fuse, f"{load}.1")
    sketch.path(f"{load}.2", f"{switch}.1")
    sketch.path(f"{switch}.2", _ground(sketch))
    sketch.state(f"{switch} on", switch, "on")


def _relayed(sketch: Sketch) -> None:
    """A relay with a switch in its coil's feed or ground."""
    fuse, relay, load = _fuse(sketch, 25), sketch.part("K", "relay", "", "cabin fuse box"), _load(sketch)
    switch = sketch.part("S", "switch", "off on")
    sketch.path(fuse, f"{relay}.30")
    sketch.path(f"{relay}.87", f"{load}.1")
    sketch.path(f"{load}.2", _ground(sketch))
    control = _fuse(sketch, 5)
    if sketch.dice.random() < 0.5:
        sketch.path(control, f"{switch}.1")
        sketch.path(f"{switch}.2", f"{relay}.86")
        sketch.path(f"{relay}.85", _ground(sketch))
    else:
        sketch.path(control, f"{relay}.86")
        sketch.path(f"{relay}.85", f"{switch}.1")
        sketch.path(f"{switch}.2", _ground(sketch))
    sketch.state(f"{switch} on", switch, "on")


def _two_speeds(sketch: Sketch) -> None:
    """A motor that runs slowly through a resistor."""
    fuse, motor = _fuse(sketch, 25), sketch.part("M", "motor", "8 A")
    switch = sketch.new("S")
    sketch.parts += [
        f'switch {switch} off slow fast at "dashboard"',
        "  joins slow 30 L",
        "  joins fast 30 H",
    ]
    resistor = sketch.part("R", "resistor", "0.8 ohm")
    splice = f"SP{len(sketch.paths) + 2}"
    sketch.path(fuse, f"{switch}.30")
    sketch.path(f"{switch}.L", f"{resistor}.1")
    sketch.path(f"{resistor}.2", splice)
    sketch.path(f"{switch}.H", splice)
    sketch.path(splice, f"{motor}.1")
    sketch.path(f"{motor}.2", _ground(sketch))
    sketch.state(f"{switch} slow", switch, "slow")
    sketch.states[f"{switch} fast"] = {switch: "fast"}


def _pins(sketch: Sketch) -> tuple[int, int]:
    """An input and an output of the control unit, which is fed and earthed once."""
    if not sketch.unit:
        sketch.unit += ["feed 1", "earth 31"]
        sketch.path(_fuse(sketch, 10), "A1.1")
        sketch.path("A1.31", _ground(sketch))
        sketch.pins = 5
    sketch.pins += 2
    return sketch.pins - 1, sketch.pins


def _commanded(sketch: Sketch) -> str:
    """A switch to ground or to the feed at an input; the condition of the output."""
    read = sketch.pins - 1
    switch = sketch.part("S", "switch", "off on")
    sketch.state(f"{switch} on", switch, "on")
    if sketch.dice.random() < 0.5:
        sketch.unit.append(f"reads {read} pulled up 10 kohm")
        sketch.path(f"A1.{read}", f"{switch}.1")
        sketch.path(f"{switch}.2", _ground(sketch))
        return f"{read} is low"
    sketch.unit.append(f"reads {read} pulled down 10 kohm")
    sketch.path(_fuse(sketch, 5), f"{switch}.1")
    sketch.path(f"{switch}.2", f"A1.{read}")
    return f"{read} is high"


def _driven(sketch: Sketch) -> None:
    """The control unit feeds a load itself, or earths it."""
    _, drive = _pins(sketch)
    when = _commanded(sketch)
    load = (
        sketch.part("H", "lamp", "21 W")
        if sketch.dice.random() < 0.5
        else sketch.part("Y", "solenoid", "1 A")
    )
    if sketch.dice.random() < 0.5:
        sketch.unit.append(f"drives {drive} high when {when}")
        sketch.path(f"A1.{drive}", f"{load}.1")
        sketch.path(f"{load}.2", _ground(sketch))
    else:
        sketch.unit.append(f"drives {drive} low when {when}")
        sketch.path(_fuse(sketch, 10), f"{load}.1")
        sketch.path(f"{load}.2", f"A1.{drive}")


def _driven_relay(sketch: Sketch) -> None:
    """The control unit pulls a relay."""
    _, drive = _pins(sketch)
    when = _commanded(sketch)
    fuse, relay, load = _fuse(sketch, 25), sketch.part("K", "relay", "", "cabin fuse box"), _load(sketch)
    sketch.path(fuse, f"{relay}.30")
    sketch.path(f"{relay}.87", f"{load}.1")
    sketch.path(f"{load}.2", _ground(sketch))
    if sketch.dice.random() < 0.5:
        sketch.unit.append(f"drives {drive} low when {when}")
        sketch.path(_fuse(sketch, 5), f"{relay}.86")
        sketch.path(f"{relay}.85", f"A1.{drive}")
    else:
        sketch.unit.append(f"drives {drive} high when {when}")
        sketch.path(f"A1.{drive}", f"{relay}.86")
        sketch.path(f"{relay}.85", _ground(sketch))


BRANCHES = (_switched, _ground_switched, _relayed, _relayed, _two_speeds, _driven, _driven_relay)
