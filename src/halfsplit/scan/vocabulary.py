"""The words that reports of fault codes use, in English, German, French, Spanish and Italian.

Patterns run over `folded` text: small letters without accents, so that capitals and missing accents do not matter.
These are words of the language and of the standards; no program's layout is described here.
"""

from __future__ import annotations

import re

from halfsplit.scan.folding import folded

SILENT = re.compile(
    r"do(?:es)?(?: not|n.t) (?:answer|respond|reply|communicate)|(?:is )?not (?:answering|responding|communicating)"
    r"|(?:no|without|without any) (?:answer|response|reply|comm(?:unication|s)?\b)|did not (?:answer|respond|reply)"
    r"|(?:un|not )reachable|(?:could|can)(?:not| not|n.t) be reached|unable to (?:communicate|connect)"
    r"|(?:comm(?:unication|s)|kommunikation|verbindung)\s*[:=-]?\s*"
    r"(?:error|failure|failed|impossible|gestort|fehlgeschlagen|nicht moglich|lost)"
    r"|time[- ]?out|timed out|\boffline\b"
    r"|keine (?:antwort|kommunikation|verbindung|ruckmeldung)|antworte(?:t|n) nicht|nicht erreichbar"
    r"|kein (?:zugriff|kontakt)(?= (?:auf|zu|mit)|$)"
    r"|melde(?:t|n) sich nicht|kommunizier(?:t|en) nicht|geen (?:antwoord|communicatie|verbinding)"
    r"|antwoorde?t? niet|reageert niet"
    r"|nao (?:responde|comunica)m?|(?:sem|nenhuma) (?:resposta|comunicacao)"
    r"|ohne antwort|zeituberschreitung"
    r"|ne (?:repond(?:ent)?|communique(?:nt)?) pas|(?:pas de|aucune|sans) (?:reponse|communication)"
    r"|injoignable|non joignable"
    r"|ne peut (?:pas )?etre joint|delai depasse|(?:muet(?:te)?|stumm|silent|mud[oa]|muto|muta)(?=\s*(?:[;,.)]|$))"
    r"|no (?:responden?|contestan?|comunican?|hay (?:respuesta|comunicacion)|disponible|se pudo comunicar)"
    r"|(?:sin|ninguna) (?:respuesta|comunicacion|conexion|contestacion)|inaccesible|incomunicad[oa]"
    r"|(?:fallo|error|perdida) de comunicacion|tiempo (?:de espera )?agotado"
    r"|non (?:risponde|rispondono|comunica(?:no)?|raggiungibil[ei]|risponda)"
    r"|(?:nessuna|senza|assenza di|manca(?:ta)?) (?:risposta"
    r"|comunicazione)"
    r"|irraggiungibile|(?:errore|perdita) di comunicazione|comunicazione (?:assente|fallita|persa|interrotta"
    r"|non riuscita)"
    r"|comunicacion (?:fallida|perdida|interrumpida|imposible)|communication (?:interrompue|perdue|absente)"
    r"|tempo scaduto|no se puede (?:comunicar|conectar)"
)
_ANSWERING = (
    r"(?:communications?|comms?|connection|response|answer(?:s|ed|ing)?|respond(?:s|ing)?|repl(?:y|ies)"
    r"|reach(?:able|ed)"
    r"|online|kommunikation|verbindung|antwort(?:et)?|erreichbar|reponse|repond|liaison|joignable"
    r"|comunicacion|comunica|respuesta|responde|contesta|conexion|comunicazione|risposta|risponde|collegamento)"
)
_NO = (
    r"(?:no|none|nil|not|negative|false|nein|keine?|nicht|non|aucune?|negatif|negativ[oa]?|ninguna?|nessuna?"
    r"|failed|n)"
)
_YES = (
    r"(?:yes|ok|true|good|positive|ja|vorhanden|gut|oui|bonne?|si|positiv[oa]?|established|hergestellt|etablie"
    r"|correct[oa]?|corretta)"
)
ANSWER_SAID = re.compile(
    rf"(?:^|(?<=[\s:;,|>(*\"'-])){_ANSWERING}(?: (?:status|state|estado|stato|etat))?\"?[\s.:=|>_-]+"
    rf"\"?(?:(?P<no>{_NO})|(?P<yes>{_YES}))\"?\W*$"
)
"""`Communication ....: none`, `"answers": false`, `Antwort: ja`: whether a unit answers, as a label and a word."""
SILENT_AROUND = re.compile(
    r"(?:communication|connection|verbindung|kommunikation|liaison|comunicacion|conexion|comunicazione)"
    r" (?:with|to|mit|zu|zum|zur|avec|con)"
    r"(?: the| dem| der| le| la| el| il| lo)? (?P<unit>.{2,50}?) (?:has |is |ist |a |ha |es |e )?"
    r"(?:failed|lost|not possible|impossible|fehlgeschlagen|nicht moglich|gestort|echoue|perdue|imposible|fallida"
    r"|perdida"
    r"|fallita|persa|impossibile)"
)
WITH = re.compile(
    r"\s*(?:from|with|to|von|mit|auf|zu|avec|del?|du|con|da|di|dal|dalla)(?:\s*:)?\s+(?:the\s+|dem\s+|der\s+|le\s+"
    r"|la\s+|el\s+|il\s+)?"
)

