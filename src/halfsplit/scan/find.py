"""Codes, status bytes and names inside one line of a report."""

from __future__ import annotations

import re
from dataclasses import replace

from halfsplit.scan.codes import FaultCode
from halfsplit.scan.reading import ReportedCode, terms_of
from halfsplit.scan.status_words import status_alone, status_beside
from halfsplit.scan.vocabulary import ANNOUNCES, folded

# A code of SAE J2012, with a failure type after - : or . or joined on. Scanned text has letters for figures (O, I, l,
# Z, S, G for 0, 1, 1, 2, 5, 6), typed text a blank, a dot or a hyphen after the first letter.
_J2012 = re.compile(
    r"(?<![0-9A-Za-z])([PCBUpcbu])([ .-]?)([0-3OoQIl|Z])([0-9A-Fa-fOoQIl|ZSG]{3})"
    r"(?:[-:.\u2010-\u2015\u2212]([0-9A-FOIlZSG]{2}|[0-9a-f]{2})(?![0-9A-Za-z]|:\S)"
    r"|([0-9A-FOIl]{2}|[0-9a-f]{2})(?![0-9A-Za-z])|(?![0-9A-Za-z]))"
)
_FIGURES = str.maketrans("OoQIl|ZSG", "000111256")
_TWINS = str.maketrans(
    "\u0420\u0421\u0412\u041e\u0440\u0441\u03a1\u0392\u039f\u2010\u2011\u2012\u2013\u2212"
    + "".join(chr(0xFF10 + i) for i in range(10)),
    "PCBOpcPBO-----0123456789",
)
"""Letters of other alphabets that look like those of codes, other dashes, and wide figures."""

_LIKE_A_CODE = re.compile(
    r"(?<![0-9A-Za-z.-])[PCBU][ .-]?(?=[0-9ODBQIl|])(?:[0-9A-Zl|]{0,3}\d[0-9A-Zl|]{0,3}\d[0-9A-Zl|]{0,3}|[OQIl|]{4})"
    r"(?<=[0-9A-Zl|]{5})(?:-[0-9A-Z]{2})?(?![0-9A-Za-z])"
    r"|(?<![0-9A-Za-z.-])[PCBU](?:[0-3OQ] [0-9A-F]{3}|[0-3OQ][0-9] [0-9A-F]{2}|[0-3OQ][0-9]{2} [0-9A-F])(?![0-9A-Za-z])"
)
_LIKE_A_CODE_AT_START = re.compile(r"\W*([PCBU][0-9OQIl|]{3})(?![0-9A-Za-z])(?=\W|$)")
# code, failure type and status as three fields: `U0121 87 2F`
_THREE_FIELDS = re.compile(r"[ \t]+([0-9A-F]{2})[ \t]+([0-9A-F]{2})(?![0-9A-Za-z])")
_JOINED_STATUS = re.compile(r"[-:/]([0-9A-F]{2})(?![0-9A-Za-z])")
_HEX_CODE = re.compile(
    r"(?<![0-9A-Za-z])(?:(?:0x|\$)([0-9A-Fa-f]{6}|[0-9A-Fa-f]{4})|(?<=DTC )([0-9A-F]{6}))(?![0-9A-Za-z])"
)
_SPN = re.compile(r"\bSPN[ :=]*(\d{1,6})\W+FMI[ :=]*(\d{1,2})\b", re.IGNORECASE)
_OWN = re.compile(
    r"\W{0,4}(?:\d{1,2}[.)]\s+)?(?=[0-9A-Z]*\d[0-9A-Z]*\d)([0-9A-F]{4,6}|\d{4,6})(?:\s*[-\u2013:|]\s+|\s{2,}|\t|\s+(?=\D))(?=\S*[^\W\d]{2})"
)
_DATE = re.compile(r"\d{4}-\d\d-\d\d|\d{1,2}[./]\d{1,2}[./]\d{2,4}|\d{1,2}:\d\d")

_STATUS_BYTE = re.compile(
    r"(?:status|status ?byte|statut|etat|state|zustand)\s*(?:byte)?\s*"
    r"(?:[:=]\s*(?:0x|\$)?|\s(?:0x|\$))([0-9a-f]{2})h?(?![0-9a-z])"
    r"|^\W{0,3}(?:0x|\$)?([0-9a-f]{2})h?[\])](?![0-9a-z])|(?:0x|\$)([0-9a-f]{2})h?(?![0-9a-z])"
)
_BULLET = re.compile(
    r"^[\s*\u2022\u2023\u25cf\u25aa\u2713\u2714\u2717\u2718>#=_+|~-]+|^\(?\d{1,3}[.)]\s+"
    r"|^\[(?:[ xX!?]|\d{1,3})\]\s*(?=\S)"
)
_NUMBER_SIGN = re.compile(r"^(?:no\.|nr\.?|n[o\u00ba\u00b0])\s*(?=\d)", re.IGNORECASE)
_EDGES = " \t\r:=-\u2013\u2014|.,;*#_>\u2026~\"'/"
STRONG_END = re.compile(r"(?:[:|\t=\]\u2013\u2014]|\s-|\s{2,}|->|\.{2,})\s*$")


