"""The pages of fault codes: nothing dropped in silence, nothing lost, and one cause for many from the posterior.

Vehicle, units, codes and reports are invented here.
"""

import re
from html import unescape

import pytest

from halfsplit import job as jobs
from halfsplit.job import Intake, causes, scan_evidence, scans
from halfsplit.job.open_job import OpenJob
from halfsplit.store import struck_ids

from .rear_feed import AFTER, ARRIVAL, CIRCUIT, COMPLAINTS, WORKS

PAGES = ("", "/cause", "/compare", "/live", "?line=3", "?only=unclear")


@pytest.fixture
def van(store) -> str:
    jobs.open_job(store, Intake(), who="Ada", job_id="van", circuit=CIRCUIT)
    jobs.complain_all(OpenJob(store, "van", "Ada"), (*COMPLAINTS, *WORKS))
    return "van"


def paste(client, text, moment="arrival"):
    answer = client.post("/jobs/van/scan/paste", data={"text": text, "moment": moment})
    assert answer.status_code == 303, answer.text
    return answer.headers["location"].partition("report=")[2]


def told(client, scan_id):
    answer = client.post(f"/jobs/van/scan/{scan_id}/table", data={"then": "tell", "state": "all on"})
    assert answer.status_code == 303


def counting(store, job_id):
    """The entries that are not struck out."""
    entries = store.evidence(job_id)
    struck = struck_ids(entries)
    return [entry for entry in entries if entry.kind != "strike" and entry.entry_id not in struck]


def test_every_page_opens_with_and_without_reports(client, van):
    for text in ("", ARRIVAL):
        if text:
            paste(client, text)
        for path in PAGES:
            answer = client.get(f"/jobs/van/scan{path}")
            assert answer.status_code == 200, path
            assert not re.search(r"<style|\son\w+=|\sstyle=|<script(?![^>]*\ssrc=)", answer.text), path


def test_every_line_is_shown_with_what_it_was_read_as(client, van):
    scan_id = paste(client, ARRIVAL)
    page = unescape(client.get(f"/jobs/van/scan?report={scan_id}").text)
    for number, line in enumerate(ARRIVAL.splitlines(), 1):
        item = page.split(f'id="line-{number}"')[1].split("</li>")[0]
        assert line.strip() in item
    assert "Not understood: line 11" in page


def test_a_corrected_line_counts_from_then_on_and_can_be_taken_back(client, store, van):
    scan_id = paste(client, ARRIVAL)
    form = {"line": "11", "kind": "code", "code": "B1044-13", "status": "2f"}
    assert client.post(f"/jobs/van/scan/{scan_id}/line", data=form).status_code == 303
    kept = scans.report_of(OpenJob(store, van), scan_id)
    assert [code.name for code in kept.report.unit("Level unit").codes] == ["B1044-13"]
    assert kept.report.unclear == ()
    client.post(f"/jobs/van/scan/{scan_id}/line", data={"line": "11", "undo": "1"})
    assert scans.report_of(OpenJob(store, van), scan_id).report.unit("Level unit").codes == ()


def test_a_correction_that_cannot_be_is_told_and_changes_nothing(client, store, van):
    scan_id = paste(client, ARRIVAL)
    for form in (
        {"line": "11", "kind": "code", "code": "no such"},
        {"line": "11", "kind": "unit"},
        {"line": "11", "kind": "<b>"},
    ):
        answer = client.post(f"/jobs/van/scan/{scan_id}/line", data=form)
        assert answer.status_code == 422
        assert "is as it was" in answer.text
    assert (
        client.post(f"/jobs/van/scan/{scan_id}/line", data={"line": "99", "kind": "unit"}).status_code == 404
    )
    assert not [entry for entry in store.evidence(van) if entry.kind == "scan line"]


