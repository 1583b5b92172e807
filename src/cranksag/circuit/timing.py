# SPDX-License-Identifier: GPL-3.0-or-later
"""The key as sources of the deck, and the moments at which the solver must place a time step.

Deck time runs from 0; the boat stands still with the key off for `PREROLL` seconds, then the key is turned on.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from cranksag.circuit.network import Builder
from cranksag.resolve.model import Crank, Feed
from cranksag.scenario import TimeMark

PREROLL = 0.05  # [s] deck time of key-on
KEY_EDGE = 2e-4  # [s] a key contact's edge in the deck; the contact moves at its middle
STEP_CEILING = 0.1  # [s] longest step where nothing happens
CRANK_STEP = 1.5e-3  # [s] step while cranking: the crank angle at release stays right to a hundredth of a radian
AFTER_STEP = 20e-3  # [s] step once the engine has fired, until the key is let go
COIL_STEP = 0.13e-3  # [s] step while a coil's current changes
RUN_UP_WINDOW = 0.6  # [s] after START: the first compressions decide the crank angle of all that follows
RUN_UP_PACE = 1.3  # [-] steps in that window for one of `CRANK_STEP` later
COAST_WINDOW = 2.0  # [s] after a release that is followed by another attempt: the engine comes to rest
RELEASE_WINDOW = 0.3  # [s] after the key is let go: coils collapse, contacts open, an engine that has not fired stops


@dataclass(frozen=True, slots=True)
class KeyTimes:
    """Moments of the run in deck time [s]."""

    key_on: float
    starts: tuple[float, ...]
    releases: tuple[float, ...]
    stop: float


def key_times(crank: Crank) -> KeyTimes:
    """When the key is turned on, to START, let go, and when the run ends."""
    first = PREROLL + crank.key_on_before
    period = crank.key_held + crank.rest
    starts = tuple(first + k * period for k in range(crank.attempts))
    releases = tuple(t + crank.key_held for t in starts)
    return KeyTimes(PREROLL, starts, releases, releases[-1] + crank.after)


def mark_time(mark: TimeMark, times: KeyTimes) -> float | None:
    """Deck time of a mark [s], not before key-on, when the run begins; None where it hangs on the engine firing."""
    base = {"key on": times.key_on, "start": times.starts[0], "end": times.stop + 1.0}
    return None if mark.event == "fire" else max(base[mark.event] + mark.offset, times.key_on)


def switched(node: str, intervals: Iterable[tuple[float, float]], stop: float) -> str:
    """Source line: `node` is 1 during the intervals [s] and 0 elsewhere, with edges of `KEY_EDGE`."""
    points: list[tuple[float, float]] = []
    for begin, end in merged(intervals):
        points += _edge(begin, 1.0) if begin > KEY_EDGE else [(0.0, 1.0)]
        if end < stop:
            points += _edge(end, 0.0)
    if not points or points[0][0] > 0.0:
        points.insert(0, (0.0, 0.0))
    if len(points) == 1:
        return f"V{node} {node} 0 {points[0][1]:g}"
    return f"V{node} {node} 0 pwl(" + " ".join(f"{t!r} {v:g}" for t, v in points) + ")"


def _edge(moment: float, to: float) -> list[tuple[float, float]]:
    return [(moment - KEY_EDGE / 2, 1.0 - to), (moment + KEY_EDGE / 2, to)]


def merged(intervals: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
    """Sorted, non-overlapping intervals; those closer than two edges become one."""
    result: list[tuple[float, float]] = []
    for begin, end in sorted(i for i in intervals if i[1] > i[0]):
        if result and begin <= result[-1][1] + 2 * KEY_EDGE:
            result[-1] = (result[-1][0], max(result[-1][1], end))
        else:
            result.append((begin, end))
    return result


def feed_intervals(feed: Feed, times: KeyTimes) -> list[tuple[float, float]]:
    """When the key's terminal feeds the display [deck time, s]: cut in START, or broken on the way there and back."""
    begin = 0.0 if feed.key_terminal == "always" else times.key_on
    gaps: list[tuple[float, float]] = []
    for start, release in zip(times.starts, times.releases, strict=True):
        if feed.dead_in_start:
            gaps.append((max(start - feed.key_break, times.key_on), release + feed.key_break))
        elif feed.key_break > 0.0:
            gaps += [(max(start - feed.key_break, times.key_on), start), (release, release + feed.key_break)]
    intervals = []
    for low, high in gaps:
        if low > begin:
            intervals.append((begin, low))
        begin = max(begin, high)
    return [*intervals, (begin, times.stop + 1.0)]


def start_intervals(times: KeyTimes) -> list[tuple[float, float]]:
    """When the key stands in START [deck time, s]."""
    return list(zip(times.starts, times.releases, strict=True))


def pacing(times: KeyTimes) -> str:
    """Source line of the pacer's gate: on while cranking and a moment longer."""
    again = [*times.starts[1:], times.stop]
    cranking = [
        (a, b + RELEASE_WINDOW if n == times.stop else min(b + COAST_WINDOW, n - 4 * KEY_EDGE))
        for (a, b), n in zip(start_intervals(times), again, strict=True)
    ]
    return _graded(cranking, times.stop)


def add_pacer(build: Builder, block: str, fired: str, fine: float = 1.0) -> None:
    """The pacer's instance; `fired`: node that is 1 once the engine runs; `fine` [-] multiplies the number of steps."""
    steps = {"hs": CRANK_STEP, "ha": AFTER_STEP, "hf": COIL_STEP, "fine": fine}
    build.instance(block, "pacer", ("pc", fired, "hurry", "pace", "ahead"), "pacer", **steps)


def _graded(intervals: list[tuple[float, float]], stop: float) -> str:
    """The slow gate: `RUN_UP_PACE` while the engine runs up to speed, 1 for the rest of the crank."""
    points = [(0.0, 0.0)]
    for begin, end in intervals:
        settled = min(begin + RUN_UP_WINDOW, end - 2 * KEY_EDGE)
        for moment, level in ((begin, RUN_UP_PACE), (settled, 1.0), (end, 0.0)):
            if moment < stop:
                points += [(moment - KEY_EDGE / 2, points[-1][1]), (moment + KEY_EDGE / 2, level)]
    return "Vpc pc 0 pwl(" + " ".join(f"{t!r} {v:g}" for t, v in points) + ")"
