"""Questions on the terminal: a line, a choice from a list, a reading with its doubts."""

from __future__ import annotations

from collections.abc import Sequence

from halfsplit.circuit.problems import did_you_mean
from halfsplit.cli.show import Screen
from halfsplit.job.entering import FLICKERS, Doubt, read_entry
from halfsplit.job.views import TestCard

SHORT = {"set": "y", "not set": "n"}
"""Words that have another letter than their first: 's' lists the suspects."""


class Asker:
    """Asks on a screen. The end of the input raises EOFError, Ctrl-C KeyboardInterrupt; both are the caller's."""

    def __init__(self, screen: Screen) -> None:
        self.screen = screen

    def text(self, prompt: str, usual: str = "") -> str:
        """A line, without spaces at its ends; an empty one gives ``usual``."""
        shown = (f"{prompt} [{usual}]" if usual else prompt).replace("[", r"\[")  # brackets are no mark-up
        return self.screen.console.input(f"{shown}: ").strip() or usual

    def yes(self, prompt: str, *, usual: bool) -> bool:
        """Yes or no."""
        while True:
            typed = self.text(f"{prompt} (y/n)", "y" if usual else "n").lower()
            if typed in ("y", "yes", "n", "no"):
                return typed.startswith("y")
            self.screen.line("Please type y or n.")

    def choice(self, prompt: str, names: Sequence[str], usual: str = "") -> str:
        """One of the names, by name or by its number in a list; '' where nothing was typed and nothing is usual."""
        while True:
            typed = self.text(prompt, usual)
            answer = chosen(typed, names)
            if answer or not typed:
                return answer
            self.screen.line(
                f"There is no {typed!r} here: {did_you_mean(typed, names)}type a number or a name."
            )

    def listed(self, names: Sequence[tuple[str, str]]) -> None:
        """Show names and what they are, numbered."""
        for number, (name, words) in enumerate(names, 1):
            self.screen.line(f"  {number:3}  {name}{f'  {words}' if words else ''}")


def chosen(typed: str, names: Sequence[str]) -> str:
    """The name that was typed, whatever its case, or by number; a plain word by a beginning of its own; '' if none.

    >>> chosen("h1", ["E5", "H1"]), chosen("1", ["E5", "H1"]), chosen("x", ["E5"])
    ('H1', 'E5', '')
    >>> chosen("n", ["no", "weak", "yes"]), chosen("o", ["off", "on"]), chosen("H", ["E5", "H1"])
    ('no', '', '')
    """
    if typed.isascii() and typed.isdigit() and 1 <= int(typed) <= len(names):
        return names[int(typed) - 1]
    same = [name for name in names if name.casefold() == typed.casefold()]
    begun = [name for name in names if typed and name.islower() and name.startswith(typed.casefold())]
    return same[0] if same else begun[0] if len(begun) == 1 else ""


def entry_prompt(test: TestCard) -> str:
    """What can be typed for this test."""
    if not test.words:
        return f"Reading in {test.unit}{', or OL' if test.quantity == 'ohms' else ''} (? for more)"
    words = (f"{letter(word)} = {word}" if letter(word) != word else word for word in test.words)
    return f"{', '.join(words)} (? for more)"


def letter(word: str) -> str:
    """What stands for a word when it is typed.

    >>> letter("weak"), letter("dim"), letter("dark"), letter("set")
    ('w', 'di', 'da', 'y')
    """
    return SHORT.get(word, {"dim": "di", "dark": "da"}.get(word, word[:1]))


def whole_word(typed: str, words: Sequence[str]) -> str:
    """The word that was meant: by its letter, or by a beginning that no other word has; else what was typed."""
    wanted = typed.casefold()
    begun = [word for word in words if word.startswith(wanted)] if wanted else []
    exact = [word for word in words if wanted in (word, letter(word))]
    return exact[0] if exact else begun[0] if len(begun) == 1 else typed


def settled(asker: Asker, typed: str, test: TestCard, net_volts: float) -> str | None:
    """What was typed as a whole word or number, after every doubt was settled; None where it is to be typed again.

    ``FLICKERS`` comes back as it is: a reading that comes and goes is an event.
    """
    meant = whole_word(typed, test.words)
    if meant.casefold() in (FLICKERS, "f"):
        return FLICKERS
    try:
        read_entry(test.quantity, meant, unit=test.unit, net_volts=net_volts)
    except Doubt as doubt:
        if not doubt.sure:
            asker.screen.line(str(doubt))
            return None
        if not asker.yes(f"{doubt} Keep it as it is understood", usual=False):
            return None
    return meant
