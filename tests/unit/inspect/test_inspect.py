"""inspect: an unseen export is described, and the layout block it proposes works as it is."""

from __future__ import annotations

import tomllib
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from pipelines import inspect
from pipelines.files.original import FileRefusedError
from pipelines.inspect import blocks, first_plant, stamps, text
from pipelines.inspect.roles import RoleGuess, guess_role
from pipelines.plant.model import PlantFile
from sample_data.generate import generate


@pytest.fixture(scope="module")
def exports(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("unseen")
    generate(out, weeks=2, seed=3, faults=False)
    return out


def one(exports: Path, plant: str, pattern: str) -> inspect.Inspection:
    return inspect.run(sorted((exports / plant / "exports").glob(pattern))[8 if "lab" not in pattern.lower() else 1], time_zone="UTC")


def test_wide_us_export(exports: Path) -> None:
    seen = one(exports, "alder-fork", "ALDER_SCADA_*")
    assert (seen.layout.kind, seen.layout.delimiter, seen.layout.decimal) == ("wide", ",", ".")
    assert seen.layout.unit_row == 1
    assert seen.layout.footer_words == ("Average", "Minimum", "Maximum", "End of report")
    assert len(seen.survey.tags) == 26
    flow = next(t for t in seen.survey.tags if t.tag == "L1 FIT-110 Sludge Feed")
    assert (flow.role, flow.unit, flow.count, flow.median_step_s) == ("sludge_flow", "gpm", 1440, 60.0)
    assert seen.survey.rows_read == 1440 + seen.survey.rows_dropped


def test_day_after_the_twelfth_tells_day_from_month(exports: Path) -> None:
    files = sorted((exports / "alder-fork" / "exports").glob("ALDER_SCADA_*"))
    early, late = inspect.run(files[2]), inspect.run(files[-1])
    assert any("day and month" in q for q in early.proposal.open_questions)
    assert late.proposal.time.time_format == "%m/%d/%Y %H:%M"
    assert not any("day and month" in q for q in late.proposal.open_questions)


def test_long_change_log(exports: Path) -> None:
    seen = one(exports, "sorrel-draw", "sorrel_log_*")
    assert (seen.layout.kind, seen.layout.tag_column, seen.layout.value_column, seen.layout.quality_column) == (
        "long",
        "point",
        "value",
        "status",
    )
    assert seen.layout.time_format == "iso8601"
    assert seen.layout.time_zone == "UTC"
    assert seen.layout.quality_words.good == ("Good",)
    run = next(t for t in seen.survey.tags if t.tag.endswith("YI510.ST"))
    assert run.is_state
    assert set(run.text_words) <= {"RUN", "STOP"}


def test_semicolons_decimal_comma_latin1_and_interval_end(exports: Path) -> None:
    seen = one(exports, "brenholm", "brenholm_15min_*")
    assert (seen.layout.encoding, seen.layout.delimiter, seen.layout.decimal) == ("latin-1", ";", ",")
    assert (seen.layout.stamp, seen.layout.interval) == ("interval end", 0.25)
    assert next(t for t in seen.survey.tags if t.tag == "PT33 Tryk før mixer").role == "mixing_upstream_pressure"


@pytest.mark.parametrize(
    ("plant", "pattern", "kind"),
    [("alder-fork", "ALDER_LAB_*", "lab wide"), ("sorrel-draw", "sorrel_lab_*", "lab long"), ("brenholm", "brenholm_lab_*", "lab wide")],
)
def test_lab_sheets(exports: Path, plant: str, pattern: str, kind: str) -> None:
    assert one(exports, plant, pattern).layout.kind == kind


def test_a_first_plant_file_is_valid_and_marks_its_guesses(exports: Path) -> None:
    files = sorted((exports / "alder-fork" / "exports").glob("*.csv"))
    toml = first_plant.new_plant(files, plant_id="new-plant", time_zone="America/New_York")
    plant = PlantFile.model_validate(tomllib.loads(toml))
    assert {x.kind for x in plant.layouts} == {"wide", "lab wide"}
    assert len(plant.signals) >= 20
    assert {x.id for x in plant.lines} >= {"line-1", "line-2"}  # two tags of a role are of two lines
    assert toml.count("# OPEN QUESTION:") >= 30
    assert not (exports / "alder-fork" / "exports" / "new-plant.toml").exists()


def test_encodings_are_told_from_bytes() -> None:
    assert text.guess_encoding("a;å\n".encode("utf-16"))[0].startswith("utf-16")
    assert text.guess_encoding("\ufeffa,b".encode())[0] == "utf-8"
    assert text.guess_encoding("før".encode("latin-1"))[0] == "latin-1"
    assert text.guess_encoding("5 €".encode("cp1252"))[0] == "cp1252"
    assert text.guess_encoding("a,b\n1,2\n".encode("utf-16-le"))[0] == "utf-16-le"


@pytest.mark.parametrize(
    ("texts", "expected"),
    [
        (["2026-01-05T00:00:00Z"], "iso8601"),
        (["1767571200", "1767571260"], "epoch s"),
        (["1767571200000"], "epoch ms"),
        (["46027.5", "46027.51"], "serial day"),
        (["13.02.2026 08:15", "13.02.2026 08:30"], "%d.%m.%Y %H:%M"),
        (["02/13/2026 01:15:00 PM"], "%m/%d/%Y %I:%M:%S %p"),
        (["13-Feb-26 08:15:00"], "%d-%b-%y %H:%M:%S"),
        (["31/01/2026 24:00"], "%d/%m/%Y %H:%M"),
    ],
)
def test_time_formats(texts: list[str], expected: str) -> None:
    found = stamps.guess(texts)
    assert found is not None
    assert found.time_format == expected


def test_a_repeated_hour_is_a_clue_to_local_time() -> None:
    texts = [f"2026-11-01 {h:02d}:{m:02d}:00" for h in (0, 1) for m in range(60)] + [
        f"2026-11-01 {h:02d}:{m:02d}:00" for h in (1, 2) for m in range(60)
    ]
    found = stamps.guess(texts)
    assert found is not None
    assert any("repeated hour" in clue for clue in found.clues)


@pytest.mark.parametrize("content", [b"", b"%PDF-1.7 ...", b"\x00\x01\x02" * 500, b"no table here\njust words\n"])
def test_what_is_no_export_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "odd.csv"
    path.write_bytes(content)
    with pytest.raises(FileRefusedError):
        inspect.run(path)


def test_clues_of_order_zone_and_day() -> None:
    minutes = [f"30.03.2025 {h:02d}:{m:02d}" for h in (0, 1, 3) for m in range(60)]
    spring = stamps.guess(minutes)
    assert spring is not None
    assert any("an hour is missing after 2025-03-30 01:59" in clue for clue in spring.clues)
    assert any("a day above 12 was seen" in clue for clue in spring.clues)
    backwards = stamps.guess([f"05.01.2026 {h:02d}:00" for h in range(23, -1, -1)])
    assert backwards is not None
    assert "newest first" in backwards.clues
    assert any("no day above 12" in clue for clue in backwards.clues)
    gap = stamps.guess([f"05.01.2026 {h:02d}:{m:02d}" for h in (0, 1, 3) for m in range(60)])  # a Monday: a gap, no clock change
    assert gap is not None
    assert not any("missing" in clue for clue in gap.clues)


def test_a_long_file_is_looked_at_beyond_its_first_stamps() -> None:
    texts = [f"2026-11-01 {h:02d}:{m:02d}:00" for h in (0, 1) for m in range(60) for _ in range(40)]
    texts += [f"2026-11-01 {h:02d}:{m:02d}:00" for h in (1, 2) for m in range(60) for _ in range(40)]
    found = stamps.guess(texts)
    assert found is not None
    assert any("repeated hour" in clue for clue in found.clues)


def rows_with_clock(minutes: int = 30, *, names: str, cells: str, footer: str = "Fin;") -> str:
    """Return an export of date, clock and `cells` (formatted with the minute m) under a two-line title."""
    rows = [f"15/10/2026;00:{m:02d}:00;{cells.format(m=m, e=48210 + m)}" for m in range(minutes)]
    return "\n".join(["Informe;planta inventada", "", f"Fecha;Hora;{names}", *rows, footer]) + "\n"


def inspected(folder: Path, text: str, name: str = "export_1.csv", zone: str = "UTC") -> inspect.Inspection:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return inspect.run(path, time_zone=zone)


def test_a_register_is_not_taken_for_the_clock(tmp_path: Path) -> None:
    seen = inspected(tmp_path, rows_with_clock(names="FT1 Caudal;FQ1 Energía", cells="30,{m};{e},5"))
    assert (seen.layout.date_column, seen.layout.time_column) == ("Fecha", "Hora")
    assert seen.layout.time_format == "%d/%m/%Y %H:%M:%S"
    assert {t.tag for t in seen.survey.tags} == {"FT1 Caudal", "FQ1 Energía"}
    assert stamps.guess(["57000.5", "57001.5"]) is None  # 2056


def test_numbers_beside_a_date_are_no_clock(tmp_path: Path) -> None:
    rows = "\n".join(f"2026-03-{d:02d},2.{d % 6},21.{d % 6}" for d in range(1, 20))
    seen = inspected(tmp_path, f"Date,Feed TS %,Cake TS %\n{rows}\n")
    assert (seen.layout.date_column, seen.layout.time_column) == (None, "Date")


def test_one_name_for_all_status_columns_is_told_whatever_it_is_called(tmp_path: Path) -> None:
    for name in ("Estado", "Beiwort"):
        seen = inspected(tmp_path, rows_with_clock(names=f"FT1;{name};PT1;{name}", cells="30,{m};Bueno;1,{m};Malo"))
        assert seen.layout.quality_column == name
        assert (seen.layout.quality_words.good, seen.layout.quality_words.bad) == (("Bueno",), ("Malo",))
        assert {t.tag for t in seen.survey.tags} == {"FT1", "PT1"}


def test_names_that_stand_twice_are_given_as_the_reason(tmp_path: Path) -> None:
    with pytest.raises(FileRefusedError, match=r"more than once.*'FT1'"):
        inspected(tmp_path, rows_with_clock(names="FT1;FT1", cells="30,{m};31,{m}"))


def long_rows(head: str, ending: str = "Gut") -> str:
    tags = [("FT-1.PV", "m3/h"), ("PT-1.PV", "bar"), ("YI-1.RUN", "")]
    rows = [
        f"15.10.2026 00:{m:02d}:00;{t};{('EIN' if m % 2 else 'AUS') if t[0] == 'Y' else f'{m},5'};{u};{ending}"
        for m in range(40)
        for t, u in tags
    ]
    return "\n".join([head, *rows]) + "\n"


@pytest.mark.parametrize(
    "head",
    ["Marca de tiempo;Punto;Valor;Unidad;Calidad", "Zeit;Messstelle;Wert;Einheit;Status", "t;a;b;c;d", "Heure;Repère;Valeur;Unité;État"],
)
def test_a_long_export_is_told_by_its_shape(tmp_path: Path, head: str) -> None:
    seen = inspected(tmp_path, long_rows(head))
    time, tag, value, _, quality = head.split(";")
    lay = seen.layout
    assert (lay.kind, lay.time_column, lay.tag_column, lay.value_column, lay.quality_column) == ("long", time, tag, value, quality)
    assert {(t.tag, t.unit) for t in seen.survey.tags} == {("FT-1.PV", "m3/h"), ("PT-1.PV", "bar"), ("YI-1.RUN", "state")}
    assert lay.quality_words.good == ("Gut",)


def test_words_beside_a_number_are_no_tags(tmp_path: Path) -> None:
    rows = "\n".join(f"2026-10-15 00:{m:02d},{'early' if m % 3 else 'late'},{'A' if m % 2 else 'C'},{m}.5" for m in range(40))
    assert inspected(tmp_path, f"Time,Shift,Crew,Flow\n{rows}\n").layout.kind == "wide"  # A and C are no amperes and degrees


def test_a_pump_that_can_fail_is_no_quality(tmp_path: Path) -> None:
    rows = "\n".join(f"2026-10-15 00:{m:02d},{m}.5,{'Running' if m % 3 else 'Fault'}" for m in range(40))
    seen = inspected(tmp_path, f"Time,Pump Speed,Pump Status\n{rows}\n")
    assert (seen.layout.quality_name, {t.tag for t in seen.survey.tags}) == (None, {"Pump Speed", "Pump Status"})


def test_a_state_beside_a_number_is_wide(tmp_path: Path) -> None:
    rows = "\n".join(f"15.10.2026 00:{m:02d};{'Marcha' if m % 3 else 'Paro'};{m},5" for m in range(40))
    assert inspected(tmp_path, f"Tiempo;Bomba;Caudal\n{rows}\n").layout.kind == "wide"


@pytest.mark.parametrize(
    ("tag", "unit", "role"),
    [
        ("FT101 Caudal fango", "m3/h", "sludge_flow"),
        ("FT102 Caudal polielectrolito", "L/h", "polymer_solution_flow"),
        ("PT101 Presión aspiración", "bar", "pump_suction_pressure"),
        ("PT102 Presión impulsión", "bar", "pump_discharge_pressure"),
        ("ST101 Velocidad bomba", "rpm", "pump_speed"),
        ("JT101 Potencia bomba", "kW", "pump_power"),
        ("JT102 Potencia centrífuga", "kW", "device_power"),
        ("Durchfluss Schlamm", None, "sludge_flow"),
        ("Débit polymère", "L/h", "polymer_solution_flow"),
        ("Przepływ osadu", "m3/h", "sludge_flow"),
        ("FHM-Dosierung", "L/h", "polymer_solution_flow"),
        ("Moc wirówki", "kW", "device_power"),
    ],
)
def test_roles_are_told_by_words_of_several_languages(tag: str, unit: str | None, role: str) -> None:
    assert guess_role(tag, unit, is_text=False) == RoleGuess(role, has_word=True)


@pytest.mark.parametrize(
    ("tag", "unit", "role"),
    [
        ("FT-201.PV", "gpm", "sludge_flow"), ("FT-202.PV", "L/h", "polymer_solution_flow"), ("PT-201.PV", "psi", "pump_discharge_pressure"),
        ("SC-7", "Hz", "pump_speed"), ("QT-3", "%", "feed_solids"), ("JT-201.PV", "kW", "pump_power"),
    ],
)  # fmt: skip
def test_letters_and_unit_give_a_role_that_stays_a_question(tag: str, unit: str, role: str) -> None:
    assert guess_role(tag, unit, is_text=False) == RoleGuess(role, has_word=False)
    assert guess_role(tag, None, is_text=False) is None


def test_a_role_by_letters_alone_stays_commented_out(tmp_path: Path) -> None:
    seen = inspected(tmp_path, long_rows("t;a;b;c;d"))
    block = blocks.signal_block(next(t for t in seen.survey.tags if t.tag == "FT-1.PV"), "line-1", is_live=False)
    assert '# role = "sludge_flow"' in block
    assert tomllib.loads(block) == {}


def test_the_span_of_a_long_file_is_that_of_all_its_rows(tmp_path: Path) -> None:
    rows = [f"{d:02d}.10.2026 {h:02d}:{m:02d};{m},5" for d in range(20, 28) for h in range(24) for m in range(60)]
    rows[5 * 1440 + 180 : 5 * 1440 + 180] = [f"25.10.2026 02:{m:02d};{m},5" for m in range(60)]
    seen = inspected(tmp_path, "\n".join(["Zeit;FT1 Durchfluss", *rows]) + "\n", zone="Europe/Berlin")
    assert "from 2026-10-20 00:00 to 2026-10-27 23:59" in seen.clues
    assert "clock steps back at 2026-10-25 02:59: a repeated hour, so local time with daylight saving" in seen.clues
    assert "the clocks of Europe/Berlin go back on 2026-10-25, within the file" in seen.clues


@pytest.mark.parametrize(
    "before, after, is_told",
    [
        ("2026-11-01 01:55", "2026-11-01 01:00", True),  # a Sunday in autumn: the clocks of New York go back
        ("2026-10-25 02:45", "2026-10-25 02:00", True),
        ("2026-01-15 01:55", "2026-01-15 01:00", False),  # January
        ("2026-10-28 01:55", "2026-10-28 01:00", False),  # a Wednesday
        ("2026-11-01 01:55", "2026-11-01 00:30", False),  # by more than an hour
    ],
)
def test_only_a_step_back_that_a_zone_can_make_is_a_repeated_hour(before: str, after: str, is_told: bool) -> None:
    pair = datetime.fromisoformat(before), datetime.fromisoformat(after)
    clues = stamps.clues_of(pair, [pair], timedelta(minutes=5), "%Y-%m-%d %H:%M", newest_first=False, days={1})
    assert any("clock steps back" in c for c in clues)
    assert any("repeated hour" in c for c in clues) == is_told


def test_the_zone_is_asked_beside_day_and_month() -> None:
    found = stamps.guess([f"0{m}/0{d}/2026 06:00" for m in (1, 2) for d in range(1, 9)])
    assert found is not None
    assert [stamps.ZONE_QUESTION in found.open_questions, len(found.open_questions)] == [True, 2]
