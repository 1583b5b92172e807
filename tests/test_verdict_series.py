# SPDX-License-Identifier: GPL-3.0-or-later
"""Measures of a sampled quantity against brute force on a dense grid and against exact piecewise-linear answers."""

from __future__ import annotations

import itertools

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from cranksag.verdict.series import (
    LEVEL_RESOLUTION,
    between,
    crossings,
    held_minimum,
    integral,
    intervals_below,
    mean,
    time_below,
    without_spikes,
)

Array = npt.NDArray[np.float64]
GRID = 20_001  # points of the dense grid


@st.composite
def series(draw: st.DrawFn) -> tuple[Array, Array]:
    """Unequal steps, values on a lattice so that touches, plateaus and repeated levels happen often."""
    steps = draw(st.lists(st.integers(1, 40), min_size=1, max_size=25))
    values = draw(st.lists(st.integers(0, 24), min_size=len(steps) + 1, max_size=len(steps) + 1))
    return np.concatenate(([0.0], np.cumsum(steps))) * 0.05, np.array(values) * 0.5


levels = st.integers(-2, 50).map(lambda n: n * 0.25 + 0.1)  # never on the lattice
touching = st.integers(-1, 25).map(lambda n: n * 0.5)  # on the lattice: samples lie on the level, and stay there


def dense(time: Array, values: Array) -> tuple[Array, Array]:
    """The series on a fine equidistant grid."""
    t = np.linspace(time[0], time[-1], GRID)
    return t, np.interp(t, time, values)


@given(series(), levels)
def test_time_below_against_a_dense_grid(data: tuple[Array, Array], level: float) -> None:
    time, values = data
    t, v = dense(time, values)
    # each interval of the series adds at most one cell of the grid at each end
    resolution = (t[1] - t[0]) * 2 * len(time)
    assert time_below(time, values, level) == pytest.approx(float((v < level).mean()) * (t[-1] - t[0]), abs=resolution)


@given(series(), levels | touching)
def test_time_below_is_exact_for_straight_pieces(data: tuple[Array, Array], level: float) -> None:
    time, values = data
    expected = 0.0
    for t0, t1, v0, v1 in zip(time, time[1:], values, values[1:], strict=False):
        low, high = min(v0, v1), max(v0, v1)
        share = 1.0 if high < level else 0.0 if low >= level else (level - low) / (high - low)
        expected += share * (t1 - t0)
    assert time_below(time, values, level) == pytest.approx(expected, abs=1e-9)


@given(series(), levels | touching)
def test_time_below_grows_with_the_level_and_the_intervals_are_apart(data: tuple[Array, Array], level: float) -> None:
    time, values = data
    found = intervals_below(time, values, level)
    assert all(a < b for a, b in found)
    assert all(first[1] <= second[0] for first, second in itertools.pairwise(found))
    assert time_below(time, values, level) <= time_below(time, values, level + 0.5) + 1e-12
    for a, b in found:
        inside = np.interp(np.linspace(a, b, 7)[1:-1], time, values)
        assert (inside <= level + 1e-9).all()


@given(series(), levels, st.booleans())
def test_crossings_lie_on_the_level_and_alternate(data: tuple[Array, Array], level: float, rising: bool) -> None:
    time, values = data
    found = crossings(time, values, level, rising)
    assert np.allclose(np.interp(found, time, values), level, atol=1e-9)
    high = values > level
    expected = int(((~high[:-1]) & high[1:]).sum() if rising else (high[:-1] & (~high[1:])).sum())
    assert len(found) == expected
    other = crossings(time, values, level, not rising)
    assert abs(len(found) - len(other)) <= 1


@given(series(), st.floats(0.0, 3.0))
def test_held_minimum_against_brute_force(data: tuple[Array, Array], duration: float) -> None:
    """The lowest over all windows of `duration` of the largest value in the window."""
    time, values = data
    assume(duration < time[-1] - time[0])
    t, _ = dense(time, values)
    starts = np.unique(
        np.concatenate((t[t <= time[-1] - duration][::40], time[time <= time[-1] - duration], [time[-1] - duration]))
    )
    worst = np.inf
    for begin in starts:
        _, v = (
            between(time, values, begin, begin + duration) if duration > 0 else (None, np.interp([begin], time, values))
        )
        worst = min(worst, float(v.max()))
    steepest = float(np.max(np.abs(np.diff(values) / np.diff(time))))
    slack = 40 * (t[1] - t[0]) * steepest + 2 * LEVEL_RESOLUTION
    found = held_minimum(time, values, duration)
    # brute force tries fewer windows, so it can only lie above the true answer
    assert found <= worst + 2 * LEVEL_RESOLUTION
    assert found >= worst - slack


