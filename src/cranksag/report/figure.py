# SPDX-License-Identifier: GPL-3.0-or-later
"""The figure of a crank: supply voltages with the dip, starter current and engine speed.

Drawn without pyplot and with settings of its own, so that neither a user's matplotlib settings nor another figure
changes it; readable in grey print by line styles and direct labels.
"""

from __future__ import annotations

import textwrap
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import numpy as np
import numpy.typing as npt
from matplotlib.figure import Figure
from matplotlib.patches import Patch, Rectangle

from cranksag.report.placing import CURVES_END, Pair, free_place, spread
from cranksag.report.words import CAUTIONS_LINE, FIGURE_TYPES, brief_verdict, volts
from cranksag.verdict.results import Result
from cranksag.verdict.series import without_spikes
from cranksag.verdict.starting import SOLENOID

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["FIGURE_TYPES", "crank_figure", "save_figure"]

SIZE = (10.0, 7.5)  # [inch] fits a landscape page of A4 or Letter
DOTS = 150  # [1/inch] of a PNG; also while drawing, since the width of letters depends on it
RPM = 60.0 / (2.0 * np.pi)  # [rev/min per rad/s]
NAME_LENGTH = 14  # [characters] of a display's name that fit beside its curve
TALLEST = 1.4  # [-] of the voltages at rest: a spike above it is cut and its height written
NEAR_ZERO = 0.015  # [-] of the panel's top: a curve nearer to 0 V than this would merge with the axis
BRIEFEST = 2e-5  # [s] a shorter spike of the stud is the deck's own capacitance at work (circuits/boat.inc)
SETTLES = 2e-3  # [s] in which the key's contact makes or breaks
NO_CURRENT = 0.5  # [A] nothing to be marked
HALF = 0.5  # [-] between the two states of a latch
MARGIN = 0.02  # [-] of the figure's width left free beside its text
LABEL_GAP = 0.062  # [-] least distance of two labels at the right edge, as a share of the panel's height
LEAD_SHARE, LEAD_LEAST = 0.2, 0.4  # [-], [s] of the crank shown before START

SETTINGS: dict[str, Any] = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],  # shipped with matplotlib: the same letters on every machine
    "font.size": 9.0,
    "axes.spines.top": False,
    "axes.grid": True,
    "grid.color": "0.88",
    "grid.linewidth": 0.6,
    "text.parse_math": False,  # a `$` in a title is a dollar
    "text.usetex": False,
    "svg.fonttype": "path",
    "svg.hashsalt": "cranksag",
    "pdf.fonttype": 42,
    "path.simplify": False,
}

STYLES: dict[str, dict[str, Any]] = {
    "display": {"color": "black", "linewidth": 1.9, "linestyle": "-", "zorder": 5},
    "battery": {"color": "#1f5fa8", "linewidth": 1.2, "linestyle": "--", "zorder": 4},
    "starter_stud": {"color": "#b5541c", "linewidth": 1.1, "linestyle": (0, (1.2, 1.4)), "zorder": 3},
    "s_terminal": {"color": "#7a3f8f", "linewidth": 1.5, "linestyle": (0, (5, 1.5)), "zorder": 4},
    "current": {"color": "black", "linewidth": 1.3, "linestyle": "-"},
    "speed": {"color": "#2a7f3f", "linewidth": 1.3, "linestyle": (0, (6, 2, 1.5, 2))},
    "before": {"color": "0.55", "linewidth": 1.6, "linestyle": "-", "zorder": 4},
}


LEADER: dict[str, Any] = {"arrowstyle": "-", "shrinkA": 0.0}
SPIKING = {"starter_stud": "starter stud", "battery": "battery", "display": "display"}
"""Signals that a coil's collapse can lift above the panel."""


@contextmanager
def _own_settings() -> Iterator[None]:
    with mpl.rc_context(), warnings.catch_warnings():
        # A title may hold letters that the font lacks; a box stands for them and nobody can act on the warning.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        mpl.rcdefaults()
        for name, value in SETTINGS.items():
            mpl.rcParams[name] = value  # type: ignore[index]
        yield


