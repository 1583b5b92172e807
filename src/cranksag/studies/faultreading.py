# SPDX-License-Identifier: GPL-3.0-or-later
"""What a fault run shows: live nodes, currents, what becomes of displays and crank."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from cranksag.errors import SimulationError
from cranksag.parts.fuse import FuseType, opening_time
from cranksag.resolve.model import BLADE, Bank, Boat, HouseFeed, Note, StandbyPack
from cranksag.studies.faultedits import SOUND, Detach, Fault, Parameter
from cranksag.studies.faultrun import (
    HELD_UP,
    SETTLED,
    Bench,
    Pulse,
    Run,
    heating_current,
    held_extreme,
    lasting_current,
    pulse,
    run_fault,
    windows,
)
from cranksag.verdict.cranking import TURNED
from cranksag.verdict.display import HALF, judged_from
from cranksag.verdict.fusing import Front, fuse_front
from cranksag.verdict.results import Traces
from cranksag.verdict.series import between, crossings, integral
from cranksag.verdict.stresses import coil_kick, release_peak

DEAD = 1.0  # [V] below which a node counts as dead: far under any coil's or regulator's pick-up; engineering estimate
LIVE_FOR = 0.02  # [s] a voltage counts when it is held for so long
BACK_FEED = "back-feed into the boat's feed"
BRIEF = 0.1  # [s] a held solenoid takes longer to drop out; a display stands a surge so short; engineering estimate
OPENED: Mapping[str, Detach] = {
    "display feed fuse": Detach("Xfeed", 1),
    "hold-up fuse of a pack": Detach("Xpack", 0),
    "hold-up fuse of a bank": Detach("Xbank", 0),
    "hold-up fuse of a house bank": Detach("Xhousewire", 0),
    "converter fuse": Detach("Rfuse", 0),
}
"""What takes each fuse out of the circuit."""
UNCHARGED = 0.1  # [-] a bank that takes up less than this share of the sound one's charge stays empty; estimate
EMPTY = Parameter("Xbank", "v0", 0.0)
STARTS = ("s terminal", "start signal")


@dataclass(frozen=True, slots=True)
class LiveNode:
    """A node that is live: `voltage` [V] against what its loads return to, with the `key` "off" or "run".

    `feeds`: what of "starter", "run solenoid", "excitation" hangs there and is live; on the display's supply the names
    of loads that the key switches. `ended_by`: the fuse that surely opens within `BRIEF` and with which the node dies.
    """

    node: str
    voltage: float
    key: str
    feeds: tuple[str, ...] = ()
    ended_by: Current | None = None


@dataclass(frozen=True, slots=True)
class Current:
    """Highest rms current of an element over `HEATS` [A], its `limit` [A], and the `key` then: off, run, start.

    `fuse`: the type of a fuse; `pulse`: of a current above the limit that is over before the key moves on, None for
    one that lasts, which goes before any pulse; `lasting`: what is left at the end of that position of the key [A], by
    which a fuse opens, if its `front` has not opened it before.
    """

    element: str
    current: float
    limit: float | None
    key: str
    fuse: FuseType = BLADE
    pulse: Pulse | None = None
    lasting: float = 0.0
    front: Front | None = None

    @property
    def opens(self) -> tuple[float, float]:
        """Shortest and longest time in which a fuse opens [s], by a current that lasts or by its front, whichever is
        sooner; infinite where it need not."""
        if not self.limit or not self.element.endswith("fuse"):
            return math.inf, math.inf
        front = (self.front.may, self.front.must) if self.front is not None else (math.inf, math.inf)
        if self.pulse is not None:
            return front if math.isfinite(front[1]) else (math.inf, math.inf)
        lasting = opening_time(self.fuse, self.limit, self.lasting)
        return min(lasting[0], front[0]), min(lasting[1], front[1])

    @property
    def use(self) -> float:
        """Share of the limit [-]."""
        return self.current / self.limit if self.limit else 0.0


@dataclass(frozen=True, slots=True)
class FaultRow:
    """What one fault does.

    `from_hold_up`: a danger is not there on the same boat without the hold-up; None without a danger.
    `display_alive` (all displays run in RUN), `display_minimum` [V] and `display_holds` while the key is in START,
    `cranks`, `coil_kick` when the key is let go and `display_highest` after that [V]: None where they could not be
    computed. `charge`: what an empty bank takes up in RUN [C], None without a bank.
    `display_top`: the highest voltage at the pins in RUN and START [V], and the key then. `runs`: of the solver for
    this row.
    """

    part: str
    fault: str
    live_nodes: tuple[LiveNode, ...]
    currents: tuple[Current, ...]
    dangers: tuple[Note, ...]
    warnings: tuple[Note, ...]
    from_hold_up: bool | None
    display_alive: bool | None
    display_minimum: float | None
    display_holds: bool | None
    cranks: bool | None
    coil_kick: float | None
    display_highest: float | None
    message: str
    charge: float | None = None
    display_top: tuple[float, str] | None = None
    runs: int = 0

    @property
    def danger(self) -> bool:
        """Whether the fault brings a protected node to life, overloads a conductor that no fuse guards, shorts a
        battery through a cable that has none, or gives a display more voltage than it stands."""
        return bool(self.dangers)


@dataclass(frozen=True, slots=True)
class Outcome:
    alive: bool | None = None
    minimum: float | None = None
    holds: bool | None = None
    cranks: bool | None = None
    coil_kick: float | None = None
    display_highest: float | None = None
    display_top: tuple[float, str] | None = None


def hanging(boat: Boat, traces: Traces) -> Iterator[tuple[str, str, np.ndarray]]:
    """What hangs on each watched node, and its voltage: node, what, series.

    Coils answer to either polarity. The regulator's sense input, from the feed to the block, answers to positive volts
    only, so that a ground shift is not taken for excitation.
    """
    signals = traces.signals
    block = signals["block"]
    yield "s terminal", "starter", signals["s_terminal"] - block
    yield "start signal", "starter", signals["start_signal"] - block
    returns = {load.return_to for load in boat.loads if load.at == "feed"} or {"engine block"}
    for node in sorted(returns):
        ground = {"engine block": block, "battery negative": 0.0 * block}.get(node, signals["display_return"])
        yield "feed", "run solenoid", signals["feed"] - ground
    yield "feed", "excitation", np.maximum(signals["feed"] - block, 0.0)
    for load in boat.loads:
        if load.at == HELD_UP and load.by_key:
            ground = {"engine block": block, "battery negative": 0.0 * block}.get(
                load.return_to, signals["display_return"]
            )
            yield HELD_UP, load.name, signals["display_supply"] - ground
    yield "display", "", signals["display"]


def live_nodes(boat: Boat, run: Run) -> list[LiveNode]:
    """What is live with the key off, and what of the start circuit is live in RUN."""
    found: dict[tuple[str, str], LiveNode] = {}
    for key, begin, end in windows(run):
        for node, what, series in hanging(boat, run.traces):
            if key == "start" or (key == "run" and node not in STARTS):
                continue
            volts = held_extreme(run, series, begin + (SETTLED if key == "run" else 0.0), end, LIVE_FOR)
            if abs(volts) < DEAD:
                continue
            before = found.get((node, key))
            voltage = max((volts, before.voltage if before else 0.0), key=abs)
            feeds = (*(before.feeds if before else ()), what)
            found[node, key] = LiveNode(node, voltage, key, tuple(dict.fromkeys(feeds)))
    return list(found.values())


def with_fuses_opened(bench: Bench, fault: Fault, run: Run, live: list[LiveNode]) -> list[LiveNode]:
    """The nodes, those told that a fuse ends: computed again, key off, with each fuse opened that surely opens within
    `BRIEF`. S terminal and start signal are left alone: a starter needs no longer than that to engage."""
    solenoids = {n.node for n in live if n.key == "off" and n.node not in (*STARTS, "display")}
    if not solenoids:
        return live
    fuses = [c for c in fuses_of(bench, run) if c.key == "off" and c.opens[1] < BRIEF]
    if not fuses:
        return live
    last = max(fuses, key=lambda c: c.opens[1])
    try:
        rest = run_fault(bench, fault, phases=1, more=tuple(_opened(bench.boat, c.element) for c in fuses))
    except SimulationError:
        return live
    still = {n.node for n in live_nodes(bench.boat, rest)}
    return [
        dataclasses.replace(n, ended_by=last) if n.key == "off" and n.node in solenoids - still else n for n in live
    ]


def fuses_of(bench: Bench, run: Run) -> list[Current]:
    """The current of each fuse in each position of the key."""
    fuses = [e for e, (_, rating) in bench.limits.items() if e.endswith("fuse") and rating]
    return [current_of(bench, run, e, key) for e in fuses for key, _, _ in windows(run)]


def opened(bench: Bench, run: Run) -> tuple[Detach, ...]:
    """The changes that take out each fuse that surely opens within `BRIEF` in some position of the key."""
    fuses = dict.fromkeys(c.element for c in fuses_of(bench, run) if c.opens[1] < BRIEF)
    return tuple(_opened(bench.boat, fuse) for fuse in fuses)


def _opened(boat: Boat, fuse: str) -> Detach:
    kinds = ((StandbyPack, "pack"), (Bank, "bank"), (HouseFeed, "house bank"))
    kind = next((name for cls, name in kinds if isinstance(boat.hold_up, cls)), "")
    return OPENED[f"{fuse} of a {kind}" if fuse == "hold-up fuse" else fuse]


def live_by_design(bench: Bench, bare: Bench | None) -> frozenset[str]:
    """Nodes that the boat itself keeps live with the key off: a feed that is always on."""
    base = bare or bench
    live = live_nodes(base.boat, run_fault(base, Fault(*SOUND, ())))
    return frozenset(n.node for n in live if n.key == "off")


def fuse_type(boat: Boat, element: str) -> FuseType:
    """Kind of the fuse in an element's path."""
    own = boat.feed if element.startswith("display feed") else boat.hold_up
    return getattr(own, "fuse_type", BLADE)


