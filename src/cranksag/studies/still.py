# SPDX-License-Identifier: GPL-3.0-or-later
"""Axes of a sweep that move nothing, and why where that is known."""

from __future__ import annotations

import re
from collections.abc import Iterable

import numpy as np

from cranksag.resolve import Boat
from cranksag.resolve.model import StandbyPack
from cranksag.studies.analysis import Places, axis_groups, line_numbers
from cranksag.studies.table import STATUSES, Table

__all__ = ["booting_at_start", "still_axes"]

STILL = 1e-4  # [V] by which one part in a billion may move a minimum: less is the solver's
STILL_DARK = 1e-3  # [s] of the time without gauges
_POWER = re.compile(r"displays\.(\d+)\.power")


def booting_at_start(boat: Boat) -> tuple[int, ...]:
    """Numbers of the displays that are still booting when the key is first turned to START: those that the key turns
    on less than their boot time before."""
    fed = isinstance(boat.hold_up, StandbyPack) and boat.hold_up.relay is None
    if boat.feed.key_terminal == "always" or fed:
        return ()
    before = boat.crank.key_on_before
    return tuple(number for number, display in enumerate(boat.displays) if display.circuit.boot_time > before)


def still_axes(table: Table, booting: Iterable[int] = ()) -> list[str]:
    """A sentence for each axis (or axes that advance together) that moves nothing: the other axes alike, neither the
    lowest voltage nor the margin by 0.1 mV, nor a restart, the time without gauges or the start of the engine.

    Parameters
    ----------
    table : rows
    booting : numbers of the displays that are still booting at START in every row
    """
    ran = np.flatnonzero((table.status != 0) & (table.status != STATUSES.index("failed")))
    groups = axis_groups(table)
    told = []
    for paths in groups:
        others = [group[0] for group in groups if group is not paths]
        if len(ran) and _moves_nothing(table, ran, paths[0], others):
            why = _why(table, ran, paths, set(booting))
            verb = "moves" if len(paths) == 1 else "move"
            told.append(f"{' and '.join(paths)} {verb} nothing here{why}")
    return told


_MEASURES = {"minimum_voltage_v": STILL, "margin_v": STILL, "restarts": 0.5, "dark_time_s": STILL_DARK, "starts": 0.5}
_MISSING = 1e30
"""Stands for no number: rows that all have none are alike."""


def _moves_nothing(table: Table, ran: Places, path: str, others: list[str]) -> bool:
    line = line_numbers(table, others, ran)
    rows = ran[np.argsort(line, kind="stable")]
    first = np.flatnonzero(np.diff(np.sort(line), prepend=-1))

    def spread(values: np.ndarray) -> np.ndarray:
        """Of the rows of each line."""
        found: np.ndarray = np.maximum.reduceat(values, first) - np.minimum.reduceat(values, first)
        return found

    compared = spread(table.written[path].codes[rows]) > 0
    if not compared.any() or spread(table.status[rows])[compared].any():
        return False
    measures = {name: np.nan_to_num(table.numbers[name][rows], nan=_MISSING) for name in _MEASURES}
    return all((spread(measures[name])[compared] < least).all() for name, least in _MEASURES.items())


def _why(table: Table, ran: Places, paths: list[str], booting: set[int]) -> str:
    powers = [match for path in paths if (match := _POWER.fullmatch(path))]
    if len(powers) == len(paths) and all(int(match[1]) in booting for match in powers):
        return ": the display is still booting at START, so boot_power counts"
    warnings = table.texts["warnings"]
    hidden = all("part_hidden" in warnings.texts[code].split("; ") for code in np.unique(warnings.codes[ran]))
    if hidden and any(path.rpartition(".")[2].endswith("part") for path in paths):
        return ": figures that are set beside it hide the part's own (part_hidden)"
    return ""
