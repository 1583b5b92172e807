# SPDX-License-Identifier: GPL-3.0-or-later
"""The hold-up branch: catalogue parts, overrides and defaults to circuit values."""

from __future__ import annotations

import dataclasses

from cranksag.catalogue import Entry
from cranksag.catalogue.build import diode_leakage, diode_model, fuse_of
from cranksag.parts.capacitor import (
    CapacitorCircuit,
    capacitor_circuit,
    dissipation_factor,
    esr_from_dissipation,
    lifetime,
)
from cranksag.parts.coil import Suppression, coil_temperature
from cranksag.parts.conductors import run_resistance
from cranksag.parts.converter import converter_circuit
from cranksag.parts.diode import DiodeCircuit, DiodeModel, diode_circuit
from cranksag.parts.fuse import FuseType, fuse_resistance
from cranksag.parts.pack import COULOMB_PER_AMPERE_HOUR, pack_circuit
from cranksag.parts.pack_chemistry import CHEMISTRIES
from cranksag.parts.relay import RelayCircuit, must_operate_spread, must_release_spread, relay_circuit
from cranksag.parts.supercapacitor import (
    CellSpec,
    cells_needed,
    string_circuit,
    worst_cell_share_balanced,
    worst_cell_share_charging,
)
from cranksag.parts.supercapacitor import lifetime as supercapacitor_lifetime
from cranksag.quantities import shown
from cranksag.resolve.corrosion import with_corrosion
from cranksag.resolve.fields import SPLIT_VOLTAGE, Ledger, Section
from cranksag.resolve.model import (
    BLADE,
    Bank,
    ConverterAhead,
    HoldUp,
    HouseFeed,
    NoHoldUp,
    StandbyPack,
    Temperatures,
)

# Schottky diodes for a display of about an ampere, common practice; they block twice the charging voltage
DIODE_12, DIODE_24 = "1N5822", "SB560"  # 40 V 3 A, 60 V 5 A
RELAYS = {
    ("12 V", "make"): "12 V 45 A make, 90 ohm",
    ("12 V", "changeover"): "12 V 45 A changeover, 90 ohm",
    ("24 V", "make"): "24 V 20 A make, 320 ohm",
    ("24 V", "changeover"): "24 V mini 20 A changeover, 360 ohm",
}
"""The hold-up relay where none is named, by the boat's voltage and the written contact."""
PACK_12 = "sealed lead AGM 12 V 7 Ah"
PACK_CHEMISTRY = {
    "agm": "sealed lead AGM",
    "gel": "sealed lead gel",
    "nimh": "NiMH",
    "lithium": "lithium iron phosphate",
    "primary lithium": "lithium primary",
    "alkaline": "alkaline primary",
}
"""Scenario words for the chemistries of `cranksag.parts.pack`."""
RESERVOIR_CAPACITANCE, SUPERCAPACITOR_CAPACITANCE = 47e-3, 10.0  # [F] as the scenario documents them
CELL_TIME_CONSTANT = 0.7  # [s] ESR x capacitance of a supercapacitor cell; engineering estimate from data sheets
CELL_LEAKAGE_PER_FARAD = 3e-6  # [A/F] settled leakage; engineering estimate
LEAST_LEAKAGE = 1e-9  # [A] stands for none: a bank without any path has no state at rest
BALANCING_FACTOR = 10.0  # [-] balancing current over leakage; common practice
ELECTROLYTIC_LIFE, ELECTROLYTIC_RATED = (
    2000.0 * 3600.0,
    105.0,
)  # [s, degC] general-purpose endurance; common practice
SUPERCAPACITOR_LIFE, SUPERCAPACITOR_RATED = (
    1000.0 * 3600.0,
    65.0,
)  # [s, degC] endurance in data sheets; common practice
OVER_CHARGE_12, OVER_CHARGE_24 = 15.5, 31.0  # [V] highest charging voltage a bank must stand; common practice
RECHARGE_VOLTAGE = 13.6  # [V] float charge of a 12 V lead pack at 25 degC; common practice
PACK_VOLTAGE = 12.8  # [V] full 12 V lead pack at rest; the table of cranksag.parts.pack


