-- question: How many standard errors does a two-sided 95 % interval reach, for a mean with so many degrees of freedom?
-- unit: none
-- formula: 0.975 quantile of Student's t: listed to 9 degrees, from there z + (z3 + z)/4f + (5z5 + 16z3 + 3z)/96f2 + (3z7 + 19z5 + 17z3 - 15z)/384f3
-- source: Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.5 [from memory]; held to another implementation by a test
-- known limits: null below one degree; good to 0.0002 from 10 degrees on
-- example: t_975(1) = 12.7062047362
CREATE OR REPLACE MACRO t_975(degrees) AS
    CASE
        WHEN degrees < 1 THEN NULL
        WHEN degrees < 10 THEN ([12.706204736, 4.302652730, 3.182446305, 2.776445105, 2.570581836, 2.446911851, 2.364624252, 2.306004135, 2.262157163])[degrees::INTEGER]::DOUBLE
        ELSE 1.959963985e0 + 2.372271230e0 / degrees + 2.822498616e0 / degrees ** 2 + 2.555849680e0 / degrees ** 3
    END;
