# SPDX-License-Identifier: GPL-3.0-or-later
"""A resolved boat as lines of ``circuits/boat.inc``: batteries, cables, key, starter, engine, loads, displays."""

from __future__ import annotations

import math

from cranksag.circuit.network import DECK_TEMPERATURE, LEAST_RESISTANCE, THERMAL_VOLTAGE_DECK, Builder
from cranksag.circuit.timing import (
    KeyTimes,
    feed_intervals,
    mark_time,
    merged,
    start_intervals,
    switched,
)
from cranksag.parts.battery import BatteryCircuit
from cranksag.parts.diode import DiodeCircuit
from cranksag.parts.relay import RelayCircuit
from cranksag.resolve.model import Boat, Element, Load

NODES = {
    "battery": "bat",
    "battery negative": "0",
    "battery switch": "sw",
    "starter stud": "stud",
    "s terminal": "s",
    "engine block": "block",
    "house battery": "house",
    "panel": "panel",
    "feed": "feed",
    "display supply": "ds",
    "display return": "dr",
    "start signal": "keyst",
}
"""Deck node of each node name of the scenario."""

CONTACT_RESISTANCE = 1e-3  # [ohm] key and panel contacts of the deck; their real resistance is in the joints
KELVIN = 273.15
CONVERTER_HEADROOM = 0.5  # [V] between input and output of a step-down converter; engineering estimate
ARC_SHARE = 1.6  # [-] arc voltage of the opening main contact over nominal: about 20 V on 12 V; engineering estimate
TIGHT = 1e12  # [ohm] of a diode without a leakage; numerical
FIRE_GOVERNOR = 0.15  # [N m s/rad per N m of cranking torque] how hard a running engine pulls to idle; estimate
MOTOR_DAMPING = 100.0  # [ohm] across the motor: a way out for its current when the contact opens; estimate


def supply_switch_node(boat: Boat) -> str:
    """Deck node of the battery switch's load side; the starter stud when the switch is the last element."""
    switches = [k for k, element in enumerate(boat.positive) if element.is_switch]
    if not switches:
        return "bat"
    return "stud" if switches[0] == len(boat.positive) - 1 else "sw"


def node_of(boat: Boat, name: str) -> str:
    """Deck node of a scenario node name."""
    return supply_switch_node(boat) if name == "battery switch" else NODES[name]


def chain_nodes(boat: Boat) -> tuple[list[str], list[str]]:
    """Nodes along the positive path (battery post to stud) and along the negative path (block to battery post)."""
    switch = supply_switch_node(boat)
    positive = ["bat"]
    first = next((k for k, element in enumerate(boat.positive) if element.is_switch), None)
    for k in range(len(boat.positive)):
        last = k == len(boat.positive) - 1
        positive.append("stud" if last else "sw" if k == first and switch == "sw" else f"pos{k}")
    negative = ["block", *(f"neg{k}" for k in range(len(boat.negative) - 1)), "0"]
    return positive, negative


def diode_values(diode: DiodeCircuit) -> dict[str, float]:
    """Parameters of the diode subcircuit: emission coefficient scaled from its temperature to the deck's."""
    scale = (diode.temperature + KELVIN) / DECK_TEMPERATURE
    return {"is": diode.saturation_current, "n": diode.emission * scale, "rs": diode.series_resistance}


def leak_resistance(diode: DiodeCircuit) -> float:
    """What a diode leaks through in reverse [ohm]."""
    return 1.0 / diode.leakage if diode.leakage > 0.0 else TIGHT


def add_diode(build: Builder, block: str, name: str, a: str, k: str, diode: DiodeCircuit) -> None:
    """A diode from `a` to `k`."""
    build.instance(block, name, (a, k), "diode", **diode_values(diode), rl=leak_resistance(diode))


def diode_at_rest(build: Builder, name: str, a: str, k: str, diode: DiodeCircuit) -> None:
    """A diode from `a` to `k` in the network at rest."""
    values = diode_values(diode)
    build.at_rest("d", name, a, k, values["is"], values["n"] * THERMAL_VOLTAGE_DECK, values["rs"])
    build.at_rest("r", f"{name} leak", a, k, leak_resistance(diode))


def diode_drop(diode: DiodeCircuit, current: float) -> float:
    """Forward voltage of a diode at a current [A], as the netlist's diode has it [V]."""
    values = diode_values(diode)
    return values["n"] * THERMAL_VOLTAGE_DECK * math.log1p(current / values["is"]) + values["rs"] * current


