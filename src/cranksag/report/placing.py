# SPDX-License-Identifier: GPL-3.0-or-later
"""Where labels go, in shares of a panel: apart from each other, and off the curves."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

__all__ = ["CURVES_END", "Pair", "free_place", "spread"]

Pair = tuple[float, float]

CURVES_END = 0.925  # [-] height of a panel above which only the key's marks are written
LABEL_SIZE = (0.15, 0.125)  # [-] of the dip's label, as shares of the panel


def spread(wanted: Sequence[float], gap: float) -> list[float]:
    """Levels near the wanted ones in which neighbours stand at least `gap` apart, all inside 0 to 1 where they fit.

    Parameters
    ----------
    wanted : where each would stand [-]
    gap : least distance [-]

    Returns
    -------
    list of float : in the order given [-].
    """
    order = sorted(range(len(wanted)), key=lambda k: wanted[k])
    groups: list[tuple[list[int], float]] = []  # members and the level of their middle
    for k in order:
        groups.append(([k], wanted[k]))
        while True:
            members, middle = groups[-1]
            half = gap * (len(members) - 1) / 2.0
            groups[-1] = (members, min(max(middle, half), max(1.0 - half, half)))
            if len(groups) < 2 or _reach(groups[-1], -gap) - _reach(groups[-2], gap) >= gap:
                break
            first, second = groups[-2][0], groups.pop()[0]
            joined = first + second
            groups[-1] = (joined, sum(wanted[j] for j in joined) / len(joined))
    placed = [0.0] * len(wanted)
    for members, middle in groups:
        for place, k in enumerate(members):
            placed[k] = middle + gap * (place - (len(members) - 1) / 2.0)
    return placed


def _reach(group: tuple[list[int], float], gap: float) -> float:
    """Highest level of a group, or its lowest for a negative gap."""
    members, middle = group
    return middle + gap * (len(members) - 1) / 2.0


def free_place(curves: npt.NDArray[np.float64], dip: Pair) -> Pair:
    """Middle of a label near a point where it covers the fewest curves, the nearest of such places.

    Parameters
    ----------
    curves : points (n, 2) along all curves [share of the panel]
    dip : the point to be labelled [share of the panel]

    Returns
    -------
    (float, float) : middle of the label [share of the panel].
    """
    width, height = LABEL_SIZE
    best, place = np.inf, dip
    for y in np.arange(height / 2 + 0.09, CURVES_END - height / 2, 0.02):
        for x in np.arange(width / 2 + 0.01, 1.0 - width / 2, 0.02):
            covered = np.count_nonzero((np.abs(curves[:, 0] - x) < width / 2) & (np.abs(curves[:, 1] - y) < height / 2))
            on_dip = abs(x - dip[0]) < width / 2 + 0.015 and abs(y - dip[1]) < height / 2 + 0.03
            cost = covered + 20.0 * float(np.hypot(x - dip[0], y - dip[1])) + (1e4 if on_dip else 0.0)
            if cost < best:
                best, place = cost, (float(x), float(y))
    return place
