# SPDX-License-Identifier: GPL-3.0-or-later
"""Small ngspice benches around single parts of ``circuits/parts``: the trade's own tests."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from cranksag.circuit.boat import add_battery, add_diode, diode_values, relay_values
from cranksag.circuit.netlists import read_netlist
from cranksag.circuit.network import Builder
from cranksag.errors import DeckError
from cranksag.parts.battery import BatteryCircuit
from cranksag.parts.capacitor import CapacitorCircuit
from cranksag.parts.converter import ConverterCircuit
from cranksag.parts.diode import DiodeCircuit
from cranksag.parts.display import DisplayCircuit
from cranksag.parts.pack import PackCircuit
from cranksag.parts.relay import RelayCircuit
from cranksag.parts.solenoid import SolenoidCoils
from cranksag.parts.starter import MotorCircuit
from cranksag.solver import Deck, Settings, get_solver

FloatArray = NDArray[np.float64]
BLOCK = "bench"
WIDE = 1e5  # [V, A] a bench has no envelope of its own; the solver's other checks apply
EDGE = 1e-4  # [s] of a switched source
SETTLED = 0.3  # [s] for a starter's current before its speed is ramped: many times its L/R of 8 ms
SWEEP = 40.0  # [s] of a speed sweep, slow against inertia and inductance
SWEEP_STEP = 0.05  # [s]
FREE_RUN = 4.0  # [s] a starter takes to its no-load speed
FINE = (Settings("bench", reltol=1e-5, abstol=1e-9, vntol=1e-7, chgtol=1e-9),)  # tighter than a boat's: small circuits


@dataclass(slots=True)
class Bench:
    """A deck of one or a few parts. Node ``one`` stands at 1 V for the parts that need it."""

    build: Builder = field(default_factory=lambda: Builder(read_netlist("none")))

    def __post_init__(self) -> None:
        self.line("Vone one 0 1")

    def line(self, text: str) -> None:
        """A netlist line."""
        self.build.line(BLOCK, text)

    def part(self, name: str, part: str, ports: Mapping[str, str], **values: float) -> None:
        """An instance of a subcircuit of ``circuits/parts`` with nodes by port; see `_node` for the ports left out."""
        known = self.build.netlist.subcircuits[part].ports
        strange = [port for port in ports if port not in known]
        if strange:
            raise DeckError(f"subcircuit {part} has no port {', '.join(strange)}")
        nodes = tuple(ports.get(port) or _node(name, port) for port in known)
        self.build.instance(BLOCK, name, nodes, part, **values)

    def run(self, stop: float, step: float, *vectors: str) -> tuple[FloatArray, dict[str, FloatArray]]:
        """Time [s] and vectors of a run of `stop` [s] with steps of at most `step` [s]."""
        used = [s.text for name, s in self.build.netlist.subcircuits.items() if name in self.build.used]
        deck = Deck(
            text="\n".join([*used, *self.build.blocks[BLOCK]]),
            vectors=vectors,
            stop_time=stop,
            envelope=dict.fromkeys(vectors, (-WIDE, WIDE)),
            step_ceiling=step,
            title="bench",
        )
        waves = get_solver().run(deck, FINE)
        return waves.time, dict(waves.vectors)


def _node(name: str, port: str) -> str:
    """Node of a port a bench leaves out: 1 V, ground for what feeds the pacer, else a node of its own."""
    if port == "one":
        return "one"
    return "0" if port in ("hurry", "pace", "ahead") else f"{name}_{port}"


def discharge(battery: BatteryCircuit, current: float, time: float) -> float:
    """Terminal voltage [V] of a rested battery after `time` [s] at a constant `current` [A]."""
    bench = Bench()
    add_battery(bench.build, BLOCK, "battery", "p", "0", battery, 0.0)
    bench.line(f"Iload p 0 pwl(0 0 {EDGE} {current!r})")
    t, v = bench.run(time + EDGE, time / 200.0, "v(p)")
    return float(np.interp(time + EDGE, t, v["v(p)"]))


def add_starter(bench: Bench, motor: MotorCircuit) -> None:
    """A starter motor between m and 0, pinion shaft at w."""
    bench.part(
        "motor",
        "starter",
        {"m": "m", "g": "0", "w": "w"},
        r=motor.resistance,
        l=motor.inductance,
        vb=motor.brush_drop,
        k0=motor.field_constant_residual,
        k1=motor.field_constant_saturated,
        tf=motor.friction_torque,
        bf=max(motor.friction_viscous, 1e-9),
        j=motor.inertia,
        sh=motor.torque_share,
        **{"is": motor.saturation_current},
    )


def no_load(motor: MotorCircuit, voltage: float) -> tuple[float, float]:
    """Current [A] and speed [rad/s] of a starter left to run free at a voltage [V]."""
    bench = Bench()
    add_starter(bench, motor)
    bench.line(f"Vs m 0 pwl(0 0 {EDGE} {voltage!r})")
    _, v = bench.run(FREE_RUN, 5e-3, "i(vs)", "v(w)")
    return -float(v["i(vs)"][-1]), float(v["v(w)"][-1])


def torque_curve(motor: MotorCircuit, voltage: float, top: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Current [A], speed [rad/s], torque [N m] of a starter at a voltage [V], its shaft driven from 0 to `top`."""
    bench = Bench()
    add_starter(bench, motor)
    bench.line(f"Vs m 0 pwl(0 0 {EDGE} {voltage!r})")
    bench.line(f"Vw w 0 pwl(0 0 {SETTLED} 0 {SETTLED + SWEEP} {top!r})")
    t, v = bench.run(SETTLED + SWEEP, SWEEP_STEP, "i(vs)", "v(w)", "i(vw)")
    moving = t >= SETTLED
    speed = v["v(w)"][moving]
    accelerating = motor.inertia * top / SWEEP  # what the sweep itself takes
    return -v["i(vs)"][moving], speed, v["i(vw)"][moving] + accelerating


