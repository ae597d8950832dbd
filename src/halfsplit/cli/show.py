"""A fault finding in words for the terminal: the next test, suspects with bars, what was found.

Suspicion has ColorBrewer's Oranges where the terminal shows colours; every number stands beside its bar.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import Console
from rich.text import Text

from halfsplit.circuit.circuit import Circuit
from halfsplit.diagnosis.measurement import Reading
from halfsplit.diagnosis.proof import Finding
from halfsplit.diagnosis.propose import Outcome, Test
from halfsplit.diagnosis.suspects import Suspect
from halfsplit.diagnosis.words import evidence_words, sentence
from halfsplit.job.tests import LEAST_SHARE, meaning

ORANGES = ("#fdbe85", "#fd8d3c", "#e6550d", "#d94701", "#a63603")
"""ColorBrewer's sequential scale without its palest shade, which cannot be seen on white."""
BAR = 20
DEFER = "The vehicle maker's documentation, local rules and licensed practice come first."
HEADS = {
    "tell": "Next test",
    "prove": "To prove it",
    "repeat": "Once more, since this reading fits nothing that is likely",
}


class Screen:
    """What is written to the terminal or a pipe; lines are not broken in a pipe."""

    def __init__(self, console: Console | None = None) -> None:
        self.console = console or Console(highlight=False)

    def line(self, text: str | Text = "", style: str = "") -> None:
        """One line, shown as it is: names may hold brackets."""
        shown = Text(text, style=style) if isinstance(text, str) else text
        self.console.print(shown, soft_wrap=not self.console.is_terminal)

    def test(self, test: Test, circuit: Circuit, number: int) -> None:
        self.line()
        self.line(f"{HEADS[test.purpose]} ({number}; {test.minutes:.1f} min, {test.bits:.2f} bit)", "bold")
        self.line(f"  {test.sentence}", "bold")
        for caution in test.cautions:
            self.line(f"  Caution: {caution}", "yellow")
        if test.passes:
            self.line(f"  Passes with: {test.passes}.")
        for text in meanings(test):
            self.line(f"  {text}")

    def suspects(
        self, suspects: Sequence[Suspect], circuit: Circuit, most: int = 5, least: float = 0.01
    ) -> None:
        for one in [one for one in suspects if one.probability >= least][:most]:
            self.line(suspect_line(one, circuit))

    def finding(self, found: Finding) -> None:
        self.line()
        for text in finding_lines(found):
            self.line(text)


def suspect_line(one: Suspect, circuit: Circuit) -> Text:
    """A bar, the share, the place and the likeliest way in which it is broken."""
    shade = ORANGES[min(int(one.probability * len(ORANGES)), len(ORANGES) - 1)]
    filled = "█" * round(one.probability * BAR)
    part = circuit.parts.get(one.part)
    words = f"{one.cause} ({part.words})" if part is not None and part.words else one.cause
    return Text.assemble("  ", (filled.ljust(BAR, "░"), shade), f" {100 * one.probability:3.0f} %  {words}")


def meanings(test: Test) -> Iterator[str]:
    """What each result would mean, the likeliest first."""
    shown = sorted(
        (one for one in test.outcomes if one.probability >= LEAST_SHARE), key=lambda one: -one.probability
    )
    labels = [meaning(one, test.measurement).label for one in shown]
    width = max(map(len, labels), default=0)
    for label, one in zip(labels, shown, strict=True):
        yield f"{label.ljust(width)}  {100 * one.probability:3.0f} %  leaves {leaves(one)}"


def leaves(outcome: Outcome, most: int = 3) -> str:
    """The suspects that would lead."""
    told = [f"{name} {100 * share:.0f} %" for name, share in outcome.leaves if share >= 0.01]
    return ", ".join(told[:most]) or "nothing that is likely"


def finding_lines(found: Finding) -> Iterator[str]:
    """What was found, what it explains, what proof is missing, what must be seen after the repair."""
    state = "Proven" if found.proven else "Found, not proven"
    yield f"{state}: {found.cause} ({100 * found.probability:.1f} %). Repair: {found.repair}."
    yield from _listed("It explains:", found.explains)
    yield from _listed("It does not explain; is there a second fault?", found.unexplained)
    yield from _listed("Proof that is missing:", found.missing_proof)
    yield from _listed("After the repair, see that:", found.verify)


def _listed(head: str, items: Sequence[str]) -> Iterator[str]:
    if items:
        yield head
        yield from (f"  {item}" for item in items)


def reading_line(reading: Reading, circuit: Circuit) -> str:
    """A reading as it was taken, with both lead positions."""
    struck = f" (struck out: {reading.struck})" if reading.struck else ""
    return evidence_words(reading.measurement, reading.value, circuit) + struck


def one_line(test: Test, circuit: Circuit) -> str:
    """A test in a list."""
    return f"{sentence(test.measurement, circuit)} ({test.minutes:.1f} min, {test.bits:.2f} bit)"
