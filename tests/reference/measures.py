# SPDX-License-Identifier: GPL-3.0-or-later
"""Measures that a 2 % error of one parameter moves well clear of the agreement between netlist and reference.

Each row: subcircuit, instance, parameter, case, measure, tolerance. Without an error the two sides agree within the
tolerance; with it they must not.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from cranksag.circuit import build_circuit
from cranksag.parts.coil import Suppression
from cranksag.resolve.model import Boat, Load, StandbyPack
from cranksag.scenario import TimeMark
from cranksag.solver import get_solver
from cranksag.verdict import read_traces
from tests.reference.cases import boat_of
from tests.reference.network import Array

Signals = Mapping[str, Array]


@dataclass(frozen=True, slots=True)
class Row:
    """`measure`: (signal, begin, end) for a mean, (signal, level) for the moment a level is first passed after START;
    with "span" the time [s] from the first level to the second."""

    part: str
    instance: str
    parameter: str
    case: str
    measure: tuple[str, float, float] | tuple[str, float] | tuple[str, float, float, str]
    tolerance: float


ROWS = (
    Row("battery", "battery", "r0", "none", ("battery", 0.5, 1.0), 0.010),
    Row("battery", "battery", "va", "none", ("battery", 0.5, 1.0), 0.002),
    Row("battery", "battery", "ia", "none", ("battery", 0.5, 1.0), 0.002),
    Row("battery", "battery", "cf", "none", ("battery", 0.445, 0.465), 0.0018),
    Row("cable", "pos0", "r", "none", ("starter_stud", 0.5, 1.0), 0.0013),
    Row("joint", "pos1", "r", "none", ("starter_stud", 0.5, 1.0), 0.0013),
    Row("wire", "feed", "r", "none", ("display", 0.5, 1.0), 0.0013),
    Row("relay", "startrelay", "top", "none", ("start_relay", 0.625), 40e-6),
    Row("relay", "relay", "rc", "standby pack", ("relay_coil_current", 0.5, 1.0), 5e-4),
    Row("armature", "solenoid", "top", "none", ("main_contact", 0.60), 2e-4),
    Row("contact_main", "solenoid", "rk", "none", ("contact_drop", 0.5, 1.0), 4e-4),
    Row("solenoid", "solenoid", "rpi", "none", ("pull_in_current", 0.42, 0.435), 0.1),
    Row("starter", "starter", "k1", "none", ("starter_current", 0.5, 1.0), 2.0),
    Row("engine", "engine", "tc", "none", ("crank_angle", 0.9, 1.0), 0.015),
    Row("alternator", "alternator", "vch", "charging", ("starter_stud", 2.0, 2.4), 0.007),
    Row("load_current", "load0", "amount", "loads", ("return_current", 0.5, 1.0), 5e-3),
    Row("load_power", "load1", "amount", "loads", ("return_current", 0.5, 1.0), 5e-3),
    Row("load_resistance", "load2", "amount", "loads", ("return_current", 0.5, 1.0), 5e-3),
    Row("display", "display0", "pboot", "house feed", ("return_current", 0.5, 1.0), 5e-3),
    Row("display", "display0", "tbo", "slow reset", ("display_0_runs", 0.5), 1.5e-4),
    Row("pack", "pack", "voc", "standby pack", ("display", 0.6, 1.0), 0.02),
    Row("diode", "packdiode", "n", "standby pack", ("display", 0.6, 1.0), 1e-3),
    Row("capacitor", "bank", "c", "reservoir", ("display", 1.0, 1.2), 0.005),
    Row("limiter", "limit", "imax", "supercapacitor", ("bank_current", 0.1, 0.5), 0.01),
    Row("converter", "converter", "eta", "converter 12 V, up/down", ("return_current", 0.55, 1.0), 5e-3),
    Row("suppress_resistor", "suppress", "r", "resistor", ("relay_coil_current", 0.06, 0.005, "span"), 5e-6),
    Row("suppress_zener", "suppress", "vz", "zener", ("relay_coil_current", 0.06, 0.005, "span"), 1e-5),
)


def boat_for(case: str) -> Boat:
    """A case of `cases`, or one more made from them."""
    if case == "loads":
        window = TimeMark("key on"), TimeMark("end")
        rows = (("current", 1.0), ("power", 15.0), ("resistance", 10.0))
        loads = tuple(Load(k, f"loads.{i}", "feed", "display return", k, v, *window) for i, (k, v) in enumerate(rows))  # type: ignore[arg-type]
        return dataclasses.replace(boat_of("none"), loads=loads)
    if case == "charging":
        return boat_of("none", alternator__rating="300 A", crank__after="1.2 s")
    if case == "slow reset":
        return boat_of("none", displays__0__reset_after="20 ms")
    if case in ("resistor", "zener"):
        boat = boat_of("standby pack")
        assert isinstance(boat.hold_up, StandbyPack)
        assert boat.hold_up.relay is not None
        choice = Suppression(case, zener_voltage=24.0, resistance=680.0)  # type: ignore[arg-type]
        relay = dataclasses.replace(boat.hold_up.relay, suppression=choice)
        return dataclasses.replace(boat, hold_up=dataclasses.replace(boat.hold_up, relay=relay))
    return boat_of(case)


def netlist_signals(boat: Boat, instance: str = "", parameter: str = "", factor: float = 1.0) -> tuple[Array, Signals]:
    """Waveforms of the boat's deck with one parameter of one instance multiplied by `factor`."""
    circuit = build_circuit(boat)
    deck = circuit.deck
    if instance:
        pattern = re.compile(rf"^(X{instance} .*\b{parameter}=)(\S+)", re.MULTILINE)
        text, count = pattern.subn(lambda m: f"{m[1]}{float(m[2]) * factor!r}", deck.text)
        if count != 1:
            raise ValueError(f"the deck has {count} times {parameter} of {instance}")
        deck = dataclasses.replace(deck, text=text)
    traces = read_traces(circuit, get_solver().run(deck))
    return traces.time, traces.signals


def measured(row: Row, time: Array, signals: Signals, start: float) -> float:
    """The row's measure of one run."""
    name = row.measure[0]
    values = signals["starter_stud"] - signals["motor_stud"] if name == "contact_drop" else signals[name]
    if len(row.measure) == 3:
        _, begin, end = row.measure
        axis = np.concatenate(([begin], time[(time > begin) & (time < end)], [end]))
        return float(np.trapezoid(np.interp(axis, time, values), axis) / (end - begin))
    # a coil's decay is looked for after release, everything else after START
    begin = start + 0.8 if name == "relay_coil_current" else start
    if len(row.measure) == 4:
        return _passed(time, values, row.measure[2], begin) - _passed(time, values, row.measure[1], begin)
    return _passed(time, values, row.measure[1], begin)


def _passed(time: Array, values: Array, level: float, begin: float) -> float:
    """When `values` first pass `level` after `begin` [s]."""
    after = np.flatnonzero((time[:-1] >= begin - 1e-9) & ((values[:-1] > level) != (values[1:] > level)))
    k = int(after[0])
    if values[k + 1] == values[k]:
        return float(time[k])
    return float(time[k] + (level - values[k]) / (values[k + 1] - values[k]) * (time[k + 1] - time[k]))
