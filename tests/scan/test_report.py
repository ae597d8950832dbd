"""A report's corrections, warnings, files and way back. All vehicles and units are invented."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfsplit.errors import InputError, NotFoundError
from halfsplit.scan import FaultCode, ReportedCode, ScanReport, UnitReport, write_report
from halfsplit.scan.continuing import VALUE

TEXT = """\
Fault report
Odometer: 77.432 mi
Tailgat unit: no response
Door unit (2 faults)
  U0230-87 confirmed
total nonsense here
"""


def test_a_corrected_unit_takes_its_codes_along() -> None:
    report = ScanReport.parse("Bo dy\nU0140 lost, active\n\nwipers??\n").correct(1, "unit", unit="Body")
    assert [(unit.name, len(unit.codes)) for unit in report.units] == [("Body", 1)]
    assert report.lines[0].corrected
    assert report.lines[0].text == "Bo dy"


def test_a_line_becomes_a_code_or_is_ignored() -> None:
    report = ScanReport.parse("Unit: Lamps\nb ten44 thirteen\nsmudge\n")
    fixed = report.correct(2, "code", code="B1044-13", status="2F").correct(3, "ignored")
    assert [(code.name, code.present) for code in fixed.unit("lamps").codes] == [("B1044-13", "yes")]
    assert fixed.unclear == ()
    assert len(report.unclear) == 2


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"line": 1, "kind": "guess"}, "'guess' is no kind of line: write one of unit, code,"),
        (
            {"line": 1, "kind": "unit"},
            "the name of the unit is missing: write it as the report or the diagram does",
        ),
        (
            {"line": 1, "kind": "code", "code": "none"},
            "'none' is not a fault code: write it as the report does",
        ),
        (
            {"line": 1, "kind": "code", "code": "P0143", "status": "zz"},
            "'zz' is no status byte: write two hexadecimal",
        ),
    ],
)
def test_a_wrong_correction_says_what_is_right(arguments: dict[str, object], message: str) -> None:
    with pytest.raises(InputError) as caught:
        ScanReport.parse(TEXT).correct(**arguments)  # type: ignore[arg-type]
    assert str(caught.value).startswith(message)


def test_a_line_or_unit_that_is_not_there_is_told() -> None:
    with pytest.raises(NotFoundError, match="lines 1 to 6, not 99"):
        ScanReport.parse(TEXT).correct(99, "ignored")
    with pytest.raises(NotFoundError, match="there are Tailgat unit, Door unit"):
        ScanReport.parse(TEXT).unit("Roof")


def test_warnings_tell_counts_doubts_and_what_was_not_understood() -> None:
    warnings = ScanReport.parse(TEXT).warnings
    assert "Door unit: the report announces 2 codes, 1 found." in warnings
    assert "Not understood: line 6." in warnings
    doubtful = ScanReport.parse("Unit: Fan\nPO480 slow\nTotal: 3 faults\n").warnings
    assert "Fan: P0480: the letter O was read as the figure 0." in doubtful
    assert "Line 3 says 3 codes in all; 1 found." in doubtful
    assert ScanReport.parse("hello\n").warnings[0].startswith("No unit, no code and no silent unit was found")


def test_a_unit_cannot_both_be_silent_and_have_codes_without_a_word() -> None:
    report = ScanReport.parse("Unit: Fan\nP0480 slow\n\nFan: no response\n")
    assert report.unit("fan").answers is False
    assert "Fan is said not to answer, and codes of it are listed too." in report.warnings


def test_the_odometer_is_told_of_the_vehicle() -> None:
    assert ScanReport.parse(TEXT).vehicle == {"odometer": "77.432 mi"}
    assert ScanReport.parse("KM-Stand: 124.350\nUnit: A1\nno codes").vehicle == {"odometer": "124.350"}
    assert ScanReport.parse("Unit: A1\nno codes").vehicle == {}


@pytest.mark.parametrize(
    "text",
    [
        "12,4 V",
        "11.875 V",
        "124.350 km",
        "124,350 km",
        "1.234,5 km",
        "1,234.5 km",
        "124 350 km",
        "1\u202f234 km",
        "\u221240 °C",
        "1.234.567 km",
    ],
)
def test_numbers_of_three_languages(text: str) -> None:
    match = VALUE.search(f"Wert: {text}, ok")
    assert match is not None
    assert match[0] == text


@pytest.mark.parametrize(
    ("name", "data", "silent"),
    [
        ("utf8.txt", "Steuergerät: Tür\nantwortet nicht\n".encode(), "Tür"),
        ("mark.txt", "\ufeffSteuergerät: Tür\nantwortet nicht\n".encode(), "Tür"),
        ("western.txt", "Steuergerät: Tür\nantwortet nicht\n".encode("cp1252"), "Tür"),
        ("wide.txt", "Steuergerät: Tür\nantwortet nicht\n".encode("utf-16"), "Tür"),
    ],
)
def test_files_of_several_encodings(tmp_path: Path, name: str, data: bytes, silent: str) -> None:
    (tmp_path / name).write_bytes(data)
    report = ScanReport.read(tmp_path / name)
    assert [(unit.name, unit.answers) for unit in report.units] == [(silent, False)]
    assert report.source == name


def test_files_that_are_no_report_are_told(tmp_path: Path) -> None:
    (tmp_path / "x.bin").write_bytes(b"\x00\x01\x02")
    with pytest.raises(
        InputError, match=r"^x.bin: this is not text: save the report as text, CSV, HTML or PDF"
    ):
        ScanReport.read(tmp_path / "x.bin")
    with pytest.raises(InputError, match=r"gone.txt: cannot be read \(No such file"):
        ScanReport.read(tmp_path / "gone.txt")
    (tmp_path / "torn.pdf").write_bytes(b"%PDF-1.4\nnothing more")
    with pytest.raises(InputError, match=r"torn.pdf: a PDF that cannot be read .*paste the text here"):
        ScanReport.read(tmp_path / "torn.pdf")


def _pdf(lines: list[str]) -> bytes:
    """A PDF of one page, written by hand from the format's own description (ISO 32000-1)."""
    shown = " ".join(f"({line}) Tj 0 -14 Td" for line in lines)
    stream = f"BT /F1 11 Tf 50 780 Td {shown} ET".encode()
    bodies = [
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 595 842] /Contents 4 0 R"
        b" /Resources << /Font << /F1 5 0 R >> >> >>",
        b"<< /Length %d >>\nstream\n%s\nendstream" % (len(stream), stream),
        b"<< /Type /Font /Subtype /Type1 /BaseFont /Courier >>",
    ]
    out, places = b"%PDF-1.4\n", []
    for place, body in enumerate(bodies, start=1):
        places.append(len(out))
        out += b"%d 0 obj\n%s\nendobj\n" % (place, body)
    table = b"".join(b"%010d 00000 n \n" % place for place in places)
    size = len(bodies) + 1
    out += b"xref\n0 %d\n0000000000 65535 f \n%strailer\n<< /Size %d /Root 1 0 R >>\n" % (size, table, size)
    return out + b"startxref\n%d\n%%%%EOF\n" % out.index(b"xref\n0")


