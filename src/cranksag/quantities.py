# SPDX-License-Identifier: GPL-3.0-or-later
"""Quantities as people write them: ``"30 ft"``, ``"-10 degC"``, ``"16 AWG"`` to SI, and back.

The grammar is ``number unit`` and nothing else: the space is optional, ``.`` is the decimal mark, no
arithmetic, no compound units beyond the table below. The caller names the dimension, so ``F`` is farad in a
capacitance and degrees Fahrenheit in a temperature.

Every value comes back in the SI unit of its dimension, with two conventions that the whole package shares:
temperatures are in degC (the SI unit for Celsius temperature) and shares are ratios (85 % is 0.85). A battery
capacity is a charge, hence in coulomb: 1 Ah = 3600 C.

Unit factors: exact by definition, from NIST Special Publication 811 (2008), Appendix B.8, and the SI
Brochure, 9th edition, tables 2 to 8.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

from cranksag.errors import InputError

__all__ = [
    "AREA",
    "AWG_NAMES",
    "AWG_SHELF_NAMES",
    "CAPACITANCE",
    "CAPACITY",
    "COULOMB_PER_AMPERE_HOUR",
    "CURRENT",
    "DIMENSIONS",
    "ENERGY",
    "INDUCTANCE",
    "INERTIA",
    "LENGTH",
    "MASS",
    "MAX_QUANTITY_LENGTH",
    "METRIC_NAMES",
    "POWER",
    "RESISTANCE",
    "SAE_NAMES",
    "SHARE",
    "SIZE_NAMES",
    "SPEED",
    "TEMPERATURE",
    "TIME",
    "TORQUE",
    "VOLTAGE",
    "VOLUME",
    "ConductorSize",
    "Dimension",
    "Unit",
    "format_quantity",
    "nearest",
    "parse",
    "parse_conductor_size",
    "shown",
    "units_that_fit",
]

MAX_QUANTITY_LENGTH: Final = 64
"""Longest text taken for a quantity [characters]."""

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
    "length", {"m": (0, 1), "cm": (-2, 1), "mm": (-3, 1), "ft": (0, _FOOT), "in": (0, _INCH)}, "mm,m", "1.8 m"
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

_NUMBER = re.compile(r"([+-]?)([0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE]([+-]?[0-9]{1,3})(?![0-9]))?")
_COMMA_NUMBER = re.compile(r"[+-]?[0-9]*,[0-9]")
_WORD_NUMBER = re.compile(r"[+-]?(inf|infinity|nan)\b", re.IGNORECASE)
_RESPELL = str.maketrans(
    {
        "µ": "u",
        "μ": "u",
        "²": "2",
        "³": "3",
        "·": " ",
        "⋅": " ",
        "−": "-",
        "º": "°",
        "\N{OHM SIGN}": "ohm",
        "\N{GREEK CAPITAL LETTER OMEGA}": "ohm",
        "\N{NO-BREAK SPACE}": " ",
        "\N{NARROW NO-BREAK SPACE}": " ",
    }
)


def shown(text: str, limit: int = 40) -> str:
    """A piece of user text, quoted, shortened and safe to print on one line."""
    head = text if len(text) <= limit else text[: limit - 3] + "..."
    return '"' + "".join(c if c.isprintable() else repr(c)[1:-1] for c in head) + '"'


def parse(text: str, dimension: Dimension) -> float:
    """Read a quantity in the strict grammar ``number unit``.

    Parameters
    ----------
    text : what the user wrote, at most `MAX_QUANTITY_LENGTH` characters.
    dimension : what it must measure.

    Returns
    -------
    float : the value [`dimension.si`; temperature in degC, share as a ratio].

    Raises
    ------
    InputError : one line saying what is wrong and which units fit.
    """
    if len(text) > MAX_QUANTITY_LENGTH:
        raise InputError([f"longer than {MAX_QUANTITY_LENGTH} characters, write a number and a unit"])
    plain = text.translate(_RESPELL).strip()
    match = _NUMBER.match(plain)
    if match is None or _COMMA_NUMBER.match(plain):
        raise InputError([_number_problem(plain, dimension)])
    symbol = plain[match.end() :].strip()
    unit = dimension.units.get(symbol)
    if unit is None:
        unit = dimension.units.get(" ".join(symbol.split()))
        if unit is None:
            raise InputError([_unit_problem(plain, symbol, dimension)])
    sign, digits, power = match.groups()
    value = unit.to_si(sign + digits, int(power) if power else 0)
    if not math.isfinite(value) or (value == 0.0 and unit.offset == 0.0 and digits.strip("0.")):
        raise InputError(["the number is outside what can be computed with"])
    if sign == "-" and not dimension.signed and value < 0.0:
        raise InputError([f"{dimension.article} cannot be negative here"])
    return value + 0.0  # turns -0.0 into 0.0


def units_that_fit(dimension: Dimension) -> str:
    """The list of units for a message: ``units that fit: V, mV, kV``."""
    return f"units that fit: {', '.join(dimension.listed)}"


def _number_problem(plain: str, dimension: Dimension) -> str:
    if re.match(r"[+-]?[0-9]*,[0-9]|[+-]?[0-9.]+,", plain):
        return f'a comma is not accepted, write the decimal mark as "." (such as "{dimension.example}")'
    if _WORD_NUMBER.match(plain):
        return "infinity and nan are not accepted, write a finite number"
    if plain in dimension.units:
        return f'the number is missing, write it as in "{dimension.example}"'
    fits = units_that_fit(dimension)
    return f'not a quantity, write a number and a unit as in "{dimension.example}" ({fits})'


def _unit_problem(plain: str, symbol: str, dimension: Dimension) -> str:
    fits = units_that_fit(dimension)
    if not symbol:
        return f'the unit is missing, write it as in "{dimension.example}" ({fits})'
    if symbol.startswith(","):
        return _number_problem(plain, dimension)
    other = next((d for d in DIMENSIONS.values() if symbol in d.units), None)
    if other is not None:
        return f"{symbol} measures {other.article}, {dimension.article} is due ({fits})"
    close = {s.lower(): s for s in reversed(list(dimension.units))}.get(symbol.lower())
    hint = f'did you mean "{close}"? ' if close else ""
    return f"unknown unit {shown(symbol, 20)} for {dimension.article} ({hint}{fits})"


def format_quantity(value: float, dimension: Dimension, unit: str | None = None, digits: int | None = 4) -> str:
    """Write an SI value for people, with a unit that keeps the number readable.

    Parameters
    ----------
    value : the value [`dimension.si`; temperature in degC, share as a ratio].
    dimension : what it measures.
    unit : a symbol of `dimension` to use; None chooses one.
    digits : significant digits; None writes every digit that counts.

    Returns
    -------
    str : such as ``"1.25 mohm"``; `parse` reads it back if the value is finite.

    Raises
    ------
    KeyError : `unit` is not one of the dimension's.
    """
    chosen = dimension.units[unit] if unit is not None else _readable_unit(value, dimension)
    number = chosen.from_si(value)
    text = repr(number) if digits is None else f"{number:.{digits}g}"
    if "e" in text and 1e-6 < abs(number) < 1e15 and digits is not None:
        text = f"{float(text):f}".rstrip("0").rstrip(".")
    return f"{text.removesuffix('.0')} {chosen.symbol}"


def _readable_unit(value: float, dimension: Dimension) -> Unit:
    candidates = [dimension.units[symbol] for symbol in dimension.shown]
    if len(candidates) == 1:
        return candidates[0]
    size = abs(value)
    if size == 0.0 or not math.isfinite(size):
        return dimension.units[dimension.si if dimension.si in dimension.shown else dimension.shown[-1]]
    # 0.9995 leaves room for rounding: 0.99999 V is shown as "1 V", not "1000 mV".
    fitting = [u for u in candidates if size * 1.0000001 >= 0.9995 * u.scale * 10.0**u.exponent]
    return fitting[-1] if fitting else candidates[0]


# --- conductor sizes: names, not areas
# ------------------------------------------------------------------------

AWG_NAMES: Final = (*(str(n) for n in range(22, 0, -1)), "1/0", "2/0", "3/0", "4/0")
"""American wire gauge names, thin to thick (ASTM B258)."""

AWG_SHELF_NAMES: Final = ("22", "20", "18", "16", "14", "12", "10", "8", "6", "4", "2", "1", "1/0", "2/0", "3/0", "4/0")
"""The AWG sizes a chandler keeps, thin to thick (common practice)."""

METRIC_NAMES: Final = (
    "0.5",
    "0.75",
    "1",
    "1.5",
    "2.5",
    "4",
    "6",
    "10",
    "16",
    "25",
    "35",
    "50",
    "70",
    "95",
    "120",
    "150",
    "185",
    "240",
    "300",
    "400",
)
"""Nominal cross-sections in mm2, thin to thick (IEC 60228)."""

SAE_NAMES: Final = ("20", "18", "16", "14", "12", "10", "8", "6", "4", "2", "1", "1/0", "2/0", "3/0", "4/0")
"""Gauge names of SAE J1127 battery cable and SAE J1128 primary cable, thin to thick."""

SIZE_NAMES: Final[Mapping[str, tuple[str, ...]]] = {"AWG": AWG_NAMES, "mm2": METRIC_NAMES, "SAE": SAE_NAMES}
"""Accepted names of each sizing system, thin to thick."""

_AUGHTS: Final = {"0": "1/0", "00": "2/0", "000": "3/0", "0000": "4/0"}
_SIZE = re.compile(r"(?:(?P<before>AWG|SAE)\s*)?(?P<name>[0-9]{1,4}(?:/0)?(?:\.[0-9]{1,4})?)\s*(?P<after>AWG|mm2|SAE)?")


@dataclass(frozen=True, slots=True)
class ConductorSize:
    """A conductor's size by its name in a sizing system; what it measures is for `parts.conductors`."""

    system: Literal["AWG", "mm2", "SAE"]
    name: str

    def __str__(self) -> str:
        return f"SAE {self.name}" if self.system == "SAE" else f"{self.name} {self.system}"


