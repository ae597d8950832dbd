"""What a reading tells: against quadrature, channels of the textbook, and laws of information."""

from itertools import pairwise
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from halfsplit.diagnosis.information import (
    EXACT,
    SCREENING,
    Slips,
    entropy,
    information,
    mixture,
    mutual_information,
    outcome_information,
)

NONE = Slips(share=0.0)
TWO = np.array([0, 1])


def bits_by_quadrature(means, sigmas, shares, slip):
    """Return the information of a reading about which of two normals it came from, by scipy's quadrature."""

    def density(x, number):
        spoilt = 0.5 * NormalDist(0.0, min(sigmas)).pdf(x) + 0.5 * (0 <= x <= 15) / 15
        return (1 - slip) * NormalDist(means[number], sigmas[number]).pdf(x) + slip * spoilt

    def integrand(x):
        joint = [share * density(x, number) for number, share in enumerate(shares)]
        both = sum(joint)
        return sum(p * np.log2(p / (both * share)) for p, share in zip(joint, shares, strict=True) if p > 0)

    spread = [m + z * s for m, s in zip(means, sigmas, strict=True) for z in (-9, -4, -1, 0, 1, 4, 9)]
    points = sorted({*spread, 0.0, 15.0, -5 * min(sigmas), 5 * min(sigmas)})
    return sum(quad(integrand, a, b, limit=200)[0] for a, b in pairwise(points))


CASES = [
    ((0.0, 1.0), (1.0, 1.0), (0.5, 0.5), 0.0),
    ((12.0, 11.8), (0.08, 0.08), (0.3, 0.7), 0.0),
    ((0.05, 0.0), (0.02, 0.02), (0.1, 0.9), 0.0),
    ((12.0, 11.8), (0.08, 1.0), (0.3, 0.7), 0.02),
    ((12.3, 0.0), (0.08, 0.02), (0.3, 0.7), 0.02),
    ((0.4, 0.5), (0.02, 0.3), (0.5, 0.5), 0.02),
]


@pytest.mark.parametrize(("means", "sigmas", "shares", "slip"), CASES)
def test_two_normals_against_quadrature(means, sigmas, shares, slip):
    arrays = (np.array([means]), np.array([sigmas]), np.array(shares), TWO)
    expected = bits_by_quadrature(means, sigmas, shares, slip)
    exact = information(*arrays, slips=Slips(slip), precision=EXACT)[0]
    assert exact == pytest.approx(expected, abs=0.0025)
    assert information(*arrays, slips=Slips(slip), precision=SCREENING)[0] == pytest.approx(
        expected, abs=0.12
    )


def test_a_group_of_several_particles_against_quadrature():
    """Good (12.2 V or 12.5 V by the battery's state) against a joint that drops more or less."""
    predicted, sigma = np.array([[12.2, 12.5, 11.0, 11.9]]), np.array([[0.08, 0.08, 0.5, 0.3]])
    weights, group = np.array([0.4, 0.2, 0.3, 0.1]), np.array([0, 0, 1, 1])

    def joint(x, number):
        return sum(
            w * NormalDist(m, s).pdf(x)
            for w, m, s, g in zip(weights, predicted[0], sigma[0], group, strict=True)
            if g == number
        )

    def integrand(x):
        parts = joint(x, 0), joint(x, 1)
        shares = (0.6, 0.4)
        return sum(p * np.log2(p / (sum(parts) * q)) for p, q in zip(parts, shares, strict=True) if p > 0)

    expected = quad(integrand, 8.0, 14.0, points=[11, 11.9, 12.2, 12.5], limit=400)[0]
    got = information(predicted, sigma, weights, group, slips=NONE, precision=EXACT)
    assert got[0] == pytest.approx(expected, abs=0.002)


def test_certain_separation_tells_the_whole_group():
    predicted = np.array([[0.0, 4.0, 8.0, 12.0]])
    shares = np.array([0.1, 0.2, 0.3, 0.4])
    got = information(predicted, np.full((1, 4), 0.02), shares, np.arange(4), slips=NONE, precision=EXACT)
    assert got[0] == pytest.approx(entropy(shares), abs=1e-4)


def test_symmetric_channel():
    """Cover & Thomas, section 7.1.4: 1 - H(p) bits, with even inputs."""
    likelihood = np.array([[[0.9, 0.1], [0.1, 0.9]]])
    got = outcome_information(likelihood, np.array([0.5, 0.5]), TWO)
    assert got[0] == pytest.approx(1 - entropy(np.array([0.1, 0.9])), abs=1e-12)


