# SPDX-License-Identifier: GPL-3.0-or-later
"""Margin of a sweep along one of its axes, and the best compromises between objectives."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.figure import Figure

from cranksag.errors import InputError
from cranksag.report.figure import _own_settings
from cranksag.report.maps import Floats, Places, grid_of_axes, short, stepped, ticks
from cranksag.studies.analysis import Objective, pareto, survivors
from cranksag.studies.table import AxisColumn, Table

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["margin_band", "pareto_picture"]


def margin_band(table: Table, x: str, margin: float = 0.0, ax: Axes | None = None) -> Figure:
    """Margin along one axis: its median, the middle half and the whole range over the other axes.

    Parameters
    ----------
    table : rows of a sweep
    x : path of the axis
    margin : that survivors have at least [V]
    ax : to draw on; a new figure by default

    Raises
    ------
    InputError
        No row has a margin.
    """
    done = table.done()
    rows = done[np.isfinite(table.numbers["margin_v"][done])]
    if not rows.size:
        raise InputError(["--plot: no row has a margin to draw"])
    steps = stepped(table, x, rows)
    groups = [table.numbers["margin_v"][rows[steps.places == k]] for k in range(len(steps.texts))]
    places = np.array([k for k, group in enumerate(groups) if group.size])
    spread = np.array([np.percentile(groups[k], [0.0, 25.0, 50.0, 75.0, 100.0]) for k in places])
    with _own_settings():
        figure, (panel,) = grid_of_axes(table, 1, ax)
        alone = max(group.size for group in groups) == 1
        if not alone:
            panel.fill_between(places, spread[:, 0], spread[:, 4], color="0.87", label="all rows", zorder=1)
            panel.fill_between(places, spread[:, 1], spread[:, 3], color="0.68", label="middle half", zorder=2)
        panel.plot(
            places, spread[:, 2], color="black", linewidth=1.8, marker="o", markersize=4.0,
            label="margin" if alone else "median", zorder=4,
        )  # fmt: skip
        if not alone:
            panel.plot(
                places, spread[:, 0], color="#b5541c", linewidth=1.4, linestyle="--", label="worst row", zorder=3
            )
        panel.axhline(0.0, color="black", linewidth=1.1, linestyle=(0, (8, 3)), zorder=3)
        if margin:
            panel.axhline(margin, color="0.35", linewidth=0.9, linestyle=":", label=f"{margin:g} V", zorder=3)
        ticks(panel, steps.texts, ())
        panel.set_xlabel(x)
        panel.set_ylabel("margin over the brown-out threshold (V)")
        panel.set_xlim(-0.4, len(steps.texts) - 0.6)
        panel.legend(loc="best", fontsize=8.5, frameon=True, framealpha=0.9, edgecolor="none")
    return figure


def pareto_picture(table: Table, wanted: Sequence[Objective], margin: float = 0.0, ax: Axes | None = None) -> Figure:
    """Survivors over the first two objectives, and those that none beats.

    Parameters
    ----------
    table : rows of a sweep
    wanted : objectives; the first is drawn upwards, the second across
    margin : that survivors have at least [V]
    ax : to draw on; a new figure by default

    Raises
    ------
    InputError
        Fewer than two objectives, or no survivors.
    """
    if len(wanted) < 2:
        raise InputError(["--picture pareto: needs two objectives, such as --pareto margin_v:max --pareto mass_kg:min"])
    alive = survivors(table, margin)
    up, across = (table.numbers[objective.column] for objective in wanted[:2])
    alive = alive[np.isfinite(up[alive]) & np.isfinite(across[alive])]
    if not alive.size:
        raise InputError(["--picture pareto: no row survives with both objectives known"])
    front = pareto(table, wanted, alive)
    front = front[np.argsort(across[front], kind="stable")]
    with _own_settings():
        figure, (panel,) = grid_of_axes(table, 1, ax)
        panel.scatter(across[alive], up[alive], s=16.0, color="0.72", label="survivors", zorder=2)
        if len(wanted) == 2:
            panel.step(across[front], up[front], where=_where(wanted), color="#1f5fa8", linewidth=1.3, zorder=3)
        panel.scatter(
            across[front], up[front], s=42.0, facecolors="black", edgecolors="white", linewidths=0.8,
            label="not beaten by any other", zorder=4,
        )  # fmt: skip
        _name_front(panel, table, front, across, up)
        panel.set_xlabel(_objective(wanted[1]))
        panel.set_ylabel(_objective(wanted[0]))
        panel.margins(0.12)
        panel.legend(loc="best", fontsize=8.5, frameon=True, framealpha=0.9, edgecolor="none")
    return figure


def _where(wanted: Sequence[Objective]) -> Any:
    """Corners of the staircase on the side that is beaten."""
    return "pre" if wanted[1].largest else "post"


def _objective(objective: Objective) -> str:
    return f"{objective.column} ({'large' if objective.largest else 'small'} is better)"


MOST_NAMED = 10  # [-] rows of the front that are named


def _name_front(ax: Axes, table: Table, front: Places, across: Floats, up: Floats) -> None:
    picked = (
        front if len(front) <= MOST_NAMED else front[np.linspace(0, len(front) - 1, MOST_NAMED).round().astype(int)]
    )
    low, high = float(across[picked].min()), float(across[picked].max())
    for number, row in enumerate(picked):
        told = ", ".join(_named(table, axis, int(row)) for axis in table.axes[:3])
        left = across[row] > low + 0.7 * (high - low) and high > low
        ax.annotate(
            told, xy=(across[row], up[row]), xytext=(-7 if left else 7, -11 if number % 2 else 7),
            textcoords="offset points", ha="right" if left else "left", fontsize=7.5, zorder=5,
            bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 0.6},
        )  # fmt: skip


def _named(table: Table, axis: AxisColumn, row: int) -> str:
    return short(table.written[axis.path][row])
