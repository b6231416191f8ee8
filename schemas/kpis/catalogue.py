"""The KPI catalogue: number, symbol, formula, and the columns of the tables that hold it.

Numbers, symbols and formulas follow trade textbooks and operator training (from memory). A KPI of the KPI tables is declared with
its columns; those of other tables stand here. A KPI without columns says why.
"""

from __future__ import annotations

from dataclasses import dataclass

from schemas.kpis.columns import KPI
from schemas.kpis.model import Kpi

ALL = ("kpi_hour", "kpi_shift", "kpi_day", "kpi_week", "kpi_rolling")


@dataclass(frozen=True)
class CatalogueRow:
    """One KPI and the columns that hold it, which stand in each of `tables`."""

    head: Kpi
    columns: tuple[str, ...] = ()
    tables: tuple[str, ...] = ALL

    @property
    def number(self) -> int:
        return self.head.number


_OF_OTHER_TABLES = (
    CatalogueRow(Kpi(10, "solids balance closure", "B", "(cake + filtrate solids) / feed solids", gate="closure_reason", note="week and month, by truck tickets"),
        ("solids_closure", "feed_solids_t", "cake_solids_t", "filtrate_solids_t",), ("solids_balance",)),
    CatalogueRow(Kpi(18, "apparent activity index", "", "d_ref / d at equal cake and capture", gate="activity_reason", note="of a dose ladder against an earlier one"),
        ("activity_index", "dose_at_reference_cake_kg_t",), ("dose_curves",)),
    CatalogueRow(Kpi(19, "inventory closure", "", "metered use / (deliveries - stock change)", gate="closure_reason", note="by month"),
        ("inventory_closure", "used_by_meter_kg", "used_by_stock_kg",), ("polymer_inventory",)),
    CatalogueRow(Kpi(20, "overfeed margin", "", "d / d_opt - 1", gate="optimum_reason", note="of a dose ladder"),
        ("overfeed_margin_pct", "optimum_dose_kg_t",), ("dose_curves",)),
    CatalogueRow(Kpi(27, "filtrate clarity index", "", "X / X of a baseline at equal TS_f", gate="clarity_reason", note="against the days of a declared baseline period"),
        ("clarity_index", "baseline_tss_mg_l",), ("clarity_index",)),
    CatalogueRow(Kpi(39, "speed-normalised flow and head", "Q*, H*", "affinity laws", note="by week"),
        ("flow_at_reference_speed_m3_h", "head_at_reference_speed_m",), ("pump_condition",)),
    CatalogueRow(Kpi(40, "wear index, rotodynamic", "I_w", "H* / H_ref(Q*)", gate="index_reason", note="by week, weekly median"),
        ("wear_index", "index_se", "index_u_systematic",), ("pump_condition",)),
    CatalogueRow(Kpi(41, "slip, displacement pump", "", "D N - Q", note="by week"), ("slip_flow_m3_h", "slip_fraction",), ("pump_condition",)),
    CatalogueRow(Kpi(42, "slip index", "k", "Q_slip / f(dP) against commissioning", gate="index_reason", note="by week, weekly median"),
        ("slip_index", "index_se", "index_u_systematic",), ("pump_condition",)),
    CatalogueRow(Kpi(44, "system curve", "P_0, k", "fit P_d = P_0 + k Q2", gate="system_reason", note="by week"),
        ("system_p0_kpa", "system_k",), ("pump_condition",)),
    CatalogueRow(Kpi(51, "run hours since service", "", "counter reset by the service log", note="reset by the service log only"),
        ("run_since_service_h", "run_since_overhaul_h",), ("pump_condition",)),
    CatalogueRow(Kpi(54, "start-up loss", "", "minutes from feed-on to cake in band", gate="startup_reason", note="needs timed cake samples within the start-up"),
        ("startup_to_band_min",), ("startup_loss",)),
    CatalogueRow(Kpi(58, "cake haul", "", "wet mass by scale", note="week and month"), ("cake_wet_t", "tickets",), ("solids_balance",)),
    CatalogueRow(Kpi(63, "saving against an adjusted baseline", "", "a comparison with an interval", note="a comparison, not a KPI of a period")),
    CatalogueRow(Kpi(66, "data-quality score", "", "the least of its terms", note="by line and operating day"),
        ("quality_score", "completeness", "lab_coverage", "validity", "closure_part", "timeliness",), ("data_quality_score",)),
)  # fmt: skip


def _declared() -> list[CatalogueRow]:
    """Return the KPIs whose heads are declared with their columns."""
    heads = [c.kpi for c in KPI if isinstance(c.kpi, Kpi)]
    ratios_first = sorted(KPI, key=lambda c: c.kind != "ratio")
    number = {c.name: c.kpi.number if isinstance(c.kpi, Kpi) else c.kpi for c in ratios_first}
    return [CatalogueRow(head, tuple(name for name, n in number.items() if n == head.number)) for head in heads]


CATALOGUE = tuple(sorted((*_declared(), *_OF_OTHER_TABLES), key=lambda row: row.number))
