"""What is worked out only when somebody asks: who else it could be, what a try would cost, where to lie in wait."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from halfsplit.circuit.network import UnknownNameError
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.diagnosis.words import point_words
from halfsplit.errors import InputError
from halfsplit.job.costs import costs_of, money
from halfsplit.job.open_job import OpenJob
from halfsplit.job.places import check_place
from halfsplit.job.tests import test_card
from halfsplit.job.views import TestCard

LEAST_CHANCE = 0.001
"""Below this no price of a cure is told: it would be a number without meaning."""


@dataclass(frozen=True)
class AlibiCard:
    """Repairs that would give the same readings, the tests that exclude them, and those that no test excludes."""

    rivals: tuple[str, ...]
    tests: tuple[TestCard, ...]
    minutes: float
    left: tuple[str, ...]


@dataclass(frozen=True)
class TrapCard:
    """Points (with their words) to leave channels connected at in a state, and how many bits they tell together."""

    state: str
    points: tuple[tuple[str, str], ...]
    bits: float


@dataclass(frozen=True)
class TryCard:
    """Fitting a part on suspicion, in the job's currency. ``chance`` that it cures; ``per_cure`` is None for none."""

    part: str
    chance: float
    cost: Decimal
    per_cure: Decimal | None
    currency: str


def alibi(job: OpenJob) -> AlibiCard:
    """Every other repair that explains the readings as well, and a cheap set of tests that excludes them."""
    with job.bench() as bench:
        diagnosis = bench.diagnosis
        alibi_of = diagnosis.alibi()
        tests = tuple(test_card(diagnosis.rank(test), diagnosis.circuit) for test in alibi_of.tests)
        return AlibiCard(alibi_of.rivals, tests, alibi_of.minutes, alibi_of.left)


def trap(job: OpenJob, state: str = "") -> TrapCard:
    """Where to leave channels connected on a road test, in the state in which the fault strikes."""
    with job.bench() as bench:
        diagnosis = bench.diagnosis
        states = diagnosis.circuit.states
        complained = (
            reading.measurement.state for reading in diagnosis.readings if reading.source == "complaint"
        )
        # the first complaint's state: that is where the fault shows
        chosen = state if state in states else next(complained, list(states)[-1])
        traps = diagnosis.trap(chosen)
        points = tuple((point, point_words(point, diagnosis.circuit)) for point in traps.points)
        return TrapCard(chosen, points, traps.bits)


def try_part(job: OpenJob, part: str, price: Decimal, minutes: float) -> TryCard:
    """What fitting a part on suspicion costs, and for each cure: price and time over its chance.

    Raises InputError where no hourly rate is set or the minutes are none.
    """
    if not 0 <= minutes <= 6_000:
        raise InputError(f"{minutes:g} minutes", remedy="enter minutes between 0 and 6000", where="minutes")
    with job.bench() as bench:
        diagnosis = bench.diagnosis
        if part not in diagnosis.circuit.parts:
            raise UnknownNameError(f"there is no part {part!r} in this circuit")
        costs = costs_of(job.store, job.record)
        if costs.rate is None:
            raise InputError("there is no hourly rate", remedy="set it in the intake or the settings")
        trial = diagnosis.replacement(part, float(price), minutes, float(costs.rate))
    cost = money(price + costs.rate * Decimal(str(minutes)) / 60)
    per_cure = money(Decimal(str(trial.cost_per_cure))) if trial.chance >= LEAST_CHANCE else None
    return TryCard(part, trial.chance, cost, per_cure, costs.currency)


def expected_volts(job: OpenJob, test: TestCard | None) -> tuple[tuple[str, str], ...]:
    """'What should I see here?': (assumption, volts) healthy and for each leading suspect.

    Only where the test is plain volts against the battery's negative post.
    """
    if test is None or test.quantity != "volts" or test.to is not None or test.place["changes"]:
        return ()
    with job.bench() as bench:
        if bench.told is None:
            return ()
        check_place(bench.told.diagnosis.circuit, Measurement("volts", test.at, test.state))
        expected = bench.told.diagnosis.expected(test.at, test.state or None)
        return tuple((voltage.assumption, f"{voltage.volts:.1f} V") for voltage in expected)
