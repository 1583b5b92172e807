# SPDX-License-Identifier: GPL-3.0-or-later
"""What packs are made of: voltage, capacity and resistance of each chemistry against charge and temperature.

Temperatures are in degC, charge shares run from 0 (flat) to 1 (full).
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

__all__ = [
    "CHEMISTRIES",
    "Chemistry",
    "capacity_factor",
    "check_share",
    "interpolate",
    "open_circuit_voltage",
    "resistance_factor",
]

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


def check_share(charge: float) -> None:
    """Refuse a state of charge outside 0 to 1.

    Raises
    ------
    ValueError
        If it is.
    """
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
    check_share(charge)
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
    check_share(charge)
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
