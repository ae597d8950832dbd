"""Captures of a job: kept as they came, measured by role, shown at any zoom.

The file is an attachment like any other. Beside it lies what was made from it for the screen (`capture.storage`); that
can be deleted, for it is made again. What an analysis said is kept as it was shown, with its roles and settings.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import IO, Any, Final

from halfsplit.capture import ROLES, Capture, Quantity, suggested_roles
from halfsplit.capture.measure.voltage_drop import LIMITS as PATHS
from halfsplit.capture.roles import INJECTORS
from halfsplit.capture.storage import load
from halfsplit.capture.worker import Watch, remaining, unfold
from halfsplit.errors import HalfsplitError, InputError, NotFoundError
from halfsplit.job.open_job import OpenJob, new_id
from halfsplit.job.views import shown_as
from halfsplit.store import Attachment, JobStore, ShownResult
from halfsplit.store.columns import adapter

WHAT: Final = "capture"
"""Under this name an analysis is kept among the results that were shown."""
MOST_MARKS: Final = 200
"""Spans that the viewer draws."""
ROLE_NAMES: Final = tuple(ROLES)
PATH_NAMES: Final = tuple(PATHS)


@dataclass(frozen=True)
class ChannelLine:
    """One channel as it is listed: ``role`` is '' where none was given."""

    number: int
    name: str
    role: str
    unit: str
    samples: int
    start: float
    stop: float
    rate: float | None
    has_time: bool
    edges: bool
    gain: str = ""
    gain_unit: str = ""

    @property
    def label(self) -> str:
        """How the trace is called: by its role, and by its name too where another may have the same role."""
        return f"{self.role} ({self.name})" if self.role in INJECTORS else self.role or self.name


@dataclass(frozen=True)
class CaptureLine:
    """A capture in the list. ``verdicts``: analysis and verdict of the last time. ``problem``: why it is unreadable."""

    kept: Attachment
    channels: tuple[ChannelLine, ...]
    verdicts: tuple[tuple[str, str], ...]
    problem: str = ""


@dataclass(frozen=True)
class CaptureView:
    """One capture with what was measured last. ``results`` are plain data as `results_dict` gives them.

    ``shown``: number of the stored analysis, 0 before the first.
    """

    kept: Attachment
    channels: tuple[ChannelLine, ...]
    notes: tuple[str, ...]
    settings: CaptureSettings
    results: tuple[Mapping[str, Any], ...]
    shown: int
    engine_version: str
    start: float
    stop: float

    @property
    def marks(self) -> tuple[Mapping[str, Any], ...]:
        """The spans that the analyses used, the first of them."""
        return tuple(mark for result in self.results for mark in result["marks"])[:MOST_MARKS]


# Storing


def add_capture(job: OpenJob, source: IO[bytes], *, name: str, attachment_id: str = "") -> Attachment:
    """Store a capture, after it was read: what cannot be read is refused with its line or byte, and nothing is stored.

    Raises InputError: not readable, too large, or no known kind of recording.
    """
    kept = job.new_file("capture", name, attachment_id)
    reading = _READINGS.get(kept.attachment_id) or Reading(job.job_id, kept.name, kept.who)

    def check(path: Path, sha256: str) -> None:
        _READINGS[kept.attachment_id] = reading
        _prepared(job.store, path, sha256, kept.name, reading.went_on)

    try:
        return job.store.attach(job.job_id, kept, source, check=check)
    finally:
        _READINGS.pop(kept.attachment_id, None)


def add_in_background(job: OpenJob, source: IO[bytes], *, name: str) -> None:
    """Store a capture while others work on; `source` is closed in the end. Its progress is among `readings_now`."""
    key = new_id()

    def run() -> None:
        with source:
            try:
                add_capture(job, source, name=name, attachment_id=key)
            except HalfsplitError as error:
                _READINGS[key] = Reading(job.job_id, name, job.who, problem=str(error))

    _READINGS[key] = Reading(job.job_id, name, job.who)
    threading.Thread(target=run, name="capture", daemon=True).start()


@dataclass
class Reading:
    """A file that is being read now: whose it is, how far it is, and whether it is to be stopped.

    ``problem``: why it was refused; it stays in the list until it is put away.
    """

    job_id: str
    name: str
    who: str
    begun: float = field(default_factory=time.monotonic)
    share: float = 0.0
    stopped: bool = False
    problem: str = ""

    def went_on(self, share: float) -> bool:
        """Note how far it is; False once it is to be stopped."""
        self.share = share
        return not self.stopped

    @property
    def words(self) -> str:
        """Such as '43 %, 20 s to go'."""
        left = remaining(self.begun, self.share, time.monotonic())
        return f"{100 * self.share:.0f} %" + (f", {left:.0f} s to go" if left is not None else "")


_READINGS: dict[str, Reading] = {}
"""What this process reads now, by the id of the attachment that it may become."""


def readings_now(job: OpenJob) -> tuple[tuple[str, Reading], ...]:
    """The files of a job that are being read, with their ids."""
    return tuple((key, reading) for key, reading in list(_READINGS.items()) if reading.job_id == job.job_id)


def stop_reading(job: OpenJob, key: str) -> None:
    """Stop reading a file, or put away why it was refused; nothing of it is kept.

    Raises NotFoundError where it is not being read (any longer).
    """
    reading = _READINGS.get(key)
    if reading is None or reading.job_id != job.job_id:
        raise NotFoundError("that file is not being read any longer")
    reading.stopped = True
    if reading.problem:
        _READINGS.pop(key, None)


_PREPARING: dict[str, threading.Lock] = {}


def _prepared(store: JobStore, path: Path, sha256: str, name: str, watch: Watch | None = None) -> Path:
    """The folder with the capture's columns and pyramid, made now if it is not there."""
    folder = store.files.made_from(sha256)
    with _PREPARING.setdefault(sha256, threading.Lock()):
        if not (folder / "capture.json").is_file():
            try:
                unfold(path, folder, name, watch)
            except InputError as error:
                raise InputError(
                    error.message.replace(path.name, name),
                    remedy=error.remedy,
                    where=error.where.replace(path.name, name),
                ) from error
    return folder


