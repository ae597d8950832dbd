"""The diagram of a job: its pages as they were given, the marks on them, and the circuit that the marks become.

Pages and marks are files of the job. Each change stores the marks anew, with the name of those before, so that
everything can be taken back and travels with the job.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from io import BytesIO
from typing import Any

from halfsplit.circuit.kinds import KINDS
from halfsplit.diagram import edit, worker
from halfsplit.diagram.marks import Mark, Marks, Page, from_json, to_json
from halfsplit.diagram.sheet import Spot, middle, within
from halfsplit.diagram.worker import Worker
from halfsplit.diagram.write import Written, written
from halfsplit.drawing import Overlays
from halfsplit.errors import ConflictError, InputError, NotFoundError
from halfsplit.job.diagram_picture import PagePicture, best_page, corners_picture, marked_page, measured_page
from halfsplit.job.open_job import OpenJob
from halfsplit.job.verbs import DIAGRAM, add_photo, save_circuit
from halfsplit.notation.checked import check_text

MARKS = "marks of the diagram.json"
"""The name of the files that hold the marks; the last one counts."""
PART_KINDS = tuple(KINDS)
"""What a part on a page can be."""
MOST_PAGES = 12
LISTS = ("parts", "pins", "joints", "traces", "crossings")
"""What is marked on pages, by the names of its lists."""
OWN_LINES = ("state", "stage", "reach", "suspect", "gauge", "terminator", "include", "#")
"""First words of the lines that no mark makes: they are of the text alone."""
_WORKER = Worker()
_size = lru_cache(maxsize=8)(partial(_WORKER.ask, worker.size))
_picture = lru_cache(maxsize=8)(partial(_WORKER.ask, worker.picture))


@dataclass(frozen=True)
class DiagramView:
    """The diagram as the page shows it.

    ``version``: name of the stored marks ('' before there are any), ``before``: of those that *Undo* goes back to.
    ``proposed``: how many wires wait; ``doubtful``: how many spots to look at first. ``loose``: signal → how many ends.
    ``orphans``: names of marks that the circuit's text no longer has. ``notes``: what the circuit takes for granted.
    """

    marks: Marks
    version: str
    before: str
    proposed: int
    confirmed: int
    doubtful: int
    loose: Mapping[str, int]
    orphans: tuple[str, ...]
    notes: tuple[str, ...]


def diagram_view(job: OpenJob) -> DiagramView:
    """The diagram of a job, with what is still to be done on it."""
    marks, version, before = _stored(job)
    text, circuit = written(marks), job.circuit
    orphans: tuple[str, ...] = ()
    if circuit is not None:
        known = {*circuit.parts, *(wire.name for wire in circuit.model.wires), *circuit.points}
        known |= {point.partition(":")[0] for point in circuit.points}
        missing = tuple(name for name in text.marks_of if name not in known)
        # a circuit that was not made of these marks has next to none of their names
        orphans = missing if 2 * len(missing) < len(text.marks_of) else ()
    traces = list(marks.traces.values())
    ends = edit.loose_ends(marks)
    return DiagramView(
        marks,
        version,
        before,
        sum(trace.state == "proposed" for trace in traces),
        sum(trace.state != "proposed" for trace in traces),
        sum(len(trace.doubts) for trace in traces) + len(marks.crossings),
        {name: len(keys) for name, keys in ends.items()},
        orphans,
        text.notes,
    )


def _stored(job: OpenJob, version: str = "") -> tuple[Marks, str, str]:
    """The marks of a version (the latest if not given), its name, and that of the one before."""
    names = [attachment.attachment_id for attachment in job.attachments if attachment.name == MARKS]
    names = [name for name in names if version in ("", name)]
    if not names:
        return Marks(), "", ""
    try:
        data = json.loads(job.file(names[-1]))
        marks, before = data["marks"], str(data.get("before", ""))
    except (ValueError, TypeError, KeyError, RecursionError) as error:  # it came with a job that was taken in
        raise InputError("the marks of the diagram cannot be read") from error
    return from_json(marks), names[-1], before


def _keep(job: OpenJob, marks: Marks, before: str) -> None:
    text = json.dumps({"before": before, "marks": to_json(marks)}, separators=(",", ":"))
    add_photo(job, BytesIO(text.encode()), name=MARKS, kind="document")


def warm_reader() -> None:
    """Starts the reader beside everything else: somebody is about to lay a page in."""
    _WORKER.warm()


# Pages


def add_page(job: OpenJob, data: bytes, name: str, number: int = 1) -> int:
    """Lays a page into the job, read as far as it can be; the number of pages that the file has.

    Raises:
        InputError: it is no diagram, locked, damaged, too large, or takes too long to read; nothing is stored then.
    """
    kind, pages = _WORKER.ask(worker.pages_of, data)
    marks, version, _ = _stored(job)
    if len(marks.pages) >= MOST_PAGES:
        raise ConflictError(f"the diagram has {MOST_PAGES} pages already: begin another job for more")
    key = marks.fresh("g")
    if kind == "picture":
        corners, width, height, matrix = _WORKER.ask(worker.paper, data, ())
        read = Marks().with_marks(
            Page(key, "", 1, width, height, "raster", name, (*matrix, *sum(corners, ())))
        )
    else:
        read = _WORKER.ask(worker.read_page, data, number, key, name)
    stored = add_photo(job, BytesIO(data), name=f"{DIAGRAM} {name}".strip(), kind="document")
    page = read.pages[key]
    renamed = _renumbered(read, marks)
    added: list[Mark] = [mark for name in LISTS for mark in getattr(renamed, name).values()]
    _keep(job, marks.with_marks(replace(page, file_hash=stored.sha256), *added), version)
    return int(pages)


def _renumbered(read: Marks, marks: Marks) -> Marks:
    """The marks of a new page under keys that the other pages do not use."""
    letters = {key[0] for name in LISTS for key in getattr(read, name)}
    shift = {letter: int(marks.fresh(letter)[1:]) - 1 for letter in letters}

    def moved(value: Any, name: str) -> Any:
        named = name in ("key", "part", "a", "b") and isinstance(value, str)
        if named and value[:1] in shift and value[1:].isdigit():
            return f"{value[0]}{int(value[1:]) + shift[value[0]]}"
        return [moved(item, "key") for item in value] if name == "traces" else value

    plain = to_json(read)
    for name in LISTS:
        plain[name] = [{field: moved(value, field) for field, value in item.items()} for item in plain[name]]
    return from_json(plain)


def _page_file(job: OpenJob, page: Page) -> bytes:
    kept = next((attachment for attachment in job.attachments if attachment.sha256 == page.file_hash), None)
    if kept is None:
        raise NotFoundError("the file of this page is not in the job")
    return job.file(kept.attachment_id)


def marked_pages(job: OpenJob, view: DiagramView, last: str = "") -> tuple[PagePicture, ...]:
    """Each page as SVG to mark on; ``last``: the mark from which a path goes on."""
    pictures = []
    for page in view.marks.pages.values():
        made = marked_page(view.marks, page, _address(job, page), last)
        if page.kind == "raster" and not _is_marked(view.marks, page.key):
            corners = _corners(page)
            whole = corners_picture(f"{_path(job, page)}?whole=1", _size(_page_file(job, page)), corners)
            made = replace(made, corners=",".join(f"{x:.1f},{y:.1f}" for x, y in corners), whole=whole)
        pictures.append(made)
    return tuple(pictures)


def _is_marked(marks: Marks, key: str) -> bool:
    """Whether anything is marked on a page: its marks would not lie where they were under other corners."""
    return any(
        mark.page == key for held in (marks.parts, marks.traces, marks.joints) for mark in held.values()
    )


def _address(job: OpenJob, page: Page) -> str:
    """Where the picture of a page is; another one when its corners were moved, since browsers keep what they have."""
    shape = ",".join(f"{coordinate:.2f}" for pair in _corners(page) for coordinate in pair)
    return _path(job, page) + (f"?at={zlib.crc32(shape.encode()):x}" if shape else "")


def _path(job: OpenJob, page: Page) -> str:
    return f"/jobs/{job.job_id}/circuit/diagram/pages/{page.key}"


def bench_page(job: OpenJob, overlays: Overlays, names: Iterable[str]) -> PagePicture | None:
    """The page of the diagram that shows most of what is named, with what is known laid over it; None without one."""
    marks, _, _ = _stored(job)
    if not any(trace.state != "proposed" for trace in marks.traces.values()):
        return None
    of = written(marks).marks_of
    page = best_page(marks, of, names)
    return measured_page(marks, page, _address(job, page), of, overlays) if page else None


def page_picture(job: OpenJob, key: str, *, whole: bool = False) -> tuple[bytes, str]:
    """A page to lay the marks on, and its media type; ``whole``: a photo as it was taken."""
    marks, _, _ = _stored(job)
    page = marks.pages.get(key)
    if page is None:
        raise NotFoundError(f"the diagram has no page {key[:20]!r}")
    data = _page_file(job, page)
    if data.lstrip()[:1] == b"<":
        return data, "image/svg+xml"
    return _picture(data, page.number, () if whole else _corners(page)), "image/png"


def _corners(page: Page) -> tuple[Spot, ...]:
    """The corners of the paper in a photo, which are kept behind its homography."""
    numbers = page.homography[9:]
    return tuple(zip(numbers[::2], numbers[1::2], strict=True))


def set_corners(job: OpenJob, key: str, corners: tuple[Spot, ...]) -> None:
    """The corners of the paper as somebody dragged them, pixels of the photo; only before anything is marked."""
    marks, version, _ = _stored(job)
    page = marks.pages.get(key)
    if page is None or page.kind != "raster":
        raise NotFoundError("there is no such photo")
    if _is_marked(marks, key):
        raise ConflictError("parts are marked on this photo already: its corners stay")
    paper, width, height, matrix = _WORKER.ask(worker.paper, _page_file(job, page), corners)
    made = Page(key, page.file_hash, 1, width, height, "raster", page.name, (*matrix, *sum(paper, ())))
    _keep(job, marks.with_marks(made), version)


# Marks


def change_marks(job: OpenJob, act: str, fields: Mapping[str, Any], based_on: str = "") -> str:
    """One act on the marks, stored; the mark from which a path goes on, '' where none does.

    Raises ConflictError where somebody else changed them in the meantime.
    """
    marks, version, before = _stored(job)
    if based_on and based_on != version:
        raise ConflictError("somebody else changed the diagram in the meantime: look again, then repeat it")
    if act == "undo":
        if not before:
            raise ConflictError("there is nothing to take back")
        earlier, _, still_earlier = _stored(job, before)
        _keep(job, earlier, still_earlier)
        return ""
    if act in ("walk", "draw"):
        fields = {**fields, "way": _way(job, marks, fields)}
    made = edit.changed(marks, act, fields)
    if made != marks:
        _keep(job, made, version)
    return edit.goes_on(made, fields) if act == "walk" else ""


def _way(job: OpenJob, marks: Marks, fields: Mapping[str, Any]) -> tuple[Spot, ...]:
    """The wire between two taps as the photo shows it; empty on a page of lines, and where none is dark."""
    page = marks.pages.get(str(fields.get("page", "")))
    if page is None or page.kind != "raster":
        return ()
    before = str(fields.get("before", ""))
    try:
        stop = float(fields["x"]), float(fields["y"])
        if before in marks.parts:
            start = middle(marks.parts[before].box)
        elif before in marks.joints:
            start = marks.joints[before].spot
        else:
            start, stop = stop, (float(fields["x2"]), float(fields["y2"]))
    except (KeyError, TypeError, ValueError):
        return ()
    there = [part.box for part in marks.parts.values() if part.page == page.key]
    own = [box for box in there if within(start, box) or within(stop, box)]
    boxes = tuple(box for box in there if box not in own)
    if fields.get("name") and not any(within(stop, box) for box in own):
        own.append(edit.box_around(page, stop))
    way: tuple[Spot, ...] = _WORKER.ask(
        worker.follow, _page_file(job, page), _corners(page), start, stop, boxes, tuple(own)
    )
    return way


def take_circuit(job: OpenJob) -> Written:
    """What is confirmed becomes the job's circuit; what was added to its text by hand (`OWN_LINES`) stays.

    Raises:
        ConflictError: nothing is confirmed yet.
    """
    marks, _, _ = _stored(job)
    notation = written(marks, job.record.intake.complaint.text.replace("\n", " ")[:60])
    if "--" not in notation.text:
        raise ConflictError("nothing is confirmed yet: confirm the wires that the diagram shows")
    version = job.store.circuit(job.job_id)
    made, own, keep = notation.text, [], False
    for line in version.text.splitlines() if version else []:
        if not line.startswith((" ", "\t")):
            keep = line.split(" ")[0] in OWN_LINES
        if keep:
            own.append(line)
    if any(line.startswith("state") for line in own):
        made = "".join(line for line in made.splitlines(keepends=True) if not line.startswith("state "))
    text = made + ("\n" + "\n".join(own) + "\n" if own else "")
    # lines of one's own that speak of parts that are gone would make the whole unusable; the earlier text is kept
    save_circuit(job, text if check_text(text).usable else notation.text)
    return notation
