# SPDX-License-Identifier: GPL-3.0-or-later
"""Conductors that a fault overloads: whether a fuse opens before the wire burns, and what to do where none does.

Fuses are taken as holding, so that a run shows the current that would flow; a conductor is in danger when that current
stays above its ampacity and no fuse that carries it protects it. A pulse that is over before the key moves on is judged
by its I2t (adiabatic equation of IEC 60364-5-54).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from cranksag.parts.conductors import conductor_area
from cranksag.parts.fuse import clearing_i2t, conductor_i2t, opening_time, protects_conductor
from cranksag.quantities import ConductorSize
from cranksag.resolve.carrying import carrying
from cranksag.resolve.model import Bank, Boat, Note
from cranksag.studies.faultedits import Fault
from cranksag.studies.faultmains import ISOLATOR, PANEL, part_names
from cranksag.studies.faultreading import Current, FaultRow, current_of, currents_of, fuse_type
from cranksag.studies.faultrun import WHEN, WORSE, Bench, Pulse, Run, heating_current, lasting_current, pulse, windows

SUSTAINED = 0.3  # [s] an overload that lasts so long is no pull-in burst (30 to 60 ms); engineering estimate
CARRIED = 0.9  # [-] fuses that carry this share of a conductor's current are in its path
OVERLOADED = "conductor_overloaded"
IN_TIME = 5.0  # [s] a fuse that opens within so long protects by I2t: the adiabatic equation holds as long
TAKES = ("hold_up_current", "converter_fuse_current")
"""Signals of fuses whose current is positive out of the display's supply; every other flows into it."""
HOT = "limiter_overheats"
LIMITER_STANDS = 10.0  # [W] a power resistor of common size, in free air and for long; engineering estimate
SIZES = {
    "display feed conductor": "feed.size",
    "display return conductor": "feed.return_size",
    "start wire": "start_circuit.size",
    "start circuit's supply wire": "start_circuit.size",
    "hold-up conductor": "hold_up.size",
    PANEL: "panel.size",
}
"""Scenario field with the size of each watched conductor; a relay's coil wire has none."""


@dataclass(frozen=True, slots=True)
class Guard:
    """What fuses do about an overloaded conductor: the `fuse` that opens before it burns and after how long at most
    [s], or else the `cure`."""

    fuse: str = ""
    within: float = 0.0
    cure: str = ""


def conductor_dangers(
    bench: Bench, run: Run, fault: Fault, sound: FaultRow | None, charging: Run | None = None
) -> list[Note]:
    """Conductors whose sustained current no fuse cuts off in time, each with the key where it carries most of that; in
    the run of the fault, or while an empty bank is `charging`."""
    found = _conductor_dangers(bench, run, fault, sound)
    if charging is not None:
        told = {note.element for note in found}
        found += [n for n in _conductor_dangers(bench, charging, fault, sound) if n.element not in told]
    return [Note(OVERLOADED, f.message) for f in found]


@dataclass(frozen=True, slots=True)
class _Found:
    element: str
    message: str


def _conductor_dangers(bench: Bench, run: Run, fault: Fault, sound: FaultRow | None) -> list[_Found]:
    usual = by_design(bench, run, sound)
    notes = []
    for element, (signal, limit) in bench.limits.items():
        if element.endswith("fuse") or limit is None:
            continue
        least = max(limit, WORSE * usual[element] if sound is not None else 0.0)
        for key, current in sorted(_sustained(bench, run, element).items(), key=lambda pair: -pair[1]):
            if current <= least or stands(bench, element, pulse(run, run.traces.signals[signal], limit, key)):
                continue
            found = guard(bench, run, fault, element, current, limit, key, usual=usual)
            if found.cure:
                text = f"{amperes(current, limit)} {WHEN[key]} through the {element}, which carries "
                text += carries(bench, element, limit)
                notes.append(_Found(element, f"{text}: {found.cure}"))
                break
    return notes


def by_design(bench: Bench, run: Run, sound: FaultRow | None) -> dict[str, float]:
    """What each watched element carries on the sound boat [A], whose own run this is where there is no row of it."""
    currents = sound.currents if sound is not None else currents_of(bench, run)
    return dict.fromkeys(bench.limits, 0.0) | {c.element: c.current for c in currents}


