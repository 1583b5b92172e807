# SPDX-License-Identifier: GPL-3.0-or-later
"""What a result table says: survivors, the best compromises, where holding turns into restarting, what matters most."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from cranksag.errors import InputError
from cranksag.quantities import nearest, shown
from cranksag.studies.measures import NUMBERS
from cranksag.studies.table import STATUSES, Floats, Table
from cranksag.verdict.cables import OVERHEATS
from cranksag.verdict.switching import MARGIN_BAND

__all__ = [
    "Crossing",
    "Driver",
    "Objective",
    "boundary",
    "closest",
    "drivers",
    "near_switching",
    "not_started",
    "objectives",
    "pareto",
    "ruled_out",
    "survivors",
]

Places = npt.NDArray[np.intp]

_LEAST_PER_GROUP = 4  # [-] rows behind a group mean, at least, for it to say something
_MOST_BINS = 20
ENOUGH_PAIRS = 64
"""Pairs of a Sobol' design below which its indices are rough: those of Ishigami's function have bands of 0.2 to 0.5 at
64."""
RESAMPLES = 500  # [-] behind the band of an index; fewer of many pairs, whose band is narrow


def survivors(table: Table, margin: float = 0.0) -> Places:
    """Rows that hold with at least `margin` [V] and start the engine without burning its cables, largest margin
    first."""
    found = _holding(table, margin)
    found = found[~np.isin(found, ruled_out(table, margin))]
    return found[np.argsort(-table.numbers["margin_v"][found], kind="stable")]


def ruled_out(table: Table, margin: float = 0.0) -> Places:
    """Rows that hold with at least `margin` [V] and start the engine, but whose starter's cable does not stand it."""
    column = table.texts["dangers"]
    burning = [code for code, text in enumerate(column.texts) if OVERHEATS in text.split("; ")]
    found = _holding(table, margin)
    return found[np.isin(column.codes[found], burning)]


def _holding(table: Table, margin: float) -> Places:
    held = table.status == STATUSES.index("held")
    return np.flatnonzero(held & (table.numbers["margin_v"] >= margin) & (table.numbers["starts"] == 1.0))


def closest(table: Table) -> Places:
    """Rows that start the engine, largest margin first whatever it is: what comes nearest where none survives."""
    known = np.isin(table.status, [STATUSES.index("held"), STATUSES.index("restarted")])
    known &= np.isfinite(table.numbers["margin_v"])
    found = np.flatnonzero(known & (table.numbers["starts"] == 1.0))
    return found[np.argsort(-table.numbers["margin_v"][found], kind="stable")]


def not_started(table: Table) -> Places:
    """Rows in which every display holds and the engine does not start."""
    return np.flatnonzero((table.status == STATUSES.index("held")) & (table.numbers["starts"] != 1.0))


def near_switching(table: Table) -> Places:
    """Rows that stand near a switching point: a small change of the boat changes what happens there."""
    column = table.texts["near_switching"]
    return np.flatnonzero((table.status > 0) & (column.codes != 0))


# --- best compromises ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Objective:
    """A number column to make small, or large."""

    name: str
    column: str
    largest: bool


def objectives(texts: Sequence[str], table: Table) -> tuple[Objective, ...]:
    """Objectives of ``NAME:min`` or ``NAME:max``; NAME is a number column or the path of an axis.

    Raises
    ------
    InputError
        There is no such column.
    """
    paths = {axis.path: axis.number_name for axis in table.axes}
    found: list[Objective] = []
    problems: list[str] = []
    for text in texts:
        name, _, way = text.strip().rpartition(":")
        column = paths.get(name, name)
        if way not in ("min", "max") or column not in table.numbers:
            close = nearest(name, [*paths, *NUMBERS])
            hint = f" (did you mean {close}?)" if close and close != name else ""
            problems.append(f"--pareto {shown(text)}: write NAME:min or NAME:max of a number column{hint}")
        else:
            found.append(Objective(name, column, way == "max"))
    if problems:
        raise InputError(problems)
    return tuple(found)


