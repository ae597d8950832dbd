"""The bench of a job: everything that its page and the API tell, worked out from what is stored.

`bench_view` is the whole of it; it is worked out once for each change of the job and kept until the next.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.kinds import LOADS
from halfsplit.diagnosis.after_repair import allowed_words, is_right, to_verify
from halfsplit.diagnosis.diagnosis import Diagnosis
from halfsplit.diagnosis.doubt import Doubt
from halfsplit.diagnosis.measurement import Measurement, Reading
from halfsplit.diagnosis.proof import Finding
from halfsplit.diagnosis.propose import Test, beside
from halfsplit.diagnosis.suspects import Suspect
from halfsplit.diagnosis.words import between_words, evidence_words, part_words, reading_words, sentence
from halfsplit.errors import HalfsplitError
from halfsplit.job.costs import costs_of
from halfsplit.job.kinds import REFITTED, REPAIR, UNPLUGGED, entry_words
from halfsplit.job.memory import LOOKED, PROGRESS, VIEW, Bench, in_turn, viewed
from halfsplit.job.open_job import OpenJob
from halfsplit.job.places import check_place, from_json, key_of, loads_of, to_json
from halfsplit.job.plain import cause_words, described, done_words, repair_words
from halfsplit.job.replay import first_state
from halfsplit.job.tests import test_card, unit_of, words_of
from halfsplit.job.views import (
    BenchView,
    Check,
    CheckState,
    CircuitView,
    EvidenceLine,
    FindingCard,
    SuspectCard,
    TestCard,
    circuit_said,
    shown_as,
)
from halfsplit.store import Attachment, EvidenceEntry, struck_ids

TESTS = 5
PROOF_TESTS = 20
"""The letters of a module's proof are more than the tests that are shown."""
LOOKS = 3
LEAST_LOOK = 0.05
"""Bits from which a look is offered: one that tells less is a question for its own sake."""
OUT_BELOW = 0.005
"""Suspects with less than this are folded away as ruled out; half a per cent."""
SHOWN_SPEAKING = 3


def bench_view(job: OpenJob) -> BenchView:
    """The job as it stands. Raises NotFoundError where there is none."""
    bench = shown_bench(job)
    view: BenchView = bench.shown[VIEW]
    return replace(view, costs=costs_of(job.store, bench.job))


def shown_bench(job: OpenJob) -> Bench:
    """The job's bench with its view, to be looked at alone: others may go on working on its diagnosis."""
    known = viewed(job.store, job.job_id, job.since)
    if known is not None:
        return known
    with job.bench() as bench:
        if VIEW not in bench.shown:
            answers, circuit, attachments = _answers(bench), bench.circuit, job.attachments
            back = said_of(bench, REFITTED)
            bench.shown[VIEW] = view = BenchView(
                job=bench.job,
                sequence=bench.job.last_change,
                circuit=bench.checked,
                states=tuple(circuit.states) if circuit else (),
                loads=loads_of(circuit) if circuit else (),
                evidence=lines_of(bench, attachments, answers["odd"]),
                checks=_checks(bench, answers),
                repair=next(
                    (entry.payload["what"] for entry in bench.after_repair if entry.kind == REPAIR), ""
                ),
                costs=costs_of(job.store, bench.job),
                photos=tuple(photo for photo in attachments if photo.kind == "photo"),
                apart=tuple((name, name in back) for name in taken_apart(bench)),
                **{name: answers[name] for name in BenchView.__dataclass_fields__ if name in answers},
            )
            bench.answers[PROGRESS] = view.progress
        return bench


def _answers(bench: Bench) -> dict[str, Any]:
    """Suspects, tests and finding; worked out once for each change."""
    if "suspects" not in bench.answers:
        with in_turn():
            bench.answers.update(_work_out(bench))
    return bench.answers


def _work_out(bench: Bench) -> dict[str, Any]:
    """What follows from the diagnosis, by the view's names; beside it the ``odd`` reading and the ``best`` test."""
    known: dict[str, Any] = {"suspects": (), "tests": (), "finding": None, "odd": None}
    if bench.told is None:
        return known
    diagnosis, refused = bench.told.diagnosis, bench.told.refused
    known["aside"] = tuple(
        f"{place}: {why}" for place, why in refused.items() if place.startswith("earlier work")
    )
    live = [reading for reading in diagnosis.readings if reading.struck is None]
    if not live:
        return known
    circuit = diagnosis.circuit
    finding, tests, odd, doubt = weighed(diagnosis)
    first = () if finding else [diagnosis.rank(place) for place in at_the_load(circuit, live)]
    cards = tuple(
        {card.key: card for card in (test_card(test, circuit) for test in (*first, *tests))}.values()
    )
    suspects = [_suspect(suspect, circuit) for suspect in diagnosis.suspects()]
    return known | {
        "suspects": tuple(suspect for suspect in suspects if suspect.probability >= OUT_BELOW),
        "out": tuple(suspect for suspect in suspects if suspect.probability < OUT_BELOW),
        "complaints": any(
            (reading.measurement.quantity == "works" and reading.value != "yes")
            or reading.source == "complaint"
            for reading in live
        ),
        "tests": cards[:TESTS],
        "best": tests[0] if tests else None,
        "ticks": tuple(card for card in cards if card.purpose == "prove" and card.place["detail"]),
        "finding": _finding(finding, circuit) if finding else None,
        "odd": odd.id if odd else None,
        "doubt": doubt.words if doubt else (),
    }