def hold_up(
    ledger: Ledger, places: Temperatures, nominal: float, displays_power: float, booting_power: float
) -> tuple[str, HoldUp]:
    """The branch's name and its circuit values; what the displays take in service and at most while booting [W]."""
    section = Section(ledger, ledger.scenario.hold_up, "hold_up")
    branch = section.value("branch")
    place = section.value("placed_at") if branch != "none" else "helm"
    temperature = places.engine_room if place == "engine room" else places.helm
    if branch == "standby pack":
        return branch, _standby_pack(ledger, section, temperature, nominal)
    if branch in ("reservoir", "supercapacitor"):
        return branch, _bank(ledger, section, branch, temperature, nominal)
    if branch == "house feed":
        return branch, _house_feed(ledger, section, temperature, nominal)
    if branch == "converter":
        return branch, _converter(ledger, section, nominal, displays_power, booting_power)
    return branch, NoHoldUp()


_MODELS: dict[int, tuple[Entry, DiodeModel]] = {}
"""Diode models by identity of their catalogue line: a fit is too slow to repeat in a sweep."""


def _diode_model(entry: Entry) -> DiodeModel:
    kept = _MODELS.get(id(entry))
    if kept is None or kept[0] is not entry:
        kept = _MODELS[id(entry)] = (entry, diode_model(entry))
    return kept[1]


def _leaks(entry: Entry, temperature: float) -> float:
    """Largest reverse current over the voltage it is printed for [S]."""
    return diode_leakage(entry, temperature) / float(entry.value("reverse_voltage"))


def named_diode(ledger: Ledger, path: str, name: str, temperature: float) -> DiodeCircuit | None:
    """A diode of the catalogue at a temperature [degC]; None after noting an unknown name."""
    entry = ledger.part(path, "diode", name)
    if entry is None:
        return None
    return diode_circuit(_diode_model(entry), temperature, _leaks(entry, temperature))


def _diode(ledger: Ledger, section: Section, name: str, temperature: float, nominal: float) -> DiodeCircuit | None:
    heavy = nominal > SPLIT_VOLTAGE
    usual = DIODE_24 if heavy else DIODE_12
    part = section.value(name, usual, f"a Schottky diode of the {'60 V' if heavy else '3 A'} class")
    if part == "none":
        return None
    return named_diode(ledger, f"hold_up.{name}", part, temperature)


def named_fuse(section: Section) -> tuple[float | None, FuseType]:
    """Rating [A] (None: no fuse) and type of the fuse of a section."""
    entry = section.part("fuse", "fuse_part")
    rating = section.value("fuse", entry=entry, key="rating")
    return None if rating == "none" else float(rating), BLADE if entry is None else fuse_of(entry)


def _fuse(section: Section) -> tuple[float | None, float, FuseType]:
    """Rating [A] (None: no fuse), resistance [ohm] and type of the fuse at the added source."""
    rating, kind = named_fuse(section)
    return rating, 1e-4 if rating is None else fuse_resistance(kind, rating), kind


def _standby_pack(ledger: Ledger, section: Section, temperature: float, nominal: float) -> StandbyPack:
    # a written chemistry without a part is a pack of its own: the usual part has another chemistry and other cells
    own = section.written("chemistry") is not None and section.written("pack") is None
    entry = None
    if own:
        ledger.note("hold_up.pack", "none", "default", "the written chemistry is that of a pack of its own")
    else:
        entry = ledger.part("hold_up.pack", "pack", section.value("pack", PACK_12, "a small sealed lead pack"))
    kind = section.value("chemistry", "agm", entry=entry)
    chemistry = CHEMISTRIES[PACK_CHEMISTRY.get(kind, kind)]
    ledger.note("hold_up.chemistry", chemistry.name, ledger.values["hold_up.chemistry"].origin)
    capacity = section.number("pack_capacity", 7.0 * COULOMB_PER_AMPERE_HOUR, "7 Ah", entry, "capacity")
    full = section.number("pack_voltage", PACK_VOLTAGE, "full pack at rest")
    if entry is not None and section.written("pack_voltage") is None:
        full = int(entry.value("cells")) * chemistry.cell_voltage[-1][1]
        ledger.note_part("hold_up.pack_voltage", full, entry, "cells")
    cells = max(round(full / chemistry.cell_voltage[-1][1]), 1)
    resistance = section.number(
        "pack_resistance",
        cells * chemistry.cell_resistance_ah * COULOMB_PER_AMPERE_HOUR / capacity,
        "from chemistry and capacity",
        entry,
        "resistance",
    )
    charge = section.number("pack_charge")
    pack = pack_circuit(chemistry, cells, capacity, charge, temperature, resistance)
    scale = full / (cells * chemistry.cell_voltage[-1][1])
    pack = dataclasses.replace(pack, open_circuit_voltage=pack.open_circuit_voltage * scale)
    fuse, fuse_ohm, fuse_type = _fuse(section)
    wire = run_resistance(section.value("size"), 2.0 * section.number("length"), temperature)
    recharge = section.value("recharge")
    recharge_ohm = section.number("recharge_resistance")
    section.value("charge_path", "none" if recharge == "none" else "feed", "none, unless recharge says otherwise")
    section.value("in_parallel_with")
    return StandbyPack(
        pack=pack,
        pack_energy=pack.open_circuit_voltage * pack.capacity_ah * COULOMB_PER_AMPERE_HOUR,
        pack_chemistry=chemistry,
        pack_charge=charge,
        relay=_relay(ledger, section, nominal, temperature),
        relay_ambient=temperature,
        coil_at=section.value("coil_at"),
        diode=_diode(ledger, section, "diode", temperature, nominal)
        or diode_circuit(DiodeModel(15e-6, 1.25, 30e-3), temperature),
        feed_diode=_diode(ledger, section, "feed_diode", temperature, nominal),
        fuse_rating=fuse,
        fuse_resistance=fuse_ohm + wire + with_corrosion(section, section.number("joints")),
        recharge=recharge,
        recharge_resistance=recharge_ohm if recharge != "none" else 0.0,
        recharge_voltage=RECHARGE_VOLTAGE * full / PACK_VOLTAGE,
        fuse_type=fuse_type,
    )


