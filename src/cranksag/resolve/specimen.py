# SPDX-License-Identifier: GPL-3.0-or-later
"""A resolved boat with one part changed: another specimen of it, given as a factor [-] on the boat's own figure."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

from cranksag.parts.battery import scaled, temperature_law_factors, temperature_law_spread
from cranksag.parts.relay import RelayCircuit
from cranksag.resolve.model import Bank, Boat, HouseFeed, StandbyPack

RELEASE_BELOW = 0.95
"""A relay lets go below its own pick-up: highest release over pick-up of one specimen; engineering estimate."""

PLATEAU = 1.0
"""Duration at which the temperature laws of the battery are compared [s]."""


def with_battery_resistance(boat: Boat, factor: float) -> Boat:
    """The start bank's resistances and its charge transfer, multiplied: as a bank of another size."""
    return dataclasses.replace(boat, battery=scaled(boat.battery, factor))


def _law_factors(boat: Boat, name: str) -> tuple[float, float]:
    """(weak, strong) factor of the temperature laws on a bank by its own rating test and chemistry."""
    standard, chemistry = (boat.values[f"{name}.{field}"].value for field in ("rating_standard", "chemistry"))
    return temperature_law_factors(boat.temperatures.battery, PLATEAU, standard, chemistry)


def temperature_law_band(boat: Boat) -> tuple[float, float]:
    """Lowest and highest factor [-] that the temperature laws leave to the start bank, for `with_temperature_law`."""
    standard, chemistry = (boat.values[f"battery.{field}"].value for field in ("rating_standard", "chemistry"))
    return temperature_law_spread(boat.temperatures.battery, PLATEAU, standard, chemistry)


def with_temperature_law(boat: Boat, factor: float) -> Boat:
    """The start bank by another temperature law, multiplied; the house bank goes as far towards the same law."""
    boat = with_battery_resistance(boat, factor)
    if boat.house is None or factor == 1.0:
        return boat
    both = zip(_law_factors(boat, "battery"), _law_factors(boat, "house"), strict=True)
    # of the two laws the one that moves the start bank this way, and moves it most
    start, house = max(both, key=lambda pair: (pair[0] - 1.0) * (factor - 1.0))
    share = (factor - 1.0) / (start - 1.0) if (start - 1.0) * (factor - 1.0) > 0.0 else 0.0
    return dataclasses.replace(boat, house=scaled(boat.house, 1.0 + share * (house - 1.0)))


def with_motor_resistance(boat: Boat, factor: float) -> Boat:
    """Armature and field of the starter, multiplied."""
    return dataclasses.replace(boat, motor=dataclasses.replace(boat.motor, resistance=boat.motor.resistance * factor))


def with_friction(boat: Boat, factor: float) -> Boat:
    """All that rubs in the engine, multiplied; compression is untouched."""
    engine = boat.engine
    loss = engine.compression_loss
    return dataclasses.replace(
        boat,
        engine=dataclasses.replace(
            engine,
            friction_torque=loss + (engine.friction_torque - loss) * factor,
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
