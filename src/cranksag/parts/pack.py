# SPDX-License-Identifier: GPL-3.0-or-later
"""Standby pack: chemistry, open-circuit voltage, resistance, self-discharge, energy per crank, cranks to
flat.

Temperatures are in degC; charge is in coulomb (1 Ah = 3600 C), as everywhere in the package; the netlist's
data class carries ampere hours because that is the name of its field.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

__all__ = [
    "CHEMISTRIES",
    "Chemistry",
    "PackCircuit",
    "Parallel",
    "capacity_factor",
    "charge_after_rest",
    "charge_per_crank",
    "cranks_to_flat",
    "energy_per_crank",
    "interpolate",
    "load_current",
    "open_circuit_voltage",
    "pack_circuit",
    "parallel_risks",
    "resistance_factor",
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

Curve = tuple[tuple[float, float], ...]

# 12 V sealed lead pack, data sheet of a 12 V 40 Ah sealed lead battery, line "capacity affected by
# temperature": 103 % at 30, 100 % at 25, 90 % at 10, 74 % at -10 degC. (-30 degC: engineering estimate, same
# slope.)
SEALED_LEAD_CAPACITY: Curve = ((-30.0, 0.55), (-10.0, 0.74), (10.0, 0.90), (25.0, 1.00), (30.0, 1.03))
# Open-circuit voltage of flooded lead per cell against charge: BCI table for 12 V batteries divided by six,
# 11.89, 12.06, 12.24, 12.45, 12.65 V at 0 to 100 %.
VENTED_LEAD_VOLTAGE: Curve = (
    (0.0, 11.89 / 6), (0.25, 12.06 / 6), (0.50, 12.24 / 6), (0.75, 12.45 / 6), (1.0, 12.65 / 6),
)  # fmt: skip
# Sealed lead stands about 0.2 V per 12 V above it: full charge 12.84 V at 25 degC (thin-plate AGM manual);
# the other points are the flooded ones moved by the same amount (engineering estimate).
SEALED_LEAD_VOLTAGE: Curve = tuple((share, volts + (12.84 - 12.65) / 6) for share, volts in VENTED_LEAD_VOLTAGE)
# Resistance of lead over its value at 20 degC: half as much again at -18 degC as at 30 degC (battery maker's
# page), straight in between.
LEAD_RESISTANCE: Curve = ((-18.0, 1.5 / 1.104), (20.0, 1.0), (30.0, 1.0 / 1.104))


@dataclass(frozen=True, slots=True)
class Chemistry:
    """What a pack is made of.

    cell_voltage: open-circuit volts of a cell against charge share; capacity: factor against temperature
    [degC]; resistance: factor against temperature [degC], 1 at 20 degC; resistance_when_flat: factor on
    resistance at empty over full [-]; self_discharge: share lost in the first month at 20 degC [-];
    cell_resistance_ah: typical resistance of one cell times its capacity [ohm Ah]; rechargeable, vents_gas
    and needs_regulated_charge say what may be done with it; hot_limit: highest temperature for standing in a
    boat [degC]; source and provenance name where the figures come from.
    """

    name: str
    cell_nominal: float
    cell_voltage: Curve
    capacity: Curve
    resistance: Curve
    resistance_when_flat: float
    self_discharge: float
    cell_resistance_ah: float
    rechargeable: bool
    vents_gas: bool
    needs_regulated_charge: bool
    hot_limit: float
    source: str
    provenance: str


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


# Where no line says otherwise, the figures of a chemistry are engineering estimates from typical data sheets.
CHEMISTRIES: dict[str, Chemistry] = {
    chemistry.name: chemistry
    for chemistry in (
        # Self-discharge: 5 % in the first month at 20 degC; resistance below 8 mohm at 40 Ah, six cells:
        # 0.053 ohm Ah per cell. Data sheet of a 12 V 40 Ah sealed lead battery.
        Chemistry(
            "sealed lead AGM", 2.0, SEALED_LEAD_VOLTAGE, SEALED_LEAD_CAPACITY, LEAD_RESISTANCE, 1.4,
            0.05, 8e-3 * 40 / 6, True, False, False, 50.0,
            "data sheet of a 12 V 40 Ah sealed lead battery; thin-plate AGM manual (voltage)", "published",
        ),
        Chemistry(
            "sealed lead gel", 2.0, SEALED_LEAD_VOLTAGE, SEALED_LEAD_CAPACITY, LEAD_RESISTANCE, 1.4,
            0.03, 0.075, True, False, False, 50.0, "as AGM; resistance and loss estimated",
            "engineering estimate",
        ),
        # Resistance +40 % from full to empty: battery maker's page. Loss 5-15 % a month: data sheet of a
        # deep-cycle flooded battery, operational data; the middle is taken.
        Chemistry(
            "vented lead", 2.0, VENTED_LEAD_VOLTAGE, SEALED_LEAD_CAPACITY, LEAD_RESISTANCE, 1.4,
            0.10, 0.060, True, True, False, 40.0,
            "BCI table (voltage); data sheet of a deep-cycle flooded battery (loss)", "published",
        ),
        Chemistry(
            "NiMH", 1.2, ((0.0, 1.10), (0.1, 1.22), (0.5, 1.29), (0.9, 1.35), (1.0, 1.40)),
            ((-20.0, 0.50), (0.0, 0.85), (20.0, 1.0), (60.0, 0.95)),
            ((-20.0, 2.5), (0.0, 1.5), (20.0, 1.0), (60.0, 0.8)), 1.8,
            0.20, 0.060, True, False, True, 50.0, "typical cell data sheets", "memory",
        ),
        Chemistry(
            "low self-discharge NiMH", 1.2, ((0.0, 1.10), (0.1, 1.22), (0.5, 1.29), (0.9, 1.35), (1.0, 1.40)),
            ((-20.0, 0.50), (0.0, 0.85), (20.0, 1.0), (60.0, 0.95)),
            ((-20.0, 2.5), (0.0, 1.5), (20.0, 1.0), (60.0, 0.8)), 1.8,
            0.03, 0.050, True, False, True, 50.0, "typical cell data sheets", "memory",
        ),
        Chemistry(
            "NiCd", 1.2, ((0.0, 1.10), (0.1, 1.22), (0.5, 1.29), (0.9, 1.34), (1.0, 1.38)),
            ((-20.0, 0.70), (0.0, 0.90), (20.0, 1.0), (60.0, 0.95)),
            ((-20.0, 1.6), (0.0, 1.25), (20.0, 1.0), (60.0, 0.85)), 1.6,
            0.15, 0.020, True, False, True, 55.0, "typical cell data sheets", "memory",
        ),
        Chemistry(
            "lithium iron phosphate", 3.2, ((0.0, 2.80), (0.1, 3.20), (0.5, 3.29), (0.9, 3.33), (1.0, 3.40)),
            ((-20.0, 0.60), (0.0, 0.85), (20.0, 1.0), (60.0, 1.0)),
            ((-20.0, 4.0), (0.0, 1.8), (20.0, 1.0), (60.0, 0.7)), 1.5,
            0.03, 0.040, True, False, True, 55.0, "typical cell data sheets", "memory",
        ),
        # Resistance: about 0.15 ohm for an AA cell of 2.5 Ah and for a D cell of 12 Ah alike (from memory);
        # the geometric mean of the two products.
        Chemistry(
            "alkaline primary", 1.5, ((0.0, 1.00), (0.1, 1.15), (0.5, 1.32), (0.9, 1.48), (1.0, 1.58)),
            ((-20.0, 0.20), (0.0, 0.55), (20.0, 1.0), (50.0, 1.0)),
            ((-20.0, 5.0), (0.0, 1.9), (20.0, 1.0), (50.0, 0.8)), 3.0,
            0.003, 0.75, False, False, True, 50.0, "typical cell data sheets", "memory",
        ),
        Chemistry(
            "lithium primary", 3.0, ((0.0, 2.00), (0.1, 2.75), (0.5, 2.95), (0.9, 3.10), (1.0, 3.20)),
            ((-20.0, 0.70), (0.0, 0.90), (20.0, 1.0), (60.0, 1.0)),
            ((-20.0, 2.5), (0.0, 1.4), (20.0, 1.0), (60.0, 0.8)), 2.5,
            0.001, 0.40, False, False, True, 60.0, "typical cell data sheets", "memory",
        ),
    )
}  # fmt: skip


def interpolate(curve: Sequence[tuple[float, float]], at: float) -> float:
    """Value of a piecewise straight curve, flat beyond its ends.

    Parameters
    ----------
    curve : pairs of abscissa and value, ascending
    at : abscissa

    Returns
    -------
    value in the unit of the curve
    """
    if at <= curve[0][0]:
        return curve[0][1]
    for (x0, y0), (x1, y1) in itertools.pairwise(curve):
        if at <= x1:
            return y0 + (y1 - y0) * (at - x0) / (x1 - x0)
    return curve[-1][1]


def _check_share(charge: float) -> None:
    if not 0.0 <= charge <= 1.0:
        raise ValueError("charge must be between 0 (flat) and 1 (full)")


def open_circuit_voltage(chemistry: Chemistry, cells: int, charge: float) -> float:
    """Rest voltage of a pack at a state of charge.

    Parameters
    ----------
    chemistry : what it is made of
    cells : number in series [-]
    charge : 0 flat to 1 full [-]

    Returns
    -------
    voltage [V]

    Raises
    ------
    ValueError
        If the charge is outside 0 to 1 or there is no cell.
    """
    _check_share(charge)
    if cells < 1:
        raise ValueError("a pack has at least one cell")
    return cells * interpolate(chemistry.cell_voltage, charge)


def resistance_factor(chemistry: Chemistry, charge: float, temperature: float) -> float:
    """Resistance over that of the full pack at 20 degC; rises straight with the missing charge.

    Parameters
    ----------
    chemistry : what it is made of
    charge : 0 flat to 1 full [-]
    temperature : [degC]

    Returns
    -------
    factor [-]
    """
    _check_share(charge)
    by_charge = 1.0 + (chemistry.resistance_when_flat - 1.0) * (1.0 - charge)
    return by_charge * interpolate(chemistry.resistance, temperature)


def capacity_factor(chemistry: Chemistry, temperature: float) -> float:
    """Capacity that can be had at a temperature over the rated one [-].

    Parameters
    ----------
    chemistry : what it is made of
    temperature : [degC]

    Returns
    -------
    factor [-]
    """
    return interpolate(chemistry.capacity, temperature)


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
    _check_share(charge)
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
    _check_share(charge)
    _check_share(charge_end)
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
