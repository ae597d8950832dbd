"""Fuse millivolts, the share explained, the search for the branch. All invented but the table of resistances."""

import numpy as np
import pytest

from halfsplit.drain import CAUTIONS, BranchCurrent, BranchSearch, Fuse, fuse_current
from halfsplit.drain.branches import BLADE
from halfsplit.errors import InputError, NotFoundError

FUSES = (
    Fuse("FA", 100, behind=("F1", "F2", "F3", "F4")),
    Fuse("F1", 10, ("radio",)),
    Fuse("F2", 15, ("tailgate unit", "trailer unit")),
    Fuse("F3", 7.5, ("cluster",), minutes=6),
    Fuse("F4", 20, ("heater",)),
    Fuse("F5", 10, ("body unit",)),
    Fuse("F6", 5, ("alarm",)),
)


@pytest.mark.parametrize(
    ("rating", "millivolts", "amps"), [(10, 0.77, 0.1), (3, 3.1, 0.1), (40, 0.14, 0.1), (15, 24, 5)]
)
def test_current_by_the_table(rating: float, millivolts: float, amps: float) -> None:
    """Cold resistances of `sources.md`: 10 A 7.7, 3 A 31, 40 A 1.4, 15 A 4.8 milliohm."""
    found = fuse_current(millivolts, rating)
    assert found.amps == pytest.approx(amps)
    assert found.low < amps < found.high


def test_the_rule_of_thumb_reads_23_to_40_per_cent_low() -> None:
    """Calculated: against the table, over the small ratings used for sleeping units."""
    shares = [1 - (rating / 0.1) / (1 / BLADE[rating]) for rating in (10.0, 15.0, 20.0, 25.0, 30.0)]
    assert min(shares) == pytest.approx(0.23, abs=0.005)
    assert max(shares) == pytest.approx(0.40, abs=0.005)
    found = fuse_current(1.0, 80)
    assert found.low < 0.001 * 80 / 0.1 < found.amps < found.high
    assert "reads 23 to 40 % low" in found.how


def test_readings_that_cannot_be_are_told() -> None:
    with pytest.raises(InputError, match="more than 1 V means that it is blown or missing"):
        fuse_current(12000, 10)
    with pytest.raises(InputError, match="enter the rating"):
        fuse_current(1, 0)


def exact(amps: float) -> BranchCurrent:
    return BranchCurrent(amps, amps - 0.005, amps + 0.005, "invented")


def test_the_share_explained_does_not_count_a_fuse_behind_another_twice() -> None:
    search = BranchSearch(FUSES, 0.40, 0.005).measured("FA", exact(0.30)).measured("F2", exact(0.28))
    told = search.explained()
    assert told.share == pytest.approx(0.75)
    assert told.words == "300 of 400 mA found (75 %). 100 mA flow elsewhere: measure on."


def test_more_than_the_total_is_told() -> None:
    told = BranchSearch(FUSES, 0.10, 0.005).measured("F1", exact(0.30)).explained()
    assert "something woke" in told.words


def test_before_any_reading_the_fuse_that_feeds_half_comes_first() -> None:
    search = BranchSearch(FUSES, 0.40, 0.005)
    assert search.next_fuses()[0].fuse == "FA"
    by_name = {fuse.fuse: fuse for fuse in search.next_fuses()}
    assert by_name["F3"].bits == pytest.approx(by_name["F1"].bits)
    assert by_name["F3"].bits_a_minute == pytest.approx(by_name["F1"].bits_a_minute / 6)


def test_probabilities_add_up_and_follow_the_readings() -> None:
    search = BranchSearch(FUSES, 0.40, 0.005).measured("FA", exact(0.39)).measured("F1", exact(0.004))
    suspects = search.suspects()
    assert sum(suspect.probability for suspect in suspects) == pytest.approx(1)
    assert {suspect.fuse for suspect in suspects[:3]} == {"F2", "F3", "F4"}
    assert search.next_fuses()[0].fuse in ("F2", "F4")
    found = search.measured("F2", exact(0.385)).suspects()[0]
    assert (found.fuse, found.units) == ("F2", ("tailgate unit", "trailer unit"))
    assert found.probability > 0.95


def test_a_drain_on_no_fuse_is_found_too() -> None:
    search = BranchSearch(FUSES, 0.40, 0.005)
    for name in ("FA", "F5", "F6"):
        search = search.measured(name, exact(0.004))
    assert search.suspects()[0].fuse is None


def test_the_order_finds_the_branch_in_fewer_readings_than_one_after_another() -> None:
    """Sixteen branches behind four feeds: by feeds first it takes about 4 readings; one by one 8.5 on average."""
    groups = tuple(Fuse(f"M{g}", 60, behind=tuple(f"B{g}{k}" for k in range(4))) for g in range(4))
    leaves = tuple(Fuse(f"B{g}{k}", 10, (f"unit {g}{k}",)) for g in range(4) for k in range(4))
    counts = []
    for bad in leaves:
        search = BranchSearch(groups + leaves, 0.45, 0.005)
        while search.suspects()[0].probability < 0.9:
            name = search.next_fuses()[0].fuse
            inside = bad.name == name or bad.name in search.fuse(name).behind
            search = search.measured(name, exact(0.40 if inside else 0.003))
        assert search.suspects()[0].fuse == bad.name
        counts.append(len(search.readings))
    assert np.mean(counts) < 6


def test_unknown_names_are_told() -> None:
    with pytest.raises(NotFoundError, match="no fuse 'F9'; there are FA, F1"):
        BranchSearch(FUSES, 0.4, 0.01).measured("F9", exact(0.1))
    with pytest.raises(NotFoundError, match="F1 feeds F2, which is no fuse here"):
        BranchSearch((Fuse("F1", 10, behind=("F2",)),), 0.4, 0.01)
    with pytest.raises(InputError, match="two fuses have one name"):
        BranchSearch((Fuse("F1", 10), Fuse("F1", 10)), 0.4, 0.01)


def test_the_cautions_name_what_can_go_wrong() -> None:
    text = " ".join(CAUTIONS)
    for words in ("wakes units", "airbags", "negative post", "maker's documentation"):
        assert words in text
