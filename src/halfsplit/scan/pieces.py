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
_ALL_ANSWER = re.compile(vocabulary.WORDS["all_answer"])
_OF_ALL = frozenset(vocabulary.WORDS["of_all"].split())
_AND = re.compile(r"\s*[,;/|]\s*|\s+(?:and|und|et|y|e)\s+")


def with_few_blanks(text: str) -> str:
    """The text with runs of blanks, or of one mark, cut to forty: patterns that look about in them stay quick."""
    return _RUN.sub(lambda run: run[0][:LONGEST_RUN], text)


def pieces_of(text: str) -> tuple[str, ...]:
    """The pieces of a line, one for each unit that it speaks of; the line alone where it is of one unit or none."""
    for cut in (_tiled, _listed, _sentence, _in_cells):
        if pieces := cut(text):
            return pieces
    for mark in _CUTS:
        if mark in text and (pieces := _separated(text, mark)):
            return pieces
    return (text,)


def _separated(text: str, mark: str) -> tuple[str, ...]:
    parts = text.split(mark) if mark != "   " else re.split(r" {3,}", text)
    if len(parts) < 2:
        return ()
    pieces: list[str] = []
    owned = 0
    for part in parts:
        tells = _owns(part)
        owned += tells
        if tells or not pieces:
            pieces.append(part)
        else:
            pieces[-1] += mark + part
    return tuple(piece.strip() for piece in pieces) if owned > 1 and _owns(pieces[0]) else ()


def _owns(part: str) -> bool:
    """Whether a piece names a unit and says a code, silence or health of it."""
    match = _OWNED.match(part) or _ABBREVIATED.match(part)
    return match is not None and _names(match["owner"]) and _tells(match["said"])


def _names(owner: str) -> bool:
    words = folded(owner).strip(" .*-#")
    if (
        column_of(words) not in (None, "unit")
        or status_alone(owner)
        or codes_in(owner)
        or vocabulary.SILENT.search(words)
    ):
        return False
    if any(
        pattern.match(words + ":") for _, pattern in vocabulary.VEHICLE_PATTERNS
    ) or vocabulary.ANSWER_SAID.search(f"{words}: no"):
        return False
    return sum(character.isalpha() for character in unit_name(owner)) > 1


def _tells(said: str) -> bool:
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
    if match is None or not _says_of_all(match["head"]):
        return ()
    names = [name.strip(" .\"'") for name in _AND.split(match["names"]) if name.strip(" .\"'")]
    if len(names) < 2 or any(len(name) > LONGEST_OWNER or codes_in(name) or _tells(name) for name in names):
        return ()
    head = folded(match["head"])
    said = (
        (vocabulary.SILENT, "does not answer"),
        (vocabulary.NO_CODES, "no codes"),
        (_ALL_ANSWER, "communication ok"),
    )
    words_said = next(words for pattern, words in said if pattern.search(head))
    return tuple(f"{name}: {words_said}" for name in names)


def _says_of_all(head: str) -> bool:
    words = folded(head)
    for match in (
        vocabulary.SILENT.search(words),
        vocabulary.NO_CODES.search(words),
        _ALL_ANSWER.search(words),
    ):
        if match is not None:
            rest = (words[: match.start()] + " " + words[match.end() :]).split()
            return all(vocabulary.UNIT_KEY.match(f"{word.rstrip('s')}:") or word in _OF_ALL for word in rest)
    return False


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
        pieces = [piece for chunk in _chunks(unscanned(text)) for piece in pieces_of(chunk)]
        if len(pieces) == 1:
            yield place, 0, text
        else:
            yield from ((place, number, piece) for number, piece in enumerate(pieces, 1))


def _chunks(text: str) -> Iterator[str]:
    """A line as it is or, if it is very long, in stretches that end at a separator."""
    rest = with_few_blanks(text)
    while len(rest) > LONGEST_LINE:
        end = max(rest.rfind(mark, 0, LONGEST_LINE) for mark in ";|\t,")
        if end <= 0:
            break
        yield rest[: end + 1]
        rest = rest[end + 1 :]
    yield rest
