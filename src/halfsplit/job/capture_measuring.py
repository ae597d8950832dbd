"""Measuring in a capture: at once where it is short, beside the pages and to be stopped where it is long."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from halfsplit.capture import Capture, Setup, analyse, results_dict, unassigned
from halfsplit.capture.measure.crank_cam import CrankCamResult
from halfsplit.errors import ConflictError, InputError
from halfsplit.job.captures import (
    WHAT,
    CaptureSettings,
    checked_settings,
    folder_of,
    kept_capture,
    settings_of,
    with_settings,
)
from halfsplit.job.open_job import OpenJob
from halfsplit.job.working import name_of, workers
from halfsplit.store.columns import plain

MOST_SAMPLES: Final = 20_000_000
"""Samples that are analysed at once: they are worked on as float64, several times over."""
AT_ONCE: Final = 2_000_000
"""Samples of all measured channels together up to which the page waits for the result."""
MOST_UNASSIGNED: Final = 32
"""Channels without a role that get the general measurements."""
MOST_MARKS: Final = 200
MOST_DETAILS: Final = 200
START_UP: Final = 2.0
"""Seconds that a process of its own takes to begin, on two busy cores."""

Source = tuple[Path, CaptureSettings]
"""The folder of a capture's columns, and what was said of it."""


SAMPLE: Final = "seconds a sample"
_PACE: Final = {SAMPLE: 4e-7}
"""What the last long measuring took; it stands for the next."""
_BEGUN: Final[dict[str, tuple[float, float]]] = {}
"""Work that was begun → when (monotonic seconds), and the seconds that it was thought to take."""


@dataclass(frozen=True)
class Measuring:
    """A long capture that is being measured, or could not be. ``share``: how far it is; ``left``: seconds, about."""

    share: float
    left: int
    problem: str = ""


def analyse_capture(job: OpenJob, capture_id: str, settings: CaptureSettings) -> bool:
    """Measure what the roles allow, and keep what was said; whether it is done, which a long capture is not at once.

    Raises InputError where the settings make no sense, ConflictError while the same capture is being measured.
    """
    kept = kept_capture(job, capture_id)
    source = (folder_of(job.store, kept), checked_settings(settings))
    samples = _samples(*source)
    arguments = (source, _good(job, settings.reference))
    after = job.record.last_change

    def keep(results: list[dict[str, Any]]) -> None:
        document = {
            "capture": kept.attachment_id,
            "sha256": kept.sha256,
            "settings": plain(CaptureSettings, settings),
            "results": results,
        }
        job.keep_shown(WHAT, document, after=after)

    if samples <= AT_ONCE:
        keep(measured(*arguments))
        return True
    name = name_of(job.store, WHAT, job.job_id, capture_id)
    going = workers.of(name)
    if going is not None and going.going:
        raise ConflictError("this recording is being measured: stop that first, or wait for it")
    begun = time.monotonic()

    def keep_and_learn(results: list[dict[str, Any]]) -> None:
        keep(results)
        _PACE[SAMPLE] = max(time.monotonic() - begun - START_UP, 0.1) / samples

    _BEGUN[name] = (begun, START_UP + samples * _PACE[SAMPLE])
    workers.start(name, measured, arguments, keep_and_learn)
    return False


def measuring(job: OpenJob, capture_id: str) -> Measuring | None:
    """How far the measuring of a long capture is, or why it failed; None where nothing is going on."""
    name = name_of(job.store, WHAT, job.job_id, capture_id)
    work = workers.of(name)
    if work is None or not (work.going or work.state == "failed"):
        return None
    if not work.going:
        return Measuring(1.0, 0, work.problem)
    # By the clock, since one analysis may take as long as all others; never behind the steps that are done.
    begun, thought = _BEGUN.get(name, (time.monotonic(), START_UP))
    took = time.monotonic() - begun
    share = min(max(took / thought, work.made / work.most if work.most else 0.0), 0.98)
    return Measuring(share, max(1, math.ceil(max(thought - took, 0.02 * took))))


def stop_measuring(job: OpenJob, capture_id: str) -> None:
    """End it, if it is going on; what was measured before stays."""
    job.must_be_there()
    workers.stop(name_of(job.store, WHAT, job.job_id, capture_id))


def measured(
    source: Source, good: Source | None, progress: Callable[[int, int], None] | None = None
) -> list[dict[str, Any]]:
    """The results as plain data. ``good``: a capture with whose crank and cam these are compared."""
    folder, settings = source
    capture = _stretch(folder, settings)
    setup = Setup(
        cylinders=settings.cylinders,
        firing_order=settings.firing_order,
        teeth=settings.teeth,
        celsius=settings.celsius,
        path=settings.path,
        bit_rate=settings.bit_rate,
        reference=_reference(good) if good else None,
    )
    results = analyse(capture, settings.roles, setup)
    if progress:
        progress(1, 2)
    results += unassigned(capture, settings.roles)[:MOST_UNASSIGNED]
    return [
        {**result, "marks": result["marks"][:MOST_MARKS], "details": result["details"][:MOST_DETAILS]}
        for result in results_dict(results)["results"]
    ]


def _stretch(folder: Path, settings: CaptureSettings) -> Capture:
    capture = with_settings(folder, settings)
    return capture.part(*settings.span) if settings.span else capture


def _samples(folder: Path, settings: CaptureSettings) -> int:
    """Of the channels with a role, together. Raises InputError: no such channel, or more than are measured at once."""
    capture = with_settings(folder, settings)
    for name in (*settings.roles, *settings.scale):
        _ = capture[name]
    capture = _stretch(folder, settings)
    lengths = [len(capture[name]) for name in settings.roles]
    longest = max(lengths, default=0)
    if longest > MOST_SAMPLES:
        raise InputError(
            f"{longest:,} samples are more than are measured at once ({MOST_SAMPLES:,})",
            remedy="set the two cursors round the event and measure between them",
        )
    return sum(lengths)


def _good(job: OpenJob, reference: str) -> Source | None:
    """The known good capture with its roles of crank and cam; None where there is none, or it shows neither."""
    job_id, _, capture_id = reference.partition("/")
    if not capture_id:
        return None
    other = OpenJob(job.store, job_id)
    settings = settings_of(other, capture_id)
    if "crank" not in settings.roles.values():
        return None
    return folder_of(job.store, kept_capture(other, capture_id)), settings


def _reference(good: Source) -> CrankCamResult | None:
    """What crank and cam of the known good capture are like; None where it does not show them, or is too long."""
    folder, settings = good
    capture = with_settings(folder, settings)
    roles = {name: role for name, role in settings.roles.items() if role in ("crank", "cam")}
    if max(len(capture[name]) for name in roles) > MOST_SAMPLES:
        return None
    results = analyse(capture, roles)
    return next((result for result in results if isinstance(result, CrankCamResult) and result.wheel), None)