def usual_objectives(table: Table) -> tuple[Objective, ...]:
    """Margin as large, and mass, wire and cost as small as can be, as far as they vary; the copper alone where the mass
    of a survivor is not known."""
    wanted = [Objective("margin_v", "margin_v", True)]
    weighed = bool(np.isfinite(table.numbers["mass_kg"][survivors(table)]).all())
    for name in ("cost", "mass_kg" if weighed else "copper_kg", "wire_length_m"):
        values = table.numbers[name][np.isfinite(table.numbers[name])]
        if values.size and np.ptp(values) > 0.0:
            wanted.append(Objective(name, name, False))
    return tuple(wanted)


def pareto(table: Table, wanted: Sequence[Objective], among: Places | None = None) -> Places:
    """Rows that no other row beats: none is at least as good in every objective and better in one, as far as numbers
    are told: voltages to 1 mV, other measures as printed (`told_precision`), axes as they are.

    Parameters
    ----------
    table : rows
    wanted : what to make small or large
    among : rows to compare; the survivors by default

    Returns
    -------
    positions, best in the first objective first; of rows equal in every objective all are given
    """
    rows = survivors(table) if among is None else among
    if not wanted:
        return rows[:0]
    costs = np.column_stack(
        [(-1.0 if o.largest else 1.0) * told_precision(o.column, table.numbers[o.column][rows]) for o in wanted]
    )
    known = np.isfinite(costs).all(axis=1)
    rows, costs = rows[known], costs[known]
    order = np.lexsort(costs.T[::-1])
    front: list[int] = []
    kept = np.empty((0, costs.shape[1]))
    for place in order:  # in this order nothing later beats anything earlier
        row = costs[place]
        beaten = np.all(kept <= row, axis=1) & np.any(kept < row, axis=1)
        if not beaten.any():
            front.append(int(place))
            kept = np.vstack([kept, row])
    return np.asarray(rows[front], dtype=np.intp)


def told_precision(column: str, values: Floats) -> Floats:
    """Numbers of a column without the digits that are noise of the solver: voltages to 1 mV, other measures to two
    decimals or four figures, whichever is finer; axis values are exact as they stand."""
    if column not in NUMBERS:
        return values
    if column.endswith("_v"):
        return np.round(values, 3)
    size = np.abs(np.where(np.isfinite(values) & (values != 0.0), values, 1.0))
    scale = 10.0 ** np.maximum(2.0, 3.0 - np.floor(np.log10(size)))
    rounded: Floats = np.round(values * scale) / scale
    return rounded


# --- where holding turns into restarting ---------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Crossing:
    """Two neighbours on an axis, the other axes alike, of which one holds and the other does not.

    `path` of the axis; `others`: the other axes as written; `holds_at`, `fails_at`: the two values as written;
    `margins` [V] of both; `zero`: value of the axis [SI] at which a straight line between the margins is zero, None
    where the margins do not change sign, or the one that restarts stands at zero: a display that lets go at its
    threshold when its bank has run dry holds just there, however far the bank is from enough.
    """

    path: str
    others: tuple[tuple[str, str], ...]
    holds_at: str
    fails_at: str
    margins: tuple[float, float]
    zero: float | None


def boundary(table: Table, most: int = 100_000) -> list[Crossing]:
    """Where holding turns into restarting along each axis whose values have an order; at most `most` places.

    A row that holds because nothing cranks is no row that holds.
    """
    held, failed = STATUSES.index("held"), STATUSES.index("restarted")
    run = np.flatnonzero((table.status == held) | (table.status == failed))
    run = run[~np.isin(run, not_started(table))]
    found: list[Crossing] = []
    for axis in table.axes:
        if not axis.ordered:
            continue
        values = table.numbers[axis.number_name][run]
        rows = run[np.isfinite(values)]
        tied = [other for other in table.axes if other.path != axis.path and not _tied(table, axis.path, other.path)]
        line = line_numbers(table, [other.path for other in tied], rows)
        order = np.lexsort((table.numbers[axis.number_name][rows], line))
        lines, states = line[order], table.status[rows[order]]
        turns = np.flatnonzero((lines[:-1] == lines[1:]) & (states[:-1] != states[1:]))
        for place in turns[: most - len(found)]:
            a, b = rows[order[place]], rows[order[place + 1]]
            good, bad = (a, b) if table.status[a] == held else (b, a)
            found.append(_crossing(table, axis.path, axis.number_name, tied, int(good), int(bad)))
    return found


