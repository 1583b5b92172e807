# SPDX-License-Identifier: GPL-3.0-or-later
"""Tolerance: the share of boats of one drawing in which the display really holds.

Plain Monte Carlo over the spreads of `cranksag.studies.spreads`, each drawn independently. Every spread has its own
stream of random numbers, made from the seed and its path: the same seed gives the same boats whatever the number of
workers, and one spread more or less leaves the draws of the others alone. Fields that one specimen settles together
move together (`cranksag.studies.spreads.TIES`).

A boat counts as held if no display restarts and the engine starts. No draw leaves the denominator: the ones that could
not be computed are often those that strayed furthest, and a share without them would flatter the drawing. So

- where both ends of a rule stray (the user spreads ``restarts_above`` beside ``brownout``), a follower that falls below
  its leader is drawn again, the leader is not: the thresholds that boats fail by keep their own law;
- what still is no possible boat, and what the solver gives no result for, counts as not held and is told.

An interrupted run answers with the boats before the first that is not done yet, in the order in which they were drawn:
boats finish out of order, and among all that are done those that compute slowly, which are not like the others, would
be too few.

The statistics: `cranksag.studies.shares`.
"""

from __future__ import annotations

import dataclasses
import math
import zlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from cranksag.catalogue import Catalogue
from cranksag.errors import InputError, Interrupted, SimulationError
from cranksag.resolve import Boat, resolve
from cranksag.runner import BoatWork, Changed, Job, Overrides, Progress, StopRequest, limit_of, run_many, spec_at
from cranksag.runner.keys import digest
from cranksag.scenario import Scenario
from cranksag.scenario.specs import Quantity
from cranksag.simulate import Ladder, simulate_boat
from cranksag.solver import LADDER
from cranksag.studies.corners import text_of
from cranksag.studies.shares import (
    INTERVALS,
    Correlation,
    Driver,
    Running,
    caution,
    correlations,
    drivers,
    enough,
    interval,
    running,
)
from cranksag.studies.spreads import (
    DEFAULT_SPREADS,
    MULTIPLE,
    ON_THE_BOAT,
    Spread,
    Tie,
    drawn_unit,
    parse_spread,
    spreads_of,
    ties_of,
)
from cranksag.verdict.results import Result

__all__ = ["Draw", "Tolerance", "tolerance"]

MOST_DRAWS = 1_000_000
MOST_TRIES = 100
"""How often a follower below its leader is drawn again."""
NO_BOAT = "input"
"""What an outcome says of a draw that the input's rules refuse."""

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Draw:
    """One boat: fields as after ``--set``, and multiples on the resolved boat by their names in `ON_THE_BOAT`."""

    changes: Overrides
    multiples: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class DrawWork:
    """Crank a drawn boat: payload [margin V, minimum V, held, starts, reason]."""

    boats: BoatWork

    def prepare(self) -> None:
        """Load the solver's library."""
        self.boats.prepare()

    def __call__(self, task: Draw) -> list[Any]:
        boat = self.boats.boat(Changed(task.changes))
        for name, factor in task.multiples:
            boat = ON_THE_BOAT[name](boat, factor)
        result = self.boats.simulate(boat, self.boats.ladder)
        starts = result.cranks.turns and (result.cranks.fires or boat.fires_after is None)
        holds = all(d.holds for d in result.displays)
        why = "" if holds and starts else result.cranks.reason if holds else f"{result.display.name} restarts"
        return [min(d.margin for d in result.displays), result.display.minimum_voltage, holds and starts, starts, why]


