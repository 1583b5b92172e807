# SPDX-License-Identifier: GPL-3.0-or-later
"""The simulate document: one JSON object, every key always present, null where something does not apply."""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any, TextIO

import numpy as np

from cranksag.resolve.model import Note
from cranksag.verdict.results import BudgetLine, DisplayResult, Result, WiringCheck
from cranksag.verdict.starting import RELAY_COIL, SOLENOID
from cranksag.verdict.wiring import VERDICTS

SCHEMA_VERSION = 1
RPM = 60.0 / (2.0 * math.pi)  # [rev/min per rad/s]

COLUMNS: Mapping[str, tuple[str, float]] = {
    "display_v": ("display", 1.0),
    "feed_v": ("feed", 1.0),
    "battery_v": ("battery", 1.0),
    "starter_stud_v": ("starter_stud", 1.0),
    "s_terminal_v": ("s_terminal", 1.0),
    "block_v": ("block", 1.0),
    "starter_a": ("starter_current", 1.0),
    "engine_rpm": ("engine_speed", RPM),
    "hold_up_v": ("hold_up", 1.0),
    "hold_up_a": ("hold_up_current", 1.0),
    "battery_switch_v": ("battery_switch", 1.0),
    "panel_v": ("panel", 1.0),
    "display_supply_v": ("display_supply", 1.0),
    "display_return_v": ("display_return", 1.0),
    "start_signal_v": ("start_signal", 1.0),
    "battery_a": ("battery_current", -1.0),
    "feed_a": ("feed_current", 1.0),
    "pull_in_a": ("pull_in_current", 1.0),
    "hold_in_a": ("hold_in_current", 1.0),
}
"""Columns of the waveforms file: name, signal and factor to the unit of the name."""


def document(result: Result) -> dict[str, Any]:
    """The simulate document of a result; numbers are finite or null."""
    battery, starter, cranks = result.battery, result.starter, result.cranks
    estimate = result.estimate
    found: dict[str, Any] = {
        "schema_version": SCHEMA_VERSION,
        "title": result.title,
        "cranks": {
            "engages": cranks.engages,
            "turns": cranks.turns,
            "fires": cranks.fires,
            "reason": cranks.reason,
        },
        "display": _display(result.display),
        "displays": [_display(d) for d in result.displays],
        "battery": {
            "open_circuit_voltage_v": battery.open_circuit_voltage,
            "minimum_voltage_v": battery.minimum_voltage,
            "crank_voltage_v": battery.crank_voltage,
        },
        "starter": {
            "stud_minimum_voltage_v": starter.stud_minimum_voltage,
            "s_terminal_minimum_voltage_v": starter.s_terminal_minimum_voltage,
            "s_terminal_highest_voltage_v": starter.s_terminal_highest_voltage,
            "peak_current_a": starter.peak_current,
            "crank_current_a": starter.crank_current,
            "crank_speed_rpm": None if starter.crank_speed is None else starter.crank_speed * RPM,
        },
        "budget": _budget(result.budget),
        "demand_budget": _budget(result.demand_budget),
        "start_budget": {
            "at_s": result.start_budget.at,
            "across": result.start_budget.across,
            "left_v": result.start_budget.left,
            "needed_v": result.start_budget.needed,
            "lines": _budget(result.start_budget.lines),
        },
        "ground_shift_v": dict(result.ground_shift),
        "ground_shift_at_s": result.ground_shift_at,
        "hold_up": dict(result.hold_up),
        "dangers": [_note(n) for n in result.dangers],
        "warnings": [_note(n) for n in result.warnings],
        "wiring": [_wiring(check) for check in result.wiring],
        "near_switching": list(result.near_switching),
        "estimate": None
        if estimate is None
        else {"low_v": estimate.low, "high_v": estimate.high, "from": list(estimate.fields)},
        "solver": {
            "name": result.solver.name,
            "version": result.solver.version,
            "points": result.solver.points,
            "solve_s": result.solver.solve,
            "attempt": result.solver.attempt,
        },
    }
    plain: dict[str, Any] = _finite(found)
    return plain