@given(series(), st.floats(0.0, 5.0), st.floats(0.0, 5.0))
def test_held_minimum_rises_with_the_duration_between_the_extremes(
    data: tuple[Array, Array], a: float, b: float
) -> None:
    time, values = data
    short, long = sorted((a, b))
    low, high = held_minimum(time, values, short), held_minimum(time, values, long)
    assert values.min() <= low <= high + 2 * LEVEL_RESOLUTION
    assert high <= values.max() + LEVEL_RESOLUTION
    assert held_minimum(time, values, 0.0) == values.min()


@given(series(), st.floats(0.02, 2.0), levels | touching)
def test_a_margin_below_zero_means_below_the_threshold_for_that_long(
    data: tuple[Array, Array], duration: float, level: float
) -> None:
    """What ties `margin` to a reset: the held minimum is under the level where an interval lasts long enough."""
    time, values = data
    assume(duration < time[-1] - time[0])
    held = held_minimum(time, values, duration)
    longest = max((b - a for a, b in intervals_below(time, values, level)), default=0.0)
    if held < level - 2 * LEVEL_RESOLUTION:
        assert longest >= duration - 1e-6
    if held > level + 2 * LEVEL_RESOLUTION:
        assert longest <= duration + 1e-6


def test_a_series_that_ends_or_touches_on_the_level() -> None:
    time = np.array([0.0, 1.0, 2.0, 3.0, 4.0])
    assert intervals_below(time, np.array([2.0, 0.0, 1.0, 0.0, 1.0]), 1.0) == [(0.5, 2.0), (2.0, 4.0)]
    assert intervals_below(time, np.array([1.0, 1.0, 1.0, 1.0, 1.0]), 1.0) == []
    assert time_below(time, np.array([1.0, 0.0, 1.0, 2.0, 1.0]), 1.0) == pytest.approx(2.0)


def test_a_spike_shorter_than_the_duration_is_not_held() -> None:
    time = np.array([0.0, 1.0, 1.0005, 1.001, 2.0])
    values = np.array([12.0, 12.0, 0.0, 12.0, 12.0])
    assert held_minimum(time, values, 2e-3) == pytest.approx(12.0, abs=1e-3)
    assert held_minimum(time, values, 0.0) == 0.0
    # a triangle of 12 V and 1 ms base is under level h for 1 ms x h / 12
    assert held_minimum(time, values, 0.5e-3) == pytest.approx(6.0, abs=1e-3)


@given(series(), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_mean_and_integral_against_a_dense_grid(data: tuple[Array, Array], a: float, b: float) -> None:
    time, values = data
    begin, end = sorted((a * time[-1], b * time[-1]))
    assume(end - begin > 1e-3)
    t = np.union1d(np.linspace(begin, end, 4001), time[(time > begin) & (time < end)])
    v = np.interp(t, time, values)
    expected = float(np.trapezoid(v, t)) / (end - begin)
    assert mean(time, values, begin, end) == pytest.approx(expected, abs=1e-9)
    assert integral(*between(time, values, begin, end)) == pytest.approx(expected * (end - begin), abs=1e-9)
    assert values.min() - 1e-9 <= mean(time, values, begin, end) <= values.max() + 1e-9


@given(series(), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_between_keeps_the_samples_and_interpolates_the_ends(data: tuple[Array, Array], a: float, b: float) -> None:
    time, values = data
    begin, end = sorted((a * time[-1], b * time[-1]))
    assume(end > begin)
    t, v = between(time, values, begin, end)
    assert t[0] == begin
    assert t[-1] == end
    assert (np.diff(t) > 0).all()
    assert np.allclose(v, np.interp(t, time, values))
    assert set(time[(time > begin) & (time < end)]) <= set(t)


@given(series(), st.floats(0.1, 10.0), st.floats(-5.0, 5.0), levels)
def test_measures_follow_a_change_of_scale(data: tuple[Array, Array], scale: float, shift: float, level: float) -> None:
    time, values = data
    moved = values * scale + shift
    assert time_below(time, moved, level * scale + shift) == pytest.approx(time_below(time, values, level), abs=1e-6)
    assert mean(time, moved, time[0], time[-1]) == pytest.approx(
        mean(time, values, time[0], time[-1]) * scale + shift, abs=1e-6
    )


@given(at=st.floats(0.2, 0.8), height=st.floats(-9.0, 9.0), width=st.floats(0.001, 0.009))
def test_a_spike_goes_and_a_step_stays(at: float, height: float, width: float) -> None:
    """A spike shorter than asked leaves no trace of more than its edges; a step is not moved."""
    time = np.linspace(0.0, 1.0, 2001)
    step = np.where(time < 0.1, 0.0, 12.0)
    spike = np.where((time >= at) & (time < at + width), height, 0.0)
    assert without_spikes(time, step + spike, 0.01) == pytest.approx(step)
    long = np.where((time >= at) & (time < at + 0.03), height, 0.0)
    assert np.ptp(without_spikes(time, step + long, 0.01) - step) == pytest.approx(abs(height))
