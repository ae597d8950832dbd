"""MISTAKES: every class of problem that reading a circuit file can find, and the collector that fills them in.

The mistakes of a whole model, whoever made it, are in ``halfsplit.circuit.checks``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from halfsplit.circuit.model import NOWHERE, Position
from halfsplit.circuit.problems import Finding, Mistake, Problem, did_you_mean, printable

MOST = 100
"""So many errors of one circuit are told; more would help nobody."""


def _table(text: str) -> Mapping[str, Mistake]:
    """Rows of ``id | message | remedy``."""
    rows = [[cell.strip() for cell in row.split(" | ")] for row in text.strip().splitlines()]
    return MappingProxyType({id_: Mistake(id_, "error", message, remedy) for id_, message, remedy in rows})


MISTAKES: Mapping[str, Mistake] = _table("""
not-utf8 | the file is not UTF-8 text: byte {byte} does not belong there | save it as UTF-8 in the editor
unreadable | {file} cannot be read: {reason} | check the name and the folder
too-large | the text has {size} characters, {limit} are allowed | split it into files and include them
too-many-lines | the text has {size} lines, {limit} are allowed | leave out what does not matter for the fault
long-line | the line has {size} characters, {limit} are allowed | let a path go on in an indented line: -- X31.4
control-character | the character {code} cannot stand in a circuit | delete it
lookalike | "{found}" only looks like what the notation uses | write {meant}
unclosed-quote | a quotation mark is not closed | write " at both ends of the text; the text itself cannot hold one
decimal-comma | "{found}" has a decimal comma | write {meant}
link-spaces | the link "{found}" touches what stands beside it | write it with a space on both sides
unknown-statement | "{word}" begins no statement | {near}write a path (F21.2 -- K7.30), or begin with one of {words}
no-parent | an indented line belongs to the statement above it, and there is none | begin it in the first column
wrong-line | "{word}" cannot stand under {above} | {allowed}
syntax | "{found}" was not expected here | write it like: {usage}
incomplete | the line ends too early | write it like: {usage}
unknown-unit | "{unit}" is not a unit | {near}write one of {units}
deep | the condition is nested too deeply | use fewer parentheses and "not"
too-many-errors | {size} errors: the others are not shown | mend these first
second-title | the circuit has a second title, the first is in line {line} | delete one of them
keyword-name | "{name}" is a word of the notation and cannot name a part | write another name, such as {meant}
duplicate-name | {name} is declared twice, first in line {line} | give one of them another name, or delete it
heater-or-ground | {name} may be a heater or a ground | declare it: "heater {name} 120 W" or "ground {name}"
unknown-kind | {name} is not declared, and its letters tell no kind | {near}declare it with its kind: relay {name}
no-rating | {name} has no rating | write: {kind} {name} 15 A
wrong-unit | a {kind} takes no value like {value} | {takes}
no-unit | "{value}" has no unit | {takes}
expected-unit | {value} does not tell {what} | write it {unit}
value-twice | {what} is given twice | delete one of them
one-value | {name} has values in {units} | one of them tells the load: delete the others
range | {value} makes no sense as {what} | write a value {limits}
few-positions | {name} has {count} | name at least two positions, such as: switch {name} open closed
position-twice | {name} has the position {position} twice | give each position a name of its own
unknown-position | {name} has the positions {positions}: "{position}" is none of them | {near}write one of them
joined-to-itself | pin {pin} is joined to itself | name two pins
park-pins | a park switch has three pins, and "{pin}" is named twice | write: parks COMMON PARKED RUNNING
unknown-tag | "{tag}" is no kind of caution | write pyro (airbags, belt tensioners) or orange (high voltage)
unknown-mass | the mass "{mass}" is not declared | {near}declare it: mass {mass}
not-for-kind | "{word}" does not belong to a {kind} | {takes}
drops-over-pulls | {name} would drop out at {drops} and pull in at {pulls} | write a drop-out voltage below the other
bare-end | {name} stands bare at the end of a path: it has pins {pins} | write {first} or {second}
bare-part | {name} has pins {pins} and cannot stand bare in a path | write its pin, such as {first}
bare-connector | {name} stands without a cavity | write it with a cavity, such as {name}.1
no-pin | {name} has pins {pins}: "{name}.{pin}" is none of them | {near}write one of them
no-pins | {name} is a {kind}, one point without pins: "{name}.{pin}" is none | write {name}
no-side | "{point}" names a side, and only the cavity of a connector has sides | write {pin}
unknown-side | "{side}" is no side of a cavity | write {pin}:in or {pin}:out
own-wire | {point} is joined to itself | write two different points
stretch-end | "?" stands at the end of a path or beside another | write points on both sides: F21.2 -- ? -- K7.30
stretch-details | the unknown stretch is described on both sides | describe it on one of them
bad-colour | "{colour}" is no colour | {near}write base or base/stripe with letters of IEC 60757: {colours}
detail-unit | {value} does not describe a wire | write its cross-section in mm2 or AWG, its length in m
bad-gauge | {value} is no AWG size | write a whole number from 0 to 40, or mm2
empty-variant | the variant {name} has no paths | write its paths below it, indented
state-twice | the state "{name}" is there twice, first in line {line} | give one of them another name
set-twice | {name} is set twice in one state | delete one of them
not-settable | a {kind} has no positions: {name} cannot be set in a state | name a switch, a generator or a sensor
not-running | a generator can only be "running": {name} {found} is nothing | write: {name} running
sensor-value | {name} {found} is no value of this sensor | write {meant}
unknown-name | there is no {what} "{name}" | {near}{hint}
unknown-state | there is no state "{name}" | {near}{hint}
reach-twice | {name} has its minutes twice, first in line {line} | delete one of them
pin-twice | pin {pin} is there twice in "{line}" lines of {name} | put all of it on one line
level-order | {name}: pin {pin} is low under {low} and high over {high} | write a lower threshold below the upper one
no-when | the driver at pin {pin} has no condition | write "when" and a condition, or "when always"
no-input | {name} reads no pin "{pin}" | {near}{hint}
not-on-bus | {listener} and {speaker} talk on no common bus | write "talks on" lines for both
not-talking | {name} does not talk {bus}, so that it cannot end it | write a "talks on" line with two pins under {name}
which-bus | {name} talks on {buses}: which one is ended is not said | write: terminator 120 ohm at {name} on {first}
wakes-only | {name} wakes but never sleeps | write: sleeps 5 mA after 10 min
same-numbers | the stage {name} reads {value} whether it holds or not | write two different numbers
unit-differs | the stage {name} has its numbers in {good} and {bad} | write both in one unit
failure-twice | the stage {name} fails "{words}" twice | give each failure words of its own
stage-loop | stages need each other in a loop: {loop} | take out one of these needs
include-loop | files include each other in a loop: {loop} | take out one of these includes
include-missing | the file "{name}" cannot be read: {reason} | check its name, relative to this file
include-outside | the file "{name}" lies outside the folder of the circuit | put it into the folder
include-no-loader | "{name}" cannot be included: this text has no folder | paste its text here, or save both as files
include-many | more than {limit} files are included | put them together
""")


@dataclass(slots=True)
class Collector:
    """Problems as they are found, each with the text of its line. ``lines`` holds the lines of every file read."""

    lines: dict[str, list[str]] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    errors: int = 0

    @property
    def full(self) -> bool:
        return self.errors > MOST

    def add(self, mistake: str, at: Position, **values: str | int) -> None:
        """Note one occurrence; after `MOST` errors only that there are more."""
        if self.full:
            return
        if self.errors == MOST:
            mistake, at, values = "too-many-errors", NOWHERE, {"size": MOST}
        self.take([Finding(MISTAKES[mistake], at, {name: str(value) for name, value in values.items()})])

    def take(self, findings: Iterable[Finding]) -> None:
        """Note what a check found."""
        for finding in findings:
            self.errors += finding.mistake.severity == "error"
            self.problems.append(self._problem(finding))

    def near(self, word: str, names: Iterable[str]) -> str:
        """The opening of a remedy, where a known name is like ``word``. Nothing once enough errors are noted."""
        return "" if self.full else did_you_mean(word, names)

    def sorted(self) -> tuple[Problem, ...]:
        """By file and line, in the order in which the files were read."""
        order = {file: index for index, file in enumerate(self.lines)}
        return tuple(
            sorted(self.problems, key=lambda p: (not p.line, order.get(p.file, -1), p.line, p.column))
        )

    def _problem(self, finding: Finding) -> Problem:
        at, mistake = finding.at, finding.mistake
        lines = self.lines.get(at.file, [])
        text = lines[at.line - 1] if 0 < at.line <= len(lines) else ""
        return Problem(
            mistake.severity,
            at.file,
            at.line,
            at.column,
            printable(text),
            finding.message,
            finding.remedy,
            mistake.id,
        )
