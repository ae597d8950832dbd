"""The plan as text for the terminal, and as plain data for programs and for the printed sheet."""

from __future__ import annotations

import textwrap
from math import isfinite
from typing import Any

from halfsplit.diagnosis.plan import Branch, Ending, Plan, Step

WIDTH = 100
NOT_HERE = "Nothing in this circuit explains it, or the fault is away"
TOOL = "use the tool from here"


def letters(made: Plan) -> dict[Ending, str]:
    """A letter for each ending that says something definite: A to Z, then AA, in the order of the steps."""
    definite = enumerate(ending for ending in made.endings if ending.kind != "tool")
    return {
        ending: (chr(64 + number // 26) if number >= 26 else "") + chr(65 + number % 26)
        for number, ending in definite
    }


def ending_words(ending: Ending) -> str:
    """What is found there, in one line."""
    if ending.kind == "found":
        return f"{ending.part}: {ending.repair}" if ending.part not in ending.repair else ending.repair
    return NOT_HERE if ending.kind == "elsewhere" else TOOL


def _left(ending: Ending | None) -> str:
    """What is still in question where the tool has to go on."""
    if ending is None or ending.kind != "tool":
        return ""
    return ", ".join(f"{name} {100 * share:.0f} %" for name, share in ending.suspects)


def plan_document(made: Plan) -> dict[str, Any]:
    """The plan as plain data: what ``halfsplit plan --json`` prints and ``report.plan_pdf`` takes.

    Minutes are numbers, probabilities from 0 to 1, readings in SI with None for an open end. A branch leads to the
    number of a ``step``, to the letter of an ``ending``, or (both None) to the tool, with ``left`` in question.
    """
    letter = letters(made)
    return {
        "title": made.title,
        "complaints": list(made.complaints),
        "instruments": list(made.instruments),
        "intermittent": made.intermittent,
        "states": [{"name": name, "how": how} for name, how in made.states],
        "expected_minutes": round(made.expected_minutes, 1),
        "worst_minutes": round(made.worst_minutes, 1),
        "found": round(made.found, 4),
        "found_at": made.found_at,
        "steps": [
            {
                "number": step.number,
                "sentence": step.sentence,
                "minutes": round(step.minutes, 1),
                "cautions": list(step.cautions),
                "opens": list(step.opens),
                "probability": round(step.probability, 4),
                "branches": [_branch_document(branch, letter) for branch in step.branches],
            }
            for step in made.steps
        ],
        "endings": [
            {
                "letter": name,
                "kind": ending.kind,
                "title": ending_words(ending),
                "repair": ending.repair,
                "part": ending.part,
                "cause": ending.cause,
                "proof": list(ending.proof),
                "verify": list(ending.verify),
                "suspects": [
                    {"repair": repair, "probability": round(share, 4)} for repair, share in ending.suspects
                ],
                "probability": round(ending.probability, 4),
            }
            for ending, name in letter.items()
        ],
        "cautions": list(dict.fromkeys(caution for step in made.steps for caution in step.cautions)),
    }


def _branch_document(branch: Branch, letter: dict[Ending, str]) -> dict[str, Any]:
    ends = (("low", branch.low), ("high", branch.high), ("typical", branch.typical))
    finite = {end: round(float(value), 6) if isfinite(value) else None for end, value in ends}
    return {
        "text": branch.text,
        "word": branch.word,
        **finite,
        "probability": round(branch.probability, 4),
        "step": branch.step,
        "ending": letter.get(branch.ending) if branch.ending else None,
        "left": _left(branch.ending),
    }


KNOWN = {
    True: "The cause is known already: no step is needed before its proof.",
    False: "Nothing that can be measured tells more than is known already.",
}
"""What stands in the place of steps, by whether the cause is found."""


def plan_text(made: Plan) -> str:
    """The plan for a terminal, at most `WIDTH` wide."""
    letter = letters(made)
    lines = [f"Plan: {made.title}" if made.title else "Plan"]
    lines += _wrapped("For: " + "; ".join(made.complaints), "", "     ")
    lines += [
        f"On average {made.expected_minutes:.0f} min, at worst {made.worst_minutes:.0f} min, proof apart; "
        f"finds the cause in {100 * made.found:.0f} of 100 vehicles."
        if made.steps
        else KNOWN[made.found > 0]
    ]
    if made.intermittent:
        lines.append("The fault comes and goes: every reading counts only while it is present.")
    for name, how in made.states:
        lines += _wrapped(f"State “{name}”: {how}", "", "     ")
    for step in made.steps:
        lines += ["", *_step_lines(step, letter)]
    lines.append("")
    for ending, name in letter.items():
        words = f"{ending_words(ending)} [{100 * ending.probability:.0f} %]"
        lines += _wrapped(words, f"{name:>3}  ", "     ")
        for proof in ending.proof:
            lines += _wrapped(f"to prove: {proof}", "     ", "       ")
    return "\n".join(lines)


def _wrapped(text: str, first: str, further: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=further) or [first]


def _step_lines(step: Step, letter: dict[Ending, str]) -> list[str]:
    lines = _wrapped(f"{step.sentence} [{step.minutes:.1f} min]", f"{step.number:3}  ", "     ")
    for caution in step.cautions:
        lines += _wrapped(f"! {caution}", "     ", "       ")
    wide = max(len(branch.text) for branch in step.branches)
    for branch in step.branches:
        start = f"     {branch.text:{wide}}  {100 * branch.probability:3.0f} %  → "
        leads_to = f"step {branch.step}"
        if branch.ending is not None:
            leads_to = letter.get(branch.ending) or f"{TOOL} ({_left(branch.ending)})"
        lines += _wrapped(leads_to, start, " " * len(start))
    return lines
