# SPDX-License-Identifier: GPL-3.0-or-later
"""Catalogue lines to circuit parameters: which field feeds which argument, and what stands in where one is
absent."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal

from cranksag.catalogue.reader import Entry
from cranksag.errors import InputError
from cranksag.parts import (
    capacitor,
    coil,
    converter,
    diode,
    display,
    fuse,
    pack,
    relay,
    starter_bench,
    supercapacitor,
)
from cranksag.parts.pack_chemistry import CHEMISTRIES, Chemistry

__all__ = [
    "bench_points",
    "capacitor_of",
    "converter_of",
    "diode_leakage",
    "diode_model",
    "display_of",
    "fuse_of",
    "fuse_type",
    "pack_chemistry",
    "pack_of",
    "relay_of",
    "relay_spreads",
    "string_of",
    "supercapacitor_cell",
]

# Emission coefficient where only one or two forward points are printed [-]. Engineering estimate; the public
# sets of the parts in the catalogue lie at 1.25-1.37 (Schottky) and 1.4 (silicon).
EMISSION_FEW_POINTS = {"schottky": 1.25, "silicon": 1.4}
# Share of the forward drop at the printed point that is resistive where only one point is printed [-]. 30
# mohm of the public 1N5822 set are 18 % at 3 A; 40 mohm of the public 1N4007 set 5 % at 1 A and 12 % at 3 A,
# of which the middle.
RESISTIVE_SHARE = {"schottky": 0.18, "silicon": 0.09}
# A specimen releases below its own pick-up: highest drop-out over pick-up [-]. Engineering estimate.
RELEASE_BELOW_OPERATE = 0.95
# Leakage doubles over this step where only one point is printed [K]. Common practice.
LEAKAGE_DOUBLING_DEFAULT = 10.0
LEAKAGE_TEMPERATURE = 25.0  # of the printed leakage [degC]
# What a display's own input diode looks like [A], [V]. Engineering estimate: small Schottky.
INPUT_DIODE_POINT = (1.0, 0.45)

Place = Literal["low", "typical", "high"]


def _due(entry: Entry, kind: str) -> None:
    if entry.kind != kind:
        raise InputError([f'"{entry.name}" is a {entry.kind}, a {kind} is due'])


def relay_spreads(entry: Entry) -> tuple[relay.Spread, relay.Spread]:
    """Pick-up and drop-out voltages of a catalogue relay at 20 degC.

    Parameters
    ----------
    entry : a relay

    Returns
    -------
    pick-up and drop-out spread [V]
    """
    _due(entry, "relay")
    operate = entry.value("must_operate")
    return relay.must_operate_spread(operate), relay.must_release_spread(entry.value("must_release"), operate)


def relay_of(
    entry: Entry,
    temperature: float,
    operate: Place = "high",
    release: Place = "low",
    suppression: coil.Suppression | None = None,
) -> relay.RelayCircuit:
    """Circuit parameters of a catalogue relay; by default the specimen at the printed limits.

    Parameters
    ----------
    entry : a relay
    temperature : of its coil [degC]
    operate, release : place in the spreads
    suppression : across the coil

    Returns
    -------
    RelayCircuit
    """
    pick_up, drop_out = relay_spreads(entry)
    return relay.relay_circuit(
        coil_resistance_20=entry.value("coil_resistance"),
        operate_voltage=getattr(pick_up, operate),
        release_voltage=min(getattr(drop_out, release), RELEASE_BELOW_OPERATE * getattr(pick_up, operate)),
        time_operate=entry.value("operate_time"),
        time_release=entry.value("release_time"),
        rated_voltage=entry.value("coil_voltage"),
        temperature=temperature,
        contact_resistance=entry.value("contact_resistance"),
        changeover=entry.value("contact") == "changeover",
        suppression=suppression,
        coil_inductance=entry.value("coil_inductance"),
    )


def diode_model(entry: Entry, limit: Literal["typical", "maximum"] = "typical") -> diode.DiodeModel:
    """SPICE set of a catalogue diode.

    Typical: the set in public use where the line holds one. Otherwise, and for the maximum, a fit to the
    printed maxima, with an assumed emission coefficient where fewer than three are printed.

    Parameters
    ----------
    entry : a diode
    limit : which of the two

    Returns
    -------
    DiodeModel
    """
    _due(entry, "diode")
    schottky = entry.value("construction") == "schottky"
    law = {
        "exponent": diode.SCHOTTKY_EXPONENT if schottky else diode.SILICON_EXPONENT,
        "gap": diode.SCHOTTKY_GAP if schottky else diode.SILICON_GAP,
        "breakdown": entry.value("reverse_voltage"),
    }
    saturation = entry.value("saturation_current")
    if limit == "typical" and saturation is not None:
        return diode.DiodeModel(saturation, entry.value("emission", 1.0), entry.value("series_resistance", 0.0), **law)
    points = [(point["current"], point["voltage"]) for point in entry.value("forward")]
    construction = entry.value("construction")
    if len(points) > 2:
        return diode.fit_diode(points, LEAKAGE_TEMPERATURE, **law)
    resistance = None
    if len(points) == 1:
        ((current, voltage),) = points
        resistance = RESISTIVE_SHARE[construction] * voltage / current
    return diode.fit_diode(
        points, LEAKAGE_TEMPERATURE, EMISSION_FEW_POINTS[construction], series_resistance=resistance, **law
    )


def diode_leakage(entry: Entry, temperature: float) -> float:
    """Largest leakage of a catalogue diode at rated reverse voltage and a junction temperature.

    Parameters
    ----------
    entry : a diode
    temperature : [degC]

    Returns
    -------
    current [A]
    """
    _due(entry, "diode")
    cool, hot = entry.value("leakage"), entry.value("leakage_hot")
    step = LEAKAGE_DOUBLING_DEFAULT
    at = entry.value("leakage_hot_temperature", 100.0)
    if hot is not None and hot > cool and at > LEAKAGE_TEMPERATURE:
        step = diode.leakage_doubling(cool, LEAKAGE_TEMPERATURE, hot, at)
    return diode.leakage_current(cool, LEAKAGE_TEMPERATURE, step, temperature)


def capacitor_of(
    entry: Entry, temperature: float, age: float = 0.0, tolerance: float = 0.0
) -> capacitor.CapacitorCircuit:
    """Circuit parameters of a catalogue capacitor.

    Parameters
    ----------
    entry : a capacitor
    temperature : [degC]
    age : 0 new to 1 end of life [-]
    tolerance : shift of this specimen [-]

    Returns
    -------
    CapacitorCircuit
    """
    _due(entry, "capacitor")
    return capacitor.capacitor_circuit(
        entry.value("capacitance"),
        entry.value("rated_voltage"),
        temperature,
        age,
        tolerance,
        entry.value("esr"),
        entry.value("leakage_grade", "general"),
    )


def supercapacitor_cell(entry: Entry) -> supercapacitor.CellSpec:
    """The cell of a catalogue supercapacitor.

    Parameters
    ----------
    entry : a supercapacitor

    Returns
    -------
    CellSpec
    """
    _due(entry, "supercapacitor")
    return supercapacitor.CellSpec(
        entry.value("cell_capacitance"),
        entry.value("cell_esr"),
        entry.value("cell_voltage"),
        entry.value("cell_leakage"),
    )


def string_of(entry: Entry, temperature: float, age: float = 0.0) -> capacitor.CapacitorCircuit:
    """Circuit parameters of a catalogue supercapacitor string.

    Parameters
    ----------
    entry : a supercapacitor
    temperature : [degC]
    age : 0 new to 1 end of life [-]

    Returns
    -------
    CapacitorCircuit
    """
    return supercapacitor.string_circuit(
        supercapacitor_cell(entry),
        entry.value("cells"),
        temperature,
        age,
        entry.value("balancing_resistance", math.inf),
    )


def pack_chemistry(entry: Entry) -> Chemistry:
    """The chemistry of a catalogue pack.

    Parameters
    ----------
    entry : a pack

    Returns
    -------
    Chemistry
    """
    _due(entry, "pack")
    return CHEMISTRIES[entry.value("chemistry")]


def pack_of(entry: Entry, charge: float, temperature: float) -> pack.PackCircuit:
    """Circuit parameters of a catalogue pack.

    Parameters
    ----------
    entry : a pack
    charge : 0 flat to 1 full [-]
    temperature : [degC]

    Returns
    -------
    PackCircuit
    """
    return pack.pack_circuit(
        pack_chemistry(entry),
        entry.value("cells"),
        entry.value("capacity"),
        charge,
        temperature,
        entry.value("resistance"),
    )


def converter_of(entry: Entry) -> converter.ConverterCircuit:
    """Circuit parameters of a catalogue converter.

    Parameters
    ----------
    entry : a converter

    Returns
    -------
    ConverterCircuit
    """
    _due(entry, "converter")
    return converter.converter_circuit(
        nominal_input=entry.value("input_voltage"),
        output_voltage=entry.value("output_voltage"),
        direction=entry.value("direction"),
        rated_power=entry.value("rated_power"),
        efficiency=entry.value("efficiency", converter.EFFICIENCY_DEFAULT),
        cut_out=entry.value("cut_out"),
        cut_in=entry.value("cut_in"),
        restart_delay=entry.value("restart_delay", converter.RESTART_DELAY_DEFAULT),
        input_limit=entry.value("input_limit"),
        output_capacitance=entry.value("output_capacitance", converter.OUTPUT_CAPACITANCE_DEFAULT),
        quiescent_power=entry.value("quiescent_power", converter.QUIESCENT_POWER_DEFAULT),
    )


def display_of(entry: Entry, temperature: float) -> display.DisplayCircuit:
    """Circuit parameters of a catalogue display.

    Parameters
    ----------
    entry : a display
    temperature : of its input diode [degC]

    Returns
    -------
    DisplayCircuit
    """
    _due(entry, "display")
    input_diode = None
    if entry.value("input_diode", False):
        model = diode.fit_diode(
            [INPUT_DIODE_POINT],
            LEAKAGE_TEMPERATURE,
            EMISSION_FEW_POINTS["schottky"],
            diode.SCHOTTKY_EXPONENT,
            diode.SCHOTTKY_GAP,
        )
        input_diode = diode.diode_circuit(model, temperature)
    circuit = display.display_circuit(
        power=entry.value("power"),
        brownout=entry.value("brownout"),
        restarts_above=entry.value("restarts_above"),
        at=entry.value("brownout_at", "pins"),
        boot_power=entry.value("boot_power"),
        reset_power=entry.value("reset_power"),
        converter_minimum=entry.value("converter_minimum"),
        diode=input_diode,
        sense_threshold=entry.value("sense_threshold"),
    )
    known = ("reset_after", "boot_time", "input_capacitance")
    return replace(circuit, **{name: entry.value(name) for name in known if name in entry.values})


def fuse_type(entry: Entry) -> fuse.FuseType:
    """The type of a catalogue fuse.

    Parameters
    ----------
    entry : a fuse

    Returns
    -------
    FuseType
    """
    _due(entry, "fuse")
    return fuse.FUSE_TYPES[entry.value("type")]


def fuse_of(entry: Entry) -> fuse.FuseType:
    """A catalogue fuse as a type of one rating: its family's time-current band with its own drop, melting I2t, highest
    voltage and breaking capacity.

    Parameters
    ----------
    entry : a fuse

    Returns
    -------
    FuseType
    """
    family, rating = fuse_type(entry), float(entry.value("rating"))
    melting, resistance = entry.value("melting_i2t"), entry.value("resistance")
    return replace(
        family,
        melting=family.melting if melting is None else melting / rating**2,
        drop=family.drop if resistance is None else resistance * rating,
        ratings=(rating,),
        voltage=entry.value("rated_voltage"),
        interrupt=entry.value("interrupt", family.interrupt),
    )


def bench_points(entry: Entry) -> tuple[starter_bench.BenchPoint, ...]:
    """The published bench points of a catalogue starter, as the starter model takes them.

    A no-load test has no torque and a stalled one no speed; both are zeros, whether the line writes them or
    not.

    Parameters
    ----------
    entry : a starter

    Returns
    -------
    tuple of BenchPoint
    """
    _due(entry, "starter")
    points = []
    for point in entry.value("points"):
        test = point.get("test")
        points.append(
            starter_bench.BenchPoint(
                voltage=point["voltage"],
                current=point.get("current"),
                torque=0.0 if test == "no-load" else point.get("torque"),
                speed=0.0 if test == "stalled" else point.get("speed"),
                test=test,
            )
        )
    return tuple(points)