def loaded(motor: MotorCircuit, voltage: float, current: float, top: float) -> tuple[float, float]:
    """Torque [N m] and speed [rad/s] of a starter where it draws `current` [A] at `voltage` [V]."""
    i, w, m = torque_curve(motor, voltage, top)
    order = np.argsort(i)
    return float(np.interp(current, i[order], m[order])), float(np.interp(current, i[order], w[order]))


def stalled(motor: MotorCircuit, voltage: float) -> float:
    """Current [A] of a starter with its shaft locked at a voltage [V]."""
    bench = Bench()
    add_starter(bench, motor)
    bench.line(f"Vs m 0 pwl(0 0 {EDGE} {voltage!r})\nVw w 0 0")
    _, v = bench.run(SETTLED, 1e-3, "i(vs)")
    return -float(v["i(vs)"][-1])


def add_solenoid(bench: Bench, coils: SolenoidCoils, pull_in: float, hold_in: float) -> None:
    """A starter solenoid at s, studs and case grounded, with its coils at the resistances given [ohm]."""
    bench.part(
        "solenoid",
        "solenoid",
        {"s": "s", "stud": "0", "m": "0", "g": "0", "x": "x"},
        rpi=pull_in,
        rhi=hold_in,
        lpi=coils.inductance_pull_in,
        lhi=coils.inductance_hold_in,
        iop=coils.operate_ampere,
        irel=coils.release_ampere,
        top=coils.travel_operate,
        trel=coils.travel_release,
        rk=coils.contact_resistance,
    )


def solenoid_currents(coils: SolenoidCoils, voltage: float) -> tuple[float, float]:
    """Currents [A] of pull-in and hold-in coil at a voltage [V] on S, motor stud grounded."""
    bench = Bench()
    add_solenoid(bench, coils, coils.pull_in, coils.hold_in)
    bench.line(f"Vs s 0 pwl(0 0 {EDGE} {voltage!r})")
    _, v = bench.run(0.2, 1e-3, "i(v.xsolenoid.vpi)", "i(v.xsolenoid.vhi)")
    return float(v["i(v.xsolenoid.vpi)"][-1]), float(v["i(v.xsolenoid.vhi)"][-1])


