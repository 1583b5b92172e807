# SPDX-License-Identifier: GPL-3.0-or-later
"""Text to quantity in the strict grammar, quantity to text, and words for what cannot be read."""

from __future__ import annotations

import difflib
import math
import re
from decimal import Decimal
from typing import Final

from cranksag.errors import InputError
from cranksag.quantities.dimensions import DIMENSIONS, Dimension, Unit

MAX_QUANTITY_LENGTH: Final = 64
"""Longest text taken for a quantity [characters]."""

_NUMBER = re.compile(r"([+-]?)([0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE]([+-]?[0-9]{1,3})(?![0-9]))?")
_COMMA_NUMBER = re.compile(r"[+-]?[0-9]*,[0-9]")
_WORD_NUMBER = re.compile(r"[+-]?(inf|infinity|nan)\b", re.IGNORECASE)
RESPELL: Final = str.maketrans(
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
"""Signs that are taken for plainer ones."""


_MARKS: Final = {
    "'": "ft",
    "\N{RIGHT SINGLE QUOTATION MARK}": "ft",
    "\N{PRIME}": "ft",
    '"': "in",
    "\N{RIGHT DOUBLE QUOTATION MARK}": "in",
    "\N{DOUBLE PRIME}": "in",
}


def shown(text: str, limit: int = 40) -> str:
    """A piece of user text, quoted, shortened and safe to print on one line."""
    head = text if len(text) <= limit else text[: limit - 3] + "..."
    if head.isprintable():
        return f'"{head}"'
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
    plain = text.translate(RESPELL).strip()
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


def parse_option(option: str, text: str, dimension: Dimension) -> float:
    """A quantity given with an option of a command.

    Raises
    ------
    InputError : as `parse`, with the option and the text in front.
    """
    try:
        return parse(text, dimension)
    except InputError as error:
        raise InputError([f"{option} {shown(text)}: {problem}" for problem in error.problems]) from None


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
    if symbol[:1] in _MARKS and "ft" in dimension.units:
        return _mark_problem(plain, symbol)
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


def _mark_problem(plain: str, symbol: str) -> str:
    """How to write a length that has a mark for feet or inches, with the number given where it is the only one."""
    unit = _MARKS[symbol[0]]
    number = plain.removesuffix(symbol).strip() if len(symbol) == 1 else "25"
    return f'marks for feet and inches are not accepted, write "{number} {unit}"'


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
        text = f"{Decimal(text):f}"
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


def nearest(word: str, words: tuple[str, ...] | list[str]) -> str | None:
    """The closest of `words` to `word`, for "did you mean", or None."""
    holding = [w for w in words if len(word) > 2 and word in w.split()]
    if len(holding) == 1:
        return holding[0]
    found = difflib.get_close_matches(word[:64], words, n=1, cutoff=0.6)
    return found[0] if found else None
