"""What a capture measured, offered as readings of the job: at a point, in a state, with the scope or the clamp.

An offer is suggested where the channel's name (or its role) and one of the next tests agree. A reading that is taken
goes the same way as one entered by hand (`verbs.record`); its value is looked up here, never taken from a form.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from halfsplit.capture.screen import stretch
from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.model import Stage
from halfsplit.errors import ConflictError, InputError
from halfsplit.job.bench import bench_view
from halfsplit.job.captures import CaptureView, ChannelLine, capture_view, opened
from halfsplit.job.entering import FIELD_UNITS, shown_value
from halfsplit.job.open_job import OpenJob
from halfsplit.job.verbs import record
from halfsplit.job.views import TestCard
from halfsplit.store import EvidenceEntry, JobStore

USED: Final[Mapping[tuple[str, str], tuple[str, tuple[str, ...]]]] = {
    ("cranking", "rest volts"): ("volts", ("battery volts",)),
    ("cranking", "mean cranking volts"): ("volts", ("battery volts",)),
    ("cranking", "mean current"): ("amps", ("starter current",)),
    ("charging", "mean"): ("", ("battery volts", "generator current")),
    ("motor current", "mean current"): ("amps", ("motor current",)),
    ("duty cycle", "duty"): ("duty", ("switched signal",)),
    ("duty cycle", "frequency"): ("hertz", ("switched signal",)),
    ("duty cycle", "low level"): ("volts", ("switched signal",)),
    ("duty cycle", "high level"): ("volts", ("switched signal",)),
    ("voltage drop", "drop"): ("volts", ("drop volts", "upper volts")),
    ("voltage drop", "current"): ("amps", ("load current",)),
}
"""(Analysis, quantity) → the quantity of a reading ('' by the unit) and the roles that it was measured on.

Peaks and ripples are left out: a circuit's readings are those of a steady state.
"""
SILENT: Final = " fell silent"
"""How the quantity of an identifier ends that went away while its bus went on."""
STAGES: Final[Mapping[str, str]] = {
    "relative compression": r"compression",
    "cranking": r"\bcrank(s|ed|ing)?\b",
    "ignition coil": r"\bspark|\bignit",
    "injector": r"\binject",
    "crank and cam": r"\bspeed signal|\bcrank(shaft)? (sensor|signal)|\bcam(shaft)? (sensor|signal)",
    "charging": r"\bcharg(es|ing)\b",
}
"""Analysis → what the name or the words of a stage say when the analysis decides it."""
KINDS: Final[Mapping[str, tuple[str, ...]]] = {
    "battery volts": ("battery",),
    "battery current": ("battery",),
    "starter current": ("motor",),
    "generator current": ("generator",),
    "motor current": ("motor",),
    "injector volts": ("solenoid",),
    "injector current": ("solenoid",),
}
"""Role → the kinds of part on which it is recorded."""
PULSES: Final = frozenset(
    {"sync pulse", "crank", "cam", "CAN high", "CAN low", "CAN receive", "LIN"}
) | frozenset({"bus frames", "bus frame bytes", "diagnostic line"})
"""Roles whose mean says nothing."""
DROP: Final = "drop volts"
BY_UNIT: Final = {"V": "volts", "A": "amps"}
PASSED: Final = {"good": "yes", "fault": "no"}
SIDES: Final = {"in": r"\b(in|arriving|arrives)\b", "out": r"\b(out|leaving|leaves)\b"}


@dataclass(frozen=True)
class Offer:
    """Something measured that can become a reading. ``key`` is sent back with the place.

    ``at``, ``to``, ``state``: what its fields begin with. ``suggested``: the test that it answers, or None. ``two``:
    whether it was taken between two points. ``words``: the value as it is told; '' until the cursors are set.
    """

    key: str
    name: str
    words: str
    quantity: str
    instrument: str | None = None
    two: bool = False
    at: str = ""
    to: str = ""
    state: str = ""
    suggested: TestCard | None = None


@dataclass(frozen=True)
class Places:
    """What can be named in the job's circuit: points, parts and wires for amps, stages with their words, states."""

    points: tuple[str, ...] = ()
    elements: tuple[str, ...] = ()
    stages: tuple[tuple[str, str], ...] = ()
    states: tuple[str, ...] = ()


def places(job: OpenJob) -> Places:
    """The names in the job's circuit; all empty without a usable one."""
    circuit = _circuit(job)
    if circuit is None:
        return Places()
    return Places(
        tuple(circuit.points),
        tuple(circuit.parts),
        tuple((stage.name, stage.words) for stage in circuit.model.stages.values()),
        tuple(circuit.states),
    )


def _circuit(job: OpenJob) -> Circuit | None:
    checked = bench_view(job).circuit
    return checked.circuit if checked is not None and checked.usable else None


def offers(job: OpenJob, view: CaptureView) -> tuple[Offer, ...]:
    """What was measured last and can become a reading, the suggested ones first; empty without a circuit."""
    circuit = _circuit(job)
    if circuit is None:
        return ()
    offering = _Offering(view, circuit, bench_view(job).tests)
    offered = [*offering.of_numbers(), *offering.of_verdicts()]
    return tuple(sorted(offered, key=lambda offer: offer.suggested is None))


