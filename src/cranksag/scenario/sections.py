# SPDX-License-Identifier: GPL-3.0-or-later
"""The boat's own tables: batteries, starter, start circuit, engine, cables, feed, loads, displays.

Each field carries its dimension, limits, default and one sentence of documentation; the limits are wide
enough for any boat this tool is meant for and only keep out what cannot be (engineering estimate throughout).
The sources of the defaults' values stand in `cranksag.parts`, where they act.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import Field

from cranksag.errors import InputError
from cranksag.quantities import ConductorSize
from cranksag.scenario.base import POSITIVE_NODES, RETURN_NODES, SUPPLY_NODES, Section, choice, named, quantity
from cranksag.scenario.specs import Flag, Mark, Number, Size, Text, TimeMark

SupplyNode = Literal["battery", "battery switch", "starter stud", "house battery", "panel"]
PositiveNode = Literal[
    "battery",
    "battery switch",
    "starter stud",
    "house battery",
    "panel",
    "s terminal",
    "feed",
    "display supply",
    "start signal",
]
ReturnNode = Literal["battery negative", "engine block"]
LoadReturnNode = Literal["battery negative", "engine block", "display return"]

OILS = (
    *(f"{winter}W-{summer}" for winter in (0, 5, 10, 15, 20, 25) for summer in (20, 30, 40, 50, 60)),
    *(f"SAE {grade}" for grade in (20, 30, 40, 50)),
)
"""Engine oil grades (SAE J300 viscosity classes)."""

_NOT_YET = "lithium start batteries are not modelled yet, only flooded, efb, agm and gel"
_COLD_CRANKING = (("cca", 'a label marked CCA is the SAE test: write "SAE"'),)
_LITHIUM = tuple((word, _NOT_YET) for word in ("lithium", "lifepo4", "lfp", "li-ion"))


class Temperature(Section):
    """One ambient, or each place where it differs [degC]."""

    ambient: Annotated[
        float | None, quantity("temperature", "-40 degC", "60 degC", "Air around the boat.", "20 degC")
    ] = None
    battery: Annotated[
        float | None, quantity("temperature", "-40 degC", "70 degC", "Battery; defaults to ambient.")
    ] = None
    engine_room: Annotated[
        float | None,
        quantity(
            "temperature",
            "-40 degC",
            "120 degC",
            "Engine room: starter, solenoid, start relay and cables; defaults to ambient.",
        ),
    ] = None
    oil: Annotated[
        float | None, quantity("temperature", "-40 degC", "150 degC", "Engine oil; defaults to ambient.")
    ] = None
    helm: Annotated[
        float | None,
        quantity(
            "temperature", "-40 degC", "90 degC", "Helm: display and what is fitted behind it; defaults to ambient."
        ),
    ] = None


class Battery(Section):
    """A bank of like batteries; ratings are per battery."""

    part: Annotated[
        str | None,
        named("battery", "A battery of the catalogue by name: its chemistry, rating, standard and capacity.", "none"),
    ] = None
    chemistry: Annotated[
        Literal["flooded", "efb", "agm", "gel"] | None,
        choice(("flooded", "efb", "agm", "gel"), "Kind of lead-acid battery.", "flooded", refused=_LITHIUM),
    ] = None
    rating: Annotated[float | None, quantity("current", "50 A", "3 kA", "Cranking rating of one battery.", "800 A")] = (
        None
    )
    rating_standard: Annotated[
        Literal["SAE", "EN", "DIN", "MCA"] | None,
        choice(("SAE", "EN", "DIN", "MCA"), "The test behind the cranking rating.", "SAE", refused=_COLD_CRANKING),
    ] = None
    capacity: Annotated[
        float | None, quantity("capacity", "5 Ah", "1000 Ah", "Capacity of one battery; estimated from the rating.")
    ] = None
    state_of_charge: Annotated[float | None, quantity("share", "0 %", "100 %", "Charge left.", "90 %")] = None
    health: Annotated[
        float | None,
        quantity("share", "5 %", "120 %", "Share of the rated cranking current that is still there.", "90 %"),
    ] = None
    in_parallel: Annotated[
        int | None, Number("Batteries (or strings) side by side.", "1", low=1, high=8, whole=True)
    ] = None
    in_series: Annotated[
        int | None,
        Number("Batteries in a string; 2 for a 24 V boat of 12 V batteries.", "1", low=1, high=2, whole=True),
    ] = None
    internal_resistance: Annotated[
        float | None,
        quantity("resistance", "0.1 mohm", "1 ohm", "A tester's reading on one battery; estimated from the rating."),
    ] = None
    open_circuit_voltage: Annotated[
        float | None,
        quantity(
            "voltage", "8 V", "14 V", "Measured voltage at rest of one battery; estimated from chemistry and charge."
        ),
    ] = None


class Link(Section):
    """How the house bank meets the start bank while cranking."""

    kind: Annotated[
        Literal["open", "closed", "diode isolator"] | None,
        choice(
            ("open", "closed", "diode isolator"),
            "Open, closed (selector on both, relay left in) or a diode isolator.",
            "open",
        ),
    ] = None
    resistance: Annotated[
        float | None, quantity("resistance", "0.01 mohm", "10 ohm", "Cable and contact between the banks.", "1 mohm")
    ] = None


class Alternator(Section):
    """What charges after the engine has fired."""

    charge_voltage: Annotated[
        float | None, quantity("voltage", "12 V", "32 V", "Regulated voltage; 14.2 V for each 12 V battery in series.")
    ] = None
    ramp: Annotated[float | None, quantity("time", "1 ms", "60 s", "Time from firing to full output.", "1 s")] = None
    rating: Annotated[float | None, quantity("current", "5 A", "500 A", "Largest charging current.", "60 A")] = None


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
            'Coil of the start relay; "none": the key carries both solenoid coils through the wire below.',
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
        """A relay that is not there has no data."""
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


class Cable(Section):
    """One element of a battery cable run: a length of conductor, a switch or a joint."""

    name: Annotated[str | None, Text('What it is; "cable 1", "cable 2" and so on.')] = None
    part: Annotated[
        str | None, named("joint", "A joint or switch of the catalogue by name: its resistance when sound.", "none")
    ] = None
    length: Annotated[float | None, quantity("length", "1 mm", "200 m", "Of this conductor.")] = None
    size: Annotated[ConductorSize | None, Size("Of this conductor.")] = None
    resistance: Annotated[
        float | None,
        quantity("resistance", "0 ohm", "1 ohm", "Instead of length and size: a switch, a joint, a measured run."),
    ] = None
    joints: Annotated[
        float | None, quantity("resistance", "0 ohm", "1 ohm", "Lugs and clamps at its ends.", "0.05 mohm")
    ] = None

    @classmethod
    def problems(cls, held: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
        """A conductor needs length and size; a resistance or a part stands alone."""
        if held.get("part", "none") != "none":
            if "length" in held or "size" in held:
                yield "part", "write either a part or length and size, not both"
            return
        if "resistance" in held:
            if "length" in held or "size" in held:
                yield "resistance", "write either resistance or length and size, not both"
            return
        for name, other in (("length", "size"), ("size", "length")):
            if name not in held:
                also = f" beside {other}" if other in held else ""
                yield name, f"is missing{also}, a cable needs length and size, or resistance, or part"
                return


class Cables(Section):
    """The starter's own circuit, element by element, in order of the current."""

    positive: Annotated[
        tuple[Cable, ...], Field(max_length=30, description="Start battery + to starter stud, in order.")
    ] = ()
    negative: Annotated[
        tuple[Cable, ...], Field(max_length=30, description="Engine block to start battery -, in order.")
    ] = ()


