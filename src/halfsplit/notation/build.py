"""From the parser's tree of one line to the dataclasses of ``syntax.py``."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Final, cast

from lark import Token, Transformer, v_args

from halfsplit.circuit.model import Always, And, Condition, GaugeQuantity, Not, Or, Position, Side
from halfsplit.notation import syntax as s
from halfsplit.notation.amounts import parsed
from halfsplit.notation.syntax import Word

_NUMBER: Final = re.compile(r"[-+]?[0-9.]+", re.ASCII)


Rule = Callable[..., object]


def _line(kind: Callable[..., object]) -> Rule:
    """A rule whose parts are the fields of a line."""
    return lambda builder, *parts: kind(*parts, at=builder.at)


def _words_line(rule: str) -> Rule:
    """A rule whose parts are all names."""
    return lambda builder, *words: s.WordsLine(rule, words, at=builder.at)


def _amount_line(rule: str) -> Rule:
    return lambda builder, amount: s.AmountLine(rule, amount, at=builder.at)


def _said(what: str) -> Rule:
    return lambda _, word: s.Said(what, word)


def _given(what: str) -> Rule:
    return lambda _, amount: s.Given(what, amount)


@v_args(inline=True)
class Builder(Transformer[Token, object]):
    """What each rule and terminal of ``grammar.lark`` makes; the names are the grammar's."""

    def __init__(self, at: Position) -> None:
        super().__init__()
        self.at = at

    # terminals

    def _word(self, token: Token) -> Word:
        return Word(str(token), self._place(token))

    def _place(self, token: Token) -> Position:
        return Position(self.at.file, self.at.line, token.column or 1)

    def QUANTITY(self, token: Token) -> GaugeQuantity:  # noqa: N802
        return cast(GaugeQuantity, str(token))

    TITLE = KIND = SWITCH = POINT = NAME = POSITION = UP_DOWN = PIN = COLOUR = UNKNOWN = _word
    LINK = OPEN = CLOSE = _word

    def TEXT(self, token: Token) -> Word:  # noqa: N802 - the terminal's name
        return Word(str(token)[1:-1], self._place(token))

    def LEVEL(self, token: Token) -> Side:  # noqa: N802
        return "high" if str(token) == "high" else "low"

    def _amount(self, token: Token) -> s.Amount:
        value, unit = parsed(str(token))
        return s.Amount(value, unit, str(token), self._place(token))

    AMOUNT = NUMBER = _amount

    def FACTOR(self, token: Token) -> s.Amount:  # noqa: N802
        return s.Amount(float(token[1:]), "", str(token), self._place(token))

    def STAGE_VALUE(self, token: Token) -> s.Amount:  # noqa: N802
        number = _NUMBER.match(token)
        end = number.end() if number else 0
        return s.Amount(float(token[:end]), token[end:].strip(), str(token), self._place(token))

    def amount(self, amount: s.Amount) -> s.Amount:
        return amount

    # statements

    include, variant, reach = _line(s.IncludeLine), _line(s.VariantLine), _line(s.ReachLine)
    suspect, terminator, gauge = _line(s.SuspectLine), _line(s.TerminatorLine), _line(s.GaugeLine)

    def title(self, words: Word) -> s.TitleLine:
        text = words.text.strip()
        quoted = len(text) > 1 and text[0] == text[-1] == '"' and text.count('"') == 2
        return s.TitleLine(Word(text[1:-1] if quoted else text, words.at), at=self.at)

    def part(self, kind: Word, name: Word, *items: s.Said | s.Given) -> s.PartLine:
        return s.PartLine(kind, name, items, at=self.at)

    switch = part

    def state(self, name: Word, *items: object) -> s.StateLine:
        settings = tuple(item for item in items if isinstance(item, tuple))
        times = tuple(item for item in items if isinstance(item, s.Given))
        return s.StateLine(name, settings, times, "helper" in items, at=self.at)

    def setting(self, name: Word, value: Word | s.Amount) -> tuple[Word, Word | s.Amount]:
        return name, value

    def helper(self) -> str:
        return "helper"

    def stage(
        self,
        name: Word,
        words: Word | None,
        good: s.Amount | None,
        bad: s.Amount | None,
        *states: Word | None,
    ) -> s.StageLine:
        return s.StageLine(name, words, good, bad, tuple(state for state in states if state), at=self.at)

    # items of a line

    plain, pulls, drops, lasts = _given(""), _given("pulls"), _given("drops"), _given("lasts")
    takes, limit, bias, low, high = map(_given, ("takes", "limit", "bias", "low", "high"))
    on, place, tag, words = _said("on"), _said("at"), _said("kind"), _said("words")
    position, alias, when = _said("position"), _said("as"), s.When

    def pulled(self, way: Word, amount: s.Amount) -> tuple[s.Said, s.Given]:
        return s.Said("pulled", way), s.Given("pulled", amount)

    def latches(self, state: Word | None) -> s.Said:
        return s.Said("latches", state or Word("power", self.at))

    def pwm(self, share: s.Amount, hertz: s.Amount | None) -> tuple[s.Given, ...]:
        return (s.Given("pwm", share), *([s.Given("hertz", hertz)] if hertz else []))

    # paths

    def link(self, *items: Word | s.Amount) -> s.Link:
        return s.Link(tuple(items[1:-1]), items[0].at)

    def path(self, *items: Word | s.Link) -> s.PathLine:
        points, links = _sorted(items)
        return s.PathLine(points, links, at=self.at)

    def continuation(self, *items: Word | s.Link) -> s.ContinuationLine:
        points, links = _sorted(items)
        return s.ContinuationLine(links, points, at=self.at)

    # lines under a part

    joins, supplies, sleeps, wakes = map(_line, (s.JoinsLine, s.SuppliesLine, s.SleepsLine, s.WakesLine))
    tagged, parks, drifts, earth, clamp = map(_words_line, ("tagged", "parks", "drifts", "earth", "clamp"))
    draws, works = _amount_line("draws"), _amount_line("works")

    def feed(self, *groups: tuple[Word, ...]) -> s.FeedLine:
        return s.FeedLine(groups, at=self.at)

    def choice(self, *pins: Word) -> tuple[Word, ...]:
        return pins

    def reads(self, pin: Word, *items: object) -> s.ReadsLine:
        return s.ReadsLine(pin, cast(tuple[s.Said | s.Given, ...], _flat(items)), at=self.at)

    def drives(self, pin: Word, side: Side, *items: object) -> s.DrivesLine:
        return s.DrivesLine(pin, side, cast(tuple[s.Said | s.Given | s.When, ...], _flat(items)), at=self.at)

    def talks(self, bus: Word, *pins: Word | None) -> s.TalksLine:
        return s.TalksLine(bus, tuple(pin for pin in pins if pin), at=self.at)

    # conditions

    pin_is, hears, in_state, always, not_ = s.PinTerm, s.HearsTerm, s.StateTerm, Always, Not

    def and_(self, *terms: Condition) -> And:
        return And(terms)

    def or_(self, *terms: Condition) -> Or:
        return Or(terms)

    # lines under a stage

    fails, stand_in = _line(s.FailsLine), _line(s.StandInLine)
    needs, within = _words_line("needs"), _words_line("within")


def _flat(items: tuple[object, ...]) -> tuple[object, ...]:
    """Items of which some are several: ``pulled up 10 kohm`` says a way and gives an amount."""
    return tuple(part for item in items for part in (item if isinstance(item, tuple) else (item,)))


def _sorted(items: tuple[Word | s.Link, ...]) -> tuple[tuple[Word, ...], tuple[s.Link, ...]]:
    points = tuple(item for item in items if isinstance(item, Word))
    return points, tuple(item for item in items if isinstance(item, s.Link))
