"""The example job: the demo with a recording, two scan reports and a night's log, so that every page can be looked at.

Vehicle, people, readings and codes are invented; the curves are made here from plain shapes.
"""

from __future__ import annotations

import math
from contextlib import suppress
from io import BytesIO

from halfsplit.errors import NotFoundError
from halfsplit.job.captures import add_capture
from halfsplit.job.demo import demo_job
from halfsplit.job.drains import keep_log
from halfsplit.job.open_job import OpenJob
from halfsplit.job.scans import keep_report
from halfsplit.store import JobStore

EXAMPLE = "example"
"""Id of the example job."""
CODES_BEFORE = """Scan report, panel van (invented)
Engine control unit
P0562 System voltage low - intermittent
Body control unit
B1141 Right tail lamp circuit, current too low - present
B1145 Right brake lamp circuit, current too low - present
Trailer control unit
No response
"""
CODES_AFTER = """Scan report, panel van (invented), after the repair
Engine control unit
No fault codes
Body control unit
No fault codes
Trailer control unit
No fault codes
"""


def example_job(store: JobStore, *, who: str) -> OpenJob:
    """Open the example, made once; what somebody has changed in it since stays."""
    job = OpenJob(store, EXAMPLE, who)
    with suppress(NotFoundError):
        job.must_be_there()
        return job
    demo_job(store, "rear-lamps", job_id=EXAMPLE)
    add_capture(job, BytesIO(starting().encode()), name="starting, battery and starter (example).csv")
    keep_report(job, CODES_BEFORE.encode(), name="before (example).txt", moment="arrival")
    keep_report(job, CODES_AFTER.encode(), name="after (example).txt", moment="after repair")
    keep_log(
        job,
        night().encode(),
        name="one night (example).csv",
        how={"unit": "mA", "interval": None, "instrument": "meter"},
    )
    return job


def starting() -> str:
    """A healthy start as text: battery volts and starter current, two seconds at 2,000 samples a second."""
    lines = ["Time (s),battery volts (V),starter current (A)"]
    for number in range(4000):
        time = number / 2000
        since, amps = time - 0.3, 0.0
        if 0 <= since <= 1.2:  # inrush, then one hump for each compression, then the engine runs by itself
            amps = 180.0 + 420.0 * math.exp(-since / 0.04) + 45.0 * math.sin(2 * math.pi * 9.0 * since)
        lines.append(f"{time:.4f},{12.6 - 0.008 * amps:.3f},{amps:.1f}")
    return "\n".join(lines) + "\n"


def night() -> str:
    """Eight hours in mA, a sample every 10 s: asleep after 20 minutes, and something wakes it twice an hour."""
    lines = ["Time (s),current (mA)"]
    for second in range(0, 8 * 3600, 10):
        awake = second < 1200
        woken = second % 1800 < 40
        amps = 1400.0 if awake and second < 300 else 320.0 if awake else 410.0 if woken else 12.0
        lines.append(f"{second},{amps + 3.0 * math.sin(second / 37.0):.1f}")
    return "\n".join(lines) + "\n"
