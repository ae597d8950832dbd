"""The customer's page: one side of A4 in plain words, without percentages."""

from __future__ import annotations

from dataclasses import dataclass, replace
from io import BytesIO
from typing import Any, TypeVar

from halfsplit.report.pdf import make_pdf
from halfsplit.report.plain import Album, job_data
from halfsplit.report.view import CheckView, JobView, StepView

Said = TypeVar("Said", StepView, CheckView)


@dataclass(frozen=True)
class Room:
    """How much is told: characters of a text, entries of a list, photos, size of the letters in points."""

    text: int
    entries: int
    photos: int
    size: float


ROOMS = (
    Room(700, 8, 3, 10.0),
    Room(500, 8, 3, 9.5),
    Room(400, 8, 3, 9.0),
    Room(400, 8, 2, 8.5),
    Room(400, 6, 2, 8.0),
    Room(300, 5, 2, 8.0),
    Room(280, 4, 2, 9.0),
    Room(200, 3, 2, 8.5),
    Room(140, 3, 0, 8.0),
    Room(90, 2, 0, 8.0),
    Room(60, 2, 0, 7.0),
    Room(40, 1, 0, 7.0),
    Room(24, 1, 0, 6.5),
)
"""From roomy to terse; the first that fits on one page is taken."""


def customer_pdf(view: JobView) -> bytes:
    """The page for the customer, as PDF/A-2b. What does not fit on one page is cut and said to stand in the record."""
    from pypdf import PdfReader  # slow to import

    lists = (
        _decisive(view),
        view.checks,
        view.parts,
        view.finding.missing,
        view.finding.declined,
        view.unplugged,
    )
    texts = (view.complaint.text, view.finding.cause, view.finding.consequence, view.correction)
    for room in ROOMS:
        album = Album(room.photos)
        data: dict[str, Any] = _flowing(job_data(_customers(view, room), album, room.text))
        data["size"] = room.size
        numbered = [
            (number, photo) for number, step in enumerate(data["steps"], 1) for photo in step["photos"]
        ]
        data["shown"] = [photo | {"step": number} for number, photo in numbered if photo["file"]]
        data["left_out"] = any(len(rows) > room.entries for rows in lists) or any(
            len(text) > room.text for text in texts
        )
        made = make_pdf("customer", data, view.as_of, album.files)
        if len(PdfReader(BytesIO(made)).pages) == 1:
            break
    return made


def for_customer(view: JobView) -> JobView:
    """What the customer's page tells, as much as it has room for at best: for those who show it elsewhere."""
    return _customers(view, ROOMS[0])


def _flowing(value: Any) -> Any:
    """The same without ends of lines, which take room."""
    match value:
        case str():
            return " ".join(value.split("\n"))
        case list():
            return [_flowing(item) for item in value]
        case dict():
            return {key: _flowing(item) for key, item in value.items()}
    return value


def _customers(view: JobView, room: Room) -> JobView:
    """What concerns the customer, as much of it as there is room for."""
    some = slice(room.entries)
    steps = [_plainly(step, "reading", "allowed") for step in _decisive(view)[some]]
    checks = [_plainly(check, "before", "after", "allowed") for check in view.checks[some]]
    finding = replace(
        view.finding,
        shown=view.finding.shown[some],
        missing=view.finding.missing[some],
        declined=view.finding.declined[some],
    )
    return replace(
        view,
        suspects=(),
        drawing="",
        cautions=(),
        work=(),
        circuit="",
        steps=tuple(steps),
        checks=tuple(checks),
        finding=finding,
        parts=view.parts[some],
        earlier_work=view.earlier_work[some],
        arrival_codes=view.arrival_codes[some],
        unplugged=view.unplugged[some],
        refitted=view.refitted[some],
        limits=view.limits[-1:],
    )


def _decisive(view: JobView) -> tuple[StepView, ...]:
    """Each decisive reading once, the last of one that was repeated; those after the repair have their own table."""
    decisive = [
        step for step in view.steps if step.decisive and not step.struck and step.phase != "after repair"
    ]
    return tuple({(step.plain or step.what, step.state): step for step in decisive}.values())


def _plainly(said: Said, *readings: str) -> Said:
    """The same in the customer's words where it has some (``plain…``); these of its fields are readings."""
    plain = {name: getattr(said, f"plain_{name}") or getattr(said, name) for name in readings}
    told = {name: _without_percent(text) for name, text in plain.items()}
    return replace(said, what=said.plain or said.what, **told)  # type: ignore[arg-type]  # readings are text


def _without_percent(reading: str) -> str:
    """A duty cycle of '45 %' is told as '45 in 100'."""
    return reading.replace(" %", "%").replace("%", " in 100")
