"""Languages of the pages: same keys, same values, every text used; numbers and dates in their signs."""

from __future__ import annotations

import ast
import re
import string
from datetime import date, datetime
from pathlib import Path

import pytest

from pipelines.report import language
from schemas.roles import ROLES
from schemas.tables.corrections_applied import DECIDERS
from schemas.vocabulary import COMPARISON_VERDICTS, FLAG_DISPOSITIONS, REASONS, SERVICE_KINDS, SEVERITIES

ROOT = Path(__file__).resolve().parents[2]
EN, DA = language.of("en"), language.of("da")
# Names of closed vocabularies: English prints them as they are.
NAMES = ("decider.", "detector.", "disposition.", "look.", "outcome.", "reason.", "role.", "service.", "verdict.", "why.")


def placeholders(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


@pytest.mark.parametrize("code", language.available())
def test_every_language_has_the_same_keys_and_values(code: str) -> None:
    other = language.of(code)
    assert {k for k in other.texts if not k.startswith(NAMES)} == {k for k in EN.texts if not k.startswith(NAMES)}
    for key, text in EN.texts.items():
        if key in other.texts:
            allowed = placeholders(text) | ({"wd", "weekday", "mon", "month", "day", "year"} if key.startswith("day_") else set())
            assert placeholders(other.texts[key]) <= allowed, key
            if not key.startswith("day_"):
                assert placeholders(other.texts[key]) == placeholders(text), key
    assert len(other.cautions) == len(EN.cautions)
    assert (len(other.days), len(other.months)) == (7, 12)


def used_keys() -> set[str]:
    """Every text in the sources that could be a key, and every beginning of one that is put together."""
    found: set[str] = set()
    for path in (ROOT / "pipelines").rglob("*.py"):
        if "report" in path.parts or "mail" in path.parts:
            found |= {
                n.value
                for n in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
                if isinstance(n, ast.Constant) and isinstance(n.value, str)
            }
    return found


def test_no_text_is_left_over() -> None:
    used = used_keys()
    counted = {f"{k}_{n}" for k in used for n in ("one", "many")}
    composed = ("kpi.", "short.", "unit.", "target.", "owner.", "number.", "state.", "severity.", "disposition.", "basis.", "day_", "sentence.in_", "sentence.out_",
                "sentence.open_", "review.", "sentence.dose_unit_", "sentence.below", "sentence.above", "versus.below", "versus.above", *NAMES)  # fmt: skip
    assert [k for k in EN.texts if k not in used | counted and not k.startswith(composed)] == []


def test_danish_has_words_for_every_cause_and_what_to_do_first() -> None:
    from pipelines.watch.words import SUGGESTIONS

    missing = [d for d in SUGGESTIONS if f"detector.{d}" not in DA.texts or f"look.{d}" not in DA.texts]
    assert missing == []
    assert all(f"severity.{s}" in DA.texts for s in SEVERITIES)
    assert all(f"decider.{d}" in DA.texts for d in DECIDERS)
    assert all(f"service.{s}" in DA.texts for s in SERVICE_KINDS)
    assert all(f"disposition.{d}" in DA.texts for d in FLAG_DISPOSITIONS)
    assert all(
        f"verdict.{v}" in DA.texts for v in COMPARISON_VERDICTS if v not in ("refused", "not shown")
    )  # these two are sentences of their own


def test_danish_has_words_for_every_signal_every_reason_and_why_a_pump_has_no_index() -> None:
    assert [r for r in ROLES if f"role.{r}" not in DA.texts] == []
    assert [r for r in REASONS if f"reason.{r}" not in DA.texts] == []
    said = re.findall(
        r"THEN (?:format\()?'([^']*(?:not known|needed|can be)[^']*)'", (ROOT / "sql/tables/pump_weeks.sql").read_text(encoding="utf-8")
    )
    of_index = [
        x for x in said if "discharge pressure" not in x and "flow spans" not in x
    ]  # those two are of the system curve, which no page shows
    assert len(of_index) == 6
    assert [
        x for x in of_index if DA.why(x.replace("{:.2f}", "1.20").replace("{}", "7")) == x.replace("{:.2f}", "1.20").replace("{}", "7")
    ] == []
    assert DA.why("index of -0.14, above 0 to 10 can be: look at the pressure and flow meters").startswith(
        "indeks på −0,14, over 0 til 10 er muligt"
    )
    assert DA.why("stator of 2026-02-16: no commissioning reference since") == "ny stator 2026-02-16: ingen reference siden"


def test_numbers_and_dates_in_their_signs() -> None:
    assert DA.numeral("1,520.3") == "1.520,3"
    assert EN.numeral("1,520.3") == "1,520.3"
    assert [DA.count("days", n) for n in (0, 1, 1500)] == ["0 dage", "1 dag", "1.500 dage"]
    assert [DA.day(date(2026, 3, 3), form) for form in ("short", "long", "year", "tick")] == [
        "tir 3. mar",
        "tirsdag den 3. marts",
        "tir 3. mar 2026",
        "3. mar",
    ]
    assert EN.day(date(2026, 3, 3), "long") == "Tuesday 3 March"
    assert EN.moment(datetime(2026, 3, 3, 4, 5)) == "Tue 3 Mar 04:05"  # noqa: DTZ001
    assert [EN.joined(["a", "b", "c"][:n]) for n in range(4)] == ["", "a", "a and b", "a, b and c"]
    assert [language.sentence(x) for x in ("a b. ", "X", "9 c")] == ["A b.", "X.", "9 c."]


def test_reasons_of_tables_keep_their_numbers_in_another_language() -> None:
    assert DA.why("2 days with a dose, 3 needed") == "2 dage med dosis, 3 kræves"
    assert DA.why("something nobody put into Danish 7") == "something nobody put into Danish 7"
    assert EN.why("2 days with a dose, 3 needed") == "2 days with a dose, 3 needed"


def test_a_missing_text_is_an_error_and_an_unknown_name_prints_itself() -> None:
    with pytest.raises(KeyError):
        EN("nowhere")
    assert DA.word("role", "strange_new_role") == "strange new role"
    assert re.match(r"^[a-z]{2}$", language.DEFAULT)
