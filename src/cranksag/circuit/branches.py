# SPDX-License-Identifier: GPL-3.0-or-later
"""The hold-up branches as lines of the ``branch`` block: what stands between the key's terminal and the display.

Each writer returns the segments of the normal feed's loop through the branch, and `vfd`/`vhold` sense the current of
the normal feed and of the hold-up at the display's supply pin.
"""

from __future__ import annotations

from cranksag.circuit.boat import (
    CONTACT_RESISTANCE,
    CONVERTER_HEADROOM,
    NODES,
    add_diode,
    add_suppression,
    diode_at_rest,
    diode_drop,
    relay_values,
)
from cranksag.circuit.loops import Segment
from cranksag.circuit.network import LEAST_RESISTANCE, THERMAL_VOLTAGE_DECK, Builder
from cranksag.parts.converter import ConverterCircuit
from cranksag.parts.diode import DiodeCircuit
from cranksag.resolve.model import Bank, Boat, ConverterAhead, HouseFeed, NoHoldUp, StandbyPack

BLOCK = "branch"
MEETING_FINENESS = 20.0  # [-] the contacts of the hold-up relay meet to 20 ns: the display falls meanwhile
CHARGE_FINENESS = 60.0  # [rad/V^(1/3)] the solver's steps while a bank charges: some hundred from flat to full
BARE_LEG = 1e-3  # [ohm] what is left in a capacitor's leg without an inrush limiter: terminals and wire; estimate
LEAST_RESTART = 1e-4  # [s] a latch whose timer holds no charge flutters as it goes over; numerical
REGULATION = 20.0  # [A/V] of the converter subcircuit's output
FLAT_OVER_FLOAT = 12.0 / 13.6  # [-] a discharged lead pack's voltage over its float charge; common practice
# the coil has a return of its own: through the display's return, a break there would feed the start signal
COIL_RETURN = "block"
COIL_WIRE = 0.1  # [ohm] from S terminal or key to the relay's coil; nothing against a coil of tens of ohms

_NETLIST = {
    "none": "none",
    "standby pack": "standby_pack",
    "reservoir": "reservoir",
    "supercapacitor": "supercapacitor",
    "house feed": "house_feed",
    "converter": "converter",
}


def netlist_name(branch: str) -> str:
    """Top circuit of a hold-up branch."""
    return _NETLIST[branch]


def branch_at_rest(build: Builder, boat: Boat) -> None:
    """What of the branch conducts with the key off."""
    hold = boat.hold_up
    always = boat.feed.key_terminal == "always"
    if isinstance(hold, NoHoldUp):
        # one node in the circuit; unfed it floats, and so small a resistance would make the network's matrix singular
        build.at_rest("r", "feed to display", "feed", "ds", LEAST_RESISTANCE if always else CONTACT_RESISTANCE)
    elif isinstance(hold, StandbyPack):
        total = hold.pack.resistance + hold.fuse_resistance
        build.at_rest("e", "pack", "pk", "dr", hold.pack.open_circuit_voltage, total)
        if hold.relay is not None and hold.relay.changeover:
            _rest_feed(build, hold.feed_diode, "nc")
            build.at_rest("r", "resting contact", "nc", "ds", hold.relay.contact_resistance)
        else:
            _rest_feed(build, hold.feed_diode)
        if hold.relay is None:
            diode_at_rest(build, "pack diode", "pk", "ds", hold.diode)
        else:
            build.at_rest("r", "coil wire", NODES[hold.coil_at], "coil", COIL_WIRE)
            build.at_rest("r", "hold-up relay", "coil", COIL_RETURN, hold.relay.coil_resistance)
            if hold.relay.suppression.kind == "resistor":
                build.at_rest("r", "suppression", "coil", COIL_RETURN, hold.relay.suppression.resistance)
            elif hold.relay.suppression.kind == "diode":
                build.at_rest("d", "suppression", COIL_RETURN, "coil", 1e-9, 1.9 * THERMAL_VOLTAGE_DECK, 50e-3)
    elif isinstance(hold, Bank):
        _rest_feed(build, hold.diode)
        build.at_rest("r", "bank limiter", "ds", "cp", _limit(hold))
        build.at_rest("r", "bank fuse", "cp", "cb", max(hold.fuse_resistance, 1e-4))
        build.at_rest("r", "bank leakage", "cb", "dr", hold.bank.esr + _leakage(hold))
    elif isinstance(hold, HouseFeed):
        _rest_feed(build, hold.feed_diode)
        if always:
            total = hold.resistance + hold.joints + hold.fuse_resistance + CONTACT_RESISTANCE
            build.at_rest("r", "house feed", "house", "hd", total)
            diode_at_rest(build, "house diode", "hd", "ds", hold.diode)
    elif always:
        unit = hold.converter
        power = _power_at_pins(boat, unit) / unit.efficiency + unit.quiescent_power
        build.at_rest("r", "converter fuse", "feed", "cf", hold.fuse_resistance)
        build.at_rest("p", "converter input", "cf", "dr", power, unit.cut_out)
        build.at_rest("e", "converter output", "cv", "dr", unit.output_voltage, 1.0 / REGULATION)
        build.at_rest("r", "converter to display", "cv", "ds", 1e-5)


