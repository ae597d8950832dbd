"""Before and after. All units are invented."""

from halfsplit.scan import ScanReport, compare
from halfsplit.scan.compare import CHANGED, GONE, NEW, STAYED, UNKNOWN

BEFORE = ScanReport.parse("""\
Tailgate: no response
Roof: no response
Body
  U0230-87 status: 0x2F
  B1044 status: 0x2F
  U0155
Seat
  B1A20-11
Lamps
  B1B00
""")
AFTER = ScanReport.parse("""\
Tailgate: no codes
Roof: no response
Body unit
  B1044 status: 0x28
  U0155-00
  P0562
Seat: no response
Mirror
  B1C00 active
""")


def test_gone_stayed_new_changed_and_unknown() -> None:
    found = compare(BEFORE, AFTER, aliases={"body UNIT": "Body"})
    assert [(x.unit, x.code) for x in found.of(GONE)] == [("Body", "U0230-87")]
    assert [(x.unit, x.code) for x in found.of(STAYED)] == [("Body", "U0155")]
    assert [(x.code, x.after) for x in found.of(CHANGED)] == [("B1044", "confirmed, failed since clear")]
    assert [(x.unit, x.code) for x in found.of(NEW)] == [("Body", "P0562"), ("Mirror", "B1C00")]
    assert [(x.unit, x.why) for x in found.of(UNKNOWN)] == [
        ("Seat", "the unit does not answer now"),
        ("Lamps", "the unit is not in the second report"),
    ]


def test_units_that_answer_now_or_no_longer() -> None:
    found = compare(BEFORE, AFTER, aliases={"Body unit": "Body"})
    assert found.answers_now == ("Tailgate",)
    assert found.silent_now == ("Seat",)
    assert found.still_silent == ("Roof",)
    assert found.not_read == ("Lamps",)
    assert found.added == ("Mirror",)
    assert not found.clean


def test_without_the_alias_nothing_is_called_gone() -> None:
    found = compare(BEFORE, AFTER)
    assert found.of(GONE) == ()
    assert "Body" in found.not_read


def test_a_report_against_itself_has_no_change() -> None:
    found = compare(BEFORE, BEFORE)
    assert {change.verdict for change in found.codes} == {STAYED}
    assert found.answers_now == found.silent_now == found.added == found.not_read == ()


def test_clean_means_every_unit_read_and_every_code_gone() -> None:
    before = ScanReport.parse("Body: P0562 active\n")
    after = ScanReport.parse("Body: no codes\n")
    assert compare(before, after).clean
    assert "only after its unit has tested again" in compare(before, after).notes[0]
