# SPDX-License-Identifier: GPL-3.0-or-later
"""Faults of what a boat has beside its hold-up: main cables, alternator, banks, panel, the displays' input diodes.

A short there is fed by a battery that hardly any boat fuses; `shorted_batteries` judges its current. What is not failed
stands in `NOT_TRIED`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

from cranksag.circuit.boat import chain_nodes
from cranksag.resolve.model import Boat, Element, HouseFeed
from cranksag.studies.faultedits import (
    FAULT_OPEN,
    FAULT_SHORT,
    Bridge,
    Detach,
    Fault,
    Parameter,
    conductor,
    two_terminal,
)

BATTERIES: Mapping[str, str] = {"start battery": "battery_current", "house battery": "house_current"}
"""Signal of each battery's current, by the name of the element in a row's currents."""

NOT_TRIED: Mapping[str, tuple[str, ...]] = {
    "contacts of the key, the neutral and the battery switch": ("Xkeyrun", "Xkeystart", "Xneutral", "Xhousekey"),
    "the starter with its solenoid": ("Xsolenoid", "Vmot", "Xstarter", "Rmot"),
    "a battery or an alternator failing inside": ("Xbattery",),
    "the wires of other loads": ("Xload", "Vld"),
    "a display failing behind its input diode": ("Xsense",),
}
"""What is not failed, and the lines of the deck that stand for it, by the beginnings of their names."""

SURGES = (
    "with the engine running the alternator then charges without a battery and its voltage surges (load dump), which "
    "these runs, whose engine stands before it is cranked, do not show"
)


def main_faults(boat: Boat) -> Iterator[Fault]:
    """Faults of cables, alternator, banks, panel and input diodes.

    A negative cable shorted to ground stays where it was; broken ones are with the ground faults.
    Parameters: boat : resolved. Yields: Fault, each pair of part and fault once.
    """
    positive, _ = chain_nodes(boat)
    for k, name in enumerate(labels(boat.positive, boat.negative)):
        yield Fault(name, "broken", (Detach(f"Xpos{k}", 1),), SURGES)
        yield Fault(name, "shorted to ground", (Bridge(positive[k + 1], "block"),))
    yield from _alternator(boat)
    if boat.house is not None:
        yield from conductor("house battery cable", "Xhouse", 0, "house")
        if not isinstance(boat.hold_up, HouseFeed):  # with that it is one of the hold-up's own
            yield Fault("house bank negative", "broken", (Detach("Rhousen", 0),))
        if boat.link.kind == "closed":
            yield from conductor("link between the batteries", "Rlink", 0, "link")
    if _feeds_something(boat):
        yield from conductor("panel feeder", "Rpanel", 1, "panel")
    for k, display in enumerate(boat.displays):
        if display.circuit.diode is not None:
            yield from _input_diode(f"input diode of the display {display.name!r}", f"Xdisplay{k}")


def labels(elements: Sequence[Element], others: Sequence[Element]) -> list[str]:
    """Names of cables and switches, told apart by their place in the scenario where two have the same."""
    count = Counter(element.name for element in (*elements, *others))
    return [e.name if count[e.name] == 1 else f"{e.name} ({e.path})" for e in elements]


def _alternator(boat: Boat) -> Iterator[Fault]:
    isolated = boat.link.kind == "diode isolator"
    yield Fault("alternator output cable", "broken", (Detach("Xalternator", 0),), "the batteries are charged no more")
    plus = "altp" if isolated else "stud"
    yield Fault("alternator output cable", "shorted to ground", (Bridge(plus, "block"),))
    if isolated:
        house = "house" if boat.house is not None else "stud"
        yield from two_terminal("isolator diode to the start battery", "Xisostart", "altp", "stud")
        yield from two_terminal("isolator diode to the house battery", "Xisohouse", "altp", house)


def _feeds_something(boat: Boat) -> bool:
    """Whether anything hangs on the panel."""
    return "panel" in (boat.feed.source, boat.start.source, *(load.at for load in boat.loads))


def _input_diode(part: str, element: str) -> Iterator[Fault]:
    """A display's own diode; reversed it keeps the supply out as an open one does.

    What a display monitors at its pins runs from behind the diode all the same.
    """
    blocked = (Parameter(element, "drs", FAULT_OPEN), Parameter(element, "at", 0.0))
    yield Fault(part, "short", (Parameter(element, "dsh", FAULT_SHORT),))
    yield Fault(part, "open", blocked)
    yield Fault(part, "reversed", blocked)
