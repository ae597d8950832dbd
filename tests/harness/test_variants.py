# ruff: noqa: E501 - XML, a line for each element
"""The same standards as other tools write them: other roles, units, housings and clamps. All harnesses are invented.

Outside source: the published model of VEC (VDA 4968, prostep ivip), whose names the samples use.
"""

import pytest

from halfsplit.harness.build import build
from halfsplit.harness.data import End
from halfsplit.harness.read import read
from halfsplit.notation.circuit import Circuit

HEAD = """<?xml version="1.0"?><VecContent xmlns="urn:tool" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" id="r">
<Unit xsi:type="SIUnit" id="m"><SiUnitName>Metre</SiUnitName></Unit>
<Unit xsi:type="USUnit" id="ft"><UsUnitName>Foot</UsUnitName></Unit>
<Unit xsi:type="SIUnit" id="mm2"><Exponent>2</Exponent><SiPrefix>Milli</SiPrefix><SiUnitName>Metre</SiUnitName></Unit>
<DocumentVersion id="d"><Signal id="s30"><Identification>S-1</Identification><SignalName>horn feed</SignalName><ClampName>KL30</ClampName></Signal>
<Signal id="s31"><Identification>S-2</Identification><ClampName>KL31</ClampName></Signal>
<Specification xsi:type="RingTerminalSpecification" id="ringspec"><Identification>eye</Identification></Specification>
<Specification xsi:type="SpliceTerminalSpecification" id="splicespec"><Identification>crimp</Identification></Specification>
<Specification xsi:type="FuseSpecification" id="fusespec"><IMax id="im"><ValueComponent>15</ValueComponent></IMax></Specification>
<Specification xsi:type="CoreSpecification" id="core"><CrossSectionArea id="ca"><UnitComponent>mm2</UnitComponent><ValueComponent>1,5</ValueComponent></CrossSectionArea></Specification>
<Specification xsi:type="WireElementSpecification" id="es"><ConductorSpecification>core</ConductorSpecification></Specification>
<Specification xsi:type="WireSpecification" id="ws"><WireElement id="el"><Identification>1</Identification><WireElementSpecification>es</WireElementSpecification></WireElement></Specification>
"""


def wire(name: str, signal: str, unit: str = "m", value: str = "2") -> str:
    return f"""<Component id="c{name}"><Identification>{name}</Identification><Role xsi:type="WireRole" id="r{name}">
<WireElementReference id="w{name}"><Identification>{name}</Identification><Signal>{signal}</Signal><ReferencedWireElement>el</ReferencedWireElement>
<WireEnd id="{name}a"><PositionOnWire>0</PositionOnWire></WireEnd><WireEnd id="{name}b"><PositionOnWire>1.0</PositionOnWire></WireEnd>
<WireLength id="l{name}"><LengthType>DMU</LengthType><LengthValue id="v{name}"><UnitComponent>{unit}</UnitComponent><ValueComponent>{value}</ValueComponent></LengthValue></WireLength>
</WireElementReference><WireElementReference id="x{name}"><Unconnected>true</Unconnected><WireEnd id="{name}c"><PositionOnWire>0</PositionOnWire></WireEnd></WireElementReference>
</Role></Component>"""


def contact(name: str, ends: str, cavities: str = "", terminal: str = "") -> str:
    mounting = (
        f"<CavityMounting id='m{name}'><EquippedCavityRef>{cavities}</EquippedCavityRef></CavityMounting>"
        if cavities
        else ""
    )
    mounted = f"<MountedTerminal>{terminal}</MountedTerminal>" if terminal else ""
    return f"<ContactPoint id='{name}'>{mounting}<WireMounting id='n{name}'><ReferencedWireEnd>{ends}</ReferencedWireEnd></WireMounting>{mounted}</ContactPoint>"


def terminal(name: str, specification: str) -> str:
    """A terminal whose role says no kind: its specification does."""
    return f"""<Component id="c{name}"><Identification>{name}</Identification><Role xsi:type="TerminalRole" id="t{name}">
<TerminalSpecification>{specification}</TerminalSpecification></Role></Component>"""


def housing(name: str, *cavities: str) -> str:
    inside = "".join(
        f"<CavityReference id='{name}{n}'><Identification>{n}</Identification></CavityReference>"
        for n in cavities
    )
    return f"<ConnectorHousingRole id='h{name}'><SlotReference id='s{name}'>{inside}</SlotReference></ConnectorHousingRole>"


