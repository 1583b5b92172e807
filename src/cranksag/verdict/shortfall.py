# SPDX-License-Identifier: GPL-3.0-or-later
"""What a fitted hold-up lacks, in words, from its own report, and what would charge a bank in time."""

from __future__ import annotations

import math
from collections.abc import Iterator

from cranksag.parts.charging import time_to_ready
from cranksag.quantities import RESISTANCE, format_quantity
from cranksag.resolve.model import Bank, Boat, ConverterAhead
from cranksag.verdict.display import first_runs
from cranksag.verdict.hold_up import CHARGED
from cranksag.verdict.results import Result

OWN_START = 0.01  # [s] from supply to running, of which 5 ms above its restart voltage; before the relay has closed
TAKES = 0.2  # [V] drop of a series diode worth naming; engineering estimate


def late(result: Result) -> tuple[str, ...]:
    """Displays that first run after START, as behind a converter with the key turned through: no crank has met them
    running from its beginning. One that is fed as the key turns runs within `OWN_START` and counts as in time."""
    start = result.boat.crank.key_on_before + OWN_START
    return tuple(d.name for k, d in enumerate(result.displays) if first_runs(result.traces, k) > start)


def uncharged(result: Result) -> bool:
    """Whether a bank was not charged when the key went to START."""
    if "ready_after_s" not in result.hold_up:
        return False
    ready = result.hold_up["ready_after_s"]
    return ready is None or bool(ready > result.boat.crank.key_on_before)


def shortfalls(result: Result) -> Iterator[str]:
    """What the hold-up lacks, the cause first; nothing where its report says nothing."""
    report, boat = result.hold_up, result.boat
    crank, holds = boat.crank, result.display.holds
    if uncharged(result):
        yield f"the bank is not charged yet at START, {crank.key_on_before:.3g} s after key-on{_needs(boat)}"
    if "ready_after_s" in report:
        if not holds and not uncharged(result) and report["ride_through_s"] < crank.key_held:
            yield f"it carries the display for {report['ride_through_s']:.3g} s of {crank.key_held:.3g} s"
        recharge = report["recharge_s"]
        if crank.attempts > 1 and (recharge is None or recharge > crank.rest):
            yield f"it does not recharge within {crank.rest:.3g} s of rest"
    if "relay_closes_s" in report:
        if report["relay_closes_s"] is None and getattr(boat.hold_up, "relay", None) is not None:
            yield "the hold-up relay never closes"
        if report.get("chatter_count"):
            yield "the hold-up relay drops out and closes again"
    if report.get("cut_outs") and isinstance(boat.hold_up, ConverterAhead):
        unit = boat.hold_up.converter
        again = f"{unit.restart_delay:.3g} s after that is back at {unit.cut_in:.3g} V"
        yield f"the converter cuts out below {unit.cut_out:.3g} V at its input and starts again {again}"
    if not holds:
        yield from _series_diode(result)


def _series_diode(result: Result) -> Iterator[str]:
    """A feed diode that costs the normal feed volts while the hold-up does not take over."""
    for line in result.demand_budget:
        if line.element == "feed diode" and not line.blocking and line.drop > TAKES:
            yield f"its feed diode takes {line.drop:.2f} V from the normal feed"


def _needs(boat: Boat) -> str:
    """How long the boat's bank takes to charge, if it ever does."""
    hold = boat.hold_up
    needed = _ready(boat, hold, hold.inrush_limit or 0.0) if isinstance(hold, Bank) else math.inf
    return f" (it needs about {math.ceil(needed)} s)" if boat.crank.key_on_before < needed < math.inf else ""


def charging_advice(boat: Boat) -> str:
    """What charges the boat's bank before START, with figures; "" where there is no bank."""
    hold = boat.hold_up
    if not isinstance(hold, Bank):
        return ""
    wait = max(boat.crank.key_on_before, 1e-3)
    needed = _ready(boat, hold, hold.inrush_limit or 0.0)
    ways = []
    if hold.charge_current is not None:
        ways.append("raise hold_up.charge_current and lower hold_up.inrush_limit, as far as the feed's fuse carries it")
    elif hold.inrush_limit and (limit := _limit_for(boat, hold, wait)) is not None:
        told = format_quantity(limit, RESISTANCE, digits=2)
        ways.append(f"lower hold_up.inrush_limit (about {told} charges it in that time)")
    if math.isfinite(needed):
        ways.append(f"leave the key on for about {math.ceil(needed)} s before START (crank.key_on_before)")
    ways.append("take less hold_up.capacitance")
    return "; or ".join(ways)


def _ready(boat: Boat, hold: Bank, limit: float) -> float:
    """Time from key-on in which the bank charges through a limiter of that resistance [s]."""
    bank = hold.bank
    leak = 1.0 / (1.0 / bank.leakage_resistance + (1.0 / hold.bleed if hold.bleed else 0.0))
    path = max(limit + bank.esr + hold.fuse_resistance, 1e-3)
    current = hold.charge_current if hold.charge_current is not None else math.inf
    return time_to_ready(boat.nominal_voltage, bank.capacitance, path, leak, current, CHARGED)


def _limit_for(boat: Boat, hold: Bank, wait: float) -> float | None:
    """Largest inrush limiter through which the bank charges within a time [ohm], by bisection; None if none does."""
    low, high = 0.0, hold.inrush_limit or 0.0
    if _ready(boat, hold, low) > wait:
        return None
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if _ready(boat, hold, middle) <= wait else (low, middle)
    return low if low > 0.01 else None
