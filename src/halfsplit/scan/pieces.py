"""A line that speaks of several units, cut where the next one begins; and blanks in thousands made few.

`ECM: P0562(C); BCM: B1044-13(C); DDM: no comm` is three pieces, so that each code goes to its own unit and a silent
unit is not lost. A line is cut only where at least two pieces name a unit and say something of it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from halfsplit.scan import vocabulary
from halfsplit.scan.find import codes_in, unit_name
from halfsplit.scan.status_words import status_alone
from halfsplit.scan.vocabulary import column_of, folded, unscanned

LONGEST_LINE = 2000
LONGEST_RUN = 40
LONGEST_OWNER = 40
_RUN = re.compile(rf"\s{{{LONGEST_RUN + 1},}}|([^\w\s])\1{{{LONGEST_RUN},}}")
_CUTS = (";", "|", " / ", ",", "\t", "   ", ". ", " - ")
_OWNED = re.compile(r"\s*(?P<owner>[^:=>]{2,40}?)\s*(?:[:=]|->|=>|\s[-\u2013]\s)\s*(?P<said>\S.*)$")
_BRACKETS = re.compile(r"(?P<owner>[^()\[\];,|:]{2,40}?)\s*[(\[](?P<said>[^()\[\]]{2,400})[)\]]\s*[;,|/]?\s*")
_ABBREVIATION = r"[A-Z][A-Z0-9/_]{1,9}"
_CODE = r"[PCBU][0-3O][0-9A-FO]{3}(?:[-:.]?[0-9A-F]{2})?"
_STATUS_WORD = r"(?i:" + "|".join(vocabulary.WORDS["status"].values()) + r"|\([A-Z]{1,2}\))"
_SILENT_WORD = r"(?i:no (?:comm|communication|response|answer)|silent|offline|n/?r|ok|no codes|no dtcs?)"
_RUN_ON = re.compile(
    rf"(?!{_CODE}\b)(?P<owner>{_ABBREVIATION})\s+(?P<said>(?:{_CODE}(?:\s*{_STATUS_WORD})?[\s,;/]*)+|{_SILENT_WORD}[\s,;/]*(?=[A-Z]|$))"
)
_ABBREVIATED = re.compile(rf"\s*(?!{_CODE}\b)(?P<owner>{_ABBREVIATION})\s+(?P<said>\S.*)$")
_TITLES = re.compile(r"\[(?P<owner>[^\[\]]{2,40})\]\s*(?:[:=]\s*|-{1,2}\s+)?(?P<said>[^\[\]]{1,400})")
_LIST = re.compile(r"^(?P<head>[^:=]{2,60}?)\s*[:=]\s*(?P<names>[^:=]{2,1500})$")
_OF_SEVERAL = (
    (vocabulary.SILENT, "does not answer"),
    (vocabulary.NO_CODES, "no codes"),
    (re.compile(vocabulary.WORDS["all_answer"]), "communication ok"),
)
"""What a keyword says of each unit in the list behind it."""
_OF_ALL = frozenset(vocabulary.WORDS["of_all"].split())
_AND = re.compile(r"\s*[,;/|]\s*|\s+(?:and|und|et|y|e)\s+")


def with_few_blanks(text: str) -> str:
    """The text with runs of blanks, or of one mark, cut to forty: patterns that look about in them stay quick."""
    return _RUN.sub(lambda run: run[0][:LONGEST_RUN], text)


def pieces_of(text: str) -> tuple[str, ...]:
    """The pieces of a line, one for each unit that it speaks of; the line alone where it is of one unit or none."""
    cuts = (cut(text) for cut in (_tiled, _listed, _sentence, _in_cells, _separated))
    return next(filter(None, cuts), (text,))


def _separated(text: str) -> tuple[str, ...]:
    """Pieces of which each names a unit and says something of it, between marks of one sort."""
    for mark in _CUTS:
        if mark not in text:
            continue
        parts = text.split(mark) if mark != "   " else re.split(r" {3,}", text)
        owned = [
            match is not None and _names(match["owner"]) and _tells(match["said"])
            for match in (_OWNED.match(part) or _ABBREVIATED.match(part) for part in parts)
        ]
        if owned[0] and sum(owned) > 1:
            begins = [place for place, begin in enumerate(owned) if begin]
            ends = [*begins[1:], len(parts)]
            return tuple(mark.join(parts[a:b]).strip() for a, b in zip(begins, ends, strict=True))
    return ()


def _names(owner: str) -> bool:
    """Whether it can be a unit's name: two letters, and nothing that says something else."""
    words = folded(owner).strip(" .*-#")
    return sum(character.isalpha() for character in unit_name(owner)) > 1 and not (
        column_of(words) not in (None, "unit")
        or status_alone(owner)
        or codes_in(owner)
        or vocabulary.SILENT.search(words)
        or any(pattern.match(words + ":") for _, pattern in vocabulary.VEHICLE_PATTERNS)
        or vocabulary.ANSWER_SAID.search(f"{words}: no")
    )


