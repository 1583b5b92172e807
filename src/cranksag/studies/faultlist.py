# SPDX-License-Identifier: GPL-3.0-or-later
"""Single faults of a boat and its hold-up branch, each as a few changes of the deck's own lines."""

from __future__ import annotations

from collections.abc import Iterator

from cranksag.circuit import Signal
from cranksag.circuit.boat import ARC_SHARE, CONTACT_RESISTANCE, diode_values
from cranksag.circuit.timing import KeyTimes
from cranksag.parts.relay import RelayCircuit
from cranksag.resolve.model import Bank, Boat, ConverterAhead, Display, HouseFeed, StandbyPack
from cranksag.studies.faultedits import (
    FAULT_OPEN,
    FAULT_SHORT,
    SOUND,
    Added,
    Bridge,
    Detach,
    Edit,
    Fault,
    Parameter,
    Port,
    Swap,
    Unfused,
    conductor,
    two_terminal,
)
from cranksag.studies.faultmains import CONTACT_WIRE, main_faults, part_names

HELM_BOND = 5e-3  # [ohm] helm's common negative to the battery: panel negative and bus bar; engineering estimate
OFF, RUN, CRANK, AFTER = 0.25, 0.35, 0.6, 0.3  # [s] length of each part of the run
OPENS_AT, OPENS_IN = 0.3, 0.02  # [s] into the crank, and how long a strap takes to part; engineering estimate
HELM_NOTE = "with the helm's negatives joined the engine's current returns through the display's return wire"
ARC_SLOPE = 20.0  # [A/V] above the arc's voltage, as in the main contact; numerical
HELD = 1.0  # [ohm] what holds a welded armature there; numerical
MADE = 1000.0  # [per mille] an armature at the end of its travel
PINS = "dspins"
"""Deck node of the displays' supply pins beyond a broken wire."""


def fault_times(boat: Boat) -> KeyTimes:
    """The key of a fault run: off for `OFF`, in RUN for `RUN`, in START for `CRANK`, let go for `AFTER` [s]."""
    pause, hold = boat.feed.key_break, boat.hold_up
    wait = hold.converter.restart_delay if isinstance(hold, ConverterAhead) else 0.0
    start = OFF + RUN + wait + pause
    return KeyTimes(OFF, (start,), (start + CRANK,), start + CRANK + pause + AFTER)


def single_faults(boat: Boat) -> Iterator[Fault]:
    """Every single fault that is tried on a boat, the sound boat first.

    Parameters: boat : resolved. Yields: Fault, each pair of part and fault once.
    """
    yield Fault(*SOUND, ())
    yield from _feed_faults(boat)
    yield from _ground_faults(boat)
    yield from main_faults(boat)
    yield from _start_faults(boat)
    yield from _display_faults(boat)
    hold = boat.hold_up
    if isinstance(hold, StandbyPack):
        yield from _pack_faults(hold)
    elif isinstance(hold, Bank):
        yield from _bank_faults(hold)
    elif isinstance(hold, HouseFeed):
        yield from _house_faults(hold)
    elif isinstance(hold, ConverterAhead):
        yield from _converter_faults(hold)


def _feed_faults(boat: Boat) -> Iterator[Fault]:
    yield from conductor("display feed conductor", "Xfeed", 1, "keyin")
    if boat.feed.key_terminal != "always":
        key = f"key's {boat.feed.key_terminal.upper()} contact"
        yield Fault(key, "welded", (Bridge("keyin", "feed", CONTACT_RESISTANCE),))
    yield Fault("display feed behind the key", "broken", (Detach("Xkeyrun", 1),))
    yield Fault("display feed behind the key", "shorted to ground", (Bridge("feed", "block"),))
    pins = tuple(Port(f"Xdisplay{k}", 0, PINS) for k in range(len(boat.displays)))
    cut: tuple[Edit, ...] = (*pins, Bridge("ds", PINS, FAULT_OPEN))
    yield Fault("display supply wire", "broken", cut, reads=(("display", Signal(f"v({PINS})", "v(dr)")),))
    yield Fault("display supply wire", "shorted to ground", (Bridge("ds", "block"),))
    yield Fault("display return conductor", "broken", (Detach("Xreturn", 1),))
    yield Fault("display return conductor", "shorted to ground", (Bridge("dr", "block"),))


