# SPDX-License-Identifier: GPL-3.0-or-later
"""The boat's own sections: scenario fields, defaults and parts to circuit values."""

from __future__ import annotations

import math

from cranksag.parts.battery import BatteryCircuit, bank_circuit, charged_above_full, open_circuit_voltage, scaled
from cranksag.parts.conductors import inductance_per_metre, run_resistance
from cranksag.parts.display import CONVERTER_MINIMUM_SHARE, display_circuit
from cranksag.resolve.corrosion import with_corrosion
from cranksag.resolve.fields import Ledger, Section
from cranksag.resolve.hold_up import named_diode, named_fuse
from cranksag.resolve.model import (
    SWITCH,
    Alternator,
    Crank,
    Display,
    Element,
    Feed,
    Link,
    Load,
    Origin,
    Panel,
    Temperatures,
)
from cranksag.scenario import DEFAULT_ROWS, Scenario, TimeMark
from cranksag.scenario import Cable as CableRow
from cranksag.scenario import Display as DisplayRow

VOLTAGE_PER_BATTERY = 12.0  # [V] nominal of one lead-acid battery
CHARGE_PER_BATTERY = 14.2  # [V] alternator set-point for each 12 V battery; common practice
HOUSE_NEGATIVE = 0.5e-3  # [ohm] house bank's negative cable to the common negative; engineering estimate
AMPERE_TO_AMPERE_HOUR = 0.14  # [Ah/A] capacity from the SAE rating: 100 Ah and 700 A; common practice
COULOMB_PER_AMPERE_HOUR = 3600.0
IDLE_SPEED = 78.5  # [rad/s] 750 rpm; common practice
RESTART_ABOVE_BROWNOUT = 1.0  # [V] restart threshold over brown-out; common practice
BARE = "lugs are not added to a measured resistance or to a part"
LONG_FEED = 61.0  # [m] 200 ft, one way: unusual for any helm


def temperatures(ledger: Ledger) -> Temperatures:
    """Each place's temperature; ambient where it is not written."""
    section = Section(ledger, ledger.scenario.temperature, "temperature")
    ambient = section.number("ambient")
    places = {p: section.number(p, ambient, "ambient") for p in ("battery", "engine_room", "oil", "helm")}
    return Temperatures(**places)


def bank(ledger: Ledger, name: str, temperature: float) -> BatteryCircuit:
    """The start or house bank."""
    section = Section(ledger, getattr(ledger.scenario, name), name)
    entry = section.part("battery")
    if entry is not None and abs(float(entry.value("voltage")) - VOLTAGE_PER_BATTERY) > 0.2 * VOLTAGE_PER_BATTERY:
        section.problem(
            "part",
            f"is a battery of {entry.value('voltage'):g} V; a bank is made of 12 V batteries, in_series of them",
        )
    rating, standard = section.number("rating", entry=entry), str(section.value("rating_standard", entry=entry))
    usual = rating * AMPERE_TO_AMPERE_HOUR * COULOMB_PER_AMPERE_HOUR
    capacity = section.number("capacity", usual, "from the rating", entry)
    series, parallel = int(section.number("in_series")), int(section.number("in_parallel"))
    circuit = bank_circuit(
        section.value("chemistry", entry=entry),
        rating,
        standard,
        capacity,
        section.number("state_of_charge"),
        section.number("health"),
        temperature,
        series,
        parallel,
        section.number("link_resistance"),
    )
    volts = circuit.open_circuit_voltage / series
    section.derived("open_circuit_voltage", volts, "from chemistry and charge")
    instant = (circuit.resistance_instant - circuit.link_resistance) * parallel / series
    section.derived("internal_resistance", instant, "instant part, from the rating, at the battery's temperature")
    if section.written("open_circuit_voltage") is not None:
        full = open_circuit_voltage(1.0, temperature, section.value("chemistry", entry=entry))
        circuit = charged_above_full(circuit, series * section.number("open_circuit_voltage"), series * full)
    if section.written("internal_resistance") is not None:
        measured = section.number("internal_resistance") * series / parallel
        # a tester's signal is too quick for the double layer: it reads the instant part
        circuit = scaled(circuit, measured / (circuit.resistance_instant - circuit.link_resistance))
    return circuit


def link(ledger: Ledger) -> Link:
    """How the banks meet."""
    section = Section(ledger, ledger.scenario.link, "link")
    kind = section.value("kind")
    if kind != "open" and ledger.scenario.house is None:
        section.problem("kind", 'joins two banks, but there is no [house] bank; add [house] or set kind = "open"')
    return Link(kind, section.number("resistance"))


def alternator(ledger: Ledger, batteries: int) -> Alternator:
    """Charging after firing."""
    section = Section(ledger, ledger.scenario.alternator, "alternator")
    voltage = section.number("charge_voltage", CHARGE_PER_BATTERY * batteries, "14.2 V for each 12 V battery")
    return Alternator(voltage, section.number("ramp"), section.number("rating"))


