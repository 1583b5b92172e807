# SPDX-License-Identifier: GPL-3.0-or-later
"""Deck in, waveforms out, or a named failure: no run is believed before it has been checked."""

from __future__ import annotations

import locale
import os
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, NoReturn

import numpy as np
from numpy.typing import NDArray

from cranksag.errors import (
    ConvergenceError,
    DeckError,
    EnvelopeError,
    IncompleteError,
    LibraryDead,
    RestError,
    SimulationError,
)
from cranksag.solver.deck import LADDER, Deck, Settings, deck_text
from cranksag.solver.library import LibraryInfo, loaded_path, open_library
from cranksag.solver.messages import Meaning, worst_meaning

if TYPE_CHECKING:
    from cranksag.solver.binding import NgSpice

#: Most a node may move during the pre-roll [V].
STILL = 1e-3
#: Relative agreement of the last time point with the asked end [-]; ngspice lands on it to a bit or two.
END_TOLERANCE = 1e-9
#: Steps after which a run must show that it gets on [-]: one of a few seconds takes 2,000 to 5,000.
BUDGET = 50_000
#: One budget of steps may last this long [s]; sane ones take 5 to 20 s, minutes of cranking take several.
WALL_LIMIT = 60.0
#: Time a step may take less of on average, over a budget of them, than in any run worth going on with [s]: a display
#: that restarts in a loop makes 170 steps in 9 ms, a solver that is caught makes nanoseconds.
LEAST_PACE = 20e-6
_STOPPED = "interrupted"
_LINES_KEPT = 20
_GRACE_AFTER_INTERRUPT = 2.0


@dataclass(frozen=True, slots=True)
class Waveforms:
    """What a checked run gave.

    Attributes
    ----------
    time : ndarray, shape (points,) [s]
        Strictly increasing, not uniform. The first point is ngspice's first step, not 0.
    vectors : mapping of str to ndarray, shape (points,) [V] or [A]
        Under the names of `Deck.vectors`.
    settings : Settings
        The settings that succeeded.
    attempt : int [-]
        1 when the first settings succeeded.
    solve_s : float [s]
        Wall time of the successful attempt.
    points : int [-]
        Number of time points.
    """

    time: NDArray[np.float64]
    vectors: Mapping[str, NDArray[np.float64]]
    settings: Settings
    attempt: int
    solve_s: float
    points: int


