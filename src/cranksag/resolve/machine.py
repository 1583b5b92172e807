# SPDX-License-Identifier: GPL-3.0-or-later
"""The machine and what sets it going: starter, solenoid, start circuit and engine to circuit values."""

from __future__ import annotations

import dataclasses
from functools import lru_cache

from cranksag.catalogue import Entry
from cranksag.catalogue.build import bench_points
from cranksag.parts.coil import Suppression
from cranksag.parts.conductors import run_resistance
from cranksag.parts.engine import EngineCircuit, engine_circuit
from cranksag.parts.relay import (
    RelayCircuit,
    must_operate_spread,
    must_release_spread,
    relay_circuit,
)
from cranksag.parts.solenoid import (
    DROP_OUT_SHARE,
    PULLS_IN_AT_12,
    PULLS_IN_AT_24,
    SolenoidCoils,
    coils_at_temperature,
    solenoid_coils,
)
from cranksag.parts.starter import MotorCircuit, MotorKind, from_rating, motor_at_temperature
from cranksag.parts.starter_bench import BenchPoint
from cranksag.parts.starter_fit import fit_points
from cranksag.quantities import POWER, format_quantity, shown
from cranksag.resolve.corrosion import with_corrosion
from cranksag.resolve.fields import SPLIT_VOLTAGE, Ledger, Section
from cranksag.resolve.model import Feed, StartCircuit
from cranksag.scenario.cranking import OILS

RELAY_CONTACT_WIRE = 5e-3  # [ohm] start relay's contact to the S terminal: 0.5 m of 12 AWG and its terminals; estimate
# [ohm] 12 V solenoid of the usual starter of 2 to 3 kW, engineering estimate: at 10 V both coils take 43 A and the
# hold-in 10 A, between the published 0.484 / 1.055 ohm of a 1.1 kW starter (30 and 9.5 A) and the published currents of
# larger ones (69-97 and 13-19 A)
PULL_IN_12, HOLD_IN_12 = 0.30, 1.0
PULL_IN_24, HOLD_IN_24 = (
    0.50,
    2.9,
)  # [ohm] 24 V solenoid: heavy-diesel workshop manuals, 0.43-0.56 and >= 2.9 ohm
START_RELAY_OPERATE = 0.6  # [-] of nominal: 7.2 V on 12 V, 14.8 V on 24 V, published data sheets of open relays
START_RELAY_RELEASE = 0.1  # [-] of nominal: 1.2 V on 12 V, 2.4 V on 24 V, the same data sheets
START_RELAY_TIMES = (10e-3, 5e-3)  # [s] operate and release, the same data sheets
START_RELAY_CONTACT = 3e-3  # [ohm] contact of a relay that carries a solenoid; engineering estimate


def starter(ledger: Ledger, nominal: float, engine_room: float) -> tuple[MotorCircuit, SolenoidCoils, float]:
    """Motor and solenoid at engine-room temperature, and the gear ratio."""
    section = Section(ledger, ledger.scenario.starter, "starter")
    entry = section.part("starter")
    voltage = section.number("voltage", nominal, "12 V for each battery in series", entry)
    if abs(voltage - nominal) > 0.4 * nominal:
        ledger.warn("starter_voltage", f"a {voltage:g} V starter on a {nominal:g} V start bank")
    motor = _motor(ledger, section, entry, voltage)
    for name, key in (("resistance", "resistance"), ("brush_drop", "brush_drop"), ("inertia", "inertia")):
        section.derived(name, getattr(motor, key), "of the motor at 20 degC, from its points or its power")
        if section.written(name) is not None:
            motor = dataclasses.replace(motor, **{key: section.number(name)})
    coils = _solenoid(section, entry, voltage)
    warm = coils_at_temperature(coils, engine_room)
    coils = dataclasses.replace(coils, pull_in=warm[0], hold_in=warm[1], travel_operate=section.number("engage_time"))
    return motor_at_temperature(motor, engine_room), coils, section.number("gear_ratio", entry=entry)


def _motor(ledger: Ledger, section: Section, entry: Entry | None, voltage: float) -> MotorCircuit:
    """The motor at 20 degC: through published points, else scaled from rated power."""
    kind = section.value("motor", entry=entry)
    rows = ledger.scenario.starter.points
    points = tuple(BenchPoint(**{k: getattr(p, k) for k in _POINT}) for p in rows)
    if entry is not None and not points:
        points = bench_points(entry)
    if not points:
        power = section.number("power", entry=entry)
        ledger.note(
            "starter.characteristic",
            format_quantity(power, POWER),
            "estimate",
            "scaled from rated power and voltage alone",
        )
        return from_rating(power, voltage, kind)
    for number, point in enumerate(points):
        for name in _POINT:
            path, value = f"starter.points.{number}.{name}", getattr(point, name)
            if value is not None and entry is not None:
                ledger.note(path, value, "catalogue", f"{entry.name}: {entry.source}")
                ledger.given.add((id(entry), path))
            elif value is not None:
                ledger.note(path, value, "written")
    rated = section.written("power") is not None or (entry is not None and entry.values.get("power") is not None)
    return _fitted(points, kind, section.number("power", entry=entry) if rated else None)


