# SPDX-License-Identifier: GPL-3.0-or-later
"""The hold-up branches between the key's terminal (`feed`) and the display's pins (`ds`, `dr`)."""

from __future__ import annotations

from collections.abc import Sequence

from cranksag.parts.diode import DiodeCircuit
from cranksag.resolve.model import Bank, ConverterAhead, HouseFeed, StandbyPack
from tests.reference import laws
from tests.reference.assembly import KEY_CONTACT, Model, add_diode, node_of, plain_diode, relay

COIL_WIRE = 0.1  # [ohm]
BARE_LEG = 1e-3  # [ohm]
INPUT_CAPACITANCE = 100e-6  # [F] at the converter's input


def add_branch(model: Model, running: bool) -> None:
    """The branch of the model's boat."""
    hold = model.boat.hold_up
    if isinstance(hold, StandbyPack):
        _standby_pack(model, hold)
    elif isinstance(hold, Bank):
        _bank(model, hold, running)
    elif isinstance(hold, HouseFeed):
        _house_feed(model, hold)
    elif isinstance(hold, ConverterAhead):
        _converter(model, hold, running)
    else:
        model.net.aliases["feed"] = "ds"


def _normal_feed(model: Model, diode: DiodeCircuit | None, end: str = "ds") -> None:
    if diode is None:
        model.net.resistor("feed diode", "feed", end, KEY_CONTACT)
    else:
        add_diode(model, "feed diode", "feed", end, diode)


def _standby_pack(model: Model, hold: StandbyPack) -> None:
    net = model.net
    net.source("pack", "pk", "dr", hold.pack.resistance + hold.fuse_resistance, {}, hold.pack.open_circuit_voltage)
    if hold.relay is None:
        _normal_feed(model, hold.feed_diode)
        add_diode(model, "pack diode", "pk", "ds", hold.diode)
    else:
        net.resistor("coil wire", node_of(model.boat, hold.coil_at), "coil", COIL_WIRE)
        relay(model, "hold relay", "coil", "block", hold.relay)
        if hold.relay.changeover:
            _normal_feed(model, hold.feed_diode, "nc")
            net.resistor("resting contact", "nc", "ds", hold.relay.contact_resistance, contact="rest contact")
            net.resistor("working contact", "no", "ds", hold.relay.contact_resistance, contact="hold relay")
            add_diode(model, "pack diode", "pk", "no", hold.diode)
            model.flags.add("rest contact")
        else:
            _normal_feed(model, hold.feed_diode)
            net.resistor("working contact", "pk", "no", hold.relay.contact_resistance, contact="hold relay")
            add_diode(model, "pack diode", "no", "ds", hold.diode)
    if hold.recharge == "resistor":
        net.resistor("recharge", "feed", "rc1", hold.recharge_resistance)
        net.port("recharge diode", "rc1", "pk", plain_diode(1e-9, 1.9, 0.05), 0.01)
    elif hold.recharge == "charger":
        raise ValueError("the comparison has no charger: it moves milliamperes while cranking")


def _bank(model: Model, hold: Bank, running: bool) -> None:
    net = model.net
    _normal_feed(model, hold.diode)
    ohm = hold.inrush_limit or BARE_LEG
    if hold.charge_current is not None:
        ohm, most = hold.inrush_limit or BARE_LEG * 100.0, hold.charge_current

        def limited(v: float, x: Sequence[float]) -> tuple[float, float]:
            share = v / (ohm * most)
            return most * laws.clamp(share), 1.0 / ohm if 0.0 < share < 1.0 else 0.0

        net.port("limiter", "ds", "cp", limited, 0.01)
    else:
        net.resistor("limiter", "ds", "cp", ohm)
    if hold.discharge_diode is not None:
        add_diode(model, "discharge diode", "cp", "ds", hold.discharge_diode)
    model.state("bank", 0.0, electrical=running)
    net.source("bank leg", "cp", "dr", max(hold.fuse_resistance, 1e-4) + hold.bank.esr, {"bank": 1.0}, 0.0)
    leak = 1.0 / hold.bank.leakage_resistance + (1.0 / hold.bleed if hold.bleed else 0.0)
    model.linear += [("bank", "bank leg", 1.0 / hold.bank.capacitance), ("bank", "bank", -leak / hold.bank.capacitance)]


def _house_feed(model: Model, hold: HouseFeed) -> None:
    _normal_feed(model, hold.feed_diode)
    model.net.resistor("house wire", "house", "hw", hold.resistance + hold.joints + hold.fuse_resistance)
    model.net.resistor("house contact", "hw", "hd", KEY_CONTACT, contact="kh")
    add_diode(model, "house diode", "hd", "ds", hold.diode)


def _converter(model: Model, hold: ConverterAhead, running: bool) -> None:
    net = model.net
    for state, a, farad in (("vci", "cf", INPUT_CAPACITANCE), ("vco", "ds", hold.converter.output_capacitance)):
        model.state(state, 0.0, electrical=running)
        net.ideal[state] = (a, "dr")
        model.capacitance[state] = farad
    net.resistor("converter fuse", "feed", "cf", max(hold.fuse_resistance, 1e-4))
    net.resistor("converter bleed", "cf", "dr", 1e5)
    if hold.pass_diode is not None:
        add_diode(model, "pass diode", "cf", "ds", hold.pass_diode)
    for name, at_rest in (("converter low", 0.0), ("converter high", 1.0), ("converter run", 1.0)):
        model.state(name, at_rest if running else 1.0 - at_rest if name == "converter low" else 0.0)
    if running:
        model.flags |= {"converter on", "converter fed"}
    else:
        model.flags.add("converter starved")
