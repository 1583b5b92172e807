# SPDX-License-Identifier: GPL-3.0-or-later
"""The scenario file: TOML to a checked model with file and line of every field."""

from __future__ import annotations

from cranksag.scenario.cranking import Crank, Engine, StartCircuit, Starter, StarterPoint
from cranksag.scenario.helm import Display, Feed, Load
from cranksag.scenario.hold_up import BRANCHES, HoldUp
from cranksag.scenario.model import DEFAULT_ROWS, Location, Scenario
from cranksag.scenario.reading import load_scenario, loads_scenario
from cranksag.scenario.schema import scenario_schema
from cranksag.scenario.specs import TimeMark
from cranksag.scenario.supply import Alternator, Battery, Cable, Cables, Link, Panel, Temperature
from cranksag.scenario.table import FieldDoc, default_value, field_doc, field_table

__all__ = [
    "BRANCHES",
    "DEFAULT_ROWS",
    "Alternator",
    "Battery",
    "Cable",
    "Cables",
    "Crank",
    "Display",
    "Engine",
    "Feed",
    "FieldDoc",
    "HoldUp",
    "Link",
    "Load",
    "Location",
    "Panel",
    "Scenario",
    "StartCircuit",
    "Starter",
    "StarterPoint",
    "Temperature",
    "TimeMark",
    "default_value",
    "field_doc",
    "field_table",
    "load_scenario",
    "loads_scenario",
    "scenario_schema",
]
