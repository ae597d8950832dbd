"""What the notation means: the contract's example to the last field, and each statement by itself."""

from dataclasses import replace

import pytest

from halfsplit.circuit.model import (
    Always,
    And,
    Behaviour,
    Driver,
    Hears,
    Input,
    InState,
    Join,
    Model,
    Not,
    Or,
    Part,
    PinIs,
    Reach,
    Sleep,
    Stage,
    StageFailure,
    StandIn,
    State,
    Supply,
    Suspicion,
    Talk,
    Terminator,
    Wire,
)
from halfsplit.notation.amounts import parsed, written
from halfsplit.notation.reading import parse, read, write
from tests.circuits import WASH_WIPE as EXAMPLE

BASE = "battery G1\nground E1\nG1.- -- E1\n"

BOX = "cabin fuse box"
PARTS = (
    Part("G1", "battery", ("+", "-"), {"V": 12.6, "ohm": 0.006}, place="engine bay, left"),
    Part("F21", "fuse", ("1", "2"), {"A": 15.0}, place=BOX),
    Part("F3", "fuse", ("1", "2"), {"A": 5.0}, place=BOX),
    Part("K7", "relay", ("30", "85", "86", "87"), place=BOX),
    Part("S3", "switch", ("1", "2"), words="wiper stalk", positions=("off", "wipe")),
    Part("M9", "motor", ("1", "2"), {"A": 4.2}, "rear wiper motor", "tailgate"),
    Part("E4", "ground", words="tailgate frame, left"),
    Part("E1", "ground", words="left A-pillar"),
    Part(
        "A2",
        "module",
        ("1", "31", "7", "12"),
        words="body control unit",
        place="behind the glove box",
        behaviour=Behaviour(
            feeds=(("1",),),
            earths=("31",),
            inputs=(Input("7", pull="down", ohms=10_000.0),),
            drivers=(Driver("12", "high", PinIs("7", "high")),),
        ),
    ),
    Part("X31", "connector", ("4", "2"), declared=False),
    Part("SP5", "splice", declared=False),
)
WIRES = (
    Wire("G1.+", "F21.1", path=0),
    Wire("F21.2", "K7.30", mm2=2.5, colour="RD", path=0),
    Wire("K7.87", "X31.4:in", mm2=2.5, colour="GN", path=1),
    Wire("X31.4:out", "M9.1", path=1),
    Wire("M9.2", "X31.2:in", mm2=2.5, colour="BN", metres=1.8, path=2),
    Wire("X31.2:out", "E4", path=2),
    Wire("G1.+", "F3.1", path=3),
    Wire("F3.2", "SP5", path=3),
    Wire("SP5", "S3.1", path=4),
    Wire("S3.2", "A2.7", path=4),
    Wire("SP5", "A2.1", path=5),
    Wire("A2.31", "E1", path=6),
    Wire("A2.12", "K7.86", path=7),
    Wire("K7.85", "E1", path=8),
    Wire("G1.-", "E1", mm2=16.0, metres=0.6, path=9),
)


def part(text: str, name: str) -> Part:
    model, _ = parse(BASE + text)
    return model.parts[name]


def behaviour(lines: str) -> Behaviour:
    found = part("module A2\n" + "".join(f"  {line}\n" for line in lines.splitlines()), "A2").behaviour
    assert found is not None
    return found


def driver(line: str) -> Driver:
    return behaviour(f"reads 7 as brake\n{line}").drivers[0]


def wires(text: str) -> list[Wire]:
    model, _ = parse(BASE + text)
    return [wire for wire in model.wires if wire.path > 0]


def test_the_example_of_the_contract():
    model, warnings = parse(EXAMPLE)
    assert warnings == ()
    assert model == Model(
        title="Rear wash-wipe, demonstration van",
        parts={one.name: one for one in PARTS},
        wires=WIRES,
        states={"rest": State("rest"), "wiper on": State("wiper on", {"S3": "wipe"})},
        reaches={"X31": Reach("X31", 8.0, "tailgate trim off")},
    )
    assert list(model.parts) == [one.name for one in PARTS]
    assert (model.wires[1].at.line, model.wires[1].at.column) == (17, 16)


