# SPDX-License-Identifier: GPL-3.0-or-later
"""The lowest point between the solver's steps."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cranksag.verdict.lowest import MOST, vertex, with_lowest
from cranksag.verdict.results import Traces

STEPS = st.lists(st.floats(0.5, 1.0), min_size=4, max_size=12)


@given(steps=STEPS, share=st.floats(0.05, 0.95), bend=st.floats(0.01, 100.0), floor=st.floats(-10.0, 10.0))
def test_a_parabola_is_found_exactly(steps: list[float], share: float, bend: float, floor: float) -> None:
    time = np.concatenate(([0.0], np.cumsum(steps)))
    lowest = time[1] + share * (time[-2] - time[1])
    values = floor + bend * (time - lowest) ** 2
    found = vertex(time, values, int(np.argmin(values)))
    if found is None:  # a step stands on it
        assert values.min() == pytest.approx(floor, abs=1e-5 * bend)
        return
    moment, weights = found
    k = int(np.argmin(values))
    assert moment == pytest.approx(lowest, abs=1e-6)
    assert weights.sum() == pytest.approx(1.0, abs=1e-12)
    assert weights @ values[k - 1 : k + 2] == pytest.approx(floor, abs=1e-6 * (1.0 + bend))


@given(values=st.lists(st.floats(0.0, 15.0), min_size=3, max_size=20), steps=STEPS)
def test_it_lies_at_or_below_the_samples_and_not_far(values: list[float], steps: list[float]) -> None:
    """Never above the lowest sample; below it by 9/16 of what the neighbours stand above it, at steps of 1 to 3."""
    size = min(len(values), len(steps) + 1)
    time, pins = np.concatenate(([0.0], np.cumsum(steps)))[:size], np.array(values[:size])
    k = int(np.argmin(pins))
    found = vertex(time, pins, k)
    if found is not None:
        low = float(found[1] @ pins[k - 1 : k + 2])
        assert pins[k] - 0.5625 * (pins[k - 1] + pins[k + 1] - 2.0 * pins[k]) - 1e-12 <= low <= pins[k] + 1e-12
        assert time[k - 1] < found[0] < time[k + 1]


def test_a_corner_among_uneven_steps_stays_as_it_is() -> None:
    """Where a contact closes the steps shrink a hundredfold: no parabola goes through that."""
    time = np.array([0.0, 1e-3, 1.01e-3, 1.02e-3])
    assert vertex(time, np.array([9.0, 8.0, 11.0, 11.5]), 1) is None
    assert vertex(1e-3 * np.arange(3.0), np.array([9.0, 8.0, 8.5]), 1) is not None
    assert vertex(1e-6 * np.arange(3.0), np.array([9.0, 8.0, 8.5]), 1) is None


def test_every_signal_gets_the_sample_and_sums_are_kept() -> None:
    time = np.linspace(0.0, 1.0, 11)
    display = 10.0 + (time - 0.53) ** 2
    source, drop = 12.0 + 0.0 * time, 2.0 - (time - 0.53) ** 2
    grown = with_lowest(Traces(time, {"display": display, "source": source, "drop": drop}), 0.0)
    assert len(grown.time) == 12
    assert np.all(np.diff(grown.time) > 0.0)
    k = int(np.argmin(grown.signals["display"]))
    assert grown.time[k] == pytest.approx(0.53)
    assert grown.signals["display"][k] == pytest.approx(10.0, abs=1e-12)
    assert grown.signals["display"][k] >= display.min() - MOST - 1e-12
    total = grown.signals["display"] + grown.signals["drop"] - grown.signals["source"]
    assert np.abs(total).max() < 1e-12


@given(steps=STEPS, share=st.floats(0.05, 0.95), bend=st.floats(0.01, 100.0))
def test_it_lies_no_farther_below_the_samples_than_allowed(steps: list[float], share: float, bend: float) -> None:
    """A plain run of the deck reports its samples, and is promised to agree; what is allowed is used up first."""
    time = np.concatenate(([0.0], np.cumsum(steps)))
    lowest = time[1] + share * (time[-2] - time[1])
    values = bend * (time - lowest) ** 2
    k = int(np.argmin(values))
    found = vertex(time, values, k, MOST)
    if found is not None:
        low = float(found[1] @ values[k - 1 : k + 2])
        assert low == pytest.approx(max(values[k] - MOST, 0.0), abs=1e-7 * (1.0 + bend))
