# SPDX-License-Identifier: GPL-3.0-or-later
"""Figures in a file that would hide those of the part that a study puts in their place.

A figure that stands in the scenario comes before the one of the part that is named beside it. That is what a file wants
of its own part; but where a study names another, the figures in the file are those of the thing that it replaces, and
every part would come out alike. They are left out then. What was set on purpose stays: by the row or variant itself, or
since the file was read (``--set``).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

from cranksag.errors import InputError
from cranksag.runner import Overrides
from cranksag.scenario import Scenario

__all__ = ["hiding", "left_out", "superseded", "told"]

_INDEX = re.compile(r"\.\d+\.")
_BANK = ("chemistry", "rating", "rating_standard", "capacity")
_SUPERSEDED = {
    "battery.part": _BANK,
    "house.part": _BANK,
    "starter.part": ("voltage", "power", "points", "motor", "pull_in", "hold_in", "pulls_in_at", "gear_ratio"),
    "starter.solenoid": ("pull_in", "hold_in", "pulls_in_at", "contact_resistance"),
    "start_circuit.relay_part": ("relay", "relay_must_operate", "relay_must_release"),
    "engine.part": ("displacement", "cylinders", "compression_ratio", "oil", "minimum_speed"),
    "cables.positive.*.part": ("resistance",),
    "cables.negative.*.part": ("resistance",),
    "feed.fuse_part": ("fuse",),
    "displays.*.part": (
        "power", "boot_power", "reset_power", "converter_minimum", "brownout", "brownout_at", "reset_after",
        "restarts_above", "boot_time", "input_capacitance", "input_diode", "sense_threshold", "maximum_supply",
    ),
    "hold_up.fuse_part": ("fuse",),
    "hold_up.pack": ("chemistry", "pack_voltage", "pack_resistance", "pack_capacity"),
    "hold_up.relay": (
        "coil_resistance", "must_operate", "must_release", "operate_time", "release_time", "contact_resistance",
    ),
    "hold_up.capacitor": ("capacitance", "esr", "rated_voltage", "leakage", "cells", "cell_voltage"),
    "hold_up.converter": (
        "direction", "output_voltage", "maximum_input", "efficiency", "cut_out", "cut_in", "restart_delay",
        "input_limit", "output_capacitance", "quiescent_power",
    ),
}  # fmt: skip
"""Figures of the part that a field names, by the field."""


def superseded(scenario: Scenario, path: str) -> tuple[str, ...]:
    """Dotted paths of the written figures that would hide those of a part named by the field at `path`; none where the
    field names no part."""
    table = path.rpartition(".")[0]
    if table.startswith("cables.") and _held(scenario, table, "length") is not None:
        return ()  # a run of wire, to which a joint gives its name alone
    names = _SUPERSEDED.get(_INDEX.sub(".*.", path), ())
    return tuple(f"{table}.{name}" for name in names if _held(scenario, table, name) not in (None, ()))


def _held(scenario: Scenario, table: str, name: str) -> Any:
    """What is written in a field or a list of a table; None where the table itself is not."""
    try:
        return getattr(scenario.table(table), name)
    except InputError:
        return None


def hiding(scenario: Scenario, paths: Iterable[str]) -> dict[str, tuple[str, ...]]:
    """For each field among `paths` that names a part: figures of the file that would hide the part's, apart from those
    set since the file was read; only fields that have such figures."""
    found: dict[str, tuple[str, ...]] = {}
    for path in paths:
        figures = tuple(figure for figure in superseded(scenario, path) if figure not in scenario.overrides)
        if figures:
            found[path] = figures
    return found


def left_out(hides: Mapping[str, tuple[str, ...]], changes: Overrides) -> tuple[str, ...]:
    """The figures of the file that a row or a variant does without: those that hide the parts which it names, unless it
    sets them itself. One that says "none" names no part."""
    own = dict(changes)
    named = (figures for path, figures in hides.items() if own.get(path, "none") != "none")
    return tuple(dict.fromkeys(figure for figures in named for figure in figures if figure not in own))


def told(where: str, figures: Iterable[str]) -> str:
    """That figures were left out for the parts that a field or a variant names, in words."""
    return (
        f"left out for {where}: {', '.join(figures)}, which as written in the file would hide the part's own "
        "(--set keeps a figure)"
    )
