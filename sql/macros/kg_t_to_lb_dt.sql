-- question: How much are kg/t in pound per short dry ton?
-- unit: lb/dt
-- formula: x * 2.0
-- source: exact definitions of the units
-- known limits: none
CREATE OR REPLACE MACRO kg_t_to_lb_dt(x) AS
  x * 2.0;
