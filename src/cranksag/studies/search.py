# SPDX-License-Identifier: GPL-3.0-or-later
"""The search of `size`: brackets the smallest value that holds, then proves it.

A few values are tried in every corner; from then on each smaller value has to be shown to fail, in the corner that is
hardest on its neighbours first, so that most cost one run. No order of the values is assumed: where one fails above one
that holds, all are decided. The answer is that of trying every value in every corner.

A corner may be one that no boat can be asked to bear: where none of the values starts the engine, and none holds, it is
set aside, after every value was tried in it, and counts against none of them. A run without result keeps its corner.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable

from cranksag.studies.trial import Trial

__all__ = ["FAILS", "HOLDS", "NO_RESULT", "NO_START", "OPEN", "RULED_OUT", "SHORT", "Pair", "Search"]

HOLDS, SHORT, FAILS, RULED_OUT, NO_START, NO_RESULT, OPEN = (
    "holds", "short of margin", "fails", "ruled out", "engine does not start", "no result", "open",
)  # fmt: skip
"""What became of a value: the display runs on with less than the wanted margin where it is `SHORT`, and restarts or is
not up at START where it `FAILS`."""

Pair = tuple[int, int]
"""Position of a value and of a corner."""

TOLERANCE = 1e-9
"""Of the wanted margin [V]: a margin that differs by rounding counts."""


class Search:
    """Which value is the smallest that holds: values 0 to `values` - 1, each in `corners` corners, of which those of
    `optional` are set `aside` where no value starts the engine and none holds."""

    def __init__(
        self, values: int, corners: int, wanted: float, must_start: bool, optional: Collection[int] = ()
    ) -> None:
        self.values, self.corners, self.optional = values, range(corners), frozenset(optional)
        self.aside: frozenset[int] = frozenset()
        self.wanted, self._must_start = wanted, must_start
        self.trials: dict[Pair, Trial] = {}
        self.monotone = True

    # --- what is known -------------------------------------------------------------------------------------------

    def take(self, pair: Pair, trial: Trial) -> None:
        """Keep what became of a value in a corner."""
        self.trials[pair] = trial

    def verdict(self, trial: Trial) -> str:
        """What became of a trial."""
        if trial.margin is None:
            return NO_RESULT
        if trial.refused:
            return RULED_OUT
        if self._must_start and not trial.starts:
            return NO_START
        if not trial.holds:
            return FAILS
        return HOLDS if trial.margin >= self.wanted - TOLERANCE else SHORT

    def passes(self, trial: Trial) -> bool:
        """Whether a trial is good enough."""
        return self.verdict(trial) == HOLDS

    def of(self, value: int) -> dict[int, Trial]:
        """Trials of a value by corner."""
        return {c: t for c in self.corners if c not in self.aside and (t := self.trials.get((value, c))) is not None}

    def decided(self, value: int) -> bool | None:
        """Whether a value holds in every corner; None while that is open."""
        trials = self.of(value)
        if any(not self.passes(trial) for trial in trials.values()):
            return False
        return True if self.everywhere(value) else None

    def everywhere(self, value: int) -> bool:
        """Whether a value was tried in every corner that counts."""
        return len(self.of(value)) == len(self.corners) - len(self.aside)

    def hardest(self, value: int) -> int | None:
        """The corner that is hardest on a value, of those tried."""
        trials = self.of(value)
        return min(trials, key=lambda c: (*self._rank(trials[c]), c)) if trials else None

    def _rank(self, trial: Trial) -> tuple[float, ...]:
        """Order of trials from the worst up: no result, ruled out, no start by how far it gets, restarting; then by
        margin. What a display sees of an engine that hardly turns says little: a starter that takes no current leaves
        it the best margin."""
        if trial.margin is None:
            return (0.0, 0.0, -math.inf)
        if trial.refused:
            return (1.0, 0.0, trial.margin)
        if self._must_start and not trial.starts:
            return (2.0, float(trial.reached), trial.margin)
        return (4.0 if trial.holds else 3.0, 0.0, trial.margin)

    def smallest(self) -> int | None:
        """The smallest value known to hold."""
        return next((v for v in range(self.values) if self.decided(v)), None)

    # --- the search ----------------------------------------------------------------------------------------------

    def settle(self, run: Callable[[Iterable[Pair]], None]) -> None:
        """Run what it takes to know the answer, and what the next smaller value does."""
        seeds = sorted({(self.values - 1) // 2, self.values - 1})
        run(self._open(seeds))
        self._set_aside(run, seeds)
        self._prove(run, lambda: self.smallest())
        if not self._in_order():
            self.monotone = False
            self._prove(run, lambda: None)  # every value, whatever holds below it
        answer = self.smallest()
        if answer is None:
            while not self.everywhere(best := self.nearest()):
                run(self._open([best]))
        elif answer > 0:
            run(self._open([answer - 1]))

    def _prove(self, run: Callable[[Iterable[Pair]], None], limit: Callable[[], int | None]) -> None:
        """Decide every value below a limit that may move: one corner each, until it fails or has passed them all."""
        while True:
            end = limit()
            left = [v for v in range(self.values if end is None else end) if self.decided(v) is None]
            if not left:
                return
            untried = [v for v in left if not self.of(v)]
            if untried:
                run((v, self._killer(v)) for v in untried)
                continue
            first = left[0]  # the smallest that has passed so far: settle it, then try its killer on the others
            run(self._open([first]))
            if self.decided(first) is False:
                killer = self.hardest(first)
                assert killer is not None
                run((v, killer) for v in left[1:] if (v, killer) not in self.trials)

    def _open(self, values: Iterable[int]) -> list[Pair]:
        return [(v, c) for v in values for c in self.corners if c not in self.aside and (v, c) not in self.trials]

    def _set_aside(self, run: Callable[[Iterable[Pair]], None], seeds: Iterable[int]) -> None:
        """Leave out the optional corners that ask too much of every value; where the first look says so, try all.

        None is left out of a boat that does not start as it is written: there the boat is to blame, not the corner.
        """
        if all(self._hopeless(self.trials[v, 0]) for v in seeds):
            return
        doubtful = [c for c in sorted(self.optional) if all(self._hopeless(self.trials[v, c]) for v in seeds)]
        if doubtful:
            run((v, c) for c in doubtful for v in range(self.values) if (v, c) not in self.trials)
        tried = range(self.values)
        self.aside = frozenset(c for c in doubtful if all(self._hopeless(self.trials[v, c]) for v in tried))

    def _hopeless(self, trial: Trial) -> bool:
        return not trial.failed and not trial.starts and not self.passes(trial)

    def _killer(self, value: int) -> int:
        """The corner that is hardest on the nearest value that was tried in all of them."""
        known = [v for v in range(self.values) if self.everywhere(v)]
        nearest = min(known, key=lambda v: abs(v - value))
        found = self.hardest(nearest)
        assert found is not None
        return found

    def _in_order(self) -> bool:
        """Whether no value is known to fail above one that is known to hold."""
        answer = self.smallest()
        return answer is None or all(self.decided(v) is not False for v in range(answer, self.values))

    def nearest(self) -> int:
        """Of values that all fail, the one whose hardest corner, of those tried, is the least hard."""
        ranked = {v: self._rank(self.trials[v, c]) for v in range(self.values) if (c := self.hardest(v)) is not None}
        return max(ranked, key=lambda v: (ranked[v], -v))
