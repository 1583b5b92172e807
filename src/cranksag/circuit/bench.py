# SPDX-License-Identifier: GPL-3.0-or-later
"""A boat's display, harness and hold-up branch on the bench: a starting profile as the source of the deck.

The source stands where the feed is tapped (`through` "feed") or, without the harness, at the display's end of it
("pins"). The key stays in RUN. The start signal of a hold-up relay is the source's own voltage while the profile is in
its crank part, so that the sag reaches the coil; the crank part lasts until the voltage is back, since the key is held
until the engine runs. Loads that hang on the display's harness stay, and "fire" in their times is its end.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from cranksag.circuit import Circuit, Signal, _branch_signals, _initial, settle
from cranksag.circuit.boat import (
    CONTACT_RESISTANCE,
    _add_load,
    add_battery,
    battery_at_rest,
    node_of,
)
from cranksag.circuit.branches import add_branch, netlist_name
from cranksag.circuit.displays import add_displays
from cranksag.circuit.envelope import envelope
from cranksag.circuit.netlists import read_netlist
from cranksag.circuit.network import Builder
from cranksag.circuit.timing import PREROLL, RELEASE_WINDOW, KeyTimes, add_pacer, switched
from cranksag.profiles import EDGE, Level
from cranksag.resolve.model import Boat, ConverterAhead, StandbyPack
from cranksag.solver import Deck

Through = Literal["feed", "pins"]

BLOCKS = ("profile", "timing", "supply", "return", "start signal", "house", "loads", "displays", "branch", "analysis")
STIFF = 1e-4  # [ohm] of a source whose resistance is not published: 0.1 mV at 1 A
NO_HARNESS = 2.5e-4  # [ohm] of each of four pieces in place of the harness: short leads, 1 mohm together; estimate
TIE = 1e-3  # [ohm] of circuits/bench.inc, between nodes that carry sense currents only
BLEED = 10e3  # [ohm] of circuits/bench.inc, on the start wire, which is at 0 V while the start signal is off
BOOTED = 1.0  # [s] after the slowest display has booted the profile may begin
AFTER = 2.0  # [s] at least, after the profile's last corner: time to come back
STEP_CEILING = 0.05  # [s] longest step where nothing happens; corners 20 us apart stay apart below 0.2 s
HARNESS_NODES = ("feed", "display supply", "display return")
POINTS_A_LINE = 6


@dataclass(frozen=True, slots=True)
class BenchSetup:
    """How the bench is wired.

    through : "feed": the source stands where the feed is tapped, so that the harness drop counts; "pins": at the
        display's end of the harness.
    start_lead : how long before the profile's crank part the start signal comes [s]. 0 is the hardest case; on a boat
        the start relay and the solenoid travel before the main contact closes and the voltage falls (`boat_lead`).
    """

    through: Through = "feed"
    start_lead: float = 0.0


def boat_lead(boat: Boat) -> float:
    """Time from START to the closing of the starter's main contact on this boat, unloaded [s]."""
    relay = boat.start.relay
    return boat.solenoid.travel_operate + (relay.travel_time_operate if relay is not None else 0.0)


def bench_boat(boat: Boat) -> Boat:
    """The boat with its key in RUN from key-on to the end: the bench neither cuts nor breaks the feed."""
    feed = dataclasses.replace(boat.feed, key_terminal="run", dead_in_start=False, key_break=0.0)
    return dataclasses.replace(boat, feed=feed)


def bench_times(boat: Boat, level: Level, setup: BenchSetup) -> KeyTimes:
    """Key-on, begin and end of the profile's crank part and end of the run, in deck time [s].

    Before the profile the key has been on for the scenario's `key_on_before`, and long enough for every display to
    have booted; after it the run goes on for the scenario's `after`, two seconds at least, and for a converter's
    restart delay.
    """
    booted = max(d.circuit.boot_time for d in boat.displays) + BOOTED
    start = PREROLL + max(boat.crank.key_on_before, booted + setup.start_lead)
    after = max(boat.crank.after, AFTER)
    if isinstance(boat.hold_up, ConverterAhead):
        after += boat.hold_up.converter.restart_delay
    begin, end = level.crank
    signal = start + begin - setup.start_lead
    return KeyTimes(PREROLL, (signal,), (start + end,), start + level.duration + after)