class Panel(Section):
    """The distribution panel and what feeds it."""

    from_: Annotated[
        SupplyNode | None,
        choice(
            tuple(n for n in SUPPLY_NODES if n != "panel"),
            "Node that feeds the panel; the house battery if there is one, else the battery switch.",
        ),
    ] = Field(default=None, alias="from")
    length: Annotated[float | None, quantity("length", "1 cm", "200 m", "One way.", "2 m")] = None
    size: Annotated[ConductorSize | None, Size("Conductor to the panel.", "8 AWG")] = None
    resistance: Annotated[
        float | None, quantity("resistance", "0 ohm", "10 ohm", "Measured, instead of length and size.")
    ] = None
    joints: Annotated[
        float | None, quantity("resistance", "0 ohm", "10 ohm", "Fuse, breaker and terminals together.", "2 mohm")
    ] = None

    @classmethod
    def problems(cls, held: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
        """A measured resistance replaces length and size."""
        if "resistance" in held and ("length" in held or "size" in held):
            yield "resistance", "write either resistance or length and size, not both"


class Feed(Section):
    """The normal supply of the displays: where it is tapped, its two conductors, the key."""

    from_: Annotated[SupplyNode | None, choice(SUPPLY_NODES, "Feed point.", "starter stud")] = Field(
        default=None, alias="from"
    )
    return_to: Annotated[ReturnNode | None, choice(RETURN_NODES, "Return point.", "engine block")] = None
    length: Annotated[float | None, quantity("length", "1 cm", "500 m", "One way.", "30 ft")] = None
    size: Annotated[ConductorSize | None, Size("Supply conductor.", "16 AWG")] = None
    return_size: Annotated[ConductorSize | None, Size("Return conductor; defaults to size.")] = None
    return_length: Annotated[
        float | None, quantity("length", "1 cm", "500 m", "Return conductor; defaults to length.")
    ] = None
    joints: Annotated[
        float | None,
        quantity("resistance", "0 ohm", "20 ohm", "Supply side: pins, fuse, key switch together.", "40 mohm"),
    ] = None
    return_joints: Annotated[
        float | None, quantity("resistance", "0 ohm", "20 ohm", "Return side: pins and terminals together.", "20 mohm")
    ] = None
    fuse: Annotated[
        float | Literal["none"] | None,
        quantity("current", "0.1 A", "200 A", "Fuse at the feed point.", "5 A", words=("none",)),
    ] = None
    fuse_part: Annotated[
        str | None, named("fuse", "Fuse of the catalogue by name: its rating and type; else a blade fuse.", "none")
    ] = None
    key_terminal: Annotated[
        Literal["always", "accessory", "run"] | None,
        choice(("always", "accessory", "run"), "Terminal of the key switch it hangs on.", "run"),
    ] = None
    dead_in_start: Annotated[bool | None, Flag("True: that terminal is cut while the key is in START.", "false")] = None
    key_break: Annotated[
        float | None, quantity("time", "0 s", "2 s", "Break between RUN and START while the key turns.", "0 ms")
    ] = None


class Load(Section):
    """Anything else on the same supply: intake heater, run solenoid, second panel, network bus."""

    name: Annotated[str | None, Text('What it is; "load 1", "load 2" and so on.')] = None
    at: Annotated[PositiveNode | None, choice(POSITIVE_NODES, "Node it hangs on.", "feed")] = None
    return_to: Annotated[
        LoadReturnNode | None,
        choice(
            (*RETURN_NODES, "display return"),
            "Node it returns to; the display return for loads on the feed, else the engine block.",
        ),
    ] = None
    current: Annotated[float | None, quantity("current", "0 A", "1 kA", "Constant current.")] = None
    power: Annotated[float | None, quantity("power", "0 W", "20 kW", "Constant power.")] = None
    resistance: Annotated[float | None, quantity("resistance", "1 mohm", "1 Mohm", "Constant resistance.")] = None
    from_time: Annotated[TimeMark | None, Mark("Switched on.", "key on")] = None
    until: Annotated[TimeMark | None, Mark("Switched off.", "end")] = None

    @classmethod
    def problems(cls, held: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
        """One law of consumption, and a window that opens before it shuts."""
        laws = [name for name in ("current", "power", "resistance") if name in held]
        if not laws:
            yield "current", "is missing, a load needs current, power or resistance"
        elif len(laws) > 1:
            yield laws[1], f"write only one of {', '.join(laws)}"
        begin, end = (_mark(held.get(name)) for name in ("from_time", "until"))
        if begin and end and begin.event == end.event and begin.offset >= end.offset:
            yield "until", "must be later than from_time"


def _mark(value: Any) -> TimeMark | None:
    if isinstance(value, TimeMark):
        return value
    try:
        return Mark("").read(value)
    except InputError:
        return None


class Display(Section):
    """A digital engine display."""

    name: Annotated[str | None, Text('Which one; "display 1", "display 2" and so on.')] = None
    part: Annotated[
        str | None, named("display", "A display of the catalogue by name: its power, thresholds and times.", "none")
    ] = None
    power: Annotated[float | None, quantity("power", "0.1 W", "500 W", "In service.", "9 W")] = None
    boot_power: Annotated[float | None, quantity("power", "0.1 W", "500 W", "While booting; defaults to power.")] = None
    reset_power: Annotated[float | None, quantity("power", "0 W", "500 W", "While held in reset.", "0.5 W")] = None
    converter_minimum: Annotated[
        float | None,
        quantity(
            "voltage",
            "1 V",
            "30 V",
            "Below this the input converter no longer draws constant power; estimated from brownout.",
        ),
    ] = None
    brownout: Annotated[float | None, quantity("voltage", "2 V", "30 V", "Brown-out threshold.", "8.5 V")] = None
    brownout_at: Annotated[
        Literal["pins", "internal"] | None,
        choice(
            ("pins", "internal"),
            "Where the threshold was measured: at the pins, or behind diode and input capacitor.",
            "pins",
        ),
    ] = None
    reset_after: Annotated[
        float | None, quantity("time", "0 s", "10 s", "Time below the threshold that makes it restart.", "2 ms")
    ] = None
    restarts_above: Annotated[
        float | None, quantity("voltage", "2 V", "32 V", "Supply at which it boots again; 1 V above brownout.")
    ] = None
    boot_time: Annotated[float | None, quantity("time", "0 s", "10 min", "From power back to gauges back.", "12 s")] = (
        None
    )
    input_capacitance: Annotated[
        float | None, quantity("capacitance", "0.1 uF", "100 mF", "At its input.", "220 uF")
    ] = None
    input_diode: Annotated[bool | None, Flag("A series diode at its input.", "false")] = None
    sense_threshold: Annotated[
        float | Literal["none"] | None,
        quantity(
            "voltage",
            "0.5 V",
            "30 V",
            "A separate enable or ignition-sense pin that resets it below this.",
            "none",
            words=("none",),
        ),
    ] = None
    sense_from: Annotated[PositiveNode | None, choice(POSITIVE_NODES, "Node that pin hangs on.", "feed")] = None