def crank_figure(
    result: Result,
    ax: Sequence[Axes] | None = None,
    *,
    before: Result | None = None,
    window: Pair | None = None,
) -> Figure:
    """Voltages, current and speed of a crank over time.

    Parameters
    ----------
    result : what to draw
    ax : two axes (voltages, current and speed) to draw on, without title and cautions; a new figure by default
    before : another result whose display voltage is drawn in grey for comparison, such as the boat without its cure
    window : begin and end of the time axis [s from key-on]; from shortly before START to the end by default

    Returns
    -------
    Figure : not shown, belongs to no window system.
    """
    begin, end = window if window is not None else crank_window(result)
    with _own_settings():
        if ax is not None:
            upper, lower = ax
            figure = upper.get_figure(root=True)
            assert isinstance(figure, Figure)
        else:
            figure = Figure(figsize=SIZE, dpi=DOTS)
            upper, lower = figure.subplots(2, 1, sharex=True, gridspec_kw={"height_ratios": (1.9, 1.0)})
            figure.subplots_adjust(left=0.068, right=0.855, top=_headings(figure, result), bottom=0.128, hspace=0.07)
        _voltages(upper, result, before, (begin, end))
        _current_and_speed(lower, result, (begin, end))
        lower.set_xlabel("time from key-on (s)")
        figure.draw_without_rendering()  # makes the numbers at the axes while our settings hold
    return figure


def save_figure(figure: Figure, path: Path | str) -> Path:
    """Write a figure; the same figure gives the same bytes.

    Parameters
    ----------
    figure : from `crank_figure`
    path : file ending in .png, .svg or .pdf

    Returns
    -------
    Path : the file written.

    Raises
    ------
    ValueError : another ending.
    OSError : the file cannot be written.
    """
    target = Path(path)
    ending = target.suffix.lower()
    if ending not in FIGURE_TYPES:
        raise ValueError(f"{target.name}: a figure ends in {', '.join(FIGURE_TYPES)}")
    metadata: dict[str, dict[str, str | None]] = {
        ".png": {"Software": "cranksag"},
        ".svg": {"Creator": "cranksag", "Date": None},
        ".pdf": {"Creator": "cranksag", "Producer": "matplotlib", "CreationDate": None},
    }
    with _own_settings():
        figure.savefig(target, format=ending[1:], dpi=DOTS, metadata=metadata[ending])
    return target


def crank_window(result: Result) -> Pair:
    """Begin and end [s from key-on] of what a figure shows: the crank, with a little before it."""
    crank, time = result.boat.crank, result.traces.time
    end = float(time[-1])
    lead = max(LEAD_LEAST, LEAD_SHARE * (end - crank.key_on_before))
    return max(crank.key_on_before - lead, float(time[0])), end


def _headings(figure: Figure, result: Result) -> float:
    """Title, verdict and cautions; gives the height at which the panels may begin [share of the figure]."""
    title = " ".join("".join(c if c.isprintable() else " " for c in result.title).split())
    top = 0.98
    for text, size, weight in ((title, 13.0, "bold"), (brief_verdict(result), 9.5, "normal")):
        written = _paragraph(figure, top, text, 2, {"fontsize": size, "fontweight": weight, "va": "top"})
        top -= written + 0.008
    cautions(figure)
    return top - 0.012


def cautions(figure: Figure) -> None:
    """The cautions at the foot of a figure."""
    _paragraph(figure, 0.012, CAUTIONS_LINE, 3, {"fontsize": 7.2, "color": "0.25", "va": "bottom"})


def _paragraph(figure: Figure, y: float, text: str, lines: int, style: dict[str, Any]) -> float:
    """Text across the figure, broken where its letters reach the margin; gives its height [share of the figure]."""
    written = figure.text(MARGIN, y, "", linespacing=1.2, **style)
    width = len(text) + 1
    while True:
        written.set_text("\n".join(textwrap.wrap(text, width, max_lines=lines, placeholder=" ...")))
        box = written.get_window_extent().transformed(figure.transFigure.inverted())
        if box.x1 <= 1.0 - MARGIN or width <= 10:
            return float(box.height)
        width = min(width - 2, int(width * (1.0 - 2.0 * MARGIN) / box.width) + 2)


