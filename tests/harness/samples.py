# ruff: noqa: E501 - XML, a line for each element
"""Small harnesses of our own, invented: a horn with its fuse and switch, as KBL and as VEC."""

KBL = """<?xml version="1.0" encoding="{encoding}"?>
<k:KBL_container xmlns:k="{namespace}" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" id="c" version_id="2.5">
 <Unit id="mm"><Unit_name>mm</Unit_name></Unit>
 <Unit id="cm"><Si_unit_name>metre</Si_unit_name><Si_prefix>centi</Si_prefix></Unit>
 <Unit id="mm2"><Si_unit_name>metre</Si_unit_name><Si_prefix>milli</Si_prefix><Si_dimension>square</Si_dimension></Unit>
 <Connector_housing id="h2"><Part_number>2</Part_number><Slots id="h2s"><Number_of_cavities>2</Number_of_cavities>
  <Cavities id="h2a"><Cavity_number>1</Cavity_number></Cavities><Cavities id="h2b"><Cavity_number>2</Cavity_number></Cavities>
 </Slots></Connector_housing>
 <Component id="fuse"><Part_number>F</Part_number><Description>Fuse 15A</Description></Component>
 <Component_box id="box"><Part_number>B</Part_number>
  <Component_box_connectors id="bc"><Id>A</Id><Integrated_slots id="bs" xsi:type="k:Slot"><Number_of_cavities>2</Number_of_cavities>
   <Cavities id="b1"><Cavity_number>7A</Cavity_number></Cavities><Cavities id="b2"><Cavity_number>7B</Cavity_number></Cavities>
  </Integrated_slots></Component_box_connectors>
  <Component_slots id="sl"><Id>F7</Id><Component_cavities id="s1"><Cavity_number>1</Cavity_number></Component_cavities>
   <Component_cavities id="s2"><Cavity_number>2</Cavity_number></Component_cavities></Component_slots>
  <Connections id="j1"><Id>1</Id><Cavities>b1</Cavities><Component_cavities>s1</Component_cavities></Connections>
  <Connections id="j2"><Id>2</Id><Cavities>b2</Cavities><Component_cavities>s2</Component_cavities></Connections>
 </Component_box>
 <General_wire id="red"><Part_number>r</Part_number>
  <Cross_section_area id="ra"><Unit_component>mm2</Unit_component><Value_component>1.5</Value_component></Cross_section_area>
  <Cover_colour id="rc"><Colour_type>base</Colour_type><Colour_value>rt/ws</Colour_value></Cover_colour></General_wire>
 <General_wire id="cable"><Part_number>t</Part_number><Wire_type>twist</Wire_type>
  <Core id="k1"><Id>1</Id><Cross_section_area id="ka"><Unit_component>mm2</Unit_component><Value_component>0.75</Value_component>
   </Cross_section_area><Core_colour id="kc"><Colour_type>base</Colour_type><Colour_value>BN</Colour_value></Core_colour></Core>
  <Cover_colour id="cc"><Colour_type>cover</Colour_type><Colour_value>BK</Colour_value></Cover_colour></General_wire>
 <Harness id="h"><Part_number>H</Part_number><Description>Horn, invented</Description>
  <Component_box_occurrence id="ob"><Id>X.FB</Id><Description>fuse box</Description><Part>box</Part>
   <Component_box_connectors id="obc"><Part>bc</Part><Slots id="obs" xsi:type="k:Slot_occurrence"><Part>bs</Part>
    <Cavities id="ob1"><Part>b1</Part></Cavities><Cavities id="ob2"><Part>b2</Part></Cavities></Slots></Component_box_connectors>
   <Component_slots id="osl"><Part>sl</Part><Component_cavities id="os1"><Part>s1</Part></Component_cavities></Component_slots>
   <Contact_points id="p1"><Id>p1</Id><Contacted_cavity>ob1</Contacted_cavity></Contact_points>
   <Contact_points id="p2"><Id>p2</Id><Contacted_cavity>ob2</Contacted_cavity></Contact_points>
  </Component_box_occurrence>
  <Component_occurrence id="of"><Id>F7</Id><Mounting>ob osl os1</Mounting><Part>fuse</Part></Component_occurrence>
  <Connector_occurrence id="x1"><Id>X.H1</Id><Description>horn</Description><Part>h2</Part>
   <Contact_points id="p3"><Id>p3</Id><Contacted_cavity>x1a</Contacted_cavity></Contact_points>
   <Contact_points id="p4"><Id>p4</Id><Contacted_cavity>x1b</Contacted_cavity></Contact_points>
   <Slots id="x1s" xsi:type="k:Slot_occurrence"><Part>h2s</Part><Cavities id="x1a"><Part>h2a</Part></Cavities>
    <Cavities id="x1b"><Part>h2b</Part></Cavities></Slots></Connector_occurrence>
  <Connector_occurrence id="x2"><Id>X.S4</Id><Description>Hupenschalter</Description><Part>h2</Part>
   <Contact_points id="p5"><Id>p5</Id><Contacted_cavity>x2a</Contacted_cavity></Contact_points>
   <Contact_points id="p6"><Id>p6</Id><Contacted_cavity>x2b</Contacted_cavity></Contact_points>
   <Slots id="x2s" xsi:type="k:Slot_occurrence"><Part>h2s</Part><Cavities id="x2a"><Part>h2a</Part></Cavities>
    <Cavities id="x2b"><Part>h2b</Part></Cavities></Slots></Connector_occurrence>
  <Connector_occurrence id="r1"><Id>31.2</Id><Usage>ring terminal</Usage><Part>h2</Part>
   <Contact_points id="p7"><Id>p7</Id><Contacted_cavity>r1a</Contacted_cavity></Contact_points>
   <Slots id="r1s"><Part>h2s</Part><Cavities id="r1a"><Part>h2a</Part></Cavities></Slots></Connector_occurrence>
  <Connector_occurrence id="q1"><Id>12</Id><Usage>splice</Usage><Part>h2</Part>
   <Contact_points id="p8"><Id>p8</Id><Contacted_cavity>q1a</Contacted_cavity></Contact_points>
   <Slots id="q1s"><Part>h2s</Part><Cavities id="q1a"><Part>h2a</Part></Cavities></Slots></Connector_occurrence>
  <General_wire_occurrence id="w1" xsi:type="k:Wire_occurrence"><Part>red</Part><Length_information id="l1">
   <Length_type>DMU</Length_type><Length_value id="v1"><Unit_component>mm</Unit_component><Value_component>900</Value_component>
   </Length_value></Length_information><Length_information id="l2"><Length_type>Production</Length_type><Length_value id="v2">
   <Unit_component>cm</Unit_component><Value_component>95</Value_component></Length_value></Length_information>
   <Wire_number>1</Wire_number></General_wire_occurrence>
  <General_wire_occurrence id="w2" xsi:type="k:Special_wire_occurrence"><Part>cable</Part><Special_wire_id>S1</Special_wire_id>
   <Core_occurrence id="c1"><Wire_number>2.1</Wire_number><Part>k1</Part></Core_occurrence></General_wire_occurrence>
  <General_wire_occurrence id="w3" xsi:type="k:Wire_occurrence"><Part>red</Part><Wire_number>3</Wire_number></General_wire_occurrence>
  {connections}
  <Harness_configuration id="hc"><Part_number>small</Part_number><Modules>m1</Modules></Harness_configuration>
  <Module id="m1"><Module_configuration id="mc"><Logistic_control_information>A</Logistic_control_information>
   <Controlled_components>w1 w3</Controlled_components></Module_configuration></Module>
 </Harness>
</k:KBL_container>
"""

