# SPDX-License-Identifier: GPL-3.0-or-later
"""A display under each level of a starting profile: its verdict and its functional class.

Classes of ISO 16750-1, from memory, and what stands for them here:

A  all functions during and after: the sensed supply never falls under the brown-out threshold;
B  during, though out of tolerance for a while: it falls under the threshold, too briefly for a reset;
C  one or more functions fail and come back by themselves: it resets, or does not run at the profile's resting voltage,
   and runs before the end;
D  they come back after a simple action of the user: it is off at the end. Whether switching off and on would help
   (D) or a repair is due (E) a simulation without damage cannot tell; D is given for both.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np

from cranksag.circuit import Circuit
from cranksag.circuit.bench import BenchSetup, bench_boat, boat_lead, build_bench, profile_start
from cranksag.errors import InputError
from cranksag.profiles import Level, Profile
from cranksag.resolve.model import Boat, Note, StandbyPack
from cranksag.solver import LADDER, Settings, Waveforms, get_solver
from cranksag.verdict.display import judge_displays, worst_display
from cranksag.verdict.hold_up import hold_up_report
from cranksag.verdict.results import DisplayResult, Traces
from cranksag.verdict.switching import MARGIN_BAND

FunctionalClass = Literal["A", "B", "C", "D"]

CLASSES: Final[Mapping[str, str]] = {
    "A": "works during and after",
    "B": "under its threshold for a moment, no reset",
    "C": "resets and comes back by itself",
    "D": "does not come back by itself (or E: a simulation cannot tell)",
}
"""Functional classes of ISO 16750-1 (from memory) in the words of this verdict."""
CLASS_PROVENANCE: Final = "memory"
HARNESS_BENCH: Final = BenchSetup()
"""The source where the feed is tapped, the start signal with the fall."""
BLIP: Final = 1e-5  # [s] below the threshold for no longer is the solver's resolution of a touch


@dataclass(frozen=True)
class LevelResult:
    """One level of a profile on the bench.

    display: the worst of `displays`; classes: of each of them, functional_class: the worst of these;
    source_minimum: lowest voltage at the source's terminal [V]; start: moment in
    `traces` at which the profile begins [s]; hold_up: report of the branch; notes: what should be known beside it.
    """

    level: Level
    display: DisplayResult
    displays: tuple[DisplayResult, ...]
    classes: tuple[FunctionalClass, ...]
    functional_class: FunctionalClass
    source_minimum: float
    start: float
    hold_up: Mapping[str, Any]
    notes: tuple[Note, ...]
    traces: Traces


def functional_class(display: DisplayResult, ran_before: bool) -> FunctionalClass:
    """The class of one display's verdict; `ran_before`: it ran when the profile began."""
    if display.dark_time is None:
        return "D"
    if display.restarts or not ran_before:
        return "C"
    return "B" if display.time_below_threshold > BLIP else "A"


def bench_traces(circuit: Circuit, waveforms: Waveforms) -> Traces:
    """The signals on a time axis that is 0 at key-on; the end of the crank part stands for the engine firing."""
    signals = {name: signal.read(waveforms.vectors) for name, signal in circuit.signals.items()}
    signals["fired"] = (waveforms.time >= circuit.times.releases[-1]).astype(np.float64)
    return Traces(np.asarray(waveforms.time - circuit.times.key_on), signals)


def judge_level(boat: Boat, level: Level, circuit: Circuit, waveforms: Waveforms) -> LevelResult:
    """What the run of one level says about the displays; `boat` as from `cranksag.circuit.bench.bench_boat`."""
    traces, times = bench_traces(circuit, waveforms), circuit.times
    displays = judge_displays(boat, traces, times)
    report = hold_up_report(boat, traces, times)
    start = profile_start(level, times) - times.key_on
    judged = traces.time >= start
    ran = tuple(_ran(traces, k, start) for k in range(len(displays)))
    classes = tuple(functional_class(d, r) for d, r in zip(displays, ran, strict=True))
    return LevelResult(
        level=level,
        display=worst_display(displays),
        displays=displays,
        classes=classes,
        functional_class=max(classes),
        source_minimum=float(traces.signals["source"][judged].min()),
        start=start,
        hold_up=report,
        notes=(*_notes(boat, displays, ran, report, start), *_ends_low(boat, displays, level, traces)),
        traces=traces,
    )