@pytest.mark.parametrize(
    "data", [b"", b"  \n \n", b"\x00\x01\x02binary", b"%PDF-1.7 broken", b"PK\x03\x04zip"]
)
def test_a_file_that_is_no_report_is_refused_in_words(client, store, van, data):
    answer = client.post(
        "/jobs/van/scan/file", data={"moment": "arrival"}, files={"report": ("report.pdf", data)}
    )
    assert answer.status_code == 422
    assert "Not stored" in answer.text
    assert scans.kept_reports(OpenJob(store, van)) == ()


def test_what_was_pasted_in_vain_is_still_in_the_field(client, van):
    answer = client.post("/jobs/van/scan/paste", data={"text": ARRIVAL, "moment": "yesterday"})
    assert answer.status_code == 422
    assert "Tailgate unit: no response" in answer.text


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("report.html", b"<html><body><h1>Tailgate unit</h1><p>does not answer</p></body></html>"),
        ("report.csv", b"unit;status\nTailgate unit;does not answer\n"),
        ("report.txt", "Tailgate unit: does not answer \u00e9".encode("utf-16")),
    ],
)
def test_a_file_of_any_form_is_read_and_never_served_as_a_page(client, store, van, name, data):
    answer = client.post("/jobs/van/scan/file", data={"moment": "arrival"}, files={"report": (name, data)})
    assert answer.status_code == 303
    kept = scans.kept_reports(OpenJob(store, van))[0]
    assert kept.silent == ("Tailgate unit",)
    served = client.get(f"/jobs/van/files/{kept.file}")
    assert served.headers["content-type"] == "application/octet-stream"
    assert served.content == data


def test_the_open_feed_leads_before_any_reading_of_the_circuit(client, store, van):
    """The aim of the issue: three complaints and four silent units from one open feed."""
    scan_id = paste(client, ARRIVAL)
    told(client, scan_id)
    assert not [
        entry
        for entry in store.evidence(van)
        if entry.kind == "reading" and entry.payload["quantity"] != "answers"
    ]
    found = causes.causes_of(OpenJob(store, van))
    assert found is not None
    assert (found.symptoms, found.silent, found.readings) == (8, 4, 0)
    first = found.cards[0]
    assert first.kind == "feed"
    assert first.stretch == "SP1 – F30 – SP30"
    assert len(first.explains) == 8
    assert first.leaves == first.contradicts == ()
    assert jobs.bench_view(OpenJob(store, van)).suspects[0].part in {one.part for one in first.members}
    assert [card.probability for card in found.cards] == sorted(
        (card.probability for card in found.cards), reverse=True
    )
    page = client.get("/jobs/van/scan/cause").text
    assert "Explains 8 of 8" in page


def test_a_cause_is_ranked_by_the_posterior_and_not_by_how_much_it_explains(client, store):
    """The rear feed explains as many symptoms as the ground on the left; what works on the feed speaks against it."""
    jobs.open_job(store, Intake(), who="Ada", job_id="van", circuit=CIRCUIT)
    said = [("M9", "no", "all on"), ("H9", "no", "all on"), ("E30", "yes", "all on")]
    jobs.complain_all(OpenJob(store, "van", "Ada"), said)
    text = "Tailgate unit: no response\nCamera unit: no response\nTrailer unit\n  no codes\nLevel unit\n  no codes\n"
    told(client, paste(client, text))
    found = causes.causes_of(OpenJob(store, "van"))
    assert found.symptoms == 4
    first, *others = found.cards
    assert (first.kind, first.stretch) == ("ground", "ground point “rear left” (E3)")
    assert len(first.explains) == 4
    assert first.contradicts == ()
    assert first.probability > 0.9
    unopposed = {card.stretch for card in others if not any("E30" in one for one in card.contradicts)}
    assert "SP1 – F30 – SP30" not in unopposed


