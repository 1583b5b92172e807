# SPDX-License-Identifier: GPL-3.0-or-later
"""A boat made ready for faults, one run of it, and how the key cuts that run into parts."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from cranksag.circuit import Circuit, Signal, build_circuit
from cranksag.circuit.boat import node_of
from cranksag.circuit.timing import KeyTimes
from cranksag.resolve.carrying import SMALL_WIRE, carrying
from cranksag.resolve.model import Bank, Boat, ConverterAhead, HouseFeed, NoHoldUp, StandbyPack
from cranksag.solver import get_solver
from cranksag.studies.faultedits import Added, Bridge, Edit, Fault, Line, Parameter, Port, edited
from cranksag.studies.faultlist import fault_times
from cranksag.studies.faultmains import BATTERY, CONTACT_WIRE, HOUSE, ISOLATOR, PANEL, on_panel
from cranksag.verdict import read_traces
from cranksag.verdict.results import Traces
from cranksag.verdict.series import between, held_minimum, intervals_below
from cranksag.verdict.stresses import pulse_i2t

SETTLED = 0.03  # [s] after a change of the key before its part of the run is read
HEATS = 0.1  # [s] currents are averaged over so long; shorter inrush is a matter of I2t
TURN = 0.5  # [s] a revolution at 150 rpm, a cold engine's, in which two cylinders compress once, and a compression
SENSE = 1e3  # [ohm] from the feed to the block: the regulator's sense input; engineering estimate
WINDING = 10e-9  # [F] of the coils and wire on the start signal: a state for a node whose every path may fail; estimate
INSULATION = 1e6  # [ohm] of the start wire and its terminals on a damp boat; engineering estimate
STEP = 4e-3  # [s] step ceiling: a fault may crank the engine at any moment
WORSE = 1.1  # [-] a current that a fault raises by less than this over the sound boat is not its doing
WHEN = {"off": "with the key off", "run": "with the key in RUN", "start": "while cranking"}
HELD_UP = "display supply"  # node of the scenario behind the hold-up
ROOM = 1.5  # [-] on the envelope of a sound boat's currents


@dataclass(frozen=True, slots=True)
class Run:
    traces: Traces
    times: KeyTimes
    phases: int

    @property
    def cranked(self) -> bool:
        return self.phases == 3


@dataclass(frozen=True, slots=True)
class Bench:
    """A boat made ready for faults: circuit, changes that every run has, and what is read from it."""

    boat: Boat
    circuit: Circuit
    always: tuple[Edit, ...]
    limits: Mapping[str, tuple[str, float | None]]


def without_hold_up(boat: Boat) -> Boat:
    return dataclasses.replace(boat, branch="none", hold_up=NoHoldUp())


def make_bench(boat: Boat) -> Bench:
    times = fault_times(boat)
    circuit = build_circuit(boat, times)
    limits: dict[str, tuple[str, float | None]] = {}
    signals = dict(circuit.signals)
    for element, signal, vector, limit in _watched(boat):
        if vector is not None:
            signals[signal] = Signal(vector)
        limits[element] = (signal, limit)
    if isinstance(boat.hold_up, Bank):
        signals["limiter"] = Signal("v(ds)", "v(cp)")
    return Bench(boat, dataclasses.replace(circuit, signals=signals), tuple(_always(boat)), limits)


def _always(boat: Boat) -> Iterator[Edit]:
    """Every run: loads switched by the key stay where they are as resistances, the hold-up is full, its breaker is on.

    The start wire and the house wire get their ammeters at the source's end, ahead of any short along them.
    """
    yield Bridge("feed", "block", SENSE)
    yield Port("Xstartwire", 0, "startwire")
    yield Added("Vstartwire kn startwire 0")
    yield Added(f"Cwinding keyst block {WINDING!r}\nRinsulation keyst block {INSULATION!r}")
    if on_panel(boat):
        yield Port("Rpanel", 0, "panelwire")
        yield Added(f"Vpanelwire {node_of(boat, boat.panel.source)} panelwire 0")
    if boat.link.kind == "diode isolator":
        for element in ISOLATOR:
            yield Port(element, 0, f"{element}a")
            yield Added(f"V{element} altp {element}a 0")
    for k, load in enumerate(boat.loads):
        if load.at in ("feed", HELD_UP) and load.by_key:
            to = {"engine block": "block", "battery negative": "0"}.get(load.return_to, "dr")
            ohm = _resistance(load.kind, load.amount, boat.nominal_voltage)
            yield Line(f"Xload{k}", f"Rload{k} ld{k} {to} {ohm!r}")
    for k in range(len(boat.displays)):
        for state in ("on0", "bt0", "v0"):
            yield Parameter(f"Xdisplay{k}", state, 0.0)
    if isinstance(boat.hold_up, Bank):
        yield Parameter("Xbank", "v0", boat.alternator.charge_voltage)
    elif isinstance(boat.hold_up, HouseFeed):
        yield Port("Xhousekey", 2, "one")
        yield Port("Xhousewire", 0, "housewire")
        yield Added("Vhousewire house housewire 0")


def _resistance(kind: str, amount: float, voltage: float) -> float:
    amount = max(amount, 1e-6)
    return {"current": voltage / amount, "power": voltage**2 / amount}.get(kind, amount)


def _wire(boat: Boat, path: str) -> float | None:
    """Ampacity of a conductor of the scenario where it runs [A]; None where it has no size."""
    found = carrying(boat.values, path)
    return None if found is None else found.current


def _watched(boat: Boat) -> Iterator[tuple[str, str, str | None, float | None]]:
    """Elements whose current is read: name, signal, vector if it is a new one, limit [A]."""
    fuse = boat.values.get("feed.fuse")
    if fuse is not None and isinstance(fuse.value, float):
        yield "display feed fuse", "feed_current", None, fuse.value
    yield "display feed conductor", "feed_current", None, _wire(boat, "feed.size")
    yield "display return conductor", "return_current", None, _wire(boat, "feed.return_size")
    wire = _wire(boat, "start_circuit.size")
    yield "start wire", "start_wire_current", "i(vstartwire)", wire
    if not boat.start.shares_feed:
        yield "start circuit's supply wire", "start_supply_current", "i(vstart)", wire
    yield BATTERY, "battery_current", None, None
    if boat.house is not None:
        yield HOUSE, "house_current", None, None
    if on_panel(boat):
        yield PANEL, "panel_feeder_current", "i(vpanelwire)", _wire(boat, "panel.size")
    if boat.link.kind == "diode isolator":
        for element, part in ISOLATOR.items():
            yield part, f"{element}_current", f"i(v{element})".lower(), boat.alternator.rating
    if boat.start.relay is not None:
        yield CONTACT_WIRE, "contact_wire_current", "i(vs)", None
    hold = boat.hold_up
    if isinstance(hold, StandbyPack):
        yield "hold-up fuse", "pack_current", None, hold.fuse_rating
        yield "hold-up conductor", "pack_current", None, _wire(boat, "hold_up.size")
        if hold.relay is not None:
            yield "hold-up relay's coil wire", "coil_wire_current", "i(vcoil)", SMALL_WIRE
    elif isinstance(hold, Bank):
        yield "hold-up fuse", "hold_up_current", None, hold.fuse_rating
    elif isinstance(hold, HouseFeed):
        yield "hold-up fuse", "house_wire_current", "i(vhousewire)", hold.fuse_rating
        yield "hold-up conductor", "house_wire_current", None, _wire(boat, "hold_up.size")
    elif isinstance(hold, ConverterAhead):
        yield "converter fuse", "converter_fuse_current", None, hold.fuse_rating


class Tally:
    """Runs of the solver that this process has made."""

    runs = 0


def run_fault(bench: Bench, fault: Fault, phases: int = 3, more: tuple[Edit, ...] = ()) -> Run:
    """One run of the first `phases` of off, RUN and START, with more changes of the deck."""
    Tally.runs += 1
    circuit = dataclasses.replace(bench.circuit, signals={**bench.circuit.signals, **dict(fault.reads)})
    vectors = tuple(dict.fromkeys(v for s in circuit.signals.values() for v in (s.plus, s.minus) if v))
    deck = dataclasses.replace(
        circuit.deck,
        text=edited(_from_nothing(circuit.deck.text), (*bench.always, *more, *fault.edits)),
        vectors=vectors,
        envelope=_wide(bench.boat, circuit.deck.envelope, vectors),
        step_ceiling=STEP,
        preroll=0.0,
        stop_time=(circuit.times.key_on, circuit.times.starts[0], circuit.times.stop)[phases - 1],
        title=f"{circuit.deck.title}: {fault.part} {fault.fault}",
    )
    waveforms = get_solver().run(deck)
    return Run(read_traces(circuit, waveforms), circuit.times, phases)


def _from_nothing(text: str) -> str:
    """The deck without the sound boat's state at rest, which a fault contradicts; all settles long before key-on."""
    return "\n".join(line for line in text.splitlines() if not line.startswith(".ic "))


