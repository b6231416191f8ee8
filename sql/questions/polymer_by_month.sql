-- question: Does the metered polymer agree with deliveries and stock, month by month?
-- explains: metered use / (deliveries - change of stock), as supplied, between the stock readings nearest to the month's ends; 0.95 to 1.05 is usual;
-- explains: without both readings deliveries of the calendar month, and no closure
-- param plant text = : plant id; empty for all
SELECT plant, month_start_day AS month, opening_day, closing_day, delivered_kg, kg_to_lb(delivered_kg) AS delivered_lb_neat, lots, used_by_stock_kg,
  kg_to_lb(used_by_stock_kg) AS used_by_stock_lb_neat,
  used_by_meter_kg, kg_to_lb(used_by_meter_kg) AS used_by_meter_lb_neat, inventory_closure, verdict, closure_reason
FROM polymer_inventory WHERE $plant IS NULL OR plant = $plant
ORDER BY plant, month;
