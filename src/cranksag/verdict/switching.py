# SPDX-License-Identifier: GPL-3.0-or-later
"""Near a switching point a small change of the boat changes what happens; the result says so."""

from __future__ import annotations

import numpy as np

from cranksag.circuit.timing import KeyTimes
from cranksag.resolve.model import Boat, ConverterAhead, StandbyPack
from cranksag.verdict.results import Cranks, DisplayResult, Traces
from cranksag.verdict.series import Series, between, crossings, held_minimum, intervals_below

MARGIN_BAND = 0.010  # [V] around the brown-out threshold: twice what the solver's steps may be worth
FALLING_SHARE = 0.5  # [-] of a display's reset_after over which the voltage is seen to fall
FALLING_LEAST = 5e-5  # [s] before the reset, where the load still stands
CURRENT_BAND = 0.01  # [-] around a coil's operate or release current
END_BAND = 5e-4  # [s] three times what tenfold finer steps moved the 24th reset of a restart loop (0.16 ms)
RESTART_DELAY = 5e-3  # [s] above its restart voltage before a display starts; circuits/parts/display.inc
CUT_OUT_DELAY = 1e-3  # [s] below its cut-out voltage before a converter stops; circuits/parts/converter.inc
FLUTTER = 0.5  # [-] of a wait: a latch that flips sooner flutters on its own way over
SPEED_BAND = 0.01  # [-] around the speed below which the engine never fires


def near_switching(
    boat: Boat, cranks: Cranks, displays: tuple[DisplayResult, ...], traces: Traces, times: KeyTimes
) -> tuple[str, ...]:
    """What stands near its switching point, in words; empty if nothing does."""
    found = []
    for k, d in enumerate(displays):
        if abs(d.margin) < MARGIN_BAND and not _still_falling(boat, k, d, traces):
            found.append(f"{d.name}: margin {d.margin * 1e3:+.0f} mV")
        elif boat.displays[k].circuit.sense_threshold is None and _display_only_just_resets(boat, k, traces):
            found.append(f"{d.name}: only just resets once more, or only just does not")
    signals = traces.signals
    found += [
        f"{d.name}: a reset falls on the very end of the run"
        for k, d in enumerate(displays)
        if _resets_at_the_end(boat, k, traces)
    ]
    windows = [(a - times.key_on + 0.01, b - times.key_on) for a, b in zip(times.starts, times.releases, strict=True)]
    total = signals["pull_in_current"] + signals["hold_in_current"]
    coil = boat.solenoid
    pulls = [between(traces.time, total, a, b)[1] for a, b in windows if b > a]
    if pulls and _near(max(float(p.max()) for p in pulls), coil.operate_ampere):
        found.append("the solenoid only just pulls in")
    if cranks.engages and _near(_least_after_peak(pulls), coil.release_ampere):
        found.append("the solenoid only just holds")
    hold = boat.hold_up
    if isinstance(hold, StandbyPack) and hold.relay is not None:
        coils = [between(traces.time, signals["relay_coil_current"], a, b)[1] for a, b in windows if b > a]
        if coils and _near(max(float(c.max()) for c in coils), hold.relay.operate_current):
            found.append("the hold-up relay only just picks up")
        if coils and _near(_least_after_peak(coils), hold.relay.release_current):
            found.append("the hold-up relay only just holds")
    found += [
        f"{d.name}: only just restarts, or only just does not"
        for k, d in enumerate(displays)
        if boat.displays[k].circuit.sense_threshold is None and _display_only_just_starts(boat, k, traces)
    ]
    if isinstance(hold, ConverterAhead):
        unit, volts, on = hold.converter, signals["converter_input"], signals["converter_on"]
        if only_just_flips(traces.time, volts, on < 0.5, unit.cut_in, unit.restart_delay):
            found.append("the converter only just starts, or only just does not")
        if only_just_flips(traces.time, -volts, on >= 0.5, -unit.cut_out, CUT_OUT_DELAY):
            found.append("the converter only just cuts out, or only just does not")
    speed = float(signals["mean_speed"].max())
    if cranks.turns and boat.fires_after is not None and _near(speed, boat.minimum_speed, SPEED_BAND):
        found.append("the engine only just reaches its firing speed")
    return tuple(found)


