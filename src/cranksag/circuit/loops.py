# SPDX-License-Identifier: GPL-3.0-or-later
"""The series elements of a boat's loops, for voltage budgets: the display's normal feed and the start circuit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from cranksag.circuit.boat import chain_nodes, node_of
from cranksag.resolve.model import Boat

Side = Literal["supply", "return"]


@dataclass(frozen=True, slots=True)
class Segment:
    """One series element of a loop between deck nodes `a` and `b`; `path`: the scenario field behind it."""

    element: str
    side: Side
    path: str | None
    a: str
    b: str


def feed_segments(boat: Boat, branch: list[Segment]) -> list[Segment]:
    """The normal feed's loop from the source's EMF to the display's pins and back to battery negative.

    `branch`: what stands between the key's terminal and the display's supply pin.
    """
    segments = [
        *_source(boat, boat.feed.source),
        *_FEED_WIRE,
        Segment("key switch contact", "supply", None, "keyin", "feed"),
        *branch,
        Segment("return conductor", "return", "feed.length", "dr", "xreturn.m"),
        Segment("return joints", "return", "feed.return_joints", "xreturn.m", "rt"),
    ]
    if boat.feed.return_to == "engine block":
        segments += _block_return(boat)
    return [*segments, *_source_return(boat, boat.feed.source)]


def start_segments(boat: Boat) -> list[Segment]:
    """The key's loop in START, to the S terminal or, with a start relay, to that relay's coil; back over the block."""
    start = boat.start
    source = boat.feed.source if start.shares_feed else start.source
    key = "keyin" if start.shares_feed else "keyin2"
    own = [
        Segment("start supply conductor", "supply", "start_circuit.length", "g0", "xstartsupply.m"),
        Segment("start supply joints", "supply", "start_circuit.joints", "xstartsupply.m", key),
    ]
    switches = [
        Segment("key switch START contact", "supply", None, key, "keyst"),
        Segment("neutral switch", "supply", "start_circuit.neutral_switch", "keyst", "kn"),
    ]
    if not start.neutral_closed:  # the deck leaves the key's contact open in its place
        switches = [Segment("neutral switch, open", "supply", "start_circuit.neutral_switch", key, "kn")]
    return [
        *_source(boat, source),
        *(_FEED_WIRE if start.shares_feed else own),
        *switches,
        Segment("start wire", "supply", "start_circuit.return_length", "kn", "xstartwire.m"),
        Segment("start wire joints", "supply", "start_circuit.joints", "xstartwire.m", "sig"),
        *_block_return(boat),
        *_source_return(boat, source),
    ]


def contact_segments(boat: Boat) -> list[Segment]:
    """The loop of the solenoid's coils through the start relay's contact; empty without a relay."""
    if boat.start.relay is None:
        return []
    return [
        *_source(boat, "starter stud"),
        Segment("start relay contact", "supply", "start_circuit.relay", "stud", "s0"),
        Segment("wire from the relay to S", "supply", "start_circuit", "s0", "s"),
        *_block_return(boat),
    ]


_FEED_WIRE = (
    Segment("feed conductor", "supply", "feed.length", "f0", "xfeed.m"),
    Segment("feed joints", "supply", "feed.joints", "xfeed.m", "keyin"),
)


def _source(boat: Boat, source: str) -> list[Segment]:
    """From the source's EMF to the node `source` of a scenario."""
    if source == "panel":
        feeder = Segment("panel feeder", "supply", "panel", node_of(boat, boat.panel.source), "panel")
        return [*_source(boat, boat.panel.source), feeder]
    if source == "house battery":
        return [Segment("house bank, internal", "supply", "house", "xhouse.e0", "house")]
    positive, _ = chain_nodes(boat)
    reached = node_of(boat, source)
    end = positive.index("stud" if reached in ("s", "stud") else reached)
    segments = [Segment("start battery, internal", "supply", "battery", "xbattery.e0", "bat")]
    segments += [
        Segment(element.name, "supply", element.path, *positive[k : k + 2])
        for k, element in enumerate(boat.positive[:end])
    ]
    if reached == "s":
        segments.append(Segment("start relay contact", "supply", "start_circuit", "stud", "s"))
    return segments


def _block_return(boat: Boat) -> list[Segment]:
    _, negative = chain_nodes(boat)
    return [Segment(e.name, "return", e.path, *negative[k : k + 2]) for k, e in enumerate(boat.negative)]


def _source_return(boat: Boat, source: str) -> list[Segment]:
    if (boat.panel.source if source == "panel" else source) != "house battery":
        return []
    return [Segment("house bank negative", "return", "house", "0", "housen")]
