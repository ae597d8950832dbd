"""Drawn cars of one circuit in the scenes in which they are tested."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

from halfsplit.circuit.batch import Cars
from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.interventions import Intervention, apply
from halfsplit.circuit.network import Parameters, System

KEPT_CARS = 6
"""Scenes whose healthy networks are kept for what is solved next; what is solved keeps its own."""


@dataclass(frozen=True)
class SceneKey:
    """What a scene is: state, interventions in the order made, and whether the feed is isolated (for ohms)."""

    state: str
    changes: tuple[Intervention, ...] = ()
    isolated: bool = False


class Fleet:
    """Cars with the values of each draw. Scenes that are electrically the same have the same cars."""

    def __init__(self, circuit: Circuit, draws: Sequence[Parameters]) -> None:
        self.circuit, self.draws = circuit, tuple(draws)
        self._kept: dict[Hashable, Cars] = {}

    def cars(self, key: SceneKey) -> Cars:
        """All cars in a scene."""
        what = self.electrically(key)
        if what not in self._kept:
            while len(self._kept) >= KEPT_CARS:
                self._kept.pop(next(iter(self._kept)))
            self._kept[what] = Cars([self._system(key, parameters) for parameters in self.draws])
        return self._kept[what]

    def electrically(self, key: SceneKey) -> Hashable:
        """What tells a scene from others: two that are equal in it have the same volts."""
        return self._system(key, None).electrically()

    def _system(self, key: SceneKey, parameters: Parameters | None) -> System:
        system = apply(self.circuit.network.system(key.state, parameters), key.changes)
        return system.isolated() if key.isolated else system