def _smaller(fuse: str, element: str, limit: float, usual: Mapping[str, float]) -> str:
    """The fuse that guards a conductor, none of it below what the circuit draws through its place by design."""
    if usual.get(fuse, 0.0) <= limit:
        return f"fit one of at most {limit:g} A"
    need = f"it carries {usual[fuse]:.0f} A by design"
    if element == "display return conductor":  # nobody fuses a return
        return f"{need}, so keep it and fit thicker wire"
    if usual.get(element, 0.0) > limit:
        return f"{need}, so fit thicker wire and a fuse that suits both"
    return f"{need}, so keep it and fuse that wire separately at its tap, {limit:g} A at most"


def limiter_dangers(bench: Bench, run: Run, fault: Fault, currents: list[Current]) -> list[Note]:
    """An inrush limiter that a failed bank keeps at work in RUN, where no fuse opens soon: it is made for a pulse."""
    hold = bench.boat.hold_up
    limited = isinstance(hold, Bank) and (hold.inrush_limit is not None or hold.charge_current is not None)
    if not isinstance(hold, Bank) or not limited or run.phases < 2 or fault.part == "inrush limiter":
        return []
    volts = lasting_current(run, run.traces.signals["limiter"], "run")
    heat = volts**2 / hold.inrush_limit if hold.inrush_limit else math.inf
    if hold.charge_current is not None:
        heat = min(heat, volts * hold.charge_current)
    opens = min((c.opens[1] for c in currents if c.key == "run"), default=math.inf)
    if heat <= LIMITER_STANDS or opens <= IN_TIME:
        return []
    text = f"the inrush limiter turns {heat:.0f} W into heat for as long as the key is in RUN"
    return [Note(HOT, f"{text}: no fuse ends that soon; fit a limiter with a thermal cut-out, away from what burns")]


def amperes(current: float, limit: float) -> str:
    """A current as people read it: with a tenth where it is small, or close to its limit [A]."""
    return f"{current:.1f} A" if current < 10.0 or current < 1.2 * limit else f"{current:.0f} A"


def stands(bench: Bench, element: str, over: Pulse | None) -> bool:
    """Whether a conductor of known size stands a pulse that is over."""
    area = _area(bench, element)
    return over is not None and area is not None and over.i2t <= conductor_i2t(area)


def carries(bench: Bench, element: str, limit: float) -> str:
    """What a watched conductor carries [A] in words, with where that holds."""
    found = carrying(bench.boat.values, SIZES.get(element, ""))
    return f"{limit:g} A" if found is None else found.amperes


def _area(bench: Bench, element: str) -> float | None:
    value = bench.boat.values.get(SIZES.get(element, ""))
    if value is None or not isinstance(value.value, ConductorSize):
        return None
    return conductor_area(value.value)


def _sustained(bench: Bench, run: Run, element: str) -> dict[str, float]:
    """Highest rms current of an element over `SUSTAINED` in each position of the key [A]."""
    values = run.traces.signals[bench.limits[element][0]]
    return {key: heating_current(run, values, begin, end, length=SUSTAINED) for key, begin, end in windows(run)}


def _together(bench: Bench, run: Run, fuses: list[str], key: str) -> float:
    """Highest rms over `SUSTAINED` of what fuses carry together [A].

    What flows into the display's supply by one fuse and out of it by another is one current and counts once.
    """
    into = np.zeros((1, run.traces.time.size))
    if fuses:
        signals = [bench.limits[fuse][0] for fuse in fuses]
        into = np.stack([(-1.0 if s in TAKES else 1.0) * run.traces.signals[s] for s in signals])
    total = np.maximum(np.maximum(into, 0.0).sum(axis=0), np.maximum(-into, 0.0).sum(axis=0))
    begin, end = next((a, b) for name, a, b in windows(run) if name == key)
    return heating_current(run, total, begin, end, length=SUSTAINED)


