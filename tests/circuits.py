"""Circuits that tests of several parts share. They are invented."""

ONE_LAMP = """title  One lamp
battery G1
fuse F1 10 A
switch S1 off on
lamp H1 21 W "work lamp"
ground E1
connector X1
G1.+ -- F1 -- S1 -- X1.1 -- H1 -- E1
G1.- --[16mm2]-- E1
state "off"
state "on" S1 on
"""

BARE_LAMP = """
battery G1
fuse F1 10 A
switch S1
lamp H1 21 W
ground E1
ground E2
G1.+ --[2.5mm2 1m]-- F1 --[1mm2 1m]-- S1 --[1mm2 2m]-- H1 --[1mm2 1m]-- E1
G1.- --[16mm2 0.6m]-- E2
state "off"
state "on" S1 closed
"""