@lru_cache(maxsize=8)
def _loaded(folder: Path, made: float) -> Capture:
    return load(folder)


def folder_of(store: JobStore, kept: Attachment) -> Path:
    """The folder with a capture's columns and pyramid."""
    return _prepared(store, store.files.path(kept.sha256), kept.sha256, kept.name)


def with_settings(folder: Path, settings: CaptureSettings) -> Capture:
    """The capture with the scales and the rate that were given; its samples are mapped, not read."""
    capture = _loaded(folder, folder.stat().st_mtime)
    if settings.rate:
        capture = capture.with_rate(settings.rate)
    return capture.scaled({name: channel for name, channel in settings.scale.items() if name in capture})


def opened(store: JobStore, kept: Attachment, settings: CaptureSettings) -> Capture:
    """The same from the store."""
    return with_settings(folder_of(store, kept), settings)


def kept_capture(job: OpenJob, capture_id: str) -> Attachment:
    """A job's capture, without its bytes. Raises NotFoundError where there is none of this id."""
    kept = job.store.attachment(job.job_id, capture_id)
    if kept.kind != "capture":
        raise NotFoundError(f"there is no capture {capture_id!r} in this job")
    return kept


def _shown(job: OpenJob) -> dict[str, ShownResult]:
    """Capture → its last analysis."""
    return {str(result.document.get("capture")): result for result in job.store.shown(job.job_id, WHAT)}


# Views


def capture_lines(job: OpenJob) -> tuple[CaptureLine, ...]:
    """The captures of a job, the latest first. Raises NotFoundError where there is no such job."""
    job.must_be_there()
    shown = _shown(job)
    lines = []
    for kept in (file for file in job.attachments if file.kind == "capture"):
        last = shown.get(kept.attachment_id)
        settings = settings_from_json(last.document["settings"]) if last else None
        results = last.document["results"] if last else ()
        verdicts = tuple((result["analysis"], result["verdict"]) for result in results)
        try:
            capture = opened(job.store, kept, settings or CaptureSettings())
        except InputError as error:
            lines.append(CaptureLine(kept, (), verdicts, str(error)))
            continue
        roles = settings.roles if settings else suggested_roles(capture)
        lines.append(CaptureLine(kept, _channels(capture, roles, {}), verdicts))
    return tuple(reversed(lines))


