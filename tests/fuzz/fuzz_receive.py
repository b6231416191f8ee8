"""Coverage-guided fuzzing of the way from bytes to checked values: containers, dialects, headers, stamps, zones, words.

    pip install -e '.[fuzz]'
    python tests/fuzz/fuzz_receive.py -max_total_time=1800 -timeout=25 -rss_limit_mb=2048 CORPUS_FOLDER

An empty or new corpus folder is filled with the seeds beside this file and the heads of `sample_data/small`. An input's
first byte chooses the file name (so the layout), the second how small the pieces are and whether the file is inspected as
well; the rest is the file (of the workbooks named in SHEETS only the sheet, put into a sound workbook). Checksums of ZIP
members are not checked here, so that changed content gets past them. Anything but a FileRefusedError, a row counted twice or
lost, two readers or two piece sizes that disagree, is a finding.
pytest does not collect this file.
"""

from __future__ import annotations

import contextlib
import os
import sys
import tempfile
import zipfile
from datetime import UTC, datetime
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
import atheris

with atheris.instrument_imports(include=["pipelines"]):
    from pipelines import inspect, receive
    from pipelines.check.lab import results, sheet
    from pipelines.check.readings.signals import Signals
    from pipelines.check.readings.values import typed
    from pipelines.files.original import FileRefusedError
    from pipelines.plant import loader, model
    from pipelines.receive.shapes.header import dialect_of
    from pipelines.receive.text import reader

HERE = Path(__file__).resolve().parent
SMALL = HERE.parents[1] / "sample_data" / "small" / "exports"
PLANT = loader.load(HERE / "plant.toml")
SIGNALS = Signals.of(PLANT)
RECEIVED = datetime(2026, 12, 1, tzinfo=UTC)
NAMES = (
    "long.csv", "semi.csv", "wide.csv", "split.csv", "lablong.csv", "labwide.csv", "esc.csv", "serial.csv",
    "wide.xlsx", "labwide.xlsx", "long.xlsx", "box.zip",
)  # fmt: skip
SHEETS = ("wide.xlsx", "labwide.xlsx")
INSPECTED = 0x80  # bit of the second byte
PIECES = (64, 300, 1_000, 1 << 22)  # bytes of a piece: records go over the seams of small ones
HEAD_BYTES = 2_000  # of a sample file that becomes a seed
SCRATCH = Path(tempfile.mkdtemp(dir="/dev/shm" if Path("/dev/shm").is_dir() else None))


def one_input(data: bytes) -> None:
    """Read one file as a nightly would, short of the store."""
    if len(data) < 3:
        return
    name = NAMES[data[0] % len(NAMES)]
    path = SCRATCH / name
    path.write_bytes(data[2:])
    if name in SHEETS:
        write_workbook(path, data[2:])
    if data[1] & INSPECTED:
        with contextlib.suppress(FileRefusedError):
            inspect.run(path)
    try:
        found = receive.members(path, name)
    except FileRefusedError:
        return
    if found is None:
        read_and_check(path, name, PIECES[data[1] % len(PIECES)])
        return
    for member in found:
        read_and_check(path / member.name, f"{name}/{member.name}", PIECES[data[1] % len(PIECES)])


def read_and_check(path: Path, name: str, piece_bytes: int) -> None:
    """Read as text and in one pass: both tell the same rows and values, or refuse for the same reason."""
    told = [judged(path, name, piece_bytes, may_measure=may) for may in (False, True)]
    assert told[0] == told[1], told
    if told[0][0] != "refused":
        readers_agree(path, receive.open_file(path, name, PLANT).layout, piece_bytes)


def judged(path: Path, name: str, piece_bytes: int, *, may_measure: bool) -> tuple[object, ...]:
    """Return what check makes of a file; its rows are each accounted for."""
    readings, failed = [], []
    try:
        opened = receive.open_file(path, name, PLANT, may_measure=may_measure)
        opened.piece_bytes = piece_bytes
        rows, lines = 0, []
        for chunk in opened.chunks():  # a row lies in one chunk whole; rows of a repeated hour may come one chunk late
            rows += chunk.rows_read - chunk.rows_dropped
            lines += sorted({*chunk.values["line_no"].to_list(), *chunk.refused["line_no"].to_list()})
            if opened.layout.is_lab:
                sheet.averaged(results.results(chunk.values, opened.layout, PLANT, RECEIVED)[0], PLANT)
            elif chunk.values.height:
                said = typed(chunk.values, SIGNALS, chunk.layout or opened.layout, RECEIVED, chunk.texts)
                readings += said.readings.rows()
                failed += said.failed.rows()
        assert len(lines) == len(set(lines)) == rows, (rows, lines)
        raw = receive.raw_lines(path, opened.layout, lines)
        assert set(raw) == set(lines), (raw, lines)
    except FileRefusedError as refused:
        return "refused", refused.reason
    return repr(sorted(readings, key=repr)), repr(sorted(failed, key=repr)), sorted(lines)


