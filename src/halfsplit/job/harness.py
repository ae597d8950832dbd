"""A wiring harness kept with a job: what may be plugged into its connectors, and the circuit that comes of it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import IO

from halfsplit.diagram.worker import Worker
from halfsplit.errors import NotFoundError
from halfsplit.harness.answers import checked_answer, known
from halfsplit.harness.cut import near as cut_near
from halfsplit.harness.data import Harness
from halfsplit.harness.document import LARGEST
from halfsplit.harness.fits import FITS, tags
from halfsplit.harness.proposals import Plug, Plugged
from halfsplit.harness.read import read
from halfsplit.job.open_job import OpenJob
from halfsplit.job.verbs import add_photo

HARNESS = "harness"
"""First word of the name under which harness data is kept."""
HARNESS_KINDS = tuple(FITS)
MOST_JOINTS = 9
_WORKER = Worker(what="harness")
_CAUTIONS = {
    "pyro": "airbag or belt tensioner: never probe, never lamp-test; battery off and the waiting time of the vehicle's "
    "documentation first",
    "orange": "high voltage: only by people trained for it, with the system made dead and locked",
}
"""Tag of the notation → what is said on the page."""


@dataclass(frozen=True)
class HarnessView:
    """A harness cut to what lies near a plug. ``connectors``: name and words of all; ``near`` is '' for the whole.

    ``rows``: each connector with what is plugged in, and why that is proposed.
    """

    title: str
    connectors: tuple[tuple[str, str], ...]
    near: str
    joints: int
    rows: tuple[tuple[Plug, Plugged], ...]
    assumed: tuple[str, ...]
    text: str
    cautions: tuple[str, ...] = ()


def keep_harness(job: OpenJob, source: IO[bytes], name: str) -> None:
    """Keep a file of harness data with the job. Raises InputError where it cannot be read."""
    _WORKER.ask(checked_harness, source.read(LARGEST + 1), name)
    source.seek(0)
    add_photo(job, source, name=f"{HARNESS} {name}"[:120], kind="document")


def harness_view(
    job: OpenJob, near: str | None, joints: int, answers: Mapping[str, tuple[str, str]] | None = None
) -> HarnessView:
    """The latest harness of the job, near a plug; ``told``: connector → kind and value, as a form has them.

    Without a plug (None) it is the one whose words the complaint has. Read in a process of its own, with bounds on time
    and memory. Raises InputError, NotFoundError.
    """
    loaded = [
        attachment
        for attachment in job.attachments
        if attachment.kind == "document" and attachment.name.startswith(f"{HARNESS} ")
    ]
    if not loaded:
        raise NotFoundError("this job has no harness data yet: load a KBL or VEC file at its circuit")
    data, name = job.file(loaded[-1].attachment_id), loaded[-1].name
    complaint = job.record.intake.complaint.text
    view: HarnessView = _WORKER.ask(view_of, data, name, complaint, near, joints, dict(answers or {}))
    return view


# In the process of its own


def checked_harness(data: bytes, name: str) -> None:
    """Raises InputError where the file holds no harness that can be read."""
    _read(data, name)


def view_of(
    data: bytes,
    name: str,
    complaint: str,
    near: str | None,
    joints: int,
    given: Mapping[str, tuple[str, str]],
) -> HarnessView:
    """What the page shows of a file."""
    from halfsplit.harness.build import build, plugs  # slow to import

    whole = _read(data, name)
    asked = {plug.name: plug.words for plug in plugs(whole)}
    wanted = near
    if wanted is None:  # the connector whose words share most with the complaint
        said = set(re.findall(r"\w{4,}", complaint.lower()))
        shared = {plug: len(said & set(re.findall(r"\w{4,}", asked[plug].lower()))) for plug in asked}
        best = max(shared, key=lambda plug: shared[plug], default="")
        wanted = best if best and shared[best] else ""
    distance = min(max(joints, 1), MOST_JOINTS)
    part = cut_near(whole, wanted, distance) if wanted else whole
    here = plugs(part)
    answers = {name: checked_answer(kind, value, name) for name, (kind, value) in given.items()}
    known(answers, here)
    built = build(part, answers)
    first = sorted(here, key=lambda plug: plug.name != wanted)
    # a view of a mapping does not travel between processes
    rows = tuple((replace(plug, signals=dict(plug.signals)), built.plugged[plug.name]) for plug in first)
    cautions = tuple(
        f"{plug.words} ({plug.name}): {_CAUTIONS[tag]}" for plug in first for tag in tags(plug.words)
    )
    connectors = tuple(sorted(asked.items(), key=lambda item: (item[1] or "~", item[0])))
    return HarnessView(
        whole.title, connectors, wanted, distance, rows, tuple(built.assumed), built.text, cautions
    )


@lru_cache(maxsize=2)
def _read(data: bytes, name: str) -> Harness:
    return read(data, name)
