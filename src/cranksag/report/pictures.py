# SPDX-License-Identifier: GPL-3.0-or-later
"""The picture of a sweep that is asked for in words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure

from cranksag.report.asked import PICTURES, asked_picture
from cranksag.report.curves import margin_band, pareto_picture
from cranksag.report.maps import MOST_PANELS, margin_map
from cranksag.studies.analysis import Objective
from cranksag.studies.table import Table

__all__ = ["PICTURES", "sweep_picture"]


def sweep_picture(table: Table, words: str = "", wanted: Sequence[Objective] = (), margin: float = 0.0) -> Figure:
    """The picture that `words` ask for: "map X,Y", "map X,Y,FACET", "band X" or "pareto"; X, Y and FACET are axes.

    Parameters
    ----------
    table : rows of a sweep
    words : which picture; empty for the one that fits the axes
    wanted : objectives of the Pareto plot
    margin : that survivors have at least [V]

    Raises
    ------
    InputError
        There is no such picture or axis, or the rows do not give it.
    """
    paths = [axis.path for axis in table.axes]
    kind, names = asked_picture(words, paths)
    if kind == "pareto":
        return pareto_picture(table, wanted, margin)
    if kind == "band":
        return margin_band(table, names[0] if names else _ordered_first(table)[0], margin)
    chosen = names or _ordered_first(table)[: 3 if len(paths) > 2 and _steps(table, _ordered_first(table)[2]) else 2]
    return margin_map(table, chosen[0], chosen[1], chosen[2] if len(chosen) > 2 else None, margin)


def _ordered_first(table: Table) -> list[str]:
    """Axes, those whose values have an order before the others."""
    return [axis.path for axis in sorted(table.axes, key=lambda axis: not axis.ordered)]


def _steps(table: Table, path: str) -> bool:
    """Whether an axis has few enough values for small multiples."""
    return len(np.unique(table.written[path].codes[table.done()])) <= MOST_PANELS