def profile_start(level: Level, times: KeyTimes) -> float:
    """Deck time at which the profile leaves its resting voltage [s]."""
    return times.releases[0] - level.crank[1]


def build_bench(boat: Boat, level: Level, setup: BenchSetup) -> Circuit:
    """The deck of a boat's display on the bench; `boat` as from `bench_boat`.

    Raises
    ------
    DeckError
        The netlists and this module disagree, or the bench at rest has no steady state.
    """
    build = Builder(read_netlist(netlist_name(boat.branch), "bench.inc"))
    hold = boat.hold_up
    running = isinstance(hold, StandbyPack) and hold.relay is None
    times, through = bench_times(boat, level, setup), setup.through
    volts, currents, on = settle(build, boat, running, lambda: _rest(build, boat, level, through))
    add_profile(build, level, profile_start(level, times))
    _timing(build, boat, level, times)
    _harness(build, boat, through)
    build.instance("start signal", "keystart", ("src", "keyst", "ks"), "contact_keyed", r=CONTACT_RESISTANCE)
    build.line("start signal", f"Rs keyst s {TIE!r}")
    if boat.house is not None:
        add_battery(build, "house", "house", "house", "housen", boat.house, -currents["house"])
        build.line("house", f"Rhousen housen 0 {boat.house_negative!r}")
    for k, load in enumerate(boat.loads):
        if load.at in HARNESS_NODES or load.return_to in HARNESS_NODES:
            _add_load(build, boat, k, load, times)
    add_branch(build, boat, volts, currents, running)
    add_displays(build, boat, running, on, volts)
    build.line("analysis", _initial(volts))
    signals = _signals(boat)
    vectors = tuple(dict.fromkeys(v for s in signals.values() for v in (s.plus, s.minus) if v))
    deck = Deck(
        text=build.text(BLOCKS),
        vectors=vectors,
        stop_time=times.stop,
        envelope=envelope(_bounded(boat, level, through), vectors),
        step_ceiling=STEP_CEILING,
        title=f"{boat.title}, on the bench: {level.name}",
        preroll=PREROLL * 0.99,
    )
    return Circuit(deck, signals, (), times, volts, running)


def add_profile(build: Builder, level: Level, start: float) -> None:
    """The source: straight lines, gated sine windows, and its resistance. `start`: deck time of its time 0 [s]."""
    block = "profile"
    _pwl(build, block, "base", ((t + start, v) for t, v in level.corners))
    terms = ["v(base)"]
    for k, ripple in enumerate(level.ripples):
        begin, end = ripple.begin + start, ripple.end + start
        _pwl(build, block, f"gate{k}", ((begin - EDGE, 0.0), (begin, 1.0), (end, 1.0), (end + EDGE, 0.0)))
        turns = f"6.283185307179586*{ripple.frequency!r}*(time-{begin!r})"
        terms.append(f"v(gate{k})*{ripple.amplitude!r}*sin({turns})")
    build.line(block, f"Bemf emf 0 V = {'+'.join(terms)}")
    build.line(block, f"Rsource emf src {max(level.source_resistance, STIFF)!r}")


def _pwl(build: Builder, block: str, node: str, points: Iterable[tuple[float, float]]) -> None:
    """A source of straight lines, on continued lines: a log has thousands of points."""
    words = [f"{t!r} {v!r}" for t, v in points]
    words.insert(0, f"0 {words[0].split()[1]}")
    rows = [" ".join(words[k : k + POINTS_A_LINE]) for k in range(0, len(words), POINTS_A_LINE)]
    build.line(block, f"V{node} {node} 0 pwl(" + "\n+ ".join(rows) + ")")


