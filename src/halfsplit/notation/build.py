"""From the parser's tree of one line to the dataclasses of ``syntax.py``."""

from __future__ import annotations

import re
from typing import Final, cast

from lark import Token, Transformer, v_args

from halfsplit.circuit.model import Position, Side
from halfsplit.notation import syntax as s
from halfsplit.notation.amounts import parsed

_NUMBER: Final = re.compile(r"[-+]?[0-9.]+", re.ASCII)


@v_args(inline=True)
class Builder(Transformer[Token, object]):
    """One method for each rule and terminal of ``grammar.lark``; the names are the grammar's."""

    def __init__(self, at: Position) -> None:
        super().__init__()
        self.at = at

    # terminals

    def _word(self, token: Token) -> s.Word:
        return s.Word(str(token), self._place(token))

    def _place(self, token: Token) -> Position:
        return Position(self.at.file, self.at.line, token.column or 1)

    TITLE = KIND = SWITCH = POINT = NAME = POSITION = UP_DOWN = PIN = COLOUR = UNKNOWN = _word
    LINK = OPEN = CLOSE = _word

    def TEXT(self, token: Token) -> s.Word:  # noqa: N802 - the terminal's name
        return s.Word(str(token)[1:-1], self._place(token))

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

    def title(self, words: s.Word) -> s.TitleLine:
        text = words.text.strip()
        quoted = len(text) > 1 and text[0] == text[-1] == '"' and text.count('"') == 2
        return s.TitleLine(s.Word(text[1:-1] if quoted else text, words.at), self.at)

    def include(self, file: s.Word) -> s.IncludeLine:
        return s.IncludeLine(file, self.at)

    def variant(self, name: s.Word) -> s.VariantLine:
        return s.VariantLine(name, self.at)

    def reach(self, name: s.Word, minutes: s.Amount, words: s.Word | None) -> s.ReachLine:
        return s.ReachLine(name, minutes, words, self.at)

    def suspect(self, name: s.Word, factor: s.Amount, words: s.Word | None) -> s.SuspectLine:
        return s.SuspectLine(name, factor, words, self.at)

    def terminator(self, ohms: s.Amount, part: s.Word, bus: s.Word | None) -> s.TerminatorLine:
        return s.TerminatorLine(ohms, part, bus, self.at)

    def part(self, kind: s.Word, name: s.Word, *items: s.Said | s.Given) -> s.PartLine:
        return s.PartLine(kind, name, items, self.at)

    switch = part

    def state(self, name: s.Word, *items: object) -> s.StateLine:
        settings = tuple(item for item in items if isinstance(item, tuple))
        times = tuple(item for item in items if isinstance(item, s.Given))
        return s.StateLine(name, settings, times, "helper" in items, self.at)

    def setting(self, name: s.Word, value: s.Word | s.Amount) -> tuple[s.Word, s.Word | s.Amount]:
        return name, value

    def helper(self) -> str:
        return "helper"

    def stage(
        self,
        name: s.Word,
        words: s.Word | None,
        good: s.Amount | None,
        bad: s.Amount | None,
        *states: s.Word | None,
    ) -> s.StageLine:
        return s.StageLine(name, words, good, bad, tuple(state for state in states if state), self.at)

    # items of a line

    def plain(self, amount: s.Amount) -> s.Given:
        return s.Given("", amount)

    def pulls(self, amount: s.Amount) -> s.Given:
        return s.Given("pulls", amount)

    def drops(self, amount: s.Amount) -> s.Given:
        return s.Given("drops", amount)

    def lasts(self, amount: s.Amount) -> s.Given:
        return s.Given("lasts", amount)

    def takes(self, amount: s.Amount) -> s.Given:
        return s.Given("takes", amount)

    def limit(self, amount: s.Amount) -> s.Given:
        return s.Given("limit", amount)

    def low(self, amount: s.Amount) -> s.Given:
        return s.Given("low", amount)

    def high(self, amount: s.Amount) -> s.Given:
        return s.Given("high", amount)

    def bias(self, amount: s.Amount) -> s.Given:
        return s.Given("bias", amount)

    def on(self, name: s.Word) -> s.Said:
        return s.Said("on", name)

    def place(self, text: s.Word) -> s.Said:
        return s.Said("at", text)

    def tag(self, name: s.Word) -> s.Said:
        return s.Said("kind", name)

    def words(self, text: s.Word) -> s.Said:
        return s.Said("words", text)

    def position(self, word: s.Word) -> s.Said:
        return s.Said("position", word)

    def alias(self, name: s.Word) -> s.Said:
        return s.Said("as", name)

    def pulled(self, way: s.Word, amount: s.Amount) -> tuple[s.Said, s.Given]:
        return s.Said("pulled", way), s.Given("pulled", amount)

    def latches(self, state: s.Word | None) -> s.Said:
        return s.Said("latches", state or s.Word("power", self.at))

    def pwm(self, share: s.Amount, hertz: s.Amount | None) -> tuple[s.Given, ...]:
        return (s.Given("pwm", share), *([s.Given("hertz", hertz)] if hertz else []))

    def when(self, term: s.Term) -> s.When:
        return s.When(term)

    # paths

    def link(self, *items: s.Word | s.Amount) -> s.Link:
        return s.Link(tuple(items[1:-1]), items[0].at)

    def path(self, *items: s.Word | s.Link) -> s.PathLine:
        points, links = _sorted(items)
        return s.PathLine(points, links, self.at)

    def continuation(self, *items: s.Word | s.Link) -> s.ContinuationLine:
        points, links = _sorted(items)
        return s.ContinuationLine(links, points, self.at)

    # lines under a part

    def tagged(self, tag: s.Word) -> s.TagLine:
        return s.TagLine(tag, self.at)

    def joins(self, position: s.Word, a: s.Word, b: s.Word) -> s.JoinsLine:
        return s.JoinsLine(position, a, b, self.at)

    def parks(self, common: s.Word, parked: s.Word, running: s.Word) -> s.ParksLine:
        return s.ParksLine((common, parked, running), self.at)

    def feed(self, *groups: tuple[s.Word, ...]) -> s.FeedLine:
        return s.FeedLine(groups, self.at)

    def choice(self, *pins: s.Word) -> tuple[s.Word, ...]:
        return pins

    def earth(self, *pins: s.Word) -> s.EarthLine:
        return s.EarthLine(pins, self.at)

    def clamp(self, *pins: s.Word) -> s.ClampLine:
        return s.ClampLine(pins, self.at)

    def draws(self, amount: s.Amount) -> s.DrawsLine:
        return s.DrawsLine(amount, self.at)

    def works(self, amount: s.Amount) -> s.WorksLine:
        return s.WorksLine(amount, self.at)

    def reads(self, pin: s.Word, *items: object) -> s.ReadsLine:
        return s.ReadsLine(pin, cast(tuple[s.Said | s.Given, ...], _flat(items)), self.at)

    def drives(self, pin: s.Word, side: Side, *items: object) -> s.DrivesLine:
        return s.DrivesLine(pin, side, cast(tuple[s.Said | s.Given | s.When, ...], _flat(items)), self.at)

    def supplies(self, pin: s.Word, volts: s.Amount, limit: s.Amount | None) -> s.SuppliesLine:
        return s.SuppliesLine(pin, volts, limit, self.at)

    def talks(self, bus: s.Word, *pins: s.Word | None) -> s.TalksLine:
        return s.TalksLine(bus, tuple(pin for pin in pins if pin), self.at)

    def sleeps(self, draws: s.Amount, after: s.Amount) -> s.SleepsLine:
        return s.SleepsLine(draws, after, self.at)

    def wakes(self, term: s.Term) -> s.WakesLine:
        return s.WakesLine(term, self.at)

    # conditions

    def pin_is(self, pin: s.Word, level: Side) -> s.PinTerm:
        return s.PinTerm(pin, level)

    def hears(self, listener: s.Word, speaker: s.Word) -> s.HearsTerm:
        return s.HearsTerm(listener, speaker)

    def in_state(self, state: s.Word) -> s.StateTerm:
        return s.StateTerm(state)

    def always(self) -> s.AlwaysTerm:
        return s.AlwaysTerm()

    def not_(self, term: s.Term) -> s.NotTerm:
        return s.NotTerm(term)

    def and_(self, *terms: s.Term) -> s.AndTerm:
        return s.AndTerm(terms)

    def or_(self, *terms: s.Term) -> s.OrTerm:
        return s.OrTerm(terms)

    # lines under a stage

    def needs(self, *names: s.Word) -> s.NeedsLine:
        return s.NeedsLine(names, self.at)

    def fails(self, words: s.Word, factor: s.Amount | None) -> s.FailsLine:
        return s.FailsLine(words, factor, self.at)

    def stand_in(self, words: s.Word, minutes: s.Amount | None, caution: s.Word | None) -> s.StandInLine:
        return s.StandInLine(words, minutes, caution, self.at)

    def within(self, *states: s.Word) -> s.WithinLine:
        return s.WithinLine(states, self.at)


def _flat(items: tuple[object, ...]) -> tuple[object, ...]:
    """Items of which some are several: ``pulled up 10 kohm`` says a way and gives an amount."""
    return tuple(part for item in items for part in (item if isinstance(item, tuple) else (item,)))


def _sorted(items: tuple[s.Word | s.Link, ...]) -> tuple[tuple[s.Word, ...], tuple[s.Link, ...]]:
    points = tuple(item for item in items if isinstance(item, s.Word))
    return points, tuple(item for item in items if isinstance(item, s.Link))
