"""The head of a circuit file of ours: comment lines that begin with a title word, and go on indented.

# Pattern   Relay-fed load with a fuse
# Use it    for any load that a switch turns on through a relay: horn, auxiliary lamp, pump.
# Caution   Jump a relay socket only with a lead that is fused for the circuit.
"""

from __future__ import annotations

import re
from importlib.resources import files
from importlib.resources.abc import Traversable

_COLUMN = 12
"""Where the text of a head stands; what begins there goes on with the line above."""


def folder(name: str) -> Traversable:
    """A folder of circuit files in this package: ``patterns`` or ``demos``."""
    return files("halfsplit.notation").joinpath(name)


def circuit_files(name: str) -> list[tuple[str, str]]:
    """Name (without its ending) and text of each circuit file of a folder, by name."""
    found = [entry for entry in folder(name).iterdir() if entry.name.endswith(".circuit")]
    texts = [(entry.name.removesuffix(".circuit"), entry.read_text(encoding="utf-8")) for entry in found]
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
