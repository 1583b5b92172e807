# SPDX-License-Identifier: GPL-3.0-or-later
"""Margin of a sweep over two of its axes, as a map.

The colours are those of cividis, which rise evenly in lightness: the same order in grey print and for colour-blind
eyes. What matters does not hang on colour at all: the zero-margin contour is a line, survivors are dots, failed runs
crosses.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
from matplotlib import colormaps
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.layout_engine import ConstrainedLayoutEngine
from matplotlib.text import Text

from cranksag.errors import InputError
from cranksag.report.figure import DOTS, SIZE, _own_settings, _paragraph, cautions
from cranksag.studies.analysis import not_started, survivors
from cranksag.studies.table import STATUSES, Table

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["margin_map"]

COLOURS = "cividis"
MOST_PANELS = 9  # [-] small multiples
MOST_WRITTEN = 80  # [-] cells with their number written in
MOST_TICKS = 14  # [-] written values along an axis
JUST_SHORT = 1e-3  # [V] below nil, for a display that restarts though its lowest voltage held lies at the threshold
HEAD = 0.985  # [-] of a figure's height, at which the boat's title begins
GAP = 0.008  # [-] of it, between what stands above each other
FOOT = 0.075  # [-] of a figure's height, for the cautions
FILLED = 0.6  # [-] of the cells of a grid; below it the rows are drawn as points
LABEL = 22  # [characters] of a written value

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class _Steps:
    """An axis as steps: `places` of each row, the `texts` of the steps."""

    name: str
    places: Places
    texts: tuple[str, ...]


# --- margin over two axes ------------------------------------------------------------------------------------


def margin_map(
    table: Table, x: str, y: str, facet: str | None = None, margin: float = 0.0, ax: Axes | None = None
) -> Figure:
    """Margin over two axes, with the zero-margin contour and the survivors; small multiples over a third.

    Where rows differ in further axes the lowest margin of each place is drawn, and a place counts as surviving only if
    all its rows do.

    Parameters
    ----------
    table : rows of a sweep
    x, y : paths of the axes
    facet : path of the axis of the small multiples
    margin : that survivors have at least [V]
    ax : to draw on, without facets; a new figure by default

    Raises
    ------
    ValueError
        Facets on a given axes.
    InputError
        No row has a margin.
    """
    if ax is not None and facet is not None:
        raise ValueError("small multiples need a figure of their own")
    values = table.numbers["margin_v"]
    if not np.isfinite(values).any():
        raise InputError(["--plot: no row has a margin to draw"])
    limits = _even_limits(values)
    panels = list(_panels(table, facet))
    with _own_settings():
        figure, axes = grid_of_axes(table, len(panels), ax)
        drawn: Any = None
        for panel, (title, rows) in zip(axes, panels, strict=True):
            steps = stepped(table, x, rows), stepped(table, y, rows)
            drawn = _draw_map(panel, table, rows, steps, limits, margin)
            if title:
                panel.set_title(title, fontsize=9.0)
        if ax is None:
            _frame(figure, axes, drawn, table, (x, y, facet), margin)
    return figure


def _panels(table: Table, facet: str | None) -> Iterator[tuple[str, Places]]:
    done = table.done()
    if facet is None:
        yield "", done
        return
    steps = stepped(table, facet, done)
    picked = np.unique(np.linspace(0, len(steps.texts) - 1, min(len(steps.texts), MOST_PANELS)).round().astype(int))
    for place in picked:
        yield f"{facet} = {short(steps.texts[place])}", done[steps.places == place]


def _even_limits(values: Floats) -> tuple[float, float]:
    """Limits of the colour scale [V]: the middle of the rows, so that one crash does not hide the rest."""
    known = values[np.isfinite(values)]
    low, high = np.percentile(known, [2.0, 98.0])
    low, high = min(float(low), 0.0), max(float(high), 0.0)
    return (low, high) if high - low > 1e-3 else (low - 0.5, high + 0.5)


def stepped(table: Table, path: str, rows: Places) -> _Steps:
    """An axis as steps in order: by value where there is one, else as it was written."""
    axis = next(axis for axis in table.axes if axis.path == path)
    codes = table.written[path].codes[rows]
    every = np.unique(table.written[path].codes[table.done()])
    if axis.ordered:
        column, all_codes = table.numbers[axis.number_name], table.written[path].codes
        value = {int(code): float(column[int(np.flatnonzero(all_codes == code)[0])]) for code in every}
        every = np.array(sorted(every, key=lambda code: (np.isnan(value[int(code)]), value[int(code)])))
    place = {int(code): k for k, code in enumerate(every)}
    texts = tuple(table.written[path].texts[int(code)] for code in every)
    return _Steps(path, np.array([place[int(code)] for code in codes], dtype=np.intp), texts)


def _draw_map(
    ax: Axes,
    table: Table,
    rows: Places,
    steps: tuple[_Steps, _Steps],
    limits: tuple[float, float],
    margin: float,
) -> Any:
    across, up = steps
    shape = len(up.texts), len(across.texts)
    cells = up.places * shape[1] + across.places
    filled = len(np.unique(cells)) / (shape[0] * shape[1])
    if filled < FILLED:
        return _draw_points(ax, table, rows, (across.name, up.name), limits, margin)
    lowest = np.full(shape[0] * shape[1], np.nan)
    np.fmin.at(lowest, cells, _drawn_margins(table, rows))
    field = lowest.reshape(shape)
    image = ax.imshow(field, origin="lower", aspect="auto", cmap=COLOURS, vmin=limits[0], vmax=limits[1])
    ax.grid(visible=False)
    if min(shape) > 1 and np.nanmin(field) < 0.0 <= np.nanmax(field):
        _contour(ax, np.arange(shape[1]), np.arange(shape[0]), field)
    _mark_cells(ax, table, rows, cells, shape, margin)
    if field.size <= MOST_WRITTEN:
        _write_cells(ax, field, limits)
    ticks(ax, across.texts, up.texts)
    return image


def _drawn_margins(table: Table, rows: Places) -> Floats:
    """Margins [V], below nil for every row that restarts: a display that lets go at its threshold holds just there."""
    values = table.numbers["margin_v"][rows]
    restarted = table.status[rows] == STATUSES.index("restarted")
    values = np.where(np.isin(rows, not_started(table)), np.nan, values)  # it holds because nothing cranks
    return np.where(restarted, np.minimum(values, -JUST_SHORT), values)


def _contour(ax: Axes, x: Any, y: Any, field: Floats) -> None:
    """Zero margin as a line that stands out on every ground: black within white."""
    for colour, width in (("white", 4.2), ("black", 2.0)):
        ax.contour(x, y, np.ma.masked_invalid(field), levels=[0.0], colors=colour, linewidths=width)


def _mark_cells(ax: Axes, table: Table, rows: Places, cells: Places, shape: tuple[int, int], margin: float) -> None:
    """A dot where every row survives, a cross where a run failed, a triangle where the engine does not start."""
    alive = np.isin(rows, survivors(table, margin))
    total, good = (np.bincount(cells, weights, shape[0] * shape[1]) for weights in (None, alive * 1.0))
    failed = np.bincount(cells, (table.status[rows] == STATUSES.index("failed")) * 1.0, shape[0] * shape[1])
    size = float(np.clip(900.0 / max(shape), 12.0, 60.0))
    dot = {"marker": "o", "facecolors": "white", "edgecolors": "black", "linewidths": 0.9}
    cross = {"marker": "x", "color": "black", "linewidths": 1.2}
    stuck = np.bincount(cells, np.isin(rows, not_started(table)) * 1.0, shape[0] * shape[1])
    triangle = {"marker": "v", "facecolors": "none", "edgecolors": "black", "linewidths": 1.2}
    looks: tuple[tuple[Any, dict[str, Any]], ...] = (
        ((total > 0) & (good == total), dot), (failed > 0, cross), (stuck > 0, triangle),
    )  # fmt: skip
    for places, look in looks:
        found = np.flatnonzero(places)
        beside = (
            (0.0, 0.0) if total.size > MOST_WRITTEN else (0.0, 0.28) if shape[0] < 9 else (0.36, 0.0)
        )  # of the label
        ax.scatter(found % shape[1] + beside[0], found // shape[1] + beside[1], s=size, zorder=8, **look)


def _write_cells(ax: Axes, field: Floats, limits: tuple[float, float]) -> None:
    """The margin in each cell, on a ground of the cell's own colour that keeps the contour off."""
    ground, norm = colormaps[COLOURS], Normalize(*limits, clip=True)
    for (row, column), value in np.ndenumerate(field):
        if np.isfinite(value):
            light = (value - limits[0]) / (limits[1] - limits[0]) > 0.55
            told = "restarts" if value == -JUST_SHORT else f"{value:+.2f}"
            ax.text(
                column, row, told, ha="center", va="center", fontsize=7.5,
                color="black" if light else "white", zorder=7,
                bbox={"facecolor": ground(norm(value)), "edgecolor": "none", "boxstyle": "round,pad=0.2"},
            )  # fmt: skip


