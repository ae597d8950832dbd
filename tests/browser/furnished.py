"""A store in which every page has something to show, and the address of each page. Everything is invented.

``python -m tests.browser.furnished [NAME…]`` looks at every page, or at those whose names begin so, and says what is
wrong with each; with HALFSPLIT_SCREENSHOTS in every look, and each is kept as a picture (`make screenshots`).
"""

import os
import random
import sys
import tempfile
from datetime import UTC, datetime
from io import BytesIO, StringIO
from pathlib import Path
from typing import Any

import numpy as np
from playwright.sync_api import sync_playwright

from bench.web import served
from halfsplit import job as jobs
from halfsplit.diagnosis.learned import Cause, CircuitTally, Tally, digest, shipped_shares
from halfsplit.job import (
    JobStore,
    capture_measuring,
    captures,
    drain_branches,
    drains,
    planning,
    practising,
    scan_evidence,
    scans,
)
from halfsplit.job.captures import CaptureSettings
from halfsplit.job.demo import demo_job
from halfsplit.job.learned_file import Learned, write_learned
from halfsplit.job.open_job import OpenJob
from halfsplit.notation.checked import check_text
from halfsplit.workbench.accounts import new_owner_link
from tests.browser.chromium import launched
from tests.browser.finished import finish, picture, shop
from tests.browser.looks import faults
from tests.capture.signals.engine import crank_engine
from tests.circuits import ONE_LAMP
from tests.workbench.rear_feed import AFTER, ARRIVAL, CIRCUIT, COMPLAINTS

ANYONE = {
    "jobs": "/jobs",
    "jobs-closed-too": "/jobs?closed=1",
    "jobs-none": "/jobs?search=nothing+like+it",
    "new-job": "/jobs/new",
    "sign-in": "/sign-in",
    "settings": "/settings",
    "people": "/people",
    "audit": "/audit",
    "learned": "/learned",
    "problem": "/jobs/nowhere",
    "practice": "/practice",
    "help": "/help",
}
LAMPS = {
    "bench": "/jobs/lamp",
    "bench-own-test": "/jobs/lamp?at=X1.1:in&quantity=volts&state=on",
    "bench-suspicion": "/jobs/lamp?show=try&part=H1&price=9.50",
    "bench-others": "/jobs/lamp?others=1",
    "bench-telling": "/jobs/lamp?tell=1",
    "bench-sheet": "/jobs/lamp/drawing?whole=1",
    "bench-fresh": "/jobs/fresh",
    "circuit-start": "/jobs/empty/circuit",
    "circuit-text": "/jobs/lamp/circuit",
    "circuit-taps": "/jobs/lamp/circuit/taps?part=X1&end=X1.1&wire=2&pin=1",
    "circuit-taps-empty": "/jobs/empty/circuit/taps",
    "circuit-diagram": "/jobs/lamp/circuit/diagram",
    "circuit-harness": "/jobs/lamp/circuit/harness",
    "intake": "/jobs/lamp/intake",
    "report-open": "/jobs/lamp/report",
    "scan": "/jobs/lamp/scan",
    "captures": "/jobs/lamp/captures",
    "drain": "/jobs/lamp/drain",
    "plan": "/jobs/lamp/plan",
}
DEMOS = {
    "bench-demo": "/jobs/demo",
    "taps-demo": "/jobs/demo/circuit/taps?part=E5&wire=9",
    "diagram-demo": "/jobs/demo/circuit/diagram",
    "sheet-demo": "/jobs/demo/drawing?whole=1",
    "bench-repaired": "/jobs/repaired",
    "bench-closed": "/jobs/done",
    "report-customer": "/jobs/done/report",
    "report-workshop": "/jobs/done/report?for=workshop",
}
FULL = {
    "captures-full": "/jobs/van/captures",
    "capture": "/jobs/van/captures/start",
    "capture-new": "/jobs/van/captures/good",
    "scan-report": "/jobs/van/scan",
    "scan-cause": "/jobs/van/scan/cause",
    "scan-compare": "/jobs/van/scan/compare",
    "scan-live": "/jobs/van/scan/live",
    "drain-full": "/jobs/van/drain",
    "bench-van": "/jobs/van",
    "sheet-van": "/jobs/van/drawing?whole=1",
    "report-van": "/jobs/van/report?for=workshop",
    "plan-full": "/jobs/demo/plan",
    "practice-full": "/practice",
    "practice-exercise": "/practice/going?how=lamp+55&at=H1.1&unplug=X1",
    "practice-end": "/practice/over0",
}
PAGES = ANYONE | LAMPS | DEMOS


def furnish(store: JobStore) -> None:
    """A job that is closed, one that has begun, one in which nothing was said yet and one with nothing in it."""
    shop(store)
    finish(store)
    demo_job(store, "rear-lamps")
    jobs.open_job(store, jobs.Intake(), who="Ada", job_id="empty")
    jobs.open_job(store, jobs.Intake(), who="Ada", job_id="fresh", circuit=ONE_LAMP)
    finish(store, job_id="repaired", to_the_end=False)
    jobs.add_photo(
        OpenJob(store, "demo", "Ada"),
        picture("page 3"),
        name=f"{jobs.DIAGRAM} page 3.jpg",
        kind="document",
    )


