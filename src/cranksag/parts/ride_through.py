# SPDX-License-Identifier: GPL-3.0-or-later
"""How long a charged capacitor feeds a load while its voltage falls from one value to another. SI units."""

from __future__ import annotations

import math

__all__ = [
    "capacitance_for_constant_power",
    "hold_up_constant_current",
    "hold_up_constant_power",
    "hold_up_power_with_esr",
    "internal_voltage",
    "voltage_floor",
]


def hold_up_constant_current(
    capacitance: float, start_voltage: float, end_voltage: float, current: float, esr: float = 0.0
) -> float:
    """Hold-up time at constant current: t = C (V1 - V2 - I ESR) / I.

    Parameters
    ----------
    capacitance : [F]
    start_voltage : charged, at rest [V]
    end_voltage : lowest voltage at the terminals under load [V]
    current : [A]
    esr : [ohm]

    Returns
    -------
    time [s]; zero if the ESR step alone is too much, infinite without a load

    Examples
    --------
    0.22 F from 3.0 to 1.6 V at 1 uA, a clock backup: 308 000 s.

    >>> round(hold_up_constant_current(0.22, 3.0, 1.6, 1e-6))
    308000
    """
    if current <= 0.0:
        return math.inf
    return capacitance * max(start_voltage - end_voltage - current * esr, 0.0) / current


def hold_up_constant_power(
    capacitance: float, start_voltage: float, end_voltage: float, power: float, efficiency: float = 1.0
) -> float:
    """Hold-up time at constant power without ESR: t = eta C (V1^2 - V2^2) / (2 P).

    Parameters
    ----------
    capacitance : [F]
    start_voltage, end_voltage : [V]
    power : drawn by the load [W]
    efficiency : of a converter between capacitor and load [-]

    Returns
    -------
    time [s]; infinite without a load

    References
    ----------
    Hold-up capacitor selection for military and avionics converters, Electronic Products, equation for C.
    """
    if power <= 0.0:
        return math.inf
    return 0.5 * efficiency * capacitance * max(start_voltage**2 - end_voltage**2, 0.0) / power


def capacitance_for_constant_power(
    time: float, start_voltage: float, end_voltage: float, power: float, efficiency: float = 1.0
) -> float:
    """Capacitance that holds a constant power for a time, without ESR [F].

    Parameters
    ----------
    time : [s]
    start_voltage, end_voltage : [V]
    power : drawn by the load [W]
    efficiency : of a converter between capacitor and load [-]

    Returns
    -------
    capacitance [F]

    Raises
    ------
    ValueError
        If the end voltage is not below the start voltage.

    Examples
    --------
    100 W for 20 ms between 400 and 300 V: 57.1 uF.

    >>> round(1e6 * capacitance_for_constant_power(20e-3, 400.0, 300.0, 100.0), 1)
    57.1
    """
    if not 0.0 <= end_voltage < start_voltage:
        raise ValueError("the end voltage must be below the start voltage")
    return 2.0 * power * time / (efficiency * (start_voltage**2 - end_voltage**2))


def internal_voltage(terminal_voltage: float, power: float, esr: float) -> float:
    """Voltage behind the ESR when the terminals deliver a power at a voltage: V = u + P ESR / u.

    Parameters
    ----------
    terminal_voltage : above zero [V]
    power : [W]
    esr : [ohm]

    Returns
    -------
    voltage [V]
    """
    return terminal_voltage + power * esr / terminal_voltage


def voltage_floor(power: float, esr: float) -> float:
    """Lowest internal voltage at which a power can still be drawn through an ESR: 2 sqrt(P ESR).

    Parameters
    ----------
    power : [W]
    esr : [ohm]

    Returns
    -------
    voltage [V]
    """
    return 2.0 * math.sqrt(power * esr)


def hold_up_power_with_esr(
    capacitance: float, start_voltage: float, end_voltage: float, power: float, esr: float
) -> float:
    """Hold-up time at constant power with ESR, exact.

    t = C / (4 P) [F(V1) - F(V2)],  F(V) = V^2 + V s - 4 P R ln(V + s),  s = sqrt(V^2 - 4 P R),

    the integral of C dV / i with i = (V - s) / (2 R). V1 and V2 are the voltages *behind* the ESR; for an end
    at the terminals pass internal_voltage(u, P, R). The end is raised to voltage_floor, below which the load
    collapses.

    Parameters
    ----------
    capacitance : [F]
    start_voltage : internal voltage when the load begins [V]
    end_voltage : internal voltage at the end [V]
    power : [W]
    esr : [ohm]

    Returns
    -------
    time [s]; infinite without a load, zero if the start cannot carry the load

    Examples
    --------
    >>> round(hold_up_power_with_esr(1.0, 12.0, 9.0, 5.0, 0.05), 4)
    6.2856
    """
    if power <= 0.0:
        return math.inf
    four = 4.0 * power * esr
    end = max(end_voltage, voltage_floor(power, esr))
    if start_voltage <= end:
        return 0.0

    def antiderivative(voltage: float) -> float:
        root = math.sqrt(max(voltage**2 - four, 0.0))
        log_term = four * math.log(voltage + root) if four > 0.0 else 0.0
        return voltage**2 + voltage * root - log_term

    return capacitance / (4.0 * power) * (antiderivative(start_voltage) - antiderivative(end))
