# SPDX-License-Identifier: GPL-3.0-or-later
"""Integration with located events, and the waveforms that are compared."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.integrate import solve_ivp

from cranksag.resolve.model import Boat, StandbyPack
from tests.reference import assembly, branches, motion
from tests.reference.network import Array

MOST_EVENTS = 5000
LONGEST_STEP = 5e-3  # [s] so that no short dip passes unseen between two looks at the events
SAMPLES = 2  # per step of the integrator


@dataclass(frozen=True)
class Solution:
    """`time` [s] from key-on (strictly increasing but for the events, where it repeats), `signals` in SI, events."""

    time: Array
    signals: Mapping[str, Array]
    events: tuple[tuple[float, str, bool], ...]
    starts: tuple[float, ...]
    evaluations: int

    def since_start(self, name: str) -> tuple[Array, Array]:
        """A signal from the first START on."""
        after = self.time >= self.starts[0] - 1e-3
        return self.time[after], self.signals[name][after]


def build(boat: Boat) -> assembly.Model:
    """The boat's equations, in the state at rest."""
    running = boat.feed.key_terminal == "always" or (
        isinstance(boat.hold_up, StandbyPack) and boat.hold_up.relay is None
    )
    model = assembly.Model(boat)
    assembly.add_supplies(model)
    assembly.add_feed_and_start(model)
    assembly.add_starter(model)
    assembly.add_alternator(model)
    for k, load in enumerate(boat.loads):
        assembly.add_load(model, k, load)
    for k, display in enumerate(boat.displays):
        assembly.add_display(model, k, display, running)
    branches.add_branch(model, running)
    model.finish()
    return model


def rest(model: assembly.Model, parts: list[motion.Rate]) -> Array:
    """States for which nothing electrical moves: Newton's method on dx/dt = 0 with differences."""
    x = np.array(model.start)
    model.solver.guess = np.zeros(len(model.solver.laws))
    chosen = [model.states[n] for n in model.electrical]
    top = model.boat.battery.open_circuit_voltage
    for name in model.electrical:
        if name.startswith(("inside", "vc", "bank")):
            x[model.states[name]] = 0.95 * top
    for _ in range(100):
        base = motion.all_rates(model, parts, x)[chosen]
        slopes = np.empty((len(chosen), len(chosen)))
        for j, k in enumerate(chosen):
            moved = x.copy()
            moved[k] += 1e-6
            slopes[:, j] = (motion.all_rates(model, parts, moved)[chosen] - base) / 1e-6
        step = np.linalg.solve(slopes, base)
        x[chosen] -= step * min(1.0, 2.0 / max(float(np.abs(step).max()), 1e-12))
        if float(np.abs(step).max()) < 1e-7:
            return x
    raise ArithmeticError("no state at rest")


Interval = tuple[float, float]


def key_intervals(boat: Boat) -> tuple[dict[str, list[Interval]], tuple[float, ...], float]:
    """When each key flag is set [s from key-on], the moments of START, and the end of the run."""
    crank, feed = boat.crank, boat.feed
    period = crank.key_held + crank.rest
    turns = [
        (crank.key_on_before + k * period, crank.key_on_before + k * period + crank.key_held)
        for k in range(crank.attempts)
    ]
    end = turns[-1][1] + crank.after
    begin = -1.0 if feed.key_terminal == "always" else 0.0
    dead: list[Interval] = []
    for a, b in turns:
        if feed.dead_in_start:
            dead.append((a - feed.key_break, b + feed.key_break))
        elif feed.key_break > 0.0:
            dead += [(a - feed.key_break, a), (b, b + feed.key_break)]
    fed: list[Interval] = []
    for a, b in dead:
        if a > begin:
            fed.append((begin, a))
        begin = max(begin, b)
    fed.append((begin, math.inf))
    flags = {
        "kf": fed,
        "kh": [(-1.0 if feed.key_terminal == "always" else 0.0, math.inf)],
        "ks": turns if boat.start.neutral_closed else [],
        "kq": turns[-1:] if boat.fires_after is not None else [],
    }
    base = {"key on": 0.0, "start": turns[0][0], "end": end + 1.0}
    for k, load in enumerate(boat.loads):
        a = -1.0 if load.from_time.event == "fire" else base[load.from_time.event] + load.from_time.offset
        b = math.inf if load.until.event == "fire" else base[load.until.event] + load.until.offset
        flags[f"load {k}"] = [(a, b)] if b > a else []
    return flags, tuple(a for a, _ in turns), end