CONNECTIONS = (
    ("K30.F7", "w3", "p8", "p1"),
    ("K15a_horn", "w1", "p2", "p3"),
    ("31b", "c1", "p4", "p5"),
    ("KL31", "w3", "p6", "p7"),
)
NAMESPACES = (
    "http://www.prostep.org/Car_electric_container/KBL2.3/KBLSchema",
    "http://www.prostep.org/Car_electric_container/KBL2.5/KBLSchema",
    "urn:any-tool",
)


def kbl(
    connections: tuple[tuple[str, str, str, str], ...] = CONNECTIONS,
    *,
    namespace: str = NAMESPACES[0],
    encoding: str = "UTF-8",
) -> bytes:
    """The horn's harness as a file."""
    text = "".join(
        f"<Connection id='n{number}'><Signal_name>{signal}</Signal_name><Wire>{wire}</Wire>"
        f"<Extremities id='e{number}b'><Position_on_wire>1</Position_on_wire><Contact_point>{b}</Contact_point></Extremities>"
        f"<Extremities id='e{number}a'><Position_on_wire>0</Position_on_wire><Contact_point>{a}</Contact_point></Extremities>"
        "</Connection>"
        for number, (signal, wire, a, b) in enumerate(connections)
    )
    return KBL.format(namespace=namespace, encoding=encoding, connections=text).encode(encoding)


