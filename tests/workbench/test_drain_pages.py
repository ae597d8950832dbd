"""The page of the parasitic draw: a log, its figures, the battery, the branches. All logs are invented here."""

import math
import random
import re
from html import unescape

import pytest

from halfsplit import job as jobs
from halfsplit.job import Intake, drains
from halfsplit.job.drain_branches import fuses_of
from halfsplit.job.open_job import OpenJob
from halfsplit.notation.checked import check_text
from halfsplit.notation.demos import demos

from .rear_feed import CIRCUIT

ASLEEP = 0.062


def night(*, sign=1.0, hours=3.0, gap=False, back=False) -> bytes:
    """A log of one sample a second with decimal commas: awake for 20 min, asleep at 62 mA, woken every 15 min."""
    generator = random.Random(5)
    lines = ["Zeit (s);Strom (A)"]
    for second in range(int(hours * 3600)):
        amps = (
            2.5 if second < 1200 else ASLEEP + (0.4 if (second - 2000) % 900 < 8 and second > 2000 else 0.0)
        )
        told = second - 4000 if back and second > 6000 else second
        if not (gap and 5000 < second < 5600):
            lines.append(f"{told};{sign * (amps + generator.gauss(0, 0.001)):.5f}".replace(".", ","))
    return "\n".join(lines).encode()


@pytest.fixture
def flat(store) -> str:
    jobs.open_job(store, Intake(), who="Ada", job_id="flat", circuit=CIRCUIT)
    return "flat"


def load(client, data, **form):
    return client.post(
        "/jobs/flat/drain/log",
        data={"instrument": "meter", "unit": "", "interval": ""} | form,
        files={"log": ("night.csv", data)},
    )


def page(client):
    answer = client.get("/jobs/flat/drain")
    assert answer.status_code == 200
    assert not re.search(r"<style|\son\w+=|\sstyle=|<script(?![^>]*\ssrc=)", answer.text)
    return unescape(answer.text)


def test_the_page_opens_with_nothing_on_it(client, flat):
    shown = page(client)
    assert "One night's current shows when it sleeps" in shown
    assert "Measure the current at the battery, vehicle asleep." in shown
    assert "Do not pull fuses while you search" in shown
    assert 'class="drain-plot"' not in shown


def test_a_log_is_kept_and_told_with_levels_wake_ups_and_a_plot(client, store, flat):
    answer = load(client, night())
    assert answer.status_code == 303
    view = drains.drain_view(OpenJob(store, flat))
    facts = dict(view.figures.facts)
    assert float(facts["Asleep"].split()[0]) == pytest.approx(1000 * ASLEEP, rel=0.02)
    assert facts["Time to sleep"] == "20 min"
    (count, lasts, _, every, charge, _) = view.figures.wakes[0]
    assert (count, lasts, every) == ("10", "8 s", "15 min")
    assert float(charge.split()[0]) == pytest.approx(1000 * 0.4 * 8 / 3600, rel=0.02)
    shown = page(client)
    assert "62 mA asleep, more than the usual 50 mA" in shown
    assert 'class="drain-plot"' in shown
    assert "usual limit asleep, 50 mA" in shown


@pytest.mark.parametrize(
    ("odd", "word"),
    [
        ({"sign": -1.0}, "The sign was turned"),
        ({"gap": True}, "1 gap of"),
        ({"back": True}, "The clock jumps back by"),
    ],
)
def test_what_is_odd_about_a_log_is_told(client, store, flat, odd, word):
    assert load(client, night(**odd)).status_code == 303
    assert word in page(client)
    level = dict(drains.drain_view(OpenJob(store, flat)).figures.facts)["Asleep"]
    assert float(level.split()[0]) == pytest.approx(1000 * ASLEEP, rel=0.02)


def test_a_clamp_cannot_tell(client, store, flat):
    load(client, night(), instrument="clamp")
    client.post("/jobs/flat/drain/battery", data={"capacity": "70"})
    view = drains.drain_view(OpenJob(store, flat))
    assert not view.figures.can_tell
    assert view.forecast is None
    assert view.branches.total == ""
    assert "Cannot tell: a clamp says nothing below 100 mA" in page(client)


@pytest.mark.parametrize("data", [b"", b"nothing here", b"\x00\x01", b"a;b\n" * 5, b"0;1\n1;1\n"])
def test_a_file_that_is_no_log_is_refused_in_words(client, store, flat, data):
    answer = load(client, data)
    assert answer.status_code == 422
    assert "Not stored" in answer.text
    assert drains.drain_view(OpenJob(store, flat)).logs == ()


