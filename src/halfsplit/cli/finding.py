"""What `find` does: a job on a circuit file, worked through by a person or by a script."""

from __future__ import annotations

import getpass
import hashlib
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from halfsplit.cli.ask import Asker
from halfsplit.cli.dialogue import Dialogue, asked_settings
from halfsplit.cli.output import put_json, tell
from halfsplit.cli.script import Script, Walk, walk
from halfsplit.cli.show import DEFER, Screen
from halfsplit.job.bench import bench_view, heard
from halfsplit.job.open_job import OpenJob
from halfsplit.job.verbs import open_job, save_circuit
from halfsplit.job.views import BenchView, TestCard
from halfsplit.notation.checked import check_text
from halfsplit.notation.circuit import Circuit
from halfsplit.store import Complaint, Intake, JobSettings, JobStore


def self_contained(file: Path) -> str:
    """The circuit as one text: the file itself, or what it and the files that it includes say.

    Raises CircuitError with every mistake.
    """
    circuit = Circuit.read(file)
    text = file.read_bytes().decode("utf-8-sig")
    alone = check_text(text).circuit
    return text if alone is not None and alone.model == circuit.model else circuit.write()


# With a script


def scripted(text: str, path: Path, *, as_json: bool) -> bool:
    """Run the script on a job that nobody keeps; whether the cause was proven."""
    script = Script.read(path)
    with TemporaryDirectory() as folder, JobStore(f"sqlite:///{folder}/script.db") as store:
        opened_job = open_job(store, Intake(settings=script.settings), who="script", circuit=text)
        job = OpenJob(store, opened_job.job_id, "script")
        script.begin(job)
        screen = None if as_json else Screen()
        if screen:
            screen.line(job.sound_circuit.title)
            screen.line(DEFER)
            for known in heard(job):
                screen.line(f"  {known}")
            screen.suspects(bench_view(job).suspects, job.sound_circuit)
        done = walk(job, script.source(job.sound_circuit), watch=lambda so_far: _watched(job, so_far, screen))
        view = bench_view(job)
    if as_json:
        put_json(_result(view, done))
    elif screen and view.finding:
        screen.finding(view.finding)
    if screen and view.doubt:
        screen.doubt(view.doubt)
    if done.doubt:
        tell(f'{done.doubt} Give the answer "sure": true if it stands.')
    elif done.open:
        tell(f"Nothing in the script answers this test: {done.open.sentence}")
    if screen:
        screen.line(f"{len(done.steps)} tests, {done.minutes:.0f} minutes.")
    return bool(view.finding and view.finding.proven)


def _watched(job: OpenJob, done: Walk, screen: Screen | None) -> None:
    """Tell the test that was just made, and who is left."""
    if screen is None or done.open:
        return
    screen.test(done.steps[-1][0], len(done.steps))
    screen.line(f"> {heard(job)[-1]}")
    screen.suspects(bench_view(job).suspects, job.sound_circuit)


def _result(view: BenchView, done: Walk) -> dict[str, Any]:
    return {
        "circuit": view.circuit.circuit.title if view.circuit and view.circuit.circuit else "",
        "tests": [
            _test_json(test) | {"value": "OL" if value == float("inf") else value}
            for test, value in done.steps
        ],
        "minutes": round(done.minutes, 1),
        "suspects": [
            {
                "part": suspect.part,
                "cause": suspect.cause,
                "probability": round(suspect.probability, 6),
                "repair": suspect.repair,
            }
            for suspect in (*view.suspects, *view.out)
            if suspect.probability >= 1e-4
        ],
        "finding": asdict(view.finding) if view.finding else None,
        "doubt": list(view.doubt),
        "next": _test_json(done.open) if done.open else None,
        "question": done.doubt or None,
    }


def _test_json(test: TestCard) -> dict[str, Any]:
    return {
        **test.place,
        "sentence": test.sentence,
        "minutes": round(test.minutes, 2),
        "bits": round(test.bits, 4),
        "purpose": test.purpose,
        "cautions": list(test.cautions),
    }


# With a person


@dataclass(frozen=True)
class Beginning:
    """Where a job on a circuit file is kept, and what it begins with."""

    store: JobStore
    file: Path
    text: str
    instruments: tuple[str, ...]
    intermittent: bool

    @property
    def mark(self) -> str:
        """How the ids of the jobs on this file begin."""
        digest = hashlib.sha256(str(self.file.absolute()).encode()).hexdigest()[:8]
        return f"find-{digest}-"

    def last(self) -> OpenJob | None:
        """The last job on this file that is not closed."""
        going = self.store.list_jobs(states=("open", "found", "proven", "repaired"), limit=500)
        going_on = (job.job_id for job in going if job.job_id.startswith(self.mark))
        return next((OpenJob(self.store, job_id, getpass.getuser()) for job_id in going_on), None)

    def open(self, settings: JobSettings) -> OpenJob:
        """A new job on it."""
        who, job_id = getpass.getuser(), f"{self.mark}{datetime.now(UTC):%Y%m%d-%H%M%S-%f}"
        complaint = Complaint(
            text=f"Fault finding on {self.file.name}",
            how_often="intermittent" if settings.intermittent else "always",
        )
        intake = Intake(complaint=complaint, settings=settings)
        open_job(self.store, intake, who=who, job_id=job_id, circuit=self.text)
        return OpenJob(self.store, job_id, who)


def with_a_person(beginning: Beginning, again: str, *, resume: bool) -> bool:
    """The dialogue; whether it ended proven."""
    screen, job = Screen(), beginning.last()
    if resume and job is None:
        tell(f"There is no job on {beginning.file.name} to go on with: start one without --resume.")
        return False
    if job and not resume:
        tell(
            f"An earlier job on this circuit is kept as number {job.record.number}; --resume goes on with it."
        )
        job = None
    try:
        if job is None:
            given = JobSettings(instruments=beginning.instruments, intermittent=beginning.intermittent)
            job = beginning.open(asked_settings(Asker(screen), given))
        else:
            save_circuit(job, beginning.text)
        return Dialogue(job, Asker(screen)).run()
    except (KeyboardInterrupt, EOFError):
        screen.line()
        entries = len(job.entries) if job else 0
        if not job or not entries:
            screen.line("Stopped before anything was entered.")
            return False
        count = "1 entry is" if entries == 1 else f"{entries} entries are"
        screen.line(
            f"Stopped. {count} kept in job {job.record.number}; `halfsplit serve` shows it in the browser."
        )
        screen.line(f"Go on with: {again}")
        return False