def _voltages(ax: Axes, result: Result, before: Result | None, window: Pair) -> None:
    traces, display = result.traces, result.display
    labels: list[tuple[float, str, Any]] = []
    names = {"display": _display_label(result), "battery": "battery", "starter_stud": "starter stud"}
    low, high = display.minimum_voltage, display.brownout
    for signal, name in names.items():
        series = traces.signals[signal]
        if signal == "starter_stud":
            series = without_spikes(traces.time, series, BRIEFEST)
        ax.plot(traces.time, series, **STYLES[signal])
        labels.append((_at(traces.time, series, window[1]), name, STYLES[signal]["color"]))
        shown = series[(traces.time >= window[0]) & (traces.time <= window[1])]
        low, high = min(low, float(shown.min())), max(high, float(shown.max()))
    short = not result.cranks.engages and result.start_budget.falls_short
    if short and result.start_budget.across == SOLENOID:
        shown = _solenoid(ax, result, window, labels)
        low, high = min(low, float(shown.min())), max(high, float(shown.max()), result.start_budget.needed)
    if before is not None:
        series = before.traces.signals["display"]
        ax.plot(before.traces.time, series, **STYLES["before"])
        labels.append((_at(before.traces.time, series, window[1]), "display before", STYLES["before"]["color"]))
        high = max(high, float(series.max()))
    ax.axhline(display.brownout, color="black", linewidth=0.9, linestyle=(0, (8, 3)), zorder=2)
    labels.append((display.brownout, f"brown-out {display.brownout:.4g} V", "black"))
    ax.set_xlim(window)
    top = min(high, max(TALLEST * result.battery.open_circuit_voltage, display.brownout))
    # down to 0 V, and below it only as far as a curve goes: one on the axis itself would be half hidden
    low = 0.0 if low > NEAR_ZERO * top else min(low, 0.0) - 2.0 * NEAR_ZERO * (top - min(low, 0.0))
    ax.set_ylim(low, top + 0.17 * (top - low))
    strip = Rectangle((0.0, 0.0), 1.0, CURVES_END, transform=ax.transAxes)
    for line in ax.get_lines():
        line.set_clip_path(strip)
    ax.set_ylabel("voltage (V)")
    _shade(ax, result, window)
    _key_marks(ax, result, window)
    _mark_spike(ax, result, window)
    _mark_dip(ax, result, window)
    _right_labels(ax, labels)


def _solenoid(ax: Axes, result: Result, window: Pair, labels: list[tuple[float, str, Any]]) -> npt.NDArray[np.float64]:
    """What the S terminal gets and what its coils need; gives the former while the key is held."""
    traces, style, budget = result.traces, STYLES["s_terminal"], result.start_budget
    series = traces.signals["s_terminal"] - traces.signals["block"]
    ax.plot(traces.time, series, **style)
    ax.axhline(budget.needed, color=style["color"], linewidth=0.9, linestyle=(0, (2, 2)), zorder=2)
    moment = min(max(budget.at, result.boat.crank.key_on_before + 0.5 * result.boat.crank.key_held), window[1])
    ax.annotate(  # at the right edge its curve is back at 0 V, where the legend stands
        f"S terminal {volts(budget.left, 1)}", xy=(moment, _at(traces.time, series, moment)), xytext=(0, 5),
        textcoords="offset points", ha="center", va="bottom", fontsize=8.5, color=style["color"],
    )  # fmt: skip
    labels.append((budget.needed, f"S needs {budget.needed:.3g} V", style["color"]))
    # while the key is held: what its coils kick up at the release would squeeze the rest
    crank, time = result.boat.crank, traces.time - result.boat.crank.key_on_before
    attempts = np.arange(crank.attempts) * (crank.key_held + crank.rest)
    held = [(time > start + SETTLES) & (time < start + crank.key_held - SETTLES) for start in attempts]
    return np.concatenate(([0.0], series[np.any(held, axis=0)]))


def _display_label(result: Result) -> str:
    if len(result.displays) < 2:
        return "display"
    name = " ".join("".join(c if c.isprintable() else " " for c in result.display.name).split())
    return name if len(name) <= NAME_LENGTH else name[: NAME_LENGTH - 3] + "..."


def _at(time: npt.NDArray[np.float64], series: npt.NDArray[np.float64], moment: float) -> float:
    return float(np.interp(moment, time, series))


