# SPDX-License-Identifier: GPL-3.0-or-later
"""Faults of a boat that are not tried, each with its reason: what `single_faults` leaves out and people are told."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from cranksag.resolve.model import Bank, Boat, HouseFeed, StandbyPack
from cranksag.studies.faultmains import PANEL, on_panel, part_names

__all__ = ["BEYOND", "NotTried", "not_tried"]

BEYOND = (
    "Nor is anything inside parts but their diodes and contacts (coils, windings, battery cells, electronics), a start "
    "battery connected the wrong way round, a part that is worse and has not failed (`sweep` does that), and two "
    "faults at once. Nothing here speaks for them."
)
"""What no boat's list of faults has."""

WIRE = "broken or shorted to ground"
GROUND = "both its ends are ground"


@dataclass(frozen=True, slots=True)
class NotTried:
    """Faults of a `part` that are not tried, the `reason`, and the deck's `element` that they would be made at."""

    part: str
    fault: str
    reason: str
    element: str


def not_tried(boat: Boat) -> tuple[NotTried, ...]:
    """Every diode, contact and conductor of a boat's deck whose faults are not all tried.

    Parameters: boat : resolved. Returns: what is left out, in the order of the circuit.
    """
    return (*_mains(boat), *_key(boat), *_branch(boat), *_wires(boat))


def _mains(boat: Boat) -> Iterator[NotTried]:
    names = part_names(boat)
    if any(boat.values[f"battery.{count}"].value > 1 for count in ("in_series", "in_parallel")):
        reason = "they count in the battery's own resistance; as the battery cable"
        yield NotTried("links between the batteries", WIRE, reason, "Xbattery")
    for k, element in enumerate(boat.positive):
        if not element.is_switch:
            continue
        part = names[element.path]
        if k > 0:
            yield NotTried(part, "shorted to ground", "as the cable before it, shorted at its end", f"Xpos{k}")
        yield NotTried(
            part, "welded", "it shows only when it has to open: try it once a season, engine stopped", f"Xpos{k}"
        )
    for k, element in enumerate(boat.negative):
        yield NotTried(names[element.path], "shorted to ground", GROUND, f"Xneg{k}")
    if boat.house is not None:
        yield NotTried("house bank negative", "shorted to ground", GROUND, "Rhousen")
        reason = "the scenario holds none; a short there is one of that bank, which hardly any boat fuses"
        yield NotTried("house bank's own positive cables", WIRE, reason, "Xhouse")
    if boat.house is not None and boat.link.kind == "closed":
        yield NotTried("bank link", "welded", "it is closed already", "Rlink")
    if not on_panel(boat):
        yield NotTried(PANEL, WIRE, "nothing of this scenario hangs on the panel", "Rpanel")


def _key(boat: Boat) -> Iterator[NotTried]:
    if boat.feed.key_terminal == "always":
        yield NotTried("key's contact to the display", "welded", "the display is fed past the key", "Xkeyrun")
    reason = "it shows in gear only: try whether the engine cranks there"
    yield NotTried("neutral switch", "welded", reason, "Xneutral")
    supply = "display feed conductor" if boat.start.shares_feed else "start circuit's supply wire"
    reason = f"between the {supply} and the start wire, which are both tried"
    yield NotTried("neutral switch", "shorted to ground", reason, "Xneutral")


def _branch(boat: Boat) -> Iterator[NotTried]:
    hold = boat.hold_up
    diode = hold.diode if isinstance(hold, Bank) else getattr(hold, "feed_diode", None)
    if isinstance(hold, Bank | StandbyPack | HouseFeed) and diode is None:
        yield NotTried("joint in the feed diode's place", WIRE, "as the feed behind the key", "Rfd")
    if isinstance(hold, StandbyPack):
        yield NotTried("pack negative wire", "shorted to ground", "as the display return conductor", "Xpack")
    if isinstance(hold, Bank) and hold.inrush_limit is None and hold.charge_current is None:
        yield NotTried("terminals of the bank", WIRE, "no limiter is fitted; as the bank wire", "Rlimit")
    if isinstance(hold, HouseFeed):
        yield NotTried("house feed's switch", "welded", "it is taken as on in every run", "Xhousekey")


def _wires(boat: Boat) -> Iterator[NotTried]:
    for k, display in enumerate(boat.displays):
        if display.circuit.sense_threshold is not None:
            part = f"sense wire of display {display.name!r}"
            yield NotTried(part, "shorted to ground", f"as a short at its source, {display.sense_node}", f"Xsense{k}")
    for k, load in enumerate(boat.loads):
        reason = f"its size and fuse are not known; a short there is one at its source, {load.at}"
        yield NotTried(f"wire of load {load.name!r}", WIRE, reason, f"Xload{k}")
