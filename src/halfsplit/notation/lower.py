"""Tree → model, with every error of sense. Statements may come in any order, so names are learned first."""

from __future__ import annotations

from collections.abc import Sequence
from types import MappingProxyType

from halfsplit.circuit.model import Model
from halfsplit.notation import syntax as s
from halfsplit.notation.chains import (
    gauges_of,
    reaches_of,
    stages_of,
    states_of,
    suspicions_of,
    terminators_of,
)
from halfsplit.notation.mistakes import Collector
from halfsplit.notation.modules import behaviour_of, behaviour_pins, note_buses
from halfsplit.notation.parts import build_part, check_rating, pins_of
from halfsplit.notation.paths import note_pins, paths_of, wires_of
from halfsplit.notation.scope import Scope
from halfsplit.notation.syntax import only


def lower(tree: s.Tree, collector: Collector) -> Model:
    """The model of a circuit. It is sound only if no error was added to ``collector``."""
    scope = Scope(collector, tree.unread)
    statements = tree.statements
    _learn_names(scope, statements)
    paths = list(paths_of(scope, statements))
    for path in paths:
        note_pins(scope, path)
    for name in scope.kinds:
        scope.pins[name] = pins_of(scope, name, behaviour_pins(scope.declared.get(name)))
        check_rating(scope, name)
    # Declared parts in the order of the file, then the others in the order of the paths.
    parts = {name: build_part(scope, name, behaviour_of(scope, name)) for name in scope.kinds}
    lines = only(statements, s.TitleLine)
    for line in lines[1:]:
        scope.collector.add("second-title", line.at, line=lines[0].at.line)
    names = [line.name for line in only(statements, s.VariantLine) if scope.good_name(line.name)]
    return Model(
        title=lines[0].words.text if lines else "",
        parts=MappingProxyType(parts),
        wires=wires_of(scope, paths),
        states=MappingProxyType(states_of(scope, parts)),
        stages=MappingProxyType(stages_of(scope, parts)),
        reaches=MappingProxyType(reaches_of(scope, only(statements, s.ReachLine), parts)),
        suspicions=suspicions_of(scope, only(statements, s.SuspectLine), parts),
        terminators=terminators_of(scope, only(statements, s.TerminatorLine)),
        variants=tuple(dict.fromkeys(name.text for name in names)),
        gauges=MappingProxyType(gauges_of(scope, parts)),
    )


def _learn_names(scope: Scope, statements: Sequence[s.Statement]) -> None:
    for part in only(statements, s.PartLine):
        if scope.declare(part):
            scope.declared[part.name.text] = part
            scope.kinds[part.name.text] = part.kind.text
            note_buses(scope, part)
    for stage in only(statements, s.StageLine):
        if scope.declare(stage):
            scope.stages[stage.name.text] = stage
    for gauge in only(statements, s.GaugeLine):
        if scope.declare(gauge):
            scope.gauges[gauge.name.text] = gauge
    for state in only(statements, s.StateLine):
        before = scope.states.setdefault(state.name.text, state)
        if before is not state:
            scope.collector.add("state-twice", state.name.at, name=state.name.text, line=before.at.line)