def _spans(time: npt.NDArray[np.float64], state: npt.NDArray[np.bool_], window: Pair) -> list[Pair]:
    """Intervals [s] in which a state holds, cut to the window."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], state, [False])).astype(int)))
    last = len(time) - 1
    spans = [(float(time[a]), float(time[min(b, last)])) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    cut = [(max(a, window[0]), min(b, window[1])) for a, b in spans]
    return [(a, b) for a, b in cut if b > a]


def _shade(ax: Axes, result: Result, window: Pair) -> None:
    """Where the display is held in reset and where it boots, with a legend of the two where there are any."""
    number = result.displays.index(result.display)
    time, signals = result.traces.time, result.traces.signals
    runs = signals[f"display_{number}_runs"] > HALF
    booted = signals[f"display_{number}_booted"] > HALF
    looks: tuple[dict[str, Any], ...] = (
        {"facecolor": "0.72", "edgecolor": "0.5", "hatch": "////"},
        {"facecolor": "0.945", "edgecolor": "none"},
    )
    named = []
    for name, state, look in zip(("display in reset", "display boots"), (~runs, runs & ~booted), looks, strict=True):
        spans = _spans(time, state, window)
        for begin, end in spans:
            ax.axvspan(begin, end, ymax=CURVES_END, linewidth=0.0, zorder=0, **look)
        if spans:
            named.append(Patch(label=name, linewidth=0.6, **{**look, "edgecolor": "0.5"}))
    if named:
        ax.legend(  # beside the panel: inside it would stand on the curve of a display that is cut off
            handles=named, loc="lower left", bbox_to_anchor=(1.008, -0.02), fontsize=8.0, frameon=False,
            handlelength=2.0, borderpad=0.0, labelspacing=0.5,
        )  # fmt: skip


def _key_marks(ax: Axes, result: Result, window: Pair) -> None:
    """Key to START and released, and the moment of firing, as ticks along the top."""
    crank, traces = result.boat.crank, result.traces
    period = crank.key_held + crank.rest
    starts = [crank.key_on_before + k * period for k in range(crank.attempts)]
    marks = [(t, "START") for t in starts] + [(t + crank.key_held, "released") for t in starts]
    fired = np.flatnonzero(traces.signals["fired"] > HALF)
    if fired.size:
        marks.append((float(traces.time[fired[0]]), "fires"))
    if window[0] <= 0.0 <= window[1]:
        marks.append((0.0, "key on"))
    taken: list[float] = []
    span = window[1] - window[0]
    for moment, name in sorted(marks):
        if not window[0] <= moment <= window[1]:
            continue
        ax.axvline(moment, ymin=0.0, ymax=CURVES_END, color="0.45", linewidth=0.7, linestyle=":", zorder=1)
        close = any(abs(moment - other) < 0.075 * span for other in taken)
        if not close:
            side = "right" if moment > window[0] + 0.95 * span else "center"
            ax.text(
                moment, CURVES_END + 0.01, name, transform=ax.get_xaxis_transform(), ha=side, va="bottom",
                fontsize=8.0, color="0.2",
            )  # fmt: skip
            taken.append(moment)


def _mark_dip(ax: Axes, result: Result, window: Pair) -> None:
    display = result.display
    moment, value = display.minimum_at, display.minimum_voltage
    if not window[0] <= moment <= window[1]:
        return
    low, high = ax.get_ylim()
    dip = ((moment - window[0]) / (window[1] - window[0]), (value - low) / (high - low))
    ax.annotate(
        f"lowest {volts(value)}\nat {moment:.3f} s",
        xy=(moment, value),
        xytext=free_place(curve_points(ax), dip),
        textcoords="axes fraction",
        ha="center",
        va="center",
        fontsize=9.0,
        fontweight="bold",
        arrowprops={**LEADER, "color": "black", "linewidth": 0.9, "shrinkB": 3.0},
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.9, "pad": 1.5},
        zorder=8,
    )
    ax.plot(
        [moment],
        [value],
        marker="o",
        markersize=6.0,
        markerfacecolor="white",
        markeredgecolor="black",
        zorder=9,
    )


def _mark_spike(ax: Axes, result: Result, window: Pair) -> None:
    """The height of the highest spike that the panel cuts off."""
    traces = result.traces
    inside = (traces.time >= window[0]) & (traces.time <= window[1])
    highest = {name: float(traces.signals[signal][inside].max()) for signal, name in SPIKING.items()}
    name, value = max(highest.items(), key=lambda item: item[1])
    low, high = ax.get_ylim()
    if value <= low + CURVES_END * (high - low):
        return
    signal = next(s for s, n in SPIKING.items() if n == name)
    moment = float(traces.time[inside][np.argmax(traces.signals[signal][inside])])
    right = moment < window[0] + 0.8 * (window[1] - window[0])
    ax.annotate(
        f"{name} to {value:.0f} V", xy=(moment, low + 0.89 * (high - low)), xytext=(5 if right else -5, 0),
        textcoords="offset points", ha="left" if right else "right", va="center", fontsize=8.0, color="0.2",
    )  # fmt: skip


def curve_points(ax: Axes) -> npt.NDArray[np.float64]:
    """Points (n, 2) densely along all curves drawn so far, as shares of the panel."""
    (begin, end), (low, high) = ax.get_xlim(), ax.get_ylim()
    points = []
    for line in ax.get_lines():
        x, y = (np.asarray(line.get_xdata(), dtype=float), np.asarray(line.get_ydata(), dtype=float))
        if x.size < 3 and x[0] == x[-1]:
            continue  # a mark of the key: a label may stand on it
        if x.size < 3:  # a level across the panel, whose x are shares already
            x = begin + x * (end - begin)
        steps = np.union1d(x[(x >= begin) & (x <= end)], np.linspace(begin, end, 600))
        points.append(np.column_stack(((steps - begin) / (end - begin), (np.interp(steps, x, y) - low) / (high - low))))
    return np.concatenate(points)


def _right_labels(ax: Axes, labels: Sequence[tuple[float, str, Any]]) -> None:
    """Names at the right edge, level with the end of their curves and moved apart where they would overlap."""
    low, high = ax.get_ylim()
    wanted = [(value - low) / (high - low) for value, _, _ in labels]
    for (_, name, color), level, share in zip(labels, spread(wanted, LABEL_GAP), wanted, strict=True):
        label = ax.annotate(
            name, xy=(1.0, share), xytext=(1.022, level), xycoords="axes fraction", textcoords="axes fraction",
            ha="left", va="center", fontsize=8.5, color=color, annotation_clip=False,
            arrowprops={**LEADER, "color": color, "linewidth": 0.7, "shrinkB": 0.0, "relpos": (0.0, 0.5)},
        )  # fmt: skip
        while len(name) > 4 and label.get_window_extent().x1 > ax.figure.bbox.x1:
            name = name[:-4] + "..."
            label.set_text(name)


def _current_and_speed(ax: Axes, result: Result, window: Pair) -> None:
    traces = result.traces
    current, speed = traces.signals["starter_current"], _speed(result)
    ax.plot(traces.time, current, **STYLES["current"])
    ax.set_ylabel("starter current (A)")
    ax.set_xlim(window)
    top = max(float(current.max()), 10.0)
    ax.set_ylim(min(0.0, float(current.min())) - 0.02 * top, 1.22 * top)
    _mark_inrush(ax, result, window)
    twin = ax.twinx()
    twin.grid(visible=False)
    twin.plot(traces.time, speed, **STYLES["speed"])
    shown = speed[(traces.time >= window[0]) & (traces.time <= window[1])]
    twin.set_ylim(-0.02 * max(float(shown.max()), 100.0), 1.22 * max(float(shown.max()), 100.0))
    twin.set_ylabel("engine speed (rpm)", color=STYLES["speed"]["color"])
    twin.spines["right"].set_visible(True)
    _legend(ax, twin)


def _mark_inrush(ax: Axes, result: Result, window: Pair) -> None:
    """The height of the starter current's peak, beside it."""
    time, current = result.traces.time, result.traces.signals["starter_current"]
    shown = np.flatnonzero((time >= window[0]) & (time <= window[1]))
    peak = shown[np.argmax(current[shown])]
    if current[peak] < NO_CURRENT:
        return
    right = time[peak] < window[0] + 0.75 * (window[1] - window[0])
    ax.annotate(
        f"{current[peak]:.0f} A", xy=(float(time[peak]), float(current[peak])), xytext=(8 if right else -8, 5),
        textcoords="offset points", ha="left" if right else "right", va="center", fontsize=8.5,
    )  # fmt: skip


def _speed(result: Result) -> npt.NDArray[np.float64]:
    """Engine speed [rev/min]; once the key is released its mean, since the run's steps no longer resolve the ripple."""
    crank, traces = result.boat.crank, result.traces
    released = crank.key_on_before + crank.attempts * crank.key_held + (crank.attempts - 1) * crank.rest
    speed = np.where(traces.time > released, traces.signals["mean_speed"], traces.signals["engine_speed"])
    return np.asarray(speed * RPM, dtype=np.float64)


def _legend(ax: Axes, twin: Axes) -> None:
    handles = [ax.get_lines()[0], twin.get_lines()[0]]
    legend = twin.legend(
        handles, ["starter current", "engine speed"], loc="upper right", ncols=2, fontsize=8.0, frameon=True,
        framealpha=0.85, edgecolor="none", handlelength=3.2,
    )  # fmt: skip
    legend.set_zorder(10)