def _relay(ledger: Ledger, section: Section, nominal: float, ambient: float) -> RelayCircuit | None:
    wired = section.written("contact")
    if wired == "none":
        ledger.note("hold_up.contact", wired, "written")
        if section.written("relay") is None:
            ledger.note("hold_up.relay", "none", "default", 'none with contact = "none"')
        return None
    usual = RELAYS["24 V" if nominal > SPLIT_VOLTAGE else "12 V", wired or "make"]
    entry = ledger.part("hold_up.relay", "relay", section.value("relay", usual, "a small automotive relay"))
    if entry is None:
        return None
    contact = section.value("contact", entry=entry)
    if contact == "changeover" and entry.value("contact") != contact:
        ledger.warn(
            "relay_contact",
            f"{shown(entry.name)} has no changeover contact, which hold_up.contact asks for: name a changeover relay "
            "in hold_up.relay, or leave hold_up.contact out to take the relay's own",
        )
    coil = section.number("coil_resistance", entry=entry)
    operate = section.number("must_operate", entry=entry)
    release = section.number("must_release", entry=entry)
    rated = float(entry.value("coil_voltage"))
    if not release < operate < rated:
        section.problem("must_operate", f"must lie between must_release and the coil's rated {rated:g} V")
        return None
    suppression = Suppression(
        section.value("suppression"),
        zener_voltage=section.number("suppression_voltage"),
        resistance=float(section.scaled("suppression_resistance", None, nominal)),
    )
    # must-operate is the maximum of the type: a relay that just meets it is the one to design for
    return relay_circuit(
        coil,
        must_operate_spread(operate).high,
        must_release_spread(release, operate).typical,
        section.number("operate_time", entry=entry),
        section.number("release_time", entry=entry),
        rated,
        coil_temperature(coil, 0.0, ambient),
        section.number("contact_resistance", entry=entry),
        contact == "changeover",
        suppression,
        _inductance(section, entry),
    )


def _inductance(section: Section, entry: Entry) -> float | None:
    """Coil inductance of a named relay [H]; None, to be found from the times, where another coil or time is written."""
    if section.written("coil_resistance") is not None or section.written("operate_time") is not None:
        return None
    found: float | None = entry.value("coil_inductance")
    return found