def relay_values(relay: RelayCircuit, current: float = 0.0) -> dict[str, float]:
    """Parameters of the relay subcircuit; `current`: in the coil at the start [A]."""
    return {
        "rc": relay.coil_resistance,
        "lc": relay.coil_inductance,
        "iop": relay.operate_current,
        "irel": relay.release_current,
        "top": relay.travel_time_operate,
        "trel": relay.travel_time_release,
        "rk": relay.contact_resistance,
        "rloss": relay.damping_resistance,
        "i0": current,
    }


def add_battery(build: Builder, block: str, name: str, p: str, n: str, battery: BatteryCircuit, current: float) -> None:
    """A bank from `n` to `p` that has carried `current` [A] for long at the start.

    It takes nothing of a surface charge, which stands at rest; what is drawn beyond it does.
    """
    charged = {}
    if battery.surface_voltage > 0.0:
        charged = {"vq": battery.surface_voltage, "cq": battery.surface_capacitance, "iq": current}
    build.instance(
        block,
        name,
        (p, n),
        "battery_charged" if charged else "battery",
        voc=battery.open_circuit_voltage,
        r0=battery.resistance_instant,
        va=battery.activation_voltage,
        ia=battery.activation_current,
        cf=battery.activation_capacitance,
        rs=battery.resistance_slow,
        cs=battery.time_slow / battery.resistance_slow,
        vf0=battery.activation_voltage * math.asinh(current / battery.activation_current),
        vs0=current * battery.resistance_slow,
        **charged,
    )


def battery_at_rest(build: Builder, name: str, p: str, n: str, battery: BatteryCircuit) -> None:
    """The bank in the network at rest: all its resistances and its charge transfer, capacitances fully polarised."""
    ohm = battery.resistance_instant + battery.resistance_slow
    activation = battery.activation_voltage, battery.activation_current
    build.at_rest("e", name, p, n, battery.open_circuit_voltage, ohm, *activation)


def rest_network(build: Builder, boat: Boat) -> None:
    """The boat's own part of the network at rest; branches and displays add theirs."""
    battery_at_rest(build, "battery", "bat", "0", boat.battery)
    positive, negative = chain_nodes(boat)
    for k, element in enumerate(boat.positive):
        build.at_rest("r", f"pos{k}", positive[k], positive[k + 1], _ohm(element))
    for k, element in enumerate(boat.negative):
        build.at_rest("r", f"neg{k}", negative[k], negative[k + 1], _ohm(element))
    if boat.house is not None:
        battery_at_rest(build, "house", "house", "housen", boat.house)
        build.at_rest("r", "house negative", "housen", "0", boat.house_negative)
        if boat.link.kind == "closed":
            build.at_rest("r", "link", "bat", "house", boat.link.resistance)
    build.at_rest("r", "panel", node_of(boat, boat.panel.source), "panel", boat.panel.resistance)
    feed = boat.feed
    if feed.key_terminal == "always":
        total = feed.resistance + feed.joints + CONTACT_RESISTANCE
        build.at_rest("r", "feed", node_of(boat, feed.source), "feed", total)
    build.at_rest("r", "return", "dr", node_of(boat, feed.return_to), feed.return_resistance + feed.return_joints)
    _coils_at_rest(build, boat)


def _coils_at_rest(build: Builder, boat: Boat) -> None:
    """The start circuit behind the open key: an always-fed display lifts its return, and the coils see that."""
    start, coil, motor = boat.start, boat.solenoid, boat.motor
    wire = start.neutral_resistance + start.resistance + start.joints
    if start.relay is None:
        build.at_rest("r", "start wire", "keyst", "s", max(wire, 1e-4))
    else:
        build.at_rest("r", "start relay", "keyst", "block", wire + start.relay.coil_resistance)
    build.at_rest("r", "pull-in", "s", "mot", coil.pull_in)
    build.at_rest("r", "hold-in", "s", "block", coil.hold_in)
    build.at_rest("r", "motor", "mot", "block", motor.resistance + motor.brush_drop / 10.0)


def _ohm(element: Element) -> float:
    return element.resistance + element.joints


