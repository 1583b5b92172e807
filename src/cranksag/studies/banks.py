# SPDX-License-Identifier: GPL-3.0-or-later
"""What a capacitor bank weighs or costs of which the scenario writes the capacitance and names no part: that of the
catalogue line it could be, and nothing where there is none."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from cranksag.catalogue import Catalogue
from cranksag.resolve import Boat
from cranksag.resolve.model import Bank

__all__ = ["BANK_KINDS", "BankLine", "bank_lines", "plain_figure"]

BANK_KINDS = {"reservoir": "capacitor", "supercapacitor": "supercapacitor"}
"""Kind of the catalogue's parts by branch."""

WRITTEN_TO = 5e-3
"""A capacitance written to three digits is that of the line it stands for [-]."""


@dataclass(frozen=True, slots=True)
class BankLine:
    """A catalogue line as one bank: its `kind`, `cells` in series (1 for a capacitor), `capacitance` [F] and rated
    `voltage` [V] of a cell, `mass` [kg] and `price`, nan where it states none."""

    kind: str
    name: str
    cells: int
    capacitance: float
    voltage: float
    mass: float
    price: float


def bank_lines(parts: Catalogue) -> tuple[BankLine, ...]:
    """Every capacitor and supercapacitor of the catalogue, lowest rated voltage first."""
    found = []
    for kind, cell in (("capacitor", ""), ("supercapacitor", "cell_")):
        rated = f"{cell}voltage" if cell else "rated_voltage"
        for entry in parts.entries(kind):
            cells = int(entry.value("cells")) if cell else 1
            held, volts = float(entry.value(f"{cell}capacitance")), float(entry.value(rated))
            mass, price = (float(entry.value(name, math.nan)) for name in ("mass", "price"))
            found.append(BankLine(kind, entry.name, cells, held, volts, mass, price))
    return tuple(sorted(found, key=lambda line: (line.voltage, line.name)))


def plain_figure(boat: Boat, lines: Sequence[BankLine], figure: str) -> float:
    """Mass [kg] or price of the boat's bank that names no part, by `figure`: of the first line that states it, holds
    the same per cell and stands the voltage, times the cells that the line does not bring; nan where there is none."""
    hold = boat.hold_up
    if not isinstance(hold, Bank):
        return math.nan
    cell = float(boat.values["hold_up.capacitance"].value) * hold.cells
    for line in lines:
        same = math.isclose(line.capacitance, cell, rel_tol=WRITTEN_TO) and line.voltage >= hold.cell_voltage - 1e-9
        if line.kind == BANK_KINDS[hold.branch] and same and line.cells in (1, hold.cells):
            stated = float(getattr(line, figure))
            if math.isfinite(stated):
                return stated * hold.cells / line.cells
    return math.nan