@pytest.mark.parametrize(
    "form", [{"interval": "fast"}, {"interval": "-1"}, {"unit": "kA"}, {"instrument": "spoon"}]
)
def test_wrong_words_about_a_log_are_told(client, store, flat, form):
    assert load(client, night(hours=0.5), **form).status_code == 422
    assert drains.drain_view(OpenJob(store, flat)).logs == ()


def test_days_until_it_may_not_start_with_their_range(client, store, flat):
    """Rest volts of a flooded battery from the published table: 12.45 V at 26.7 °C are 75 %."""
    load(client, night())
    form = {
        "capacity": "70",
        "volts": "12,45",
        "celsius": "26,7",
        "rested": "9",
        "kind": "flooded",
        "stands": "20",
    }
    assert client.post("/jobs/flat/drain/battery", data=form).status_code == 303
    view = drains.drain_view(OpenJob(store, flat))
    assert view.charge.share == pytest.approx(0.75, abs=0.01)
    found = view.forecast
    assert found.low < found.days < found.high
    assert found.days == pytest.approx(found.usable / found.loss)
    assert found.words in page(client)
    assert 'value="12.45"' in page(client)


def test_the_battery_of_the_intake_is_used_until_another_is_entered(client, store):
    """12.24 V at 26.7 °C are 50 % by the published table of a flooded battery at rest."""
    battery = jobs.BatteryReading(volts=12.24, celsius=26.7, type="flooded", rested=True)
    jobs.open_job(store, Intake(battery=battery), who="Ada", job_id="flat", circuit=CIRCUIT)
    assert drains.drain_view(OpenJob(store, "flat")).charge.share == pytest.approx(0.5)
    assert 'value="12.24"' in page(client)
    client.post("/jobs/flat/drain/battery", data={"charge": "90"})
    assert drains.drain_view(OpenJob(store, "flat")).charge.share == pytest.approx(0.9)


@pytest.mark.parametrize(
    ("volts", "share"), [(12.65, 100.0), (12.45, 75.0), (12.24, 50.0), (12.06, 25.0), (11.89, 0.0)]
)
def test_the_intake_tells_the_charge_by_the_published_table(volts, share):
    """Published rest volts of a flooded battery at 26.7 °C; the other types and unrested ones are told apart."""
    assert jobs.battery_state(volts, 26.7, "flooded", rested=True).charge == pytest.approx(share, abs=0.1)
    assert jobs.battery_state(volts, 26.7, "flooded").charge is None
    assert jobs.battery_state(volts, 26.7, "").charge is None
    assert "common practice" in jobs.battery_state(volts, 26.7, "AGM", rested=True).words


def test_battery_figures_that_cannot_be_are_told_by_field(client, store, flat):
    answer = client.post(
        "/jobs/flat/drain/battery", data={"capacity": "7000", "volts": "twelve", "charge": "60"}
    )
    assert answer.status_code == 422
    assert answer.text.count('aria-invalid="true"') == 2
    assert 'value="twelve"' in answer.text
    assert drains.drain_view(OpenJob(store, flat)).battery == {}
    assert client.post("/jobs/flat/drain/battery", data={"kind": "magic"}).status_code == 422


def test_fuses_and_what_hangs_on_them_come_from_the_circuit():
    fuses = {one.name: one for one in fuses_of(check_text(CIRCUIT).circuit)}
    assert (fuses["F1"].rating, fuses["F1"].units) == (10.0, ("A2 body control unit",))
    assert fuses["F30"].behind == ("F15", "F16")
    assert {unit.split()[0] for unit in fuses["F30"].units} == {"A11", "A12", "A13", "A14", "H9"}


def test_millivolts_lead_to_the_branch(client, store, flat):
    """62 mA through the 10 A fuse: 7.7 mohm cold (typical, from memory) make 0.48 mV of it."""
    load(client, night())
    first = drains.drain_view(OpenJob(store, flat)).branches
    assert first.total.startswith("62")
    assert first.explained is None
    assert {one.fuse for one in first.following} == {"F1", "F5", "F15", "F16", "F30"}
    form = {
        "fuse-0": "F1",
        "rating-0": "10",
        "mv-0": "0,45",
        "fuse-1": "F30",
        "rating-1": "40",
        "mv-1": "0.01 mV",
    }
    assert client.post("/jobs/flat/drain/fuses", data=form).status_code == 303
    found = drains.drain_view(OpenJob(store, flat)).branches
    assert found.suspects[0].fuse == "F1"
    assert found.suspects[0].probability > 0.9
    assert math.isclose(sum(one.probability for one in found.suspects), 1.0)
    assert found.explained.share == pytest.approx((0.45 / 7.7 + 0.01 / 1.4) / 0.062, rel=0.03)
    assert "It runs through <b>F1</b>: look at A2 body control unit" in page(client)
    # the same again is not stored twice, a new reading replaces the old
    before = len(store.evidence(flat))
    client.post("/jobs/flat/drain/fuses", data=form | {"was-0": "0,45", "was-1": "0.01 mV"})
    assert len(store.evidence(flat)) == before
    client.post(
        "/jobs/flat/drain/fuses", data={"fuse-0": "F1", "rating-0": "10", "mv-0": "0.01", "was-0": "0.45"}
    )
    assert drains.drain_view(OpenJob(store, flat)).branches.suspects[0].fuse != "F1"


