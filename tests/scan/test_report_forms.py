"""Reports as they come: scanned text, several units on a line, five languages, JSON and XML. All of it is invented."""

import json
import time

import pytest

from halfsplit.errors import InputError, NotFoundError
from halfsplit.scan import ScanReport
from halfsplit.scan.status_words import status_beside


def told(text: str) -> dict[str, tuple[bool | None, list[str]]]:
    """Unit → whether it answers, and its codes."""
    return {
        unit.name: (unit.answers, [code.name for code in unit.codes]) for unit in ScanReport.parse(text).units
    }


@pytest.mark.parametrize(
    ("written", "code"),
    [
        ("UO1OO", "U0100"),
        ("P0I2l", "P0121"),
        ("PO562-I6", "P0562-16"),
        ("P0S62", "P0562"),
        ("P-0562", "P0562"),
        ("P.0562", "P0562"),
        ("\u04200562", "P0562"),
        ("U0121\u201387", "U0121-87"),
        ("P\uff10562", "P0562"),
    ],
)
def test_letters_for_figures_are_read_and_told(written: str, code: str) -> None:
    report = ScanReport.parse(f"Unit: Body\nP0335 stored\n{written} Lost comm PRESENT\n")
    found = report.unit("body").codes[1]
    assert (found.name, found.present) == (code, "yes")
    assert bool(found.note) == any(letter in written[1:] for letter in "OIlS")


@pytest.mark.parametrize("written", ["UOIOO", "P4123", "P05G2X", "P05621"])
def test_what_looks_like_a_code_is_listed_with_its_line(written: str) -> None:
    report = ScanReport.parse(f"Unit: Body\nP0335 stored\n{written} lost\n")
    assert [line.number for line in report.unclear] == [3]
    warnings = " ".join(report.warnings)
    assert "ine 3" in warnings or "lines 3" in warnings
    corrected = report.correct(3, "code", code="U0100")
    assert not corrected.unclear
    assert [code.name for code in corrected.unit("body").codes] == ["P0335", "U0100"]


SEVERAL = {"ECM": (True, ["P0562"]), "BCM": (True, ["B1044-13"]), "DDM": (False, [])}


@pytest.mark.parametrize(
    "line",
    [
        "ECM: P0562(C); BCM: B1044-13(C); DDM: NO COMM",
        "ECM: P0562, BCM: B1044-13, DDM: no response",
        "ECM = P0562 | BCM = B1044-13 | DDM = offline",
        "ECM - P0562 / BCM - B1044-13 / DDM - no answer",
        "ECM P0562 BCM B1044-13 DDM NO COMM",
        "ECM(P0562) BCM(B1044-13) DDM(no comm)",
        "ECM: P0562    BCM: B1044-13    DDM: antwortet nicht",
    ],
)
def test_each_code_of_a_line_goes_to_its_own_unit(line: str) -> None:
    report = ScanReport.parse(f"Quick test\n{line}\n")
    assert {u.name: (u.answers, [c.name for c in u.codes]) for u in report.units} == SEVERAL
    assert [one.name for one in report.lines] == ["1", "2.1", "2.2", "2.3"]


def test_a_piece_of_a_line_can_be_corrected_alone() -> None:
    report = ScanReport.parse("ECM: P0562(C); BCM: B1044-13(C); DDM: NO COMM\n")
    changed = report.correct(1, "code", piece=2, unit="Tailgate", code="B1044-13, U0140", status="stored")
    unit = changed.unit("tailgate")
    assert [(code.name, code.status) for code in unit.codes] == [
        ("B1044-13", ("stored",)),
        ("U0140", ("stored",)),
    ]
    assert changed.unit("ddm").answers is False
    with pytest.raises(NotFoundError, match=r"not 1\.4"):
        report.correct(1, "ignored", piece=4)
    with pytest.raises(InputError, match="stored or present"):
        report.correct(1, "code", piece=1, code="P0562", status="perhaps")


def test_a_row_of_one_unit_is_not_cut() -> None:
    report = ScanReport.parse("Unit: ECM\nP0562 supply low; status: stored; counter: 3; km: 12000\n")
    assert [one.name for one in report.lines] == ["1", "2"]
    assert [code.status for code in report.unit("ecm").codes] == [("stored",)]


def test_lists_of_silent_units() -> None:
    assert told("Not responding: ABS, SRS and PDM\n") == dict.fromkeys(("ABS", "SRS", "PDM"), (False, []))


@pytest.mark.parametrize(
    "label",
    [
        "Communication ....: none",
        "Communication status: failed",
        "Response  -  no",
        "Antwort: nein",
        "R\u00e9ponse : aucune",
        "Comunicaci\u00f3n: ninguna",
        "Risposta: nessuna",
        '"answers": false',
    ],
)
def test_no_communication_under_a_unit_is_that_unit_silent(label: str) -> None:
    assert told(f"Module: DDM\n  {label}\nModule: ECM\n  P0562 stored\n") == {
        "DDM": (False, []),
        "ECM": (True, ["P0562"]),
    }


