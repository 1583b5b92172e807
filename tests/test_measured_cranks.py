# SPDX-License-Identifier: GPL-3.0-or-later
"""The measured cranks (tests/data, with its licence): figures of the record, its sampler, the model through it."""

from __future__ import annotations

import csv
from collections import defaultdict
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cranksag.validate import measured
from cranksag.validate.measured import (
    FILTERED,
    RENEWED_EVERY,
    SPREAD,
    VOLTAGE_STEP,
    Shape,
    modelled,
    sample,
    shape,
    waveforms,
)

DATA = Path(__file__).parent / "data"
RECORD = DATA / "petrol_4cyl_warm_cranks.csv"


def _starts() -> dict[str, np.ndarray]:
    """Time, volts, rpm of each start."""
    found = defaultdict(list)
    with RECORD.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            found[row["event"]].append([float(row[name]) for name in ("t_s", "battery_V", "rpm", "coolant_C")])
    return {event: np.array(rows).T for event, rows in found.items()}


STARTS = _starts()
SHAPES = {event: shape(*rows[:3]) for event, rows in STARTS.items()}


def test_the_notice_is_carried() -> None:
    text = (DATA / "README.md").read_text(encoding="utf-8")
    assert "Piotr Rogowski" in text
    assert "hyper-tuner/hypertuner-cloud" in text
    assert "99b15c1e9dc89202b4f76fadc0f6d8fecb6fa7aa" in text
    assert "Permission is hereby granted" in text


def test_the_record_is_what_it_says() -> None:
    assert len(STARTS) == 15
    for time, volts, _, coolant in STARTS.values():
        assert np.all(np.diff(time) > 0.0)
        assert 86.0 <= coolant.min() <= coolant.max() <= 95.0
        # Steps of 0.1 V.
        assert np.allclose(volts * 10.0, np.round(volts * 10.0), atol=1e-6)


def test_the_voltage_of_the_record_is_renewed_about_every_quarter_second() -> None:
    """Where the supply moves fast (the second after the inrush) it stands still for 0.2 to 0.35 s at a time."""
    gaps: list[float] = []
    for time, volts, *_ in STARTS.values():
        changed = time[1:][np.diff(volts) != 0.0]
        changed = changed[(changed > 0.0) & (changed < 3.0)]
        gaps += list(np.diff(changed))
    assert np.median(gaps) == pytest.approx(RENEWED_EVERY, abs=0.07)  # one row is 0.033 or 0.07 s


@pytest.mark.parametrize("name", list(SPREAD))
def test_the_spread_shipped_with_the_tool_is_that_of_the_record(name: str) -> None:
    values = [getattr(found, name) for found in SHAPES.values()]
    digits = {"plateau_over_rest": 1e-4, "speed": 1.0, "recovery": 0.01}[name]  # last digit carried
    assert (min(values), np.median(values), max(values)) == pytest.approx(SPREAD[name], abs=digits)


def test_the_record_cannot_show_the_dip() -> None:
    """Lowest readings of the 15 starts run from 7.5 to 10.7 V: a reading falls into the inrush by luck only."""
    lowest = [float(rows[1][rows[0] >= 0.0].min()) for rows in STARTS.values()]
    assert min(lowest) < 8.0
    assert max(lowest) > 10.5
    # The model's own dip disappears in the sampler as well: its depth hangs on the clock's phase by more than a volt.
    time, supply, _ = waveforms()
    depth = [float(sample(time, supply, phase)[1].min()) for phase in np.linspace(0.0, RENEWED_EVERY, 20)]
    assert max(depth) - min(depth) > 1.0


def test_some_starts_are_filtered_and_some_are_not() -> None:
    """A start whose reading comes down from 19.2 V by halves shows the filter, another's fall to 7.5 V its absence.

    Undone, that would be 1.6 V, and 12.9 V a quarter of a second into the crank.
    """
    climbing = STARTS["log20200816_05"][1]
    first = climbing[np.flatnonzero(np.diff(climbing, prepend=0.0) != 0.0)][:5]
    assert first == pytest.approx([13.0 + 6.2 * FILTERED**k for k in range(5)], abs=0.1)
    time, volts, *_ = STARTS["log20200816_09"]
    before, dip, later = (float(np.interp(t, time, volts)) for t in (-0.1, 0.05, 0.35))
    assert (dip - (1.0 - FILTERED) * before) / FILTERED < 3.0
    assert (later - (1.0 - FILTERED) * dip) / FILTERED > 12.5


