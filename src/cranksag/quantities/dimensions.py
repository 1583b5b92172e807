# SPDX-License-Identifier: GPL-3.0-or-later
"""Every dimension, its units and their factors: exact by definition, from NIST SP 811 and the SI Brochure."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

COULOMB_PER_AMPERE_HOUR: Final = 3600.0
"""One ampere hour [C]."""

_FOOT: Final = 0.3048  # m; NIST SP 811 B.8, exact
_INCH: Final = 0.0254  # m; NIST SP 811 B.8, exact
_POUND_FORCE: Final = 4.4482216152605  # N; NIST SP 811 B.8, exact product of 0.45359237 kg and 9.80665 m/s2
_STANDARD_GRAVITY: Final = 9.80665  # m/s2; SI Brochure, exact


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit of a dimension: SI value = ``(number x 10**exponent + offset) x scale``.

    The power of ten is kept apart from the scale so that ``"85 %"`` is exactly the float 0.85.
    """

    symbol: str
    exponent: int = 0
    scale: float = 1.0
    offset: float = 0.0

    def to_si(self, mantissa: str, exponent: int) -> float:
        """SI value [of the dimension] of a number given as mantissa text and power of ten [-]."""
        return (float(f"{mantissa}e{exponent + self.exponent}") + self.offset) * self.scale

    def from_si(self, value: float) -> float:
        """The number [this unit] that stands for an SI value [of the dimension]."""
        number = value / self.scale - self.offset
        if self.exponent < 0:
            return float(number * 10.0**-self.exponent)
        return float(number / 10.0**self.exponent)


@dataclass(frozen=True, slots=True)
class Dimension:
    """A kind of quantity and the units it may be written in.

    Parameters
    ----------
    name : what it is, for messages ("a voltage").
    si : symbol of the unit that `parse` returns.
    units : every accepted symbol (and spelling) with its unit.
    listed : the symbols shown to people when a unit is missing or does not fit.
    shown : symbols `format_quantity` chooses from, small to large.
    example : a well-formed quantity.
    signed : whether a negative value means something.
    """

    name: str
    si: str
    units: Mapping[str, Unit] = field(repr=False)
    listed: tuple[str, ...]
    shown: tuple[str, ...]
    example: str
    signed: bool = False

    @property
    def article(self) -> str:
        """The name with its article, for messages: "a voltage", "an area"."""
        return f"{'an' if self.name[0] in 'aei' else 'a'} {self.name}"


def _dimension(
    name: str,
    units: Mapping[str, tuple[int, float] | tuple[int, float, float]],
    shown: str,
    example: str,
    *,
    si: str = "",
    signed: bool = False,
    spellings: Mapping[str, str] | None = None,
) -> Dimension:
    """Build a dimension from units as (exponent, scale[, offset]); the first is the SI unit unless said."""
    table = {
        symbol: Unit(symbol, parts[0], float(parts[1]), float(parts[2]) if len(parts) == 3 else 0.0)
        for symbol, parts in units.items()
    }
    for spelling, symbol in (spellings or {}).items():
        table[spelling] = table[symbol]
    listed = tuple(units)
    return Dimension(name, si or listed[0], table, listed, tuple(shown.split(",")), example, signed)


