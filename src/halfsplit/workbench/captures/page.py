"""Captures of a job: files taken in, the viewer with what it asks for, analyses, readings that become evidence."""

from __future__ import annotations

import os
from collections.abc import Mapping
from typing import Annotated, Any, Final
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Query, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response

from halfsplit import job as jobs
from halfsplit.errors import ConflictError, HalfsplitError, InputError, NotFoundError
from halfsplit.job import Doubt, JobStore, captures
from halfsplit.job import capture_evidence as evidence
from halfsplit.job import capture_measuring as measuring
from halfsplit.job import capture_screen as screen
from halfsplit.job.captures import CaptureSettings, CaptureView
from halfsplit.job.open_job import OpenJob
from halfsplit.workbench.access import Files, Form, JobToMeasure, JobToRead
from halfsplit.workbench.captures.contexts import CapturePage, CapturesPage, Kept, MeasuringFragment, Question
from halfsplit.workbench.forms import Reader as Fields
from halfsplit.workbench.forms import whole
from halfsplit.workbench.guard import LARGEST_FILE
from halfsplit.workbench.rendering import render

router = APIRouter(include_in_schema=False, prefix="/jobs/{job_id}/captures")
Seconds = Annotated[float, Query(allow_inf_nan=False, ge=-1e12, le=1e12)]
SHOWN_AT_FIRST: Final = 5
"""Traces that are shown where no channel has a role: as many as there are colours."""
MOST_OTHERS: Final = 50
AT_ONCE: Final = 20_000_000
"""Bytes up to which a file is read before the page answers; a longer one is read while its progress is shown."""


def _address(job_id: str, capture_id: str = "", **query: str) -> str:
    path = f"/jobs/{quote(job_id)}/captures" + (f"/{quote(capture_id)}" if capture_id else "")
    return f"{path}?{urlencode(query)}" if query else path


# The list


@router.get("")
def captures_page(request: Request, job: JobToRead) -> Response:
    """The captures of a job, and the form for another one."""
    return _list(request, job)