def _display(display: DisplayResult) -> dict[str, Any]:
    return {
        "name": display.name,
        "minimum_voltage_v": display.minimum_voltage,
        "minimum_at_s": display.minimum_at,
        "source": display.source,
        "brownout_v": display.brownout,
        "margin_v": display.margin,
        "time_below_threshold_s": display.time_below_threshold,
        "restarts": display.restarts,
        "dark_time_s": display.dark_time,
        "alarm_blind_s": display.alarm_blind,
        "holds": display.holds,
        "first_reset_at_s": display.first_reset_at,
        "first_booted_at_s": display.first_booted_at,
        "demand_minimum_v": display.demand_minimum_voltage,
        "demand_minimum_at_s": display.demand_minimum_at,
    }


def _budget(lines: tuple[BudgetLine, ...]) -> list[dict[str, Any]]:
    return [
        {"element": b.element, "side": b.side, "path": b.path, "drop_v": b.drop, "blocking": b.blocking} for b in lines
    ]


def _note(note: Note) -> dict[str, str]:
    return {"code": note.code, "message": note.message}


def _wiring(check: WiringCheck) -> dict[str, Any]:
    return {
        "code": check.code,
        "circuit": check.circuit,
        "current_a": check.current,
        "drop_v": check.drop,
        "share": check.share,
        "resistance_ohm": check.resistance,
        "verdict": check.verdict,
        "message": check.message,
        "limits": [
            {
                "part": limit.part,
                "value": limit.value,
                "limit": limit.limit,
                "unit": limit.unit,
                "exceeded": limit.exceeded,
                "standard": limit.standard,
            }
            for limit in check.limits
        ],
    }


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _finite(inner) for key, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [_finite(inner) for inner in value]
    if isinstance(value, (np.floating, np.integer)):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def write_waveforms(result: Result, target: Path | TextIO) -> None:
    """The run as CSV: ``time_s`` from key-on, then `COLUMNS`."""
    if isinstance(target, Path):
        with target.open("w", encoding="utf-8", newline="") as file:
            write_waveforms(result, file)
        return
    traces = result.traces
    table = [traces.time, *(traces.signals[signal] * factor for signal, factor in COLUMNS.values())]
    writer = csv.writer(target, lineterminator="\n")
    writer.writerow(["time_s", *COLUMNS])
    writer.writerows(zip(*(np.char.mod("%.9g", column) for column in table), strict=True))


_NUMBER = {"type": "number"}
_MAYBE = {"type": ["number", "null"]}
_TEXT = {"type": "string"}
_FLAG = {"type": "boolean"}

HOLD_UP_KEYS: Mapping[str, Mapping[str, Any]] = {
    "none": {},
    "standby pack": {
        "relay_closes_s": _MAYBE,
        "relay_opens_s": _MAYBE,
        "chatter_count": {"type": "integer", "minimum": 0},
        "gap_s": _NUMBER,
        "pack_energy_j": _NUMBER,
        "attempts_to_flat": _MAYBE,
        "standing_drain_a": _NUMBER,
        "months_to_flat": _MAYBE,
        "pack_temperature_degc": _NUMBER,
    },
    "reservoir": {
        "inrush_peak_a": _NUMBER,
        "inrush_i2t_a2s": _NUMBER,
        "ride_through_s": _NUMBER,
        "ready_after_s": _MAYBE,
        "recharge_s": _MAYBE,
    },
    "supercapacitor": {
        "inrush_peak_a": _NUMBER,
        "inrush_i2t_a2s": _NUMBER,
        "ride_through_s": _NUMBER,
        "ready_after_s": _MAYBE,
        "recharge_s": _MAYBE,
        "cell_voltage_margin_v": _NUMBER,
    },
    "house feed": {
        "fed_by": {
            "type": "object",
            "properties": {"feed": _NUMBER, "house feed": _NUMBER},
            "required": ["feed", "house feed"],
            "additionalProperties": False,
        },
        "back_feed_a": _NUMBER,
    },
    "converter": {
        "input_peak_a": _NUMBER,
        "input_minimum_v": _NUMBER,
        "cut_outs": {"type": "integer", "minimum": 0},
    },
}


