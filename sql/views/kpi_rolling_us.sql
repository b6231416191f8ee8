-- question: What does kpi_rolling say in US units and local time?
-- unit: in the names; tons are short tons of 2,000 lb, gallons US gallons
-- grain: as kpi_rolling
-- formula: sql/macros/kpi_us.sql: exact unit conversions; no stored number changes
-- source: definitions of the units
-- known limits: none
CREATE OR REPLACE VIEW kpi_rolling_us AS FROM kpi_us('kpi_rolling');
