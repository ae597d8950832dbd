"""Where the numbers stand in a delimited text: delimiter, decimal sign, columns, headings, sample interval.

There is no one form. Instruments and spreadsheets write names in a row, units in the names or in a row of
their own, settings above (`Sample interval;10 us`), settings beside the numbers, blanks where a channel is
slow. So the numbers are found first, by the columns that hold some in most lines; the rest follows.
"""

import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Final

from halfsplit.clocks import is_clock
from halfsplit.delimited.cells import is_blank, is_number, is_value, split, unit_in, value_of
from halfsplit.delimited.headings import Heading, heading, is_time, lettered, unit_of

_FORMS: Final[tuple[tuple[str | None, bool], ...]] = (
    ("\t", False),
    (";", False),
    (",", False),
    ("|", False),
    ("\t", True),
    (";", True),
    ("|", True),
    (None, False),
    (None, True),
    (",", True),
)
"""Delimiter (None: runs of blanks) and whether the decimal sign is a comma; the first of equals is taken."""

_DATE: Final = re.compile(r"\d{4}[-/.]\d\d?[-/.]\d\d?|\d\d?[./-]\d\d?[./-](?:\d{4}|\d\d)")
_HALF: Final = re.compile(r"[AaPp]\.?[Mm]\.?")
_INDEX: Final = re.compile(r"^(samples?|index|idx|n|nr\.?|no\.?|#|points?|count|row|line)$", re.IGNORECASE)
_INTERVAL: Final = re.compile(
    r"(interval|intervall|period|periode|increment|time\s*step|time\s*base\s*step|\bdt\b|delta\s*t|\u0394\s*t|sample\s*time)",
    re.IGNORECASE,
)
_RATE: Final = re.compile(
    r"(sampl\w*\s*(rate|frequency|freq)|samplerate|\brate\b|\bfs\b|abtastrate|frequency)", re.IGNORECASE
)
_AMOUNT: Final = re.compile(r"([+-]?(?:\d+[.,]?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([^\s\d;,:=()\[\]]*)")
_TITLE: Final = re.compile(
    r"^(?:channel|trace|signal|curve|kanal|voie)\s*(?:name)?\s*[:=;,\t ]\s*(.+)$", re.IGNORECASE
)


@dataclass(frozen=True)
class Layout:
    """How a section of a text is read.

    `first` is the index of its first line of numbers, `columns` the cells that hold numbers, `heads` their
    headings, `clocks` those of them that hold times of day, `parts` the cells that belong together with one
    of them (the date before a time of day, the unit after a number), `worded` those whose cells hold their
    units, `above` the lines above the headings, `interval` the seconds between samples from these, `title`
    the channel's name where a section above its numbers says it.
    """

    delimiter: str | None
    comma: bool
    first: int
    columns: tuple[int, ...]
    heads: tuple[Heading, ...]
    clocks: frozenset[int] = frozenset()
    parts: Mapping[int, tuple[int, ...]] = field(default_factory=dict)
    worded: frozenset[int] = frozenset()
    quoted: bool = False
    above: tuple[str, ...] = ()
    interval: float | None = None
    title: str = ""

    @property
    def times(self) -> tuple[bool, ...]:
        """Which of the columns are times."""
        return tuple(is_time(head, i == 0) for i, head in enumerate(self.heads))

    def cells(self, line: str) -> list[str]:
        """The cells of a line, without quotes and blanks around."""
        return split(line, self.delimiter)

    def value(self, cells: Sequence[str], column: int) -> float | None:
        """The number in a column, NaN for no reading, None where it is no number or not there."""
        if column >= len(cells):
            return None
        if is_blank(cells[column]):
            return float("nan")
        return value_of(
            " ".join(cells[i] for i in self.parts.get(column, (column,)) if i < len(cells)), self.comma
        )


def find_layout(lines: Sequence[str]) -> Layout | None:
    """The layout of a text from its first lines, or None where no two lines of numbers are found."""
    filled = [line for line in lines if line.strip()]
    said = lines[0].strip() if lines else ""  # spreadsheets may say the delimiter there: `sep=;`
    stated = said[4:] if said.casefold().startswith("sep=") and len(said) == 5 else ""
    delimiter, comma = max(_FORMS, key=lambda form: _score(filled[-200:], form[0], form[1], stated))
    columns, clocks = _columns([split(line, delimiter) for line in filled], comma)
    layout = Layout(delimiter, comma, 0, columns, (), clocks)
    first = _first_row(lines, layout) if columns else None
    if first is None:
        return None
    heads, above = _heads(lines[:first], layout)
    body = [layout.cells(line) for line in lines[first : first + 200] if line.strip()]
    layout = replace(layout, first=first, heads=_with_time(heads, body, layout), parts=_parts(body, layout))
    units = _units(body, layout)
    named = zip(columns, layout.heads, strict=True)
    titles = [match[1].strip(' \t;,"') for line in above if (match := _TITLE.match(line.strip()))]
    return replace(
        layout,
        heads=tuple(Heading(head.name, units[i]) if i in units else head for i, head in named),
        worded=frozenset(units),
        quoted=any('"' in line for line in lines[first : first + 20]),
        above=tuple(above),
        interval=_interval([layout.cells(line) for line in above]),
        title=titles[-1] if titles else "",
    )


