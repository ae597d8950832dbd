"""What is kept of a scene is bounded, and forgetting it changes no answer; no published source: memory."""

from halfsplit import Circuit, Diagnosis
from halfsplit.diagnosis import fleet
from halfsplit.notation.library import sample


def test_columns_that_nobody_asks_for_any_more_are_forgotten(monkeypatch):
    circuit = Circuit.parse(sample("tail-lamps").text)
    jobs = [Diagnosis(circuit, draws=4) for _ in range(2)]
    held = []
    for job, most in zip(jobs, (fleet.MOST_CELLS, 40), strict=True):
        monkeypatch.setattr(fleet, "MOST_CELLS", most)
        monkeypatch.setattr(fleet, "MOSTLY_OTHERS", 1)
        job.complain("H3", works="no", state="indicator")
        for test, value in (("H3.1", 12.3), ("H3.2", 11.9)):
            job.measure("volts", test, state="indicator", value=value)
            job.suspects()
            job.next_tests(2)
        held.append(sum(each.regime.size for each in job.predictions._fleets[False]._solved.values()))
    assert held[1] < held[0]
    first, second = (job.suspects() for job in jobs)
    assert [one.part for one in first] == [one.part for one in second]
    assert max(abs(a.probability - b.probability) for a, b in zip(first, second, strict=True)) < 1e-9
