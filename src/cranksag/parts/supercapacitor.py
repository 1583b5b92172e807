# SPDX-License-Identifier: GPL-3.0-or-later
"""Supercapacitor string: cells in series, unequal cells, balancing, leakage, charging, end of life.

Temperatures are in degC, everything else in SI units. Hold-up times are in module capacitor.
"""

from __future__ import annotations

import bisect
import math
from dataclasses import dataclass

from cranksag.parts import capacitor
from cranksag.parts.capacitor import CapacitorCircuit

__all__ = [
    "CellSpec",
    "balancing_drain",
    "cell_voltage_margin",
    "cells_needed",
    "charge_time_constant_current",
    "discharge_time",
    "end_of_life_factors",
    "esr_temperature_factor",
    "lifetime",
    "power_limit",
    "string_capacitance",
    "string_circuit",
    "string_esr",
    "worst_cell_share_balanced",
    "worst_cell_share_charging",
]

# Highest voltage a charging system puts on the string, not the 14.4 V of a healthy regulator [V]. 15.5 and 31
# V: equalising charge printed for flooded batteries of 12 V and 24 V nominal (deep-cycle battery data sheet).
CHARGE_VOLTAGE_12 = 15.5
CHARGE_VOLTAGE_24 = 31.0
# End of life: capacitance down by 20 to 30 %, ESR up by 100 % [-]. Source: makers' questions-and-answers
# pages on ultracapacitor failure criteria; the harder 30 % is taken.
END_OF_LIFE_CAPACITANCE = 0.70
END_OF_LIFE_ESR = 2.0
# Life is longer by this factor [-] for each step of voltage [V] below the rated one, organic electrolyte. Source: a
# supercapacitor maker's page on the prediction of life (spscap.com), which has the doubling for each 10 K as well.
LIFE_FACTOR, LIFE_STEP = 1.3, 0.1
# Difference of capacitance between cells of one string, from the mean [-]. Engineering estimate for cells of
# one batch whose catalogue tolerance is -0 / +20 %.
CELL_SPREAD = 0.10
# ESR over its value at 20 degC [-]. Engineering estimate for organic electrolyte from typical curves.
ESR_TEMPERATURES = (-40.0, -20.0, 0.0, 20.0, 65.0)
ESR_FACTORS = (2.2, 1.5, 1.15, 1.0, 0.9)
# Strap or busbar between two cells [ohm]. Engineering estimate, 0.1 mohm each.
LINK_RESISTANCE = 1e-4
# Share of V^2 / ESR a cell is said to deliver usefully [-]. IEC 62391-2, from memory; makers' data sheets call it the
# usable specific power.
POWER_SHARE = 0.12


@dataclass(frozen=True, slots=True)
class CellSpec:
    """One cell.

    capacitance [F], esr [ohm] (direct-current value), voltage (rated) [V], leakage [A] (at rated voltage,
    settled).
    """

    capacitance: float
    esr: float
    voltage: float
    leakage: float

    def __post_init__(self) -> None:
        """Refuse values that are no cell.

        Raises
        ------
        ValueError
            If a value is not positive (the leakage may be zero).
        """
        if min(self.capacitance, self.esr, self.voltage) <= 0.0 or self.leakage < 0.0:
            raise ValueError("a cell needs capacitance, ESR and voltage above zero and leakage not below it")


def _check_cells(cells: int) -> None:
    if cells < 1:
        raise ValueError("a string has at least one cell")


def string_capacitance(cell_capacitance: float, cells: int) -> float:
    """Capacitance of equal cells in series, C / n [F].

    Parameters
    ----------
    cell_capacitance : [F]
    cells : number in series [-]

    Returns
    -------
    capacitance [F]
    """
    _check_cells(cells)
    return cell_capacitance / cells


def string_esr(cell_esr: float, cells: int, link_resistance: float = LINK_RESISTANCE) -> float:
    """ESR of cells in series with the links between them [ohm].

    Parameters
    ----------
    cell_esr : [ohm]
    cells : number in series [-]
    link_resistance : of one link [ohm]

    Returns
    -------
    resistance [ohm]
    """
    _check_cells(cells)
    return cells * cell_esr + (cells - 1) * link_resistance