def _ground_faults(boat: Boat) -> Iterator[Fault]:
    """The engine ground strap open: what is grounded at the engine then returns by way of the helm.

    The helm's negatives are taken as joined (a bus bar, a network's shield), as they are on nearly every boat.
    """
    start = boat.start
    harness = max(start.resistance + start.joints, HELM_BOND)
    bond = Bridge("dr", "0", HELM_BOND) if boat.feed.return_to == "engine block" else Bridge("block", "dr", harness)
    names = part_names(boat)
    for k, element in enumerate(boat.negative):
        part = names[element.path]
        yield Fault(part, "broken", (Detach(f"Xneg{k}", 0), bond), HELM_NOTE)
        yield Fault(part, "breaks while cranking", (*_parting(boat, k), bond), HELM_NOTE)


def _parting(boat: Boat, number: int) -> tuple[Edit, ...]:
    """A strap that parts during the crank: its resistance rises exponentially from 17 uohm to 160 kohm."""
    at = fault_times(boat).starts[0] + OPENS_AT
    node = "block" if number == 0 else f"neg{number - 1}"
    return (
        Port(f"Xneg{number}", 0, "parted"),
        Added(
            f"Vpart vpart 0 pwl(0 0 {at!r} 0 {at + OPENS_IN!r} 1)\n"
            f"Bpart {node} parted I = v({node},parted)*exp(11-23*v(vpart))"
        ),
    )


def _start_faults(boat: Boat) -> Iterator[Fault]:
    start = boat.start
    if not start.shares_feed:
        yield from conductor("start circuit's supply wire", "Xstartsupply", 1, "keyin2")
    source = "keyin" if start.shares_feed else "keyin2"
    yield Fault("key's START contact", "welded", (Bridge(source, "keyst", CONTACT_RESISTANCE),))
    yield Fault("key's START contact", "open", (Detach("Xkeystart", 1),))
    yield Fault("neutral switch", "open", (Detach("Xneutral", 0),))
    yield from conductor("start wire", "Xstartwire", 1, "sig")
    if start.relay is not None:
        yield from _relay("start relay", "Xstartrelay", "stud", "s0", start.relay)
        yield from _suppression("start relay's suppression", "Xstartsup", "c1", "block", start.relay)
        yield Fault(CONTACT_WIRE, "broken", (Detach("Rs0", 0),))
        # hundreds of amperes are not chopped: an arc carries them on, as at the starter's main contact
        volts = ARC_SHARE * boat.nominal_voltage
        arc = Added(f"Barc stud s0 I = {ARC_SLOPE!r}*uramp(v(stud,s0)-{volts!r})")
        unfused = Unfused((CONTACT_WIRE,), cure="guard that wire against chafe and loose terminals")
        yield Fault(CONTACT_WIRE, "shorted to ground", (Bridge("s", "block"), arc), unfused=unfused)
    contact = "starter solenoid's main contact"
    # welded, the contact holds plunger and pinion as well
    yield Fault(contact, "welded", (Added(f"Vweld weld 0 {MADE!r}\nRweld weld xso {HELD!r}"),))
    yield Fault(contact, "open", (Detach("Xsolenoid", 1),))


def _display_faults(boat: Boat) -> Iterator[Fault]:
    """A display's sense wire, and its input diode inside its subcircuit: bridged, dead, or turned round."""
    for k, display in enumerate(boat.displays):
        if display.circuit.sense_threshold is not None:
            yield Fault(f"sense wire of display {display.name!r}", "broken", (Detach(f"Xsense{k}", 0),))
        diode, element = display.circuit.diode, f"Xdisplay{k}"
        if diode is None:
            continue
        part = diode_part(display)
        dead = Parameter(element, "drs", FAULT_OPEN)
        bare = "nothing keeps a reversed supply out of the display any more, nor its charge in while the supply sags"
        yield Fault(part, "short", (Parameter(element, "dsh", FAULT_SHORT),), bare)
        yield Fault(part, "open", (dead, Parameter(element, "dsh", FAULT_OPEN)))
        values = " ".join(f"{name}={value!r}" for name, value in diode_values(diode).items())
        ends = f"xdisplay{k}.di xdisplay{k}.p1"
        turned = Added(f"Dturned{k} {ends} dturned{k}\n.model dturned{k} d({values})")
        lets = "it lets a reversed supply into the display and the right one not"
        yield Fault(part, "reversed", (dead, turned), lets)


def diode_part(display: Display) -> str:
    """Part name of a display's input diode."""
    return f"input diode of display {display.name!r}"


