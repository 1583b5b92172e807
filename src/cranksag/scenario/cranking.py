# SPDX-License-Identifier: GPL-3.0-or-later
"""The tables of what cranks: starter, start circuit, engine, the hand on the key."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import Field

from cranksag.quantities import ConductorSize
from cranksag.scenario.base import (
    POSITIVE_NODES,
    PositiveNode,
    Section,
    choice,
    corroded_joint,
    corroded_share,
    corrosion_problems,
    named,
    quantity,
)
from cranksag.scenario.specs import Flag, Number, Size

OILS = (
    *(f"{winter}W-{summer}" for winter in (0, 5, 10, 15, 20, 25) for summer in (20, 30, 40, 50, 60)),
    *(f"SAE {grade}" for grade in (20, 30, 40, 50)),
)
"""Engine oil grades (SAE J300 viscosity classes)."""


class StarterPoint(Section):
    """One published point of a starter: no load, loaded or stalled."""

    voltage: Annotated[float | None, quantity("voltage", "0.5 V", "32 V", "At the starter's stud.")] = None
    current: Annotated[float | None, quantity("current", "1 A", "5 kA", "Into the starter.")] = None
    torque: Annotated[float | None, quantity("torque", "0 N m", "500 N m", "At the pinion; 0 with no load.")] = None
    speed: Annotated[float | None, quantity("speed", "0 rpm", "20000 rpm", "Of the pinion; 0 when stalled.")] = None

    @classmethod
    def problems(cls, held: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
        """A point without voltage or current says nothing."""
        for name in ("voltage", "current"):
            if name not in held:
                yield name, "is missing, a starter point needs voltage and current"


class Starter(Section):
    """The starter motor and its solenoid."""

    voltage: Annotated[
        float | None, quantity("voltage", "6 V", "32 V", "Nominal voltage; 12 V for each battery in series.")
    ] = None
    power: Annotated[
        float | None,
        quantity("power", "0.3 kW", "15 kW", "Rated output; beside points it steadies the fit.", "2.5 kW"),
    ] = None
    points: Annotated[
        tuple[StarterPoint, ...], Field(max_length=12, description="Published points: no load, loaded, stalled.")
    ] = ()
    part: Annotated[
        str | None, named("starter", "A starter of the catalogue by name: its points, coils and ratio.", "none")
    ] = None
    solenoid: Annotated[
        str | None,
        named("solenoid", "A solenoid of the catalogue by name: its coils, pull-in voltage and contact.", "none"),
    ] = None
    motor: Annotated[
        Literal["series", "permanent magnet"] | None,
        choice(("series", "permanent magnet"), "Field winding or magnets.", "series"),
    ] = None
    pull_in: Annotated[
        float | None,
        quantity("resistance", "20 mohm", "20 ohm", "Pull-in coil at 20 degC; estimated from the voltage."),
    ] = None
    hold_in: Annotated[
        float | None,
        quantity("resistance", "50 mohm", "50 ohm", "Hold-in coil at 20 degC; estimated from the voltage."),
    ] = None
    pulls_in_at: Annotated[
        float | None,
        quantity(
            "voltage", "1 V", "30 V", "S-terminal voltage at which a cold solenoid closes; estimated from the voltage."
        ),
    ] = None
    drops_out_at: Annotated[
        float | None,
        quantity(
            "voltage",
            "0.2 V",
            "20 V",
            "S-terminal voltage at which a closed cold solenoid lets go; estimated from the voltage.",
        ),
    ] = None
    gear_ratio: Annotated[
        float | None, Number("Ring gear teeth by pinion teeth; the default is 114 to 9.", "12.67", low=4, high=30)
    ] = None
    brush_drop: Annotated[
        float | None, quantity("voltage", "0 V", "5 V", "Drop of all brushes together; estimated by the starter model.")
    ] = None
    resistance: Annotated[
        float | None,
        quantity(
            "resistance", "0.2 mohm", "200 mohm", "Armature and field at 20 degC; estimated from power or points."
        ),
    ] = None
    inertia: Annotated[
        float | None,
        quantity("inertia", "0.00001 kg m2", "1 kg m2", "Armature seen at the pinion; estimated from power."),
    ] = None
    engage_time: Annotated[
        float | None, quantity("time", "1 ms", "500 ms", "From pull-in current to closed main contact.", "30 ms")
    ] = None
    contact_resistance: Annotated[
        float | None,
        quantity(
            "resistance",
            "0.005 mohm",
            "50 mohm",
            "Main contact of the solenoid; new 0.05 mohm, worn 10 mohm.",
            "0.1 mohm",
        ),
    ] = None

    @classmethod
    def problems(cls, held: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
        """Published points and a catalogue part are two answers to one question."""
        if held.get("points") and held.get("part", "none") != "none":
            yield "points", "a starter is either a part of the catalogue or its published points, not both"


class StartCircuit(Section):
    """What puts current into the S terminal."""

    supply_from: Annotated[
        PositiveNode | None, choice(POSITIVE_NODES, "Node that feeds the key's start contact.", "starter stud")
    ] = None
    relay: Annotated[
        float | Literal["none"] | None,
        quantity(
            "resistance",
            "1 ohm",
            "10 kohm",
            'Coil of the start relay; "none": the key carries both solenoid coils through the wire below. '
            "The default is of a 12 V boat, 340 ohm of 24 V.",
            "85 ohm",
            words=("none",),
        ),
    ] = None
    relay_part: Annotated[
        str | None,
        named("relay", "Start relay of the catalogue by name: its coil, voltages, times and contact.", "none"),
    ] = None
    relay_must_operate: Annotated[
        float | None,
        quantity("voltage", "1 V", "30 V", "Start relay closes at or below this; estimated from the voltage."),
    ] = None
    relay_must_release: Annotated[
        float | None,
        quantity("voltage", "0.1 V", "20 V", "Start relay opens at or above this; estimated from the voltage."),
    ] = None
    length: Annotated[
        float | None, quantity("length", "1 cm", "500 m", "Engine to key, one way; defaults to feed.length.")
    ] = None
    size: Annotated[ConductorSize | None, Size("Conductor of the start wire.", "14 AWG")] = None
    joints: Annotated[
        float | None, quantity("resistance", "0 ohm", "10 ohm", "Pins and key contact together.", "30 mohm")
    ] = None
    corroded: Annotated[str | None, corroded_joint("between key and engine")] = None
    corrosion: Annotated[float | None, corroded_share()] = None
    return_length: Annotated[
        float | None,
        quantity("length", "1 cm", "500 m", "Key back to the solenoid or start relay; defaults to length."),
    ] = None
    shares_feed: Annotated[
        bool | None, Flag("True: its current runs in the display feed's supply conductor.", "false")
    ] = None
    neutral_switch: Annotated[
        float | Literal["open"] | None,
        quantity(
            "resistance",
            "0 ohm",
            "100 ohm",
            'Contact of the neutral switch; "open": the gear is in and nothing cranks.',
            "5 mohm",
            words=("open",),
        ),
    ] = None

    @classmethod
    def problems(cls, held: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
        """A relay that is not there has no data, and corrosion is of a named joint."""
        yield from corrosion_problems(held)
        if held.get("relay") == "none":
            for name in ("relay_part", "relay_must_operate", "relay_must_release"):
                if held.get(name, "none") != "none":
                    yield name, 'has no meaning with start_circuit.relay = "none"'


class Engine(Section):
    """The diesel as the starter feels it."""

    part: Annotated[
        str | None,
        named("engine", "An engine of the catalogue by name: its size, compression, oil and minimum speed.", "none"),
    ] = None
    displacement: Annotated[
        float | None, quantity("volume", "0.1 L", "60 L", "Swept volume of all cylinders.", "4.2 L")
    ] = None
    cylinders: Annotated[int | None, Number("Number of cylinders.", "4", low=1, high=16, whole=True)] = None
    compression_ratio: Annotated[float | None, Number("Compression ratio.", "17.5", low=5, high=30)] = None
    oil: Annotated[str | None, choice(OILS, "Oil grade (SAE J300).", "15W-40")] = None
    fires_after: Annotated[
        float | Literal["never"] | None,
        quantity(
            "time",
            "1 ms",
            "10 min",
            'Cranking above minimum_speed before it fires; "never": cranks until the key is released.',
            "1.2 s",
            words=("never",),
        ),
    ] = None
    minimum_speed: Annotated[
        float | None, quantity("speed", "1 rpm", "1000 rpm", "Below this the engine never fires.", "120 rpm")
    ] = None
    friction_factor: Annotated[
        float | None, Number("Friction of this engine against the estimate; 1 is as estimated.", "1", low=0.1, high=10)
    ] = None
    inertia: Annotated[
        float | None,
        quantity("inertia", "0.001 kg m2", "500 kg m2", "Crankshaft and flywheel; estimated from displacement."),
    ] = None


class Crank(Section):
    """What the hand on the key does."""

    key_on_before: Annotated[float | None, quantity("time", "0 s", "30 min", "From key-on to START.", "5 s")] = None
    key_held: Annotated[float | None, quantity("time", "50 ms", "2 min", "In START, each attempt.", "3 s")] = None
    attempts: Annotated[int | None, Number("Number of attempts.", "1", low=1, high=20, whole=True)] = None
    rest: Annotated[float | None, quantity("time", "100 ms", "30 min", "Between attempts.", "10 s")] = None
    after: Annotated[
        float | None, quantity("time", "50 ms", "30 min", "Simulated after the last release of the key.", "1.5 s")
    ] = None
