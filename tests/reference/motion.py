# SPDX-License-Identifier: GPL-3.0-or-later
"""Rates of change that are not linear: machine and engine, armatures, displays, converter; and what switches.

Flags hold everything that is on or off; they change at located events only.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from cranksag.parts.battery import BatteryCircuit
from cranksag.resolve.model import ConverterAhead, Display, StandbyPack
from tests.reference import laws
from tests.reference.assembly import Model, node_of
from tests.reference.network import Array

Quantity = Callable[[Array, Array], float]
Rate = Callable[[Sequence[float], Sequence[float], list[float]], None]  # states, port currents, rates to add to
TIMER_TOP = 1.5  # [-] stop of a timer, which acts at 1
MESH, CONTACT_MADE, REST_LOST = 0.5, 0.625, 0.3  # [-] armature position
TIMER_FADE = 5e-4  # [s] longest in which the brown-out timer dies away
RESTART_WAIT = 5e-3  # [s] above the restart voltage
MEAN_SPEED_TIME, FIRE_TIME, FAST = 0.15, 0.02, 1e-3  # [s]


@dataclass(frozen=True, slots=True)
class Switch:
    """A flag that comes on when `quantity` rises to `on` and goes off when it falls to `off`."""

    flag: str
    on: float
    off: float
    quantity: Quantity


def _branch(model: Model, name: str) -> Quantity:
    y_row, x_row, constant = model.solver.row(name)
    return lambda x, y: float(y_row @ y + x_row @ x + constant)


def _state(model: Model, name: str, sign: float = 1.0) -> Quantity:
    k = model.states[name]
    return lambda x, y: sign * float(x[k])


def _volts(model: Model, a: str, b: str) -> Quantity:
    i, j = model.solver.index(a), model.solver.index(b)
    return lambda x, y: (float(y[i]) if i >= 0 else 0.0) - (float(y[j]) if j >= 0 else 0.0)


def switches(model: Model) -> list[Switch]:
    """Everything that switches by itself in this boat."""
    boat = model.boat
    pull, hold = _branch(model, "pull-in"), _branch(model, "hold-in")
    coil = boat.solenoid
    found = [Switch("solenoid", coil.operate_ampere, coil.release_ampere, lambda x, y: pull(x, y) + hold(x, y))]
    found.append(Switch("mesh", MESH, MESH, _state(model, "x solenoid")))
    relays = [("start relay", boat.start.relay)]
    if isinstance(boat.hold_up, StandbyPack):
        relays.append(("hold relay", boat.hold_up.relay))
    for name, part in relays:
        if part is None:
            continue
        found.append(
            Switch(f"{name} drive", part.operate_current, part.release_current, _branch(model, f"{name} coil"))
        )
        found.append(Switch(name, CONTACT_MADE, CONTACT_MADE, _state(model, f"x {name}")))
        if part.changeover:
            found.append(Switch("rest contact", -REST_LOST, -REST_LOST, _state(model, f"x {name}", -1.0)))
    if boat.fires_after is not None:
        found.append(Switch("fire", boat.fires_after, -1.0, _state(model, "firing time")))
    for k, display in enumerate(boat.displays):
        found += _display_switches(model, k, display)
    if isinstance(boat.hold_up, ConverterAhead):
        unit, vin = boat.hold_up.converter, _state(model, "vci")
        high, low = _state(model, "converter high"), _state(model, "converter low")
        found.append(Switch("converter starved", -unit.cut_out, -unit.cut_out, lambda x, y: -vin(x, y)))
        found.append(Switch("converter fed", unit.cut_in, unit.cut_in, vin))
        found.append(Switch("converter on", 1.0, -1.0, lambda x, y: high(x, y) - low(x, y)))
    return found


def _display_switches(model: Model, k: int, display: Display) -> list[Switch]:
    circuit = display.circuit
    seen = _volts(model, "ds", "dr") if circuit.at == "pins" else _state(model, f"inside {k}")
    high, low = _state(model, f"high {k}"), _state(model, f"low {k}")
    found = [
        Switch(f"low {k}", -circuit.brownout, -circuit.brownout, lambda x, y: -seen(x, y)),
        Switch(f"high {k}", circuit.restarts_above, circuit.restarts_above, seen),
        Switch(f"on {k}", 1.0, -1.0, lambda x, y: high(x, y) - low(x, y)),
        Switch(f"booted {k}", 1.0, 1.0, _state(model, f"boot {k}")),
    ]
    if circuit.sense_threshold is not None:
        pin = _volts(model, "dr", node_of(model.boat, display.sense_node))
        found.append(Switch(f"sense {k}", -circuit.sense_threshold + 0.1, -circuit.sense_threshold - 0.1, pin))
    return found


def motions(model: Model) -> list[Rate]:
    """The rates that depend on flags or are not linear."""
    boat = model.boat
    found = [_machine(model), _engine(model), _charge_transfer(model, "battery", boat.battery)]
    if boat.house is not None:
        found.append(_charge_transfer(model, "house", boat.house))
    found.append(_armature(model, "solenoid", "solenoid", boat.solenoid.travel_operate, boat.solenoid.travel_release))
    if boat.start.relay is not None:
        times = boat.start.relay.travel_time_operate, boat.start.relay.travel_time_release
        found.append(_armature(model, "start relay", "start relay drive", *times))
    hold = boat.hold_up
    if isinstance(hold, StandbyPack) and hold.relay is not None:
        times = hold.relay.travel_time_operate, hold.relay.travel_time_release
        found.append(_armature(model, "hold relay", "hold relay drive", *times))
    found += [_display(model, k, d) for k, d in enumerate(boat.displays)]
    if isinstance(hold, ConverterAhead):
        found.append(_converter(model, hold))
    return found


def _charge_transfer(model: Model, name: str, battery: BatteryCircuit) -> Rate:
    """What discharges the double layer: dvf/dt = ... - Ia sinh(vf / Va) / C."""
    k = model.states[f"{name} fast"]
    size = battery.activation_current / battery.activation_capacitance

    def rate(x: Sequence[float], currents: Sequence[float], into: list[float]) -> None:
        into[k] -= size * math.sinh(x[k] / battery.activation_voltage)

    if battery.surface_voltage == 0.0:
        return rate
    q = model.states[f"{name} surface"]
    clamp = 100.0 / battery.resistance_instant / battery.surface_capacitance

    def with_surface(x: Sequence[float], currents: Sequence[float], into: list[float]) -> None:
        rate(x, currents, into)
        into[q] -= clamp * max(x[q] - battery.surface_voltage, 0.0)

    return with_surface


def _machine(model: Model) -> Rate:
    """J dw/dt = share k i - Tf tanh(w/2) - B w - Tclutch;  L diL/dt = Rd (i - iL)."""
    motor, ratio = model.boat.motor, model.boat.gear_ratio
    i_state, w_state, we_state = (model.states[n] for n in ("i motor", "w", "we"))
    place = model.solver.port_names.index("motor")
    inertia, damping = model.boat.engine.inertia, 5.0

    def add(x: Sequence[float], port: Sequence[float], rates: list[float]) -> None:
        i, w = port[place], x[w_state]
        k, _ = laws.field_constant(
            i, motor.field_constant_residual, motor.field_constant_saturated, motor.saturation_current
        )
        clutch = laws.clutch_torque(w - ratio * x[we_state]) if "mesh" in model.flags else 0.0
        torque = motor.torque_share * k * i - motor.friction_torque * math.tanh(w / laws.MOTOR_FRICTION_SPEED)
        rates[w_state] += (torque - motor.friction_viscous * w - clutch) / motor.inertia
        rates[we_state] += ratio * clutch / inertia
        rates[i_state] += damping * (i - x[i_state]) / motor.inductance

    return add


def _engine(model: Model) -> Rate:
    """Je dwe/dt = drive + firing - friction - (1 - fired) compression; mean speed, firing clock."""
    boat, engine = model.boat, model.boat.engine
    names = ("we", "theta", "mean speed", "firing time", "fired", "since firing")
    we, theta, mean, clock, fired, since = (model.states[n] for n in names)
    pairs = ((engine.a1, engine.b1), (engine.a2, engine.b2), (engine.a3, engine.b3))
    governor = laws.GOVERNOR_RATIO * (engine.friction_torque + engine.friction_viscous * boat.idle_speed)

    def add(x: Sequence[float], port: Sequence[float], rates: list[float]) -> None:
        w = x[we]
        drag = laws.engine_friction(
            w, engine.friction_torque, engine.breakaway_torque, engine.breakaway_speed, engine.friction_viscous
        )
        drive = x[fired] * laws.firing_torque(w, boat.idle_speed + 1.0 / laws.GOVERNOR_RATIO, governor)
        gas = (1.0 - x[fired]) * laws.compression_torque(x[theta], engine.order, pairs)
        rates[we] += (drive - drag - gas) / engine.inertia
        rates[theta] += w
        rates[mean] += (w - x[mean]) / MEAN_SPEED_TIME
        if "kq" in model.flags:
            rates[clock] += laws.clamp((x[mean] - boat.minimum_speed) / (0.02 * boat.minimum_speed) + 0.5)
        burning = 1.0 if "fire" in model.flags else 0.0
        rates[fired] += (burning - x[fired]) / FIRE_TIME
        rates[since] += burning

    return add


def _armature(model: Model, name: str, drive: str, operate: float, release: float) -> Rate:
    k = model.states[f"x {name}"]

    def add(x: Sequence[float], port: Sequence[float], rates: list[float]) -> None:
        rates[k] += laws.armature_rate(x[k], drive in model.flags, operate, release)

    return add


def _display(model: Model, k: int, display: Display) -> Rate:
    """Cin dv/dt = i - P/v;  the timers of brown-out and restart, and boot progress (1: booted)."""
    circuit = display.circuit
    inside, low, high, boot = (model.states[f"{n} {k}"] for n in ("inside", "low", "high", "boot"))
    place = model.solver.port_names.index(f"display {k}") if circuit.diode is not None else -1
    flags = model.flags

    def add(x: Sequence[float], port: Sequence[float], rates: list[float]) -> None:
        on = f"on {k}" in flags
        power = circuit.reset_power if not on else circuit.power if f"booted {k}" in flags else circuit.boot_power
        current = port[place] if place >= 0 else 0.0
        load = laws.display_current(x[inside], power, circuit.converter_minimum)
        rates[inside] += (current - load) / circuit.input_capacitance
        if f"low {k}" in flags or f"sense {k}" in flags:
            rates[low] += laws.ramp(x[low], 1.0 / circuit.reset_after, TIMER_TOP)
        else:
            rates[low] -= x[low] / min(circuit.reset_after / 10.0, TIMER_FADE)
        if on:
            rates[high] -= x[high] / FAST
        else:
            rates[high] += laws.ramp(x[high], 1.0 / RESTART_WAIT if f"high {k}" in flags else -1.0 / FAST, TIMER_TOP)
        rates[boot] += 1.0 / circuit.boot_time if on else -x[boot] / FAST

    return add


def _converter(model: Model, hold: ConverterAhead) -> Rate:
    """Output source and input load on their capacitors; run follows on within 1 ms; cut-out and restart timers."""
    unit = hold.converter
    vci, vco, low, high, run = (
        model.states[n] for n in ("vci", "vco", "converter low", "converter high", "converter run")
    )
    law = (unit.output_voltage, 0.5 if unit.direction == "down" else -1000.0, unit.efficiency, unit.input_limit)

    def add(x: Sequence[float], port: Sequence[float], rates: list[float]) -> None:
        vin, vout, share = x[vci], x[vco], x[run]
        out = share * laws.converter_output(vin, vout, law)
        draw = (vout * out / unit.efficiency + unit.quiescent_power * share) / max(vin, 1.0)
        rates[vci] -= draw / model.capacitance["vci"]
        rates[vco] += out / model.capacitance["vco"]
        on, fed = "converter on" in model.flags, "converter fed" in model.flags
        if "converter starved" in model.flags:
            rates[low] += laws.ramp(x[low], 1e3, TIMER_TOP)
        else:
            rates[low] -= x[low] * 1e4
        if on:
            rates[high] -= x[high] / FAST
        else:
            rates[high] += laws.ramp(x[high], 1.0 / unit.restart_delay if fed else -1.0 / FAST, TIMER_TOP)
        rates[run] += ((1.0 if on else 0.0) - share) / FAST

    return add


def all_rates(model: Model, parts: list[Rate], x: Array) -> Array:
    """dx/dt."""
    y = model.network(x)
    rates = (model.rate_y @ y + model.rate_x @ x + model.rate_0).tolist()
    states, port = x.tolist(), model.solver.port_currents.tolist()
    for part in parts:
        part(states, port, rates)
    return np.array(rates)
