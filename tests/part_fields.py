# SPDX-License-Identifier: GPL-3.0-or-later
"""Every scenario field that names a part, with what it gives; a boat and a user's catalogue to try them on."""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Iterator, Mapping
from typing import Any

from cranksag.catalogue import KINDS, Catalogue, Entry, load_catalogue
from cranksag.catalogue.reader import read_text
from cranksag.resolve import Boat, resolve
from cranksag.scenario import loads_scenario
from cranksag.studies.axes import part_kinds

BASE = """title = "test boat"
[house]
health = "90 %"
[[displays]]
[[cables.positive]]
part = "battery switch"
[[cables.negative]]
resistance = "1 mohm"
"""
"""A boat with one row of each list."""

PLAIN = {"chemistry": "chemistry", "rating": "rating", "rating_standard": "rating_standard", "capacity": "capacity"}
NOT_IN_THE_SCENARIO = ("input_voltage", "rated_power", "mass", "price")
FIELDS: Mapping[str, Mapping[str, str]] = {
    "battery.part": PLAIN,
    "house.part": PLAIN,
    "starter.part": {k: k for k in ("voltage", "motor", "pull_in", "hold_in", "pulls_in_at", "gear_ratio")},
    "starter.solenoid": {k: k for k in ("pull_in", "hold_in", "pulls_in_at", "contact_resistance")},
    "start_circuit.relay_part": {
        "relay": "coil_resistance", "relay_must_operate": "must_operate", "relay_must_release": "must_release",
    },
    "engine.part": {k: k for k in ("displacement", "cylinders", "compression_ratio", "oil", "minimum_speed")},
    "cables.positive.0.part": {"resistance": "resistance"},
    "feed.fuse_part": {"fuse": "rating"},
    "displays.0.part": {k: k for k in KINDS["display"] if k != "price"},
    "hold_up.fuse_part": {"fuse": "rating"},
    "hold_up.pack": {"pack_capacity": "capacity", "pack_resistance": "resistance"},
    "hold_up.relay": {
        k: k for k in
        ("coil_resistance", "must_operate", "must_release", "operate_time", "release_time", "contact",
         "contact_resistance")
    },
    "hold_up.capacitor": {k: k for k in ("capacitance", "esr", "rated_voltage")},
    "hold_up.converter": {k: k for k in KINDS["converter"] if k not in NOT_IN_THE_SCENARIO},
}  # fmt: skip
"""By the field that names a part: scenario field and the catalogue's name of it."""

BRANCH = {"pack": "standby pack", "relay": "standby pack", "capacitor": "reservoir", "converter": "converter"}
# a diode has no figure in the scenario, and a corroded joint adds to one that others give as well
WORDED = {
    "hold_up.diode", "hold_up.feed_diode", "hold_up.discharge_diode",
    "feed.corroded", "feed.return_corroded", "start_circuit.corroded", "panel.corroded", "hold_up.corroded",
}  # fmt: skip


@functools.cache
def shipped() -> Catalogue:
    return load_catalogue()


def boat(changes: Mapping[str, str], parts: Catalogue | None = None) -> Boat:
    """The boat with changes, resolved."""
    return resolve(loads_scenario(BASE, "boat.toml").with_overrides(dict(changes)), parts)


def numbers(value: Any, path: str) -> Iterator[tuple[str, float]]:
    """All floats of nested dataclasses."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        for field in dataclasses.fields(value):
            if field.name not in ("breakdown", "fuse_type"):
                yield from numbers(getattr(value, field.name), f"{path}.{field.name}")
    elif isinstance(value, tuple):
        for k, item in enumerate(value):
            yield from numbers(item, f"{path}.{k}")
    elif isinstance(value, float):
        yield path, value


def branch_of(path: str) -> dict[str, str]:
    branch = BRANCH.get(path.removeprefix("hold_up."), "standby pack")
    return {"hold_up.branch": branch} if path.startswith("hold_up.") else {}


def table_of(path: str) -> str:
    return path.rpartition(".")[0]


def entries(path: str) -> list[Entry]:
    """Every part of the field's kind."""
    return list(shipped().entries(part_kinds(path, branch_of(path).get("hold_up.branch"))[0]))


OWN = """
[[battery]]
name = "my battery"
chemistry = "agm"
voltage = "12 V"
rating = "640 A"
rating_standard = "DIN"
capacity = "66 Ah"
mass = "19 kg"
price = 240
tolerance = { rating = "7 %", voltage = "3 %" }
source = "label"
provenance = "engineering estimate"
[[battery]]
name = "old six"
chemistry = "flooded"
voltage = "6 V"
rating = "640 A"
rating_standard = "SAE"
capacity = "66 Ah"
source = "label"
provenance = "engineering estimate"
[[display]]
name = "my display"
power = "4.4 W"
brownout = "7.7 V"
restarts_above = "8 V"
source = "bench"
provenance = "engineering estimate"
[[converter]]
name = "my converter"
input_voltage = "12 V"
output_voltage = "12 V"
direction = "up/down"
rated_power = "5 W"
source = "bench"
provenance = "engineering estimate"
[[fuse]]
name = "my fuse"
type = "bolt-down"
rating = "9 A"
resistance = "11 mohm"
rated_voltage = "58 V"
interrupt = "3000 A"
source = "bench"
provenance = "engineering estimate"
[[engine]]
name = "my engine"
displacement = "2 L"
cylinders = 4
compression_ratio = 21
oil = "whale"
tolerance = { cylinders = "10 %", compression_ratio = "4 %", displacement = "1 %" }
source = "bench"
provenance = "engineering estimate"
"""


def own_catalogue() -> Catalogue:
    """The shipped parts and those of `OWN`."""
    return Catalogue(read_text(OWN, "mine.toml"))
