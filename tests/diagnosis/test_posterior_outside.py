"""The posterior against a general-purpose exact-inference library (pyAgrum), on networks made from circuits."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pyagrum
import pytest

from halfsplit import Circuit, Diagnosis
from halfsplit.diagnosis import belief as belief_module
from halfsplit.diagnosis.belief import Belief
from halfsplit.diagnosis.evidence import forecast
from halfsplit.diagnosis.expected import Forecast, Worded
from halfsplit.diagnosis.measurement import ANSWERS, Between, Measurement, Reading
from tests.circuits import BARE_LAMP as ONE_LAMP

LAMPS = """
battery G1
fuse F1 10 A
relay K1
switch S1
lamp H1 21 W
lamp H2 5 W
ground E1
ground E2
connector X1
G1.+ -- F1 -- K1.30
K1.87 -- X1.1 -- H1 -- X1.2 -- E1
X1.1 -- H2 -- E1
G1.+ -- S1 -- K1.86
K1.85 -- E2
G1.- -- E2
state "off"
state "on" S1 closed
"""

EDGES = (-np.inf, 0.5, 6.0, 11.5, 12.3, np.inf)
"""Volts are told in so many ranges."""


def _range(number: int) -> Between:
    return Between(0.0, EDGES[number], EDGES[number + 1])


EVIDENCE: tuple[tuple[Measurement, str | Between], ...] = (
    (Measurement("works", "H1", "on"), "weak"),
    (Measurement("volts", "X1.1:out", "on", instrument="meter"), _range(3)),
    (Measurement("works", "H2", "on"), "yes"),
    (Measurement("volts", "H1.2", "on", instrument="meter"), _range(1)),
    (Measurement("lamp", "X1.1:out", "on", instrument="test lamp"), "bright"),
    (Measurement("blown", "F1", "on"), "no"),
    (Measurement("inspection", "X1.2", "on"), "good"),
)


def _table(expected: Forecast) -> np.ndarray:
    """Chance of each word, or of each range of volts (C, D, K)."""
    if isinstance(expected, Worded):
        return np.stack([expected.likelihood(word) for word in expected.words], axis=-1)
    return np.stack([expected.between(low, high) for low, high in pairwise(EDGES)], axis=-1)


def _network(belief: Belief) -> pyagrum.BayesNet:
    """Column and draw are parents of every reading; each table is what our forecast says of it."""
    columns, draws = len(belief.columns), len(belief.context.predictor.draws)
    net = pyagrum.BayesNet()
    net.cpt(net.add(pyagrum.RangeVariable("column", "", 0, columns - 1)))[:] = (
        belief.prior / belief.prior.sum()
    )
    net.cpt(net.add(pyagrum.RangeVariable("draw", "", 0, draws - 1)))[:] = np.full(draws, 1.0 / draws)
    for number, (measurement, _) in enumerate(EVIDENCE):
        table = _table(forecast(measurement, belief.context))
        assert table.sum(axis=-1) == pytest.approx(np.ones((columns, draws)), abs=1e-9)
        node = net.add(pyagrum.RangeVariable(f"r{number}", "", 0, table.shape[-1] - 1))
        net.addArc("column", f"r{number}")
        net.addArc("draw", f"r{number}")
        axes = {"column": 0, "draw": 1, f"r{number}": 2}
        # pyAgrum fills with the first name running fastest.
        order = [axes[name] for name in reversed(list(net.cpt(node).names))]
        net.cpt(node).fillWith(np.transpose(table, order).ravel().tolist())
    return net


def _value(measurement: Measurement, value: str | Between) -> int:
    """The number of a word or range in the table of a reading."""
    if isinstance(value, str):
        return ANSWERS[measurement.quantity].index(value)
    return EDGES.index(value.low)


@pytest.mark.parametrize("count", range(1, len(EVIDENCE) + 1))
def test_the_posterior_is_that_of_an_exact_inference_library(count):
    evidence = EVIDENCE[:count]
    job = Diagnosis(Circuit.parse(LAMPS), draws=4)
    readings = [Reading(f"{number:05d}", *one) for number, one in enumerate(evidence)]
    posterior = job._infer().posterior(readings)
    outside = pyagrum.LazyPropagation(_network(posterior.belief))
    outside.setEvidence({f"r{number}": _value(*one) for number, one in enumerate(evidence)})
    outside.makeInference()
    ours = posterior.weights / posterior.weights.sum()
    assert (ours > 0).all()
    for name, axis in (("column", 1), ("draw", 0)):
        expected = np.array(outside.posterior(name).tolist())
        assert ours.sum(axis=axis) == pytest.approx(expected, rel=1e-9, abs=1e-12)


def test_striking_gives_exactly_what_there_would_be_without_it():
    circuit = Circuit.parse(LAMPS)
    with_it, without = Diagnosis(circuit), Diagnosis(circuit)
    for job in (with_it, without):
        job.complain("H1", state="on")
        job.measure("volts", "X1.1:out", state="on", value=12.1)
    extra = with_it.measure("volts", "H1.2", state="on", value=11.9)
    moved = {one.part: one.probability for one in with_it.suspects()}
    with_it.strike(extra, "the probe slipped")
    struck = {one.part: one.probability for one in with_it.suspects()}
    assert struck == {one.part: one.probability for one in without.suspects()}
    assert max(abs(moved.get(name, 0.0) - struck[name]) for name in struck) > 0.05


def test_the_order_of_readings_does_not_matter():
    circuit = Circuit.parse(LAMPS)
    evidence = [("X1.1:out", 12.1), ("H1.2", 0.02), ("K1.87", 12.3)]
    told = []
    for order in ((0, 1, 2), (2, 0, 1), (1, 2, 0)):
        job = Diagnosis(circuit)
        job.complain("H1", state="on")
        for number in order:
            point, volts = evidence[number]
            job.measure("volts", point, state="on", value=volts)
        told.append({one.part: one.probability for one in job.suspects()})
    for other in told[1:]:
        assert other == pytest.approx(told[0], abs=1e-12)


def test_probabilities_add_up_to_one_and_a_slip_takes_nothing_to_zero():
    job = Diagnosis(Circuit.parse(LAMPS))
    job.complain("H1", state="on")
    job.measure("volts", "X1.1:out", state="on", value=3.33)
    shares = [one.probability for one in job.suspects()]
    assert sum(shares) == pytest.approx(1.0, abs=1e-9)
    assert min(job.posterior().by_hypothesis.values()) > 0.0


def test_a_battery_reading_narrows_the_draws():
    job = Diagnosis(Circuit.parse(LAMPS))
    job.complain("H1", state="on")
    before = job.posterior().weights.sum(axis=0)
    job.measure("volts", "G1.+", state="off", value=12.72)
    after = job.posterior().weights.sum(axis=0)
    effective = [1.0 / ((draws / draws.sum()) ** 2).sum() for draws in (before, after)]
    assert effective[1] < 0.8 * effective[0]


def test_a_good_reading_while_the_fault_is_absent_clears_nothing():
    circuit = Circuit.parse(LAMPS)
    job = Diagnosis(circuit, intermittent=True)
    job.complain("H1", state="on")
    before = {one.part: one.probability for one in job.suspects()}
    job.measure("volts", "H1.1", state="on", value=12.4, present="no")
    job.measure("volts", "H1.2", state="on", value=0.05, present="no")
    after = {one.part: one.probability for one in job.suspects()}
    assert max(abs(after[name] - before[name]) for name in before) < 0.02


def test_nothing_explains_it_so_it_is_not_in_this_model():
    job = Diagnosis(Circuit.parse(LAMPS))
    job.complain("H1", state="on")
    for volts in (6.1, 9.3, 7.7, 8.4):
        job.measure("volts", "G1.+", state="off", value=volts)
    assert job.suspects()[0].part == "not in this model"


def test_earlier_work_raises_what_was_touched():
    circuit = Circuit.parse(LAMPS)
    shares = []
    for factor in (None, False, True):
        job = Diagnosis(circuit)
        if factor is not None:
            job.earlier_work(["X1"], began_then=factor)
        job.complain("H1", state="on")
        shares.append(next(one.probability for one in job.suspects() if one.part == "X1.2"))
    odds = [share / (1 - share) for share in shares]
    assert odds[0] < odds[1] < odds[2]
    assert odds[1] / odds[0] == pytest.approx(4.0, rel=0.5)


def test_earlier_work_multiplies_exactly_what_is_at_the_place():
    """By 4, by 15 if the complaint began at that visit (common practice, no source)."""
    circuit = Circuit.parse(LAMPS)
    shares = []
    for touched in (None, False, True):
        job = Diagnosis(circuit)
        if touched is not None:
            job.earlier_work(["X1"], began_then=touched)
        prior = job.posterior().by_hypothesis
        shares.append(prior["X1.2 high resistance"] / prior["K1 contact open"])
    assert shares[1] / shares[0] == pytest.approx(4.0)
    assert shares[2] / shares[0] == pytest.approx(15.0)


def test_a_second_fault_that_explains_nothing_is_not_believed():
    """A pair of the cause with a sound part: no likelier for having just the severity of the cause."""
    circuit = Circuit.parse(ONE_LAMP)
    job = Diagnosis(circuit)
    sick = circuit.solve("on", fault="E1 high resistance 10 ohm")
    for point in ("H1.1", "H1.2", "E1"):
        job.measure("volts", point, state="on", value=sick.volts(point))
    shares = job.posterior().by_hypothesis
    pairs = [share for name, share in shares.items() if "E1 high resistance" in name and " + " in name]
    assert sum(pairs) < 0.05 * shares["E1 high resistance"]


def test_a_reading_made_again_is_compared_once_with_each_of_the_others_of_its_place(monkeypatch):
    """Each number among 40 of one point meets 39 others, whichever cause is weighed: not once more for each of them."""
    asked = Measurement("volts", "H1.1", "on", instrument="meter")
    readings = [Reading(f"{number:02}", asked, 12.0 + 0.01 * (number % 7)) for number in range(40)]
    job = Diagnosis(Circuit.parse(ONE_LAMP))
    job.complain("H1", "no", state="on")
    heard = belief_module.Heard(job.situation().context)
    compared = []
    again = belief_module.again
    monkeypatch.setattr(belief_module, "again", lambda *pair: compared.append(pair) or again(*pair))
    step_by_step = [heard.anything(readings[: number + 1]) for number in range(40)]
    assert len(compared) == 40 * 39
    # By definition: each of them in turn may be anything, the others show the same, or every one is anything.
    first = [heard.anything([reading]) for reading in readings]
    turns = [
        first[own] + sum(again(other, readings[own]) for other in readings if other is not readings[own])
        for own in range(40)
    ]
    share = belief_module.UNSTEADY
    told = np.logaddexp(
        np.log(1 - share) + np.logaddexp.reduce(turns) - np.log(40), np.log(share) + sum(first)
    )
    assert step_by_step[-1] == pytest.approx(told, abs=1e-9)
    assert heard.anything(readings[1:]) != step_by_step[-2]
