"""The ledger of what was published: one row for every version of an operating day's KPIs, with when and why it came.

Each publication compares the days at hand with their last version in the ledger and adds what differs. The ledger tells a
history, and a history depends on the order in which files came and on when runs took place. So it is the one published table
that no rebuild makes anew: `rebuild` carries it over, and the comparison of incremental and rebuilt tables leaves it out.
A rebuild that gives the same values adds nothing to it, and one that does not is itself a change the ledger shows.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.store import Store, connect
from schemas import TABLES
from schemas.tables.kpi_day_history import KPIS
from schemas.tables.plant_file_versions import IN_USE

if TYPE_CHECKING:
    import duckdb

TABLE = "kpi_day_history"
STAGE = "ledger"  # work list of the days with versions that are not in a published file yet
Key = tuple[str, date, int]  # line, operating day, version
# What came in since the version before, in this order of words; the last when nothing did.
CAUSES = {
    "plant file changed": "file_changed",
    "file re-sent": "own AND is_reading AND load_version > 1",
    "rest of the day arrived": "own AND is_reading AND load_version = 1 AND has_grown",
    "readings arrived": "own AND is_reading AND load_version = 1 AND NOT has_grown",
    "readings of a day beside it arrived": "is_reading AND NOT own AND NOT has_own",
    "lab result revised": "own AND is_revision",
    "lab results arrived": "own AND NOT is_reading AND NOT is_revision",
    "lab results of days before arrived": "NOT is_reading AND NOT own AND NOT has_own",
}
OTHERWISE = "corrected or computed anew"  # nothing came in and no setting changed
_DIFFERS = " OR ".join(f"n.{k} IS DISTINCT FROM l.{k}" for k in (*KPIS, "is_provisional"))

_SAID = ", ".join(f"CASE WHEN bool_or({test}) THEN '{word}' END" for word, test in CAUSES.items())
_SQL = f"""
INSERT INTO main.{TABLE} ({", ".join(TABLES[TABLE].column_names)})
WITH through AS (
  SELECT coalesce(max(received_seq), 0)::INTEGER AS seq FROM loads
), file AS (
  SELECT coalesce(({IN_USE}), '') AS plant_file_id
), now AS (
  SELECT k.*, file.plant_file_id FROM kpi_day k CROSS JOIN file WHERE {{days}}
), last AS (
  SELECT * FROM {TABLE} WHERE {{days}} QUALIFY row_number() OVER (PARTITION BY line, operating_day ORDER BY version DESC) = 1
), differing AS (
  SELECT coalesce(n.line, l.line) AS line, coalesce(n.operating_day, l.operating_day) AS operating_day, n, l,
    n.plant_file_id <> l.plant_file_id AS file_changed, coalesce(n.minutes_seen > l.minutes_seen, false) AS has_grown
  FROM now n FULL JOIN last l ON l.line = n.line AND l.operating_day = n.operating_day
  WHERE CASE WHEN n.line IS NULL THEN l.change <> 'withdrawn' ELSE l.line IS NULL OR l.change = 'withdrawn' OR {_DIFFERS} END
), news AS (
  SELECT d.line, d.operating_day, o.file_name, o.received_seq, o.version AS load_version, o.first_utc IS NOT NULL AS is_reading,
    a.operating_day = d.operating_day AS own,
    bool_or(own) OVER (PARTITION BY d.line, d.operating_day, o.first_utc IS NOT NULL) AS has_own,
    a.operating_day = d.operating_day AND EXISTS (SELECT 1 FROM lab_results_history r
      WHERE r.load_id = o.load_id AND r.line = d.line AND r.operating_day = d.operating_day AND r.revision > 1) AS is_revision
  FROM differing d JOIN loads o ON o.received_seq > d.l.known_through_seq
  JOIN load_days a ON a.load_id = o.load_id
    AND a.operating_day BETWEEN d.operating_day - CASE WHEN o.first_utc IS NULL THEN 14 ELSE 1 END AND d.operating_day + CASE WHEN o.first_utc IS NULL THEN 0 ELSE 1 END
), told AS (
  SELECT d.line, d.operating_day, any_value(d.n) AS n, any_value(d.l) AS l,
    list_aggregate((list(DISTINCT w.file_name ORDER BY w.file_name) FILTER (w.own))[1:5], 'string_agg', ', ') AS files,
    nullif(concat_ws(', ', {_SAID}), '') AS found
  FROM differing d LEFT JOIN news w ON w.line = d.line AND w.operating_day = d.operating_day
  GROUP BY d.line, d.operating_day
)
SELECT $plant, t.line, t.operating_day, coalesce(l.version, 0) + 1,
  greatest($known_from::TIMESTAMPTZ, coalesce(l.known_from_utc + INTERVAL 1 MICROSECOND, $known_from::TIMESTAMPTZ)),
  CASE WHEN l.version IS NULL THEN 'first published' WHEN n.line IS NULL THEN 'withdrawn'
    WHEN l.is_provisional AND NOT n.is_provisional THEN 'provisional to final'
    WHEN n.is_provisional AND NOT l.is_provisional AND l.change <> 'withdrawn' THEN 'final to provisional' ELSE 'revised' END,
  CASE WHEN l.version IS NOT NULL THEN coalesce(found, '{OTHERWISE}') END,
  CASE WHEN l.version IS NOT NULL THEN files END,
  {", ".join(f"n.{k}" for k in KPIS)}, coalesce(n.minutes_seen, 0), coalesce(n.processing_minutes, 0),
  coalesce(n.is_provisional, false), coalesce(n.data_version, l.data_version), coalesce(n.plant_file_id, file.plant_file_id), through.seq
