# SPDX-License-Identifier: GPL-3.0-or-later
"""A relay's coil: copper and temperature, the rise and decay of its current, what suppresses its kick.

A relay answers to ampere-turns, so its operate and release *currents* stay constant while the coil resistance, and
with it every voltage printed in a data sheet, follows the copper temperature.

Temperatures are in degC, everything else in SI units.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

__all__ = [
    "Suppression",
    "coil_kick_voltage",
    "coil_resistance",
    "coil_stored_energy",
    "coil_temperature",
    "current_decay_time",
    "current_rise_time",
    "inductance_from_operate_time",
    "kick_voltage_bound",
    "same_power",
    "voltage_at_temperature",
]

# Temperature coefficient of copper referred to 20 degC [1/K].
# Source: "Temperature considerations for DC relays", relay maker's application note, coil resistance
# equation.
COPPER_COEFFICIENT = 0.003929
# Reference temperature of that coefficient and of every coil resistance here [degC]; same source.
REFERENCE_TEMPERATURE = 20.0
# Temperature at which the coefficient's straight line would reach zero resistance [degC]; from the two above.
ZERO_RESISTANCE_TEMPERATURE = REFERENCE_TEMPERATURE - 1.0 / COPPER_COEFFICIENT
# Below it the straight line is no longer copper [degC]. Engineering estimate.
TEMPERATURE_LOWEST = -200.0
# Coil to ambient of a cube-sized automotive relay [K/W]. Engineering estimate: 1.4-1.8 W coils are allowed
# 125 degC ambient with 180 degC wire, which leaves 30-40 K/W.
COIL_THERMAL_RESISTANCE = 35.0
# Time constant of the coil's warming [s]. Engineering estimate: about 10 g of copper and iron near the
# winding (4 J/K) times COIL_THERMAL_RESISTANCE.
COIL_THERMAL_TIME = 140.0
# Share of a data-sheet operate time spent while the current rises, before the armature leaves its seat [-].
# Engineering estimate; the oscillogram of a clapper relay shows about half to two thirds.
OPERATE_ELECTRICAL_SHARE = 0.6
# Forward drop of a small silicon diode across the coil [V]. Common practice.
SUPPRESSION_DIODE_DROP = 0.8
# Kick of a 12 V coil with nothing across it [V]: "1000 to 1500 volts", relay maker's application note
# 13C3311, "The application of relay coil suppression with DC relays". The lower end for typical behaviour,
# the upper end for the envelope. The switch that opens limits it by its arc.
UNSUPPRESSED_KICK_TYPICAL = 1000.0
UNSUPPRESSED_KICK_ENVELOPE = 1500.0
SuppressionKind = Literal["diode", "zener", "resistor", "none"]


@dataclass(frozen=True, slots=True)
class Suppression:
    """What lies across a relay coil.

    kind: "diode" (anti-parallel diode), "zener" (zener and diode in series, back to back), "resistor" or
    "none"; diode_drop [V] is used by the first two, zener_voltage [V] by "zener", resistance [ohm] by
    "resistor".
    """

    kind: SuppressionKind = "none"
    diode_drop: float = SUPPRESSION_DIODE_DROP
    zener_voltage: float = 24.0
    resistance: float = 680.0

    def __post_init__(self) -> None:
        """Refuse kinds and values that describe no circuit.

        Raises
        ------
        ValueError
            If the kind is unknown or a value it uses is not positive.
        """
        if self.kind not in ("diode", "zener", "resistor", "none"):
            raise ValueError(f"suppression kind {self.kind!r}: must be diode, zener, resistor or none")
        if min(self.diode_drop, self.zener_voltage, self.resistance) <= 0.0:
            raise ValueError("suppression values must be above zero")


def same_power(resistance: float, voltage: float, other: float) -> float:
    """Resistance that takes the same power at another voltage: R' = R (V' / V)^2.

    A coil for twice the voltage has twice the turns of half the cross-section: four times the resistance, the same
    ampere-turns, and operate and release voltages that double.

    Parameters
    ----------
    resistance : [ohm] at `voltage`
    voltage, other : [V]

    Returns
    -------
    resistance [ohm] at `other`

    Examples
    --------
    A cube start relay of 1.7 W: 85 ohm on 12 V, 340 ohm on 24 V.

    >>> same_power(85.0, 12.0, 24.0)
    340.0
    """
    return resistance * (other / voltage) ** 2


def coil_resistance(resistance_20: float, temperature: float) -> float:
    """Resistance of a copper coil at its own temperature.

    R = R20 (1 + 0.003929 (T - 20))

    Parameters
    ----------
    resistance_20 : resistance at 20 degC [ohm]
    temperature : coil temperature [degC]

    Returns
    -------
    resistance [ohm]

    Raises
    ------
    ValueError
        If the resistance is not positive or the temperature is below -200 degC, where the law fails.

    References
    ----------
    "Temperature considerations for DC relays", relay maker's application note.

    Examples
    --------
    The note's coil, 90 ohm at 20 degC, in a hot engine room and in the cold:

    >>> round(coil_resistance(90.0, 85.0), 2), round(coil_resistance(90.0, -40.0), 2)
    (112.98, 68.78)
    """
    if resistance_20 <= 0.0:
        raise ValueError("coil resistance must be above zero")
    if temperature < TEMPERATURE_LOWEST:
        raise ValueError("coil temperature below -200 degC: the linear copper law does not hold")
    return resistance_20 * (1.0 + COPPER_COEFFICIENT * (temperature - REFERENCE_TEMPERATURE))


def voltage_at_temperature(voltage_20: float, temperature: float) -> float:
    """Operate or release voltage at a coil temperature, from its value at 20 degC.

    The current is constant, so the voltage scales with the coil's resistance.

    Parameters
    ----------
    voltage_20 : operate or release voltage with the coil at 20 degC [V]
    temperature : coil temperature [degC]

    Returns
    -------
    voltage [V]

    Examples
    --------
    >>> round(voltage_at_temperature(6.5, 85.0), 2), round(voltage_at_temperature(6.5, -40.0), 2)
    (8.16, 4.97)
    """
    return voltage_20 * coil_resistance(1.0, temperature)


def coil_temperature(
    resistance_20: float,
    voltage: float,
    ambient: float,
    thermal_resistance: float = COIL_THERMAL_RESISTANCE,
    time: float = math.inf,
    thermal_time: float = COIL_THERMAL_TIME,
) -> float:
    """Temperature of a coil energised at a constant voltage, self-consistent with its own resistance.

    The steady rise solves T = Ta + Rth V^2 / R(T), which is quadratic in r = R(T) / R20; on the way there the
    rise follows 1 - exp(-t / tau). The coil starts at ambient.

    Parameters
    ----------
    resistance_20 : resistance at 20 degC [ohm]
    voltage : coil voltage [V]
    ambient : air temperature [degC]
    thermal_resistance : coil to ambient [K/W]
    time : time energised [s]
    thermal_time : thermal time constant [s]

    Returns
    -------
    coil temperature [degC]

    Raises
    ------
    ValueError
        If time is negative, thermal_time not positive or thermal_resistance negative.
    """
    if time < 0.0 or thermal_time <= 0.0 or thermal_resistance < 0.0:
        raise ValueError("time and thermal resistance must not be negative, thermal time must be above zero")
    at_ambient = coil_resistance(resistance_20, ambient) / resistance_20
    heating = COPPER_COEFFICIENT * thermal_resistance * voltage**2 / resistance_20
    steady = 0.5 * (at_ambient + math.sqrt(at_ambient**2 + 4.0 * heating))
    rise = (steady - at_ambient) / COPPER_COEFFICIENT
    return ambient - rise * math.expm1(-time / thermal_time)


def current_rise_time(inductance: float, resistance: float, voltage: float, current: float) -> float:
    """Time for the coil current to rise from zero to a value after a voltage step.

    i(t) = V / R (1 - exp(-t R / L))   =>   t = -L / R ln(1 - I R / V)

    Parameters
    ----------
    inductance : coil inductance, armature open [H]
    resistance : coil resistance at its temperature [ohm]
    voltage : coil voltage [V]
    current : current to be reached [A]

    Returns
    -------
    time [s]; infinite if the coil never gets that much current
    """
    if current <= 0.0:
        return 0.0
    if voltage <= current * resistance:
        return math.inf
    return -inductance / resistance * math.log1p(-current * resistance / voltage)


def _decay_network(suppression: Suppression, current_start: float) -> tuple[float, float]:
    """Resistance [ohm] and opposing voltage [V] that the suppression adds to the coil's own loop."""
    if suppression.kind == "diode":
        return 0.0, suppression.diode_drop
    if suppression.kind == "zener":
        return 0.0, suppression.zener_voltage + suppression.diode_drop
    if suppression.kind == "resistor":
        return suppression.resistance, 0.0
    return UNSUPPRESSED_KICK_TYPICAL / current_start, 0.0


