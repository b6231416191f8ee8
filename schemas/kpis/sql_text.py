"""SQL that follows from the declarations: which columns add up, and the US form of the KPI tables. Written by `python -m schemas`.

The files are kept with the others of `sql/`, so that they can be read and run as they are; a test compares them with the
declarations.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from schemas.kpis.columns import KPI
from schemas.kpis.day_only import DAY_ONLY
from schemas.kpis.model import KpiColumn

SQL = Path(__file__).parents[2] / "sql"
_BY = "-- written by `python -m schemas` from the declarations in schemas/kpis"
_KEYS = ("plant", "line", "operating_day", "shift", "window_name", "operating_days", "week_start_day", "iso_week")


def texts() -> dict[Path, str]:
    """Return the text of each file that follows from the declarations."""
    return {
        SQL / "macros" / "is_kpi_total.sql": _adds_up("is_kpi_total", "an amount (double)", _named("total")),
        SQL / "macros" / "is_kpi_count.sql": _adds_up("is_kpi_count", "a number of minutes, samples or events (integer)", _named("count")),
        SQL / "macros" / "kpi_us.sql": _kpi_us(),
        SQL / "views" / "kpi_day_us.sql": _kpi_day_us(),
    }


def write() -> None:
    """Write the files."""
    for path, text in texts().items():
        path.write_text(text, encoding="utf-8")


def us_forms() -> dict[str, tuple[str, str]]:
    """Return (name, unit) in US units of every converted column of the KPI tables."""
    return {c.name: form for c in (*KPI, *DAY_ONLY) if (form := c.us_form()) is not None}


def _named(kind: str) -> list[str]:
    return [c.name for c in KPI if c.kind == kind]


def _lines(items: Iterable[str], indent: int) -> str:
    return ",\n".join(" " * indent + item for item in items)


def _adds_up(macro: str, what: str, names: Sequence[str]) -> str:
    listed = _lines((f"'{name}'" for name in names), 4)
    return f"""-- question: Is a column of the KPI tables {what} that adds up over days?
-- unit: true or false
-- formula: the columns declared so
-- source: this project
-- known limits: says nothing of columns of other tables
{_BY}
-- example: {macro}('{names[0]}') = true
CREATE OR REPLACE MACRO {macro}(column_name) AS
  column_name IN (
{listed}
  );
"""


def _converted(columns: Iterable[KpiColumn], source: str, indent: int) -> str:
    """Return SELECT with the columns converted in place and renamed, without the last closing."""
    chosen = [(c, c.us_form()) for c in columns]
    forms = [(c.name, form[0], c.converter) for c, form in chosen if form is not None]
    pad = " " * indent
    return (
        f"{pad}SELECT * RENAME (\n{_lines((f'{si} AS {us}' for si, us, _ in forms), indent + 2)}\n{pad})\n{pad}FROM (\n{pad}  SELECT * REPLACE (\n"
        f"{_lines((f'{macro}({si}) AS {si}' for si, _, macro in forms), indent + 4)}\n{pad}  )\n{pad}  FROM {source}\n{pad})"
    )


def _kpi_us() -> str:
    keys = ", ".join(f"'{key}'" for key in _KEYS)
    source = f"""(
    SELECT
      COLUMNS(lambda c: c IN ({keys})),
      period_start_utc, timezone(time_zone, period_start_utc) AS period_start_local,
      period_end_utc, timezone(time_zone, period_end_utc) AS period_end_local,
      COLUMNS(lambda c: c NOT IN ({keys},
        'period_start_utc', 'period_end_utc', 'time_zone'))
    FROM query_table(kpi_table)
    JOIN (SELECT plant, line, time_zone FROM line_settings) USING (plant, line)
  )"""
    return f"""-- question: What does a KPI table say in US units and local time?
-- unit: in the names; tons are short tons of 2,000 lb, gallons US gallons
-- grain: as the table named; the one place where KPIs are converted, for all five views
-- formula: exact unit conversions; the columns before period_start_utc are the table's key; a column not named here stays as it is
-- source: definitions of the units
-- known limits: no stored number changes; REPLACE converts in place, RENAME says the unit
{_BY}
CREATE OR REPLACE MACRO kpi_us(kpi_table) AS TABLE
{_converted(KPI, source, 0)};
"""


def _kpi_day_us() -> str:
    return f"""-- question: What does kpi_day say in US units and local time?
-- unit: in the names; tons are short tons of 2,000 lb, gallons US gallons
-- grain: as kpi_day
-- formula: sql/macros/kpi_us.sql: exact unit conversions; no stored number changes
-- source: definitions of the units
-- known limits: none
{_BY}
CREATE OR REPLACE VIEW kpi_day_us AS
{_converted(DAY_ONLY, "kpi_us('kpi_day')", 0)};
"""
