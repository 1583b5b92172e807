# SPDX-License-Identifier: GPL-3.0-or-later
"""The answer of a size: what became of every value that was tried, as data, as a document and in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from cranksag.errors import SimulationError
from cranksag.runner import spec_at
from cranksag.scenario.specs import Text
from cranksag.studies.axes import Axis
from cranksag.studies.search import FAILS, NO_RESULT, NO_START, OPEN, RULED_OUT, SHORT, Search

__all__ = ["Size", "Tried", "answer_of"]

LITTLE = 0.1  # [V] margins that differ by less say that the part is not what limits; engineering estimate


@dataclass(frozen=True, slots=True)
class Tried:
    """A value of the shelf as far as it was tried.

    `value` as written; `si` [SI], None for a name; `holds`: in every corner, None where that was left open; `corner`:
    the hardest of those that were tried; `margin` [V] and `why` (what goes wrong) in it; `complete`: every corner was
    tried; `verdict` in one word or a few: as in `cranksag.studies.search`.
    """

    value: str
    si: float | None
    holds: bool | None
    margin: float | None
    corner: str
    why: str
    complete: bool
    verdict: str


@dataclass(frozen=True, slots=True)
class Told:
    """A danger or warning of the answer: `code`, `message`, and the first of the corners in which it stands."""

    code: str
    message: str
    corner: str


@dataclass(frozen=True, slots=True)
class Size:
    """The answer of `size`.

    `margin_wanted` [V]; `answer`: the smallest value that holds, None if no value does; `next_smaller`: the one before
    it on the shelf; `best`: where none holds, the value that comes nearest; `reason`: why none holds; `monotone`: no
    larger value was seen to fail where a smaller one holds; `tried`: values that were tried, ascending; `corners`:
    their names; `fails_in`: those in which the best does not hold, of which `short_in` lack only margin;
    `not_starting`: those in which the engine does not start with the answer (or the best); `warnings`: what the answer
    is warned of in any corner, each code once; `set_aside`: corners in which no value holds and none starts the engine,
    which are not among `corners`; `runs`: simulations; `shelf`: values on it.
    """

    path: str
    margin_wanted: float
    answer: Tried | None
    next_smaller: Tried | None
    best: Tried | None
    reason: str
    monotone: bool
    tried: tuple[Tried, ...]
    corners: tuple[str, ...]
    fails_in: tuple[str, ...]
    short_in: tuple[str, ...]
    not_starting: tuple[str, ...]
    notes: tuple[str, ...]
    warnings: tuple[Told, ...]
    set_aside: tuple[str, ...]
    runs: int
    shelf: int

    @property
    def holds(self) -> bool:
        """Whether a value of the shelf holds."""
        return self.answer is not None

    def document(self) -> dict[str, Any]:
        """The JSON document."""
        shown = self.answer if self.answer is not None else self.best
        smaller = self.next_smaller
        return {
            "path": self.path,
            "value": None if self.answer is None else self.answer.value,
            "value_si": None if self.answer is None else self.answer.si,
            "margin_v": None if shown is None else shown.margin,
            "margin_wanted_v": self.margin_wanted,
            "binding_corner": None if shown is None else shown.corner,
            "next_smaller": None
            if smaller is None
            else {
                "value": smaller.value,
                "margin_v": smaller.margin,
                "corner": smaller.corner,
                "why": smaller.why,
                "verdict": smaller.verdict,
            },
            "holds": self.holds,
            "reason": self.reason,
            "nearest": None if self.best is None else self.best.value,
            "monotone": self.monotone,
            "corners": list(self.corners),
            "fails_in": list(self.fails_in),
            "short_in": list(self.short_in),
            "not_starting": list(self.not_starting),
            "set_aside": list(self.set_aside),
            "tried": [
                {
                    "value": t.value,
                    "holds": t.holds,
                    "verdict": t.verdict,
                    "margin_v": t.margin,
                    "corner": t.corner,
                    "why": t.why,
                    "complete": t.complete,
                }
                for t in self.tried
            ],
            "notes": list(self.notes),
            "warnings": [{"code": t.code, "message": t.message, "corner": t.corner} for t in self.warnings],
            "runs": self.runs,
            "shelf_values": self.shelf,
        }


def answer_of(
    path: str, wanted: float, axis: Axis, names: Sequence[str], search: Search, notes: tuple[str, ...]
) -> Size:
    """The answer of a finished search.

    Raises
    ------
    SimulationError
        Every run failed.
    """
    trials = search.trials
    if trials and all(trial.failed for trial in trials.values()):
        first = next(iter(trials.values())).why
        raise SimulationError(f"every run failed; the first: {first}", why="", todo="Try one of them with simulate.")
    tried = {v: _tried(v, axis, names, search) for v in range(len(axis)) if search.of(v)}
    found = search.smallest()
    place = found if found is not None else search.nearest()
    best = None if found is not None else tried[place]
    idle = tuple(names[c] for c, trial in search.of(place).items() if not trial.starts and not trial.failed)
    return Size(
        path=path,
        margin_wanted=wanted,
        answer=None if found is None else tried[found],
        next_smaller=None if not found else tried[found - 1],
        best=best,
        reason="" if best is None else _reason(axis, best, wanted),
        monotone=search.monotone,
        tried=tuple(tried.values()),
        corners=tuple(name for c, name in enumerate(names) if c not in search.aside),
        fails_in=tuple(names[c] for c, trial in search.of(place).items() if not search.passes(trial)),
        short_in=tuple(names[c] for c, trial in search.of(place).items() if search.verdict(trial) == SHORT),
        not_starting=idle,
        notes=notes if best is None else (*notes, *_not_the_part(path, place, names, search)),
        warnings=() if found is None else _warnings(found, names, search),
        set_aside=tuple(names[c] for c in sorted(search.aside)),
        runs=len(trials),
        shelf=len(axis),
    )


def _warnings(value: int, names: Sequence[str], search: Search) -> tuple[Told, ...]:
    """Dangers and warnings of a value; of a code that stands in several corners the first, the boat as written."""
    found: dict[str, list[Told]] = {}
    for corner, trial in sorted(search.of(value).items()):
        here = [Told(code, message, names[corner]) for code, message in trial.notes]
        for code in {told.code for told in here} - found.keys():
            found[code] = [told for told in here if told.code == code]
    return tuple(told for same in found.values() for told in same)


def _not_the_part(path: str, best: int, names: Sequence[str], search: Search) -> tuple[str, ...]:
    """That most values do as little as the best in its hardest corner, and what limits there instead."""
    corner = search.hardest(best)
    assert corner is not None
    here = search.trials[best, corner]
    if search.verdict(here) not in (SHORT, FAILS) or here.uncharged or here.margin is None:
        return ()
    others = [t for v in range(search.values) if (t := search.trials.get((v, corner))) is not None]
    compared = [t.margin for t in others if t.margin is not None and not t.refused]
    alike = [margin for margin in compared if abs(margin - here.margin) <= LITTLE]
    if len(alike) < 2 or 2 * len(alike) < len(compared):
        return ()
    span = f"{min(alike):+z.2f} V" + (f" to {max(alike):+z.2f} V" if max(alike) - min(alike) >= 0.005 else "")
    told = f"it is not {path} that limits: {len(alike)} of {len(compared)} values compared have {span} of margin"
    return (f"{told} in the corner {names[corner]!r}, where the display is fed by {here.supply}",)


def _tried(value: int, axis: Axis, names: Sequence[str], search: Search) -> Tried:
    corner = search.hardest(value)
    assert corner is not None
    trial = search.trials[value, corner]
    decided = search.decided(value)
    named = isinstance(spec_at(axis.path), Text) or math.isnan(axis.values[value])
    return Tried(
        value=axis.texts[value],
        si=None if named else axis.values[value],
        holds=decided,
        margin=trial.margin,
        corner=names[corner],
        why=trial.refused or trial.why,
        complete=search.everywhere(value),
        verdict=OPEN if decided is None else search.verdict(trial),
    )


def _reason(axis: Axis, best: Tried, wanted: float) -> str:
    """Why no value holds, from the one that comes nearest."""
    span = axis.texts[0] if len(axis) == 1 else f"{axis.texts[0]} to {axis.texts[-1]}"
    margin = best.margin if best.margin is not None else math.nan
    short = f"{wanted - margin:.2f} V short of the wanted margin of {wanted:g} V"
    told = {
        SHORT: f"keeps the display running but is {short}",
        FAILS: f"fails with {margin:.2f} V of margin" if margin >= wanted else f"fails, {short},",
        RULED_OUT: "is ruled out",
        NO_START: "does not start the engine",
        NO_RESULT: "gives no result",
    }[best.verdict]
    because = f": {best.why}" if best.why else ""
    nearest = "it" if len(axis) == 1 else f"the nearest, {best.value},"
    return f"no value of {span} holds, because {nearest} {told} in the corner {best.corner!r}{because}"
