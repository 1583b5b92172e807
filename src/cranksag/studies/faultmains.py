# SPDX-License-Identifier: GPL-3.0-or-later
"""Faults of what no fuse stands in: the starter's cables, the link of the banks, alternator and isolator, panel feeder.

A negative cable has no short: both its ends are ground. A battery switch is no cable: what shorts at its terminals is
the short of the cable before it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Literal

from cranksag.circuit.boat import chain_nodes, node_of
from cranksag.resolve.model import Boat
from cranksag.studies.faultedits import Added, Bridge, Detach, Fault, Port, Unfused, conductor, two_terminal

BATTERY, HOUSE = "start battery", "house bank"
"""Watched elements that a short of a main cable draws from."""
CONTACT_WIRE = "wire from start relay to S terminal"
PANEL = "panel feeder"
OWN_LOAD = 100.0  # [ohm] of an alternator without a load: rectifier and regulator; engineering estimate
OWN_CAPACITANCE = 1e-3  # [F] beside it; numerical
FLOATING = 1e-6  # [F] of a floating bank to the boat: numerical
ALTERNATOR = "alternator output cable"
LINK = "bank link"
ISOLATOR = {"Xisostart": "isolator's start diode", "Xisohouse": "isolator's house diode"}
"""Part names of the isolator's diodes by their elements in the deck."""


def part_names(boat: Boat) -> dict[str, str]:
    """Part name of each element of the starter's cables, by its path: its own name, with the path where two share it
    or another part has it."""
    elements = (*boat.positive, *boat.negative)
    count = Counter(element.name for element in elements)
    others = {LINK, PANEL, ALTERNATOR, CONTACT_WIRE, "pack", "converter", "charger"}
    return {e.path: f"{e.name} ({e.path})" if count[e.name] > 1 or e.name in others else e.name for e in elements}


def sources(boat: Boat) -> tuple[str, ...]:
    """What feeds a short of the positive cables: the start battery, and the house bank where they are linked."""
    return (BATTERY, HOUSE) if boat.house is not None and boat.link.kind == "closed" else (BATTERY,)


def on_panel(boat: Boat) -> bool:
    """Whether anything of the scenario hangs on the distribution panel."""
    nodes = {boat.feed.source, *(load.at for load in boat.loads), *(d.sense_node for d in boat.displays)}
    return "panel" in nodes or (not boat.start.shares_feed and boat.start.source == "panel")


def main_faults(boat: Boat) -> Iterator[Fault]:
    """Each main cable, link, isolator diode, alternator cable and panel feeder of a boat."""
    yield from _cable_faults(boat)
    yield from _bank_faults(boat)
    yield from _alternator_faults(boat)
    if on_panel(boat):
        yield from conductor(PANEL, "Rpanel", 1, "panel")


def _cable_faults(boat: Boat) -> Iterator[Fault]:
    names, nodes = part_names(boat), chain_nodes(boat)[0]
    switches = [k for k, element in enumerate(boat.positive) if element.is_switch]
    for k, element in enumerate(boat.positive):
        part = names[element.path]
        yield Fault(
            part,
            "open" if k in switches else "broken",
            (Detach(f"Xpos{k}", 1),),
            load_dump=_left_with(boat, nodes[k + 1 :]),
        )
        if k in switches and k > 0:
            continue
        paths = tuple(e.path for e in (*boat.positive[: k + 1], *boat.negative))
        unfused = Unfused(sources(boat), paths, switched=switches[0] <= k if switches else None)
        yield Fault(part, "shorted to ground", (Bridge(nodes[k + 1], "block"),), unfused=unfused)


def _left_with(boat: Boat, nodes: list[str]) -> Literal["", "display", "others"]:
    """What stays on an alternator that a break of the positive path leaves with the deck's `nodes`."""
    if boat.link.kind == "diode isolator":  # it keeps the house bank
        return ""
    source = boat.panel.source if boat.feed.source == "panel" else boat.feed.source
    return "display" if node_of(boat, source) in nodes else "others"


def _bank_faults(boat: Boat) -> Iterator[Fault]:
    if boat.house is None:
        return
    # a capacitance of the bank and its wire to the hull: a floating bank has no state to step from
    yield Fault("house bank negative", "broken", (Detach("Rhousen", 0), Added(f"Chousen housen 0 {FLOATING!r}")))
    if boat.link.kind == "closed":
        yield Fault(LINK, "broken", (Detach("Rlink", 0),))
        switched = False if any(e.is_switch for e in boat.positive) else None
        unfused = Unfused((BATTERY, HOUSE), switched=switched, cure="guard it against chafe, and fuse it at each bank")
        yield Fault(LINK, "shorted to ground", (Bridge("link", "block"),), unfused=unfused)
    elif boat.link.kind == "open":
        note = "the banks stay joined, and both sag while cranking"
        yield Fault(LINK, "welded", (Bridge("bat", "house", boat.link.resistance),), note)


def _alternator_faults(boat: Boat) -> Iterator[Fault]:
    note = "the alternator's output ends in its own diodes and regulator, which it can destroy (load dump)"
    own = Added(f"Cparted parted block {OWN_CAPACITANCE!r}")  # a state for the solver
    parted = (Port("Xalternator", 0, "parted"), Bridge("parted", "block", OWN_LOAD), own)
    yield Fault(ALTERNATOR, "broken", parted, note, charging=True)
    switched = True if any(e.is_switch for e in boat.positive) else None
    cure = "fuse it where it leaves the starter, for what the alternator gives"
    if boat.link.kind != "diode isolator":
        unfused = Unfused(sources(boat), (), switched, upper=True, cure=cure)
        yield Fault(ALTERNATOR, "shorted to ground", (Bridge("stud", "block"),), unfused=unfused)
        return
    note = "the isolator's diodes keep the batteries out of the short; all that the alternator gives goes into it"
    yield Fault(ALTERNATOR, "shorted to ground", (Bridge("altp", "block"),), note, charging=True)
    for element, part in ISOLATOR.items():
        to = "house" if element == "Xisohouse" else "stud"  # without a house bank there is no isolator
        for fault in two_terminal(part, element, f"{element}a", to):  # behind its ammeter
            yield Fault(part, fault.fault, fault.edits, charging=True)
