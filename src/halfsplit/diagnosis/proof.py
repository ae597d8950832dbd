"""Found, proven, what proof is missing, and what to verify after the repair (field.md, 'Proof').

A cause is *found* when its repair group holds at least 0.95. It is *proven* when, besides, direct tests at the place say
so. A proof is a list of requirements; each is a measurement with a condition that its reading must meet. What is
missing is told in words and proposed as the next tests; one that cannot be done leaves the cause 'found, not proven'.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from halfsplit.circuit.circuit import Solution
from halfsplit.circuit.faults import NOT_IN_MODEL, NOTHING_WRONG, Fault
from halfsplit.circuit.interventions import Jump, Replace, Unplug
from halfsplit.circuit.kinds import LOADS
from halfsplit.circuit.model import Behaviour, Driver
from halfsplit.diagnosis.candidates import own_ends
from halfsplit.diagnosis.cost import part_of
from halfsplit.diagnosis.measurement import Measurement, Reading
from halfsplit.diagnosis.situation import Situation
from halfsplit.diagnosis.suspects import leading_hypothesis, mean_severity
from halfsplit.diagnosis.words import evidence_words, sentence
from halfsplit.circuit.module_elements import pins_read

DROP_SHARE = 0.7
"""A bad joint alone drops at least this share of the volts that are missing."""
FEED_DROP, EARTH_DROP = 0.5, 0.1
"""A module's feeds within 0.5 V of the battery, its earths within 0.1 V, under load."""
RIVAL = 0.02
OPEN_OHMS = 1e5

Met = Callable[[float | str], bool]


@dataclass(frozen=True)
class Requirement:
    """One proof: ``options`` of which any will do, each with what its reading must be, ``times`` over."""

    text: str
    options: tuple[tuple[Measurement, Met], ...]
    times: int = 1

    def met(self, readings: Iterable[Reading]) -> bool:
        given = list(readings)
        return any(sum(_same(reading, measurement) and condition(reading.value) for reading in given) >= self.times
                   for measurement, condition in self.options)

    def refuted(self, readings: Iterable[Reading]) -> bool:
        """Every option was tried as often as it needs and none met its condition."""
        given = list(readings)
        return all(sum(_same(reading, measurement) for reading in given) >= self.times + 2
                   for measurement, _ in self.options) and not self.met(given)


def _same(reading: Reading, measurement: Measurement) -> bool:
    mine = reading.measurement
    return (mine.quantity == measurement.quantity and mine.place == measurement.place
            and mine.changes == measurement.changes and reading.present != "no"
            and (mine.state == measurement.state or mine.quantity in ("ohms", "inspection")))


@dataclass(frozen=True, slots=True)
class Finding:
    """``cause``: name of the fault. ``missing_proof``: what is still to be shown; empty once ``proven``. ``explains``:
    what the cause explains. ``verify``: what must read what after the repair. ``rivals``: repairs of 2 % and more."""

    cause: str
    part: str
    repair: str
    probability: float
    proven: bool
    missing_proof: tuple[str, ...]
    explains: tuple[str, ...]
    unexplained: tuple[str, ...]
    verify: tuple[str, ...]
    rivals: tuple[tuple[str, float], ...]


def finding(situation: Situation, found_at: float) -> Finding | None:
    """None where no repair group holds enough, or where the answer is that the model does not hold it."""
    found = _found(situation, found_at)
    if found is None:
        return None
    fault, share = found
    lacking = [one for one in requirements(situation, fault) if not one.met(situation.live)]
    rivals = tuple((name, other) for name, other in situation.posterior.probability.items()
                   if name != fault.group and other >= RIVAL)
    missing = [one.text for one in lacking]
    if fault.kind.partition(" ")[0] == "module" and rivals:
        missing.append(f"no rival of 2 % or more: {', '.join(f'{name} {100 * other:.0f} %' for name, other in rivals)}")
    if situation.intermittent and not any(reading.present == "yes" and reading.source != "complaint"
                                          for reading in situation.live):
        missing.append("a reading made while the fault was present")
    explained, unexplained = _explained(situation, fault)
    return Finding(fault.name, fault.part, fault.repair, share, not missing, tuple(missing), explained, unexplained,
                   _verify(situation), rivals)


