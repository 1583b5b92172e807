# SPDX-License-Identifier: GPL-3.0-or-later
"""DC-DC converter ahead of a display: input current, source limits, cut-out and cut-in, output hold-up.

A converter draws constant power, so its input current rises as the supply sags and the drop in the harness
rises with it; below a source-dependent voltage no working point is left. All values in SI units.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

__all__ = [
    "ConverterCircuit",
    "can_regulate",
    "converter_circuit",
    "input_current",
    "input_power",
    "is_on",
    "lowest_source_voltage",
    "operating_voltage",
    "output_hold_up",
]

Direction = Literal["up", "down", "up/down"]

# Voltage a step-down converter needs above its output, and a step-up converter below it [V]. Engineering
# estimate (one switch, one choke, duty cycle limit).
HEADROOM = 0.5
# Defaults when a scenario names only the direction. Engineering estimates from typical 20-60 W units.
EFFICIENCY_DEFAULT = 0.88
QUIESCENT_POWER_DEFAULT = 0.25  # [W]
RESTART_DELAY_DEFAULT = 0.3  # [s]
OUTPUT_CAPACITANCE_DEFAULT = 470e-6  # [F]
# Cut-out and cut-in as shares of the nominal input voltage [-]. A 24-to-12 V unit cuts out at 18-20 V: common
# practice; 19 V of 24 V is the middle. Wide-input units go down to 9 V of 12 V (converter input 9-36 V,
# hold-up article in Electronic Products).
CUT_OUT_SHARE = {"down": 19.0 / 24.0, "up": 0.75, "up/down": 0.75}
CUT_IN_SHARE = {"down": 21.0 / 24.0, "up": 0.80, "up/down": 0.80}


@dataclass(frozen=True, slots=True)
class ConverterCircuit:
    """The converter as the netlist sees it.

    output_voltage [V], efficiency [-], direction, cut_out and cut_in [V], restart_delay [s], input_limit [A],
    output_capacitance [F], quiescent_power [W].
    """

    output_voltage: float
    efficiency: float
    direction: Direction
    cut_out: float
    cut_in: float
    restart_delay: float
    input_limit: float
    output_capacitance: float
    quiescent_power: float


def converter_circuit(
    nominal_input: float,
    output_voltage: float,
    direction: Direction,
    rated_power: float,
    efficiency: float = EFFICIENCY_DEFAULT,
    cut_out: float | None = None,
    cut_in: float | None = None,
    restart_delay: float = RESTART_DELAY_DEFAULT,
    input_limit: float | None = None,
    output_capacitance: float = OUTPUT_CAPACITANCE_DEFAULT,
    quiescent_power: float = QUIESCENT_POWER_DEFAULT,
) -> ConverterCircuit:
    """Circuit parameters of a converter, with defaults for what its data sheet does not say.

    Parameters
    ----------
    nominal_input : [V]
    output_voltage : [V]
    direction : "up", "down" or "up/down"
    rated_power : at the output [W]
    efficiency : [-]
    cut_out : input voltage below which it stops [V]; default a share of the nominal input
    cut_in : input voltage above which it starts again [V]
    restart_delay : from cut-in to output [s]
    input_limit : largest input current [A]; default what rated power needs at cut-out
    output_capacitance : [F]
    quiescent_power : without load [W]

    Returns
    -------
    ConverterCircuit

    Raises
    ------
    ValueError
        If a value is not positive, the efficiency above 1, the direction unknown or cut-in below cut-out.
    """
    if direction not in CUT_OUT_SHARE:
        raise ValueError(f"direction {direction!r}: must be up, down or up/down")
    if min(nominal_input, output_voltage, rated_power) <= 0.0 or not 0.0 < efficiency <= 1.0:
        raise ValueError("voltages and power must be above zero, efficiency above 0 and at most 100 %")
    if restart_delay < 0.0 or output_capacitance < 0.0 or quiescent_power < 0.0:
        raise ValueError("restart delay, output capacitance and quiescent power must not be negative")
    if cut_out is None:
        cut_out = CUT_OUT_SHARE[direction] * nominal_input
    if cut_in is None:
        cut_in = max(CUT_IN_SHARE[direction] * nominal_input, cut_out)
    if cut_out <= 0.0 or cut_in < cut_out:
        raise ValueError("cut-out must be above zero and cut-in not below it")
    if input_limit is None:
        input_limit = (rated_power / efficiency + quiescent_power) / cut_out
    if input_limit <= 0.0:
        raise ValueError("input limit must be above zero")
    return ConverterCircuit(
        output_voltage, efficiency, direction, cut_out, cut_in, restart_delay, input_limit,
        output_capacitance, quiescent_power,
    )  # fmt: skip


def can_regulate(converter: ConverterCircuit, input_voltage: float) -> bool:
    """Whether the direction of conversion can hold the output at this input voltage; cut-out not considered.

    Parameters
    ----------
    converter : the converter
    input_voltage : [V]

    Returns
    -------
    true or false
    """
    if converter.direction == "down":
        return input_voltage >= converter.output_voltage + HEADROOM
    if converter.direction == "up":
        return input_voltage <= converter.output_voltage - HEADROOM
    return True


def input_power(converter: ConverterCircuit, output_power: float) -> float:
    """Power at the input for a power at the output: P / eta + quiescent [W].

    Parameters
    ----------
    converter : the converter
    output_power : [W]

    Returns
    -------
    power [W]
    """
    return output_power / converter.efficiency + converter.quiescent_power


def input_current(converter: ConverterCircuit, output_power: float, input_voltage: float) -> float:
    """Input current at a voltage while running, held at the input limit [A].

    Parameters
    ----------
    converter : the converter
    output_power : [W]
    input_voltage : [V]

    Returns
    -------
    current [A]

    Raises
    ------
    ValueError
        If the input voltage is not positive.
    """
    if input_voltage <= 0.0:
        raise ValueError("a running converter has an input voltage above zero")
    return min(input_power(converter, output_power) / input_voltage, converter.input_limit)


def is_on(converter: ConverterCircuit, input_voltage: float, was_on: bool) -> bool:
    """State after the input voltage has been seen: off below cut-out, on above cut-in, as before in between.

    Parameters
    ----------
    converter : the converter
    input_voltage : [V]
    was_on : state before

    Returns
    -------
    state
    """
    if input_voltage < converter.cut_out:
        return False
    if input_voltage >= converter.cut_in:
        return True
    return was_on


def operating_voltage(source_voltage: float, resistance: float, power: float) -> float:
    """Input voltage of a constant-power load behind a resistance: V = (E + sqrt(E^2 - 4 P R)) / 2.

    Parameters
    ----------
    source_voltage : E [V]
    resistance : of source and harness, out and back [ohm]
    power : at the input [W]

    Returns
    -------
    voltage [V]; not a number if the source cannot give the power
    """
    root = source_voltage**2 - 4.0 * power * resistance
    return 0.5 * (source_voltage + math.sqrt(root)) if root >= 0.0 else math.nan


def lowest_source_voltage(resistance: float, power: float, cut_out: float) -> float:
    """Lowest source voltage at which the converter stays on behind a resistance.

    The higher of two limits: no working point below E = 2 sqrt(P R), and its own cut-out at the input,
    E = V_cut + P R / V_cut (which is the lower branch's mirror when V_cut < sqrt(P R)).

    Parameters
    ----------
    resistance : of source and harness, out and back [ohm]
    power : at the input [W]
    cut_out : [V]

    Returns
    -------
    voltage [V]
    """
    knee = math.sqrt(power * resistance)
    if cut_out <= knee:
        return 2.0 * knee
    return cut_out + power * resistance / cut_out


def output_hold_up(converter: ConverterCircuit, output_power: float, lowest_output: float) -> float:
    """Time the output capacitor alone feeds the load after a cut-out: C (V1^2 - V2^2) / (2 P) [s].

    Parameters
    ----------
    converter : the converter
    output_power : [W]
    lowest_output : [V]

    Returns
    -------
    time [s]; infinite without a load
    """
    if output_power <= 0.0:
        return math.inf
    energy = converter.output_voltage**2 - lowest_output**2
    return 0.5 * converter.output_capacitance * max(energy, 0.0) / output_power
