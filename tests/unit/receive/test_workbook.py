"""Workbooks as exports and lab sheets: cells as text, sheets, dates, and workbooks made to do harm.

Second opinions: openpyxl writes most of the workbooks and judges number formats, python-calamine reads the same cells.
"""

# ruff: noqa: DTZ001
from __future__ import annotations

import io
import random
import zipfile
from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import python_calamine
from openpyxl.styles.numbers import BUILTIN_FORMATS, is_date_format

from pipelines import inspect, receive
from pipelines.files.original import FileRefusedError
from pipelines.intake import load_files
from pipelines.plant import loader
from pipelines.plant.model import Layout, PlantFile
from pipelines.receive.containers import cells, content, workbook, zip_files
from pipelines.receive.containers import sheet as sheets
from pipelines.store import Store

ROOT = Path(__file__).resolve().parents[3]
PLANT = loader.load(ROOT / "tests" / "fuzz" / "plant.toml")
WIDE = next(x for x in PLANT.layouts if x.id == "wide")
ISO = {"time_format": "iso8601"}


def saved(path: Path, *rows: list[Any], sheet: str = "Sheet") -> Path:
    book = openpyxl.Workbook()
    assert book.active is not None
    book.active.title = sheet
    for row in rows:
        book.active.append(row)
    book.save(path)
    return path


def lines(path: Path, layout: Layout = WIDE, **changes: Any) -> list[str]:
    return b"".join(content.content(path).pieces(layout.model_copy(update=changes))).decode().split("\n")[:-1]


def test_every_kind_of_cell(tmp_path: Path) -> None:
    row = ["text", 401.5, 5, -0.25, 1e-7, 123456789012345, 0.1 + 0.2, True, False, "#N/A", "a\tb\nc", " x ", None, "=1+1"]
    path = saved(tmp_path / "x.xlsx", row, ["end"])
    assert lines(path)[0].split("\t") == [
        "text", "401.5", "5", "-0.25", "0.0000001", "123456789012345", "0.3", "TRUE", "FALSE", "#N/A", "a b c", " x ", "", sheets.NO_STORED_VALUE,
    ]  # fmt: skip  # openpyxl writes 16 digits, and no value beside a formula
    assert lines(path, decimal=",")[0].split("\t")[1:4] == ["401,5", "5", "-0,25"]


@pytest.mark.parametrize(
    "raw, text",
    [
        ("0.30000000000000004", "0.30000000000000004"), ("2.3999999999999999", "2.4"), ("1E-7", "0.0000001"), ("1.5E3", "1500"), ("-0", "-0"),
        ("1.7976931348623157E308", "17976931348623157" + "0" * 292), ("NaN", "NaN"), ("1e999", "1e999"), ("1_0", "1_0"), ("", ""), ("x", "x"),
    ],
)  # fmt: skip
def test_numbers_keep_all_their_digits(raw: str, text: str) -> None:
    assert cells.number_text(raw, ".") == text
    if text and text[-1].isdigit() and "_" not in raw and "e9" not in raw:
        assert float(text) == float(raw)


def test_dates_are_written_as_the_layout_reads_them(tmp_path: Path) -> None:
    path = saved(
        tmp_path / "x.xlsx",
        [datetime(2026, 1, 5, 6, 30), date(2026, 1, 5), time(6, 30), datetime(2026, 1, 5, 6, 30, 15), datetime(2026, 1, 5), timedelta(hours=26.5)],
    )  # fmt: skip
    assert lines(path, **ISO)[0].split("\t") == [
        "2026-01-05T06:30:00", "2026-01-05", "06:30:00", "2026-01-05T06:30:15", "2026-01-05T00:00:00", "26:30:00",
    ]  # fmt: skip
    # a format that would lose the seconds is not used
    assert lines(path, time_format="%m/%d/%Y %H:%M")[0].split("\t") == [
        "01/05/2026 06:30", "01/05/2026 00:00", "06:30:00", "2026-01-05T06:30:15", "01/05/2026 00:00", "26:30:00",
    ]  # fmt: skip
    # a date and a time column: each its part of the format
    assert lines(path, time_format="%d.%m.%y %I:%M %p", date_column="D")[0].split("\t")[1:3] == ["05.01.26", "06:30 AM"]
    assert lines(path, time_format="%m/%d/%Y")[0].split("\t")[:2] == ["2026-01-05T06:30:00", "01/05/2026"]
    assert lines(path, time_format="serial day")[0].split("\t")[:2] == ["46027.27083333334", "46027"]


