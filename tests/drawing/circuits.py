"""Invented circuits for the tests of the drawing: one of each difficulty, and random ones of any size."""

import random
from functools import cache

from halfsplit.drawing import draw
from halfsplit.drawing.drawing import Drawing
from halfsplit.notation.reading import parse

SENSORS = """
title Cooling circuit of an invented lorry
battery G1 12.6 V
generator G2
fuse F1 40 A
fuse F2 7.5 A
fuse F8 30 A
relay K1
relay K2
motor M1 20 A "radiator fan, left" at "front, behind the grille"
motor M2 8 A "flap motor"
solenoid Y1 1 A "purge valve" at "engine, rear"
diode V1
lamp H1 2 W "charge lamp"
breaker Q1 20 A
heater E9 180 W "rear screen"
sensor B1 2000 ohm "coolant temperature"
sensor B2 0.5 "pedal position"
sensor B3 0.4 "rail pressure"
module A1 "engine control unit" at "engine bay, right"
  feed 15 or 30
  earth 31
  reads 21 pulled up 2 kohm
  reads 22 as pedal
  reads 23
  reads 40 pulled up 10 kohm
  supplies 5 5 V
  drives 11 low when 21 is low
  drives 12 low when 21 is low
  drives 13 high when 22 is high
  drives 51 high when always
  drives 51 low when always
  drives 52 high when always
  drives 52 low when always
  talks on CAN1 at 61 62
module A2 "instrument cluster" at "dashboard"
  feed 1
  earth 2
  talks on CAN1 at 8 9
module A3 "gearbox control unit"
  feed 1
  earth 2
  talks on CAN1 at 3 4
ground E1 "engine block"
ground E2 "bulkhead"
ground E3 "left A-pillar"
switch S1 off run "key switch"
switch S2 "oil pressure"
G1.+ --[25mm2 RD]-- F8 --[4mm2 RD]-- S1 -- SP15
G2.+ --[35mm2]-- G1.+
G2.- -- E1
G1.- --[35mm2 BK]-- E2
G1.+ -- F1 --[6mm2 RD/YE]-- K1.30
K1.87 --[4mm2 RD/BU]-- X9.1 -- M1.1
M1.2 --[4mm2 BN]-- X9.2 -- E3
SP15 -- K1.86
K1.85 --[0.5mm2 GN/WH]-- A1.11
SP15 --[0.5mm2 BK/YE]-- F2 --[0.75mm2 BK/RD]-- X4.7 -- A1.15
G1.+ -- Q1 -- A1.30
A1.31 -- E1
SP15 -- Y1 -- A1.12
A1.5 --[0.35mm2 VT]-- SP1
SP1 -- X5.1 -- B2.1
SP1 -- B3.1
B2.2 --[0.35mm2 WH]-- X5.2 -- A1.22
B3.2 -- A1.23
B2.3 -- X5.3 -- SP2
B3.3 -- SP2
B1.2 -- SP2
SP2 -- A1.45
B1.1 -- A1.21
A1.40 -- S2 -- E1
A1.51 -- M2 -- A1.52
A1.13 -- H1 -- E2
SP15 -- V1 -- K2.86
K2.85 -- E2
G1.+ -- K2.30
K2.87 --[2.5mm2 BK]-- E9 -- E2
A1.61 --[0.35mm2 YE]-- SP7
A1.62 --[0.35mm2 GN]-- SP8
SP7 -- A2.8
SP7 -- X6.1 -- A3.3
SP8 -- A2.9
SP8 -- X6.2 -- A3.4
SP15 -- A2.1
SP15 -- A3.1
A2.2 -- E3
A3.2 -- E3
"""

AWKWARD = """
title Window lift with two changeover relays, washer with park switch, odds and ends
battery G1
fuse F1 30 A
fuse F2 10 A
fuse F3 10 A
relay K1
relay K2
motor M1 8 A "window motor" at "driver's door"
switch S1 up off down
  joins up 1 2
  joins down 1 3
sensor B7 900 ohm
ground E1
ground E2
lamp H1
lamp H2
splice SP1
splice SP2
G1.+ -- F1 -- SP1
SP1 -- K1.87
SP1 -- K2.87
K1.30 -- X1.1 -- M1.1
M1.2 -- X1.2 -- K2.30
K1.87a -- SP2
K2.87a -- SP2
SP2 -- E1
G1.+ -- F2 -- S1.1
S1.2 -- K1.86
S1.3 -- K2.86
K1.85 -- E2
K2.85 -- E2
G1.- -- E1
G1.- -- E2
G1.+ -- F3 -- H1 -- E1
H1.1 -- H2.1
H2.2 -- E1
SP1 -- SP2
"""


