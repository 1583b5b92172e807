# SPDX-License-Identifier: GPL-3.0-or-later
"""Studies of many boats: each describes combinations, has the runner crank them, and says what they mean."""

from __future__ import annotations

from cranksag.studies.analysis import (
    Crossing,
    Driver,
    Objective,
    boundary,
    drivers,
    near_switching,
    objectives,
    pareto,
    survivors,
)
from cranksag.studies.axes import Axis, parse_axes, parse_axis
from cranksag.studies.plan import Plan, Sample, make_plan
from cranksag.studies.store import read_table, write_table
from cranksag.studies.sweep import Sweep, Ties, summary_of, sweep
from cranksag.studies.table import Table

__all__ = [
    "Axis",
    "Crossing",
    "Driver",
    "Objective",
    "Plan",
    "Sample",
    "Sweep",
    "Table",
    "Ties",
    "boundary",
    "drivers",
    "make_plan",
    "near_switching",
    "objectives",
    "pareto",
    "parse_axes",
    "parse_axis",
    "read_table",
    "summary_of",
    "survivors",
    "sweep",
    "write_table",
]
