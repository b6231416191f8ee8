"""Columns that the KPI tables of every period share.

Every ratio is null when its gate fails, and the matching reason column says why; numerator and
denominator stay. "Processing" is the running state; "valid" minutes are processing minutes in which
every meter the dose needs is covered for at least half the minute; "dosed" minutes are valid minutes
whose feed TS and polymer strength are known. "Lost" are minutes in which the pump ran and a missing meter hides
what the line did. What ends in `_all_...` counts every minute of the period, whatever the running state.
"""

from __future__ import annotations

from schemas.kpis.cost import COST
from schemas.kpis.hydraulics import HYDRAULICS
from schemas.kpis.period import TIME
from schemas.kpis.polymer import POLYMER
from schemas.kpis.product import PRODUCT
from schemas.kpis.solids import SOLIDS
from schemas.kpis.trust import TRUST

KPI = TIME + SOLIDS + POLYMER + PRODUCT + HYDRAULICS + COST + TRUST
ROUNDING = {c.name: c.rounding for c in KPI if c.rounding is not None}
