"""The plan: every path ends, probabilities add up, and simulated vehicles that follow it come to the right repair.

The vehicles are `practice.vehicle.Vehicle`: their own solution, instrument error and parameters, no belief.
"""

import json
import math
from dataclasses import dataclass
from io import BytesIO
from itertools import pairwise

import numpy as np
import pytest
from pypdf import PdfReader

from halfsplit import Circuit, Diagnosis
from halfsplit.diagnosis import plan as planning
from halfsplit.diagnosis.plan import Plan, Walk, branch_for, follow, plan
from halfsplit.diagnosis.plan_words import letters, plan_document, plan_text
from halfsplit.diagnosis.results import legible, range_words, results, round_reading
from halfsplit.practice.vehicle import Vehicle
from halfsplit.report import plan_pdf

WORK_LAMP = """
title  Work lamp on a trailer of our own

battery G1   12.6 V 6 mohm    at "engine bay"
fuse    F1   10 A             at "fuse box"
switch  S1   off on           "rocker switch"  at "dashboard"
lamp    H1   55 W             "work lamp"      at "trailer tail"
ground  E1                    "engine bay, left"  at "engine bay"
ground  E2                    "trailer frame"  at "trailer tail"

G1.+ --[2.5mm2 RD]-- F1 --[1.5mm2 RD/WH]-- S1 --[1.5mm2 WH]-- X1.1 --[1.5mm2 WH 5m]-- H1.1
H1.2 --[1.5mm2 BN]-- E2
G1.-  --[16mm2]-- E1

state "rest"
state "lamp on"  S1 on

reach X1  5 min  "plug at the drawbar"
reach S1  20 min  "panel out"
"""
LARGEST = 10
WALKS = 250


@pytest.fixture(scope="module")
def job() -> Diagnosis:
    job = Diagnosis(Circuit.parse(WORK_LAMP))
    job.complain("H1", works="no", state="lamp on")
    return job


@pytest.fixture(scope="module")
def made(job: Diagnosis) -> Plan:
    return plan(job, largest=LARGEST)


@dataclass(frozen=True)
class Walked:
    part: str
    walk: Walk


@pytest.fixture(scope="module")
def walks(job: Diagnosis, made: Plan) -> list[Walked]:
    """Vehicles with faults drawn from what the complaint leaves, each following the plan."""
    generator = np.random.default_rng(7)
    posterior = job.posterior()
    columns = posterior.belief.columns
    weights = posterior.weights.sum(axis=1)
    single = np.array([not posterior.hypotheses[one].first.members for one in columns.hypothesis])
    known = np.array(
        [posterior.hypotheses[one].first.kind not in ("nothing", "unknown") for one in columns.hypothesis]
    )
    weights = np.where(single & known, weights, 0.0)
    told = []
    for column in generator.choice(len(weights), size=WALKS, p=weights / weights.sum()):
        hypothesis = posterior.hypotheses[columns.hypothesis[column]]
        severity = float(columns.severity[column])
        fault = hypothesis.nearest(severity) if math.isfinite(severity) else hypothesis.first
        vehicle = Vehicle(job.circuit, fault, generator)
        told.append(Walked(fault.part, follow(made, vehicle.answer)))
    return told


def test_every_path_ends_and_steps_only_lead_on(made):
    assert made.steps
    assert [step.number for step in made.steps] == list(range(1, len(made.steps) + 1))
    entered = [branch.step for step in made.steps for branch in step.branches if branch.step]
    assert sorted(entered) == list(
        range(2, len(made.steps) + 1)
    )  # a tree: each but the first is entered once
    for step in made.steps:
        assert len(step.branches) > 1
        for branch in step.branches:
            assert (branch.step is None) != (branch.ending is None)
            assert branch.step is None or branch.step > step.number
            assert branch.ending is None or branch.ending in made.endings


def test_the_probabilities_of_branches_add_up_to_one(made):
    for step in made.steps:
        assert math.fsum(branch.probability for branch in step.branches) == pytest.approx(1.0, abs=1e-9)
        for branch in step.branches:
            if branch.step:
                assert made.steps[branch.step - 1].probability == pytest.approx(
                    step.probability * branch.probability
                )
    assert math.fsum(ending.probability for ending in made.endings) == pytest.approx(1.0, abs=1e-9)