def esr_temperature_factor(temperature: float) -> float:
    """ESR at a temperature over that at 20 degC; straight between points, flat outside them.

    Parameters
    ----------
    temperature : [degC]

    Returns
    -------
    factor [-]
    """
    if temperature <= ESR_TEMPERATURES[0]:
        return ESR_FACTORS[0]
    if temperature >= ESR_TEMPERATURES[-1]:
        return ESR_FACTORS[-1]
    index = bisect.bisect_right(ESR_TEMPERATURES, temperature)
    t0, t1 = ESR_TEMPERATURES[index - 1 : index + 1]
    f0, f1 = ESR_FACTORS[index - 1 : index + 1]
    return f0 + (f1 - f0) * (temperature - t0) / (t1 - t0)


def end_of_life_factors(age: float) -> tuple[float, float]:
    """Capacitance and ESR factors at an age, 0 new to 1 end of life, straight in between.

    Parameters
    ----------
    age : share of life used, 0 to 1 [-]

    Returns
    -------
    factor on capacitance [-], factor on ESR [-]

    Raises
    ------
    ValueError
        If the age is not between 0 and 1.
    """
    if not 0.0 <= age <= 1.0:
        raise ValueError("age must be between 0 (new) and 1 (end of life)")
    return 1.0 - age * (1.0 - END_OF_LIFE_CAPACITANCE), 1.0 + age * (END_OF_LIFE_ESR - 1.0)


def lifetime(
    rated_life: float, rated_temperature: float, temperature: float, rated_voltage: float, voltage: float
) -> float:
    """Life at a temperature and voltage: L = L0 2^((T0 - T) / 10 K) 1.3^((V0 - V) / 0.1 V).

    Parameters
    ----------
    rated_life : printed endurance at rated voltage, any unit of time
    rated_temperature : its temperature [degC]
    temperature : of use [degC]
    rated_voltage : of a cell [V]
    voltage : a cell stands at in use; above the rated one life is shorter [V]

    Returns
    -------
    life in the unit of rated_life

    References
    ----------
    Supercapacitor maker's page on the prediction of supercapacitor life (spscap.com), simple life equation.

    Examples
    --------
    1000 h at 65 degC and 2.7 V are 22 600 h at 20 degC, and 84 000 h at 2.2 V.

    >>> round(lifetime(1000.0, 65.0, 20.0, 2.7, 2.2), -3)
    84000.0
    """
    warm = capacitor.lifetime(rated_life, rated_temperature, temperature)
    return float(warm * LIFE_FACTOR ** ((rated_voltage - voltage) / LIFE_STEP))


def worst_cell_share_charging(cells: int, spread: float = CELL_SPREAD) -> float:
    """Share of the string voltage on the smallest cell while charging, against an equal share.

    The same charge enters every cell, so voltage divides as 1 / C. Worst case: one cell at 1 - spread and all
    others at 1 + spread. share = n (1 + s) / ((1 + s) + (n - 1) (1 - s)).

    Parameters
    ----------
    cells : number in series [-]
    spread : deviation of capacitance, 0 to below 1 [-]

    Returns
    -------
    voltage of that cell over the mean cell voltage [-]

    Raises
    ------
    ValueError
        If there is no cell or the spread is outside 0 to below 1.
    """
    _check_cells(cells)
    if not 0.0 <= spread < 1.0:
        raise ValueError("spread must be at least 0 and below 1")
    return cells * (1.0 + spread) / ((1.0 + spread) + (cells - 1) * (1.0 - spread))


def worst_cell_share_balanced(
    cells: int, voltage: float, resistance: float, leakage_spread: float, tolerance: float = 0.0
) -> float:
    """Share of the string voltage on the worst cell after settling on passive balancing resistors.

    One string current flows; each cell takes (I - its leakage) times its resistor. Worst case: one cell leaks
    less than the others by leakage_spread and has the larger resistor (1 + tolerance against 1 - tolerance).

    Parameters
    ----------
    cells : number in series [-]
    voltage : across the string [V]
    resistance : balancing resistor across each cell [ohm]
    leakage_spread : difference of leakage currents [A]
    tolerance : of the resistors [-]

    Returns
    -------
    voltage of that cell over the mean cell voltage [-]
    """
    _check_cells(cells)
    upper, lower = resistance * (1.0 + tolerance), resistance * (1.0 - tolerance)
    string_current = (voltage + (cells - 1) * lower * leakage_spread) / (upper + (cells - 1) * lower)
    return upper * string_current / (voltage / cells)