def current_of(bench: Bench, run: Run, element: str, key: str) -> Current:
    """The current of a watched element in one position of the key."""
    signal, limit = bench.limits[element]
    values, fuse = run.traces.signals[signal], fuse_type(bench.boat, element)
    begin, end = next((a, b) for name, a, b in windows(run) if name == key)
    current = heating_current(run, values, begin, end)
    over, front = None, None
    if limit is not None and current > limit:
        over = pulse(run, values, limit, key)
        front = front_of(run, values, key, fuse, limit) if element.endswith("fuse") else None
    return Current(element, current, limit, key, fuse, over, lasting_current(run, values, key, limit), front)


def front_of(run: Run, values: np.ndarray, key: str, fuse: FuseType, rating: float) -> Front | None:
    """Whether some stretch of a current opens a fuse by itself in one position of the key; None where none may."""
    begin, end = next((a, b) for name, a, b in windows(run) if name == key)
    shift = run.times.key_on
    return fuse_front(*between(run.traces.time, values, begin - shift, end - shift), fuse, rating)


def currents_of(bench: Bench, run: Run) -> list[Current]:
    found = []
    for element in bench.limits:
        parts = [current_of(bench, run, element, key) for key, _, _ in windows(run)]
        found.append(max(parts, key=_gravity))
    back = _back_feed(bench, run)
    if back is not None:
        hold = bench.boat.hold_up
        found.append(Current(BACK_FEED, back[0], getattr(hold, "fuse_rating", None), back[1], lasting=back[2]))
    return found


