-- question: What share of the volatile solids did digestion destroy?
-- unit: %
-- formula: Van Kleeck: 100 (in - out) / (in - in x out), VS as fractions of TS
-- source: Van Kleeck equation, trade textbooks [from memory]
-- known limits: takes the fixed solids as conserved (no grit settling in the digester); null outside 0-100 %
-- example: vs_destruction_pct(60, 40) = 55.555555556
CREATE OR REPLACE MACRO vs_destruction_pct(vs_in_pct, vs_out_pct) AS
    CASE
        WHEN vs_in_pct > 0 AND vs_in_pct < 100 AND vs_out_pct >= 0 AND vs_out_pct < 100
        THEN 100e0 * (vs_in_pct - vs_out_pct) / (vs_in_pct - vs_in_pct * vs_out_pct / 100e0)
    END;