def test_the_1904_calendar_and_dates_before_march_1900(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    assert book.active is not None
    book.epoch = openpyxl.utils.datetime.CALENDAR_MAC_1904
    book.active.append([datetime(2026, 1, 5, 6, 30), date(1904, 1, 2)])
    book.save(tmp_path / "x.xlsx")
    assert lines(tmp_path / "x.xlsx", **ISO) == ["2026-01-05T06:30:00\t1904-01-02"]
    assert lines(tmp_path / "x.xlsx", time_format="serial day") == ["46027.27083333334\t1463"]
    writer, shown = cells.DateWriter(WIDE.model_copy(update=ISO), is_1904=False), cells.NumberFormat("date", has_fraction=False)
    # ECMA-376 Part 1, 18.17.4.1: in the 1900 date system serial 1 is 1900-01-01, and 61 is 1900-03-01
    assert [writer.serial(n, shown) for n in ("1", "59", "60", "61")] == ["1900-01-01", "1900-02-28", "60", "1900-03-01"]
    assert [writer.serial(n, shown) for n in ("2958465", "2958466", "-1", "x")] == ["9999-12-31", "2958466", "-1", "x"]


FORMATS = [
    *BUILTIN_FORMATS.values(), "[$-409]m/d/yy h:mm AM/PM;@", 'dd/mm/yyyy\\ hh:mm', '0.0 "gpm"', '#,##0.00 "days"', "[Red]-0.0;0", "yyyy-mm-dd", "[h]:mm",
    "mm:ss.0", "hh:mm:ss.000", '"Feed" 0', "0.00E+00", "@", "General", "mmm-yy", "[<1]0.00;[>=1]0", "_(* #,##0_)", 'yyyy"-"mm"-"dd"T"hh:mm',
]  # fmt: skip


@pytest.mark.parametrize("code", dict.fromkeys(FORMATS))
def test_a_number_format_is_a_date_where_openpyxl_says_so(code: str) -> None:
    assert (cells.number_format(200, code) is not None) == bool(is_date_format(code))


def test_built_in_formats_agree_with_their_codes() -> None:
    for number, code in BUILTIN_FORMATS.items():
        by_number, by_code = cells.number_format(number, None), cells.number_format(number, code)
        assert by_number == by_code, (number, code)


def test_cells_agree_with_another_reader(tmp_path: Path) -> None:
    chance = random.Random(5)
    rows = [
        [chance.choice([chance.uniform(-1e6, 1e6), chance.randrange(10**9), f"t{chance.random()}", None, datetime(2026, 1, 1) + timedelta(seconds=chance.randrange(10**7))]) for _ in range(12)]
        for _ in range(200)
    ]  # fmt: skip
    path = saved(tmp_path / "x.xlsx", *rows)
    theirs = python_calamine.CalamineWorkbook.from_path(str(path)).get_sheet_by_index(0).to_python(skip_empty_area=False)
    ours = [line.split("\t") for line in lines(path, **ISO)]
    assert len(ours) == len(theirs) == 200
    for mine, other in zip(ours, theirs, strict=True):
        for text, value in zip(mine, other, strict=False):
            if isinstance(value, datetime):
                assert text == value.isoformat()
            else:
                assert text == value if isinstance(value, str) else float(text) == value


def test_rows_keep_their_numbers_and_merged_areas_are_blank(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet["A3"], sheet["C3"], sheet["A6"], sheet["B8"] = "Time", "Feed", "merged", 7
    sheet.merge_cells("A6:B7")
    book.save(tmp_path / "x.xlsx")
    assert lines(tmp_path / "x.xlsx") == ["", "", "Time\t\tFeed", "", "", "merged\t\t", "", "\t7\t"]


def wide_book(path: Path, sheet: str = "Sheet") -> Path:
    return saved(
        path,
        ["Invented plant"], [],
        ["Time", "Feed", "Polymer", "Run", "Note"], [None, "gpm", "gph", None, None],
        [datetime(2026, 1, 5, 6, 0), 401.5, 3.2, "RUN", "two\nlines"], [], [datetime(2026, 1, 5, 6, 1), None, -9999, "STOP"],
        ["01/05/2026 06:02", 402, "I/O", True], ["sometime", 1, 2, 3], ["Average", 401.75],
        sheet=sheet,
    )  # fmt: skip


def with_files(plant: PlantFile, layout: str, **changes: Any) -> PlantFile:
    return plant.model_copy(update={"layouts": tuple(x.model_copy(update=changes) for x in plant.layouts if x.id == layout)})


def test_an_export_as_a_workbook_gives_its_values_and_its_rows_back(tmp_path: Path) -> None:
    path = wide_book(tmp_path / "wide.xlsx")
    opened = receive.open_file(path, path.name, with_files(PLANT, "wide", files="wide*.xlsx", minimum_parse_rate=0.5))
    (chunk,) = opened.chunks()
    assert (chunk.rows_read, chunk.rows_dropped, chunk.refused.height) == (10, 6, 0)
    got = chunk.values.select("line_no", "tag", "text", "time_reason").sort("line_no", "tag").rows()
    assert got == [
        (5, "Feed", "401.5", None), (5, "Polymer", "3.2", None), (5, "Run", "RUN", None),
        (7, "Run", "STOP", None),
        (8, "Feed", "402", None), (8, "Polymer", "I/O", None), (8, "Run", "TRUE", None),
        *((9, tag, text, "time stamp unreadable") for tag, text in (("Feed", "1"), ("Polymer", "2"), ("Run", "3"))),
    ]  # fmt: skip
    raw = receive.raw_lines(path, opened.layout, [5, 8, 99])
    assert raw == {5: "01/05/2026 06:00\t401.5\t3.2\tRUN\ttwo lines", 8: "01/05/2026 06:02\t402\tI/O\tTRUE\t"}


def test_pieces_of_any_size_are_the_same_content(tmp_path: Path) -> None:
    path = wide_book(tmp_path / "wide.xlsx")
    whole = b"".join(workbook.pieces(path, WIDE, 1 << 20))
    for size in (1, 7, 64):
        assert b"".join(workbook.pieces(path, WIDE, size)) == whole
        for skip in (0, 1, 15, 40, len(whole), len(whole) + 5):
            assert b"".join(workbook.pieces(path, WIDE, size, skip)) == whole[skip:]


def test_the_sheet_is_the_named_one_or_the_first_visible(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    assert book.active is not None
    book.active.title, book.active.sheet_state = "Notes", "hidden"
    book.active["A1"] = "hidden"
    book.create_sheet("Lab ")["A1"] = "lab"
    book.create_sheet("Export")["A1"] = "export"
    book.create_chartsheet("Chart", 0)
    path = tmp_path / "x.xlsx"
    book.save(path)
    assert [lines(path, sheet=name) for name in (None, "lab", "EXPORT", "Notes")] == [["lab"], ["lab"], ["export"], ["hidden"]]
    with pytest.raises(FileRefusedError, match="no sheet 'Feed'; its sheets are 'Notes', 'Lab ', 'Export'") as refused:
        lines(path, sheet="Feed")
    assert refused.value.reason == "unknown layout"
    plant = with_files(PLANT, "wide", files="*.xlsx", sheet="Feed")
    with pytest.raises(FileRefusedError, match="no sheet 'Feed'"):
        receive.open_file(path, path.name, plant)


def test_a_workbook_in_an_archive_and_one_with_macros_are_read(tmp_path: Path) -> None:
    inner = wide_book(tmp_path / "wide.xlsx").read_bytes()
    with zipfile.ZipFile(tmp_path / "box.zip", "w") as archive:
        archive.writestr("lab/wide.xlsx", inner)
    plant = with_files(PLANT, "wide", files="wide*.xls?", minimum_parse_rate=0.5)
    assert [m.name for m in receive.members(tmp_path / "box.zip", "box.zip") or ()] == ["lab/wide.xlsx"]
    opened = receive.open_file(tmp_path / "box.zip" / "lab" / "wide.xlsx", "box.zip/lab/wide.xlsx", plant)
    assert sum(c.rows_read for c in opened.chunks()) == 10
    assert receive.raw_lines(tmp_path / "box.zip" / "lab" / "wide.xlsx", opened.layout, [7])[7].startswith("01/05/2026 06:01\t\t-9999")
    book = openpyxl.load_workbook(tmp_path / "wide.xlsx")
    book.save(tmp_path / "wide.xlsm")
    assert receive.members(tmp_path / "wide.xlsm", "wide.xlsm") is None
    assert sum(c.rows_read for c in receive.open_file(tmp_path / "wide.xlsm", "wide.xlsm", plant).chunks()) == 10


SHEET = '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>{}</sheetData></worksheet>'
MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
REL = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"


def made(path: Path, sheet: str, shared: str = "", extra: dict[str, str] | None = None) -> Path:
    """A workbook by hand: the parts a reader looks at, no more."""
    links = f'<Relationship Id="r1" Type="{REL}/worksheet" Target="worksheets/s.xml"/><Relationship Id="r2" Type="{REL}/sharedStrings" Target="/xl/shared.xml"/>'
    parts = {
        "[Content_Types].xml": "<Types/>",
        "_rels/.rels": f'<Relationships><Relationship Id="r1" Type="{REL}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook {MAIN} xmlns:r="{REL}"><sheets><sheet name="S" sheetId="1" r:id="r1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f"<Relationships>{links}</Relationships>",
        "xl/worksheets/s.xml": sheet if sheet.startswith("<?") or sheet.startswith("<!") else SHEET.format(sheet),
        "xl/shared.xml": f"<sst {MAIN}>{shared}</sst>",
        **(extra or {}),
    }
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(name, text)
    return path


def test_cells_without_places_runs_phonetics_escapes_and_prefixes(tmp_path: Path) -> None:
    shared = "<si><r><t>Fe</t></r><r><t>ed</t></r><rPh sb='0' eb='1'><t>x</t></rPh></si><si><t>a_x0009_b_x0041_</t></si>"
    sheet = '<row><c t="s"><v>0</v></c><c t="inlineStr"><is><t>in</t></is></c><c><f>1+1</f><v>2</v></c><c t="str"><v>q</v></c></row><row r="3"><c r="B3" t="d"><v>2026-01-05T06:30:00</v></c><c t="s"><v>1</v></c><c t="e"><v>#REF!</v></c></row>'
    assert lines(made(tmp_path / "x.xlsx", sheet, shared)) == ["Feed\tin\t2\tq", "", "\t01/05/2026 06:30\ta bA\t#REF!"]
    prefixed = (
        f'<?xml version="1.0"?><x:worksheet xmlns:x="u"><x:sheetData>{"<x:row><x:c><x:v>1</x:v></x:c></x:row>"}</x:sheetData></x:worksheet>'
    )
    assert lines(made(tmp_path / "y.xlsx", prefixed)) == ["1"]


LAUGHS = '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;">]><worksheet><sheetData><row><c t="str"><v>&b;</v></c></row></sheetData></worksheet>'
HOSTILE: dict[str, tuple[Callable[[Path], Path], str]] = {
    "far corner": (lambda p: made(p, '<row r="1"><c r="A1"><v>1</v></c></row><row r="1048577"><c><v>1</v></c></row>'), "beyond the last row"),
    "far column": (lambda p: made(p, '<row r="1"><c r="XFE1"><v>1</v></c></row>'), "beyond the last column"),
    "100,000 columns": (lambda p: made(p, "<row>" + "<c><v>1</v></c>" * 100_000 + "</row>"), "beyond the last column"),
    "rows back": (lambda p: made(p, '<row r="5"/><row r="4"/>'), "stands behind row 5"),
    "columns back": (lambda p: made(p, '<row r="1"><c r="B1"/><c r="A1"/></row>'), "out of order"),
    "other row": (lambda p: made(p, '<row r="1"><c r="A2"/></row>'), "does not stand in row 1"),
    "no such text": (lambda p: made(p, '<row><c t="s"><v>7</v></c></row>'), "does not have"),
    "bad text number": (lambda p: made(p, '<row><c t="s"><v>-1</v></c></row>'), "does not have"),
    "long cell": (lambda p: made(p, f"<row><c t='str'><v>{'x' * 40_000}</v></c></row>"), "more than 32767"),
    "long text": (lambda p: made(p, "", f"<si><t>{'x' * 40_000}</t></si>"), "more than 32767"),
    "document type": (lambda p: made(p, LAUGHS), "document type"),
    "cut off": (lambda p: made(p, "<?xml version='1.0'?><worksheet><sheetData><row><c>"), "not sound XML"),
    "no sheet data": (lambda p: made(p, "<?xml version='1.0'?><worksheet/>"), "cut off"),
    "no such part": (lambda p: made(p, "", extra={"xl/_rels/workbook.xml.rels": f'<Relationships><Relationship Id="r1" Type="{REL}/worksheet" Target="../../../etc/passwd"/></Relationships>'}), "no part etc/passwd"),
    "outside": (lambda p: made(p, "", extra={"xl/_rels/workbook.xml.rels": f'<Relationships><Relationship Id="r1" Type="{REL}/worksheet" TargetMode="External" Target="http://x.invalid/"/></Relationships>'}), "no visible sheet"),
    "binary book": (lambda p: made(p, "", extra={"xl/workbook.bin": ""}), "binary .xlsb workbook; save it as .xlsx"),
    "unknown type": (lambda p: made(p, '<row><c t="zz"><v>1</v></c></row>'), "unknown type zz"),
}  # fmt: skip


@pytest.mark.parametrize("kind", HOSTILE)
def test_hostile_workbooks_are_refused_with_a_sentence(tmp_path: Path, kind: str) -> None:
    build, said = HOSTILE[kind]
    path = build(tmp_path / "x.xlsx")
    with pytest.raises(FileRefusedError, match=said) as refused:
        lines(path)
    assert refused.value.detail.isprintable()


def test_limits_on_cells_text_and_shared_text(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    far = made(tmp_path / "far.xlsx", "".join(f'<row r="{n}"><c r="XFD{n}"><v>1</v></c></row>' for n in range(1, 400)))
    with pytest.raises(FileRefusedError, match="spans more than 5000000 cells"):
        lines(far)
    many = made(tmp_path / "many.xlsx", "<row><c t='s'><v>0</v></c></row>" * 300, f"<si><t>{'x' * 30_000}</t></si>")
    assert len(lines(many)) == 300
    monkeypatch.setattr(sheets, "LARGEST_TEXT", 2**20)
    with pytest.raises(FileRefusedError, match="more than 1 million characters"):
        lines(many)
    monkeypatch.setattr(sheets, "LONGEST_LINE", 50_000)
    with pytest.raises(FileRefusedError, match="row 1 is longer"):
        lines(
            made(
                tmp_path / "row.xlsx",
                f"<row>{'<c t=chr><v>0</v></c>'.replace('chr', chr(34) + 's' + chr(34)) * 3}</row>",
                f"<si><t>{'x' * 30_000}</t></si>",
            )
        )
    monkeypatch.setattr(sheets, "LARGEST_SHARED", 50_000)
    with pytest.raises(FileRefusedError, match="texts are longer"):
        lines(made(tmp_path / "shared.xlsx", "", f"<si><t>{'x' * 30_000}</t></si>" * 2))
    monkeypatch.setattr(sheets, "MOST_SHARED", 5)
    with pytest.raises(FileRefusedError, match="more than 5 texts"):
        lines(made(tmp_path / "count.xlsx", "", "<si><t>x</t></si>" * 6))
    monkeypatch.setattr(zip_files, "HARMLESS", 1_000)
    with pytest.raises(FileRefusedError, match="more than 250 times its size"):
        lines(made(tmp_path / "bomb.xlsx", "<row/>" * 200_000))


def document(*names: str) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name in names:
            archive.writestr(name, "x")
    return out.getvalue()


@pytest.mark.parametrize(
    "data, said",
    [
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "old .xls workbook, or one with a password; save it as .xlsx"),
        (document("mimetype", "content.xml"), "OpenDocument file; save it as .xlsx or CSV"),
        (document("[Content_Types].xml", "word/document.xml"), "office document that is no workbook; save it as"),
        (b"PK\x03\x04 and no more", "damaged or cut off"),
    ],
)
def test_other_documents_are_refused_with_a_remedy(tmp_path: Path, data: bytes, said: str) -> None:
    path = tmp_path / "wide.csv"
    path.write_bytes(data)
    with pytest.raises(FileRefusedError, match=said):
        receive.open_file(path, path.name, PLANT)


def test_inspect_proposes_a_layout_that_reads_the_workbook_and_the_archive(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    assert book.active is not None
    book.active["A1"] = "notes"
    sheet = book.create_sheet("Lab")
    sheet.append(["Time", "Feed Flow", "Pump Speed"])
    for minute in range(30):
        sheet.append([datetime(2026, 1, 5, 6) + timedelta(minutes=minute), 400 + minute, 900.5])
    path = tmp_path / "export_20260105.xlsx"
    book.save(path)
    seen = inspect.run(path, time_zone="America/New_York", sheet="Lab")
    assert (seen.layout.sheet, seen.layout.kind, seen.layout.time_column, seen.layout.time_format) == ("Lab", "wide", "Time", "iso8601")
    assert (seen.survey.rows_read, seen.survey.unreadable_times) == (31, 0)
    assert [(t.tag, t.count) for t in seen.survey.tags] == [("Feed Flow", 30), ("Pump Speed", 30)]
    assert "encoding" not in seen.layout_toml
    with zipfile.ZipFile(tmp_path / "week.zip", "w") as archive:
        archive.writestr("a/notes.txt", "x")
        archive.write(path, "b/export_20260105.xlsx")
    inside = inspect.run(tmp_path / "week.zip", member="b/export_20260105.xlsx", sheet="Lab")
    assert inside.layout.files == "export_*.xlsx"
    assert inside.survey.rows_read == 31
    with pytest.raises(FileRefusedError, match=r"no member 'c'; it has a/notes\.txt"):
        inspect.run(tmp_path / "week.zip", member="c")
    untold = inspect.run(path)
    assert (untold.layout.sheet, untold.sheets, untold.readable_sheets) == ("Lab", ("Sheet", "Lab"), ("Lab",))


def test_a_workbook_goes_through_a_night_and_its_rows_are_traced(tmp_path: Path) -> None:
    path = wide_book(tmp_path / "wide.xlsx")
    plant = with_files(PLANT, "wide", minimum_parse_rate=0.5)
    original = receive.fingerprint(path)
    with Store(tmp_path / "p.duckdb", "fuzz") as store:
        (receipt,) = load_files.check_in(store, plant, original, path, 1, datetime(2026, 12, 1, tzinfo=UTC))
        aside = store.rows("SELECT line_no, reason, raw_text FROM set_aside ORDER BY line_no")
        feed = store.rows("SELECT value FROM readings WHERE tag = 'Feed' ORDER BY time_utc")
    assert receipt.balances
    assert (receipt.status, receipt.rows_read, receipt.layout) == ("taken", 10, "wide")
    assert aside == [
        (8, "text in number", "01/05/2026 06:02\t402\tI/O\tTRUE\t"), (9, "time stamp unreadable", "sometime\t1\t2\t3\t"),
    ]  # fmt: skip
    assert feed == [(pytest.approx(401.5 * 0.003785411784 * 60),), (pytest.approx(402 * 0.003785411784 * 60),)]  # gpm to m3/h


@pytest.mark.parametrize("stamp", ["2026-01-05T06:{:02d}:00Z", "17676144{:02d}"])
def test_inspect_reads_wide_files_with_iso_or_epoch_stamps(tmp_path: Path, stamp: str) -> None:
    path = tmp_path / "x.csv"
    path.write_text("Time,Feed Flow,Pump Speed\n" + "".join(f"{stamp.format(n)},4{n:02d},900.5\n" for n in range(30)), encoding="utf-8")
    assert inspect.run(path).survey.unreadable_times == 0
