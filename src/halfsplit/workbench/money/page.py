"""Time, parts, the authorised limit; photos and other files of a job; the job as one file."""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal
from pathlib import PurePosixPath
from tempfile import TemporaryFile
from typing import IO, Literal
from urllib.parse import quote

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response, StreamingResponse

from halfsplit import job as jobs
from halfsplit.errors import InputError
from halfsplit.job import Authorisation, PartUsed, verbs
from halfsplit.units import read_field
from halfsplit.workbench.access import Files, Form, JobToCharge, JobToMeasure, JobToRead
from halfsplit.workbench.forms import chosen

router = APIRouter(include_in_schema=False, prefix="/jobs/{job_id}")
CHUNK = 1 << 16
SHOWN_IN_PLACE = frozenset({"image/jpeg", "image/png", "image/webp"})
USES: dict[str, jobs.PartUse] = {"fitted": "fitted", "estimate": "estimate", "on suspicion": "on suspicion"}


def _back(job_id: str) -> Response:
    return RedirectResponse(f"/jobs/{quote(job_id)}#costs", 303)


@router.post("/steps")
def add_step(job: JobToCharge, form: Form) -> Response:
    """Minutes as entered, or a step that starts now."""
    typed = form.get("minutes", "").strip()
    if typed:
        quantity = read_field(typed.replace(",", "."), "min")
        minutes, entry_id = quantity.value / 60.0, form.get("entry_id", "")[:60]
        jobs.add_minutes(job, form.get("what", ""), minutes, entry_id=entry_id)
    else:
        verbs.start_step(job, form.get("what", ""))
    return _back(job.job_id)


@router.post("/steps/{step_id}/stop")
def stop_step(job: JobToCharge, step_id: str) -> Response:
    """Stop counting the minutes of a step."""
    verbs.stop_step(job, step_id)
    return _back(job.job_id)


@router.post("/parts")
def add_part(job: JobToCharge, form: Form) -> Response:
    """Add a part with its price."""
    name = form.get("name", "").strip()[:200]
    if not name:
        raise InputError("the part has no name", remedy="name it", where="name")
    price = jobs.read_money(form.get("price", ""), "price")
    typed = form.get("quantity", "")
    amount = jobs.read_money(typed, "quantity") if typed.strip() else Decimal(1)
    if not amount:
        raise InputError("none of them", remedy="enter how many", where="quantity")
    part = PartUsed(
        part_id=jobs.new_id(),
        name=name,
        price=price,
        quantity=amount,
        use=USES.get(form.get("use", ""), "fitted"),
        part_number=form.get("part_number", "").strip()[:60],
        serial=form.get("serial", "").strip()[:60],
        old_part_kept=form.get("old_part_kept") == "1",
    )
    job.store.save_line(job.job_id, part, who=job.who, at=jobs.now())
    return _back(job.job_id)


@router.post("/{kind}/{line_id}/withdraw")
def withdraw(job: JobToCharge, kind: Literal["parts", "steps"], line_id: str) -> Response:
    """Take a part or a piece of work out of the sums; it stays in the record of changes."""
    verbs.withdraw(job, kind, line_id)
    return _back(job.job_id)


@router.post("/limit")
def limit(job: JobToCharge, form: Form) -> Response:
    """Keep the limit that the customer authorised."""
    by_whom = form.get("by_whom", "").strip()[:100]
    if not by_whom:
        raise InputError("who authorised it is missing", remedy="name the person", where="by_whom")
    amount = jobs.read_money(form.get("amount", ""), "amount")
    job.store.authorise(
        job.job_id,
        Authorisation(
            authorisation_id=jobs.new_id(),
            amount=amount,
            by_whom=by_whom,
            at=jobs.now(),
            who=job.who,
            how=form.get("how", "").strip()[:60],
            currency=job.record.intake.settings.currency,
        ),
    )
    return _back(job.job_id)


@router.post("/photos")
def add_photo(job: JobToMeasure, form: Form, files: Files) -> Response:
    """Keep a photo, linked to the entry that it shows."""
    photo = chosen(files, "photo", remedy="choose one, or take it", where="photo")
    jobs.add_photo(job, photo.file, name=photo.filename or "photo", entry_id=form.get("entry_id", ""))
    return RedirectResponse(f"/jobs/{quote(job.job_id)}", 303)


@router.get("/files/{attachment_id}")
def file(job: JobToRead, attachment_id: str) -> Response:
    """An attachment's bytes, as what they are; only pictures are shown in the page, nothing is ever run."""
    kept = job.store.attachment(job.job_id, attachment_id)
    shown = kept.media_type in SHOWN_IN_PLACE
    name = re.sub(r"[^\w.-]+", "_", PurePosixPath(kept.name).name, flags=re.ASCII)[-80:] or "file"
    headers = {
        "Content-Disposition": f'{"inline" if shown else "attachment"}; filename="{name}"',
        "Content-Security-Policy": "default-src 'none'; sandbox",
    }
    source = job.store.open_attachment(job.job_id, attachment_id)
    shown_as = kept.media_type if shown else "application/octet-stream"
    return StreamingResponse(_chunks(source), media_type=shown_as, headers=headers)


def _chunks(source: IO[bytes]) -> Iterator[bytes]:
    """The file piece by piece; closed at the end, or when the browser has gone."""
    with source:
        while piece := source.read(CHUNK):
            yield piece


@router.get("/export")
def export(job: JobToRead) -> Response:
    """The whole job as one file."""
    target = TemporaryFile()  # noqa: SIM115 - closed when it has been sent
    number = job.record.number
    jobs.export_job(job.store, job.job_id, target)
    target.seek(0)
    job.store.accounts.note(job.who, "job exported", jobs.now(), ref=job.job_id)
    headers = {"Content-Disposition": f'attachment; filename="job-{number}.zip"'}
    return StreamingResponse(_chunks(target), media_type="application/zip", headers=headers)
