"""Tests as cards: labels of the results, what the pad shows, where the leads go."""

from __future__ import annotations

import math

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.model import BODY
from halfsplit.diagnosis.cost import part_of
from halfsplit.diagnosis.measurement import Measurement, answers_for
from halfsplit.diagnosis.propose import Outcome, Test
from halfsplit.diagnosis.words import point_words, reading_words
from halfsplit.job.entering import FIELD_UNITS
from halfsplit.job.places import key_of, to_json
from halfsplit.job.views import Meaning, TestCard, shown_as
from halfsplit.quantities import QUANTITIES

LEAST_SHARE = 0.01
"""Results less likely than this are not told."""


def test_card(test: Test, circuit: Circuit) -> TestCard:
    """A proposed test as it is shown."""
    place = test.measurement
    red, black = lead_words(place, circuit)
    return shown_as(
        TestCard,
        test,
        key=key_of(place),
        meanings=tuple(
            meaning(outcome, place) for outcome in test.outcomes if outcome.probability >= LEAST_SHARE
        ),
        unit=unit_of(place, circuit),
        words=words_of(place, circuit),
        red=red,
        black=black,
        place=to_json(place),
        red_at=_place_of(place.at, circuit) if red else "",
        black_at=_place_of(place.to, circuit) if black else "",
    )


def _place_of(point: str | None, circuit: Circuit) -> str:
    """Where a point is in the vehicle: 'right rear corner'; '' where the circuit does not tell."""
    part = circuit.parts.get(part_of(point)) if point else None
    return part.place if part else ""


def lead_words(place: Measurement, circuit: Circuit) -> tuple[str, str]:
    """Where the red and the black lead go; two empty texts where the instrument has none."""
    if not QUANTITIES[place.quantity].leads:
        return "", ""
    return point_words(place.at, circuit), point_words(place.to, circuit)


def lead_points(place: Measurement, circuit: Circuit) -> dict[str, str]:
    """Point of the drawing → 'red' or 'black', where the two leads go; empty where the instrument has none.

    The bare metal of the body is drawn beside a ground point: ``E5 body``.
    """
    if not QUANTITIES[place.quantity].leads:
        return {}
    black = place.to
    if black is None:
        black = next((f"{name}.-" for name, part in circuit.parts.items() if part.kind == "battery"), "")
    elif black == BODY or (black in circuit.parts and circuit.parts[black].kind == "mass"):
        grounds = [name for name, part in circuit.parts.items() if part.kind == "ground"]
        black = f"{place.at if place.at in grounds else next(iter(grounds), '')} body"
    return {place.at: "red", black: "black"}


def meaning(outcome: Outcome, place: Measurement) -> Meaning:
    """One result in words."""
    words = outcome.word
    if not words:
        low, high = (_border(end, place) for end in (outcome.low, outcome.high))
        if low and high:
            words = f"{low} to {high}"
        else:
            words = f"over {low}" if low else f"under {high}" if high else outcome.text
    return Meaning(words, outcome.probability, outcome.leaves)


def _border(end: float, place: Measurement) -> str:
    """A border in words, '' where the range has none."""
    if not math.isfinite(end):
        return ""
    coarse = QUANTITIES[place.quantity].border
    if not coarse:
        return reading_words(place, end)
    # "under 0 V" would say that only what is below zero counts as nothing there
    return reading_words(place, round(end / coarse) * coarse or coarse)


def unit_of(place: Measurement, circuit: Circuit) -> str:
    """The unit that the entry shows; '' where the answer is a word."""
    if place.quantity == "stage":
        stage = circuit.model.stages.get(place.at)
        return stage.unit if stage else ""
    if place.quantity == "gauge":
        return circuit.model.gauges[place.at].unit or "1"
    return FIELD_UNITS.get(place.quantity, "")


def words_of(place: Measurement, circuit: Circuit | None = None) -> tuple[str, ...]:
    """The words that may be answered; empty where a number is asked."""
    if circuit is not None and place.quantity in ("stage", "gauge") and unit_of(place, circuit):
        return ()
    return answers_for(place)