def readers_agree(path: Path, layout: model.Layout, piece_bytes: int) -> None:
    """Compare the fast reader with the exact one, and small pieces with one."""
    if path.suffix != ".csv" or not path.is_file():
        return
    dialect, fast = dialect_of(layout), reader._fast_piece
    told = [rows_of(path, dialect, piece_bytes), rows_of(path, dialect, 1 << 22)]
    reader._fast_piece = lambda *_: None
    try:
        told.append(rows_of(path, dialect, 1 << 22))
    finally:
        reader._fast_piece = fast
    read = [t for t in told if t is not None]
    assert all(t == read[0] for t in read[1:]), told


def rows_of(path: Path, dialect: receive.Dialect, piece_bytes: int) -> list[object] | None:
    try:
        batches = list(receive.read_rows(path, dialect, piece_bytes=piece_bytes))
    except FileRefusedError:
        return None
    rows = [row for b in batches for row in b.frame.iter_rows()]
    odd = [(o.line_no, o.fields, o.raw, o.ended, o.note) for b in batches for o in b.odd]
    return [sorted(rows), sorted(odd), sum(b.records for b in batches)]


REL = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
STYLES = "<styleSheet><cellXfs><xf numFmtId='0'/><xf numFmtId='22'/><xf numFmtId='14'/><xf numFmtId='20'/><xf numFmtId='46'/></cellXfs></styleSheet>"
TEXTS = "<sst><si><t>Time</t></si><si><t>Feed</t></si><si><r><t>Ru</t></r><r><t>n</t></r></si><si><t>Date</t></si><si><t>Feed TS %</t></si></sst>"
SHEET = (
    "<worksheet><sheetData><row r='1'><c r='A1' t='s'><v>{first}</v></c><c r='B1' t='s'><v>{second}</v></c></row><row r='3'>"
    "<c r='A3' s='{style}'><v>46027.25</v></c><c r='B3'><v>2.4</v></c></row><row><c t='inlineStr'><is><t>01/05/2026 06:01</t></is></c>"
    "<c t='e'><v>#N/A</v></c><c t='b'><v>1</v></c></row></sheetData></worksheet>"
)


def write_workbook(path: Path, sheet: bytes) -> None:
    """Write a small workbook round the XML of its sheet."""
    parts: dict[str, str | bytes] = {
        "[Content_Types].xml": "<Types/>",
        "_rels/.rels": f"<Relationships><Relationship Id='r' Type='{REL}/officeDocument' Target='xl/workbook.xml'/></Relationships>",
        "xl/workbook.xml": f"<workbook xmlns:r='{REL}'><sheets><sheet name='S' r:id='r1'/></sheets></workbook>",
        "xl/_rels/workbook.xml.rels": "<Relationships>"
        + "".join(
            f"<Relationship Id='r{n}' Type='{REL}/{kind}' Target='{kind}.xml'/>"
            for n, kind in enumerate(("worksheet", "styles", "sharedStrings"), 1)
        )
        + "</Relationships>",
        "xl/worksheet.xml": sheet,
        "xl/styles.xml": STYLES,
        "xl/sharedStrings.xml": TEXTS,
    }
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in parts.items():
            archive.writestr(zipfile.ZipInfo(name), content)


def container_seeds() -> dict[str, bytes]:
    """Return seeds that are made, not kept: sheets, a workbook, an archive of the text seeds."""
    wide, lab = (SHEET.format(first=a, second=b, style=s).encode() for a, b, s in ((0, 1, 1), (3, 4, 2)))
    write_workbook(SCRATCH / "seed.xlsx", wide)
    with zipfile.ZipFile(SCRATCH / "seed.zip", "w") as archive:
        for name in ("long.csv", "labwide.csv"):
            archive.writestr(zipfile.ZipInfo(name), (HERE / "seeds" / name).read_bytes())
    return {
        "wide.xlsx": wide, "labwide.xlsx": lab, "long.xlsx": (SCRATCH / "seed.xlsx").read_bytes(), "box.zip": (SCRATCH / "seed.zip").read_bytes(),
    }  # fmt: skip


def write_seeds(folder: Path) -> None:
    """Fill a corpus: every seed under its own name, heads of the sample files under the name that reads their kind."""
    folder.mkdir(parents=True, exist_ok=True)
    made = container_seeds()
    for number, name in enumerate(NAMES):
        seed = HERE / "seeds" / name
        content = seed.read_bytes() if seed.is_file() else made[name]
        for size in (*range(len(PIECES)), INSPECTED):
            (folder / f"seed-{name}-{size}").write_bytes(bytes([number, size]) + content)
    for path in sorted(SMALL.glob("*.csv")):
        number = NAMES.index("labwide.csv" if "LAB" in path.name else "wide.csv")
        (folder / f"small-{path.name}").write_bytes(bytes([number, 1]) + path.read_bytes()[:HEAD_BYTES])


def main() -> None:
    folders = [Path(a) for a in sys.argv[1:] if not a.startswith("-")]
    if folders and not folders[0].is_file() and not (folders[0].is_dir() and any(folders[0].iterdir())):
        write_seeds(folders[0])
    zipfile.ZipExtFile._update_crc = lambda *_: None
    atheris.Setup(sys.argv, one_input)
    atheris.Fuzz()


if __name__ == "__main__":
    os.environ.setdefault("POLARS_MAX_THREADS", "1")
    main()
