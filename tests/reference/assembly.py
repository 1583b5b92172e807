# SPDX-License-Identifier: GPL-3.0-or-later
"""A resolved boat as states, a resistive network and rates of change.

Rates that are linear in branch currents and states are kept as rows; the rest is in `Model.rates`. All voltages are
against the start battery's negative post, node "0"; time 0 is key-on.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from cranksag.parts.battery import BatteryCircuit
from cranksag.parts.diode import DiodeCircuit
from cranksag.parts.relay import RelayCircuit
from cranksag.resolve.model import Boat, Display, Element, Load
from tests.reference import laws
from tests.reference.network import Array, Network, PortLaw, Solver

CABLE_DAMPING, CORE_DAMPING, MOTOR_WINDING_DAMPING, MOTOR_DAMPING = 0.5, 10.0, 5.0, 100.0  # [ohm]
KEY_CONTACT = 1e-3  # [ohm]
NODES = {
    "battery": "bat", "battery negative": "0", "starter stud": "stud", "s terminal": "s", "engine block": "block",
    "house battery": "house", "panel": "panel", "feed": "feed", "display supply": "ds", "display return": "dr",
    "start signal": "keyst",
}  # fmt: skip


class Model:
    """States by name, their start values, the network, rates and the flags that switch."""

    def __init__(self, boat: Boat) -> None:
        self.boat = boat
        self.states: dict[str, int] = {}
        self.start: list[float] = []
        self.net = Network()
        self.linear: list[tuple[str, str, float]] = []  # state, branch or state, factor
        self.flags: set[str] = set()
        self.electrical: list[str] = []
        self.capacitance: dict[str, float] = {}  # [F] of ideal capacitors, by state
        self.contact_names = frozenset({"kf", "kh", "ks", "start relay", "hold relay", "rest contact"})

    def state(self, name: str, value: float = 0.0, electrical: bool = False) -> None:
        """A new state; `electrical`: takes part in the search for the state at rest."""
        self.states[name] = len(self.start)
        self.start.append(value)
        if electrical:
            self.electrical.append(name)

    def finish(self) -> None:
        """Prepare the network and the rows of the linear rates."""
        self.solver = Solver(self.net, self.states)
        count = len(self.start)
        self.rate_y, self.rate_x, self.rate_0 = (
            np.zeros((count, self.solver.size)),
            np.zeros((count, count)),
            np.zeros(count),
        )
        for state, name, factor in self.linear:
            k = self.states[state]
            if name in self.states:
                self.rate_x[k, self.states[name]] += factor
                continue
            y_row, x_row, constant = self.solver.row(name)
            self.rate_y[k] += factor * y_row
            self.rate_x[k] += factor * x_row
            self.rate_0[k] += factor * constant
        for state, row in self.solver.ideal.items():
            self.rate_y[self.states[state], row] += 1.0 / self.capacitance[state]

    def contacts(self) -> frozenset[str]:
        """Contacts that are closed."""
        return self.contact_names & self.flags

    def network(self, x: Array) -> Array:
        """Node voltages for a state."""
        return self.solver.solve(x, self.contacts())


def winding(model: Model, name: str, a: str, b: str, ohm: float, henry: float, damping: float) -> None:
    """A coil: resistance, then inductance beside its damping; L di/dt = Rd (i - iL)."""
    model.state(f"i {name}", 0.0, electrical=True)
    model.net.winding(name, a, b, ohm, damping, f"i {name}")
    model.linear += [(f"i {name}", name, damping / henry), (f"i {name}", f"i {name}", -damping / henry)]


def cable(model: Model, name: str, a: str, b: str, element: Element) -> None:
    """A piece of a battery cable."""
    ohm = element.resistance + element.joints
    if element.inductance > 0.0:
        winding(model, name, a, b, ohm, element.inductance, CABLE_DAMPING)
    else:
        model.net.resistor(name, a, b, max(ohm, 1e-6))


def bank(model: Model, name: str, p: str, n: str, battery: BatteryCircuit) -> None:
    """v = OCV - vf - vs - R0 i; tau dvs/dt = Rs i - vs; C dvf/dt = i - Ia sinh(vf / Va), the sinh in `motion`."""
    slow, fast = f"{name} slow", f"{name} fast"
    for state in (fast, slow):
        model.state(state, 0.0, electrical=True)
    model.linear += [(slow, name, -battery.resistance_slow / battery.time_slow), (slow, slow, -1.0 / battery.time_slow)]
    model.linear += [(fast, name, -1.0 / battery.activation_capacitance)]
    behind = {fast: -1.0, slow: -1.0}
    if battery.surface_voltage > 0.0:  # C dvq/dt = i until vq = all of it, the end in `motion`
        model.state(f"{name} surface", 0.0)
        model.linear += [(f"{name} surface", name, -1.0 / battery.surface_capacitance)]
        behind[f"{name} surface"] = -1.0
    model.net.source(name, p, n, battery.resistance_instant, behind, battery.open_circuit_voltage)


def diode_law(part: DiodeCircuit) -> PortLaw:
    """A diode at its own temperature."""
    scale = part.emission * laws.thermal_voltage(part.temperature + laws.ZERO_CELSIUS)

    def law(v: float, x: Sequence[float]) -> tuple[float, float]:
        current, slope = laws.diode(v, part.saturation_current, scale, part.series_resistance)
        return current + part.leakage * v, slope + part.leakage

    return law


def add_diode(model: Model, name: str, a: str, k: str, part: DiodeCircuit) -> None:
    """A diode from a to k."""
    model.net.port(name, a, k, diode_law(part), 0.01)


def plain_diode(saturation: float, emission: float, series: float, barrier: float = 0.0) -> PortLaw:
    """A diode described at room temperature, behind a barrier voltage [V] (a zener) if any."""
    scale = emission * laws.thermal_voltage(laws.ROOM)
    return lambda v, x: laws.diode(v - barrier, saturation, scale, series)


def relay(model: Model, name: str, c1: str, c2: str, part: RelayCircuit) -> None:
    """Coil, its suppression and its armature; the contacts are entered where they stand."""
    winding(model, f"{name} coil", c1, c2, part.coil_resistance, part.coil_inductance, part.damping_resistance)
    model.state(f"x {name}")
    kind = part.suppression.kind
    if kind == "none":
        model.net.resistor(f"{name} suppression", c1, c2, 1e6)
    elif kind == "resistor":
        model.net.resistor(f"{name} suppression", c1, c2, part.suppression.resistance)
    elif kind == "diode":
        model.net.port(f"{name} suppression", c2, c1, plain_diode(1e-9, 1.9, 0.05), 1e-3)
    else:
        model.net.port(f"{name} suppression", c2, c1, plain_diode(1e-9, 1.9, 1.0, part.suppression.zener_voltage), 1e-3)


def node_of(boat: Boat, name: str) -> str:
    """Node of a scenario name; the battery switch's load side may coincide with another node."""
    if name != "battery switch":
        return NODES[name]
    places = [k for k, e in enumerate(boat.positive) if e.name.strip().lower() == "battery switch"]
    if not places:
        return "bat"
    return "stud" if places[0] == len(boat.positive) - 1 else f"pos{places[0]}"