def _contact(name: str, cavity: str, *ends: str, terminal: str = "") -> str:
    mounted = f"<MountedTerminal>{terminal}</MountedTerminal>" if terminal else ""
    mounting = (
        f"<CavityMounting id='m{name}'><EquippedCavityRef>{cavity}</EquippedCavityRef></CavityMounting>"
        if cavity
        else ""
    )
    return (
        f"<ContactPoint id='{name}'><Identification>{name}</Identification>{mounted}{mounting}"
        f"<WireMounting id='w{name}'><ReferencedWireEnd>{' '.join(ends)}</ReferencedWireEnd></WireMounting></ContactPoint>"
    )


def _wire(number: int, signal: str) -> str:
    return (
        f"<Component id='wc{number}'><Identification>W{number}</Identification><Role xsi:type='v:WireRole' id='wr{number}'>"
        f"<WireElementReference id='we{number}'><Identification>{number}</Identification><Signal>sig{signal}</Signal>"
        "<ReferencedWireElement>el</ReferencedWireElement>"
        f"<WireEnd id='a{number}'><PositionOnWire>0</PositionOnWire></WireEnd>"
        f"<WireEnd id='b{number}'><PositionOnWire>1</PositionOnWire></WireEnd>"
        f"<WireLength id='wl{number}'><LengthType>Production</LengthType><LengthValue id='lv{number}'>"
        "<UnitComponent>inch</UnitComponent><ValueComponent>100</ValueComponent></LengthValue></WireLength>"
        "</WireElementReference></Role></Component>"
    )


def vec(version: str = "2.1.0") -> bytes:
    """A lamp on terminal 58 with a splice and a ring terminal."""
    signals = "".join(f"<Signal id='sig{n}'><SignalName>{n}</SignalName></Signal>" for n in ("58", "31"))
    return f"""<?xml version="1.0"?>
<v:VecContent xmlns:v="http://www.prostep.org/ecad-if/2011/vec" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" id="r">
<VecVersion>{version}</VecVersion><Unit xsi:type="v:ImperialUnit" id="inch"><ImperialUnitName>Inch</ImperialUnitName></Unit>
<Unit xsi:type="v:SIUnit" id="mm2"><Exponent>2</Exponent><SiUnitName>Metre</SiUnitName><SiPrefix>Milli</SiPrefix></Unit>
<DocumentVersion id="d">{signals}
<Specification xsi:type="v:CoreSpecification" id="core"><CrossSectionArea id="ca"><UnitComponent>mm2</UnitComponent>
 <ValueComponent>0.5</ValueComponent></CrossSectionArea></Specification>
<Specification xsi:type="v:InsulationSpecification" id="ins"><BaseColor id="c1"><Key>grau</Key><ReferenceSystem>own</ReferenceSystem>
 </BaseColor><BaseColor id="c2"><Key>GY</Key><ReferenceSystem>IEC 60757</ReferenceSystem></BaseColor></Specification>
<Specification xsi:type="v:WireElementSpecification" id="es"><ConductorSpecification>core</ConductorSpecification>
 <InsulationSpecification>ins</InsulationSpecification></Specification>
<Specification xsi:type="v:WireSpecification" id="ws"><WireElement id="el"><WireElementSpecification>es</WireElementSpecification>
 </WireElement></Specification>
<Specification xsi:type="v:CompositionSpecification" id="cs"><Identification>Tail lamp, invented</Identification>
<Component id="lamp"><Identification>X7</Identification><Description id="de"><Value>tail lamp</Value></Description>
 <Role xsi:type="v:ConnectorHousingRole" id="hr"><SlotReference id="sr"><CavityReference id="k1"><Identification>1</Identification>
 </CavityReference><CavityReference id="k2"><Identification>2</Identification></CavityReference></SlotReference></Role></Component>
<Component id="ring"><Identification>R1</Identification><Role xsi:type="v:RingTerminalRole" id="rr"/></Component>
<Component id="spl"><Identification>5</Identification><Role xsi:type="v:SpliceTerminalRole" id="sp"/></Component>
{_wire(1, "58")}{_wire(2, "58")}{_wire(3, "31")}</Specification>
<Specification xsi:type="v:ContactingSpecification" id="cn">
{_contact("n1", "k1", "a1")}{_contact("n2", "", "b1", "a2", terminal="sp")}{_contact("n3", "", "b2")}
{_contact("n4", "k2", "a3")}{_contact("n5", "", "b3", terminal="rr")}</Specification>
</DocumentVersion></v:VecContent>""".encode()


