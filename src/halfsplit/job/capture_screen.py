"""What the viewer asks of a capture: windows, values at cursors, the event to align by, a picture for the record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Any

from halfsplit.capture import Capture, Channel, Mark
from halfsplit.capture.screen import event, packed, stretch, value_at, windows
from halfsplit.capture.show import Frame, plot_png
from halfsplit.errors import NotFoundError
from halfsplit.job.captures import CaptureView, capture_view, kept_capture, opened, settings_of
from halfsplit.job.open_job import OpenJob, new_id
from halfsplit.job.verbs import add_photo, take
from halfsplit.store import EvidenceEntry


def _traces(view_of: Capture, numbers: Sequence[int]) -> list[Channel]:
    if any(not 0 <= number < len(view_of.channels) for number in numbers):
        raise NotFoundError(f"there are {len(view_of.channels)} channels in this capture, counted from 0")
    return [view_of.channels[number] for number in numbers]


def _open(job: OpenJob, capture_id: str) -> Capture:
    return opened(job.store, kept_capture(job, capture_id), settings_of(job, capture_id))


def capture_window(
    job: OpenJob, capture_id: str, channels: Sequence[int], start: float, stop: float, pixels: int
) -> bytes:
    """The windows of some channels for a screen, as `capture.screen.packed` writes them: a bounded number of bytes."""
    capture = _open(job, capture_id)
    return packed(windows(capture, [trace.name for trace in _traces(capture, channels)], start, stop, pixels))


def capture_cursors(job: OpenJob, capture_id: str, first: float, second: float) -> list[dict[str, Any]]:
    """What each channel reads at two times, and between them: `at` (two values or null), `mean`, `low`, `high`."""
    capture = _open(job, capture_id)
    values = []
    for number, channel in enumerate(capture.channels):
        between = stretch(channel, first, second)
        values.append(
            {
                "channel": number,
                "unit": channel.unit,
                "at": [value_at(channel, first), value_at(channel, second)],
                "mean": between and between.mean,
                "low": between and between.low,
                "high": between and between.high,
            }
        )
    return values


def capture_event(job: OpenJob, capture_id: str, channel: int, *, rising: bool) -> float | None:
    """The time of the first event in a channel, by which captures are aligned; None where the trace is flat."""
    capture = _open(job, capture_id)
    return event(_traces(capture, [channel])[0], rising=rising)


@dataclass(frozen=True)
class SnapshotFrame:
    """What the screen shows. ``reference``: (job, capture) that lies behind, ``shift`` seconds later."""

    start: float
    stop: float
    cursors: tuple[float, ...] = ()
    channels: tuple[int, ...] = ()
    reference: tuple[str, str] | None = None
    shift: float = 0.0


def capture_snapshot(
    job: OpenJob, capture_id: str, frame: SnapshotFrame, *, entry_id: str = ""
) -> EvidenceEntry:
    """Keep what the screen shows as a picture in the job's record, with a line that says what it is."""
    view = capture_view(job, capture_id)
    picture = picture_of(job, view, frame)
    entry = entry_id or new_id()
    photo = add_photo(job, BytesIO(picture), name=f"{view.kept.name}.png", attachment_id=f"{entry}-picture")
    text = f"Capture {view.kept.name}, {frame.start:.6g} to {frame.stop:.6g} s"
    said = "; ".join(
        f"{result['analysis']}: {result['verdict']}, {result['reason']}" for result in view.results
    )
    return take(
        job,
        "note",
        {"text": f"{text}. {said}".strip()[:1900]},
        entry_id=entry,
        attachments=(photo.attachment_id, capture_id),
    )


def picture_of(job: OpenJob, view: CaptureView, frame: SnapshotFrame) -> bytes:
    """The traces as a PNG on white, with marks, cursors and the reference behind."""
    capture = opened(job.store, view.kept, view.settings)
    names = [trace.name for trace in _traces(capture, frame.channels)] or [
        channel.name for channel in capture.channels
    ]
    roles = {name: view.settings.roles.get(name, name) for name in names}
    windows(capture, names[:1], frame.start, frame.stop, 1)  # the same refusals as on the screen
    reference, reference_roles = None, {}
    if frame.reference:
        job_id, capture_id = frame.reference
        other_job = OpenJob(job.store, job_id)
        other = kept_capture(other_job, capture_id)
        settings = settings_of(other_job, capture_id)
        reference = opened(job.store, other, settings)
        reference_roles = {
            channel.name: settings.roles.get(channel.name, channel.name) for channel in reference.channels
        }
    title = (
        "; ".join(f"{result['analysis']}: {result['verdict']}" for result in view.results) or view.kept.name
    )
    marks = [Mark(mark["start"], mark["stop"], mark["label"]) for mark in view.marks]
    return plot_png(
        capture,
        marks,
        roles,
        Frame(title, frame.start, frame.stop, frame.cursors[:2], reference, reference_roles, frame.shift),
    )
