# SPDX-License-Identifier: GPL-3.0-or-later
"""Fuse: time-current band, melting I2t, resistance; short-circuit withstand of the wire behind it.

The band of each fuse type is the pair of limits between which every good fuse opens at a multiple of its
rating. Currents in A, areas in m2, everything else in SI units.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

__all__ = [
    "FUSE_TYPES",
    "FuseType",
    "clearing_i2t",
    "conductor_i2t",
    "conductor_minimum_area",
    "conductor_withstand_time",
    "fuse_resistance",
    "melting_i2t",
    "opening_time",
    "protects_conductor",
    "pulse_use",
]

# Adiabatic factor k of copper conductors [A s^0.5 / mm2] by insulation, start to final temperature in degC.
# Source: IEC 60364-5-54 and BS 7671, table of k, as printed on a cable-sizing page; areas up to 300 mm2,
# durations up to 5 s.
ADIABATIC_FACTORS = {
    "PVC 70": 115.0,  # 70 to 160
    "PVC 90": 100.0,  # 90 to 160
    "XLPE": 143.0,  # 90 to 250
    "rubber 85": 134.0,  # 85 to 220
    "silicone": 132.0,  # 180 to 350
}
ADIABATIC_LONGEST = 5.0  # [s], same source
SQUARE_MILLIMETRES = 1e6  # [mm2/m2]

# Share of the melting I2t that a pulse may use if it comes many thousand times [-]. Fuse makers' application
# guides give about 22 % for 100 000 pulses and 38 % for 1000: from memory.
PULSE_SHARE_100000 = 0.22
PULSE_SHARE_1000 = 0.38


@dataclass(frozen=True, slots=True)
class FuseType:
    """A family of fuses.

    band : triples of multiple of rating [-], shortest and longest opening time [s]; melting : typical melting
    I2t over the rating squared [s]; drop : typical voltage drop at rated current [V]; ratings [A]; voltage :
    highest system voltage [V]; interrupt : largest current it breaks [A]; source and provenance of the
    figures.
    """

    name: str
    band: tuple[tuple[float, float, float], ...]
    melting: float
    drop: float
    ratings: tuple[float, ...]
    voltage: float
    interrupt: float
    source: str
    provenance: str


# The opening-time limits are those of SAE J1284 and ISO 8820 for each type, from memory; melting I2t and drop
# are engineering estimates from typical data sheets (10 A blade about 115 A2 s and 0.1 V). 1e9 s stands for
# "need not open".
FUSE_TYPES: dict[str, FuseType] = {
    fuse.name: fuse
    for fuse in (
        FuseType(
            "blade",
            ((1.1, 360000.0, 1e9), (1.35, 0.75, 600.0), (1.6, 0.25, 50.0), (2.0, 0.15, 5.0), (3.5, 0.04, 0.5),
             (6.0, 0.02, 0.1)),
            1.15, 0.10, (1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30, 40), 32.0, 1000.0,
            "SAE J1284 and ISO 8820-3 limits, from memory; I2t and drop estimated", "memory",
        ),
        FuseType(
            "maxi blade",
            ((1.1, 360000.0, 1e9), (1.35, 60.0, 1800.0), (2.0, 2.0, 60.0), (3.5, 0.2, 7.0), (6.0, 0.04, 1.0)),
            6.0, 0.09, (20, 30, 40, 50, 60, 70, 80, 100), 32.0, 1000.0,
            "ISO 8820-3 type E limits, from memory; I2t and drop estimated", "memory",
        ),
        FuseType(
            "bolt-down",
            ((1.0, 14400.0, 1e9), (1.35, 120.0, 1800.0), (2.0, 1.0, 15.0), (3.5, 0.1, 3.0), (6.0, 0.03, 1.0)),
            4.0, 0.08, (30, 40, 50, 60, 70, 80, 100, 125, 150, 200), 58.0, 2000.0,
            "ISO 8820-5 limits, from memory; I2t and drop estimated", "memory",
        ),
        FuseType(
            "glass fast",
            ((1.1, 14400.0, 1e9), (1.35, 1.0, 3600.0), (2.0, 0.05, 5.0), (4.0, 0.004, 0.3), (10.0, 0.001,
            0.02)), 0.30, 0.15, (1, 2, 3, 5, 7, 10, 15, 20, 25, 30), 32.0, 1000.0,
            "UL 248-14 class of fast fuses, limits estimated", "engineering estimate",
        ),
    )
}  # fmt: skip


def _check_rating(rating: float) -> None:
    if rating <= 0.0:
        raise ValueError("fuse rating must be above zero")


def opening_time(fuse: FuseType, rating: float, current: float) -> tuple[float, float]:
    """Shortest and longest time to open at a constant current.

    Straight in log-log between the band's points; infinite below the first; beyond the last the I2t there is
    constant (adiabatic).

    Parameters
    ----------
    fuse : type
    rating : [A]
    current : [A]

    Returns
    -------
    shortest and longest time [s]

    Raises
    ------
    ValueError
        If the rating is not positive.
    """
    _check_rating(rating)
    multiple = abs(current) / rating
    band = fuse.band
    if multiple < band[0][0]:
        return math.inf, math.inf
    if multiple >= band[-1][0]:
        scale = (band[-1][0] / multiple) ** 2
        return band[-1][1] * scale, band[-1][2] * scale
    for (m0, short0, long0), (m1, short1, long1) in itertools.pairwise(band):
        if multiple < m1:
            share = math.log(multiple / m0) / math.log(m1 / m0)
            return short0 * (short1 / short0) ** share, long0 * (long1 / long0) ** share
    raise AssertionError("unreachable: the band covers every multiple")


def melting_i2t(fuse: FuseType, rating: float) -> tuple[float, float, float]:
    """Melting I2t for pulses too short for heat to leave: lowest, typical and highest.

    Lowest and highest from the band's last point; the typical value is the type's own, held inside them.

    Parameters
    ----------
    fuse : type
    rating : [A]

    Returns
    -------
    lowest, typical, highest I2t [A2 s]

    Raises
    ------
    ValueError
        If the rating is not positive.
    """
    _check_rating(rating)
    multiple, short, long = fuse.band[-1]
    low, high = short * (multiple * rating) ** 2, long * (multiple * rating) ** 2
    return low, min(max(fuse.melting * rating**2, low), high), high


def clearing_i2t(fuse: FuseType, rating: float, current: float) -> float:
    """Largest I2t that passes before the fuse has opened at a constant current [A2 s]; infinite if it does
    not open.

    Parameters
    ----------
    fuse : type
    rating : [A]
    current : [A]

    Returns
    -------
    I2t [A2 s]
    """
    return current**2 * opening_time(fuse, rating, current)[1]


def pulse_use(fuse: FuseType, rating: float, pulse: float, share: float = PULSE_SHARE_100000) -> float:
    """Share that an inrush I2t uses of what the fuse stands again and again; above 1 it ages and opens one
    day [-].

    Parameters
    ----------
    fuse : type
    rating : [A]
    pulse : I2t of the inrush [A2 s]
    share : of the lowest melting I2t that repeated pulses may use [-]

    Returns
    -------
    use [-]
    """
    return pulse / (share * melting_i2t(fuse, rating)[0])


def fuse_resistance(fuse: FuseType, rating: float) -> float:
    """Typical warm resistance: drop at rated current over rated current [ohm].

    Parameters
    ----------
    fuse : type
    rating : [A]

    Returns
    -------
    resistance [ohm]
    """
    _check_rating(rating)
    return fuse.drop / rating


def _factor(insulation: str) -> float:
    if insulation not in ADIABATIC_FACTORS:
        raise ValueError(f"insulation {insulation!r}: must be one of {', '.join(ADIABATIC_FACTORS)}")
    return ADIABATIC_FACTORS[insulation]


def conductor_i2t(area: float, insulation: str = "PVC 70") -> float:
    """I2t a copper conductor stands, adiabatic: k^2 S^2.

    Parameters
    ----------
    area : S [m2]
    insulation : a key of ADIABATIC_FACTORS

    Returns
    -------
    I2t [A2 s]

    Raises
    ------
    ValueError
        If the insulation is unknown.

    References
    ----------
    IEC 60364-5-54, adiabatic equation.

    Examples
    --------
    10 mm2 in PVC carries 1.15 kA for one second:

    >>> round(conductor_i2t(10e-6) ** 0.5)
    1150
    """
    return (_factor(insulation) * area * SQUARE_MILLIMETRES) ** 2


def conductor_withstand_time(area: float, current: float, insulation: str = "PVC 70") -> float:
    """Longest time a conductor stands a short-circuit current, adiabatic (good up to 5 s, cautious beyond)
    [s].

    Parameters
    ----------
    area : [m2]
    current : [A]
    insulation : a key of ADIABATIC_FACTORS

    Returns
    -------
    time [s]; infinite without current
    """
    return conductor_i2t(area, insulation) / current**2 if current != 0.0 else math.inf


def conductor_minimum_area(i2t: float, insulation: str = "PVC 70") -> float:
    """Smallest copper area that stands an I2t: S = sqrt(I2t) / k.

    Parameters
    ----------
    i2t : [A2 s]
    insulation : a key of ADIABATIC_FACTORS

    Returns
    -------
    area [m2]
    """
    return math.sqrt(i2t) / _factor(insulation) / SQUARE_MILLIMETRES


def protects_conductor(
    fuse: FuseType,
    rating: float,
    area: float,
    ampacity: float,
    short_circuit: float,
    insulation: str = "PVC 70",
) -> list[str]:
    """What a fuse leaves unprotected of the wire behind it; empty if nothing.

    Three checks: rating not above the wire's ampacity; every fuse opens within the wire's withstand time at
    the short-circuit current; that current is within what the fuse can break.

    Parameters
    ----------
    fuse : type
    rating : [A]
    area : of the wire [m2]
    ampacity : of the wire [A]
    short_circuit : current of a dead short behind the fuse [A]
    insulation : a key of ADIABATIC_FACTORS

    Returns
    -------
    list of reasons, in words
    """
    problems: list[str] = []
    if rating > ampacity:
        problems.append(f"fuse of {rating:g} A is above the wire's {ampacity:.3g} A")
    longest = opening_time(fuse, rating, short_circuit)[1]
    if math.isinf(longest):
        problems.append(f"a short of {short_circuit:.3g} A does not open the {rating:g} A fuse")
    elif longest <= ADIABATIC_LONGEST and clearing_i2t(fuse, rating, short_circuit) > conductor_i2t(area, insulation):
        problems.append(f"the wire overheats before the {rating:g} A fuse opens at {short_circuit:.3g} A")
    if short_circuit > fuse.interrupt:
        problems.append(f"a short of {short_circuit:.0f} A is more than the fuse can break ({fuse.interrupt:g} A)")
    return problems
