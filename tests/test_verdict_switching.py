# SPDX-License-Identifier: GPL-3.0-or-later
"""What only just starts or stops is said to stand near a switching point; what surely does is not."""

from __future__ import annotations

import numpy as np
import pytest

from cranksag.examples import example_text
from cranksag.scenario import loads_scenario
from cranksag.simulate import simulate
from cranksag.verdict.results import Result
from cranksag.verdict.series import crossings, intervals_below
from cranksag.verdict.switching import MARGIN_BAND, only_just_flips
from tests.strategies import scenario_of

LEVEL, DELAY = 8.0, 0.05  # [V], [s]
TIME = np.linspace(0.0, 1.0, 1001)

BORDERLINE = {
    "temperature.ambient": "-2.3967 degC",
    "battery.rating": "662.46 A",
    "battery.state_of_charge": "57.242 %",
    "battery.health": "98.556 %",
    "battery.chemistry": "flooded",
    "starter.power": "1.8128 kW",
    "starter.motor": "permanent magnet",
    "engine.displacement": "4.1316 L",
    "engine.cylinders": "3",
    "cables.positive.0.length": "2.9079 m",
    "cables.positive.0.size": "2 AWG",
    "feed.from": "starter stud",
    "feed.return_to": "engine block",
    "feed.length": "1.9121 m",
    "feed.joints": "131.76 mohm",
    "feed.return_joints": "40.015 mohm",
    "displays.0.power": "16.823 W",
    "displays.0.brownout": "6.8102 V",
    "displays.0.reset_after": "2.4854 ms",
    "displays.0.input_capacitance": "123.21 uF",
    "hold_up.cut_out": "5.8763 V",
    "hold_up.cut_in": "7.9509 V",
    "crank.key_on_before": "0.5 s",
    "crank.key_held": "0.71497 s",
    "crank.after": "0.2 s",
    "engine.fires_after": "never",
    "hold_up.branch": "converter",
}


def _bump(top: float, width: float) -> np.ndarray:
    """A flat bump of `width` [s] from 0.4 s on, with steep sides."""
    since = TIME - 0.4
    return np.where((since >= 0.0) & (since < width), top, LEVEL - 2.0)


@pytest.mark.parametrize(
    ("top", "width", "near"),
    [
        (LEVEL - 0.5 * MARGIN_BAND, 0.2, True),  # as high as it takes but for a hair
        (LEVEL - 2.0 * MARGIN_BAND, 0.2, False),  # too low
        (LEVEL + 1.0, 0.4 * DELAY, False),  # too short
        (LEVEL - 0.5 * MARGIN_BAND, 0.5 * DELAY, False),  # too low and too short
    ],
)
def test_what_did_not_start(top: float, width: float, near: bool) -> None:
    waits = np.ones(len(TIME), dtype=bool)
    assert only_just_flips(TIME, _bump(top, width), waits, LEVEL, DELAY) is near


@pytest.mark.parametrize(
    ("values", "near"),
    [
        (_bump(LEVEL + 1.0, 1.0), False),  # well above throughout
        (_bump(LEVEL + 0.5 * MARGIN_BAND, 1.0), True),  # above by a hair
        # above, and at the moment it starts almost back at the level
        (
            np.where(TIME < 0.4, LEVEL - 2.0, LEVEL + 1.0 - (TIME - 0.4) / (DELAY - 1e-3) * (1.0 - 0.3 * MARGIN_BAND)),
            True,
        ),
        # slowly through the level: nothing turns that
        (LEVEL + (TIME - 0.4) * 0.1, False),
    ],
)
def test_what_did_start(values: np.ndarray, near: bool) -> None:
    waits = TIME < 0.4 + DELAY
    assert only_just_flips(TIME, values, waits, LEVEL, DELAY) is near


def test_an_earlier_stretch_that_nearly_started_counts() -> None:
    """Also where it starts for sure later."""
    values = np.where(TIME < 0.3, LEVEL - 0.5 * MARGIN_BAND, np.where(TIME < 0.4, LEVEL - 2.0, LEVEL + 1.0))
    assert only_just_flips(TIME, values, TIME < 0.45, LEVEL, DELAY)


def test_a_stretch_too_short_to_have_ended_by_its_wait_says_nothing() -> None:
    """A latch that trembles on its way over, the voltage far from its level."""
    waits = (TIME > 0.4) & (TIME < 0.4 + 0.1 * DELAY)
    assert not only_just_flips(TIME, np.full(len(TIME), LEVEL - 2.0), waits, LEVEL, DELAY)


@pytest.mark.parametrize("cut_in", ["9 V", "21.5 V"])
def test_a_converter_without_a_restart_delay_starts_in_one_piece(cut_in: str) -> None:
    """Its input is far above the cut-out ever after."""
    changes = {"hold_up.restart_delay": "0 s", "hold_up.cut_out": "8 V", "hold_up.cut_in": cut_in}
    scenario = loads_scenario(example_text("converter-24v"), "converter-24v")
    result = simulate(scenario.with_overrides(changes | {"crank.attempts": "2"}))
    on = result.traces.signals["converter_on"] >= 0.5
    assert np.count_nonzero(np.diff(on)) == 1
    assert "the converter only just cuts out, or only just does not" not in result.near_switching


