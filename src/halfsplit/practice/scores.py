"""Scores of practice, kept per person: one line of JSON for each exercise."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass, fields
from pathlib import Path

from halfsplit.errors import InputError


@dataclass(frozen=True, slots=True)
class Score:
    """One exercise. ``minutes``, ``tests``: the trainee's; ``best_…``: those of the best path. ``when``: ISO 8601."""

    person: str
    when: str
    circuit: str
    difficulty: str
    seed: int
    solved: bool
    points: int
    minutes: float
    tests: int
    best_minutes: float
    best_tests: int
    hints: int
    wrong: int


def keep_score(path: Path, score: Score) -> None:
    """Add a score to the file. Raises InputError where it cannot be written."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("a", encoding="utf-8") as stream:
            stream.write(json.dumps(asdict(score), ensure_ascii=False) + "\n")
    except OSError as error:
        raise InputError(f"{path} cannot be written: {error.strerror}; the score is not kept") from error


def scores(path: Path, person: str = "") -> tuple[Score, ...]:
    """The scores in the order in which they were made, of one person or of all. Damaged lines are left out."""
    if not path.exists():
        return ()
    found = _read(path.read_text(encoding="utf-8", errors="replace"))
    return tuple(one for one in found if person in ("", one.person))


def _read(text: str) -> Iterator[Score]:
    names = {one.name for one in fields(Score)}
    for line in text.splitlines():
        try:
            said = json.loads(line)
            yield Score(**{name: said[name] for name in names})
        except (ValueError, KeyError, TypeError):
            continue