def codes_in(text: str) -> tuple[tuple[ReportedCode, int], ...]:
    """Every code written in a line, with where it begins; words and status come from what follows it."""
    plain = text.translate(_TWINS)
    marks = [_j2012(match, plain) for match in _J2012.finditer(plain) if _is_code(match, plain)]
    for match in _HEX_CODE.finditer(plain):
        code = FaultCode.from_bytes(bytes.fromhex(match[1] or match[2]))
        note = f"hexadecimal {match[0]} read as {code.text}"
        marks.append((match.start(), match.end(), ReportedCode(match[0], code, note=note)))
    marks += [
        (m.start(), m.end(), ReportedCode(f"SPN {m[1]} FMI {m[2]}", None)) for m in _SPN.finditer(plain)
    ]
    marks.sort(key=lambda mark: mark[0])
    ends = [*(start for start, _, _ in marks[1:]), len(text)]
    return tuple(
        (_completed(entry, text[stop:until]), start)
        for (start, stop, entry), until in zip(marks, ends, strict=False)
    )


def _is_code(match: re.Match[str], text: str) -> bool:
    """Enough figures that no word passes: more of them for small letters, a blank, or letters in place of figures."""
    body: str = match[3] + match[4]
    figures = sum(character.isdigit() for character in body)
    strange = set(body) & set("|ZSG") - set("0")
    if match[1].islower() or match[2]:
        return figures >= 3
    if strange:  # figures that look like S, G, Z are believed at the beginning of a line or a cell only
        return figures >= 2 and not re.search(r"[0-9A-Za-z][^:;|\t,]?\s?$", text[: match.start()])
    if not figures and set(body) & set("OoQIl|"):  # a word, unless a status stands beside it: `UOIOO PRESENT`
        return bool(status_alone(re.split(r"[;,|\t]", text[match.end() :])[0]))
    return True


def _j2012(match: re.Match[str], text: str) -> tuple[int, int, ReportedCode]:
    """Where it begins and ends, and the code; its note tells which letters were taken for figures."""
    body, failure = match[3] + match[4], match[5] or match[6] or ""
    figures, failure_type = body.translate(_FIGURES).upper(), failure.translate(_FIGURES)
    code = FaultCode.parse(match[1] + figures + failure_type)
    note = ", ".join(
        f"the {'sign' if letter == '|' else 'letter'} {letter} was read as the figure {figure}"
        for letter, figure in dict.fromkeys(zip(body + failure, figures + failure_type, strict=True))
        if letter.upper() != figure.upper()
    )
    fields = (_JOINED_STATUS if failure else _THREE_FIELDS).match(text, match.end())
    if fields is None:
        return match.start(), match.end(), ReportedCode(match[0], code, note=note)
    *kind, status = (int(field, 16) for field in fields.groups())
    if kind:
        code = FaultCode(code.number, kind[0])
    entry = ReportedCode(match[0], code, status=terms_of(status), status_byte=status, note=note)
    return match.start(), fields.end(), entry


def like_codes(text: str, read: tuple[str, ...]) -> tuple[str, ...]:
    """What looks like a code in a line and is none of those that were `read` from it."""
    plain = text.translate(_TWINS)
    alike = [match[0] for match in _LIKE_A_CODE.finditer(plain)]
    alike += [match[1] for match in [_LIKE_A_CODE_AT_START.match(plain)] if match]
    known = " ".join(read).translate(_TWINS)
    return tuple(dict.fromkeys(text for text in alike if text not in known))


def own_number(text: str) -> ReportedCode:
    """A code that is no one's but the maker's."""
    return ReportedCode(text, None, note="a maker's own number: its meaning is the maker's")


def own_code(text: str) -> ReportedCode | None:
    """A maker's own number at the start of a line with words after it (`00532 - supply`), or None."""
    match = _OWN.match(text)
    if match is None or _DATE.search(text[: match.end() + 6]):
        return None
    return _completed(own_number(match[1]), text[match.end() :])


def _completed(entry: ReportedCode, rest: str) -> ReportedCode:
    byte = status_byte(rest) if entry.status_byte is None else entry.status_byte
    terms = dict.fromkeys(status_beside(rest) + terms_of(byte))
    return replace(entry, words=tidy(rest), status=tuple(terms), status_byte=byte)


def status_byte(text: str) -> int | None:
    """The status byte that a text names in hexadecimal, or None."""
    match = _STATUS_BYTE.search(folded(text))
    return int(match[1] or match[2] or match[3], 16) if match else None


def tidy(text: str) -> str:
    """Words without the separators at their ends and with single spaces."""
    words = re.sub(r"\s*[\t|]\s*|\s{2,}", "; ", text.strip(_EDGES))
    enclosed = len(words) > 1 and words[0] + words[-1] in ("()", "[]", "{}") and words[1:-1].isprintable()
    return words[1:-1].strip() if enclosed and not set(words[1:-1]) & set("()[]{}") else words.strip()


def unit_name(text: str) -> str:
    """The name of a unit without bullets, leaders, brackets and words that only announce a code."""
    name = text.strip()
    while (shorter := _BULLET.sub("", name)) != name:
        name = shorter
    name = re.sub(r"(?:\s*\.){3,}|\s*\t\s*|\s{3,}", " ", name).strip(_EDGES)
    for opening, closing in ("[]", "()", "{}", "<>"):
        if name.startswith(opening) and name.endswith(closing):
            name = name[1:-1]
            break
        if closing not in name:
            name = name.strip(opening)
        if opening not in name:
            name = name.strip(closing)
    name = _NUMBER_SIGN.sub("", name.strip(_EDGES))
    words = (word.strip(".#") for word in re.split(r"[\s:;,()/-]+", folded(name)))
    return (
        name if any(word and not word.isdigit() and not ANNOUNCES.fullmatch(word) for word in words) else ""
    )