def _found(situation: Situation, found_at: float) -> tuple[Fault, float] | None:
    name, share = next(iter(situation.posterior.probability.items()))
    if share < found_at or name in (NOT_IN_MODEL, NOTHING_WRONG) or not situation.complaints:
        return None
    leader = leading_hypothesis(situation, name)
    severity = mean_severity(situation, leader)
    return (leader.nearest(severity) if severity is not None else leader.first), share


def missing_tests(situation: Situation, found_at: float) -> list[Measurement]:
    """The tests that the proof of what was found still lacks, in the order of the requirements."""
    found = _found(situation, found_at)
    if found is None:
        return []
    tests = []
    for one in requirements(situation, found[0]):
        if one.met(situation.live) or one.refuted(situation.live):
            continue
        possible = [measurement for measurement, _ in one.options if measurement not in situation.refused]
        tests += possible[:1]
    return tests


def requirements(situation: Situation, fault: Fault) -> list[Requirement]:
    """What must be shown for this cause."""
    if fault.members:
        return [one for member in fault.members for one in requirements(situation, member)]
    kind = fault.kind.partition(" ")[0]
    return PROOFS.get(kind, _part)(_Case(situation, fault))


class _Case:
    """A cause in the state in which it is judged: the circuit solved healthy and with it."""

    def __init__(self, situation: Situation, fault: Fault) -> None:
        self.situation, self.circuit, self.fault = situation, situation.circuit, fault
        self.load, self.state, self.wrong = self._complaint()
        self.healthy: Solution = self.circuit.solve(self.state)
        self.sick: Solution = self.circuit.solve(self.state, fault=fault)

    def _complaint(self) -> tuple[str | None, str, str]:
        """The complaint that the cause explains best: load, state and what it does."""
        for reading in self.situation.complaints:
            load, state = reading.measurement.at, reading.measurement.state
            if self.circuit.solve(state, fault=self.fault).works(load) != self.circuit.healthy_word(load, state):
                return load, state, str(reading.value)
        given = self.situation.complaints or self.situation.live
        return None, given[0].measurement.state, ""

    @property
    def missing_volts(self) -> float:
        """Volts that the load lacks."""
        if self.load is None or self.circuit.parts[self.load].kind not in LOADS:
            return 0.0
        return abs(self.healthy.across(self.load) - self.sick.across(self.load))

    def restored(self, text: str, *changes: Jump | Replace | Unplug) -> Requirement:
        """The function comes back with an intervention made."""
        assert self.load is not None
        good = self.circuit.healthy_word(self.load, self.state)
        return Requirement(text, ((Measurement("works", self.load, self.state, changes=tuple(changes)),
                                   lambda value: value == good),))

    def ends(self) -> tuple[str, str] | None:
        """Where a meter goes across the cause's own place."""
        wanted = self.fault.part
        for a, b in own_ends(self.circuit):
            if wanted == f"wire {a} {b}".replace(":in", "").replace(":out", "") or (
                    wanted == a or (wanted == part_of(a) and part_of(a) == part_of(b))
                    or (a.partition(":")[0] == wanted and b.partition(":")[0] == wanted)):
                return a, b
        wire = next((one for one in self.circuit.model.wires if one.name == wanted), None)
        return (wire.a, wire.b) if wire else None

    def nearer(self, measurement: Measurement) -> Met:
        """Whether a reading in volts is nearer to what the cause predicts than to healthy."""
        sick = self.sick.volts(measurement.at, measurement.to)
        healthy = self.healthy.volts(measurement.at, measurement.to)
        return lambda value: not isinstance(value, str) and abs(value - sick) < abs(value - healthy)

    def tells(self, measurement: Measurement, least: float = 0.3) -> bool:
        """Whether cause and health differ enough there to be told apart."""
        return abs(self.sick.volts(measurement.at, measurement.to)
                   - self.healthy.volts(measurement.at, measurement.to)) >= least

    def look(self, *detail: str) -> tuple[Measurement, Met]:
        return Measurement("inspection", self.fault.part, self.state, detail=detail), lambda value: value == "bad"


def _volts(a: str, b: str | None, state: str) -> Measurement:
    return Measurement("volts", a, state, to=b, instrument="meter")