def test_a_pdf_report(tmp_path: Path) -> None:
    (tmp_path / "r.pdf").write_bytes(
        _pdf(["Unit: Door", "U0230-87 tailgate missing, confirmed", "Unit: Tailgate", "no response"])
    )
    report = ScanReport.read(tmp_path / "r.pdf")
    assert [(unit.name, unit.answers) for unit in report.units] == [("Door", True), ("Tailgate", False)]


def test_a_pdf_that_is_a_picture_is_told(tmp_path: Path) -> None:
    (tmp_path / "r.pdf").write_bytes(_pdf([""]))
    with pytest.raises(InputError, match="it is a picture of a report"):
        ScanReport.read(tmp_path / "r.pdf")


NAMES = st.sampled_from(["Body", "Door left", "Tailgate", "Engine control", "Lamps front"])
CODES = st.builds(
    lambda number, failure, byte: ReportedCode("", FaultCode(number, failure), status_byte=byte),
    st.integers(0, 0xFFFF),
    st.none() | st.integers(0, 255),
    st.none() | st.integers(0, 255),
)
UNITS = st.lists(
    st.builds(
        lambda name, codes, silent: UnitReport(name, not silent, () if silent else tuple(codes)),
        NAMES,
        st.lists(CODES, max_size=4),
        st.booleans(),
    ),
    unique_by=lambda unit: unit.name,
    min_size=1,
)


@given(UNITS)
def test_what_we_write_we_read_back(units: list[UnitReport]) -> None:
    report = ScanReport.parse(write_report(units, [("VIN", "1ZZBB22C0EZ100001")]))
    assert not report.unclear
    assert report.vehicle == {"vin": "1ZZBB22C0EZ100001"}
    expected = [(u.name, u.answers, [(c.code, c.status_byte) for c in u.codes]) for u in units]
    assert [(u.name, u.answers, [(c.code, c.status_byte) for c in u.codes]) for u in report.units] == expected


@given(
    st.text(max_size=300)
    | st.lists(
        st.sampled_from(
            [
                "P0143",
                "no response",
                "Unit: ",
                "\n",
                "|",
                ";",
                "\t",
                "<table>",
                "Code",
                "  ",
                "2 faults",
                "59 02 FF 01",
            ]
        ),
        max_size=40,
    ).map("".join)
)
def test_any_text_is_read_without_loss_or_failure(text: str) -> None:
    report = ScanReport.parse(text)
    assert all(line.reading.kind for line in report.lines)
    assert report.as_dict()["lines"] == report.as_dict()["lines"]
    mentioned = {number for unit in report.units for number in unit.lines}
    assert mentioned <= {line.number for line in report.lines}
