# SPDX-License-Identifier: GPL-3.0-or-later
"""The lowest point of a smooth dip lies between two steps: a sample is put there, for every signal alike.

Without it the minimum depends on where the solver's steps happen to fall: by up to a millivolt on the round bottom of a
dip, which is more than a change of one part in a billion may do. The new sample is the parabola through three steps,
the same three weights for each signal, so that Kirchhoff's laws hold at it as they do at the steps.
"""

from __future__ import annotations

import math

import numpy as np

from cranksag.verdict.results import Traces
from cranksag.verdict.series import Series, crossings

LARGEST_RATIO = 3.0  # [-] of two neighbouring steps; where something switches the steps shrink and grow faster
LEAST_STEP = 1e-4  # [s] where the steps are shorter something switches, and they are fine enough as they are
MOST = 0.9e-3  # [V] below the steps: plain ngspice reports its steps, and `netlist` promises the same minimum to 1 mV
LEAST_SHARE = 1e-3  # [-] of a step that the new sample keeps from the old ones


def vertex(time: Series, values: Series, k: int, most: float = math.inf) -> tuple[float, Series] | None:
    """Lowest point of the parabola through samples k - 1, k and k + 1.

    Parameters
    ----------
    time, values : (n,) [s], any unit
    k : of the lowest sample
    most : how far below it the point may lie; where the parabola falls farther, the point on the way there

    Returns
    -------
    (moment [s], weights (3,) [-] of the three samples, which sum to 1), or None where there is no smooth dip
    """
    if not 0 < k < len(time) - 1:
        return None
    t, v = time[k - 1 : k + 2], values[k - 1 : k + 2]
    h = np.diff(t)
    if h.min() < LEAST_STEP:
        return None
    slope = np.diff(v) / h
    bend = (slope[1] - slope[0]) / (t[2] - t[0])
    if not (bend > 0.0 and slope[0] <= 0.0 <= slope[1] and 1.0 / LARGEST_RATIO < h[1] / h[0] < LARGEST_RATIO):
        return None
    moment = float(0.5 * (t[0] + t[1]) - 0.5 * slope[0] / bend)
    depth = float(bend * (moment - t[1]) ** 2)
    if depth > most:
        moment += (float(t[1]) - moment) * math.sqrt((depth - most) / depth)
    if abs(moment - t[1]) < LEAST_SHARE * float(h.min()):
        return None
    a, b, c = moment - t
    weights = np.array([b * c / (h[0] * (h[0] + h[1])), -a * c / (h[0] * h[1]), a * b / (h[1] * (h[0] + h[1]))])
    return moment, weights


def with_lowest(traces: Traces, begin: float) -> Traces:
    """The run with a sample at the display's lowest point from `begin` [s] on, and at that before a first reset."""
    time, pins = traces.time, traces.signals["display"]
    first = int(np.searchsorted(time, begin))
    ends = {len(time)}
    for name, runs in traces.signals.items():
        if name.startswith("display_") and name.endswith("_runs"):
            resets = crossings(time[first:], runs[first:], 0.5, rising=False)
            ends |= {int(np.searchsorted(time, float(resets[0])))} if len(resets) else set()
    lows = {first + int(np.argmin(pins[first:end])) for end in ends if end > first}
    for k in sorted(lows, reverse=True):  # the last first: an index stays right while what follows it grows
        found = vertex(traces.time, traces.signals["display"], k, MOST)
        if found is not None:
            moment, weights = found
            place = k if moment < traces.time[k] else k + 1
            traces = Traces(
                np.insert(traces.time, place, moment),
                {n: np.insert(v, place, float(weights @ v[k - 1 : k + 2])) for n, v in traces.signals.items()},
            )
    return traces