def solve(boat: Boat, rtol: float = 1e-5, atol: float = 1e-6, method: str = "BDF") -> Solution:
    """Crank the boat from key-on to the end of the run."""
    model = build(boat)
    parts, found = motion.motions(model), motion.switches(model)
    flags, starts, end = key_intervals(boat)
    model.flags |= {name for name, spans in flags.items() if any(a < 0.0 <= b for a, b in spans)}
    x = rest(model, parts)
    calls = 0

    def rates(t: float, state: Array) -> Array:
        nonlocal calls
        calls += 1
        return motion.all_rates(model, parts, state)

    def slopes(t: float, state: Array) -> Array:
        # differences of a size that suits these states: a solver's own choice drowns in rounding where 10 kS meet 1 nS
        base, moved = rates(t, state), state.copy()
        table = np.empty((len(state), len(state)))
        for k, value in enumerate(state.tolist()):
            moved[k] = value + 1e-6 * (1.0 + abs(value))
            table[:, k] = (rates(t, moved) - base) / (moved[k] - value)
            moved[k] = value
        return table

    look = _Observer(model, found)
    edges = sorted({t for spans in flags.values() for span in spans for t in span if 0.0 < t < end} | {0.0, end})
    pieces: list[tuple[Array, Array]] = []
    events: list[tuple[float, str, bool]] = []
    now, record = 0.0, _Recorder(model)
    for begin, stop in pairwise(edges):
        _set_key(model, flags, begin)
        look.settle(x, begin, events)
        now = begin
        while now < stop:
            if len(events) > MOST_EVENTS:
                raise ArithmeticError(f"more than {MOST_EVENTS} events by {now:.4f} s: {events[-6:]}")
            result = solve_ivp(
                rates, (now, stop), x, method=method, rtol=rtol, atol=atol, dense_output=True, jac=slopes,
                max_step=LONGEST_STEP, events=look.functions() or None,
            )  # fmt: skip
            if result.status < 0:
                raise ArithmeticError(f"no solution at {result.t[-1]:.6f} s: {result.message}")
            pieces.append(record.sample(result))
            now, x = float(result.t[-1]), result.y[:, -1].copy()
            if result.status == 0:
                break
            look.flip(result.t_events, now, events)
            look.settle(x, now, events)
    time = np.concatenate([p[0] for p in pieces])
    table = np.concatenate([p[1] for p in pieces])
    return Solution(time, dict(zip(record.names, table.T, strict=True)), tuple(events), starts, calls)


def _set_key(model: assembly.Model, flags: Mapping[str, list[Interval]], now: float) -> None:
    for name, spans in flags.items():
        if any(a <= now < b for a, b in spans):
            model.flags.add(name)
        else:
            model.flags.discard(name)


class _Observer:
    """Watches the switches; the network is solved once for all of them at each look."""

    def __init__(self, model: assembly.Model, found: list[motion.Switch]) -> None:
        self.model, self.found = model, found
        self.armed: list[motion.Switch] = []
        self._at: tuple[float, bytes] | None = None
        self._y = np.zeros(0)

    def _network(self, t: float, x: Array) -> Array:
        key = (t, x.tobytes())
        if key != self._at:
            self._y, self._at = self.model.network(x), key
        return self._y

    def functions(self) -> list[Callable[[float, Array], float]]:
        """One event function per switch, for the flip that is next in its present position."""
        self._at = None
        self.armed = list(self.found)
        made = []
        for switch in self.armed:
            on = switch.flag in self.model.flags

            def event(
                t: float, x: Array, switch: motion.Switch = switch, level: float = switch.off if on else switch.on
            ) -> float:
                return switch.quantity(x, self._network(t, x)) - level

            event.terminal = True  # type: ignore[attr-defined]
            event.direction = -1.0 if on else 1.0  # type: ignore[attr-defined]
            made.append(event)
        return made

    def flip(self, moments: list[Array], now: float, events: list[tuple[float, str, bool]]) -> None:
        """Change the flags whose events ended the piece."""
        for switch, times in zip(self.armed, moments, strict=True):
            if times.size and times[-1] >= now - 1e-15:
                self._toggle(switch.flag, now, events)

    def settle(self, x: Array, now: float, events: list[tuple[float, str, bool]]) -> None:
        """Flip what a sudden change has left on the wrong side of its level."""
        for _ in range(20):
            y = self.model.network(x)
            wrong = [s for s in self.found if self._wrong(s, s.quantity(x, y))]
            if not wrong:
                return
            for switch in wrong:
                self._toggle(switch.flag, now, events)
        raise ArithmeticError(f"switches chatter at {now:.6f} s: {[s.flag for s in wrong]}")

    def _wrong(self, switch: motion.Switch, value: float) -> bool:
        slack = 1e-7 * (1.0 + abs(switch.on))
        return value < switch.off - slack if switch.flag in self.model.flags else value > switch.on + slack

    def _toggle(self, flag: str, now: float, events: list[tuple[float, str, bool]]) -> None:
        self.model.flags.symmetric_difference_update({flag})
        events.append((now, flag, flag in self.model.flags))


