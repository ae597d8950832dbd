"""The status of a code in words, in five languages.

A status is believed where it is set off (`P0562; supply low; present`, `(stored)`), where it ends a line, or stands
alone. In the midst of a description the same words say something else: `circuit current too high`, `active suspension`.
"""

from __future__ import annotations

import re

from halfsplit.scan.folding import folded

# Status terms of ours, in the order in which they are looked for: what says 'not' comes before what it denies.
STATUS_TERMS = (
    (
        "not tested",
        r"not (?:yet )?tested|not complete[d]?|incomplete|nicht getestet|nicht gepruft|non teste|test non termine"
        r"|no (?:probad|comprobad|verificad|completad)[oa]|sin probar|prueba no (?:realizada|completada)"
        r"|non (?:testat|verificat|completat)[oa]|test non (?:eseguito|completato)",
    ),
    (
        "not present",
        r"no(?:t|t any more| longer) (?:present|active|current)|inactive"
        r"|nicht (?:mehr )?(?:aktiv|aktuell|vorhanden)|inaktiv"
        r"|(?:n.est )?plus (?:present|actif)e?|ya no (?:presente|activ[oa]|actual)|non piu (?:presente|attiv[oa])"
        r"|niet (?:meer )?(?:aanwezig|actief|actueel)"
        r"|non present|non actif|inactif|absente?|passive?|passiv[oa]?"
        r"|no (?:present|activ|actual)[oae]?|inactiv[oa]|ausente|non (?:presente|attiv[oa]|attuale)|inattiv[oa]"
        r"|assente",
    ),
    (
        "intermittent",
        r"intermittente?|sporadic|sporadisch|zeitweise|zeitweilig|sporadique|fugitif|aussetzend"
        r"|intermitente|e?sporadic[oa]|saltuari[oa]",
    ),
    (
        "pending",
        r"pending|(?:not|nicht|non|no) (?:confirmed|bestatigt|confirmee?|confirmad[oa]|confermat[oa])"
        r"|vorlaufig|ausstehend|anstehend|provisoire|en attente|pendiente|pendente|in (?:attesa|sospeso)",
    ),
    ("confirmed", r"confirmed|bestatigt|confirmee?|confirmad[oa]|confermat[oa]"),
    ("permanent", r"permanente?|dauerhaft|standig"),
    (
        "present",
        r"present|presente|active?|current|aktiv|aktuell|vorhanden|statisch|active?|actif|actuel(?:le)?|failed now"
        r"|liegt an|actual(?:es)?|activ[oa]"
        r"|vigente|aanwezig|actueel|actief|attual[ei]|attiv[oa]|corrente",
    ),
    (
        "stored",
        r"stored|history|historic(?:al)?|memori[sz]ed|gespeichert|abgelegt|historisch|memorisee?|enregistree?"
        r"|historique"
        r"|saved|logged|in memory|memorizad[oa]|almacenad[oa]|guardad[oa]|registrad[oa]|en memoria|historic[oa]"
        r"|memorizzat[oa]|registrat[oa]|salvat[oa]|in memoria|storic[oa]"
        r"|en memoire|opgeslagen|armazenad[oa]|gravad[oa]",
    ),
    (
        "warning lamp",
        r"(?:mil|warning lamp|warnleuchte|kontrollleuchte|voyant)(?: is| est)? (?:on|ein|an|allume)"
        r"|warning lamp asked for",
    ),
    ("failed this cycle", r"failed this cycle"),
    ("failed since clear", r"failed since clear"),
)
STATUS_PATTERNS = tuple((term, re.compile(rf"\b(?:{pattern})\b")) for term, pattern in STATUS_TERMS)

_FILLER = re.compile(
    r"\b(?:status|statut|stat[oe]|estado|etat|zustand|state|type|art|tipo|faults?|codes?|codigos?|codic[ei]|dtcs?"
    r"|fehler\w*"
    r"|defauts?|pannes?|averias?|guast[oi]|errors?|erreurs?|errores|error[ei]|trouble|diagnostic|and|und|et|y|e"
    r"|is|ist|est|es|as"
    r"|currently|aktuell|de|of|the|la|le|der|die|das|mil|obd|uds)\b"
)
_SET_OFF = re.compile(r"[;|\t,()\[\]{}/:=]|\.?\s{2,}|\.\s|\s[-\u2013]\s")
_LEADING = frozenset({"pending", "confirmed", "stored", "not present", "not tested"})
_NOUNS = frozenset({"current", "corrente", "actual"})
"""Words of a status that are more often something else where they are not set off."""

_SIGNAL = re.compile(
    r"(?:signal|senal|segnale|volts?|voltage|tension|spannung|pulses?|feedback|fuse|key|schlussel|cle)$"
)
"""What is not present in a description, rather than the code itself."""


def status_terms(text: str) -> tuple[str, ...]:
    """Our status terms for the words found in a text, each once; what is denied is not found again."""
    rest = folded(text)
    terms = []
    for term, pattern in STATUS_PATTERNS:
        rest, hits = pattern.subn(" ", rest)
        if hits:
            terms.append(term)
    return tuple(terms)


def status_alone(text: str) -> tuple[str, ...]:
    """The status terms of a text that says nothing else, or none.

    >>> status_alone("Stored fault codes"), status_alone("Active suspension")
    (('stored',), ())
    """
    rest = folded(text)
    for _, pattern in STATUS_PATTERNS:
        rest = pattern.sub(" ", rest)
    if any(character.isalpha() for character in _FILLER.sub(" ", rest)):
        return ()
    return status_terms(text)


def status_beside(text: str) -> tuple[str, ...]:
    """The status terms in what stands beside a code, as far as they are no part of its description."""
    parts = [part for part in _SET_OFF.split(folded(text)) if part.strip(" .-*#>\"'")]
    terms = [term for part in parts for term in status_alone(part)]
    if not terms and parts:
        terms = [*_at_end(parts[-1].split()), *_at_start(parts[0].split())]
    return tuple(dict.fromkeys(terms))


def _at_end(words: list[str]) -> tuple[str, ...]:
    for count in (4, 3, 2, 1):
        run = words[-count:]
        if len(words) <= count or " ".join(run).strip(".") in _NOUNS:
            continue
        terms = status_alone(" ".join(run))
        if terms:
            return () if terms == ("not present",) and _SIGNAL.search(words[-count - 1]) else terms
    return ()


def _at_start(words: list[str]) -> tuple[str, ...]:
    for count in (3, 2, 1):
        terms = status_alone(" ".join(words[:count]))
        if len(words) > count and terms and set(terms) <= _LEADING:
            return terms
    return ()