def _ran(traces: Traces, number: int, moment: float) -> bool:
    return float(np.interp(moment, traces.time, traces.signals[f"display_{number}_runs"])) > 0.5


def _notes(
    boat: Boat, displays: tuple[DisplayResult, ...], ran: tuple[bool, ...], report: Mapping[str, Any], start: float
) -> list[Note]:
    notes = []
    for display, ran_before in zip(displays, ran, strict=True):
        if abs(display.margin) < MARGIN_BAND:
            margin = f"{display.name}: margin {display.margin * 1e3:+.0f} mV, too near to call"
            notes.append(Note("near_switching", margin))
        if not ran_before:
            notes.append(Note("never_started", f"{display.name} does not run at the profile's resting voltage"))
    hold = boat.hold_up
    if isinstance(hold, StandbyPack) and hold.relay is not None:
        closes = report.get("relay_closes_s")
        if closes is None:
            notes.append(Note("hold_up_not_closing", "the hold-up relay does not pick up on the profile's voltage"))
        elif closes > max(start, worst_display(displays).minimum_at):
            late = f"the hold-up relay picks up {closes - start:.3g} s after the voltage began to fall, past its lowest"
            notes.append(Note("hold_up_late", late))
        if report.get("chatter_count"):
            notes.append(Note("hold_up_chatter", "the hold-up relay drops out and closes again"))
    ready = report.get("ready_after_s", 0.0)
    if ready is None or ready > start:
        wait = "the bank is not charged yet when the profile begins: --set crank.key_on_before gives it longer"
        notes.append(Note("hold_up_not_charged", wait))
    return notes


def _ends_low(boat: Boat, displays: tuple[DisplayResult, ...], level: Level, traces: Traces) -> Iterator[Note]:
    """A display that stays dark only because the profile stays where no display can boot."""
    last = level.corners[-1][1]
    left = min(last, float(traces.signals["display"][-1])) if boat.branch == "none" else last
    for display, written in zip(displays, boat.displays, strict=True):
        if display.dark_time is None and left < written.circuit.restarts_above:
            told = (
                f"{display.name} stays dark because the profile ends at {last:g} V and it boots again above "
                f"{written.circuit.restarts_above:g} V: end the profile at the resting voltage to see it come back"
            )
            yield Note("ends_low", told)


def level_document(result: LevelResult) -> dict[str, Any]:
    """One entry of `levels` in the JSON document of the bench."""
    display = result.display
    return {
        "level": result.level.name,
        "minimum_voltage_v": display.minimum_voltage,
        "time_below_threshold_s": display.time_below_threshold,
        "restarts": display.restarts,
        "functional_class": result.functional_class,
        "provenance": result.level.provenance,
        "source": result.level.source,
        "note": result.level.note,
        "display": display.name,
        "minimum_at_s": display.minimum_at - result.start,
        "fed_by": display.source,
        "brownout_v": display.brownout,
        "margin_v": display.margin,
        "dark_time_s": display.dark_time,
        "holds": display.holds,
        "source_minimum_v": result.source_minimum,
        "displays": [_display(d, c, result.start) for d, c in zip(result.displays, result.classes, strict=True)],
        "hold_up": _hold_up(result),
        "warnings": [{"code": n.code, "message": n.message} for n in result.notes],
    }


def _hold_up(result: LevelResult) -> dict[str, Any]:
    """The branch's report with its moments counted from the profile's beginning, as all others here."""
    moments = ("relay_closes_s", "relay_opens_s")
    return {k: v - result.start if k in moments and v is not None else v for k, v in result.hold_up.items()}


