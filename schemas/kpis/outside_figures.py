"""Which KPIs are checked against a figure from outside this project, and where; the others say that they have none.

The hand-computed rows of `tests/sql` cover every KPI; what stands here is another person's number, or another program's.
"""

from __future__ import annotations

NONE = "no outside figure; rows worked out by hand (tests/sql)"
_MINUTES = "OPC 10000-13 example tables of time-weighted averages (tests/published/test_opcua_aggregates.py)"
_HANDBOOKS = "worked examples of handbooks (tests/published/worked_examples.csv, {})"
_UNIT = "ideal dewatering unit of bsm2-python, 60 cases (tests/published/test_dewatering_model.py)"
_NORRIS = "regression certified by NIST, data set Norris (tests/published/test_statistics.py)"
CHECKED: dict[int, str] = {  # number of the KPI -> source and test
    1: _MINUTES,
    2: _MINUTES,
    5: _HANDBOOKS.format("2.2 to 2.6"),
    6: _HANDBOOKS.format("2.2 to 2.6"),
    11: _HANDBOOKS.format("1.2 and 1.5"),
    12: "EURACHEM / CITAC example A1 for its uncertainty (tests/sql/day_uncertainty/standard_solution); " + _HANDBOOKS.format("1.6"),
    16: _HANDBOOKS.format("1.1"),
    21: "scipy's median absolute deviation (tests/published/test_statistics.py)",
    23: "EPA Unified Guidance example 15-1, mean with non-detects (tests/published/test_nondetects.py)",
    24: _UNIT,
    25: _UNIT,
    26: f"{_UNIT}; " + _HANDBOOKS.format("4.1"),
    29: _HANDBOOKS.format("7.1"),
    30: _HANDBOOKS.format("7.2"),
    32: _NORRIS,
    34: _HANDBOOKS.format("6.1 to 6.4"),
    35: _HANDBOOKS.format("6.6"),
    37: _HANDBOOKS.format("6.2"),
    39: _HANDBOOKS.format("7.9 and 7.10"),
    44: _NORRIS,
}


def checked_against(number: int) -> str:
    """Return what a KPI of the catalogue is checked against: source and test, or that there is no outside figure."""
    return CHECKED.get(number, NONE)