def furnish_fully(store: JobStore, learned: Path) -> None:
    """As well: the lamp of every test, recordings, fault codes, a log, a plan, exercises, what was learned."""
    lamp = jobs.Intake(complaint=jobs.Complaint(text="The work lamp stays dark"))
    jobs.open_job(store, lamp, who="Ada", job_id="lamp", circuit=ONE_LAMP)
    jobs.complain_all(OpenJob(store, "lamp", "Ada"), [("H1", "no", "on")])
    intake = jobs.Intake(
        complaint=jobs.Complaint(text="Rear wiper, screen heater and load area lamp are all dead")
    )
    jobs.open_job(store, intake, who="Ada", job_id="van", circuit=CIRCUIT)
    van = OpenJob(store, "van", "Ada")
    jobs.complain_all(van, COMPLAINTS)
    for capture_id, engine in (("start", {"leaks": {3: 2.0}}), ("good", {})):
        captures.add_capture(
            van, BytesIO(_start(**engine)), name=f"{capture_id} start.csv", attachment_id=capture_id
        )
    roles = {"battery volts": "battery volts", "starter current": "starter current"}
    capture_measuring.analyse_capture(van, "start", CaptureSettings(roles=roles, cylinders=4))
    for text, moment in ((ARRIVAL, "arrival"), (AFTER, "after repair")):
        scans.keep_report(van, text.encode(), name=f"{moment}.txt", moment=moment, source="pasted")
    scan_evidence.tell(van, scans.kept_reports(van)[0].scan_id)
    drains.keep_log(van, _night(), name="night.csv", how={"instrument": "meter"})
    drains.save_battery(van, {"capacity": 70.0, "charge": 80.0})
    drain_branches.save_fuse(van, "F1", 10.0, 0.45)
    planning.begin_plan(OpenJob(store, "demo", "Ada"))
    practising.begin_practice(store, "bench", ONE_LAMP, "single", seed=3, practice_id="going")
    judged: dict[str, Any] = {}
    for number, difficulty in enumerate(("single", "high resistance", "single", "intermittent")):
        begun = practising.begin_practice(
            store, "bench", ONE_LAMP, difficulty, seed=number, practice_id=f"over{number}"
        )
        over = practising.give_up(store, begun)
        judged = judged or practising.judged_paths(over, lambda _made, _all: None)
        practising.keep_judged(store, f"over{number}", judged)
    circuit = check_text(ONE_LAMP).circuit
    assert circuit is not None
    causes = {Cause("E1", "ground", "high resistance"): 7, Cause("F1", "fuse", "open"): 2}
    tally = Tally({digest(circuit.model): CircuitTally(shipped_shares(circuit), causes)})
    write_learned(learned, Learned(tally, (("North branch", datetime(2026, 3, 2, tzinfo=UTC), 9),)))


def _start(**engine: Any) -> bytes:
    run = crank_engine(**engine)
    out = StringIO("Time (s),battery volts (V),starter current (A)\n")
    out.seek(0, 2)
    np.savetxt(out, np.column_stack([np.arange(len(run.volts)) / 2000, run.volts, run.amps]), "%.6g", ",")
    return out.getvalue().encode()


def _night() -> bytes:
    generator = random.Random(1)
    lines = ["time (s);current (A)"]
    for second in range(0, 28_800, 4):
        amps = 2.5 if second < 1200 else 0.062 + (0.4 if second > 3000 and second % 900 < 10 else 0.0)
        lines.append(f"{second};{amps + generator.gauss(0, 0.002):.4f}")
    return "\n".join(lines).encode()


def take(names: tuple[str, ...]) -> int:
    """Look at the pages; how many looks are not sound."""
    wanted = {name: path for name, path in (PAGES | FULL).items() if not names or name.startswith(names)}
    with tempfile.TemporaryDirectory() as made, sync_playwright() as player:
        os.environ["HALFSPLIT_LEARNED"] = f"{made}/learned.toml"
        browser = launched(player)
        with JobStore(f"sqlite:///{made}/jobs.db") as store, served(store) as url:
            furnish(store)
            furnish_fully(store, Path(made) / "learned.toml")
            page = browser.new_context(service_workers="block").new_page()
            page.set_default_timeout(60_000)
            wrong: dict[str, list[str]] = {}
            for name, path in wanted.items():
                page.goto(url + path)
                wrong |= _told(faults(page, name, task=True))
        with JobStore(f"sqlite:///{made}/accounts.db") as store, served(store, accounts=True) as url:
            page.goto(new_owner_link(store, url))
            wrong |= _told(faults(page, "owner", task=True))
        browser.close()
    return len(wrong)


def _told(wrong: dict[str, list[str]]) -> dict[str, list[str]]:
    for look, what in wrong.items():
        print(look, *what, sep="\n  ", flush=True)
    return wrong


if __name__ == "__main__":
    sys.exit(min(take(tuple(sys.argv[1:])), 1))