def _display(display: DisplayResult, letter: FunctionalClass, start: float) -> dict[str, Any]:
    return {
        "name": display.name,
        "minimum_voltage_v": display.minimum_voltage,
        "minimum_at_s": display.minimum_at - start,
        "margin_v": display.margin,
        "time_below_threshold_s": display.time_below_threshold,
        "restarts": display.restarts,
        "dark_time_s": display.dark_time,
        "functional_class": letter,
    }


def bench(
    boat: Boat,
    profile: Profile,
    levels: Sequence[str] | None = None,
    setup: BenchSetup = HARNESS_BENCH,
    ladder: tuple[Settings, ...] = LADDER,
) -> Iterator[LevelResult]:
    """Put a boat's display, harness and hold-up branch through a starting profile, level by level.

    Parameters
    ----------
    boat : resolved boat; batteries but the house bank, starter, engine and cables are not used.
    profile : shipped or a user's own.
    levels : names of levels; all of them by default.
    setup : how the bench is wired.
    ladder : groups of solver settings, tried in order.

    Returns
    -------
    Iterator of LevelResult in the order of `levels`; the boat and the names are checked at once.

    Raises
    ------
    InputError : a level that the profile lacks, or a profile for another system voltage.
    SimulationError : no answer worth trusting; a subclass says which way it failed.
    """
    refuse_voltage(boat, profile)
    chosen = profile.levels if levels is None else tuple(dict.fromkeys(profile.level(name) for name in levels))
    return _runs(bench_boat(boat), chosen, setup, ladder)


def _runs(
    boat: Boat, levels: tuple[Level, ...], setup: BenchSetup, ladder: tuple[Settings, ...]
) -> Iterator[LevelResult]:
    for level in levels:
        circuit = build_bench(boat, level, setup)
        yield judge_level(boat, level, circuit, get_solver().run(circuit.deck, ladder))


def refuse_voltage(boat: Boat, profile: Profile) -> None:
    """Refuse a profile made for another system voltage; a user's own without `nominal` is taken as it is.

    Raises
    ------
    InputError : 24 V on a 12 V boat, or the other way round.
    """
    nominal = profile.nominal_voltage
    if nominal is None or 0.7 < nominal / boat.nominal_voltage < 1.4:
        return
    what = f"{profile.name} is a profile for {nominal:g} V boats and this one has {boat.nominal_voltage:g} V"
    raise InputError([f"{what}: choose one for its voltage, --profile list names them"])


def remarks(boat: Boat, profile: Profile, setup: BenchSetup) -> tuple[str, ...]:
    """How this boat stands on the bench and what is left out, in sentences: to be read beside the result."""
    place = "at the display's end of the harness, whose drop does not count"
    if setup.through == "feed":
        place = "where the feed is tapped: the harness drop counts"
    found = [
        f"The source stands {place}. Batteries, starter and engine are not on the bench.",
        "Every display has booted before the profile begins, and each level is run once.",
    ]
    hold = boat.hold_up
    if boat.feed.dead_in_start or boat.feed.key_break > 0.0:
        found.append("The key stays in RUN: whether it cuts the feed in START is for `cranksag simulate`.")
    if isinstance(hold, StandbyPack) and hold.relay is not None:
        lead = f"{boat_lead(boat) * 1e3:.0f} ms"
        found.append(
            "The hold-up relay's coil hangs on the source while the profile is in its crank part; the wire to the "
            f"{hold.coil_at} and what else hangs on it are not on the bench."
        )
        found.append(
            f"The start signal comes {setup.start_lead * 1e3:.3g} ms before the voltage falls; on this boat start "
            f'relay and solenoid take about {lead}. The hardest case is --start-lead "0 s".'
        )
    if boat.branch == "house feed":
        found.append("The house bank is the boat's own and stands beside the source, undisturbed.")
    rest = min(level.rest for level in profile.levels)
    if profile.nominal_voltage is None and not 0.75 < rest / boat.nominal_voltage < 1.4:
        found.append(f"The profile rests at {rest:g} V, and the boat's system has {boat.nominal_voltage:g} V.")
    return tuple(found)
