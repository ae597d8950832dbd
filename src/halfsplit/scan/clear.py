"""Clearing codes: the one thing here that changes a vehicle. Behind a confirmation, and logged.

Three steps, and none can be skipped: `plan_clear` reads what is there and says what would be lost; a person confirms
the plan by name; `clear_codes` reads again, refuses if anything has changed, clears, reads again and logs.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime

from halfsplit.errors import ConflictError
from halfsplit.scan.channel import Address
from halfsplit.scan.link import Link
from halfsplit.scan.reading import ReportedCode
from halfsplit.scan.uds import Patience, Refusal, UnitSession

LOST = (
    "the codes themselves, with their status",
    "the snapshots and counters stored with them: when, how often and under what conditions each fault occurred",
    "the results of the unit's self-tests: every one starts again as 'not tested', and a legislated inspection may be "
    "refused until they have run",
    "learned values, in some units: see the vehicle maker's documentation",
)
FIRST = "Save or photograph the codes first: arrival codes are evidence, and they cannot be brought back."
STAYS = "Permanent codes (service 0A) stay until the unit itself has passed its test."


@dataclass(frozen=True, slots=True)
class LogEntry:
    """One line of the record: when (UTC), who, which unit, what was done, what came of it."""

    when: datetime
    by: str
    unit: str
    done: str
    outcome: str


@dataclass(frozen=True, slots=True)
class ClearPlan:
    """What clearing one unit would take away. To be shown before anyone confirms."""

    unit: str
    address: Address
    codes: tuple[ReportedCode, ...]
    lost: tuple[str, ...] = LOST
    notes: tuple[str, ...] = (FIRST, STAYS)

    def confirm(self, by: str, *, saved: bool) -> Confirmation:
        """A person's agreement. saved: the codes have been kept with the job. Raises ConflictError without either."""
        if not by.strip():
            raise ConflictError(
                "nobody is named: clearing codes needs the name of the person who confirms it"
            )
        if not saved:
            raise ConflictError("the codes are not saved with the job yet: save the scan, then clear")
        return Confirmation(self, by.strip())


@dataclass(frozen=True, slots=True)
class Confirmation:
    """A plan that a person has confirmed; made by `ClearPlan.confirm` only."""

    plan: ClearPlan
    by: str


@dataclass(frozen=True, slots=True)
class ClearResult:
    """cleared: whether the unit said yes. left: the codes that it has afterwards. words: what happened."""

    cleared: bool
    left: tuple[ReportedCode, ...]
    words: str


def plan_clear(link: Link, address: Address, unit: str, patience: Patience | None = None) -> ClearPlan:
    """Read what the unit stores now and say what clearing would take away. Raises ConflictError if it does not tell."""
    try:
        return ClearPlan(unit, address, UnitSession(link, address, patience).codes_in_any_session())
    except Refusal as refusal:
        raise ConflictError(f"{unit} cannot be read ({refusal.words}), so nothing is cleared") from None


def clear_codes(
    link: Link, confirmation: Confirmation, log: Callable[[LogEntry], None], patience: Patience | None = None
) -> ClearResult:
    """Clear the codes of one unit as confirmed. Logs every outcome. Raises ConflictError if they have changed since."""
    plan = confirmation.plan
    session = UnitSession(link, plan.address, patience)

    def entry(outcome: str) -> None:
        listed = ", ".join(stored.name for stored in plan.codes) or "no codes"
        log(LogEntry(datetime.now(UTC), confirmation.by, plan.unit, f"clear {listed}", outcome))

    try:
        there = session.codes_in_any_session()
        if {stored.code for stored in there} != {stored.code for stored in plan.codes}:
            entry("not cleared: the codes have changed since they were confirmed")
            raise ConflictError(
                f"the codes of {plan.unit} have changed since they were confirmed: read them again"
            )
        session.clear()
        left = session.codes_in_any_session()
    except Refusal as refusal:
        entry(f"not cleared, or not known: {refusal.words}")
        return ClearResult(cleared=False, left=plan.codes, words=f"{plan.unit}: {refusal.words}")
    back = ", ".join(stored.name for stored in left if stored.present == "yes")
    words = f"{plan.unit}: cleared" + (f"; {back} came back at once: the fault is there now" if back else "")
    entry(words)
    return ClearResult(cleared=True, left=left, words=words)