VOLTAGE: Final = _dimension("voltage", {"V": (0, 1), "mV": (-3, 1), "kV": (3, 1)}, "mV,V,kV", "12.6 V", signed=True)
CURRENT: Final = _dimension(
    "current", {"A": (0, 1), "mA": (-3, 1), "uA": (-6, 1), "kA": (3, 1)}, "uA,mA,A,kA", "800 A", signed=True
)
RESISTANCE: Final = _dimension(
    "resistance",
    {"ohm": (0, 1), "mohm": (-3, 1), "uohm": (-6, 1), "kohm": (3, 1), "Mohm": (6, 1)},
    "uohm,mohm,ohm,kohm,Mohm",
    "30 mohm",
)
CAPACITANCE: Final = _dimension(
    "capacitance", {"F": (0, 1), "mF": (-3, 1), "uF": (-6, 1), "nF": (-9, 1)}, "nF,uF,mF,F", "220 uF"
)
INDUCTANCE: Final = _dimension(
    "inductance", {"H": (0, 1), "mH": (-3, 1), "uH": (-6, 1), "nH": (-9, 1)}, "nH,uH,mH,H", "40 uH"
)
# hp is the mechanical horsepower of 550 ft lbf/s, PS the metric one of 75 kgf m/s (NIST SP 811 B.8).
POWER: Final = _dimension(
    "power",
    {
        "W": (0, 1),
        "mW": (-3, 1),
        "kW": (3, 1),
        "hp": (0, 550.0 * _FOOT * _POUND_FORCE),
        "PS": (0, 75.0 * _STANDARD_GRAVITY),
    },
    "mW,W,kW",
    "2.5 kW",
    signed=True,
)
LENGTH: Final = _dimension(
    "length",
    {"m": (0, 1), "cm": (-2, 1), "mm": (-3, 1), "ft": (0, _FOOT), "in": (0, _INCH)},
    "mm,m",
    "1.8 m",
    spellings={"feet": "ft", "foot": "ft", "inches": "in", "inch": "in"},
)
AREA: Final = _dimension(
    "area", {"m2": (0, 1), "cm2": (-4, 1), "mm2": (-6, 1), "in2": (0, _INCH**2)}, "mm2,cm2,m2", "70 mm2"
)
TIME: Final = _dimension(
    "time",
    {
        "s": (0, 1),
        "ms": (-3, 1),
        "us": (-6, 1),
        "min": (0, 60),
        "h": (0, 3600),
        "d": (0, 86400),
        "y": (0, 86400 * 365.25),
    },
    "us,ms,s,min,h,d,y",
    "1.2 s",
    signed=True,
)
TEMPERATURE: Final = _dimension(
    "temperature",
    {"degC": (0, 1), "degF": (0, 5 / 9, -32), "K": (0, 1, -273.15)},
    "degC",
    "-10 degC",
    signed=True,
    spellings={"C": "degC", "F": "degF", "°C": "degC", "°F": "degF"},
)
SPEED: Final = _dimension("speed", {"rpm": (0, 2 * math.pi / 60), "rad/s": (0, 1)}, "rpm", "120 rpm", si="rad/s")
TORQUE: Final = _dimension(
    "torque",
    {
        "N m": (0, 1),
        "lbf ft": (0, _POUND_FORCE * _FOOT),
        "lbf in": (0, _POUND_FORCE * _INCH),
        "kgf m": (0, _STANDARD_GRAVITY),
    },
    "N m",
    "8.2 N m",
    signed=True,
    spellings={"Nm": "N m", "lb ft": "lbf ft", "ft lbf": "lbf ft", "ft lb": "lbf ft", "lb in": "lbf in"},
)
ENERGY: Final = _dimension("energy", {"J": (0, 1), "kJ": (3, 1), "Wh": (0, 3600), "kWh": (3, 3600)}, "J,kJ", "40 J")
CAPACITY: Final = _dimension("capacity", {"Ah": (0, 3600), "mAh": (-3, 3600), "C": (0, 1)}, "mAh,Ah", "110 Ah", si="C")
SHARE: Final = _dimension("share", {"%": (-2, 1)}, "%", "85 %", si="1", signed=True)
VOLUME: Final = _dimension(
    "volume",
    {"L": (-3, 1), "mL": (-6, 1), "cm3": (-6, 1), "m3": (0, 1), "in3": (0, _INCH**3)},
    "mL,L",
    "4.2 L",
    si="m3",
    spellings={"l": "L", "ml": "mL", "cc": "cm3"},
)
MASS: Final = _dimension("mass", {"kg": (0, 1), "g": (-3, 1), "lb": (0, 0.45359237)}, "g,kg", "3 kg")
INERTIA: Final = _dimension(
    "inertia", {"kg m2": (0, 1), "kg cm2": (-4, 1), "g m2": (-3, 1)}, "kg m2", "0.5 kg m2", spellings={"kgm2": "kg m2"}
)

DIMENSIONS: Final[Mapping[str, Dimension]] = {
    d.name: d
    for d in (
        VOLTAGE,
        CURRENT,
        RESISTANCE,
        CAPACITANCE,
        INDUCTANCE,
        POWER,
        LENGTH,
        AREA,
        TIME,
        TEMPERATURE,
        SPEED,
        TORQUE,
        ENERGY,
        CAPACITY,
        SHARE,
        VOLUME,
        MASS,
        INERTIA,
    )
}
"""Every dimension by its name."""