NO_CODES = re.compile(
    r"no (?:stored |active |fault |trouble |diagnostic |error )*(?:faults?|codes?|dtcs?|errors?|entries)"
    r"(?: found| stored| present| detected| recorded)?"
    r"|(?:(?:fault|error|dtc|code|event) )?memory (?:is )?(?:empty|clear)|fehlerspeicher (?:ist )?leer"
    r"|memoire (?:(?:de |des )?defauts? )?(?:est )?vide|memoria (?:(?:de |di )?(?:averias|fallos|guasti|errori) )?"
    r"(?:esta )?(?:vacia|vuota)"
    r"|fault[- ]free|without faults?|\b0 (?:faults?|codes?|dtcs?|errors?)\b"
    r"|keine? (?:fehler(?:codes?|eintrage?|n)?|storung(?:en)?|eintrage?)"
    r"(?: gespeichert| vorhanden| gefunden| abgelegt)?"
    r"|fehlerfrei|ohne fehler|\b0 (?:fehler|storungen|eintrage)\b"
    r"|(?:aucun|pas de|sans) (?:code(?:s)? (?:de )?)?(?:defauts?|codes?|erreurs?|anomalies?)"
    r"(?: memorises?| presents?| detectes?)?|\b0 (?:defauts?|codes?|erreurs?)\b"
    r"|(?:sin|ningun[oa]?|no hay) (?:codigos? (?:de )?)?(?:averias?|fallos?|codigos?|errores|dtcs?)"
    r"(?: (?:memorizad|almacenad|registrad|detectad)[oa]s?)?"
    r"|(?:nessun[oa]?|senza) (?:codic[ei] (?:di )?)?(?:guast[oi]|difett[oi]|error[ei]|codic[ei]|anomali[ae]|dtc)"
    r"(?: (?:memorizzat|presente|rilevat)[oaie]?)?"
    r"|\b0 (?:averias|fallos|codigos|errores|guasti|errori|codici|difetti)\b"
)
GOOD = re.compile(
    r"ok|o\.k\.|i\.?o\.?|in ordnung|passed|bon|conforme|pass|good|bien|correcto|bene|regolare|a posto"
)

FAULT_NOUN = (
    r"(?:fault codes?|trouble codes?|faults?|dtcs?|codes?|errors?|entries|fehlercodes?|fehlereintrage?|fehler"
    r"|storungen|eintrage|codes? (?:de )?defauts?|defauts?|erreurs?|codigos?(?: de (?:averia|fallo))?|averias?"
    r"|fallos?"
    r"|errores|codic[ei](?: (?:di )?guasto)?|guasti?|errori?|anomali[ae])"
)
COUNT = re.compile(
    rf"(?P<count>\d{{1,3}}) {FAULT_NOUN}\b"
    rf"|{FAULT_NOUN}(?: found| stored| gespeichert| memorises?| memorizad[oa]s| almacenad[oa]s"
    rf"| memorizzati)?\s*[:=(]\s*(?P<after>\d{{1,3}})\b"
)
TOTAL = re.compile(
    r"\b(?:total|altogether|in all|sum|gesamt|insgesamt|summe|au total|en tout|en total|totale|in totale)\b"
)