def charging_voltages(ledger: Ledger, feed: Feed, panel: Panel, start: float) -> tuple[float, float]:
    """Charging voltage of the bank that feeds the displays and of the house bank [V], from that of the start bank;
    0 for a house bank that the boat does not have."""
    house = ledger.scenario.house
    own = 0.0 if house is None else CHARGE_PER_BATTERY * (house.in_series or 1)
    at = panel.source if feed.source == "panel" else feed.source
    return (own if at == "house battery" else start), own


def panel(ledger: Ledger, engine_room: float) -> Panel:
    """The distribution panel's feeder."""
    section = Section(ledger, ledger.scenario.panel, "panel")
    usual = "house battery" if ledger.scenario.house is not None else "battery switch"
    source = section.value("from", usual, "house battery if there is one, else the battery switch")
    if source == "house battery" and ledger.scenario.house is None:
        section.problem("from", "there is no [house] bank to feed the panel")
    joints = with_corrosion(section, section.number("joints"))
    if section.written("resistance") is not None:
        return Panel(source, section.number("resistance") + joints)
    conductor = run_resistance(section.value("size"), section.number("length"), engine_room)
    section.derived("resistance", conductor, "from length and size")
    return Panel(source, conductor + joints)


def cable_elements(ledger: Ledger, side: str, temperature: float) -> tuple[Element, ...]:
    """The starter's cables of one side, in order."""
    path = f"cables.{side}"
    rows = getattr(ledger.scenario.cables, side)
    origin: Origin = "written"
    if not rows:
        rows, origin = tuple(CableRow.model_validate(row) for row in DEFAULT_ROWS[path]), "default"
    elements = []
    for number, row in enumerate(rows):
        section = Section(ledger, row, f"{path}.{number}", origin)
        entry = section.part("joint")
        usual = (f"cable {number + 1}", "") if entry is None else (entry.name, "the part's name")
        name, part = section.value("name", *usual), "" if entry is None else entry.name
        if row.resistance is not None or (entry is not None and row.length is None):
            extra = row.joints if row.joints is not None else 0.0
            ledger.note(f"{path}.{number}.joints", extra, origin if row.joints is not None else "default", BARE)
            ohm, extra = section.number("resistance", entry=entry), with_corrosion(section, extra, part=entry)
            element = Element(name, f"{path}.{number}", ohm, extra, 0.0, part)
        elif row.size is None or row.length is None:  # its part is unknown, or "none"
            if entry is None and section.written("part") in (None, "none"):
                section.problem("part", "without a part a cable needs length and size, or resistance")
            continue
        else:
            size, length = section.value("size"), section.number("length")
            resistance = run_resistance(size, length, temperature)
            section.derived("resistance", resistance, "from length and size")
            element = Element(
                name,
                f"{path}.{number}",
                resistance,
                with_corrosion(section, section.number("joints"), part=entry),
                inductance_per_metre(size) * length,
                part,
            )
        elements.append(element)
    return tuple(elements)


def warn_of_missing_switch(ledger: Ledger, positive: tuple[Element, ...]) -> None:
    """Warn of each field that taps the supply at a battery switch that the cables do not have."""
    if any(element.is_switch for element in positive):
        return
    paths = ["feed.from", "panel.from", "start_circuit.supply_from"]
    paths += [f"loads.{number}.at" for number in range(len(ledger.scenario.loads))]
    for path in paths:
        value = ledger.values.get(path)
        if value is not None and value.origin == "written" and value.value == SWITCH:
            ledger.warn(
                "no_battery_switch",
                f'{path} is "{SWITCH}", but no element of cables.positive has that name: taken as the battery post; '
                f'name the element so (name = "{SWITCH}")',
            )


def warn_of_assumed_panel(ledger: Ledger) -> None:
    """Warn of the fields that tap the supply at a panel of which nothing is written: its feeder is the usual one."""
    if ledger.scenario.panel != type(ledger.scenario.panel)():
        return
    paths = ["feed.from", *(f"loads.{number}.at" for number in range(len(ledger.scenario.loads)))]
    if not ledger.scenario.start_circuit.shares_feed:
        paths.insert(1, "start_circuit.supply_from")
    there = [path for path in paths if path in ledger.values and ledger.values[path].value == "panel"]
    if there:
        source, length, size = (ledger.values[f"panel.{name}"].value for name in ("from", "length", "size"))
        ledger.warn(
            "panel_assumed",
            f'{" and ".join(there)}: "panel", but no [panel] is described: taken as fed from the {source} through '
            f"{length:g} m of {size}; write [panel] with from, and length and size or a measured resistance",
        )


def crank(ledger: Ledger) -> Crank:
    """The hand on the key."""
    section = Section(ledger, ledger.scenario.crank, "crank")
    return Crank(
        section.number("key_on_before"),
        section.number("key_held"),
        int(section.number("attempts")),
        section.number("rest"),
        section.number("after"),
    )


