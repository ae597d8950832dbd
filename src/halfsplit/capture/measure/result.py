"""What every analysis answers with: quantities with uncertainty, the spans used, a verdict and its reason."""

import functools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, Final, Literal, ParamSpec, TypeVar

from halfsplit.errors import InputError

Verdict = Literal["good", "fault", "measured", "cannot tell"]
"""`measured`: the quantities stand, but there is no limit to judge them by."""

P = ParamSpec("P")
R = TypeVar("R", bound="Result")

_DIGITS: Final = 4
_MOST_DIGITS: Final = 5


@dataclass(frozen=True)
class Quantity:
    """A measured value in `unit` with its standard uncertainty (one standard deviation, same unit)."""

    name: str
    value: float
    unit: str
    uncertainty: float = 0.0

    def __str__(self) -> str:
        return f"{self.name}: {self.amount}"

    @property
    def amount(self) -> str:
        """The value with its uncertainty and unit, in as many digits as it warrants.

        Short times are read in milliseconds and microseconds, small volts and amps in thousandths.
        """
        size, factor, unit = abs(self.value), 1.0, self.unit
        if unit == "mohm" and size >= 1000:
            factor, unit = 1e-3, "ohm"
        elif unit in ("V", "A") and 0 < size < 0.1:
            factor, unit = 1e3, f"m{unit}"
        elif unit == "s" and 0 < size < 1:
            factor, unit = (1e3, "ms") if size >= 1e-3 else (1e6, "us")
        value, error = self.value * factor, self.uncertainty * factor
        spread = f" ± {error:.{_decimals(error)}f}" if error > 1e-4 * abs(value) else ""
        # As many digits as the uncertainty warrants, four without one.
        if not math.isfinite(value) or value == 0:
            rounded = f"{value:g}"
        elif not 0 < error < abs(value):
            rounded = f"{value:.{_DIGITS}g}"
        elif 2 + math.floor(math.log10(abs(value))) - math.floor(math.log10(error)) > _MOST_DIGITS:
            rounded = f"{value:.{_MOST_DIGITS}g}"
        else:
            rounded = f"{value:.{_decimals(error)}f}"
        return f"{rounded}{spread} {unit}".rstrip()

    def as_dict(self) -> dict[str, Any]:
        """For JSON; what is not finite becomes null."""
        return {
            "name": self.name,
            "value": _finite(self.value),
            "unit": self.unit,
            "uncertainty": _finite(self.uncertainty),
        }


@dataclass(frozen=True)
class Mark:
    """A span of a trace that the analysis used, in seconds; `start == stop` is an instant."""

    start: float
    stop: float
    label: str


@dataclass(frozen=True, kw_only=True)
class Result:
    """An answer. `reason` is one sentence for the technician; `notes` say what else was seen or assumed."""

    analysis: ClassVar[str] = "measurement"

    verdict: Verdict
    reason: str
    quantities: tuple[Quantity, ...] = ()
    marks: tuple[Mark, ...] = ()
    notes: tuple[str, ...] = ()

    def __getitem__(self, name: str) -> Quantity:
        for quantity in self.quantities:
            if quantity.name == name:
                return quantity
        raise KeyError(name)

    def __contains__(self, name: str) -> bool:
        return any(quantity.name == name for quantity in self.quantities)

    def describe(self) -> tuple[str, ...]:
        """Lines of plain text: the verdict first, then the quantities, then the notes."""
        head = f"{self.analysis}: {self.verdict}{',' if self.verdict == 'cannot tell' else ':'}"
        joint = " because " if self.verdict == "cannot tell" else " "
        return (
            f"{head}{joint}{self.reason}",
            *(f"  {quantity}" for quantity in self.quantities),
            *(f"  {line}" for line in self.details()),
            *(f"  note: {note}" for note in self.notes),
        )

    def details(self) -> tuple[str, ...]:
        """Lines that only this kind of result has, such as the frames of a bus."""
        return ()

    def as_dict(self) -> dict[str, Any]:
        """For JSON: numbers, texts and lists only."""
        return {
            "analysis": self.analysis,
            "verdict": self.verdict,
            "reason": self.reason,
            "quantities": [quantity.as_dict() for quantity in self.quantities],
            "marks": [{"start": m.start, "stop": m.stop, "label": m.label} for m in self.marks],
            "notes": list(self.notes),
            "details": list(self.details()),
        }


def first_lines(items: Sequence[object], most: int = 50) -> tuple[str, ...]:
    """The first of a result's frames, messages and the like as lines, and how many more there are."""
    more = len(items) - most
    return (*map(str, items[:most]), *((f"… and {more} more",) if more > 0 else ()))


class CannotTell(InputError):
    """A trace cannot carry the measurement; the text completes 'cannot tell, because …'.

    Raised inside an analysis only, where `answers` turns it into a result. Do not use it for arguments that
    are wrong in themselves (two arrays of different length): that is a `ValueError`.
    """


def answers(kind: type[R]) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Turn `CannotTell` into a result of this kind whose verdict says so."""

    def around(analysis: Callable[P, R]) -> Callable[P, R]:
        @functools.wraps(analysis)
        def answer(*args: P.args, **kwargs: P.kwargs) -> R:
            try:
                return analysis(*args, **kwargs)
            except CannotTell as because:
                return kind(verdict="cannot tell", reason=because.message)

        return answer

    return around


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _decimals(uncertainty: float) -> int:
    """Figures after the point that show an uncertainty in two digits, without an exponent."""
    return 0 if uncertainty >= 10 else 1 - math.floor(math.log10(uncertainty))
