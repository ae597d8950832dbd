"""What the coarse screen alone would keep is worked out as soon as it leads."""

from __future__ import annotations

import numpy as np
import pytest

from bench.choice_jobs import long_line
from halfsplit import Circuit, Diagnosis
from halfsplit.diagnosis.posterior import _overlooked


def test_what_leads_by_the_screen_alone_is_worked_out():
    total = np.log([1e-9, 0.7, 0.2999, 0.0001])
    assert _overlooked(total, frozenset({0}), np.ones(len(total), dtype=int), 2400) == {1, 2}
    assert _overlooked(total, frozenset({0, 1}), np.ones(len(total), dtype=int), 2400) == frozenset()
    assert _overlooked(total, frozenset({0, 1, 2, 3}), np.ones(len(total), dtype=int), 2400) == frozenset()


def test_readings_that_nothing_explains_leave_tests_to_propose():
    circuit = Circuit.parse(long_line(32))
    job = Diagnosis(circuit, seed=1)
    state = list(circuit.states)[-1]
    job.complain("M1", works="no", state=state)
    points = [point for point in circuit.points if point.endswith(":in")][::4]
    for number, point in enumerate(points):
        job.measure("volts", at=point, state=state, value=(12.4, 0.3, 6.1)[number % 3])
    posterior = job.posterior()
    assert sum(posterior.probability.values()) == pytest.approx(1.0)
    assert posterior.weights.sum() >= 0.5  # most of what is believed was worked out in full
    assert job.next_tests(3)
    for reading in list(job.readings)[1:]:
        job.strike(reading, why="made up")
    fresh = Diagnosis(circuit, seed=1)
    fresh.complain("M1", works="no", state=state)
    assert job.posterior().probability == pytest.approx(fresh.posterior().probability, rel=1e-9)
