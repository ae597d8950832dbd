"""The public names, used as the page for programs says: they may be added to and never taken away."""

from __future__ import annotations

import inspect
import re
from pathlib import Path

import numpy as np
import pytest

import halfsplit as hs

PAGE = (Path(__file__).parents[1] / "docs" / "python.md").read_text(encoding="utf-8")
NOTATION = (Path(__file__).parents[1] / "docs" / "notation.md").read_text(encoding="utf-8")
WASH_WIPE = re.findall(r"^```circuit\n(.*?)^```", NOTATION, flags=re.MULTILINE | re.DOTALL)[0]


@pytest.fixture(scope="module")
def circuit():
    return hs.Circuit.parse(WASH_WIPE)


@pytest.fixture
def job(circuit):
    made = hs.Diagnosis(circuit, instruments=["meter", "test lamp"], intermittent=False, seed=0)
    made.complain("M9", works="no", state="wiper on")
    return made


def test_every_name_can_be_had():
    for name in hs.__all__:
        assert getattr(hs, name) is not None
    with pytest.raises(AttributeError):
        hs.no_such_name  # noqa: B018 - asked for on purpose


@pytest.mark.parametrize("name", sorted(set(re.findall(r"`hs\.(\w+)", PAGE))))
def test_the_page_names_only_what_there_is(name):
    assert hasattr(hs, name)


def test_the_methods_of_a_job_stand_on_the_page():
    told = set(re.findall(r"`(?:[^`]*, `)?(\w+)\(", PAGE)) | set(re.findall(r"(\w+)\(", PAGE))
    made = {
        name for name, _ in inspect.getmembers(hs.Diagnosis, inspect.isfunction) if not name.startswith("_")
    }
    assert {"complain", "observe", "code", "next_tests", "record", "cannot", "measure", "strike", "suspects",
            "finding"} <= made & told  # fmt: skip


def test_reading_and_writing(circuit, tmp_path):
    path = tmp_path / "rear-wiper.circuit"
    path.write_text(WASH_WIPE, encoding="utf-8")
    assert hs.Circuit.read(path).model == circuit.model
    assert hs.Circuit.parse(circuit.write()).model == circuit.model
    assert list(circuit.states) == ["rest", "wiper on"]
    assert "M9" in circuit.parts
    assert "X31.4:in" in circuit.points
    assert circuit.faults["X31.4 open"].part == "X31.4"


def test_a_file_that_makes_no_sense(tmp_path):
    with pytest.raises(hs.CircuitError) as raised:
        hs.Circuit.parse("battery G1\nG1.+ -- F1 -- G1.-")
    problem = raised.value.problems[0]
    told = (problem.line, problem.message, problem.remedy)
    assert told == (2, "F1 has no rating", "write: fuse F1 15 A")
    assert isinstance(raised.value, hs.HalfsplitError)


def test_a_solution(circuit):
    changes = [hs.unplug("M9"), hs.jump("K7.30", "K7.87")]
    sick = circuit.solve("wiper on", fault=circuit.faults["X31.4 open"], changes=changes)
    assert sick.volts("X31.4:in") == pytest.approx(12.6, abs=0.1)
    assert sick.volts("X31.4:out") == pytest.approx(0.0, abs=0.1)
    healthy = circuit.solve("wiper on")
    assert healthy.works("M9") == "yes"
    assert healthy.volts("M9.1", "M9.2") == pytest.approx(healthy.amps("M9") * 12 / 4.2, rel=0.01)
    assert healthy.volts("X31.4:in", instrument="test lamp") == pytest.approx(
        healthy.volts("X31.4:in"), abs=0.1
    )
    assert healthy.amps("F21") == pytest.approx(4.2, abs=0.3)
    assert (healthy.blown, healthy.chattering) == ((), ())
    with pytest.raises(hs.UnknownNameError):
        circuit.solve("wiper of")


def test_the_batched_table_is_the_solutions(circuit):
    points, faults = ["M9.1", "K7.87"], ["nothing wrong", "X31.4 open"]
    table = circuit.expect("wiper on", points=points, faults=faults)
    alone = [[circuit.solve("wiper on", fault=fault).volts(point) for point in points] for fault in faults]
    assert np.asarray(table) == pytest.approx(np.array(alone), abs=1e-6)


def test_a_job(job):
    job.observe("A2", answers=True)
    test = job.next_tests(limit=5)[0]
    assert test.state in job.circuit.states
    assert test.quantity in (
        "volts",
        "amps",
        "ohms",
        "lamp",
        "works",
        "answers",
        "code",
        "stage",
        "inspection",
        "blown",
    )
    assert test.minutes > 0
    assert test.bits > 0
    assert sum(one.probability for one in test.outcomes) == pytest.approx(1.0, abs=0.02)
    assert (test.at, test.to, test.instrument, test.changes, test.cautions) == (
        test.measurement.at, test.measurement.to, test.measurement.instrument, test.measurement.changes, test.cautions,
    )  # fmt: skip
    job.cannot(test, why="seized bolt")
    assert test.measurement not in [one.measurement for one in job.next_tests(limit=5)]
    reading = job.measure("volts", at="X31.4:in", state="wiper on", value=12.3, instrument="meter")
    leader = job.suspects()[0]
    assert 0 < leader.probability < 1
    assert leader.repair
    assert leader.cause in job.circuit.faults
    job.strike(reading, why="probe slipped")
    assert [one.struck for one in job.readings] == [None, None, "probe slipped"]
    assert job.finding() is None


def test_a_job_ends_with_a_finding(job):
    for point, volts in (("X31.4:in", 12.4), ("X31.4:out", 0.02), ("M9.1", 0.01)):
        job.measure("volts", at=point, state="wiper on", value=volts)
    drop = [
        job.measure("volts", at="X31.4:in", to="X31.4:out", state="wiper on", value=12.4) for _ in range(2)
    ]
    assert len(drop) == 2
    found = job.finding()
    assert (found.cause, found.part, found.proven) == ("X31.4 open", "X31.4", False)
    assert found.missing_proof == ("bridging X31.4:in to X31.4:out restores the function",)
    job.measure("works", "M9", state="wiper on", value="yes", changes=[hs.jump("X31.4:in", "X31.4:out")])
    proven = job.finding()
    assert (proven.proven, proven.missing_proof, proven.rivals) == (True, (), ())
    assert proven.explains == ("M9 does not work (wiper on)",)
    assert "rear wiper motor (M9) runs as it should in state “wiper on”" in proven.verify


def test_the_same_seed_and_readings_give_the_same_answers(circuit):
    told = []
    for _ in range(2):
        job = hs.Diagnosis(circuit, seed=3)
        job.complain("M9", state="wiper on")
        told.append(
            ([one.sentence for one in job.next_tests(3)], [one.probability for one in job.suspects()])
        )
    assert told[0] == told[1]


def test_what_can_be_done_first():
    assert str(hs.lamp_for("F21", watts=21)) == "21 W lamp in place of F21"
    assert hs.fit("K7") != hs.unplug("K7")
    assert hs.stand_in("fuel").stage == "fuel"