@dataclass(frozen=True)
class Tolerance:
    """The answer of `tolerance`.

    `asked`: draws wanted; `draws`: boats the answer stands on, fewer where it was interrupted; `held` of them;
    `share` [-] and its interval `low`, `high` at `confidence` by `method`; `failed`: boats that gave no result and
    count as not held, with the first `reason`; `impossible`: those of them that are no possible boat; `redrawn`:
    boats of which a value was drawn again because it fell below the one it must not be below; `not_starting`: boats
    whose engine does not start; `correlations`: of every spread, strongest first; `drivers`: those beyond chance,
    three at most, with a `caution` (or ""); `running`: the share over the draws; `enough`: draws after which the
    interval stayed narrower than `width`, None if it never was; `margins`, `minima` [V] and `values` by path, one for
    each draw (nan: failed); `moved`: by path, values [SI] that moved with another; `ties`: which ones.
    """

    asked: int
    draws: int
    held: int
    share: float
    low: float
    high: float
    confidence: float
    method: str
    failed: int
    impossible: int
    redrawn: int
    reason: str
    not_starting: int
    correlations: tuple[Correlation, ...]
    drivers: tuple[Driver, ...]
    caution: str
    running: tuple[Running, ...]
    width: float
    enough: int | None
    seed: int
    spreads: tuple[Spread, ...]
    margins: Floats
    minima: Floats
    values: dict[str, Floats]
    moved: dict[str, Floats]
    ties: tuple[Tie, ...]

    @property
    def partial(self) -> bool:
        """Whether it was interrupted before every draw was done."""
        return self.draws < self.asked

    @property
    def worst(self) -> int | None:
        """The draw with the lowest margin; None if none gave one."""
        return int(np.nanargmin(self.margins)) if np.isfinite(self.margins).any() else None

    def document(self) -> dict[str, Any]:
        """The JSON document."""
        worst = self.worst
        return {
            "draws": self.draws,
            "held": self.held,
            "share": self.share,
            "interval_low": self.low,
            "interval_high": self.high,
            "confidence": self.confidence,
            "interval": self.method,
            "drivers": [asdict(found) for found in self.drivers],
            "drivers_caution": self.caution,
            "correlations": [asdict(found) for found in self.correlations],
            "worst": None if worst is None else self._boat(worst),
            "margin_v": {f"{q:g} %": _quantile(self.margins, q) for q in (1.0, 5.0, 50.0, 95.0)},
            "not_starting": self.not_starting,
            "asked": self.asked,
            "partial": self.partial,
            "failed": self.failed,
            "failed_reason": self.reason,
            "impossible": self.impossible,
            "redrawn": self.redrawn,
            "running": [
                {"draws": r.draws, "share": r.share, "interval_low": r.low, "interval_high": r.high}
                for r in self.running
            ],
            "enough": {"width": self.width, "draws": self.enough},
            "seed": self.seed,
            "spreads": [
                {"path": s.path, "law": s.law, "low": s.low, "middle": s.middle, "high": s.high,
                 "absolute": s.absolute, "unit": drawn_unit(s.path) if s.absolute else MULTIPLE,
                 "drawn_unit": drawn_unit(s.path), "source": s.source,
                 "moves": [tie.follower for tie in self.ties if tie.leader == s.path]}
                for s in self.spreads
            ],
        }  # fmt: skip

    def _boat(self, draw: int) -> dict[str, Any]:
        """A draw, the values of the strongest correlations first, each in its unit."""
        named = [found.path for found in self.correlations]
        return {
            "draw": draw,
            "margin_v": float(self.margins[draw]),
            "minimum_voltage_v": float(self.minima[draw]),
            "values": {path: float(self.values[path][draw]) for path in named},
            "units": {path: drawn_unit(path) for path in named},
            "moved": {path: {"value": float(at[draw]), "unit": drawn_unit(path)} for path, at in self.moved.items()},
        }


def _quantile(values: Floats, percent: float) -> float | None:
    known = values[np.isfinite(values)]
    return float(np.percentile(known, percent)) if known.size else None


