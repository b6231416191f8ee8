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
| `hydraulic` | mixing pressure drop at the reference flow |
| `shear` | apparent conditioning loss against specific mixing energy |
| `money` | one operating point an arm, use apart from price, annual range, payback interval |
| `sensitivity` | the same plan under other choices |
| `sequential` | the running figure, valid at all times |
| `length` | days a trial needs, from the plant's own scatter |
| `wear` | trend of a pump's index and the loss that can be excluded |
| `outcomes` | one result and its verdict |
| `run` | plan in, tables out |

Which method is the default of which design, and the coverage it was measured to have: tests/bench/COVERAGE.md. Randomised plans: the
randomisation test. Others: before/after or control line, the widest of three intervals, and never "shown" without calibration.
"""
