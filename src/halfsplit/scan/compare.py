"""Two reports side by side: what is gone, what stayed, what is new, which units answer.

A code is gone only if its unit was read again and answered. A unit that is silent or missing in the second report
leaves its codes unknown, which is said.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from halfsplit.scan.reading import ReportedCode
from halfsplit.scan.report import ScanReport
from halfsplit.scan.units import UnitReport

GONE = "gone"
STAYED = "stayed"
NEW = "new"
CHANGED = "changed status"
UNKNOWN = "not known"

ADVICE = (
    "A code that is gone proves the repair only after its unit has tested again: meet the test's conditions."
)
VERDICTS = (GONE, STAYED, CHANGED, NEW, UNKNOWN)


@dataclass(frozen=True, slots=True)
class CodeChange:
    """One code of one unit before and after. before, after: the status in words, None where the code is not listed."""

    unit: str
    code: str
    verdict: str
    before: str | None
    after: str | None
    why: str = ""


@dataclass(frozen=True, slots=True)
class Comparison:
    """codes: every code of either report. answers_now, silent_now: units that changed; still_silent: that did not.

    not_read: units of the first report that the second does not speak of. added: units only in the second.
    """

    codes: tuple[CodeChange, ...]
    answers_now: tuple[str, ...] = ()
    silent_now: tuple[str, ...] = ()
    still_silent: tuple[str, ...] = ()
    not_read: tuple[str, ...] = ()
    added: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def of(self, verdict: str) -> tuple[CodeChange, ...]:
        """The codes with that verdict (one of `VERDICTS`)."""
        return tuple(change for change in self.codes if change.verdict == verdict)

    @property
    def clean(self) -> bool:
        """Whether nothing stayed, nothing is new, nothing is unknown and every unit answers."""
        open_codes = any(change.verdict != GONE for change in self.codes)
        return not (open_codes or self.silent_now or self.still_silent or self.not_read)

    def as_dict(self) -> dict[str, Any]:
        """Everything as plain values."""
        return asdict(self) | {"clean": self.clean}


def compare(before: ScanReport, after: ScanReport, aliases: Mapping[str, str] | None = None) -> Comparison:
    """Compare two reports of one vehicle, read by whatever tools.

    aliases: the name of a unit in the second report -> its name in the first, where the tools name it differently.
    """
    names = {UnitReport(theirs).key: UnitReport(ours).key for theirs, ours in (aliases or {}).items()}
    old = {unit.key: unit for unit in before.units}
    new = {names.get(unit.key, unit.key): unit for unit in after.units}
    changes = [change for key in old for change in _of_unit(old[key], new.get(key))]
    changes += [
        _change(unit.name, None, code) for key, unit in new.items() if key not in old for code in unit.codes
    ]
    both = [(old[key], new[key]) for key in old if key in new]
    gone = any(change.verdict == GONE for change in changes)
    return Comparison(
        tuple(changes),
        answers_now=tuple(a.name for a, b in both if a.answers is False and b.answers),
        silent_now=tuple(a.name for a, b in both if a.answers is not False and b.answers is False),
        still_silent=tuple(a.name for a, b in both if a.answers is False and not b.answers),
        not_read=tuple(unit.name for key, unit in old.items() if key not in new),
        added=tuple(unit.name for key, unit in new.items() if key not in old),
        notes=(ADVICE,) if gone else (),
    )


def _of_unit(before: UnitReport, after: UnitReport | None) -> list[CodeChange]:
    if after is None or (after.answers is False and not after.codes):
        why = "the unit does not answer now" if after else "the unit is not in the second report"
        return [
            CodeChange(before.name, code.name, UNKNOWN, code.status_words, None, why) for code in before.codes
        ]
    rest = list(after.codes)
    changes = []
    for code in before.codes:
        match = next((other for other in rest if _same(code, other)), None)
        if match is not None:
            rest.remove(match)
        changes.append(_change(before.name, code, match))
    return changes + [_change(before.name, None, code) for code in rest]


def _same(a: ReportedCode, b: ReportedCode) -> bool:
    """Whether two entries are one code; a failure type that only one tool shows does not make two of it."""
    if a.code is None or b.code is None:
        return a.text.casefold() == b.text.casefold()
    types = {a.code.failure_type, b.code.failure_type}
    return a.code.number == b.code.number and (len(types) == 1 or None in types)


def _change(unit: str, before: ReportedCode | None, after: ReportedCode | None) -> CodeChange:
    """What became of a code that is in one of two reports of its unit, or in both."""
    was, now = before.status_words if before else None, after.status_words if after else None
    verdict = (
        NEW if was is None else GONE if now is None else CHANGED if was and now and was != now else STAYED
    )
    code = before or after
    return CodeChange(unit, code.name if code else "", verdict, was, now)
