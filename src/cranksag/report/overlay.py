# SPDX-License-Identifier: GPL-3.0-or-later
"""Waveforms of several variants of a boat on one set of axes."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
from matplotlib.figure import Figure
from matplotlib.text import Annotation

from cranksag.report.figure import (
    DOTS,
    LEADER,
    SIZE,
    _own_settings,
    _paragraph,
    cautions,
    crank_window,
    curve_points,
)
from cranksag.report.placing import spread
from cranksag.report.words import volts
from cranksag.verdict.results import Result

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["overlay_figure"]

EVEN = 2000  # [-] moments at which a curve is looked at for the height of its panel
LOOKS: tuple[dict[str, Any], ...] = (
    {"color": "0.55", "linewidth": 2.2, "linestyle": "-"},
    {"color": "#000000", "linewidth": 1.6, "linestyle": "-"},
    {"color": "#1f5fa8", "linewidth": 1.5, "linestyle": "--"},
    {"color": "#b5541c", "linewidth": 1.5, "linestyle": (0, (1.2, 1.4))},
    {"color": "#2a7f3f", "linewidth": 1.5, "linestyle": (0, (6, 2, 1.5, 2))},
    {"color": "#7b4a9e", "linewidth": 1.5, "linestyle": (0, (8, 2))},
    {"color": "#8a6d00", "linewidth": 1.5, "linestyle": (0, (3, 1, 1, 1, 1, 1))},
    {"color": "#c23b6b", "linewidth": 1.5, "linestyle": (0, (4, 4))},
)
"""The boat as it is in grey and full; the others apart by dash as well as by colour. They repeat after the eighth."""

Dip = tuple[float, float, Any]
"""Moment [s], voltage [V] and colour of a variant's lowest voltage."""

Label = tuple[float, str, str, Any]
"""Voltage [V] at the right edge, name, mark and colour of a curve."""

DIP_GAP, DIP_WIDTH = 0.05, 0.075  # [-] height and width that a dip's figure takes of the panel
TOGETHER = 0.08  # [-] of the panel's width within which dips share a column
NAME_SIZE, NAME_LINE = 8.5, 11.0  # [pt] letters and lines of a name beside its curve
NAME_WIDTH = (40, 8)  # [characters] of a line of it, the most and the least tried


def overlay_figure(results: Sequence[tuple[str, Result]], ax: Sequence[Axes] | None = None) -> Figure:
    """Display voltage and battery voltage of each variant over time.

    Parameters
    ----------
    results : names and results, the boat as it is first
    ax : two axes (display, battery) to draw on; a new figure by default

    Returns
    -------
    Figure : not shown, belongs to no window system.

    Raises
    ------
    ValueError : no results.
    """
    if not results:
        raise ValueError("there is nothing to draw")
    windows = [crank_window(result) for _, result in results]
    window = min(w[0] for w in windows), max(w[1] for w in windows)
    with _own_settings():
        if ax is not None:
            upper, lower = ax
            figure = upper.get_figure(root=True)
            assert isinstance(figure, Figure)
        else:
            figure = Figure(figsize=SIZE, dpi=DOTS)
            upper, lower = figure.subplots(2, 1, sharex=True, gridspec_kw={"height_ratios": (1.7, 1.0)})
            title = _plain(results[0][1].title)
            style = {"fontsize": 12.0, "fontweight": "bold", "va": "top"}
            top = 0.955 - _paragraph(figure, 0.98, title, 2, style)
            figure.subplots_adjust(left=0.068, right=0.755, top=top, bottom=0.128, hspace=0.08)
            cautions(figure)
        _panel(upper, results, "display", window, "display voltage (V)")
        thresholds = sorted({result.display.brownout for _, result in results})
        for level in thresholds:
            upper.axhline(level, color="black", linewidth=0.9, linestyle=(0, (8, 3)), zorder=2)
            told = f"brown-out {level:.4g} V"
            upper.annotate(
                told, xy=(0.995, level), xycoords=("axes fraction", "data"), xytext=(0, 2),
                textcoords="offset points", fontsize=8.0, ha="right", va="bottom",
                bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.8},
            )  # fmt: skip
        _panel(lower, results, "battery", window, "start battery (V)")
        lower.set_xlabel("time from key-on (s)")
    return figure


def _panel(
    ax: Axes, results: Sequence[tuple[str, Result]], signal: str, window: tuple[float, float], name: str
) -> None:
    """One signal of every variant, each named at the right edge."""
    lows, highs = [], []
    labels: list[Label] = []
    dips: list[Dip] = []
    for number, (title, result) in enumerate(results):
        time, values = result.traces.time, result.traces.signals[signal]
        look = LOOKS[number % len(LOOKS)]
        ax.plot(time, values, zorder=3 + (number > 0), **look)
        inside = values[(time >= window[0]) & (time <= window[1])]
        lows.append(float(inside.min()))
        # of the time, not of the samples: a coil's spike has many and must not squeeze the rest
        highs.append(float(np.percentile(np.interp(np.linspace(*window, EVEN), time, values), 99.5)))
        mark = ""
        if signal == "display":
            mark = ": holds" if result.display.holds else ": restarts"
            dips.append(_dip(result, look["color"]))
        labels.append((float(np.interp(window[1], time, values)), _plain(title), mark, look["color"]))
    if signal == "display":
        lows += [result.display.brownout for _, result in results]
        highs += [result.display.brownout for _, result in results]
    span = max(max(highs) - min(lows), 0.5)
    low, high = min(lows) - 0.06 * span, max(highs) + 0.06 * span
    ax.set_xlim(window)
    ax.set_ylim(low, high)
    ax.set_ylabel(name)
    _name_dips(ax, dips)
    _name_curves(ax, labels)


