# SPDX-License-Identifier: GPL-3.0-or-later
"""Conductors that a fault overloads: whether a fuse opens before the wire burns, and what to do where none does.

Fuses are taken as holding, so that a run shows the current that would flow; a conductor is in danger when that current
stays above its ampacity and no fuse that carries it protects it.
"""

from __future__ import annotations

from cranksag.parts.conductors import conductor_area
from cranksag.parts.fuse import protects_conductor
from cranksag.quantities import ConductorSize
from cranksag.resolve.model import Note
from cranksag.studies.faultlist import Fault
from cranksag.studies.faultreading import FaultRow, fuse_type
from cranksag.studies.faultrun import WHEN, WORSE, Bench, Run, heating_current, windows

SUSTAINED = 0.3  # [s] an overload that lasts so long is no pull-in burst (30 to 60 ms); engineering estimate
CARRIED = 0.9  # [-] fuses that carry this share of a conductor's current are in its path
OVERLOADED = "conductor_overloaded"
SIZES = {
    "display feed conductor": "feed.size",
    "display return conductor": "feed.return_size",
    "start wire": "start_circuit.size",
    "start circuit's supply wire": "start_circuit.size",
    "hold-up conductor": "hold_up.size",
}
"""Scenario field with the size of each watched conductor; a relay's coil wire has none."""


def conductor_dangers(bench: Bench, run: Run, fault: Fault, sound: FaultRow | None) -> list[Note]:
    """Conductors whose sustained current no fuse cuts off in time, each with the key where it carries most of that."""
    usual = {c.element: c.current for c in sound.currents} if sound is not None else {}
    notes = []
    for element, (_, limit) in bench.limits.items():
        if element.endswith("fuse") or limit is None:
            continue
        least = max(limit, WORSE * usual.get(element, 0.0))
        for key, current in sorted(_sustained(bench, run, element).items(), key=lambda pair: -pair[1]):
            cure = _cure(bench, run, fault, element, current, limit, key) if current > least else ""
            if cure:
                text = f"{current:.0f} A {WHEN[key]} through the {element}, which carries {limit:g} A"
                notes.append(Note(OVERLOADED, f"{text}: {cure}"))
                break
    return notes


def _sustained(bench: Bench, run: Run, element: str) -> dict[str, float]:
    """Highest rms current of an element over `SUSTAINED` in each position of the key [A]."""
    values = run.traces.signals[bench.limits[element][0]]
    return {key: heating_current(run, values, begin, end, length=SUSTAINED) for key, begin, end in windows(run)}


def _cure(bench: Bench, run: Run, fault: Fault, element: str, current: float, limit: float, key: str) -> str:
    """What to do about a conductor that its fuses leave unprotected; empty where they protect it."""
    fuses = {e: r for e, (_, r) in bench.limits.items() if e.endswith("fuse") and r is not None}
    carried = {e: _sustained(bench, run, e)[key] for e in fuses}
    if sum(carried.values()) >= CARRIED * current:
        worst = max(carried, key=lambda e: carried[e])
        return _too_large(bench, worst, fuses[worst], element, carried[worst], limit)
    if element == "display return conductor":
        if fault.part in {strap.name for strap in bench.boat.negative}:
            return (
                "it returns the engine's current and no fuse can guard a return; fit a second ground strap from the "
                "engine block to battery negative"
            )
        return "no fuse guards it; fit one at the source that feeds the fault"
    return f"no fuse opens; fit one of at most {limit:g} A at its source"


def _too_large(bench: Bench, fuse: str, rating: float, element: str, current: float, limit: float) -> str:
    value = bench.boat.values.get(SIZES.get(element, ""))
    if rating <= limit or value is None or not isinstance(value.value, ConductorSize):
        return "" if rating <= limit else f"the {fuse} of {rating:g} A is too large; fit one of at most {limit:g} A"
    reasons = protects_conductor(fuse_type(bench.boat, fuse), rating, conductor_area(value.value), limit, current)
    if not reasons:
        return ""
    return f"the {fuse} of {rating:g} A does not protect it; fit one of at most {limit:g} A or thicker wire"