def _object(properties: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "type": "object",
        "properties": dict(properties),
        "required": list(properties),
        "additionalProperties": False,
    }


def _wiring_schema() -> dict[str, Any]:
    limit = {
        "part": _TEXT,
        "value": _MAYBE,
        "limit": _NUMBER,
        "unit": {"enum": ["-", "V", "ohm"]},
        "exceeded": _FLAG,
        "standard": _TEXT,
    }
    return _object(
        {
            "code": _TEXT,
            "circuit": _TEXT,
            "current_a": _MAYBE,
            "drop_v": _MAYBE,
            "share": _MAYBE,
            "resistance_ohm": _MAYBE,
            "verdict": {"enum": list(VERDICTS)},
            "message": _TEXT,
            "limits": {"type": "array", "items": _object(limit)},
        }
    )


def document_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of the simulate document."""
    notes = {"type": "array", "items": _object({"code": _TEXT, "message": _TEXT})}
    display = _object(
        {
            "name": _TEXT,
            "minimum_voltage_v": _NUMBER,
            "minimum_at_s": _NUMBER,
            "source": _TEXT,
            "brownout_v": _NUMBER,
            "margin_v": _NUMBER,
            "time_below_threshold_s": {"type": "number", "minimum": 0},
            "restarts": {"type": "integer", "minimum": 0},
            "dark_time_s": _MAYBE,
            "alarm_blind_s": _MAYBE,
            "holds": _FLAG,
            "first_reset_at_s": _MAYBE,
            "first_booted_at_s": _MAYBE,
            "demand_minimum_v": _NUMBER,
            "demand_minimum_at_s": _NUMBER,
        }
    )
    line = {
        "element": _TEXT,
        "side": {"enum": ["supply", "return"]},
        "path": {"type": ["string", "null"]},
        "drop_v": _NUMBER,
        "blocking": _FLAG,
    }
    starter = {
        "stud_minimum_voltage_v": _NUMBER,
        "s_terminal_minimum_voltage_v": _NUMBER,
        "s_terminal_highest_voltage_v": _NUMBER,
        "peak_current_a": _NUMBER,
        "crank_current_a": _MAYBE,
        "crank_speed_rpm": _MAYBE,
    }
    band = _object({"low_v": _NUMBER, "high_v": _NUMBER, "from": {"type": "array", "items": _TEXT}})
    branches = [_object({"branch": {"const": name}, **keys}) for name, keys in HOLD_UP_KEYS.items()]
    schema = _object(
        {
            "schema_version": {"const": SCHEMA_VERSION},
            "title": _TEXT,
            "cranks": _object({"engages": _FLAG, "turns": _FLAG, "fires": _FLAG, "reason": _TEXT}),
            "display": display,
            "displays": {"type": "array", "items": display, "minItems": 1},
            "battery": _object(
                {"open_circuit_voltage_v": _NUMBER, "minimum_voltage_v": _NUMBER, "crank_voltage_v": _MAYBE}
            ),
            "starter": _object(starter),
            "budget": {"type": "array", "items": _object(line)},
            "demand_budget": {"type": "array", "items": _object(line)},
            "start_budget": _object(
                {
                    "at_s": _NUMBER,
                    "across": {"enum": [SOLENOID, RELAY_COIL]},
                    "left_v": _NUMBER,
                    "needed_v": _NUMBER,
                    "lines": {"type": "array", "items": _object(line)},
                }
            ),
            "ground_shift_v": _object({"engine_block": _NUMBER, "display_return": _NUMBER}),
            "ground_shift_at_s": _NUMBER,
            "hold_up": {"oneOf": branches},
            "dangers": notes,
            "warnings": notes,
            "wiring": {"type": "array", "items": _wiring_schema()},
            "near_switching": {"type": "array", "items": _TEXT},
            "estimate": {"oneOf": [{"type": "null"}, band]},
            "solver": _object(
                {
                    "name": _TEXT,
                    "version": _TEXT,
                    "points": {"type": "integer"},
                    "solve_s": _NUMBER,
                    "attempt": {"type": "integer"},
                }
            ),
        }
    )
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "simulate document", **schema}