def parse_conductor_size(text: str) -> ConductorSize:
    """Read a conductor size: ``16 AWG``, ``2/0 AWG``, ``70 mm2`` or ``SAE 2/0``.

    Raises
    ------
    InputError : not a size, or not one of the standard's names; the neighbours are listed.
    """
    if len(text) > MAX_QUANTITY_LENGTH:
        raise InputError([f"longer than {MAX_QUANTITY_LENGTH} characters, write a size such as 16 AWG"])
    plain = text.translate(_RESPELL).strip()
    match = _SIZE.fullmatch(plain)
    system = (match["before"] or match["after"]) if match else None
    if match is None or system is None or (match["before"] and match["after"]):
        if re.search(r"[0-9],[0-9]", plain):
            raise InputError(['a comma is not accepted, write the decimal mark as "." (such as "2.5 mm2")'])
        raise InputError(['not a conductor size, write "16 AWG", "2/0 AWG", "70 mm2" or "SAE 2/0"'])
    name = match["name"]
    name = _AUGHTS.get(name, name) if system != "mm2" else name
    if system == "mm2" and "/" not in name:
        name = f"{float(name):g}"
    names = SIZE_NAMES[system]
    if name not in names:
        raise InputError([_size_problem(name, system, names)])
    return ConductorSize("AWG" if system == "AWG" else "SAE" if system == "SAE" else "mm2", name)


def _size_problem(name: str, system: str, names: tuple[str, ...]) -> str:
    standard = {"AWG": "ASTM B258", "mm2": "IEC 60228", "SAE": "SAE J1127 and J1128"}[system]
    reach = f"not a size this tool knows, {names[0]} to {names[-1]} {system} ({standard})"
    if "/" in name or ("." in name and system != "mm2"):
        return reach
    keys = [float(n) if "/" not in n else 1.0 - float(n.split("/")[0]) for n in names]
    wanted = float(name)
    below = [n for n, k in zip(names, keys, strict=True) if k < wanted]
    above = [n for n, k in zip(names, keys, strict=True) if k > wanted]
    if not below or not above:
        return reach
    first, second = (below[-1], above[0]) if system == "mm2" else (above[-1], below[0])
    return f"not a standard size ({standard}), the neighbours are {first} {system} and {second} {system}"


def nearest(word: str, words: tuple[str, ...] | list[str]) -> str | None:
    """The closest of `words` to `word`, for "did you mean", or None."""
    holding = [w for w in words if len(word) > 2 and word in w.split()]
    if len(holding) == 1:
        return holding[0]
    found = difflib.get_close_matches(word[:64], words, n=1, cutoff=0.6)
    return found[0] if found else None