def _bank(ledger: Ledger, section: Section, branch: str, temperature: float, nominal: float) -> Bank:
    limit = section.value("inrush_limit")
    bleed = section.value("bleed")
    section.value("charge_path", "feed", "feed for a capacitor bank")
    fuse, fuse_ohm, fuse_type = _fuse(section)
    make = _reservoir if branch == "reservoir" else _supercapacitor
    bank, cells, cell, share = make(ledger, section, temperature, nominal)
    section.derived("leakage", bank.rated_voltage / bank.leakage_resistance, "from capacitance, with any balancing")
    if section.written("leakage") is not None:
        rated = bank.rated_voltage
        bank = dataclasses.replace(bank, leakage_resistance=rated / max(section.number("leakage"), LEAST_LEAKAGE))
    has_limit = limit != "none" or branch == "supercapacitor"
    return Bank(
        branch="reservoir" if branch == "reservoir" else "supercapacitor",
        bank=bank,
        diode=_diode(ledger, section, "diode", temperature, nominal),
        discharge_diode=_diode(ledger, section, "discharge_diode", temperature, nominal) if has_limit else None,
        inrush_limit=None if limit == "none" else float(limit),
        charge_current=section.number("charge_current") if branch == "supercapacitor" else None,
        bleed=None if bleed == "none" else float(bleed),
        cells=cells,
        cell_voltage=cell,
        worst_cell_share=share,
        fuse_rating=fuse,
        fuse_resistance=fuse_ohm,
        fuse_type=fuse_type,
    )


Made = tuple[CapacitorCircuit, int, float, float]
"""A bank at its temperature, cells in series, rated voltage of one [V], share of the worst cell [-]."""


def _reservoir(ledger: Ledger, section: Section, temperature: float, nominal: float) -> Made:
    entry = section.part("capacitor", "capacitor")
    capacitance = section.number("capacitance", RESERVOIR_CAPACITANCE, "47 mF for a reservoir", entry)
    usual = 35.0 if nominal > SPLIT_VOLTAGE else 25.0
    rated = section.number("rated_voltage", usual, "25 V, or 35 V on a 24 V boat", entry)
    esr = section.number(
        "esr",
        esr_from_dissipation(dissipation_factor(rated, capacitance), capacitance),
        "largest loss factor of its voltage class",
        entry,
    )
    life, life_at, grade = ELECTROLYTIC_LIFE, ELECTROLYTIC_RATED, "general"
    if entry is not None:
        life, life_at = entry.value("rated_life", life), entry.value("rated_temperature", life_at)
        grade = entry.value("leakage_grade", grade)
    used = min(section.number("age") / lifetime(life, life_at, section.number("age_temperature")), 1.0)
    return capacitor_circuit(capacitance, rated, temperature, used, esr=esr, grade=grade), 1, rated, 1.0


def _supercapacitor(ledger: Ledger, section: Section, temperature: float, nominal: float) -> Made:
    over = OVER_CHARGE_24 if nominal > SPLIT_VOLTAGE else OVER_CHARGE_12
    entry = section.part("supercapacitor", "capacitor")
    cell = section.number("cell_voltage", entry=entry)
    # a lone cell is what strings are made of: only a string says how many are in series
    string = entry if entry is not None and int(entry.value("cells")) > 1 else None
    cells = int(section.number("cells", cells_needed(cell, over), "enough for the charging voltage", string))
    rated = section.number("rated_voltage", cells * cell, "cells times cell_voltage")
    if section.written("rated_voltage") is not None:
        cell = rated / cells if section.written("cell_voltage") is None else min(cell, rated / cells)
    capacitance = SUPERCAPACITOR_CAPACITANCE
    leakage: float | None = None
    if entry is not None:
        capacitance, leakage = entry.value("cell_capacitance") / cells, entry.value("cell_leakage")
    capacitance = _of_cells(ledger, section, "capacitance", capacitance, entry, "10 F for a supercapacitor")
    each = capacitance * cells
    esr = CELL_TIME_CONSTANT / each if entry is None else entry.value("cell_esr")
    esr = _of_cells(ledger, section, "esr", esr * cells, entry, "0.7 s over the capacitance of a cell")
    spec = CellSpec(
        capacitance=each,
        esr=esr / cells,
        voltage=cell,
        leakage=CELL_LEAKAGE_PER_FARAD * each if leakage is None else max(leakage, LEAST_LEAKAGE),
    )
    # it stands at the charging voltage whenever the key is on: on the safe side for all of its years
    standing = float(ledger.values["alternator.charge_voltage"].value) / cells
    mean = section.number("age_temperature")
    life = supercapacitor_lifetime(SUPERCAPACITOR_LIFE, SUPERCAPACITOR_RATED, mean, cell, standing)
    used = min(section.number("age") / life, 1.0)
    balancing = section.value("balancing")
    resistor = cell / (BALANCING_FACTOR * spec.leakage)
    if entry is not None:
        resistor = entry.value("balancing_resistance", resistor)
    bank = string_circuit(spec, cells, temperature, used, resistor if balancing == "resistor" else float("inf"))
    share = 1.0 if balancing == "active" else worst_cell_share_charging(cells)
    if balancing == "resistor":
        share = max(share, worst_cell_share_balanced(cells, over, resistor, 0.5 * spec.leakage))
    return bank, cells, cell, share


