# SPDX-License-Identifier: GPL-3.0-or-later
"""Standby pack: circuit parameters, self-discharge, energy per crank, cranks to flat.

Temperatures are in degC; charge is in coulomb (1 Ah = 3600 C), as everywhere in the package; the netlist's
data class carries ampere hours because that is the name of its field.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from cranksag.parts.pack_chemistry import (
    Chemistry,
    capacity_factor,
    check_share,
    open_circuit_voltage,
    resistance_factor,
)

__all__ = [
    "PackCircuit",
    "Parallel",
    "charge_after_rest",
    "charge_per_crank",
    "cranks_to_flat",
    "energy_per_crank",
    "load_current",
    "pack_circuit",
    "parallel_risks",
    "short_circuit_current",
    "time_to_flat",
]

COULOMB_PER_AMPERE_HOUR = 3600.0  # [C/Ah], exact
# Average month: a twelfth of 365.25 days [s].
MONTH = 365.25 * 86400.0 / 12.0
# Self-discharge is a chemical rate and doubles for each 10 K [K]. Common practice.
SELF_DISCHARGE_DOUBLING = 10.0
# Temperature at which the loss of the first month is printed [degC]: data sheet of a 12 V 40 Ah sealed lead battery.
SELF_DISCHARGE_TEMPERATURE = 20.0


@dataclass(frozen=True, slots=True)
class PackCircuit:
    """The pack as the netlist sees it.

    open_circuit_voltage [V], resistance [ohm], short_circuit_current [A], capacity_ah [Ah] (present in it
    now).
    """

    open_circuit_voltage: float
    resistance: float
    short_circuit_current: float
    capacity_ah: float


@dataclass(frozen=True, slots=True)
class Parallel:
    """A source on the same positive conductor: its chemistry, its number of cells, whether a diode blocks
    it."""

    chemistry: Chemistry
    cells: int
    blocked: bool


def short_circuit_current(voltage: float, resistance: float) -> float:
    """Current of a dead short at the pack, E / R [A].

    Parameters
    ----------
    voltage : open-circuit [V]
    resistance : [ohm]

    Returns
    -------
    current [A]

    Raises
    ------
    ValueError
        If the resistance is not positive.
    """
    if resistance <= 0.0:
        raise ValueError("pack resistance must be above zero")
    return voltage / resistance


def pack_circuit(
    chemistry: Chemistry,
    cells: int,
    capacity: float,
    charge: float,
    temperature: float,
    resistance: float | None = None,
) -> PackCircuit:
    """Circuit parameters of a pack at a charge and temperature.

    Parameters
    ----------
    chemistry : what it is made of
    cells : number in series [-]
    capacity : rated [C]
    charge : 0 flat to 1 full [-]
    temperature : [degC]
    resistance : of the full pack at 20 degC [ohm]; from the chemistry's typical ohm-ampere-hours if not given

    Returns
    -------
    PackCircuit

    Raises
    ------
    ValueError
        If the capacity is not positive or the charge outside 0 to 1.
    """
    if capacity <= 0.0:
        raise ValueError("pack capacity must be above zero")
    capacity_ah = capacity / COULOMB_PER_AMPERE_HOUR
    if resistance is None:
        resistance = cells * chemistry.cell_resistance_ah / capacity_ah
    voltage = open_circuit_voltage(chemistry, cells, charge)
    actual = resistance * resistance_factor(chemistry, charge, temperature)
    return PackCircuit(
        open_circuit_voltage=voltage,
        resistance=actual,
        short_circuit_current=short_circuit_current(voltage, actual),
        capacity_ah=capacity_ah * charge * capacity_factor(chemistry, temperature),
    )


def load_current(voltage: float, resistance: float, power: float) -> float:
    """Current a source gives to a constant-power load: I = (E - sqrt(E^2 - 4 P R)) / (2 R).

    Parameters
    ----------
    voltage : open-circuit [V]
    resistance : source and wiring [ohm]
    power : of the load [W]

    Returns
    -------
    current [A]; infinite if the source cannot give the power
    """
    root = voltage**2 - 4.0 * power * resistance
    if root < 0.0:
        return math.inf
    # Written with the product of the roots so that a small resistance does not cancel digits.
    return 2.0 * power / (voltage + math.sqrt(root))


def charge_per_crank(voltage: float, resistance: float, power: float, time: float) -> float:
    """Charge a pack gives while it carries a constant-power load for a time [C].

    Parameters
    ----------
    voltage : open-circuit [V]
    resistance : source and wiring [ohm]
    power : of the load [W]
    time : [s]

    Returns
    -------
    charge [C]
    """
    return load_current(voltage, resistance, power) * time


def energy_per_crank(voltage: float, resistance: float, power: float, time: float) -> float:
    """Energy taken out of the pack in that time, its own loss included: E I t [J].

    Parameters
    ----------
    voltage : open-circuit [V]
    resistance : source and wiring [ohm]
    power : of the load [W]
    time : [s]

    Returns
    -------
    energy [J]
    """
    return voltage * charge_per_crank(voltage, resistance, power, time)


def cranks_to_flat(charge_available: float, crank_charge: float, standing_charge: float = 0.0) -> float:
    """Whole cranks a pack carries before it is flat, without recharge.

    Parameters
    ----------
    charge_available : [C]
    crank_charge : of one crank [C]
    standing_charge : lost to drain and self-discharge between two cranks [C]

    Returns
    -------
    number of cranks [-]; infinite if a crank takes nothing
    """
    each = crank_charge + standing_charge
    if each <= 0.0:
        return math.inf
    return float(math.floor(charge_available / each))


def _loss_rate(chemistry: Chemistry, temperature: float) -> float:
    """Self-discharge as a rate [1/s] at a temperature."""
    doubling = 2.0 ** ((temperature - SELF_DISCHARGE_TEMPERATURE) / SELF_DISCHARGE_DOUBLING)
    return float(-math.log1p(-chemistry.self_discharge) / MONTH * doubling)


def charge_after_rest(
    chemistry: Chemistry,
    charge: float,
    time: float,
    temperature: float,
    drain: float = 0.0,
    capacity: float = 1.0,
) -> float:
    """State of charge after standing, with self-discharge and a constant drain.

    dq/dt = -k q - d, with k from the loss of the first month, doubling each 10 K.

    Parameters
    ----------
    chemistry : what it is made of
    charge : at the start [-]
    time : [s]
    temperature : [degC]
    drain : constant current taken out [A]
    capacity : of the pack [C]

    Returns
    -------
    charge [-], not below zero
    """
    check_share(charge)
    rate = _loss_rate(chemistry, temperature)
    drained = drain / capacity * (-math.expm1(-rate * time) / rate)
    return max(charge * math.exp(-rate * time) - drained, 0.0)


def time_to_flat(
    chemistry: Chemistry,
    capacity: float,
    charge: float,
    charge_end: float,
    temperature: float,
    drain: float = 0.0,
) -> float:
    """Time a standing pack takes from one state of charge to a lower one.

    Parameters
    ----------
    chemistry : what it is made of
    capacity : [C]
    charge, charge_end : at the start and at the end [-]
    temperature : [degC]
    drain : constant current taken out [A]

    Returns
    -------
    time [s]; infinite if it only ever approaches zero

    Raises
    ------
    ValueError
        If a charge is outside 0 to 1 or the capacity not positive.
    """
    check_share(charge)
    check_share(charge_end)
    if capacity <= 0.0:
        raise ValueError("pack capacity must be above zero")
    if charge <= charge_end:
        return 0.0
    rate = _loss_rate(chemistry, temperature)
    share_drain = drain / capacity
    if rate * charge_end + share_drain <= 0.0:
        return math.inf
    return math.log((rate * charge + share_drain) / (rate * charge_end + share_drain)) / rate


def parallel_risks(one: Parallel, other: Parallel) -> list[str]:
    """What is wrong with two sources on the same positive conductor; empty if nothing.

    Parameters
    ----------
    one, other : the two sources

    Returns
    -------
    list of reasons, in words
    """
    risks: list[str] = []
    if one.blocked and other.blocked:
        return risks
    if one.chemistry.name != other.chemistry.name:
        risks.append(f"{one.chemistry.name} and {other.chemistry.name} are paralleled directly")
    full_one = open_circuit_voltage(one.chemistry, one.cells, 1.0)
    full_other = open_circuit_voltage(other.chemistry, other.cells, 1.0)
    for source, own, fed in ((one, full_one, full_other), (other, full_other, full_one)):
        if source.blocked:
            continue
        if not source.chemistry.rechargeable:
            risks.append(f"{source.chemistry.name} must never be charged, and the other source can charge it")
        elif source.chemistry.needs_regulated_charge and fed > own:
            risks.append(f"{source.chemistry.name} needs a regulated charge, and the other source feeds it without")
    return risks