def _channels(
    capture: Capture, roles: Mapping[str, str], scale: Mapping[str, tuple[float, str]]
) -> tuple[ChannelLine, ...]:
    return tuple(
        shown_as(
            ChannelLine,
            channel,
            number=number,
            role=roles.get(channel.name, ""),
            samples=len(channel),
            start=float(channel.times[0]) if channel.times is not None and len(channel) else channel.start,
            gain=f"{scale[channel.name][0]:g}" if channel.name in scale else "",
            gain_unit=scale[channel.name][1] if channel.name in scale else "",
        )
        for number, channel in enumerate(capture.channels)
    )


def settings_of(job: OpenJob, capture_id: str) -> CaptureSettings:
    """What was said of a capture last, or what its names suggest."""
    last = _shown(job).get(capture_id)
    if last is not None:
        return settings_from_json(last.document["settings"])
    capture = opened(job.store, kept_capture(job, capture_id), CaptureSettings())
    battery = job.record.intake.battery
    return CaptureSettings(roles=suggested_roles(capture), celsius=battery.celsius if battery else None)


def capture_view(job: OpenJob, capture_id: str) -> CaptureView:
    """One capture as its page shows it.

    Raises NotFoundError: no such job or capture; InputError: what was imported with a job cannot be read.
    """
    kept = kept_capture(job, capture_id)
    settings = settings_of(job, capture_id)
    last = _shown(job).get(capture_id)
    capture = opened(job.store, kept, settings)
    channels = _channels(capture, settings.roles, settings.scale)
    start = min((channel.start for channel in channels), default=0.0)
    stop = max((channel.stop for channel in channels), default=1.0)
    numbers = {channel.name: channel.number for channel in reversed(channels)}
    results = []
    for result in last.document["results"] if last else ():
        quantities = []
        for said in result["quantities"]:
            name, value, unit, uncertainty = (said[part] for part in ("name", "value", "unit", "uncertainty"))
            words = "not given" if value is None else Quantity(name, value, unit, uncertainty or 0.0).amount
            quantities.append({**said, "words": words})
        number = numbers.get(result.get("channel"))  # of a result of a single channel
        results.append({"roles": [], "channel": "", **result, "quantities": quantities, "number": number})
    return CaptureView(
        kept,
        channels,
        capture.notes,
        settings,
        tuple(results),
        last.sequence if last else 0,
        last.engine_version if last else "",
        start,
        stop if stop > start else start + 1.0,
    )


LEAST_SPAN: Final = 1e-9


@dataclass(frozen=True)
class CaptureSettings:
    """What the technician says of a capture. ``roles``, ``scale`` (gain and unit) go by the channels' names.

    ``span``: seconds from and to which is measured, None for all. ``path``: of a voltage drop. ``reference``: a known
    good capture as JOB/CAPTURE, against which crank and cam are compared; '' for none. ``bit_rate``: of a bus, in
    bits a second, None where the trace is to tell it.
    """

    roles: Mapping[str, str] = field(default_factory=dict)
    scale: Mapping[str, tuple[float, str]] = field(default_factory=dict)
    rate: float | None = None
    cylinders: int | None = None
    firing_order: tuple[int, ...] = ()
    teeth: int | None = None
    celsius: float | None = None
    path: str = "feed"
    span: tuple[float, float] | None = None
    reference: str = ""
    bit_rate: float | None = None


def settings_from_json(said: Mapping[str, Any]) -> CaptureSettings:
    """The settings that a record of what was shown holds; it has them as `plain` makes them."""
    settings: CaptureSettings = adapter(CaptureSettings).validate_python(said)
    return settings


def checked_settings(settings: CaptureSettings) -> CaptureSettings:
    """The same settings. Raises InputError naming the field that makes no sense."""
    if settings.path not in PATHS:
        raise InputError(f"{settings.path!r} is no path", remedy=f"one of {', '.join(PATHS)}", where="path")
    if settings.span and not settings.span[1] - settings.span[0] > LEAST_SPAN:
        raise InputError("there is nothing between the two cursors", remedy="set them apart", where="span")
    order = settings.firing_order
    if order and settings.cylinders and sorted(order) != list(range(1, settings.cylinders + 1)):
        raise InputError(
            f"the firing order {','.join(map(str, order))} does not name each of {settings.cylinders} cylinders once",
            remedy="write it like 1,3,4,2",
            where="firing order",
        )
    return settings
