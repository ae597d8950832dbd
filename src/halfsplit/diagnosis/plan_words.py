"""The plan as text for the terminal, and as plain data for programs and for the printed sheet."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from itertools import count
from typing import Any

from halfsplit.diagnosis.plan import Branch, Ending, Plan, Step

WIDTH = 100
NOT_HERE = "Nothing in this circuit explains it, or the fault is away"
TOOL = "Use the tool from here"


def letters(made: Plan) -> dict[Ending, str]:
    """A letter for each ending, in the order in which the steps come to it: A to Z, then AA."""
    names = _names()
    return {ending: next(names) for ending in made.endings}


def _names() -> Iterator[str]:
    for number in count():
        yield (chr(64 + number // 26) if number >= 26 else "") + chr(65 + number % 26)


def ending_words(ending: Ending) -> str:
    """What is found there, in one line."""
    if ending.kind == "found":
        return f"{ending.part}: {ending.repair}" if ending.part not in ending.repair else ending.repair
    if ending.kind == "elsewhere":
        return NOT_HERE
    left = ", ".join(f"{name} {100 * share:.0f} %" for name, share in ending.suspects)
    return f"{TOOL}; in question: {left}" if left else TOOL


def plan_document(made: Plan) -> dict[str, Any]:
    """The plan as plain data: what ``halfsplit plan --json`` prints and ``report.plan_pdf`` takes.

    Minutes are numbers, probabilities from 0 to 1, readings in SI with None for an open end. A branch leads to the
    number of a ``step`` or to the letter of an ``ending``; the other one is None.
    """
    letter = letters(made)
    return {
        "title": made.title, "complaints": list(made.complaints), "instruments": list(made.instruments),
        "intermittent": made.intermittent, "states": [{"name": name, "how": how} for name, how in made.states],
        "expected_minutes": round(made.expected_minutes, 1), "worst_minutes": round(made.worst_minutes, 1),
        "found": round(made.found, 4),
        "steps": [_step_document(step, letter) for step in made.steps],
        "endings": [{"letter": letter[one], "kind": one.kind, "title": ending_words(one), "repair": one.repair,
                     "part": one.part, "cause": one.cause, "proof": list(one.proof), "verify": list(one.verify),
                     "suspects": [{"repair": name, "probability": round(share, 4)} for name, share in one.suspects],
                     "probability": round(one.probability, 4)} for one in made.endings],
    }


def _step_document(step: Step, letter: dict[Ending, str]) -> dict[str, Any]:
    return {"number": step.number, "sentence": step.sentence, "minutes": round(step.minutes, 1),
            "cautions": list(step.cautions), "opens": list(step.opens), "probability": round(step.probability, 4),
            "branches": [_branch_document(branch, letter) for branch in step.branches]}


def _branch_document(branch: Branch, letter: dict[Ending, str]) -> dict[str, Any]:
    finite = {end: None if value != value or abs(value) == float("inf") else round(float(value), 6)
              for end, value in (("low", branch.low), ("high", branch.high), ("typical", branch.typical))}
    return {"text": branch.text, "word": branch.word, **finite, "probability": round(branch.probability, 4),
            "step": branch.step, "ending": letter[branch.ending] if branch.ending else None}


def plan_text(made: Plan) -> str:
    """The plan for a terminal, at most `WIDTH` wide."""
    letter = letters(made)
    lines = [f"Plan: {made.title}" if made.title else "Plan", *_wrapped("For: " + "; ".join(made.complaints), "", "     ")]
    lines += [f"On average {made.expected_minutes:.0f} min, at worst {made.worst_minutes:.0f} min, proof apart; "
              f"finds the cause in {100 * made.found:.0f} of 100 vehicles."]
    if made.intermittent:
        lines.append("The fault comes and goes: every reading counts only while it is present.")
    for name, how in made.states:
        lines += _wrapped(f"State “{name}”: {how}", "", "     ")
    for step in made.steps:
        lines += ["", *_step_lines(step, letter)]
    lines.append("")
    for ending in made.endings:
        lines += _ending_lines(ending, letter[ending])
    return "\n".join(lines)


def _wrapped(text: str, first: str, further: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=further) or [first]


def _step_lines(step: Step, letter: dict[Ending, str]) -> list[str]:
    lines = _wrapped(f"{step.sentence} [{step.minutes:.1f} min]", f"{step.number:3}  ", "     ")
    for caution in step.cautions:
        lines += _wrapped(f"! {caution}", "     ", "       ")
    wide = max(len(branch.text) for branch in step.branches)
    for branch in step.branches:
        to = f"step {branch.step}" if branch.ending is None else letter[branch.ending]
        lines.append(f"     {branch.text:{wide}}  {100 * branch.probability:3.0f} %  → {to}")
    return lines


def _ending_lines(ending: Ending, letter: str) -> list[str]:
    lines = _wrapped(f"{ending_words(ending)} [{100 * ending.probability:.0f} %]", f"{letter:>3}  ", "     ")
    for proof in ending.proof:
        lines += _wrapped(f"to prove: {proof}", "     ", "       ")
    return lines