def add_supplies(model: Model) -> None:
    """Banks, link, starter cables and the panel's feeder."""
    boat, net = model.boat, model.net
    bank(model, "battery", "bat", "0", boat.battery)
    ends = ["bat", *(f"pos{k}" for k in range(len(boat.positive) - 1)), "stud"]
    for k, element in enumerate(boat.positive):
        cable(model, f"positive {k}", ends[k], ends[k + 1], element)
    ends = ["block", *(f"neg{k}" for k in range(len(boat.negative) - 1)), "0"]
    for k, element in enumerate(boat.negative):
        cable(model, f"negative {k}", ends[k], ends[k + 1], element)
    if boat.house is not None:
        bank(model, "house", "house", "housen", boat.house)
        net.resistor("house negative", "housen", "0", boat.house_negative)
        if boat.link.kind == "closed":
            net.resistor("link", "bat", "house", boat.link.resistance)
    net.resistor("panel", node_of(boat, boat.panel.source), "panel", boat.panel.resistance)


def add_feed_and_start(model: Model) -> None:
    """The display's feed and return, the key, the start wire, the start relay."""
    boat, net = model.boat, model.net
    feed, start = boat.feed, boat.start
    net.resistor("feed", node_of(boat, feed.source), "keyin", feed.resistance + feed.joints)
    net.resistor("run contact", "keyin", "feed", KEY_CONTACT, contact="kf")
    net.resistor("return", "dr", node_of(boat, feed.return_to), feed.return_resistance + feed.return_joints)
    key = "keyin"
    if not start.shares_feed:
        key = "keyin2"
        net.resistor("start supply", node_of(boat, start.source), key, start.supply_resistance + start.supply_joints)
    net.resistor("start contact", key, "keyst", KEY_CONTACT, contact="ks")
    wire = max(start.neutral_resistance, 1e-9) + start.resistance + start.joints
    net.resistor("start wire", "keyst", "sig", wire)
    if start.relay is None:
        net.aliases["sig"] = "s"
        return
    relay(model, "start relay", "sig", "block", start.relay)
    net.resistor("start relay contact", "stud", "s0", start.relay.contact_resistance, contact="start relay")
    net.resistor("start relay wire", "s0", "s", max(start.relay_contact_wire, 1e-5))