def current_decay_time(
    inductance: float,
    resistance: float,
    current_start: float,
    current_end: float,
    suppression: Suppression,
) -> float:
    """Time for the coil current to fall from one value to another after the supply has been cut.

    L di/dt + (R + Rs) i + Vs = 0, with Vs the clamp voltage (diode; zener and diode) or Rs the parallel
    resistor. With nothing across the coil the opening contact's arc is a resistor that gives
    UNSUPPRESSED_KICK_TYPICAL at the first instant.

    t = L / (R + Rs) ln((I0 + Vs / (R + Rs)) / (I1 + Vs / (R + Rs)))

    Parameters
    ----------
    inductance : coil inductance, armature closed [H]
    resistance : coil resistance at its temperature [ohm]
    current_start : coil current before the cut [A]
    current_end : current to be reached, usually the release current [A]
    suppression : what lies across the coil

    Returns
    -------
    time [s]

    Raises
    ------
    ValueError
        If inductance or resistance is not positive or the end current is negative, or zero with a resistor.
    """
    if inductance <= 0.0 or resistance <= 0.0 or current_end < 0.0:
        raise ValueError("inductance and resistance must be above zero, the end current not below it")
    if current_start <= current_end:
        return 0.0
    added, clamp = _decay_network(suppression, current_start)
    total = resistance + added
    offset = clamp / total
    if current_end + offset <= 0.0:
        raise ValueError("without a clamp voltage the current never reaches zero")
    return inductance / total * math.log((current_start + offset) / (current_end + offset))