def unit() -> str:
    """A component with two housings, each with a cavity 1."""
    inside = "".join(
        f"<HousingComponentRef id='r{name}'><Identification>{name}</Identification>{housing(name, '1', '2')}</HousingComponentRef>"
        for name in ("A", "B")
    )
    return f"<Component id='u'><Identification>U1</Identification><Role xsi:type='EEComponentRole' id='ur'>{inside}</Role></Component>"


FUSE = (
    "<Component id='f'><Identification>F1</Identification><Role xsi:type='FuseRole' id='fr'><EEComponentSpecification>fusespec</EEComponentSpecification>"
    f"<HousingComponentRef id='fh'>{housing('F', '1', '2')}</HousingComponentRef></Role></Component>"
)


def harness(parts: str, contacts: str, more: str = "") -> bytes:
    return f"""{HEAD}<Specification xsi:type="CompositionSpecification" id="cs"><Identification>horn</Identification>{parts}</Specification>
<Specification xsi:type="ContactingSpecification" id="cn">{contacts}</Specification>{more}</DocumentVersion></VecContent>""".encode()


@pytest.fixture(scope="module")
def horn():
    parts = (
        wire("w1", "s30")
        + wire("w2", "s30", "ft", "10")
        + wire("w3", "s30")
        + wire("w4", "s31")
        + unit()
        + FUSE
    )
    parts += terminal("R31", "ringspec") + terminal("SP", "splicespec") + terminal("R30", "ringspec")
    contacts = (
        contact("n1", "w1a", terminal="tR30")
        + contact("n2", "w1b", "F1")
        + contact("n3", "w2a", "F2")
        + contact("n4", "w2b w3a", terminal="tSP")
        + contact("n5", "w3b", "A1")
        + contact("n6", "w4a", "B1 B2")
        + contact("n7", "w4b", terminal="tR31")
    )
    return read(harness(parts, contacts))


def test_kinds_of_terminals_come_from_their_specification_too(horn):
    kinds = {place.name: place.kind for place in horn.places.values()}
    assert kinds == {"R30": "ring", "R31": "ring", "SP": "splice", "U1": "plug", "F1": "box"}


def test_cavities_of_several_housings_are_told_apart_and_a_contact_in_two_joins_them(horn):
    ends = {end.cavity for core in horn.cores for end in (core.a, core.b) if end.place == "u"}
    assert ends == {"A_1", "B_1", "B_2"}
    assert any({core.a, core.b} == {End("u", "B_1"), End("u", "B_2")} for core in horn.cores)


def test_clamps_units_and_fuses(horn):
    first = horn.cores[:4]
    assert [core.signal for core in first] == ["KL30 horn feed"] * 3 + ["KL31 S-2"]
    assert [core.metres for core in first] == [2.0, 3.048, 2.0, 2.0]
    assert {core.mm2 for core in first} == {1.5}
    assert [(seat.name, seat.amps) for seat in horn.seats] == [("F1", 15.0)]
    assert not horn.notes
    circuit = Circuit.parse(build(horn).text)
    assert next(part for part in circuit.parts.values() if part.kind == "fuse").values == {"A": 15.0}
    assert next(part for part in circuit.parts.values() if part.kind == "ground")


def test_terminals_that_are_mated_are_one_connector():
    parts = wire("w1", "s30") + wire("w2", "s30")
    parts += "".join(
        f"<Component id='c{name}'><Identification>{name}</Identification><Role xsi:type='ConnectorHousingRole' id='hr{name}'><SlotReference id='s{name}'>"
        f"<CavityReference id='k{name}'><Identification>1</Identification></CavityReference></SlotReference></Role></Component>"
        f"<Component id='d{name}'><Identification>T{name}</Identification><Role xsi:type='PluggableTerminalRole' id='t{name}'/></Component>"
        for name in ("XA", "XB")
    )
    contacts = (
        contact("n1", "w1a")
        + contact("n2", "w1b", "kXA", "tXA")
        + contact("n3", "w2a", "kXB", "tXB")
        + contact("n4", "w2b")
    )
    more = """<Specification xsi:type="CouplingSpecification" id="cp"><CouplingPoint id="p"><MatingPoint id="mp">
<FirstTerminalRole>tXA</FirstTerminalRole><SecondTerminalRole>tXB</SecondTerminalRole></MatingPoint></CouplingPoint></Specification>"""
    found = read(harness(parts, contacts, more))
    mates = {place.name: dict(place.mates) for place in found.places.values() if place.mates}
    assert mates == {"XA": {"1": End("cXB", "1")}}