@cache
def drawn(text: str) -> Drawing:
    """The drawing of a circuit on a page as wide as it likes, made once for all tests."""
    return draw(parse(text)[0])


def vehicle(branches: int, seed: int = 0) -> str:
    """A whole vehicle as text: fused branches over relays, switches and modules, some joined at splices."""
    chance = random.Random(seed)
    lines = [
        f"title Invented vehicle with {branches} branches",
        'battery G1 12.6 V at "engine bay"',
        "generator G2",
    ]
    paths = ["G1.+ --[35mm2 BK]-- G2.+", "G2.- -- E1", "G1.- --[35mm2]-- E1"]
    lines += [f'ground E{number} "ground point {number}"' for number in range(1, 7)]
    lines.append('switch S100 off on "key switch"')
    paths += ["G1.+ --[6mm2 RD]-- S100 --[4mm2 BK]-- SP15"]
    modules = max(1, branches // 12)
    for number in range(1, modules + 1):
        lines += [
            f'module A{number} "control unit {number}" at "place {number % 4}"',
            "  feed 1",
            "  earth 2",
            "  talks on CAN1 at 3 4",
        ]
        lines += [f"  drives {pin} high when always" for pin in range(10, 14)]
        lines += [f"  drives {pin} low when always" for pin in range(20, 23)]
        lines += [f"  reads {pin} pulled up 2 kohm" for pin in range(30, 33)]
        paths += [
            f"SP15 -- F{200 + number} -- A{number}.1",
            f"A{number}.2 -- E{number % 6 + 1}",
            f"A{number}.3 --[0.35mm2 YE]-- SP91",
            f"A{number}.4 --[0.35mm2 GN]-- SP92",
        ]
        lines.append(f"fuse F{200 + number} 7.5 A")
    for number in range(1, branches + 1):
        _branch(number, modules, chance, lines, paths)
    return "\n".join([*lines, *paths]) + "\n"


def _branch(number, modules, chance, lines, paths):
    kind = chance.choice(["lamp", "motor", "heater", "solenoid"])
    code = {"lamp": "H", "motor": "M", "heater": "E9", "solenoid": "Y"}[kind]
    load, module = f"{code}{number}", chance.randint(1, modules)
    lines.append(f'{kind} {load} "consumer {number}" at "place {number % 7}"')
    ground = f"E{chance.randint(1, 6)}"
    colour = chance.choice(["RD", "GN/WH", "BU", "YE/BK", "VT"])
    style = chance.randrange(5)
    if style == 0:
        lines.append(f"fuse F{number} 10 A")
        paths.append(
            f"G1.+ -- F{number} --[1.5mm2 {colour}]-- S{number} -- X{number % 9 + 1}.{number} -- {load}.1"
        )
        paths.append(f"{load}.2 --[1.5mm2 BN]-- {ground}")
    elif style == 1:
        lines.append(f"fuse F{number} 20 A")
        paths.append(f"G1.+ -- F{number} --[2.5mm2 {colour}]-- K{number}.30")
        paths.append(f"K{number}.87 -- X{number % 9 + 1}.{number} -- {load}.1")
        paths.append(f"{load}.2 --[1.5mm2 BN]-- {ground}")
        paths += [f"SP15 -- K{number}.86", f"K{number}.85 -- A{module}.{chance.randint(20, 22)}"]
    elif style == 2:
        paths.append(f"A{module}.{chance.randint(10, 13)} --[0.75mm2 {colour}]-- {load}.1")
        paths.append(f"{load}.2 -- {ground}")
    elif style == 3:
        lines.append(f"sensor B{number} 2000 ohm")
        paths.append(f"A{module}.{chance.randint(30, 32)} --[0.35mm2 {colour}]-- B{number}.1")
        paths.append(f"B{number}.2 -- A{module}.2")
        paths += [f"SP15 -- {load}.1", f"{load}.2 -- {ground}"]
    else:
        lines.append(f"fuse F{number} 15 A")
        other = f"H{number + 500}"
        paths.append(f"G1.+ -- F{number} -- SP{number + 200}")
        paths += [f"SP{number + 200} -- {load}.1", f"SP{number + 200} -- {other}.1"]
        paths += [
            f"{load}.2 --[1mm2 {colour}]-- {ground}",
            f"{other}.2 -- X{number % 9 + 1}.{number + 70} -- {ground}",
        ]
