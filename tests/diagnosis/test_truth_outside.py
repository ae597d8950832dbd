"""Calibration and gauges against what no one here wrote: a published troubleshooting network and NASA's recordings.

``win95pts`` (printer troubleshooting, 76 nodes, Apache-2.0), with pyAgrum as the exact inference; ``adapt-lite``: the
recordings of NASA Ames (diagnosis competition of 2010).
"""

from __future__ import annotations

import csv
import re
from itertools import product

import numpy as np
import pyagrum
import pytest

from bench.truth import bands
from halfsplit.diagnosis.gauge_course import course_of
from tests.references.adapt import Recording

SYMPTOMS = ("problem1", "problem2", "problem3", "problem4", "problem5", "problem6")
CASES = 250
LITERAL = re.compile(r'(\\\+)?(\w+)(?:\("([^"]*)"\))?')


def _head(text: str) -> list[tuple[str, str, float]]:
    """The choices of a rule's head: node, value ('yes' for a plain fact), probability."""
    told = []
    for choice in text.split(";"):
        share, found, literal = choice.strip().rpartition("::")
        match = LITERAL.fullmatch(literal.strip())
        assert match is not None, text
        told.append((match[2], match[3] or "yes", float(share) if found else 1.0))
    return told


def _rules(text: str) -> list[tuple[list[tuple[str, str, float]], list[tuple[str, str]]]]:
    rules = []
    for line in text.splitlines():
        if not line.strip() or line.startswith("%"):
            continue
        head, _, body = line.strip().removesuffix(".").partition(" :- ")
        literals = [(match[2], match[3] or ("no" if match[1] else "yes")) for match in LITERAL.finditer(body)]
        rules.append((_head(head), literals))
    return rules


def _network(text: str) -> pyagrum.BayesNet:
    """The ProbLog program as a Bayesian network: each rule is a row of its head's table."""
    rows: dict[str, dict[tuple[tuple[str, str], ...], dict[str, float]]] = {}
    values: dict[str, list[str]] = {}
    for head, body in _rules(text):
        node = head[0][0]
        shares = {value: share for _, value, share in head}
        if list(shares) == ["yes"]:
            shares["no"] = 1.0 - shares["yes"]
        rows.setdefault(node, {})[tuple(sorted(body))] = shares
        values[node] = list(dict.fromkeys([*values.get(node, []), *shares]))
    net = pyagrum.BayesNet()
    for node, names in values.items():
        net.add(pyagrum.LabelizedVariable(node, "", names))
    for node, table in rows.items():
        parents = list(dict.fromkeys(name for body in table for name, _ in body))
        for name in parents:
            net.addArc(name, node)
        for chosen in product(*(values[name] for name in parents)):
            key = tuple(sorted(zip(parents, chosen, strict=True)))
            shares = table.get(key, {values[node][-1]: 1.0})
            net.cpt(node)[dict(key)] = [shares.get(value, 0.0) for value in values[node]]
    return net


def test_the_calibration_of_the_bench_holds_exact_posteriors_for_calibrated(outside_data):
    """Exact posteriors of the likeliest value, told as a job tells them: each band true to what sampling allows."""
    text = (outside_data("bayes") / "win95pts.pl").read_text(encoding="utf-8")
    net = _network(text)
    assert net.size() == 76
    sampled = pyagrum.BNDatabaseGenerator(net)
    pyagrum.initRandom(11)
    sampled.drawSamples(CASES)
    frame = sampled.to_pandas()
    leaves = [name for name in net.names() if not net.children(name)]
    hidden = ["lclOK", "netOK", "prtData", "appOK", "drvOK", "prtThread", "grbldOtpt", "pSGRAPHIC"]
    hidden = [name for name in hidden if name in net.names()]
    rows = []
    for _, case in frame.iterrows():
        inference = pyagrum.LazyPropagation(net)
        inference.setEvidence({name: str(case[name]) for name in leaves[:4]})
        inference.setTargets(set(hidden))
        inference.makeInference()
        for name in hidden:
            posterior = inference.posterior(name)
            best = int(np.argmax(posterior.tolist()))
            right = net.variable(name).label(best) == str(case[name])
            rows.append({"moments": [(float(posterior.tolist()[best]), right)]})
    for _, _, told, true, count in bands(rows, once=True):
        assert abs(told - true) < 3.5 * np.sqrt(max(told * (1 - told), 0.01) / count)


GAUGES = {
    "Exp_1127_017f_pb_ADAPT-Lite": ("IT240", "intermittent offset"),
    "Exp_1127_023f_pb_ADAPT-Lite": ("IT267", "offset"),
    "Exp_1127_041f_pb_ADAPT-Lite": ("ST516", "stuck"),
    "Exp_1151_pb_ADAPT-Lite": ("IT267", "drift"),
}
"""In the last the load drifts, and its ammeter shows it: its resistance creeps up."""


@pytest.mark.parametrize("name", GAUGES)
def test_how_a_gauge_lies_is_told_apart_in_the_recordings(outside_data, name):
    folder = outside_data("adapt-lite")
    with (folder / "truth.csv").open(encoding="utf-8", newline="") as file:
        truth = {row["scenario"]: row for row in csv.DictReader(file)}
    gauge, course = GAUGES[name]
    recording = Recording.read(folder / f"{name}.csv")
    told = course_of(recording.seconds, recording.channels[gauge], float(truth[name]["injected_at_s"]))
    assert next(iter(told)) == course
