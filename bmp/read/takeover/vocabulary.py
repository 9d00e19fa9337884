"""Words that people write above their columns, in the languages of their farms and schools.

A word proposes what a column is; it never decides. Adding one is adding it to its row.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache

from bmp.read.tables import Cell

TOTALS = re.compile(
    r"\s*(?:grand |sub)?(?:total|sum|mean|average|avg|median|sd|st\.? ?dev|std|min|max|count|"
    r"summe|gesamt|gesamtsumme|mittel|mittelwert|schnitt|durchschnitt|somme|moyenne|suma|"
    r"promedio|media|somma|totaal|gemiddelde|średnia|razem|łącznie)\b[\s:.]*",
    re.IGNORECASE,
)
"""Labels of rows and columns that hold no reading but what was made of others."""

_MISSING = frozenset(
    ("-", "--", "—", "–", "/", ".", "?", "n/a", "na", "nan", "n.a.", "none", "null", "missing",
     "lost", "nil", "k.a.", "k. a.", "fehlt", "entfällt", "brak", "falta", "s/d", "b.d.", "manca")
)  # fmt: skip


def is_missing(cell: Cell) -> bool:
    """Tell whether a cell says that there is no reading."""
    return cell is None or (isinstance(cell, str) and cell.strip().lower() in _MISSING)


# What a column may be -> words for it. The first row that fits is proposed, so the more special
# stand first. They are looked for in the header without its unit, in lower case.
_WORDS: Mapping[str, str] = {
    "note": r"notes?|remarks?|comments?|bemerkung\w*|anmerkung\w*|notiz\w*|kommentar\w*|"
    r"remarques?|observaci\w+|observa[cç]\w+|uwagi?|opmerking\w*|osservazion\w+|notas?|"
    r"who|initials|reader|operator|sheet order|wer|kto|quién|qui",
    "trial of": r"experiment|trial|batch|versuch(?:s?nr\.?)?|ensayo|essai|run(?: no\.?)?|prova|"
    r"doświadczenie",
    "time of day": r"time of day|clock|hour|uhrzeit|uhr|heure|hora|hhmm|hh:mm|orario|godz\w*|ora|"
    r"tijd",
    "date": r"date|datum|fecha|data|am|wann|when|ddmmyyyy|mmddyyyy|yyyymmdd|taken|dia e hora",
    "methane": r"ch4|ch₄|meth?ane?|méthane|metano?|metaan|methan\w*|metanu",
    "headspace": r"head ?space(?: volume)?|kopfraum\w*|gasraum\w*|ciel gazeux|"
    r"espace de tête|air space|espacio de cabeza|spazio di testa|przestrzeń\w*(?: gazow\w*)?|"
    r"gasruimte|kopruimte",
    "volatile acids": r"volatile (?:fatty )?acids|vfa|flüchtige säuren|lkt|agv|ácidos volátiles",
    "VS of inoculum": r"(?:inoc[uo]l\w*|seed|impf\w*) (?:vs|ots|volatile)\b.*",
    "VS": r"vs|vs conc\w*\.?|volatile(?: solids)?|loss on (?:burning|ignition)|ots|otm|otr|odm|"
    r"organi(?:c|sche)\b.*|substrate vs conc\.?|mati[eè]re organique|m ?o|s ?m ?o|"
    r"sucha masa organiczna|s ?v|s[oó]lidos vol[aá]tiles|solidi volatili|sostanza organica",
    "TS": r"ts|dm|tm|tr|total solids|dry(?: (?:matter|solids|mass))?|solids|trocken\w*|"
    r"mati[eè]re s[eè]che|m ?s|s ?m|s ?t|sucha masa|materia seca|s[oó]lidos totales|droge stof|"
    r"solidi totali|sostanza secca",
    "role": r"role|kind|rolle|funktion|rôle|rola|papel|ruolo",
    "emptied": r"emptied|reset|set back|geleert|zurückgesetzt|vidé|vaciado|opróżn\w*|svuotat\w*",
    "inoculum": r"inoc[uo]l\w*|inóculo|inok\w*|seed|sludge|starter|impf\w*|faul\w*|digestate|"
    r"gärrest|boue|lodo|fango|inocolo|osad|zaszczep\w*|entmateriaal|slib",
    "sample": r"sample|einwaage|substrate|substrat|feed|fed|amount fed|probe|charge|échantillon|"
    r"sustrato|muestra|manure|mist|gülle|grams? of feed|feed in it|amount(?: of feed)?|"
    r"próbk\w*|wsad|campione|monster|amostra|estiércol",
    "water": r"water|wasser|eau|agua|acqua|woda|water added",
    "ambient": r"ambient(?: pressure)?|barom\w*|baróm\w*|baro|air ?pressure|luftdruck|atmos\w*|"
    r"room pressure|pression atmos\w*|outside pressure|ciśn\w* atm\w*|presi[oó]n atm\w*|"
    r"pressione atm\w*|luchtdruk",
    "absolute before": r"abs(?:olute|olut)?(?:er)? ?(?:press\w*|druck)?(?: before| vor\w*)?",
    "absolute after": r"abs(?:olute|olut)?(?:er)? ?(?:press\w*|druck)?(?: after| nach\w*)",
    "gauge after": r"(?:gauge|over)?\W*(?:press\w*|druck|überdruck|presi[oó]n|pression)?\W*"
    r"(?:after|nach\w*|apr[eè]s|despu[eé]s|dopo|po|final|end|left|vented)\W*"
    r"(?:vent\w*|entl\w*|(?:head ?space )?press\w*|druck)?",
    "gauge before": r"gauge|(?:initial |over)?(?:head ?space )?press\w*|druck|überdruck|"
    r"(?:sobre)?presi[oó]n|pression|(?:nad)?ciśn\w*|(?:sovra)?pressione|overdruk|"
    r"(?:press\w* |druck )?(?:before|vor\w*|avant|antes|przed|prima)(?: vent\w*| entl\w*)?|"
    r"reading",
    "mass after": r"(?:final|end)\W*(?:\w+ )?(?:mass|weight)|(?:mass|weight|gewicht|masse|poids) "
    r"(?:after|nach\w*|final|apr[eè]s)",
    "mass before": r"initial\W*(?:\w+ )?(?:mass|weight)|(?:mass|weight|gewicht|masse|poids) "
    r"(?:before|vor\w*|initial|avant)",
    "mass": r"(?:total |whole )?(?:jar |bottle )?(?:mass|weight|wt)|gewicht|masse|poids|peso|masa|"
    r"waga",
    "temperature": r"(?:room |gas |air |bath )?temp\w*\.?|t room|thermometer|raumtemp\w*",
    "jar volume": r"(?:total |jar |bottle |flask |vessel )(?:volume|size|capacity)|"
    r"flaschenvolumen|volume of (?:jar|bottle)|pojemność(?: \w+)?|capacidad(?: \w+)?|"
    r"volumen (?:de|del) (?:la )?(?:botella|frasco)|capacità(?: \w+)?|inhoud fles",
    "volume": r"(?:bio|raw )?gas(?: ?volume| made| read)?|vol(?:ume|umen)?\.?|gasvolumen|gasmenge|"
    r"gas ?stand|displaced\b.*|(?:bio)?gas ?(?:produc\w*|volumen|menge)|volume (?:de )?(?:bio)?gaz|"
    r"(?:water )?(?:pushed out|displaced)|ablesung|biogas volume|objętość(?: \w+)?|(?:bio)?gaz\w*|"
    r"volumen(?: de)?(?: bio)?gas|lectura|odczyt",
    "jar": r"(?:jar|bottle|flask|vessel|reactor|tube|vial|pot|flasche|glas|gef[aä](?:ss|ß)|"
    r"behälter|röhrchen|rohr|bouteille|flacon|botella|frasco|tarro|tubo|fles|bottiglia|vasetto|"
    r"butelk\w*|słoik\w*|reaktor|probówk\w*|garrafa|bucket|pail|drum|canister|carboy|container|"
    r"eimer|kanister|fass|wiadro|cubo|seau|secchio|emmer)"
    r"(?: ?(?:id|no\.?|nr\.?|n ?º|number|name|label))?|id|label",
    "material": r"material|feed|substrate|substrat|sample|probe|contents?|what(?: is in it)?|"
    r"descrip\w*(?: \d)?|filled with|inhalt|stoff|feedstock|mati[eè]re|contenu|contenido|group|"
    r"manure|in it|kind of feed|füllung|futter|materiał|zawartość|contenuto|inhoud|conteúdo|"
    r"estiércol",
    "group": r"team|group|gruppe|klasse|class|grupa|equipo|grupo|squadra|équipe|groep",
    "time": r"days?|d|tage?|time|elapsed(?: time)?|zeit|jours?|d[ií]as?|giorni|hours?|stunden?|h|"
    r"day of trial|versuchstag|dzień|doba|czas|tiempo|tempo|dagen",
}
_PATTERNS = {name: re.compile(pattern) for name, pattern in _WORDS.items()}

_NOT_LETTERS = re.compile(r"[_\-/.:,;()\[\]#*²³]+")


@lru_cache(maxsize=4096)
def meanings(text: str) -> tuple[str, ...]:
    """Return what a header without its unit may mean, the likeliest first."""
    plain = " ".join(_NOT_LETTERS.sub(" ", text.lower()).split())
    whole = [name for name, pattern in _PATTERNS.items() if pattern.fullmatch(plain)]
    if whole:
        return tuple(whole)
    parts = [
        name for name, pattern in _PATTERNS.items()
        if len(plain) > 2 and re.search(rf"\b(?:{pattern.pattern})\b", plain)
    ]  # fmt: skip
    return tuple(parts)


_UNIT = re.compile(
    r"%(?:.{0,20})?|m?l|cm3|cm³|ccm|cc|nml|g|gr|kg|mg|oz|ozs|ounces?|lbs?|fl\.? ?oz|psi[ag]?|"
    r"psi (?:g|a|gauge|abs)|[kh]?pa|m?bar(?: ?[ag]| abs| gauge)?|mmhg|inhg|in\.? ?hg|in ?h2o|"
    r"cm ?h2o|cmws|atm|torr|°? ?[cf]|deg\.? ?[cf]|k|d|days?|h|hrs?|hours?|tage?|min|cm|mm|in|"
    r"inch(?:es)?|g/kg|g/l|m³|m3|l/kg|fraction|hhmm|hh:mm|dd\W?mm\W?yyyy|mm\W?dd\W?yyyy|gal|"
    r"mole fraction.*|cu\.? ?(?:ft|in)|ft3|kg/l|g/g",
    re.IGNORECASE,
)


def unit_words(text: str) -> bool:
    """Tell whether a text is nothing but a unit, in whatever brackets."""
    return bool(_UNIT.fullmatch(text.strip().strip("()[]{} ")))


_BRACKETS = re.compile(r"^(?P<name>.*?)\s*[\[({](?P<unit>[^\])}]*)[\])}]\s*(?P<rest>.*)$")
_IN = re.compile(r"^(?P<name>.+?)\s*(?:,|\bin\b|/)\s*(?P<unit>\S.*)$", re.IGNORECASE)


@lru_cache(maxsize=4096)
def name_and_unit(text: str) -> tuple[str, str]:
    """Split a header into its name and its unit, whichever way people wrote it."""
    match = _BRACKETS.match(text)
    if match and (unit_words(match["unit"]) or not match["rest"]):
        return f"{match['name']} {match['rest']}".strip(), match["unit"].strip()
    match = _IN.match(text)
    if match and unit_words(match["unit"]):
        return match["name"].strip(), match["unit"].strip()
    parts = text.split()
    for count in (3, 2, 1):
        if len(parts) > count and unit_words(" ".join(parts[-count:])):
            return " ".join(parts[:-count]), " ".join(parts[-count:])
    if len(parts) == 1 and text.startswith("%") and len(text) > 1:
        return text[1:].strip(), "%"
    return text, ""


def is_header_word(text: str) -> bool:
    """Tell whether a text looks like the name of a column."""
    return len(text) <= 60 and bool(meanings(name_and_unit(text)[0]))