def test_the_example_is_written_back_to_the_same_model():
    model, _ = parse(EXAMPLE)
    assert parse(write(model)) == (model, ())


def test_statements_may_come_in_any_order():
    blocks = EXAMPLE.replace("\n  ", "\0 ").splitlines()
    turned = "\n".join(reversed(blocks)).replace("\0", "\n ")
    model, warnings = parse(turned)
    expected, _ = parse(EXAMPLE)
    assert warnings == ()
    assert dict(model.parts) == {
        name: one if name != "X31" else Part("X31", "connector", ("2", "4"), declared=False)
        for name, one in expected.parts.items()
    }


def test_without_a_state_line_there_is_the_state_as_drawn():
    model, _ = parse(BASE + "lamp H1\nG1.+ -- H1 -- E1")
    assert dict(model.states) == {"as drawn": State("as drawn")}


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
def test_lines_may_end_in_three_ways_and_a_byte_order_mark_may_stand_first(ends):
    assert parse("\ufeff" + EXAMPLE.replace("\n", ends))[0] == parse(EXAMPLE)[0]


def test_comments_and_number_signs_in_quotes():
    model, _ = parse(BASE + 'lamp H1 "left # of two"  # the other is fine\n#\nG1.+ -- H1 -- E1 # feed')
    assert model.parts["H1"].words == "left # of two"


# parts


@pytest.mark.parametrize(
    ("line", "values"),
    [
        ("battery G2 24V 10mohm", {"V": 24.0, "ohm": 0.01}),
        ("generator G2 14.2 V", {"V": 14.2}),
        ("breaker G2 20 A", {"A": 20.0}),
        ("relay G2 85 ohm 20 A pulls 7 V drops 2 V", {"ohm": 85.0, "A": 20.0, "pulls": 7.0, "drops": 2.0}),
        ("heater G2 1.2 kW", {"W": 1200.0}),
        ("resistor G2 4.7kΩ", {"ohm": 4700.0}),
        ("solenoid G2 850 mA", {"A": 0.85}),
        ("diode G2 0.35 V", {"V": 0.35}),
        ("sensor G2 0.5 2 kohm", {"share": 0.5, "ohm": 2000.0}),
        ("sensor G2 40 %", {"share": 0.4}),
        ("mass G2 1 mohm", {"ohm": 0.001}),
        ("module G2 0.3 A", {"A": 0.3}),
    ],
)
def test_values_are_known_by_their_unit(line, values):
    assert part(line, "G2").values == values


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("K1.30", "relay"),
        ("S1.1", "switch"),
        ("H1.1", "lamp"),
        ("M1.1", "motor"),
        ("R1.1", "resistor"),
        ("Y1.1", "solenoid"),
        ("V1.a", "diode"),
        ("B1.1", "sensor"),
        ("A1.99", "module"),
        ("X1.12", "connector"),
        ("SP1", "splice"),
        ("GND1", "ground"),
        ("GND", "ground"),
        ("G2.+", "battery"),
    ],
)
def test_the_letter_code_tells_the_kind_of_a_part_that_is_not_declared(name, kind):
    model, _ = parse(BASE + f"G1.+ -- {name}")
    found = model.parts[name.partition(".")[0]]
    assert (found.kind, found.declared) == (kind, False)


def test_pins_that_only_some_parts_of_a_kind_have():
    model, _ = parse(BASE + "G1.+ -- K1.30\nK1.87a -- B1.1\nB1.3 -- E1\nB1.2 -- A1.4\nsensor B2 0.3")
    assert model.parts["K1"].pins == ("30", "85", "86", "87", "87a")
    assert model.parts["B1"].pins == model.parts["B2"].pins == ("1", "2", "3")


