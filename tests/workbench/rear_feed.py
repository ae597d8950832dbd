"""An invented van of which one feed serves four units and three loads, and scan reports of it."""

CIRCUIT = """title  Rear of an invented van
battery  G1   12.6 V 5 mohm
fuse     F30  40 A  "rear feed"
fuse     F1   10 A  "body unit"
fuse     F5   15 A  "engine unit"
fuse     F15  15 A
fuse     F16  25 A
switch   S1   off on
motor    M9   4 A   "rear wiper"
heater   E30  15 A  "rear screen"
lamp     H9   10 W  "load area lamp"
lamp     H1   21 W  "brake lamp"
ground   E1
ground   E2
ground   E3   "rear left"
ground   E4   "rear right"
module A1 "engine control unit"
  feed 15
  earth 31
  talks on CAN1 at 1 2
module A2 "body control unit"
  feed 30
  earth 31
  talks on CAN1 at 1 2
module A11 "tailgate unit"
  feed 30
  earth 31
  talks on CAN1 at 1 2
module A12 "trailer unit"
  feed 30
  earth 31
  talks on CAN1 at 1 2
module A13 "camera unit"
  feed 30
  earth 31
  talks on CAN1 at 1 2
module A14 "level unit"
  feed 30
  earth 31
  talks on CAN1 at 1 2
terminator 120 ohm at A1
terminator 120 ohm at A14
G1.+ --[16mm2]-- SP1
SP1 -- F5 -- A1.15
SP1 -- F1 -- A2.30
SP1 --[1.5mm2]-- H1 -- E2
SP1 -- F30 --[6mm2 6m]-- SP30
SP30 -- A11.30
SP30 -- A12.30
SP30 -- A13.30
SP30 -- A14.30
SP30 -- F15 -- S1 -- M9 -- E3
SP30 -- F16 -- E30 -- E4
SP30 -- H9 -- E3
A1.31 -- E2
A2.31 -- E2
A11.31 -- E3
A12.31 -- E4
A13.31 -- E3
A14.31 -- E4
G1.- --[16mm2]-- E1
A1.1 -- A2.1 -- A11.1 -- A12.1 -- A13.1 -- A14.1
A1.2 -- A2.2 -- A11.2 -- A12.2 -- A13.2 -- A14.2
state "key off"
state "all on" S1 on
"""
COMPLAINTS = (("M9", "no", "all on"), ("E30", "no", "all on"), ("H9", "no", "all on"))
WORKS = (("H1", "yes", "all on"),)
ARRIVAL = """Kilometerstand: 148.200 km
[1] Engine control unit
    U0230-87   Keine Kommunikation mit Heckklappe   Status: vorhanden
[2] Body control unit
    no faults stored
[3] Tailgate unit: no response
[4] Trailer unit
    does not answer
[5] Camera unit: keine Kommunikation
[6] Level unit - not responding
?? smudge ??
"""
AFTER = """Engine control unit
    no codes
Body control unit
    no codes
Tailgate unit
    no codes
Trailer unit
    no codes
Camera unit
    no codes
Level unit
    C1A20-16  status: 0x50
"""
