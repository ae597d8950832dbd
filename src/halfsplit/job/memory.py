"""What the workbench remembers between requests: for each job the diagnosis that has heard its entries so far.

Everything here can be thrown away: it is made again from the store. New entries are told to the diagnosis that is
there; a new circuit, intake, strike-out or repair makes it begin again. One lock a job keeps two requests from working
on one diagnosis at once; different jobs do not wait for each other.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any
from weakref import WeakKeyDictionary

from halfsplit.circuit.circuit import Circuit
from halfsplit.job.replay import Told, begin, chapters, tell
from halfsplit.notation.checked import Checked, check_text
from halfsplit.store import EvidenceEntry, Job, JobStore

KEPT = 12
"""Jobs whose diagnosis is kept, the latest used; a 60-branch vehicle takes some tens of megabytes."""


@dataclass
class Remembered:
    """One job's memory; to be used under its ``lock``. ``answers``: what was worked out, by name, until a change."""

    lock: threading.RLock = field(default_factory=threading.RLock)
    sequence: int = -1
    begun_with: tuple[int, int, tuple[str, ...]] = (0, 0, ())
    told: Told | None = None
    answers: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Bench:
    """A job as it is known at one moment. ``told`` is None without a usable circuit."""

    job: Job
    checked: Checked | None
    entries: tuple[EvidenceEntry, ...]
    told: Told | None
    after_repair: tuple[EvidenceEntry, ...]
    answers: dict[str, Any]

    @property
    def circuit(self) -> Circuit | None:
        """The circuit; None before there is one, and while its text has mistakes."""
        return self.checked.circuit if self.checked else None


class Memory:
    """The memories of one store's jobs."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._jobs: OrderedDict[str, Remembered] = OrderedDict()

    def knows(self, job_id: str) -> bool:
        return job_id in self._jobs

    def of(self, job_id: str) -> Remembered:
        with self._lock:
            found = self._jobs.setdefault(job_id, Remembered())
            self._jobs.move_to_end(job_id)
            while len(self._jobs) > KEPT:
                self._jobs.popitem(last=False)
            return found


_MEMORIES: WeakKeyDictionary[JobStore, Memory] = WeakKeyDictionary()
_MAKING = threading.Lock()


@contextmanager
def at_bench(store: JobStore, job_id: str) -> Iterator[Bench]:
    """The job with a diagnosis that has heard everything stored; nobody else works on it until the block ends.

    Raises NotFoundError where there is no such job.
    """
    with _MAKING:
        memory = _MEMORIES.setdefault(store, Memory())
    store.job(job_id)  # no memory is kept for a job that is not there
    remembered = memory.of(job_id)
    with remembered.lock:
        job = store.job(job_id)
        yield _updated(store, job, remembered)


PROGRESS = "progress"


def progress_of(store: JobStore, job_id: str, last_change: int) -> str:
    """How far a job is, in words, where its bench was worked out since its last change; '' otherwise."""
    memory = _MEMORIES.get(store)
    remembered = memory.of(job_id) if memory and memory.knows(job_id) else None
    if remembered is None or remembered.sequence != last_change:
        return ""
    return str(remembered.answers.get(PROGRESS, ""))


def _updated(store: JobStore, job: Job, remembered: Remembered) -> Bench:
    entries = store.evidence(job.job_id)
    version = store.circuit(job.job_id)
    checked = check_text(version.text) if version else None
    before, after = chapters(entries)
    if job.last_change != remembered.sequence:
        heard = remembered.begun_with
        remembered.told = _told(job, checked, before, remembered)
        remembered.sequence = job.last_change
        if remembered.begun_with != heard:
            remembered.answers.clear()
    return Bench(job, checked, entries, remembered.told, tuple(after), remembered.answers)


def _told(
    job: Job, checked: Checked | None, entries: Sequence[EvidenceEntry], remembered: Remembered
) -> Told | None:
    if checked is None or checked.circuit is None:
        remembered.begun_with = (0, 0, ())
        return None
    ids = tuple(entry.entry_id for entry in entries)
    circuit_version, intake_version, heard = remembered.begun_with
    same = (circuit_version, intake_version) == (job.circuit_version, job.intake_version)
    if remembered.told is None or not same or ids[: len(heard)] != heard:
        remembered.told, heard = begin(checked.circuit, job.intake), ()
    for entry in entries[len(heard) :]:
        tell(remembered.told, entry)
    remembered.begun_with = (job.circuit_version, job.intake_version, ids)
    return remembered.told