def _draw_points(
    ax: Axes, table: Table, rows: Places, names: tuple[str, str], limits: tuple[float, float], margin: float
) -> Any:
    """Rows of a sample as points at their values."""
    known = rows[np.isfinite(table.numbers["margin_v"][rows])]
    across, up = (_numbers(table, name)[known] for name in names)
    value = table.numbers["margin_v"][known]
    alive = np.isin(known, survivors(table, margin))
    image = None
    for chosen, marker in ((alive, "o"), (~alive, "s")):
        image = ax.scatter(
            across[chosen], up[chosen], c=value[chosen], cmap=COLOURS, vmin=limits[0], vmax=limits[1], marker=marker,
            s=34.0 if marker == "o" else 22.0, edgecolors="black", linewidths=0.9 if marker == "o" else 0.2, zorder=4,
        )  # fmt: skip
    if value.size > 3 and value.min() < 0.0 <= value.max() and np.ptp(across) > 0.0 and np.ptp(up) > 0.0:
        for colour, width in (("white", 4.2), ("black", 2.0)):
            ax.tricontour(across, up, value, levels=[0.0], colors=colour, linewidths=width)
    ax.set_xlabel(_labelled(table, names[0]))
    ax.set_ylabel(_labelled(table, names[1]))
    return image


def _numbers(table: Table, path: str) -> Floats:
    axis = next(axis for axis in table.axes if axis.path == path)
    return table.numbers[axis.number_name]


