# SPDX-License-Identifier: GPL-3.0-or-later
"""A starter's machine from its bench points, and from many starters what they have in common.

Three points leave a motor's parameters open: a tenth less torque share is a third more resistance at the same
loaded point.  So the fit is a most probable machine: every parameter starts from the family's, scaled to an
equivalent rating and a speed ratio, with the spread that published starters show about their family.  Series and
permanent-magnet starters are two families.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from cranksag.parts.starter import (
    BRUSH_DROP_RANGE,
    PERMANENT_MAGNET_FAMILY,
    PUBLISHED_FAMILY,
    REFERENCE_POWER,
    REFERENCE_VOLTAGE,
    STANDSTILL_TORQUE_SHARE,
    TIME_CONSTANT_ELECTRICAL,
    MotorCircuit,
    MotorKind,
    StarterFamily,
    scaled_reference,
    stall_current,
)
from cranksag.parts.starter_bench import BenchPoint, PointError, classify_points, point_errors

if TYPE_CHECKING:
    from cranksag.parts.starter_published import PublishedStarter

FIT_TOLERANCE = 0.15  # [-] a fitted figure should come back within this: the spread of production starters
FIGURE_SPREAD = 0.07  # [-] of a bench figure about its machine, half of FIT_TOLERANCE: engineering estimate
RATING_SPREAD = 0.15  # [-] of the equivalent about the printed rating: engineering estimate
# [-] rating over volts times amperes of the load test.  A manual loads a starter near its greatest power, so the
# five published loads of printed rating (the two 1.4 kW ones share theirs) stand at 0.550, 0.543, 0.606, 0.533 and
# 0.552: mean 0.557
LOADED_RATING_SHARE = 0.557
# [-] of the rating from one load test.  Two machines have two tests each, whose powers differ by logarithms of 0.004
# and 0.318: standard deviation of one test 0.16; with RATING_SPREAD 0.22
LOADED_RATING_SPREAD = math.hypot(RATING_SPREAD, 0.16)
# Equivalent rating where neither it nor a load test is printed, at 12 V and above, with a spread that hardly holds it.
RATING_UNKNOWN = (1400.0, 3500.0)  # [W]
RATING_UNKNOWN_SPREAD = 1.5  # [-]
RATING_STARTS = (0.5, 1.4, 4.0)  # [-] over the expected rating: where the search starts when none is printed
SPEED_RATIO_SPREAD = 0.4  # [-] no-load speeds of published pinions, 1550 to 5500 rpm: engineering estimate
TORQUE_SHARE_RANGE = (0.45, 0.98)  # [-]
PARAMETER_BOUND = math.log(10.0)  # [-] numerical: no parameter leaves a decade about its family
# [-] widenings of the family's spreads, tried in turn until all figures come back within FIT_TOLERANCE
LOOSENINGS = (1.0, 2.0, 4.0)
RATIO_FLOOR = 0.01  # [-] numerical: a machine that does not turn has no logarithm
BOUND_MARGIN = 1e-3  # [-] logarithmic distance that counts as touching a bound
PRIOR_DOMINATED = 0.7  # [-] of the family's spread left after the fit: the points say little about the parameter
SYSTEM_VOLTAGE_LIMIT = 15.0  # [V] highest bench voltage of a 12 V machine; above it the machine is a 24 V one

# What a family is before any starter is looked at: centre and natural-log spread, wide engineering estimates.
FAMILY_PRIOR: dict[str, tuple[float, float]] = {
    "resistance": (5.0e-3, 0.5),
    "brush_drop": (1.2, 0.2),
    "field_constant_residual": (15.0e-3, 0.7),
    "field_constant_saturated": (55.0e-3, 0.4),
    "saturation_current": (150.0, 0.7),
    "friction_torque": (0.35, 0.7),
    "friction_viscous": (3.5e-3, 0.7),
    "torque_share": (0.65, 0.25),
}
# Spread of single machines before any is looked at, and how many starters that opinion is worth.
SPREAD_PRIOR: dict[str, float] = {
    "resistance": 0.2,
    "brush_drop": 0.15,
    "field_constant_residual": 0.3,
    "field_constant_saturated": 0.2,
    "saturation_current": 0.3,
    "friction_torque": 0.3,
    "friction_viscous": 0.3,
    "torque_share": 0.1,
}
SPREAD_PRIOR_STARTERS = 4.0
PARAMETERS = tuple(FAMILY_PRIOR)
# Permanent magnets: most of the field does not depend on the current, and armature reaction takes more of the locked
# torque.  Wide engineering estimates again; what is not named here is as above.
MAGNET_PRIOR: dict[str, tuple[float, float]] = {
    **FAMILY_PRIOR,
    "field_constant_residual": (50.0e-3, 0.4),
    "field_constant_saturated": (15.0e-3, 0.7),
    "standstill_share": (STANDSTILL_TORQUE_SHARE, 0.2),
}
MAGNET_SPREAD_PRIOR: dict[str, float] = {**SPREAD_PRIOR, "field_constant_residual": 0.2, "standstill_share": 0.1}
MAGNET_PARAMETERS = tuple(MAGNET_PRIOR)
FAMILY_ROUNDS = 12  # [-] numerical: the estimate has settled to 1 %


@dataclass(frozen=True, slots=True)
class FitReport:
    """What the fit achieved, and what it leaned on."""

    errors: tuple[PointError, ...]
    worst: float  # [-] largest absolute relative error
    equivalent_power: float  # [W] rating of the family's machine that the fit started from
    speed_ratio: float  # [-] gearing or winding over the family's
    at_bounds: tuple[str, ...]  # parameters that stopped at a bound
    from_reference: tuple[str, ...]  # parameters the points hardly determine: the family did
    equations: int  # bench figures used
    loosened: float = 1.0  # [-] the family's spreads were widened by this, for a machine that is not of it


@dataclass(frozen=True, slots=True)
class _Solution:
    """A fit as found: logarithms over the scaled family, and their spread."""

    motor: MotorCircuit
    names: tuple[str, ...]
    logs: Any  # [-] of parameters, in the order of names
    covariance: Any  # [-] of the logs, linearised
    held: tuple[float, ...]  # [-] spreads the logs were held to
    rating: float  # [-] log of the equivalent rating over 1 kW
    speed: float  # [-] log of the speed ratio
    at_bounds: tuple[str, ...]


def _misses(motor: MotorCircuit, points: list[BenchPoint]) -> list[float]:
    """Log ratios of all bench figures over FIGURE_SPREAD, as many whatever the machine."""
    ratios = [
        1.0 + error.error
        for point in points
        for error in point_errors(motor, point)
        if (error.test, error.quantity) != ("loaded", "current")
    ] + [
        min(1.0, stall_current(motor, point.voltage) / point.current)  # a stall short of the load counts
        for point in points
        if point.test == "loaded" and point.current
    ]
    return [math.log(max(ratio, RATIO_FLOOR)) / FIGURE_SPREAD for ratio in ratios]


def _bounds(name: str, family: StarterFamily) -> tuple[float, float]:
    if name == "brush_drop":
        low, high = (math.log(limit / family.brush_drop) for limit in BRUSH_DROP_RANGE)
        return min(low, -BOUND_MARGIN), max(high, BOUND_MARGIN)
    if name == "torque_share":
        low, high = (math.log(limit / family.torque_share) for limit in TORQUE_SHARE_RANGE)
        return low, high
    return -PARAMETER_BOUND, PARAMETER_BOUND


def _rating(points: list[BenchPoint], nominal: float, power: float | None) -> tuple[float, float]:
    """Rating [W] to expect and its logarithmic spread: as printed, else of the load test, else usual."""
    if power:
        return power, RATING_SPREAD
    loads = [point.voltage * point.current for point in points if point.test == "loaded" and point.current]
    if loads:
        return LOADED_RATING_SHARE * max(loads), LOADED_RATING_SPREAD
    return RATING_UNKNOWN[nominal > REFERENCE_VOLTAGE], RATING_UNKNOWN_SPREAD


def _solve(points: list[BenchPoint], nominal: float, power: float | None, family: StarterFamily) -> _Solution:
    """Bounded least squares over figures and family, whose spreads name the parameters."""
    import numpy as np
    from scipy.optimize import least_squares

    names = tuple(name for name in MAGNET_PARAMETERS if name in family.spread)
    spreads = [family.spread[name] for name in names]
    expected, held = _rating(points, nominal, power)
    centre = math.log(expected / REFERENCE_POWER)

    def machine(logs: Any) -> MotorCircuit:
        base = scaled_reference(
            REFERENCE_POWER * math.exp(logs[0]), nominal, family=family, speed_ratio=math.exp(logs[1])
        )
        factors = zip(names, logs[2:], strict=True)
        return replace(base, **{name: float(getattr(base, name) * math.exp(x)) for name, x in factors})

    def residuals(logs: Any) -> list[float]:
        pull = [x / spread for x, spread in zip(logs[2:], spreads, strict=True)]
        return [*_misses(machine(logs), points), (logs[0] - centre) / held, logs[1] / SPEED_RATIO_SPREAD, *pull]

    limits = [_bounds(name, family) for name in names]
    low = [centre - 2.0 * PARAMETER_BOUND, -PARAMETER_BOUND] + [limit[0] for limit in limits]
    high = [centre + 2.0 * PARAMETER_BOUND, PARAMETER_BOUND] + [limit[1] for limit in limits]
    starts = [centre] if held < RATING_UNKNOWN_SPREAD else [centre + math.log(start) for start in RATING_STARTS]
    solutions = [least_squares(residuals, [start, 0.0] + [0.0] * len(names), bounds=(low, high)) for start in starts]
    best = min(solutions, key=lambda solution: float(solution.cost))
    covariance = np.linalg.inv(best.jac.T @ best.jac)
    motor = machine(best.x)
    return _Solution(
        motor=replace(motor, inductance=TIME_CONSTANT_ELECTRICAL * motor.resistance),
        names=names,
        logs=best.x[2:],
        covariance=covariance[2:, 2:],
        held=tuple(spreads),
        rating=float(best.x[0]),
        speed=float(best.x[1]),
        at_bounds=tuple(
            name for name, x, (a, b) in zip(names, best.x[2:], limits, strict=True) if min(x - a, b - x) < BOUND_MARGIN
        ),
    )


def fit_points(
    points: list[BenchPoint],
    motor_kind: MotorKind = "series",
    voltage: float | None = None,
    power: float | None = None,
    family: StarterFamily | None = None,
) -> tuple[MotorCircuit, FitReport]:
    """The most probable machine of a family behind bench points.

    Unknowns are the logarithms of an equivalent rating, of a speed ratio (`scaled_reference`) and of each
    parameter over the family's, held to the family's spreads; figures are held to FIGURE_SPREAD.  Where no rating
    is known, a load test stands for it (LOADED_RATING_SHARE): a load far from the greatest power misleads there.
    Brush drop stays within 1-2 V, so that stall voltage over stall current is no lower bound on the resistance.
    Where a figure is missed by more than FIT_TOLERANCE the machine is not of the family, and the spreads are widened.

    Parameters: points; motor_kind; voltage [V] nominal (None: 12 or 24 V from the highest bench voltage);
    power [W] rated (None: not known); family (None: the published one of the kind of motor).
    Returns: (MotorCircuit at 20 degC, FitReport).  Raises: InputError.
    """
    points = classify_points(points)
    if family is None:
        family = PUBLISHED_FAMILY if motor_kind == "series" else PERMANENT_MAGNET_FAMILY
    nominal = voltage or _nominal(points)
    best: tuple[MotorCircuit, FitReport] | None = None
    for loosened in LOOSENINGS:
        wider = replace(family, spread={name: loosened * spread for name, spread in family.spread.items()})
        solution = _solve(points, nominal, power, wider)
        report = _report(solution, points, loosened)
        if best is None or report.worst < best[1].worst:
            best = solution.motor, report
        if report.worst <= FIT_TOLERANCE or not report.errors:
            break
    assert best is not None
    return best


def _report(solution: _Solution, points: list[BenchPoint], loosened: float) -> FitReport:
    errors = tuple(error for point in points for error in point_errors(solution.motor, point))
    spreads = [math.sqrt(solution.covariance[index, index]) for index in range(len(solution.names))]
    return FitReport(
        errors=errors,
        worst=max((abs(error.error) for error in errors), default=math.inf),
        equivalent_power=REFERENCE_POWER * math.exp(solution.rating),
        speed_ratio=math.exp(solution.speed),
        at_bounds=solution.at_bounds,
        from_reference=tuple(
            name
            for name, spread, held in zip(solution.names, spreads, solution.held, strict=True)
            if spread > PRIOR_DOMINATED * held
        ),
        equations=len(errors),
        loosened=loosened,
    )


def _nominal(points: list[BenchPoint]) -> float:
    highest = max(point.voltage for point in points)
    return REFERENCE_VOLTAGE if highest <= SYSTEM_VOLTAGE_LIMIT else 2.0 * REFERENCE_VOLTAGE


def estimate_family(
    starters: Iterable[PublishedStarter],
    motor_kind: MotorKind = "series",
    start: StarterFamily | None = None,
    rounds: int = FAMILY_ROUNDS,
) -> StarterFamily:
    """What starters of a kind have in common, by expectation and maximisation.

    Each round fits every starter to the family so far, then moves the family to the mean of the fits and the
    spreads to their scatter with the fits' own uncertainty, both against the priors of the kind.  A check that
    predicts a starter's point must leave that starter out here.

    Parameters: starters with bench points (those of the other kind are passed over); motor_kind; start: a family
    to set out from (None: the priors); rounds.
    Returns: StarterFamily.
    """
    import numpy as np

    series = motor_kind == "series"
    priors, spread_priors = (FAMILY_PRIOR, SPREAD_PRIOR) if series else (MAGNET_PRIOR, MAGNET_SPREAD_PRIOR)
    names = tuple(priors)
    group = [starter for starter in starters if starter.motor == motor_kind]
    family = start or StarterFamily(**{n: v[0] for n, v in priors.items()}, spread=spread_priors)
    for _ in range(rounds):
        fits = [_solve(classify_points(list(s.points)), s.voltage, s.power, family) for s in group]
        now = np.array([getattr(family, name) for name in names])
        own = np.diag([family.spread[name] ** -2 for name in names])
        prior = np.diag([priors[name][1] ** -2 for name in names])
        away = np.log(now / np.array([priors[name][0] for name in names]))
        logs = np.array([fit.logs for fit in fits]).reshape(-1, len(names))
        # Newton's step: where a starter's points leave a parameter open, it follows the family and does not hold it.
        hold = sum(own - own @ fit.covariance @ own for fit in fits) + prior
        shift = np.linalg.solve(hold, own @ logs.sum(axis=0) - prior @ away)
        unsure = np.array([np.diag(fit.covariance) for fit in fits]).reshape(-1, len(names))
        scatter = ((logs - shift) ** 2 + unsure).sum(axis=0)
        expected = SPREAD_PRIOR_STARTERS * np.array([spread_priors[name] ** 2 for name in names])
        centres = dict(zip(names, (now * np.exp(shift)).tolist(), strict=True))
        spread = np.sqrt((scatter + expected) / (len(group) + SPREAD_PRIOR_STARTERS))
        family = StarterFamily(**centres, spread=dict(zip(names, spread.tolist(), strict=True)))
    return family