_POINT = ("voltage", "current", "torque", "speed")


@lru_cache(maxsize=64)
def _fitted(points: tuple[BenchPoint, ...], kind: MotorKind, power: float | None) -> MotorCircuit:
    return fit_points(list(points), kind, power=power)[0]


def _solenoid(section: Section, starter_part: Entry | None, voltage: float) -> SolenoidCoils:
    """Solenoid at 20 degC: written, else of the named solenoid, else of the named starter, else usual figures."""
    own = section.part("solenoid", "solenoid")
    heavy = voltage > SPLIT_VOLTAGE

    def figure(name: str, estimate: float | None = None, source: str = "") -> float:
        entry = own if own is not None and name in own.values else starter_part
        return section.number(name, estimate, source, entry)

    usual = f"usual of a {24 if heavy else 12} V solenoid"
    pulls_in_at = figure("pulls_in_at", PULLS_IN_AT_24 if heavy else PULLS_IN_AT_12, "published limit")
    section.derived("drops_out_at", DROP_OUT_SHARE * pulls_in_at, f"{DROP_OUT_SHARE:g} of pulls_in_at")
    return solenoid_coils(
        figure("pull_in", PULL_IN_24 if heavy else PULL_IN_12, usual),
        figure("hold_in", HOLD_IN_24 if heavy else HOLD_IN_12, usual),
        voltage,
        pulls_in_at,
        section.written("drops_out_at"),
        contact_resistance=figure("contact_resistance"),
    )


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
    wire_joints = with_corrosion(section, joints if shares else 0.5 * joints)
    mean = 0.5 * (engine_room + helm)
    neutral = section.value("neutral_switch")
    part = section.part("relay", "relay_part")
    relay = section.scaled("relay", part, nominal, "coil_resistance")
    return StartCircuit(
        source=feed.source if shares else source,
        shares_feed=shares,
        supply_resistance=0.0 if shares else run_resistance(size, length, mean),
        supply_joints=0.0 if shares else 0.5 * joints,
        resistance=run_resistance(size, back, mean),
        joints=wire_joints,
        neutral_resistance=0.0 if neutral == "open" else float(neutral),
        neutral_closed=neutral != "open",
        relay=None if relay == "none" else _start_relay(section, float(relay), part, nominal, engine_room),
        relay_contact_wire=RELAY_CONTACT_WIRE,
    )


def _start_relay(
    section: Section, coil: float, entry: Entry | None, nominal: float, engine_room: float
) -> RelayCircuit:
    rated = nominal if entry is None else float(entry.value("coil_voltage"))
    operate = section.number(
        "relay_must_operate", START_RELAY_OPERATE * nominal, "0.6 of nominal", entry, "must_operate"
    )
    release = section.number(
        "relay_must_release", START_RELAY_RELEASE * nominal, "0.1 of nominal", entry, "must_release"
    )
    if not release < operate < rated:
        section.problem("relay_must_operate", f"must be above relay_must_release and below the rated {rated:g} V")
        operate, release = START_RELAY_OPERATE * rated, START_RELAY_RELEASE * rated
    times = START_RELAY_TIMES
    if entry is not None:
        section.ledger.given.add((id(entry), "start_circuit.relay_part"))
        times = (float(entry.value("operate_time")), float(entry.value("release_time")))
    return relay_circuit(
        coil,
        must_operate_spread(operate).high,
        must_release_spread(release, operate).typical,
        *times,
        rated,
        engine_room,
        START_RELAY_CONTACT if entry is None else float(entry.value("contact_resistance")),
        suppression=Suppression("none"),
    )


def engine(ledger: Ledger, oil_temperature: float) -> tuple[EngineCircuit, float | None, float]:
    """Engine at its oil temperature, time to fire [s] or None, minimum speed [rad/s]."""
    section = Section(ledger, ledger.scenario.engine, "engine")
    entry = section.part("engine")
    oil = section.value("oil", entry=entry)
    if oil not in OILS:
        section.problem("part", f"the catalogue gives its oil as {shown(oil)}; the grades known are {', '.join(OILS)}")
        oil = OILS[0]
    circuit = engine_circuit(
        section.number("displacement", entry=entry),
        int(section.number("cylinders", entry=entry)),
        section.number("compression_ratio", entry=entry),
        oil,
        oil_temperature,
        section.number("friction_factor"),
        section.written("inertia"),
    )
    section.derived("inertia", circuit.inertia, "from the displacement")
    fires = section.value("fires_after")
    return circuit, None if fires == "never" else float(fires), section.number("minimum_speed", entry=entry)
