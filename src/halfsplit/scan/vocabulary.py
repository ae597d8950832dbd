"""The words that reports of fault codes use, in English, German and French.

Patterns run over `folded` text: small letters without accents, so that capitals and missing accents do not matter.
These are words of the language and of the standards; no program's layout is described here.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

# Status terms of ours, in the order in which they are looked for: what says 'not' comes before what it denies.
STATUS_TERMS = (
    (
        "not tested",
        r"not (?:yet )?tested|not complete[d]?|incomplete|nicht getestet|nicht gepruft|non teste|test non termine",
    ),
    (
        "not present",
        r"not present|not active|inactive|not current|nicht (?:mehr )?(?:aktiv|aktuell|vorhanden)|inaktiv"
        r"|non present|non actif|inactif|absent|passive?|passiv",
    ),
    (
        "intermittent",
        r"intermittente?|sporadic|sporadisch|zeitweise|zeitweilig|sporadique|fugitif|aussetzend",
    ),
    ("pending", r"pending|vorlaufig|ausstehend|anstehend|provisoire|en attente"),
    ("confirmed", r"confirmed|bestatigt|confirmee?"),
    ("permanent", r"permanente?|dauerhaft|standig"),
    ("present", r"present|presente|active?|current|aktiv|aktuell|vorhanden|statisch|actif|actuel|failed now"),
    (
        "stored",
        r"stored|history|historic(?:al)?|memori[sz]ed|gespeichert|abgelegt|historisch|memorisee?|enregistree?|historique",
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

SILENT = re.compile(
    r"does(?: not|n.t) (?:answer|respond|reply|communicate)|(?:is )?not (?:answering|responding|communicating)"
    r"|(?:no|without|without any) (?:answer|response|reply|comm(?:unication|s)?\b)|did not (?:answer|respond|reply)"
    r"|(?:un|not )reachable|(?:could|can)(?:not| not|n.t) be reached|unable to (?:communicate|connect)"
    r"|(?:comm(?:unication|s)|kommunikation|verbindung)\s*[:=-]?\s*"
    r"(?:error|failure|failed|impossible|gestort|fehlgeschlagen|nicht moglich|lost)"
    r"|time[- ]?out|timed out|\boffline\b"
    r"|keine (?:antwort|kommunikation|verbindung|ruckmeldung)|antwortet nicht|nicht erreichbar|meldet sich nicht"
    r"|ohne antwort|zeituberschreitung"
    r"|ne (?:repond|communique) pas|(?:pas de|aucune|sans) (?:reponse|communication)|injoignable|non joignable"
    r"|ne peut (?:pas )?etre joint|delai depasse"
)
SILENT_AROUND = re.compile(
    r"(?:communication|connection|verbindung|kommunikation|liaison) (?:with|to|mit|zu|zum|zur|avec)"
    r"(?: the| dem| der| le| la)? (?P<unit>.{2,50}?) (?:has |is |ist |a )?"
    r"(?:failed|not possible|impossible|fehlgeschlagen|nicht moglich|gestort|echoue|perdue)"
)
WITH = re.compile(
    r"\s*(?:from|with|to|von|mit|zu|avec|de|du)(?:\s*:)?\s+(?:the\s+|the|dem\s+|der\s+|le\s+|la\s+)?"
)

NO_CODES = re.compile(
    r"no (?:stored |active |fault |trouble |diagnostic |error )*(?:faults?|codes?|dtcs?|errors?|entries)"
    r"(?: found| stored| present| detected| recorded)?"
    r"|fault[- ]free|without faults?|\b0 (?:faults?|codes?|dtcs?|errors?)\b"
    r"|keine? (?:fehler(?:codes?|eintrage?|n)?|storung(?:en)?|eintrage?)"
    r"(?: gespeichert| vorhanden| gefunden| abgelegt)?"
    r"|fehlerfrei|ohne fehler|\b0 (?:fehler|storungen|eintrage)\b"
    r"|(?:aucun|pas de|sans) (?:code(?:s)? (?:de )?)?(?:defauts?|codes?|erreurs?|anomalies?)"
    r"(?: memorises?| presents?| detectes?)?|\b0 (?:defauts?|codes?|erreurs?)\b"
)
GOOD = re.compile(r"ok|o\.k\.|i\.?o\.?|in ordnung|passed|bon|conforme|pass|good")

FAULT_NOUN = (
    r"(?:fault codes?|trouble codes?|faults?|dtcs?|codes?|errors?|entries|fehlercodes?|fehlereintrage?|fehler"
    r"|storungen|eintrage|codes? (?:de )?defauts?|defauts?|erreurs?)"
)
COUNT = re.compile(
    rf"(?P<count>\d{{1,3}}) {FAULT_NOUN}\b"
    rf"|{FAULT_NOUN}(?: found| stored| gespeichert| memorises?)?\s*[:=(]\s*(?P<after>\d{{1,3}})\b"
)
TOTAL = re.compile(r"\b(?:total|altogether|in all|sum|gesamt|insgesamt|summe|au total|en tout)\b")

UNIT_KEY = re.compile(
    r"(?:electronic )?(?:control (?:unit|module)|ecu|unit|module|system|address|steuerger(?:ae|a)te?|stg|sg"
    r"|baugruppe|systeme|adresse|calculateur|boitier|module electronique|unite(?: de commande)?)"
    r"(?=\s*[:=#]|\s+(?:no\.?|nr\.?|n[o°])?\s*(?:\d|0x|[-\u2013]))"
)

VEHICLE_KEYS = (
    (
        "vin",
        r"vin|fin|v\.?i\.?n\.?|chassis(?: no\.?| number)?"
        r"|fahrgestell(?:nummer|-?nr\.?)|fahrzeug-?ident\S*|n[o°]? ?(?:de )?(?:chassis|serie)"
        r"|numero de (?:chassis|serie)",
    ),
    ("odometer", r"odometer|mileage|km|km-?stand|kilometerstand|laufleistung|kilometrage|compteur|distance"),
    (
        "battery",
        r"(?:battery|supply|system)(?: voltage| volts)?|(?:batterie|bord(?:netz)?)-?spannung"
        r"|tension (?:de (?:la )?|d.)?(?:batterie|alimentation)|ubat"
        r"|klemme 30",
    ),
    (
        "date",
        r"date(?: and time)?|datum(?: ?/ ?uhrzeit)?|time|uhrzeit|heure|date et heure|printed|gedruckt|imprime",
    ),
    ("plate", r"plate|registration|licen[cs]e plate|kennzeichen|amtl\. kennzeichen|immatriculation|plaque"),
    (
        "vehicle",
        r"vehicle|car|model|make|fahrzeug|modell|marke|typ|vehicule|modele|marque|engine code|motorkennbuchstabe"
        r"|model year|modelljahr|annee(?: modele)?|year|baujahr",
    ),
    (
        "job",
        r"customer|kunde|client|job|order|auftrag(?:s-?nr\.?|snummer)?|ordre(?: de reparation)?|technician|mechaniker"
        r"|technicien|workshop|werkstatt|garage|atelier|operator|bediener",
    ),
    (
        "tool",
        r"tool|software|version|device|interface|gerat|programm|appareil|logiciel|serial(?: number| no\.?)?|protocol"
        r"|protokolltyp|protocole",
    ),
)
VEHICLE_PATTERNS = tuple(
    (name, re.compile(rf"(?:{pattern})\s*(?:[:=]|\t|\s{{2,}}|\s(?=\d+[.,]\d+ ?v\b))\s*"))
    for name, pattern in VEHICLE_KEYS
)

COLUMNS = (
    (
        "count",
        r"(?:number|count|no\.?|anzahl|nombre)(?: (?:of|de|der))?"
        r"(?: (?:faults|codes|fehler|defauts|dtcs?))?|faults|fehleranzahl",
    ),
    (
        "unit",
        r"(?:control )?(?:unit|module)(?: name)?|ecu|system"
        r"|steuerger(?:ae|a)t|stg|baugruppe|calculateur|boitier|systeme|unite|name",
    ),
    (
        "code",
        r"(?:fault |trouble |error |diagnostic )*code|dtc|fehlercode"
        r"|fehler-?(?:nr\.?|nummer)|fehler|code(?: de)? defaut|defaut"
        r"|code(?: de)? panne|fault",
    ),
    ("status", r"status|state|result|ergebnis|resultat|zustand|statut|etat|type|art|status ?byte"),
    (
        "answer",
        r"answers?|responds?|response|communication|comms?|antwort|erreichbar|kommunikation|reponse|repond",
    ),
    ("failure type", r"(?:failure|fault) type|ftb|fehlerart|type de defaut|symptom"),
    (
        "words",
        r"description|text|meaning|fault text|beschreibung"
        r"|fehlertext|bedeutung|libelle|intitule|designation|details?|remarks?",
    ),
    (
        "other",
        r"date|time|datum|uhrzeit|km|mileage|odometer|km-?stand|kilometrage|address|adresse|id|nr\.?|no\.?|n[o°]|#|hardware|software"
        r"|part number|teilenummer|reference|frequency|haufigkeit|frequence|counter|zahler|compteur|priority|prioritat",
    ),
)
COLUMN_PATTERNS = tuple((name, re.compile(pattern)) for name, pattern in COLUMNS)

HEADING = re.compile(
    r"(?:(?:(?:end|start) of )?(?:vehicle |dtcs? |fault |system |diagnostic |test |full |quick |short |overall |all )*"
    r"(?:report|scan|memory|memories|overview|results?|summary|protocol|diagnosis|check|codes?|faults?|systems|units|list|entries)"
    r"|(?:fahrzeug|fehler|system|diagnose|gesamt|kurz|prüf|pruf)*(?:protokoll|speicher|bericht|ubersicht|liste|diagnose|abfrage|ergebnis|ende)"
    r"(?: lesen| ausgelesen)?"
    r"|(?:rapport|lecture|liste|resultat|fin|bilan|memoire|synthese)"
    r"(?: (?:de|des|du|d.)? ?(?:diagnostic|defauts?|codes?|rapport|lecture|calculateurs|memoire))*"
    r"|(?:page|seite)\s*\d+(?:\s*(?:of|von|sur|de|/)\s*\d+)?|ende(?: des (?:berichts|protokolls))?)"
)

AFFIRMATIVE = re.compile(r"yes|ja|oui|y|ok|true|1|online|answers?|antwortet|repond")
NEGATIVE = re.compile(r"no|nein|non|n|false|0|offline|none|-+|keine?|aucune?")

# Words before a code that only announce it.
ANNOUNCES = re.compile(
    r"(?:fault|trouble|error|diagnostic|stored|code|codes|dtc|dtcs|fehler|fehlercode|fehlernummer|eintrag|storung|defaut|erreur"
    r"|de|no|nr|n[o°]|nummer|number|numero|entry|obd|obdii|uds|j2012|iso|sae)"
)


class _Folding(dict[int, str]):
    """A table for `str.translate` that fills itself: each character is worked out once."""

    def __missing__(self, code: int) -> str:
        base = unicodedata.normalize("NFKD", chr(code))[0].lower()
        self[code] = found = " " if base.isspace() and code != ord("\t") else base[0]
        return found


_FOLDING = _Folding()


@lru_cache(maxsize=256)
def folded(text: str) -> str:
    """Small letters, no accents, no special spaces, and as long as `text`: what the patterns run over."""
    return text.translate(_FOLDING)


def status_terms(text: str) -> tuple[str, ...]:
    """Our status terms for the words found in a text, each once; what is denied is not found again."""
    rest = folded(text)
    found = []
    for term, pattern in STATUS_PATTERNS:
        rest, hits = pattern.subn(" ", rest)
        if hits:
            found.append(term)
    return tuple(found)


def column_of(cell: str) -> str | None:
    """Which column a heading cell names, or None."""
    words = folded(cell).strip(" :*#|") or cell.strip()
    return next((name for name, pattern in COLUMN_PATTERNS if pattern.fullmatch(words)), None)
