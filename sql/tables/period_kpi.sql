-- question: What are the KPIs of every hour, shift, day and last hours at hand?
-- unit: in the names
-- grain: line, kind of period, period (work table)
-- formula: sql/macros/kpi_of_totals.sql
-- source: textbook formulas, from memory; gates common practice, no source
-- known limits: none
CREATE OR REPLACE TABLE work.period_kpi AS FROM kpi_of_totals('work.all_totals');
