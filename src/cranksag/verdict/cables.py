# SPDX-License-Identifier: GPL-3.0-or-later
"""Whether the starter's cables stand the crank: its I2t against what copper in PVC takes before the insulation goes.

No ampacity is held against them: those of 33 CFR 183.425 are for lasting currents, and a starter's cable carries many
times that for seconds.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from cranksag.circuit.timing import KeyTimes
from cranksag.parts.conductors import conductor_area
from cranksag.parts.fuse import ADIABATIC_FACTORS, conductor_i2t
from cranksag.quantities import ConductorSize
from cranksag.resolve.model import Boat, Note
from cranksag.verdict.results import Traces
from cranksag.verdict.series import between, integral

__all__ = ["OVERHEATS", "CableHeat", "cable_dangers", "cable_heat"]

OVERHEATS = "starter_cable_overheats"
INSULATION = "PVC 70"  # battery cable of unknown make, 70 degC at the first START; on the safe side of XLPE


@dataclass(frozen=True, slots=True)
class CableHeat:
    """One cable of known size: its `name`, scenario `path`, `size`, the crank's `i2t` and its `limit` [A2 s]."""

    name: str
    path: str
    size: ConductorSize
    i2t: float
    limit: float

    @property
    def overheats(self) -> bool:
        """Whether the crank is more than the cable stands."""
        return self.i2t > self.limit


def cable_heat(boat: Boat, traces: Traces, times: KeyTimes) -> tuple[CableHeat, ...]:
    """The starter's cables, positive then negative, and the I2t of all attempts together.

    What leaves the copper in the rests is not counted: a cable of some 10 mm2 cools in minutes. The current is that of
    motor and hold-in coil, from the first START to the end of the run. A link given by its resistance has no size and
    is not judged.

    References
    ----------
    IEC 60364-5-54, adiabatic equation: I2t up to k2 S2, k = 115 A s^0.5/mm2 for copper in PVC from 70 to 160 degC.
    """
    begin, end = times.starts[0] - times.key_on, float(traces.time[-1])
    current = traces.signals["starter_current"] + traces.signals["hold_in_current"]
    i2t = integral(*between(traces.time, current**2, begin, end))
    found = []
    for element in (*boat.positive, *boat.negative):
        value = boat.values.get(f"{element.path}.size")
        # a written resistance stands before length and size: then no one knows how long the copper is
        if value is not None and isinstance(value.value, ConductorSize):
            area = conductor_area(value.value)
            found.append(CableHeat(element.name, element.path, value.value, i2t, conductor_i2t(area, INSULATION)))
    return tuple(found)


def cable_dangers(boat: Boat, traces: Traces, times: KeyTimes) -> Iterator[Note]:
    """A danger for each cable that the crank overheats."""
    length = sum(b - a for a, b in zip(times.starts, times.releases, strict=True))
    for cable in cable_heat(boat, traces, times):
        if cable.overheats:
            yield Note(
                OVERHEATS,
                f"{cable.size} of {cable.name!r} ({cable.path}) takes {cable.i2t:.2g} A2s in {length:.3g} s of START, "
                f"and copper in PVC stands {cable.limit:.2g} A2s: its insulation can burn; thicker cable (adiabatic "
                f"equation of IEC 60364-5-54, k = {ADIABATIC_FACTORS[INSULATION]:g}, from 70 to 160 degC; turn to the "
                "standard that applies for the binding figure)",
            )
