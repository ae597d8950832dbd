"""Vehicle identification numbers against 49 CFR 565 and the shared table of check digits."""

import csv
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfsplit.vin import ALPHABET, VALUES, Vin, VinError, check_digit, weighted_sum

# An invented number with a right check digit, for the tests of messages (form: 49 CFR 565).
INVENTED = "1ZZBB22C0EZ100001"
INVENTED = INVENTED[:8] + check_digit(INVENTED) + INVENTED[9:]


def test_check_digits_agree_with_the_shared_table(outside_data: Callable[[str], Path]) -> None:
    with (outside_data("standards") / "vin_check_digit.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) >= 8
    for row in rows:
        assert weighted_sum(row["vin"]) == int(row["weighted_sum"])
        assert check_digit(row["vin"]) == row["expected_check_char"]
        assert Vin.parse(row["vin"]).check_digit_right == (row["valid"] == "True")


def test_the_sample_number_of_the_regulation() -> None:
    """The sample of 49 CFR 565 (sum 411, remainder 4), as given in the design's list of sources."""
    vin = Vin.parse("1g4ah59h4 5g-118341")
    assert weighted_sum(vin.text) == 411
    assert vin.check_digit_right
    assert vin.region == "North America"
    assert vin.model_years == (2005, 2035)
    assert not vin.doubtful


def test_remainder_ten_is_written_x() -> None:
    assert Vin.parse("1M8GDM9AXKP042788").expected_check == "X"


@pytest.mark.parametrize(
    ("code", "years"),
    # 49 CFR 565.15 table VII: A 1980 and 2010, Y 2000 and 2030, 1 2001 and 2031, 9 2009 and 2039.
    [
        ("A", (1980, 2010)),
        ("H", (1987, 2017)),
        ("Y", (2000, 2030)),
        ("1", (2001, 2031)),
        ("9", (2009, 2039)),
        *[("U", ()), ("Z", ()), ("0", ())],
    ],
)
def test_year_codes(code: str, years: tuple[int, ...]) -> None:
    assert Vin.parse(INVENTED[:9] + code + INVENTED[10:]).model_years == years


def test_a_letter_in_position_seven_puts_the_later_year_first() -> None:
    letter = INVENTED[:6] + "C" + INVENTED[7:]
    figure = INVENTED[:6] + "2" + INVENTED[7:]
    assert any(
        "Model year 2014 if" in note and "1984 is possible" in note for note in Vin.parse(letter).notes
    )
    assert any(
        "Model year 1984 if" in note and "2014 is possible" in note for note in Vin.parse(figure).notes
    )


def test_outside_north_america_a_wrong_check_digit_says_nothing() -> None:
    vin = Vin.parse("WZZ" + INVENTED[3:])
    assert vin.region == "Europe"
    assert not vin.doubtful
    assert any("if the maker uses it for the year at all" in note for note in vin.notes)


@pytest.mark.parametrize(
    ("typed", "message"),
    [
        ("", "Nothing was entered; a vehicle identification number has 17 characters."),
        (
            INVENTED[:5] + "O" + INVENTED[6:],
            "Character 6 is O: the letters I, O and Q are never used; 0 is probably meant.",
        ),
        (
            INVENTED[:5] + "i" + INVENTED[6:],
            "Character 6 is I: the letters I, O and Q are never used; 1 is probably meant.",
        ),
        (
            INVENTED[:16],
            "16 characters, 17 expected: 1 is missing. "
            "Vehicles built before 1981 may have shorter numbers: enter those as a note.",
        ),
        (INVENTED + "34", "19 characters, 17 expected: 2 are too many."),
        (
            INVENTED[:5] + "ß" + INVENTED[6:],
            "Character 6 is 'ß': only figures and the letters A to Z without I, O and Q are used.",
        ),
    ],
)
def test_typed_errors_say_what_to_do(typed: str, message: str) -> None:
    with pytest.raises(VinError) as caught:
        Vin.parse(typed)
    assert str(caught.value) == message


def test_two_errors_are_both_told() -> None:
    with pytest.raises(VinError) as caught:
        Vin.parse("Q" + INVENTED[1:15])
    assert len(caught.value.problems) == 2


def test_lookalikes_find_the_mistyped_character() -> None:
    right = "1M8GDM9AXKP042788"
    wrong = right.replace("8GDM", "BGDM")
    vin = Vin.parse(wrong)
    assert vin.doubtful
    assert right in vin.lookalikes()
    assert Vin.parse(right).lookalikes() == ()


@given(st.text(ALPHABET, min_size=17, max_size=17), st.integers(0, 16), st.sampled_from(ALPHABET))
def test_one_changed_weighted_value_changes_the_check_digit(vin: str, position: int, other: str) -> None:
    """11 is prime and no weight but that of position 9 is a multiple of it."""
    changed = vin[:position] + other + vin[position + 1 :]
    differs = position != 8 and VALUES[other] != VALUES[vin[position]]
    assert (check_digit(changed) != check_digit(vin)) == differs


@given(st.text(max_size=40))
def test_any_text_gives_a_number_or_a_told_error(text: str) -> None:
    try:
        outcome: tuple[str, ...] | str = Vin.parse(text).text
    except VinError as error:
        outcome = error.problems
    assert len(outcome) == 17 if isinstance(outcome, str) else all(outcome)
