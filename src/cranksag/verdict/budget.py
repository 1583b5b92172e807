# SPDX-License-Identifier: GPL-3.0-or-later
"""Where the volts went at the worst instant: every series element of the normal feed's loop."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from cranksag.circuit.boat import Segment
from cranksag.resolve.model import Boat
from cranksag.verdict.results import BudgetLine, Traces

BLOCKING_CURRENT = 5e-3  # [A] below this a diode in the loop counts as blocking


def voltage_budget(boat: Boat, traces: Traces, loop: Sequence[Segment], moment: float) -> tuple[BudgetLine, ...]:
    """Drops [V] round the loop at `moment` [s]; they sum to the start bank's open-circuit voltage less the display's.

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


def ground_shift(traces: Traces, moment: float) -> Mapping[str, float]:
    """Engine block and display return against battery negative [V]: what falsifies single-wire senders."""
    return {
        "engine_block": at(traces, "block", moment),
        "display_return": at(traces, "display_return", moment),
    }


def at(traces: Traces, name: str, moment: float) -> float:
    """Value of a signal at a moment [s from key-on]."""
    return float(np.interp(moment, traces.time, traces.signals[name]))
