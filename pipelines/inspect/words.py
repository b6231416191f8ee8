"""Plain words of exports in English and the languages of plants around it; lower case, with and without accents."""

from __future__ import annotations

QUALITY = (
    "quality", "status", "qual", "q", "state of value", "validity", "flag",
    "estado", "calidad", "qualität", "qualitaet", "güte", "qualité", "qualite", "état", "etat", "jakość", "jakosc", "stan", "kvalitet",
)  # fmt: skip
TAG = (
    "tag", "point", "tagname", "signal", "name", "parameter", "item", "punto", "señal", "etiqueta", "messstelle", "messpunkt", "kanal", "repère",
    "étiquette", "voie", "point de mesure", "punkt", "punkt pomiarowy", "sygnał", "målepunkt", "signalnavn",
)  # fmt: skip
VALUE = (
    "value",
    "val",
    "reading",
    "pv",
    "result",
    "valor",
    "lectura",
    "wert",
    "messwert",
    "valeur",
    "mesure",
    "wartość",
    "wartosc",
    "værdi",
)
LAB = (  # of a lab sheet's header, as whole words
    "ts", "tss", "solids", "cake", "filtrate", "centrate", "moisture", "vs", "analyte", "parameter", "sample", "location", "ms", "sst",
    "torta", "escurrido", "muestra", "sequedad", "kuchen", "filtrat", "zentrat", "probe", "trockensubstanz", "mes", "gâteau", "siccité",
    "échantillon", "placek", "próbka", "kage",
)  # fmt: skip
NET = ("net", "netto", "neto", "poids")  # words of scale tickets
TICKET = ("gross", "brutto", "bruto", "tare", "tara", "ticket", "brut", "load", "truck")
# parts of the names of a lab sheet's columns
SAMPLED = ("sample", "muestra", "probe", "entnahme", "échantillon", "prélèvement", "prelevement", "próbk", "pobran", "prøve")
REPORTED = ("report", "informe", "bericht", "rapport", "raport", "printed")
LOT = ("lot", "lote", "batch", "charge", "partia", "lotto", "parti")  # whole names, or with a number sign
LINE = ("line", "línea", "linea", "linie", "ligne", "linia", "linje")  # whole names
CAKE = ("cake", "kage", "torta", "kuchen", "gâteau", "placek")
FILTRATE = ("filtrat", "centrate", "zentrat", "escurrido", "centrat")
TSS = ("tss", "ss mg", "suspended", "sst", "mes ", "abfiltrierbar", "zawiesin")
REMARKS = "remark|note|comment|operator|bem.rkning|bemerkung|anmerkung|kommentar|remarque|observaci|observation|uwagi"
CLOCK = ("time", "clock", "hora", "uhrzeit", "zeit", "heure", "godzina", "czas", "tid", "klokken", "klokkeslæt")
ON = (
    "1", "true", "on", "run", "running", "open", "auto", "ein", "an", "betrieb", "läuft", "offen", "marcha", "en marcha", "encendido", "abierto",
    "marche", "en marche", "ouvert", "praca", "włączony", "wł", "załączony", "otwarty", "drift", "kører",
)  # fmt: skip
OFF = (
    "0", "false", "off", "stop", "stopped", "standby", "closed", "aus", "halt", "stillstand", "gestoppt", "zu", "paro", "parada", "parado",
    "apagado", "cerrado", "arrêt", "arret", "à l'arrêt", "fermé", "postój", "stój", "wyłączony", "wył", "zamknięty", "stoppet",
)  # fmt: skip
GOOD = ("good", "ok", "valid", "normal", "buen", "bien", "válid", "gut", "gültig", "bon", "dobr", "poprawn", "god")
BAD = (
    "bad", "invalid", "error", "fault", "comm", "timeout", "no data", "not ", "lost", "fail", "mal", "inválid", "no válid", "fallo", "falla",
    "schlecht", "ungültig", "fehler", "störung", "mauvais", "défaut", "erreur", "zły", "zla", "zła", "błąd", "awaria", "fejl", "dårlig",
)  # fmt: skip
ZONES = {  # abbreviations of time zones as plants of North America and Europe write them -> offset from UTC; asked, since others use the same letters
    "UTC": "+00:00", "GMT": "+00:00", "WET": "+00:00", "BST": "+01:00", "WEST": "+01:00", "CET": "+01:00", "MEZ": "+01:00", "CEST": "+02:00",
    "MESZ": "+02:00", "EET": "+02:00", "EEST": "+03:00", "NST": "-03:30", "NDT": "-02:30", "AST": "-04:00", "ADT": "-03:00", "EST": "-05:00",
    "EDT": "-04:00", "CST": "-06:00", "CDT": "-05:00", "MST": "-07:00", "MDT": "-06:00", "PST": "-08:00", "PDT": "-07:00", "AKST": "-09:00",
    "AKDT": "-08:00", "HST": "-10:00",
}  # fmt: skip