def _still_falling(boat: Boat, number: int, display: DisplayResult, traces: Traces) -> bool:
    """Whether the supply was still on its way down at the first reset: a bank that has run dry, nothing turns that.

    The display lets go of its power then: the lowest voltage held lies at the threshold, however sure the reset.
    """
    if display.first_reset_at is None:
        return False
    circuit = boat.displays[number].circuit
    volts = traces.signals["display" if circuit.at == "pins" else f"display_{number}_inside"]
    before = display.first_reset_at - FALLING_SHARE * circuit.reset_after - FALLING_LEAST
    late, early = np.interp([display.first_reset_at - FALLING_LEAST, before], traces.time, volts)
    return bool(late < early)


def _display_only_just_resets(boat: Boat, number: int, traces: Traces) -> bool:
    """Whether any of its dips, not only the deepest, is by a hair long and deep enough to reset it, or is not."""
    circuit = boat.displays[number].circuit
    volts = traces.signals["display" if circuit.at == "pins" else f"display_{number}_inside"]
    runs = traces.signals[f"display_{number}_runs"]
    on = np.interp(traces.time + FALLING_LEAST, traces.time, runs) >= 0.5
    return only_just_flips(traces.time, -volts, on, -circuit.brownout, circuit.reset_after)


def _resets_at_the_end(boat: Boat, number: int, traces: Traces) -> bool:
    """Whether the last reset comes, or is due, within `END_BAND` of the end: a hair decides whether it counts."""
    circuit, time = boat.displays[number].circuit, traces.time
    runs, end = traces.signals[f"display_{number}_runs"], float(time[-1])
    resets = crossings(time, runs, 0.5, rising=False)
    if resets.size and end - resets[-1] < END_BAND:
        return True
    volts = traces.signals["display" if circuit.at == "pins" else f"display_{number}_inside"]
    below = intervals_below(time, volts, circuit.brownout)
    if runs[-1] < 0.5 or not below or below[-1][1] < end:
        return False
    return bool(end - below[-1][0] > circuit.reset_after - END_BAND)


def _display_only_just_starts(boat: Boat, number: int, traces: Traces) -> bool:
    circuit = boat.displays[number].circuit
    volts = traces.signals["display" if circuit.at == "pins" else f"display_{number}_inside"]
    off = traces.signals[f"display_{number}_runs"] < 0.5
    return only_just_flips(traces.time, volts, off, circuit.restarts_above, RESTART_DELAY)


def only_just_flips(time: Series, values: Series, waits: np.ndarray, level: float, delay: float) -> bool:
    """Whether something that waits for `values` to stay above `level` for `delay` flips, or fails to, by a hair.

    Parameters
    ----------
    time, values : (n,) [s], [V]
    waits : (n,) bool; a stretch that ends before the run does ends with the flip
    level, delay : [V], [s]

    Returns
    -------
    bool
        A level moved by `MARGIN_BAND` would have changed the outcome of one of the stretches.
    """
    edges = np.flatnonzero(np.diff(waits.astype(np.int8), prepend=0, append=0))
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        part, seen = time[begin:end], values[begin:end]
        if len(part) < 2 or time[min(end, len(time) - 1)] - part[0] < FLUTTER * delay:
            continue  # too short to have ended by the wait
        last = len(part)  # from here on it makes for the flip that ends the stretch
        if end < len(time):
            rises = crossings(part, seen, level - MARGIN_BAND, rising=True)
            last = int(np.searchsorted(part, rises[-1])) if len(rises) else 0
            way = seen[last:]
            sure = np.flatnonzero(way > level + MARGIN_BAND)
            moving_on = way[-1] > way[len(way) // 2]
            if not moving_on and (len(sure) == 0 or float(way[sure[0] :].min()) < level + MARGIN_BAND):
                return True
        long_enough = last > 1 and part[last - 1] - part[0] > delay
        if long_enough and -held_minimum(part[:last], -seen[:last], delay) > level - MARGIN_BAND:
            return True
    return False


def _near(value: float, threshold: float, band: float = CURRENT_BAND) -> bool:
    return abs(value - threshold) < band * threshold


def _least_after_peak(parts: list[np.ndarray]) -> float:
    return min((float(p[int(np.argmax(p)) :].min()) for p in parts), default=0.0)
