"""Harness data: the open sample files, small harnesses of our own, and files made to do harm.

Outside sources: the sample harnesses and the schema of KBL 2.4 in the open data; the meaning of terminals by DIN 72552.
"""

import json
import pickle
import re
import xml.etree.ElementTree as ET

import pytest
from typer.testing import CliRunner

from halfsplit.cli import app
from halfsplit.errors import InputError
from halfsplit.harness.answers import COLUMNS, answer, answers, table
from halfsplit.harness.build import build, plugs
from halfsplit.harness.cut import configured, near
from halfsplit.harness.data import End
from halfsplit.harness.proposals import Plugged
from halfsplit.harness.read import read
from halfsplit.harness.terminals import terminal
from halfsplit.job.harness import view_of
from halfsplit.notation.checked import check_text
from halfsplit.notation.circuit import Circuit
from tests.harness.samples import CONNECTIONS, NAMESPACES, kbl, vec, vec_coupled


@pytest.fixture(scope="module")
def main(outside_data):
    return read((outside_data("harness") / "main.kbl").read_bytes(), "main.kbl")


@pytest.fixture(scope="module")
def whole(main):
    return Circuit.parse(build(main).text)


# the open data


def test_every_connection_of_the_sample_is_a_wire(main, outside_data):
    tree = ET.parse(outside_data("harness") / "main.kbl").getroot()
    assert len(main.cores) == len(tree.findall("Harness/Connection"))
    kinds = [place.kind for place in main.places.values()]
    usages = [one.text for one in tree.findall("Harness/Connector_occurrence/Usage")]
    assert (kinds.count("splice"), kinds.count("ring")) == (
        usages.count("splice"),
        usages.count("ring terminal"),
    )


def test_the_whole_sample_checks_without_error_and_with_few_warnings(whole, main):
    assert len(whole.warnings) <= 3
    drawn = [wire for wire in whole.model.wires if wire.mm2 is not None]
    assert len(drawn) >= len(main.cores)
    assert sum(wire.colour != "" for wire in drawn) > 0.9 * len(drawn)


def test_lamps_of_the_sample_light_and_fuses_hold(whole):
    solution = whole.solve("everything on")
    lamps = [part.name for part in whole.parts.values() if part.kind == "lamp"]
    assert sum(solution.works(name) == "yes" for name in lamps) >= 0.9 * len(lamps)
    assert not solution.blown
    assert whole.parts["F9_XA_SA_1"].values == {"A": 10.0}  # "Sicherung Type_C 10.0A" is seated in F9


def test_the_same_small_harness_in_both_standards(outside_data):
    folder = outside_data("harness")
    small = {name: read((folder / name).read_bytes(), name) for name in ("small.kbl", "small.vec")}
    for harness in small.values():
        assert len(harness.cores) == 3
        assert Circuit.parse(build(harness).text).model.of_kind("connector")
    assert sorted(core.metres for core in small["small.vec"].cores) == [0.3, 0.31, 0.32]
    assert sorted(core.mm2 for core in small["small.kbl"].cores) == [0.35, 0.5, 0.5]


def test_usages_are_those_of_the_schema(outside_data):
    from halfsplit.harness.kbl import USAGE

    schema = (outside_data("harness") / "kbl24_sr1.xsd").read_text(encoding="utf-8")
    kinds = re.search(r'simpleType name="Connector_usage".*?</xs:simpleType>', schema, re.DOTALL)
    assert set(USAGE) == set(re.findall(r'enumeration value="([^"]+)"', kinds[0]))


def test_a_part_is_cut_out_of_the_sample(main):
    part = near(main, "XA.H1.1", 2)
    circuit = Circuit.parse(build(part).text)
    assert circuit.solve("everything on").works("XA_H1_1") == "yes"
    assert circuit.solve("everything on", "F11_XA_SA_1 open").works("XA_H1_1") == "no"
    assert len(near(main, "XA.H1.1", 1).cores) == 2
    with pytest.raises(InputError, match=r"no connector 'XA\.H1\.2'.*did you mean"):
        near(main, "XA.H1.2")


# our own


@pytest.mark.parametrize("namespace", NAMESPACES)
@pytest.mark.parametrize("encoding", ["UTF-8", "UTF-16", "ISO-8859-1"])
def test_dialects_give_the_same_harness(namespace, encoding):
    assert read(kbl(namespace=namespace, encoding=encoding)) == read(kbl())


