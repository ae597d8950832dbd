"""The posterior of a whole job: all hypotheses, the likely ones in full, the rest in a coarse screen.

A vehicle has thousands of hypotheses and sixteen cars are drawn for each. Those that hold 99.9 % by a screen (the named
severities, nominal values) are worked out in full; the others keep the screen's weight. Which are worked out is
a function of the evidence alone, so the posterior is one too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from halfsplit.circuit.faults import SPECIAL
from halfsplit.diagnosis.belief import Belief, WiderBelief
from halfsplit.diagnosis.expected import Context
from halfsplit.diagnosis.fleet import SceneKey
from halfsplit.diagnosis.hypotheses import STRANGE, Hypothesis, column_counts, families, undrawn_families
from halfsplit.diagnosis.measurement import Reading
from halfsplit.diagnosis.pairs import joined_pairs, near_a_fuse
from halfsplit.diagnosis.predictions import Predictions
from halfsplit.diagnosis.priors import Priors, family_priors
from halfsplit.diagnosis.repair_groups import RepairGroups

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

FULL_PARTICLES = 9600
"""Up to so many columns times draws every hypothesis is worked out in full."""
HELD = 0.999
EXPLAINS = 2.5
"""Natural log of the likelihood ratio to a healthy vehicle from which a hypothesis explains something."""
MOST_COLUMNS, MOST_SOLVED = 2400, 4_200_000
"""Columns, and columns × points, that are worked out in full at most: where a reading fits hardly anything, hundreds of
places hold a little each, and the screen's weight does for those that are left."""
ADDED_COLUMNS = 5
"""Columns of what is added to the single faults, about."""
ROUNDS = 3
"""Times that what the screen holds for far likelier is worked out too."""
FAR = 7.0
"""Natural logarithm of how much likelier that is: a thousand times."""
LARGE_POOL = 120
"""Hypotheses that may be carried along before it pays to solve anew without them."""
JOINED = 24
"""What of pairs is worked out in full, and of undrawn faults: neither crowds the other out."""
DOUBTED = 0.04
"""Share of 'not in this model' from which what the drawing does not show is gone through."""
TOUCHED_TOO = 0.5
"""How likely a drawn fault with something beside it is that is not drawn, by that on a healthy vehicle."""


@dataclass(frozen=True, eq=False)
class Posterior:
    """What is believed after the readings.

    ``weights`` (C, D) of the hypotheses worked out in full, adding up to 1 - ``rest``; ``probability`` of
    each repair group of all hypotheses by name, likeliest first; ``shares`` (H,) of all that are ``known``;
    ``group_of`` those worked out in full; ``evidence``: log probability of the readings.
    """

    belief: Belief
    weights: Floats
    probability: Mapping[str, float]
    known: tuple[Hypothesis, ...]
    shares: Floats
    group_of: Mapping[str, str]
    leaders: Mapping[str, Hypothesis]
    rest: float
    evidence: float

    @property
    def hypotheses(self) -> tuple[Hypothesis, ...]:
        """What is worked out in full."""
        return self.belief.hypotheses

    @cached_property
    def by_hypothesis(self) -> Mapping[str, float]:
        """Probability of each hypothesis by name."""
        names = (hypothesis.name for hypothesis in self.known)
        return dict(zip(names, self.shares.tolist(), strict=True))

    @cached_property
    def groups(self) -> tuple[list[str], Ints]:
        """Names of the groups worked out in full, and the group of each column (C,)."""
        named = [self.group_of[hypothesis.name] for hypothesis in self.hypotheses]
        names = list(dict.fromkeys(named))
        index = {name: number for number, name in enumerate(names)}
        of_hypothesis = np.array([index[name] for name in named], dtype=np.intp)
        return names, of_hypothesis[self.belief.columns.hypothesis]

    def of_group(self, name: str) -> NDArray[np.bool_]:
        """Whether each column is one of a repair group (C,); none is of a group that was not worked out in full."""
        names, group = self.groups
        return np.asarray(group == (names.index(name) if name in names else -1))

    @property
    def leading(self) -> tuple[str, float]:
        """The likeliest repair group and its probability."""
        return next(iter(self.probability.items()))

    @cached_property
    def severities(self) -> Mapping[str, float | None]:
        """Geometric mean of the severity of each hypothesis worked out in full, by name; None where it has none."""
        columns = self.belief.columns
        weights = self.weights.sum(axis=1)
        known = np.isfinite(columns.severity)
        logs = np.log(columns.severity, where=known, out=np.zeros(len(weights)))
        count = len(self.hypotheses)
        total = np.bincount(columns.hypothesis, weights=weights, minlength=count)
        mean = np.bincount(columns.hypothesis, weights=weights * logs, minlength=count)
        without = np.bincount(columns.hypothesis, weights=~known, minlength=count)
        return {
            hypothesis.name: float(np.exp(mean[place] / total[place]))
            if total[place] > 0 and not without[place]
            else None
            for place, hypothesis in enumerate(self.hypotheses)
        }