def _rest(build: Builder, boat: Boat, level: Level, through: Through) -> None:
    """The bench in the network at rest: source, harness return, house bank."""
    build.at_rest("e", "source", "src", "0", level.rest, max(level.source_resistance, STIFF))
    for node in ("bat", "sw", "stud", "panel"):
        build.at_rest("r", f"tie {node}", "src", node, TIE)
    build.at_rest("r", "tie s", "keyst", "s", TIE)
    build.at_rest("r", "start wire", "s", "0", BLEED)
    conductor, joints = _return_path(boat, through)
    build.at_rest("r", "return", "dr", "0", conductor + joints)
    if boat.house is not None:
        battery_at_rest(build, "house", "house", "housen", boat.house)
        build.at_rest("r", "house negative", "housen", "0", boat.house_negative)


def _return_path(boat: Boat, through: Through) -> tuple[float, float]:
    if through == "pins":
        return NO_HARNESS, NO_HARNESS
    return max(boat.feed.return_resistance, NO_HARNESS), max(boat.feed.return_joints, NO_HARNESS)


def _harness(build: Builder, boat: Boat, through: Through) -> None:
    feed = boat.feed
    conductor, joints = (feed.resistance, feed.joints) if through == "feed" else (NO_HARNESS, NO_HARNESS)
    build.line("supply", "Vtap src f0 0")
    build.instance("supply", "feed", ("f0", "keyin"), "wire", r=conductor, rj=joints)
    build.instance("supply", "keyrun", ("keyin", "feed", "kf"), "contact_keyed", r=CONTACT_RESISTANCE)
    conductor, joints = _return_path(boat, through)
    build.instance("return", "return", ("dr", "rt"), "wire", r=conductor, rj=joints)
    build.line("return", "Vreturn rt 0 0")


def _timing(build: Builder, boat: Boat, level: Level, times: KeyTimes) -> None:
    block, stop = "timing", times.stop
    crank = (times.starts[0], times.releases[0])
    begin = profile_start(level, times)
    end = begin + level.duration
    for node in ("kf", "kh"):
        build.line(block, switched(node, [(times.key_on, stop + 1.0)], stop))
    build.line(block, switched("ks", [crank], stop))
    build.line(block, f"Vtf tf 0 pwl(0 0 {crank[1]!r} 0 {stop!r} {stop - crank[1]!r})")
    build.line(block, switched("pc", [(begin, end + RELEASE_WINDOW)], stop))
    add_pacer(build, block, "0")


def _bounded(boat: Boat, level: Level, through: Through) -> Boat:
    """The boat whose envelope holds for the bench: the profile is its highest source, the leads its harness."""
    highest = max(level.highest, boat.alternator.charge_voltage)
    alternator = dataclasses.replace(boat.alternator, charge_voltage=highest)
    feed = boat.feed
    if through == "pins":
        short = ("resistance", "joints", "return_resistance", "return_joints")
        feed = dataclasses.replace(feed, **dict.fromkeys(short, NO_HARNESS))  # type: ignore[arg-type]
    return dataclasses.replace(boat, alternator=alternator, feed=feed)


def _signals(boat: Boat) -> dict[str, Signal]:
    signals = {
        "source": Signal("v(src)"),
        "source_emf": Signal("v(emf)"),
        "display": Signal("v(ds)", "v(dr)"),
        "feed": Signal("v(feed)"),
        "display_supply": Signal("v(ds)"),
        "display_return": Signal("v(dr)"),
        "start_signal": Signal("v(keyst)"),
        "feed_current": Signal("i(vtap)"),
        "hold_up_current": Signal("i(vhold)"),
    }
    for k, display in enumerate(boat.displays):
        signals[f"display_{k}_runs"] = Signal(f"v(on{k})")
        signals[f"display_{k}_booted"] = Signal(f"v(xdisplay{k}.done)")
        signals[f"display_{k}_inside"] = Signal(f"v(xdisplay{k}.di)", "v(dr)")
        signals[f"display_{k}_current"] = Signal(f"i(v.xdisplay{k}.vp)")
        if display.circuit.sense_threshold is not None:
            signals[f"display_{k}_sense"] = Signal(f"v({node_of(boat, display.sense_node)})", "v(dr)")
    return signals | _branch_signals(boat)
