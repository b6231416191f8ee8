"""Small files, each with one named defect, through the real path: what is kept, set aside, dropped, to the last row.

The cases are TOML files in `cases/`; what must come out is written beside each by hand. A case has

    name, layout (a base layout of plant.toml), options (keys that differ), or tables (several layout blocks)
    text, or hex (bytes); written_as (encoding), bom, line_end ("lf", "crlf", "cr"), no_last_line_end
    read: records of the file; kept: [tag, instant, value] or [.., "uncertain"] or [tag, instant, "bad"] (no value)
    aside: [line, reason], a third word "partly" where other values of the row were kept
    dropped: title, header, unit, blank and footer rows; duplicates: rows that only repeat
    untied: [tag, values, first line] that no signal ties; history: [tag, instant, value] of versions that lost; refused: the reason for which the whole file is set aside
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from datetime import UTC, datetime
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipelines import check, receive
from pipelines.base.receipts import Receipt
from pipelines.files.original import FileRefusedError, Original
from pipelines.plant.model import Layout, PlantFile
from pipelines.store import Store
from schemas.vocabulary import QUALITY_WORDS, REASONS

HERE = Path(__file__).parent
RECEIVED = datetime(2026, 1, 10, tzinfo=UTC)
LINE_ENDS = {"lf": "\n", "crlf": "\r\n", "cr": "\r"}
KEYS = {
    "name", "layout", "options", "tables", "text", "hex", "written_as", "bom", "line_end", "no_last_line_end", "read", "kept", "aside",
    "dropped", "duplicates", "history", "untied", "refused", "file", "why",
}  # fmt: skip


@cache
def plant() -> dict[str, Any]:
    return tomllib.loads((HERE / "plant.toml").read_text(encoding="utf-8"))


def all_cases() -> list[tuple[str, dict[str, Any]]]:
    found = []
    for path in sorted((HERE / "cases").glob("*.toml")):
        found += [(f"{path.stem}: {case['name']}", case) for case in tomllib.loads(path.read_text(encoding="utf-8"))["case"]]
    return found


CASES = all_cases()


def content(case: dict[str, Any]) -> bytes:
    """The bytes of the file."""
    if "hex" in case:
        return bytes.fromhex(case["hex"])
    text = case["text"]
    if case.get("no_last_line_end"):
        text = text.removesuffix("\n")
    text = text.replace("\n", LINE_ENDS[case.get("line_end", "lf")])
    return (("\ufeff" if case.get("bom") else "") + text).encode(case.get("written_as", "utf-8"))


def plant_file(case: dict[str, Any]) -> PlantFile:
    """The plant file of a case: the invented plant with the case's layouts."""
    blocks = case.get("tables") or [{"base": case["layout"], **case.get("options", {})}]
    layouts = []
    for number, block in enumerate(blocks, start=1):
        own = {k: v for k, v in block.items() if k != "base"}
        layouts.append(Layout.model_validate({"id": f"layout-{number}", **plant()["base"][block["base"]], **own}))
    return without_layouts().model_copy(update={"layouts": tuple(layouts)})


@cache
def without_layouts() -> PlantFile:
    any_layout = {"id": "any", **plant()["base"]["long"]}
    return PlantFile.model_validate({**{k: v for k, v in plant().items() if k != "base"}, "layouts": [any_layout]})


@pytest.fixture(scope="module")
def store() -> Iterator[Store]:
    with Store(Path(":memory:"), "cases") as opened:
        yield opened


def take(store: Store, case: dict[str, Any], path: Path, *, may_measure: bool) -> Receipt:
    """Take the file in as the nightly does (there clean measurements are typed in one pass); a refusal is written like one."""
    name, data = case.get("file", "export.csv"), content(case)
    path.write_bytes(data)
    original, file = Original(path, name, sha256(data).hexdigest(), len(data)), plant_file(case)
    seq = check.next_seq(store)
    try:
        opened = receive.open_file(path, name, file, may_measure=may_measure)
        return check.run(
            store, file, original, name, opened, lambda lines: receive.raw_lines(path, opened.layout, lines), seq=seq, received_utc=RECEIVED
        )
    except FileRefusedError as refused:
        return check.refuse(store, file, original, name, refused, seq=seq, received_utc=RECEIVED)


