# SPDX-License-Identifier: GPL-3.0-or-later
"""The comparison notices an error of 2 % in one parameter of each subcircuit."""

from __future__ import annotations

from functools import cache

import pytest

from tests.reference.compare import reference
from tests.reference.measures import ROWS, Row, Signals, boat_for, measured, netlist_signals
from tests.reference.network import Array

ERROR = 1.02  # [-]


@cache
def _sound(case: str) -> tuple[Array, Signals]:
    return netlist_signals(boat_for(case))


@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"{r.part}-{r.parameter}")
def test_two_percent_shows(row: Row) -> None:
    """Within the tolerance without the error, outside it with the error."""
    expected = reference(row.case)
    start = expected.starts[0]
    wanted = measured(row, expected.time, expected.signals, start)
    assert measured(row, *_sound(row.case), start) == pytest.approx(wanted, abs=row.tolerance)
    wrong = netlist_signals(boat_for(row.case), row.instance, row.parameter, ERROR)
    assert abs(measured(row, *wrong, start) - wanted) > row.tolerance