def test_a_horn_in_kbl_is_ready_to_be_diagnosed():
    harness = read(kbl())
    assert [(core.mm2, core.metres, core.colour) for core in harness.cores] == [
        (1.5, None, "RD/WH"),
        (1.5, 0.95, "RD/WH"),  # the length of production, in cm
        (0.75, None, "BN"),
        (1.5, None, "RD/WH"),
    ]
    circuit = Circuit.parse(build(harness).text)
    fuse = next(part for part in circuit.parts.values() if part.kind == "fuse")
    assert (fuse.values, fuse.place) == ({"A": 15.0}, "fuse box")
    solution = circuit.solve("everything on")
    assert (solution.works("X_H1"), circuit.parts["X_H1"].kind) == ("yes", "motor")
    assert circuit.solve("everything off").works("X_H1") == "no"
    assert not circuit.warnings


def test_a_tail_lamp_in_vec_is_ready_to_be_diagnosed():
    harness = read(vec())
    assert [(core.mm2, core.metres, core.colour) for core in harness.cores] == [(0.5, 2.54, "GY")] * 3
    assert sorted(place.kind for place in harness.places.values()) == ["loose", "plug", "ring", "splice"]
    circuit = Circuit.parse(build(harness).text)
    assert circuit.parts["X7"].values == {"W": 5.0}
    assert circuit.solve("everything on").works("X7") == "yes"
    assert build(read(vec("1.2.0"))).text == build(harness).text


def test_configurations_choose_their_wires():
    harness = configured(read(kbl()), "small")
    assert [core.signal for core in harness.cores] == ["K30.F7", "K15a_horn", "KL31"]
    with pytest.raises(InputError, match=r"no configuration 'large'.*it has small"):
        configured(harness, "large")


def test_unconnected_ends_are_left_out_and_told():
    harness = read(kbl((*CONNECTIONS, ("x", "w1", "p3", "nowhere"), ("y", "w1", "p3", "p3"))))
    assert len(harness.cores) == 4
    assert len(harness.notes) == 2


@pytest.mark.parametrize("data", [kbl(), vec(), vec_coupled()])
def test_a_file_whose_elements_lack_their_id_keeps_the_wires_that_are_not_named_by_it(data):
    wires = len(read(data).cores)
    for number, element in enumerate(ET.fromstring(data).iter()):
        if "id" in element.attrib:
            root = ET.fromstring(data)
            del list(root.iter())[number].attrib["id"]
            harness = read(ET.tostring(root))
            assert len(harness.places) == len({place.name for place in harness.places.values()})
            assert wires - len(harness.cores) <= 2, element.tag


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "not complete XML"),
        (kbl()[:3000], "not complete XML"),
        (b"<svg/>", "neither KBL nor VEC"),
        (b"<KBL_container/>", "holds no Harness"),
        (kbl(()), "holds no Connection"),
        (b"<VecContent/>", "no wires with contacts"),
        (b'<!DOCTYPE a [<!ENTITY b "c">]><a>&b;</a>', "entities of its own"),
        (b'<!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/passwd">]><a>&b;</a>', "entities of its own"),
        (b"<a>" * 300, "200 deep"),
        (b"\xff\xfe\x00", "XML"),
        (b'<?xml version="1.0" encoding="nonsense"?><a/>', "body.kbl"),
    ],
)
def test_bad_files_are_told_in_plain_english(data, message):
    with pytest.raises(InputError, match=message) as caught:
        read(data, "body.kbl")
    assert str(caught.value).startswith("body.kbl: ")


def test_names_that_the_notation_cannot_have_and_names_that_come_twice():
    strange = kbl().replace(b"X.S4", b"X.H1").replace(b"<Id>12</Id>", b"<Id>fuse</Id>")
    circuit = Circuit.parse(build(read(strange)).text)
    assert {"X_H1", "X_H1_2", "SP_fuse"} <= set(circuit.parts)


# signals


@pytest.mark.parametrize(
    ("signal", "role"),
    [
        ("30", "feed"), ("KL.30", "feed"), ("T30a", "feed"), ("B+", "feed"), ("VBAT_2", "feed"),
        ("31", "ground"), ("GND", "ground"), ("Masse 3", "ground"), ("31b", "switched ground"),
        ("Kl15", "switched"), ("V.58d.F3", "switched"), ("56b", "switched"), ("54", "switched"), ("L", "switched"),
    ],
)  # fmt: skip
def test_terminals_of_din_72552_in_signal_names(signal, role):
    assert terminal(signal).role == role