def test_ranges_cover_every_reading_without_overlap(made):
    numeric = [step for step in made.steps if not step.branches[0].word]
    assert numeric
    for step in numeric:
        ends = [(branch.low, branch.high) for branch in step.branches]
        assert ends[0][0] == -math.inf
        assert ends[-1][1] == math.inf
        assert all(before[1] == after[0] for before, after in pairwise(ends))
        assert branch_for(step, ends[0][1]) is step.branches[1]  # a border belongs to the range above it


def test_the_belief_in_the_branches_averages_to_the_belief_before(job):
    """The law of total probability, for each cause that is drawn.

    What is not in the model gives each result a share of its own, more than one in all: the others fall by the same
    factor, and by no more than is believed of it.
    """
    situation = job.situation()
    before = dict(situation.posterior.by_hypothesis)
    undrawn = before.pop("not in this model")
    for test in job.next_tests(limit=3):
        told = results(situation, test)
        ratios = [
            sum(share * then.posterior.by_hypothesis[name] for _, share, then in told) / belief
            for name, belief in before.items()
        ]
        assert ratios == pytest.approx([ratios[0]] * len(ratios), rel=1e-6), test.sentence
        assert 1 - undrawn <= ratios[0] <= 1 + 1e-9, test.sentence


def test_planning_tells_its_progress_leaves_the_job_alone_and_is_the_same_each_time(job):
    before = job.readings, job.suspects()[0].probability
    heard = []
    short = plan(job, largest=2, progress=lambda *told: heard.append(told))
    assert heard == [(1, 2), (2, 2)]
    assert len(short.steps) == 2
    fresh = Diagnosis(job.circuit, predictions=job.predictions)
    fresh.complain("H1", works="no", state="lamp on")
    fresh.suspects()
    assert plan(fresh, largest=2) == short
    assert (job.readings, job.suspects()[0].probability) == before


def test_vehicles_that_follow_the_plan_come_to_the_right_repair(walks):
    found = [one for one in walks if one.walk.ending.kind == "found"]
    right = sum(one.walk.ending.part == one.part for one in found)
    # Found at 0.9 and more: at least that share must be right.
    assert len(found) > WALKS / 3
    assert right / len(found) >= 0.9


def test_the_right_repair_is_among_those_that_an_unfinished_branch_tells(walks):
    left = [one for one in walks if one.walk.ending.kind == "tool"]
    told = sum(one.part in dict(one.walk.ending.suspects) for one in left)
    assert told >= 0.6 * len(left)


def test_expected_minutes_are_the_mean_of_the_walks(made, walks):
    minutes = np.array([one.walk.minutes for one in walks])
    error = minutes.std() / math.sqrt(len(minutes))
    # Pairs, 'nothing wrong' and 'not in this model' are in the belief but not among the vehicles: a tenth for those.
    assert abs(minutes.mean() - made.expected_minutes) <= 3 * error + 0.1 * made.expected_minutes
    assert minutes.max() <= made.worst_minutes + 1e-9


def test_the_share_of_found_causes_is_that_of_the_walks(made, walks):
    share = sum(one.walk.ending.kind == "found" for one in walks) / len(walks)
    assert share == pytest.approx(made.found, abs=3 * math.sqrt(0.25 / len(walks)) + 0.05)


def test_depth_and_rareness_bound_the_plan(job):
    shallow = plan(job, deepest=1)
    assert len(shallow.steps) == 1
    common = plan(job, rare=0.25, largest=LARGEST)
    assert all(step.probability >= 0.25 for step in common.steps)
    assert any(ending.kind == "tool" for ending in common.endings)


def test_a_job_whose_cause_is_found_has_nothing_to_plan(job):
    found = Diagnosis(job.circuit, predictions=job.predictions, found_at=0.0)
    found.complain("H1", works="no", state="lamp on")
    made = plan(found, found_at=0.0)
    assert made.steps == ()
    assert made.endings[0].kind == "found"
    assert follow(made, lambda _: 0.0).minutes == 0.0
    assert "The cause is known already" in text_of(plan_pdf(plan_document(made)))


