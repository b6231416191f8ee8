-- question: What was published of each operating day at a moment?
-- unit: as kpi_day_history
-- formula: of each line and operating day the last version known from that moment or before; withdrawn days are left out
-- source: this project; the ledger of published versions
-- known limits: says what was published, not what could have been known: between a file's arrival and the next run it is the old version
CREATE OR REPLACE MACRO kpi_day_as_known_at(moment, ledger := 'kpi_day_history') AS TABLE
SELECT * FROM query_table(ledger)
WHERE known_from_utc <= moment
QUALIFY row_number() OVER (PARTITION BY plant, line, operating_day ORDER BY version DESC) = 1 AND change <> 'withdrawn';
