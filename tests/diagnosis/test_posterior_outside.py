"""The posterior against a general-purpose exact-inference library (pyAgrum), on networks made from circuits."""

from __future__ import annotations

import numpy as np
import pyagrum
import pytest

from halfsplit import Circuit, Diagnosis
from halfsplit.diagnosis.evidence import Worded, forecast
from halfsplit.diagnosis.measurement import Measurement

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

EVIDENCE = (
    (Measurement("works", "H1", "on"), "weak"),
    (Measurement("works", "H2", "on"), "yes"),
    (Measurement("lamp", "X1.1:out", "on", instrument="test lamp"), "bright"),
    (Measurement("blown", "F1", "on"), "no"),
    (Measurement("inspection", "X1.2", "on"), "good"),
)


def _network(job: Diagnosis, evidence) -> pyagrum.BayesNet:
    """Column and draw are parents of every reading; each table is what the forecast says of the words."""
    belief = job.posterior().belief
    columns, draws = len(belief.columns), len(belief.context.predictor.draws)
    net = pyagrum.BayesNet()
    column = net.add(pyagrum.RangeVariable("column", "", 0, columns - 1))
    draw = net.add(pyagrum.RangeVariable("draw", "", 0, draws - 1))
    net.cpt(column)[:] = belief.prior / belief.prior.sum()
    net.cpt(draw)[:] = np.full(draws, 1.0 / draws)
    for number, (measurement, _) in enumerate(evidence):
        expected = forecast(measurement, belief.context)
        assert isinstance(expected, Worded)
        table = np.stack([expected.likelihood(word) for word in expected.words], axis=-1)
        node = net.add(pyagrum.LabelizedVariable(f"r{number}", "", list(expected.words)))
        net.addArc(column, node)
        net.addArc(draw, node)
        order = list(net.cpt(node).names)
        shape = {"column": columns, "draw": draws, f"r{number}": len(expected.words)}
        given = {"column": 0, "draw": 1, f"r{number}": 2}
        # pyAgrum fills with the first name running fastest.
        flat = np.transpose(table, [given[name] for name in reversed(order)]).ravel()
        assert flat.size == np.prod([shape[name] for name in order])
        net.cpt(node).fillWith(flat.tolist())
    return net


@pytest.mark.parametrize("count", range(1, len(EVIDENCE) + 1))
def test_the_posterior_is_that_of_an_exact_inference_library(count):
    job = Diagnosis(Circuit.parse(LAMPS), draws=4)
    evidence = EVIDENCE[:count]
    for measurement, word in evidence:
        job.measure(
            measurement.quantity,
            measurement.at,
            state=measurement.state,
            value=word,
            instrument=measurement.instrument,
        )
    net = _network(job, evidence)
    outside = pyagrum.LazyPropagation(net)
    outside.setEvidence({f"r{number}": word for number, (_, word) in enumerate(evidence)})
    outside.makeInference()
    expected = np.array(outside.posterior("column").tolist())
    posterior = job.posterior()
    ours = posterior.weights.sum(axis=1)
    chosen = ours > 0
    assert chosen.sum() > 20
    assert ours[chosen] / ours[chosen].sum() == pytest.approx(
        expected[chosen] / expected[chosen].sum(), rel=1e-9, abs=1e-12
    )
    drawn = np.array(outside.posterior("draw").tolist())
    assert posterior.weights.sum() <= 1 + 1e-12
    if chosen.all():
        by_draw = posterior.weights.sum(axis=0)
        assert by_draw / by_draw.sum() == pytest.approx(drawn, abs=1e-9)


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
    assert max(abs(moved[name] - struck[name]) for name in struck) > 0.05


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


ONE_LAMP = """
battery G1
fuse F1 10 A
switch S1
lamp H1 21 W
ground E1
ground E2
G1.+ --[2.5mm2 1m]-- F1 --[1mm2 1m]-- S1 --[1mm2 2m]-- H1 --[1mm2 1m]-- E1
G1.- --[16mm2 0.6m]-- E2
state "off"
state "on" S1 closed
"""


def test_a_second_fault_that_explains_nothing_is_not_believed():
    """A pair of the cause with a sound part: no likelier for having just the severity of the cause."""
    circuit = Circuit.parse(ONE_LAMP)
    job = Diagnosis(circuit)
    sick = circuit.solve("on", fault="E1 high resistance 10 ohm")
    for point in ("H1.1", "H1.2", "E1"):
        job.measure("volts", point, state="on", value=sick.volts(point))
    shares = job.posterior().by_hypothesis
    pairs = [share for name, share in shares.items() if "E1 high resistance 10 ohm + " in name]
    assert len(pairs) > 10
    assert sum(pairs) < 0.05 * shares["E1 high resistance"]