def test_a_switch_with_joins_has_the_pins_that_they_name():
    found = part("switch S1 off left right\n  joins left 49a L\n  joins right 49a R", "S1")
    assert found.pins == ("49a", "L", "R")
    assert found.joins == found.connections == (Join("left", "49a", "L"), Join("right", "49a", "R"))


def test_a_motor_with_a_park_switch():
    found = part("motor M1 4 A\n  parks 31b 31 53a", "M1")
    assert (found.park, found.pins) == (("31b", "31", "53a"), ("1", "2", "31b", "31", "53a"))


def test_tags_masses_and_places():
    model, _ = parse(
        BASE + 'mass engine 1 mohm\nground E3 on engine at "sump"\nresistor R1 2 ohm kind pyro\n  kind orange'
    )
    assert (model.parts["E3"].mass, model.parts["E3"].place) == ("engine", "sump")
    assert model.parts["R1"].tags == ("pyro", "orange")


# modules


def test_feeds_that_all_are_needed_and_feeds_of_which_one_serves():
    assert behaviour("feed 1 or 2 3\nfeed 4").feeds == (("1", "2"), ("3",), ("4",))


def test_the_lines_of_a_module():
    found = behaviour(
        "earth 31 32\ndraws 200 mA\nworks over 6.5 V\nsupplies 40 5 V limit 0.1 A\ntalks on CAN1 at 5 6\n"
        "talks on LIN1 at 9\nclamp 12 13\nsleeps 5 mA after 10 min\nreads 7\nwakes when 7 is low"
    )
    assert found == Behaviour(
        earths=("31", "32"),
        draws=0.2,
        works_over=6.5,
        inputs=(Input("7"),),
        supplies=(Supply("40", 5.0, 0.1),),
        talks=(Talk("CAN1", "5", "6"), Talk("LIN1", "9")),
        clamps=("12", "13"),
        sleep=Sleep(0.005, 10.0, PinIs("7", "low")),
    )


def test_an_input_with_everything():
    assert behaviour("reads 7 as brake high over 6 V pulled up 10 kohm low under 2 V").inputs == (
        Input("7", "brake", "up", 10_000.0, 2.0, 6.0),
    )


def test_the_options_of_a_driver_come_in_any_order():
    expected = Driver("12", "low", Always(), 0.1, 10.0, "power", 2000.0, 0.4, 100.0)
    options = [
        "100 mohm",
        "limit 10 A",
        "latches off",
        "bias 2 kohm when off",
        "pwm 0.4 100 Hz",
        "when always",
    ]
    for turn in range(len(options)):
        assert driver(f"drives 12 low {' '.join(options[turn:] + options[:turn])}") == expected


def test_a_driver_that_latches_until_a_state():
    model, _ = parse(
        BASE + 'module A2\n  drives 1 high latches off until "key off" when always\nstate "key off"'
    )
    assert model.parts["A2"].behaviour.drivers[0].latches == "key off"


@pytest.mark.parametrize(
    ("text", "condition"),
    [
        ("always", Always()),
        ("brake is high", PinIs("7", "high")),
        ("not 7 is low", Not(PinIs("7", "low"))),
        ('"as drawn" and 7 is high', And((InState("as drawn"), PinIs("7", "high")))),
        (
            "7 is high or 7 is low and not always",
            Or((PinIs("7", "high"), And((PinIs("7", "low"), Not(Always()))))),
        ),
        ("not (7 is high or always)", Not(Or((PinIs("7", "high"), Always())))),
        ("(7 is high or always) and always", And((Or((PinIs("7", "high"), Always())), Always()))),
        ("not not always", Not(Not(Always()))),
    ],
)
def test_not_comes_before_and_and_and_before_or(text, condition):
    assert driver(f"drives 1 high when {text}").when == condition


def test_hearing_on_a_bus_and_its_terminators():
    model, _ = parse(
        BASE + "module A1\n  talks on CAN1 at 1 2\nmodule A2\n  talks on CAN1 at 1 2\n  talks on LIN1 at 3\n"
        "  drives 4 low when A2 hears A1\nterminator 120 ohm at A2\nterminator 60 ohm at A1 on CAN1"
    )
    assert model.parts["A2"].behaviour.drivers[0].when == Hears("A2", "A1")
    assert model.terminators == (Terminator(120.0, "A2", "CAN1"), Terminator(60.0, "A1", "CAN1"))


