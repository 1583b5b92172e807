# SPDX-License-Identifier: GPL-3.0-or-later
"""The boat's wiring held against published limits: the displays' circuits in service, the start circuit while cranking.

Each check says how it comes out, also where all is well; what is beyond every limit is a warning besides. Published
limits disagree and none of them is known to bind the boat at hand, so the sentences send the reader to the standard.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from cranksag.circuit.timing import KeyTimes
from cranksag.parts.conductors import DROP_CRITICAL, DROP_GENERAL, temperature_factor
from cranksag.parts.joints import StartCircuitLimit, limits_for, start_circuit_limit
from cranksag.quantities import ConductorSize
from cranksag.resolve.drops import STANDARDS, CircuitDrop, display_drops
from cranksag.resolve.model import Boat, Element, Note
from cranksag.verdict.cranking import plateau
from cranksag.verdict.results import Traces, WiringCheck, WiringLimit
from cranksag.verdict.series import mean

__all__ = ["PLUS_SIDE", "RETURN_SIDES", "START_DROP", "VERDICTS", "wiring_checks", "wiring_warnings"]

START_DROP = "start_circuit_drop"
WITHIN, BETWEEN, OVER = "within all", "between", "over all"
VERDICTS = ("3 %", "10 %", "over 10 %", WITHIN, BETWEEN, OVER)
"""How a check may come out: the class of a drop, or where a start circuit stands among limits that disagree."""

PLUS_SIDE = "battery + to starter terminal"
RETURN_SIDES = ("battery - to starter -", "ground side")
DISCONNECT = "disconnect switch"
CONTACT = "solenoid switch"
CABLES = (("cable under 3 ft", 0.9144), ("cable 3 to 6 ft", 1.8288))  # [m] 3 ft and 6 ft: lengths the rows are for


def wiring_checks(boat: Boat, traces: Traces, times: KeyTimes) -> tuple[WiringCheck, ...]:
    """The displays' feed, a hold-up's wires where they have a length, and the start circuit.

    Parameters: boat, traces : the run; times : of the key. Returns: one check for each.
    """
    drops = display_drops(boat.feed, boat.displays, boat.loads, boat.hold_up, boat.nominal_voltage)
    return (*(_lasting(drop) for drop in drops), _start_circuit(boat, traces, times))


def wiring_warnings(checks: Sequence[WiringCheck]) -> Iterator[Note]:
    """A warning for a start circuit beyond every published limit; those of the displays' wiring need no run."""
    for check in checks:
        if check.code == START_DROP and check.verdict == OVER:
            yield Note(
                START_DROP,
                f"{check.message}: measure each side while someone cranks; repair what drops most, or thicker cable",
            )


def _lasting(drop: CircuitDrop) -> WiringCheck:
    kind = drop.kind
    limits = tuple(
        WiringLimit(name, kind.share, limit, "-", STANDARDS)
        for name, limit in (("3 % class", DROP_CRITICAL), ("10 % class", DROP_GENERAL))
    )
    return WiringCheck(
        drop.code, drop.circuit, drop.current, drop.drop, kind.share, None, kind.name, drop.message, limits
    )


# --- start circuit ------------------------------------------------------------------------------------------


