"""Compare: what a change of pump or injection point did to dose, cake, capture, pressure and money, with intervals, or a refusal.

The step reads tables of the plant's store (kpi_day, dose_steps, arrangement_days, meter_integrity, pump_condition, prices ...) and a plan
file below `<home>/plans/`; it writes `comparisons` (one row an outcome), `comparison_plans`, `comparison_days` and `comparison_checks`.

| module | what is there |
|---|---|
| `plan` | the plan file: frozen models, hash, freezing, amendments |
| `designs` | sets of days, the possible orders of arms, the draw, the ladder |
| `read` | frames of a plan's days from the store |
| `evidence` | baseline, transition, trial as different types; rules that leave a day out; gates that refuse a number |
| `randomisation` | the plan's own draw: studentised randomisation test inverted for the interval; carry-over |
| `gls`, `cosines`, `before_after`, `control` | no draw: AR(1) plus white noise (REML, averaged), second opinion, sham switches, control line |
| `errors_in_x` | feed TS is measured with error and stands on both sides |
| `dose_curve` | relative potency over dose ladders: cake and capture curves, which binds, plateau, parallelism |
| `optimum` | dose of least cost at the plant's prices; overfeed margin |
| `noninferiority` | gates on cake, capture, filtrate, throughput |
| `shear` | apparent conditioning loss against specific mixing energy |
| `money` | one operating point an arm, use apart from price, annual range, payback interval |
| `sensitivity` | the same plan under other choices |
| `sequential` | the running figure, valid at all times |
| `length` | days a trial needs, from the plant's own scatter |
| `wear` | trend of a pump's index and the loss that can be excluded |
| `outcomes` | one result and its verdict |
| `differences`, `ladder`, `results` | the method of a design applied to days, to ladder steps, and the verdict of each outcome |
| `comparison` | plan in, tables out |

Which method is the default of which design, and the coverage it was measured to have: tests/bench/COVERAGE.md. Randomised plans: the
randomisation test. Others: before/after or control line, the widest of three intervals, and never "shown" without calibration.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import TYPE_CHECKING

from pipelines.base import clock
from pipelines.base.receipts import StepReceipt

if TYPE_CHECKING:
    from pipelines.compare.plan import Loaded
    from pipelines.store import Store

TABLES = ("comparisons", "comparison_plans", "comparison_days", "comparison_checks")


def run(store: Store, loaded: Loaded, as_of: datetime, tell: Callable[[str], None] = lambda _: None) -> StepReceipt:
    """Compute a plan and put its rows in the place of those of the same plan and hash, in one transaction."""
    from pipelines.compare import comparison

    started = clock.stopwatch()
    tables = comparison.compare(store, loaded, as_of, tell)
    with store.transaction():
        for name in TABLES:
            store.rows(f"DELETE FROM {name} WHERE plan = $plan AND plan_hash = $hash", {"plan": loaded.name, "hash": loaded.shown_hash})
            store.append(name, tables[name])
        days = tables["comparison_days"]["operating_day"].unique().sort().to_list()
        store.mark_days("publish", days[-1:])
    return StepReceipt("compare", tables["comparison_days"].height, {n: f.height for n, f in tables.items()}, clock.stopwatch() - started)
