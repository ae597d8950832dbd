"""Captures of a job on its pages: taken in, measured, made evidence, drawn for the record; what is refused and why."""

import hashlib
import io
import json
import wave

import numpy as np
import pytest
from PIL import Image

from halfsplit import job as jobs
from halfsplit.job import capture_evidence as evidence
from halfsplit.job import capture_measuring, captures, working
from halfsplit.job.captures import CaptureSettings
from halfsplit.job.open_job import OpenJob
from halfsplit.store.columns import plain
from tests.capture.signals.wheel import hall, teeth, turns_of
from tests.circuits import ONE_LAMP as LAMP
from tests.waiting import until

from .echo_app import endless

CAPTURES = "/jobs/lamp/captures"


def text(columns: dict[str, np.ndarray], rate: float = 1000.0) -> bytes:
    clock = np.arange(len(next(iter(columns.values())))) / rate
    out = io.StringIO()
    out.write(",".join(["Time (s)", *columns]) + "\n")
    np.savetxt(out, np.column_stack([clock, *columns.values()]), "%.6g", ",")
    return out.getvalue().encode()


def load() -> dict[str, np.ndarray]:
    """A lamp through a joint of 1 ohm, on from 0.5 to 3.5 s at 1.5 A, recorded with a little noise."""
    clock = np.arange(4000) / 1000
    random = np.random.default_rng(3)
    amps = np.where((clock > 0.5) & (clock < 3.5), 1.5, 0.0)
    return {
        "X1.1 drop (V)": 1.0 * amps + random.normal(0, 0.003, clock.size),
        "lamp current (A)": amps + random.normal(0, 0.005, clock.size),
    }


def send(client, data: bytes, name: str = "drop.csv"):
    return client.post(CAPTURES, files={"file": (name, data)})


@pytest.fixture
def capture(store, job) -> str:
    kept = captures.add_capture(OpenJob(store, job, "Ada"), io.BytesIO(text(load())), name="drop.csv")
    return kept.attachment_id


def measured(client, capture, **fields):
    form = {"role-0": "drop volts", "role-1": "load current", "path": "connector", **fields}
    return client.post(f"{CAPTURES}/{capture}/analysis", data=form)


def use(client, store, capture, **fields):
    view = captures.capture_view(OpenJob(store, "lamp"), capture)
    form = {
        "key": "result 0 0",
        "shown": view.shown,
        "at": "X1.1:in",
        "to": "X1.1:out",
        "state": "on",
        **fields,
    }
    return client.post(f"{CAPTURES}/{capture}/evidence", data=form)


def readings(store):
    return [entry for entry in store.evidence("lamp") if entry.kind == "reading"]


def test_a_capture_is_kept_as_it_came_and_opens_at_its_own_address(client, store, job):
    data = text(load())
    answer = send(client, data)
    assert answer.status_code == 303
    (kept,) = store.attachments(job)
    assert (kept.kind, kept.sha256, kept.size) == ("capture", hashlib.sha256(data).hexdigest(), len(data))
    assert answer.headers["location"] == f"{CAPTURES}/{kept.attachment_id}"
    with store.open_attachment(job, kept.attachment_id) as source:
        assert source.read() == data
    page = client.get(CAPTURES).text
    assert kept.sha256 in client.get(answer.headers["location"]).text
    assert "X1.1 drop" in page
    assert "4\u202f000 samples over 4 s" in page