def tolerance(
    scenario: Scenario,
    draws: int = 200,
    seed: int = 0,
    own: Sequence[str | Spread] = (),
    *,
    only: bool = False,
    confidence: float = 0.95,
    method: str = "clopper-pearson",
    width: float = 0.1,
    catalogue: Catalogue | None = None,
    workers: int | None = None,
    on: str | None = None,
    wall_limit: float | None = None,
    ladder: Ladder = LADDER,
    simulate: Callable[[Boat, Ladder], Result] = simulate_boat,
    progress: bool = False,
) -> Tolerance:
    """The share of boats that hold, over the spreads of real parts.

    Parameters
    ----------
    scenario : the boat as drawn
    draws : boats
    seed : of the draws
    own : ``PATH=SPEC`` of a spread, in place of the default one of that path
    only : no other spreads than these
    confidence : of the interval [-]
    method : "clopper-pearson" or "wilson"
    width : interval [-] at which the draws count as enough
    catalogue : parts; the shipped ones by default
    workers, on, wall_limit : as for a sweep
    ladder : groups of solver settings, tried in order
    simulate : an importable function from boat and ladder to result
    progress : tell on stderr how far it is

    Returns
    -------
    Tolerance; after Ctrl-C of the boats done so far

    Raises
    ------
    InputError
        Numbers out of range, or spreads that do not fit the boat.
    SimulationError
        Every simulation failed.
    Interrupted
        Ctrl-C before the first boat gave a result, or a second time.
    """
    _check(draws, seed, confidence, method, width)
    boat = resolve(scenario, catalogue)
    own = _read(own)
    spreads = spreads_of(boat, own, () if only else DEFAULT_SPREADS)
    if not spreads:
        raise InputError(["--tolerance: nothing strays; give at least one spread"])
    ties = ties_of(boat)
    values = {spread.path: _drawn(spread, boat, draws, seed) for spread in spreads}
    redrawn = _kept_apart(spreads, ties, values, boat, seed)
    settled = {spread.path for spread in own}
    ties = tuple(t for t in ties if t.leader in values and t.follower not in settled)
    moved = {t.follower: _within(t.follower, [t.moved(boat, v) for v in values[t.leader]]) for t in ties}
    work = DrawWork(BoatWork((scenario,), catalogue=catalogue, ladder=ladder, simulate=simulate, option="--tolerance"))
    table = np.full((draws, 2), math.nan)
    done, held, starts = np.zeros(draws, dtype=bool), np.zeros(draws, dtype=bool), np.ones(draws, dtype=bool)
    reasons: dict[int, tuple[str, str]] = {}
    with StopRequest() as stop, Progress(draws, "tolerance", quiet=not progress) as bar:
        outcomes = run_many(
            _jobs(work, boat, values | moved, draws), work, workers, on=on, wall_limit=wall_limit, stop=stop
        )
        try:
            for outcome in outcomes:
                done[outcome.number] = True
                if outcome.failure:
                    reasons[outcome.number] = outcome.failure, outcome.reason
                else:
                    margin, minimum, holds, begins, _ = outcome.payload
                    table[outcome.number] = margin, minimum
                    held[outcome.number], starts[outcome.number] = holds, begins
                bar.step(failed=bool(outcome.failure))
        finally:
            outcomes.close()
        count = draws if done.all() else int(np.argmin(done))
        if not np.isfinite(table[:count, 0]).any() and stop():
            raise Interrupted(f"interrupted after {bar.done} of {draws} draws: too few for an answer")
    drawn = Drawn(spreads, values, ties, moved, redrawn, (seed, confidence, method, width)).first(count)
    reasons = {number: why for number, why in reasons.items() if number < count}
    return _answer(draws, drawn, table[:count], held[:count], starts[:count], reasons)


def _check(draws: int, seed: int, confidence: float, method: str, width: float) -> None:
    problems = []
    if not 1 <= draws <= MOST_DRAWS:
        problems.append(f"--draws {draws}: must be 1 to {MOST_DRAWS}")
    if seed < 0:
        problems.append(f"--seed {seed}: must not be negative")
    if not 0.5 <= confidence < 1.0:
        problems.append(f"--confidence {confidence:g}: must be 0.5 or more and below 1")
    if method not in INTERVALS:
        problems.append(f"--interval {method}: must be one of {', '.join(INTERVALS)}")
    if not 0.0 < width < 1.0:
        problems.append(f"--width {width:g}: must be above 0 and below 1")
    if problems:
        raise InputError(problems)


def _read(own: Sequence[str | Spread]) -> list[Spread]:
    found: list[Spread] = []
    problems: list[str] = []
    for item in own:
        try:
            found.append(parse_spread(item) if isinstance(item, str) else item)
        except InputError as error:
            problems += error.problems
    paths = [spread.path for spread in found]
    problems += [f"--tolerance {path}: given twice" for path in dict.fromkeys(paths) if paths.count(path) > 1]
    if problems:
        raise InputError(problems)
    return found


def _drawn(spread: Spread, boat: Boat, draws: int, seed: int) -> Floats:
    """Drawn values of one spread: in SI for a field, multiples for what is on the boat."""
    shares = _stream(seed, spread.path).random(draws)
    return _within(spread.path, [_value(spread, boat, share) for share in shares])


def _stream(*words: int | str) -> np.random.Generator:
    return np.random.Generator(np.random.PCG64([zlib.crc32(w.encode()) if isinstance(w, str) else w for w in words]))


def _value(spread: Spread, boat: Boat, share: float) -> float:
    drawn = spread.at(share)
    if spread.absolute or spread.path in ON_THE_BOAT:
        return drawn
    return drawn * float(boat.values[spread.path].value)


