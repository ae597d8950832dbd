"""NASA's ADAPT-Lite recordings (diagnosis competition of 2010, ``adapt-lite``): the true component comes first.

The readings of the testbed's gauges before and after the injected fault are the evidence: ``references/adapt.py``.
"""

from __future__ import annotations

import csv

import pytest

from tests.references.adapt import Recording, components, diagnose, job_with


def test_the_injected_component_is_the_first_suspect(outside_data):
    folder = outside_data("adapt-lite")
    with (folder / "truth.csv").open(encoding="utf-8", newline="") as file:
        truth = list(csv.DictReader(file))
    assert len(truth) >= 4
    named = {}
    for row in truth:
        recording = Recording.read(folder / f"{row['scenario']}.csv")
        named[row["scenario"]] = next(iter(components(diagnose(recording, float(row["injected_at_s"])))))
    assert named == {row["scenario"]: row["component"] for row in truth}


SOUND = {
    "E240": 24.0, "E242": 23.9, "E265": 120.0, "E281": 23.5, "ESH244A": 1.0, "ISH236": 1.0, "IT240": 17.0, "IT267": 2.4,
    "IT281": 2.4, "ST516": 900.0, "TE228": 72.0,
}  # fmt: skip
"""Invented."""
DEAD = {"E265": 0.0, "IT267": 0.0, "ST516": 0.0}
ALL_DEAD = {**DEAD, "E242": 0.0, "E281": 0.0, "IT240": 0.0, "IT281": 0.0}

INVENTED = {
    "an offset of a voltmeter": ("E242", {"E242": 23.0}),
    "a voltmeter stuck at nothing": ("E240", {"E240": 0.0}),
    "an offset of an ammeter": ("IT240", {"IT240": 18.0}),
    "a drifting ammeter": ("IT281", {"IT281": 2.2}),
    "a stuck position switch": ("ESH244A", {"ESH244A": 0.0}),
    "a speed sensor": ("ST516", {"ST516": 700.0}),
    "a thermometer": ("TE228", {"TE228": 75.0}),
    "a failed relay": ("EY244", {**ALL_DEAD, "ESH244A": 0.0, "E240": 24.4}),
    "the main breaker": ("CB236", {**ALL_DEAD, "ISH236": 0.0, "E240": 0.0}),
    "the inverter's breaker": ("CB262", {**DEAD, "IT240": 2.4, "E240": 24.4, "E242": 24.4, "E281": 23.9}),
    "the direct-current breaker": ("CB280", {"E281": 0.0, "IT281": 0.0, "IT240": 14.6}),
    "more resistance of a load": ("DC485", {"IT281": 2.18, "IT240": 16.78}),
    "less resistance of a load": ("AC483", {"IT267": 2.7, "IT240": 18.83}),
    "a load that is off": ("AC483", {"IT267": 0.92, "IT240": 8.0}),
    "a worn fan": ("FAN416", {"ST516": 700.0, "IT267": 2.3, "IT240": 16.4}),
    "a fan that stands": ("FAN416", {"ST516": 0.0, "IT267": 1.5, "IT240": 11.5}),
    "a weak battery": ("BAT2", {"E240": 22.8, "E242": 22.7, "E281": 22.3, "IT281": 2.28}),
}


@pytest.mark.parametrize(("component", "changed"), INVENTED.values(), ids=INVENTED)
def test_faults_of_other_kinds_are_told_apart(component, changed):
    assert next(iter(components(job_with(SOUND, {**SOUND, **changed})))) == component


def test_the_sound_testbed_accuses_nobody():
    assert max(components(job_with(SOUND, SOUND)).values()) < 0.3