def _list(request: Request, job: OpenJob, problem: str = "") -> Response:
    lines = captures.capture_lines(job)
    page = CapturesPage(job.record, lines, LARGEST_FILE // 1_000_000, problem, captures.readings_now(job))
    return render(request, "captures/captures.html", page, status=422 if problem else 200)


@router.post("")
def add(request: Request, job: JobToMeasure, files: Files) -> Response:
    """Keep a capture; one that cannot be read is refused with its line or byte."""
    if not files:
        return _list(request, job, "No file was chosen.")
    file, name = files[0], files[0].filename or "capture"
    if (file.size or 0) > AT_ONCE:
        source = os.fdopen(os.dup(file.file.fileno()), "rb")  # the form closes its own
        source.seek(0)
        captures.add_in_background(job, source, name=name)
        return RedirectResponse(_address(job.job_id), 303)
    try:
        kept = captures.add_capture(job, file.file, name=name)
    except InputError as error:
        return _list(request, job, f"Not stored. {error}")
    return RedirectResponse(_address(job.job_id, kept.attachment_id), 303)


@router.post("/reading/{key}/stop")
def stop(request: Request, job: JobToMeasure, key: str) -> Response:
    """Stop reading a file that someone sent; nothing of it is kept."""
    try:
        captures.stop_reading(job, key)
    except NotFoundError:
        return _list(request, job, "That file is not being read any longer.")
    return RedirectResponse(_address(job.job_id), 303)


# One capture


@router.get("/{capture_id}")
def capture_page(
    request: Request,
    job: JobToRead,
    capture_id: str,
    kept: str = "",
    behind: str = "",
    other_job: Annotated[str, Query(alias="job")] = "",
) -> Response:
    """One capture: viewer, results, what can become evidence."""
    return _page(request, job, capture_id, kept=kept, behind=behind, other_job=other_job)


def _page(  # noqa: PLR0913 - one page, many reasons to show it
    request: Request,
    job: OpenJob,
    capture_id: str,
    *,
    problem: str = "",
    typed: Mapping[str, str] | None = None,
    question: Question | None = None,
    kept: str = "",
    behind: str = "",
    other_job: str = "",
) -> Response:
    view = captures.capture_view(job, capture_id)
    others, trouble = _others(job, capture_id, other_job)
    reference = None
    behind = behind or view.settings.reference
    if behind:
        reference, trouble = _behind(job.store, behind, trouble)
    width = (view.stop - view.start) / 3
    page = CapturePage(
        job.record,
        view,
        evidence.offers(job, view),
        evidence.between_offers(job, view),
        evidence.places(job),
        typed or _fields(view),
        captures.ROLE_NAMES,
        captures.PATH_NAMES,
        (view.start + width, view.stop - width),
        jobs.new_id(),
        _viewer(view, _address(job.job_id, capture_id), reference),
        others,
        behind if reference else "",
        other_job,
        problem or trouble,
        question,
        _kept(job, kept) if kept else None,
        tuple(dict.fromkeys(result["caution"] for result in view.results if result["caution"])),
        measuring.measuring(job, capture_id),
    )
    return render(request, "captures/capture.html", page, status=422 if problem or question else 200)


def _others(job: OpenJob, capture_id: str, number: str) -> tuple[list[tuple[str, str]], str]:
    """The captures that can lie behind: those of this job, and of another one by its number."""
    known = _captures_of(job, "")
    trouble = ""
    if number.strip():
        try:
            other = job.store.job_by_number(whole(number.strip(), -1))
            known += _captures_of(OpenJob(job.store, other.job_id), f"job {other.number}: ")
        except (NotFoundError, ValueError, OverflowError):
            trouble = f"There is no job {number.strip()[:20]}."
    own = f"{job.job_id}/{capture_id}"
    return list(dict.fromkeys(pair for pair in known if pair[0] != own))[:MOST_OTHERS], trouble


def _captures_of(job: OpenJob, before: str) -> list[tuple[str, str]]:
    kept = [file for file in job.attachments if file.kind == "capture"]
    return [(f"{job.job_id}/{file.attachment_id}", f"{before}{file.name}") for file in reversed(kept)]


def _behind(store: JobStore, behind: str, trouble: str) -> tuple[dict[str, Any] | None, str]:
    other, _, capture_id = behind.partition("/")
    try:
        view = captures.capture_view(OpenJob(store, other), capture_id)
    except HalfsplitError as error:
        return None, f"The reference cannot be shown: {error}"
    return _viewer(view, _address(other, capture_id), None), trouble


def _viewer(view: CaptureView, base: str, reference: dict[str, Any] | None) -> dict[str, Any]:
    """What the viewer is told: names, times and marks; samples it fetches window by window."""
    roles = any(channel.role for channel in view.channels)
    return {
        "base": base,
        "start": view.start,
        "stop": view.stop,
        "channels": [
            {
                "number": channel.number,
                "label": channel.label,
                "unit": channel.unit,
                "edges": channel.edges,
                "time": channel.has_time,
                "shown": bool(channel.role) if roles else place < SHOWN_AT_FIRST,
            }
            for place, channel in enumerate(view.channels)
        ],
        "marks": list(view.marks),
        "reference": reference,
    }


def _kept(job: OpenJob, entry_id: str) -> Kept | None:
    bench = jobs.bench_view(job)
    line = next((entry for entry in bench.evidence if entry.entry_id == entry_id), None)
    return Kept(line, bench.suspects[:3]) if line else None


# The analysis


def _fields(view: CaptureView) -> dict[str, str]:
    settings = view.settings
    fields = {f"role-{channel.number}": channel.role for channel in view.channels}
    fields |= {f"gain-{channel.number}": channel.gain for channel in view.channels}
    fields |= {f"unit-{channel.number}": channel.gain_unit for channel in view.channels}
    return fields | {
        "rate": f"{settings.rate:g}" if settings.rate else "",
        "cylinders": str(settings.cylinders or ""),
        "order": ",".join(map(str, settings.firing_order)),
        "teeth": str(settings.teeth or ""),
        "celsius": "" if settings.celsius is None else f"{settings.celsius:g}",
        "path": settings.path,
        "span": "between" if settings.span else "all",
        "reference": settings.reference,
        "kbit": f"{settings.bit_rate / 1000:g}" if settings.bit_rate else "",
    }


@router.post("/{capture_id}/analysis")
def analyse(request: Request, job: JobToMeasure, capture_id: str, form: Form) -> Response:
    """Measure what the roles allow, and keep what was said."""
    view = captures.capture_view(job, capture_id)
    try:
        measuring.analyse_capture(job, capture_id, _settings(form, view))
    except (ConflictError, InputError, NotFoundError) as error:
        typed = {name: form.get(name, "") for name in _fields(view)}
        return _page(request, job, capture_id, problem=f"Not measured. {error}", typed=typed)
    return RedirectResponse(_address(job.job_id, capture_id) + "#results", 303)


@router.get("/{capture_id}/measuring")
def how_far(request: Request, job: JobToRead, capture_id: str) -> Response:
    """How far the measuring of a long capture is; once it is over, the whole page is fetched anew."""
    going = measuring.measuring(job, capture_id)
    headers = {} if going and not going.problem else {"HX-Refresh": "true"}
    page = MeasuringFragment(job.record, capture_id, going)
    return render(request, "captures/_measuring.html", page, headers=headers)


@router.post("/{capture_id}/measuring/stop")
def stop_measuring(job: JobToMeasure, capture_id: str) -> Response:
    """Stop measuring; what was measured before stays."""
    measuring.stop_measuring(job, capture_id)
    return RedirectResponse(_address(job.job_id, capture_id), 303)


def _settings(form: Mapping[str, str], view: CaptureView) -> CaptureSettings:
    reader = Fields(form)
    roles, scale = {}, {}
    for channel in view.channels:
        if form.get(f"role-{channel.number}"):
            roles[channel.name] = form[f"role-{channel.number}"]
        gain = reader.number(f"gain-{channel.number}")
        if gain is not None:
            scale[channel.name] = (gain, form.get(f"unit-{channel.number}", "") or channel.unit)
    number, _, taken = form.get("take", "").partition(":")
    for channel in view.channels:
        if taken and number == str(channel.number):
            roles = {name: role for name, role in roles.items() if role != taken} | {channel.name: taken}
    rate, celsius, kbit = (reader.number(name) for name in ("rate", "celsius", "kbit"))
    if kbit is not None and not 1 <= kbit <= 20_000:
        raise InputError(f"{kbit:g} kbit/s is no bit rate of a bus", remedy="write it like 500", where="kbit")
    cylinders, teeth = reader.whole("cylinders", 16), reader.whole("teeth", 400)
    if reader.problems:
        where, what = next(iter(reader.problems.items()))
        raise InputError(what, where=where)
    return CaptureSettings(
        roles,
        scale,
        rate,
        cylinders or None,
        _order(form.get("order", "")),
        teeth or None,
        celsius,
        form.get("path", ""),
        _two(form) if form.get("span") == "between" else None,
        form.get("reference", "")[:200],
        bit_rate=1000 * kbit if kbit else None,
    )


def _order(text: str) -> tuple[int, ...]:
    words = [part for part in text.replace("-", ",").replace(" ", ",").split(",") if part]
    if len(words) > 16 or any(not (word.isascii() and word.isdigit() and len(word) < 3) for word in words):
        raise InputError(f"{text[:40]!r} is no firing order", remedy="write it like 1,3,4,2", where="order")
    return tuple(int(word) for word in words)


def _time(form: Mapping[str, str], name: str) -> float | None:
    """The seconds of a field that the viewer fills in; None where there are none."""
    try:
        value = float(form.get(name, ""))
    except ValueError:
        return None
    return value if abs(value) < 1e12 else None


def _two(form: Mapping[str, str]) -> tuple[float, float]:
    """The times of the two cursors, the earlier one first."""
    begin, end = _time(form, "begin"), _time(form, "end")
    if begin is None or end is None:
        where = "begin" if begin is None else "end"
        raise InputError("the cursors are not set", remedy="set both in the trace", where=where)
    return min(begin, end), max(begin, end)


# Evidence


@router.post("/{capture_id}/evidence")
def use(request: Request, job: JobToMeasure, capture_id: str, form: Form) -> Response:
    """Make a measurement a reading of the job; a reading that is odd is asked about, and nothing is stored then."""
    try:
        entry = evidence.use(
            job,
            capture_id,
            form.get("key", ""),
            _place(job, form),
            shown=whole(form.get("shown", ""), 0),
            between=_two(form) if form.get("key", "").startswith("mean") else None,
            entry_id=form.get("entry_id", "")[:60],
            confirmed=form.get("confirmed") == "1",
        )
    except Doubt as doubt:
        asked = Question(str(doubt), doubt.sure, {name: form[name] for name in SENT_AGAIN if name in form})
        return _page(request, job, capture_id, question=asked)
    except (InputError, NotFoundError) as error:
        return _page(request, job, capture_id, problem=f"Not recorded. {error}")
    return RedirectResponse(_address(job.job_id, capture_id, kept=entry.entry_id), 303)


SENT_AGAIN: Final = ("key", "shown", "at", "to", "state", "test", "begin", "end", "entry_id")


def _place(job: OpenJob, form: Mapping[str, str]) -> Mapping[str, Any]:
    """Where it was measured: as the suggested test says, or as typed."""
    wanted = form.get("test", "")
    if not wanted:
        return form
    test = next((test for test in jobs.bench_view(job).tests if test.key == wanted), None)
    if test is None:
        raise InputError("that test is no longer among the next ones", remedy="look at the bench again")
    return test.place


@router.post("/{capture_id}/snapshot")
def snapshot(job: JobToMeasure, capture_id: str, form: Form) -> Response:
    """Keep what the screen shows in the job's record, and so in its report."""
    captures.capture_view(job, capture_id)  # raises where there is no such capture, or it cannot be read
    start, stop = _two(form)
    cursors = (_time(form, "cursor1"), _time(form, "cursor2"))
    numbers = [part for part in form.get("channels", "").split(",") if part.isdecimal() and len(part) < 4]
    behind, _, part = form.get("behind", "").partition("/")
    frame = screen.SnapshotFrame(
        start,
        stop,
        tuple(seconds for seconds in cursors if seconds is not None and start <= seconds <= stop),
        tuple(int(part) for part in numbers[:8]),
        (behind, part) if part else None,
        _time(form, "shift") or 0.0,
    )
    entry = screen.capture_snapshot(job, capture_id, frame, entry_id=form.get("entry_id", "")[:60])
    return RedirectResponse(_address(job.job_id, capture_id, kept=entry.entry_id), 303)


# What the viewer fetches


@router.get("/{capture_id}/window")
def window(
    job: JobToRead,
    capture_id: str,
    start: Annotated[Seconds, Query(alias="from")],
    stop: Annotated[Seconds, Query(alias="to")],
    pixels: Annotated[int, Query(ge=1, le=4096)],
    channels: Annotated[str, Query(pattern=r"^\d{1,3}(,\d{1,3}){0,15}$")],
) -> Response:
    """Some channels from one time to another as a screen of this width shows them: bytes, bounded at any zoom."""
    numbers = [int(part) for part in channels.split(",")]
    data = screen.capture_window(job, capture_id, numbers, start, stop, pixels)
    return Response(data, media_type="application/octet-stream")


@router.get("/{capture_id}/cursors")
def cursors(
    job: JobToRead,
    capture_id: str,
    first: Annotated[Seconds, Query(alias="from")],
    second: Annotated[Seconds, Query(alias="to")],
) -> Response:
    """What each channel reads at two times, and between them."""
    return JSONResponse(screen.capture_cursors(job, capture_id, first, second))


@router.get("/{capture_id}/event")
def event(
    job: JobToRead,
    capture_id: str,
    channel: Annotated[int, Query(ge=0, le=999)],
    edge: Annotated[str, Query(pattern="^(rise|fall)$")] = "rise",
) -> Response:
    """When the first event of a channel is, by which a reference is aligned."""
    return JSONResponse({"time": screen.capture_event(job, capture_id, channel, rising=edge == "rise")})


@router.get("/{capture_id}/picture.png")
def picture(job: JobToRead, capture_id: str) -> Response:
    """The whole capture as a picture, where no script runs."""
    view = captures.capture_view(job, capture_id)
    frame = screen.SnapshotFrame(view.start, view.stop)
    return Response(screen.picture_of(job, view, frame), media_type="image/png")
