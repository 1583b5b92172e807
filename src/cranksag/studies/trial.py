# SPDX-License-Identifier: GPL-3.0-or-later
"""One value in one corner: what it did, and in words why it did not hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from cranksag.parts.converter import input_current
from cranksag.resolve import Boat
from cranksag.resolve.model import ConverterAhead, Note
from cranksag.verdict.cables import OVERHEATS
from cranksag.verdict.results import Result
from cranksag.verdict.shortfall import late, shortfalls, uncharged

__all__ = ["Trial", "TrialMeasure"]

FUSE_LOAD = 0.75
"""Share of its rating that a fuse may carry for long: derating at room temperature; common practice of fuse makers."""

OWN = {
    "feed_fuse": ("feed.size", "feed.fuse", "feed.fuse_part"),
    "conductor_unprotected": ("hold_up.size", "hold_up.fuse", "hold_up.fuse_part", "feed.size"),
}
"""Notes, warnings among them, that rule out values of the fields they are about, also where the boat as written has
them."""


@dataclass(frozen=True, slots=True)
class Trial:
    """What became of one value in one corner.

    `margin` [V], None where the simulation failed; `minimum` [V]; `holds`: every display runs at START and none
    restarts; `starts`: the engine does, or was told never to fire; `refused`: a danger or an overload that rules the
    value out, else ""; `why`: what went wrong; `uncharged`: the bank was, at START; `notes`: code and
    message of every danger and warning of the run; `reached`: how far the start gets, 0 nowhere, 1 engages, 2 turns,
    3 fires; `supply`: what feeds the display at its minimum and where that loses most; `failed`: the simulation did.
    """

    margin: float | None
    minimum: float | None
    holds: bool
    starts: bool
    refused: str = ""
    why: str = ""
    uncharged: bool = False
    notes: Sequence[Sequence[str]] = ()
    reached: int = 3
    supply: str = ""
    failed: bool = False


@dataclass(frozen=True)
class TrialMeasure:
    """Result to payload: the fields of `Trial`.

    `path`: the sized field; `must_start`: the engine has to start as well; `ratings` [A] of the parts it may name;
    `known_dangers`: codes that the boat as written has already.
    """

    path: str
    must_start: bool = False
    ratings: dict[str, float] = field(default_factory=dict)
    known_dangers: tuple[str, ...] = ()

    def __call__(self, result: Result) -> list[Any]:
        holds = all(d.holds for d in result.displays) and not late(result)
        starts = result.cranks.turns and (result.cranks.fires or result.boat.fires_after is None)
        return [
            min(d.margin for d in result.displays),
            result.display.minimum_voltage,
            holds,
            starts,
            self._refused(result),
            self._told(result, holds, starts),
            uncharged(result),
            [[note.code, note.message] for note in (*result.dangers, *result.warnings)],
            sum((result.cranks.engages, result.cranks.turns, result.cranks.fires)),
            _supply(result),
        ]

    def _refused(self, result: Result) -> str:
        own = [note for note in result.warnings if self.path in OWN.get(note.code, ())]
        against = [*(note for note in result.dangers if self._counts(note)), *own]
        if against:
            return f"{against[0].code}: {against[0].message}"
        rating = self._rating(result.boat)
        load = _current(result.boat, self.path)
        if rating is not None and load > rating:
            return f"overloaded: it carries {load:.3g} A of at most {rating:.3g} A"
        return ""

    def _told(self, result: Result, holds: bool, starts: bool) -> str:
        if self.must_start and not starts:
            return result.cranks.reason
        return _lowest(result) if holds else _why(result)

    def _counts(self, note: Note) -> bool:
        """Whether a danger counts against the value: a starter's cable is no business of a display's supply."""
        if note.code == OVERHEATS:
            return self.must_start
        return note.code not in self.known_dangers or self.path in OWN.get(note.code, ())

    def _rating(self, boat: Boat) -> float | None:
        """Current that the sized part may carry [A]; None where none is known."""
        held = boat.values.get(self.path)
        if held is None:
            return None
        if self.path in ("hold_up.fuse", "feed.fuse"):
            return FUSE_LOAD * held.value if isinstance(held.value, float) else None
        return self.ratings.get(str(held.value).lower())


def _current(boat: Boat, path: str) -> float:
    """Largest lasting current through the part [A]: displays at their threshold, and what else hangs on the feed."""
    total = sum(max(d.circuit.power, d.circuit.boot_power) / d.circuit.brownout for d in boat.displays)
    if isinstance(boat.hold_up, ConverterAhead):
        unit, power = boat.hold_up.converter, sum(max(d.circuit.power, d.circuit.boot_power) for d in boat.displays)
        if path == "hold_up.converter":
            return power / unit.output_voltage
        if path in ("hold_up.fuse", "hold_up.fuse_part"):  # at its input, which draws most just above its cut-out
            return input_current(unit, power, unit.cut_out)
    if path not in ("feed.fuse", "feed.fuse_part"):
        return total
    lowest = min(d.circuit.brownout for d in boat.displays)
    for load in boat.loads:
        if load.at == "feed":
            by_resistance = boat.nominal_voltage / load.amount if load.kind == "resistance" else 0.0
            total += {"current": load.amount, "power": load.amount / lowest, "resistance": by_resistance}[load.kind]
    return total


def _why(result: Result) -> str:
    display = result.display
    if not display.holds and display.restarts == 0:
        return f"{display.name} never starts: its supply stays below its restart voltage"
    if display.holds and (names := late(result)):
        return f"{' and '.join(names)} is not running yet at START{_not_yet(result)}"
    times = "once" if display.restarts == 1 else f"{display.restarts} times"
    short = f"{-display.margin:.2f} V " if -display.margin >= 0.005 else ""
    told = f"{display.name} restarts {times}, held {short}below its threshold"
    return f"{told}{_attempt(result)}; {hint}" if (hint := ", ".join(shortfalls(result))) else told + _attempt(result)


def _not_yet(result: Result) -> str:
    """When START comes, and what a converter waits for."""
    boat, wait = result.boat, f", {result.boat.crank.key_on_before:.3g} s after key-on"
    if not isinstance(boat.hold_up, ConverterAhead):
        return wait
    delay = boat.hold_up.converter.restart_delay
    return f"{wait}: the converter starts {delay:.3g} s after its input has come (hold_up.restart_delay)"


def _lowest(result: Result) -> str:
    """Where the minimum of a display that holds stands, and what its hold-up lacks."""
    display = result.display
    at = f"lowest {display.minimum_voltage:z.2f} V at {display.minimum_at:.3g} s from key-on, fed by {_source(result)}"
    hint = ", ".join(shortfalls(result))
    return at + _attempt(result) + (f"; {hint}" if hint else "")


def _source(result: Result) -> str:
    return "the normal feed" if result.display.source == "feed" else result.display.source


def _supply(result: Result) -> str:
    """What feeds the display at its minimum, and of the normal feed the two elements that lose most."""
    if result.display.source != "feed":
        return _source(result)
    lines = sorted((line for line in result.demand_budget if not line.blocking), key=lambda line: -line.drop)
    lost = " and ".join(f"{line.drop:.2f} V in {line.element}" for line in lines[:2])
    return f"{_source(result)}, which loses {lost}"


def _attempt(result: Result) -> str:
    """In which attempt the minimum stands, where there are several."""
    crank = result.boat.crank
    if crank.attempts < 2:
        return ""
    number = int((result.display.minimum_at - crank.key_on_before) // (crank.key_held + crank.rest)) + 1
    return f" in attempt {min(max(number, 1), crank.attempts)}"
