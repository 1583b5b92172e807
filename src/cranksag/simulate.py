# SPDX-License-Identifier: GPL-3.0-or-later
"""Scenario to result: the one function that everything above the solver calls."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np

from cranksag.catalogue import Catalogue
from cranksag.circuit import build_circuit
from cranksag.errors import InputError, SimulationError
from cranksag.resolve import Boat, resolve
from cranksag.resolve.specimen import temperature_law_band, with_friction, with_motor_resistance, with_temperature_law
from cranksag.scenario import Scenario, field_doc
from cranksag.solver import LADDER, Settings, get_solver
from cranksag.verdict import judge
from cranksag.verdict.results import Estimate, Result

__all__ = ["simulate", "simulate_boat", "with_band"]

Ladder = tuple[Settings, ...]

# a minimum within this time of START [s] is the inrush dip: the band's runs then stop soon after it [s]
BAND_EARLY, BAND_HELD, BAND_AFTER = 0.3, 0.5, 0.05


def simulate(
    scenario: Scenario, catalogue: Catalogue | None = None, ladder: Ladder = LADDER, *, band: bool = False
) -> Result:
    """Crank one boat.

    Parameters
    ----------
    scenario : what the user wrote
    catalogue : parts it names; the shipped ones by default
    ladder : groups of solver settings, tried in order
    band : also estimate the band on the minimum from what was not written (one more run per such field and side)

    Returns
    -------
    Result

    Raises
    ------
    InputError
        The scenario contradicts itself.
    SimulationError
        No answer worth trusting; a subclass says which way it failed.
    """
    result = simulate_boat(resolve(scenario, catalogue), ladder)
    return with_band(result, scenario, catalogue, ladder) if band else result


def simulate_boat(boat: Boat, ladder: Ladder = LADDER) -> Result:
    """Crank a boat that is resolved already."""
    circuit = build_circuit(boat)
    solver = get_solver()
    waveforms = solver.run(circuit.deck, ladder)
    return judge(boat, circuit, waveforms, solver.info())


@dataclass(frozen=True, slots=True)
class Doubt:
    """How far a value that was not written may be off, as factors; engineering estimates unless the note says else."""

    path: str
    low: float
    high: float
    note: str


DOUBTS = (
    Doubt("battery.rating", 0.75, 1.25, "the size of an unknown start battery"),
    Doubt("battery.state_of_charge", 0.75, 1.0 / 0.9, "a battery that was charged some days ago"),
    Doubt("battery.health", 0.7, 1.0, "a battery of unknown age"),
    Doubt("starter.power", 0.75, 1.3, "the size of an unknown starter"),
    Doubt("engine.displacement", 0.7, 1.4, "the size of an unknown engine"),
    Doubt("feed.length", 0.6, 1.5, "an unmeasured harness"),
    Doubt("feed.joints", 0.4, 2.5, "unmeasured joints"),
    Doubt("feed.return_joints", 0.4, 2.5, "unmeasured joints"),
    Doubt("displays.0.power", 0.7, 1.4, "an unmeasured display"),
    Doubt("hold_up.pack_resistance", 0.6, 1.8, "a pack of unknown make"),
    Doubt("hold_up.capacitance", 0.8, 1.2, "the usual tolerance of a bank"),
    Doubt("hold_up.esr", 0.5, 2.0, "data-sheet law, not a measurement"),
)
"""Scenario fields whose default or estimate moves the minimum."""

MACHINE_DOUBT = (0.8, 1.25)  # [-] starter resistance scaled from its rating: spread of the published machines
FRICTION_DOUBT = (0.7, 1.4)  # [-] cranking friction from displacement and oil; engineering estimate


def with_band(result: Result, scenario: Scenario, catalogue: Catalogue | None, ladder: Ladder) -> Result:
    """The result with its band: each doubtful value moved alone, the shifts added as independent errors."""
    middle = result.display.minimum_voltage
    crank = result.boat.crank
    early = result.display.minimum_at < crank.key_on_before + BAND_EARLY
    shorter = dataclasses.replace(
        crank, key_held=min(crank.key_held, BAND_HELD), attempts=1, after=min(crank.after, BAND_AFTER)
    )

    def lowest(boat: Boat) -> float:
        looked_at = dataclasses.replace(boat, crank=shorter) if early else boat
        return simulate_boat(looked_at, ladder).display.minimum_voltage

    base = lowest(result.boat) if early else middle
    down = up = highest = 0.0
    fields = []
    for name, boats in _variations(result.boat, scenario, catalogue):
        shifts = [0.0]
        for make in boats:
            try:
                shifts.append(lowest(make()) - base)
            except (SimulationError, InputError):
                continue
        if max(abs(s) for s in shifts) > 1e-3:
            fields.append(name)
        down += min(shifts) ** 2
        up += max(shifts) ** 2
        highest = max(highest, *shifts)
    # Two changes that each end a converter's cut-out or a reset do not lift the supply twice: it stays below rest.
    top = max(middle + highest, _at_rest(result))
    estimate = Estimate(middle - math.sqrt(down), min(middle + math.sqrt(up), top), tuple(fields))
    return dataclasses.replace(result, estimate=estimate)


def _at_rest(result: Result) -> float:
    """Voltage [V] at the display's pins just before START, above which no minimum lies."""
    traces = result.traces
    return float(np.interp(result.boat.crank.key_on_before, traces.time, traces.signals["display"]))


def _variations(
    boat: Boat, scenario: Scenario, catalogue: Catalogue | None
) -> Iterator[tuple[str, list[Callable[[], Boat]]]]:
    values = boat.values
    low, high = temperature_law_band(boat)
    if high > low:
        yield "battery temperature law", [partial(with_temperature_law, boat, f) for f in (low, high)]
    if "starter.characteristic" in values and values["starter.resistance"].origin != "written":
        yield "starter characteristic", [partial(with_motor_resistance, boat, f) for f in MACHINE_DOUBT]
    if values["engine.friction_factor"].origin != "written":
        yield "engine.friction_factor", [partial(with_friction, boat, f) for f in FRICTION_DOUBT]
    for doubt in DOUBTS:
        value = values.get(doubt.path)
        known = ("written",) if doubt.path.startswith("hold_up.") else ("written", "catalogue")
        if value is None or value.origin in known or not isinstance(value.value, float):
            continue
        texts = [_si_text(doubt.path, value.value * f) for f in (doubt.low, doubt.high)]
        yield doubt.path, [partial(_overridden, scenario, catalogue, {doubt.path: t}) for t in texts]


def _overridden(scenario: Scenario, catalogue: Catalogue | None, overrides: dict[str, str]) -> Boat:
    return resolve(scenario.with_overrides(overrides), catalogue)


def _si_text(path: str, value: float) -> str:
    dimension = field_doc(path).dimension
    if dimension is None:
        return repr(value)
    return f"{100.0 * value!r} %" if dimension.name == "share" else f"{value!r} {dimension.si}"