def _tied(table: Table, path: str, other: str) -> bool:
    """Whether two axes advance together: each text of one meets one text of the other.

    In a sample in which no value comes twice that is so for any two axes; there the order must be the same as well.
    """
    first, second = table.written[path].codes, table.written[other].codes
    pairs = len(np.unique(np.stack([first, second]), axis=1).T)
    if not pairs == len(np.unique(first)) == len(np.unique(second)) or pairs < 2:
        return False
    if pairs < len(first):
        return True
    names = {axis.path: axis.number_name for axis in table.axes}
    ranks = [np.argsort(np.argsort(table.numbers[names[p]], kind="stable")) for p in (path, other)]
    return bool(np.array_equal(ranks[0], ranks[1]) or np.array_equal(ranks[0], pairs - 1 - ranks[1]))


def line_numbers(table: Table, paths: Sequence[str], rows: Places) -> npt.NDArray[np.intp]:
    """A number for each row, the same for rows alike in all these axes."""
    if not paths:
        return np.zeros(len(rows), dtype=np.intp)
    codes = np.column_stack([table.written[path].codes[rows] for path in paths])
    return np.asarray(np.unique(codes, axis=0, return_inverse=True)[1]).reshape(-1).astype(np.intp)


def _crossing(table: Table, path: str, column: str, others: Sequence[Any], good: int, bad: int) -> Crossing:
    margins = float(table.numbers["margin_v"][good]), float(table.numbers["margin_v"][bad])
    ends = table.numbers[column][good], table.numbers[column][bad]
    zero = None
    if margins[0] >= 0.0 and margins[1] < -MARGIN_BAND:
        zero = float(ends[0] + (ends[1] - ends[0]) * margins[0] / (margins[0] - margins[1]))
    words = table.written[path]
    alike = tuple((other.path, table.written[other.path][good]) for other in others)
    return Crossing(path, alike, words[good], words[bad], margins, zero)


# --- what matters most ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Driver:
    """Share of the variance of a number that an axis explains: `first` alone, `total` with all its interactions
    (None where the rows do not tell); `how` they were found; of an estimate from pairs the band in which each lies nine
    times in ten (eight, from a handful of pairs). From few a share may come out below nil or above one."""

    path: str
    first: float
    total: float | None
    how: str
    first_band: tuple[float, float] | None = None
    total_band: tuple[float, float] | None = None


def drivers(table: Table, column: str = "margin_v") -> list[Driver]:
    """Sobol' indices of a number over the axes, largest first.

    On a full grid both orders are exact for axes whose values are equally likely: the variance of group means over the
    whole variance (I. M. Sobol', Math. Comput. Simul. 55 (2001) 271-280). On the design "saltelli" they are estimated
    as in A. Saltelli et al., Comput. Phys. Commun. 181 (2010) 259-270. On any other sample the first order is that of
    group means less what chance alone would give, and the total is not known.
    """
    groups = axis_groups(table)
    plan = table.meta.get("plan", {})
    values = table.numbers[column]
    if plan.get("kind") == "saltelli" and len(table) == plan["count"] * (len(groups) + 2):
        found = _from_design(values, plan["count"], groups)
    else:
        rows = np.flatnonzero(np.isfinite(values))
        grid = len(rows) == len(table) == math.prod(len(np.unique(table.written[g[0]].codes)) for g in groups)
        found = _from_grid(table, values, groups) if grid else _from_rows(table, values, rows, groups)
    return sorted(found, key=lambda d: -(d.first if d.total is None else d.total))


def axis_groups(table: Table) -> list[list[str]]:
    """Paths of axes that advance together, each group once."""
    groups: list[list[str]] = []
    for axis in table.axes:
        home = next((g for g in groups if _tied(table, g[0], axis.path)), None)
        if home is None:
            groups.append([axis.path])
        else:
            home.append(axis.path)
    return groups