def _parts(rows: list[list[str]], layout: Layout) -> dict[int, tuple[int, ...]]:
    """The cells that are read with a column: the date before a time of day, AM or PM or a unit after."""

    def holds(place: int, is_part: Callable[[str], object]) -> bool:
        cells = [row[place] for row in rows if place < len(row) and row[place]]
        return place >= 0 and place not in layout.columns and bool(cells) and all(map(is_part, cells))

    parts: dict[int, tuple[int, ...]] = {}
    for i in layout.columns:
        clock = i in layout.clocks
        before = clock and holds(i - 1, _DATE.fullmatch)
        after = holds(i + 1, _HALF.fullmatch if clock else unit_of)
        if before or after:
            parts[i] = tuple(range(i - before, i + 1 + after))
    return parts


def _units(rows: list[list[str]], layout: Layout) -> dict[int, str]:
    """The base unit of each column whose cells, or the cells beside them, say it."""
    units: dict[int, str] = {}
    for i in layout.columns:
        parts = layout.parts.get(i, (i,))
        texts = [" ".join(row[k] for k in parts) for row in rows if len(row) > layout.columns[-1]]
        said = Counter(unit[0] for text in texts if (unit := unit_in(text, layout.comma)))
        if said and 2 * said.total() > sum(not is_blank(row[i]) for row in rows if i < len(row)):
            units[i] = said.most_common(1)[0][0]
    return units


def _score(sample: Sequence[str], delimiter: str | None, comma: bool, stated: str) -> float:
    if stated and delimiter != stated:
        return -1.0
    score = 0.0
    for cell in (cell for line in sample for cell in split(line, delimiter)):
        score += 1.0 if is_value(cell, comma) else 0.0 if is_blank(cell) else -1.0
    return score


