"""Reports in invented layouts: units, codes, status and silence are found in all of them.

Every layout, unit name and vehicle is made up here. What is expected is written as one line for each unit:
`name`, `-` for no answer or `+` for an answer or `?` for neither, then the codes, each with what it says of `present`.
"""

import pytest

from halfsplit.scan.report import ScanReport

LAYOUTS: dict[str, tuple[str, tuple[str, ...]]] = {}


def layout(name: str, text: str, *units: str) -> None:
    LAYOUTS[name] = (text, units)


layout(
    "indented, English",
    """\
Fault report
VIN: 1ZZBB22C0EZ100001
Odometer: 124,350 km

Engine control (2 faults)
  P0117 Coolant temperature circuit low  confirmed
  P0562-16 Supply voltage - status 0x2F
Tailgate unit: no response
Door unit left ..... OK
Brakes
  no codes stored
""",
    "Engine control + P0117 unknown, P0562-16 yes",
    "Tailgate unit -",
    "Door unit left +",
    "Brakes +",
)
layout(
    "keyword and block, German",
    """\
Fahrzeug: Kleinbus, erfunden
Kilometerstand: 124.350 km
Batteriespannung: 11,8 V

Steuergerät: Türelektronik vorn links
Fehler: 2
U1012 - Datenbus Komfort
   sporadisch
   Spannung: 9,3 V
B1A23-13  Fensterheber
   statisch
Steuergerät: Heckklappe
   antwortet nicht
Steuergerät: Kombi
   kein Fehler gespeichert
""",
    "Türelektronik vorn links + U1012 unknown, B1A23-13 yes",
    "Heckklappe -",
    "Kombi +",
)
layout(
    "keyword and block, French",
    """\
Véhicule : fourgonnette imaginaire
Kilométrage : 124 350 km
Tension batterie : 11,8 V

Calculateur : Habitacle
U0230-87 : défaut de communication, présent
C1234 : capteur, fugitif
Calculateur : Hayon
Ne répond pas
Calculateur : Tableau de bord
Aucun défaut mémorisé
""",
    "Habitacle + U0230-87 yes, C1234 unknown",
    "Hayon -",
    "Tableau de bord +",
)
layout(
    "semicolons, one row for each code",
    "Unit;Code;Status;Description\n"
    "Body;U0230-87;confirmed, active;Lost tailgate\n"
    ";U0215;stored;Lost door switch\n"
    "Tailgate;;no response;\n"
    "Seat;;OK;\n",
    "Body + U0230-87 yes, U0215 unknown",
    "Tailgate -",
    "Seat +",
)
layout(
    "commas and quotes",
    "No.,Control unit,DTC,Description,State\n"
    '1,"Body, front",U0140-00,"No messages, body",active\n'
    '2,Lamps,B1011-11,"Dipped beam, left",not active\n',
    "Body, front + U0140-00 yes",
    "Lamps + B1011-11 no",
)
layout(
    "semicolons, German",
    "Nr.;Steuergerät;Fehlercode;Fehlertext;Status\n"
    "1;Bordnetz;B1044-15;Rückfahrlicht rechts;aktuell\n"
    "2;Bordnetz;U0155;Kombi fehlt;nicht aktuell\n"
    "3;Anhänger;;;keine Kommunikation\n",
    "Bordnetz + B1044-15 yes, U0155 no",
    "Anhänger -",
)
layout(
    "tabs, French",
    "Calculateur\tCode défaut\tLibellé\tÉtat\n"
    "Freinage\tC0031\tCapteur de roue avant gauche\tmémorisé\n"
    "Direction\t\t\tpas de réponse\n",
    "Freinage + C0031 unknown",
    "Direction -",
)
layout(
    "bars",
    """\
| Module  | Answers | DTC      | Text           |
|---------|---------|----------|----------------|
| Gateway | yes     | U0121-87 | brakes missing |
| Brakes  | no      |          |                |
| Radio   | yes     |          |                |
""",
    "Gateway + U0121-87 unknown",
    "Brakes -",
    "Radio +",
)
layout(
    "columns set by spaces",
    """\
Unit            Code      Status        Description
Engine          P0335     confirmed     crankshaft sensor
Engine          P0606     pending       processor
Gearbox         U0100     confirmed     engine missing
""",
    "Engine + P0335 unknown, P0606 unknown",
    "Gearbox + U0100 unknown",
)
layout(
    "HTML table",
    """\
<html><head><title>x</title><style>td {color: red}</style></head><body>
<h1>Diagnostic report</h1><p>VIN: 1ZZBB22C0EZ100001</p>
<table><tr><th>System</th><th>Code</th><th>Status</th></tr>
<tr><td>Climate</td><td>B1081-13</td><td>present</td></tr>
<tr><td>Heater &amp; fan</td><td></td><td>does not answer</td></tr></table></body></html>
""",
    "Climate + B1081-13 yes",
    "Heater & fan -",
)
layout(
    "HTML headings and lists",
    "<!DOCTYPE html><html><body><h2>Wiper unit</h2><ul><li>B1201 - rear wiper motor - active</li>"
    "<li>U0140 - body lost - stored</li></ul><h2>Rain sensor</h2><p>No response</p></body></html>",
    "Wiper unit + B1201 yes, U0140 unknown",
    "Rain sensor -",
)
layout(
    "square brackets",
    """\
[Instrument cluster]
U0073 bus off (active)
[Radio]
no faults
[Telephone]
communication error
""",
    "Instrument cluster + U0073 yes",
    "Radio +",
    "Telephone -",
)
layout(
    "ruled titles",
    """\
=== ENGINE ===
01) P0201 - Injector 1 - confirmed
02) P0202 - Injector 2 - confirmed
=== BRAKES ===
---
No trouble codes found
""",
    "ENGINE + P0201 unknown, P0202 unknown",
    "BRAKES +",
)
layout(
    "legislated, by group",
    """\
Stored codes:
P0301
P0171
Pending codes:
P0302
Permanent codes: none
""",
    "unit not named + P0301 unknown, P0171 unknown, P0302 unknown",
)
layout(
    "unit before each code",
    """\
Brakes: C0034-1F wheel speed, intermittent
Brakes: C0037-13 wheel speed, active
Parking aid - B1C20 sensor rear left - inactive
""",
    "Brakes + C0034-1F unknown, C0037-13 yes",
    "Parking aid + B1C20 no",
)
layout(
    "address and name, dotted leaders",
    """\
09-Electrics ............... 1 fault
    B1044  Reverse lamp, right
    Status: active / confirmed
17-Instruments ............. no faults
52-Door, passenger side .... not reachable
Total faults: 1
""",
    "09-Electrics + B1044 yes",
    "17-Instruments +",
    "52-Door, passenger side -",
)
layout(
    "code, words and status on three lines",
    """\
ECU: Steering
P0562
Supply voltage low
not tested
ECU: Suspension
C1A10
Height sensor front
present
""",
    "Steering + P0562 unknown",
    "Suspension + C1A10 yes",
)
layout(
    "a maker's own numbers, German",
    """\
Steuergerät: Zentralelektronik
00532 - Versorgungsspannung B+ - Signal zu klein - sporadisch
01545 - Datenbus Antrieb - nicht vorhanden
Steuergerät: Airbag
keine Antwort
""",
    "Zentralelektronik + 00532 unknown, 01545 no",
    "Airbag -",
)
layout(
    "raw bytes",
    """\
Unit: Tailgate
59 02 FF 02 30 87 2F 01 43 13 50
""",
    "Tailgate + P0230-87 yes, P0143-13 unknown",
)
layout(
    "hexadecimal codes with status",
    """\
Unit: Lamps
0xC14087 status: 0x09
$9044 status: 0x08
""",
    "Lamps + U0140-87 yes, B1044 no",
)
layout(
    "code, failure type and status in fields",
    """\
ECU 3: Seat
U0140 87 2F
B1A20 11 28
""",
    "3: Seat + U0140-87 yes, B1A20-11 no",
)
layout(
    "prose about the connection",
    """\
Communication with Tailgate unit failed
No response from the trailer unit
Unable to communicate with: Sunroof
Door rear left does not answer.
""",
    "Tailgate unit -",
    "trailer unit -",
    "Sunroof -",
    "Door rear left -",
)
layout(
    "summary before details, German",
    """\
Gesamtabfrage
Motor                 2 Fehler
Getriebe              i.O.
Lenkhilfe             nicht erreichbar

Motor
P0117-16 Geber für Kühlmitteltemperatur, bestätigt
P0685 Hauptrelais, vorläufig
Ende des Protokolls
""",
    "Motor + P0117-16 unknown, P0685 unknown",
    "Getriebe +",
    "Lenkhilfe -",
)
layout(
    "counts in a table, then codes",
    """\
Module;Faults;Response
Engine;1;yes
Brakes;0;yes
Tailgate;0;no

Engine:
P0460 - fuel level - pending
""",
    "Engine + P0460 unknown",
    "Brakes +",
    "Tailgate -",
)
layout(
    "small letters, letter O for nought",
    """\
unit: fan
p0480 fan circuit
PO691-11 fan low, active
""",
    "fan + P0480 unknown, P0691-11 yes",
)
layout(
    "several codes on a line, French",
    """\
Calculateur moteur : P0335, P0340, P0562
Boîtier n° 4 - Remorque : injoignable
""",
    "Calculateur moteur + P0335 unknown, P0340 unknown, P0562 unknown",
    "4 - Remorque -",
)


def told(report: ScanReport) -> tuple[str, ...]:
    """A report in the words of the expectations above."""
    marks = {True: "+", False: "-", None: "?"}
    codes = {unit.name: ", ".join(f"{c.name} {c.present}" for c in unit.codes) for unit in report.units}
    return tuple(f"{unit.name} {marks[unit.answers]} {codes[unit.name]}".strip() for unit in report.units)


def test_there_are_enough_layouts() -> None:
    assert len(LAYOUTS) >= 20


@pytest.mark.parametrize("name", LAYOUTS)
def test_units_codes_and_silence_are_found(name: str) -> None:
    text, expected = LAYOUTS[name]
    report = ScanReport.parse(text)
    assert told(report) == expected
    assert not report.unclear


@pytest.mark.parametrize("name", LAYOUTS)
@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_no_line_is_lost(name: str, ends: str) -> None:
    text = LAYOUTS[name][0].replace("\n", ends)
    report = ScanReport.parse(text)
    assert [line.number for line in report.lines] == list(range(1, len(report.lines) + 1))
    assert all(line.reading.why for line in report.lines)
    if "<" not in text:
        assert [line.text for line in report.lines] == [line.rstrip() for line in text.splitlines()]
