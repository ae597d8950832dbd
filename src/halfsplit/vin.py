"""Vehicle identification numbers: form, check digit, region and model year.

Form: ISO 3779. Region: the first character, ISO 3780. Check digit (position 9) and model year
(position 10): 49 CFR 565.15, which binds vehicles for North America only; elsewhere both positions
are the maker's own, so nothing is refused there because of them.

>>> vin = Vin.parse("1m8gdm9ax kp042788")
>>> vin.check_digit_right, vin.region, vin.model_years
(True, 'North America', (1989, 2019))
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from halfsplit.errors import InputError

LENGTH = 17
CHECK_POSITION = 8
YEAR_POSITION = 9
ALPHABET = "0123456789ABCDEFGHJKLMNPRSTUVWXYZ"

# 49 CFR 565.15(c), tables III and IV: the value of each character and the weight of each position.
VALUES = {str(digit): digit for digit in range(10)} | dict(
    zip(
        "ABCDEFGHJKLMNPRSTUVWXYZ",
        (1, 2, 3, 4, 5, 6, 7, 8, 1, 2, 3, 4, 5, 7, 9, 2, 3, 4, 5, 6, 7, 8, 9),
        strict=True,
    )
)
WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)

# 49 CFR 565.15(d)(1), table VII: A is 1980, and again every 30 years.
YEAR_CODES = "ABCDEFGHJKLMNPRSTVWXY123456789"
FIRST_YEAR = 1980
CYCLE = len(YEAR_CODES)

# ISO 3780, first character (from memory). 7 was given to Oceania and later in part to North America.
REGIONS = (
    ("ABCDEFGH", "Africa"),
    ("JKLMNPR", "Asia"),
    ("STUVWXYZ", "Europe"),
    ("12345", "North America"),
    ("6", "Oceania"),
    ("7", "Oceania or North America"),
    ("890", "South America"),
)

FORBIDDEN = {"I": "1", "O": "0", "Q": "0"}
LOOKALIKES = ("0D", "1L", "1T", "17", "2Z", "5S", "6G", "8B", "38", "UV", "VY", "MN", "PR", "CG", "EF")


class VinError(InputError):
    """A text that cannot be such a number; `problems` holds one sentence for each reason."""

    def __init__(self, problems: tuple[str, ...]) -> None:
        super().__init__(" ".join(problems))
        self.problems = problems


@dataclass(frozen=True)
class Vin:
    """A well-formed vehicle identification number and what its characters say.

    text: the 17 characters in capitals. region: by the first character.
    expected_check: the check digit that 49 CFR 565 gives for the other sixteen.
    model_years: the years that position 10 may stand for, empty when it is no year code.
    notes: plain sentences for the technician, the doubtful ones first.
    """

    text: str
    region: str
    expected_check: str
    model_years: tuple[int, ...]
    notes: tuple[str, ...]

    @classmethod
    def parse(cls, text: str) -> Vin:
        """Read what was typed; spaces, hyphens and case do not matter. Raises VinError."""
        cleaned = clean(text)
        problems = tuple(_problems(cleaned))
        if problems:
            raise VinError(problems)
        region = next(region for characters, region in REGIONS if cleaned[0] in characters)
        years = model_years(cleaned)
        return cls(cleaned, region, check_digit(cleaned), years, tuple(_notes(cleaned, region, years)))

    @property
    def check_digit_right(self) -> bool:
        """Whether position 9 is what 49 CFR 565 asks for."""
        return self.text[CHECK_POSITION] == self.expected_check

    @property
    def doubtful(self) -> bool:
        """Whether the check digit must be right by the rules of its region and is not."""
        return self.region == "North America" and not self.check_digit_right

    def lookalikes(self) -> tuple[str, ...]:
        """Numbers one look-alike or one swapped pair away whose check digit is right; only offered."""
        if self.check_digit_right:
            return ()
        return tuple(
            sorted({other for other in _near(self.text) if other[CHECK_POSITION] == check_digit(other)})
        )


def clean(text: str) -> str:
    """Capitals without the spaces, hyphens, dots and asterisks that labels and typing add."""
    kept = (character for character in text if character not in " \t\r\n-.*_")
    return "".join(character.upper() if character.isascii() else character for character in kept)


def weighted_sum(vin: str) -> int:
    """Sum of value times weight over the 17 characters (49 CFR 565.15(c))."""
    return sum(VALUES[character] * weight for character, weight in zip(vin, WEIGHTS, strict=True))


def check_digit(vin: str) -> str:
    """The check character for a well-formed number: remainder by 11, ten written X."""
    return "0123456789X"[weighted_sum(vin) % 11]


def model_years(vin: str) -> tuple[int, ...]:
    """The model years of position 10, earliest first.

    49 CFR 565.15(b): on North American cars and light trucks a letter in position 7 means 2010 to 2039 and a
    figure means 1980 to 2009. Heavy vehicles and other regions do not follow that,
    so the rule only puts the likelier year first in the notes and never drops one.
    """
    index = YEAR_CODES.find(vin[YEAR_POSITION])
    return () if index < 0 else (FIRST_YEAR + index, FIRST_YEAR + CYCLE + index)


def _problems(vin: str) -> Iterator[str]:
    if not vin:
        yield "Nothing was entered; a vehicle identification number has 17 characters."
        return
    for position, character in enumerate(vin, start=1):
        if character in FORBIDDEN:
            yield (
                f"Character {position} is {character}: the letters I, O and Q are never used; "
                f"{FORBIDDEN[character]} is probably meant."
            )
        elif character not in ALPHABET:
            yield (
                f"Character {position} is {character!r}: "
                "only figures and the letters A to Z without I, O and Q are used."
            )
    if len(vin) != LENGTH:
        count = f"{abs(len(vin) - LENGTH)} {'is' if abs(len(vin) - LENGTH) == 1 else 'are'}"
        short = len(vin) < LENGTH
        yield (
            f"{len(vin)} characters, 17 expected: {count} {'missing' if short else 'too many'}."
            + " Vehicles built before 1981 may have shorter numbers: enter those as a note." * short
        )


def _notes(vin: str, region: str, years: tuple[int, ...]) -> Iterator[str]:
    yield from _check_notes(vin, region)
    yield from _year_notes(vin, region, years)
    if not vin[13:].isdigit():
        yield f"The last four characters are {vin[13:]}; ISO 3779 asks for figures there."
    if vin[2] == "9":
        yield "The third character is 9: a maker of few vehicles a year; characters 12 to 14 name it."


def _check_notes(vin: str, region: str) -> Iterator[str]:
    digit, expected = vin[CHECK_POSITION], check_digit(vin)
    if digit == expected:
        yield f"Check digit {digit} is right."
    elif region == "North America":
        yield (
            f"Check digit (character 9) is {digit}, {expected} expected for a North American number: "
            "a character was probably read or typed wrongly. Compare it with the vehicle."
        )
    elif region == "Oceania or North America":
        yield (
            f"Check digit (character 9) is {digit}, {expected} would be right; "
            "only North American numbers must have it."
        )
    else:
        yield f"Check digit cannot be judged: numbers from {region} need not have one."


def _year_notes(vin: str, region: str, years: tuple[int, ...]) -> Iterator[str]:
    code = vin[YEAR_POSITION]
    if region != "North America":
        if years:
            yield (
                f"Character 10 is {code}: model year {years[0]} or {years[1]}, "
                "if the maker uses it for the year at all."
            )
        return
    if not years:
        yield f"Character 10 is {code}, which is no model-year code (U, Z and 0 are not used)."
        return
    earlier, later = years
    likely, other = (later, earlier) if vin[6].isalpha() else (earlier, later)
    kind = "letter" if vin[6].isalpha() else "figure"
    yield (
        f"Model year {likely} if it is a car or light truck (character 7 is a {kind}); "
        f"the code {code} comes again every 30 years, so {other} is possible for other vehicles."
    )


def _near(vin: str) -> Iterator[str]:
    """Every number that one look-alike or one swap of neighbours makes of this one."""
    swaps = {(pair[0], pair[1]) for pair in LOOKALIKES} | {(pair[1], pair[0]) for pair in LOOKALIKES}
    for position, character in enumerate(vin):
        for a, b in swaps:
            if character == a:
                yield vin[:position] + b + vin[position + 1 :]
    for position in range(LENGTH - 1):
        yield vin[:position] + vin[position + 1] + vin[position] + vin[position + 2 :]