@pytest.mark.parametrize("signal", ["", "CAN_H", "wire 31", "S5.31", "LIN1", "2015", "315", "X.3"])
def test_other_numbers_are_no_terminals(signal):
    found = terminal(signal)
    assert found is None or signal == "wire 31"


# answers


def test_the_table_goes_out_and_comes_back():
    harness = read(kbl())
    asked = plugs(harness)
    text = table(asked)
    assert text.splitlines()[0].split(",") == list(COLUMNS)
    assert build(harness, answers(text)).text.count("motor") == build(harness).text.count("motor") > 0
    changed = answers(text.replace("motor,5 A", "lamp,21 W").replace(",", ";"))
    assert "lamp      X_H1 21 W" in build(harness, changed).text


def test_an_answer_on_the_command_line():
    assert answer("X.H1=motor 7 A") == ("X.H1", Plugged("motor", "7 A"))
    assert answer("X.S4=switch off low high")[1].value == "off low high"


@pytest.mark.parametrize(
    ("said", "message"),
    [
        ("X.H1", "does not say"),
        ("X.H1=horn", "nothing that can be plugged in"),
        ("X.H1=motor 5 V", "no value of a motor"),
        ("X.H1=motor 5..5 A", "no value of a motor"),
        ("X.H1=motor -5 A", "no value of a motor"),
        ('X.H1=switch "', "no positions"),
    ],
)
def test_answers_that_make_no_sense(said, message):
    with pytest.raises(InputError, match=message):
        answer(said)


# the command


def test_the_command(tmp_path):
    path = tmp_path / "horn.kbl"
    path.write_bytes(kbl())
    run = CliRunner().invoke
    circuit = run(app, ["harness", str(path), "--plugged", "X.H1=lamp 21 W"])
    assert circuit.exit_code == 0
    assert "lamp      X_H1 21 W" in circuit.stdout
    told = json.loads(run(app, ["harness", str(path), "--near", "X.H1", "--json"]).stdout)
    assert {one["connector"] for one in told["connectors"]} >= {"X.H1", "X.S4"}
    filled = tmp_path / "plugged.csv"
    filled.write_text(run(app, ["harness", str(path), "--table"]).stdout, encoding="utf-8")
    assert run(app, ["harness", str(path), "--answers", str(filled)]).exit_code == 0
    unknown = run(app, ["harness", str(path), "--plugged", "X.9=lamp"])
    assert (unknown.exit_code, "no connector 'X.9'" in unknown.stderr) == (1, True)


def test_ends_are_named_by_place_and_cavity():
    assert read(kbl()).cores[1].b == End("x1", "1")


def test_a_restraint_circuit_is_marked_and_the_page_says_what_must_not_be_done():
    """Airbags and belt tensioners are never probed: common practice in the trade, no source."""
    data = kbl().replace(b"<Description>horn</Description>", b"<Description>Gurtstraffer links</Description>")
    view = view_of(data, "invented.kbl", "", "", 2, {"X.H1": ("resistor", "2 ohm")})
    circuit = check_text(view.text).circuit
    assert circuit.parts["X_H1"].tags == ("pyro",)
    assert [one for one in view.cautions if "Gurtstraffer links (X.H1)" in one and "never probe" in one]
    assert pickle.loads(pickle.dumps(view)) == view


@pytest.mark.parametrize("version", ["1.2.0", "2.0.2", "2.1.0"])
def test_a_fuse_and_an_in_line_coupling_in_vec(version):
    """The fuse has its rating, the two halves are one connector, and a variant has its own wires."""
    harness = read(vec_coupled(version))
    circuit = Circuit.parse(build(harness, {"H1": Plugged("lamp", "55 W")}).text)
    (fuse,) = [part for part in circuit.parts.values() if part.kind == "fuse"]
    assert fuse.values["A"] == 7.5
    (wire,) = [one for one in circuit.model.wires if one.a.startswith("XA") or one.b.startswith("XA")][:1]
    assert {wire.a, wire.b} == {f"{fuse.name}.2", "XA.1:in"}
    assert {end for one in circuit.model.wires for end in (one.a, one.b)} >= {"XA.1:in", "XA.1:out"}
    assert len(configured(harness, "without the lamp").cores) == 2
