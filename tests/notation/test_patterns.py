"""Patterns and demos parse without a word, solve in every state, and do what a technician expects of them."""

import re

import pytest

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.interventions import unplug
from halfsplit.circuit.kinds import LOADS
from halfsplit.errors import NotFoundError
from halfsplit.notation.demos import demo, demos
from halfsplit.notation.library import sample, samples
from halfsplit.notation.reading import parse, write

PATTERNS = {one.name: one for one in samples()}
DEMOS = {f"demo {one.name}": one for one in demos()}
ALL = {**PATTERNS, **DEMOS}

WANTED = {
    "relay-load", "driver-low-side", "driver-high-side", "driver-duty-cycle", "window", "door-lock", "wiper-park",
    "blower-steps", "blower-electronic", "heated-screen", "head-lamps", "tail-lamps", "trailer-socket", "starter",
    "charging", "fuel-pump", "radiator-fans", "ignition-coils", "injectors", "glow-plugs", "sensors-5v", "wheel-speed",
    "pedal-sensor", "can-bus", "lin-chain", "ignition-feed", "grounds", "power-socket", "cranks-but-does-not-run",
    "does-not-crank", "overheats", "no-air-conditioning",
}  # fmt: skip


@pytest.fixture(scope="module")
def circuits() -> dict[str, Circuit]:
    return {name: Circuit(*parse(one.text, file=f"{name}.circuit")) for name, one in ALL.items()}


def loads(circuit: Circuit) -> list[str]:
    return [part.name for part in circuit.parts.values() if part.kind in LOADS]


def test_every_pattern_that_the_issue_asks_for_is_there():
    assert set(PATTERNS) == WANTED


@pytest.mark.parametrize("name", ALL)
def test_it_parses_without_a_warning_and_comes_back_from_its_own_text(name):
    model, warnings = parse(ALL[name].text)
    assert warnings == ()
    assert parse(write(model)) == (model, ())


@pytest.mark.parametrize("name", ALL)
def test_it_has_states_and_minutes(name):
    model, _ = parse(ALL[name].text)
    assert len(model.states) > 1
    assert model.reaches
    assert model.title


@pytest.mark.parametrize("name", PATTERNS)
def test_it_says_when_to_use_it_and_what_can_hurt(name):
    one = PATTERNS[name]
    assert one.use
    assert one.caution
    assert one.text.startswith("# Pattern   ")


@pytest.mark.parametrize("name", ALL)
def test_it_settles_in_every_state_and_no_fuse_blows(name, circuits):
    for state in circuits[name].states:
        solution = circuits[name].solve(state)
        assert solution.blown == ()
        assert solution.chattering == ()
        assert solution.residual < 1e-6


@pytest.mark.parametrize("name", ALL)
def test_every_load_works_in_some_state_when_nothing_is_wrong(name, circuits):
    circuit = circuits[name]
    solutions = [circuit.solve(state) for state in circuit.states]
    for load in loads(circuit):
        best = max(solution.across(load) for solution in solutions)
        assert best > (0.2 if circuit.parts[load].kind == "solenoid" else 1.5), load
        assert "yes" in {solution.works(load) for solution in solutions}


@pytest.mark.parametrize("name", ALL)
def test_a_load_stops_when_it_or_one_of_its_contacts_is_open(name, circuits):
    circuit = circuits[name]
    for load in loads(circuit):
        states = [state for state in circuit.states if circuit.healthy_word(load, state) == "yes"]
        for fault in (f"{load} open", f"{load}.1 open", f"{load}.2 open"):
            assert {circuit.solve(state, fault=fault).works(load) for state in states} == {"no"}, fault


@pytest.mark.parametrize("name", ALL)
def test_units_are_fed_somewhere_and_never_when_their_feed_is_open(name, circuits):
    circuit = circuits[name]
    for module in circuit.model.of_kind("module"):
        if name == "driver-duty-cycle":
            continue
        state = next(state for state in circuit.states if circuit.solve(state).fed(module.name))
        feed = module.behaviour.feeds[0][0]
        assert not circuit.solve(state, fault=f"{module.name}.{feed} open").fed(module.name)


def test_a_unit_without_its_feed_is_fed_back_through_the_clamp_of_its_output(circuits):
    """Current finds its way from the valve through the clamp diode to the unit's feed."""
    solution = circuits["driver-duty-cycle"].solve("ignition on", fault="A1.15 open")
    assert solution.fed("A1")
    assert solution.amps("A1 clamp 21") > 0.1


def test_no_demo_is_an_engine_that_does_not_start():
    for one in DEMOS.values():
        assert not re.search(r"\bstart|crank", one.text + one.customer, re.IGNORECASE)


@pytest.mark.parametrize("name", DEMOS)
def test_the_hidden_cause_explains_every_complaint(name, circuits):
    one, circuit = DEMOS[name], circuits[name]
    assert one.hidden in circuit.faults
    for complaint in one.complaints:
        assert circuit.solve(complaint.state, fault=one.hidden).works(complaint.part) == complaint.works
    assert any(
        circuit.healthy_word(complaint.part, complaint.state) != complaint.works
        for complaint in one.complaints
    )
    for place in [work.place for work in one.earlier_work] + [code.unit for code in one.codes]:
        assert place in circuit.parts


def test_lamps_glow_through_each_other_when_the_shared_ground_is_bad(circuits):
    one, circuit = DEMOS["demo rear-lamps"], circuits["demo rear-lamps"]
    braked = circuit.solve("brake", fault=one.hidden)
    assert {lamp: braked.works(lamp) for lamp in ("H1", "H4", "H8")} == {
        "H1": "weak",
        "H4": "weak",
        "H8": "weak",
    }
    assert circuit.solve("brake").across("H1") < 0.1


def test_an_unloaded_meter_does_not_see_the_bad_connector_and_a_loaded_one_does(circuits):
    one, circuit = DEMOS["demo heated-screen"], circuits["demo heated-screen"]
    healthy = circuit.solve("screen on")
    unplugged = circuit.solve("screen on", fault=one.hidden, changes=[unplug("E30")])
    assert unplugged.volts("E30.1", instrument="meter") == pytest.approx(healthy.volts("G1.+"), abs=0.3)
    loaded = circuit.solve("screen on", fault=one.hidden)
    assert loaded.volts("X60.2:in", "X60.2:out") > 5.0
    assert loaded.volts("E30.1") < healthy.volts("E30.1") / 2


def test_one_chafed_wire_pulls_three_signals_down_and_unplugging_does_not_bring_them_back(circuits):
    one, circuit = DEMOS["demo sensor-supply"], circuits["demo sensor-supply"]
    signals = [f"A1.{code.pin}" for code in one.codes]
    faulty = circuit.solve("ignition on", fault=one.hidden)
    assert all(faulty.volts(signal) < 0.1 for signal in signals)
    assert all(circuit.solve("ignition on").volts(signal) > 0.5 for signal in signals)
    assert faulty.fed("A1")
    for sensor in ("B11", "B12", "B13"):
        assert circuit.solve("ignition on", fault=one.hidden, changes=[unplug(sensor)]).volts("A1.40") < 0.1


def test_a_pattern_or_demo_that_does_not_exist_is_answered_with_those_that_do():
    with pytest.raises(NotFoundError, match=r"there is no pattern 'horn'; there are blower-electronic, "):
        sample("horn")
    with pytest.raises(
        NotFoundError, match=r"there is no demo 'x'; there are rear-lamps, heated-screen, sensor-supply"
    ):
        demo("x")
    assert sample("window").title == "Window motor with a switch that turns the polarity round"
    assert demo("rear-lamps").hidden.startswith("E5 ")