def test_erasure_channel():
    """Cover & Thomas, section 7.1.5: 1 - alpha bits, with even inputs."""
    likelihood = np.array([[[0.7, 0.0, 0.3], [0.0, 0.7, 0.3]]])
    assert outcome_information(likelihood, np.array([0.5, 0.5]), TWO)[0] == pytest.approx(0.7, abs=1e-12)


def test_every_test_has_its_own_range_and_knee():
    """Scaling the reading, its error, the knee and the range of slips alike changes nothing: ohms as volts."""
    rng = np.random.default_rng(1)
    predicted, sigma = rng.uniform(0, 12, (1, 40)), rng.uniform(0.05, 0.4, (1, 40))
    weights, group = rng.dirichlet(np.ones(40)), rng.integers(0, 5, 40)
    scales = np.array([[1.0], [1e5], [1e-3]])
    slips = Slips(0.02, np.zeros(3), 15 * scales[:, 0])
    got = information(
        predicted * scales,
        sigma * scales,
        weights,
        group,
        slips=slips,
        knee=4 * scales[:, 0],
        precision=EXACT,
    )
    assert got == pytest.approx(np.full(3, got[0]), abs=1e-9)


@st.composite
def particles(draw):
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    tests, number, groups = draw(st.integers(1, 10)), draw(st.integers(2, 60)), draw(st.integers(1, 6))
    predicted = rng.choice([0.0, 12.3, 5.0, -2.0], (tests, number)) + rng.normal(0, 0.5, (tests, number))
    sigma = rng.choice([1e-6, 0.02, 0.5, 3.0], (tests, number))
    return predicted, sigma, rng.dirichlet(np.ones(number)), rng.integers(0, groups, number)


@given(particles(), st.sampled_from([SCREENING, EXACT]))
def test_bits_lie_between_zero_and_the_doubt(arrays, precision):
    *_, weights, group = arrays
    bits = information(*arrays, precision=precision)
    assert np.all(bits >= 0)
    assert np.all(bits <= entropy(np.bincount(group, weights=weights)) + 1e-9)


@given(particles())
def test_names_of_groups_and_order_of_particles_do_not_matter(arrays):
    predicted, sigma, weights, group = arrays
    rng = np.random.default_rng(0)
    renamed = rng.permutation(group.max() + 1)[group]
    order = rng.permutation(len(weights))
    bits = information(*arrays, precision=EXACT)
    shuffled = information(
        predicted[:, order], sigma[:, order], weights[order], renamed[order], precision=EXACT
    )
    assert shuffled == pytest.approx(bits, abs=1e-9)


@given(particles())
def test_the_mixture_is_a_distribution_with_the_groups_as_its_margin(arrays):
    *_, weights, group = arrays
    joint = mixture(*arrays).joint
    margins = np.bincount(group, weights=weights)
    assert joint.sum(axis=-1) == pytest.approx(np.tile(margins, (len(joint), 1)), abs=1e-9)


@given(particles())
def test_slips_never_tell_more(arrays):
    clean = information(*arrays, slips=NONE, precision=EXACT)
    assert np.all(information(*arrays, slips=Slips(0.2), precision=EXACT) <= clean + 1e-9)


def test_merging_groups_never_tells_more():
    rng = np.random.default_rng(3)
    joint = rng.dirichlet(np.ones(60)).reshape(6, 10)
    merged = joint.reshape(3, 2, 10).sum(axis=1)
    assert mutual_information(merged) <= mutual_information(joint)


def test_single_precision_serves():
    rng = np.random.default_rng(4)
    predicted = rng.choice([0.0, 12.3], (20, 500)) * rng.uniform(0.8, 1, (20, 500))
    sigma, weights, group = 0.02 + 0.005 * predicted, rng.dirichlet(np.ones(500)), rng.integers(0, 9, 500)
    double = information(predicted, sigma, weights, group)
    single = information(
        predicted.astype(np.float32), sigma.astype(np.float32), weights.astype(np.float32), group
    )
    assert single == pytest.approx(double, abs=2e-4)


def test_whole_numbers_are_taken_as_readings():
    whole = information(np.array([[0, 12]]), np.array([[1, 1]]), np.array([0.5, 0.5]), TWO)
    real = information(np.array([[0.0, 12.0]]), np.array([[1.0, 1.0]]), np.array([0.5, 0.5]), TWO)
    assert whole == pytest.approx(real)
    assert real[0] > 0.9
