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

from cranksag.quantities.dimensions import (
    AREA,
    CAPACITANCE,
    CAPACITY,
    COULOMB_PER_AMPERE_HOUR,
    CURRENT,
    DIMENSIONS,
    ENERGY,
    INDUCTANCE,
    INERTIA,
    LENGTH,
    MASS,
    POWER,
    RESISTANCE,
    SHARE,
    SPEED,
    TEMPERATURE,
    TIME,
    TORQUE,
    VOLTAGE,
    VOLUME,
    Dimension,
    Unit,
)
from cranksag.quantities.sizes import (
    AWG_NAMES,
    AWG_SHELF_NAMES,
    METRIC_NAMES,
    SAE_NAMES,
    SIZE_NAMES,
    ConductorSize,
    parse_conductor_size,
)
from cranksag.quantities.text import (
    MAX_QUANTITY_LENGTH,
    format_quantity,
    nearest,
    parse,
    parse_option,
    shown,
    units_that_fit,
)

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
    "parse_option",
    "shown",
    "units_that_fit",
]
