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

WASH_WIPE = """\
title  Rear wash-wipe, demonstration van

battery G1   12.6 V 6 mohm            at "engine bay, left"
fuse    F21  15 A                     at "cabin fuse box"
fuse    F3   5 A                      at "cabin fuse box"
relay   K7                            at "cabin fuse box"
switch  S3   off wipe                 "wiper stalk"
motor   M9   4.2 A                    "rear wiper motor"  at "tailgate"
ground  E4                            "tailgate frame, left"
ground  E1                            "left A-pillar"
module  A2                            "body control unit" at "behind the glove box"
  feed 1
  earth 31
  reads 7 pulled down 10 kohm
  drives 12 high when 7 is high

G1.+  --  F21  --[2.5mm2 RD]--  K7.30
K7.87 --[2.5mm2 GN]--  X31.4  --  M9.1
M9.2  --[2.5mm2 BN 1.8m]--  X31.2  --  E4
G1.+  --  F3  --  SP5
SP5   --  S3  --  A2.7
SP5   --  A2.1
A2.31 --  E1
A2.12 --  K7.86
K7.85 --  E1
G1.-  --[16mm2 0.6m]--  E1

state "rest"
state "wiper on"   S3 wipe

reach X31  8 min  "tailgate trim off"
"""