class Solver:
    """ngspice in this process. Use `get_solver`; a process holds one library, hence one of these."""

    def __init__(self) -> None:
        self._lock = threading.RLock()
        self._spice: NgSpice | None = None
        self._info: LibraryInfo | None = None
        self._unfinished: threading.Event | None = None
        self._count = 0
        self.dead = False

    def info(self) -> LibraryInfo:
        """Name, version and file of the library, which is loaded if it was not yet."""
        with self._lock:
            if self._info is None:
                spice = self._library()
                version = spice.ngspice_version
                self._info = LibraryInfo("ngspice", "" if version is None else str(version), loaded_path(spice.file))
            return self._info

    def run(self, deck: Deck, ladder: tuple[Settings, ...] = LADDER, wall_limit: float = WALL_LIMIT) -> Waveforms:
        """Compute a deck, with the next settings of the ladder where a run cannot be believed.

        Parameters
        ----------
        deck : Deck
            The circuit.
        ladder : tuple of Settings
            Settings to try in turn.
        wall_limit : float [s]
            Longest one budget of steps may last before ngspice is taken to hang.

        Returns
        -------
        Waveforms

        Raises
        ------
        DeckError, RestError
            The netlist or its state at rest is at fault; not tried again.
        ConvergenceError, IncompleteError, EnvelopeError
            No settings of the ladder gave a believable run; the class is that of the first attempt.
        LibraryDead
            The library cannot be used any more in this process.
        LibraryMissing
            There is no library.
        """
        with self._lock:
            spice = self._usable(deck)
            told: list[str] = []
            first: SimulationError | None = None
            for attempt, settings in enumerate(ladder, start=1):
                started = time.perf_counter()
                try:
                    times, vectors = self._guarded(spice, deck, settings, wall_limit)
                except (DeckError, RestError, LibraryDead) as error:
                    error.attempts = (*told, f"{settings.name}: {error.what}")
                    raise
                except SimulationError as error:
                    told.append(f"{settings.name}: {error.what}")
                    first = first or error
                else:
                    seconds = time.perf_counter() - started
                    return Waveforms(times, vectors, settings, attempt, seconds, len(times))
            if first is None:
                raise ValueError("the ladder holds no settings")
            first.attempts = tuple(told)
            raise first

    # --- the library and its thread ----------------------------------------------------------------------

    def _library(self) -> NgSpice:
        if self._spice is None:
            self._spice = open_library()
            self._spice.take_lines()
        return self._spice

    def _usable(self, deck: Deck) -> NgSpice:
        if self._unfinished is not None:  # left behind by an interrupt
            self.dead = self.dead or not self._unfinished.wait(WALL_LIMIT)
            self._unfinished = None
        if self.dead:
            raise LibraryDead("ngspice is unusable in this process", title=deck_text(deck.title))
        return self._library()

    def _guarded(
        self, spice: NgSpice, deck: Deck, settings: Settings, wall_limit: float
    ) -> tuple[NDArray[np.float64], dict[str, NDArray[np.float64]]]:
        """One attempt in a thread of its own, so that a hang inside ngspice cannot hold the caller.

        A Python exception raised within one of ngspice's callbacks is lost, so Ctrl-C must find the caller
        waiting here.
        """
        outcome: list[tuple[NDArray[np.float64], dict[str, NDArray[np.float64]]]] = []
        failure: list[BaseException] = []
        run = _Attempt(spice, deck, settings, self._next_token())

        def attempt() -> None:
            try:
                outcome.append(run.result())
            except BaseException as error:  # noqa: BLE001 - handed to the caller's thread below
                failure.append(error)
            finally:
                finished.set()

        # An event rather than Thread.join, which takes the thread for ended when Ctrl-C interrupts the wait.
        self._unfinished = finished = threading.Event()
        threading.Thread(target=attempt, name="ngspice", daemon=True).start()
        budgets = 0
        try:
            while not (in_time := finished.wait(wall_limit)) and run.budgets > budgets:
                budgets = run.budgets
        except BaseException:
            finished.wait(_GRACE_AFTER_INTERRUPT)  # the budget of steps ends a runaway soon
            raise
        self._unfinished = None
        if not in_time:
            self.dead = True
            raise LibraryDead(
                f"ngspice did not come back within {wall_limit:g} s",
                why="It neither finished nor gave up.",
                title=deck_text(deck.title),
                deck=deck.complete(settings),
            )
        if failure:
            self.dead = self.dead or isinstance(failure[0], LibraryDead)
            raise failure[0]
        return outcome[0]

    def _next_token(self) -> int:
        self._count += 1
        return self._count


