"""The next test: candidates, what each would tell, what it costs, and what each result would mean."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from halfsplit.circuit.interventions import Intervention
from halfsplit.diagnosis import proof
from halfsplit.diagnosis.candidates import candidates, short_tests
from halfsplit.diagnosis.choose import Candidates, rank_tests
from halfsplit.diagnosis.cost import cautions, own_minutes, places, reach_minutes
from halfsplit.diagnosis.evidence import LEAD_OHMS, forecast, unscale
from halfsplit.diagnosis.expected import SLIP, Forecast, Numeric, Worded
from halfsplit.diagnosis.information import Slips
from halfsplit.diagnosis.measurement import NUMERIC, Measurement
from halfsplit.diagnosis.outcomes import outcome_bins
from halfsplit.diagnosis.shortlist import shortlist
from halfsplit.diagnosis.situation import Situation
from halfsplit.diagnosis.suspects import odd_reading
from halfsplit.diagnosis.words import reading_words, sentence

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

STATES = 4
FEW_NODES = 400
"""Up to here tests are looked for in other states than that of the complaint as well."""
CLOSING_IN = 8
"""Interventions and ohms are weighed once so few suspects hold most of the probability: each asks for a solution of
its own."""
CLOSE_SHARE = 0.8
WORTH_ASKING = 0.02
"""Bits below which a test tells nothing worth the walk."""
REPEATS = 2
"""A number may be read again after a slip; what was seen is seen."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one result would mean.

    ``low`` and ``high`` in SI (infinite at the ends), or ``word``; ``typical`` is shown. ``leaves``: the repair groups
    that would lead then, with their probabilities.
    """

    probability: float
    leaves: tuple[tuple[str, float], ...]
    word: str = ""
    low: float = float("nan")
    high: float = float("nan")
    typical: float = float("nan")
    text: str = ""


@dataclass(frozen=True, slots=True)
class Test:
    """A proposed test.

    ``bits``: what it tells about the repair on average; ``minutes``: what it costs now; ``expected_minutes``: estimate
    until the cause is found if it comes next.
    """

    measurement: Measurement
    minutes: float
    bits: float
    expected_minutes: float
    outcomes: tuple[Outcome, ...]
    cautions: tuple[str, ...]
    sentence: str
    purpose: str = "tell"
    places: tuple[str, ...] = ()
    opens: tuple[str, ...] = field(default=())

    @property
    def state(self) -> str:
        return self.measurement.state

    @property
    def quantity(self) -> str:
        return self.measurement.quantity

    @property
    def at(self) -> str:
        return self.measurement.at

    @property
    def to(self) -> str | None:
        return self.measurement.to

    @property
    def instrument(self) -> str | None:
        return self.measurement.instrument

    @property
    def changes(self) -> tuple[Intervention, ...]:
        return self.measurement.changes


def propose(
    situation: Situation, limit: int, found_at: float, *, only: Measurement | None = None
) -> tuple[Test, ...]:
    """The tests worth their minutes, best first."""
    if only is not None:
        return _ranked(situation, [only], 1, found_at) or (describe(situation, only),)
    first: list[Test] = []
    odd = odd_reading(situation)
    if odd is not None:
        first.append(replace(describe(situation, odd.measurement), purpose="repeat"))
    lacking = proof.missing_tests(situation, found_at)
    first += [
        replace(describe(situation, one), purpose="prove") for one in lacking if one not in situation.refused
    ]
    if len(first) >= limit and (odd is None or lacking):
        return tuple(first[:limit])
    ranked = _ranked(situation, _waiting(situation), limit - len(first), found_at)
    if not first and (not ranked or ranked[0].bits < WORTH_ASKING):
        # Nothing tells the leader from its rivals any more: what would prove it is the best that is left.
        lacking = proof.missing_tests(situation, 0.0)
        first = [replace(describe(situation, one), purpose="prove") for one in lacking]
    return (*first, *ranked)[:limit]


def _waiting(situation: Situation) -> list[Measurement]:
    """The tests that could be made but those refused, and those made as often as making them again could tell."""
    made = Counter(reading.measurement for reading in situation.live)
    return [
        one
        for one in _candidates(situation)
        if one not in situation.refused and made[one] < (REPEATS if one.quantity in NUMERIC else 1)
    ]


def _candidates(situation: Situation) -> list[Measurement]:
    circuit = situation.circuit
    complaints = situation.complaints
    states = list(
        dict.fromkeys(
            [reading.measurement.state for reading in complaints]
            or [reading.measurement.state for reading in situation.live]
        )
    )
    others = [state for state in circuit.states if state not in states]
    states = (states + (others if circuit.network.size <= FEW_NODES else []))[:STATES] or list(
        circuit.states
    )[:1]
    leading = situation.likeliest()
    shares = list(situation.posterior.probability.values())
    close = sum(shares[:CLOSING_IN]) >= CLOSE_SHARE
    loads = list(dict.fromkeys(reading.measurement.at for reading in complaints))
    found = candidates(
        circuit,
        situation.instruments,
        states,
        leading if close else [],
        loads,
        intermittent=situation.intermittent,
    )
    if not close:
        found += candidates(circuit, (), states[:1], leading, [], intermittent=False)
    for reading in situation.live:
        if reading.measurement.quantity == "blown" and reading.value == "yes":
            found += short_tests(circuit, states[0], reading.measurement.at)
    return list(dict.fromkeys(found))


def candidates_for(situation: Situation) -> list[Measurement]:
    """The tests that could be made now and are worth a closer look."""
    chosen, weights, *_ = situation.particles()
    return shortlist(situation, _waiting(situation), chosen, weights)


def _ranked(
    situation: Situation, wanted: Sequence[Measurement], limit: int, found_at: float
) -> tuple[Test, ...]:
    if limit <= 0 or not wanted:
        return ()
    chosen, weights, group, names = situation.particles()
    wanted = shortlist(situation, wanted, chosen, weights)
    forecasts = [forecast(one, situation.context) for one in wanted]
    numeric = {number: one for number, one in enumerate(forecasts) if isinstance(one, Numeric)}
    worded = {number: one for number, one in enumerate(forecasts) if isinstance(one, Worded)}
    order = [*numeric, *worded]
    table = _Minutes(situation, [wanted[number] for number in order])
    options = _options(list(numeric.values()), list(worded.values()), chosen, table.now)
    ranked = rank_tests(options, weights, group, minutes_after=table.after, stop_at=found_at)[:limit]
    return tuple(
        _test(
            situation,
            wanted[order[one.test]],
            forecasts[order[one.test]],
            one.bits,
            one.minutes,
            one.expected_minutes,
            (chosen, weights, group, names),
        )
        for one in ranked
    )


def _options(numeric: list[Numeric], worded: list[Worded], chosen: Ints, minutes: Floats) -> Candidates:
    predicted = np.empty((len(numeric), len(chosen)), dtype=np.float32)
    sigma = np.empty_like(predicted)
    low, high = np.empty(len(numeric)), np.empty(len(numeric))
    for row, one in enumerate(numeric):
        value, width = one.value.copy(), one.sigma.copy()
        value[one.unknown], width[one.unknown] = 0.5 * (one.low + one.high), 0.29 * (one.high - one.low)
        predicted[row], sigma[row] = value.ravel()[chosen], width.ravel()[chosen]
        low[row], high[row] = one.low, one.high
    widest = max((len(one.words) for one in worded), default=1)
    likelihood = np.zeros((len(worded), len(chosen), widest))
    for row, told in enumerate(worded):
        for column, word in enumerate(told.words):
            likelihood[row, :, column] = told.likelihood(word).ravel()[chosen]
    slips = Slips(SLIP, low, high) if len(numeric) else Slips(SLIP)
    return Candidates(minutes, predicted, sigma, likelihood, slips=slips)


class _Minutes:
    """Minutes of each test now, and after another has been made and its places are open."""

    def __init__(self, situation: Situation, tests: Sequence[Measurement]) -> None:
        model = situation.circuit.model
        self.tests = tests
        self.closed = [frozenset(places(one, model)) - situation.opened for one in tests]
        self.reach = {key: reach_minutes(key, model) for closed in self.closed for key in closed}
        self.model = model
        own = np.array([own_minutes(one, model, situation.state) for one in tests])
        self.now = own + np.array([sum(self.reach[key] for key in closed) for closed in self.closed])
        self._own: dict[str, Floats] = {}

    def after(self, test: int) -> Floats:
        """Minutes of each test once this one has been made."""
        state, opened = self.tests[test].state, self.closed[test]
        if state not in self._own:
            self._own[state] = np.array([own_minutes(one, self.model, state) for one in self.tests])
        reach = [sum(self.reach[key] for key in closed if key not in opened) for closed in self.closed]
        return np.asarray(self._own[state] + np.array(reach))


def describe(situation: Situation, measurement: Measurement) -> Test:
    """A test that is asked for, whatever its worth."""
    found = _ranked(situation, [measurement], 1, 0.95)
    if found:
        return found[0]
    minutes = float(_Minutes(situation, [measurement]).now[0])
    particles = situation.particles()
    return _test(
        situation,
        measurement,
        forecast(measurement, situation.context),
        0.0,
        minutes,
        float("inf"),
        particles,
    )


def _test(
    situation: Situation,
    measurement: Measurement,
    expected: Forecast,
    bits: float,
    minutes: float,
    until: float,
    particles: tuple[Ints, Floats, Ints, list[str]],
) -> Test:
    model = situation.circuit.model
    needed = places(measurement, model)
    return Test(
        measurement,
        float(minutes),
        float(bits),
        float(until),
        _outcomes(measurement, expected, particles),
        cautions(measurement, model),
        sentence(
            measurement,
            situation.circuit,
            again=any(reading.measurement == measurement for reading in situation.live),
        ),
        "tell",
        needed,
        tuple(key for key in needed if key not in situation.opened),
    )


def _outcomes(
    measurement: Measurement, expected: Forecast, particles: tuple[Ints, Floats, Ints, list[str]]
) -> tuple[Outcome, ...]:
    chosen, weights, group, names = particles
    if isinstance(expected, Worded):
        return _worded_outcomes(expected, chosen, weights, group, names)
    low, high = expected.low, expected.high
    value, sigma = expected.value.copy(), expected.sigma.copy()
    value[expected.unknown], sigma[expected.unknown] = 0.5 * (low + high), 0.29 * (high - low)
    bins = outcome_bins(
        value.ravel()[chosen],
        sigma.ravel()[chosen],
        weights,
        group,
        slips=Slips(SLIP, low, high),
        same=partial(_same, measurement),
    )
    told = []
    for one in bins:
        ends = [unscale(measurement, end) if np.isfinite(end) else end for end in (one.low, one.high)]
        typical = unscale(measurement, one.typical)
        told.append(
            Outcome(
                one.probability,
                _leaders(one.posterior, names),
                "",
                ends[0],
                ends[1],
                typical,
                "about " + reading_words(measurement, typical),
            )
        )
    return tuple(told)


TOLD_APART = {"ohms": 2 * LEAD_OHMS, "volts": 0.04, "amps": 0.05}
"""Readings closer than this are one and the same to whoever reads them (twice the floor of the instrument)."""


def _same(measurement: Measurement, low: float, high: float) -> bool:
    least = TOLD_APART.get(measurement.quantity, 0.0)
    return unscale(measurement, high) - unscale(measurement, low) <= least


def _worded_outcomes(
    expected: Worded, chosen: Ints, weights: Floats, group: Ints, names: list[str]
) -> tuple[Outcome, ...]:
    told = []
    for word in expected.words:
        joint = weights * expected.likelihood(word).ravel()[chosen]
        total = float(joint.sum())
        if total > 1e-4:
            shares = np.bincount(group, weights=joint, minlength=len(names)) / total
            told.append(Outcome(total, _leaders(shares, names), word, text=word))
    return tuple(told)


def _leaders(shares: Floats, names: list[str]) -> tuple[tuple[str, float], ...]:
    order = np.argsort(-np.asarray(shares), kind="stable")[:4]
    return tuple((names[number], float(shares[number])) for number in order if shares[number] >= 0.02)