def _wide(
    boat: Boat, envelope: Mapping[str, tuple[float, float]], vectors: tuple[str, ...]
) -> dict[str, tuple[float, float]]:
    """Bounds that hold with any one part failed: sources in series, every source shorted, either polarity.

    States and speeds keep their own bounds; a motor may turn backwards.
    """
    hold = boat.hold_up
    sources = [boat.battery.open_circuit_voltage, boat.alternator.charge_voltage]
    shorts = [boat.battery.open_circuit_voltage / boat.battery.resistance_instant, boat.alternator.rating]
    if boat.house is not None:
        sources.append(boat.house.open_circuit_voltage)
        shorts.append(boat.house.open_circuit_voltage / boat.house.resistance_instant)
    if isinstance(hold, StandbyPack):
        sources.append(hold.pack.open_circuit_voltage)
        shorts.append(hold.pack.short_circuit_current)
    elif isinstance(hold, Bank):
        sources.append(boat.alternator.charge_voltage)
        shorts.append(boat.alternator.charge_voltage / max(hold.bank.esr, 1e-3))
    volts, amperes = sum(sources), ROOM * sum(shorts)
    wide = {}
    for vector in vectors:
        low, high = envelope.get(vector, (0.0, 0.0))
        if vector.startswith("i("):
            wide[vector] = (min(low, -amperes), max(high, amperes))
        elif (low, high) == (-0.1, 1.1) or vector in ("v(w)", "v(we)", "v(xengine.wa)", "v(th)"):
            wide[vector] = (min(low, -high), max(high, 1e3 if vector == "v(th)" else high))
        else:
            wide[vector] = (min(low - volts, -high - volts), max(high + volts, -low + volts))
    return wide