def solenoid_pull_in(coils: SolenoidCoils, pull_in: float, hold_in: float, top: float) -> float:
    """Voltage [V] on S, ramped slowly up to `top` [V], at which the plunger starts; coils at the resistances given."""
    bench = Bench()
    add_solenoid(bench, coils, pull_in, hold_in)
    bench.line(f"Vs s 0 pwl(0 0 20 {top!r})")
    _, v = bench.run(20.0, 0.02, "v(s)", "v(x)")
    return _first(v["v(s)"], v["v(x)"])


def starved(coils: SolenoidCoils, source: float, wire: float, joints: float) -> float:
    """Voltage [V] at S with both coils fed from `source` [V] through a wire and its joints [ohm], motor stud
    grounded."""
    bench = Bench()
    bench.line(f"Vb b 0 pwl(0 0 {EDGE} {source!r})")
    bench.part("wire", "wire", {"a": "b", "b": "s"}, r=wire, rj=max(joints, 1e-6))
    add_solenoid(bench, coils, coils.pull_in, coils.hold_in)
    _t, v = bench.run(0.2, 1e-3, "v(s)", "v(x)")
    return float(v["v(s)"][-1])


def add_relay(bench: Bench, relay: RelayCircuit) -> None:
    """A relay with its coil from c to ground and its armature at x; the contacts lie on nodes of their own."""
    ports = {"c1": "c", "c2": "0", "com": "com", "no": "0", "nc": "nc", "x": "x"}
    bench.part("relay", "relay", ports, **relay_values(relay))
    bench.line("Rnc nc 0 1g\nRcom com 0 1k")


def add_suppression(bench: Bench, relay: RelayCircuit) -> None:
    """What stands across that relay's coil."""
    kind = relay.suppression
    ports = {"c1": "c", "c2": "0"}
    bench.part("sup", f"suppress_{kind.kind}", ports, r=kind.resistance, vz=kind.zener_voltage)


def relay_pick_up(relay: RelayCircuit, top: float) -> float:
    """Coil voltage [V], ramped slowly up to `top` [V], at which a relay's armature starts."""
    bench = Bench()
    add_relay(bench, relay)
    bench.line(f"Vc c 0 pwl(0 0 20 {top!r})")
    _, v = bench.run(20.0, 0.02, "v(c)", "v(x)")
    return _first(v["v(c)"], v["v(x)"])


def relay_kick(relay: RelayCircuit, voltage: float) -> float:
    """Largest reverse voltage [V] across a coil that carried its full current when the supply was cut."""
    bench = Bench()
    add_relay(bench, relay)
    add_suppression(bench, relay)
    settled = 10.0 * relay.coil_inductance / relay.coil_resistance
    bench.line(f"Vb b 0 {voltage!r}\nVk k 0 pwl(0 1 {settled!r} 1 {settled + 1e-6!r} 0)\nCc c 0 100p")
    bench.part("key", "contact_keyed", {"a": "b", "b": "c", "k": "k"}, r=1e-3)
    _, v = bench.run(1.02 * settled, 1e-5, "v(c)")
    return -float(v["v(c)"].min())


def coil_current(relay: RelayCircuit, voltage: float, suppressed: bool) -> float:
    """Steady current [A] into a relay's coil, with what lies across it where `suppressed`."""
    bench = Bench()
    add_relay(bench, relay)
    if suppressed:
        add_suppression(bench, relay)
    bench.line(f"Vc c 0 pwl(0 0 {EDGE} {voltage!r})")
    _, v = bench.run(1.0, 5e-3, "i(vc)")
    return -float(v["i(vc)"][-1])


def _first(driven: FloatArray, position: FloatArray) -> float:
    """What was driven when an armature left its seat; position [per mille]."""
    moved = np.flatnonzero(position > 20.0)
    return float(driven[moved[0]]) if moved.size else math.inf


def contact_drop(relay: RelayCircuit, voltage: float, current: float) -> float:
    """Voltage [V] over the working contact of an energised relay at a current [A]."""
    bench = Bench()
    add_relay(bench, relay)
    bench.line(f"Vc c 0 pwl(0 0 {EDGE} {voltage!r})\nI1 0 com pwl(0 0 0.2 0 0.3 {current!r})")
    _, v = bench.run(0.4, 1e-3, "v(com)")
    return float(v["v(com)"][-1])


