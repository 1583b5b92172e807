# SPDX-License-Identifier: GPL-3.0-or-later
"""Does it crank at all? Judged before any display verdict, from the contacts, the crank angle and the firing state."""

from __future__ import annotations

import math

import numpy as np

from cranksag.circuit.timing import KeyTimes
from cranksag.resolve.model import Boat
from cranksag.verdict.results import BatteryResult, Cranks, StartBudget, StarterResult, Traces
from cranksag.verdict.series import between, crossings, integral, mean
from cranksag.verdict.starting import CONTACT_MADE, RELAY_COIL, start_windows

ENGAGED_FOR = 0.05  # [s] shortest closure that counts as engaged; engineering estimate
TURNED = math.pi / 4.0  # [rad] crank angle in START that counts as turning
SETTLED_AFTER = 0.30  # [s] from contact closing to the settled plateau (100-300 ms in measured cranks)
MOVING = 1.0  # [rad/s] crankshaft speed, about 10 rpm, that counts as moving
RPM = 60.0 / (2.0 * math.pi)  # [rev/min per rad/s]


def plateau(traces: Traces, times: KeyTimes) -> tuple[float, float] | None:
    """Begin and end [s from key-on] of the last attempt's settled cranking; None if the contact never closed."""
    for start, release in reversed(start_windows(times)):
        t, x = between(traces.time, traces.signals["main_contact"], start, release)
        closing = crossings(t, x, CONTACT_MADE, rising=True)
        if not closing.size:
            continue
        fired = crossings(*between(traces.time, traces.signals["fired"], start, release), 0.5, rising=True)
        end = float(fired[0]) if fired.size else release
        begin = float(closing[0]) + SETTLED_AFTER
        return (begin, end) if end - begin > 0.05 else (max(end - 0.05, float(closing[0])), end)
    return None


def judge_cranking(boat: Boat, traces: Traces, times: KeyTimes, starting: StartBudget) -> Cranks:
    """Engages, turns, fires, and the reason in one sentence."""
    made = (traces.signals["main_contact"] > CONTACT_MADE).astype(np.float64)
    closed: float = sum(integral(*between(traces.time, made, a, b)) for a, b in start_windows(times))
    makes = sum(
        crossings(*between(traces.time, traces.signals["main_contact"], a, b), CONTACT_MADE, rising=True).size
        for a, b in start_windows(times)
    )
    if closed < ENGAGED_FOR * len(times.starts):
        return Cranks(False, False, False, _why_not_engaged(boat, traces, times, makes, starting))
    turned = max(
        float(np.ptp(between(traces.time, traces.signals["crank_angle"], a, b)[1])) for a, b in start_windows(times)
    )
    chatter = f"; the solenoid chatters ({makes} closings)" if makes > len(times.starts) else ""
    if turned < TURNED:
        if _at_release(traces, times, "engine_speed") > MOVING:
            return Cranks(True, False, False, "the starter engages, but the key is released before the engine turns")
        return Cranks(True, False, False, f"the starter engages but cannot turn the engine{chatter}")
    fires = bool(traces.signals["fired"][-1] > 0.5)
    speed = float(np.max(traces.signals["mean_speed"])) * RPM
    wanted = boat.minimum_speed * RPM
    if fires:
        return Cranks(True, True, True, f"cranks and fires{chatter}")
    if boat.fires_after is None:
        return Cranks(True, True, False, f"cranks until the key is released; the scenario says it never fires{chatter}")
    if speed < wanted:
        return Cranks(
            True,
            True,
            False,
            f"turns at {speed:.0f} rpm at best, below the {wanted:.0f} rpm it needs to fire{chatter}",
        )
    return Cranks(True, True, False, f"cranks, but the key is released before it fires{chatter}")


def _at_release(traces: Traces, times: KeyTimes, name: str) -> float:
    """Largest value of a signal just before any release of the key."""
    moments = [b - 1e-3 for _, b in start_windows(times)]
    return float(np.max(np.interp(moments, traces.time, traces.signals[name])))


def _why_not_engaged(boat: Boat, traces: Traces, times: KeyTimes, makes: int, starting: StartBudget) -> str:
    if not boat.start.neutral_closed:
        return "the neutral switch is open: nothing reaches the S terminal"
    left, needed = starting.left, starting.needed
    if starting.across == RELAY_COIL:
        return f"the start relay does not pick up: at most {left:.1f} V reaches its coil, it needs {needed:.1f} V"
    if makes and _at_release(traces, times, "main_contact") > CONTACT_MADE:
        return "the key is released as soon as the solenoid has closed"
    if makes:
        return f"the solenoid lets go as soon as it closes ({makes} closings): the supply collapses under it"
    way = "through the start relay" if boat.start.relay is not None else "through key and harness"
    return f"it only clicks: the coils pull the S terminal to {left:.1f} V {way}, the plunger needs {needed:.1f} V"


def battery_and_starter(boat: Boat, traces: Traces, times: KeyTimes) -> tuple[BatteryResult, StarterResult]:
    """Voltages and currents of the crank; plateau means over the last attempt."""
    window = plateau(traces, times)
    from_start = start_windows(times)[0][0]
    after = traces.time >= from_start
    held = np.zeros_like(after)
    for a, b in start_windows(times):
        held |= (traces.time > a + 0.02) & (traces.time < b)
    signals = traces.signals
    battery = BatteryResult(
        boat.battery.open_circuit_voltage,
        float(signals["battery"][after].min()),
        None if window is None else mean(traces.time, signals["battery"], *window),
    )
    speed = None
    if window is not None:
        angle = np.interp(window, traces.time, signals["crank_angle"])
        speed = float(angle[1] - angle[0]) / (window[1] - window[0])
    terminal = signals["s_terminal"][held] if held.any() else signals["s_terminal"]
    starter = StarterResult(
        float(signals["starter_stud"][after].min()),
        float(terminal.min()),
        float(terminal.max()),
        float(signals["starter_current"].max()),
        None if window is None else mean(traces.time, signals["starter_current"], *window),
        speed,
    )
    return battery, starter
