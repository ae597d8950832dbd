"""One cause for many: which shared feed, ground, splice, relay or bus line explains silent units and complaints.

Ranked by the engine's posterior; what each cause explains, leaves and contradicts is told in words.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from halfsplit.circuit.circuit import Circuit
from halfsplit.diagnosis.explaining import Account, accounts, is_symptom
from halfsplit.diagnosis.words import part_words
from halfsplit.job.bench import reading_text
from halfsplit.job.open_job import OpenJob
from halfsplit.job.views import shown_as

BUS_KINDS = "bus line"
LOOKED_AT, SHOWN = 24, 6
"""Repairs that are looked at, and causes that are shown."""
MOSTLY = 0.6
"""Share of the battery's volts from which a wire is told as a feed; below a tenth of them as a ground."""


@dataclass(frozen=True)
class Member:
    """One repair of a shared stretch, with its own probability. ``name``: with the part's words."""

    part: str
    name: str
    cause: str
    repair: str
    probability: float


@dataclass(frozen=True)
class CauseCard:
    """Repairs that hang together and account alike for all that was seen: nothing seen so far tells them apart.

    ``kind``: 'feed', 'ground', 'splice', 'bus line', 'fuse' and so on; ``stretch``: where it runs, from part to part.
    ``probability``: of all members. ``explains``, ``leaves``, ``contradicts``: what was seen, in words.
    """

    kind: str
    stretch: str
    probability: float
    members: tuple[Member, ...]
    explains: tuple[str, ...]
    leaves: tuple[str, ...]
    contradicts: tuple[str, ...]


@dataclass(frozen=True)
class Causes:
    """``symptoms``: how many things are wrong in all; ``readings``: instruments' readings that count as well."""

    symptoms: int
    silent: int
    readings: int
    cards: tuple[CauseCard, ...]


def causes_of(job: OpenJob) -> Causes | None:
    """The causes that explain most of what was seen, most probable first. None before anything is known."""
    with job.bench() as bench:
        heard = bench.told
        if heard is None or not any(reading.struck is None for reading in heard.diagnosis.readings):
            return None
        if "causes" not in bench.answers:
            situation = heard.diagnosis.situation()
            wrong = [reading for reading in situation.live if is_symptom(situation, reading)]
            stretches = _stretches(accounts(situation, LOOKED_AT)) if wrong else ()
            cards = (_card(some, heard.diagnosis.circuit) for some in stretches)
            bench.answers["causes"] = Causes(
                len(wrong),
                sum(reading.measurement.quantity == "answers" for reading in wrong),
                sum(not isinstance(reading.value, str) for reading in situation.live),
                tuple(sorted(cards, key=lambda card: -card.probability)[:SHOWN]),
            )
        causes: Causes = bench.answers["causes"]
        return causes


def _stretches(accounts: Sequence[Account]) -> tuple[list[Account], ...]:
    """Repairs that account alike and touch one another, together; each list with its likeliest first."""
    groups: list[list[Account]] = []
    for account in accounts:
        mine = [
            group
            for group in groups
            if _seen_by(group[0]) == _seen_by(account)
            and any(set(_places(account.part)) & set(_places(other.part)) for other in group)
        ]
        joined = [*(other for group in mine for other in group), account]
        groups = [group for group in groups if group not in mine] + [joined]
    return tuple(sorted(group, key=lambda account: -account.probability) for group in groups)


def _seen_by(account: Account) -> tuple[object, ...]:
    """What a repair accounts for, and whether as a short: those that agree in it are not told apart."""
    return account.explains, account.leaves, account.contradicts, "short" in account.cause


def _places(group: str) -> list[str]:
    """The parts that a repair group is at or between: ``wire F30.2 SP30`` → F30, SP30."""
    ends = group.split()[1:3] if group.startswith("wire ") else [group]
    return [end.partition(".")[0] for end in ends]


def _card(some: list[Account], circuit: Circuit) -> CauseCard:
    first, several = some[0], len(some) > 1
    explains, leaves, contradicts = (
        tuple(dict.fromkeys(reading_text(reading, circuit) for reading in seen))
        for seen in (first.explains, first.leaves, first.contradicts)
    )
    parts = [account.part for account in some]
    names = [part_words(part, circuit) if part in circuit.parts else part for part in parts]
    wire = next((part for part in parts if several and part.startswith("wire ")), first.part)
    kind = kind_of(wire, circuit)
    return CauseCard(
        f"short on a {kind}" if "short" in first.cause else kind,
        _path(parts, circuit) if several else names[0],
        sum(account.probability for account in some),
        tuple(shown_as(Member, account, name=name) for account, name in zip(some, names, strict=True)),
        explains,
        leaves,
        contradicts,
    )


def _path(groups: Sequence[str], circuit: Circuit) -> str:
    """Where a stretch runs: its parts in the order in which they are joined, from the battery on."""
    import networkx as nx  # slow to import

    edges = [places for group in groups if len(places := _places(group)) == 2]
    names = list(dict.fromkeys(place for group in groups for place in _places(group)))
    # How many wires each part is away from the battery's positive side.
    graph = nx.Graph([end.partition(".")[0] for end in wire.ends] for wire in circuit.model.wires)
    batteries = [part.name for part in circuit.model.of_kind("battery")]
    graph.add_nodes_from(batteries)
    away = nx.multi_source_dijkstra_path_length(graph, batteries) if batteries else {}
    names.sort(key=lambda name: away.get(name, len(away)))
    order = names[:1]
    while step := next((edge for edge in edges if order[-1] in edge), None):
        edges.remove(step)
        other = step[1] if step[0] == order[-1] else step[0]
        if other not in order:
            order.append(other)
    return " – ".join([*order, *(name for name in names if name not in order)])


def kind_of(name: str, circuit: Circuit) -> str:
    """What a repair group is: 'feed', 'ground' or 'bus line' for a wire, else the kind of its part."""
    if " + " in name:
        return "two faults at once"
    part = circuit.parts.get(name)
    if part is not None:
        return "control unit" if part.kind == "module" else part.kind
    if name.startswith("wire "):
        return _wire_kind(name.split()[1:3], circuit)
    whole = circuit.parts.get(name.partition(".")[0])
    if whole is not None:
        return whole.kind if whole.kind == "connector" else f"terminal of a {whole.kind}"
    return BUS_KINDS


def _wire_kind(ends: list[str], circuit: Circuit) -> str:
    bus_pins = {
        f"{part.name}.{pin}"
        for part in circuit.parts.values()
        if part.behaviour is not None
        for talk in part.behaviour.talks
        for pin in (talk.high, talk.low)
    }
    if bus_pins.intersection(ends):
        return BUS_KINDS
    volts = [
        circuit.solve(state).volts(end) for state in circuit.states for end in ends if end in circuit.points
    ]
    full = max((part.values.get("V", 12.6) for part in circuit.model.of_kind("battery")), default=12.6)
    if not volts or 0.1 * full <= max(volts) < MOSTLY * full:
        return "wire"
    return "feed" if max(volts) >= MOSTLY * full else "ground"