def _joint(case: _Case) -> list[Requirement]:
    """A wire, cavity or ground: its own drop, repeated, with current; bridging restores the function."""
    if case.fault.mode.startswith("short"):
        return _short(case)
    ends = case.ends()
    if ends is None:
        return [_looked_at(case)]
    across = _volts(*ends, case.state)
    own = abs(case.sick.volts(*ends))
    least = DROP_SHARE * min(case.missing_volts or own, own)
    if least < 0.05:
        return [_looked_at(case)]
    found = [Requirement(f"its own voltage drop: at least {least:.1f} V from {ends[0]} to {ends[1]} under load, "
                         "measured twice after probing anew",
                         ((across, lambda value: not isinstance(value, str) and abs(value) >= least),), times=2)]
    if case.load is not None and not _module_pin(case, ends):
        found.append(case.restored(f"bridging {ends[0]} to {ends[1]} restores the function", Jump(*ends)))
    else:
        found.append(_looked_at(case))
    return found


def _module_pin(case: _Case, ends: tuple[str, str]) -> bool:
    """Jumps on module outputs, sensor and bus pins are never proposed (field.md 16)."""
    kinds = ("module", "sensor")
    parts = [case.circuit.parts.get(part_of(end)) for end in ends]
    return any(part is not None and part.kind in kinds for part in parts)


def _looked_at(case: _Case) -> Requirement:
    return Requirement(f"the fault seen at {case.fault.part}", (case.look(),))


def _short(case: _Case) -> list[Requirement]:
    """A short: low ohms to where it must not be with both ends unplugged, and the place seen."""
    wire = next((one for one in case.circuit.model.wires if one.name == case.fault.part), None)
    other = "body" if "body" in case.fault.mode else next(
        (f"{part.name}.+" for part in case.circuit.model.of_kind("battery")), "body")
    start = wire.b if wire else f"{case.fault.part}:in"
    if not wire:
        other = f"{case.fault.mode.rpartition(' ')[2]}:in"
    plugs = [part_of(end) for end in ((wire.a, wire.b) if wire else ())]
    unplugged = tuple(Unplug(name) for name in dict.fromkeys(plugs) if name in case.circuit.parts
                      and case.circuit.parts[name].kind not in ("splice", "ground", "mass", "battery"))
    limit = 3.0 * (case.fault.severity or 0.05) + 1.0
    ohms = Measurement("ohms", start, case.state, to=other, instrument="meter", changes=unplugged)
    low = Requirement(f"at most {limit:.3g} ohm from {start} to {other} with the wire unplugged",
                      ((ohms, lambda value: not isinstance(value, str) and value <= limit),))
    return [low, _looked_at(case)]


def _contact(case: _Case) -> list[Requirement]:
    """A part's contact, whose far side is inside: unplugged and seen, and a known-good part does not cure."""
    found = [Requirement(f"the contact {case.fault.part} unplugged, its fit tried with a test pin, and found bad",
                         (case.look(), case.look("pin drag")))]
    name = part_of(case.fault.part)
    part = case.circuit.parts[name]
    if part.kind in ("relay", "fuse") and case.load is not None:
        good = case.circuit.healthy_word(case.load, case.state)
        swap = Measurement("works", case.load, case.state, changes=(Replace(name),))
        found.append(Requirement(f"a known-good {name} does not restore the function",
                                 ((swap, lambda value: value != good),)))
    elif part.kind in LOADS or part.kind == "sensor":
        nominal = case.circuit.solve(case.state)
        ohms = Measurement("ohms", f"{name}.{part.pins[0]}:part", case.state, to=f"{name}.{part.pins[-1]}:part",
                           instrument="meter", changes=(Unplug(name),))
        expected = _ohms_of(nominal, name)
        found.append(Requirement(f"{name} itself measures as it should when unplugged ({expected:.3g} ohm)",
                                 ((ohms, lambda value: not isinstance(value, str)
                                   and 0.5 * expected <= value <= 2.0 * expected + 0.5),)))
    return found


def _ohms_of(solution: Solution, name: str) -> float:
    network = solution.circuit.network
    elements = [network.element_index[one] for one in (name, f"{name} upper", f"{name} lower")
                if one in network.element_index]
    return float(sum(1.0 / network.elements[element].conductance for element in elements))


def _part(case: _Case) -> list[Requirement]:
    """Any other part: a direct reading at it that speaks for the fault, and a known-good part restores the function."""
    name = case.fault.part
    part = case.circuit.parts.get(name)
    if part is None:
        return [_looked_at(case)]
    found = []
    direct = [*_direct_volts(case), *_direct_ohms(case)]
    if direct:
        found.append(Requirement(f"a direct reading at {name} that shows it: " + " or ".join(
            sentence(measurement, case.circuit).rstrip(".") for measurement, _ in direct[:2]), tuple(direct)))
    if case.load is not None:
        found.append(case.restored(f"a known-good {name} restores the function", Replace(name)))
    return found or [_looked_at(case)]