def _tells(said: str) -> bool:
    """Whether it says a code of a unit, its silence or its health."""
    words = folded(said).strip()
    return bool(
        codes_in(said)
        or vocabulary.SILENT.match(words)
        or vocabulary.NO_CODES.match(words)
        or vocabulary.GOOD.fullmatch(words.strip(" ."))
        or re.fullmatch(r"(?:no[ -]?comms?|nc|n/[cr]|nr|none|0)\W*", words)
    )


def _tiled(text: str) -> tuple[str, ...]:
    """Names and what is said of each, and nothing else.

    `ECM P0562 P0335 BCM B1044-13 DDM NO COMM`, `ECM(P0562, P0335) BCM(B1044)`, `[ECM] P0562 C [DDM] -- NO RESPONSE`.
    """
    text = text.strip()
    for pattern in (_RUN_ON, _BRACKETS, _TITLES):
        tiles, end = [], 0
        while tile := pattern.match(text, end):
            tiles.append(tile)
            end = tile.end()
        if (
            len(tiles) > 1
            and end == len(text)
            and all(_names(tile["owner"]) and _tells(tile["said"]) for tile in tiles)
        ):
            return tuple(f"{tile['owner'].strip()}: {tile['said'].strip(' ,;/')}" for tile in tiles)
    return ()


def _listed(text: str) -> tuple[str, ...]:
    """`Not responding: ABS, SRS, PDM`: several silent units after their keyword, or several that answer."""
    match = _LIST.match(text.strip())
    head = folded(match["head"]) if match else ""
    keywords = ((pattern.search(head), said) for pattern, said in _OF_SEVERAL)
    keyword, said = next(((keyword, said) for keyword, said in keywords if keyword), (None, ""))
    if match is None or keyword is None:
        return ()
    beside = f"{head[: keyword.start()]} {head[keyword.end() :]}".split()
    if not all(vocabulary.UNIT_KEY.match(f"{word.rstrip('s')}:") or word in _OF_ALL for word in beside):
        return ()
    names = [name for part in _AND.split(match["names"]) if (name := part.strip(" .\"'"))]
    if len(names) < 2 or any(len(name) > LONGEST_OWNER or codes_in(name) or _tells(name) for name in names):
        return ()
    return tuple(f"{name}: {said}" for name in names)


_SENTENCE = re.compile(
    r"\W*(?:[A-Z]?[a-zäéè]+\s+){0,4}?"
    r"(?P<names>[A-Z][A-Z0-9]{1,7}(?:(?:\s*,\s*|\s+(?:and|und|et|y|e)\s+)[A-Z][A-Z0-9]{1,7})+)\s"
)


def _sentence(text: str) -> tuple[str, ...]:
    """`The units ABS and SRS do not answer.`: abbreviations before their silence."""
    match = _SENTENCE.match(text)
    said = vocabulary.SILENT.match(folded(text[match.end() :]).strip()) if match else None
    if match is None or said is None or codes_in(text):
        return ()
    return tuple(f"{name}: does not answer" for name in _AND.split(match["names"]) if name)


def _in_cells(text: str) -> tuple[str, ...]:
    """`ECM, P0562, present, BCM, B1044-13, stored, DDM, no answer`: a unit's cells after its abbreviation."""
    for mark in (";", ",", "|", "\t"):
        cells = [cell.strip() for cell in text.split(mark)]
        begins = [
            place
            for place, cell in enumerate(cells[:-1])
            if re.fullmatch(_ABBREVIATION, cell) and not codes_in(cell) and _tells(cells[place + 1])
        ]
        if len(begins) > 1 and begins[0] == 0 and all(_names(cells[place]) for place in begins):
            ends = [*begins[1:], len(cells)]
            return tuple(
                f"{cells[a]}: {', '.join(cells[a + 1 : b])}" for a, b in zip(begins, ends, strict=True)
            )
    return ()


def lines_and_pieces(texts: list[str]) -> Iterator[tuple[int, int, str]]:
    """(number of the line, number of the piece or 0, its text) for every line of a report. Nothing is left out."""
    for place, text in enumerate(texts, 1):
        # A line as it is or, if it is very long, in stretches that end at a separator.
        stretches, rest = [], with_few_blanks(unscanned(text))
        while len(rest) > LONGEST_LINE:
            end = max(rest.rfind(mark, 0, LONGEST_LINE) for mark in ";|\t,")
            if end <= 0:
                break
            stretches.append(rest[: end + 1])
            rest = rest[end + 1 :]
        pieces = [piece for stretch in (*stretches, rest) for piece in pieces_of(stretch)]
        if len(pieces) == 1:
            yield place, 0, text
        else:
            yield from ((place, number, piece) for number, piece in enumerate(pieces, 1))