@pytest.mark.parametrize(
    ("data", "name", "words"),
    [
        (b"", "empty.csv", "the file is empty"),
        (
            b"time;volts\n0;1\n1;2\n2;x\n3;4\n4;4\n",
            "bad.csv",
            "bad.csv, line 4: found &#39;x&#39; in column 2",
        ),
        (b"time,volts\n0,1\n1,x\n2,y\n3,z\n", "bad.csv", "bad.csv: holds no channel beside its time"),
        (b"just words\nand more of them\n", "words.txt", "words.txt"),
        (b"RIFF\x00\x00\x00\x00WAVEfmt ", "broken.wav", "WAV"),
        (b"PK\x03\x04 a.npy", "broken.npz", "arrays cannot be read"),
        (b"\x89PNG\r\n\x1a\n" + bytes(50), "photo.png", "this is image/png"),
        (bytes(64), "zeros.bin", "of no type known here"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_with_the_reason_and_leaves_nothing(
    client, store, job, data, name, words
):
    answer = send(client, data, name)
    assert answer.status_code == 422
    assert words in answer.text
    assert "incoming-" not in answer.text
    assert store.attachments(job) == ()
    assert [path for path in store.files.folder.rglob("*") if path.is_file()] == []


def test_what_was_made_from_a_capture_is_made_again_when_it_is_gone(client, store, capture):
    import shutil

    kept = store.attachment("lamp", capture)
    shutil.rmtree(store.files.made_from(kept.sha256))
    assert client.get(f"{CAPTURES}/{capture}").status_code == 200
    assert (store.files.made_from(kept.sha256) / "capture.json").is_file()


def test_a_capture_that_was_imported_and_cannot_be_read_says_so_in_the_list(client, store, job):
    kept = jobs.Attachment(attachment_id="old", kind="capture", name="old.csv", at=jobs.now(), who="Ada")
    store.attach(job, kept, io.BytesIO(b"no numbers at all\n"))
    page = client.get(CAPTURES)
    assert page.status_code == 200
    assert "It cannot be read: old.csv" in page.text
    assert client.get(f"{CAPTURES}/old").status_code == 422


def test_roles_give_results_with_units_uncertainty_verdict_and_caution(client, store, capture):
    assert measured(client, capture).status_code == 303
    page = client.get(f"{CAPTURES}/{capture}").text
    assert "over 0.1 V for a connector" in page
    assert ">fault<" in page
    assert "Never probe restraint or high-voltage circuits." in page
    (shown,) = store.shown("lamp", captures.WHAT)
    resistance = next(
        one for one in shown.document["results"][0]["quantities"] if one["name"] == "resistance"
    )
    assert resistance["value"] == pytest.approx(1000, rel=0.01)
    assert "± " in page


def test_what_cannot_be_told_says_why(client, capture):
    assert measured(client, capture, **{"role-0": "starter current", "role-1": ""}).status_code == 303
    page = client.get(f"{CAPTURES}/{capture}").text
    assert "cannot tell" in page
    assert "is in V, the starter current has to be in A" in page.replace("&#39;", "'")


def test_a_clamp_recorded_in_volts_is_measured_with_its_scale(client, store, capture):
    fields = {"role-0": "motor current", "role-1": "", "gain-0": "10", "unit-0": "A"}
    assert measured(client, capture, **fields).status_code == 303
    view = captures.capture_view(OpenJob(store, "lamp"), capture)
    assert view.results[0]["analysis"] == "motor current"
    assert view.channels[0].unit == "A"


SENSELESS = (
    ({"role-0": "no such role"}, "there is no role"),
    ({"role-0": "load current"}, "two channels are given as"),
    ({"path": "roof"}, "is no path"),
    ({"order": "1,3,x"}, "no firing order"),
    ({"cylinders": "4", "order": "1,3"}, "does not name each of 4 cylinders once"),
    ({"cylinders": "many"}, "A whole number up to 16"),
    ({"gain-0": "ten"}, "ten"),
    ({"span": "between", "begin": "1", "end": "1"}, "nothing between the two cursors"),
    ({"span": "between", "begin": "nan", "end": "1"}, "cursors are not set"),
)


def test_settings_that_make_no_sense_are_told_and_stay_as_typed(client, store, capture):
    for fields, words in SENSELESS:
        answer = measured(client, capture, **fields)
        text = answer.text.replace("&#39;", "'")
        assert (answer.status_code, words, words in text) == (422, words, True)
        assert "order" not in fields or f'value="{fields["order"]}"' in text
    assert store.shown("lamp", captures.WHAT) == ()


def test_only_what_lies_between_the_cursors_is_measured(client, store, capture):
    assert measured(client, capture, span="between", begin="2", end="1").status_code == 303
    view = captures.capture_view(OpenJob(store, "lamp"), capture)
    assert view.settings.span == (1.0, 2.0)
    assert all(1.0 <= mark["start"] <= mark["stop"] <= 2.0 for mark in view.marks)


def test_more_samples_than_are_measured_at_once_are_asked_to_be_cut(store, job, capture, monkeypatch):
    monkeypatch.setattr(capture_measuring, "MOST_SAMPLES", 3999)
    settings = CaptureSettings(roles={"X1.1 drop": "drop volts"})
    with pytest.raises(captures.InputError, match=r"4,000 samples .* cursors"):
        capture_measuring.analyse_capture(OpenJob(store, job, "Ada"), capture, settings)
    capture_measuring.analyse_capture(
        OpenJob(store, job, "Ada"), capture, CaptureSettings(roles=settings.roles, span=(0.0, 3.0))
    )


def test_a_long_capture_is_measured_beside_the_pages_and_can_be_stopped(client, store, capture, monkeypatch):
    monkeypatch.setattr(capture_measuring, "AT_ONCE", 7999)  # the two channels have 8,000 samples
    here, stop = f"{CAPTURES}/{capture}", f"{CAPTURES}/{capture}/measuring/stop"
    with monkeypatch.context() as held:
        held.setattr(capture_measuring, "measured", endless)
        assert measured(client, capture).status_code == 303
    assert "Measuring." in client.get(here).text
    assert "s left" in client.get(f"{here}/measuring").text
    assert "is being measured: stop that first" in measured(client, capture).text
    assert client.post(stop).status_code == 303
    assert "HX-Refresh" in client.get(f"{here}/measuring").headers
    assert store.shown("lamp", captures.WHAT) == ()
    assert measured(client, capture).status_code == 303
    work = working.workers.of(working.name_of(store, captures.WHAT, "lamp", capture))
    assert work.ended.wait(60)
    assert (work.state, capture_measuring.measuring(OpenJob(store, "lamp"), capture)) == ("done", None)
    results = captures.capture_view(OpenJob(store, "lamp"), capture).results
    assert [one["analysis"] for one in results] == ["voltage drop"]


# Evidence


def test_a_measurement_becomes_a_reading_of_the_scope_and_moves_the_suspects(client, store, capture):
    measured(client, capture)
    before = {one.part: one.probability for one in jobs.bench_view(OpenJob(store, "lamp")).suspects}
    answer = use(client, store, capture)
    assert answer.status_code == 303
    (entry,) = readings(store)
    assert entry.payload["value"] == pytest.approx(1.5, abs=0.01)
    assert (entry.instrument, entry.attachments, entry.present) == ("scope", (capture,), "yes")
    after = {one.part: one.probability for one in jobs.bench_view(OpenJob(store, "lamp")).suspects}
    assert after.get("X1.1", 0) > before.get("X1.1", 0)
    page = client.get(answer.headers["location"]).text
    assert "In the record: " in page
    assert "Suspects now: " in page
    assert "recorded in drop.csv" in client.get("/jobs/lamp").text


def test_current_is_a_reading_of_the_clamp(client, store, capture):
    measured(client, capture)
    assert use(client, store, capture, key="result 0 1", at="H1", to="").status_code == 303
    (entry,) = readings(store)
    assert (entry.payload["quantity"], entry.instrument) == ("amps", "clamp")
    assert entry.payload["value"] == pytest.approx(1.5, abs=0.01)


def test_the_value_comes_from_the_capture_and_never_from_the_form(client, store, capture):
    measured(client, capture)
    use(client, store, capture, typed="9", value="9", unit="kV")
    assert readings(store)[0].payload["value"] == pytest.approx(1.5, abs=0.01)


IMPOSSIBLE = (
    ({"to": ""}, 422, "lies between two points"),
    ({"at": ""}, 422, "the place is missing"),
    ({"at": "X9.9"}, 422, "Not recorded"),
    ({"state": "flying"}, 422, "Not recorded"),
    ({"key": "result 7 0"}, 422, "this was not measured"),
    ({"key": "result x"}, 422, "this was not measured"),
    ({"key": ""}, 422, "this was not measured"),
    ({"key": "verdict 0"}, 422, "Not recorded"),
    ({"key": "mean 0", "begin": "", "end": "1"}, 422, "the cursors are not set"),
    ({"key": "mean 9", "begin": "0", "end": "1"}, 422, "this was not measured"),
    ({"key": "mean", "begin": "0", "end": "1"}, 422, "this was not measured"),
    ({"test": "gone"}, 422, "no longer among the next ones"),
    ({"shown": "1"}, 409, "measured again meanwhile"),
)


def test_what_cannot_become_evidence_says_why_and_stores_nothing(client, store, capture):
    measured(client, capture)
    for fields, status, words in IMPOSSIBLE:
        answer = use(client, store, capture, **fields)
        assert (fields, answer.status_code, words in answer.text) == (fields, status, True)
    assert readings(store) == []


def test_an_odd_value_is_asked_about_and_stored_after_a_yes(client, store, job):
    high = {"X1.1 drop (V)": np.full(500, 90.0), "lamp current (A)": np.full(500, 3.0)}
    kept = captures.add_capture(OpenJob(store, job, "Ada"), io.BytesIO(text(high)), name="high.csv")
    form = {"key": "mean 0", "begin": "0.1", "end": "0.4", "at": "X1.1:in", "to": "", "state": "on"}
    address = f"{CAPTURES}/{kept.attachment_id}/evidence"
    asked = client.post(address, data=form)
    assert asked.status_code == 422
    assert "90 V on a 12 V net?" in asked.text
    assert readings(store) == []
    assert client.post(address, data=form | {"confirmed": "1"}).status_code == 303
    assert readings(store)[0].payload["value"] == 90


def test_twice_sent_is_once_stored(client, store, capture):
    measured(client, capture)
    for _ in range(2):
        assert use(client, store, capture, entry_id="e-1").status_code == 303
    assert len(readings(store)) == 1


def test_the_mean_between_the_cursors_becomes_a_reading(client, store, capture):
    form = {"key": "mean 1", "begin": "3", "end": "1", "at": "H1", "state": "on"}
    assert client.post(f"{CAPTURES}/{capture}/evidence", data=form).status_code == 303
    assert readings(store)[0].payload["value"] == pytest.approx(1.5, abs=0.002)


STAGES = (
    LAMP
    + """stage compression  "relative compression even"
stage fast  "engine is cranked at its usual speed"  250 rpm else 100 rpm
"""
)


def told(analysis, verdict, *quantities):
    found = [{"name": n, "value": v, "unit": u, "uncertainty": 0.0} for n, v, u in quantities]
    return {"analysis": analysis, "verdict": verdict, "reason": "", "quantities": found, "marks": []}


@pytest.fixture
def of_start(store):
    """A function: what an analysis told of a capture → the capture's view on a job with stages."""
    jobs.open_job(store, jobs.Intake(), who="Ada", job_id="lamp", circuit=STAGES)
    jobs.complain_all(OpenJob(store, "lamp", "Ada"), [("H1", "no", "on")])
    kept = captures.add_capture(OpenJob(store, "lamp", "Ada"), io.BytesIO(text(load())), name="start.csv")

    def view(*results, roles=None):
        document = {
            "capture": kept.attachment_id,
            "settings": plain(CaptureSettings, CaptureSettings(roles=roles or {})),
            "results": list(results),
        }
        store.keep_shown(
            "lamp",
            captures.ShownResult(
                what=captures.WHAT, document=document, engine_version="0", after=1, who="Ada", at=jobs.now()
            ),
        )
        return captures.capture_view(OpenJob(store, "lamp"), kept.attachment_id)

    return view


@pytest.mark.parametrize(("verdict", "value"), [("good", "yes"), ("fault", "no")])
def test_a_verdict_passes_or_fails_its_stage(store, of_start, verdict, value):
    view = of_start(told("relative compression", verdict))
    (offer,) = evidence.offers(OpenJob(store, "lamp"), view)
    assert (offer.quantity, offer.at) == ("stage", "compression")
    place = {"at": offer.at, "state": "on"}
    evidence.use(OpenJob(store, "lamp", "Ada"), view.kept.attachment_id, offer.key, place, shown=view.shown)
    assert readings(store)[0].payload["value"] == value


def test_nothing_is_offered_for_a_stage_that_was_not_judged(store, of_start):
    assert evidence.offers(OpenJob(store, "lamp"), of_start(told("relative compression", "measured"))) == ()


def test_a_speed_in_the_unit_of_a_stage_answers_it(store, of_start):
    view = of_start(told("cranking", "measured", ("cranking speed", 238.4, "rpm"), ("dip", 3.0, "V")))
    (offer,) = evidence.offers(OpenJob(store, "lamp"), view)
    assert (offer.at, offer.words) == ("fast", "238.4 rpm")
    place = {"at": "fast", "state": "on"}
    evidence.use(OpenJob(store, "lamp", "Ada"), view.kept.attachment_id, offer.key, place, shown=view.shown)
    assert readings(store)[0].payload["value"] == pytest.approx(238.4)


def test_a_peak_is_no_reading_of_a_steady_circuit(store, of_start):
    view = of_start(
        told("cranking", "good", ("lowest volts", 8.5, "V"), ("inrush current", 500.0, "A")),
        told(
            "duty cycle", "measured", ("duty", 37.0, "%"), ("frequency", 97.0, "Hz"), ("low level", 0.3, "")
        ),
        roles={"X1.1 drop": "switched signal", "lamp current": "starter current"},
    )
    found = {one.name: (one.quantity, one.words) for one in evidence.offers(OpenJob(store, "lamp"), view)}
    assert found == {
        "duty cycle: duty": ("duty", "37 %"),
        "duty cycle: frequency": ("hertz", "97 Hz"),
        "duty cycle: low level": ("volts", "300 mV"),
        "cranking": ("stage", "passed"),
    }


@pytest.mark.parametrize(
    ("name", "at", "speaks"),
    [
        ("X1.1 out", "X1.1:out", True),
        ("volts at x1.1", "X1.1:out", True),
        ("X1.1 arriving", "X1.1:out", False),
        ("X1.11", "X1.1:out", False),
        ("AX1.1", "X1.1:in", False),
        ("H1", "H1", True),
        ("H1 current", "H1.1", False),
        ("Work_Lamp current", "H1", True),
        ("channel 1", "H1", False),
    ],
)
def test_whether_a_name_speaks_of_a_place(store, job, name, at, speaks):
    circuit = jobs.bench_view(OpenJob(store, job)).circuit.circuit
    assert evidence._speaks_of(name, at, circuit) is speaks


def test_a_channel_named_after_the_next_test_is_suggested_for_it(store, job):
    tests = jobs.bench_view(OpenJob(store, job)).tests
    test = next(one for one in tests if one.quantity == "volts" and one.to is None)
    name = test.at.replace(":", " ")
    data = text({f"{name} (V)": np.full(500, 12.0), "other (V)": np.full(500, 1.0)})
    kept = captures.add_capture(OpenJob(store, job, "Ada"), io.BytesIO(data), name="a.csv")
    view = captures.capture_view(OpenJob(store, job), kept.attachment_id)
    first, other = evidence.between_offers(OpenJob(store, job), view)
    assert first.suggested is not None
    assert (first.suggested.key, first.at, first.state) == (test.key, test.at, test.state)
    assert other.suggested is None


# Pictures, the viewer's questions


def test_a_picture_of_the_screen_goes_into_the_record_and_the_report(client, store, capture):
    measured(client, capture)
    form = {"begin": "0.4", "end": "2", "cursor1": "0.5", "cursor2": "9", "channels": "1", "entry_id": "s-1"}
    assert client.post(f"{CAPTURES}/{capture}/snapshot", data=form).status_code == 303
    photo = next(one for one in store.attachments("lamp") if one.kind == "photo")
    with store.open_attachment("lamp", photo.attachment_id) as source:
        assert Image.open(source).size[0] > 900
    entry = next(one for one in store.evidence("lamp") if one.kind == "note")
    assert entry.payload["text"].startswith("Capture drop.csv, 0.4 to 2 s. voltage drop: fault")
    assert f"/jobs/lamp/files/{photo.attachment_id}" in client.get("/jobs/lamp/report?for=workshop").text
    assert jobs.report_pdf(OpenJob(store, "lamp"), "workshop").startswith(b"%PDF")


def test_a_picture_with_a_reference_behind(client, store, capture):
    other = captures.add_capture(OpenJob(store, "lamp", "Ada"), io.BytesIO(text(load())), name="good.csv")
    form = {"begin": "0", "end": "4", "behind": f"lamp/{other.attachment_id}", "shift": "0.2"}
    assert client.post(f"{CAPTURES}/{capture}/snapshot", data=form).status_code == 303
    assert client.get(f"{CAPTURES}/{capture}/picture.png").content.startswith(b"\x89PNG")


def test_crank_and_cam_are_compared_with_the_known_good_capture_behind(client, store, job):
    def wheels(late: float) -> bytes:
        clock = np.arange(40_000) / 20_000
        angle, _ = turns_of(clock, 800.0)
        cam = hall(angle / 2 - late / 720, [0.1, 0.35, 0.7], 0.1)
        return text({"crank (V)": hall(angle, teeth(60, 58, 59).tolist(), 1 / 60), "cam (V)": cam}, 20_000)

    for name, late in (("good", 0.0), ("late", 8.0)):
        captures.add_capture(
            OpenJob(store, job, "Ada"), io.BytesIO(wheels(late)), name=f"{name}.csv", attachment_id=name
        )
    fields = {"role-0": "crank", "role-1": "cam", "path": "feed", "reference": "lamp/good"}
    assert client.post(f"{CAPTURES}/late/analysis", data=fields).status_code == 303
    view = captures.capture_view(OpenJob(store, job), "late")
    shift = next(one for one in view.results[0]["quantities"] if one["name"] == "cam shift")
    assert shift["value"] == pytest.approx(8.0, abs=0.5)
    assert "known good recording behind" in client.get(f"{CAPTURES}/late").text


def test_captures_of_another_job_can_lie_behind_by_its_number(client, store, capture):
    jobs.open_job(store, jobs.Intake(), who="Ada", job_id="other")
    captures.add_capture(
        OpenJob(store, "other", "Ada"), io.BytesIO(text(load())), name="good.csv", attachment_id="g"
    )
    number = store.job("other").number
    page = client.get(f"{CAPTURES}/{capture}?job={number}&behind=other/g").text
    assert f"job {number}: good.csv" in page
    assert "/jobs/other/captures/g" in page
    assert "There is no job 99" in client.get(f"{CAPTURES}/{capture}?job=99").text
    assert "There is no job" in client.get(f"{CAPTURES}/{capture}?job=²").text
    assert "cannot be shown" in client.get(f"{CAPTURES}/{capture}?behind=nowhere/x").text


def test_windows_cursors_and_events(client, capture):
    here = f"{CAPTURES}/{capture}"
    data = client.get(f"{here}/window?from=0&to=4&pixels=300&channels=0,1").content
    head = json.loads(data[4 : 4 + int.from_bytes(data[:4], "little")])
    assert [one["count"] for one in head["windows"]] == [300, 300]
    first, second = client.get(f"{here}/cursors?from=1&to=3").json()
    assert second["at"] == pytest.approx([1.5, 1.5], abs=0.03)
    assert first["mean"] == pytest.approx(1.5, abs=0.003)
    assert client.get(f"{here}/event?channel=1").json()["time"] == pytest.approx(0.5, abs=0.002)
    assert client.get(f"{here}/event?channel=1&edge=fall").json()["time"] == pytest.approx(3.5, abs=0.002)


@pytest.mark.parametrize(
    ("question", "status"),
    [
        ("window?from=0&to=0&pixels=300&channels=0", 422),
        ("window?from=nan&to=1&pixels=300&channels=0", 422),
        ("window?from=0&to=inf&pixels=300&channels=0", 422),
        ("window?from=0&to=1&pixels=99999&channels=0", 422),
        ("window?from=0&to=1&pixels=300&channels=7", 404),
        ("window?from=0&to=1&pixels=300&channels=a", 422),
        ("window?from=-1e11&to=1e11&pixels=300&channels=0", 200),
        ("window?from=8&to=9&pixels=300&channels=0", 200),
        ("cursors?from=nan&to=1", 422),
        ("cursors?from=-5&to=99", 200),
        ("event?channel=9", 404),
        ("event?channel=0&edge=up", 422),
    ],
)
def test_questions_of_the_viewer_that_make_no_sense(client, capture, question, status):
    assert client.get(f"{CAPTURES}/{capture}/{question}").status_code == status


def test_another_attachment_is_no_capture(client, store, job):
    kept = jobs.Attachment(attachment_id="scan", kind="scan", name="s.txt", at=jobs.now(), who="Ada")
    store.attach(job, kept, io.BytesIO(b"P0100\n"))
    assert client.get(f"{CAPTURES}/scan").status_code == 404
    assert client.get(f"{CAPTURES}/nothing").status_code == 404
    assert client.get("/jobs/nothing/captures").status_code == 404


def test_a_wav_has_counts_until_its_scale_is_given(client, store, job):
    made = io.BytesIO()
    with wave.open(made, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(8000)
        file.writeframes((1000 * np.ones(8000)).astype("<i2").tobytes())
    assert send(client, made.getvalue(), "a.wav").status_code == 303
    (kept,) = store.attachments(job)
    page = client.get(f"{CAPTURES}/{kept.attachment_id}").text
    assert "counts until a gain is given" in page
    fields = {"role-0": "battery volts", "role-1": "", "gain-0": "0.0126", "unit-0": "V"}
    assert measured(client, kept.attachment_id, **fields).status_code == 303
    view = captures.capture_view(OpenJob(store, job), kept.attachment_id)
    assert evidence.between_offers(OpenJob(store, job), view)[0].quantity == "volts"


def test_who_may_only_look_sees_the_results_and_changes_nothing(signed_in, store, job, capture):
    viewer = signed_in("viewer")
    page = viewer.get(f"{CAPTURES}/{capture}").text
    assert "Record" not in page
    assert '<form class="card roles"' not in page
    assert viewer.post(CAPTURES, files={"file": ("a.csv", b"1,2\n")}).status_code == 403
    assert viewer.post(f"{CAPTURES}/{capture}/analysis", data={}).status_code == 403
    assert viewer.post(f"{CAPTURES}/{capture}/evidence", data={}).status_code == 403


def test_a_capture_may_be_larger_than_other_bodies_and_the_limit_is_told(client, job):
    for path, status in ((CAPTURES, 422), ("/jobs/lamp/photos", 413)):
        answer = client.post(path, content=b"x", headers={"content-length": "50000000"})
        assert answer.status_code == status
    answer = client.post(CAPTURES, content=b"x", headers={"content-length": "5000000000"})
    assert (answer.status_code, "At most 4001 MB" in answer.text) == (413, True)


def test_the_job_goes_out_and_in_with_its_captures_and_what_they_showed(client, store, capture, tmp_path):
    measured(client, capture)
    archive = io.BytesIO()
    jobs.export_job(store, "lamp", archive)
    with jobs.JobStore(f"sqlite:///{tmp_path}/other.db") as other:
        archive.seek(0)
        jobs.import_job(other, archive, who="Bo", at=jobs.now())
        view = captures.capture_view(OpenJob(other, "lamp"), capture)
        assert view.results[0]["verdict"] == "fault"
        assert len(view.channels) == 2


def test_a_long_file_is_read_while_its_progress_is_shown(client, store, job, monkeypatch):
    monkeypatch.setattr("halfsplit.workbench.captures.page.AT_ONCE", 100)
    data = text(load())
    assert send(client, data).headers["location"] == CAPTURES
    until(lambda: store.attachments("lamp"), "the file is stored")
    (kept,) = store.attachments("lamp")
    with store.open_attachment("lamp", kept.attachment_id) as file:
        assert file.read() == data
    assert "drop.csv" in client.get(CAPTURES).text


def test_a_long_file_that_is_refused_says_so_until_it_is_put_away(client, store, job, monkeypatch):
    monkeypatch.setattr("halfsplit.workbench.captures.page.AT_ONCE", 10)
    send(client, b"no numbers at all\n" * 20, "words.csv")
    until(lambda: "words.csv was not stored" in client.get(CAPTURES).text, "the page says so")
    (key,) = [key for key, _ in captures.readings_now(OpenJob(store, "lamp"))]
    assert "The page is out of date" not in client.post(f"{CAPTURES}/reading/{key}/stop").text
    assert "was not stored" not in client.get(CAPTURES).text
