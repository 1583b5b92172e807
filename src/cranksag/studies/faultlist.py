# SPDX-License-Identifier: GPL-3.0-or-later
"""Single faults of a boat and its hold-up branch, each as a few changes of the deck's own lines.

A short is `FAULT_SHORT` across two nodes, an open a port taken off its node and left behind `FAULT_OPEN`, a reversed
part has two ports exchanged. Only lines of the top circuit are changed, never the netlists of ``circuits/``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from cranksag.circuit import Signal
from cranksag.circuit.timing import KeyTimes
from cranksag.errors import DeckError
from cranksag.parts.relay import RelayCircuit
from cranksag.resolve.model import Bank, Boat, ConverterAhead, HouseFeed, StandbyPack

FAULT_SHORT = 1e-3  # [ohm] a part failed short, a wire chafed through to metal; engineering estimate
FAULT_OPEN = 1e9  # [ohm] a broken wire, a dead part
HELM_BOND = 5e-3  # [ohm] helm's common negative to the battery: panel negative and bus bar; engineering estimate
OFF, RUN, CRANK, AFTER = 0.25, 0.35, 0.6, 0.3  # [s] length of each part of the run
OPENS_AT, OPENS_IN = 0.3, 0.02  # [s] into the crank, and how long a strap takes to part; engineering estimate
HELM_NOTE = "with the helm's negatives joined the engine's current returns through the display's return wire"
PINS = "dspins"
"""Deck node of the displays' supply pins beyond a broken wire."""
SOUND = ("as designed", "none")
"""Part and fault of the row without a fault."""


@dataclass(frozen=True, slots=True)
class Bridge:
    """`ohm` between nodes `a` and `b`."""

    a: str
    b: str
    ohm: float = FAULT_SHORT


@dataclass(frozen=True, slots=True)
class Detach:
    """Port number `port` of an element taken off its node."""

    element: str
    port: int


@dataclass(frozen=True, slots=True)
class Swap:
    """The first two ports of an element exchanged."""

    element: str


@dataclass(frozen=True, slots=True)
class Port:
    """Port number `port` of an element moved to another node."""

    element: str
    port: int
    node: str


@dataclass(frozen=True, slots=True)
class Line:
    """An element's line written anew."""

    element: str
    text: str


@dataclass(frozen=True, slots=True)
class Added:
    """Lines added to the top circuit."""

    text: str


@dataclass(frozen=True, slots=True)
class Parameter:
    """A parameter of an element."""

    element: str
    name: str
    value: float