def between_offers(job: OpenJob, view: CaptureView) -> tuple[Offer, ...]:
    """The mean of each channel in volts or amps between the cursors, which the page fills in."""
    circuit = _circuit(job)
    if circuit is None:
        return ()
    offering = _Offering(view, circuit, bench_view(job).tests)
    answered = [offer.suggested.key for offer in offers(job, view) if offer.suggested]
    offered = (
        offering.placed(
            f"mean {channel.number}",
            channel.label,
            "",
            BY_UNIT[channel.unit],
            channel,
            two=channel.role == DROP,
        )
        for channel in view.channels
        if channel.unit in BY_UNIT and channel.role not in PULSES
    )
    # One press for one test: what an analysis measured goes before what lies between the cursors.
    return tuple(
        replace(offer, suggested=None) if offer.suggested and offer.suggested.key in answered else offer
        for offer in offered
    )


@dataclass(frozen=True)
class _Offering:
    """What a capture shows, beside the circuit and the next tests of its job."""

    view: CaptureView
    circuit: Circuit
    tests: Sequence[TestCard]

    def of_numbers(self) -> Iterator[Offer]:
        by_role = {channel.role: channel for channel in self.view.channels if channel.role}
        for number, result in enumerate(self.view.results):
            for place, measured in enumerate(result["quantities"]):
                if measured["value"] is None:
                    continue
                if measured["name"].endswith(SILENT):
                    yield self.silent(f"silent {number} {place}", measured)
                    continue
                key, name = f"result {number} {place}", f"{result['analysis']}: {measured['name']}"
                yield from self.in_stage_unit(key, name, measured, STAGES.get(result["analysis"], ""))
                kind, roles = USED.get((result["analysis"], measured["name"]), ("", ()))
                channel = next((by_role[role] for role in roles if role in by_role), None)
                quantity = kind or BY_UNIT.get(measured["unit"], "")
                if channel is None or (quantity == "volts" and (measured["unit"] or channel.unit) != "V"):
                    continue
                words = shown_value(quantity, measured["value"] / (100 if quantity == "duty" else 1))
                yield self.placed(key, name, words, quantity, channel, two=measured["name"] == "drop")

    def silent(self, key: str, measured: Mapping[str, Any]) -> Offer:
        """An identifier that went away: the unit that sends it does not answer; which unit that is, is said with it."""
        fit = [test for test in self.tests if test.quantity == "answers"]
        modules = [part.name for part in self.circuit.parts.values() if part.behaviour is not None]
        words = f"does not answer, silent from {measured['value']:.4g} s on"
        name = f"the sender of {measured['name'].removesuffix(SILENT)}"
        offer = self.offer(key, name, words, "answers", fit[0] if len(fit) == 1 else None)
        return replace(offer, at=modules[0] if len(modules) == 1 else "", suggested=None)

    def offer(
        self, key: str, name: str, words: str, quantity: str, test: TestCard | None, at: str = "", **more: Any
    ) -> Offer:
        """An offer at the place of the ``test`` that it answers, else in the state of the next of the tests."""
        state = test.state if test else self.tests[0].state if self.tests else ""
        return Offer(
            key, name, words, quantity, at=test.at if test else at, state=state, suggested=test, **more
        )

    def placed(
        self, key: str, name: str, words: str, quantity: str, channel: ChannelLine, *, two: bool
    ) -> Offer:
        test = self.agreeing(quantity, channel, two=two)
        instrument, to = "clamp" if quantity == "amps" else "scope", (test and test.to) or ""
        # the longest point or part that the channel's name tells
        known = self.circuit.parts if quantity == "amps" else self.circuit.points
        named = [
            point
            for point in known
            if _has(channel.name, point.partition(":")[0]) and _speaks_of(channel.name, point, self.circuit)
        ]
        at = max(named, key=len, default="")
        return self.offer(key, name, words, quantity, test, at, instrument=instrument, two=two, to=to)

    def agreeing(self, quantity: str, channel: ChannelLine, *, two: bool) -> TestCard | None:
        """The one of the next tests that this channel answers by its name; or the next one, if its role says so."""
        fit = [test for test in self.tests if test.quantity == quantity and (test.to is not None) == two]
        named = [test for test in fit if _speaks_of(channel.name, test.at, self.circuit)]
        if len(named) == 1:
            return named[0]
        if named or not fit or fit[0] is not self.tests[0]:
            return None
        part = self.circuit.parts.get(fit[0].at.partition(".")[0])
        by_role = part is not None and part.kind in KINDS.get(channel.role, ())
        return fit[0] if by_role or (two and channel.role == DROP) else None

    def of_verdicts(self) -> Iterator[Offer]:
        """A verdict passes or fails a stage that is answered by yes or no."""
        for number, result in enumerate(self.view.results):
            passed, words = PASSED.get(result["verdict"]), STAGES.get(result["analysis"], "")
            stages = self.decided_by(words)
            if passed is None or not words or all(stage.unit for stage in self.circuit.model.stages.values()):
                continue
            named = [stage.name for stage in stages if not stage.unit]
            test = next((test for test in self.tests if test.quantity == "stage" and test.at in named), None)
            outcome, at = "passed" if passed == "yes" else "not passed", named[0] if named else ""
            yield self.offer(f"verdict {number}", result["analysis"], outcome, "stage", test, at)

    def in_stage_unit(self, key: str, name: str, measured: Mapping[str, Any], words: str) -> Iterator[Offer]:
        """A quantity in the unit of a stage, such as rpm, answers that stage."""
        for stage in self.decided_by(words):
            if stage.unit == measured["unit"]:
                tests = (test for test in self.tests if test.quantity == "stage" and test.at == stage.name)
                amount = f"{measured['value']:.5g} {measured['unit']}"
                yield self.offer(f"{key} {stage.name}", name, amount, "stage", next(tests, None), stage.name)

    def decided_by(self, words: str) -> list[Stage]:
        """The stages whose name or words have these ``words`` of an analysis (`STAGES`), none for ''."""
        return [
            stage
            for stage in self.circuit.model.stages.values()
            if words and re.search(words, f"{stage.name} {stage.words}", re.IGNORECASE)
        ]