def _labelled(table: Table, path: str) -> str:
    axis = next(axis for axis in table.axes if axis.path == path)
    return path if axis.unit == "-" else f"{path} [{axis.unit}]"


def ticks(ax: Axes, across: Sequence[str], up: Sequence[str]) -> None:
    for texts, put in ((across, ax.set_xticks), (up, ax.set_yticks)):
        if not texts:
            continue  # an axis of numbers keeps its own
        picked = np.unique(np.linspace(0, len(texts) - 1, min(len(texts), MOST_TICKS)).round().astype(int))
        put(picked, [short(texts[k]) for k in picked], fontsize=8.0)
    if sum(len(short(text)) for text in across) > 70 or max(len(text) for text in across) > 9:
        ax.tick_params("x", rotation=40)
        for label in ax.get_xticklabels():
            label.set_horizontalalignment("right")


def short(text: str) -> str:
    """A value as a label: a long one is cut, a number of many digits rounded to four, its unit set off by a space."""
    plain = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    quantity = re.fullmatch(r"([+-]?\d+(?:\.\d+)?) ?([^\W\d_]+2?|%|)", plain)
    if quantity:
        number, unit = quantity.groups()
        number = f"{float(number):.4g}" if len(number.partition(".")[2]) > 2 else number
        plain = f"{number} {unit}".rstrip()
    return plain if len(plain) <= LABEL else plain[: LABEL - 3] + "..."


def grid_of_axes(table: Table, count: int, ax: Axes | None) -> tuple[Figure, list[Axes]]:
    """A figure with the boat's title, the cautions and `count` panels, or the given axes with theirs."""
    if ax is not None:
        figure = ax.get_figure(root=True)
        assert isinstance(figure, Figure)
        return figure, [ax]
    columns = 1 if count == 1 else 2 if count <= 4 else 3
    lines = -(-count // columns)
    figure = Figure(figsize=SIZE, dpi=DOTS)
    top = 1.0
    title = " ".join("".join(c if c.isprintable() else " " for c in str(table.meta.get("title", ""))).split())
    if title:
        style = {"fontsize": 12.0, "fontweight": "bold", "va": "top"}
        top = HEAD - _paragraph(figure, HEAD, title, 3, style) - 0.01
    figure.set_layout_engine(ConstrainedLayoutEngine(rect=(0.0, FOOT, 1.0, top - FOOT)))
    cautions(figure)
    made = figure.subplots(lines, columns, squeeze=False, sharex=True, sharey=True)
    axes = [panel for line in made for panel in line]
    for panel in axes[count:]:
        panel.set_axis_off()
    return figure, axes[:count]


def _frame(
    figure: Figure, axes: Sequence[Axes], drawn: Any, table: Table, names: tuple[str, str, str | None], margin: float
) -> None:
    """Axis names, colour bar and what the marks mean."""
    x, y, _ = names
    if len(axes) > 1:
        for panel in axes:
            panel.set_xlabel("")
            panel.set_ylabel("")
    else:
        axes[0].set_xlabel(axes[0].get_xlabel() or x)
        axes[0].set_ylabel(axes[0].get_ylabel() or y)
    bar = figure.colorbar(drawn, ax=list(axes), label="margin over the brown-out threshold (V)", fraction=0.05)
    bar.ax.axhline(0.0, color="black", linewidth=2.0)
    others = [axis.path for axis in table.axes if axis.path not in names]
    told = (
        "dots: survivors"
        + (f" with at least {margin:g} V" if margin else "")
        + "; line: zero margin; crosses: failed runs"
        + ("; triangles: the engine does not start" if not_started(table).size else "")
    )
    if others:
        told += f"; each place shows the worst over {', '.join(others)}"
    # Where no y is given the engine puts these at the edges of the figure, over the boat's title and the cautions.
    engine = figure.get_layout_engine()
    assert isinstance(engine, ConstrainedLayoutEngine)
    left, foot, width, height = engine.get()["rect"]
    over = figure.suptitle(told, y=foot + height - GAP, va="top", fontsize=9.0)
    taken = [_height(over), 0.0]
    if len(axes) > 1:
        figure.supylabel(y, fontsize=10.0)
        taken[1] = _height(figure.supxlabel(x, y=foot, va="bottom", fontsize=10.0))
    engine.set(rect=(left, foot + taken[1], width, height - sum(taken)))


def _height(text: Text) -> float:
    """Of a text and the gap beside it [share of the figure]."""
    figure = text.get_figure(root=True)
    assert figure is not None
    return float(text.get_window_extent().height / figure.bbox.height) + GAP