class _Attempt:
    """One load, run and copy, each checked."""

    def __init__(self, spice: NgSpice, deck: Deck, settings: Settings, token: int) -> None:
        self.spice = spice
        self.deck = deck
        self.settings = settings
        # Comes back with the result: a circuit left over from an earlier run cannot pass for this one.
        self.title = f"* run {token} of process {os.getpid()}"
        self.lines: list[tuple[str, str]] = []
        self.budgets = 0  # of steps used up while the run got on

    def result(self) -> tuple[NDArray[np.float64], dict[str, NDArray[np.float64]]]:
        """Time and vectors, checked."""
        decimal = locale.setlocale(locale.LC_NUMERIC)
        if decimal != "C":
            locale.setlocale(locale.LC_NUMERIC, "C")
        try:
            self._load()
            self._run()
            times, vectors = self._copy()
        finally:
            self._clean_up()
            if decimal != "C":
                locale.setlocale(locale.LC_NUMERIC, decimal)
        self._check_times(times)
        self._check_values(times, vectors)
        return times, vectors

    def _do(self, action: Callable[[], int], *, loading: bool = False) -> None:
        """One call to the library, its return code and its messages read."""
        code = action()
        self._judge(code, self.spice.take_lines(), loading=loading)

    def _judge(self, code: int, fresh: list[tuple[str, str]], *, loading: bool = False) -> None:
        """A call's return code and the messages it left."""
        self.lines.extend(fresh)
        meaning, line = worst_meaning(fresh, loading=loading)
        if meaning is Meaning.HARMLESS and code:
            meaning, line = (Meaning.DECK if loading else Meaning.FAILED), f"return code {code}"
        if meaning is Meaning.FAILED and "interrupted" in line:
            self._fail(IncompleteError, "the run used up its budget of steps before its end")
        if meaning is Meaning.FAILED:
            floating = any("singular" in text for _, text in fresh)
            why = "A part of the circuit has no path to node 0, or two sources contradict each other."
            self._fail(ConvergenceError, f"ngspice gave up ({line})", why=why if floating else "")
        if meaning in (Meaning.DECK, Meaning.DEAD):
            faults = [text.strip() for stream, text in fresh if stream == "stderr"] if loading else [line]
            what = f"ngspice does not accept the netlist ({'; '.join(faults or [line])[:300]})"
            # Only trying tells: it survives a missing .ends and does not survive an unknown {parameter}.
            if meaning is Meaning.DECK or self._survives():
                self._fail(DeckError, what)
            self._fail(LibraryDead, what, why="ngspice cannot go on in this process after such a fault.")

    def _load(self) -> None:
        self.spice.take_lines()
        lines = [line for line in self.deck.lines(self.settings) if not line.lstrip().startswith("*")]
        self._do(lambda: self.spice.load([self.title, *lines]), loading=True)

    def _run(self) -> None:
        steps, reached = 0, 0.0
        self.spice.plot_title = ""
        while True:
            self._judge(self.spice.command(f"stop after {steps + BUDGET}"), self.spice.take_lines())
            code, fresh = self.spice.command("resume" if steps else "run"), self.spice.take_lines()
            if any(_STOPPED in line for _, line in fresh) and self._gets_on(steps + BUDGET, reached):
                times = self.spice.copy_vector(self.spice.current_plot(), "time")
                steps, reached = len(times), float(times[-1])
                self.budgets += 1
                continue
            self._judge(code, fresh)
            return

    def _gets_on(self, steps: int, reached: float) -> bool:
        """Whether a run that was stopped at a number of steps got far enough since a time [s] to be worth resuming."""
        times = self.spice.copy_vector(self.spice.current_plot(), "time")
        least = LEAST_PACE * self.settings.ceiling_scale
        return len(times) == steps and bool(np.mean(np.diff(times[times >= reached])) >= least)

    def _copy(self) -> tuple[NDArray[np.float64], dict[str, NDArray[np.float64]]]:
        if self.spice.plot_title != self.title:
            self._fail(DeckError, f"ngspice ran another circuit ({self.spice.plot_title!r})")
        plot = self.spice.current_plot()
        wanted = {vector: _ngspice_name(vector) for vector in self.deck.vectors}
        got = {_ngspice_name(name): name for name in self.spice.vector_names(plot)}
        if set(got) != {*wanted.values(), "time"}:
            odd = sorted(set(got) ^ {*wanted.values(), "time"})
            self._fail(DeckError, f"asked-for and returned vectors differ: {', '.join(odd)}")
        times = self.spice.copy_vector(plot, "time")
        return times, {vector: self.spice.copy_vector(plot, got[name]) for vector, name in wanted.items()}

    def _clean_up(self) -> None:
        """Leave no breakpoint, result or circuit behind; what these commands print does not matter."""
        for command in ("delete all", "destroy all", "remcirc", None):
            self.spice.command(command)
        self.spice.take_lines()

    def _survives(self) -> bool:
        """Whether a circuit can still be loaded after ngspice asked to be detached."""
        code = self.spice.load(["* still alive", "r1 a 0 1", ".tran 1 1 uic", ".end"])
        meaning, _ = worst_meaning(self.spice.take_lines(), loading=True)
        self.spice.command("remcirc")
        return code == 0 and meaning is Meaning.HARMLESS

    def _check_times(self, times: NDArray[np.float64]) -> None:
        end = self.deck.stop_time
        if len(times) < 2 or not bool(np.all(np.diff(times) > 0)):
            self._fail(IncompleteError, f"{len(times)} time points came back, or not in order")
        if not abs(times[-1] - end) <= END_TOLERANCE * end:
            self._fail(IncompleteError, f"the run ended at {times[-1]:.6g} s instead of {end:.6g} s")

    def _check_values(self, times: NDArray[np.float64], vectors: Mapping[str, NDArray[np.float64]]) -> None:
        before_key_on = times <= self.deck.preroll
        for name, values in vectors.items():
            if len(values) != len(times):
                self._fail(IncompleteError, f"{name} has {len(values)} of {len(times)} points")
            unit = "V" if name[0] == "v" else "A"
            low, high = self.deck.envelope[name]
            least, most = float(values.min()), float(values.max())
            if not (low <= least and most <= high):  # also false for nan
                worst = least if not low <= least else most
                where = times[np.argmin(values) if not low <= least else np.argmax(values)]
                self._fail(
                    EnvelopeError,
                    f"{name} reached {worst:.6g} {unit} at {where:.6g} s, outside {low:g} to {high:g} {unit}",
                )
            if name[0] == "v" and before_key_on.any():
                moved = float(np.ptp(values[before_key_on])) / self.deck.units.get(name, 1.0)
                if moved > STILL:
                    self._fail(
                        RestError,
                        f"{name} moved by {moved:.3g} V within the first {self.deck.preroll:g} s",
                    )

    def _fail(self, kind: type[SimulationError], what: str, why: str = "") -> NoReturn:
        shown = [line.strip() for stream, line in self.lines if stream and line.strip()]
        raise kind(
            what,
            why=why,
            title=deck_text(self.deck.title),
            deck=self.deck.complete(self.settings),
            last_lines=shown[-_LINES_KEPT:],
        )


def _ngspice_name(vector: str) -> str:
    """The name ngspice keeps a vector under: `v(a)` as `a`, `i(v1)` as `v1#branch`; other names unchanged."""
    if vector.startswith("v(") and vector.endswith(")"):
        return vector[2:-1]
    if vector.startswith("i(") and vector.endswith(")"):
        return f"{vector[2:-1]}#branch"
    return vector


_solver: Solver | None = None
_solver_lock = threading.Lock()


def get_solver() -> Solver:
    """The solver of this process; the library itself is loaded at the first run."""
    global _solver
    with _solver_lock:
        if _solver is None:
            _solver = Solver()
        return _solver


def library_info() -> LibraryInfo:
    """Name, version and file of the ngspice library in use.

    Raises
    ------
    LibraryMissing
        There is none.
    """
    return get_solver().info()


def _after_fork() -> None:
    """Give the child its own locks; a run under way in the parent leaves the child's library unusable."""
    global _solver_lock
    _solver_lock = threading.Lock()
    if _solver is not None:
        busy = _solver._unfinished
        if not _solver._lock.acquire(blocking=False) or (busy is not None and not busy.is_set()):
            _solver.dead = True
        _solver._unfinished = None
        _solver._lock = threading.RLock()


if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_after_fork)