@pytest.mark.parametrize(
    ("unit", "silent", "clean", "stored", "present"),
    [
        ("Control unit", "does not answer", "no fault codes", "stored", "present"),
        ("Steuerger\u00e4t", "antwortet nicht", "kein Fehler gespeichert", "gespeichert", "vorhanden"),
        ("Calculateur", "ne r\u00e9pond pas", "aucun d\u00e9faut", "m\u00e9moris\u00e9", "pr\u00e9sent"),
        ("Unidad de control", "no responde", "sin aver\u00edas", "memorizado", "presente"),
        ("Centralita", "sin respuesta", "ning\u00fan fallo", "almacenado", "activo"),
        ("Centralina", "non risponde", "nessun errore", "memorizzato", "presente"),
    ],
)
def test_five_languages(unit: str, silent: str, clean: str, stored: str, present: str) -> None:
    text = f"{unit}: A1\n {silent}\n{unit}: B2\n {clean}\n{unit}: C3\n P0335 {stored}\n P0562 ({present})\n"
    report = ScanReport.parse(text)
    assert [(one.name, one.answers) for one in report.units] == [("A1", False), ("B2", True), ("C3", True)]
    assert [code.status for code in report.unit("c3").codes] == [("stored",), ("present",)]
    assert [code.present for code in report.unit("c3").codes] == ["unknown", "yes"]


@pytest.mark.parametrize(
    ("beside", "terms"),
    [
        (" circuit current too high", ()),
        (" active suspension pump", ()),
        (" crank signal not present", ()),
        (" supply low; present; confirmed", ("present", "confirmed")),
        (" Lost comm PRESENT", ("present",)),
        (" [stored] supply low", ("stored",)),
        (" not present any more (history)", ("stored",)),
        (" - pending", ("pending",)),
    ],
)
def test_a_word_in_a_description_is_no_status(beside: str, terms: tuple[str, ...]) -> None:
    assert status_beside(beside) == terms


REPORT = {
    "vehicle": {"vin": "WZZHALFSP0T000001"},
    "units": [
        {"name": "ECM", "answers": True, "codes": [{"code": "P0562", "status": "stored", "text": "Low"}]},
        {"name": "DDM", "answers": False, "codes": []},
        {"name": "BCM", "answers": True, "codes": []},
    ],
}


@pytest.mark.parametrize("indent", [None, 2])
def test_json_with_a_unit_that_does_not_answer(indent: int | None) -> None:
    report = ScanReport.parse(json.dumps(REPORT, indent=indent))
    assert [(one.name, one.answers) for one in report.units] == [("ECM", True), ("DDM", False), ("BCM", True)]
    assert [(code.name, code.status) for code in report.unit("ecm").codes] == [("P0562", ("stored",))]
    assert report.vehicle == {"vin": "WZZHALFSP0T000001"}


def test_other_shapes_of_data() -> None:
    expected = {"ECM": (True, ["P0562", "P0335"]), "DDM": (False, [])}
    assert told('{"ECM": {"dtcs": ["P0562", "P0335"]}, "DDM": {"online": false}}') == expected
    assert (
        told("- name: ECM\n  answers: true\n  codes: P0562 P0335\n- name: DDM\n  answers: false\n")
        == expected
    )
    xml = '<scan><unit name="ECM" answers="yes"><code>P0562</code><code>P0335</code></unit>'
    assert told(f'<?xml version="1.0"?>{xml}<unit name="DDM" answers="no"/></scan>') == expected
    bomb = '<!DOCTYPE a [<!ENTITY b "bbbb">]><scan>&b;</scan>'
    assert ScanReport.parse(bomb).lines  # an entity is not followed: it is text like any other


def test_a_field_that_is_not_known_is_a_line_of_its_own() -> None:
    report = ScanReport.parse(
        '{"units": [{"name": "ECM", "codes": ["P0562"], "mood": "odd", "more": {"depth": 3}}]}'
    )
    text = " ".join(line.text for line in report.lines)
    assert "mood: odd" in text
    assert "depth: 3" in text


def test_a_report_of_thousands_of_units_on_one_line_loses_none() -> None:
    line = "; ".join(f"U{i:03}X: P0{i:03}" for i in range(400))
    assert sum(len(codes) for _, codes in told(line).values()) == 400


@pytest.mark.parametrize(
    "blanks", [" " * 1900, "\t" * 1900, " \t" * 950, ". " * 950, "P0562" + " " * 1900 + "x"]
)
def test_a_line_of_blanks_takes_no_time(blanks: str) -> None:
    """Processor time, so that a busy machine does not matter; the quadratic patterns of before took seconds."""
    began = time.process_time()
    ScanReport.parse("\n".join(["Unit: A1", *[f"Unit{blanks}no"] * 20]))
    assert time.process_time() - began < 1.0


SILENT_ONE = {"ECM": (True, ["P0335"]), "ABS": (False, [])}


