"""Quantities as text and back."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from halfsplit.circuit.wiring import gauge_mm2
from halfsplit.errors import InputError
from halfsplit.units import (
    LARGEST,
    SHARE,
    UNITS,
    FieldNumber,
    format_quantity,
    is_over_range,
    plausible,
    read_field,
)


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        # One of each prefix, by the SI Brochure, 9th edition, table 7.
        ("12.6 V", 12.6, "V"),
        ("85mV", 0.085, "V"),
        ("6 mohm", 0.006, "ohm"),
        ("8.2mohm", 0.0082, "ohm"),
        ("4.7 kohm", 4700.0, "ohm"),
        ("1 Mohm", 1e6, "ohm"),
        ("20 uA", 20e-6, "A"),
        ("2.5mm2", 2.5e-6, "m2"),
        ("1.8m", 1.8, "m"),
        ("-40 mV", -0.04, "V"),
        ("1e3 Hz", 1000.0, "Hz"),
        (".5 s", 0.5, "s"),
        # Units outside the SI, by their exact factors (SI Brochure, table 8; bar: NIST SP 811, B.8).
        ("2 min", 120.0, "s"),
        ("1 h", 3600.0, "s"),
        ("3.8 bar", 380e3, "Pa"),
        ("44 Ah", 158_400.0, "C"),
        ("30 %", 0.3, SHARE),
    ],
)
def test_a_quantity_is_read_into_si(text, value, unit):
    assert read_field(text, shown_in(unit)) == FieldNumber(value)


def shown_in(unit: str) -> str:
    """A unit that fields of a dimension show."""
    return next(name for name, (si, _) in UNITS.items() if si == unit)


# Cross-sections in mm2 from tables after ASTM B258, which rounds diameters to a tenth of a mil (from memory).
@pytest.mark.parametrize(
    ("gauge", "square_millimetres"),
    [
        (0, 53.49),
        (4, 21.15),
        (8, 8.366),
        (10, 5.261),
        (12, 3.309),
        (14, 2.081),
        (18, 0.8231),
        (20, 0.5189),
        (24, 0.2047),
    ],
)
def test_wire_gauges_agree_with_the_standard(gauge, square_millimetres):
    assert gauge_mm2(gauge) == pytest.approx(square_millimetres, rel=3e-3)


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (12.345, "V", "12.3 V"),
        (0.085, "V", "85 mV"),
        (4700, "ohm", "4.7 kohm"),
        (0.9996, "V", "1 V"),
        (999.9, "ohm", "1 kohm"),
        (100, "ohm", "100 ohm"),
        (-0.04, "V", "-40 mV"),
        (5e-5, "A", "0.05 mA"),
        (1e9, "ohm", "1000 Mohm"),
        (0, "V", "0 V"),
        (1e-9, "V", "0 V"),
        (2.081e-6, "m2", "2.08 mm2"),
        (90, "s", "90 s"),
        (1800, "s", "30 min"),
        (86_400, "s", "24 h"),
        (380e3, "Pa", "3.8 bar"),
        (0, "Pa", "0 bar"),
        (0.3, SHARE, "30 %"),
    ],
)
def test_a_quantity_is_written_as_it_is_said(value, unit, text):
    assert format_quantity(value, unit) == text


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_what_is_not_finite_is_never_shown(value):
    with pytest.raises(ValueError, match="cannot be shown: a reading is finite"):
        format_quantity(value, "V")


@given(
    value=st.floats(1e-3, 1e9),
    sign=st.sampled_from([-1, 1]),
    unit=st.sampled_from(sorted({unit for unit, _ in UNITS.values()})),
)
def test_what_is_written_reads_back_within_its_digits(value, sign, unit):
    # A thousandth of the smallest unit shown, below which zero is written, is 3.6 C (Ah) and 1 Pa (kPa).
    assume(value > {"C": 10, "Pa": 2}.get(unit, 0))
    again = read_field(format_quantity(sign * value, unit, digits=4), shown_in(unit))
    assert again.value == pytest.approx(sign * value, rel=5.01e-4)


@given(st.text(max_size=80))
def test_any_text_gives_a_finite_quantity_or_a_clear_error(text):
    try:
        value, remedy = read_field(text, "V").value, "none needed"
    except InputError as error:
        value, remedy = 0.0, error.remedy
    assert abs(value) <= LARGEST
    assert remedy


@pytest.mark.parametrize(
    ("text", "unit", "field"),
    [
        ("12.3", "V", FieldNumber(12.3)),
        (" 85 mV ", "V", FieldNumber(0.085)),
        ("85m", "V", FieldNumber(0.085)),
        ("5k", "ohm", FieldNumber(5000.0)),
        ("5K", "ohm", FieldNumber(5000.0)),
        ("12v", "V", FieldNumber(12.0)),
        ("4.7 k\u03a9", "ohm", FieldNumber(4700.0)),
        ("\u22123", "V", FieldNumber(-3.0)),
        ("3.8", "bar", FieldNumber(380e3)),
        ("2.5", "mm2", FieldNumber(2.5e-6)),
        ("250", "mA", FieldNumber(0.25)),
        ("30", "%", FieldNumber(0.3)),
        ("12,3", "V", FieldNumber(12.3)),
        ("1,000", "V", FieldNumber(1.0, "did you mean 1 V?")),
        ("85 mv", "V", FieldNumber(0.085, "did you mean 85 mV?")),
        ("5 MV", "V", FieldNumber(0.005, "did you mean 5 mV?")),
    ],
)
def test_a_field_takes_what_a_technician_types_and_asks_in_doubt(text, unit, field):
    assert read_field(text, unit) == field


@pytest.mark.parametrize(
    ("text", "unit", "message"),
    [
        ("5 A", "V", "'5 A' is amps; volts expected: write it in V"),
        ("5m", "s", "'5m' is a length; a time expected: write it in s"),
        ("5 MOHM", "ohm", "'5 MOHM' has the unit 'MOHM', which is not known: write mohm or Mohm"),
        ("", "V", "the number is missing: write a number, such as 12.3"),
        ("V", "V", "'V' is not a number with a unit: write it like 12.3 V, without commas"),
        ("inf V", "V", "'inf V' is not a number with a unit: write it like 12.3 V, without commas"),
        ("12.3.4 V", "V", "'12.3.4 V' is not a number with a unit: write it like 12.3 V, without commas"),
        ("1e400 V", "V", "'1e400 V' is too large: check the number and its unit"),
        ("2e9 kohm", "ohm", "'2e9 kohm' is too large: check the number and its unit"),
        ("1" * 61, "V", "61 characters for one number: write at most 60"),
        ("nan", "V", "'nan' is not a number with a unit: write it like 12.3 V, without commas"),
        ("-inf", "V", "'-inf' is not a number with a unit: write it like 12.3 V, without commas"),
        ("9" * 50, "V", f"'{'9' * 50}' is too large: check the number and its unit"),
    ],
)
def test_a_field_refuses_what_it_cannot_read(text, unit, message):
    with pytest.raises(InputError) as caught:
        read_field(text, unit)
    assert str(caught.value) == message


@pytest.mark.parametrize(
    ("text", "over"),
    [("OL", True), ("ol", True), ("0L", True), ("O.L", True), (" .OL ", True), ("0", False), ("12", False)],
)
def test_over_range_is_told_from_numbers(text, over):
    assert is_over_range(text) is over


@pytest.mark.parametrize(
    ("value", "unit", "net", "asked"),
    [
        (
            400.0,
            "V",
            12.0,
            "400 V on a 12 V net? More than 16.8 V is out of the ordinary: check range and decimal point.",
        ),
        (28.0, "V", 24.0, ""),
        (
            28.0,
            "V",
            12.0,
            "28 V on a 12 V net? More than 16.8 V is out of the ordinary: check range and decimal point.",
        ),
        (14.8, "V", 12.0, ""),
        (
            -12.3,
            "V",
            12.0,
            "-12.3 V? Less than -500 mV is out of the ordinary: are the leads the right way round?",
        ),
        (-0.04, "V", 12.0, ""),
        (-3.0, "ohm", 12.0, "-3 ohm? Less than 0 ohm is out of the ordinary: check the instrument."),
        (700.0, "A", 12.0, ""),
        (
            3000.0,
            "A",
            12.0,
            "3000 A? More than 1500 A is out of the ordinary: check range and decimal point.",
        ),
        (1.2, SHARE, 12.0, "120 %? More than 100 % is out of the ordinary: check range and decimal point."),
    ],
)
def test_a_reading_that_can_hardly_be_is_asked_about(value, unit, net, asked):
    assert plausible(value, unit, net) == asked
