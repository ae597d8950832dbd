"""How a gauge lies over time: stuck, drifting, offset, or offset now and then.

A reading tells that a gauge is off; its course tells how. Four models of what it shows are held against each other by
the Bayesian information criterion (Schwarz, Annals of Statistics 6, 1978); the scatter is that of the gauge when sound.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from halfsplit.errors import InputError

Floats = NDArray[np.float64]

FEWEST = 12
STUCK_SHARE = 0.02
"""A stuck gauge scatters by no more than this share of what a sound one does."""
SWITCHES = 0.1
"""Chance from one sample to the next that an offset comes or goes, where it does."""
ROUNDS = 20
STRAY = 0.02


def course_of(seconds: Floats, shown: Floats, since: float) -> dict[str, float]:
    """Probability of each course, likeliest first: stuck, drift, offset, intermittent offset.

    ``seconds``, ``shown`` (N,): the samples of one gauge; ``since``: when it began to lie, of which the samples before
    tell what it shows when sound. Raises InputError for fewer than a dozen samples on either side.
    """
    known = np.isfinite(shown)
    before, after = shown[known & (seconds < since)], shown[known & (seconds >= since)]
    times = seconds[known & (seconds >= since)]
    if min(len(before), len(after)) < FEWEST:
        raise InputError(
            f"{min(len(before), len(after))} samples do not tell how a gauge lies",
            remedy=f"give at least {FEWEST} from before and {FEWEST} from after",
        )
    steps = np.diff(np.unique(np.concatenate([before, after])))
    digit = float(steps.min()) if len(steps) else 1e-9
    sigma = max(float(before.std()), 0.3 * digit)
    off, since_then = after - before.mean(), times - since
    # Standing still, but for a sample here and there from before it stuck.
    moves, still = off - np.median(off), max(STUCK_SHARE * sigma, 1e-12)
    stuck = np.log((1 - STRAY) * _density(moves, still) + STRAY * _density(moves, sigma))
    # Growing from nothing when it began: one slope.
    slope = float(since_then @ off) / max(float(since_then @ since_then), 1e-12)
    scores = {
        "stuck": float(stuck.sum()) - 0.5 * np.log(len(off)),
        "drift": _normal(off - slope * since_then, sigma) - 0.5 * float(np.log(len(off))),
        "offset": _normal(off - off.mean(), sigma) - 0.5 * np.log(len(off)),
        "intermittent offset": _now_and_then(off, sigma),
    }
    best = max(scores.values())
    weights = {name: float(np.exp(score - best)) for name, score in scores.items()}
    total = sum(weights.values())
    likeliest = sorted(weights, key=lambda name: -weights[name] / total)
    return {name: weights[name] / total for name in likeliest}


def _normal(deviations: Floats, sigma: float) -> float:
    """Log-likelihood of deviations with this scatter."""
    return float(np.sum(-0.5 * (deviations / sigma) ** 2 - np.log(sigma * np.sqrt(2 * np.pi))))


def _now_and_then(off: Floats, sigma: float) -> float:
    """Sound or off by one amount, staying as it is from sample to sample: a hidden Markov chain of two states.

    Rabiner, Proceedings of the IEEE 77, 1989 (forward and backward pass; the amount by expectation maximisation).
    """
    amount = float(off[np.abs(off).argmax()])
    score = -np.inf
    for _ in range(ROUNDS):
        density = np.stack([_density(off, sigma), _density(off - amount, sigma)])
        score, share = _two_states(density)
        amount = float(share @ off / max(share.sum(), 1e-12))
    return score - float(np.log(len(off)))


def _density(deviations: Floats, sigma: float) -> Floats:
    return np.asarray(np.exp(-0.5 * (deviations / sigma) ** 2) / (sigma * np.sqrt(2 * np.pi)) + 1e-12)


def _two_states(density: Floats) -> tuple[float, Floats]:
    """Log-likelihood, and chance of the second state at each sample (N,)."""
    move = np.array([[1 - SWITCHES, SWITCHES], [SWITCHES, 1 - SWITCHES]])
    count = density.shape[1]
    forward, scale = np.empty((2, count)), np.empty(count)
    now = np.array([0.5, 0.5])
    for number in range(count):
        now = density[:, number] * (move.T @ now if number else now)
        scale[number] = now.sum()
        now = now / scale[number]
        forward[:, number] = now
    backward = np.ones((2, count))
    for number in range(count - 2, -1, -1):
        backward[:, number] = move @ (density[:, number + 1] * backward[:, number + 1]) / scale[number + 1]
    both = forward * backward
    return float(np.log(scale).sum()), both[1] / both.sum(axis=0)
