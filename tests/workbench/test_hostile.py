"""Markup in every text field of every form, and files that are not what they say: nothing runs, nothing breaks."""

import io
import zipfile
from html.parser import HTMLParser

import pytest

from halfsplit import job as jobs
from halfsplit.job import Intake
from halfsplit.job import diagrams as kept_marks
from halfsplit.job.open_job import OpenJob

HOSTILE = "\"><script>alert(1)</script>'{{7*7}}<svg onload=alert(1)>"
MARKS = ("<script>alert", "<svg onload", ">49<")
TYPED = {None, "text", "search", "tel", "email", "password", "number"}
PAGES = [
    "/jobs/new",
    "/jobs/lamp",
    "/jobs/lamp?show=try&part=H1&price=1",
    "/jobs/lamp?at=F1.2&quantity=volts",
    "/jobs/lamp/intake",
    "/jobs/lamp/scan",
    "/jobs/lamp/captures",
    "/jobs/lamp/plan",
    "/settings",
    "/people",
    "/practice",
    "/jobs/lamp/circuit/taps?part=F1&end=F1.2&wire=1",
    "/jobs/lamp/circuit",
    "/jobs/bare/circuit",
]
SHOWN = [*PAGES, "/jobs", "/jobs/lamp/report", "/jobs/lamp/report?for=workshop", "/audit", "/jobs/bare"]
OUTSIDE = ("/scan/live", "/sign-out", "/captures", "/plan")
"""Forms that speak to an instrument or start long work, or take files alone."""


class Forms(HTMLParser):
    """The posting forms of a page: (address, fields), each text field filled with what is hostile."""

    def __init__(self, text):
        super().__init__()
        self.found, self.fields, self.address, self.area, self.choice = [], None, "", None, None
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        if tag == "form" and given.get("method") == "post":
            self.fields, self.address = {}, given.get("action", "")
        if self.fields is None or not given.get("name"):
            if tag == "option" and self.choice and self.choice not in (self.fields or {}):
                self.fields[self.choice] = given.get("value", "on")
            return
        name, kind = given["name"], given.get("type")
        if tag == "textarea" or (tag == "input" and kind in TYPED):
            self.fields[name] = HOSTILE[: int(given.get("maxlength", 2000))]
        elif tag == "input" and kind in ("hidden", "radio", "checkbox"):
            self.fields.setdefault(name, given.get("value", "1"))
        elif tag == "button":
            self.fields.setdefault(name, given.get("value", ""))
        elif tag == "select":
            self.choice = name

    def handle_endtag(self, tag):
        if tag == "select":
            self.choice = None
        if tag == "form" and self.fields is not None:
            self.found.append((self.address, self.fields))
            self.fields = None


def test_markup_in_every_text_field_stays_text(client, store, job, png):
    jobs.open_job(store, Intake(), who="Ada", job_id="bare")
    sent = set()
    for page in PAGES:
        for address, fields in Forms(client.get(page).text).found:
            if any(part in address for part in OUTSIDE):
                continue
            answer = client.post(address, data=fields, headers={"HX-Request": "true"})
            assert answer.status_code < 500, (page, address, fields)
            assert not [mark for mark in MARKS if mark in answer.text], (page, address)
            sent |= {(address.split("?")[0], name) for name, value in fields.items() if HOSTILE[:9] in value}
    assert len({name for _, name in sent}) >= 25
    for page in SHOWN:
        answer = client.get(page)
        assert answer.status_code < 500, page
        assert not [mark for mark in MARKS if mark in answer.text], page
    for audience in ("customer", "workshop"):
        assert client.get(f"/jobs/lamp/report.pdf?for={audience}").content.startswith(b"%PDF-")


def bomb():
    """A few kilobytes that unfold to 200 MB."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("channel.npy", bytes(200_000_000))
    return made.getvalue()


FILES = {
    "svg": b'<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"><script>alert(1)</script></svg>',
    "html": b"<!doctype html><script>alert(1)</script>",
    "empty": b"",
    "zip bomb": bomb,
    "half a picture": b"\xff\xd8\xff\xe0" + bytes(20),
    "polyglot": b"\xff\xd8\xff\xe0<script>alert(1)</script>",
    "nulls": bytes(5000),
}
UPLOADS = [
    ("/jobs/lamp/photos", "photo"),
    ("/jobs/lamp/circuit/diagram", "photo"),
    ("/jobs/bare/circuit/file", "file"),
    ("/jobs/lamp/scan/file", "file"),
    ("/jobs/lamp/captures", "file"),
]


NAMES = ("../../../etc/passwd", 'a".svg', "x" * 300 + ".png", "\u202egnp.exe")


@pytest.mark.parametrize(
    ("kind", "name"), [*((kind, NAMES[0]) for kind in FILES), *(("polyglot", name) for name in NAMES[1:])]
)
def test_a_file_is_taken_for_what_it_is_and_never_run(client, store, job, kind, name):
    jobs.open_job(store, Intake(), who="Ada", job_id="bare")
    data = FILES[kind]() if callable(FILES[kind]) else FILES[kind]
    for address, field in UPLOADS:
        answer = client.post(address, files={field: (name, data, "image/svg+xml")}, data={"entry_id": ""})
        assert answer.status_code < 500, address
        assert "Traceback" not in answer.text
    for job_id in ("lamp", "bare"):
        for kept in store.attachments(job_id):
            served = client.get(f"/jobs/{job_id}/files/{kept.attachment_id}")
            assert served.headers["X-Content-Type-Options"] == "nosniff"
            assert "sandbox" in served.headers["Content-Security-Policy"]
            shown = served.headers["content-type"].split(";")[0]
            assert shown in {"image/jpeg", "image/png", "image/webp", "application/octet-stream"}
            disposition = served.headers["Content-Disposition"]
            assert "/" not in disposition.split("filename=")[1]
    for page in (
        "/jobs/lamp",
        "/jobs/lamp/report",
        "/jobs/lamp/captures",
        "/jobs/lamp/scan",
        "/jobs/bare/circuit",
    ):
        shown = client.get(page)
        assert shown.status_code < 500
        assert not [mark for mark in MARKS if mark in shown.text]


@pytest.mark.parametrize(
    "text", [b"no marks", b"[" * 100_000, b"[]", b'{"marks": 3}', b'{"marks": {"parts": [1]}}', b"\xff\xfe"]
)
def test_marks_of_a_diagram_that_came_with_a_job_are_refused_in_words(client, store, text):
    jobs.open_job(store, Intake(), who="Ada", job_id="bare")
    job = OpenJob(store, "bare", "Ada")
    jobs.add_photo(job, io.BytesIO(text), name=kept_marks.MARKS, kind="document")
    page = client.get("/jobs/bare/circuit/diagram")
    assert page.status_code == 422
    assert "marks of the diagram cannot be read" in page.text