def _direct_volts(case: _Case) -> list[tuple[Measurement, Met]]:
    name = case.fault.part
    pairs = [(a, b) for a, b in own_ends(case.circuit) if part_of(a) == name and part_of(b) == name]
    if case.circuit.parts[name].kind == "sensor":
        pairs = [(f"{name}.{pin}", f"{name}.{case.circuit.parts[name].pins[-1]}") for pin in
                 case.circuit.parts[name].pins[:-1]]
    tests = [_volts(a, b, case.state) for a, b in pairs]
    told = [(one, case.nearer(one)) for one in tests if case.tells(one)]
    if case.fault.mode in ("open", "coil open") and case.circuit.parts[name].kind in (*LOADS, "relay"):
        # Volts are there and nothing happens: feed and ground are good, the part is not.
        told = [(one, _most(abs(case.healthy.volts(one.at, one.to)))) for one in tests
                if abs(case.healthy.volts(one.at, one.to)) > 1.0 and case.fault.mode != "coil open"
                or {one.at, one.to} == {f"{name}.85", f"{name}.86"}]
        told = [(one, condition) for one, condition in told if abs(case.healthy.volts(one.at, one.to)) > 1.0]
    return told


def _most(volts: float) -> Met:
    return lambda value: not isinstance(value, str) and abs(value) >= 0.85 * volts


def _direct_ohms(case: _Case) -> list[tuple[Measurement, Met]]:
    name, part = case.fault.part, case.circuit.parts[case.fault.part]
    if part.kind not in (*LOADS, "fuse", "relay", "sensor"):
        return []
    if part.kind == "relay" and case.fault.mode != "coil open":
        return []
    a, b = ("86", "85") if part.kind == "relay" else (part.pins[0], part.pins[-1])
    test = Measurement("ohms", f"{name}.{a}:part", case.state, to=f"{name}.{b}:part", instrument="meter",
                       changes=(Unplug(name),))
    normal = _ohms_of(case.healthy, f"{name} coil" if part.kind == "relay" else name)
    if case.fault.mode in ("open", "coil open"):
        return [(test, lambda value: not isinstance(value, str) and value > max(OPEN_OHMS, 10 * normal))]
    if case.fault.mode == "shorted":
        return [(test, lambda value: not isinstance(value, str) and value < 0.3 * normal + 0.2)]
    return []


def _battery(case: _Case) -> list[Requirement]:
    name = case.fault.part
    test = _volts(f"{name}.+", f"{name}.-", case.state)
    return [Requirement(f"the volts of {name} itself", ((test, case.nearer(test)),))]


def _stage(case: _Case) -> list[Requirement]:
    return [Requirement(f"the fault seen: {case.fault.mode}", (case.look(),))]


def _bus(case: _Case) -> list[Requirement]:
    return [Requirement(f"the fault seen on {case.fault.part}", (case.look(),))]


# Modules: every letter of field.md, 'Proof'.


def _module(case: _Case) -> list[Requirement]:
    """Feeds, earths and commands proven good under load, the output missing, the wire good, latch and coding excluded."""
    name = case.fault.part
    behaviour = case.circuit.parts[name].behaviour
    if behaviour is None:
        return [_looked_at(case)]
    driver = _driver(case, behaviour)
    found = [*_feeds(case, behaviour)]
    if driver is not None:
        found += _commands(case, driver)
        found.append(_output(case, driver))
        found.append(_wire_off(case, driver))
    found.append(_ticked(case, "pin drag", "(d) terminal drag of the output checked"))
    found.append(_ticked(case, "latch cleared, key cycled, tried again into a substitute load",
                         "(f) latch cleared, key cycled, tried again into a substitute load"))
    found.append(_ticked(case, "coding, immobiliser and software", "(g) coding, immobiliser and software ticked"))
    return found


def _driver(case: _Case, behaviour: Behaviour) -> Driver | None:
    pin = case.fault.mode.partition(" ")[0].rpartition(".")[2]
    own = next((one for one in behaviour.drivers if one.pin == pin), None)
    return own or next(iter(behaviour.drivers), None)