def _from_design(values: Floats, count: int, groups: Sequence[Sequence[str]]) -> list[Driver]:
    from scipy.stats import sobol_indices

    blocks = values.reshape(len(groups) + 2, count)
    blocks = blocks[:, np.isfinite(blocks).all(axis=0)]
    if blocks.shape[1] < 2 or np.ptp(blocks) == 0.0:
        return []
    made = {"f_A": blocks[:1], "f_B": blocks[1:2], "f_AB": blocks[2:, None, :]}
    found = sobol_indices(func=made, n=1 << (blocks.shape[1].bit_length() - 1), dists=None)
    pairs = blocks.shape[1]
    how = f"Sobol' design of {pairs} pairs" + (f": rough, take {ENOUGH_PAIRS} or more" if pairs < ENOUGH_PAIRS else "")
    low, high = _bands(blocks)
    return [
        Driver(
            " + ".join(paths), float(found.first_order.ravel()[k]), float(found.total_order.ravel()[k]), how,
            (float(low[0, k]), float(high[0, k])), (float(low[1, k]), float(high[1, k])),
        )
        for k, paths in enumerate(groups)
    ]  # fmt: skip


def _bands(blocks: Floats) -> tuple[Floats, Floats]:
    """5th and 95th percentile of first and total indices, shape (2, axes), over resamples of the pairs (bootstrap); of
    the estimators in A. Saltelli et al. (2010), table 2, (b) and (f)."""
    pairs = blocks.shape[1]
    stream = np.random.default_rng(0)
    drawn = []
    for _ in range(max(RESAMPLES // max(pairs // 4096, 1), 40)):
        taken = blocks[:, stream.integers(0, pairs, pairs)]
        taken = taken - taken[:2].mean()
        first, second, mixed = taken[0], taken[1], taken[2:]
        spread = float(taken[:2].var())
        if spread > 0.0:
            alone = (second * (mixed - first)).mean(axis=1) / spread
            drawn.append((alone, 0.5 * ((first - mixed) ** 2).mean(axis=1) / spread))
    low, high = np.percentile(np.array(drawn), [5.0, 95.0], axis=0)
    return low, high


def _from_grid(table: Table, values: Floats, groups: Sequence[Sequence[str]]) -> list[Driver]:
    whole = float(np.var(values))
    every = np.arange(len(table))
    if whole == 0.0 or len(table) < 2:
        return []
    found = []
    for place, paths in enumerate(groups):
        others = [g[0] for k, g in enumerate(groups) if k != place]
        alone = _variance_of_means(values, line_numbers(table, [paths[0]], every)) / whole
        without = _variance_of_means(values, line_numbers(table, others, every)) / whole if others else 0.0
        found.append(Driver(" + ".join(paths), alone, 1.0 - without, "full grid"))
    return found


def _variance_of_means(values: Floats, group: npt.NDArray[np.intp]) -> float:
    counts = np.bincount(group)
    means = np.bincount(group, values) / counts
    return float(np.sum(counts * (means - values.mean()) ** 2) / len(values))


def _from_rows(table: Table, values: Floats, rows: Places, groups: Sequence[Sequence[str]]) -> list[Driver]:
    found = []
    y = values[rows]
    if len(rows) < 2 * _LEAST_PER_GROUP or np.ptp(y) == 0.0:
        return []
    for paths in groups:
        group = line_numbers(table, [paths[0]], rows)
        if group.max() + 1 > len(rows) // _LEAST_PER_GROUP:
            axis = next(a for a in table.axes if a.path == paths[0])
            group = _bins(table.numbers[axis.number_name][rows])
        bins, size = int(group.max()) + 1, len(y)
        between = _variance_of_means(y, group) * size
        within = float(np.sum((y - y.mean()) ** 2)) - between
        chance = (bins - 1) * within / max(size - bins, 1)
        share = max(between - chance, 0.0) / (between + within)
        found.append(Driver(" + ".join(paths), share, None, f"{size} rows in {bins} groups"))
    return found


def _bins(values: Floats) -> npt.NDArray[np.intp]:
    """Groups of about equal size along the values."""
    count = int(min(_MOST_BINS, max(2, len(values) // (2 * _LEAST_PER_GROUP))))
    ranks = np.argsort(np.argsort(values, kind="stable"), kind="stable")
    return (ranks * count // len(values)).astype(np.intp)