def add_starter(model: Model) -> None:
    """Solenoid coils, main contact and motor."""
    boat = model.boat
    coil, motor = boat.solenoid, boat.motor
    winding(model, "pull-in", "s", "mot", coil.pull_in, coil.inductance_pull_in, CORE_DAMPING)
    winding(model, "hold-in", "s", "block", coil.hold_in, coil.inductance_hold_in, CORE_DAMPING)
    model.state("x solenoid")
    place = model.states["x solenoid"]

    def contact(v: float, x: Sequence[float]) -> tuple[float, float]:
        g = laws.main_contact_conductance(x[place], coil.contact_resistance)
        arc, slope = laws.arc_current(v, laws.ARC_SHARE * boat.nominal_voltage)
        return g * v + arc, g + slope

    model.net.port("main contact", "stud", "mot", contact, 1.0)
    model.state("i motor")
    law = laws.MotorLaw(
        motor.resistance, MOTOR_WINDING_DAMPING, motor.brush_drop,
        motor.field_constant_residual, motor.field_constant_saturated, motor.saturation_current,
    )  # fmt: skip
    model.state("w")
    inductor, speed, last = model.states["i motor"], model.states["w"], [0.0]

    def machine(v: float, x: Sequence[float]) -> tuple[float, float]:
        law.inductor, law.speed = x[inductor], x[speed]
        last[0], slope = laws.motor_current(v, last[0], law)
        return last[0], slope

    model.net.port("motor", "mot", "block", machine, 0.1)
    model.net.resistor("motor damping", "mot", "block", MOTOR_DAMPING)
    for name in ("we", "theta", "mean speed", "firing time", "fired", "since firing"):
        model.state(name, boat.engine.rest_angle if name == "theta" else 0.0)


def add_alternator(model: Model) -> None:
    """Current source that comes up once the engine has fired, and closes in on its set-point."""
    boat, alternator = model.boat, model.boat.alternator
    isolated = boat.link.kind == "diode isolator"
    plus = "altp" if isolated else "stud"
    since = model.states["since firing"]

    def charge(v: float, x: Sequence[float]) -> tuple[float, float]:
        most = alternator.rating * min(x[since] / max(alternator.ramp, 1e-3), 1.0)
        share = 2.0 * (alternator.charge_voltage - v)
        return -most * laws.clamp(share), 2.0 * most if 0.0 < share < 1.0 else 0.0

    model.net.port("alternator", plus, "block", charge)
    if isolated:
        model.net.port("isolator start", plus, "stud", plain_diode(1e-8, 1.5, 3e-3), 0.01)
        other = "house" if boat.house is not None else "stud"
        model.net.port("isolator house", plus, other, plain_diode(1e-8, 1.5, 3e-3), 0.01)
        model.net.resistor("alternator bleed", plus, "block", 1e3)


def add_load(model: Model, number: int, load: Load) -> None:
    """Another load; its gate follows the clock, or the time since firing."""
    since, flag = model.states["since firing"], f"load {number}"

    def gate(x: Sequence[float]) -> float:
        share = 1.0 if flag in model.flags else 0.0
        if load.from_time.event == "fire":
            share *= laws.clamp(1000.0 * (x[since] - max(load.from_time.offset, 0.0)))
        if load.until.event == "fire":
            share *= 1.0 - laws.clamp(1000.0 * (x[since] - max(load.until.offset, 0.0)))
        return share

    def draw(v: float, x: Sequence[float]) -> tuple[float, float]:
        amount = gate(x) * load.amount
        if load.kind == "current":
            return amount * laws.clamp(v), amount if 0.0 < v < 1.0 else 0.0
        if load.kind == "power":
            if v >= 6.0:
                return amount / v, -amount / v**2
            return amount / 6.0 * laws.clamp(v / 6.0), amount / 36.0 if v > 0.0 else 0.0
        share = gate(x) / load.amount
        return share * v, share

    model.net.port(f"load {number}", node_of(model.boat, load.at), node_of(model.boat, load.return_to), draw, 0.01)


def add_display(model: Model, number: int, display: Display, running: bool) -> None:
    """Input diode or none, input capacitor, timers: low (1 after `reset_after`), high (1 after 5 ms), boot."""
    circuit = display.circuit
    inside = f"inside {number}"
    model.state(inside, 0.0, electrical=running)
    if circuit.diode is None:
        model.net.source(f"display {number}", "ds", "dr", 1e-4, {inside: 1.0}, 0.0)
        model.linear.append((inside, f"display {number}", 1.0 / circuit.input_capacitance))
    else:
        law, place = diode_law(circuit.diode), model.states[inside]

        def draw(v: float, x: Sequence[float]) -> tuple[float, float]:
            across = v - x[place]
            current, slope = law(across, x)
            return current + across * 1e-6, slope + 1e-6

        model.net.port(f"display {number}", "ds", "dr", draw, 0.01)
    model.state(f"low {number}", 0.0 if running else 1.5)
    model.state(f"high {number}", 1.5 if running else 0.0)
    model.state(f"boot {number}", 1.01 if running else 0.0)
    if running:
        model.flags |= {f"on {number}", f"booted {number}"}
    else:
        model.flags.add(f"low {number}")