def inductance_from_operate_time(
    time_operate: float,
    resistance: float,
    voltage: float,
    current_operate: float,
    electrical_share: float = OPERATE_ELECTRICAL_SHARE,
) -> float:
    """Coil inductance that explains the electrical share of a printed operate time.

    Parameters
    ----------
    time_operate : operate time from voltage to contact [s]
    resistance : coil resistance at the test's temperature [ohm]
    voltage : coil voltage of the test [V]
    current_operate : operate current [A]
    electrical_share : share of the time during which the current rises [-]

    Returns
    -------
    inductance [H]

    Raises
    ------
    ValueError
        If the coil would never operate at that voltage, or the share is not inside 0 to 1.
    """
    if not 0.0 < electrical_share < 1.0:
        raise ValueError("electrical share must be above 0 and below 1")
    if not 0.0 < current_operate * resistance < voltage:
        raise ValueError("this coil does not operate at the test voltage")
    return -electrical_share * time_operate * resistance / math.log1p(-current_operate * resistance / voltage)


def coil_stored_energy(inductance: float, current: float) -> float:
    """Energy in a coil's field, L I^2 / 2.

    Parameters
    ----------
    inductance : [H]
    current : [A]

    Returns
    -------
    energy [J]
    """
    return 0.5 * inductance * current**2


def coil_kick_voltage(current: float, suppression: Suppression) -> float:
    """Largest reverse voltage across a coil when its supply is cut, by the suppression fitted.

    Parameters
    ----------
    current : coil current before the cut [A]
    suppression : what lies across the coil

    Returns
    -------
    voltage, as a positive number [V]
    """
    if suppression.kind == "diode":
        return suppression.diode_drop
    if suppression.kind == "zener":
        return suppression.zener_voltage + suppression.diode_drop
    if suppression.kind == "resistor":
        return current * suppression.resistance
    return UNSUPPRESSED_KICK_ENVELOPE


def kick_voltage_bound(inductance: float, current: float, capacitance: float) -> float:
    """Bound on an unsuppressed kick from energy: all of L I^2 / 2 into the stray capacitance.

    Parameters
    ----------
    inductance : [H]
    current : current before the cut [A]
    capacitance : stray capacitance across the coil [F]

    Returns
    -------
    voltage [V]

    Raises
    ------
    ValueError
        If the capacitance is not positive.
    """
    if capacitance <= 0.0:
        raise ValueError("stray capacitance must be above zero")
    return current * math.sqrt(inductance / capacitance)
