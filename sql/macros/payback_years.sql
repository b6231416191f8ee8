-- question: After how many years has a saving paid for its cost?
-- unit: a
-- formula: cost / saving per year
-- source: definition of simple payback
-- known limits: no interest, no price change; the saving is net of added running cost; null when nothing is saved
-- example: payback_years(5000, 2500) = 2
CREATE OR REPLACE MACRO payback_years(cost, saving) AS
    CASE WHEN saving > 0 THEN cost / (saving * 1e0) END;
