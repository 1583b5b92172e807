# SPDX-License-Identifier: GPL-3.0-or-later
"""The picture of a sweep that is asked for in words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure

from cranksag.errors import InputError
from cranksag.quantities import nearest, shown
from cranksag.report.curves import margin_band, pareto_picture
from cranksag.report.maps import MOST_PANELS, margin_map
from cranksag.studies.analysis import Objective
from cranksag.studies.table import Table

__all__ = ["PICTURES", "sweep_picture"]

PICTURES = ("map", "band", "pareto")
"""Kinds of picture."""


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
        There is no such picture or axis.
    """
    kind, _, rest = words.strip().partition(" ")
    names = [name.strip() for name in rest.split(",") if name.strip()]
    paths = [axis.path for axis in table.axes]
    kind = kind or ("map" if len(paths) > 1 else "band")
    if kind not in PICTURES:
        raise InputError([f"--picture {shown(words)}: write map X,Y or map X,Y,FACET, band X, or pareto"])
    for name in names:
        if name not in paths:
            close = nearest(name, paths)
            raise InputError(
                [f"--picture {shown(name)}: not an axis of this sweep" + (f" (did you mean {close}?)" if close else "")]
            )
    limit = {"map": 3, "band": 1, "pareto": 0}[kind]
    if len(names) > limit or len(set(names)) < len(names) or (kind == "map" and len(names) == 1):
        raise InputError([f"--picture {shown(words)}: write map X,Y or map X,Y,FACET, band X, or pareto"])
    if kind == "pareto":
        return pareto_picture(table, wanted, margin)
    if kind == "band":
        return margin_band(table, names[0] if names else _ordered_first(table)[0], margin)
    if len(paths) < 2:
        raise InputError(["--picture map: needs two axes, this sweep has one; try --picture band"])
    chosen = names or _ordered_first(table)[: 3 if len(paths) > 2 and _steps(table, _ordered_first(table)[2]) else 2]
    return margin_map(table, chosen[0], chosen[1], chosen[2] if len(chosen) > 2 else None, margin)


def _ordered_first(table: Table) -> list[str]:
    """Axes, those whose values have an order before the others."""
    return [axis.path for axis in sorted(table.axes, key=lambda axis: not axis.ordered)]


def _steps(table: Table, path: str) -> bool:
    """Whether an axis has few enough values for small multiples."""
    return len(np.unique(table.written[path].codes[table.done()])) <= MOST_PANELS