def _of_cells(ledger: Ledger, section: Section, name: str, whole: float, entry: Entry | None, source: str) -> float:
    """A figure of the whole string: as written, else `whole`, which is the catalogue's if there is a part."""
    found = section.number(name, whole, source)
    if entry is not None:
        note = ledger.note_part if section.written(name) is None else ledger.note_before_part
        note(f"hold_up.{name}", found, entry, f"cell_{name}")
    return found


def _house_feed(ledger: Ledger, section: Section, temperature: float, nominal: float) -> HouseFeed:
    if ledger.scenario.house is None:
        ledger.problem("hold_up.branch", "a house feed needs a [house] bank in the scenario")
    fuse, fuse_ohm, fuse_type = _fuse(section)
    diode = _diode(ledger, section, "diode", temperature, nominal)
    if section.written("diode") == "none":
        section.problem("diode", "without it the house bank would crank the engine through the feed; name a diode")
    return HouseFeed(
        # one way: its current returns by the display's return wire, which is in the circuit already
        resistance=run_resistance(section.value("size"), section.number("length"), temperature),
        joints=with_corrosion(section, section.number("joints")),
        diode=diode or diode_circuit(DiodeModel(15e-6, 1.25, 30e-3), temperature),
        feed_diode=_diode(ledger, section, "feed_diode", temperature, nominal),
        fuse_rating=fuse,
        fuse_resistance=fuse_ohm,
        fuse_type=fuse_type,
    )


def _converter(ledger: Ledger, section: Section, nominal: float, power: float, booting: float) -> ConverterAhead:
    entry = section.part("converter", "converter")
    usual = "down" if nominal > SPLIT_VOLTAGE else "up/down"
    direction = section.value("direction", usual, "down on a 24 V boat, else up/down", entry)
    output = section.number("output_voltage", entry=entry)
    section.value("maximum_input", entry=entry)
    cut_out, cut_in = (_given(section, name, entry) for name in ("cut_out", "cut_in"))
    if cut_out is not None and cut_in is not None and cut_in < cut_out:
        if section.written("cut_in") is not None:
            section.problem("cut_in", "must not be below hold_up.cut_out")
        cut_in = None if section.written("cut_in") is None else cut_out
    if cut_out is not None and cut_in is None:
        cut_in = cut_out + (2.0 if nominal > SPLIT_VOLTAGE else 1.0)
    unit = converter_circuit(
        nominal if entry is None else entry.value("input_voltage"),
        output,
        direction,
        max(1.3 * power, 1.0) if entry is None else entry.value("rated_power"),
        section.number("efficiency", entry=entry),
        cut_out,
        cut_in,
        section.number("restart_delay", entry=entry),
        _given(section, "input_limit", entry),
        section.number("output_capacitance", entry=entry),
        section.number("quiescent_power", entry=entry),
    )
    source = "from direction, boat voltage and the displays' power"
    if entry is not None:
        source = "from the rated power and the input voltage of the part"
        if max(power, booting) > entry.value("rated_power"):
            rated = f"the {entry.value('rated_power'):g} W of {shown(entry.name)}"
            take = f"{power:g} W, {booting:g} W while booting" if booting > power else f"{power:g} W"
            ledger.warn("converter_overloaded", f"the displays take {take}, above {rated}: a larger converter")
    for name, value in (("cut_out", unit.cut_out), ("cut_in", unit.cut_in), ("input_limit", unit.input_limit)):
        given = entry if entry is not None and name in entry.values and entry.value(name) == value else None
        section.value(name, value, source, given)
    pass_diode = diode_circuit(DiodeModel(15e-6, 1.25, 30e-3), 20.0) if direction == "up" else None
    fuse, fuse_ohm, fuse_type = _fuse(section)
    return ConverterAhead(unit, pass_diode, fuse, fuse_ohm, fuse_type)


def _given(section: Section, name: str, entry: Entry | None) -> float | None:
    """What is written or stands in the catalogue; None where neither does."""
    written: float | None = section.written(name)
    if written is None and entry is not None:
        written = entry.value(name)
    return written