def _speaks_of(name: str, at: str, circuit: Circuit) -> bool:
    """Whether a channel's name tells this place: its point (and not the other side of it), its part, or its words."""
    point, _, side = at.partition(":")
    if side and any(re.search(SIDES[way], name, re.IGNORECASE) for way in SIDES if way != side):
        return False
    part = circuit.parts.get(point.partition(".")[0])
    names = [point] if "." in point or part is None else [point, part.words]
    if part is not None and len(part.pins) == 2 and part.words:
        names.append(part.words)
    return any(_has(name, known_name) for known_name in names if known_name)


def _has(name: str, word: str) -> bool:
    plain = re.escape(word).replace(r"\ ", r"[\s_-]+")
    return re.search(rf"(?<![\w.]){plain}(?![\w]|\.\w)", name, re.IGNORECASE) is not None


# Taking one


def use(
    job: OpenJob,
    capture_id: str,
    key: str,
    place: Mapping[str, Any],
    *,
    shown: int = 0,
    between: tuple[float, float] | None = None,
    entry_id: str = "",
    confirmed: bool = False,
) -> EvidenceEntry:
    """Make a measurement of a capture a reading of the job at ``place`` (at, to, state), linked to the capture.

    Raises ConflictError where the capture was measured anew since the page was made; InputError for a place or key
    that is none; `Doubt` where the value is odd for its place and not ``confirmed``.
    """
    view = capture_view(job, capture_id)
    if between is None and shown != view.shown:
        raise ConflictError("this capture was measured again meanwhile: look at the new results first")
    quantity, typed, unit = _value(job.store, view, key, between)
    kind, number, *rest = key.split(" ")
    if kind == "mean":
        drop = view.channels[int(number)].role == DROP
    else:
        drop = kind == "result" and view.results[int(number)]["quantities"][int(rest[0])]["name"] == "drop"
    if drop and not place.get("to"):
        raise InputError("a voltage drop lies between two points", remedy="name both", where="to")
    said: dict[str, Any] = {
        "quantity": quantity,
        "at": place.get("at"),
        "to": place.get("to") or None,
        "state": place.get("state"),
        "instrument": {"stage": None, "answers": None, "amps": "clamp"}.get(quantity, "scope"),
        "changes": place.get("changes") or [],
    }
    return record(
        job,
        said,
        typed,
        unit=unit,
        entry_id=entry_id,
        confirmed=confirmed,
        present="yes",
        attachments=(capture_id,),
    )


def _value(
    store: JobStore, view: CaptureView, key: str, between: tuple[float, float] | None
) -> tuple[str, str, str]:
    """Quantity, number as typed, and unit of what a key names."""
    kind, *numbers = key.split(" ")
    try:
        if kind == "mean" and between is not None:
            channel = opened(store, view.kept, view.settings).channels[int(numbers[0])]
            mean = stretch(channel, *between)
            if mean is None or channel.unit not in BY_UNIT:
                raise InputError(
                    "there is nothing between the two cursors", remedy="set them apart", where="cursors"
                )
            return BY_UNIT[channel.unit], _typed(mean.mean), channel.unit
        result = view.results[int(numbers[0])]
        if kind == "verdict":
            return "stage", PASSED[result["verdict"]], ""
        quantity_said = result["quantities"][int(numbers[1])]
        if kind == "silent" and quantity_said["name"].endswith(SILENT):
            return "answers", "no", ""
        if len(numbers) > 2:
            return "stage", _typed(quantity_said["value"]), quantity_said["unit"]
        used = USED[result["analysis"], quantity_said["name"]][0] or BY_UNIT[quantity_said["unit"]]
    except (LookupError, ValueError) as error:
        raise InputError("this was not measured", remedy="load the page again", where="key") from error
    return used, _typed(quantity_said["value"]), FIELD_UNITS[used]


def _typed(value: float) -> str:
    """Five digits, as somebody would enter them, never with an exponent."""
    return f"{float(f'{value:.5g}'):.9f}".rstrip("0").rstrip(".")
