"""The ranges of a reading: what the page says each result would mean."""

import math
from itertools import combinations

import numpy as np
import pytest

from halfsplit.diagnosis.evidence import scale, unscale
from halfsplit.diagnosis.information import EXACT, Slips, information, mixture, outcome_information
from halfsplit.diagnosis.limits import as_read, limit_between
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.diagnosis.outcomes import (
    INTERVALS,
    _intervals,
    cuts,
    outcome_bins,
    outcome_likelihood,
    outcome_ranges,
)


def feed_with_joint():
    """Return particles: 0 and 1 open before the point, 2 to 4 behind it, 5 a bad joint of unknown ohms."""
    group = np.repeat(np.arange(6), 60)
    rng = np.random.default_rng(1)
    volts = np.select([group < 2, group < 5], [0.0, 12.3], rng.uniform(3, 9, len(group)))
    return volts, 0.02 + 0.005 * volts, np.full(len(group), 1 / len(group)), group


def test_good_dead_and_between_are_told_apart():
    bins = outcome_bins(*feed_with_joint())
    dead, between, good = bins
    assert dead.typical == pytest.approx(0.0, abs=0.1)
    assert good.typical == pytest.approx(12.3, abs=0.1)
    assert 3 < between.typical < 9
    assert dead.low == -np.inf
    assert good.high == np.inf
    assert [b.high for b in bins[:-1]] == [b.low for b in bins[1:]]
    # Each of six equal suspects has a sixth; the slip (2 %, half of it at 0) makes the difference.
    assert [b.probability for b in bins] == pytest.approx([2 / 6, 1 / 6, 3 / 6], abs=0.015)
    assert np.flatnonzero(good.posterior > 0.1).tolist() == [2, 3, 4]
    assert np.flatnonzero(dead.posterior > 0.1).tolist() == [0, 1]
    assert np.flatnonzero(between.posterior > 0.1).tolist() == [5]


def test_bins_average_to_what_was_believed_before():
    volts, sigma, weights, group = feed_with_joint()
    bins = outcome_bins(volts, sigma, weights, group)
    mean = sum(b.probability * b.posterior for b in bins)
    assert mean == pytest.approx(np.bincount(group, weights=weights), abs=1e-9)
    assert all(b.posterior.sum() == pytest.approx(1.0) for b in bins)


def test_a_reading_that_tells_nothing_has_one_range():
    group = np.repeat([0, 1], 50)
    volts = np.tile(np.linspace(11, 13, 50), 2)
    (only,) = outcome_bins(volts, np.full(100, 0.1), np.full(100, 0.01), group)
    assert (only.low, only.high, only.probability) == (-np.inf, np.inf, pytest.approx(1.0))
    assert only.typical == pytest.approx(12.0, abs=0.1)


def test_no_other_cuts_between_the_intervals_tell_more():
    """All pairs of cuts are tried, for a channel with no clear gap."""
    rng = np.random.default_rng(2)
    group = rng.integers(0, 4, 80)
    volts = 3 * group + rng.normal(0, 1.5, 80)
    arrays = (volts[None], np.full((1, 80), 0.8), rng.dirichlet(np.ones(80)), group)
    cells = mixture(*arrays)
    chosen = cuts(cells, most=3, kept=1.0)[0]
    labels = _intervals(cells.joint)[0]

    def bits(cut):
        columns = np.searchsorted(cut, 0.5 * (cells.edges[0, 1:] + cells.edges[0, :-1]), side="right")
        joint = np.stack([cells.joint[0][:, columns == k].sum(axis=1) for k in range(3)], axis=1)
        outer = joint.sum(1, keepdims=True) * joint.sum(0)
        return np.sum(joint * np.log2(np.maximum(joint, 1e-300) / np.maximum(outer, 1e-300)))

    borders = [
        cells.edges[0, np.flatnonzero(labels >= k)[0]] for k in range(1, INTERVALS) if k <= labels.max()
    ]
    best = max(bits(pair) for pair in combinations(sorted(set(borders)), 2))
    assert bits(chosen) == pytest.approx(best, abs=1e-9)


def test_few_ranges_keep_nearly_all_that_the_reading_tells():
    volts, sigma, weights, group = feed_with_joint()
    arrays = (volts[None], sigma[None], weights, group)
    whole = information(*arrays, precision=EXACT)[0]
    ranges = outcome_ranges(*arrays, slips=Slips(), knee=4.0)
    kept = outcome_information(ranges, weights, group)[0]
    assert 0.9 * whole <= kept <= whole + 0.0025


def test_chances_of_ranges_follow_the_normal_distribution():
    """By tables of the normal distribution: 15.87 % lie beyond one standard deviation; 5 % slips, half at 0 V."""
    predicted, sigma = np.array([[10.0]]), np.array([[0.5]])
    cut = np.array([[9.5, np.inf]])
    below, above, none = outcome_likelihood(predicted, sigma, cut, Slips(0.0))[0, 0]
    assert (below, above, none) == (pytest.approx(0.1587, abs=5e-5), pytest.approx(0.8413, abs=5e-5), 0.0)
    below, above, none = outcome_likelihood(predicted, sigma, cut, Slips(0.05, 0.0, 19.0))[0, 0]
    assert below == pytest.approx(0.95 * 0.1587 + 0.025 + 0.025 * 0.5, abs=5e-5)
    assert below + above + none == pytest.approx(1.0)


def test_cuts_that_nobody_could_tell_apart_are_one():
    generator = np.random.default_rng(4)
    predicted = generator.uniform(0.0, 1.0, 400)
    group = (predicted * 8).astype(np.intp)
    given = (predicted, np.full(400, 0.02), np.full(400, 1 / 400), group)
    fine = outcome_bins(*given)
    coarse = outcome_bins(*given, same=lambda low, high: high - low < 10.0)
    assert (len(fine), len(coarse)) == (4, 2)
    assert coarse[0].high in [one.high for one in fine]
    assert sum(one.probability for one in coarse) == pytest.approx(1.0)


def test_a_limit_stands_midway_though_a_few_cars_with_a_weak_battery_lie_just_below_it():
    # A coil has its volts or has none; the batteries of the cars spread from 11.5 to 12.9 V.
    predicted = np.concatenate([np.linspace(11.5, 12.9, 88), np.linspace(0.0, 0.4, 12)])
    group = np.array([0] * 88 + [1] * 12)
    test = Measurement("volts", "K1.86", "on", "K1.85", "meter")
    bins = outcome_bins(
        predicted,
        np.full(100, 0.05),
        np.full(100, 0.01),
        group,
        limit=lambda low, high: limit_between(test, low, high),
    )
    assert [one.high for one in bins[:-1]] == [5.0]


def test_what_is_told_as_typical_is_no_finer_than_the_instrument_and_ohms_are_halved_on_their_own_scale():
    volts = Measurement("volts", "K1.86", "on", "K1.85", "meter")
    ohms = Measurement("ohms", "K1.86", "on", "K1.85", "meter")
    assert [as_read(volts, one) for one in (0.00804, -0.0083, 0.0249)] == [0.0, 0.0, 0.02]
    assert unscale(ohms, limit_between(ohms, scale(ohms, 0.9), scale(ohms, math.inf))) == pytest.approx(
        5000.0
    )
    assert limit_between(volts, 0.0332, 0.0332) == 0.02