def _cranked(restart_delay: float) -> Result:
    return simulate(scenario_of(("converter", BORDERLINE | {"hold_up.restart_delay": f"{restart_delay} s"})))


def test_a_converter_that_only_just_starts_is_near_a_switching_point() -> None:
    """Its input stands above the cut-in for just about the restart delay, between compressions."""
    result = _cranked(0.4)  # cut out by the inrush, it waits through the crank
    time, volts = result.traces.time, result.traces.signals["converter_input"]
    high = intervals_below(time, -volts, -float(BORDERLINE["hold_up.cut_in"].removesuffix(" V")))
    longest = max(end - begin for begin, end in high if begin > 0.5 and end < time[-1])  # from START to release
    for away, near in ((-2e-3, False), (0.0, True), (2e-3, False)):
        told = _cranked(longest + away).near_switching
        assert ("the converter only just starts, or only just does not" in told) is near, away


@pytest.mark.parametrize(("reset_after", "resets", "near"), [(55.0, 2, False), (58.41, None, True), (62.0, 1, False)])
def test_a_dip_that_is_not_the_deepest_counts_too(reset_after: float, resets: int | None, near: bool) -> None:
    """The inrush resets this display for sure; the compression after it lies below the threshold for 58.41 ms."""
    changes = {
        "crank.key_held": "0.7 s",
        "crank.after": "0.1 s",
        "engine.fires_after": "never",
        "displays.0.brownout": "9.2 V",
        "displays.0.restarts_above": "9.4 V",
        "displays.0.power": "0.5 W",
        "displays.0.boot_power": "0.5 W",
    }
    scenario = loads_scenario(example_text("restarting"), "restarting").with_overrides(changes)
    result = simulate(scenario.with_overrides({"displays.0.reset_after": f"{reset_after} ms"}))
    second = intervals_below(result.traces.time, result.traces.signals["display"], 9.2)[2]
    assert second[1] - second[0] == pytest.approx(58.41e-3, abs=0.5e-3)
    assert resets is None or result.display.restarts == resets
    assert any("only just resets" in found for found in result.near_switching) is near


def test_a_display_reset_by_its_sense_pin_is_no_narrow_escape() -> None:
    """Its supply stays two volts above the threshold."""
    changes = {"displays.0.sense_threshold": "9 V", "displays.0.sense_from": "s terminal", "crank.attempts": "2"}
    found = simulate(loads_scenario(example_text("restarting")).with_overrides(changes | {"crank.rest": "2 s"}))
    assert found.display.restarts > 0
    assert not any("resets" in text for text in found.near_switching)


AT_THE_END = {
    "temperature.ambient": "0 degC",
    "battery.rating": "500 A",
    "battery.state_of_charge": "59.162 %",
    "battery.health": "50 %",
    "battery.chemistry": "flooded",
    "starter.power": "2.9774 kW",
    "starter.motor": "series",
    "engine.displacement": "4.2768 L",
    "engine.cylinders": "6",
    "cables.positive.0.length": "2.8809 m",
    "cables.positive.0.size": "50 mm2",
    "feed.from": "battery switch",
    "feed.return_to": "battery negative",
    "feed.length": "4.7973 m",
    "feed.joints": "136.91 mohm",
    "feed.return_joints": "6.9 mohm",
    "displays.0.power": "3.9317 W",
    "displays.0.brownout": "6 V",
    "displays.0.reset_after": "4.7973 ms",
    "displays.0.input_capacitance": "276.28 uF",
    "hold_up.cut_out": "6.2494 V",
    "hold_up.cut_in": "7.5 V",
    "crank.key_on_before": "0.5 s",
    "crank.key_held": "1.1835 s",
    "engine.fires_after": "0.2 s",
    "hold_up.branch": "converter",
    "hold_up.restart_delay": "50 ms",
}
"""Its display restarts every 45 ms; with `crank.after` of 200 ms the 25th reset falls on the end of the run."""


@pytest.mark.parametrize(
    ("after", "restarts", "near"), [("199.9 ms", 24, True), ("200 ms", 25, True), ("202 ms", 25, False)]
)
def test_a_reset_on_the_end_of_the_run_is_near_a_switching_point(after: str, restarts: int, near: bool) -> None:
    """A tenth of a millisecond decides whether it counts: so do steps ten times finer."""
    result = simulate(scenario_of(("converter", AT_THE_END | {"crank.after": after})))
    assert result.display.restarts == restarts
    assert ("helm: a reset falls on the very end of the run" in result.near_switching) is near


@pytest.mark.parametrize("boot_time", [0.2, 12.0])
def test_gauges_are_first_up_a_boot_after_the_display_first_runs(boot_time: float) -> None:
    """Within the run and past its end; a display that restarts before has its boot begin anew."""
    quick = {"crank.key_on_before": "0.5 s", "crank.key_held": "0.7 s", "crank.after": "0.3 s"}
    for example, resets in (("standby-pack", False), ("restarting", True)):
        changes = quick | {"displays.0.boot_time": f"{boot_time} s"}
        found = simulate(loads_scenario(example_text(example)).with_overrides(changes))
        assert (found.display.restarts > 0) is resets
        runs = crossings(found.traces.time, found.traces.signals["display_0_runs"], 0.5, rising=True)
        begins = runs[-1] if resets and boot_time > 1.0 else runs[0]
        assert found.display.first_booted_at == pytest.approx(begins + boot_time, abs=5e-3)