@pytest.mark.parametrize(
    "text",
    [
        "ECM\nP0335 present\nABS\nCommunication ....: none\n",
        "ECM\nP0335 gespeichert\nABS\nAntwort: nein\n",
        "ECM\nP0335 mémorisé\nABS\nne répond pas\n",
        "ECM\nP0335 presente\nABS no responde\n",
        "ECM\nP0335 presente\nABS não responde\n",
        "ECM\nP0335 IN MEMORY\nABS  *** NO COMMUNICATION ***\n",
        "ECM\nP0335 ST0RED\nABS: N0 RESP0NSE\n",
        "ECM;P0335;present;Crankshaft\nABS;;no answer;\n",
        "[ECM] P0335 C [ABS] -- NO RESPONSE",
        "ECM, P0335, present, ABS, no answer",
        "ECM P0335\nABS  N/R\n",
        "ECM P0335 Crankshaft sensor\nABS - kommuniziert nicht\n",
        "ECM\nStatus: communicating\nP0335 present\nUnit: ABS\nStatus: not communicating\n",
    ],
)
def test_a_silent_unit_below_or_beside_a_code_is_not_lost(text: str) -> None:
    assert told(text) == SILENT_ONE


@pytest.mark.parametrize(
    ("text", "silent"),
    [
        ("Keine Antwort von: ABS, Airbag und PDM", ["ABS", "Airbag", "PDM"]),
        ("Ne répondent pas : ABS, SRS et PDM", ["ABS", "SRS", "PDM"]),
        ("Non rispondono: ABS, SRS e PDM", ["ABS", "SRS", "PDM"]),
        ("Die Steuergeräte ABS und SRS antworten nicht.", ["ABS", "SRS"]),
        ("The units ABS and SRS do not answer", ["ABS", "SRS"]),
    ],
)
def test_silent_units_in_one_sentence(text: str, silent: list[str]) -> None:
    assert told(text) == {name: (False, []) for name in silent}


def test_codes_below_a_silent_unit_named_on_its_line_are_not_its_own() -> None:
    assert told("No response: ABS / SRS\nU0121 stored\n") == {
        "ABS": (False, []),
        "SRS": (False, []),
        "unit not named": (True, ["U0121"]),
    }


@pytest.mark.parametrize(
    ("status", "present"),
    [
        ("no longer present", "no"),
        ("ya no presente", "no"),
        ("plus présent", "no"),
        ("nicht mehr vorhanden", "no"),
        ("not confirmed", "unknown"),
        ("ACT1VE", "yes"),
        ("aanwezig", "yes"),
    ],
)
def test_what_a_status_denies(status: str, present: str) -> None:
    assert ScanReport.parse(f"ECM\nP0562: {status}").unit("ECM").codes[0].present == present


def test_letters_alone_are_a_code_where_a_status_stands_beside_them() -> None:
    assert told("ECM\nUOIOO PRESENT\n") == {"ECM": (True, ["U0100"])}
    report = ScanReport.parse("ECM\nP0335 present\nPB335 present\n")
    assert [line.number for line in report.unclear] == [3]


def test_a_vehicle_number_is_no_unit() -> None:
    text = "VIN ZZZZZZ1ZZZW000001\nECM P0335 present\n"
    assert told(text) == {"ECM": (True, ["P0335"])}


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "ENG P0562-16 (stored), P0335 | ABS no response | BODY no codes | HVAC U0121-87 pending",
            {
                "ENG": (True, ["P0562-16", "P0335"]),
                "ABS": (False, []),
                "BODY": (True, []),
                "HVAC": (True, ["U0121-87"]),
            },
        ),
        (
            "ENG=P0562,P0335;ABS=NR;HVAC=U0121",
            {"ENG": (True, ["P0562", "P0335"]), "ABS": (False, []), "HVAC": (True, ["U0121"])},
        ),
        (
            "Engine: P0562 stored, P0335 active. ABS: not responding. Body: no faults.",
            {"Engine": (True, ["P0562", "P0335"]), "ABS": (False, []), "Body": (True, [])},
        ),
        ("Steuerger\u00e4t: Komfort\n  Fehlerspeicher leer\n", {"Komfort": (True, [])}),
        (
            "Calculateur habitacle\n m\u00e9moire de d\u00e9fauts vide\n",
            {"Calculateur habitacle": (True, [])},
        ),
        (
            '{"ENG": ["P0562"], "ABS": "no answer", "BODY": {"dtcs": []}}',
            {"ENG": (True, ["P0562"]), "ABS": (False, []), "BODY": (True, [])},
        ),
        (
            '{"scan": [["ENG", "P0562", "stored"], ["ABS", null, "no answer"]]}',
            {"ENG": (True, ["P0562"]), "ABS": (False, [])},
        ),
        ("Unit: ENG\nDTC 056200 status 2F\n", {"ENG": (True, ["P0562-00"])}),
    ],
)
def test_units_without_a_colon_sentences_and_lists(text, expected):
    assert told(text) == expected


def test_a_code_with_a_blank_in_it_is_listed():
    assert any(
        "U01 23" in warning for warning in ScanReport.parse("Unit: ENG\nP0562 stored\nU01 23 lost\n").warnings
    )