def _relay(
    part: str, element: str, common: str, working: str, relay: RelayCircuit, resting: str = "nc"
) -> Iterator[Fault]:
    welded: tuple[Edit, ...] = (Bridge(common, working, relay.contact_resistance),)
    if relay.changeover:
        welded = (*welded, Detach(element, 4))
    yield Fault(part, "welded", welded)
    yield Fault(part, "open", (Detach(element, 3),))
    if relay.changeover:
        stuck = (Bridge(common, resting, relay.contact_resistance), Detach(element, 3))
        yield Fault(part, "resting contact welded", stuck)
        yield Fault(part, "resting contact open", (Detach(element, 4),))


def _suppression(part: str, element: str, a: str, b: str, relay: RelayCircuit) -> Iterator[Fault]:
    if relay.suppression.kind in ("diode", "zener"):
        yield from two_terminal(part, element, a, b)
    elif relay.suppression.kind == "resistor":
        yield Fault(part, "short", (Bridge(a, b),))
        yield Fault(part, "open", (Detach(element, 0),))


def _pack_faults(hold: StandbyPack) -> Iterator[Fault]:
    yield Fault("pack", "reversed", (Swap("Xpack"),))
    yield from conductor("pack positive wire", "Xpack", 0, "pk")
    yield Fault("pack negative wire", "broken", (Detach("Xpack", 1),))
    relay = hold.relay
    anode, cathode = ("hd", "no") if relay is not None and relay.changeover else ("hd", "ds")
    yield from two_terminal("pack diode", "Xpackdiode", anode, cathode)
    if hold.feed_diode is not None:
        yield from two_terminal("feed diode", "Xfeeddiode", "fd", _feed_end(hold))
    if relay is not None:
        common = "ds" if relay.changeover else "pk"
        yield from _relay("hold-up relay", "Xrelay", common, "no", relay)
        yield Fault("wire behind the hold-up relay", "shorted to ground", (Bridge("no", "block"),))
        yield from conductor("hold-up relay's coil wire", "Rcoilwire", 1, "coil")
        yield from _suppression("hold-up relay's suppression", "Xsuppress", "coil", "block", relay)
    if hold.recharge == "resistor":
        yield Fault("charge resistor", "short", (Bridge("feed", "rc1"),))
        yield Fault("charge resistor", "open", (Detach("Rcharge", 0),))
        yield from two_terminal("charge diode", "Xchargediode", "rc1", "pk")
    elif hold.recharge == "charger":
        yield Fault("charger", "short", (Bridge("feed", "pk"),))
        yield Fault("charger", "open", (Detach("Xcharger", 0),))


def _feed_end(hold: StandbyPack) -> str:
    return "nc" if hold.relay is not None and hold.relay.changeover else "ds"


def _bank_faults(hold: Bank) -> Iterator[Fault]:
    yield Fault("capacitor bank", "short", (Bridge("cb", "dr"),))
    yield Fault("capacitor bank", "open", (Detach("Xbank", 0),))
    if hold.diode is not None:
        yield from two_terminal("feed diode", "Xfeeddiode", "fd", "ds")
    if hold.discharge_diode is not None:
        yield from two_terminal("discharge diode", "Xdischarge", "cp", "ds")
    limiter = "Rlimit" if hold.charge_current is None else "Xlimit"
    if hold.inrush_limit is not None or hold.charge_current is not None:
        yield Fault("inrush limiter", "short", (Bridge("ds", "cp"),))
        yield Fault("inrush limiter", "open", (Detach(limiter, 0),))
    yield from conductor("bank wire", "Rfuse", 0, "cp")


def _house_faults(hold: HouseFeed) -> Iterator[Fault]:
    yield from conductor("house feed wire", "Xhousewire", 1, "hw")
    yield Fault("house feed's switch", "open", (Detach("Xhousekey", 0),))
    yield from two_terminal("house diode", "Xhousediode", "hd", "ds")
    if hold.feed_diode is not None:
        yield from two_terminal("feed diode", "Xfeeddiode", "fd", "ds")


def _converter_faults(hold: ConverterAhead) -> Iterator[Fault]:
    yield Fault("converter", "short", (Bridge("cf", "cv"),))
    yield Fault("converter", "open", (Detach("Xconverter", 1),))
    yield from conductor("wire behind the converter's fuse", "Rfuse", 1, "cf")
    if hold.pass_diode is not None:
        yield from two_terminal("pass diode", "Xpass", "cf", "cv")