def _power_at_pins(boat: Boat, unit: ConverterCircuit) -> float:
    """What running displays take from the converter's output, the loss of their input diodes included [W]."""
    pins, current = unit.output_voltage, 0.0
    for _ in range(30):
        current = 0.0
        for display in boat.displays:
            share = display.circuit.power / pins
            if (diode := display.circuit.diode) is not None:
                for _ in range(20):
                    inside = max(pins - diode_drop(diode, share), display.circuit.converter_minimum)
                    share = display.circuit.power / inside
            current += share
        pins = unit.output_voltage - current / REGULATION
    return pins * current


def _rest_feed(build: Builder, diode: DiodeCircuit | None, end: str = "ds") -> None:
    if diode is None:
        build.at_rest("r", "feed to display", "feed", end, CONTACT_RESISTANCE)
    else:
        diode_at_rest(build, "feed diode", "feed", end, diode)


def add_branch(
    build: Builder, boat: Boat, volts: dict[str, float], currents: dict[str, float], running: bool, pace: float = 1.0
) -> list[Segment]:
    """Write the branch. `volts`, `currents`: the network at rest; `running`: the display is fed with the key off."""
    hold = boat.hold_up
    if isinstance(hold, StandbyPack):
        return _standby_pack(build, hold, currents)
    if isinstance(hold, Bank):
        return _bank(build, hold, currents, pace)
    if isinstance(hold, HouseFeed):
        return _house_feed(build, boat, hold)
    if isinstance(hold, ConverterAhead):
        return _converter(build, hold, volts, running)
    build.line(BLOCK, "Vhold feed ds 0")
    return []


def _feed_diode(build: Builder, diode: DiodeCircuit | None, start: str = "feed", end: str = "ds") -> Segment:
    build.line(BLOCK, f"Vfd {start} fd 0")
    if diode is None:
        build.line(BLOCK, f"Rfd fd {end} {CONTACT_RESISTANCE}")
        return Segment("feed joint to display", "supply", None, start, end)
    add_diode(build, BLOCK, "feeddiode", "fd", end, diode)
    return Segment("feed diode", "supply", "hold_up.feed_diode", start, end)


def _standby_pack(build: Builder, hold: StandbyPack, currents: dict[str, float]) -> list[Segment]:
    build.instance(
        BLOCK,
        "pack",
        ("pk", "dr"),
        "pack",
        voc=hold.pack.open_circuit_voltage,
        r=hold.pack.resistance,
        rfuse=hold.fuse_resistance,
    )
    segments: list[Segment] = []
    if hold.relay is None:
        segments.append(_feed_diode(build, hold.feed_diode))
        build.line(BLOCK, "Vhold pk hd 0")
        add_diode(build, BLOCK, "packdiode", "hd", "ds", hold.diode)
    else:
        tap = NODES[hold.coil_at]
        build.line(BLOCK, f"Vcoil {tap} coil0 0\nRcoilwire coil0 coil {COIL_WIRE}")
        values = relay_values(hold.relay, currents["hold-up relay"]) | {"fine": MEETING_FINENESS}
        if hold.relay.changeover:
            # the moving contact carries the display: at rest the normal feed, operated the pack
            build.instance(
                BLOCK, "relay", ("coil", COIL_RETURN, "ds", "no", "nc", "xhr", "hurry", "one"), "relay", **values
            )
            segments.append(_feed_diode(build, hold.feed_diode, end="nc"))
            segments.append(Segment("relay resting contact", "supply", "hold_up.relay", "nc", "ds"))
            build.line(BLOCK, "Vhold pk hd 0\nRnc nc 0 1g")
            add_diode(build, BLOCK, "packdiode", "hd", "no", hold.diode)
        else:
            build.instance(
                BLOCK, "relay", ("coil", COIL_RETURN, "pk", "no", "nc", "xhr", "hurry", "one"), "relay", **values
            )
            segments.append(_feed_diode(build, hold.feed_diode))
            build.line(BLOCK, "Vhold no hd 0\nRnc nc 0 1g")
            add_diode(build, BLOCK, "packdiode", "hd", "ds", hold.diode)
        add_suppression(build, BLOCK, "suppress", ("coil", COIL_RETURN), hold.relay)
    if hold.recharge == "resistor":
        # its own small diode keeps the pack from feeding the harness backwards
        build.line(BLOCK, f"Rcharge feed rc1 {hold.recharge_resistance!r}")
        build.instance(BLOCK, "chargediode", ("rc1", "pk"), "diode", n=1.9, rs=0.05, **{"is": 1e-9})
    elif hold.recharge == "charger":
        current = (1.0 - FLAT_OVER_FLOAT) * hold.recharge_voltage / hold.recharge_resistance
        build.instance(
            BLOCK,
            "charger",
            ("feed", "pk"),
            "charger",
            vset=hold.recharge_voltage,
            r=hold.recharge_resistance,
            imax=max(current, 0.1),
        )
    return segments