Edit = Bridge | Detach | Swap | Port | Line | Added | Parameter


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault: the `part`, what is wrong with it (`fault`), the changes of the deck that make it, and a `note`.

    `reads`: signals that the fault moves to another node, by name.
    """

    part: str
    fault: str
    edits: tuple[Edit, ...]
    note: str = ""
    reads: tuple[tuple[str, Signal], ...] = ()


def edited(text: str, edits: tuple[Edit, ...]) -> str:
    """A deck's text with changes made to the lines of its top circuit.

    Parameters: text : of a `Deck`; edits : changes, in order. Returns: text.
    Raises: DeckError if the top circuit has no such element or port.
    """
    lines = text.splitlines()
    for number, edit in enumerate(edits):
        if isinstance(edit, Bridge):
            lines.append(f"Rbridge{number} {edit.a} {edit.b} {edit.ohm!r}")
            continue
        if isinstance(edit, Added):
            lines += edit.text.splitlines()
            continue
        where = _find(lines, edit.element)
        words = lines[where].split()
        if isinstance(edit, Line):
            words = edit.text.split()
        elif isinstance(edit, Swap):
            words[1], words[2] = words[2], words[1]
        elif isinstance(edit, Parameter):
            known = [w for w in words if w.startswith(edit.name + "=")]
            words = [w for w in words if w not in known] + [f"{edit.name}={edit.value!r}"]
        else:
            old = words[1 + edit.port]
            fresh = edit.node if isinstance(edit, Port) else f"broken{number}"
            words[1 + edit.port] = fresh
            if isinstance(edit, Detach):
                lines.append(f"Rbroken{number} {old} {fresh} {FAULT_OPEN!r}")
        lines[where] = " ".join(words)
    return "\n".join(lines)


def _find(lines: list[str], element: str) -> int:
    inside = False
    for number, line in enumerate(lines):
        word = line.split(maxsplit=1)[0].lower() if line.strip() else ""
        inside = word == ".subckt" or (inside and word != ".ends")
        if not inside and word == element.lower():
            return number
    raise DeckError(f"the deck has no element {element} to fail")


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
    yield from _start_faults(boat)
    hold = boat.hold_up
    if isinstance(hold, StandbyPack):
        yield from _pack_faults(hold)
    elif isinstance(hold, Bank):
        yield from _bank_faults(hold)
    elif isinstance(hold, HouseFeed):
        yield from _house_faults(hold)
    elif isinstance(hold, ConverterAhead):
        yield from _converter_faults(hold)


def _conductor(part: str, element: str, port: int, node: str) -> Iterator[Fault]:
    yield Fault(part, "broken", (Detach(element, port),))
    yield Fault(part, "shorted to ground", (Bridge(node, "block"),))


def _two_terminal(part: str, element: str, a: str, b: str) -> Iterator[Fault]:
    yield Fault(part, "short", (Bridge(a, b),))
    yield Fault(part, "open", (Detach(element, 0),))
    yield Fault(part, "reversed", (Swap(element),))


def _feed_faults(boat: Boat) -> Iterator[Fault]:
    yield from _conductor("display feed conductor", "Xfeed", 1, "keyin")
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
    for k, element in enumerate(boat.negative):
        yield Fault(element.name, "broken", (Detach(f"Xneg{k}", 0), bond), HELM_NOTE)
        yield Fault(element.name, "breaks while cranking", (*_parting(boat, k), bond), HELM_NOTE)


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
        yield from _conductor("start circuit's supply wire", "Xstartsupply", 1, "keyin2")
    yield from _conductor("start wire", "Xstartwire", 1, "sig")
    if start.relay is not None:
        yield from _relay("start relay", "Xstartrelay", "stud", "s0", start.relay)
        yield from _suppression("start relay's suppression", "Xstartsup", "c1", "block", start.relay)


def _relay(part: str, element: str, common: str, working: str, relay: RelayCircuit) -> Iterator[Fault]:
    welded: tuple[Edit, ...] = (Bridge(common, working, relay.contact_resistance),)
    if relay.changeover:
        welded = (*welded, Detach(element, 4))
    yield Fault(part, "welded", welded)
    yield Fault(part, "open", (Detach(element, 3),))


def _suppression(part: str, element: str, a: str, b: str, relay: RelayCircuit) -> Iterator[Fault]:
    if relay.suppression.kind in ("diode", "zener"):
        yield from _two_terminal(part, element, a, b)
    elif relay.suppression.kind == "resistor":
        yield Fault(part, "short", (Bridge(a, b),))
        yield Fault(part, "open", (Detach(element, 0),))


def _pack_faults(hold: StandbyPack) -> Iterator[Fault]:
    yield Fault("pack", "reversed", (Swap("Xpack"),))
    yield from _conductor("pack positive wire", "Xpack", 0, "pk")
    yield Fault("pack negative wire", "broken", (Detach("Xpack", 1),))
    relay = hold.relay
    anode, cathode = ("hd", "no") if relay is not None and relay.changeover else ("hd", "ds")
    yield from _two_terminal("pack diode", "Xpackdiode", anode, cathode)
    if hold.feed_diode is not None:
        yield from _two_terminal("feed diode", "Xfeeddiode", "fd", _feed_end(hold))
    if relay is not None:
        common = "ds" if relay.changeover else "pk"
        yield from _relay("hold-up relay", "Xrelay", common, "no", relay)
        yield Fault("wire behind the hold-up relay", "shorted to ground", (Bridge("no", "block"),))
        yield from _conductor("hold-up relay's coil wire", "Rcoilwire", 1, "coil")
        yield from _suppression("hold-up relay's suppression", "Xsuppress", "coil", "block", relay)
    if hold.recharge == "resistor":
        yield Fault("charge resistor", "short", (Bridge("feed", "rc1"),))
        yield Fault("charge resistor", "open", (Detach("Rcharge", 0),))
        yield from _two_terminal("charge diode", "Xchargediode", "rc1", "pk")
    elif hold.recharge == "charger":
        yield Fault("charger", "short", (Bridge("feed", "pk"),))
        yield Fault("charger", "open", (Detach("Xcharger", 0),))


def _feed_end(hold: StandbyPack) -> str:
    return "nc" if hold.relay is not None and hold.relay.changeover else "ds"


def _bank_faults(hold: Bank) -> Iterator[Fault]:
    yield Fault("capacitor bank", "short", (Bridge("cb", "dr"),))
    yield Fault("capacitor bank", "open", (Detach("Xbank", 0),))
    if hold.diode is not None:
        yield from _two_terminal("feed diode", "Xfeeddiode", "fd", "ds")
    if hold.discharge_diode is not None:
        yield from _two_terminal("discharge diode", "Xdischarge", "cp", "ds")
    limiter = "Rlimit" if hold.charge_current is None else "Xlimit"
    if hold.inrush_limit is not None or hold.charge_current is not None:
        yield Fault("inrush limiter", "short", (Bridge("ds", "cp"),))
        yield Fault("inrush limiter", "open", (Detach(limiter, 0),))
    yield Fault("bank wire", "shorted to ground", (Bridge("cp", "block"),))


def _house_faults(hold: HouseFeed) -> Iterator[Fault]:
    yield from _conductor("house feed wire", "Xhousewire", 1, "hw")
    yield Fault("house bank negative", "broken", (Detach("Rhousen", 0),))
    yield from _two_terminal("house diode", "Xhousediode", "hd", "ds")
    if hold.feed_diode is not None:
        yield from _two_terminal("feed diode", "Xfeeddiode", "fd", "ds")


def _converter_faults(hold: ConverterAhead) -> Iterator[Fault]:
    yield Fault("converter", "short", (Bridge("cf", "cv"),))
    yield Fault("converter", "open", (Detach("Xconverter", 1),))
    yield Fault("wire behind the converter's fuse", "shorted to ground", (Bridge("cf", "block"),))
    if hold.pass_diode is not None:
        yield from _two_terminal("pass diode", "Xpass", "cf", "cv")