def test_a_fuse_of_the_box_can_be_added_and_a_total_read_by_hand(client, store, flat):
    form = {
        "total": "120",
        "by": "meter",
        "fuse-0": "F99",
        "rating-0": "12",
        "mv-0": "0.7",
        "units-0": "radio, amplifier",
        "new-0": "1",
    }
    assert client.post("/jobs/flat/drain/fuses", data=form).status_code == 303
    found = drains.drain_view(OpenJob(store, flat)).branches
    assert found.total.startswith("120.0 mA at the battery")
    row = next(row for row in found.rows if row.name == "F99")
    assert row.units == ("radio", "amplifier")
    assert "corrected by that" in row.how  # no table for 12 A: 0.1 V / rating reads low


@pytest.mark.parametrize(
    ("form", "word"),
    [
        ({"fuse-0": "F1", "rating-0": "10", "mv-0": "5 V"}, "blown or missing"),
        ({"fuse-0": "F1", "rating-0": "ten", "mv-0": "0.5"}, "which rating"),
        ({"fuse-0": "F1", "rating-0": "10", "mv-0": "much"}, "F1:"),
        ({"total": "400 A"}, "current at the battery"),
    ],
)
def test_readings_that_cannot_be_are_told_and_not_stored(client, store, flat, form, word):
    answer = client.post("/jobs/flat/drain/fuses", data=form)
    assert answer.status_code == 422
    assert word in unescape(answer.text)
    assert not [entry for entry in store.evidence(flat) if entry.kind.startswith("drain")]


def test_a_struck_log_is_gone_from_the_page_and_stays_in_the_record(client, store, flat):
    load(client, night(hours=0.6))
    log = drains.drain_view(OpenJob(store, flat)).logs[0]
    assert (
        client.post(f"/jobs/flat/drain/{log.drain_id}/strike", data={"reason": "tailgate open"}).status_code
        == 303
    )
    assert drains.drain_view(OpenJob(store, flat)).figures is None
    assert any(entry.entry_id == log.drain_id for entry in store.evidence(flat))
    assert client.post("/jobs/flat/drain/nothing/strike", data={"reason": "x"}).status_code == 404


def test_a_viewer_reads_and_changes_nothing(signed_in, flat):
    viewer = signed_in("viewer")
    assert viewer.get("/jobs/flat/drain").status_code == 200
    for path in ("log", "battery", "fuses"):
        assert viewer.post(f"/jobs/flat/drain/{path}", data={"capacity": "70"}).status_code == 403


def test_the_two_ways_of_a_switch_are_two_branches():
    demo = next(one for one in demos() if one.name == "rear-lamps")
    fuses = {
        one.name: [unit.split()[0] for unit in one.units] for one in fuses_of(check_text(demo.text).circuit)
    }
    assert fuses["F11"] == ["H1", "H9"]
    assert fuses["F12"] == ["H5"]


def test_a_zero_that_is_off_is_asked_about_and_recomputed(client, store, flat):
    """A clamp 60 mA below zero: nothing is claimed until its zero is entered, and the file stays as it came."""
    rows = "\n".join(f"{second},{18 + 782 * (second % 600 < 20) - 60}" for second in range(0, 7200, 2))
    answer = client.post(
        "/jobs/flat/drain/log",
        files={"log": ("zero.csv", f"time s,current mA\n{rows}\n".encode())},
        data={"instrument": "meter", "unit": "", "interval": ""},
    )
    drain_id = answer.headers["location"].rpartition("=")[2]
    asked = page(client)
    assert "below zero asleep" in asked
    where = f"/jobs/flat/drain/{drain_id}/reading"
    client.post(where, data={"zero": "-60", "turned": "", "unit": ""})
    assert "18 mA asleep" in page(client)
    assert client.post(where, data={"zero": "much", "turned": "", "unit": ""}).status_code == 422
    assert client.post("/jobs/flat/drain/nothing/reading", data={"zero": "1"}).status_code == 404