def _start_circuit(boat: Boat, traces: Traces, times: KeyTimes) -> WiringCheck:
    """Battery + to starter stud and engine block to battery -: switch, cables and joints, no contact of the solenoid.

    The resistance is that at 20 degC, for which SAE J541 states its limits; the drop is the mean of the settled crank,
    as it is. A limit that states the current of its drop is one on the resistance; one that states none holds for the
    drop while cranking.
    """
    ohm = sum(_at_20(boat, element) for element in (*boat.positive, *boat.negative))
    tight, wide = start_circuit_limit(boat.nominal_voltage)
    whole = tuple(WiringLimit(row.part, ohm, row.resistance or 0.0, "ohm", row.source) for row in (tight, wide))
    window = plateau(traces, times)
    sides = current = total = None
    if window is not None:
        signals, time = traces.signals, traces.time
        sides = (
            mean(time, signals["battery"] - signals["starter_stud"], *window),
            mean(time, signals["block"], *window),
        )
        current, total = mean(time, signals["starter_current"], *window), sum(sides)
    limits = (*whole, *_part_limits(boat, sides, current))
    verdict = OVER if whole[1].exceeded else BETWEEN if whole[0].exceeded else WITHIN
    share = None if total is None else total / boat.nominal_voltage
    told = f"start circuit: {1e3 * ohm:.2f} mohm at 20 degC"
    if total is not None and current is not None:
        told += f", {total:.2f} V at {current:.0f} A while cranking"
    message = f"{told}: {_among(verdict, whole, boat.nominal_voltage)}{_beyond(limits[2:])}"
    return WiringCheck(START_DROP, "start circuit", current, total, share, ohm, verdict, message, limits)


def _at_20(boat: Boat, element: Element) -> float:
    """Resistance with joints, its copper at 20 degC [ohm]; a written resistance is taken as it is."""
    size = boat.values.get(f"{element.path}.size")
    of_copper = size is not None and isinstance(size.value, ConductorSize)
    hot = temperature_factor(boat.temperatures.engine_room) if of_copper else 1.0
    return element.resistance / hot + element.joints


def _part_limits(boat: Boat, sides: tuple[float, float] | None, current: float | None) -> Iterator[WiringLimit]:
    """Limits on the parts that the boat has: each side, the battery switch, cables of a known length, and the main
    contact of the solenoid, which no limit on the whole counts in."""
    nominal = boat.nominal_voltage
    plus, back = sides if sides is not None else (None, None)
    for row in limits_for(nominal, PLUS_SIDE):
        yield _held(PLUS_SIDE, plus, row)
    for part in RETURN_SIDES:
        for row in limits_for(nominal, part):
            yield _held(part, back, row)
    ohm = sum(element.resistance + element.joints for element in boat.positive)
    for element in boat.positive:
        drop = None if plus is None or not ohm > 0.0 else plus * (element.resistance + element.joints) / ohm
        for row in _rows_for(boat, element):
            yield _held(f"{element.name} ({element.path})", drop, row)
    contact = None if current is None else current * boat.solenoid.contact_resistance
    for row in limits_for(nominal, CONTACT):
        yield _held("the solenoid's main contact (starter.contact_resistance)", contact, row)


def _rows_for(boat: Boat, element: Element) -> list[StartCircuitLimit]:
    nominal = boat.nominal_voltage
    if element.is_switch:
        return limits_for(nominal, DISCONNECT)
    length, size = (boat.values.get(f"{element.path}.{name}") for name in ("length", "size"))
    if size is None or length is None or not isinstance(length.value, float):
        return []
    part = next((part for part, longest in CABLES if length.value <= longest), None)
    return [] if part is None else limits_for(nominal, part)


def _held(part: str, drop: float | None, row: StartCircuitLimit) -> WiringLimit:
    return WiringLimit(part, drop, row.drop or 0.0, "V", row.source)


def _among(verdict: str, whole: Sequence[WiringLimit], nominal: float) -> str:
    tight, wide = (f"{1e3 * limit.limit:.3g} mohm ({_short(limit)}, {limit.part})" for limit in whole)
    if verdict == WITHIN:
        return f"within the tightest published limit for {nominal:g} V, {tight}"
    where = "more than the widest of the" if verdict == OVER else "between the"
    return (
        f"{where} published limits for {nominal:g} V, which disagree: {tight} to {wide}; turn to the engine maker's "
        "figure or the standard that applies"
    )


def _short(limit: WiringLimit) -> str:
    """Title of a source without what it says there."""
    return limit.standard.partition(",")[0]


def _beyond(limits: Sequence[WiringLimit]) -> str:
    """The limits on parts that the boat's own exceed."""
    return "".join(
        f"; {limit.part} drops {limit.value:.2f} V, limit {limit.limit:g} V ({_short(limit)})"
        for limit in limits
        if limit.exceeded
    )