UNIT_KEY = re.compile(
    r"(?:electronic )?(?:control (?:unit|module)|ecu|unit|module|system|address|steuerger(?:ae|a)te?|stg|sg"
    r"|baugruppe|systeme|adresse|calculateur|boitier|module electronique|unite(?: de commande)?"
    r"|unidad(?: de (?:control|mando))?|centralita|modulo(?: de control)?|sistema|direccion|centralina"
    r"|unita(?: di controllo)?"
    r"|calcolatore|indirizzo|control unit name|ecu name|unit name)"
    r"(?=\s*[:=#]|\s+(?:no\.?|nr\.?|n[o°])?\s*(?:\d|0x|[-\u2013]))"
)

VEHICLE_KEYS = (
    (
        "vin",
        r"vin|fin|v\.?i\.?n\.?|chassis(?: no\.?| number)?"
        r"|fahrgestell(?:nummer|-?nr\.?)|fahrzeug-?ident\S*|n[o°]? ?(?:de )?(?:chassis|serie)"
        r"|numero de (?:chassis|serie)|(?:numero de )?bastidor|(?:numero )?(?:di )?telaio|telaio",
    ),
    (
        "odometer",
        r"odometer|mileage|km|km-?stand|kilometerstand|laufleistung|kilometrage|compteur|distance"
        r"|kilometraje|odometro|cuentakilometros|chilometraggio|chilometri|contachilometri",
    ),
    (
        "battery",
        r"(?:battery|supply|system)(?: voltage| volts)?|(?:batterie|bord(?:netz)?)-?spannung"
        r"|tension (?:de (?:la )?|d.)?(?:batterie|alimentation)|ubat"
        r"|klemme 30|(?:tension|voltaje) (?:de (?:la )?)?(?:bateria|alimentacion)|tensione (?:di "
        r"|della )?(?:batteria|alimentazione)",
    ),
    (
        "date",
        r"date(?: and time)?|datum(?: ?/ ?uhrzeit)?|time|uhrzeit|heure|date et heure|printed|gedruckt|imprime"
        r"|fecha(?: y hora)?|hora|data(?: e ora)?|ora|impreso|stampato",
    ),
    (
        "plate",
        r"plate|registration|licen[cs]e plate|kennzeichen|amtl\. kennzeichen|immatriculation|plaque"
        r"|matricula|targa",
    ),
    (
        "vehicle",
        r"vehicle|car|model|make|fahrzeug|modell|marke|typ|vehicule|modele|marque|engine code|motorkennbuchstabe"
        r"|model year|modelljahr|annee(?: modele)?|year|baujahr|vehiculo|coche|modelo|marca|ano|veicolo|vettura"
        r"|modello|anno",
    ),
    (
        "job",
        r"customer|kunde|client|job|order|auftrag(?:s-?nr\.?|snummer)?|ordre(?: de reparation)?|technician|mechaniker"
        r"|technicien|workshop|werkstatt|garage|atelier|operator|bediener|taller|cliente|orden|tecnico|officina"
        r"|ordine|commessa"
        r"|operador|operatore",
    ),
    (
        "tool",
        r"tool|software|version|device|interface|gerat|programm|appareil|logiciel|serial(?: number| no\.?)?|protocol"
        r"|protokolltyp|protocole|herramienta|equipo|programa|interfaz|protocolo|strumento|programma|interfaccia"
        r"|protocollo",
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
        r"|steuerger(?:ae|a)t|stg|baugruppe|calculateur|boitier|systeme|unite|name"
        r"|unidad(?: de (?:control|mando))?|centralita|modulo|sistema|centralina|unita|nombre|nome|nom",
    ),
    (
        "code",
        r"(?:fault |trouble |error |diagnostic )*code|dtc|fehlercode"
        r"|fehler-?(?:nr\.?|nummer)|fehler|code(?: de)? defaut|defaut"
        r"|code(?: de)? panne|fault|codigo(?: de (?:averia|fallo|error))?|averia|fallo"
        r"|codice(?: (?:di )?(?:guasto|errore))?|guasto",
    ),
    (
        "status",
        r"status|state|result|ergebnis|resultat|zustand|statut|etat|type|art|status ?byte|estado|resultado|stato"
        r"|risultato|tipo",
    ),
    (
        "answer",
        r"answers?|responds?|response|communication|comms?|antwort|erreichbar|kommunikation|reponse|repond"
        r"|responde|respuesta|comunicacion|risponde|risposta|comunicazione|online",
    ),
    ("failure type", r"(?:failure|fault) type|ftb|fehlerart|type de defaut|symptom"),
    (
        "words",
        r"description|text|meaning|fault text|beschreibung"
        r"|fehlertext|bedeutung|libelle|intitule|designation|details?|remarks?|descripcion|texto|significado"
        r"|descrizione|testo"
        r"|significato|detalles?|dettagli[oi]?",
    ),
    (
        "other",
        r"date|time|datum|uhrzeit|km|mileage|odometer|km-?stand|kilometrage|address|adresse|id|nr\.?|no\.?|n[o°]"
        r"|#|hardware|software"
        r"|part number|teilenummer|reference|frequency|haufigkeit|frequence|counter|zahler|compteur|priority"
        r"|prioritat",
    ),
)
COLUMN_PATTERNS = tuple((name, re.compile(pattern)) for name, pattern in COLUMNS)

