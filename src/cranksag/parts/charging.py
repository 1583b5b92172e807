# SPDX-License-Identifier: GPL-3.0-or-later
"""Charging and emptying a capacitor bank: inrush and its I2t, charge time, bleed resistor. SI units."""

from __future__ import annotations

import math

__all__ = [
    "bleed_power",
    "bleed_resistance",
    "bleed_time",
    "charge_time",
    "inrush_i2t",
    "inrush_peak",
    "time_to_ready",
]

# [-] of its supply at which a bank counts as charged: three time constants (convention)
READY_SHARE = 0.95


def inrush_peak(supply_voltage: float, capacitor_voltage: float, resistance: float) -> float:
    """First current into a capacitor connected to a supply through a resistance [A].

    Parameters
    ----------
    supply_voltage, capacitor_voltage : [V]
    resistance : limiter, ESR and wiring together [ohm]

    Returns
    -------
    current [A]; zero if the capacitor is already at or above the supply

    Raises
    ------
    ValueError
        If the resistance is not positive.
    """
    if resistance <= 0.0:
        raise ValueError("inrush needs a resistance above zero")
    return max(supply_voltage - capacitor_voltage, 0.0) / resistance


def inrush_i2t(supply_voltage: float, capacitor_voltage: float, capacitance: float, resistance: float) -> float:
    """I2t of that inrush until it has died away: (dV)^2 C / (2 R) [A2 s].

    Parameters
    ----------
    supply_voltage, capacitor_voltage : [V]
    capacitance : [F]
    resistance : limiter, ESR and wiring together [ohm]

    Returns
    -------
    I2t [A2 s]
    """
    return 0.5 * capacitance * resistance * inrush_peak(supply_voltage, capacitor_voltage, resistance) ** 2


def charge_time(
    supply_voltage: float, start_voltage: float, end_voltage: float, capacitance: float, resistance: float
) -> float:
    """Time to charge through a resistance from one capacitor voltage to another.

    Parameters
    ----------
    supply_voltage, start_voltage, end_voltage : [V]
    capacitance : [F]
    resistance : [ohm]

    Returns
    -------
    time [s]; infinite if the supply is not above the end voltage
    """
    if end_voltage <= start_voltage:
        return 0.0
    if supply_voltage <= end_voltage:
        return math.inf
    return resistance * capacitance * math.log((supply_voltage - start_voltage) / (supply_voltage - end_voltage))


def bleed_time(capacitance: float, resistance: float, start_voltage: float, safe_voltage: float) -> float:
    """Time for a bleed resistor to bring a capacitor down to a safe voltage [s].

    Parameters
    ----------
    capacitance : [F]
    resistance : [ohm]
    start_voltage, safe_voltage : [V]

    Returns
    -------
    time [s]
    """
    return resistance * capacitance * math.log(max(start_voltage / safe_voltage, 1.0))


def bleed_resistance(capacitance: float, start_voltage: float, safe_voltage: float, time: float) -> float:
    """Bleed resistor that reaches a safe voltage in a given time [ohm].

    Parameters
    ----------
    capacitance : [F]
    start_voltage, safe_voltage : with start above safe [V]
    time : [s]

    Returns
    -------
    resistance [ohm]

    Raises
    ------
    ValueError
        If the start voltage is not above the safe voltage.
    """
    if not 0.0 < safe_voltage < start_voltage:
        raise ValueError("the start voltage must be above the safe voltage")
    return time / (capacitance * math.log(start_voltage / safe_voltage))


def bleed_power(voltage: float, resistance: float) -> float:
    """Continuous loss in a bleed resistor, V^2 / R [W].

    Parameters
    ----------
    voltage : [V]
    resistance : [ohm]

    Returns
    -------
    power [W]
    """
    return voltage**2 / resistance


def time_to_ready(
    voltage: float,
    capacitance: float,
    resistance: float,
    leakage_resistance: float = math.inf,
    current_limit: float = math.inf,
    share: float = READY_SHARE,
) -> float:
    """Time an empty bank takes to a share of its supply, through a resistance and a current limit.

    At the limit while the resistance would pass more, then exponential towards V Rl / (R + Rl).

    Parameters
    ----------
    voltage : supply [V]
    capacitance : [F]
    resistance : in the charge path, ESR included [ohm]
    leakage_resistance : across the bank, bleed included [ohm]
    current_limit : of the charger [A]
    share : of the supply at which the bank counts as ready [-]

    Returns
    -------
    time [s]; infinite if the leakage keeps it below that share

    Raises
    ------
    ValueError
        If a figure is not positive or the share not below 1.
    """
    if min(voltage, capacitance, resistance, leakage_resistance, current_limit) <= 0.0 or not 0.0 < share < 1.0:
        raise ValueError("charging needs figures above zero and a share below 1")
    end, ready = voltage * leakage_resistance / (resistance + leakage_resistance), share * voltage
    if math.isinf(leakage_resistance):
        end = voltage
    if ready >= end:
        return math.inf
    bend = min(max(voltage - current_limit * resistance, 0.0), ready)  # where the resistance passes less than the limit
    steady = capacitance * bend / current_limit if bend > 0.0 else 0.0
    tau = capacitance * resistance * end / voltage
    return steady + (tau * math.log((end - bend) / (end - ready)) if ready > bend else 0.0)
