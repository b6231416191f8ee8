-- question: How far can the numbers of a line and day be trusted, from 0 to 100, and which link is the weakest?
-- unit: 0-100; the parts are shares 0-1
-- grain: plant, line, operating day
-- formula: 100 x min(completeness, lab coverage, validity, closure, timeliness) over the parts that are known; completeness = valid / processing
--          minutes; validity = 1 - values set aside / read in the loads that speak of the day; closure part = 1 - min(1, |ln B| / 0.20) with B of the
--          week that holds the day, else of its month (the line's, else all lines'); timeliness = share of the data layouts whose file with the day's
--          end came within one delivery of that layout and 24 h after it; a delivery: median of the days between days with its files, at least one
-- source: common practice, no source: a chain is as good as its weakest link, so the minimum and not the mean; 31 days at once as a backfill likewise
-- known limits: a week or month that is not whole (days or tickets still to come) is no evidence; a part that is not known does not weigh; parts_known says how many do; days without processing have no score; validity is that of whole
--          loads; a file counts as bringing a day's end when its last reading lies within the hour before it or later; days
--          that came with more than 31 others on one day, and not before, were filled in: their timeliness is not known
CREATE OR REPLACE VIEW data_quality_score AS
WITH closure AS (
  SELECT d.plant, d.line, d.operating_day,
    arg_min(b.solids_closure, (b.kind = 'month', b.line = 'all lines')) AS solids_closure,
    arg_min(b.kind || ', ' || b.line, (b.kind = 'month', b.line = 'all lines')) AS closure_of
  FROM line_day d
  JOIN solids_balance b ON b.plant = d.plant
    AND b.line IN (d.line, 'all lines')
    AND d.operating_day BETWEEN b.period_start_day AND b.period_end_day
  WHERE b.solids_closure IS NOT NULL AND b.is_whole
  GROUP BY ALL
), day_end AS (
  SELECT k.plant, k.operating_day, max(k.period_end_utc) AS end_utc, max(x.data_layouts) AS data_layouts
  FROM kpi_day k JOIN line_limits x ON x.plant = k.plant AND x.line = k.line GROUP BY ALL
), first_receipt AS (
  SELECT plant, min(received_utc) AS first_received_utc FROM loads WHERE first_utc IS NOT NULL GROUP BY plant
), dated AS (
  SELECT plant, load_id, layout, (received_utc AT TIME ZONE 'UTC')::DATE AS received_day
  FROM loads
  WHERE first_utc IS NOT NULL
), delivery AS (
  SELECT plant, layout, greatest(1.0, coalesce(median(received_day - before_day), 1.0)) AS every_days
  FROM (SELECT *, lag(received_day) OVER (PARTITION BY plant, layout ORDER BY received_day) AS before_day
        FROM (SELECT DISTINCT plant, layout, received_day FROM dated))
  GROUP BY plant, layout
), backfill AS (
  SELECT plant, d.received_day
  FROM dated d
  JOIN load_days l USING (plant, load_id)
  GROUP BY plant, d.received_day
  HAVING count(DISTINCT l.operating_day) > 31
), loaded AS (
  SELECT d.plant, d.operating_day, 1.0 - ratio_or_null(sum(f.values_set_aside), sum(f.values_read)) AS validity,
    count(DISTINCT f.layout) FILTER (f.last_utc >= d.end_utc - INTERVAL 1 HOUR AND f.received_utc <= d.end_utc + to_hours((24.0 * (1.0 + v.every_days))::BIGINT)) AS in_time,
    CASE
      WHEN in_time < d.data_layouts
        AND bool_or(b.received_day IS NOT NULL AND f.last_utc >= d.end_utc - INTERVAL 1 HOUR) THEN NULL
      WHEN d.data_layouts > 0 AND d.end_utc + INTERVAL 24 HOUR >= any_value(r.first_received_utc) THEN least(1.0, in_time / d.data_layouts) END AS timeliness
  FROM day_end d
  JOIN first_receipt r ON r.plant = d.plant
  LEFT JOIN load_days l ON l.plant = d.plant AND l.operating_day = d.operating_day
  LEFT JOIN loads f ON f.plant = l.plant AND f.load_id = l.load_id
  LEFT JOIN dated t ON t.plant = l.plant AND t.load_id = l.load_id
  LEFT JOIN delivery v ON v.plant = t.plant AND v.layout = t.layout
  LEFT JOIN backfill b ON b.plant = t.plant AND b.received_day = t.received_day
  GROUP BY d.plant, d.operating_day, d.end_utc, d.data_layouts
), part AS (
  SELECT d.plant, d.line, d.operating_day, k.processing_minutes,
    ratio_or_null(k.valid_minutes, k.processing_minutes + k.lost_minutes) AS completeness,
    d.lab_coverage, f.validity, c.solids_closure, c.closure_of,
    CASE
      WHEN c.solids_closure > 0 THEN 1.0 - least(1.0, abs(ln(c.solids_closure)) / 0.20)
      WHEN c.solids_closure IS NOT NULL THEN 0.0 END AS closure_part,
    f.timeliness
  FROM line_day d
  JOIN kpi_day k ON k.plant = d.plant AND k.line = d.line AND k.operating_day = d.operating_day
  LEFT JOIN closure c ON c.plant = d.plant AND c.line = d.line AND c.operating_day = d.operating_day
  LEFT JOIN loaded f ON f.plant = d.plant AND f.operating_day = d.operating_day
)
SELECT
  plant,
  line,
  operating_day,
  processing_minutes,
  completeness,
  lab_coverage,
  validity,
  solids_closure,
  closure_of,
  closure_part,
  timeliness,
  ((completeness IS NOT NULL)::INTEGER + (lab_coverage IS NOT NULL)::INTEGER + (validity IS NOT NULL)::INTEGER + (closure_part IS NOT NULL)::INTEGER
    + (timeliness IS NOT NULL)::INTEGER)::INTEGER AS parts_known,
  CASE
    WHEN processing_minutes > 0 THEN 100.0 * least(completeness, lab_coverage, validity, closure_part, timeliness) END AS quality_score,
  CASE WHEN quality_score IS NULL THEN NULL
    WHEN 100.0 * completeness <= quality_score THEN 'completeness' WHEN 100.0 * lab_coverage <= quality_score THEN 'lab coverage'
    WHEN 100.0 * validity <= quality_score THEN 'validity'
      WHEN 100.0 * closure_part <= quality_score THEN 'closure'
      ELSE 'timeliness' END AS weakest
FROM part;
