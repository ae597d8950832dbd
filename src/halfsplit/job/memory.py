"""What the workbench remembers between requests: for each job the diagnosis that has heard its entries so far.

Everything here can be thrown away: it is made again from the store. New entries are told to the diagnosis that is
there; a new circuit, intake, strike-out or repair makes it begin again. One lock a job keeps two requests from working
on one diagnosis at once. Whoever waited for it takes what was worked out meanwhile, as long as it holds all that was
stored when he asked: several people on one job cost one computation, not one each.
"""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from typing import Any
from weakref import WeakKeyDictionary

from halfsplit.circuit.circuit import Circuit
from halfsplit.diagnosis.diagnosis import Diagnosis
from halfsplit.job.learning import vehicle_bands
from halfsplit.job.places import NoCircuitError
from halfsplit.job.replay import Told, begin, chapters, tell
from halfsplit.job.turns import Turns, check_waited_for
from halfsplit.notation.checked import Checked, check_text
from halfsplit.store import EvidenceEntry, Job, JobStore, counting

ROOM = 256_000_000
"""Bytes for the diagnoses of all jobs that are kept, the latest used; the one in use is kept however large it is.

A job on a pattern takes about 20 MB after fifteen readings, a vehicle of 60 branches some hundred.
"""
LEAST_SIZE = 1_000_000
"""Bytes that a job counts for in any case: entries, answers, circuit."""
VIEW = "view"
"""What a page shows of a bench, among what is shown of it."""
LOOKED = "looks"
"""What is seen in seconds, among the same."""
in_turn = Turns().turn
"""One computation after the other, what is fetched ``late`` by a page after the others; see `Turns`."""


@dataclass
class Remembered:
    """One job's memory; to be used under its ``lock``.

    ``answers``: what was worked out, by name, until a change of what was heard; ``bench``: the job as it was last
    looked at; ``viewed``: as it was last shown; ``size``: bytes of what is solved for it.
    """

    lock: threading.RLock = field(default_factory=threading.RLock)
    sequence: int = -1
    begun_with: tuple[int, int, tuple[str, ...]] = (0, 0, ())
    told: Told | None = None
    answers: dict[str, Any] = field(default_factory=dict)
    bench: Bench | None = None
    viewed: Bench | None = None
    size: int = 0


@dataclass(frozen=True)
class Bench:
    """A job as it is known at one moment. ``told`` is None without a usable circuit.

    ``answers`` hold until something else is heard, ``shown`` until anything about the job changes.
    """

    job: Job
    checked: Checked | None
    entries: tuple[EvidenceEntry, ...]
    told: Told | None
    after_repair: tuple[EvidenceEntry, ...]
    answers: dict[str, Any]
    shown: dict[str, Any] = field(default_factory=dict)

    @property
    def circuit(self) -> Circuit | None:
        """The circuit; None before there is one, and while its text has mistakes."""
        return self.checked.circuit if self.checked else None

    @property
    def diagnosis(self) -> Diagnosis:
        """What has heard everything. Raises ConflictError without a usable circuit."""
        if self.told is None:
            raise NoCircuitError
        return self.told.diagnosis

    @property
    def live(self) -> tuple[EvidenceEntry, ...]:
        """The entries that are not struck out."""
        return counting(self.entries)

    @property
    def before_repair(self) -> list[EvidenceEntry]:
        """What counts of the time before the last repair; everything, where there was none."""
        after = {entry.entry_id for entry in self.after_repair}
        return [entry for entry in self.live if entry.entry_id not in after]


class Memory:
    """The memories of one store's jobs. ``asked``: when one of them was asked for last."""

    def __init__(self) -> None:
        self.asked = 0.0
        self._lock = threading.Lock()
        self._jobs: OrderedDict[str, Remembered] = OrderedDict()

    def knows(self, job_id: str) -> bool:
        return job_id in self._jobs

    def latest(self) -> list[Remembered]:
        """All jobs, the one that was asked for last before the others."""
        with self._lock:
            return list(reversed(self._jobs.values()))

    def of(self, job_id: str) -> Remembered:
        self.asked = time.monotonic()
        with self._lock:
            remembered = self._jobs.setdefault(job_id, Remembered())
            self._jobs.move_to_end(job_id)
            return remembered

    def make_room(self, used: Remembered) -> None:
        """Weigh what was used, and forget what was used longest ago where all is too much."""
        used.size = LEAST_SIZE + (used.told.diagnosis.predictions.nbytes if used.told else 0)
        with self._lock:
            total = sum(job.size for job in self._jobs.values())
            for job_id in list(self._jobs)[:-1]:
                if total <= ROOM:
                    return
                total -= self._jobs.pop(job_id).size


_MEMORIES: WeakKeyDictionary[JobStore, Memory] = WeakKeyDictionary()
_MAKING = threading.Lock()


def memory_of(store: JobStore) -> Memory:
    """The memories of a store's jobs."""
    with _MAKING:
        return _MEMORIES.setdefault(store, Memory())


@contextmanager
def at_bench(store: JobStore, job_id: str, since: int | None = None) -> Iterator[Bench]:
    """The job with a diagnosis that has heard everything stored; nobody else works on it until the block ends.

    ``since``: the change of the job that has to be in it, where later ones need not be: what belongs to a page that was
    shown then. Raises NotFoundError where there is no such job, AbandonedError where whoever asked has gone while he
    waited.
    """
    memory = memory_of(store)
    asked = since if since is not None and memory.knows(job_id) else store.job(job_id).last_change
    remembered = memory.of(job_id)  # no memory is kept for a job that is not there
    with remembered.lock, ExitStack() as turn:
        check_waited_for()
        if remembered.bench is None or remembered.bench.job.last_change < asked:
            turn.enter_context(in_turn())  # for all that follows from it as well
            remembered.bench = _updated(store, store.job(job_id), remembered)
        yield remembered.bench
        if VIEW in remembered.bench.shown:
            remembered.viewed = remembered.bench
        memory.make_room(remembered)


def viewed(store: JobStore, job_id: str, since: int | None) -> Bench | None:
    """The job as it was last shown, if that was at or after this change (never, if None); nobody is waited for."""
    memory = memory_of(store)
    bench = memory.of(job_id).viewed if since is not None and memory.knows(job_id) else None
    return bench if bench is not None and bench.job.last_change >= (since or 0) else None


PROGRESS = "progress"


def progress_of(store: JobStore, job_id: str, last_change: int) -> str:
    """How far a job is, in words, where its bench was worked out since its last change; '' otherwise."""
    memory = _MEMORIES.get(store)
    remembered = memory.of(job_id) if memory and memory.knows(job_id) else None
    if remembered is None or remembered.sequence != last_change:
        return ""
    return str(remembered.answers.get(PROGRESS, ""))


def _updated(store: JobStore, job: Job, remembered: Remembered) -> Bench:
    entries, version = store.evidence(job.job_id), store.circuit(job.job_id)
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
        bands = vehicle_bands(job.intake.vehicle, job.opened_at)
        remembered.told, heard = begin(checked.circuit, job.intake, vehicle=bands), ()
    for entry in entries[len(heard) :]:
        tell(remembered.told, entry)
    remembered.begun_with = (job.circuit_version, job.intake_version, ids)
    return remembered.told