def forward_voltage(diode: DiodeCircuit, current: float) -> float:
    """Forward voltage [V] of a diode at a current [A]."""
    bench = Bench()
    bench.line(f"I1 0 a pwl(0 0 {EDGE} {current!r})")
    add_diode(bench.build, BLOCK, "diode", "a", "0", diode)
    bench.line("Ra a 0 1meg")
    _, v = bench.run(0.05, 1e-3, "v(a)")
    return float(v["v(a)"][-1])


def reverse_current(diode: DiodeCircuit, voltage: float) -> float:
    """What a diode lets through [A] at a reverse voltage [V]."""
    bench = Bench()
    bench.line(f"V1 k 0 pwl(0 0 {EDGE} {voltage!r})\nVa a 0 0")
    add_diode(bench.build, BLOCK, "diode", "a", "k", diode)
    _, v = bench.run(0.05, 1e-3, "i(va)")
    return abs(float(v["i(va)"][-1]))


def cable_drop(resistance: float, joints: float, current: float) -> float:
    """Voltage [V] over a battery cable and its joints [ohm] at a steady current [A]."""
    bench = Bench()
    bench.line(f"I1 0 a pwl(0 0 1e-2 {current!r})\nRa a 0 1meg")
    bench.part("cable", "cable", {"a": "a", "b": "0"}, r=resistance, rj=max(joints, 1e-9), l=1e-6)
    _, v = bench.run(0.2, 1e-3, "v(a)")
    return float(v["v(a)"][-1])


def hold_up(
    bank: CapacitorCircuit, start: float, end: float, stop: float, load: str, amount: float, *, behind_esr: bool = False
) -> float:
    """Time [s] until a bank charged to `start` [V] has fallen to `end` [V] under a load.

    `load`: "current" [A], or "power" [W], drawn whatever the voltage; `end` is at the terminals, or behind the ESR
    where asked. `stop` [s]: when to give up.
    """
    bench = Bench()
    leak = min(bank.leakage_resistance, 1e12)
    bench.part("bank", "capacitor", {"p": "p", "n": "0"}, c=bank.capacitance, esr=bank.esr, rleak=leak, v0=start)
    law = repr(amount) + (f"/max(v(p),{0.2 * end!r})" if load == "power" else "")
    bench.line(f"Vg g 0 pwl(0 0 1e-7 1)\nBl p 0 I = v(g)*{law}")
    node = "v(xbank.p2)" if behind_esr else "v(p)"
    t, v = bench.run(stop, stop / 4000.0, node)
    below = np.flatnonzero(v[node][1:] < end)
    if not below.size:
        return math.inf
    k = int(below[0]) + 1
    high, low = float(v[node][k - 1]), float(v[node][k])
    return float(t[k - 1] + (t[k] - t[k - 1]) * (high - end) / (high - low))


def bank_voltage(bank: CapacitorCircuit, start: float, current: float, time: float) -> float:
    """Terminal voltage [V] of a bank charged to `start` [V] after `time` [s] at a constant `current` [A]."""
    bench = Bench()
    bench.part("bank", "capacitor", {"p": "p", "n": "0"}, c=bank.capacitance, esr=bank.esr, rleak=1e12, v0=start)
    bench.line(f"I1 p 0 pwl(0 0 {EDGE} {current!r})")
    _t, v = bench.run(time + EDGE, time / 500.0, "v(p)")
    return float(v["v(p)"][-1])


def pack_voltage(pack: PackCircuit, fuse: float, current: float) -> float:
    """Voltage [V] of a standby pack behind its fuse [ohm] at a steady current [A]."""
    bench = Bench()
    bench.part(
        "pack", "pack", {"p": "p", "n": "0"}, voc=pack.open_circuit_voltage, r=pack.resistance, rfuse=max(fuse, 1e-9)
    )
    bench.line(f"I1 p 0 pwl(0 0 {EDGE} {current!r})")
    _, v = bench.run(0.05, 1e-3, "v(p)")
    return float(v["v(p)"][-1])


