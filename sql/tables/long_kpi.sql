-- question: What are the KPIs of every reporting week and rolling span of days at hand?
-- unit: in the names
-- grain: line, kind of period, period (work table)
-- formula: sql/macros/kpi_of_totals.sql
-- source: textbook formulas, from memory; gates common practice, no source
-- known limits: none
CREATE OR REPLACE TABLE work.long_kpi AS FROM kpi_of_totals('work.long_totals');
