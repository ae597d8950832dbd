"""Text → tree. Every line is parsed by itself, so that one bad line never hides the next one's error."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from functools import cache
from importlib.resources import files
from typing import Final, cast

from lark import Lark, UnexpectedInput

from halfsplit.circuit.model import Position
from halfsplit.notation import syntax as s
from halfsplit.notation.amounts import UNITS
from halfsplit.notation.build import Builder
from halfsplit.notation.mistakes import Collector
from halfsplit.notation.words import TOP, UNDER, USAGE, usage, without_comment

LONGEST_TEXT: Final = 2**20
MOST_LINES: Final = 20_000
LONGEST_LINE: Final = 1_000
LONGEST_STATE: Final = 10_000
"""A state names every switch that is not in its first position, in one line."""
DEEPEST: Final = 20

_LOOKALIKES: Final = {
    **dict.fromkeys("“”„«»", '"'),
    "–": "--",
    "—": "--",
    "−": "-",
    "×": "x",
    "，": ",",  # noqa: RUF001 - on purpose
}
_QUOTED: Final = re.compile(r'"[^"]*"')
_BRACKETS: Final = re.compile(r"\[[^\]]*\]")
_COMMA: Final = re.compile(r"(?<![\w.])(\d+),(\d+)", re.ASCII)
_NAME: Final = re.compile(r"[A-Za-z]\w*", re.ASCII)
_NUMBER_BEFORE: Final = re.compile(r"(?<![\w.])[-+]?[0-9.]+\s*$")
_NUMBER_UNIT: Final = re.compile(r"[-+]?[0-9.]+\s*([^\W\d]\w*|[^\w\s\"#,.()\[\]?]+)")


@cache
def grammar() -> Lark:
    """The LALR tables of ``grammar.lark``, made once."""
    text = files("halfsplit.notation").joinpath("grammar.lark").read_text(encoding="utf-8")
    return Lark(text, parser="lalr", start=list(USAGE), maybe_placeholders=True, keep_all_tokens=False)


@dataclass(slots=True)
class _Line:
    """One line on its way: ``body`` is without comment, ``bare`` has its quoted texts blanked out."""

    at: Position
    body: str
    bare: str

    @property
    def word(self) -> str:
        return self.bare.split(None, 1)[0]

    @property
    def is_path(self) -> bool:
        return "--" in self.bare


@dataclass(slots=True)
class _Group:
    """A statement with its indented lines. ``head`` is None where the statement has an error of its own."""

    word: str
    head: s.Statement | None
    under: list[s.Line] = field(default_factory=list)


def parse(text: str, file: str, collector: Collector) -> s.Tree:
    """The tree of one file; problems go to ``collector``."""
    lines = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n").split("\n")
    collector.lines[file] = lines[:MOST_LINES]
    top = Position(file, 1, 1)
    if len(text) > LONGEST_TEXT:
        collector.add("too-large", top, size=len(text), limit=LONGEST_TEXT)
        return s.Tree((), frozenset())
    if len(lines) > MOST_LINES:
        collector.add("too-many-lines", top, size=len(lines), limit=MOST_LINES)
    return _Reader(file, collector).read(collector.lines[file])


class _Reader:
    """Reads the lines of one file; keeps the statement that indented lines belong to."""

    def __init__(self, file: str, collector: Collector) -> None:
        self.file, self.collector = file, collector
        self.groups: list[_Group] = []
        self.unread: set[str] = set()

    def read(self, lines: list[str]) -> s.Tree:
        for number, raw in enumerate(lines, start=1):
            if self.collector.full:
                break
            line = self._line(raw, number)
            if line is not None and not line.bare.strip():
                continue
            indented = raw[:1].isspace()
            result = (self._under(line) if indented else self._statement(line)) if line else None
            if result is None:  # what cannot be read leaves only its names
                self.unread.update(_NAME.findall(_QUOTED.sub("", raw)))
            elif indented:
                self.groups[-1].under.append(result)
            if not indented:
                word = line.word if line else raw.split(None, 1)[0]
                kind = "path" if line and line.is_path and word not in TOP else word
                self.groups.append(_Group(kind, cast("s.Statement | None", result)))
        statements = [replace(group.head, under=tuple(group.under)) for group in self.groups if group.head]
        return s.Tree(tuple(statements), frozenset(self.unread))

    # one line

    def _line(self, raw: str, number: int) -> _Line | None:
        """The line without its comment, or None where its characters do not allow any reading."""
        at = Position(self.file, number, 1)
        limit = LONGEST_STATE if raw.startswith("state ") else LONGEST_LINE
        if len(raw) > limit:
            self.collector.add("long-line", at, size=len(raw), limit=limit)
            return None
        for column, char in enumerate(raw, start=1):
            if not char.isprintable() and char not in "\t\u00a0":
                code = f"U+{ord(char):04X}"
                self.collector.add("control-character", replace(at, column=column), code=code)
                return None
        bare = _QUOTED.sub(lambda match: '"' + "_" * (len(match[0]) - 2) + '"', without_comment(raw))
        indent = len(bare) - len(bare.lstrip())
        line = _Line(replace(at, column=indent + 1), raw[: len(bare)].rstrip(), bare.rstrip())
        return line if self._sound(line) else None

    def _sound(self, line: _Line) -> bool:
        """Whether quotes are closed, and nothing stands there that only looks right."""
        if not line.bare.strip():
            return True
        if line.bare.count('"') % 2:
            self.collector.add("unclosed-quote", replace(line.at, column=line.bare.rindex('"') + 1))
            return False
        if line.word == "title":
            return True
        before = len(self.collector.problems)
        for index, char in enumerate(line.bare):
            if char in _LOOKALIKES:
                at = replace(line.at, column=index + 1)
                self.collector.add("lookalike", at, found=char, meant=_LOOKALIKES[char])
        for match in _COMMA.finditer(line.bare):
            at = replace(line.at, column=match.start() + 1)
            self.collector.add("decimal-comma", at, found=match[0], meant=f"{match[1]}.{match[2]}")
        if line.is_path and line.word not in TOP:
            self._check_links(line)
        if line.bare.count("(") + len(re.findall(r"\bnot\b", line.bare)) > DEEPEST:
            self.collector.add("deep", line.at)
        return len(self.collector.problems) == before

    def _check_links(self, line: _Line) -> None:
        """``--`` and ``--[…]--`` stand alone between spaces."""
        shown = _BRACKETS.sub(lambda match: "[" + "_" * (len(match[0]) - 2) + "]", line.bare)
        for match in re.finditer(r"\S+", shown):
            word = match[0]
            alone = re.fullmatch(r"--(\[_*\]--)?", word) or re.fullmatch(r"--\[[^\]]*|[^\[]*\]--", word)
            if "--" in word and not alone:
                at = replace(line.at, column=match.start() + 1)
                self.collector.add("link-spaces", at, found=line.bare[match.start() : match.end()])

    # which kind of line

    def _statement(self, line: _Line) -> s.Line | None:
        word = line.word
        rest = line.bare[len(word) :].lstrip()
        if word in TOP and rest.startswith("--"):
            self.collector.add("keyword-name", line.at, name=word, meant=f"{word.upper()[0]}1")
            return None
        if word in TOP:
            return self._parsed(TOP[word], line)
        if line.is_path:
            return self._parsed("path", line)
        near = self.collector.near(word, TOP)
        self.collector.add("unknown-statement", line.at, word=word, near=near, words=", ".join(sorted(TOP)))
        return None

    def _under(self, line: _Line) -> s.Line | None:
        """A line that belongs to the statement above: under a path it goes on, under a variant it is one more path."""
        if not self.groups:
            self.collector.add("no-parent", line.at)
            return None
        above = self.groups[-1].word
        rules = UNDER.get(above, {})
        shown, allowed = f'"{above}"', "begin it in the first column"
        if rules:
            allowed += f", or with one of: {', '.join(rules)}"
        rule = rules.get(line.word)
        if above == "path":
            shown, allowed = "a path", "go on with -- X31.4, or begin in the first column"
        elif above == "variant":
            allowed = "write a path: F21.2 -- K7.30"
            rule = "path" if line.is_path else None
        elif above not in UNDER:
            return None
        if above in ("path", "variant") and line.word.startswith("--"):
            rule = "continuation"
        if rule is not None:
            return self._parsed(rule, line)
        self.collector.add("wrong-line", line.at, word=line.word, above=shown, allowed=allowed)
        return None

    # the parser

    def _parsed(self, rule: str, line: _Line) -> s.Line | None:
        """The line; or the problem: what was found and how such a line is written, of a number its strange unit."""
        try:
            return cast(s.Line, Builder(line.at).transform(grammar().parse(line.body, start=rule)))
        except UnexpectedInput as error:
            column, token = error.column, getattr(error, "token", None)
        if token is not None and token.type == "$END":
            at = replace(line.at, column=len(line.body) + 1)
            self.collector.add("incomplete", at, usage=usage(rule, line.word))
            return None
        at = replace(line.at, column=column)
        rest = line.body[column - 1 :]
        unit = _NUMBER_UNIT.match(rest)
        before = _NUMBER_BEFORE.search(line.body[: column - 1])
        strange = unit[1] if unit else rest.split()[0] if before and rest[0].isalpha() else ""
        if strange and strange not in UNITS and rule not in ("path", "continuation"):
            meant = _UNIT_WORDS.get(strange.casefold())
            near = f'did you mean "{meant}"? ' if meant else self.collector.near(strange, UNITS)
            self.collector.add("unknown-unit", at, unit=strange, near=near, units=", ".join(UNITS))
            return None
        quoted = _QUOTED.match(rest)
        found = quoted[0].strip('"') if quoted else rest.split()[0]
        self.collector.add("syntax", at, found=found, usage=usage(rule, line.word))
        return None


_UNIT_WORDS: Final = {
    **dict.fromkeys(("v", "volt", "volts"), "V"),
    **dict.fromkeys(("a", "amp", "amps", "ampere", "amperes"), "A"),
    **dict.fromkeys(("w", "watt", "watts"), "W"),
    **dict.fromkeys(("minute", "minutes", "mins"), "min"),
    "ohms": "ohm",
    "hz": "Hz",
    "percent": "%",
}
