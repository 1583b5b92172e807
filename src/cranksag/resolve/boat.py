# SPDX-License-Identifier: GPL-3.0-or-later
"""The boat's own sections: scenario fields, defaults and parts to circuit values."""

from __future__ import annotations

import dataclasses
import math
from functools import lru_cache

from cranksag.catalogue.build import bench_points
from cranksag.parts.battery import BatteryCircuit, bank_circuit
from cranksag.parts.coil import Suppression
from cranksag.parts.conductors import inductance_per_metre, run_resistance
from cranksag.parts.display import CONVERTER_MINIMUM_SHARE, display_circuit
from cranksag.parts.engine import EngineCircuit, engine_circuit
from cranksag.parts.relay import RelayCircuit, must_operate_spread, must_release_spread, relay_circuit
from cranksag.parts.solenoid import (
    PULLS_IN_AT_12,
    PULLS_IN_AT_24,
    SolenoidCoils,
    coils_at_temperature,
    solenoid_coils,
)
from cranksag.parts.starter import BenchPoint, MotorCircuit, MotorKind, fit_points, from_rating, motor_at_temperature
from cranksag.resolve.fields import Ledger, Section
from cranksag.resolve.hold_up import named_diode
from cranksag.resolve.model import (
    Alternator,
    Crank,
    Display,
    Element,
    Feed,
    Link,
    Load,
    Origin,
    Panel,
    StartCircuit,
    Temperatures,
)
from cranksag.scenario import DEFAULT_ROWS, Scenario, TimeMark
from cranksag.scenario import Cable as CableRow
from cranksag.scenario import Display as DisplayRow

VOLTAGE_PER_BATTERY = 12.0  # [V] nominal of one lead-acid battery
CHARGE_PER_BATTERY = 14.2  # [V] alternator set-point for each 12 V battery; common practice
HOUSE_NEGATIVE = 0.5e-3  # [ohm] house bank's negative cable to the common negative; engineering estimate
RELAY_CONTACT_WIRE = 5e-3  # [ohm] start relay's contact to the S terminal: 0.5 m of 12 AWG and its terminals; estimate
PULL_IN_12, HOLD_IN_12 = (
    0.30,
    1.0,
)  # [ohm] 12 V solenoid, inside the published 69-97 A / 13-19 A at 10 V pairs
PULL_IN_24, HOLD_IN_24 = (
    0.50,
    2.9,
)  # [ohm] 24 V solenoid: heavy-diesel workshop manuals, 0.43-0.56 and >= 2.9 ohm
SPLIT_VOLTAGE = 18.0  # [V] nominal between 12 V and 24 V systems
START_RELAY_OPERATE = 0.6  # [-] of nominal: 7.2 V on 12 V, 14.8 V on 24 V, published data sheets of open relays
START_RELAY_RELEASE = 0.1  # [-] of nominal: 1.2 V on 12 V, 2.4 V on 24 V, the same data sheets
START_RELAY_TIMES = (10e-3, 5e-3)  # [s] operate and release, the same data sheets
START_RELAY_CONTACT = 3e-3  # [ohm] contact of a relay that carries a solenoid; engineering estimate
AMPERE_TO_AMPERE_HOUR = 0.14  # [Ah/A] capacity from the SAE rating: 100 Ah and 700 A; common practice
COULOMB_PER_AMPERE_HOUR = 3600.0
IDLE_SPEED = 78.5  # [rad/s] 750 rpm; common practice
RESTART_ABOVE_BROWNOUT = 1.0  # [V] restart threshold over brown-out; common practice
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
    rating, standard = section.number("rating"), str(section.value("rating_standard"))
    capacity = section.number("capacity", rating * AMPERE_TO_AMPERE_HOUR * COULOMB_PER_AMPERE_HOUR, "from the rating")
    series, parallel = int(section.number("in_series")), int(section.number("in_parallel"))
    circuit = bank_circuit(
        section.value("chemistry"),
        rating,
        standard,
        capacity,
        section.number("state_of_charge"),
        section.number("health"),
        temperature,
        series,
        parallel,
    )
    measured = section.written("open_circuit_voltage")
    if measured is not None:
        circuit = dataclasses.replace(circuit, open_circuit_voltage=series * section.number("open_circuit_voltage"))
    if section.written("internal_resistance") is not None:
        measured = section.number("internal_resistance") * series / parallel
        ratio = measured / (circuit.resistance_instant + circuit.resistance_fast)
        circuit = dataclasses.replace(
            circuit,
            resistance_instant=circuit.resistance_instant * ratio,
            resistance_fast=circuit.resistance_fast * ratio,
            resistance_slow=circuit.resistance_slow * ratio,
        )
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