def guard(
    bench: Bench,
    run: Run,
    fault: Fault,
    element: str,
    current: float,
    limit: float,
    key: str,
    currents: Sequence[Current] = (),
    usual: Mapping[str, float] = MappingProxyType({}),
) -> Guard:
    """What the fuses in the path of an overloaded conductor do.

    They count together: those that open in time are taken away, and what the others leave must be within the ampacity.
    Where they carry more than the conductor, some of that goes elsewhere, and all that is left is taken to be in it.
    A fuse opens as in the row's `currents` where it is judged with the same `key` there. `usual`: see `by_design`.
    """
    fuses = {e: r for e, (_, r) in bench.limits.items() if e.endswith("fuse") and r is not None and _on(bench, element)}
    own = {e: r for e, r in fuses.items() if bench.limits[e][0] == bench.limits[element][0]}
    fuses = own or fuses
    carried = {e: _sustained(bench, run, e)[key] for e in fuses}
    total = _together(bench, run, list(fuses), key)

    def left_by(opened: list[str]) -> float:
        return max(current - total, 0.0) + min(current, max(total - _together(bench, run, opened, key), 0.0))

    if total >= CARRIED * current:
        cures = {e: _too_large(bench, e, fuses[e], element, carried[e], limit, usual) for e in fuses}
        opening = [e for e in fuses if not cures[e] and carried[e] > fuses[e]]
        left = left_by(opening)
        if opening and left <= limit:
            row = {c.element: c for c in currents if c.key == key}
            times = {e: row[e].opens[1] if e in row else current_of(bench, run, e, key).opens[1] for e in opening}
            opening.sort(key=lambda e: times[e])
            enough = (k for k in range(1, len(opening)) if left_by(opening[:k]) <= limit)
            last = opening[next(enough, len(opening)) - 1]
            return Guard(last, times[last])
        if any(cures.values()):
            return Guard(cure=cures[max((e for e in fuses if cures[e]), key=lambda e: carried[e])])
        if left <= limit / CARRIED:
            return Guard()
        return Guard(cure=f"its fuses together pass {left:.0f} A; fit thicker wire or smaller fuses")
    if element == "display return conductor":
        if fault.part in _straps(bench.boat):
            return Guard(
                cure="it returns the engine's current and no fuse can guard a return; fit a second ground strap from "
                "the engine block to battery negative"
            )
        return Guard(cure="no fuse guards it; fit one at the source that feeds the fault")
    if element in ISOLATOR.values():
        return Guard(cure=f"no fuse opens; fuse the wire from the isolator to each bank, {limit:g} A at most")
    if usual.get(element, 0.0) > limit:
        return Guard(cure="no fuse opens; fit thicker wire and a fuse at its source that suits it")
    return Guard(cure=f"no fuse opens; fit one of at most {limit:g} A at its source")


def _straps(boat: Boat) -> set[str]:
    names = part_names(boat)
    return {names[strap.path] for strap in boat.negative}


def _on(bench: Bench, element: str) -> bool:
    """Whether a watched fuse can lie in the path of a conductor: none does in a start circuit with its own supply."""
    start = element.startswith("start") or element == "hold-up relay's coil wire"
    return bench.boat.start.shares_feed or not start


def _too_large(
    bench: Bench, fuse: str, rating: float, element: str, current: float, limit: float, usual: Mapping[str, float]
) -> str:
    """Why a fuse does not protect a conductor at a current, and what to fit; empty where it does."""
    area, kind = _area(bench, element), fuse_type(bench.boat, fuse)
    if current > kind.interrupt:
        return f"{current:.0f} A is more than the {fuse} can break ({kind.interrupt:g} A); fit one that can"
    if rating <= limit:
        return ""
    smaller = _smaller(fuse, element, limit, usual)
    within = opening_time(kind, rating, current)[1]
    if area is None or not protects_conductor(kind, rating, area, limit, current):
        return f"the {fuse} of {rating:g} A is too large; {smaller}"
    late = within > IN_TIME or clearing_i2t(kind, rating, current) > conductor_i2t(area)
    why = "may open too late for it" if late else "opens in time here, but guards no smaller overload"
    return f"the {fuse} of {rating:g} A {why}; {smaller}{'' if 'thicker' in smaller else ' or thicker wire'}"