def feed(ledger: Ledger, engine_room: float, helm: float) -> Feed:
    """The displays' normal feed."""
    section = Section(ledger, ledger.scenario.feed, "feed")
    source = section.value("from")
    if source == "house battery" and ledger.scenario.house is None:
        section.problem("from", "there is no [house] bank; add [house] or choose another feed point")
    length = section.number("length")
    back = section.number("return_length", length, "as length")
    size = section.value("size")
    return_size = section.value("return_size", size, "as size")
    mean = 0.5 * (engine_room + helm)
    if length > LONG_FEED:
        ledger.warn("long_feed", f"a feed of {length:.0f} m one way is unusual: check the unit of feed.length")
    if section.value("key_terminal") == "always":
        for name in ("dead_in_start", "key_break"):
            if section.value(name):
                section.problem(
                    name,
                    'a terminal that is always fed is not cut by the key: write feed.key_terminal = "run" or '
                    f'"accessory" if the key switches it, else leave {name} out',
                )
    fuse, fuse_type = named_fuse(section)
    if fuse is None:
        ledger.danger("feed_unfused", "the display feed has no fuse at its source: fit one where it is tapped")
    return Feed(
        source=source,
        return_to=section.value("return_to"),
        resistance=run_resistance(size, length, mean),
        joints=with_corrosion(section, section.number("joints")),
        return_resistance=run_resistance(return_size, back, mean),
        return_joints=with_corrosion(section, section.number("return_joints"), "return_"),
        key_terminal=section.value("key_terminal"),
        dead_in_start=bool(section.value("dead_in_start")),
        key_break=section.number("key_break"),
        fuse_type=fuse_type,
    )


def loads(ledger: Ledger) -> tuple[Load, ...]:
    """Other loads with their time windows."""
    found = []
    for number, row in enumerate(ledger.scenario.loads):
        section = Section(ledger, row, f"loads.{number}")
        at = section.value("at")
        helm = at in ("feed", "display supply", "start signal")
        usual = "display return" if helm else "battery negative" if at in ("house battery", "panel") else "engine block"
        kind = next(k for k in ("current", "power", "resistance") if getattr(row, k) is not None)
        marks: tuple[TimeMark, TimeMark] = (section.value("from_time"), section.value("until"))
        for key, mark in zip(("from_time", "until"), marks, strict=True):
            if mark.event == "fire" and mark.offset < 0.0:
                section.problem(key, "nothing can switch before the engine fires because it will fire")
        if at == "house battery" and ledger.scenario.house is None:
            section.problem("at", "there is no [house] bank")
        found.append(
            Load(
                name=section.value("name", f"load {number + 1}"),
                path=f"loads.{number}",
                at=at,
                return_to=section.value("return_to", usual, "where such a load usually returns"),
                kind=kind,  # type: ignore[arg-type]
                amount=section.number(kind),
                from_time=marks[0],
                until=marks[1],
            )
        )
    return tuple(found)


def displays(ledger: Ledger, helm: float) -> tuple[Display, ...]:
    """The displays on the feed."""
    rows = ledger.scenario.displays or tuple(DisplayRow.model_validate(row) for row in DEFAULT_ROWS["displays"])
    return tuple(_display(ledger, number, row, helm) for number, row in enumerate(rows))


def _display(ledger: Ledger, number: int, row: DisplayRow, helm: float) -> Display:
    section = Section(ledger, row, f"displays.{number}", "written" if ledger.scenario.displays else "default")
    entry = section.part("display")
    power, brownout = section.number("power", entry=entry), section.number("brownout", entry=entry)
    usual = brownout + RESTART_ABOVE_BROWNOUT
    above = section.number("restarts_above", usual, "1 V above brownout", entry)
    if above < brownout and section.written("restarts_above") is None:  # a written brown-out above the part's restart
        section.derived("restarts_above", usual, "1 V above brownout, which is written above the part's own")
        above = usual
    if above < brownout:
        section.problem("restarts_above", "must not be below displays.brownout")
        above = brownout
    section.value("maximum_supply", entry=entry)
    sense = section.value("sense_threshold", entry=entry)
    sense_node = section.value("sense_from")
    circuit = display_circuit(
        power,
        brownout,
        above,
        section.value("brownout_at", entry=entry),
        max(section.number("reset_after", entry=entry), 1e-5),
        max(section.number("boot_time", entry=entry), 1e-3),
        section.number("boot_power", power, "as power", entry),
        section.number("reset_power", entry=entry),
        section.number("converter_minimum", CONVERTER_MINIMUM_SHARE * brownout, "from brownout", entry),
        section.number("input_capacitance", entry=entry),
        named_diode(ledger, f"displays.{number}.input_diode", INPUT_DIODE, helm)
        if section.value("input_diode", entry=entry)
        else None,
        None if sense == "none" else float(sense),
    )
    name = section.value("name", f"display {number + 1}")
    return Display(name, f"displays.{number}", circuit, sense_node)


INPUT_DIODE = "1N5822"  # series diode inside a display; engineering estimate: Schottky of the 3 A class


def nominal_voltage(scenario: Scenario) -> tuple[int, float]:
    """Batteries in series in the start bank and the boat's nominal voltage [V]."""
    series = scenario.battery.in_series or 1
    return series, VOLTAGE_PER_BATTERY * series


def is_number(value: object) -> bool:
    """Whether a resolved value is a finite number."""
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)