# paths


def test_details_of_a_wire_come_in_any_order_and_each_is_optional():
    found = wires("G1.+ --[1.8m RD/WH 14AWG]-- R1.1\nG1.+ --[ GNYE 2.5 mm² ]-- R1.2\nR1.1 -- A1.-/2")
    assert [(wire.mm2, wire.gauge, wire.colour, wire.metres) for wire in found] == [
        (None, 14, "RD/WH", 1.8),
        (2.5, None, "GNYE", None),
        (None, None, "", None),
    ]
    assert found[2].b == "A1.-/2"


def test_a_cavity_has_the_side_on_which_a_path_arrives_and_the_side_on_which_it_leaves():
    found = wires("G1.+ -- X1.1 -- R1.1\nX1.1 -- R1.2\nG1.+ -- X1.1\nR2.1 -- X1.1:out -- R2.2")
    assert [(wire.a, wire.b) for wire in found] == [
        ("G1.+", "X1.1:in"),
        ("X1.1:out", "R1.1"),
        ("X1.1:out", "R1.2"),
        ("G1.+", "X1.1:in"),
        ("R2.1", "X1.1:out"),
        ("X1.1:out", "R2.2"),
    ]


def test_wires_between_the_same_two_points_count_up_in_either_direction():
    found = wires("G1.+ -- R1.1\nR1.1 -- G1.+\nX1.1 -- R1.1\nG1.+ -- X1.1 -- R1.1")
    assert [wire.name for wire in found] == [
        "wire G1.+ R1.1",
        "wire R1.1 G1.+ #2",
        "wire X1.1 R1.1",
        "wire G1.+ X1.1",
        "wire X1.1 R1.1 #2",
    ]


def test_a_stretch_that_the_diagram_does_not_show():
    (found,) = wires("G1.+ --[RD 1mm2]-- ? -- R1.1")
    assert found == Wire("G1.+", "R1.1", mm2=1.0, colour="RD", unknown=True, path=1)


def test_a_path_goes_on_in_indented_lines():
    assert wires("G1.+ -- X1.1\n  --[RD]-- R1\n  -- E1") == wires("G1.+ -- X1.1 --[RD]-- R1 -- E1")


def test_variants_hold_for_the_paths_below_them():
    model, _ = parse(
        BASE + "variant early\n  G1.+ --[RD]-- R1.1\nvariant late\n  G1.+ --[BU]-- R1.1\nR1.2 -- E1"
    )
    assert model.variants == ("early", "late")
    assert [(wire.variant, wire.colour, wire.number) for wire in model.wires[1:]] == [
        ("early", "RD", 1),
        ("late", "BU", 2),
        ("", "", 1),
    ]


# states, stages and the rest


def test_everything_that_a_state_can_say():
    model, _ = parse(
        BASE + "switch S1 off on\nswitch S2 0 1 2\ngenerator G2\nsensor B3 2 kohm\nsensor B4 0.2\n"
        'state "hot idle"  S1 on, S2 2, G2 running, B3 300 ohm, B4 0.8, lasts 20 min, takes 2 min, helper\n'
        'state "rest" S1 off'
    )
    assert model.states["hot idle"] == State(
        "hot idle", {"S1": "on", "S2": "2"}, frozenset({"G2"}), {"B3": 300.0, "B4": 0.8}, 20.0, 2.0, True
    )
    assert model.states["rest"] == State("rest")


