# SPDX-License-Identifier: GPL-3.0-or-later
"""The start circuit's own budget: where the volts between battery and solenoid (or start relay coil) went in START."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from cranksag.circuit.loops import Segment
from cranksag.circuit.timing import KeyTimes
from cranksag.resolve.model import Boat
from cranksag.verdict.budget import at, voltage_budget
from cranksag.verdict.results import StartBudget, Traces
from cranksag.verdict.series import Series, between, crossings

CONTACT_MADE = 0.625  # [-] armature position of circuits/parts/contact.inc at which a contact is made
SOLENOID, RELAY_COIL = "solenoid", "start relay coil"
AFTER_START, BEFORE_RELEASE = 0.02, 1e-3  # [s] left out at the ends of START, where the key's contact makes and breaks


def start_windows(times: KeyTimes) -> list[tuple[float, float]]:
    """From START to release, for each attempt [s from key-on]."""
    return [(a - times.key_on, b - times.key_on) for a, b in zip(times.starts, times.releases, strict=True)]


def start_budget(
    boat: Boat, traces: Traces, key_loop: Sequence[Segment], contact_loop: Sequence[Segment], times: KeyTimes
) -> StartBudget:
    """The budget at the strongest pull of the first attempt, before the main contact makes.

    Parameters
    ----------
    boat, traces : the run
    key_loop : from the battery over key and wire to the S terminal, or to the start relay's coil
    contact_loop : from the battery over that relay's contact to the S terminal; empty without one
    times : of the key

    Returns
    -------
    StartBudget
    """
    begin, end = start_windows(times)[0]
    window = min(begin + AFTER_START, end - BEFORE_RELEASE), end - BEFORE_RELEASE
    signals, relay = traces.signals, boat.start.relay
    if relay is not None and not relay_picks_up(traces, begin, end):
        time, volts = between(traces.time, signals["node sig"] - signals["block"], *window)
        k = int(np.argmax(volts))
        lines = voltage_budget(boat, traces, key_loop, float(time[k]))
        needed = relay.operate_current * relay.coil_resistance
        return StartBudget(float(time[k]), RELAY_COIL, float(volts[k]), needed, lines)
    moment = _strongest_pull(traces, begin, end)
    lines = voltage_budget(boat, traces, contact_loop or key_loop, moment)
    left = at(traces, "s_terminal", moment) - at(traces, "block", moment)
    return StartBudget(moment, SOLENOID, left, needed_at_solenoid(boat), lines)


def relay_picks_up(traces: Traces, begin: float, end: float) -> bool:
    """Whether the start relay closes between two moments [s from key-on]."""
    position: Series = between(traces.time, traces.signals["start_relay"], begin, end)[1]
    return float(np.max(position)) >= CONTACT_MADE


def needed_at_solenoid(boat: Boat) -> float:
    """What both coils need between S terminal and block to move the plunger, settled [V].

    The pull-in coil returns through the motor: its brushes take their drop off the coil.
    """
    path = boat.solenoid.pull_in + boat.motor.resistance
    pulls = boat.solenoid.operate_ampere + boat.motor.brush_drop / path
    return pulls / (1.0 / path + 1.0 / boat.solenoid.hold_in)


def _strongest_pull(traces: Traces, begin: float, end: float) -> float:
    """Moment [s] of the coils' largest current before the main contact makes for the first time."""
    made = crossings(*between(traces.time, traces.signals["main_contact"], begin, end), CONTACT_MADE, rising=True)
    until = float(made[0]) if made.size else end - BEFORE_RELEASE
    total = traces.signals["pull_in_current"] + traces.signals["hold_in_current"]
    time, pull = between(traces.time, total, begin, max(until, begin + BEFORE_RELEASE))
    return float(time[int(np.argmax(pull))])
