# SPDX-License-Identifier: GPL-3.0-or-later
"""Digital engine display as a load: constant power, orderly collapse, ride-through of its own input
capacitor.

All values in SI units; voltages across the display's own two pins, or behind its input diode where said.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from cranksag.parts.diode import DiodeCircuit

__all__ = [
    "DisplayCircuit",
    "display_circuit",
    "input_current",
    "load_equivalents",
    "own_ride_through",
    "power_from_load_equivalents",
]

# Converter of the display works down to this share of its brown-out threshold [-]. Engineering estimate: the
# processor's supervisor acts before its supply collapses.
CONVERTER_MINIMUM_SHARE = 0.8
# Power of the display while it is held in reset over its running power [-]. Engineering estimate: backlight
# off.
RESET_POWER_SHARE = 0.1
# NMEA 2000: one load equivalent is 50 mA, rounded up, at a supply of 9 to 16 V. Source: "Powering your NMEA
# 2000 network", network product maker's page.
LOAD_EQUIVALENT = 0.050  # [A]
NETWORK_LOWEST_VOLTAGE = 9.0  # [V]
# A whole number of load equivalents stays whole although 50 mA is none in binary [-]. Numerical.
LOAD_EQUIVALENT_ROUNDING = 1e-9
# Defaults of a display of which only power and thresholds are known. Engineering estimates from typical units.
RESET_AFTER_DEFAULT = 2e-3  # [s]
BOOT_TIME_DEFAULT = 12.0  # [s]
INPUT_CAPACITANCE_DEFAULT = 220e-6  # [F]


@dataclass(frozen=True, slots=True)
class DisplayCircuit:
    """The display as the netlist sees it.

    power, boot_power, reset_power [W], converter_minimum [V], brownout [V], at ("pins" or "internal"),
    reset_after [s], restarts_above [V], boot_time [s], input_capacitance [F], diode (or None),
    sense_threshold [V] (or None).
    """

    power: float
    boot_power: float
    reset_power: float
    converter_minimum: float
    brownout: float
    at: Literal["pins", "internal"]
    reset_after: float
    restarts_above: float
    boot_time: float
    input_capacitance: float
    diode: DiodeCircuit | None
    sense_threshold: float | None


def display_circuit(
    power: float,
    brownout: float,
    restarts_above: float,
    at: Literal["pins", "internal"] = "pins",
    reset_after: float = RESET_AFTER_DEFAULT,
    boot_time: float = BOOT_TIME_DEFAULT,
    boot_power: float | None = None,
    reset_power: float | None = None,
    converter_minimum: float | None = None,
    input_capacitance: float = INPUT_CAPACITANCE_DEFAULT,
    diode: DiodeCircuit | None = None,
    sense_threshold: float | None = None,
) -> DisplayCircuit:
    """Circuit parameters of a display with defaults for what is not known.

    Parameters
    ----------
    power : running [W]
    brownout : threshold [V]
    restarts_above : [V]
    at : node of the threshold
    reset_after : time below the threshold until reset [s]
    boot_time : [s]
    boot_power : [W]; running power by default
    reset_power : while held in reset [W]; a share of running power by default
    converter_minimum : lowest voltage of constant-power behaviour [V]; a share of the threshold by default
    input_capacitance : [F]
    diode : in series with the input
    sense_threshold : of a separate enable pin [V]

    Returns
    -------
    DisplayCircuit

    Raises
    ------
    ValueError
        If power, thresholds or capacitance make no sense together.
    """
    if boot_power is None:
        boot_power = power
    if reset_power is None:
        reset_power = RESET_POWER_SHARE * power
    if converter_minimum is None:
        converter_minimum = CONVERTER_MINIMUM_SHARE * brownout
    if min(power, boot_power, brownout, converter_minimum) <= 0.0 or reset_power < 0.0:
        raise ValueError("powers and voltages of a display must be above zero")
    if restarts_above < brownout:
        raise ValueError("the restart threshold must not be below the brown-out threshold")
    if min(reset_after, boot_time, input_capacitance) < 0.0 or at not in ("pins", "internal"):
        raise ValueError("times and capacitance must not be negative; the threshold is at the pins or internal")
    return DisplayCircuit(
        power, boot_power, reset_power, converter_minimum, brownout, at, reset_after, restarts_above,
        boot_time, input_capacitance, diode, sense_threshold,
    )  # fmt: skip


def input_current(power: float, voltage: float, converter_minimum: float) -> float:
    """Current of a constant-power load that collapses in order below its converter's minimum.

    I = P / V at or above V_min, I = P V / V_min^2 below: continuous, zero at zero, never negative resistance
    down there.

    Parameters
    ----------
    power : [W]
    voltage : [V]
    converter_minimum : V_min [V]

    Returns
    -------
    current [A]

    Raises
    ------
    ValueError
        If the converter minimum is not positive.
    """
    if converter_minimum <= 0.0:
        raise ValueError("converter minimum must be above zero")
    if voltage <= 0.0:
        return 0.0
    if voltage >= converter_minimum:
        return power / voltage
    return power * voltage / converter_minimum**2


def own_ride_through(
    capacitance: float, start_voltage: float, end_voltage: float, power: float, converter_minimum: float
) -> float:
    """Time the display's own input capacitor feeds it after the supply has gone (behind a diode or broken
    feed).

    Constant power down to the converter's minimum: t = C (V1^2 - V2^2) / (2 P); below it the load is a
    resistance R = V_min^2 / P and the voltage decays: t = R C ln(V_min / V2).

    Parameters
    ----------
    capacitance : [F]
    start_voltage, end_voltage : [V]
    power : [W]
    converter_minimum : [V]

    Returns
    -------
    time [s]; infinite without a load or down to zero volts
    """
    if start_voltage <= end_voltage:
        return 0.0
    if power <= 0.0 or end_voltage <= 0.0:
        return math.inf
    knee = min(max(converter_minimum, end_voltage), start_voltage)
    constant = 0.5 * capacitance * (start_voltage**2 - knee**2) / power
    decay = converter_minimum**2 / power * capacitance * math.log(knee / end_voltage)
    return constant + decay


def load_equivalents(current: float) -> int:
    """Load equivalents of a network device, rounded up [-].

    Parameters
    ----------
    current : largest current at 9 V [A]

    Returns
    -------
    load equivalents

    Examples
    --------
    151 mA counts as 4.

    >>> load_equivalents(0.151)
    4
    """
    # 150 mA is 3 although 0.150 / 0.050 is not exactly 3 in binary.
    return max(1, math.ceil(current / LOAD_EQUIVALENT - LOAD_EQUIVALENT_ROUNDING))


def power_from_load_equivalents(equivalents: int) -> float:
    """Largest power of a network device: its load equivalents at the lowest supply voltage, 9 V.

    Parameters
    ----------
    equivalents : [-]

    Returns
    -------
    power [W]
    """
    return equivalents * LOAD_EQUIVALENT * NETWORK_LOWEST_VOLTAGE
