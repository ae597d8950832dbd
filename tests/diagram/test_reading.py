"""The reader of vector pages, against drawings that schemdraw (a library for any circuit, MIT) made of known ones."""

import pytest

from bench.diagram import read, score
from bench.diagram_cases import SEEN, schemdraw_cases
from halfsplit.diagram.files import open_file, sheet_of
from halfsplit.diagram.marks import Page, confirmed, from_json, to_json
from halfsplit.diagram.read import proposal
from halfsplit.diagram.terms import colour_of, wire_text
from halfsplit.diagram.write import written
from halfsplit.errors import InputError
from halfsplit.notation.circuit import Circuit

PAGE = """<svg xmlns="http://www.w3.org/2000/svg" width="400" height="420" font-size="12">
<style>.w {{ stroke: #000; fill: none }} .s {{ stroke: #000; fill: none }}</style>
<path class="w" d="M40 30H300M40 30V100M150 30V60M300 30V100"/>
<path class="s" d="M25 100H55M32 106H48"/><path class="w" d="M40 106V360"/>
<rect class="s" x="142" y="60" width="16" height="40"/><path class="w" d="M150 60V200"/>
<circle class="s" cx="150" cy="220" r="20"/><path class="s" d="M136 206L164 234M164 206L136 234"/>
<path class="w" d="M150 240V360"/>
<rect class="s" x="260" y="100" width="80" height="60"/>
<path class="w" d="M300 160V360"/>
<path class="s" d="M25 360H55M135 360H165M285 360H315"/>
<circle cx="150" cy="30" r="3"/>
{more}
<text x="62" y="107">G1</text><text x="24" y="94">+</text><text x="164" y="84">F1</text>
<text x="180" y="224">H1</text>
<text x="290" y="134">A1</text><text x="304" y="96">15</text>
<text x="304" y="174">31</text>
<text x="62" y="364">E1</text><text x="172" y="364">E2</text><text x="322" y="364">E3</text>
<text x="154" y="160">0.75 ro/ws</text>
</svg>"""


def marks_of(more=""):
    sheet = sheet_of(open_file(PAGE.format(more=more).encode()), 1)
    return proposal(sheet, Page("g1", "", 1, sheet.width, sheet.height))


@pytest.mark.parametrize("style", SEEN[:2], ids=lambda style: style.name)
def test_a_drawing_of_schemdraw_is_read_without_a_wrong_joint(style):
    case = next(schemdraw_cases([style], [4]))
    got = score(case, *read(case))
    assert (got.missed, got.wrong) == (0, 0)
    assert got.named >= 0.8 * got.wires


def test_a_page_becomes_a_circuit_once_it_is_confirmed():
    marks = marks_of()
    assert written(marks).text.strip() == ""
    model = Circuit.parse(written(confirmed(marks), "Page").text).model
    wires = {frozenset((wire.a, wire.b)): (wire.colour, wire.mm2) for wire in model.wires}
    assert wires[frozenset(("F1.2", "H1.1"))] == ("RD/WH", 0.75)
    assert frozenset(("A1.31", "E3")) in wires
    assert frozenset(("G1.-", "E1")) in wires
    assert {part.name: part.kind for part in model.parts.values()}["H1"] == "lamp"


def test_every_name_of_the_circuit_leads_to_its_marks():
    marks = confirmed(marks_of())
    told = written(marks)
    assert {"G1.+", "A1.15", "wire F1.2 H1.1", "E2"} <= told.marks_of.keys()
    assert from_json(to_json(marks)).traces.keys() == marks.traces.keys()


def joined(marks, a, b):
    """Whether the ends of two pins are one net."""
    names = {key: f"{marks.parts[pin.part].name}.{pin.name}" for key, pin in marks.pins.items()}
    reach = {key for key, name in names.items() if name == a}
    for _ in marks.traces:
        reach |= {end for t in marks.traces.values() if {t.a, t.b} & reach for end in (t.a, t.b)}
    return b in {names.get(key) for key in reach}


def test_a_crossing_without_a_dot_is_no_joint_and_a_line_that_ends_there_is_doubtful():
    crossing = marks_of('<path class="w" d="M100 300H220"/>')
    assert not joined(crossing, "H1.2", "A1.31")
    ending = marks_of('<path class="w" d="M150 300H300"/>')
    doubtful = [trace for trace in ending.traces.values() if trace.doubts]
    assert joined(ending, "H1.2", "A1.31")
    assert doubtful
    dots = '<circle cx="150" cy="300" r="3"/><circle cx="300" cy="300" r="3"/>'
    dotted = marks_of('<path class="w" d="M150 300H300"/>' + dots)
    assert joined(dotted, "H1.2", "A1.31")
    assert not [trace for trace in dotted.traces.values() if trace.doubts]


def test_a_hop_is_no_joint():
    dots = '<circle cx="40" cy="300" r="3"/><circle cx="300" cy="300" r="3"/>'
    hop = '<path class="w" d="M40 300H140A10 10 0 0 1 160 300H300"/>' + dots
    marks = marks_of(hop)
    assert joined(marks, "G1.-", "A1.31")
    assert not joined(marks, "H1.2", "A1.31")


def test_the_letters_of_colours_by_iec_60757_and_others():
    assert [colour_of(word) for word in ("GNYE", "sw/ge", "BRN/WHT", "VIOLET")] == [
        "GNYE",
        "BK/YE",
        "BN/WH",
        "VT",
    ]
    assert wire_text(["15", "A"]) is None


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "the file is empty"),
        (b"%PDF-1.7 broken", "not a PDF"),
        (b"<html></html>", "not an SVG"),
        (b"<svg", "cannot be read"),
        (b"MZ\x90", "neither a PDF"),
        (b'<!DOCTYPE s [<!ENTITY a "b">]><svg>&a;</svg>', "cannot be read"),
    ],
)
def test_files_that_are_no_diagram_are_told(data, told):
    with pytest.raises(InputError, match=told):
        sheet_of(open_file(data), 1)
