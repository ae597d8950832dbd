"""The next test: candidates, what each would tell, what it costs, and what each result would mean."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from halfsplit.circuit.interventions import Intervention
from halfsplit.circuit.model import BODY
from halfsplit.diagnosis import proof
from halfsplit.diagnosis.choose import Candidates, rank_tests
from halfsplit.diagnosis.cost import FURTHER_MINUTES, Minutes, cautions, places
from halfsplit.diagnosis.doubt import beyond_the_drawing, stands
from halfsplit.diagnosis.evidence import forecast, unscale
from halfsplit.diagnosis.expected import SLIP, NumericAt, WordedAt
from halfsplit.diagnosis.information import EXACT, Slips
from halfsplit.diagnosis.limits import as_read, limit_between, same_reading
from halfsplit.diagnosis.measurement import NUMERIC, Measurement, Reading
from halfsplit.diagnosis.outcomes import outcome_bins
from halfsplit.diagnosis.proof_value import HALF, proofs_ahead
from halfsplit.diagnosis.requirement import WORD_OF
from halfsplit.diagnosis.shortlist import shortlist, solve_scenes
from halfsplit.diagnosis.situation import Situation
from halfsplit.diagnosis.suspects import decisive_reading
from halfsplit.diagnosis.waiting import waiting
from halfsplit.diagnosis.words import reading_words, sentence
from halfsplit.quantities import FREE_MINUTES

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

WORTH_ASKING = 0.02
"""Bits below which a test tells nothing worth the walk."""
WORTH_A_MINUTE = 0.001
"""Bits a minute below which nobody would make a test: two and a half hours at a dashboard for a seventh of a bit."""
WORTH_REPEATING = 0.2
"""The same of a test that was made already, while the fault may have been away."""
NOTHING = 1e-4
"""Bits that single precision may make of a test that tells nothing."""
SLOWER = 0.01
"""Share of the best bits a minute below which nobody would make a test first, whatever it opens."""
LEADING = 0.5
"""Probability of a suspect from which a letter of its proof is worth asking for, whatever it tells."""
GOOD = ("yes", "weak")
"""What a load that comes back does: a motor may be weak for reasons of its own."""
AS_NEAR = 1.0
"""Minutes by which a direct reading may cost more than making again the one that a cause hangs on."""
MOST_READINGS = 5
"""Times that one reading is made at most where its values disagree."""
ENTRY_MINUTES = 0.3
"""To read what is asked and to enter what was read: it counts in the choice, or three cheap tests stand for one."""


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
    until the cause is proven if it comes next, infinite where nobody looked so far ahead; ``passes``: what a proof asks
    of its reading.
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
    passes: str = ""

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
    situation: Situation, limit: int, found_at: float, doubted: Reading | None = None
) -> tuple[Test, ...]:
    """The tests worth their minutes, best first. ``doubted``: the reading that fits badly (``odd_reading``)."""
    outside = beyond_the_drawing(situation, found_at)
    if outside is not None:
        made = [reading.measurement for reading in situation.live]
        return tuple(
            replace(test, purpose="repeat" if test.measurement in made else "tell")
            for test in describe(situation, outside)
        )
    first: list[Test] = []
    lacking = _proving(situation, found_at)
    odd = _to_be_made_again(situation, doubted, lacking)
    if odd is not None:
        first += [replace(test, purpose="repeat") for test in describe(situation, [odd])]
    first += lacking or _while_made(situation)
    if len(first) >= limit and (odd is None or lacking):
        return tuple(first[:limit])
    known = {test.measurement for test in first}
    # In the states in which it fails; where nothing tells anything there, in the others too.
    for everywhere in (False, True):
        ranked = _ranked(situation, waiting(situation, everywhere=everywhere), limit - len(first), found_at)
        if ranked:
            break
    if not first and not ranked:
        # Nothing tells the leader from its rivals any more: what would prove it is the best that is left.
        first = _proving(situation, 0.0) or _settling(situation)
    return (*first, *(test for test in ranked if test.measurement not in known))[:limit]


def _to_be_made_again(
    situation: Situation, odd: Reading | None, lacking: Sequence[Test]
) -> Measurement | None:
    """The odd reading, unless a drop that the proof asks for puts a probe on its point anew.

    Nor one that a cause only hangs on, where a direct reading at that cause is as near: it tells the same, and proves.
    """
    if odd is None or situation.barred(odd.measurement):
        return None
    asked = odd.measurement
    near = situation.bay.minutes(asked) + AS_NEAR
    direct = any(test.quantity in NUMERIC and test.minutes <= near for test in lacking)
    if direct and odd == decisive_reading(situation):
        return None
    anew = any(
        test.quantity == asked.quantity == "volts"
        and (test.state, test.changes) == (asked.state, asked.changes)
        and not ({asked.at, asked.to} - {None, BODY}).isdisjoint({test.at, test.to})
        for test in lacking
    )
    return None if anew else asked


def _proving(situation: Situation, found_at: float) -> list[Test]:
    """The tests that the proof of what holds ``found_at`` lacks, nearest first."""
    return _of_a_proof(situation, proof.missing_tests(situation, found_at))


def _of_a_proof(situation: Situation, asked: Sequence[tuple[Measurement, str]]) -> list[Test]:
    """Tests, each with the limit that a proof asks its reading to keep."""
    tests = zip(describe(situation, [test for test, _ in asked]), asked, strict=True)
    return [replace(test, purpose="prove", passes=limit) for test, (_, limit) in tests]


def _while_made(situation: Situation) -> list[Test]:
    """What else the leader's proof wants to see come back while the lead or the new part is still there: it is free."""
    made = situation.bay.made
    last = situation.live[-1].measurement if situation.live else None
    if last is None or not made or last.changes != made or last.quantity not in WORD_OF:
        return []
    if situation.live[-1].value not in GOOD or situation.posterior.leading[1] < 0.5:
        return []
    lacking = proof.missing_tests(situation, 0.0)
    words = [(test, limit) for test, limit in lacking if test.changes == made and test.quantity in WORD_OF]
    free = [asked for asked in words if situation.bay.minutes(asked[0]) <= FREE_MINUTES + 1e-9]
    return _of_a_proof(situation, free)


