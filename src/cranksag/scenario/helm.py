# SPDX-License-Identifier: GPL-3.0-or-later
"""The tables of what hangs on the supply: the displays' feed, other loads, the displays themselves."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import Field

from cranksag.errors import InputError
from cranksag.quantities import ConductorSize
from cranksag.scenario.base import (
    POSITIVE_NODES,
    RETURN_NODES,
    SUPPLY_NODES,
    LoadReturnNode,
    PositiveNode,
    ReturnNode,
    Section,
    SupplyNode,
    choice,
    corroded_joint,
    corroded_share,
    corrosion_problems,
    named,
    quantity,
)
from cranksag.scenario.specs import Flag, Mark, Size, Text, TimeMark


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
    corroded: Annotated[str | None, corroded_joint("on the supply side")] = None
    corrosion: Annotated[float | None, corroded_share()] = None
    return_corroded: Annotated[str | None, corroded_joint("on the return side")] = None
    return_corrosion: Annotated[float | None, corroded_share("the joint named by return_corroded")] = None
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

    @classmethod
    def problems(cls, held: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
        """Corrosion is of a named joint."""
        yield from corrosion_problems(held, "", "return_")


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
    maximum_supply: Annotated[
        float | Literal["unknown"] | None,
        quantity(
            "voltage", "3 V", "100 V", "Highest lasting supply it stands: its plate.", "unknown", words=("unknown",)
        ),
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