def vec_coupled(version: str = "2.0.2") -> bytes:
    """A lamp behind a fuse and an in-line coupling, in one of two variants."""
    signals = "".join(
        f"<Signal id='sig{n}'><SignalName>{n}</SignalName></Signal>" for n in ("30", "56", "31")
    )
    housings = "".join(
        f"<Component id='c{name}'><Identification>{name}</Identification>{part}<Role xsi:type='v:{role}' id='r{name}'>"
        f"<Identification>{name}</Identification><SlotReference id='s{name}'><Identification>A</Identification>"
        + "".join(
            f"<CavityReference id='{name}{n}'><Identification>{n}</Identification></CavityReference>"
            for n in (1, 2)
        )
        + "</SlotReference></Role></Component>"
        for name, part, role in (
            ("F7", "<Part>fusepart</Part>", "ConnectorHousingRole"),
            ("XA", "", "ConnectorHousingRole"),
            ("XB", "", "ConnectorHousingRole"),
            ("H1", "", "EEComponentRole"),
        )
    )
    rings = "".join(
        f"<Component id='{name}'><Identification>{name}</Identification>"
        f"<Role xsi:type='v:RingTerminalRole' id='r{name}'/></Component>"
        for name in ("R30", "R31")
    )
    wires = "".join(_wire(n, signal) for n, signal in ((1, "30"), (2, "56"), (3, "56"), (4, "31")))
    contacts = "".join(
        (
            _contact("n1", "", "a1", terminal="rR30"),
            _contact("n2", "F71", "b1"),
            _contact("n3", "F72", "a2"),
            _contact("n4", "XA1", "b2"),
            _contact("n5", "XB1", "a3"),
            _contact("n6", "H11", "b3"),
            _contact("n7", "H12", "a4"),
            _contact("n8", "", "b4", terminal="rR31"),
        )
    )
    return f"""<?xml version="1.0"?>
<v:VecContent xmlns:v="http://www.prostep.org/ecad-if/2011/vec" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" id="r">
<VecVersion>{version}</VecVersion><Unit xsi:type="v:ImperialUnit" id="inch"><ImperialUnitName>Inch</ImperialUnitName></Unit>
<PartVersion id="fusepart"><PartNumber>1</PartNumber></PartVersion>
<DocumentVersion id="d">{signals}
<Specification xsi:type="v:FuseSpecification" id="fs"><DescribedPart>fusepart</DescribedPart>
 <IMax id="nc"><ValueComponent>7.5</ValueComponent></IMax></Specification>
<Specification xsi:type="v:CompositionSpecification" id="cs"><Identification>Low beam, invented</Identification>
{housings}{rings}{wires}</Specification>
<Specification xsi:type="v:CouplingSpecification" id="cp"><CouplingPoint id="cpp"><CavityCoupling id="cc">
 <FirstCavity>XA1</FirstCavity><SecondCavity>XB1</SecondCavity></CavityCoupling></CouplingPoint></Specification>
<Specification xsi:type="v:PartStructureSpecification" id="ps"><Identification>without the lamp</Identification>
 <InBillOfMaterial>wc1 wc2</InBillOfMaterial></Specification>
<Specification xsi:type="v:ContactingSpecification" id="cn">{contacts}</Specification>
</DocumentVersion></v:VecContent>""".encode()