def add_boat(build: Builder, boat: Boat, times: KeyTimes, currents: dict[str, float]) -> None:
    """All lines but branch, displays and corners. `currents`: of the network at rest [A]."""
    build.line("timing", switched("kf", feed_intervals(boat.feed, times), times.stop))
    build.line("timing", switched("kh", [(times.key_on, times.stop + 1.0)], times.stop))
    starting = start_intervals(times)
    build.line("timing", switched("ks", starting if boat.start.neutral_closed else [], times.stop))
    may_fire = starting[-1:] if boat.fires_after is not None else []
    build.line("timing", switched("kq", may_fire, times.stop))
    _add_supplies(build, boat, currents)
    _add_feed(build, boat)
    _add_start_circuit(build, boat, currents)
    _add_starter(build, boat, currents)
    _add_engine(build, boat)
    _add_alternator(build, boat)
    for k, load in enumerate(boat.loads):
        _add_load(build, boat, k, load, times)


def _add_supplies(build: Builder, boat: Boat, currents: dict[str, float]) -> None:
    add_battery(build, "battery", "battery", "bat", "0", boat.battery, -currents["battery"])
    positive, negative = chain_nodes(boat)
    for elements, nodes, tag in ((boat.positive, positive, "pos"), (boat.negative, negative, "neg")):
        for k, element in enumerate(elements):
            ends = (nodes[k], nodes[k + 1])
            if element.inductance > 0.0:
                build.instance(
                    "cables",
                    f"{tag}{k}",
                    ends,
                    "cable",
                    r=element.resistance,
                    rj=element.joints,
                    l=element.inductance,
                    i0=currents[f"{tag}{k}"],
                )
            else:
                build.instance("cables", f"{tag}{k}", ends, "joint", r=_ohm(element))
    if boat.house is not None:
        add_battery(build, "battery", "house", "house", "housen", boat.house, -currents["house"])
        build.line("battery", f"Rhousen housen 0 {boat.house_negative!r}")
        if boat.link.kind == "closed":
            build.line("battery", f"Vlink bat link 0\nRlink link house {boat.link.resistance!r}")
    build.line(
        "battery", f"Rpanel {node_of(boat, boat.panel.source)} panel {max(boat.panel.resistance, LEAST_RESISTANCE)!r}"
    )


def _add_feed(build: Builder, boat: Boat) -> None:
    feed = boat.feed
    build.line("supply", f"Vtap {node_of(boat, feed.source)} f0 0")
    build.instance("supply", "feed", ("f0", "keyin"), "wire", r=feed.resistance, rj=feed.joints)
    build.instance("supply", "keyrun", ("keyin", "feed", "kf"), "contact_keyed", r=CONTACT_RESISTANCE)
    build.instance("return", "return", ("dr", "rt"), "wire", r=feed.return_resistance, rj=feed.return_joints)
    build.line("return", f"Vreturn rt {node_of(boat, feed.return_to)} 0")


def _add_start_circuit(build: Builder, boat: Boat, currents: dict[str, float]) -> None:
    start, block = boat.start, "start circuit"
    key = "keyin"
    if not start.shares_feed:
        key = "keyin2"
        build.line(block, f"Vstart {node_of(boat, start.source)} g0 0")
        build.instance(block, "startsupply", ("g0", key), "wire", r=start.supply_resistance, rj=start.supply_joints)
    build.instance(block, "keystart", (key, "keyst", "ks"), "contact_keyed", r=CONTACT_RESISTANCE)
    build.instance(block, "neutral", ("keyst", "kn"), "joint", r=start.neutral_resistance)
    build.instance(block, "startwire", ("kn", "sig"), "wire", r=start.resistance, rj=start.joints)
    if start.relay is None:
        build.line(block, "Vs sig s 0")
        build.line(block, "Rsig sig 0 1meg")
        return
    build.line(block, "Vsig sig c1 0")
    nodes = ("c1", "block", "stud", "s0", "ncs", "xsr", "hurry", "one")
    build.instance(block, "startrelay", nodes, "relay", **relay_values(start.relay, currents["start relay"]))
    add_suppression(build, block, "startsup", ("c1", "block"), start.relay)
    build.line(block, f"Rs0 s0 s1 {max(start.relay_contact_wire, 1e-5)!r}\nVs s1 s 0\nRncs ncs 0 1g")


def add_suppression(build: Builder, block: str, name: str, ends: tuple[str, str], relay: RelayCircuit) -> None:
    """What stands across a relay's coil."""
    choice = relay.suppression
    build.instance(block, name, ends, f"suppress_{choice.kind}", r=choice.resistance, vz=choice.zener_voltage)


