"""Plain words of exports in English and the languages of plants around it; lower case, with and without accents."""

from __future__ import annotations

QUALITY = (
    "quality", "status", "qual", "q", "state of value", "validity", "flag",
    "estado", "calidad", "qualität", "qualitaet", "güte", "qualité", "qualite", "état", "etat", "jakość", "jakosc", "stan", "kvalitet",
)  # fmt: skip
CLOCK = ("time", "clock", "hora", "uhrzeit", "zeit", "heure", "godzina", "czas", "tid", "klokken", "klokkeslæt")
GOOD = ("good", "ok", "valid", "normal", "buen", "bien", "válid", "gut", "gültig", "bon", "dobr", "poprawn", "god")
BAD = (
    "bad", "invalid", "error", "fault", "comm", "timeout", "no data", "not ", "lost", "fail", "mal", "inválid", "no válid", "fallo", "falla",
    "schlecht", "ungültig", "fehler", "störung", "mauvais", "défaut", "erreur", "zły", "zla", "zła", "błąd", "awaria", "fejl", "dårlig",
)  # fmt: skip