class _Recorder:
    """Turns states into the waveforms that are compared."""

    def __init__(self, model: assembly.Model) -> None:
        self.model = model
        self.nodes = {"battery": "bat", "starter_stud": "stud", "s_terminal": "s", "motor_stud": "mot",
                      "block": "block", "feed": "feed", "start_signal": "keyst"}  # fmt: skip
        self.plain = {"motor_speed": "w", "engine_speed": "we", "mean_speed": "mean speed", "crank_angle": "theta",
                      "fired": "fired", "main_contact": "x solenoid"}  # fmt: skip
        if "x start relay" in model.states:
            self.plain["start_relay"] = "x start relay"
        if "x hold relay" in model.states:
            self.plain["relay_position"] = "x hold relay"
        self.currents = {"pull_in_current": "pull-in", "hold_in_current": "hold-in", "return_current": "return"}
        if "hold relay coil" in model.net.branches:
            self.currents["relay_coil_current"] = "hold relay coil"
        if "bank leg" in model.net.branches:
            self.currents["bank_current"] = "bank leg"
        self.runs = [f"on {k}" for k in range(len(model.boat.displays))]
        self.names = ["display", *self.nodes, *self.plain, *self.currents, "starter_current",
                      *(f"display_{k}_runs" for k in range(len(self.runs)))]  # fmt: skip
        self.starter, self.motor = self.names.index("starter_current"), model.solver.port_names.index("motor")

    def sample(self, result: object) -> tuple[Array, Array]:
        """Waveforms of one piece, on the integrator's steps and between them."""
        steps, dense = result.t, result.sol  # type: ignore[attr-defined]
        shares = np.arange(SAMPLES) / SAMPLES
        time = np.append((steps[:-1, None] + np.diff(steps)[:, None] * shares).ravel(), steps[-1])
        states = dense(time).T
        states[-1] = result.y[:, -1]  # type: ignore[attr-defined]
        self.rows = self._linear_rows()
        return time, np.array([self._row(x) for x in states])

    def _row(self, x: Array) -> Array:
        model = self.model
        y = model.network(x)
        row = self.rows[0] @ y + self.rows[1] @ x + self.rows[2]
        row[self.starter] += model.solver.port_currents[self.motor]
        return row

    def _linear_rows(self) -> tuple[Array, Array, Array]:
        """Every signal but the motor's own current as rows over network and states."""
        solver, count = self.model.solver, len(self.names)
        over_y, over_x, constant = (
            np.zeros((count, solver.size)),
            np.zeros((count, len(self.model.states))),
            np.zeros(count),
        )
        pairs = [("ds", "dr"), *((n, "0") for n in self.nodes.values())]
        for k, (plus, minus) in enumerate(pairs):
            for node, sign in ((plus, 1.0), (minus, -1.0)):
                if (place := solver.index(node)) >= 0:
                    over_y[k, place] += sign
        for k, name in enumerate(self.plain.values(), start=len(pairs)):
            over_x[k, self.model.states[name]] = 1.0
        for k, name in enumerate([*self.currents.values(), "motor damping"], start=len(pairs) + len(self.plain)):
            over_y[k], over_x[k], constant[k] = solver.row(name)
        for k, flag in enumerate(self.runs, start=count - len(self.runs)):
            constant[k] = 1.0 if flag in self.model.flags else 0.0
        return over_y, over_x, constant