def _settling(situation: Situation) -> list[Test]:
    """A test of which the readings disagree, once more, so that two stand against one."""
    if situation.intermittent:
        return []
    made = (reading.measurement for reading in situation.live)
    for test in dict.fromkeys(test for test in made if test.quantity in NUMERIC):
        same = [reading for reading in situation.live if reading.measurement == test]
        split = len(same) > 1 and not any(stands(situation, reading) for reading in same)
        if split and len(same) < MOST_READINGS and not situation.barred(test):
            return [replace(again, purpose="repeat") for again in describe(situation, [test])]
    return []


def candidates_for(situation: Situation) -> list[Measurement]:
    """The tests that could be made now and are worth a closer look."""
    chosen, weights, *_ = situation.particles()
    return shortlist(situation, waiting(situation), chosen, weights)


def _ranked(
    situation: Situation, wanted: Sequence[Measurement], limit: int, found_at: float
) -> tuple[Test, ...]:
    """The best tests of those that are worth asking for, by their bits."""
    if limit <= 0 or not wanted:
        return ()
    chosen, weights, group, names = situation.particles()
    tests, forecasts = _forecasts(situation, shortlist(situation, wanted, chosen, weights))
    table = Minutes(situation.bay, tests)
    proofs = proofs_ahead(situation, tests, names[: int(group.max()) + 1])
    ranked = rank_tests(
        _options(forecasts, len(chosen), table.now + ENTRY_MINUTES),
        weights,
        group,
        minutes_after=lambda test: table.after(test) + ENTRY_MINUTES,
        stop_at=found_at,
        proofs=proofs,
    )
    # The quickest to a proof may tell nothing itself: what does stands behind it.
    made = {reading.measurement for reading in situation.live}
    asked = [WORTH_REPEATING if test in made else WORTH_ASKING for test in tests]
    leads = np.bincount(group, weights=weights)[proofs.letter] >= LEADING
    letter = (proofs.saved[:, leads] > HALF * FURTHER_MINUTES).any(axis=1)
    rates = [each.bits / max(table.now[each.test], FREE_MINUTES) for each in ranked]
    slow = max(WORTH_A_MINUTE, SLOWER * max(rates, default=0.0)) * table.now
    least = np.where(letter, 0.0, np.maximum(asked, slow))
    telling = [each for each in ranked if each.bits >= least[each.test]][:limit]
    return tuple(
        _test(situation, tests[each.test], forecasts[each.test], each.bits, each.expected_minutes)
        for each in telling
    )


def _forecasts(
    situation: Situation, wanted: Sequence[Measurement]
) -> tuple[list[Measurement], list[NumericAt | WordedAt]]:
    """What tests show at the particles: those that are told by a number first."""
    chosen = situation.particles()[0]
    expected = [(test, forecast(test, situation.choosing).at(chosen)) for test in wanted]
    expected.sort(key=lambda each: isinstance(each[1], WordedAt))
    return [test for test, _ in expected], [each for _, each in expected]


