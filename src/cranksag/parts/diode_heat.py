# SPDX-License-Identifier: GPL-3.0-or-later
"""What heats a diode: forward loss, its own leakage, surges. Temperatures in degC."""

from __future__ import annotations

import math

from cranksag.parts.diode import BISECTIONS, DiodeModel, forward_voltage, leakage_current

__all__ = [
    "forward_loss",
    "junction_temperature",
    "pulse_i2t",
    "reverse_junction_temperature",
    "surge_i2t",
    "surge_use",
]

# Half period of 60 Hz for which surge ratings are printed [s]. Common practice of data sheets (8.3 ms).
SURGE_HALF_CYCLE = 8.3e-3
BRACKET_MARGIN = 1e-9  # [K]
WIDENINGS = 10  # [-] of the bracket, each by a factor of two


def forward_loss(model: DiodeModel, current: float, temperature: float) -> float:
    """Power lost in the conducting diode, I V(I, T).

    Parameters
    ----------
    model : SPICE set
    current : [A]
    temperature : junction temperature [degC]

    Returns
    -------
    power [W]
    """
    return current * forward_voltage(model, current, temperature)


def junction_temperature(model: DiodeModel, current: float, ambient: float, thermal_resistance: float) -> float:
    """Steady junction temperature of a conducting diode, self-consistent with its own forward voltage.

    Solves Tj = Ta + Rth I V(I, Tj) by bisection. The loss falls with Tj over the useful range; where it rises at first
    (a low gap beside a large emission coefficient), the bracket is widened until it holds the crossing.

    Parameters
    ----------
    model : SPICE set
    current : [A]
    ambient : temperature of what the thermal resistance leads to [degC]
    thermal_resistance : junction to there [K/W]

    Returns
    -------
    junction temperature [degC]
    """

    def still_warms(temperature: float) -> bool:
        return ambient + thermal_resistance * forward_loss(model, current, temperature) > temperature

    low = ambient
    rise = thermal_resistance * forward_loss(model, current, ambient) + BRACKET_MARGIN
    for _ in range(WIDENINGS):
        if not still_warms(ambient + rise):
            break
        low, rise = ambient + rise, 2.0 * rise
    high = ambient + rise
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        if still_warms(middle):
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def reverse_junction_temperature(
    reverse_voltage: float,
    leakage_reference: float,
    temperature_reference: float,
    doubling: float,
    ambient: float,
    thermal_resistance: float,
) -> float:
    """Steady junction temperature of a blocking diode heated by its own leakage.

    Parameters
    ----------
    reverse_voltage : [V]
    leakage_reference : leakage at that voltage and temperature_reference [A]
    temperature_reference : [degC]
    doubling : step over which leakage doubles [K]
    ambient : [degC]
    thermal_resistance : [K/W]

    Returns
    -------
    junction temperature [degC]; infinite if it runs away
    """
    # T - Ta - heat 2^((T - Ta) / step) is concave: it has its maximum where the leakage slope is one.
    at_ambient = leakage_current(leakage_reference, temperature_reference, doubling, ambient)
    heat = thermal_resistance * reverse_voltage * at_ambient
    if heat <= 0.0:
        return ambient
    rate = math.log(2.0) / doubling
    summit = -math.log(heat * rate) / rate
    if summit <= 0.0 or summit < heat * math.exp(rate * summit):
        return math.inf
    low, high = 0.0, summit
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        if heat * math.exp(rate * middle) > middle:
            low = middle
        else:
            high = middle
    return ambient + 0.5 * (low + high)


def surge_i2t(surge_current: float, half_cycle: float = SURGE_HALF_CYCLE) -> float:
    """I2t a diode stands once, from its printed half-sine surge rating: I^2 t / 2.

    Parameters
    ----------
    surge_current : peak of one half sine [A]
    half_cycle : its length [s]

    Returns
    -------
    I2t [A2 s]
    """
    return 0.5 * surge_current**2 * half_cycle


def pulse_i2t(peak: float, time_constant: float) -> float:
    """I2t of an exponentially decaying inrush: I^2 tau / 2.

    Parameters
    ----------
    peak : first value [A]
    time_constant : [s]

    Returns
    -------
    I2t [A2 s]
    """
    return 0.5 * peak**2 * time_constant


def surge_use(pulse: float, surge_current: float, half_cycle: float = SURGE_HALF_CYCLE) -> float:
    """Share of a diode's single-surge I2t that a pulse uses; above 1 the diode may fail short [-].

    Only for pulses of about the printed length or shorter: the I2t law counts no heat that leaves the chip.

    Parameters
    ----------
    pulse : I2t of the pulse [A2 s]
    surge_current : printed surge rating [A]
    half_cycle : its length [s]

    Returns
    -------
    share [-]

    Raises
    ------
    ValueError
        If the surge rating is not positive.
    """
    if surge_current <= 0.0:
        raise ValueError("surge rating must be above zero")
    return pulse / surge_i2t(surge_current, half_cycle)
