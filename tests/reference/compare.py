# SPDX-License-Identifier: GPL-3.0-or-later
"""How far two waveforms lie apart."""

from __future__ import annotations

from functools import cache

import numpy as np

from cranksag.simulate import simulate_boat
from cranksag.verdict.results import Result
from tests.reference.measures import boat_for
from tests.reference.network import Array
from tests.reference.solution import Solution, solve


@cache
def reference(case: str) -> Solution:
    """The reference solution of a case, computed once in a test run."""
    return solve(boat_for(case))


@cache
def simulated(case: str) -> Result:
    """What `simulate` says about a case."""
    return simulate_boat(boat_for(case))


def rms_apart(solution: Solution, time: Array, values: Array, name: str, begin: float | None = None) -> float:
    """Root of the time average of the squared difference from `begin` (START) to the end of the run.

    Both are straight between their own points; the integral runs over the points of both.
    """
    start = solution.starts[0] if begin is None else begin
    end = min(float(solution.time[-1]), float(time[-1]))
    axis = np.union1d(solution.time, time)
    axis = np.concatenate(([start], axis[(axis > start) & (axis < end)], [end]))
    apart = np.interp(axis, time, values) - np.interp(axis, solution.time, solution.signals[name])
    squares = (apart[:-1] ** 2 + apart[:-1] * apart[1:] + apart[1:] ** 2) / 3.0
    return float(np.sqrt(np.sum(squares * np.diff(axis)) / (end - start)))


def size(solution: Solution, name: str) -> float:
    """Root of the time average of the reference's own square, from START on."""
    t, v = solution.since_start(name)
    return float(np.sqrt(np.sum(0.5 * (v[:-1] ** 2 + v[1:] ** 2) * np.diff(t)) / (t[-1] - t[0])))
