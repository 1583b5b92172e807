# SPDX-License-Identifier: GPL-3.0-or-later
"""What a catalogue line of each kind may hold: fields, their dimensions, their limits."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from cranksag.errors import InputError
from cranksag.parts.fuse import FUSE_TYPES
from cranksag.parts.pack_chemistry import CHEMISTRIES
from cranksag.quantities import DIMENSIONS, Dimension, Unit, nearest, parse, shown

__all__ = ["KINDS", "PROVENANCES", "FieldSpec", "read_value", "spec_of"]

PROVENANCES = ("published", "common practice", "memory", "engineering estimate")

LONGEST_TEXT = 200  # characters
MOST_POINTS = 12

# Dimensions that only the catalogue uses; no scenario field measures these.
_OWN_DIMENSIONS = {
    "thermal resistance": Dimension("thermal resistance", "K/W", {"K/W": Unit("K/W")}, ("K/W",), ("K/W",), "35 K/W"),
    "I2t": Dimension("I2t", "A2s", {"A2s": Unit("A2s"), "A2 s": Unit("A2s")}, ("A2s",), ("A2s",), "115 A2s"),
}


@dataclass(frozen=True, slots=True)
class FieldSpec:
    """One field.

    measures: a dimension's name, or "number", "count", "flag", "text", "points"; required: whether a line
    must hold it; low, high: limits in SI; words: allowed texts, or fields of a point.
    """

    measures: str
    required: bool = False
    low: float = -math.inf
    high: float = math.inf
    words: tuple[str, ...] = ()


_ABOVE_ZERO = math.nextafter(0.0, 1.0)


def _positive(measures: str, high: float, required: bool = False) -> FieldSpec:
    """A quantity above zero."""
    return FieldSpec(measures, required, _ABOVE_ZERO, high)


def _word(*words: str, required: bool = False) -> FieldSpec:
    """One of a few words."""
    return FieldSpec("text", required, words=words)


_VOLTS = _positive("voltage", 1000.0)
_VOLTS_DUE = _positive("voltage", 1000.0, True)
_AMPS = _positive("current", 20e3)
_AMPS_DUE = _positive("current", 20e3, True)
_OHMS = _positive("resistance", 1e7)
_OHMS_DUE = _positive("resistance", 1e7, True)
_WATTS = _positive("power", 50e3)
_WATTS_DUE = _positive("power", 50e3, True)
_TIME = FieldSpec("time", False, 0.0, 1e10)
_TIME_DUE = FieldSpec("time", True, 0.0, 1e10)
_DEGC = FieldSpec("temperature", False, -100.0, 400.0)
_MASS = _positive("mass", 1000.0)
_SHARE = FieldSpec("share", False, 0.0, 1.0)
_CELLS = FieldSpec("count", True, 1, 100)
_FLAG = FieldSpec("flag")

# Fields of one bench or forward point, with their specs.
POINT_FIELDS = {
    "voltage": _VOLTS_DUE,
    "current": _AMPS_DUE,
    "torque": FieldSpec("torque", False, 0.0, 1000.0),
    "speed": FieldSpec("speed", False, 0.0, 5000.0),
    "test": _word("no-load", "loaded", "stalled"),
}

#: fields by kind
KINDS: dict[str, dict[str, FieldSpec]] = {
    "relay": {
        "coil_voltage": _VOLTS_DUE,
        "coil_resistance": _OHMS_DUE,
        "coil_inductance": _positive("inductance", 100.0),
        "must_operate": _VOLTS_DUE,
        "must_release": _VOLTS_DUE,
        "operate_time": _TIME_DUE,
        "release_time": _TIME_DUE,
        "contact": _word("make", "changeover", required=True),
        "contact_resistance": _OHMS_DUE,
        "carry_current": _AMPS_DUE,
        "making_current": _AMPS,
        "thermal_resistance": _positive("thermal resistance", 1000.0),
        "mass": _MASS,
    },
    "diode": {
        "construction": _word("schottky", "silicon", required=True),
        "forward": FieldSpec("points", True, words=("voltage", "current")),
        "saturation_current": _positive("current", 1.0),
        "emission": FieldSpec("number", False, 0.5, 3.0),
        "series_resistance": FieldSpec("resistance", False, 0.0, 10.0),
        "rated_current": _AMPS_DUE,
        "reverse_voltage": _VOLTS_DUE,
        "surge_current": _AMPS,
        "leakage": _positive("current", 1.0, True),
        "leakage_hot": _positive("current", 1.0),
        "leakage_hot_temperature": _DEGC,
        "thermal_resistance": _positive("thermal resistance", 1000.0),
        "junction_limit": _DEGC,
        "mass": _MASS,
    },
    "capacitor": {
        "capacitance": _positive("capacitance", 100.0, True),
        "rated_voltage": _VOLTS_DUE,
        "esr": _OHMS,
        "leakage_grade": _word("low leakage", "general", "large can"),
        "rated_life": _positive("time", 1e10),
        "rated_temperature": _DEGC,
        "mass": _MASS,
    },
    "supercapacitor": {
        "cells": _CELLS,
        "cell_capacitance": _positive("capacitance", 1e5, True),
        "cell_voltage": _positive("voltage", 5.0, True),
        "cell_esr": _OHMS_DUE,
        "cell_leakage": FieldSpec("current", True, 0.0, 10.0),
        "balancing_resistance": _OHMS,
        "peak_current": _AMPS,
        "mass": _MASS,
    },
    "pack": {
        "chemistry": _word(*CHEMISTRIES, required=True),
        "cells": _CELLS,
        "capacity": _positive("capacity", 3.6e6, True),
        "resistance": _OHMS_DUE,
        "mass": _MASS,
    },
    "converter": {
        "input_voltage": _VOLTS_DUE,
        "output_voltage": _VOLTS_DUE,
        "maximum_input": _VOLTS,
        "direction": _word("up", "down", "up/down", required=True),
        "rated_power": _WATTS_DUE,
        "efficiency": _SHARE,
        "cut_out": _VOLTS,
        "cut_in": _VOLTS,
        "restart_delay": _TIME,
        "input_limit": _AMPS,
        "output_capacitance": _positive("capacitance", 10.0),
        "quiescent_power": FieldSpec("power", False, 0.0, 1000.0),
        "mass": _MASS,
    },
    "display": {
        "power": _WATTS_DUE,
        "boot_power": _WATTS,
        "reset_power": FieldSpec("power", False, 0.0, 1000.0),
        "brownout": _VOLTS_DUE,
        "brownout_at": _word("pins", "internal"),
        "restarts_above": _VOLTS_DUE,
        "converter_minimum": _VOLTS,
        "maximum_supply": _VOLTS,
        "reset_after": _TIME,
        "boot_time": _TIME,
        "input_capacitance": _positive("capacitance", 10.0),
        "input_diode": _FLAG,
        "sense_threshold": _VOLTS,
    },
    "fuse": {
        "type": _word(*FUSE_TYPES, required=True),
        "rating": _AMPS_DUE,
        "resistance": _OHMS,
        "melting_i2t": _positive("I2t", 1e9),
        "rated_voltage": _VOLTS_DUE,
        "interrupt": _AMPS,
    },
    "starter": {
        "voltage": _VOLTS_DUE,
        "power": _WATTS,
        "motor": _word("series", "permanent magnet"),
        "points": FieldSpec("points", True, words=("voltage", "current", "torque", "speed", "test")),
        "pull_in": _OHMS,
        "hold_in": _OHMS,
        "pulls_in_at": _VOLTS,
        "gear_ratio": FieldSpec("number", False, 4.0, 30.0),
        "mass": _MASS,
    },
    "solenoid": {
        "voltage": _VOLTS_DUE,
        "pull_in": _OHMS_DUE,
        "hold_in": _OHMS_DUE,
        "pulls_in_at": _VOLTS,
        "contact_resistance": _OHMS,
    },
    "battery": {
        "chemistry": _word("flooded", "efb", "agm", "gel", required=True),
        "voltage": _VOLTS_DUE,
        "rating": _AMPS_DUE,
        "rating_standard": _word("SAE", "EN", "DIN", "MCA", required=True),
        "capacity": _positive("capacity", 3.6e6, True),
        "mass": _MASS,
    },
    "joint": {
        "resistance": _OHMS_DUE,
        "corroded_resistance": _OHMS_DUE,
        "rated_current": _AMPS,
    },
    "engine": {
        "displacement": _positive("volume", 0.1, True),
        "cylinders": FieldSpec("count", True, 1, 16),
        "compression_ratio": FieldSpec("number", True, 5.0, 30.0),
        "oil": FieldSpec("text", False),
        "minimum_speed": _positive("speed", 100.0),
    },
}

# What a part costs, in the unit of the prices that a sweep is given; the shipped lines state none.
for _fields in KINDS.values():
    _fields["price"] = FieldSpec("number", False, 0.0, 1e9)

_parsed: dict[tuple[str, str], float] = {}


def _dimension(name: str) -> Dimension:
    return _OWN_DIMENSIONS[name] if name in _OWN_DIMENSIONS else DIMENSIONS[name]


def spec_of(kind: str, field: str) -> FieldSpec:
    """Spec of a field.

    Parameters
    ----------
    kind, field : names

    Returns
    -------
    FieldSpec

    Raises
    ------
    InputError
        If the kind has no such field; the nearest name is given.
    """
    specs = KINDS[kind]
    if field not in specs:
        close = nearest(field, list(specs))
        hint = f' (did you mean "{close}"?)' if close else f" (a {kind} has {', '.join(specs)})"
        raise InputError([f"{field}: unknown field{hint}"])
    return specs[field]


def read_value(spec: FieldSpec, value: Any) -> Any:
    """Value of a field in SI, from what TOML holds.

    Parameters
    ----------
    spec : of the field
    value : as read from TOML

    Returns
    -------
    float, int, bool, str, or a tuple of dicts for points

    Raises
    ------
    InputError
        One line saying what is wrong.
    """
    if spec.measures == "points":
        return _read_points(spec, value)
    if spec.measures == "flag":
        if type(value) is not bool:
            raise InputError(["must be true or false"])
        return value
    if spec.measures in ("number", "count"):
        return _read_number(spec, value)
    if type(value) is not str:
        example = f'"{_dimension(spec.measures).example}"' if spec.measures != "text" else '"..."'
        raise InputError([f"must be text in quotes, such as {example}"])
    if spec.measures == "text":
        return _read_text(spec, value)
    key = (spec.measures, value)
    if key not in _parsed:
        _parsed[key] = parse(value, _dimension(spec.measures))
    return _within(spec, _parsed[key], value)


def _read_text(spec: FieldSpec, value: str) -> str:
    if spec.words and value not in spec.words:
        raise InputError([f"{shown(value)} must be one of {', '.join(spec.words)}"])
    if not value.strip() or len(value) > LONGEST_TEXT or not value.isprintable():
        raise InputError([f"must be 1 to {LONGEST_TEXT} printable characters on one line"])
    return value


def _read_number(spec: FieldSpec, value: Any) -> float:
    if type(value) not in (int, float) or not math.isfinite(value):
        raise InputError(["must be a number without quotes"])
    if spec.measures == "count" and type(value) is not int:
        raise InputError(["must be a whole number"])
    return _within(spec, value, value)


def _within(spec: FieldSpec, number: float, written: str | float) -> float:
    if spec.low <= number <= spec.high and (spec.low <= 0.0 or number > 0.0):
        return number
    label = f"{shown(written)} " if isinstance(written, str) else f"{written:g} "
    if spec.low > 0.0 and number <= 0.0:
        raise InputError([f"{label}must be above zero"])
    if not spec.low <= number <= spec.high:
        unit = "" if spec.measures in ("number", "count") else f" {_dimension(spec.measures).si}"
        lowest = 0.0 if spec.low == _ABOVE_ZERO else spec.low
        raise InputError([f"{label}must be {lowest:g} to {spec.high:g}{unit}"])
    return number


def _read_points(spec: FieldSpec, value: Any) -> tuple[dict[str, Any], ...]:
    if type(value) is not list or not value or len(value) > MOST_POINTS:
        raise InputError([f"must be a list of 1 to {MOST_POINTS} points in braces"])
    problems: list[str] = []
    points: list[dict[str, Any]] = []
    for index, point in enumerate(value):
        if type(point) is not dict:
            problems.append(f"point {index}: must be a table in braces")
            continue
        read: dict[str, Any] = {}
        for name, text in point.items():
            if name not in spec.words:
                close = nearest(name, list(spec.words))
                problems.append(
                    f"point {index}: {name}: unknown field" + (f' (did you mean "{close}"?)' if close else "")
                )
                continue
            try:
                read[name] = read_value(POINT_FIELDS[name], text)
            except InputError as error:
                problems.append(f"point {index}: {name}: {error.problems[0]}")
        problems += [f"point {index}: {name} is missing" for name in ("voltage",) if name not in point]
        points.append(read)
    if problems:
        raise InputError(problems)
    return tuple(points)
