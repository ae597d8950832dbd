"""``include``: one tree from a file and the files that it names, each read once."""

from __future__ import annotations

import posixpath
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from halfsplit.circuit.model import NOWHERE, Position
from halfsplit.errors import HalfsplitError
from halfsplit.notation import syntax as s
from halfsplit.notation.mistakes import Collector
from halfsplit.notation.parse import parse
from halfsplit.notation.syntax import Word

MOST_FILES = 50

Loader = Callable[[str], str]
"""Gives the text of a file by its name (parts joined by ``/``). Raises `OSError`, `UnicodeError`, `LookupError` or a
`HalfsplitError` where it cannot."""


@dataclass(slots=True)
class Including:
    """Follows the includes of a text. With ``confined`` no file outside the folder of the first is read."""

    collector: Collector
    loader: Loader | None
    confined: bool
    read: set[str] = field(default_factory=set)
    unread: set[str] = field(default_factory=set)

    def tree(self, text: str, file: str) -> s.Tree:
        """The statements of the text, each include replaced by the statements of its file."""
        self.read.add(_resolved("", file))
        statements = tuple(self._statements(text, file, [file]))
        return s.Tree(statements, frozenset(self.unread))

    def _statements(self, text: str, file: str, chain: list[str]) -> Iterator[s.Statement]:
        tree = parse(text, file, self.collector)
        self.unread |= tree.unread
        for statement in tree.statements:
            if not isinstance(statement, s.IncludeLine):
                yield statement
                continue
            word = statement.file
            name = _resolved(posixpath.dirname(file), word.text)
            loop = [_resolved("", above) for above in chain]
            if name in loop:
                shown = " includes ".join([*chain[loop.index(name) :], name])
                self.collector.add("include-loop", word.at, loop=shown)
            elif name not in self.read:
                self.read.add(name)
                included = self._load(word, name)
                if included is not None:
                    yield from self._statements(included, name, [*chain, name])

    def _load(self, word: Word, name: str) -> str | None:
        if self.loader is None:
            self.collector.add("include-no-loader", word.at, name=word.text)
        elif self.confined and (name.startswith(("/", "../")) or name == ".." or ":" in name or "\0" in name):
            self.collector.add("include-outside", word.at, name=word.text)
        elif len(self.read) > MOST_FILES:
            self.collector.add("include-many", word.at, limit=MOST_FILES)
        else:
            try:
                return self.loader(name)
            except UnicodeDecodeError as error:
                reason = f"it is not UTF-8 text (byte {error.start})"
            except (OSError, UnicodeError, LookupError, ValueError, HalfsplitError) as error:
                reason = why(error)
            self.collector.add("include-missing", word.at, name=word.text, reason=reason)
        return None


def why(error: Exception) -> str:
    """The reason of a failure to read a file, without the machine's own paths."""
    if isinstance(error, FileNotFoundError | LookupError):
        return "there is no such file"
    return error.strerror or "it cannot be opened" if isinstance(error, OSError) else str(error)


def whole_file(file: str) -> Position:
    """The position of a problem that concerns a file as a whole."""
    return Position(file, 0, 0) if file else NOWHERE


def _resolved(folder: str, name: str) -> str:
    """``a/b`` and ``../c`` give ``a/c``; backslashes are taken for slashes."""
    return posixpath.normpath(posixpath.join(folder, name.replace("\\", "/")))