def weighed(diagnosis: Diagnosis) -> tuple[Finding | None, tuple[Test, ...], Reading | None, Doubt | None]:
    """What takes long of all that the bench shows: the finding, the next tests, the odd reading, what does not fit."""
    finding = diagnosis.finding()
    tests = diagnosis.next_tests(limit=PROOF_TESTS if finding and not finding.proven else TESTS)
    return finding, tests, diagnosis.odd_reading(), diagnosis.doubt()


def at_the_load(circuit: Circuit, live: Sequence[Reading]) -> list[Measurement]:
    """Where part of the diagram is not known: volts at the feed and at the ground of the load, loaded, before all else.

    The load is the one that was complained of last; what has been read there already is not asked again.
    """
    complaints = [
        reading.measurement
        for reading in live
        if reading.measurement.quantity == "works" and reading.value != "yes"
    ]
    if not complaints or not any(wire.unknown for wire in circuit.model.wires):
        return []
    load = circuit.parts.get(complaints[-1].at)
    pins = load.pins if load is not None and load.kind in LOADS and len(load.pins) == 2 else ()
    read = {reading.measurement.at for reading in live if reading.measurement.quantity == "volts"}
    places = (f"{complaints[-1].at}.{pin}" for pin in pins)
    return [
        Measurement("volts", place, complaints[-1].state, None, "meter")
        for place in places
        if place not in read
    ]


def free_looks(job: OpenJob) -> tuple[TestCard, ...]:
    """Symptoms that cost seconds and nobody has asked about yet, but for the one that is the next test anyway.

    Not part of `bench_view`: weighing them takes as long as the choice of a test, which nobody should wait for.
    """
    known = viewed(job.store, job.job_id, job.since)
    if known is not None and LOOKED in known.shown:
        return known.shown[LOOKED]  # type: ignore[no-any-return]
    with job.bench() as bench:
        looks: tuple[TestCard, ...] = ()
        answers = _answers(bench)
        if bench.told is not None and not answers["finding"] and bench.told.diagnosis.readings:
            if LOOKED not in answers:
                diagnosis, following = bench.told.diagnosis, [card.key for card in answers["tests"][:1]]
                with in_turn(late=True):
                    cards = [test_card(look, diagnosis.circuit) for look in diagnosis.free_looks()]
                worth = [card for card in cards if card.key not in following and card.bits >= LEAST_LOOK]
                answers[LOOKED] = tuple(worth[:LOOKS])
            looks = answers[LOOKED]
        bench.shown[LOOKED] = looks
        return looks


def _suspect(suspect: Suspect, circuit: Circuit) -> SuspectCard:
    for_, against = (
        tuple(reading_text(said.reading, circuit) for said in speaking[:SHOWN_SPEAKING])
        for speaking in (suspect.for_, suspect.against)
    )
    return shown_as(SuspectCard, suspect, name=part_words(suspect.part, circuit), for_=for_, against=against)


def reading_text(reading: Reading, circuit: Circuit) -> str:
    """A reading in words: what was seen and where."""
    if reading.source == "event":
        return f"{reading.measurement.at}: {reading.words}"
    return evidence_words(reading.measurement, reading.value, circuit)


def _finding(finding: Finding, circuit: Circuit) -> FindingCard:
    repair = repair_words(finding.cause, circuit) or finding.repair
    return shown_as(
        FindingCard,
        finding,
        missing_proof=tuple(between_words(missing, circuit) for missing in finding.missing_proof),
        words=cause_words(finding.cause, circuit),
        repair_words=repair,
        repair_done=done_words(repair),
    )


def circuit_view(job: OpenJob) -> CircuitView:
    """The job's circuit with every problem of its text; version 0 before there is one."""
    kept = job.store.circuit(job.job_id)
    return circuit_said(kept.text, kept.version) if kept else circuit_said("")


def heard(job: OpenJob) -> tuple[str, ...]:
    """What the diagnosis has heard and still counts, in words, oldest first."""
    with job.bench() as bench:
        if bench.told is None:
            return ()
        diagnosis = bench.told.diagnosis
        return tuple(
            reading_text(reading, diagnosis.circuit)
            for reading in diagnosis.readings
            if reading.struck is None
        )


# Tests of one's own choice


def own_test(job: OpenJob, place: Mapping[str, Any]) -> TestCard:
    """A test that the technician prefers, with what it is worth and what each result would mean."""
    with job.bench() as bench:
        diagnosis, measured = bench.diagnosis, from_json(place)
        check_place(diagnosis.circuit, measured)
        if not measured.state:
            measured = replace(measured, state=first_state(diagnosis.circuit))
        own, best = diagnosis.rank(measured), _answers(bench).get("best")
        return replace(test_card(own, diagnosis.circuit), beside=beside(own, best))


