"""The battery against the shared table of open-circuit volts, and the forecast against a run of chance."""

import csv
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from halfsplit.drain import Battery, days_until_no_start, judge_cranking, state_of_charge
from halfsplit.drain.battery import TABLES, rest_volts
from halfsplit.errors import InputError


@pytest.mark.parametrize(("kind", "column"), [("flooded", "Wet"), ("gel", "Gel")])
def test_rest_volts_agree_with_the_shared_table(
    kind: str, column: str, outside_data: Callable[[str], Path]
) -> None:
    compared = 0
    with (outside_data("battery") / "lead_acid_12v_ds.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            celsius = float(row["Degrees Celsius"])
            for name, cell in row.items():
                if column in name:
                    share = int(name.strip().split("%")[0]) / 100
                    assert rest_volts(share, celsius, kind) == pytest.approx(float(cell), abs=0.002), (
                        celsius,
                        name,
                    )
                    found = state_of_charge(float(cell), celsius, kind, rested_hours=12).share
                    assert found == pytest.approx(share, abs=0.015)
                    compared += 1
    assert compared == 65


@pytest.mark.parametrize("kind", TABLES)
def test_volts_rise_with_charge_and_temperature(kind: str) -> None:
    volts = [rest_volts(share, 20, kind) for share in np.linspace(0, 1, 11)]
    assert all(a < b for a, b in pairwise(volts))
    assert rest_volts(0.5, -10, kind) < rest_volts(0.5, 30, kind)


def test_below_12_2_volts_there_is_a_warning() -> None:
    assert "charge the battery first" in state_of_charge(12.19, kind="flooded").warning
    assert state_of_charge(12.21, kind="flooded").warning == ""


def test_an_unknown_type_gives_a_wider_range_and_says_so() -> None:
    known = state_of_charge(12.6, kind="flooded", rested_hours=12)
    unknown = state_of_charge(12.6, rested_hours=12)
    assert unknown.error > known.error
    assert "The type is not known" in unknown.words
    assert "The type is not known" not in known.words


def test_surface_charge_cannot_be_told() -> None:
    found = state_of_charge(12.9, kind="flooded", rested_hours=0.5)
    assert found.share is None
    assert found.words.startswith("Cannot tell: 0.5 h after charging")


def test_a_dead_cell_and_nonsense_are_told() -> None:
    assert "a cell is shorted" in state_of_charge(10.2).words
    with pytest.raises(InputError, match="enter the volts of one 12 V battery"):
        state_of_charge(24.6)
    with pytest.raises(InputError, match="'lithium' is no type of battery: choose one of flooded"):
        state_of_charge(12.6, kind="lithium")


@pytest.mark.parametrize(
    ("volts", "celsius", "before", "verdict"),
    # 9.6 V at 20 °C and 8.5 V at -18 °C: common practice, no source
    [
        (10.2, 20, 12.6, "good"),
        (9.5, 20, 12.6, "weak"),
        (9.0, -10, 12.5, "good"),
        (9.0, 20, 12.0, "cannot tell"),
    ],
)
def test_cranking_is_judged_by_temperature(volts: float, celsius: float, before: float, verdict: str) -> None:
    assert judge_cranking(volts, celsius, before=before).verdict == verdict


def test_resistance_from_cranking() -> None:
    found = judge_cranking(10.4, before=12.6, amps=200)
    assert found.resistance == pytest.approx(0.011)
    assert "11.0 milliohm" in found.words


def test_the_forecast_agrees_with_a_run_of_chance() -> None:
    """The stated range holds eight of ten batteries drawn at random from the stated unknowns."""
    battery = Battery(70, charge=0.95, charge_error=0.05)
    found = days_until_no_start(0.080, 0.004, battery)
    generator = np.random.default_rng(0)
    n = 20_000
    spare = generator.normal(0.95, 0.05, n) - generator.normal(0.40, 0.08, n)
    usable = 70 * 0.97 * generator.normal(0.85, 0.10, n) * spare
    loss = 24 * generator.normal(0.080, 0.004, n) + 0.084 * generator.normal(1, 0.5, n)
    days = usable / loss
    assert found.days == pytest.approx(float(np.median(days)), rel=0.03)
    assert np.mean((days > found.low) & (days < found.high)) == pytest.approx(0.8, abs=0.05)


def test_more_drain_fewer_days_and_cold_needs_more() -> None:
    assert (
        days_until_no_start(0.2, 0.01, Battery(70)).days < days_until_no_start(0.05, 0.01, Battery(70)).days
    )
    assert (
        days_until_no_start(0.05, 0.01, Battery(70, celsius=-15)).days
        < days_until_no_start(0.05, 0.01, Battery(70)).days
    )


def test_an_empty_battery_does_not_start_now() -> None:
    found = days_until_no_start(0.05, 0.01, Battery(70, charge=0.3))
    assert found.days == 0
    assert found.words == "30 % is too little to start now (some 40 % are needed)."


@pytest.mark.parametrize(
    "battery", [Battery(0), Battery(7000), Battery(70, charge=55), Battery(70, health=0)]
)
def test_a_battery_that_cannot_be_is_told(battery: Battery) -> None:
    with pytest.raises(InputError, match="enter"):
        days_until_no_start(0.05, 0.01, battery)
