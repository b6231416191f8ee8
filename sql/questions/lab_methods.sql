-- question: Do the lab's methods read alike where both were run?
-- explains: mean difference of each method from the preferred one with its 95 % interval; an interval without zero says: do not mix them
-- param plant text = : plant id; empty for all
SELECT * FROM lab_method_bias WHERE $plant IS NULL OR plant = $plant ORDER BY plant, line, point, analyte, other_method;