HEADING = re.compile(
    r"(?:(?:(?:end|start) of )?(?:vehicle |dtcs? |fault |system |diagnostic |test |full |quick |short |overall "
    r"|all )*"
    r"(?:report|scan|memory|memories|overview|results?|summary|protocol|diagnosis|check|codes?|faults?|systems"
    r"|units|list|entries)"
    r"|(?:fahrzeug|fehler|system|diagnose|gesamt|kurz|prüf|pruf)*(?:protokoll|speicher|bericht|ubersicht|liste"
    r"|diagnose|abfrage|ergebnis|ende)"
    r"(?: lesen| ausgelesen)?"
    r"|(?:rapport|lecture|liste|resultat|fin|bilan|memoire|synthese)"
    r"(?: (?:de|des|du|d.)? ?(?:diagnostic|defauts?|codes?|rapport|lecture|calculateurs|memoire))*"
    r"|(?:informe|lectura|lista|resultados?|resumen|memoria|fin|rapporto|lettura|elenco|riepilogo|fine|referto)"
    r"(?: (?:de|del|di|degli|dei|delle|la|las|los|averias?|fallos?|codigos?|errores|guasti|errori|codici"
    r"|centralit[ae]"
    r"|centralin[ae]|unidades|diagnos(?:is|tico|i)|sistemas?|memoria|vehiculo|veicolo))*"
    r"|(?:page|seite|pagina)\s*\d+(?:\s*(?:of|von|sur|de|/)\s*\d+)?|ende(?: des (?:berichts|protokolls))?)"
)

AFFIRMATIVE = re.compile(r"yes|ja|oui|si|y|s|ok|true|1|online|answers?|antwortet|repond|responde|risponde")
NEGATIVE = re.compile(r"no|nein|non|n|false|0|offline|none|-+|keine?|aucune?|ninguna?|nessuna?|null|nil")

# Words before a code that only announce it.
ANNOUNCES = re.compile(
    r"(?:fault|trouble|error|diagnostic|stored|code|codes|dtc|dtcs|fehler|fehlercode|fehlernummer|eintrag|storung"
    r"|defaut|erreur"
    r"|codigo|averia|fallo|codice|guasto|errore"
    r"|de|no|nr|n[o°]|nummer|number|numero|entry|obd|obdii|uds|j2012|iso|sae)"
)


def column_of(cell: str) -> str | None:
    """Which column a heading cell names, or None."""
    words = folded(cell).strip(" :*#|") or cell.strip()
    return next((name for name, pattern in COLUMN_PATTERNS if pattern.fullmatch(words)), None)