def test_before_and_after_shows_it_gone_and_the_units_answer_now(client, store, van):
    told(client, paste(client, ARRIVAL))
    jobs.take(OpenJob(store, van, "Ada"), "repair", {"what": "rear feed made good", "part": "F30"})
    assert 'value="after repair" selected' in client.get("/jobs/van/scan").text
    told(client, paste(client, AFTER, "after repair"))
    pair = scans.side_by_side(OpenJob(store, van))
    assert set(pair.comparison.answers_now) == {"Tailgate unit", "Trailer unit", "Camera unit", "Level unit"}
    assert [one.code for one in pair.comparison.of("gone")] == ["U0230-87"]
    assert [one.code for one in pair.comparison.of("new")] == ["C1A20-16"]
    page = client.get("/jobs/van/scan/compare").text
    assert "Answers now" in page
    assert "U0230-87" in page
    assert "Gone" in page
    # after a repair a report is a second look, not evidence of what was wrong
    assert [
        check.state
        for check in jobs.bench_view(OpenJob(store, van)).checks
        if check.place["quantity"] == "answers"
    ] != []
    assert "bad" not in [check.state for check in jobs.bench_view(OpenJob(store, van)).checks]


def test_two_tools_that_name_a_unit_differently_are_told_apart_by_the_table(client, store, van):
    first = paste(client, "Tailgate unit\n  B1044-13 status: 0x2F\n")
    second = paste(client, "Heckklappe\n  no codes\n", "after repair")
    assert scans.side_by_side(OpenJob(store, van)).comparison.of("not known") != ()
    for scan_id in (first, second):
        key = scans.report_of(OpenJob(store, van), scan_id).report.units[0].key
        client.post(f"/jobs/van/scan/{scan_id}/table", data={"unit-0": key, "part-0": "A11", "then": "save"})
    assert [one.code for one in scans.side_by_side(OpenJob(store, van)).comparison.of("gone")] == ["B1044-13"]


def test_told_again_after_a_change_only_the_difference_is_struck_out(client, store, van):
    scan_id = paste(client, ARRIVAL)
    told(client, scan_id)
    before = {entry.entry_id for entry in store.evidence(van)}
    told(client, scan_id)
    assert {entry.entry_id for entry in store.evidence(van)} == before
    key = scans.report_of(OpenJob(store, van), scan_id).report.unit("Level unit").key
    for part in ("", "A14"):
        form = {"unit-0": key, "part-0": part, "then": "tell", "state": "all on"}
        assert client.post(f"/jobs/van/scan/{scan_id}/table", data=form).status_code == 303
        counts = [entry for entry in counting(store, van) if entry.payload.get("at") == "A14"]
        assert len(counts) == bool(part)


def test_a_struck_report_takes_its_evidence_with_it(client, store, van):
    scan_id = paste(client, ARRIVAL)
    told(client, scan_id)
    client.post(f"/jobs/van/scan/{scan_id}/strike", data={"reason": "another van"})
    assert scans.kept_reports(OpenJob(store, van)) == ()
    assert {entry.kind for entry in counting(store, van)} == {"complaint", "scan table"}


def test_a_code_is_told_only_with_its_pin_and_only_while_it_is_there(client, store, van):
    text = "Body control unit\n  B1044-11 status: 0x2F\n  B1045-12 status: 0x28\n  B0001-13 status: 0x2F\n"
    scan_id = paste(client, text)
    table = scan_evidence.table_of(OpenJob(store, van), scan_id)
    assert [code.why for code in table.codes] == [
        "which pin?",
        "not there now, or not tested: it says nothing of what can be measured now",
        "a restraint circuit: it is not measured here",
    ]
    assert "never probed" in client.get("/jobs/van/scan/cause").text
    key = table.units[0].key
    form = {"of-0": key, "code-0": "B1044-11", "failure-0": "circuit low", "pin-0": "30", "then": "tell"}
    client.post(f"/jobs/van/scan/{scan_id}/table", data=form)
    codes = [entry.payload for entry in store.evidence(van) if entry.kind == "code"]
    assert [(one["module"], one["failure"], one["pin"]) for one in codes] == [("A2", "circuit low", "30")]
    assert (
        client.post(f"/jobs/van/scan/{scan_id}/table", data=form | {"failure-0": "magic"}).status_code == 422
    )