def balancing_drain(voltage: float, cells: int, resistance: float) -> float:
    """Current that balancing resistors take from a charged string [A].

    Parameters
    ----------
    voltage : across the string [V]
    cells : number in series [-]
    resistance : across each cell [ohm]

    Returns
    -------
    current [A]
    """
    _check_cells(cells)
    return voltage / (cells * resistance)


def cell_voltage_margin(cell_voltage: float, cells: int, charge_voltage: float, worst_share: float = 1.0) -> float:
    """What is left of a cell's rated voltage when the string stands at its highest charging voltage.

    Parameters
    ----------
    cell_voltage : rated [V]
    cells : number in series [-]
    charge_voltage : 15.5 V on a 12 V boat, 31 V on a 24 V boat [V]
    worst_share : voltage of the worst cell over the mean [-]

    Returns
    -------
    margin; negative is over-voltage [V]
    """
    _check_cells(cells)
    return cell_voltage - worst_share * charge_voltage / cells


def cells_needed(cell_voltage: float, charge_voltage: float, spread: float = CELL_SPREAD) -> int:
    """Fewest cells in series whose worst cell stays within its rating at the charging voltage.

    Parameters
    ----------
    cell_voltage : rated [V]
    charge_voltage : [V]
    spread : deviation of capacitance between cells [-]

    Returns
    -------
    number of cells [-]

    Raises
    ------
    ValueError
        If a voltage is not positive.
    """
    if cell_voltage <= 0.0 or charge_voltage <= 0.0:
        raise ValueError("voltages must be above zero")
    cells = 1
    while cell_voltage_margin(cell_voltage, cells, charge_voltage, worst_cell_share_charging(cells, spread)) < 0.0:
        cells += 1
    return cells


def charge_time_constant_current(
    capacitance: float,
    esr: float,
    start_voltage: float,
    end_voltage: float,
    current: float,
    load: float = 0.0,
) -> float:
    """Time to charge by a constant-current limiter until the terminals reach a voltage.

    t = C (V2 - V1 - I ESR) / I with I what the load leaves; the ESR step counts, since the limiter stops on
    the terminal voltage.

    Parameters
    ----------
    capacitance : of the string [F]
    esr : of the string [ohm]
    start_voltage : [V]
    end_voltage : at the terminals [V]
    current : of the limiter [A]
    load : drawn beside the string meanwhile, leakage and balancing included [A]

    Returns
    -------
    time [s]; infinite if the load takes all
    """
    net = current - load
    if end_voltage <= start_voltage:
        return 0.0
    if net <= 0.0:
        return math.inf
    return capacitance * max(end_voltage - start_voltage - net * esr, 0.0) / net


def discharge_time(capacitance: float, start_voltage: float, end_voltage: float, drain: float) -> float:
    """Time for leakage and balancing, taken as a constant current, to pull a string down [s].

    Parameters
    ----------
    capacitance : of the string [F]
    start_voltage, end_voltage : [V]
    drain : [A]

    Returns
    -------
    time [s]; infinite without drain
    """
    if drain <= 0.0:
        return math.inf
    return capacitance * max(start_voltage - end_voltage, 0.0) / drain


def power_limit(voltage: float, esr: float, share: float = POWER_SHARE) -> float:
    """Power a string delivers usefully: 0.12 V^2 / ESR (share 0.25 is the matched-load limit).

    Parameters
    ----------
    voltage : [V]
    esr : [ohm]
    share : [-]

    Returns
    -------
    power [W]

    References
    ----------
    IEC 62391-2, maximum power, from memory.
    """
    return share * voltage**2 / esr


def string_circuit(
    cell: CellSpec, cells: int, temperature: float, age: float = 0.0, balancing: float = math.inf
) -> CapacitorCircuit:
    """Circuit parameters of a string at a temperature and age.

    Parameters
    ----------
    cell : one cell
    cells : number in series [-]
    temperature : [degC]
    age : 0 new to 1 end of life [-]
    balancing : resistor across each cell [ohm]; infinite for none

    Returns
    -------
    CapacitorCircuit; its leakage resistance holds leakage and balancing together
    """
    capacitance_factor, esr_factor = end_of_life_factors(age)
    conductance = cell.leakage / cell.voltage + 1.0 / balancing
    return CapacitorCircuit(
        capacitance=string_capacitance(cell.capacitance, cells) * capacitance_factor,
        esr=string_esr(cell.esr * esr_factor * esr_temperature_factor(temperature), cells),
        leakage_resistance=cells / conductance if conductance > 0.0 else math.inf,
        rated_voltage=cells * cell.voltage,
    )