def panel(ledger: Ledger, engine_room: float) -> Panel:
    """The distribution panel's feeder."""
    section = Section(ledger, ledger.scenario.panel, "panel")
    usual = "house battery" if ledger.scenario.house is not None else "battery switch"
    source = section.value("from", usual, "house battery if there is one, else the battery switch")
    if source == "house battery" and ledger.scenario.house is None:
        section.problem("from", "there is no [house] bank to feed the panel")
    joints = section.number("joints")
    if section.written("resistance") is not None:
        return Panel(source, section.number("resistance") + joints)
    return Panel(source, run_resistance(section.value("size"), section.number("length"), engine_room) + joints)


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
        name = section.value("name", f"cable {number + 1}")
        if row.resistance is not None:
            extra = row.joints if row.joints is not None else 0.0
            element = Element(name, f"{path}.{number}", section.number("resistance"), extra, 0.0)
        else:
            size, length = section.value("size"), section.number("length")
            element = Element(
                name,
                f"{path}.{number}",
                run_resistance(size, length, temperature),
                section.number("joints"),
                inductance_per_metre(size) * length,
            )
        elements.append(element)
    return tuple(elements)


def starter(ledger: Ledger, nominal: float, engine_room: float) -> tuple[MotorCircuit, SolenoidCoils, float]:
    """Motor and solenoid at engine-room temperature, and the gear ratio."""
    section = Section(ledger, ledger.scenario.starter, "starter")
    voltage = section.number("voltage", nominal, "12 V for each battery in series")
    if abs(voltage - nominal) > 0.4 * nominal:
        ledger.warn("starter_voltage", f"a {voltage:g} V starter on a {nominal:g} V start bank")
    kind = section.value("motor")
    entry = None
    if section.written("part") is not None:
        entry = ledger.part("starter.part", "starter", section.value("part"))
    points = [_bench_point(p) for p in ledger.scenario.starter.points]
    if entry is not None and "points" in entry.values:
        points = list(bench_points(entry))
        ledger.note("starter.points", entry.name, "catalogue", entry.source)
    if points:
        motor = _fitted(tuple(points), kind)
        if entry is None:
            ledger.note("starter.points", f"{len(points)} points", "written")
    else:
        power = section.number("power", entry=entry)
        motor = from_rating(power, voltage, kind)
        ledger.note("starter.characteristic", power, "estimate", "scaled from rated power and voltage alone")
    for name, key in (("resistance", "resistance"), ("brush_drop", "brush_drop"), ("inertia", "inertia")):
        if section.written(name) is not None:
            motor = dataclasses.replace(motor, **{key: section.number(name)})
    heavy = voltage > SPLIT_VOLTAGE
    pull_in = section.number("pull_in", PULL_IN_24 if heavy else PULL_IN_12, "estimate", entry)
    hold_in = section.number("hold_in", HOLD_IN_24 if heavy else HOLD_IN_12, "estimate", entry)
    coils = solenoid_coils(
        pull_in,
        hold_in,
        voltage,
        section.number("pulls_in_at", PULLS_IN_AT_24 if heavy else PULLS_IN_AT_12, "published limit"),
        section.written("drops_out_at"),
        contact_resistance=section.number("contact_resistance"),
    )
    warm = coils_at_temperature(coils, engine_room)
    coils = dataclasses.replace(coils, pull_in=warm[0], hold_in=warm[1], travel_operate=section.number("engage_time"))
    return motor_at_temperature(motor, engine_room), coils, section.number("gear_ratio")


@lru_cache(maxsize=64)
def _fitted(points: tuple[BenchPoint, ...], kind: MotorKind) -> MotorCircuit:
    return fit_points(list(points), kind)[0]


def _bench_point(point: object) -> BenchPoint:
    values = {k: getattr(point, k) for k in ("voltage", "current", "torque", "speed")}
    return BenchPoint(**values)


