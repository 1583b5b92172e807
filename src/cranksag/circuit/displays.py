# SPDX-License-Identifier: GPL-3.0-or-later
"""The displays as lines of the deck and in the network at rest, with their sense pins."""

from __future__ import annotations

import dataclasses

from cranksag.circuit.boat import CONVERTER_HEADROOM, diode_at_rest, diode_values, node_of
from cranksag.circuit.network import Builder
from cranksag.errors import InputError
from cranksag.resolve.model import Boat, ConverterAhead

SENSE_RESISTANCE = 10e3  # [ohm] pull-down of a sense pin: leakage of a diode does not wake it; engineering estimate
PIN_FILTER = (
    1e-6  # [F] before a display's input diode; engineering estimate, and a state for the solver between two diodes
)


def add_displays(build: Builder, boat: Boat, fed: bool, on: tuple[bool, ...], volts: dict[str, float]) -> None:
    """The displays at the pins, `fed` at the start or not; `on`: those that run then; `volts` at rest [V]."""
    pins = volts.get("ds", 0.0) - volts.get("dr", 0.0) if fed else 0.0
    for k, display in enumerate(boat.displays):
        circuit, runs = display.circuit, 1.0 if on[k] else 0.0
        values = {
            "pw": circuit.power,
            "pboot": circuit.boot_power,
            "preset": circuit.reset_power,
            "vmin": circuit.converter_minimum,
            "vbo": circuit.brownout,
            "tbo": circuit.reset_after,
            "vre": circuit.restarts_above,
            "tboot": circuit.boot_time,
            "cin": circuit.input_capacitance,
            "at": 1.0 if circuit.at == "pins" else 0.0,
            "on0": runs,
            "bt0": 1.01 * runs,
            "v0": volts.get(f"xdisplay{k}.di", pins) - volts.get("dr", 0.0) if fed and circuit.diode else pins,
        }
        if circuit.diode is not None:
            diode = diode_values(circuit.diode)
            values |= {"dis": diode["is"], "dn": diode["n"], "drs": diode["rs"], "dsh": 1e6}
            values |= {"cpin": PIN_FILTER, "vp0": pins}
        blocked = "0"
        if circuit.sense_threshold is not None:
            blocked = f"xs{k}"
            nodes = (node_of(boat, display.sense_node), "dr", blocked, "one")
            pin = {"vsen": circuit.sense_threshold, "rin": SENSE_RESISTANCE}
            pin["vs0"] = volts.get(nodes[0], 0.0) - volts.get("dr", 0.0)
            build.instance("displays", f"sense{k}", nodes, "sense", **pin)
        build.instance(
            "displays",
            f"display{k}",
            ("ds", "dr", blocked, f"on{k}", "pace", "one"),
            "display",
            **values,
        )


def senses_at_rest(build: Builder, boat: Boat) -> None:
    """What pulls the displays' sense pins down, in the network at rest."""
    for k, display in enumerate(boat.displays):
        if display.circuit.sense_threshold is not None:
            build.at_rest("r", f"sense {k}", node_of(boat, display.sense_node), "dr", SENSE_RESISTANCE)


def senses(boat: Boat, volts: dict[str, float]) -> tuple[bool, ...]:
    """Whether each display's sense pin lets it run at `volts` [V] of the network at rest."""
    return tuple(
        d.circuit.sense_threshold is None
        or volts.get(node_of(boat, d.sense_node), 0.0) - volts["dr"] > d.circuit.sense_threshold
        for d in boat.displays
    )


def asleep(boat: Boat, on: tuple[bool, ...]) -> Boat:
    """The boat with the power of every display that is not on as it is in reset, for the network at rest."""
    displays = (
        d if runs else dataclasses.replace(d, circuit=dataclasses.replace(d.circuit, power=d.circuit.reset_power))
        for d, runs in zip(boat.displays, on, strict=True)
    )
    return dataclasses.replace(boat, displays=tuple(displays))


def displays_at_rest(build: Builder, boat: Boat) -> None:
    """The displays as constant-power loads of the network at rest (a display that is always fed runs)."""
    for k, display in enumerate(boat.displays):
        circuit = display.circuit
        inside = "ds"
        if circuit.diode is not None:
            inside = f"xdisplay{k}.di"
            diode_at_rest(build, inside, "ds", inside, circuit.diode)
        build.at_rest("p", f"display{k}", inside, "dr", circuit.power, circuit.converter_minimum)


def check_fed_at_rest(boat: Boat, volts: dict[str, float], on: tuple[bool, ...]) -> None:
    """Refuse a boat whose displays are fed with the key off and cannot run even then, though no sense pin forbids it.

    Raises
    ------
    InputError
        One line per display or converter, with the voltage it has at rest.
    """
    problems = []
    hold = boat.hold_up
    if isinstance(hold, ConverterAhead):
        unit, given = hold.converter, volts["cf"] - volts["dr"]
        needed = max(unit.cut_in, unit.output_voltage + CONVERTER_HEADROOM if unit.direction == "down" else 0.0)
        if given < needed:
            problems.append(
                f"hold_up: with the key off the converter has {given:.1f} V, it needs {needed:.1f} V to run"
            )
    for k, display in enumerate(boat.displays):
        inside = volts.get(f"xdisplay{k}.di", volts["ds"]) - volts["dr"]
        given = volts["ds"] - volts["dr"] if display.circuit.at == "pins" else inside
        if on[k] and given < display.circuit.brownout:
            problems.append(
                f"{display.path}: fed with the key off, it has {given:.1f} V at rest, below its "
                f"{display.circuit.brownout:g} V brown-out threshold: it would never run on this boat"
            )
    if problems:
        raise InputError([f"{boat.title}: {problem}" for problem in problems])
