"""The dialogue of `find`: what is wrong, then test by test to the proven cause."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.instruments import INSTRUMENTS
from halfsplit.cli.ask import Asker, asked_value, entry_prompt, whole_word
from halfsplit.cli.keep import KeepFile
from halfsplit.cli.own import own_measurement
from halfsplit.cli.session import USUAL, Session, Settings
from halfsplit.cli.show import DEFER, Screen, one_line, reading_line
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.diagnosis.propose import Test, beside
from halfsplit.errors import HalfsplitError
from halfsplit.job.entering import FLICKERS
from halfsplit.job.loads import loads_of

HELP = """\
  a number with or without a unit, or a word by its letter: the result of the test
  o  other tests      c  cannot do it, or not here     m  a measurement of your own choice
  s  suspects         u  strike out the last reading   f  the reading flickers
  q  stop here; what was entered is kept"""
OTHERS = 6


class Dialogue:
    """One fault finding with a person."""

    def __init__(self, circuit: Circuit, screen: Screen | None = None) -> None:
        self.circuit = circuit
        self.screen = screen or Screen()
        self.asker = Asker(self.screen)
        self.session = Session(circuit, Settings())
        self.test: Test | None = None
        self.number = 1
        self.over = False

    # Beginning

    def begin(self, keep: KeepFile, instruments: Sequence[str], *, intermittent: bool) -> None:
        """A new job; what is not given is asked when it runs. Raises InputError where its keep-file is there."""
        keep.must_be_new()
        self.session = Session(self.circuit, Settings(tuple(instruments), intermittent), keep)

    def resume(self, keep: KeepFile) -> None:
        """Go on with a kept job. Raises HalfsplitError where the circuit no longer fits it."""
        kept = keep.read()
        self.session = Session(self.circuit, Settings.of(kept.head), keep)
        self.session.replay(kept.entries)
        self.number = 1 + sum(entry.get("kind") == "reading" for entry in kept.entries)
        if kept.lost:
            self.screen.line(
                "The last entry was not written wholly and is left out: enter it again.", "yellow"
            )

    def run(self, again: str) -> bool:
        """Ask until the cause is proven or the person stops; whether it is proven. ``again``: how to go on later."""
        try:
            self._head()
            self._ask_what_is_wrong()
            self._loop()
        except (KeyboardInterrupt, EOFError):
            self.screen.line()
            self._stopped(again)
        found = self.session.diagnosis.finding()
        return bool(found and found.proven)

    def _stopped(self, again: str) -> None:
        entries = len(self.session.readings)
        where: Path | None = self.session.keep.path if self.session.keep else None
        if where is None or not where.exists():
            self.screen.line("Stopped before anything was entered.")
            return
        self.screen.line(
            f"Stopped. {entries} {'entry is' if entries == 1 else 'entries are'} kept in {where}."
        )
        self.screen.line(f"Go on with: {again}")

    def _head(self) -> None:
        self.screen.line(self.circuit.title or "Circuit", "bold")
        self.screen.line(DEFER)
        for reading in self.session.diagnosis.readings:
            self.screen.line(f"  {reading_line(reading, self.circuit)}")

    def _ask_what_is_wrong(self) -> None:
        keep = self.session.keep
        if keep and not keep.path.exists():
            settings = self._settings()
            keep.begin({"circuit": self.circuit.title, **settings.as_dict()})
            self.session = Session(self.circuit, settings, keep)
        if not self.session.diagnosis.readings:
            self._complaints()
            self._earlier_work()

    def _settings(self) -> Settings:
        given = self.session.settings
        names = given.instruments
        while not names:
            typed = self.asker.text(f"Instruments at hand, out of {', '.join(INSTRUMENTS)}", ", ".join(USUAL))
            names = tuple(name.strip() for name in typed.split(",") if name.strip())
            unknown = [name for name in names if name not in INSTRUMENTS]
            if unknown:
                self.screen.line(f"There is no instrument {unknown[0]!r}.")
                names = ()
        intermittent = given.intermittent or not self.asker.yes("Is the fault there all the time", usual=True)
        return Settings(names, intermittent, given.seed)

    def _complaints(self) -> None:
        known = [
            *loads_of(self.circuit),
            *((one.name, one.words) for one in self.circuit.model.stages.values()),
        ]
        names = [name for name, _ in known]
        self.screen.line("What does not work as it should? What works well tells as much.")
        self.asker.listed(known)
        while True:
            name = self.asker.choice("Number or name, or Enter when all is said", names)
            if name:
                self._complaint(name)
            elif self.session.diagnosis.readings:
                return
            else:
                self.screen.line("At least one thing must be wrong.")

    def _complaint(self, name: str) -> None:
        words = ("no", "yes") if name in self.circuit.model.stages else ("no", "weak", "yes")
        works = self.asker.choice(f"Does {name} work: {', '.join(words)}", words, "no")
        states = list(self.circuit.states)
        state = states[0]
        if len(states) > 1:
            self.asker.listed([(one, "") for one in states])
            state = self.asker.choice("In which state", states, states[-1])
        self._taken(lambda: self.session.complain(name, works, state))

    def _earlier_work(self) -> None:
        typed = self.asker.text(
            "Parts that others have replaced, unplugged or worked near (commas between; Enter: none known)"
        )
        places = [name.strip() for name in typed.split(",") if name.strip()]
        if places:
            then = self.asker.yes("Did the complaint begin then", usual=False)
            self._taken(lambda: self.session.earlier_work(places, began_then=then))

    def _taken(self, enter: Callable[[], object]) -> None:
        """Enter something; what cannot be taken is told, and the dialogue goes on."""
        try:
            enter()
        except HalfsplitError as error:
            self.screen.line(str(error), "yellow")

    # Test by test

    def _loop(self) -> None:
        while not self.over:
            found = self.session.diagnosis.finding()
            if found and found.proven:
                self.screen.finding(found)
                self.screen.line(f"{self.number - 1} tests, {self.session.minutes:.0f} minutes.")
                return
            if self.test is None:
                self._propose()
            if self.test is None:
                self._nothing_left()
                return
            self._entry()

    def _propose(self) -> None:
        tests = self.session.diagnosis.next_tests(limit=1)
        if tests:
            self.test = tests[0]
            self.screen.test(self.test, self.circuit, self.number)

    def _nothing_left(self) -> None:
        found = self.session.diagnosis.finding()
        self.screen.line()
        self.screen.line("No test is left that would tell more.")
        self.screen.suspects(self.session.diagnosis.suspects(), self.circuit)
        if found:
            self.screen.finding(found)

    def _entry(self) -> None:
        """One line from the person: a result, or a letter for something else."""
        assert self.test is not None  # noqa: S101 - the loop sees to it
        typed = self.asker.text(entry_prompt(self.test.measurement, self.circuit))
        act = ACTS.get(typed.lower())
        if act:
            act(self)
        elif typed:
            self._result(self.test, typed)

    def _result(self, test: Test, typed: str) -> None:
        place = test.measurement
        value = asked_value(self.asker, typed, place, self.circuit, self.session.net_volts)
        if value is None:
            return
        if value == FLICKERS:
            self._taken(lambda: self.session.event(place.at.partition(":")[0], "the reading flickers"))
        else:
            present = self._present()
            self._taken(
                lambda: self.session.record(place, value, minutes=test.minutes, present=present, typed=typed)
            )
            self.number += 1
        self.test = None
        self.screen.line(f"> {reading_line(self.session.diagnosis.readings[-1], self.circuit)}")
        self.suspects()

    def _present(self) -> str | None:
        """For a fault that comes and goes: whether it was there during the test."""
        if not self.session.settings.intermittent:
            return None
        words = ("yes", "no", "unknown")
        while True:
            typed = self.asker.text("Was the fault there just now: yes, no, unknown", "unknown")
            word = whole_word(typed, words)
            if word in words:
                return word
            self.screen.line("Please type y, n or u.")

    # The letters: each method is what one of them does

    def others(self) -> None:
        """Tests that are worth their minutes too."""
        tests = self.session.diagnosis.next_tests(limit=OTHERS)
        self.asker.listed([(one_line(test, self.circuit), "") for test in tests])
        number = self.asker.choice(
            "Which one (Enter: stay with this)", [str(n) for n in range(1, len(tests) + 1)]
        )
        if number:
            self.test = tests[int(number) - 1]
        self.shown_again()

    def shown_again(self) -> None:
        if self.test:
            self.screen.test(self.test, self.circuit, self.number)

    def cannot(self) -> None:
        assert self.test is not None  # noqa: S101 - letters are typed below a test
        place, why = self.test.measurement, self.asker.text("Why not (a few words; Enter: no reason)")
        self._taken(lambda: self.session.cannot(place, why))
        self.test = None

    def suspects(self) -> None:
        self.screen.suspects(self.session.diagnosis.suspects(), self.circuit)

    def strike(self) -> None:
        reading = self.session.last_reading()
        if reading is None:
            self.screen.line("There is no reading to strike out yet.")
            return
        self.screen.line(f"  {reading_line(reading, self.circuit)}")
        why = self.asker.text("Strike it out because (Enter: leave it)")
        if why:
            self._taken(lambda: self.session.strike(reading, why))
            self.test = None
            self.suspects()

    def own(self) -> None:
        measured = own_measurement(self.asker, self.session.diagnosis)
        if measured:
            self._taken(lambda: self._take_on(measured))
        self.shown_again()

    def _take_on(self, measured: Measurement) -> None:
        proposed = next(iter(self.session.diagnosis.next_tests(limit=1)), None)
        self.test = self.session.diagnosis.rank(measured)
        if told := beside(self.test, proposed):
            self.screen.line(told)

    def flickers(self) -> None:
        if self.test:
            self._result(self.test, FLICKERS)

    def help(self) -> None:
        for text in HELP.splitlines():
            self.screen.line(text)

    def quit(self) -> None:
        raise EOFError


ACTS: Mapping[str, Callable[[Dialogue], None]] = {
    "o": Dialogue.others,
    "c": Dialogue.cannot,
    "s": Dialogue.suspects,
    "u": Dialogue.strike,
    "m": Dialogue.own,
    "f": Dialogue.flickers,
    "?": Dialogue.help,
    "q": Dialogue.quit,
}
"""Letter → what it does."""