def _gravity(current: Current) -> tuple[bool, float]:
    return current.limit is not None and current.current > current.limit and current.pulse is None, current.current


@dataclass(frozen=True, slots=True)
class Charge:
    """What charging an empty bank shows: the `run`, its `currents`, and the charge that the bank has
    taken up when the key moves to START [C]."""

    run: Run
    currents: list[Current]
    taken: float


def charge_of(bench: Bench, fault: Fault) -> Charge | None:
    """The empty bank's charge, None where that run fails."""
    try:
        run = run_fault(bench, fault, phases=2, more=(EMPTY,))
    except SimulationError:
        return None
    signals, shift = run.traces.signals, run.times.key_on
    time, current = between(run.traces.time, signals["bank_current"], -shift, run.times.starts[0] - 1e-3 - shift)
    return Charge(run, currents_of(bench, run), max(integral(time, current), 0.0))


def left_empty(taken: float | None, sound: FaultRow) -> bool:
    """Whether a bank that has `taken` up a charge in RUN [C] stays empty beside the sound boat's."""
    return taken is not None and sound.charge is not None and taken < UNCHARGED * sound.charge


def with_inrush(currents: list[Current], charge: Charge) -> list[Current]:
    """The graver of each current and of that while the empty bank is charged after key-on."""
    return [max(pair, key=_gravity) for pair in zip(currents, charge.currents, strict=True)]


def _back_feed(bench: Bench, run: Run) -> tuple[float, str, float] | None:
    """Highest mean current back into the boat's feed over `HEATS` [A], the key then, and the mean that lasts [A]."""
    values = run.traces.signals.get("normal_feed_current")
    if values is None:
        return None
    back = np.maximum(-values, 0.0)
    highest, key = max((heating_current(run, back, a, b, power=1), key) for key, a, b in windows(run))
    return highest, key, lasting_current(run, back, key, power=1)


def dead_displays(boat: Boat, run: Run) -> list[str]:
    """Names of the displays that do not run when the key leaves RUN."""
    begin, end = judged_from(boat, run.times), run.times.releases[0] - run.times.key_on
    signals, time = run.traces.signals, run.traces.time
    states = (between(time, signals[f"display_{k}_runs"], begin, end)[1] for k in range(len(boat.displays)))
    return [d.name for d, runs in zip(boat.displays, states, strict=True) if runs[0] <= HALF]


def outcome(boat: Boat, run: Run) -> Outcome:
    """Whether all displays run in RUN and through START, their minimum there, and whether the engine turns."""
    if not run.cranked:
        return Outcome()
    shift = run.times.key_on
    signals, time = run.traces.signals, run.traces.time
    begin, end = judged_from(boat, run.times), run.times.releases[0] - shift
    pins = between(time, signals["display"], begin, end)[1]
    states = [between(time, signals[f"display_{k}_runs"], begin, end) for k in range(len(boat.displays))]
    alive = all(runs[0] > HALF for _, runs in states)
    holds = alive and not any(crossings(t, runs, HALF, rising=False).size for t, runs in states)
    angle = between(time, signals["crank_angle"], run.times.starts[0] - shift, end)[1]
    kick, highest = coil_kick(run.traces, run.times), release_peak(run.traces, run.times)
    tops = [(held_extreme(run, signals["display"], a, b, LIVE_FOR), key) for key, a, b in windows(run) if key != "off"]
    return Outcome(alive, float(pins.min()), holds, bool(np.ptp(angle) > TURNED), kick, highest, max(tops))