def test_the_settled_voltage_does_not_follow_the_rest_voltage() -> None:
    """Surface charge is gone before the crank has settled: 0.05 +- 0.15 V per volt at rest, 0.3 +- 0.2 on one day.

    An EMF at the rest voltage would give 0.85: the starter takes back the rest through its current.
    """
    rest = np.array([found.rest for found in SHAPES.values()])
    settled = rest * np.array([found.plateau_over_rest for found in SHAPES.values()])
    day = np.array([event.startswith("log20200816") for event in SHAPES])
    for chosen in (np.ones_like(day), day):
        x, y = rest[chosen] - rest[chosen].mean(), settled[chosen] - settled[chosen].mean()
        slope = float(x @ y / (x @ x))
        error = float(np.sqrt(np.sum((y - slope * x) ** 2) / (x.size - 2) / (x @ x)))
        assert slope + 2.0 * error < 0.85


# --- the sampler --------------------------------------------------------------------------------------------


@given(st.floats(5.0, 15.0), st.floats(0.0, 0.26))
def test_a_still_supply_reads_as_it_is(volts: float, phase: float) -> None:
    time = np.linspace(0.0, 3.0, 500)
    _, read = sample(time, np.full_like(time, volts), phase)
    assert np.all(np.abs(read - volts) <= 0.5 * VOLTAGE_STEP + 1e-9)


@given(st.floats(0.0, 0.26))
def test_readings_hold_for_the_renewal_time(phase: float) -> None:
    time = np.linspace(0.0, 5.0, 5000)
    rows, read = sample(time, 10.0 + time, phase)
    changes = rows[1:][np.diff(read) != 0.0]
    assert np.all(np.diff(changes) >= RENEWED_EVERY - 1.0 / measured.ROW_RATE - 1e-9)
    # Never ahead of the supply by more than the rounding, never older than the renewal time.
    assert np.all(read <= 10.0 + rows + 0.5 * VOLTAGE_STEP + 1e-9)
    late = rows >= RENEWED_EVERY
    assert np.all(read[late] >= 10.0 + rows[late] - RENEWED_EVERY - 0.5 * VOLTAGE_STEP - 1e-9)


@given(st.floats(0.7, 0.9), st.floats(150.0, 300.0), st.floats(0.6, 1.5), st.floats(0.2, 1.0))
def test_a_made_up_start_is_read_back(ratio: float, speed: float, cranked: float, recovery: float) -> None:
    time = np.arange(-1.5, 5.0, 0.01)
    running = time >= cranked
    volts = np.where(time < 0.0, 13.0, np.where(time < cranked + recovery, 13.0 * ratio, 14.0))
    rpm = np.where(time < 0.1, 0.0, np.where(running, 900.0, speed))
    found = shape(time, volts, rpm)
    assert found.rest == 13.0
    assert found.plateau_over_rest == pytest.approx(ratio, rel=1e-9)
    assert found.speed == pytest.approx(speed, rel=1e-9)
    assert found.recovery == pytest.approx(recovery, abs=0.021)


# --- the model ----------------------------------------------------------------------------------------------


def _inside(found: Shape, name: str) -> bool:
    low, _, high = SPREAD[name]
    return bool(low <= getattr(found, name) <= high)


def test_the_model_lies_inside_the_measured_spread() -> None:
    """Found: plateau over rest 0.853 (0.783-0.8534), 262 rpm (190-279), recovery 0.64 s (0.28-0.77).

    Surface charge, the battery of that car, the place of the meter and the loads beside it brought it from 0.912. The
    margins are thin, and the last two choices came after a near miss: `measured` says which.
    """
    found = modelled()
    assert [name for name in SPREAD if not _inside(found, name)] == []


def test_the_filter_of_some_starts_moves_the_recovery_above_all() -> None:
    """Speed stays inside, and the plateau where it was: it stands at the spread's upper end with and without, and its
    thousandths are not the filter's. Recovery gets 0.4 s longer, out of the spread: the starts with the filter took
    0.46 to 0.77 s. The model's alternator climbs through its last tenths of a volt slowly where the record leaps.
    """
    found = modelled(FILTERED)
    assert _inside(found, "speed")
    assert not _inside(found, "recovery")
    assert found.plateau_over_rest == pytest.approx(modelled().plateau_over_rest, abs=5e-3)
    assert 0.2 < found.recovery - modelled().recovery < 0.6