def test_stages_of_the_contract():
    model, _ = parse(
        BASE + 'motor M2\nstate "cranking"\n'
        'stage fuel   "fuel pressure at the rail"  3.8 bar else 0 bar\n'
        '  needs M2\n  fails "regulator stuck open" x1\n  fails "filter blocked" x0.5\n'
        '  stand-in "feed the rail from a pressurised source"  15 min  caution "fuel under pressure"\n'
        'stage runs   "engine runs" in "cranking"\n  needs fuel\n'
    )
    assert model.stages["fuel"] == Stage(
        "fuel",
        "fuel pressure at the rail",
        3.8,
        0.0,
        "bar",
        ("M2",),
        (StageFailure("regulator stuck open"), StageFailure("filter blocked", 0.5)),
        StandIn("feed the rail from a pressurised source", 15.0, "fuel under pressure"),
    )
    assert model.stages["runs"] == Stage("runs", "engine runs", needs=("fuel",), states=("cranking",))


def test_suspicions():
    model, _ = parse(BASE + 'G1.+ -- X1.4 -- E1\nsuspect X1.4 x4 "water trail"\nsuspect E1 x0.5')
    assert model.suspicions == (Suspicion("X1.4", 4.0, "water trail"), Suspicion("E1", 0.5))


@pytest.mark.parametrize("title", ["Van, 2 t", 'The "blue" one', '"a" and "b"', "a # b", "12,5 t"])
def test_titles_come_back(title):
    text = f'title "{title}"' if "#" in title else f"title {title}"
    model, _ = parse(text)
    assert model.title == title
    assert parse(write(model))[0].title == title


def test_wires_that_do_not_follow_each_other_are_written_as_paths_of_their_own():
    """A form or a program may give wires without telling paths apart."""
    model, _ = parse(BASE + "lamp H1\nG1.+ -- H1 -- E1")
    loose = replace(model, wires=tuple(replace(wire, path=0) for wire in reversed(model.wires)))
    again, _ = parse(write(loose))
    assert {(wire.a, wire.b) for wire in again.wires} == {(wire.a, wire.b) for wire in model.wires}


def test_text_that_could_not_be_read_back_is_written_so_that_it_can():
    model, _ = parse(BASE)
    odd = replace(
        model,
        title=' the "old" one # 2 ',
        parts={**model.parts, "H1": Part("H1", "lamp", ("1", "2"), words='a "b"\nc')},
    )
    again, _ = parse(write(odd))
    assert again.title == " the 'old' one # 2 "
    assert again.parts["H1"].words == "a 'b' c"


# include


def test_an_included_file_is_read_once_and_relative_to_the_one_that_names_it(tmp_path):
    (tmp_path / "common").mkdir()
    (tmp_path / "van").mkdir()
    (tmp_path / "common" / "supply.circuit").write_text(BASE, encoding="utf-8")
    (tmp_path / "common" / "lamps.circuit").write_text(
        'include "supply.circuit"\nG1.+ -- H1 -- E1', encoding="utf-8"
    )
    (tmp_path / "van" / "a.circuit").write_text(
        'title Van\ninclude "../common/supply.circuit"\ninclude "../common/lamps.circuit"\nlamp H1',
        encoding="utf-8",
    )
    model, warnings = read(tmp_path / "van" / "a.circuit")
    assert (list(model.parts), warnings) == (["G1", "E1", "H1"], ())
    assert model.parts["G1"].at.file == "../common/supply.circuit"


def test_a_loader_gives_the_files_of_a_text():
    model, _ = parse(
        'include "supply.circuit"\nG1.+ -- H1 -- E1', loader={"supply.circuit": BASE}.__getitem__
    )
    assert list(model.parts) == ["G1", "E1", "H1"]


# amounts


@pytest.mark.parametrize(
    ("text", "value"),
    [("6 mohm", 0.006), ("1 kohm", 1000.0), ("0.1A", 0.1), ("85 mV", 0.085), ("2Mohm", 2e6), (".5 m", 0.5)],
)
def test_amounts_are_read_exactly(text, value):
    assert parsed(text)[0] == value


def test_amounts_are_written_in_the_unit_that_suits():
    assert [written(0.0, "A"), written(1e-9, "ohm"), written(123456.0, "ohm"), written(-3.5)] == [
        "0 A",
        "0.000001 mohm",
        "123.456 kohm",
        "-3.5",
    ]
