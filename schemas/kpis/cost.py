"""Energy, water and cost per tonne."""

from __future__ import annotations

from schemas.kpis.model import Kpi, ratio, total, word

COST = (
    total("energy_kwh", "kWh", "feed pump and device energy in those minutes of dry_solids_t in which every metered drive is known"),
    total("energy_solids_t", "t", "dry solids of the minutes of energy_kwh; null: no drive is metered",
        kpi=Kpi(36, "specific energy", "", "sum of W / M, pump and device", gate="energy_reason"), us="energy_dry_short_tons"),
    ratio("energy_kwh_t", "kWh/t", "energy per tonne dry solids: energy_kwh / energy_solids_t, all metered drives", kpi=36),
    word("energy_reason", "text", "why no energy or power cost per tonne is reported; null when it is"),
    total("wash_water_m3", "m3", "wash water in the minutes of dry_solids_t"),
    ratio("wash_water_m3_t", "m3/t", "wash water per tonne dry solids while processing, over the minutes whose wash meter is covered",
        kpi=Kpi(55, "wash water per dry ton", "", "integral of q_w / M", gate="all_time_reason")),
    total("polymer_water_m3", "m3", "polymer solution and its post-dilution water in the minutes of dry_solids_t"),
    ratio("polymer_water_m3_t", "m3/t", "polymer water per tonne dry solids while processing, over the minutes where it is known",
        kpi=Kpi(56, "polymer water per dry ton", "", "(solution + post-dilution) / M", gate="all_time_reason")),
    total("energy_all_kwh", "kWh", "feed pump and device energy in all minutes"),
    ratio("energy_all_kwh_t", "kWh/t", "energy of all time per tonne dry solids: energy_all_kwh / dry_solids_t", kpi=36),
    total("wash_water_all_m3", "m3", "wash water in all minutes"),
    ratio("wash_water_all_m3_t", "m3/t", "wash water of all time per tonne dry solids: wash_water_all_m3 / dry_solids_t", kpi=55),
    total("polymer_water_all_m3", "m3", "polymer solution and its post-dilution water in all minutes"),
    ratio("polymer_water_all_m3_t", "m3/t", "polymer water of all time per tonne dry solids: polymer_water_all_m3 / dry_solids_t", kpi=56),
    word("all_time_reason", "text", "why nothing of all time is given per tonne; null when it is"),
    ratio("cost_polymer_per_t", "currency/t", "polymer cost per tonne dry solids fed", kpi=Kpi(59, "polymer cost", "", "d x price")),
    ratio("cost_disposal_per_t", "currency/t", "haul and disposal per tonne dry solids fed: capture / cake TS x price",
        kpi=Kpi(60, "haul and disposal cost", "", "R / C x price", gate="capture_reason")),
    ratio("cost_power_per_t", "currency/t", "power per tonne dry solids fed",
        kpi=Kpi(61, "energy, water and recycle cost", "", "kWh, m3 and kg x price")),
    ratio("cost_water_per_t", "currency/t", "wash and polymer water per tonne dry solids fed", kpi=61),
    ratio("cost_recycle_per_t", "currency/t", "treating the solids lost with the filtrate, per tonne dry solids fed", kpi=61),
    ratio("cost_total_per_t", "currency/t", "sum of the cost terms that have a price; null when polymer or disposal is unknown",
        kpi=Kpi(62, "total cost per dry ton", "", "59 + 60 + 61", gate="all_time_reason"), rounding="two digits"),
    total("cost_polymer_all", "currency", "polymer of all time at the prices of its minutes", kpi=59),
    total("cost_power_all", "currency", "energy of all time at the prices of its minutes", kpi=61),
    total("cost_water_all", "currency", "wash and polymer water of all time at the prices of its minutes", kpi=61),
    ratio("cost_total_all_per_t", "currency/t", "cost_total_per_t with polymer, power and water of all time instead of processing", kpi=62),
)  # fmt: skip
