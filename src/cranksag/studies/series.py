# SPDX-License-Identifier: GPL-3.0-or-later
"""Standard values: the E series of IEC 60063, and what the shelf holds of a quantity."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import cache, partial

from cranksag.catalogue import Catalogue, load_catalogue
from cranksag.catalogue.fields import spec_of
from cranksag.errors import InputError
from cranksag.quantities import DIMENSIONS, format_quantity
from cranksag.runner import spec_at

E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)
"""E24 of IEC 60063, Preferred number series for resistors and capacitors, table 1 (two digits; not all of them follow
the rounded powers); E12, E6 and E3 are every second, fourth and eighth of it."""


@cache
def decade(name: str) -> tuple[float, ...]:
    """The values of one decade, 1 <= v < 10, of a series E3 to E192.

    E48, E96 and E192 are ``10**(k/n)`` to three digits; E192 has 9.20 for the 9.19 of the rule (IEC 60063, table 2).
    """
    count = int(name[1:])
    if count <= 24:
        return tuple(v / 10 for v in E24[:: 24 // count])
    values = [round(10 ** (k / count), 2) for k in range(count)]
    if count == 192:
        values = [9.20 if v == 9.19 else v for v in values]
    return tuple(values)


def series_between(name: str, low: float, high: float) -> list[float]:
    """Values of a series from `low` to `high`, both included if they are values of it; ascending."""
    found = []
    for exponent in range(math.floor(math.log10(low)) - 1, math.ceil(math.log10(high)) + 1):
        for mantissa in decade(name):
            value = float(f"{mantissa!r}e{exponent}")
            if low * (1.0 - 1e-9) <= value <= high * (1.0 + 1e-9):
                found.append(value)
    return found


SERIES: Mapping[str, Callable[[float, float], list[float]]] = {
    name: partial(series_between, name) for name in ("E3", "E6", "E12", "E24", "E48", "E96", "E192")
}
"""Each series as a function of two limits."""

_SHELVES: Mapping[str, tuple[str, str]] = {
    "battery.rating": ("battery", "rating"),
    "battery.capacity": ("battery", "capacity"),
    "house.rating": ("battery", "rating"),
    "house.capacity": ("battery", "capacity"),
    "hold_up.pack_capacity": ("pack", "capacity"),
    "hold_up.fuse": ("fuse", "rating"),
    "feed.fuse": ("fuse", "rating"),
    "starter.power": ("starter", "power"),
    "hold_up.coil_resistance": ("relay", "coil_resistance"),
    "engine.displacement": ("engine", "displacement"),
}
"""Fields whose standard values are those of the catalogue's parts."""

_PREFERRED = {"capacitance": "E6", "resistance": "E12"}
"""Series in which the shelf keeps a quantity; common practice for bulk capacitors and power resistors."""

_PREFERRED_PATHS = ("capacitance", "inrush_limit", "bleed", "recharge_resistance", "suppression_resistance")


def shelf_between(path: str, low: float, high: float, catalogue: Catalogue | None) -> list[tuple[str, float]] | None:
    """Shelf values of a field from `low` to `high` [SI]: text and value, ascending; None if there is no shelf.

    Raises
    ------
    InputError
        The limits are not above zero.
    """
    measure = spec_at(path).measure
    if path in _SHELVES:
        kind, field = _SHELVES[path]
        parts = catalogue if catalogue is not None else load_catalogue()
        values = {value for entry in parts.entries(kind) if (value := entry.value(field)) is not None}
        dimension = DIMENSIONS[spec_of(kind, field).measures]
        chosen = sorted(v for v in values if low * (1.0 - 1e-9) <= v <= high * (1.0 + 1e-9))
        return [(format_quantity(v, dimension, digits=6), v) for v in chosen]
    name = path.rpartition(".")[2]
    if name in _PREFERRED_PATHS and measure.name in _PREFERRED:
        if low <= 0.0:
            raise InputError(["shelf values are above zero"])
        chosen = SERIES[_PREFERRED[measure.name]](low, high)
        return [(format_quantity(v, measure, digits=6), v) for v in chosen]
    return None
