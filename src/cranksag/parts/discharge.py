# SPDX-License-Identifier: GPL-3.0-or-later
"""A lead-acid battery's circuit under a constant current from rest.

An open-circuit voltage E behind R_instant, the charge transfer with its double layer, and (R_slow || C_slow):

    V(t) = E - I [R_instant + R_slow (1 - exp(-t/time_slow))] - v(I, t).

Charge transfer has a law of its own, the Tafel line with its reversal,

    i = I_a sinh(v / V_a),    v = V_a asinh(i / I_a):

several tenths of a volt at moderate current already, and little more at ten times that. `cranksag.parts.battery` finds
the parameters; the equation itself is integrated by ``circuits/parts/battery.inc``.

E may hold a surface charge: a voltage above that of a full battery, which stands on the positive plates' double layer
and goes with the charge that is drawn, min(surface_voltage, I t / surface_capacitance).
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass

from cranksag.errors import InputError

__all__ = [
    "BatteryCircuit",
    "charge_transfer",
    "discharge_current",
    "greatest_power",
    "scaled",
    "terminal_voltage",
    "voltage_drop",
]

POWER_TOLERANCE = 1e-9  # [-] on the current of greatest power, where the power is flat


@dataclass(frozen=True, slots=True)
class BatteryCircuit:
    """Parameters of a battery or bank for the netlist (the module's equation).

    open_circuit_voltage [V]; resistance_instant, resistance_slow [ohm]; charge transfer: activation_voltage V_a [V],
    activation_current I_a [A], double layer activation_capacitance [F]; time_slow [s]; capacity : rated charge [C];
    surface_voltage : part of open_circuit_voltage that is surface charge [V]; surface_capacitance : it stands on [F];
    link_resistance : part of resistance_instant that is cable between the batteries [ohm].
    """

    open_circuit_voltage: float
    resistance_instant: float
    activation_voltage: float
    activation_current: float
    activation_capacitance: float
    resistance_slow: float
    time_slow: float
    capacity: float
    surface_capacitance: float
    surface_voltage: float = 0.0
    link_resistance: float = 0.0


def scaled(circuit: BatteryCircuit, factor: float) -> BatteryCircuit:
    """The battery with its whole drop as of `factor` times the current: resistances up, charge transfer down in size.

    Cables between the batteries of a bank stay as they are.

    Parameters: circuit; factor > 0 [-]. Returns: `BatteryCircuit` of the same voltage and capacity.
    """
    return dataclasses.replace(
        circuit,
        resistance_instant=(circuit.resistance_instant - circuit.link_resistance) * factor + circuit.link_resistance,
        activation_current=circuit.activation_current / factor,
        activation_capacitance=circuit.activation_capacitance / factor,
        resistance_slow=circuit.resistance_slow * factor,
        surface_capacitance=circuit.surface_capacitance / factor,
    )


def charge_transfer(voltage: float, current: float, capacitance: float, load: float, time: float) -> float:
    """Voltage of the charge transfer and its double layer after a constant current from rest [V].

    C dv/dt = I - I_a sinh(v / V_a), solved in w = exp(v / V_a): with x = I / I_a, s = sqrt(1 + x^2), w' = x + s and
    w'' = x - s the two places where nothing moves,
    (w' - w) / (w - w'') = (w' - 1) / (1 - w'') exp(-s I_a t / (C V_a)).

    Parameters: voltage V_a [V], current I_a [A], capacitance C [F]; load I [A], of either sign; time [s] >= 0.
    """
    x = abs(load) / current
    if x == 0.0:
        return 0.0
    s = math.hypot(1.0, x)
    # w' - 1 and 1 - w'' written without cancellation: x - 1 + s = x + x^2 / (1 + s) and 1 - x + s
    above, below = x + x * x / (1.0 + s), 1.0 + 1.0 / (x + s)
    left = above / below * math.exp(-s * current * time / (capacitance * voltage))
    # w - 1 = (w' - 1 - left (1 - w'')) / (1 + left)
    return math.copysign(voltage * math.log1p((above - left * below) / (1.0 + left)), load)


def voltage_drop(circuit: BatteryCircuit, current: float, time: float) -> float:
    """E - V after a constant current from rest, by the module's equation.

    Parameters: circuit; current [A], discharge positive; time since it began [s] >= 0, may be inf.
    Returns: voltage [V]; an odd function of the current where there is no surface charge.
    """
    kinetics = circuit.activation_voltage, circuit.activation_current, circuit.activation_capacitance
    slow = -circuit.resistance_slow * math.expm1(-time / circuit.time_slow)
    return (
        current * (circuit.resistance_instant + slow)
        + charge_transfer(*kinetics, current, time)
        + _stripped(circuit, current, time)
    )


def _stripped(circuit: BatteryCircuit, current: float, time: float) -> float:
    """Surface charge lost after a constant current [V]; a charging current adds to it."""
    if circuit.surface_voltage == 0.0:
        return 0.0
    return min(circuit.surface_voltage, current * time / circuit.surface_capacitance)


def terminal_voltage(circuit: BatteryCircuit, current: float, time: float) -> float:
    """Terminal voltage under a constant discharge current from rest.

    Parameters: circuit; current [A], discharge positive; time since it began [s] >= 0.
    Returns: voltage [V]; it may fall below zero where the current could not flow.
    """
    return circuit.open_circuit_voltage - voltage_drop(circuit, current, time)


def discharge_current(circuit: BatteryCircuit, voltage: float, time: float) -> float:
    """Constant current from rest that brings the terminal voltage down to a voltage after a time.

    Parameters: circuit; voltage [V], not above the open-circuit voltage; time [s] > 0. Returns: current [A].
    Raises: InputError above the open-circuit voltage.
    """
    drop = circuit.open_circuit_voltage - voltage
    if not drop >= 0.0:
        raise InputError([f"{voltage:g} V is not below the voltage at rest, {circuit.open_circuit_voltage:.2f} V"])
    slow = -circuit.resistance_slow * math.expm1(-time / circuit.time_slow)
    low, high = 0.0, drop / (circuit.resistance_instant + slow)
    while True:
        middle = 0.5 * (low + high)
        if not low < middle < high:
            return middle
        low, high = (middle, high) if voltage_drop(circuit, middle, time) < drop else (low, middle)


def greatest_power(circuit: BatteryCircuit, time: float) -> float:
    """Most power a constant current from rest can bring to the posts after a time.

    Parameters: circuit; time since the current began [s] > 0. Returns: power [W].
    """

    def power(current: float) -> float:
        return current * terminal_voltage(circuit, current, time)

    # the drop bends down, so the power has one top only: thirds of the range that cannot hold it are dropped
    low, high = 0.0, discharge_current(circuit, 0.0, time)
    while high - low > POWER_TOLERANCE * high:
        third = (high - low) / 3.0
        low, high = (low + third, high) if power(low + third) < power(high - third) else (low, high - third)
    return power(0.5 * (low + high))
