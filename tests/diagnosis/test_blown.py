"""A fuse that blows: what a dead short predicts is as sharp as what a fuse gone by itself does.

Common practice, no source.
"""

from halfsplit import Circuit, Diagnosis
from halfsplit.circuit.interventions import Replace
from halfsplit.notation.library import sample


def test_a_new_fuse_that_does_not_help_leaves_the_shorts_behind_it():
    """A milder short would leave the fuse whole: that lends no width to the volts that a dead one leaves."""
    circuit = Circuit.parse(sample("ignition-feed").text)
    job = Diagnosis(circuit)
    job.complain("H1", works="no", state="reverse")
    job.observe("F10", blown=True, state="reverse")
    job.measure("volts", "F10.1", to="F10.2", state="reverse", value=12.48)
    job.measure("volts", "K15.87", state="reverse", value=0.01)
    before = job.posterior().probability
    assert next(iter(before)) == "F10"
    job.measure("works", "H1", state="reverse", value="no", changes=[Replace("F10")])
    after = job.posterior().probability
    shorts = [name for name, share in after.items() if share > 0.1]
    assert len(shorts) >= 5
    assert all(circuit.faults[f"{name} short to body"] for name in shorts)
    assert sum(after[name] for name in shorts) > 0.8