def display_current(display: DisplayCircuit, voltage: float) -> float:
    """Steady current [A] of a running display at a voltage [V] across its pins."""
    bench = Bench()
    add_display(bench, display, voltage)
    bench.line(f"Vs p 0 {voltage!r}")
    _, v = bench.run(0.05, 1e-4, "i(v.xdisplay.vp)")
    return float(v["i(v.xdisplay.vp)"][-1])


def add_display(bench: Bench, display: DisplayCircuit, charged: float) -> None:
    """A running, booted display at node p against 0, its input capacitor at `charged` [V]."""
    values = {"dis": 1e-9, "dn": 1.8, "drs": 20e-3, "dsh": 1e-4}
    if display.diode is not None:
        diode = diode_values(display.diode)
        values = {"dis": diode["is"], "dn": diode["n"], "drs": diode["rs"], "dsh": 1e6}
    bench.part(
        "display",
        "display",
        {"p": "p", "n": "0", "x": "0", "on": "on"},
        pw=display.power,
        pboot=display.boot_power,
        preset=display.reset_power,
        vmin=display.converter_minimum,
        vbo=display.brownout,
        tbo=display.reset_after,
        vre=display.restarts_above,
        tboot=display.boot_time,
        cin=display.input_capacitance,
        at=1.0 if display.at == "pins" else 0.0,
        on0=1.0,
        bt0=1.01,
        v0=charged,
        **values,
    )


def display_ride_through(display: DisplayCircuit, supply: float, cut: float, stop: float) -> float:
    """Time [s] a display keeps running after its supply [V] is cut at `cut` [s]; infinite if it outlasts `stop` [s]."""
    bench = Bench()
    add_display(bench, display, supply - 0.3)
    bench.line(f"Vs b 0 {supply!r}\nVk k 0 pwl(0 1 {cut!r} 1 {cut + 1e-5!r} 0)")
    bench.part("key", "contact_keyed", {"a": "b", "b": "p", "k": "k"}, r=1e-3)
    t, v = bench.run(stop, 1e-4, "v(on)")
    off = np.flatnonzero(v["v(on)"] < 0.5)
    return float(t[off[0]]) - cut if off.size else math.inf


def converter_input(converter: ConverterCircuit, supply: float, power: float) -> float:
    """Input current [A] of a running converter at a supply [V] and a constant-power load [W]."""
    bench = Bench()
    add_converter(bench, converter)
    bench.line(f"Vs i 0 {supply!r}\nBl o 0 I = {power!r}/max(v(o),1)")
    _, v = bench.run(0.3, 2e-4, "i(v.xconverter.vi)")
    return float(v["i(v.xconverter.vi)"][-1])


def add_converter(bench: Bench, converter: ConverterCircuit) -> None:
    """A running converter from node i to o against 0."""
    bench.part(
        "converter",
        "converter",
        {"i": "i", "o": "o", "g": "0", "on": "onc"},
        vset=converter.output_voltage,
        eta=converter.efficiency,
        ilim=converter.input_limit,
        pq=converter.quiescent_power,
        headroom=0.5 if converter.direction == "down" else -1000.0,
        vcutout=converter.cut_out,
        vcutin=converter.cut_in,
        trestart=max(converter.restart_delay, 1e-3),
        co=converter.output_capacitance,
        on0=1.0,
        v0=converter.output_voltage,
    )


def converter_cut_out(converter: ConverterCircuit, from_volts: float, to_volts: float, load: float) -> float:
    """Supply voltage [V], ramped down within 20 s, at which a converter stops."""
    bench = Bench()
    add_converter(bench, converter)
    bench.line(f"Vs i 0 pwl(0 {from_volts!r} 20 {to_volts!r})\nBl o 0 I = {load!r}*v(o)/12")
    _, v = bench.run(20.0, 0.01, "v(i)", "v(onc)")
    off = np.flatnonzero(v["v(onc)"] < 0.5)
    return float(v["v(i)"][off[0]]) if off.size else -math.inf
