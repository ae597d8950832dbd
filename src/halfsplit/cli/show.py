"""A fault finding in words for the terminal: the next test, suspects with bars, what was found.

Suspicion has ColorBrewer's Oranges where the terminal shows colours; every number stands beside its bar.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import Console
from rich.text import Text

from halfsplit.circuit.circuit import Circuit
from halfsplit.diagnosis.measurement import Reading
from halfsplit.diagnosis.words import evidence_words
from halfsplit.job.views import FindingCard, Meaning, SuspectCard, TestCard

ORANGES = ("#fdbe85", "#fd8d3c", "#e6550d", "#d94701", "#a63603")
"""ColorBrewer's sequential scale without its palest shade, which cannot be seen on white."""
BAR = 20
DEFER = "The vehicle maker's documentation, local rules and licensed practice come first."
HEADS = {
    "tell": "Next test",
    "prove": "To prove it",
    "repeat": "Once more, since one reading does not fit or decides too much alone",
}


class Screen:
    """What is written to the terminal or a pipe; lines are not broken in a pipe."""

    def __init__(self, console: Console | None = None) -> None:
        self.console = console or Console(highlight=False)

    def line(self, text: str | Text = "", style: str = "") -> None:
        """One line, shown as it is: names may hold brackets."""
        shown = Text(text, style=style) if isinstance(text, str) else text
        self.console.print(shown, soft_wrap=not self.console.is_terminal)

    def test(self, test: TestCard, number: int) -> None:
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
        self, suspects: Sequence[SuspectCard], circuit: Circuit, most: int = 5, least: float = 0.01
    ) -> None:
        for suspect in [suspect for suspect in suspects if suspect.probability >= least][:most]:
            self.line(suspect_line(suspect, circuit))

    def doubt(self, lines: Sequence[str]) -> None:
        """What does not fit."""
        self.line()
        for text in lines:
            self.line(text, "yellow")

    def finding(self, card: FindingCard) -> None:
        self.line()
        for text in finding_lines(card):
            self.line(text)


def suspect_line(suspect: SuspectCard, circuit: Circuit) -> Text:
    """A bar, the share, the place and the likeliest way in which it is broken."""
    shade = ORANGES[min(int(suspect.probability * len(ORANGES)), len(ORANGES) - 1)]
    filled = "█" * round(suspect.probability * BAR)
    part = circuit.parts.get(suspect.part)
    words = f"{suspect.cause} ({part.words})" if part is not None and part.words else suspect.cause
    return Text.assemble(
        "  ", (filled.ljust(BAR, "░"), shade), f" {100 * suspect.probability:3.0f} %  {words}"
    )


def meanings(test: TestCard) -> Iterator[str]:
    """What each result would mean, the likeliest first."""
    width = max((len(meaning.label) for meaning in test.meanings), default=0)
    for outcome in sorted(test.meanings, key=lambda meaning: -meaning.share):
        yield f"{outcome.label.ljust(width)}  {100 * outcome.share:3.0f} %  leaves {leaves(outcome)}"


def leaves(result: Meaning, most: int = 3) -> str:
    """The suspects that would lead."""
    leaders = [f"{name} {100 * share:.0f} %" for name, share in result.leaves if share >= 0.01]
    return ", ".join(leaders[:most]) or "nothing that is likely"


def finding_lines(card: FindingCard) -> Iterator[str]:
    """What was found, what it explains, what proof is missing, what must be seen after the repair."""
    state = "Proven" if card.proven else "Found, not proven"
    yield f"{state}: {card.cause} ({100 * card.probability:.1f} %). Repair: {card.repair}."
    yield from _listed("It explains:", card.explains)
    yield from _listed("It does not explain; is there a second fault?", card.unexplained)
    yield from _listed("Proof that is missing:", card.missing_proof)
    yield from _listed("After the repair, see that:", card.verify)


def _listed(head: str, items: Sequence[str]) -> Iterator[str]:
    if items:
        yield head
        yield from (f"  {item}" for item in items)


def reading_line(reading: Reading, circuit: Circuit) -> str:
    """A reading as it was taken, with both lead positions."""
    return evidence_words(reading.measurement, reading.value, circuit)


def one_line(test: TestCard) -> str:
    """A test in a list."""
    return f"{test.sentence} ({test.minutes:.1f} min, {test.bits:.2f} bit)"
