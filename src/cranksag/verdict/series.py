# SPDX-License-Identifier: GPL-3.0-or-later
"""Measures of one sampled quantity: piecewise linear between samples at unequal steps.

They take any time series, a simulated one or a log: `time` (n,) ascending [s], `values` (n,).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Series = npt.NDArray[np.float64]

LEVEL_RESOLUTION = 1e-5  # [V] of `held_minimum`'s bisection


def between(time: Series, values: Series, begin: float, end: float) -> tuple[Series, Series]:
    """The part of a series between two moments [s], with interpolated ends."""
    inside = (time > begin) & (time < end)
    ends = np.interp([begin, end], time, values)
    return (
        np.concatenate(([begin], time[inside], [end])),
        np.concatenate((ends[:1], values[inside], ends[1:])),
    )


def crossings(time: Series, values: Series, level: float, rising: bool) -> Series:
    """Moments [s] at which the series crosses `level` upwards (or downwards)."""
    high = values > level if rising else values < level
    found = np.flatnonzero(~high[:-1] & high[1:])
    step = values[found + 1] - values[found]
    share = np.where(step == 0.0, 0.0, (level - values[found]) / np.where(step == 0.0, 1.0, step))
    return np.asarray(time[found] + np.clip(share, 0.0, 1.0) * (time[found + 1] - time[found]))


def intervals_below(time: Series, values: Series, level: float) -> list[tuple[float, float]]:
    """Intervals [s] during which the series lies below `level`."""
    below = np.concatenate(([False], values < level, [False]))
    firsts, lasts = np.flatnonzero(~below[:-1] & below[1:]), np.flatnonzero(below[:-1] & ~below[1:]) - 1
    found = []
    for first, last in zip(firsts, lasts, strict=True):
        begin = float(time[0]) if first == 0 else _reached(time, values, level, int(first) - 1)
        end = float(time[-1]) if last == len(values) - 1 else _reached(time, values, level, int(last))
        found.append((begin, end))
    return found


def _reached(time: Series, values: Series, level: float, k: int) -> float:
    """Moment [s] between samples `k` and `k` + 1, on both sides of `level` or one of them on it, at that level."""
    share = (level - values[k]) / (values[k + 1] - values[k])
    return float(time[k] + share * (time[k + 1] - time[k]))


def time_below(time: Series, values: Series, level: float) -> float:
    """Total time below `level` [s]."""
    return sum(end - begin for begin, end in intervals_below(time, values, level))


def held_minimum(time: Series, values: Series, duration: float) -> float:
    """The lowest level the series stays at or under for at least `duration` [s] in one piece.

    For `duration` 0 it is the minimum; a run shorter than `duration` gives its maximum.
    """
    low, high = float(values.min()), float(values.max())
    if duration <= 0.0 or low == high:
        return low
    if time[-1] - time[0] <= duration:
        return high
    while high - low > LEVEL_RESOLUTION:
        middle = 0.5 * (low + high)
        if any(end - begin >= duration for begin, end in intervals_below(time, values, middle)):
            high = middle
        else:
            low = middle
    return high


def integral(time: Series, values: Series) -> float:
    """Trapezoidal integral over the whole series."""
    return float(np.trapezoid(values, time))


def mean(time: Series, values: Series, begin: float, end: float) -> float:
    """Time average between two moments."""
    t, y = between(time, values, begin, end)
    return integral(t, y) / (end - begin) if end > begin else float(y[0])


def without_spikes(time: Series, values: Series, duration: float) -> Series:
    """The series without what comes and goes within `duration` [s]; a step stays where it is.

    Each value is kept between those `duration` before and after it.
    """
    before, after = np.interp(time - duration, time, values), np.interp(time + duration, time, values)
    return np.clip(values, np.minimum(before, after), np.maximum(before, after))
