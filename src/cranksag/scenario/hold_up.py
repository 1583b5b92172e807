# SPDX-License-Identifier: GPL-3.0-or-later
"""The hold-up table: every field of every branch, and which branch it belongs to."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from cranksag.quantities import ConductorSize
from cranksag.scenario.base import Section, choice, corroded_joint, corroded_share, corrosion_problems, named, quantity
from cranksag.scenario.specs import Number, Size, Spec

BRANCHES = ("none", "standby pack", "reservoir", "supercapacitor", "house feed", "converter")
"""The hold-up branches."""

PACK = ("standby pack",)
BANK = ("reservoir", "supercapacitor")
CELLS = ("supercapacitor",)
HOUSE = ("house feed",)
CONVERTER = ("converter",)
ADDED = tuple(b for b in BRANCHES if b != "none")

CHEMISTRIES = ("vented lead", "agm", "gel", "nimh", "lithium", "primary lithium", "alkaline")
"""Chemistries of a standby pack."""

Branch = Literal["none", "standby pack", "reservoir", "supercapacitor", "house feed", "converter"]
Chemistry = Literal["vented lead", "agm", "gel", "nimh", "lithium", "primary lithium", "alkaline"]
ChargePath = Literal["none", "feed", "key switch", "house battery", "start battery"]


class HoldUp(Section):
    """What keeps the display alive while the engine is cranked."""

    branch: Annotated[Branch | None, choice(BRANCHES, "The circuit that holds the display up.", "none")] = None

    # common to several branches
    fuse: Annotated[
        float | Literal["none"] | None,
        quantity(
            "current",
            "0.1 A",
            "200 A",
            'Fuse at the added source; "none" is a danger.',
            "5 A",
            words=("none",),
            branches=ADDED,
        ),
    ] = None
    fuse_part: Annotated[
        str | None,
        named(
            "fuse",
            "Fuse of the catalogue by name: its rating, type and resistance; else a blade fuse.",
            "none",
            branches=ADDED,
        ),
    ] = None
    diode: Annotated[
        str | None,
        named(
            "diode",
            "Diode between the added source and the display, by its catalogue name.",
            branches=(*PACK, *BANK, *HOUSE),
        ),
    ] = None
    feed_diode: Annotated[
        str | None,
        named(
            "diode", 'Diode in the normal feed, by its catalogue name; "none" leaves it out.', branches=(*PACK, *HOUSE)
        ),
    ] = None
    discharge_diode: Annotated[
        str | None,
        named("diode", "Diode from the capacitor bank to the display, by its catalogue name.", branches=BANK),
    ] = None
    placed_at: Annotated[
        Literal["helm", "engine room"] | None,
        choice(("helm", "engine room"), "Where it is fitted, for its temperature.", "helm", branches=ADDED),
    ] = None
    length: Annotated[
        float | None,
        quantity(
            "length",
            "1 cm",
            "200 m",
            "From the added source to the display, one way. A pack has a wire out and one back; a house feed is the "
            "positive wire alone and returns by the feed's return conductor.",
            "1 m",
            branches=(*PACK, *HOUSE),
        ),
    ] = None
    size: Annotated[
        ConductorSize | None, Size("Conductor from the added source.", "16 AWG", branches=(*PACK, *HOUSE))
    ] = None
    joints: Annotated[
        float | None,
        quantity(
            "resistance",
            "0 ohm",
            "10 ohm",
            "Fuse holder, pins and terminals together.",
            "10 mohm",
            branches=(*PACK, *HOUSE),
        ),
    ] = None
    corroded: Annotated[str | None, corroded_joint("on the way from the added source", branches=(*PACK, *HOUSE))] = None
    corrosion: Annotated[float | None, corroded_share(branches=(*PACK, *HOUSE))] = None
    charge_path: Annotated[
        ChargePath | None,
        choice(
            ("none", "feed", "key switch", "house battery", "start battery"),
            'What charges it; "key switch": the bank hangs behind the key contact itself. Feed for a capacitor '
            "bank; for a pack, none unless recharge says otherwise.",
            branches=(*PACK, *BANK),
        ),
    ] = None

    # standby pack
    pack: Annotated[str | None, named("pack", "Standby pack by its catalogue name.", branches=PACK)] = None
    chemistry: Annotated[
        Chemistry | None,
        choice(CHEMISTRIES, "Chemistry of the pack; agm unless the catalogue part says.", branches=PACK),
    ] = None
    pack_voltage: Annotated[
        float | None,
        quantity("voltage", "3 V", "32 V", "Full pack at rest; from the catalogue part, else 12.8 V.", branches=PACK),
    ] = None
    pack_resistance: Annotated[
        float | None,
        quantity("resistance", "1 mohm", "20 ohm", "Internal resistance; estimated from capacity.", branches=PACK),
    ] = None
    pack_capacity: Annotated[
        float | None, quantity("capacity", "0.05 Ah", "200 Ah", "From the catalogue part, else 7 Ah.", branches=PACK)
    ] = None
    pack_charge: Annotated[
        float | None, quantity("share", "0 %", "100 %", "Charge left in the pack.", "100 %", branches=PACK)
    ] = None
    in_parallel_with: Annotated[
        Literal["none", "start battery", "house battery"] | None,
        choice(
            ("none", "start battery", "house battery"),
            "A battery the pack is wired to directly, without a diode.",
            "none",
            branches=PACK,
        ),
    ] = None
    recharge: Annotated[
        Literal["none", "resistor", "charger"] | None,
        choice(("none", "resistor", "charger"), "What brings the pack's charge back.", "none", branches=PACK),
    ] = None
    recharge_resistance: Annotated[
        float | None,
        quantity("resistance", "0.1 ohm", "100 kohm", "Of the recharge resistor.", "22 ohm", branches=PACK),
    ] = None

    # the pack's relay
    contact: Annotated[
        Literal["make", "changeover", "none"] | None,
        choice(
            ("make", "changeover", "none"),
            'Kind of relay contact; "none": no relay, only the diode. From the catalogue part.',
            "make",
            branches=PACK,
        ),
    ] = None
    relay: Annotated[str | None, named("relay", "Relay by its catalogue name.", branches=PACK)] = None
    coil_at: Annotated[
        Literal["s terminal", "start signal"] | None,
        choice(("s terminal", "start signal"), "Node the relay's coil hangs on.", "start signal", branches=PACK),
    ] = None
    coil_resistance: Annotated[
        float | None, quantity("resistance", "5 ohm", "20 kohm", "At 20 degC; from the catalogue part.", branches=PACK)
    ] = None
    must_operate: Annotated[
        float | None,
        quantity(
            "voltage",
            "1 V",
            "30 V",
            "A maximum, at 20 degC: every relay of the type closes by then; from the catalogue part.",
            branches=PACK,
        ),
    ] = None
    must_release: Annotated[
        float | None,
        quantity(
            "voltage",
            "0.1 V",
            "20 V",
            "A minimum, at 20 degC: every relay of the type has opened by then; from the catalogue part.",
            branches=PACK,
        ),
    ] = None
    operate_time: Annotated[
        float | None, quantity("time", "0.1 ms", "1 s", "At nominal voltage; from the catalogue part.", branches=PACK)
    ] = None
    release_time: Annotated[
        float | None, quantity("time", "0.1 ms", "1 s", "Without suppression; from the catalogue part.", branches=PACK)
    ] = None
    contact_resistance: Annotated[
        float | None, quantity("resistance", "0.1 mohm", "10 ohm", "Closed; from the catalogue part.", branches=PACK)
    ] = None
    suppression: Annotated[
        Literal["diode", "zener", "resistor", "none"] | None,
        choice(
            ("diode", "zener", "resistor", "none"), "Across the coil; sets the release time.", "diode", branches=PACK
        ),
    ] = None
    suppression_voltage: Annotated[
        float | None, quantity("voltage", "1 V", "200 V", "Of the zener across the coil.", "24 V", branches=PACK)
    ] = None
    suppression_resistance: Annotated[
        float | None,
        quantity(
            "resistance",
            "10 ohm",
            "100 kohm",
            "Of the resistor across the coil; 2.72 kohm on 24 V.",
            "680 ohm",
            branches=PACK,
        ),
    ] = None

    # capacitor banks
    capacitor: Annotated[
        str | None,
        named(
            ("capacitor", "supercapacitor"),
            "Capacitor, or supercapacitor, by its catalogue name; of a lone cell, as many as cells.",
            "none",
            branches=BANK,
        ),
    ] = None
    capacitance: Annotated[
        float | None,
        quantity(
            "capacitance",
            "10 uF",
            "1000 F",
            "Of the whole bank, new, at 20 degC; 47 mF for a reservoir, 10 F for a supercapacitor.",
            branches=BANK,
        ),
    ] = None
    esr: Annotated[
        float | None,
        quantity(
            "resistance",
            "0.01 mohm",
            "100 ohm",
            "Of the whole bank, new, at 20 degC; estimated from capacitance.",
            branches=BANK,
        ),
    ] = None
    rated_voltage: Annotated[
        float | None,
        quantity(
            "voltage",
            "2 V",
            "500 V",
            "Of the whole bank; cells times cell_voltage for a supercapacitor, else 25 V (35 V on a 24 V boat).",
            branches=BANK,
        ),
    ] = None
    age: Annotated[
        float | None, quantity("time", "0 h", "30 y", "In service at age_temperature.", "0 y", branches=BANK)
    ] = None
    age_temperature: Annotated[
        float | None,
        quantity(
            "temperature",
            "-40 degC",
            "90 degC",
            "Mean over those years, by which the bank has aged, whatever the crank's; the default is an engineering "
            "estimate.",
            "20 degC",
            branches=BANK,
        ),
    ] = None
    leakage: Annotated[
        float | None, quantity("current", "0 A", "1 A", "At rated voltage; estimated from capacitance.", branches=BANK)
    ] = None
    inrush_limit: Annotated[
        float | Literal["none"] | None,
        quantity(
            "resistance",
            "10 mohm",
            "10 kohm",
            'Resistor or limiter in the charge path; "none" is a danger.',
            "4.7 ohm",
            words=("none",),
            branches=BANK,
        ),
    ] = None
    bleed: Annotated[
        float | Literal["none"] | None,
        quantity(
            "resistance",
            "1 ohm",
            "10 Mohm",
            'Resistor that empties the bank; "none" is a danger.',
            "10 kohm",
            words=("none",),
            branches=BANK,
        ),
    ] = None
    cells: Annotated[
        int | None,
        Number("Cells in series; enough for the charging voltage.", branches=CELLS, low=1, high=40, whole=True),
    ] = None
    cell_voltage: Annotated[
        float | None, quantity("voltage", "1 V", "5 V", "Rated voltage of one cell.", "2.7 V", branches=CELLS)
    ] = None
    charge_current: Annotated[
        float | None, quantity("current", "1 mA", "100 A", "Limit of the charger.", "2 A", branches=CELLS)
    ] = None
    balancing: Annotated[
        Literal["none", "resistor", "active"] | None,
        choice(("none", "resistor", "active"), "What keeps the cells alike.", "resistor", branches=CELLS),
    ] = None

    # converter
    converter: Annotated[
        str | None, named("converter", "Converter by its catalogue name.", "none", branches=CONVERTER)
    ] = None
    direction: Annotated[
        Literal["up", "down", "up/down"] | None,
        choice(
            ("up", "down", "up/down"),
            "What it does to the voltage; down on a 24 V boat, else up/down.",
            branches=CONVERTER,
        ),
    ] = None
    output_voltage: Annotated[
        float | None, quantity("voltage", "3 V", "32 V", "Regulated output.", "12.5 V", branches=CONVERTER)
    ] = None
    efficiency: Annotated[
        float | None,
        quantity("share", "20 %", "99.9 %", "Output over input power in service.", "88 %", branches=CONVERTER),
    ] = None
    cut_out: Annotated[
        float | None,
        quantity(
            "voltage",
            "1 V",
            "30 V",
            "Input below which it stops; estimated from direction and boat voltage.",
            branches=CONVERTER,
        ),
    ] = None
    cut_in: Annotated[
        float | None,
        quantity(
            "voltage",
            "1 V",
            "32 V",
            "Input above which it starts again; 1 V above cut_out, 2 V on a 24 V boat.",
            branches=CONVERTER,
        ),
    ] = None
    maximum_input: Annotated[
        float | Literal["unknown"] | None,
        quantity(
            "voltage",
            "3 V",
            "100 V",
            "Highest lasting input it stands: its plate.",
            "unknown",
            branches=CONVERTER,
            words=("unknown",),
        ),
    ] = None
    restart_delay: Annotated[
        float | None, quantity("time", "0 s", "60 s", "From cut_in to output.", "300 ms", branches=CONVERTER)
    ] = None
    input_limit: Annotated[
        float | None,
        quantity(
            "current",
            "0.1 A",
            "200 A",
            "Largest input current; estimated from the displays' power.",
            branches=CONVERTER,
        ),
    ] = None
    output_capacitance: Annotated[
        float | None, quantity("capacitance", "1 uF", "1 F", "At its output.", "1 mF", branches=CONVERTER)
    ] = None
    quiescent_power: Annotated[
        float | None, quantity("power", "0 W", "50 W", "Its own consumption.", "0.3 W", branches=CONVERTER)
    ] = None

    @classmethod
    def problems(cls, held: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
        """Every written field belongs to the written branch, and corrosion is of a named joint."""
        yield from corrosion_problems(held)
        branch = held.get("branch", "none")
        if branch not in BRANCHES:
            return
        for name in held:
            belongs = branches_of(name)
            if belongs and branch not in belongs:
                first = "" if branch != "none" else f'; hold_up.branch = "{belongs[0]}" would choose one'
                yield name, f'does not belong to branch "{branch}" (it belongs to {", ".join(belongs)}{first})'


def branches_of(name: str) -> tuple[str, ...]:
    """The branches a hold-up field belongs to; empty for `branch` and for unknown names."""
    info = HoldUp.model_fields.get(name)
    spec = next((m for m in info.metadata if isinstance(m, Spec)), None) if info else None
    return spec.branches if spec else ()