@pytest.mark.parametrize("may_measure", [False, True], ids=["as text", "in one pass"])
@pytest.mark.parametrize(("case"), [c for _, c in CASES], ids=[n for n, _ in CASES])
def test_case(store: Store, tmp_path: Path, case: dict[str, Any], may_measure: bool) -> None:
    for table in ("packed_readings", "readings_history", "set_aside", "loads", "load_days", "untied_tags"):
        store.con.execute(f"DELETE FROM main.{table}")
    receipt = take(store, case, tmp_path / "export.csv", may_measure=may_measure)
    if "refused" in case:
        assert (receipt.status, receipt.reason) == ("set aside", case["refused"]), receipt.detail
        assert store.rows("SELECT count(*) FROM readings") == [(0,)]
        assert store.rows("SELECT line_no, reason FROM set_aside") == [(0, case["refused"])]
        return
    assert receipt.status == "taken", receipt.detail
    aside = store.rows("SELECT line_no, reason, is_partial, raw_text FROM set_aside ORDER BY line_no")
    assert [(line, reason, "partly") if partly else (line, reason) for line, reason, partly, _ in aside] == [
        tuple(row) for row in case.get("aside", [])
    ]
    assert all(raw for *_, raw in aside)
    assert readings(store, "readings") == expected(case.get("kept", []))
    assert [r[:3] for r in readings(store, "readings_history")] == [r[:3] for r in expected(case.get("history", []))]
    untied = store.rows("SELECT tag, value_count, first_line_no FROM untied_tags ORDER BY first_line_no, tag")
    assert untied == [tuple(row) for row in case.get("untied", [])]
    whole_aside = sum(len(row) == 2 for row in case.get("aside", []))
    counts = (receipt.rows_read, receipt.rows_duplicate, receipt.rows_dropped, receipt.rows_set_aside)
    assert counts == (case["read"], case.get("duplicates", 0), case["dropped"], whole_aside)
    assert receipt.balances
    if not case.get("aside"):  # a value set aside may leave a bad reading behind
        assert receipt.values_kept - receipt.values_superseded == len(case.get("kept", []))


def readings(store: Store, table: str) -> list[tuple[Any, ...]]:
    rows = store.rows(f"SELECT tag, time_utc, value, quality FROM {table} ORDER BY time_utc, tag, value")
    return [(tag, at, value, QUALITY_WORDS[quality]) for tag, at, value, quality in rows]


def expected(rows: list[list[Any]]) -> list[tuple[Any, ...]]:
    found = [
        (tag, at, None, "bad") if told == ["bad"] else (tag, at, float(told[0]), told[1] if len(told) > 1 else "good")
        for tag, at, *told in rows
    ]
    return sorted(found, key=lambda r: (r[1], r[0], r[2] is None, r[2] or 0.0))


@pytest.mark.parametrize(("case"), [c for _, c in CASES if "refused" not in c], ids=[n for n, c in CASES if "refused" not in c])
def test_pieces_of_any_size_say_the_same(tmp_path: Path, case: dict[str, Any]) -> None:
    """The file read whole and in pieces of a few bytes: the same values, refused rows and counts."""
    path, file = tmp_path / "x.csv", plant_file(case)
    path.write_bytes(content(case))
    seen = []
    for piece_bytes in (None, 37):
        opened = receive.open_file(path, case.get("file", "export.csv"), file)
        opened.piece_bytes = piece_bytes
        chunks = list(opened.chunks())
        values = pl.concat([c.values for c in chunks]).sort("line_no", "tag", "text", maintain_order=True).rows()
        refused = sorted(pl.concat([c.refused for c in chunks]).rows())
        seen.append((values, refused, sum(c.rows_read for c in chunks), sum(c.rows_dropped for c in chunks)))
    assert seen[0] == seen[1]


def test_the_cases_are_many_named_once_and_say_what_must_come_out() -> None:
    assert len(CASES) >= 130
    assert len({n for n, _ in CASES}) == len(CASES)
    for name, case in CASES:
        assert set(case) <= KEYS, name
        assert ("refused" in case) != ("read" in case and "dropped" in case), name
        reasons = [row[1] for row in case.get("aside", [])] + ([case["refused"]] if "refused" in case else [])
        assert set(reasons) <= set(REASONS), name
