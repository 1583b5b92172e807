# SPDX-License-Identifier: GPL-3.0-or-later
"""Measured cranks: the sampler of an open log, the figures read from such a record, and their spread.

The record: 15 starts of one warm four-cylinder petrol car, 12 V (open engine logs of the repository
hyper-tuner/hypertuner-cloud at commit 99b15c1e9dc89202b4f76fadc0f6d8fecb6fa7aa, MIT licence, (c) Piotr Rogowski
2020/2021). Its voltage has steps of 0.1 V and is renewed about every 0.27 s, so that the inrush dip is caught by
luck only: plateau, speed and recovery can be compared, the dip cannot.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, partial

import numpy as np
from numpy.typing import NDArray

from cranksag.scenario import Scenario, loads_scenario
from cranksag.validate.records import Check, band

SOURCE = (
    "open engine logs, 15 warm starts of a petrol car (hypertuner-cloud 99b15c1e, MIT, (c) Piotr Rogowski 2020/2021)"
)
VOLTAGE_STEP = 0.1  # [V] of the record
RENEWED_EVERY = 0.27  # [s] same
ROW_RATE = 14.0  # [1/s] rows of the record
PLATEAU_FROM = 0.3  # [s] after the first sagged sample: the settled part of a crank begins
FIRED_RPM = 400.0  # [rpm] no warm engine is turned so fast by its starter: it has fired
PHASES = 100  # [-] of the logger's clock against the key's, over which the model is averaged
SAGGED = 0.5  # [V] below rest: the starter has begun
LEAST_RPM = 100.0  # [rpm] below it the speed sensor of the record shows 0

#: lowest, median and highest of the 15 starts, as `shape` reads them: plateau over rest [-], speed [rpm], recovery [s]
SPREAD: dict[str, tuple[float, float, float]] = {
    "plateau_over_rest": (0.783, 0.806, 0.865),
    "speed": (190.0, 236.0, 279.0),
    "recovery": (0.28, 0.54, 0.97),
}

# The model's car: only battery, temperature and engine class are set. Class from the record's description and common
# practice: 1.6 to 1.8 l, compression 10, starter of 1.1 to 1.4 kW; the middle of each. Battery: the usual size of
# such a car, 45 Ah and 400 A EN, its rest voltage as recorded. The hand on the key lets go about 0.4 s after the
# engine runs (common practice), which is most of the recovery's time.
CAR = """
title = "Petrol car of the measured cranks"
[temperature]
ambient = "25 degC"
engine_room = "60 degC"
oil = "90 degC"
[battery]
rating = "400 A"
rating_standard = "EN"
capacity = "45 Ah"
open_circuit_voltage = "13.0 V"
[alternator]
charge_voltage = "14.9 V"
[starter]
power = "1.25 kW"
gear_ratio = 11
[engine]
displacement = "1.7 L"
compression_ratio = 10
oil = "5W-30"
fires_after = "1.3 s"
[crank]
key_on_before = "1.5 s"
key_held = "2.3 s"
after = "2 s"
[[cables.positive]]
length = "1.0 m"
size = "25 mm2"
[[cables.negative]]
length = "0.5 m"
size = "25 mm2"
[feed]
from = "battery"
return_to = "battery negative"
"""

#: health at which that battery's plateau falls inside the measured spread. The car's own battery is unknown; lowest
#: readings of 7.5 and 7.7 V among its dips speak for a weak one as well.
SET_HEALTH = "40 %"
NO_USUAL_BATTERY = (
    "at 130 A the usual battery at its default health drops 1.1 V, charge transfer included; 1.8 to 2.8 V were "
    "recorded. Were all of the 13.0 V above a full battery's 12.65 V surface charge and gone at once, the ratio would "
    "be 0.885; common practice strips it with a light load for minutes, a thousand coulombs against the 170 of a "
    "start. What is left is the car's battery, of unknown age, and the harness to its logger"
)

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Shape:
    """What a record of this kind tells.

    rest [V]; plateau_over_rest [-]; speed : mean while cranking [rpm]; recovery : from firing to the rest voltage [s].
    """

    rest: float
    plateau_over_rest: float
    speed: float
    recovery: float


def sample(time: FloatArray, volts: FloatArray, phase: float = 0.0) -> tuple[FloatArray, FloatArray]:
    """A waveform as the record's logger shows it: rows at 14 Hz, the voltage renewed every 0.27 s in steps of 0.1 V.

    Parameters: time [s], volts [V] of the waveform; phase [s] of the first reading. Returns: times [s], volts [V].
    """
    rows = np.arange(time[0], time[-1], 1.0 / ROW_RATE)
    newest = time[0] + phase + np.floor((rows - time[0] - phase) / RENEWED_EVERY) * RENEWED_EVERY
    read = np.interp(np.maximum(newest, time[0]), time, volts)
    return rows, np.round(read / VOLTAGE_STEP) * VOLTAGE_STEP


def shape(time: FloatArray, volts: FloatArray, rpm: FloatArray) -> Shape:
    """Figures of one start, time 0 at the first sagged sample.

    Parameters: time [s], volts [V], rpm [rpm], of the same rows. Returns: `Shape`; recovery is infinite if the
    rest voltage is not seen again.
    """
    rest = float(np.median(volts[time < -0.05]))
    fired = float(time[np.flatnonzero((time > 0.0) & (rpm > FIRED_RPM))[0]])
    settled = (time >= PLATEAU_FROM) & (time < fired)
    turning = (time > PLATEAU_FROM) & (time < fired) & (rpm > LEAST_RPM)
    back = np.flatnonzero((time > 0.0) & (volts >= rest))
    return Shape(
        rest=rest,
        plateau_over_rest=float(np.mean(volts[settled])) / rest,
        speed=float(np.mean(rpm[turning])),
        recovery=float(time[back[0]]) - fired if back.size else float("inf"),
    )


def car(health: str | None = SET_HEALTH) -> Scenario:
    """The model's car with its battery set to a health; None leaves the scenario's default."""
    scenario = loads_scenario(CAR)
    return scenario if health is None else scenario.with_overrides({"battery.health": health})


@cache
def modelled(health: str | None = SET_HEALTH) -> Shape:
    """The model's crank through the record's sampler; mean over the phases of its clock."""
    from cranksag.simulate import simulate

    result = simulate(car(health))
    time, signals = result.traces.time, result.traces.signals
    speed = signals["engine_speed"] * 60.0 / (2.0 * np.pi)
    found = []
    for phase in np.arange(0.0, RENEWED_EVERY, RENEWED_EVERY / PHASES):
        rows, volts = sample(time, signals["battery"], float(phase))
        begun = np.flatnonzero(volts < volts[0] - SAGGED)[0]  # the record counts time from the first sagged sample
        found.append(shape(rows - rows[begun], volts, np.interp(rows, time, speed)))
    return Shape(*(float(np.mean([getattr(f, name) for f in found])) for name in Shape.__slots__))


def _figure(name: str, health: str | None) -> float:
    return float(getattr(modelled(health), name))


def checks() -> list[Check]:
    """Checks against the measured cranks."""
    usual, weak = "usual battery, default health", f"battery at {SET_HEALTH} health"
    rows: tuple[tuple[str, str, str, str, str | None, str], ...] = (
        ("plateau_over_rest", usual, "plateau over rest voltage", "-", None, NO_USUAL_BATTERY),
        ("plateau_over_rest", weak, "plateau over rest voltage", "-", SET_HEALTH, ""),
        ("speed", weak, "crank speed", "rpm", SET_HEALTH, ""),
        ("recovery", weak, "from firing to the rest voltage", "s", SET_HEALTH, ""),
    )
    found = []
    for name, which, words, unit, health, miss in rows:
        low, _, high = SPREAD[name]
        middle, half = band(low, high)
        reason = "the measured spread over 15 starts; the dip cannot be compared, the logger is too slow for it"
        if name == "plateau_over_rest" and health is not None:
            reason = f"circular: the health was chosen so that this figure falls inside; {reason}"
        found.append(
            Check(
                f"warm petrol car through the record's sampler, {which}: {words}",
                "boat",
                SOURCE,
                round(middle, 4),
                round(half, 4),
                unit,
                reason,
                partial(_figure, name, health),
                sense="band",
                spice=True,
                whole=True,
                miss=miss,
            )
        )
    return found