def test_a_code_that_the_circuit_cannot_take_is_set_aside_and_the_bench_stands(store, van):
    for said in (
        {"module": "A2", "failure": "circuit low", "pin": "99"},
        {"module": "F30", "failure": "circuit low", "pin": "1"},
        {"module": "A1", "failure": "lost communication", "pin": "F30"},
        {"module": "A1", "failure": "circuit open"},
    ):
        entry = jobs.take(OpenJob(store, van, "Ada"), "code", said)
        with OpenJob(store, van).bench() as bench:
            assert entry.entry_id in bench.told.refused


def test_a_unit_that_fell_silent_midway_is_no_evidence_of_either(client, store, van):
    problems = ["Camera unit: stopped answering while it was read: no answer"]
    text = "Camera unit\n  does not answer\nLevel unit\n  does not answer\n"
    kept = scans.keep_report(
        OpenJob(store, van, "Ada"),
        text.encode(),
        name="live",
        moment="arrival",
        source="live",
        problems=problems,
    )
    told(client, kept.scan_id)
    readings = [entry.payload["at"] for entry in counting(store, van) if entry.kind == "reading"]
    assert readings == ["A14"]
    assert "it answered and then fell silent" in client.get("/jobs/van/scan/cause").text


def test_a_report_of_a_thousand_codes_leaves_nothing_out_in_silence(client, store, van):
    lines = [f"Unit {n} of many\n  B1{n:03X}-13 status: 0x2F" for n in range(400)]
    lines += ["Level unit", *(f"  B1{n:03X}-13 status: 0x2F" for n in range(600))]
    scan_id = paste(client, "\n".join(lines))
    page = client.get("/jobs/van/scan/cause").text
    assert (
        "Not shown: 400 codes of units that are not in this circuit, 450 more codes, 251 more units" in page
    )
    assert page.count(' name="') < 1000  # what a server takes of one form
    assert client.get(f"/jobs/van/scan?report={scan_id}&from=1401").status_code == 200
    key = scans.report_of(OpenJob(store, van), scan_id).report.unit("Level unit").key
    form = {"unit-0": key, "part-0": "A14", "then": "save"}
    assert client.post(f"/jobs/van/scan/{scan_id}/table", data=form).status_code == 303


def test_a_job_without_a_circuit_says_that_one_is_needed(client, store):
    jobs.open_job(store, Intake(), who="Ada", job_id="van")
    scan_id = paste(client, ARRIVAL)
    assert "The circuit comes first" in client.get("/jobs/van/scan/cause").text
    assert client.post(f"/jobs/van/scan/{scan_id}/table", data={"then": "tell"}).status_code == 422
    assert client.get("/jobs/van/scan/compare").status_code == 200


def test_a_viewer_reads_and_changes_nothing(signed_in, store, van):
    viewer = signed_in("viewer")
    assert viewer.get("/jobs/van/scan").status_code == 200
    assert viewer.post("/jobs/van/scan/paste", data={"text": ARRIVAL, "moment": "arrival"}).status_code == 403
    assert viewer.post("/jobs/van/scan/live", data={"vehicle": "simulated"}).status_code == 403


def test_reports_travel_with_the_job(client, store, van, tmp_path):
    told(client, paste(client, ARRIVAL))
    with (tmp_path / "van.zip").open("w+b") as file:
        jobs.export_job(store, van, file)
        file.seek(0)
        with jobs.JobStore(f"sqlite:///{tmp_path}/other.db") as other:
            jobs.import_job(other, file, who="Bo", at=jobs.now())
            assert [one.silent for one in scans.kept_reports(OpenJob(other, van))] == [
                ("Tailgate unit", "Trailer unit", "Camera unit", "Level unit")
            ]


def test_a_closed_job_takes_no_report(client, store, van):
    jobs.close(OpenJob(store, van, "Ada"), complaint="a", cause="b", correction="c")
    assert client.post("/jobs/van/scan/paste", data={"text": ARRIVAL, "moment": "arrival"}).status_code == 409
    assert client.get("/jobs/van/scan").status_code == 200
