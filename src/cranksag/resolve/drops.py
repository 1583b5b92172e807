# SPDX-License-Identifier: GPL-3.0-or-later
"""Lasting drop of the displays' wiring, nobody cranking, and the 3 % or 10 % class of the wiring standards it is in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cranksag.parts.conductors import DropClass, drop_class
from cranksag.parts.converter import input_current
from cranksag.resolve.model import ConverterAhead, Display, Feed, HoldUp, HouseFeed, Load, StandbyPack

__all__ = ["STANDARDS", "CircuitDrop", "display_drops"]

STANDARDS = "ABYC E-11 and ISO 13297"
WITHIN = f"within 3 %, the tighter class of {STANDARDS}; read there which class binds it"
CRITICAL = (
    "more than 3 %, within 10 %; ABYC E-11, as wire charts quote it, has electronic equipment among the circuits of "
    f"3 %, and an engine's alarms hang on this one: read {STANDARDS} for the class that binds it"
)
BEYOND = f"more than either class, 3 % or 10 %, of {STANDARDS}; turn to them for the binding figure"
NO_POWER = 1e-9  # [W] below this nothing is drawn


@dataclass(frozen=True, slots=True)
class CircuitDrop:
    """Lasting drop of one circuit: `code`, the `circuit` in words, the `fields` that decide it, supply `current` [A],
    `drop` [V] out and back together, of the boat's `nominal` voltage [V]."""

    code: str
    circuit: str
    fields: str
    current: float
    drop: float
    nominal: float
    when: str = "in service, before anyone cranks"

    @property
    def kind(self) -> DropClass:
        """Share of the nominal voltage, and the class."""
        return drop_class(self.drop, self.nominal)

    @property
    def message(self) -> str:
        """Figures, class and where to read on, in one sentence."""
        kind = self.kind
        told = f"{self.circuit}: {self.drop:.2g} V, {100.0 * kind.share:.2g} % of {self.nominal:g} V "
        told += f"with {self.current:.3g} A {self.when}: "
        if kind.name == "3 %":
            return told + WITHIN
        return f"{told}{CRITICAL if kind.name == '10 %' else BEYOND} ({self.fields} decide it)"


def display_drops(
    feed: Feed, displays: Sequence[Display], loads: Sequence[Load], hold: HoldUp, nominal: float
) -> tuple[CircuitDrop, ...]:
    """The normal feed, and the wires of a hold-up that stands at a distance from the displays.

    All that the key leaves on in the same conductors counts, at the nominal voltage: displays with their working power,
    and loads that are on from key-on to the end. A panel's feeder is a circuit of its own and does not count.

    Parameters: feed, displays, loads, hold : of the resolved boat; nominal : its voltage [V].
    Returns: one `CircuitDrop` for the feed, and one more for a standby pack or a house feed.
    """
    lasting = [load for load in loads if load.by_key]
    ahead = [load for load in lasting if load.at == "feed"]
    behind = [load for load in lasting if load.at == "display supply"]
    volts = hold.converter.output_voltage if isinstance(hold, ConverterAhead) else nominal
    power = sum(d.circuit.power for d in displays) + sum(volts * _current(load, volts) for load in behind)
    held = power / nominal
    if isinstance(hold, ConverterAhead) and power > NO_POWER:
        held = input_current(hold.converter, power, nominal)
    elsewhere = sum(_current(load, volts) for load in behind if load.return_to != "display return")
    if isinstance(hold, ConverterAhead):
        elsewhere = 0.0  # behind a converter: its input returns by the feed, whatever way its output does
    supply = held + sum(_current(load, nominal) for load in ahead)
    back = held - elsewhere + sum(_current(load, nominal) for load in ahead if load.return_to == "display return")
    returned = feed.return_resistance + feed.return_joints
    found = [
        CircuitDrop(
            "feed_drop",
            "display feed" + (", without the panel's own feeder" if feed.source == "panel" else ""),
            "feed.size, feed.return_size, their lengths and joints",
            supply,
            (feed.resistance + feed.joints) * supply + returned * back,
            nominal,
        )
    ]
    if isinstance(hold, StandbyPack):
        wires = hold.fuse_resistance  # with its wires and joints
        found.append(_hold_up("wires of the standby pack", held, wires * held, nominal, "while it feeds the displays"))
    elif isinstance(hold, HouseFeed):
        ohm = hold.resistance + hold.joints + hold.fuse_resistance
        back = returned * (held - elsewhere)
        found.append(_hold_up("house feed", held, ohm * held + back, nominal, "in service, before anyone cranks"))
    return tuple(found)


def _hold_up(circuit: str, current: float, drop: float, nominal: float, when: str) -> CircuitDrop:
    return CircuitDrop("hold_up_drop", circuit, "hold_up.size, hold_up.length and joints", current, drop, nominal, when)


def _current(load: Load, voltage: float) -> float:
    """What a load draws at a voltage [A]."""
    if load.kind == "current":
        return load.amount
    return load.amount / voltage if load.kind == "power" else voltage / load.amount
