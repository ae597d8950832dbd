"""What is known of a job at one moment: the input of suspects, tests and proof."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.faults import NOTHING_WRONG, SPECIAL
from halfsplit.circuit.interventions import Replace, StandInFor
from halfsplit.diagnosis.cost import Bay, place_key, touched
from halfsplit.diagnosis.expected import Context
from halfsplit.diagnosis.measurement import Measurement, Reading
from halfsplit.diagnosis.posterior import Inference, Posterior

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

TELLS_OF_A_FAULT = {("answers", "no"), ("code", "set"), ("blown", "yes"), ("stage", "no")}
SOUND = 0.1
"""A sound vehicle has become less likely by this than before anything was read: something is wrong."""
PARTICLES, HELD, FEWEST = 3000, 0.999, 600
"""Particles that tests are chosen by: the heaviest, so many at most, and no more than hold this share of these; but so
many in any case, for what a surprise would mean is told by the rivals of a cause that is nearly certain."""
GROUPS = 40


@dataclass(frozen=True, eq=False)
class Situation:
    """``bay``: what is open, set up and unplugged; ``refused``: tests that cannot be made, with the reason."""

    circuit: Circuit
    instruments: tuple[str, ...]
    intermittent: bool
    inference: Inference
    posterior: Posterior
    readings: tuple[Reading, ...]
    refused: Mapping[Measurement, str]
    bay: Bay

    @property
    def context(self) -> Context:
        return self.posterior.belief.context

    @property
    def opened(self) -> frozenset[str]:
        """Places that are open already."""
        return self.bay.opened

    @property
    def state(self) -> str | None:
        """The operating state that the vehicle is in; None before the first test."""
        return self.bay.state

    def barred(self, measurement: Measurement) -> bool:
        """Whether a test cannot be made: refused itself, or at a place that cannot be reached."""
        if measurement in self.refused:
            return True
        away = self.out_of_reach
        return bool(away) and not away.isdisjoint(self._parts_and_places(measurement))

    def _parts_and_places(self, measurement: Measurement) -> set[str]:
        model = self.circuit.model
        names = [name for name in touched(measurement, model) if name in model.parts]
        away = [name for name in names if model.parts[name].kind != "battery"]
        keys = (place_key(name, model) for name in away)
        return {*away, *(key for key in keys if key is not None)}

    @cached_property
    def out_of_reach(self) -> frozenset[str]:
        """Parts, and places that are not open, at which nobody can measure; a reading made there takes it back.

        A part that is not at hand for a trial bars no place.
        """
        barred = set[str]()
        for refusal in self.refused:
            trial = any(isinstance(item, Replace | StandInFor) for item in refusal.changes)
            if refusal.quantity != "wiggle" and not trial:
                barred |= self._parts_and_places(refusal)
        made = (reading.measurement for reading in self.live if reading.source == "reading")
        return frozenset(barred.difference(self.opened, *map(self._parts_and_places, made)))

    @cached_property
    def live(self) -> tuple[Reading, ...]:
        """Readings that are not struck out."""
        return tuple(reading for reading in self.readings if reading.struck is None)

    @property
    def heard(self) -> Iterator[tuple[Reading, Floats]]:
        """Each of these with its log-likelihood (C, D)."""
        return zip(self.live, self.posterior.belief.likelihoods(self.live), strict=True)

    @property
    def complaints(self) -> tuple[Reading, ...]:
        """What is wrong with the vehicle: complaints, and loads seen not to work as they should."""
        healthy = self.circuit.healthy_word
        return tuple(
            reading
            for reading in self.live
            if reading.measurement.quantity == "works"
            and not reading.measurement.changes
            and reading.present != "no"
            and reading.value != healthy(reading.measurement.at, reading.measurement.state)
        )

    @property
    def wrong(self) -> tuple[Reading, ...]:
        """What says that something is wrong: the complaints, silent units, codes, blown fuses, stages that do not hold.

        A job may begin with the scan alone: not every fault is noticed at a load.
        """
        wrong = tuple(
            reading
            for reading in self.live
            if reading.present != "no"
            and (reading.measurement.quantity, reading.value) in TELLS_OF_A_FAULT
            and not reading.measurement.changes
        )
        return (*self.complaints, *wrong)

    @property
    def seen_wrong(self) -> bool:
        """Whether anything was told or read that a sound vehicle does not show: live data may be all there is."""
        sound = self.posterior.probability.get(NOTHING_WRONG, 0.0)
        return bool(self.wrong) or sound < SOUND * self.inference.nothing.prior

    def particles(self) -> tuple[Ints, Floats, Ints, list[str]]:
        """The particles that matter.

        Flat indices (N,) into the forecasts of ``choosing``, weights that add up to 1, group (N,) numbered from 0 and
        the names of those groups; small groups are merged into one at the end.
        """
        return self._held[1]

    @property
    def choosing(self) -> Context:
        """What tests are chosen by: the columns that hold the particles, and no others."""
        return self._held[0]

    @cached_property
    def _held(self) -> tuple[Context, tuple[Ints, Floats, Ints, list[str]]]:
        names, group = self.posterior.groups
        flat, draws = self.posterior.weights.ravel(), self.posterior.weights.shape[1]
        order = np.argsort(-flat, kind="stable")[:PARTICLES]
        along = np.cumsum(flat[order])
        order = order[: max(FEWEST, int(np.searchsorted(along, HELD * along[-1])) + 1)]
        order = order[flat[order] >= 1e-9 * flat[order[0]]]
        weights = flat[order] / flat[order].sum()
        groups = group[order // draws]
        totals = np.bincount(groups, weights=weights, minlength=len(names))
        leading = np.argsort(-totals, kind="stable")[:GROUPS]
        leading = leading[totals[leading] > 0]
        number = np.full(len(names), len(leading))
        number[leading] = np.arange(len(leading))
        leaders = [names[index] for index in leading]
        columns, which = np.unique(order // draws, return_inverse=True)
        context, place = self.context.part(columns)
        chosen = place[which.ravel()] * draws + order % draws
        return context, (chosen, weights, number[groups], [*leaders, "others"])

    def likeliest(self, least: float = 0.005, most: int = 16) -> list[str]:
        """Names of the leading repair groups."""
        shares = self.posterior.probability.items()
        return [name for name, share in shares if share >= least and name not in SPECIAL][:most]

    def places(self) -> list[str]:
        """Names of the leading repair groups, those of both faults in place of a pair's."""
        leaders = self.posterior.leaders
        groups = [
            [member.group for member in leaders[name].single] if name in leaders else [name]
            for name in self.likeliest()
        ]
        return list(dict.fromkeys(name for some in groups for name in some))