def start_circuit(ledger: Ledger, feed: Feed, nominal: float, engine_room: float, helm: float) -> StartCircuit:
    """Key, neutral switch, wires and start relay."""
    section = Section(ledger, ledger.scenario.start_circuit, "start_circuit")
    shares = bool(section.value("shares_feed"))
    source = section.value("supply_from")
    if shares and section.written("supply_from") is not None and source != feed.source:
        section.problem("shares_feed", f"true means it is fed from feed.from, which is {feed.source!r}, not {source!r}")
    if source == "house battery" and ledger.scenario.house is None:
        section.problem("supply_from", "there is no [house] bank")
    if source in ("s terminal", "start signal", "display supply", "feed"):
        section.problem("supply_from", "the start circuit cannot be fed from what it feeds; name a supply node")
    length = section.number("length", ledger.values["feed.length"].value, "as feed.length")
    back = section.number("return_length", length, "as length")
    size, joints = section.value("size"), section.number("joints")
    mean = 0.5 * (engine_room + helm)
    neutral = section.value("neutral_switch")
    relay = section.value("relay")
    return StartCircuit(
        source=feed.source if shares else source,
        shares_feed=shares,
        supply_resistance=0.0 if shares else run_resistance(size, length, mean),
        supply_joints=0.0 if shares else 0.5 * joints,
        resistance=run_resistance(size, back, mean),
        joints=joints if shares else 0.5 * joints,
        neutral_resistance=0.0 if neutral == "open" else float(neutral),
        neutral_closed=neutral != "open",
        relay=None if relay == "none" else _start_relay(section, float(relay), nominal, engine_room),
        relay_contact_wire=RELAY_CONTACT_WIRE,
    )


def _start_relay(section: Section, coil: float, nominal: float, engine_room: float) -> RelayCircuit:
    operate = section.number("relay_must_operate", START_RELAY_OPERATE * nominal, "0.6 of nominal")
    release = section.number("relay_must_release", START_RELAY_RELEASE * nominal, "0.1 of nominal")
    if not release < operate < nominal:
        section.problem("relay_must_operate", "must be above relay_must_release and below the nominal voltage")
        operate, release = START_RELAY_OPERATE * nominal, START_RELAY_RELEASE * nominal
    return relay_circuit(
        coil,
        must_operate_spread(operate).high,
        must_release_spread(release, operate).typical,
        *START_RELAY_TIMES,
        nominal,
        engine_room,
        START_RELAY_CONTACT,
        suppression=Suppression("none"),
    )


def engine(ledger: Ledger, oil_temperature: float) -> tuple[EngineCircuit, float | None, float]:
    """Engine at its oil temperature, time to fire [s] or None, minimum speed [rad/s]."""
    section = Section(ledger, ledger.scenario.engine, "engine")
    circuit = engine_circuit(
        section.number("displacement"),
        int(section.number("cylinders")),
        section.number("compression_ratio"),
        section.value("oil"),
        oil_temperature,
        section.number("friction_factor"),
        section.written("inertia"),
    )
    ledger.note("engine.inertia", circuit.inertia, _origin(section, "inertia"), "from the displacement")
    fires = section.value("fires_after")
    return circuit, None if fires == "never" else float(fires), section.number("minimum_speed")


def _origin(section: Section, name: str) -> Origin:
    return "written" if section.written(name) is not None else "estimate"


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
    if section.value("fuse") == "none":
        ledger.danger("feed_unfused", "the display feed has no fuse at its source: fit one where it is tapped")
    return Feed(
        source=source,
        return_to=section.value("return_to"),
        resistance=run_resistance(size, length, mean),
        joints=section.number("joints"),
        return_resistance=run_resistance(return_size, back, mean),
        return_joints=section.number("return_joints"),
        key_terminal=section.value("key_terminal"),
        dead_in_start=bool(section.value("dead_in_start")),
        key_break=section.number("key_break"),
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
    power, brownout = section.number("power"), section.number("brownout")
    above = section.number("restarts_above", brownout + RESTART_ABOVE_BROWNOUT, "1 V above brownout")
    if above < brownout:
        section.problem("restarts_above", "must not be below displays.brownout")
        above = brownout
    sense = section.value("sense_threshold")
    sense_node = section.value("sense_from")
    circuit = display_circuit(
        power,
        brownout,
        above,
        section.value("brownout_at"),
        max(section.number("reset_after"), 1e-5),
        max(section.number("boot_time"), 1e-3),
        section.number("boot_power", power, "as power"),
        section.number("reset_power"),
        section.number("converter_minimum", CONVERTER_MINIMUM_SHARE * brownout, "from brownout"),
        section.number("input_capacitance"),
        named_diode(ledger, f"displays.{number}.input_diode", INPUT_DIODE, helm)
        if section.value("input_diode")
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
