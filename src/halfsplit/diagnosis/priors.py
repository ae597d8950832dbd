"""Priors of faults from ``priors.toml``, which tells the source of each number.

The table can be replaced by what closed jobs taught: ``Priors.of(table)`` takes any table of the same form.
"""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any

from halfsplit.circuit.faults import NOT_IN_MODEL, NOTHING_WRONG, SPECIAL, Fault
from halfsplit.circuit.model import Model
from halfsplit.circuit.moving import crossing_wires
from halfsplit.errors import InputError


@dataclass(frozen=True)
class Priors:
    """``rates``: per kind; ``modes``: share within a kind; ``sees``: chance that a look finds it.

    ``favoured``: (part, mode) in one circuit → what its weight is multiplied by, from closed jobs.
    """

    rates: Mapping[str, float]
    modes: Mapping[str, Mapping[str, float]]
    sees: Mapping[str, float]
    special: Mapping[str, float]
    factors: Mapping[str, float]
    favoured: Mapping[tuple[str, str], float] = field(default_factory=dict)

    @staticmethod
    def of(table: Mapping[str, Any]) -> Priors:
        """Check and take over a table. Raises InputError where a kind lacks a number or shares do not add up."""
        kinds = {name: row for name, row in table.items() if name not in ("special", "factors")}
        for name, row in kinds.items():
            if not {"rate", "sees", "modes"} <= row.keys():
                raise InputError(f"kind {name!r} of the priors lacks rate, sees or modes")
            if any(share < 0 for share in row["modes"].values()) or sum(row["modes"].values()) <= 0:
                raise InputError(f"the modes of {name!r} in the priors are no shares")
        return Priors(
            {name: row["rate"] for name, row in kinds.items()},
            {name: row["modes"] for name, row in kinds.items()},
            {name: row["sees"] for name, row in kinds.items()},
            table["special"],
            table["factors"],
        )

    def rate(self, fault: Fault, siblings: int = 1) -> float:
        """Relative frequency of a family of faults; ``siblings``: how many of its part share this mode's share."""
        kind, mode = self.key(fault)
        shares = self.modes.get(kind, {"any": 1.0})
        share = shares.get(mode, shares.get("any", 0.1))
        return self.rates.get(kind, 1.0) * share / max(siblings, 1)

    def seen(self, fault: Fault) -> float:
        """Chance that a look at the place finds the fault."""
        return self.sees.get(self.key(fault)[0], 0.5)

    def key(self, fault: Fault) -> tuple[str, str]:
        """Kind and mode under which a fault stands in the tables."""
        kind, _, mode = fault.kind.partition(" ")
        if kind == "module":
            return "module", mode or fault.mode
        if fault.mode.startswith("short to") and fault.kind == "cavity":
            return "cavity", "short"
        return (fault.kind, fault.mode)


@cache
def default_priors() -> Priors:
    """The priors that come with the program."""
    return Priors.of(
        tomllib.loads((files("halfsplit.diagnosis") / "priors.toml").read_text(encoding="utf-8"))
    )


def family_priors(
    families: Sequence[Fault],
    model: Model,
    priors: Priors,
    touched: Mapping[str, float],
    *,
    intermittent: bool,
) -> list[float]:
    """Prior probability of each family of single faults (one representative each).

    They add up to 1 with what is kept for pairs. ``touched`` multiplies what is at a place (earlier work); ``suspect``
    lines do so too.
    """
    factors = {suspicion.name: suspicion.factor for suspicion in model.suspicions}
    for name, factor in touched.items():
        factors[name] = max(factors.get(name, 1.0), factor)
    counts = Counter((fault.part, fault.kind + priors.key(fault)[1]) for fault in families)
    # A stretch that the diagram does not show holds splices and joints of its own: counted as three wires.
    hidden = {wire.name for wire in model.wires if wire.unknown}
    bending = crossing_wires(model)
    weights = [0.0] * len(families)
    for number, fault in enumerate(families):
        if fault.name in SPECIAL:
            continue
        mode = priors.key(fault)[1]
        weight = priors.rate(fault, counts[fault.part, fault.kind + mode])
        weight *= max((factors.get(name, 1.0) for name in fault.touches), default=1.0)
        if fault.kind == "wire" and fault.part in bending:
            # What bends breaks oftener; half of that where only one end's place is known.
            hinge = priors.factors["hinge"]
            weight *= hinge if bending[fault.part] else 0.5 * (1.0 + hinge)
        if fault.failure is not None:
            stage, words = fault.failure
            own = (failure.weight for failure in model.stages[stage].failures if failure.words == words)
            weight *= next(own, 1.0)
        weight *= priors.favoured.get((fault.part, mode), 1.0)
        weights[number] = weight * (3.0 if fault.part in hidden else 1.0)
    special = priors.special
    nothing = special["nothing wrong, intermittent" if intermittent else "nothing wrong"]
    unknown = special[NOT_IN_MODEL]
    left = 1.0 - nothing - unknown - special["pairs"] - special["undrawn"]
    total = sum(weights) or 1.0
    fixed = {NOTHING_WRONG: nothing, NOT_IN_MODEL: unknown}
    return [
        fixed[fault.name] if fault.name in fixed else left * weight / total
        for fault, weight in zip(families, weights, strict=True)
    ]
