-- question: For how many minutes a month did each kind of flag stand: dry running, low suction, blocked discharge and the others?
-- explains: months of operating days; the worst single episodes are in worst_episodes
-- param plant text = : plant id; empty for all
SELECT plant, line, date_trunc('month', operating_day) AS month, detector, count(*) AS episodes, sum(minutes) AS minutes, max(minutes) AS longest_min
FROM flags WHERE $plant IS NULL OR plant = $plant
GROUP BY ALL ORDER BY plant, line, month, minutes DESC;