def _within(path: str, values: Sequence[float]) -> Floats:
    """Values kept within what their field takes, as the boat that is cranked has them."""
    found: Floats = np.array(values, dtype=float)
    if path in ON_THE_BOAT:
        return found
    field = spec_at(path)
    low, high = field.limits if isinstance(field, Quantity) else (field.low, field.high)
    return np.asarray(np.clip(found, low, high), dtype=float)


def _kept_apart(
    spreads: Sequence[Spread], ties: Sequence[Tie], values: dict[str, Floats], boat: Boat, seed: int
) -> frozenset[int]:
    """Draw followers again that fell below their leader, in place; the draws this was done in.

    Each try has a stream of its own, so that the answer depends neither on other spreads nor on other draws.
    """
    by_path = {spread.path: spread for spread in spreads}
    again: set[int] = set()
    for tie in ties:
        spread = by_path.get(tie.follower)
        if not tie.floor or spread is None:
            continue
        floors = values.get(tie.leader, np.full(len(values[tie.follower]), float(boat.values[tie.leader].value)))
        for number in np.flatnonzero(values[tie.follower] < floors):
            again.add(int(number))
            for attempt in range(MOST_TRIES):
                share = _stream(seed, tie.follower, int(number), attempt).random()
                (values[tie.follower][number],) = _within(tie.follower, [_value(spread, boat, share)])
                if values[tie.follower][number] >= floors[number]:
                    break
    return frozenset(again)


def _jobs(work: DrawWork, boat: Boat, values: dict[str, Floats], draws: int) -> Iterator[Job]:
    fingerprint, limit = work.boats.fingerprint(), limit_of(boat)
    fields = [path for path in values if path not in ON_THE_BOAT]
    multiples = [name for name in ON_THE_BOAT if name in values]
    for number in range(draws):
        task = Draw(
            tuple((path, text_of(path, float(values[path][number]))) for path in fields),
            tuple((name, float(values[name][number])) for name in multiples),
        )
        yield Job(digest(fingerprint, "draw", repr(task)), task, limit)


@dataclass(frozen=True, slots=True)
class Drawn:
    """What was drawn, as in `Tolerance`; `choice`: seed, confidence, method and width."""

    spreads: tuple[Spread, ...]
    values: dict[str, Floats]
    ties: tuple[Tie, ...]
    moved: dict[str, Floats]
    redrawn: frozenset[int]
    choice: tuple[int, float, str, float]

    def first(self, count: int) -> Drawn:
        """The first of the draws alone."""
        values, moved = ({path: at[:count] for path, at in held.items()} for held in (self.values, self.moved))
        return dataclasses.replace(
            self, values=values, moved=moved, redrawn=frozenset(n for n in self.redrawn if n < count)
        )


def _answer(
    asked: int,
    drawn: Drawn,
    table: Floats,
    held: npt.NDArray[np.bool_],
    starts: npt.NDArray[np.bool_],
    reasons: dict[int, tuple[str, str]],
) -> Tolerance:
    seed, confidence, method, width = drawn.choice
    known = np.isfinite(table[:, 0])
    first = ": ".join(reasons[min(reasons)]) if reasons else ""
    if not known.any():
        raise SimulationError(f"every run failed; the first: {first}", why="", todo="Try the boat with simulate.")
    count, total = int(held.sum()), len(table)
    low, high = interval(count, total, confidence, method)
    found = correlations(drawn.spreads, drawn.values, table[:, 0], held, known)
    named = drivers(found, drawn.values, table[:, 0], known)
    return Tolerance(
        asked=asked,
        draws=total,
        held=count,
        share=count / total,
        low=low,
        high=high,
        confidence=confidence,
        method=method,
        failed=int((~known).sum()),
        impossible=sum(kind == NO_BOAT for kind, _ in reasons.values()),
        redrawn=len(drawn.redrawn),
        reason=first,
        not_starting=int((~starts[known]).sum()),
        correlations=found,
        drivers=named,
        caution=caution(len(named), int((known & ~held).sum()), int(known.sum())),
        running=running(held, confidence, method),
        width=width,
        enough=enough(held, confidence, method, width),
        seed=seed,
        spreads=drawn.spreads,
        margins=table[:, 0],
        minima=table[:, 1],
        values=drawn.values,
        moved=drawn.moved,
        ties=drawn.ties,
    )