def _options(forecasts: Sequence[NumericAt | WordedAt], particles: int, minutes: Floats) -> Candidates:
    numeric = [each for each in forecasts if isinstance(each, NumericAt)]
    worded = [each for each in forecasts if isinstance(each, WordedAt)]
    predicted = np.empty((len(numeric), particles), dtype=np.float32)
    sigma = np.empty_like(predicted)
    for row, expected in enumerate(numeric):
        predicted[row], sigma[row] = expected.value, expected.sigma
    low, high = (np.array([getattr(each, end) for each in numeric]) for end in ("low", "high"))
    widest = max((len(each.words) for each in worded), default=1)
    likelihood = np.zeros((len(worded), particles, widest), dtype=np.float32)
    for row, each in enumerate(worded):
        likelihood[row, :, : len(each.words)] = each.chance
    slips = Slips(SLIP, low, high) if numeric else Slips(SLIP)
    return Candidates(minutes, predicted, sigma, likelihood, slips=slips)


MORE = 1.1
"""Ratio of bits a minute from which one test is said to tell more than another."""


def beside(own: Test, proposed: Test | None) -> str:
    """How a test of one's own choice stands beside the proposed one, in a sentence; empty where they are the same."""
    if proposed is None or proposed.purpose != "tell" or own.measurement == proposed.measurement:
        return ""
    mine, other = (test.bits / max(test.minutes, 0.1) for test in (own, proposed))
    if mine > MORE * other:
        return "This brings more for its minutes than the proposed test."
    if other > MORE * mine:
        return "The proposed test tells more for its minutes."
    return "This brings as much for its minutes as the proposed test."


def describe(situation: Situation, measurements: Sequence[Measurement]) -> tuple[Test, ...]:
    """Tests that are asked for, whatever their worth, in the order given; what follows them is not looked at."""
    chosen, weights, group, _ = situation.particles()
    solve_scenes(situation, measurements)
    tests, forecasts = _forecasts(situation, list(dict.fromkeys(measurements)))
    bits = _options(forecasts, len(chosen), np.zeros(len(tests))).bits(weights, group, EXACT)
    described = {
        test: _test(situation, test, expected, each, float("inf"))
        for test, expected, each in zip(tests, forecasts, np.where(bits < NOTHING, 0.0, bits), strict=True)
    }
    return tuple(described[measurement] for measurement in measurements)


def _test(
    situation: Situation, asked: Measurement, expected: NumericAt | WordedAt, bits: float, until: float
) -> Test:
    circuit, bay = situation.circuit, situation.bay
    again = any(reading.measurement == asked for reading in situation.live)
    outcomes = _outcomes(situation, asked, expected)
    return Test(
        asked,
        bay.minutes(asked),
        float(bits),
        float(until),
        outcomes,
        cautions(asked, circuit.model),
        sentence(asked, circuit, again=again),
        places=places(asked, circuit.model),
        opens=bay.opens(asked),
    )


def _outcomes(
    situation: Situation, measurement: Measurement, expected: NumericAt | WordedAt
) -> tuple[Outcome, ...]:
    _, weights, group, names = situation.particles()
    outcomes = []
    if isinstance(expected, WordedAt):
        for word, chance in zip(expected.words, expected.chance.T, strict=True):
            joint = weights * chance
            total = float(joint.sum())
            if total > 1e-4:
                shares = np.bincount(group, weights=joint, minlength=len(names)) / total
                outcomes.append(Outcome(total, _leaders(shares, names), word, text=word))
        return tuple(outcomes)
    bins = outcome_bins(
        expected.value,
        expected.sigma,
        weights,
        group,
        slips=Slips(SLIP, expected.low, expected.high),
        same=partial(same_reading, measurement),
        limit=partial(limit_between, measurement),
    )
    for cell in bins:
        low, high = (unscale(measurement, end) if np.isfinite(end) else end for end in (cell.low, cell.high))
        typical = as_read(measurement, unscale(measurement, cell.typical))
        text, leaves = "about " + reading_words(measurement, typical), _leaders(cell.posterior, names)
        outcomes.append(Outcome(cell.probability, leaves, "", low, high, typical, text))
    return tuple(outcomes)


def _leaders(shares: Floats, names: list[str]) -> tuple[tuple[str, float], ...]:
    order = np.argsort(-np.asarray(shares), kind="stable")[:4]
    return tuple((names[number], float(shares[number])) for number in order if shares[number] >= 0.02)
