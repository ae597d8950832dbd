"""The circuits that come with the program: patterns to begin from, and demos.

The patterns are written from general knowledge; no vehicle's own diagram. A technician renames parts and pins by the
car's diagram. At the head of a file stand comment lines that begin with a title word, and go on indented:

# Pattern   Relay-fed load with a fuse
# Use it    for any load that a switch turns on through a relay: horn, auxiliary lamp, pump.
# Caution   Jump a relay socket only with a lead that is fused for the circuit.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from halfsplit.errors import NotFoundError

FOLDERS = {"pattern": "patterns", "demo": "demos"}
_COLUMN = 12
"""Where the text of a head stands; what begins there goes on with the line above."""


def circuit_files(name: str) -> list[tuple[str, str]]:
    """Name (without its ending) and text of each circuit file of a folder, by name."""
    folder = files("halfsplit.notation").joinpath(name)
    kept = [entry for entry in folder.iterdir() if entry.name.endswith(".circuit")]
    texts = [(entry.name.removesuffix(".circuit"), entry.read_text(encoding="utf-8")) for entry in kept]
    return sorted(texts)


def head(text: str) -> dict[str, str]:
    r"""The comment lines before the first statement, by their title word in lower case.

    >>> head("# Pattern   Horn\n# Use it    for a horn\n#           or two\n\ntitle Horn")
    {'pattern': 'Horn', 'use it': 'for a horn or two'}
    """
    entries: dict[str, str] = {}
    word = ""
    for line in text.splitlines():
        if not line.startswith("#"):
            break
        title, said = line[1:_COLUMN].strip().lower(), line[_COLUMN:].strip()
        word = title or word
        if word:
            entries[word] = f"{entries.get(word, '')} {said}".strip()
    return entries


def title(text: str) -> str:
    """What the file's own ``title`` says."""
    match = re.search(r"^title\s+(.*)$", text, flags=re.MULTILINE)
    return match[1].strip() if match else ""


@dataclass(frozen=True, slots=True)
class Sample:
    """A circuit that comes with the program. ``use``: when a pattern serves; ``caution`` is shown beside it."""

    name: str
    kind: str
    title: str
    use: str
    caution: str
    text: str


@cache
def samples(kind: str = "pattern") -> tuple[Sample, ...]:
    """The patterns (or demos), by name."""
    return tuple(
        Sample(
            name,
            kind,
            title(text) or name.replace("-", " "),
            head(text).get("use it", ""),
            head(text).get("caution", ""),
            text,
        )
        for name, text in circuit_files(FOLDERS[kind])
    )


def sample(name: str, kind: str = "pattern") -> Sample:
    """One of them. Raises NotFoundError with the names that there are."""
    for known in samples(kind):
        if known.name == name:
            return known
    names = ", ".join(known.name for known in samples(kind))
    raise NotFoundError(f"there is no {kind} {name!r}; there are {names}")
