# SPDX-License-Identifier: GPL-3.0-or-later
"""What a conductor of the boat may carry for long: 33 CFR 183.425 Table 5, lowered where it runs through the engine
space."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from cranksag.parts.conductors import CFR_COLUMNS, CFR_ENGINE_SPACE, ampacity
from cranksag.quantities import ConductorSize
from cranksag.resolve.model import Value

__all__ = ["SMALL_WIRE", "WHERE", "Carrying", "carrying", "in_engine_space"]

SMALL_WIRE = 5.0  # [A] for sizes below the ampacity table, wherever they run; engineering estimate
WHERE = " in engine spaces"
FROM_THE_ENGINE = ("starter stud", "battery", "battery switch")  # supply nodes that lie in the engine space


@dataclass(frozen=True, slots=True)
class Carrying:
    """What a conductor of a `size` may carry, `current` [A]; `derated`: with the factor for engine spaces; `listed`:
    the table has a row for it."""

    size: ConductorSize
    current: float
    derated: bool
    listed: bool

    @property
    def amperes(self) -> str:
        """The current in words, with where it holds."""
        return f"{self.current:.4g} A{WHERE if self.derated else ''}"

    @property
    def source(self) -> str:
        """Where the figure stands."""
        if not self.listed:
            return "estimated, thinner than 33 CFR 183.425 has"
        column = CFR_COLUMNS[0]
        factor = f" times {CFR_ENGINE_SPACE[column]:g} for engine spaces" if self.derated else ""
        return f"33 CFR 183.425, Table 5, {column} degC{factor}"


def in_engine_space(values: Mapping[str, Value], path: str) -> bool:
    """Whether the conductor whose size stands at a path runs through the engine space somewhere.

    The display's harness does where it begins or ends there: at the starter stud, the start battery or its switch, or
    at the engine block; one from a panel or a house battery back to battery negative is taken to keep clear of it. The
    start wire does. An added source's wire is where the source is placed.
    """
    if path in ("feed.size", "feed.return_size"):
        return values["feed.from"].value in FROM_THE_ENGINE or values["feed.return_to"].value == "engine block"
    if path == "hold_up.size":
        return bool(values["hold_up.placed_at"].value == "engine room")
    return True


def carrying(values: Mapping[str, Value], path: str) -> Carrying | None:
    """What the conductor whose size stands at a path of the resolved values may carry.

    Parameters: values : of the boat, by dotted path; path : of the size. Returns: `Carrying`, or None where no size is
    known there.
    """
    held = values.get(path)
    if held is None or not isinstance(held.value, ConductorSize):
        return None
    hot = in_engine_space(values, path)
    found = ampacity(held.value, engine_space=hot)
    if found is None:
        return Carrying(held.value, SMALL_WIRE, False, False)
    return Carrying(held.value, found.current, hot, True)
