# SPDX-License-Identifier: GPL-3.0-or-later
"""Where the volts went at one instant: every series element of the normal feed's loop; and the shift of the grounds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from cranksag.circuit.loops import Segment
from cranksag.resolve.model import Boat
from cranksag.verdict.results import BudgetLine, Traces
from cranksag.verdict.series import Series, between, mean

SENSED = 1e-3  # [s] a shift shorter than this moves no gauge or sender input; engineering estimate
BLOCKING_CURRENT = 5e-3  # [A] below this a diode in the loop counts as blocking


def voltage_budget(boat: Boat, traces: Traces, loop: Sequence[Segment], moment: float) -> tuple[BudgetLine, ...]:
    """Drops [V] round a loop at `moment` [s]; they sum to the start bank's open-circuit voltage less the load's.

    The loop runs from the source's EMF over the supply side to the display's pins, and from there over the return
    side to the source's negative post. Where the feed hangs on the house bank, the difference of the banks'
    open-circuit voltages is a line of its own.
    """

    def node(name: str) -> float:
        return 0.0 if name == "0" else at(traces, f"node {name}", moment)

    current = at(traces, "normal_feed_current" if "normal_feed_current" in traces.signals else "feed_current", moment)
    lines = []
    if loop[0].a == "xhouse.e0" and boat.house is not None:
        difference = boat.battery.open_circuit_voltage - boat.house.open_circuit_voltage
        lines.append(BudgetLine("house bank below start bank, at rest", "supply", "house", difference, False))
    for segment in loop:
        drop = node(segment.a) - node(segment.b)
        diode = segment.element in ("feed diode", "relay resting contact")
        lines.append(
            BudgetLine(segment.element, segment.side, segment.path, drop, diode and current < BLOCKING_CURRENT)
        )
    return tuple(lines)


def ground_shift(traces: Traces, begin: float, end: float) -> tuple[float, Mapping[str, float]]:
    """Engine block and display return against battery negative [V]: what falsifies single-wire senders.

    Means over `SENSED` between `begin` and `end` [s], about the moment [s] at which either of them is farthest from
    battery negative: the volts of a few microseconds in the ground cable's inductance, while a contact makes, move no
    gauge. That moment comes first.
    """
    block, helm = traces.signals["block"], traces.signals["display_return"]
    half = min(SENSED, end - begin) / 2.0  # what the release kicks up is no part of a mean while cranking
    moments = between(traces.time, block, begin + half, end - half)[0]
    means = [np.abs(_running_mean(traces.time, series, moments, 2.0 * half)) for series in (block, helm)]
    moment = float(moments[int(np.argmax(np.maximum(*means)))])
    window = moment - half, moment + half
    return moment, {
        "engine_block": mean(traces.time, block, *window),
        "display_return": mean(traces.time, helm, *window),
    }


def _running_mean(time: Series, values: Series, moments: Series, width: float) -> Series:
    """Mean over `width` [s] about each moment [s], the ends of the run taken as going on."""
    grown = np.concatenate(([time[0] - width], time, [time[-1] + width]))
    held = np.concatenate((values[:1], values, values[-1:]))
    total = np.concatenate(([0.0], np.cumsum(0.5 * np.diff(grown) * (held[1:] + held[:-1]))))
    low, high = (np.interp(moments + side * width / 2.0, grown, total) for side in (-1.0, 1.0))
    return np.asarray((high - low) / width)


def at(traces: Traces, name: str, moment: float) -> float:
    """Value of a signal at a moment [s from key-on]."""
    return float(np.interp(moment, traces.time, traces.signals[name]))