def windows(run: Run) -> Iterator[tuple[str, float, float]]:
    times = run.times
    yield "off", SETTLED, times.key_on - 1e-3
    if run.phases > 1:
        yield "run", times.key_on, times.starts[0] - 1e-3
    if run.phases > 2:
        yield "start", times.starts[0], times.stop


@dataclass(frozen=True, slots=True)
class Pulse:
    """A current above a limit that is over before the key moves on: `i2t` of it [A2 s], its `duration` above the limit
    [s], its `peak` [A]."""

    i2t: float
    duration: float
    peak: float


def lasting_current(run: Run, values: np.ndarray, key: str, limit: float | None = None, power: int = 2) -> float:
    """Rms current (or mean, `power` 1) when a position of the key ends, over the last `HEATS` [A]; in START before the
    release, or after it if that is more, or over the last `TURN` before it where the current rises above `limit` there,
    as it does with each compression."""
    begin, end = next((a, b) for name, a, b in windows(run) if name == key)
    if key != "start":
        return heating_current(run, values, max(begin, end - HEATS), end, power)
    release = run.times.releases[0]
    found = [heating_current(run, values, max(begin, last - HEATS), last, power) for last in (release, end)]
    turn = release - TURN
    over = _over(run, values, limit, begin, release)
    turn = max([turn, *(b for a, b in over if a <= turn)])  # a front that ends within the turn is no part of it
    if any(a > turn for a, _ in over):
        found.append(heating_current(run, values, turn, release, power, length=TURN))
    return max(found)


def _over(run: Run, values: np.ndarray, limit: float | None, begin: float, end: float) -> list[tuple[float, float]]:
    """Intervals of deck time in which a current is above a limit."""
    if limit is None:
        return []
    shift = run.times.key_on
    time, part = between(run.traces.time, np.abs(values), begin - shift, end - shift)
    return [(a + shift, b + shift) for a, b in intervals_below(time, -part, -limit)]


def pulse(run: Run, values: np.ndarray, limit: float, key: str) -> Pulse | None:
    """What of a current lies above `limit` [A] in a position of the key, where it is over by the end; None where it
    lasts. A current that comes and goes with the engine's compressions lasts.
    """
    if lasting_current(run, values, key, limit) > limit:
        return None
    shift = run.times.key_on
    begin, end = next((a, b) for name, a, b in windows(run) if name == key)
    time, part = between(run.traces.time, np.abs(values), begin - shift, end - shift)
    over = sum(b - a for a, b in _over(run, values, limit, begin, end))
    return Pulse(pulse_i2t(time, part, limit), over, float(part.max()))


def held_extreme(run: Run, values: np.ndarray, begin: float, end: float, duration: float) -> float:
    """The extreme held for `duration`, with its sign; times in deck time."""
    shift = run.times.key_on
    time, part = between(run.traces.time, values, begin - shift, end - shift)
    high = -held_minimum(time, -part, duration)
    low = held_minimum(time, part, duration)
    return high if high >= -low else low


def heating_current(
    run: Run, values: np.ndarray, begin: float, end: float, power: int = 2, length: float = HEATS
) -> float:
    """Highest rms (or mean, `power` 1) over any stretch of `length` [s] within a window of deck time [A]."""
    shift = run.times.key_on
    time, part = between(run.traces.time, values, begin - shift, end - shift)
    steps = 0.5 * np.diff(time) * (part[1:] ** power + part[:-1] ** power)
    total = np.concatenate(([0.0], np.cumsum(steps)))
    length = min(length, float(time[-1] - time[0]))
    # a stretch that holds most begins or ends at a sample; a pulse right at the start is not to be cut
    ends = np.concatenate((time, time + length))
    ends = ends[(ends >= time[0] + length - 1e-12) & (ends <= time[-1] + 1e-12)]
    means = (np.interp(ends, time, total) - np.interp(ends - length, time, total)) / length
    return float(max(means.max(), 0.0) ** (1.0 / power))