FROM told t CROSS JOIN through CROSS JOIN file
ORDER BY t.line, t.operating_day
RETURNING line, operating_day, version
"""


def write(store: Store, published: Path | None, spans: list[tuple[date, date]] | None, known_from: datetime | None) -> list[Key]:
    """Add the versions that differ from the last published ones, of the days in `spans` (None: all); returns their keys.

    `known_from` is when they become known, for a run the time it works as of; default: when the last file was received.
    """
    if known_from is None:
        known_from = store.rows("SELECT coalesce(max(received_utc), TIMESTAMPTZ '1970-01-01 00:00:00+00') FROM loads")[0][0]
    _restore(store, published)
    days = "TRUE" if spans is None else "(FALSE" + "".join(f" OR operating_day BETWEEN DATE '{a}' AND DATE '{b}'" for a, b in spans) + ")"
    return store.rows(_SQL.format(days=days), {"plant": store.plant, "known_from": known_from})


def take_back_unpublished(store: Store, published: Path | None) -> None:
    """Remove the versions that a run wrote and was killed before it published them: nobody knew them then."""
    days = {"d": store.pending_days(STAGE)}
    if not days["d"]:
        return
    known: set[Key] = set()
    with _opened(published) as con:
        if con is not None:
            sql = f"SELECT line, operating_day, version FROM {TABLE} WHERE plant = $p AND list_contains($d, operating_day)"
            known = {(line, day, version) for line, day, version in con.execute(sql, {"p": store.plant, **days}).fetchall()}
    last = f"SELECT line, operating_day, max(version) FROM {TABLE} WHERE list_contains($d, operating_day) GROUP BY ALL"
    take_back(store, [key for key in store.rows(last, days) if tuple(key) not in known])


def take_back(store: Store, added: list[Key]) -> None:
    """Remove versions whose publication failed."""
    store.clear_days(STAGE)
    for line, day, version in added:
        store.rows(f"DELETE FROM main.{TABLE} WHERE line = $l AND operating_day = $d AND version = $v", {"l": line, "d": day, "v": version})


def _restore(store: Store, published: Path | None) -> None:
    """Take the ledger from the published file when the store has none, as after the store was lost."""
    if store.rows(f"SELECT 1 FROM main.{TABLE} LIMIT 1"):
        return
    with _opened(published) as con:
        if con is not None:
            sql = f"SELECT * FROM {TABLE} WHERE plant = $p ORDER BY {', '.join(TABLES[TABLE].key)}"
            store.append_earlier(TABLE, con.sql(sql, params={"p": store.plant}).pl())


def keep_copy(store: Store, path: Path) -> None:
    """Write the ledger to a Parquet file beside the plant file, whole or not at all: a backup of plant files and originals has it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    partial = path.with_name(f".{path.name}.partial")
    sql = f"SELECT * FROM {TABLE} ORDER BY {', '.join(TABLES[TABLE].key)}"
    store.frame(sql).write_parquet(partial, compression="zstd")
    partial.replace(path)


@contextmanager
def _opened(published: Path | None) -> Iterator[duckdb.DuckDBPyConnection | None]:
    """Give the published file, read-only; None when there is none, or none with a ledger."""
    if published is None:
        yield None
        return
    con = connect(published, read_only=True)
    try:
        yield con if con.execute("SELECT 1 FROM duckdb_tables() WHERE table_name = $t", {"t": TABLE}).fetchall() else None
    finally:
        con.close()
