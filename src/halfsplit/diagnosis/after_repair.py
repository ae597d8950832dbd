"""What must be seen once the repair is made: the complaints gone, and what was read wrong now right."""

from __future__ import annotations

from halfsplit.circuit.circuit import Circuit
from halfsplit.diagnosis.candidates import kind_at
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.diagnosis.situation import Situation
from halfsplit.diagnosis.words import part_words, point_words

NEAR_GROUND = 0.1
"""A point that is at ground when healthy reads less than this, or twice what it then has."""
NEAR_HEALTHY = 0.5
"""Any other reads within this of a healthy circuit."""

RESULTS = {
    ("lamp", "no"): "stays dark",
    ("lamp", "yes"): "is bright",
    ("motor", "no"): "stands still",
    ("motor", "yes"): "runs as it should",
}


def allowed(healthy: float) -> tuple[float, float]:
    """The volts from which to which a reading is right, where a healthy circuit gives ``healthy``."""
    if abs(healthy) < NEAR_GROUND:
        limit = max(NEAR_GROUND, 2.0 * abs(healthy))
        return -limit, limit
    return healthy - NEAR_HEALTHY, healthy + NEAR_HEALTHY


def is_right(value: float | str, wanted: float | str) -> bool:
    """Whether what was read after the repair is what a healthy circuit gives, within what is allowed."""
    if isinstance(value, str) or isinstance(wanted, str):
        return value == wanted
    low, high = allowed(wanted)
    return low <= value <= high


def allowed_words(healthy: float) -> str:
    """``0.004`` → 'under 0.1 V'; ``12.3`` → '11.8 to 12.8 V'."""
    low, high = allowed(healthy)
    return f"under {high:.1f} V" if low < 0 < high else f"{low:.1f} to {high:.1f} V"


def to_verify(situation: Situation) -> list[tuple[Measurement, float | str]]:
    """What must read what after the repair: the complaints, and the readings that were the fault's."""
    wanted: dict[Measurement, float | str] = {}
    for reading in situation.live:
        place = reading.measurement
        if place.changes or place.quantity not in ("works", "volts", "answers"):
            continue
        solution = situation.circuit.solve(place.state)
        if place.quantity == "volts":
            healthy = solution.volts(place.at, place.to)
            if not is_right(reading.number, healthy):
                wanted[place] = healthy
        elif reading.value in ("no", "weak") or reading in situation.complaints:
            wanted[place] = solution.works(place.at)
    return list(wanted.items())


def verify_words(place: Measurement, wanted: float | str, circuit: Circuit) -> str:
    """'H2 (brake lamp, right) is bright in state “brake”'; both lead positions for volts."""
    state = f" in state “{place.state}”" if len(circuit.states) > 1 else ""
    if not isinstance(wanted, str):
        leads = f"{point_words(place.at, circuit)} to {point_words(place.to, circuit)}"
        return f"{allowed_words(wanted)} from {leads}{state}"
    kind = "" if place.quantity == "answers" else kind_at(circuit, place.at)
    plain = {"yes": "works", "weak": "works at part power, as it should", "no": "is off, as it should be"}
    if place.quantity == "answers":
        plain = {"yes": "answers", "no": "is silent, as it should be"}
    return f"{part_words(place.at, circuit)} {RESULTS.get((kind, wanted), plain[wanted])}{state}"
