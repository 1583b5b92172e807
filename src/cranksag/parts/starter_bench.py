# SPDX-License-Identifier: GPL-3.0-or-later
"""Bench points of starters: what was read, which test it was, and how far a machine is from it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from cranksag.errors import InputError
from cranksag.parts.starter import (
    SHORT_OF_STALL,
    MotorCircuit,
    locked_torque,
    running_torque,
    speed_at_current,
    stall_current,
    steady_state,
)

BenchTest = Literal["no-load", "loaded", "stalled"]

# [-] a point without speed below this share of the highest voltage is a stalled one
STALLED_VOLTAGE_SHARE = 0.5
NO_LOAD_CURRENT_SHARE = 0.5  # [-] a point without torque below this share of the largest current is no-load


@dataclass(frozen=True, slots=True)
class BenchPoint:
    """One bench reading; what was not read is None.

    Speed 0 is the stalled test, torque 0 the no-load test.
    """

    voltage: float  # [V] at the terminals
    current: float | None = None  # [A]
    torque: float | None = None  # [N m] at the pinion
    speed: float | None = None  # [rad/s] of the pinion
    test: BenchTest | None = None  # None: inferred by `classify_points`


@dataclass(frozen=True, slots=True)
class PointError:
    """A bench figure against the machine's: relative error = computed / given - 1 [-]."""

    test: BenchTest
    quantity: Literal["current", "torque", "speed"]
    given: float  # [A], [N m] or [rad/s]
    computed: float  # same unit
    error: float  # [-]


def classify_points(points: list[BenchPoint]) -> list[BenchPoint]:
    """Say which test each bench point is, and complete it (no-load: torque 0; stalled: speed 0).

    Speed 0, or no speed at less than half the highest voltage, is stalled; torque 0, or no torque at less
    than half the largest current, is no-load; the rest are loaded.

    Returns: the points with ``test`` set.  Raises: InputError (no figure to fit, values out of range).
    """
    problems: list[str] = []
    for number, point in enumerate(points, start=1):
        values = (point.current, point.torque, point.speed)
        if not (math.isfinite(point.voltage) and point.voltage > 0.0):
            problems.append(f"starter point {number}: the voltage must be above 0")
        if any(value is not None and not (math.isfinite(value) and value >= 0.0) for value in values):
            problems.append(f"starter point {number}: current, torque and speed must be 0 or more")
        if point.current is None or point.current == 0.0:
            problems.append(f"starter point {number}: a bench point needs its current")
    if not points:
        problems.append("starter points: at least one bench point is needed")
    if problems:
        raise InputError(problems)
    highest = max(point.voltage for point in points)
    largest = max(point.current or 0.0 for point in points)
    done = []
    for point in points:
        unread = point.speed is None and point.voltage <= STALLED_VOLTAGE_SHARE * highest
        idle = point.torque is None and (point.current or 0.0) < NO_LOAD_CURRENT_SHARE * largest
        if point.test == "stalled" or (point.test is None and (point.speed == 0.0 or unread)):
            done.append(replace(point, test="stalled", speed=0.0))
        elif point.test == "no-load" or point.torque == 0.0 or (point.test is None and idle):
            done.append(replace(point, test="no-load", torque=0.0))
        else:
            done.append(replace(point, test="loaded"))
    return done


def point_errors(motor: MotorCircuit, point: BenchPoint) -> list[PointError]:
    """The machine's figures for one classified bench point, run at its voltage as the bench runs it.

    No-load: current and speed at torque 0.  Loaded: torque and speed at the point's current.  Stalled:
    current and locked torque.  Returns: one PointError for each figure given.
    """
    found: list[tuple[Literal["current", "torque", "speed"], float | None, float]]
    stalled = stall_current(motor, point.voltage)
    if point.test == "no-load":
        amperes, turning, _ = steady_state(motor, point.voltage, load_torque=0.0)
        found = [("current", point.current, amperes), ("speed", point.speed, turning)]
    elif point.test == "stalled":
        found = [("current", point.current, stalled), ("torque", point.torque, locked_torque(motor, stalled))]
    else:
        # A machine that stalls below the point's current is judged at its stall current.
        amperes = min(point.current or 0.0, stalled * (1.0 - SHORT_OF_STALL))
        turning = speed_at_current(motor, point.voltage, amperes)
        found = [
            ("torque", point.torque, running_torque(motor, amperes, turning)),
            ("speed", point.speed, turning),
        ]
        if amperes < (point.current or 0.0):
            found.append(("current", point.current, amperes))
    test = point.test or "loaded"
    return [
        PointError(test, name, given, computed, computed / given - 1.0)
        for name, given, computed in found
        if given is not None and given > 0.0
    ]