def test_an_intermittent_fault_is_said_to_be_one(job):
    often = Diagnosis(job.circuit, predictions=job.predictions, intermittent=True)
    often.complain("H1", works="no", state="lamp on")
    made = plan(often, largest=1)
    assert "comes and goes" in plan_text(made)
    assert "comes and goes" in text_of(plan_pdf(plan_document(made)))


def test_the_document_is_json_and_leads_where_the_plan_leads(made):
    document = json.loads(json.dumps(plan_document(made), allow_nan=False))
    known = {ending["letter"] for ending in document["endings"]}
    for step in document["steps"]:
        for branch in step["branches"]:
            assert (branch["step"] is not None) + (branch["ending"] in known) + bool(branch["left"]) <= 1
    assert len(known) == len(letters(made))


def test_the_text_tells_every_step_and_ending(made):
    text = plan_text(made)
    flat = " ".join(text.split())
    for step in made.steps:
        assert " ".join(step.sentence.split()) in flat
    for ending in made.endings:
        assert ending.repair in flat
    assert max(len(line) for line in text.splitlines()) <= 130


def text_of(pdf: bytes) -> str:
    return "\n".join(page.extract_text() for page in PdfReader(BytesIO(pdf)).pages)


def test_the_printed_plan_tells_every_step(made):
    document = plan_document(made)
    pdf = plan_pdf(document)
    assert pdf == plan_pdf(document)
    flat = "".join(text_of(pdf).split())
    for step in made.steps:
        assert "".join(step.sentence.split()) in flat
        for caution in step.cautions:
            assert "".join(caution.split())[:30] in flat
    for ending in made.endings:
        assert "".join(ending.repair.split()) in flat


def test_hostile_words_in_a_plan_are_only_printed():
    words = '#panic("x") *b* <script> ' + "W" * 500
    document = {
        "title": words,
        "complaints": [words],
        "instruments": [words],
        "intermittent": False,
        "states": [{"name": words, "how": words}],
        "expected_minutes": 1.0,
        "worst_minutes": 2.0,
        "found": 0.5,
        "found_at": 0.9,
        "steps": [
            {
                "number": 1,
                "sentence": words,
                "minutes": 1.0,
                "cautions": [words],
                "opens": [words],
                "probability": 1.0,
                "branches": [
                    {
                        "text": words,
                        "word": words,
                        "probability": 1.0,
                        "step": None,
                        "ending": "A",
                        "left": words,
                    }
                ],
            }
        ],
        "endings": [
            {
                "letter": "A",
                "kind": "found",
                "title": words,
                "repair": words,
                "part": words,
                "cause": words,
                "proof": [words],
                "verify": [words],
                "suspects": [],
                "probability": 1.0,
            }
        ],
        "cautions": [words],
    }
    assert '#panic("x") *b* <script>' in text_of(plan_pdf(document))


@pytest.mark.parametrize(
    ("border", "quantity", "shown"),
    [(12.0936, "volts", 12.1), (0.0432, "volts", 0.04), (2.3797, "ohms", 2.4), (math.inf, "ohms", math.inf)],
)
def test_borders_can_be_read_off_a_meter(border, quantity, shown):
    assert legible(border, quantity) == shown


def test_about_nothing_is_nothing(job):
    assert round_reading(-0.008, "volts") == 0.0
    measurement = job.next_tests(limit=1)[0].measurement
    assert range_words(-math.inf, 0.05, -0.004, measurement) == "under 50 mV (about 0 V)"
    assert range_words(0.05, 12.1, 6.01, measurement) == "50 mV to 12.1 V (about 6 V)"
    assert range_words(12.1, math.inf, 12.52, measurement) == "over 12.1 V (about 12.5 V)"


def test_a_test_whose_results_cannot_be_told_apart_on_paper_is_no_step(job, monkeypatch):
    """Rounded to what a meter shows, all its results may be one: a step that leads to one place only."""
    real, first = planning.results, job.next_tests(limit=1)[0].measurement

    def blurred(situation, test):
        told = real(situation, test)
        return told[:1] if test.measurement == first else told

    monkeypatch.setattr(planning, "results", blurred)
    made = plan(job, largest=2)
    assert made.steps
    assert first not in [step.measurement for step in made.steps]
    assert all(len(step.branches) > 1 for step in made.steps)
