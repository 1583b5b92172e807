# SPDX-License-Identifier: GPL-3.0-or-later
"""The result of a simulation: frozen data, SI units in brackets. JSON keys are made in `cranksag.verdict.document`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from cranksag.resolve.model import Boat, Note


@dataclass(frozen=True, slots=True)
class Cranks:
    """Whether the starter engages, turns the engine and the engine fires; `reason` in one sentence."""

    engages: bool
    turns: bool
    fires: bool
    reason: str


@dataclass(frozen=True, slots=True)
class DisplayResult:
    """One display.

    minimum_voltage, brownout, margin [V]; minimum_at [s] from key-on; time_below_threshold, alarm_blind [s];
    dark_time [s] or None if it never returns, and like alarm_blind from the first reset on; source: what fed it at the
    minimum. first_reset_at [s] or None; first_booted_at [s]: its gauges are up for the first time, None if no attempt
    of this crank gets so far;
    demand_minimum_voltage [V] and demand_minimum_at [s]: the lowest up to the first reset, while it draws its power.
    """

    name: str
    minimum_voltage: float
    minimum_at: float
    source: str
    brownout: float
    margin: float
    time_below_threshold: float
    restarts: int
    dark_time: float | None
    alarm_blind: float | None
    holds: bool
    first_reset_at: float | None
    first_booted_at: float | None
    demand_minimum_voltage: float
    demand_minimum_at: float


@dataclass(frozen=True, slots=True)
class BatteryResult:
    """Start battery: open_circuit_voltage, minimum_voltage, crank_voltage (None if it never cranks) [V]."""

    open_circuit_voltage: float
    minimum_voltage: float
    crank_voltage: float | None


@dataclass(frozen=True, slots=True)
class StarterResult:
    """Starter: voltages [V], currents [A], crank_speed [rad/s]; None where nothing cranks."""

    stud_minimum_voltage: float
    s_terminal_minimum_voltage: float
    s_terminal_highest_voltage: float
    peak_current: float
    crank_current: float | None
    crank_speed: float | None


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One series element of the feed's loop: `drop` [V] at one instant; `blocking`: a diode that blocks."""

    element: str
    side: str
    path: str | None
    drop: float
    blocking: bool


@dataclass(frozen=True, slots=True)
class StartBudget:
    """Where the volts of the start circuit went with the key in START, at `at` [s from key-on].

    `across`: "solenoid" (S terminal to engine block), or "start relay coil" where that relay does not pick up; `left`
    [V] is what reaches it, `needed` [V] what it takes; `lines` sum to the battery's open-circuit voltage less `left`.
    """

    at: float
    across: str
    left: float
    needed: float
    lines: tuple[BudgetLine, ...]

    @property
    def falls_short(self) -> bool:
        """Whether too little reaches it; else a start that fails has another cause."""
        return self.left < self.needed


@dataclass(frozen=True, slots=True)
class WiringLimit:
    """A published limit on a `part` of a circuit: the boat's `value` and the `limit`, both in `unit`, None for the
    value where it could not be had; `standard`: where the limit stands."""

    part: str
    value: float | None
    limit: float
    unit: str
    standard: str

    @property
    def exceeded(self) -> bool:
        """Whether the boat is beyond it."""
        return self.value is not None and self.value > self.limit


@dataclass(frozen=True, slots=True)
class WiringCheck:
    """One circuit held against published limits, whichever way it comes out.

    `code` is that of the warning that says the circuit is beyond all of them; current [A], drop [V] and share [-] of
    the nominal voltage, None where nothing cranks; `resistance` [ohm] of a start circuit, else None; `verdict` in a
    word, `message` in a sentence.
    """

    code: str
    circuit: str
    current: float | None
    drop: float | None
    share: float | None
    resistance: float | None
    verdict: str
    message: str
    limits: tuple[WiringLimit, ...]


@dataclass(frozen=True, slots=True)
class Estimate:
    """Band on the display's minimum [V] from fields that were not written, and which they are."""

    low: float
    high: float
    fields: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SolverReport:
    """Which solver, how many points, how long [s], and how many attempts of its ladder."""

    name: str
    version: str
    points: int
    solve: float
    attempt: int


@dataclass(frozen=True)
class Traces:
    """The run: `time` [s] from key-on (n,), `signals` by name (n,) in SI, and the boat they belong to."""

    time: npt.NDArray[np.float64]
    signals: Mapping[str, npt.NDArray[np.float64]]


@dataclass(frozen=True, slots=True)
class Result:
    """Everything a simulation says about one boat.

    budget: at the display's minimum; demand_budget: at its minimum up to the first reset. ground_shift [V] is the
    largest mean over a millisecond while cranking, about ground_shift_at [s].
    """

    title: str
    boat: Boat
    cranks: Cranks
    display: DisplayResult
    displays: tuple[DisplayResult, ...]
    battery: BatteryResult
    starter: StarterResult
    budget: tuple[BudgetLine, ...]
    demand_budget: tuple[BudgetLine, ...]
    start_budget: StartBudget
    ground_shift: Mapping[str, float]
    ground_shift_at: float
    hold_up: Mapping[str, Any]
    dangers: tuple[Note, ...]
    warnings: tuple[Note, ...]
    wiring: tuple[WiringCheck, ...]
    near_switching: tuple[str, ...]
    estimate: Estimate | None
    solver: SolverReport
    traces: Traces