def _add_starter(build: Builder, boat: Boat, currents: dict[str, float]) -> None:
    coil, motor = boat.solenoid, boat.motor
    build.instance(
        "starter",
        "solenoid",
        ("s", "stud", "mot", "block", "xso", "hurry", "pace", "one"),
        "solenoid",
        rpi=coil.pull_in,
        rhi=coil.hold_in,
        lpi=coil.inductance_pull_in,
        lhi=coil.inductance_hold_in,
        iop=coil.operate_ampere,
        irel=coil.release_ampere,
        top=coil.travel_operate,
        trel=coil.travel_release,
        rk=coil.contact_resistance,
        varc=ARC_SHARE * boat.nominal_voltage,
        ipi0=currents["pull-in"],
        ihi0=currents["hold-in"],
    )
    build.line("starter", "Vmot mot mot1 0")
    build.instance(
        "starter",
        "starter",
        ("mot1", "block", "w"),
        "starter",
        r=motor.resistance,
        l=motor.inductance,
        vb=motor.brush_drop,
        k0=motor.field_constant_residual,
        k1=motor.field_constant_saturated,
        tf=motor.friction_torque,
        bf=max(motor.friction_viscous, 1e-9),
        j=motor.inertia,
        sh=motor.torque_share,
        i0=currents["motor"],
        **{"is": motor.saturation_current},
    )
    build.line("starter", f"Rmot mot1 block {MOTOR_DAMPING}")


def _add_engine(build: Builder, boat: Boat) -> None:
    engine = boat.engine
    pairs = ((engine.a1, engine.b1), (engine.a2, engine.b2), (engine.a3, engine.b3))
    harmonics: dict[str, float] = {}
    for k, (sine, cosine) in enumerate(pairs, start=1):
        harmonics |= {f"c{k}": math.hypot(sine, cosine), f"p{k}": math.atan2(cosine, sine)}
    build.instance(
        "engine",
        "engine",
        ("w", "we", "th", "xso", "kq", "fi", "tf", "one"),
        "engine",
        ratio=boat.gear_ratio,
        tc=engine.friction_torque,
        bv=max(engine.friction_viscous, 1e-6),
        tb=engine.breakaway_torque,
        ws=engine.breakaway_speed,
        je=engine.inertia,
        h=engine.order,
        th0=engine.rest_angle,
        wmin=boat.minimum_speed,
        tfire=boat.fires_after if boat.fires_after is not None else 1e6,
        widle=boat.idle_speed + 1.0 / FIRE_GOVERNOR,  # at idle it pulls as much as it drags
        gov=FIRE_GOVERNOR * (engine.friction_torque + engine.friction_viscous * boat.idle_speed),
        **harmonics,
    )


def _add_alternator(build: Builder, boat: Boat) -> None:
    alternator = boat.alternator
    values = {
        "vch": alternator.charge_voltage,
        "ramp": max(alternator.ramp, 1e-3),
        "imax": alternator.rating,
    }
    plus = "altp" if boat.link.kind == "diode isolator" else "stud"
    build.instance("alternator", "alternator", (plus, "block", "tf"), "alternator", **values)
    if plus == "altp":
        # isolator diodes of alternator size: 1 V at rated current, engineering estimate
        for name, to in (("isostart", "stud"), ("isohouse", "house" if boat.house is not None else "stud")):
            build.instance("alternator", name, (plus, to), "diode", n=1.5, rs=3e-3, **{"is": 1e-8})
        build.line("alternator", "Raltp altp block 1k")


def _add_load(build: Builder, boat: Boat, number: int, load: Load, times: KeyTimes) -> None:
    begin, end = mark_time(load.from_time, times), mark_time(load.until, times)
    window = [(begin if begin is not None else 0.0, end if end is not None else times.stop + 1.0)]
    gate = f"ga{number}"
    build.line("loads", switched(gate, merged(window), times.stop))
    for mark, moment, part in (
        (load.from_time, begin, "gate_from_fire"),
        (load.until, end, "gate_until_fire"),
    ):
        if moment is None:
            after = f"{gate}{part[5]}"
            build.instance("loads", f"gate{after}", (after, gate, "tf"), part, toff=max(mark.offset, 0.0))
            gate = after
    nodes = (f"ld{number}", node_of(boat, load.return_to), gate)
    build.line("loads", f"Vld{number} {node_of(boat, load.at)} ld{number} 0")
    build.instance("loads", f"load{number}", nodes, f"load_{load.kind}", amount=load.amount)
