"""From the parser's tree of one line to the dataclasses of ``syntax.py``."""

from __future__ import annotations

import re
from typing import Final, cast

from lark import Token, Transformer, v_args

from halfsplit.circuit.model import GaugeQuantity, Position, Side
from halfsplit.notation import syntax as s
from halfsplit.notation.amounts import parsed
from halfsplit.notation.terms import (
    AlwaysTerm,
    AndTerm,
    HearsTerm,
    NotTerm,
    OrTerm,
    PinTerm,
    StateTerm,
    Term,
    Word,
)

_NUMBER: Final = re.compile(r"[-+]?[0-9.]+", re.ASCII)


@v_args(inline=True)
class Builder(Transformer[Token, object]):
    """One method for each rule and terminal of ``grammar.lark``; the names are the grammar's."""

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

    def title(self, words: Word) -> s.TitleLine:
        text = words.text.strip()
        quoted = len(text) > 1 and text[0] == text[-1] == '"' and text.count('"') == 2
        return s.TitleLine(Word(text[1:-1] if quoted else text, words.at), self.at)

    def include(self, file: Word) -> s.IncludeLine:
        return s.IncludeLine(file, self.at)

    def variant(self, name: Word) -> s.VariantLine:
        return s.VariantLine(name, self.at)

    def reach(self, name: Word, minutes: s.Amount, words: Word | None) -> s.ReachLine:
        return s.ReachLine(name, minutes, words, self.at)

    def suspect(self, name: Word, factor: s.Amount, words: Word | None) -> s.SuspectLine:
        return s.SuspectLine(name, factor, words, self.at)

    def terminator(self, ohms: s.Amount, part: Word, bus: Word | None) -> s.TerminatorLine:
        return s.TerminatorLine(ohms, part, bus, self.at)

    def gauge(
        self,
        name: Word,
        quantity: GaugeQuantity,
        place: Word,
        ratio: s.Amount | None,
        error: s.Amount | None,
        words: Word | None,
    ) -> s.GaugeLine:
        return s.GaugeLine(name, quantity, place, ratio, error, words, self.at)

    def part(self, kind: Word, name: Word, *items: s.Said | s.Given) -> s.PartLine:
        return s.PartLine(kind, name, items, self.at)

    switch = part

    def state(self, name: Word, *items: object) -> s.StateLine:
        settings = tuple(item for item in items if isinstance(item, tuple))
        times = tuple(item for item in items if isinstance(item, s.Given))
        return s.StateLine(name, settings, times, "helper" in items, self.at)

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

    def on(self, name: Word) -> s.Said:
        return s.Said("on", name)

    def place(self, text: Word) -> s.Said:
        return s.Said("at", text)

    def tag(self, name: Word) -> s.Said:
        return s.Said("kind", name)

    def words(self, text: Word) -> s.Said:
        return s.Said("words", text)

    def position(self, word: Word) -> s.Said:
        return s.Said("position", word)

    def alias(self, name: Word) -> s.Said:
        return s.Said("as", name)

    def pulled(self, way: Word, amount: s.Amount) -> tuple[s.Said, s.Given]:
        return s.Said("pulled", way), s.Given("pulled", amount)

    def latches(self, state: Word | None) -> s.Said:
        return s.Said("latches", state or Word("power", self.at))

    def pwm(self, share: s.Amount, hertz: s.Amount | None) -> tuple[s.Given, ...]:
        return (s.Given("pwm", share), *([s.Given("hertz", hertz)] if hertz else []))

    def when(self, term: Term) -> s.When:
        return s.When(term)

    # paths

    def link(self, *items: Word | s.Amount) -> s.Link:
        return s.Link(tuple(items[1:-1]), items[0].at)

    def path(self, *items: Word | s.Link) -> s.PathLine:
        points, links = _sorted(items)
        return s.PathLine(points, links, self.at)

    def continuation(self, *items: Word | s.Link) -> s.ContinuationLine:
        points, links = _sorted(items)
        return s.ContinuationLine(links, points, self.at)

    # lines under a part

    def tagged(self, tag: Word) -> s.TagLine:
        return s.TagLine(tag, self.at)

    def joins(self, position: Word, a: Word, b: Word) -> s.JoinsLine:
        return s.JoinsLine(position, a, b, self.at)

    def parks(self, common: Word, parked: Word, running: Word) -> s.ParksLine:
        return s.ParksLine((common, parked, running), self.at)

    def drifts(self) -> s.DriftsLine:
        return s.DriftsLine(self.at)

    def feed(self, *groups: tuple[Word, ...]) -> s.FeedLine:
        return s.FeedLine(groups, self.at)

    def choice(self, *pins: Word) -> tuple[Word, ...]:
        return pins

    def earth(self, *pins: Word) -> s.EarthLine:
        return s.EarthLine(pins, self.at)

    def clamp(self, *pins: Word) -> s.ClampLine:
        return s.ClampLine(pins, self.at)

    def draws(self, amount: s.Amount) -> s.DrawsLine:
        return s.DrawsLine(amount, self.at)

    def works(self, amount: s.Amount) -> s.WorksLine:
        return s.WorksLine(amount, self.at)

    def reads(self, pin: Word, *items: object) -> s.ReadsLine:
        return s.ReadsLine(pin, cast(tuple[s.Said | s.Given, ...], _flat(items)), self.at)

    def drives(self, pin: Word, side: Side, *items: object) -> s.DrivesLine:
        return s.DrivesLine(pin, side, cast(tuple[s.Said | s.Given | s.When, ...], _flat(items)), self.at)

    def supplies(self, pin: Word, volts: s.Amount, limit: s.Amount | None) -> s.SuppliesLine:
        return s.SuppliesLine(pin, volts, limit, self.at)

    def talks(self, bus: Word, *pins: Word | None) -> s.TalksLine:
        return s.TalksLine(bus, tuple(pin for pin in pins if pin), self.at)

    def sleeps(self, draws: s.Amount, after: s.Amount) -> s.SleepsLine:
        return s.SleepsLine(draws, after, self.at)

    def wakes(self, term: Term) -> s.WakesLine:
        return s.WakesLine(term, self.at)

    # conditions

    def pin_is(self, pin: Word, level: Side) -> PinTerm:
        return PinTerm(pin, level)

    def hears(self, listener: Word, speaker: Word) -> HearsTerm:
        return HearsTerm(listener, speaker)

    def in_state(self, state: Word) -> StateTerm:
        return StateTerm(state)

    def always(self) -> AlwaysTerm:
        return AlwaysTerm()

    def not_(self, term: Term) -> NotTerm:
        return NotTerm(term)

    def and_(self, *terms: Term) -> AndTerm:
        return AndTerm(terms)

    def or_(self, *terms: Term) -> OrTerm:
        return OrTerm(terms)

    # lines under a stage

    def needs(self, *names: Word) -> s.NeedsLine:
        return s.NeedsLine(names, self.at)

    def fails(self, words: Word, factor: s.Amount | None) -> s.FailsLine:
        return s.FailsLine(words, factor, self.at)

    def stand_in(self, words: Word, minutes: s.Amount | None, caution: Word | None) -> s.StandInLine:
        return s.StandInLine(words, minutes, caution, self.at)

    def within(self, *states: Word) -> s.WithinLine:
        return s.WithinLine(states, self.at)


def _flat(items: tuple[object, ...]) -> tuple[object, ...]:
    """Items of which some are several: ``pulled up 10 kohm`` says a way and gives an amount."""
    return tuple(part for item in items for part in (item if isinstance(item, tuple) else (item,)))


def _sorted(items: tuple[Word | s.Link, ...]) -> tuple[tuple[Word, ...], tuple[s.Link, ...]]:
    points = tuple(item for item in items if isinstance(item, Word))
    return points, tuple(item for item in items if isinstance(item, s.Link))
