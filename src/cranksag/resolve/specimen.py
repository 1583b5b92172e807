# SPDX-License-Identifier: GPL-3.0-or-later
"""A resolved boat with one part changed: another specimen of it, given as a factor [-] on the boat's own figure."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

from cranksag.parts.battery import scaled
from cranksag.parts.relay import RelayCircuit
from cranksag.resolve.model import Bank, Boat, HouseFeed, StandbyPack

RELEASE_BELOW = 0.95
"""A relay lets go below its own pick-up: highest release over pick-up of one specimen; engineering estimate."""

PLATEAU = 1.0
"""Duration at which the temperature laws of the battery are compared [s]."""


def with_battery_resistance(boat: Boat, factor: float) -> Boat:
    """The start bank's resistances and its charge transfer, multiplied: as a bank of another size."""
    return dataclasses.replace(boat, battery=scaled(boat.battery, factor))


def with_motor_resistance(boat: Boat, factor: float) -> Boat:
    """Armature and field of the starter, multiplied."""
    return dataclasses.replace(boat, motor=dataclasses.replace(boat.motor, resistance=boat.motor.resistance * factor))


def with_friction(boat: Boat, factor: float) -> Boat:
    """All that rubs in the engine, multiplied; compression is untouched."""
    engine = boat.engine
    return dataclasses.replace(
        boat,
        engine=dataclasses.replace(
            engine,
            friction_torque=engine.friction_torque * factor,
            friction_viscous=engine.friction_viscous * factor,
            breakaway_torque=engine.breakaway_torque * factor,
        ),
    )


def with_start_relay(boat: Boat, change: Callable[[RelayCircuit], RelayCircuit]) -> Boat:
    """Another start relay; a boat without one stays as it is."""
    relay = boat.start.relay
    if relay is None:
        return boat
    return dataclasses.replace(boat, start=dataclasses.replace(boat.start, relay=change(relay)))


def with_hold_up_relay(boat: Boat, change: Callable[[RelayCircuit], RelayCircuit]) -> Boat:
    """Another relay of the standby pack; a boat without one stays as it is."""
    hold = boat.hold_up
    if not isinstance(hold, StandbyPack) or hold.relay is None:
        return boat
    return dataclasses.replace(boat, hold_up=dataclasses.replace(hold, relay=change(hold.relay)))


def operates_at(factor: float) -> Callable[[RelayCircuit], RelayCircuit]:
    """A relay whose operate current is multiplied; it still lets go below that."""

    def change(relay: RelayCircuit) -> RelayCircuit:
        operate = relay.operate_current * factor
        return dataclasses.replace(
            relay, operate_current=operate, release_current=min(relay.release_current, RELEASE_BELOW * operate)
        )

    return change


def releases_at(factor: float) -> Callable[[RelayCircuit], RelayCircuit]:
    """A relay whose release current is multiplied; it still lets go below its operate current."""

    def change(relay: RelayCircuit) -> RelayCircuit:
        release = min(relay.release_current * factor, RELEASE_BELOW * relay.operate_current)
        return dataclasses.replace(relay, release_current=release)

    return change


def with_diode_saturation(boat: Boat, factor: float) -> Boat:
    """Saturation current of the hold-up's own diode, multiplied: another forward drop."""
    hold = boat.hold_up
    if not isinstance(hold, StandbyPack | HouseFeed | Bank) or hold.diode is None:
        return boat
    diode = dataclasses.replace(hold.diode, saturation_current=hold.diode.saturation_current * factor)
    return dataclasses.replace(boat, hold_up=dataclasses.replace(hold, diode=diode))