# After the repair


def _checks(bench: Bench, answers: dict[str, Any]) -> tuple[Check, ...]:
    """What must be seen again after the repair, each with what was seen."""
    if bench.told is None or not bench.after_repair:
        return ()
    if "verify" not in answers:
        answers["verify"] = tuple(to_verify(bench.told.diagnosis.situation()))
    circuit, checks = bench.told.diagnosis.circuit, []
    for place, wanted in answers["verify"]:
        value = seen_again(bench, place)
        state: CheckState = "open" if value is None else "good" if is_right(value, wanted) else "bad"
        check = Check(
            key_of(place),
            sentence(place, circuit),
            wanted if isinstance(wanted, str) else allowed_words(wanted),
            state,
            "" if value is None else reading_words(place, value),
            to_json(place),
            unit_of(place, circuit),
            words_of(place),
        )
        checks.append(check)
    return tuple(checks)


def seen_again(bench: Bench, place: Measurement) -> float | str | None:
    """What was read last at this place, in this state, since the repair; None where nothing was."""
    for entry in reversed(bench.after_repair):
        measured = measured_by(entry) if entry.kind == "reading" else None
        if measured is not None and same(measured, place):
            value: float | str = entry.payload["value"]
            return value
    return None


def measured_by(entry: EvidenceEntry) -> Measurement | None:
    """What was measured, for a reading or a complaint; None for any other, and where it cannot be told any more."""
    try:
        if entry.kind == "reading":
            return from_json(entry.payload)
        if entry.kind == "complaint":
            return Measurement("works", str(entry.payload["load"]), str(entry.payload.get("state") or ""))
    except (HalfsplitError, KeyError):
        pass
    return None


def same(a: Measurement, b: Measurement) -> bool:
    """Whether two were made alike, whatever the instrument: a lamp that lights by a bridge is not yet mended."""
    return (a.quantity, a.place, a.state, a.changes) == (b.quantity, b.place, b.state, b.changes)


def lines_of(bench: Bench, attachments: Sequence[Attachment], odd: str | None) -> tuple[EvidenceLine, ...]:
    """The record, the latest first. ``odd``: id of the reading that fits nothing that is believed."""
    circuit = bench.circuit
    struck = struck_ids(bench.entries)
    strikes = {
        entry.strikes: entry for entry in bench.entries if entry.strikes and entry.entry_id not in struck
    }
    by_id = {attachment.attachment_id: attachment for attachment in attachments}
    refused = bench.told.refused if bench.told else {}
    readings = bench.told.readings if bench.told else {}
    lines = []
    for entry in bench.entries:
        if entry.kind == "strike":
            continue
        reading = readings.get(entry.entry_id)
        words, value = entry_words(entry, circuit)
        shown = [by_id[attachment_id] for attachment_id in entry.attachments if attachment_id in by_id]
        lines.append(
            shown_as(
                EvidenceLine,
                entry,
                words=words,
                value=value,
                struck=strikes[entry.entry_id].reason if entry.entry_id in strikes else "",
                struck_by=strikes[entry.entry_id].entry_id if entry.entry_id in strikes else "",
                aside=refused.get(entry.entry_id, ""),
                odd=reading is not None and reading.id == odd,
                unseen=bench.told.audit(entry.entry_id) if bench.told and reading is not None else "",
                # the test to make again: what was measured, without its value
                place={name: part for name, part in entry.payload.items() if name not in ("value", "typed")}
                if entry.kind == "reading"
                else None,
                photos=tuple(attachment for attachment in shown if attachment.kind != "capture"),
                captures=tuple(attachment for attachment in shown if attachment.kind == "capture"),
            )
        )
    return tuple(reversed(lines))


TAKES_APART = ("unplug", "lamp for", "replace")
"""Changes for a test after which something has to be put back."""


def taken_apart(bench: Bench) -> tuple[str, ...]:
    """Parts that were unplugged or taken out, in order: told, or made for a test; each once."""
    taken: list[str] = []
    for entry in bench.live:
        payload = entry.payload
        if entry.kind == UNPLUGGED:
            taken.append(str(payload.get("what", "")))
        if entry.kind != "reading":
            continue
        changes = [
            change
            for change in payload.get("changes") or ()
            if isinstance(change, list | tuple) and len(change) > 1
        ]
        taken += [str(change[1]) for change in changes if change[0] in TAKES_APART]
        if payload.get("quantity") == "inspection" and not payload.get("detail"):
            taken.append(str(payload.get("at", "")).partition(":")[0])
    return tuple(dict.fromkeys(taken))


def said_of(bench: Bench, kind: str) -> tuple[str, ...]:
    """What the entries of a kind say: parts that are back in place, or what the customer did not want done."""
    return tuple(str(entry.payload.get("what", "")) for entry in bench.live if entry.kind == kind)


def apart_words(name: str, circuit: Circuit | None) -> str:
    """A part as the customer knows it."""
    return described(name, circuit) if circuit and name in circuit.parts else name
