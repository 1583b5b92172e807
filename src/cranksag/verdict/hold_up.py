# SPDX-License-Identifier: GPL-3.0-or-later
"""What the hold-up branch itself went through: closings, energy, inrush, stresses. Keys as in the document."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from cranksag.circuit.timing import KeyTimes
from cranksag.parts.pack import COULOMB_PER_AMPERE_HOUR, MONTH, time_to_flat
from cranksag.parts.ride_through import Discharge, bank_ride_through
from cranksag.parts.supercapacitor import cell_voltage_margin
from cranksag.resolve.hold_up import OVER_CHARGE_12, OVER_CHARGE_24
from cranksag.resolve.model import Bank, Boat, ConverterAhead, HouseFeed, StandbyPack
from cranksag.verdict.display import first_runs, judged_from
from cranksag.verdict.results import Traces
from cranksag.verdict.series import between, crossings, integral, intervals_below
from cranksag.verdict.starting import CONTACT_MADE

RESTING_CONTACT_LEFT = 0.3  # [-] armature position at which the changeover's resting contact opens
CARRIES_NOTHING = 1e-2  # [A] below this a path does not carry a display
CHARGED = 0.95  # [-] of the voltage it ends up at: a bank that is ready
FLAT = 1.0 / 3.0  # [-] charge at which a standing pack counts as flat, its resistance well up; engineering estimate
SURE_OF_ONE = 1e-12  # [A] a drain below this is none

Report = dict[str, Any]


def hold_up_report(boat: Boat, traces: Traces, times: KeyTimes) -> Report:
    """Branch and its report keys; `branch` alone for the boat as it is."""
    writers: dict[type, Callable[..., Report]] = {
        StandbyPack: _standby_pack,
        Bank: _bank,
        HouseFeed: _house_feed,
        ConverterAhead: _converter,
    }
    writer = writers.get(type(boat.hold_up))
    report: Report = {"branch": boat.branch}
    return report | writer(boat, boat.hold_up, traces, times) if writer else report


def _window(boat: Boat, traces: Traces, times: KeyTimes) -> tuple[float, float]:
    return judged_from(boat, times), float(traces.time[-1])


def _part(traces: Traces, name: str, window: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    return between(traces.time, traces.signals[name], *window)


def _standby_pack(boat: Boat, hold: StandbyPack, traces: Traces, times: KeyTimes) -> Report:
    window = _window(boat, traces, times)
    report: Report = {"relay_closes_s": None, "relay_opens_s": None, "chatter_count": 0}
    if hold.relay is not None:
        position = _part(traces, "relay_position", window)
        closes = crossings(*position, CONTACT_MADE, rising=True)
        opens = crossings(*position, CONTACT_MADE, rising=False)
        report |= {
            "relay_closes_s": next((float(c) for c in closes if _in_start(float(c), times)), None),
            "relay_opens_s": float(opens[-1]) if opens.size else None,
            "chatter_count": max(len(closes) - len(times.starts), 0),
        }
    time, held = _part(traces, "hold_up_current", window)
    normal = np.interp(time, traces.time, traces.signals["normal_feed_current"])
    gaps = intervals_below(time, np.maximum(held, normal), CARRIES_NOTHING)
    t, current = _part(traces, "pack_current", window)
    energy = hold.pack.open_circuit_voltage * max(integral(t, np.maximum(current, 0.0)), 0.0)
    drain = max(float(traces.signals["pack_current"][0]), 0.0)
    drain = drain if drain > SURE_OF_ONE else 0.0
    flat = 0.0
    if hold.pack_charge > FLAT:
        full = hold.pack.capacity_ah / hold.pack_charge * COULOMB_PER_AMPERE_HOUR
        flat = time_to_flat(hold.pack_chemistry, full, hold.pack_charge, FLAT, hold.relay_ambient, drain)
    per_attempt = energy / len(times.starts)
    return report | {
        "gap_s": max((b - a for a, b in gaps), default=0.0),
        "pack_energy_j": energy,
        "attempts_to_flat": hold.pack_energy / per_attempt if per_attempt > 1e-3 else None,
        "standing_drain_a": drain,
        "months_to_flat": flat / MONTH if math.isfinite(flat) else None,
        "pack_temperature_degc": hold.relay_ambient,
    }


def _in_start(moment: float, times: KeyTimes) -> bool:
    """Whether the key is in START at a moment [s from key-on]: a closing after release helps nobody."""
    return any(a <= moment + times.key_on <= b for a, b in zip(times.starts, times.releases, strict=True))


def _bank(boat: Boat, hold: Bank, traces: Traces, times: KeyTimes) -> Report:
    start = times.starts[0] - times.key_on
    time, current = traces.time, traces.signals["bank_current"]
    before = time <= start
    inrush = np.maximum(current[before], 0.0)
    bank = traces.signals["hold_up"]
    display = traces.signals["display"]
    at_start = float(np.interp(start, time, bank))
    level = CHARGED * float(np.interp(start, time, display))
    ready = crossings(time[before], bank[before], level, rising=True)
    ready_after = 0.0 if bank[0] >= level > 0.0 else float(ready[0]) if ready.size else None
    release = times.releases[-1] - times.key_on
    back = crossings(*between(time, bank, release, float(time[-1])), at_start * CHARGED, rising=True)
    low_after = float(np.interp(release, time, bank)) < at_start * CHARGED
    report: Report = {
        "inrush_peak_a": float(inrush.max(initial=0.0)),
        "inrush_i2t_a2s": float(np.trapezoid(inrush**2, time[before])) if before.sum() > 1 else 0.0,
        "ride_through_s": _ride_through(boat, hold, traces, start),
        "ready_after_s": ready_after,
        "recharge_s": (float(back[0]) - release if back.size else None) if low_after else 0.0,
    }
    if hold.branch == "supercapacitor":
        over = OVER_CHARGE_24 if boat.nominal_voltage > 18.0 else OVER_CHARGE_12
        report["cell_voltage_margin_v"] = cell_voltage_margin(
            hold.cell_voltage, hold.cells, over, hold.worst_cell_share
        )
    return report


def _ride_through(boat: Boat, hold: Bank, traces: Traces, start: float) -> float:
    """How long the bank alone would feed the displays from START on, until the first of them browns out [s]."""
    terminals, charging = (
        float(np.interp(start, traces.time, traces.signals[name])) for name in ("hold_up", "bank_current")
    )
    ways_out = [1.0 / r for r in (hold.bank.leakage_resistance, hold.bleed) if r is not None]
    # the limiter of a charger lets nothing back; a resistor does, and without a diode it is the only way
    way = (hold.inrush_limit or 0.0) if hold.charge_current is None else math.inf
    bank = Discharge(
        hold.bank.capacitance,
        hold.bank.esr + hold.fuse_resistance,
        1.0 / sum(ways_out),
        hold.discharge_diode,
        way,
    )
    booting = [first_runs(traces, k) + d.circuit.boot_time - start for k, d in enumerate(boat.displays)]
    if boat.feed.key_terminal == "always":
        booting = []  # they have run all along
    return bank_ride_through(bank, terminals - charging * hold.bank.esr, [d.circuit for d in boat.displays], booting)


def _house_feed(boat: Boat, hold: HouseFeed, traces: Traces, times: KeyTimes) -> Report:
    time, house = _part(traces, "hold_up_current", _window(boat, traces, times))
    normal = np.interp(time, traces.time, traces.signals["normal_feed_current"])
    span = float(time[-1] - time[0])
    share = float(np.trapezoid((house > normal) * 1.0, time)) / span
    return {
        "fed_by": {"feed": 1.0 - share, "house feed": share},
        "back_feed_a": max(-float(house.min()), -float(normal.min()), 0.0),
    }


def _converter(boat: Boat, hold: ConverterAhead, traces: Traces, times: KeyTimes) -> Report:
    window = _window(boat, traces, times)
    on = _part(traces, "converter_on", window)
    return {
        "input_peak_a": float(_part(traces, "converter_current", window)[1].max()),
        "input_minimum_v": float(_part(traces, "converter_input", window)[1].min()),
        "cut_outs": len(crossings(*on, 0.5, rising=False)),
    }
