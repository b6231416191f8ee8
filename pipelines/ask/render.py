"""A result as an aligned table, CSV, JSON, Parquet or a chart. CSV is safe to open in a spreadsheet."""

from __future__ import annotations

import io
import math
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.base.errors import UsageError

if TYPE_CHECKING:
    import polars as pl

# A cell that begins so is taken for a formula by spreadsheets; a leading apostrophe makes it text.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")  # and their full-width forms
# Where a list separator of some countries stands in a text, a spreadsheet set to it begins a new cell there, quotes or not.
_INNER_FORMULA = r"([;,|\t\r\n])([\s\"']*[=+\-@\x{ff1d}\x{ff0b}\x{ff0d}\x{ff20}])"
FILE_FORMATS = ("parquet", "xlsx", "png", "svg")


def safe_for_spreadsheets(frame: pl.DataFrame) -> pl.DataFrame:
    """Return the frame with text cells (and names) that a spreadsheet would run made into plain text, whatever separator it is set to."""
    import polars as pl

    text = [name for name, kind in frame.schema.items() if kind == pl.String]
    inner = {n: pl.col(n).str.replace_all(_INNER_FORMULA, "${1}'${2}") for n in text}
    starts = {n: pl.col(n).str.strip_chars_start(" \"'").str.slice(0, 1).is_in(FORMULA_STARTS) for n in text}
    risky = [
        pl.when(starts[n] | pl.col(n).str.slice(0, 1).is_in(FORMULA_STARTS)).then("'" + inner[n]).otherwise(inner[n]).alias(n) for n in text
    ]
    names = pl.Series(frame.columns, dtype=pl.String).str.replace_all(_INNER_FORMULA, "${1}'${2}").to_list()
    renamed = {n: "'" + safe if n.startswith(FORMULA_STARTS) else safe for n, safe in zip(frame.columns, names, strict=True)}
    return frame.with_columns(risky).rename(renamed)


def as_text(frame: pl.DataFrame, kind: str) -> str:
    """Return the answer as text of one of the formats `table`, `csv` and `json`."""
    return {"table": as_table, "csv": as_csv, "json": as_json}[kind](frame)


def as_csv(frame: pl.DataFrame) -> str:
    """Return CSV text: ISO 8601 times, empty cells for nulls, no formulas."""
    return safe_for_spreadsheets(_flat(frame)).write_csv()


def as_json(frame: pl.DataFrame) -> str:
    """Return a JSON array of objects, times in ISO 8601."""
    import json

    def plain(value: object) -> object:
        if isinstance(value, float) and not math.isfinite(value):
            return None  # JSON has no word for it
        return value.isoformat() if isinstance(value, date | datetime) else value

    return json.dumps([{k: plain(v) for k, v in row.items()} for row in frame.to_dicts()], default=str, indent=1)


def as_table(frame: pl.DataFrame, *, most: int = 200) -> str:
    """Return an aligned text table; numbers right, at most `most` rows with a line that says how many more."""
    if "explain_value" in frame.columns:  # a query plan is a drawing, not a table
        return "\n".join(frame["explain_value"].to_list()) + "\n"
    shown = frame.head(most)
    numeric = [kind.is_numeric() for kind in shown.dtypes]
    cells = [[_cell(value) for value in row] for row in shown.rows()]
    widths = [max([len(name), *(len(row[i]) for row in cells)]) for i, name in enumerate(shown.columns)]

    def line(row: list[str]) -> str:
        return "  ".join(c.rjust(w) if right else c.ljust(w) for c, w, right in zip(row, widths, numeric, strict=True)).rstrip()

    out = io.StringIO()
    out.write(line(list(shown.columns)) + "\n" + line(["-" * w for w in widths]) + "\n")
    out.writelines(line(row) + "\n" for row in cells)
    more = frame.height - shown.height
    if more > 0:
        out.write(f"... {more} more rows; --format csv gives all\n")
    return out.getvalue()


def _cell(value: object) -> str:
    if value is None:
        return "-"
    if isinstance(value, float):
        return f"{value:.4g}" if abs(value) < 1e4 else f"{value:.0f}"
    if isinstance(value, datetime):
        return value.strftime("%Y-%m-%d %H:%M")
    return str(value).replace("\n", " ")


def _flat(frame: pl.DataFrame) -> pl.DataFrame:
    """Return columns that CSV cannot hold as they are (nested, binary, enumerated, of another system) as text, times in ISO 8601."""
    import polars as pl

    # column by column: a local time has no offset to tell
    times = {
        n: "%Y-%m-%dT%H:%M:%S" + ("%:z" if kind.time_zone else "") for n, kind in frame.schema.items() if isinstance(kind, pl.Datetime)
    }

    def text(value: object) -> str | None:
        return None if value is None else value.hex() if isinstance(value, bytes) else str(value)

    plain = (pl.String, pl.Boolean, pl.Null, pl.Decimal)
    odd = [n for n, kind in frame.schema.items() if not (kind.is_numeric() or kind.is_temporal() or kind in plain)]
    return frame.with_columns(
        [pl.Series(n, [text(v) for v in frame[n].to_list()], dtype=pl.String) for n in odd]
        + [pl.col(n).dt.to_string(f) for n, f in times.items()]
    )


def to_file(frame: pl.DataFrame, kind: str, path: Path) -> None:
    """Write Parquet, or a chart of the first numeric columns over the first column."""
    if kind == "parquet":
        frame.write_parquet(path, compression="zstd")
    else:
        _chart(frame, kind, path)


def _chart(frame: pl.DataFrame, kind: str, path: Path) -> None:
    import matplotlib as mpl
    from matplotlib.figure import Figure

    numbers = [n for n, t in frame.schema.items() if t.is_numeric()]
    others = [n for n in frame.columns if n not in numbers]
    if not numbers or frame.height == 0:
        raise UsageError("a chart needs at least one row and one numeric column", remedy="choose --format table to see what came back")
    along = next((n for n in others if frame.schema[n].is_temporal()), others[0] if others else numbers[0])
    drawn = [n for n in numbers if n != along][:4] or numbers[:1]
    mpl.rcParams.update({"svg.fonttype": "none", "svg.hashsalt": "flocledger"})
    figure = Figure(figsize=(9, 2.2 * len(drawn) + 0.6), layout="constrained")
    panels = figure.subplots(len(drawn), 1, sharex=True, squeeze=False)[:, 0]
    x = frame[along].to_list()
    temporal = frame.schema[along].is_temporal()
    for panel, name in zip(panels, drawn, strict=True):
        y = [float("nan") if v is None else v for v in frame[name].to_list()]
        if temporal:
            panel.plot(x, y, marker="o", markersize=3, linewidth=1, color="black")
        else:
            panel.bar([str(v) for v in x], y, color="0.4")
            panel.tick_params(axis="x", rotation=45)
        panel.set_ylabel(name, fontsize=8)
        panel.grid(color="0.85")
    panels[-1].set_xlabel(along)
    metadata = {"Date": None} if kind == "svg" else {}
    figure.savefig(path, format=kind, dpi=120, metadata=metadata)