def _dip(result: Result, color: Any) -> Dip:
    return result.display.minimum_at, result.display.minimum_voltage, color


def _name_dips(ax: Axes, dips: Sequence[Dip]) -> None:
    """The lowest voltage of every variant as a figure in its colour, in columns beside the dips that lie together.

    A column stands where it covers the fewest curves; a line leads from each figure to its dip.
    """
    (begin, end), (low, high) = ax.get_xlim(), ax.get_ylim()
    curves = curve_points(ax)
    groups: list[list[Dip]] = []
    for dip in sorted((d for d in dips if begin <= d[0] <= end), key=lambda d: d[0]):
        if groups and dip[0] - groups[-1][0][0] < TOGETHER * (end - begin):
            groups[-1].append(dip)
        else:
            groups.append([dip])
    for group in groups:
        levels = spread([(value - low) / (high - low) for _, value, _ in group], DIP_GAP)
        place = _free_column(curves, levels, (group[0][0] - begin) / (end - begin))
        for (moment, value, color), level in zip(group, levels, strict=True):
            ax.plot(
                [moment], [value], marker="o", markersize=4.5, markerfacecolor="white", markeredgecolor=color, zorder=9
            )
            ax.annotate(
                volts(value), xy=(moment, value), xytext=(place, level), textcoords="axes fraction",
                ha="center", va="center", fontsize=8.5, fontweight="bold", color=color, zorder=8,
                arrowprops={**LEADER, "color": color, "linewidth": 0.7, "shrinkB": 3.0},
                bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 0.8},
            )  # fmt: skip


def _free_column(curves: npt.NDArray[np.float64], levels: Sequence[float], near: float) -> float:
    """Middle of a column of figures at these levels, near a place, where it covers few curves [share of the panel]."""
    best, place = np.inf, near
    for x in np.arange(DIP_WIDTH, 1.0 - DIP_WIDTH, 0.01):
        beside = np.abs(curves[:, 0] - x) < DIP_WIDTH / 2
        covered = sum(np.count_nonzero(beside & (np.abs(curves[:, 1] - y) < DIP_GAP / 2)) for y in levels)
        cost = covered + 20.0 * abs(x - near) + (1e4 if abs(x - near) < DIP_WIDTH / 2 + 0.015 else 0.0)
        if cost < best:
            best, place = cost, float(x)
    return place


def _name_curves(ax: Axes, labels: Sequence[Label]) -> None:
    """Names at the right edge, level with the end of their curves, in as many lines as there is room for."""
    low, high = ax.get_ylim()
    line = NAME_LINE / 72.0 * ax.figure.dpi / ax.bbox.height
    room = max(int((2.0 / line / len(labels) - 1.0) / 2.0), 1)
    notes, wanted, owners = [], [], []
    for number, (value, name, mark, color) in enumerate(labels):
        share = min(max((value - low) / (high - low), 0.0), 1.0)
        note = ax.annotate(
            "", xy=(1.0, share), xytext=(1.022, share), xycoords="axes fraction", textcoords="axes fraction",
            ha="left", va="center", fontsize=NAME_SIZE, color=color, annotation_clip=False,
            arrowprops={**LEADER, "color": color, "linewidth": 0.7, "shrinkB": 0.0, "relpos": (0.0, 0.5)},
        )  # fmt: skip
        _write(note, name, mark, room)
        notes.append(note)
        slots = 2 * len(note.get_text().splitlines()) + 1  # half lines, one of them between it and the next
        wanted += [share] * slots
        owners += [number] * slots
    placed = np.array(spread(wanted, line / 2.0))
    for number, note in enumerate(notes):
        note.xyann = (1.022, float(placed[np.array(owners) == number].mean()))


def _write(note: Annotation, name: str, mark: str, room: int) -> None:
    """Name and mark in the widest lines that stay inside the figure; a name too long for the room is cut, not its
    mark."""
    figure = note.get_figure(root=True)
    assert figure is not None
    for width in range(*NAME_WIDTH, -1):
        kept = name
        while len(lines := textwrap.wrap(f"{kept}{mark}", width)) > room and len(kept) > 4:
            kept = kept.removesuffix("...")[:-1].rstrip() + "..."
        note.set_text("\n".join(lines))
        if note.get_window_extent().x1 <= figure.bbox.x1 - 2.0:
            return


def _plain(text: str) -> str:
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())
