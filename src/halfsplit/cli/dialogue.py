"""The dialogue of `find`: what is wrong, then test by test to the proven cause. What is entered is kept by the job."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.instruments import INSTRUMENTS
from halfsplit.cli.ask import Asker, entry_prompt, settled, whole_word
from halfsplit.cli.own import own_measurement
from halfsplit.cli.show import DEFER, one_line
from halfsplit.errors import HalfsplitError
from halfsplit.job.bench import bench_view, heard, own_test
from halfsplit.job.entering import FLICKERS
from halfsplit.job.kinds import entry_words
from halfsplit.job.open_job import OpenJob
from halfsplit.job.places import loads_of, to_json
from halfsplit.job.replay import USUAL_INSTRUMENTS
from halfsplit.job.verbs import add_earlier_work, record, strike, take
from halfsplit.job.views import BenchView, TestCard
from halfsplit.store import EarlierWork, EvidenceEntry, JobSettings, Present

HELP = """\
  a number with or without a unit, or a word by its letter: the result of the test
  o  other tests      c  cannot do it, or not here     m  a measurement of your own choice
  s  suspects         u  strike out the last reading   f  the reading flickers
  q  stop here; what was entered is kept"""


def asked_settings(asker: Asker, given: JobSettings) -> JobSettings:
    """What a job begins with; what is not given is asked."""
    names = given.instruments
    while not names:
        typed = asker.text(
            f"Instruments at hand, out of {', '.join(INSTRUMENTS)}", ", ".join(USUAL_INSTRUMENTS)
        )
        names = tuple(name.strip() for name in typed.split(",") if name.strip())
        unknown = [name for name in names if name not in INSTRUMENTS]
        if unknown:
            asker.screen.line(f"There is no instrument {unknown[0]!r}.")
            names = ()
    comes_and_goes = given.intermittent or not asker.yes("Is the fault there all the time", usual=True)
    return JobSettings(instruments=names, intermittent=comes_and_goes, seed=given.seed)


class Dialogue:
    """One fault finding with a person, on an open job."""

    def __init__(self, job: OpenJob, asker: Asker) -> None:
        self.job = job
        self.circuit: Circuit = job.sound_circuit
        self.asker, self.screen = asker, asker.screen
        self.test: TestCard | None = None
        self.doubted: tuple[str, ...] = ()

    @property
    def view(self) -> BenchView:
        """The bench as it stands; worked out once for each change."""
        return bench_view(self.job)

    @property
    def readings(self) -> list[EvidenceEntry]:
        """The tests that were made."""
        return [entry for entry in self.job.entries if entry.kind == "reading"]

    def run(self) -> bool:
        """Ask until the cause is proven; whether it is. Ctrl-C and the end of the input go to the caller."""
        self.screen.line(self.circuit.title or "Circuit", "bold")
        self.screen.line(DEFER)
        known = heard(self.job)
        for text in known:
            self.screen.line(f"  {text}")
        if not known:
            self._complaints()
            typed = self.asker.text(
                "Parts that others have replaced, unplugged or worked near (commas between; Enter: none known)"
            )
            places = tuple(name.strip() for name in typed.split(",") if name.strip())
            if places:
                then = self.asker.yes("Did the complaint start then", usual=False)
                work = EarlierWork(what="earlier work", touched=places, began_then=then)
                self._taken(lambda: add_earlier_work(self.job, work))
        self._loop()
        finding = self.view.finding
        return bool(finding and finding.proven)

    def _complaints(self) -> None:
        stages, states = self.circuit.model.stages, list(self.circuit.states)
        known = [*loads_of(self.circuit), *((stage.name, stage.words) for stage in stages.values())]
        self.screen.line("What does not work as it should? What works is just as useful.")
        self.asker.listed(known)
        while True:
            name = self.asker.choice("Number or name, or Enter when all is said", [name for name, _ in known])
            if not name:
                if heard(self.job):
                    return
                self.screen.line("At least one thing must be wrong.")
                continue
            words = ("no", "yes") if name in stages else ("no", "weak", "yes")
            works = self.asker.choice(f"Does {name} work: {', '.join(words)}", words, "no")
            state = states[0]
            if len(states) > 1:
                self.asker.listed([(state, "") for state in states])
                state = self.asker.choice("In which state", states, states[-1])
            said = {"load": name, "works": works, "state": state}
            self._taken(partial(take, self.job, "complaint", said, present="yes"))

    def _taken(self, enter: Callable[[], object]) -> None:
        """Enter something; what cannot be taken is told, and the dialogue goes on."""
        try:
            enter()
        except HalfsplitError as error:
            self.screen.line(str(error), "yellow")

    # Test by test

    def _loop(self) -> None:
        while True:
            view = self.view
            if view.finding and view.finding.proven:
                self.screen.finding(view.finding)
                minutes = sum(float(entry.payload.get("minutes", 0.0)) for entry in self.readings)
                self.screen.line(f"{len(self.readings)} tests, {minutes:.0f} minutes.")
                return
            if view.doubt and view.doubt != self.doubted:
                self.screen.doubt(view.doubt)
            self.doubted = view.doubt
            if self.test is None and view.tests:
                self.test = view.tests[0]
                self.shown_again()
            if self.test is None:
                self.screen.line()
                self.screen.line("No further test can separate the suspects.")
                self.screen.suspects(view.suspects, self.circuit)
                if view.finding:
                    self.screen.finding(view.finding)
                return
            # One line from the person: a result, or a letter for something else.
            typed = self.asker.text(entry_prompt(self.test))
            if typed.lower() in ACTS:
                ACTS[typed.lower()](self)
            elif typed:
                self._result(self.test, typed)

    def _result(self, test: TestCard, typed: str) -> None:
        meant = settled(self.asker, typed, test, self.circuit.model.net_volts)
        if meant is None:
            return
        present = self._present() if meant != FLICKERS else "yes"
        entry = partial(record, self.job, test.place, meant, unit=test.unit, minutes=test.minutes)
        self._taken(lambda: entry(confirmed=True, present=present))
        self.test = None
        self.screen.line(f"> {heard(self.job)[-1]}")
        self.suspects()

    def _present(self) -> Present:
        """For a fault that comes and goes: whether it was there during the test."""
        if not self.job.record.intake.settings.intermittent:
            return "unknown"
        answers: tuple[Present, ...] = ("yes", "no", "unknown")
        while True:
            typed = self.asker.text("Was the fault there just now: yes, no, unknown", "unknown")
            word = whole_word(typed, answers)
            for answer in answers:
                if answer == word:
                    return answer
            self.screen.line("Please type y, n or u.")

    # The letters: each method is what one of them does

    def others(self) -> None:
        """Tests that are worth their minutes too."""
        tests = self.view.tests
        self.asker.listed([(one_line(test), "") for test in tests])
        number = self.asker.choice(
            "Which one (Enter: stay with this)", [str(n) for n in range(1, len(tests) + 1)]
        )
        if number:
            self.test = tests[int(number) - 1]
        self.shown_again()

    def shown_again(self) -> None:
        if self.test:
            self.screen.test(self.test, len(self.readings) + 1)

    def cannot(self) -> None:
        assert self.test is not None  # noqa: S101 - letters are typed below a test
        place, why = self.test.place, self.asker.text("Why not (a few words; Enter: no reason)")
        self._taken(lambda: take(self.job, "cannot", {**place, "why": why}))
        self.test = None

    def suspects(self) -> None:
        self.screen.suspects(self.view.suspects, self.circuit)

    def strike(self) -> None:
        readings = list(self.job.live("reading"))
        if not readings:
            self.screen.line("There is no reading to strike out yet.")
            return
        self.screen.line("  {}: {}".format(*entry_words(readings[-1], self.circuit)))
        why = self.asker.text("Strike it out because (Enter: leave it)")
        if why:
            self._taken(lambda: strike(self.job, readings[-1].entry_id, reason=why))
            self.test = None
            self.suspects()

    def own(self) -> None:
        """A measurement of the technician's own choice, ranked like any other."""
        said = [entry.payload.get("state") for entry in self.job.entries if entry.payload.get("state")]
        measured = own_measurement(self.asker, self.circuit, str(said[-1]) if said else "")
        if measured:
            place = to_json(measured)

            def take_on() -> None:
                self.test = own_test(self.job, place)
                if self.test.beside:
                    self.screen.line(self.test.beside)

            self._taken(take_on)
        self.shown_again()

    def flickers(self) -> None:
        if self.test:
            self._result(self.test, FLICKERS)

    def help(self) -> None:
        self.screen.line(HELP)

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
