"""A complaint that no fault of the model explains well: a load a little weak. (Common practice, no source.)"""

from halfsplit import Circuit, Diagnosis
from halfsplit.notation.library import sample


def test_a_marginal_complaint_leaves_the_faults_of_the_circuit_to_be_tested():
    """They are worked out in full then too, or no test could tell them apart."""
    circuit = Circuit.parse(sample("sensors-5v").text)
    job = Diagnosis(circuit)
    job.complain("R2", works="weak", state="hot idle")
    names = {one.name for one in job.posterior().hypotheses}
    assert "E2 high resistance" in names
    first = job.next_tests(limit=1)[0]
    assert len({name for outcome in first.outcomes for name, _ in outcome.leaves} - {"not in this model"}) > 1
