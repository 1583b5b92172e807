# SPDX-License-Identifier: GPL-3.0-or-later
"""A resolved boat as one deck: netlist lines from ``circuits/``, state at rest, envelope, and what is read from it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cranksag.circuit.boat import add_boat, node_of, rest_network
from cranksag.circuit.branches import add_branch, branch_at_rest, netlist_name
from cranksag.circuit.displays import add_displays, asleep, check_fed_at_rest, displays_at_rest, senses, senses_at_rest
from cranksag.circuit.envelope import envelope
from cranksag.circuit.loops import Segment, contact_segments, feed_segments, start_segments
from cranksag.circuit.netlists import read_netlist
from cranksag.circuit.network import Builder, solve_rest
from cranksag.circuit.timing import PREROLL, STEP_CEILING, KeyTimes, add_pacer, key_times, pacing
from cranksag.resolve.model import Boat, StandbyPack
from cranksag.solver import Deck

FloatArray = NDArray[np.float64]
PER_MILLE = 1e-3  # [-] armatures' travel in the netlists
BLOCKS = (
    "battery",
    "cables",
    "timing",
    "supply",
    "return",
    "start circuit",
    "starter",
    "engine",
    "alternator",
    "loads",
    "displays",
    "branch",
    "analysis",
)


@dataclass(frozen=True, slots=True)
class Signal:
    """A quantity read from the run: `plus` minus `minus` (vector names; minus may be empty), times `scale`."""

    plus: str
    minus: str = ""
    scale: float = 1.0

    def read(self, vectors: Mapping[str, FloatArray]) -> FloatArray:
        """The quantity over the run (n,)."""
        values = vectors[self.plus] - vectors[self.minus] if self.minus else vectors[self.plus]
        return values if self.scale == 1.0 else values * self.scale


@dataclass(frozen=True, slots=True)
class Circuit:
    """A deck and how to read it.

    `signals` by name; for the budgets `loop`: of the normal feed, `start_loop`: of the key in START, `contact_loop`:
    through the start relay's contact; `times` of the key in deck time, whose key-on is `times.key_on`; `rest_volts`:
    node voltages before key-on [V]; `running`: the displays run with the key off.
    """

    deck: Deck
    signals: Mapping[str, Signal]
    loop: tuple[Segment, ...]
    times: KeyTimes
    rest_volts: Mapping[str, float]
    running: bool
    start_loop: tuple[Segment, ...] = ()
    contact_loop: tuple[Segment, ...] = ()


def build_circuit(boat: Boat, times: KeyTimes | None = None, pace: float = 1.0) -> Circuit:
    """The deck of a boat; `times` of the key in place of the scenario's own; `pace` [-] lengthens the solver's steps.

    Raises
    ------
    DeckError
        The netlists and this module disagree, or the boat at rest has no steady state.
    InputError
        A display that is fed with the key off cannot run there.
    """
    build = Builder(read_netlist(netlist_name(boat.branch)))
    times = times or key_times(boat.crank)
    hold = boat.hold_up
    running = boat.feed.key_terminal == "always" or (isinstance(hold, StandbyPack) and hold.relay is None)
    volts, currents, on = settle(build, boat, running, lambda: rest_network(build, boat))
    if running:
        check_fed_at_rest(boat, volts, on)
    add_boat(build, boat, times, currents)
    build.line("timing", pacing(times))
    add_pacer(build, "timing", "fi", 1.0 / pace)
    branch = add_branch(build, boat, volts, currents, running, pace)
    add_displays(build, boat, running, on, volts)
    build.line("analysis", _initial(volts))
    loop, start = tuple(feed_segments(boat, branch)), tuple(start_segments(boat))
    contact = tuple(contact_segments(boat))
    signals = _signals(boat, (*loop, *start, *contact))
    vectors = tuple(dict.fromkeys(v for s in signals.values() for v in (s.plus, s.minus) if v))
    deck = Deck(
        text=build.text(BLOCKS),
        vectors=vectors,
        stop_time=times.stop,
        envelope=envelope(boat, vectors),
        step_ceiling=STEP_CEILING,
        title=boat.title,
        preroll=PREROLL * 0.99,
        units={signal.plus: 1.0 / signal.scale for signal in signals.values() if signal.scale != 1.0},
    )
    return Circuit(deck, signals, loop, times, volts, running, start, contact)


def settle(
    build: Builder, boat: Boat, fed: bool, network: Callable[[], None]
) -> tuple[dict[str, float], dict[str, float], tuple[bool, ...]]:
    """Node voltages [V] and element currents [A] at rest, and which displays run then.

    `network` enters what lies before the branch; a display that is `fed` runs, unless its sense pin forbids it.
    """
    on = (fed,) * len(boat.displays)
    while True:
        build.rest.clear()
        network()
        senses_at_rest(build, boat)
        branch_at_rest(build, asleep(boat, on))
        if fed:
            displays_at_rest(build, asleep(boat, on))
        volts, currents = solve_rest(build.rest)
        awake = tuple(a and b for a, b in zip(on, senses(boat, volts), strict=True)) if fed else on
        if awake == on:
            return volts, currents, on
        on = awake


def _initial(volts: Mapping[str, float]) -> str:
    names = [n for n, v in sorted(volts.items()) if n != "0" and abs(v) > 1e-9]
    rows = [" ".join(f"v({n})={volts[n]!r}" for n in names[k : k + 6]) for k in range(0, len(names), 6)]
    return "\n".join(f".ic {row}" for row in rows)


def _signals(boat: Boat, loops: tuple[Segment, ...]) -> dict[str, Signal]:
    """Everything the verdict, the budget and the waveforms read."""
    signals = {
        "display": Signal("v(ds)", "v(dr)"),
        "feed": Signal("v(feed)"),
        "battery": Signal("v(bat)"),
        "starter_stud": Signal("v(stud)"),
        "motor_stud": Signal("v(mot)"),
        "s_terminal": Signal("v(s)"),
        "block": Signal("v(block)"),
        "display_supply": Signal("v(ds)"),
        "display_return": Signal("v(dr)"),
        "start_signal": Signal("v(keyst)"),
        "panel": Signal("v(panel)"),
        "starter_current": Signal("i(vmot)"),
        "battery_current": Signal("i(v.xbattery.voc)"),
        "feed_current": Signal("i(vtap)"),
        "return_current": Signal("i(vreturn)"),
        "hold_up_current": Signal("i(vhold)"),
        "pull_in_current": Signal("i(v.xsolenoid.vpi)"),
        "hold_in_current": Signal("i(v.xsolenoid.vhi)"),
        "motor_speed": Signal("v(w)"),
        "engine_speed": Signal("v(we)"),
        "mean_speed": Signal("v(xengine.wa)"),
        "crank_angle": Signal("v(th)"),
        "fired": Signal("v(fi)"),
        "main_contact": Signal("v(xso)", scale=PER_MILLE),
    }
    signals["battery_switch"] = Signal(f"v({node_of(boat, 'battery switch')})")
    if boat.start.relay is not None:
        signals["start_relay"] = Signal("v(xsr)", scale=PER_MILLE)
    if boat.house is not None:
        signals["house_battery"] = Signal("v(house)")
        signals["house_current"] = Signal("i(v.xhouse.voc)")
        if boat.link.kind == "closed":
            signals["link_current"] = Signal("i(vlink)")
    for k, display in enumerate(boat.displays):
        signals[f"display_{k}_runs"] = Signal(f"v(on{k})")
        signals[f"display_{k}_booted"] = Signal(f"v(xdisplay{k}.done)")
        signals[f"display_{k}_inside"] = Signal(f"v(xdisplay{k}.di)", "v(dr)")
        signals[f"display_{k}_current"] = Signal(f"i(v.xdisplay{k}.vp)")
        if display.circuit.sense_threshold is not None:
            signals[f"display_{k}_sense"] = Signal(f"v({node_of(boat, display.sense_node)})", "v(dr)")
    for k, _ in enumerate(boat.loads):
        signals[f"load_{k}_current"] = Signal(f"i(vld{k})")
    signals |= _branch_signals(boat)
    for segment in loops:
        for node in (segment.a, segment.b):
            if node != "0":
                signals[f"node {node}"] = Signal(f"v({node})")
    return signals


def _branch_signals(boat: Boat) -> dict[str, Signal]:
    hold = boat.hold_up
    if boat.branch == "none":
        return {"hold_up": Signal("v(ds)", "v(dr)")}
    if boat.branch == "converter":
        return {
            "hold_up": Signal("v(cv)", "v(dr)"),
            "converter_on": Signal("v(onc)"),
            "converter_current": Signal("i(v.xconverter.vi)"),
            "converter_input": Signal("v(cf)", "v(dr)"),
            "converter_fuse_current": Signal("i(vfuse)"),
        }
    signals = {"normal_feed_current": Signal("i(vfd)")}
    if isinstance(hold, StandbyPack):
        signals |= {"hold_up": Signal("v(pk)", "v(dr)"), "pack_current": Signal("i(v.xpack.vs)")}
        if hold.relay is not None:
            signals |= {
                "relay_position": Signal("v(xhr)", scale=PER_MILLE),
                "relay_coil": Signal("v(coil)", "v(block)"),
                "relay_coil_current": Signal("i(v.xrelay.vc)"),
            }
        return signals
    if boat.branch == "house feed":
        return signals | {"hold_up": Signal("v(hd)", "v(dr)")}
    return signals | {"hold_up": Signal("v(cb)", "v(dr)"), "bank_current": Signal("i(v.xbank.vc)")}
