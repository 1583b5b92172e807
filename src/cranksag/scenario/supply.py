# SPDX-License-Identifier: GPL-3.0-or-later
"""The tables of what supplies the boat: temperatures, batteries and their link, alternator, cables, panel."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import Field

from cranksag.quantities import ConductorSize
from cranksag.scenario.base import (
    SUPPLY_NODES,
    Section,
    SupplyNode,
    choice,
    corroded_joint,
    corroded_share,
    corrosion_problems,
    named,
    quantity,
)
from cranksag.scenario.specs import Number, Size, Text

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
    link_resistance: Annotated[
        float | None,
        quantity(
            "resistance",
            "0 ohm",
            "0.1 ohm",
            "Cable between two batteries in series with its lugs, each; the default is an engineering estimate: 0.4 m "
            "of 2/0 AWG.",
            "0.15 mohm",
        ),
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


class Cable(Section):
    """One element of a battery cable run: a length of conductor, a switch or a joint."""

    name: Annotated[str | None, Text("What it is, such as battery switch; the part's name, or cable 1, 2 ...")] = None
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
    corroded: Annotated[str | None, corroded_joint("at its ends")] = None
    corrosion: Annotated[float | None, corroded_share("the joint named by corroded, or by part,")] = None

    @classmethod
    def problems(cls, held: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
        """A conductor needs length and size; a resistance or a part stands alone; corrosion is of a named joint."""
        if held.get("part", "none") == "none":
            yield from corrosion_problems(held)
        elif held.get("corroded", "none") != "none":
            yield "corroded", "part names the joint already, corrosion alone says how far it is; leave corroded out"
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
    corroded: Annotated[str | None, corroded_joint("in the feeder")] = None
    corrosion: Annotated[float | None, corroded_share()] = None

    @classmethod
    def problems(cls, held: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
        """A measured resistance replaces length and size; corrosion is of a named joint."""
        yield from corrosion_problems(held)
        if "resistance" in held and ("length" in held or "size" in held):
            yield "resistance", "write either resistance or length and size, not both"
