"""What the days of a line would be under other choices: another TS, start-up counted, polymer by inventory; and their crew and polymer lot."""

from __future__ import annotations

import polars as pl

from pipelines.store import Store

LEAST_ONLINE_MINUTES = 30  # processing minutes with online solids of a day

_DOSES = """
WITH online AS (
  SELECT operating_day, sum(feed_solids_pct * sludge_flow_m3_h) / nullif(sum(sludge_flow_m3_h), 0) AS online_pct
  FROM minutes WHERE line = $line AND state = 'processing' AND feed_solids_pct IS NOT NULL AND sludge_flow_m3_h > 0
  GROUP BY ALL HAVING count(*) >= $least
), tss AS (
  SELECT operating_day, avg(value ORDER BY from_utc, sample_id) / 10000.0 AS tss_pct FROM lab_results
  WHERE line = $line AND point = 'feed' AND analyte = 'tss' AND is_used AND value IS NOT NULL GROUP BY ALL
), crew AS (
  SELECT operating_day, arg_max(crew, samples) AS crew FROM (
    SELECT operating_day, crew, count(*) AS samples FROM lab_results WHERE line = $line AND crew IS NOT NULL GROUP BY ALL) GROUP BY ALL
), delivered AS (
  SELECT operating_day, min(lot) AS lot FROM lab_results WHERE point = 'polymer store' AND analyte = 'delivered_mass' AND lot IS NOT NULL GROUP BY ALL
)
SELECT k.operating_day,
  k.dose_active_kg_t * k.feed_ts_pct / o.online_pct AS dose_by_online_ts, k.dose_active_kg_t * k.feed_ts_pct / t.tss_pct AS dose_by_tss,
  k.polymer_neat_all_kg * k.polymer_active_kg / nullif(k.polymer_neat_kg, 0) / nullif(k.dry_solids_all_t, 0) AS dose_with_startup,
  k.dry_solids_t AS tons, c.crew, d.lot
FROM kpi_day k LEFT JOIN online o USING (operating_day) LEFT JOIN tss t USING (operating_day) LEFT JOIN crew c USING (operating_day)
ASOF LEFT JOIN delivered d ON d.operating_day <= k.operating_day
WHERE k.line = $line ORDER BY k.operating_day"""

# A stock reading counts as taken before the deliveries and the use of its day; all lines draw from one store.
_INVENTORY = """
WITH stock AS (
  SELECT operating_day, sum(value ORDER BY sample_id) AS kg FROM lab_results
  WHERE point = 'polymer store' AND analyte = 'stock_mass' AND is_used AND value IS NOT NULL GROUP BY ALL
), span AS (
  SELECT operating_day AS first_day, lead(operating_day) OVER (ORDER BY operating_day) AS next_day, kg, lead(kg) OVER (ORDER BY operating_day) AS next_kg FROM stock
), used AS (
  SELECT s.first_day, s.next_day, s.kg - s.next_kg + coalesce((SELECT sum(l.value ORDER BY l.operating_day, l.sample_id) FROM lab_results l
      WHERE l.point = 'polymer store' AND l.analyte = 'delivered_mass' AND l.is_used AND l.operating_day >= s.first_day AND l.operating_day < s.next_day), 0) AS used_kg,
    (SELECT sum(polymer_neat_all_kg ORDER BY operating_day, line) FROM kpi_day k WHERE k.operating_day >= s.first_day AND k.operating_day < s.next_day) AS metered_kg
  FROM span s WHERE s.next_day IS NOT NULL
)
SELECT k.operating_day, any_value(u.used_kg / u.metered_kg) AS inventory_factor
FROM kpi_day k JOIN used u ON k.operating_day >= u.first_day AND k.operating_day < u.next_day
WHERE k.line = $line AND u.used_kg > 0 AND u.metered_kg > 0 GROUP BY ALL ORDER BY 1"""


def days(store: Store, line: str) -> pl.DataFrame:
    """Return every day of a line: dose_by_online_ts, dose_by_tss, dose_with_startup [kg/t], inventory_factor, tons, crew, lot; null where not known."""
    found = store.frame(_DOSES, line=line, least=LEAST_ONLINE_MINUTES)
    return found.join(store.frame(_INVENTORY, line=line), on="operating_day", how="left").sort("operating_day")