class Inference:
    """Posteriors of one circuit, with everything kept that can be used again."""

    def __init__(
        self, predictions: Predictions, priors: Priors, touched: Mapping[str, float], *, intermittent: bool
    ) -> None:
        circuit = predictions.circuit
        self.predictions, self.circuit = predictions, circuit
        self.priors, self.intermittent = priors, intermittent
        members = families(circuit.faults)
        first = [family[0] for family in members]
        weights = family_priors(first, circuit.model, priors, touched, intermittent=intermittent)
        self.single = tuple(Hypothesis(family, prior) for family, prior in zip(members, weights, strict=True))
        # Pairs and what the drawing does not show are added at the end, where evidence asks for them.
        self.hypotheses = list(self.single)
        self._number = {hypothesis.name: number for number, hypothesis in enumerate(self.hypotheses)}
        self._groups = RepairGroups.of_single(self.single)
        self._nothing, self._unknown = (self._number[name] for name in SPECIAL)
        self.nothing = self.single[self._nothing]
        self._pool: Belief | None = None
        self._wider: tuple[Belief | None, tuple[int, ...], Belief | None] = None, (), None
        self._columns = column_counts(self.single)
        self._most = min(MOST_COLUMNS, MOST_SOLVED // max(1, circuit.network.size))
        self.small = int(self._columns.sum()) * len(predictions.draws) <= FULL_PARTICLES

    @cached_property
    def undrawn(self) -> tuple[Hypothesis, ...]:
        """What the drawing does not show."""
        return tuple(undrawn_families(self.circuit.undrawn, self.priors.special["undrawn"]))

    @cached_property
    def _screen(self) -> Belief:
        """The screen of all single faults."""
        return self._belief(self.single, coarse=True)

    def _belief(self, hypotheses: Sequence[Hypothesis], *, coarse: bool = False) -> Belief:
        predictor = self.predictions.of(hypotheses, coarse=coarse)
        context = Context(predictor, self.priors, self.intermittent, predictor.whole)
        return Belief(context, tuple(hypotheses))

    def prepare(self, state: str) -> None:
        """Solve the state for all hypotheses that a first reading in it is held against."""
        belief = self._full(frozenset(range(len(self.single)))) if self.small else self._screen
        predictor, key = belief.context.predictor, SceneKey(state)
        predictor.scene(key, predictor.memory({key}))

    def prepare_doubt(self, readings: Sequence[Reading]) -> None:
        """Solve what the drawing does not show for what was read so far."""
        self._not_drawn.log_weights(_in_order(readings))

    @cached_property
    def _not_drawn(self) -> Belief:
        return self._belief([self.nothing, *self.undrawn], coarse=True)

    def posterior(self, readings: Sequence[Reading]) -> Posterior:
        """The posterior given the readings that are not struck out."""
        live = _in_order(readings)
        total, chosen = self._screened(live)
        total, chosen, belief, log = self._worked_out(live, total, chosen)
        more = self._more(live, total, belief, log) if live else {}
        if more:
            total = np.append(total, np.full(len(self.hypotheses) - len(total), -np.inf))
            for number, weight in more.items():
                total[number] = weight
            total, chosen, belief, log = self._worked_out(live, total, chosen | frozenset(more))
        total[self._unknown] = np.logaddexp(total[self._unknown], self._beside_a_fault(live, belief, log))
        return self._told(total, belief, log)

    def _told(self, total: Floats, belief: Belief, log: Floats) -> Posterior:
        # In an order that what was asked before does not change: sums come out the same to the last digit.
        added = [number for number in range(len(self.single), len(total)) if np.isfinite(total[number])]
        added.sort(key=lambda number: self.hypotheses[number].name)
        places = [*range(len(self.single)), *added]
        known = tuple(self.hypotheses[number] for number in places)
        weighed = total[places]
        norm = float(logsumexp(weighed))
        shares, weights = np.exp(weighed - norm), np.exp(log - norm)
        groups = self._groups.with_more(known, shares) if added else self._groups
        # A pool may hold what was added for other evidence and has no share in this.
        place = {number: place for place, number in enumerate(places)}
        in_pool = [(hypothesis, place.get(self._number[hypothesis.name])) for hypothesis in belief.hypotheses]
        group_of = {
            hypothesis.name: hypothesis.group if at is None else groups.names[groups.of[at]]
            for hypothesis, at in in_pool
        }
        probability, leaders = groups.shares(shares), groups.leaders(known, shares)
        rest = max(0.0, 1.0 - float(weights.sum()))
        return Posterior(belief, weights, probability, known, shares, group_of, leaders, rest, norm)

    def _worked_out(
        self, live: Sequence[Reading], total: Floats, chosen: frozenset[int]
    ) -> tuple[Floats, frozenset[int], Belief, Floats]:
        """The log weights with the chosen worked out in full, and what the screen overlooked with them.

        Returns the log weight of every hypothesis, which were worked out, their belief and particles (C, D).
        """
        total = total.copy()
        for _ in range(ROUNDS):
            belief = self._full(chosen)
            log = belief.log_weights(live)
            kept = np.array([self._number[hypothesis.name] in chosen for hypothesis in belief.hypotheses])
            log = np.where(kept[belief.columns.hypothesis][:, None], log, -np.inf)
            worked_out = _per_hypothesis(belief, log)
            for place, hypothesis in enumerate(belief.hypotheses):
                if kept[place]:
                    total[self._number[hypothesis.name]] = worked_out[place]
            missing = _overlooked(total, chosen, self._columns, self._most)
            if not missing:
                break
            chosen |= missing
        return total, chosen, belief, log

    def _more(self, live: Sequence[Reading], total: Floats, belief: Belief, log: Floats) -> dict[int, float]:
        """Pairs and undrawn faults that the evidence asks for, with their log weights by the screen.

        Where a leader leaves something unexplained, what explains the rest is joined to it.
        """
        broad = belief if self.small else self._screen
        share = float(np.exp(total[self._unknown] - logsumexp(total)))
        pairs = joined_pairs(live, belief, log, broad, self.priors.special["pairs"])
        # Until something is measured, nothing speaks against the drawing.
        measured = any(reading.measurement.instrument for reading in live)
        doubted = measured and (bool(pairs) or share >= DOUBTED)
        if not pairs and not doubted:
            return {}
        delicate = near_a_fuse(broad)
        of_more_cars = [pair for pair in pairs if any(member.name in delicate for member in pair.members)]
        others = [pair for pair in pairs if pair not in of_more_cars]
        asked = [self._not_drawn] if doubted else []
        asked += [self._belief([self.nothing, *others], coarse=True)] if others else []
        asked += [self._belief([self.nothing, *of_more_cars])] if of_more_cars else []
        weighed: dict[Hypothesis, float] = {}
        for belief_asked in asked:
            weights = _per_hypothesis(belief_asked, belief_asked.log_weights(live))
            weighed |= dict(zip(belief_asked.hypotheses[1:], weights[1:].tolist(), strict=True))
        # Pairs are held against pairs: the one car of the screen fits no reading as well as the best of sixteen.
        best = max(weighed.values()) if pairs else max(*weighed.values(), float(total.max()))
        likely = sorted(
            (hypothesis for hypothesis in weighed if weighed[hypothesis] > best - FAR),
            key=lambda hypothesis: -weighed[hypothesis],
        )
        joined = [hypothesis for hypothesis in likely if hypothesis.members]
        outside = [hypothesis for hypothesis in likely if not hypothesis.members]
        more = (*joined[:JOINED], *outside[:JOINED])
        for hypothesis in more:
            if self._number.setdefault(hypothesis.name, len(self.hypotheses)) == len(self.hypotheses):
                self.hypotheses.append(hypothesis)
        return {self._number[hypothesis.name]: weighed[hypothesis] for hypothesis in more}

    def _beside_a_fault(self, live: Sequence[Reading], belief: Belief, log: Floats) -> float:
        """Log weight of a fault of the lists with something beside it that no list has."""
        listed = np.array([each.name not in SPECIAL and not each.members for each in belief.hypotheses])
        rows = listed[belief.columns.hypothesis] & np.isfinite(log[:, 0])
        if not rows.any():
            return -np.inf
        prior = np.log(belief.prior[rows])[:, None] - np.log(log.shape[1])
        each = [logsumexp(prior + belief.strangeness(live, share)[rows]) for share in STRANGE[:2]]
        prior = self.single[self._unknown].prior
        return float(logsumexp(each) - np.log(len(each)) + np.log(TOUCHED_TOO * prior))

    def _screened(self, live: Sequence[Reading]) -> tuple[Floats, frozenset[int]]:
        """Log weight of every single fault by the screen, and which of them are to be worked out in full.

        Those that explain more than a healthy vehicle does and hold 99.9 % of what such hold by the screen, the special
        ones always. The thousands that have nothing to do with the complaint stay in the screen.
        """
        if self.small:
            return np.full(len(self.single), -np.inf), frozenset(range(len(self.single)))
        special = [self._nothing, self._unknown]
        screened = _per_hypothesis(self._screen, self._screen.log_weights(live))
        with np.errstate(divide="ignore"):
            likelihood = screened - np.log([hypothesis.prior for hypothesis in self.single])
        explains = likelihood > likelihood[self._nothing] + EXPLAINS
        # 'Not in this model' explains anything: what leads of the drawn faults is worked out beside it, also for pairs.
        explains[special] = False
        if not explains.any():
            explains[:] = True
        shares = np.where(explains, np.exp(screened - screened[explains].max()), 0.0)
        # What blows its fuse in the nominal car by a little does not in others.
        delicate = [self._number[name] for name in near_a_fuse(self._screen)]
        held = _holding(shares, self._columns, self._most).tolist()
        return screened, frozenset([*held, *special, *delicate])

    def _full(self, chosen: frozenset[int]) -> Belief:
        """The belief over at least these hypotheses.

        A pool of single faults that has all of them serves until it is far too large; what was added comes behind it.
        """
        single = frozenset(number for number in chosen if number < len(self.single))
        pool = {self._number[each.name] for each in self._pool.hypotheses} if self._pool else set()
        if self._pool is None or not single <= pool or len(pool) > 3 * len(single) + LARGE_POOL:
            self._pool = self._belief([self.hypotheses[number] for number in sorted(single)])
        added = tuple(sorted(chosen - single))
        if not added:
            return self._pool
        base, numbers, wider = self._wider
        if wider is None or base is not self._pool or numbers != added:
            more = self._belief([self.nothing, *(self.hypotheses[number] for number in added)])
            wider = WiderBelief(self._pool, more)
            self._wider = self._pool, added, wider
        return wider


def _in_order(readings: Sequence[Reading]) -> list[Reading]:
    """The readings that are not struck out, as they were made."""
    return sorted((reading for reading in readings if reading.struck is None), key=lambda reading: reading.id)


def _overlooked(total: Floats, chosen: frozenset[int], columns: Ints, most: int) -> frozenset[int]:
    """What the screen alone takes for far likelier than all that was worked out, so that it is worked out too."""
    others = np.array([number for number in range(len(total)) if number not in chosen], dtype=np.intp)
    if not len(others) or logsumexp(total[sorted(chosen)]) + FAR >= logsumexp(total[others]):
        return frozenset()
    shares = np.exp(total[others] - total[others].max())
    widths = np.append(columns, np.full(len(total) - len(columns), ADDED_COLUMNS))
    return frozenset(others[_holding(shares, widths[others], most)].tolist())


def _per_hypothesis(belief: Belief, log: Floats) -> Floats:
    """Log of the sum of weights (C, D) that each hypothesis has (H,)."""
    number, best = belief.columns.hypothesis, belief.columns.highest(log.max(axis=1))
    safe = np.where(np.isfinite(best), best, 0.0)
    weights = np.exp(log - safe[number][:, None]).sum(axis=1)
    sums = np.bincount(number, weights=weights, minlength=len(best))
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(sums) + safe)


def _holding(shares: Floats, columns: Ints, most: int) -> Ints:
    """Places of the largest that hold 99.9 % together, the largest first; one at least, of not too many columns."""
    order = np.argsort(-shares, kind="stable")
    count = int(np.searchsorted(np.cumsum(shares[order]), HELD * shares.sum())) + 1
    room = int(np.searchsorted(np.cumsum(columns[order]), most, side="right"))
    return np.asarray(order[: max(1, min(count, room))])