def _limit(hold: Bank) -> float:
    """Resistance in the charge path [ohm]."""
    bare = BARE_LEG if hold.charge_current is None else BARE_LEG * 100
    return hold.inrush_limit if hold.inrush_limit else bare


def _bank(build: Builder, hold: Bank, currents: dict[str, float], pace: float) -> list[Segment]:
    segment = _feed_diode(build, hold.diode)
    start = max(currents["bank leakage"] * _leakage(hold), 0.0)
    if hold.charge_current is not None:
        build.instance(BLOCK, "limit", ("ds", "cp"), "limiter", r=_limit(hold), imax=hold.charge_current)
    else:
        build.line(BLOCK, f"Rlimit ds cp {_limit(hold)!r}")
    if hold.discharge_diode is not None:
        add_diode(build, BLOCK, "discharge", "cp", "ds", hold.discharge_diode)
    build.line(BLOCK, f"Vhold cp cf 0\nRfuse cf cb {max(hold.fuse_resistance, 1e-4)!r}")
    build.instance(
        BLOCK,
        "bank",
        ("cb", "dr"),
        "capacitor",
        c=hold.bank.capacitance,
        esr=hold.bank.esr,
        rleak=_leakage(hold),
        v0=start,
    )
    build.instance(BLOCK, "charging", ("ds", "cp", "ahead"), "charging", fine=CHARGE_FINENESS / pace)
    return [segment]


def _leakage(hold: Bank) -> float:
    return 1.0 / (1.0 / hold.bank.leakage_resistance + (1.0 / hold.bleed if hold.bleed else 0.0))


def _house_feed(build: Builder, boat: Boat, hold: HouseFeed) -> list[Segment]:
    segment = _feed_diode(build, hold.feed_diode)
    build.instance(
        BLOCK, "housewire", ("house", "hw"), "wire", r=hold.resistance, rj=hold.joints + hold.fuse_resistance
    )
    # switched with the key, like any panel breaker that is on while the boat is used
    control = "one" if boat.feed.key_terminal == "always" else "kh"
    build.instance(BLOCK, "housekey", ("hw", "hs", control), "contact_keyed", r=CONTACT_RESISTANCE)
    build.line(BLOCK, "Vhold hs hd 0")
    add_diode(build, BLOCK, "housediode", "hd", "ds", hold.diode)
    return [segment]


def _converter(build: Builder, hold: ConverterAhead, volts: dict[str, float], running: bool) -> list[Segment]:
    unit = hold.converter
    build.line(BLOCK, f"Vfuse feed cf0 0\nRfuse cf0 cf {max(hold.fuse_resistance, 1e-4)!r}")
    build.instance(
        BLOCK,
        "converter",
        ("cf", "cv", "dr", "onc", "one"),
        "converter",
        vset=unit.output_voltage,
        eta=unit.efficiency,
        ilim=unit.input_limit,
        pq=unit.quiescent_power,
        headroom=CONVERTER_HEADROOM if unit.direction == "down" else -1000.0,
        vcutout=unit.cut_out,
        vcutin=unit.cut_in,
        trestart=max(unit.restart_delay, LEAST_RESTART),
        co=unit.output_capacitance,
        on0=1.0 if running else 0.0,
        v0=volts["ds"] - volts["dr"] if running else 0.0,
        vi0=volts["cf"] - volts["dr"] if running else 0.0,
    )
    if hold.pass_diode is not None:
        add_diode(build, BLOCK, "pass", "cf", "cv", hold.pass_diode)
    build.line(BLOCK, "Vhold cv ds 0")
    return [
        Segment("converter fuse", "supply", "hold_up.fuse", "feed", "cf"),
        Segment("converter", "supply", "hold_up", "cf", "ds"),
    ]
