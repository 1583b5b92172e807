# SPDX-License-Identifier: GPL-3.0-or-later
"""Each display's verdict: minimum, margin, restarts, dark and alarm-blind time."""

from __future__ import annotations

import numpy as np

from cranksag.circuit.timing import KeyTimes
from cranksag.resolve.model import Boat, Display
from cranksag.verdict.budget import at
from cranksag.verdict.results import DisplayResult, Traces
from cranksag.verdict.series import between, crossings, held_minimum, time_below

HALF = 0.5  # [-] between the two states of a latch
LEAD = 1e-3  # [s] before START (or before the key's break) at which judging begins


def judged_from(boat: Boat, times: KeyTimes) -> float:
    """Moment [s from key-on] from which the crank is judged: START, or the break on the way there."""
    break_before = boat.feed.key_break if boat.feed.key_break > 0.0 else 0.0
    return max(times.starts[0] - times.key_on - break_before - LEAD, 0.0)


def judge_displays(boat: Boat, traces: Traces, times: KeyTimes) -> tuple[DisplayResult, ...]:
    """One result per display, in the scenario's order."""
    return tuple(_judge(boat, traces, times, k, d) for k, d in enumerate(boat.displays))


def worst_display(results: tuple[DisplayResult, ...]) -> DisplayResult:
    """The display that stands for the boat: one that restarts before one that holds, then the smallest margin."""
    return min(results, key=lambda r: (r.holds, r.margin))


def _judge(boat: Boat, traces: Traces, times: KeyTimes, number: int, display: Display) -> DisplayResult:
    end = float(traces.time[-1])
    signals, circuit = traces.signals, display.circuit
    begin = min(max(judged_from(boat, times), first_runs(traces, number)), end)
    time, pins = between(traces.time, signals["display"], begin, end)
    low = int(np.argmin(pins))
    sensed = "display" if circuit.at == "pins" else f"display_{number}_inside"
    t, v = between(traces.time, signals[sensed], begin, end)
    resets = _resets(traces, number, begin, end)
    never = len(resets) == 0 and float(signals[f"display_{number}_runs"].max()) < HALF
    within = resets[resets >= begin]
    demanding = len(time) if not len(within) else max(int(np.searchsorted(time, float(within[0]))), 1)
    asked = int(np.argmin(pins[:demanding]))
    dark, blind = _dark(traces, number, resets, circuit.boot_time) if not never else (None, None)
    return DisplayResult(
        name=display.name,
        minimum_voltage=float(pins[low]),
        minimum_at=float(time[low]),
        source=feeding(boat, traces, float(time[low])),
        brownout=circuit.brownout,
        margin=held_minimum(t, v, circuit.reset_after) - circuit.brownout,
        time_below_threshold=time_below(t, v, circuit.brownout),
        restarts=len(resets),
        dark_time=dark,
        alarm_blind=blind,
        holds=len(resets) == 0 and not never,
        first_reset_at=float(resets[0]) if len(resets) else None,
        first_booted_at=None if never else _first_booted(traces, number, circuit.boot_time),
        demand_minimum_voltage=float(pins[asked]),
        demand_minimum_at=float(time[asked]),
    )


def _resets(traces: Traces, number: int, begin: float, end: float) -> np.ndarray:
    """Moments [s] of the resets from `begin` on; one that is dark there although it has run was reset before."""
    runs = traces.signals[f"display_{number}_runs"]
    resets = crossings(*between(traces.time, runs, begin, end), HALF, rising=False)
    earlier = crossings(traces.time, runs, HALF, rising=False)
    earlier = earlier[earlier < begin]
    if earlier.size and float(np.interp(begin, traces.time, runs)) < HALF:
        return np.concatenate((earlier[-1:], resets))
    return resets


def first_runs(traces: Traces, number: int) -> float:
    """Moment [s] the display first runs; 0 if it does at the start or never does."""
    runs = traces.signals[f"display_{number}_runs"]
    if runs[0] > HALF:
        return 0.0
    first = crossings(traces.time, runs, HALF, rising=True)
    return float(first[0]) if first.size else 0.0


def _first_booted(traces: Traces, number: int, boot_time: float) -> float | None:
    """Moment [s] the gauges are first up, also past the end of the run; None where the display is in reset at its end.

    One that has run all along has booted before the run.
    """
    booted, runs = (traces.signals[f"display_{number}_{state}"] for state in ("booted", "runs"))
    if booted[0] > HALF:
        return 0.0
    ready = crossings(traces.time, booted, HALF, rising=True)
    if ready.size:
        return float(ready[0])
    if runs[-1] < HALF:
        return None
    since = crossings(traces.time, runs, HALF, rising=True)
    return float(since[-1]) + boot_time if since.size else None


def _dark(traces: Traces, number: int, resets: np.ndarray, boot_time: float) -> tuple[float | None, float | None]:
    """Time without gauges after the first reset, and the part of it with the engine running [s]."""
    if not resets.size:
        return 0.0, 0.0
    end = float(traces.time[-1])
    time, booted = between(traces.time, traces.signals[f"display_{number}_booted"], float(resets[0]), end)
    running = np.interp(time, traces.time, traces.signals["fired"]) > HALF
    dark = float(np.trapezoid((booted < HALF) * 1.0, time))
    blind = float(np.trapezoid(((booted < HALF) & running) * 1.0, time))
    if booted[-1] > HALF:
        return dark, blind
    if traces.signals[f"display_{number}_runs"][-1] < HALF:
        return None, None if running[-1] else blind
    rises = crossings(time, np.interp(time, traces.time, traces.signals[f"display_{number}_runs"]), HALF, rising=True)
    since = end - float(rises[-1]) if rises.size else 0.0
    rest = max(boot_time - since, 0.0)
    return dark + rest, blind + (rest if running[-1] else 0.0)


def feeding(boat: Boat, traces: Traces, moment: float) -> str:
    """What fed the display's supply pin at a moment: the normal feed, the hold-up, or its own input capacitor."""
    if boat.branch == "none":
        return "feed" if at(traces, "hold_up_current", moment) > 1e-3 else "input capacitor"
    held = at(traces, "hold_up_current", moment)
    if boat.branch == "converter":
        return "converter" if held > 1e-3 else "input capacitor"
    if boat.branch in ("reservoir", "supercapacitor"):
        held = -held
    normal = at(traces, "normal_feed_current", moment)
    if max(held, normal) < 1e-3:
        return "input capacitor"
    return boat.branch if held > normal else "feed"