def _feeds(case: _Case, behaviour: Behaviour) -> list[Requirement]:
    battery = next((part.name for part in case.circuit.model.of_kind("battery")), None)
    found = []
    for pin in (pin for group in behaviour.feeds for pin in group):
        point = f"{case.fault.part}.{pin}"
        volts = case.healthy.volts(point)
        least = volts - FEED_DROP
        lamp = Measurement("lamp", point, case.state, instrument="test lamp")
        found += [Requirement(f"(b) feed {point} within 0.5 V of the battery, plugged and under load",
                              ((_volts(point, None, case.state),
                                lambda value, least=least: not isinstance(value, str) and value >= least),)),
                  Requirement(f"(b) feed {point} again under a lamp of its current",
                              ((lamp, lambda value: value == "bright"),))]
    for pin in behaviour.earths:
        point = f"{case.fault.part}.{pin}"
        found.append(Requirement(f"(b) earth {point} within 0.1 V of {battery or 'the battery'}'s negative post",
                                 ((_volts(point, None, case.state),
                                   lambda value: not isinstance(value, str) and abs(value) <= EARTH_DROP),)))
    return found


def _commands(case: _Case, driver: Driver) -> list[Requirement]:
    found = []
    for pin in sorted(pins_read(driver.when)):
        point = f"{case.fault.part}.{pin}"
        test = _volts(point, None, case.state)
        volts = case.healthy.volts(point)
        found.append(Requirement(f"(c) the command at {point} is there: about {volts:.1f} V",
                                 ((test, lambda value, volts=volts: not isinstance(value, str)
                                   and abs(value - volts) <= 0.15 * abs(volts) + 0.5),)))
    return found


def _output(case: _Case, driver: Driver) -> Requirement:
    test = _volts(f"{case.fault.part}.{driver.pin}", None, case.state)
    return Requirement(f"(d) the output missing at its own pin {test.at}", ((test, case.nearer(test)),))


def _wire_off(case: _Case, driver: Driver) -> Requirement:
    point = f"{case.fault.part}.{driver.pin}"
    test = Measurement("ohms", point, case.state, to="body" if driver.side == "high" else None, instrument="meter",
                       changes=(Unplug(case.fault.part),))
    return Requirement(f"(e) wire off at {point}: load and wire measure right, no short, no foreign supply",
                       ((test, lambda value: not isinstance(value, str) and value > 0.3),))


def _ticked(case: _Case, aspect: str, text: str) -> Requirement:
    test = Measurement("inspection", case.fault.part, case.state, detail=(aspect,))
    return Requirement(text, ((test, lambda value: value == "good"),))


PROOFS: Mapping[str, Callable[[_Case], list[Requirement]]] = {
    "wire": _joint, "cavity": _joint, "ground": _joint, "mass": _joint, "contact": _contact, "module": _module,
    "battery": _battery, "stage": _stage, "bus": _bus,
}


# What the cause explains, and what must change.


def _explained(situation: Situation, fault: Fault) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Complaints that the cause explains, and those that it does not: is there a second fault?"""
    explained, left = [], []
    for reading in situation.complaints:
        place = reading.measurement
        word = situation.circuit.solve(place.state, fault=fault).works(place.at)
        healthy = situation.circuit.healthy_word(place.at, place.state)
        text = evidence_words(place, reading.value, situation.circuit)
        (explained if word != healthy else left).append(text)
    return tuple(dict.fromkeys(explained)), tuple(dict.fromkeys(left))


def verify_measurements(situation: Situation) -> list[tuple[Measurement, float | str]]:
    """What must read what after the repair: the complaints, and the readings that were the fault's."""
    told: dict[Measurement, float | str] = {}
    for reading in situation.live:
        place = reading.measurement
        if place.changes or place.quantity not in ("works", "volts", "answers"):
            continue
        solution = situation.circuit.solve(place.state)
        if place.quantity == "volts":
            healthy = solution.volts(place.at, place.to)
            if abs(healthy - reading.number) > 0.5:
                told[place] = healthy
        elif reading.value in ("no", "weak") or reading in situation.complaints:
            told[place] = solution.works(place.at)
    return list(told.items())


def _verify(situation: Situation) -> tuple[str, ...]:
    told = [evidence_words(place, value, situation.circuit) for place, value in verify_measurements(situation)]
    codes = [reading for reading in situation.live if reading.measurement.quantity == "code" and reading.value == "set"]
    return (*told, *(f"the code in {one.measurement.at} cleared, and not set again" for one in codes))