def _columns(rows: list[list[str]], comma: bool) -> tuple[tuple[int, ...], frozenset[int]]:
    """The cells that hold a number or nothing in nearly all of the later rows, and some in all; those with clocks."""
    numeric = [row for row in rows[-200:] if any(is_value(cell, comma) for cell in row)]
    if len(numeric) < 2:
        return (), frozenset()
    width = Counter(len(row) for row in numeric[len(numeric) // 2 :]).most_common(1)[0][0]
    later = [row for row in numeric if len(row) == width][-max(2, len(numeric) // 2) :]
    columns, clocks = [], set()
    for i in range(width):
        cells = [row[i] for row in later]
        times = sum(is_clock(cell) for cell in cells)
        numbers = sum(is_value(cell, comma) for cell in cells) - times
        blanks = sum(is_blank(cell) for cell in cells)
        if numbers + times + blanks < 0.8 * len(cells):
            continue
        # One that is blank by now may have held numbers before: a slower channel that ended.
        if numbers + times or sum(len(row) == width and is_number(row[i], comma) for row in rows) >= 2:
            columns.append(i)
            if times > numbers:
                clocks.add(i)
    return tuple(columns), frozenset(clocks)


def _is_row(cells: list[str], layout: Layout) -> bool:
    if len(cells) <= layout.columns[-1]:
        return False
    there = [cells[i] for i in layout.columns]
    numbers = sum(is_value(cell, layout.comma) for cell in there)
    return numbers > 0 and numbers + sum(is_blank(cell) for cell in there) == len(there)


def _first_row(lines: Sequence[str], layout: Layout) -> int | None:
    """The first whole row that is followed by another one, or by one that has at least a number in the columns."""
    filled = [(i, layout.cells(line)) for i, line in enumerate(lines) if line.strip()]
    for (i, cells), (_, after) in pairwise(filled):
        following = any(is_value(after[k], layout.comma) for k in layout.columns if k < len(after))
        if following and _is_row(cells, layout):
            return i
    return None


def _heads(above: Sequence[str], layout: Layout) -> tuple[tuple[Heading, ...], list[str]]:
    """Headings from the rows just above the numbers, and the lines above those."""
    rest = [line for line in above if line.strip()]
    units = nameless = [""] * len(layout.columns)
    names: list[str] | None = None
    while rest and names is None:
        cells = _picked(rest[-1], layout)
        if cells is None:
            break
        there = [cell for cell in cells if cell]
        known = [cell for cell in there if unit_of(cell) is not None]
        short = all(len(cell) <= 4 for cell in there if cell not in known)
        bracketed = all(cell[0] in "([{" and cell[-1] in ")]}" for cell in there)
        # A row of units is all in brackets, or half of them are known and the others as short.
        if not any(units) and (bracketed or (short and len(known) >= max(1, 0.5 * len(there)))):
            units = cells
        elif any(cell and not is_number(cell, False) for cell in cells):
            names = cells
        else:
            break
        rest.pop()
    if names is None:
        names, units = units, nameless
    filled = [name or f"column {i + 1}" for name, i in zip(names, layout.columns, strict=True)]
    letters = lettered(filled)
    heads = [heading(name, unit, lettered=name in letters) for name, unit in zip(filled, units, strict=True)]
    return tuple(heads), rest


def _picked(line: str, layout: Layout) -> list[str] | None:
    """The cells of a heading that stand over the columns, or None where it has too few."""
    bare = line.strip().lstrip("#%").strip() if line.lstrip().startswith(("#", "%")) else line
    cells, last = layout.cells(bare), layout.columns[-1]
    if layout.delimiter is None:
        wide = [cell for cell in re.split(r"\s{2,}|\t", bare.strip()) if cell]
        words = re.findall(r"[^\s(\[]+(?:\s*[(\[][^)\]]*[)\]])?|[(\[][^)\]]*[)\]]", bare)
        cells = wide if len(wide) == last + 1 else words
    picked = [cells[i] for i in layout.columns] if len(cells) > last else []
    return picked if any(picked) else None


def _with_time(heads: tuple[Heading, ...], body: list[list[str]], layout: Layout) -> tuple[Heading, ...]:
    """Without a heading that says so, a first column that rises is the time, or the sample's number."""
    columns, comma = layout.columns, layout.comma
    if layout.clocks:
        places = zip(heads, columns, strict=True)
        return tuple(Heading(h.name, "s") if c in layout.clocks else h for h, c in places)
    named = any(not head.name.startswith("column ") for head in heads)
    if named or is_time(heads[0], first=True) or len(columns) < 2:
        return heads
    values = [value_of(row[columns[0]], comma) or 0.0 for row in body if _is_row(row, layout)]
    steps = [b - a for a, b in pairwise(values)]
    if len(steps) < 2 or not all(step > 0 for step in steps):
        return heads
    numbered = all(step == 1 for step in steps)
    return (Heading("index") if numbered else Heading("time", "s"), *heads[1:])


def is_index(head: Heading) -> bool:
    """Whether a column only counts the samples."""
    return bool(_INDEX.match(head.name)) and not head.unit


def _interval(settings: list[list[str]]) -> float | None:
    """Seconds between samples, from a line such as `Sample interval;10 us` or `Sample rate: 100 kS/s`."""
    for cells in settings:
        for i, cell in enumerate(cells):
            for pattern, period in ((_RATE, _of_rate), (_INTERVAL, _of_interval)):
                match, after = pattern.search(cell), " ".join(cells[i + 1 :])
                amount = match and (_AMOUNT.search(cell[match.end() :]) or _AMOUNT.search(after))
                if not amount:
                    continue
                bracketed = re.search(r"[(\[]\s*([^)\]]+)\s*[)\]]", cell)
                beyond = after[amount.end() :].strip().split(" ")[0] if amount.string == after else ""
                unit = amount[2] or (bracketed[1] if bracketed else beyond)
                number = float(amount[1].replace(",", "."))
                if number > 0 and (seconds := period(number, unit)):
                    return seconds
    return None


def _of_interval(amount: float, text: str) -> float | None:
    unit = unit_of(text or "s")
    return amount * unit[1] if unit and unit[0] == "s" else None


def _of_rate(amount: float, text: str) -> float | None:
    factor = {"k": 1e3, "K": 1e3, "M": 1e6, "G": 1e9}.get(text[:1], 1.0)
    bare = text[1:] if factor != 1.0 else text
    samples = ("s/s", "sa/s", "sps", "hz", "samples/s", "1/s", "")
    return 1.0 / (amount * factor) if bare.casefold() in samples else None
