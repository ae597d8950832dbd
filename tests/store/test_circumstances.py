"""What closed jobs tell besides causes, beside Beta by hand.

Conjugacy: Gelman et al., Bayesian Data Analysis, 3rd edition, section 2.4.
"""

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from scipy.special import polygamma

from halfsplit import job as jobs
from halfsplit.diagnosis import conditions, learned
from halfsplit.diagnosis.conditions import (
    Circumstances,
    Condition,
    Slips,
    Visits,
    at_place,
    in_band,
    together,
)
from halfsplit.diagnosis.learned import chances, taught
from halfsplit.diagnosis.priors import default_priors
from halfsplit.errors import InputError
from halfsplit.job import EarlierWork, Intake, JobStore, OpenJob
from halfsplit.job.learned_file import circumstances_said, read_learned, write_learned
from halfsplit.job.learning import learn, vehicle_bands
from halfsplit.notation.checked import check_text
from halfsplit.store import Vehicle
from tests.circuits import ONE_LAMP
from tests.store.test_learned import PROOF


@pytest.fixture(scope="module")
def circuit():
    return check_text(ONE_LAMP).circuit


def of_kind(found, kind):
    return sum(chance for cause, chance in found.items() if cause.kind == kind)


def test_odds_are_moved_as_beta_has_them():
    """30 of 60 where 10 were expected, and 40 pseudo-jobs as shipped: (40/6 + 30) of 100 against 1 of 6."""
    share = (40 / 6 + 30) / 100
    assert Condition(30, 60, 10.0).factor == pytest.approx(share / (1 - share) * 5)
    assert Condition(60, 60, 0.6).factor == conditions.LARGEST
    assert Condition(0, 1000, 900.0).factor == 1 / conditions.LARGEST


def test_a_shipped_share_is_good_to_a_factor_of_two():
    """The log odds of a Beta have the variance trigamma(a) + trigamma(b), to first order 1/a + 1/b."""
    for share in (0.1, 0.3, 0.5):
        jobs_for = conditions.jobs_for(share)
        spread = math.sqrt(polygamma(1, jobs_for * share) + polygamma(1, jobs_for * (1 - share)))
        assert math.exp(spread) == pytest.approx(conditions.GOOD_TO, rel=0.12)


def test_bands_move_the_kind_in_such_vehicles_alone_and_never_far(circuit):
    kind, band = "ground", "over 150,000 km"
    known = Circumstances({in_band(kind, band): Condition(400, 500, 50.0)})
    shipped = chances(circuit, default_priors())
    cause = next(one for one in shipped if one.kind == "fuse")
    shares = learned.shipped_shares(circuit)
    tally = learned.Tally({"another": learned.CircuitTally(shares, {cause: 1})}, circumstances=known)
    far = chances(circuit, taught(default_priors(), tally, circuit, (band,)))
    near = chances(circuit, taught(default_priors(), tally, circuit))
    assert of_kind(far, kind) > 1.5 * of_kind(near, kind)
    assert all(far[one] / chance < learned.LARGEST for one, chance in shipped.items() if chance)


def test_age_and_distance_are_told_in_coarse_words():
    opened = datetime(2026, 3, 2, tzinfo=UTC)
    assert vehicle_bands(Vehicle(odometer=100_000, odometer_unit="mi"), opened) == ("over 150,000 km",)
    # 49 CFR 565.15(b): K is 1989, or 2019 where position 7 is a letter.
    assert vehicle_bands(Vehicle(vin="1M8GDM9AXKP042788"), opened) == ("over 12 years",)
    assert vehicle_bands(Vehicle(), opened) == ()


def told_job(store, job_id, opened):
    """A job with earlier work at the fuse that was the cause; each test took 12 minutes; one reading was a slip."""
    intake = Intake(
        vehicle=Vehicle(odometer=163_000),
        earlier_work=(EarlierWork(what="fuse box opened", touched=("F1",)),),
    )
    jobs.open_job(store, intake, who="Ada", job_id=job_id, circuit=ONE_LAMP, at=opened)
    job = OpenJob(store, job_id, "Ada")
    jobs.complain_all(job, [("H1", "no", "on")], at=opened)
    slip = {"quantity": "volts", "at": "H1.1", "state": "on", "instrument": "meter"}
    wrong = jobs.record(job, slip, "12.4", at=opened + timedelta(minutes=5))
    jobs.strike(job, wrong.entry_id, reason="Probe slipped")
    for number, (quantity, at, to, changes, value) in enumerate(PROOF, 1):
        place = {"quantity": quantity, "at": at, "to": to, "state": "on", "changes": changes}
        place["instrument"] = jobs.usual_instrument(quantity)
        jobs.record(job, place, str(value), confirmed=True, at=opened + timedelta(minutes=5 + 12 * number))
    jobs.close(job, complaint="dark", cause="fuse", correction="fuse")


def test_a_closed_job_tells_them_and_the_file_keeps_them(tmp_path):
    with JobStore(f"sqlite:///{tmp_path}/jobs.db") as store:
        told_job(store, "a", datetime(2026, 3, 2, 8, tzinfo=UTC))
        found, _ = learn(store, "north")
    known = found.tally.circumstances
    assert (known.conditions["disturbed"].jobs, known.conditions["disturbed"].of) == (1, 1)
    assert 0.0 < known.conditions["disturbed"].expected < 1.0
    assert known.conditions[in_band("fuse", "over 150,000 km")].jobs == 1
    assert known.conditions[in_band("ground", "over 150,000 km")].jobs == 0
    assert (known.slips["meter"].wrong, known.slips["meter"].of) == (1, 4)
    assert sum(one.count for one in known.visits.values()) >= 1
    path = tmp_path / "learned.toml"
    twice = replace(found, tally=learned.merged([found.tally, found.tally]))
    write_learned(path, twice)
    assert read_learned(path) == twice
    assert read_learned(path).tally.circumstances.slips["meter"] == Slips(2, 8)
    assert any("slip" in what for what, _, _ in circumstances_said(known))
    path.write_text(path.read_text().replace("wrong = 2", "wrong = 20"))
    with pytest.raises(InputError, match="no file of `halfsplit learn`"):
        read_learned(path)


def test_three_files_add_up_in_any_order():
    several = [
        Circumstances(
            {at_place("engine"): Condition(1, 2, 0.5)}, {"engine": Visits(1, 0.25)}, {"meter": Slips(0, 9)}
        ),
        Circumstances({at_place("engine"): Condition(3, 4, 1.5)}, {}, {"clamp": Slips(1, 2)}),
        Circumstances({}, {"engine": Visits(2, -0.5)}, {"meter": Slips(1, 1)}),
    ]
    total = together(several)
    assert total == together(several[::-1])
    assert total.conditions[at_place("engine")] == Condition(4, 6, 2.0)
    assert total.visits["engine"] == Visits(3, -0.25)
    assert total.slips == {"clamp": Slips(1, 2), "meter": Slips(1, 10)}
