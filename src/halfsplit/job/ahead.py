"""What follows each likely result of the proposed test, worked out while the technician walks to it.

The circuit is solved for the states, faults and points that the next reading will ask for, so that the reading itself
finds them solved; where the answer is a word that was thought through, all that it means is known. Last comes what the
drawing does not show, for a reading that fits nothing. Before the first complaint it is what a complaint in each
operating state will ask for. It stands behind everything else: it begins when nobody has asked for a while, takes one
result at a time, and leaves a job alone that somebody works on.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from functools import partial
from typing import Final

from halfsplit.diagnosis.diagnosis import Diagnosis
from halfsplit.diagnosis.propose import Outcome, Test
from halfsplit.errors import HalfsplitError
from halfsplit.job.bench import weighed
from halfsplit.job.memory import Memory, Remembered, in_turn, memory_of
from halfsplit.job.replay import Told
from halfsplit.store import JobStore
from halfsplit.threads import give_memory_back

QUIET: Final = 0.5
"""Seconds without a question after which it begins, and between two looks."""
LIKELY: Final = 0.2
"""Probability from which a result of the proposed test is thought through, the likeliest first.

What is less likely costs most, since hundreds of places fit it a little, and it brings in what pushes the rest out.
"""
LARGE: Final = 3000
"""Points of a vehicle beyond which what the drawing does not show waits until it is asked for.

It is solved in one piece, in which whoever asks would wait: at 1,700 points for half a second, at 8,700 for ten (both
beside other work).
"""


def start_thinking_ahead(store: JobStore) -> threading.Event:
    """Think ahead for the jobs of a store until the event that is given back is set, or the process ends."""
    end = threading.Event()

    def work() -> None:
        memory = memory_of(store)
        while not end.wait(QUIET):
            while not end.is_set() and time.monotonic() - memory.asked > QUIET and think_ahead(memory):
                pass

    threading.Thread(target=work, name="thinking ahead", daemon=True).start()
    return end


def think_ahead(memory: Memory) -> bool:
    """Think one more result through, of the job that was looked at last; False where there is nothing to do now."""
    for remembered in memory.latest():
        if not _waiting(remembered):
            continue
        if not remembered.lock.acquire(blocking=False):
            return False
        try:
            with in_turn(wait=False) as mine:
                waiting = _waiting(remembered)
                if not (mine and waiting and remembered.told) or not _thought_through(
                    memory, remembered.told, waiting[0]
                ):
                    return False
                remembered.answers[AHEAD] = remembered.answers.get(AHEAD, 0) + 1
                return True
        finally:
            remembered.lock.release()
    return False


AHEAD: Final = "ahead"
"""How many results have been thought through since the last change, among a job's answers."""


def _waiting(remembered: Remembered) -> list[Callable[[Diagnosis], object]]:
    """What is still to be thought through, the likeliest first."""
    if remembered.told is None:
        return []
    test: Test | None = remembered.answers.get("best")
    thoughts: list[Callable[[Diagnosis], object]] = []
    if test is not None:
        likely = [outcome for outcome in test.outcomes if outcome.probability >= LIKELY]
        likely.sort(key=lambda outcome: -outcome.probability)
        thoughts += [partial(_result, test=test, outcome=outcome) for outcome in likely]
        if remembered.told.diagnosis.circuit.network.size <= LARGE:
            thoughts.append(Diagnosis.prepare_doubt)
    elif not remembered.told.diagnosis.readings:
        thoughts += [
            partial(Diagnosis.prepare, state=state) for state in remembered.told.diagnosis.circuit.states
        ]
    return thoughts[remembered.answers.get(AHEAD, 0) :]


def _result(diagnosis: Diagnosis, test: Test, outcome: Outcome) -> None:
    weighed(diagnosis.imagined(test, outcome.word or outcome.typical))


class GivesWay(Exception):
    """Thinking ahead ends here, because somebody waits."""


def _thought_through(memory: Memory, told: Told, think: Callable[[Diagnosis], object]) -> bool:
    """Whether something was thought through to its end, and nobody asked for anything meanwhile."""
    since, diagnosis = memory.asked, told.diagnosis

    def give_way() -> None:
        if memory.asked != since:
            raise GivesWay

    diagnosis.predictions.give_way = give_way
    try:
        think(diagnosis)
    except GivesWay:
        return False
    except HalfsplitError:  # a result that the diagnosis cannot take: the reading itself will say so
        return True
    finally:
        diagnosis.predictions.give_way = None
    give_memory_back()  # not where it gave way: somebody waits
    return True
