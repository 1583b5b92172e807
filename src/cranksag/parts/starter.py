# SPDX-License-Identifier: GPL-3.0-or-later
"""Starter motor as a machine: static curves, a fit to bench points, and an estimate from the rating alone.

Everything stands at the pinion shaft.  With armature current i and pinion speed w (motoring positive):

    v = resistance i + brush_drop tanh(i / 10 A) + k(i) w + inductance di/dt
    torque = torque_share k(i) i - friction_torque tanh(w / 2 rad/s) - friction_viscous w
    k(i) = field_constant_residual + field_constant_saturated |i| / (|i| + saturation_current)

A permanent-magnet machine has ``field_constant_saturated = 0``.  ``torque_share`` is the share of the
electromagnetic torque that reaches the pinion (internal gear, iron, armature reaction).  Published loaded
points need it: their back-EMF constant is about 1.6 times what their torque per ampere allows.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Literal

from cranksag.errors import InputError
from cranksag.parts.conductors import COPPER_ALPHA_20

MotorKind = Literal["series", "permanent magnet"]
BenchTest = Literal["no-load", "loaded", "stalled"]

RPM = 2.0 * math.pi / 60.0  # [rad/s per rev/min]
TEMPERATURE_BENCH = 20.0  # [degC] starter bench figures are read at 20 degC: common practice
BRUSH_CURRENT_SMOOTHING = 10.0  # [A] numerical: brush drop passes through zero over +-10 A, as in the netlist
FRICTION_SMOOTHING_SPEED = 2.0  # [rad/s] numerical: pinion friction passes through zero, as in the netlist
BRUSH_DROP_RANGE = (1.0, 2.0)  # [V] both brushes of copper-graphite starters: from memory
RING_GEAR_RATIO = 114.0 / 9.0  # [-] ring gear over pinion teeth, 24 V 5 kW, fork-lift manual d35s-5 p. 128
# [-] locked over running torque at equal current: fitted to PUBLISHED_STARTERS (least favourable rotor
# position and gear stiction; the same pairs give 0.75-0.92 with friction left out)
STANDSTILL_TORQUE_SHARE = 0.70
ITERATIONS = 200  # [-] numerical: most of a root search
ROOT_TOLERANCE = 1e-12  # [-] numerical, of the bracket
SHORT_OF_STALL = 1e-6  # [-] numerical: share of the stall current kept clear of the ends of a search
ROUNDING = 1e-9  # [-] numerical: a stall current given back may differ by so much

# Reference machine of 1 kW at 12 V: least squares over PUBLISHED_STARTERS under the laws of
# `scaled_reference`, brush drop held at 1.2 V (the tests repeat the fit).
REFERENCE_POWER = 1000.0  # [W]
REFERENCE_VOLTAGE = 12.0  # [V]
REFERENCE_RESISTANCE = 5.1e-3  # [ohm] at 20 degC
REFERENCE_BRUSH_DROP = 1.2  # [V] engineering estimate inside BRUSH_DROP_RANGE
REFERENCE_FIELD_RESIDUAL = 3.6e-3  # [V s/rad]
REFERENCE_FIELD_SATURATED = 71.0e-3  # [V s/rad]
REFERENCE_SATURATION_CURRENT = 92.0  # [A]
REFERENCE_FRICTION_TORQUE = 0.35  # [N m]
REFERENCE_FRICTION_VISCOUS = 3.3e-3  # [N m s/rad]
REFERENCE_TORQUE_SHARE = 0.62  # [-]
# [-] speed of a sound machine over the least speed a manual asks, at equal current and torque: engineering
# estimate (most of the published points behind the reference are such limits)
SOUND_SPEED_FACTOR = 1.15
LOADED_CURRENT_PER_WATT = 230.0 / 1100.0  # [A/W] at 12 V, loaded point, service manual 2tnv70 p. 199
TIME_CONSTANT_ELECTRICAL = 8.0e-3  # [s] L / R: gives 41 uH at 1 kW, inside 10-60 uH (from memory); estimate
# [kg m2] at the pinion: 0.25e-3 of a 1 kW armature times a 4:1 gear squared; estimate
REFERENCE_INERTIA = 4.0e-3
INERTIA_EXPONENT = 1.25  # [-] torque ~ length^4, inertia ~ length^5 of similar machines: engineering estimate


# The fit to bench points.
FIT_TOLERANCE = 0.15  # [-] a fitted figure should come back within this: the spread of production starters
FIT_PRIOR_WEIGHT = 0.2  # [-] pull to the scaled reference machine, against figures in units of FIT_TOLERANCE
FIT_SCALE_WEIGHT = 0.02  # [-] pull of the equivalent rating to 1 kW: only keeps the problem well posed
FIT_SCALE_RANGE = (0.1, 20.0)  # [-] equivalent rating over 1 kW
FIT_STARTS = (0.7, 2.0, 6.0)  # [-] equivalent ratings over 1 kW from which the search starts
FIT_CUBIC_SHARE = 0.7  # [-] of the penalty that grows with the cube of the deviation: engineering estimate
FIT_RATIO_FLOOR = 0.01  # [-] numerical: a machine that does not turn has no logarithm
FIT_BOUND_MARGIN = 1e-3  # [-] logarithmic distance that counts as touching a bound
# [-] a point without speed below this share of the highest voltage is a stalled one
STALLED_VOLTAGE_SHARE = 0.5
# [-] of the prior's spread left after the fit: the points say little about the parameter
PRIOR_DOMINATED = 0.7
NO_LOAD_CURRENT_SHARE = 0.5  # [-] a point without torque below this share of the largest current is no-load
SYSTEM_VOLTAGE_LIMIT = 15.0  # [V] highest bench voltage of a 12 V machine; above it the machine is a 24 V one
# Natural-log spread, and bounds over the scaled reference, of each parameter: engineering estimate.
FIT_SPREAD: dict[str, tuple[float, float, float]] = {
    "resistance": (0.3, 0.1, 8.0),
    "brush_drop": (
        0.3,
        BRUSH_DROP_RANGE[0] / REFERENCE_BRUSH_DROP,
        BRUSH_DROP_RANGE[1] / REFERENCE_BRUSH_DROP,
    ),
    "field_constant_residual": (0.4, 0.05, 8.0),
    "field_constant_saturated": (0.3, 0.05, 8.0),
    "saturation_current": (0.5, 0.05, 10.0),
    "friction_torque": (0.4, 0.05, 8.0),
    "friction_viscous": (1.0, 0.01, 10.0),
    "torque_share": (0.2, 0.5 / REFERENCE_TORQUE_SHARE, 0.98 / REFERENCE_TORQUE_SHARE),
}


@dataclass(frozen=True, slots=True)
class MotorCircuit:
    """Starter motor at the pinion shaft; units in brackets, equations in the module's docstring."""

    resistance: float  # [ohm] armature and field, at its temperature
    inductance: float  # [H]
    brush_drop: float  # [V] both brushes
    field_constant_residual: float  # k0 [V s/rad]
    field_constant_saturated: float  # k1 [V s/rad]
    saturation_current: float  # Is [A]
    friction_torque: float  # [N m]
    friction_viscous: float  # [N m s/rad]
    inertia: float  # [kg m2]
    torque_share: float = 1.0  # [-] of the electromagnetic torque, at the pinion


@dataclass(frozen=True, slots=True)
class BenchPoint:
    """One bench reading; what was not read is None.

    Speed 0 is the stalled test, torque 0 the no-load test.
    """

    voltage: float  # [V] at the terminals
    current: float | None = None  # [A]
    torque: float | None = None  # [N m] at the pinion
    speed: float | None = None  # [rad/s] of the pinion
    test: BenchTest | None = None  # None: inferred by `classify_points`


@dataclass(frozen=True, slots=True)
class PublishedStarter:
    """A starter's published bench points, with their source and the rated power where one is stated."""

    name: str
    power: float | None  # [W]
    voltage: float  # [V] nominal
    points: tuple[BenchPoint, ...]
    source: str


@dataclass(frozen=True, slots=True)
class PointError:
    """A bench figure against the machine's: relative error = computed / given - 1 [-]."""

    test: BenchTest
    quantity: Literal["current", "torque", "speed"]
    given: float  # [A], [N m] or [rad/s]
    computed: float  # same unit
    error: float  # [-]


@dataclass(frozen=True, slots=True)
class FitReport:
    """What the fit achieved, and what it leaned on."""

    errors: tuple[PointError, ...]
    worst: float  # [-] largest absolute relative error
    equivalent_power: float  # [W] rating of the scaled reference machine the fit started from
    at_bounds: tuple[str, ...]  # parameters that stopped at a bound
    from_reference: tuple[str, ...]  # parameters the points hardly determine: the reference machine did
    equations: int  # bench figures used


def _no_load(voltage: float, current: float, rpm: float | None) -> BenchPoint:
    return BenchPoint(voltage, current, 0.0, None if rpm is None else rpm * RPM, "no-load")


def _loaded(voltage: float, current: float, torque: float | None, rpm: float | None) -> BenchPoint:
    return BenchPoint(voltage, current, torque, None if rpm is None else rpm * RPM, "loaded")


def _stalled(voltage: float, current: float, torque: float) -> BenchPoint:
    return BenchPoint(voltage, current, torque, 0.0, "stalled")


# Manual figures pair a largest current with a least torque and speed: they are limits, used here as values.
PUBLISHED_STARTERS: tuple[PublishedStarter, ...] = (
    PublishedStarter(
        "12 V 1.1 kW, 2-cylinder diesel",
        1100.0,
        12.0,
        (_no_load(11.5, 90, 3000), _loaded(8.7, 230, 6.9, 1130), _stalled(2.5, 325, 8.24)),
        "service manual 2tnv70 p. 199",
    ),
    PublishedStarter(
        "12 V 1.0 kW, 2-cylinder diesel",
        1000.0,
        12.0,
        (_no_load(11.5, 90, 3000), _loaded(8.0, 230, 4.7, 1240), _stalled(2.5, 260, 4.9)),
        "service manual 2tnv70 p. 199",
    ),
    PublishedStarter(
        "12 V 1.4 kW petrol, version A",
        1400.0,
        12.0,
        (_no_load(11.5, 90, None), _loaded(7.7, 300, 9.1, None), _stalled(4.0, 780, 18.6)),
        "workshop manual, 1.8 l petrol, 2001",
    ),
    PublishedStarter(
        "12 V 1.4 kW petrol, version B",
        1400.0,
        12.0,
        (_no_load(11.5, 90, None), _loaded(7.7, 300, 10.4, None), _stalled(4.0, 980, 25.5)),
        "workshop manual, 1.8 l petrol, 2001",
    ),
    PublishedStarter(
        "12 V petrol 2.5 l, manual gearbox",
        None,
        12.0,
        (_no_load(11.0, 95, 2500), _loaded(7.5, 300, 8.84, 870), _stalled(4.0, 680, 17.0)),
        "workshop manual, 2.5 l petrol, 2006",
    ),
    PublishedStarter(
        "12 V petrol 2.5 l, automatic gearbox",
        None,
        12.0,
        (_no_load(11.0, 90, 2000), _loaded(7.7, 400, 16.7, 710), _stalled(3.5, 960, 31.0)),
        "workshop manual, 2.5 l petrol, 2006",
    ),
    PublishedStarter(
        "24 V 5.0 kW, 3.9 l diesel",
        5000.0,
        24.0,
        (_no_load(23.0, 95, 3300), _stalled(9.0, 1400, 68.6)),
        "fork-lift manual d35s-5 p. 128",
    ),
    PublishedStarter(
        "24 V heavy, direct drive",
        None,
        24.0,
        (_no_load(20.0, 120, 5500), _loaded(18.0, 750, None, 1200)),
        "workshop manual 3126 (heavy 24 V)",
    ),
)


def copper_resistance(resistance_20: float, temperature: float) -> float:
    """Resistance of a copper winding, R = R20 (1 + 0.00393 (T - 20)).

    Parameters: resistance_20 [ohm] at 20 degC; temperature [degC].  Returns: resistance [ohm].
    Source: annealed copper, IEC 60028.
    """
    return resistance_20 * (1.0 + COPPER_ALPHA_20 * (temperature - TEMPERATURE_BENCH))


def motor_at_temperature(motor: MotorCircuit, temperature: float) -> MotorCircuit:
    """The machine of a 20 degC bench with its windings at another temperature [degC].

    Only copper is moved.
    """
    return replace(motor, resistance=copper_resistance(motor.resistance, temperature))


def motor_with_source(motor: MotorCircuit, source_resistance: float) -> MotorCircuit:
    """The machine with battery, cables and joints [ohm] folded into its resistance.

    Its voltage is then open-circuit.
    """
    return replace(motor, resistance=motor.resistance + source_resistance)


def field_constant(motor: MotorCircuit, current: float) -> float:
    """k(i) = k0 + k1 |i| / (|i| + Is).  Parameters: current [A].  Returns: [V s/rad] = [N m/A]."""
    magnitude = abs(current)
    if magnitude == 0.0:
        return motor.field_constant_residual
    return motor.field_constant_residual + motor.field_constant_saturated * magnitude / (
        magnitude + motor.saturation_current
    )


def resistive_drop(motor: MotorCircuit, current: float) -> float:
    """Copper and brush drop R i + Vb tanh(i / 10 A).  Parameters: current [A].  Returns: [V]."""
    return motor.resistance * current + motor.brush_drop * math.tanh(current / BRUSH_CURRENT_SMOOTHING)


def running_torque(motor: MotorCircuit, current: float, speed: float) -> float:
    """Torque at the turning pinion, Coulomb friction in full.  current [A], speed [rad/s]; returns [N m]."""
    return (
        motor.torque_share * field_constant(motor, current) * current
        - motor.friction_torque
        - motor.friction_viscous * speed
    )


def locked_torque(motor: MotorCircuit, current: float) -> float:
    """Torque a locked-rotor bench reads: STANDSTILL_TORQUE_SHARE of the running torque at standstill, >= 0.

    Parameters: current [A].  Returns: [N m].  A rotor that creeps already has the full running torque.
    """
    return max(0.0, STANDSTILL_TORQUE_SHARE * running_torque(motor, current, 0.0))


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    """Root of a function that changes sign once on [low, high]: Illinois variant of regula falsi."""
    f_low, f_high = function(low), function(high)
    if f_low == 0.0:
        return low
    if f_high == 0.0:
        return high
    if f_low * f_high > 0.0:
        raise ValueError(f"no sign change on [{low:g}, {high:g}]")
    side = 0
    for _ in range(ITERATIONS):
        middle = (low * f_high - high * f_low) / (f_high - f_low)
        f_middle = function(middle)
        if f_middle == 0.0 or abs(high - low) <= ROOT_TOLERANCE * (abs(low) + abs(high)):
            return middle
        if f_middle * f_high > 0.0:
            high, f_high = middle, f_middle
            f_low = f_low / 2.0 if side == -1 else f_low
            side = -1
        else:
            low, f_low = middle, f_middle
            f_high = f_high / 2.0 if side == 1 else f_high
            side = 1
    return 0.5 * (low + high)


def stall_current(motor: MotorCircuit, voltage: float) -> float:
    """Current at standstill: v = R i + Vb tanh(i / 10 A).  Parameters: voltage >= 0 [V].  Returns: [A]."""
    return _root(lambda current: resistive_drop(motor, current) - voltage, 0.0, voltage / motor.resistance)


def _speed_at(motor: MotorCircuit, voltage: float, current: float) -> float:
    return (voltage - resistive_drop(motor, current)) / field_constant(motor, current)


def _current_at_speed(motor: MotorCircuit, voltage: float, speed: float) -> float:
    def surplus(current: float) -> float:
        return resistive_drop(motor, current) + field_constant(motor, current) * speed - voltage

    if surplus(0.0) <= 0.0:
        return _root(surplus, 0.0, voltage / motor.resistance)
    field_full = motor.field_constant_residual + motor.field_constant_saturated
    return _root(surplus, -field_full * speed / motor.resistance, 0.0)  # driven faster: it generates


def steady_state(
    motor: MotorCircuit,
    terminal_voltage: float,
    load_torque: float | None = None,
    speed: float | None = None,
    current: float | None = None,
) -> tuple[float, float, float]:
    """Static operating point at a terminal voltage and exactly one of load torque, speed or current.

    At ``speed = 0`` the torque is what a locked bench reads.  A load torque beyond the pull-up torque of the
    creeping rotor stalls it: speed 0, torque the locked one.  Load torque 0 is the no-load test.

    Parameters: terminal_voltage > 0 [V]; load_torque >= 0 [N m]; speed >= 0 [rad/s]; current > 0, at most the
    stall current [A].  Returns: (current [A], speed [rad/s], torque [N m]) at the pinion.
    Raises: InputError for values outside these limits.
    """
    given = [value for value in (load_torque, speed, current) if value is not None]
    if len(given) != 1:
        raise InputError(["a starter's operating point needs exactly one of load torque, speed or current"])
    if not (0.0 < terminal_voltage < math.inf and 0.0 <= given[0] < math.inf):
        raise InputError(["a starter's operating point needs a voltage above 0 and no negative quantity"])
    stalled = stall_current(motor, terminal_voltage)
    if speed is not None:
        if speed == 0.0:
            return stalled, 0.0, locked_torque(motor, stalled)
        amperes = _current_at_speed(motor, terminal_voltage, speed)
        return amperes, speed, running_torque(motor, amperes, speed)
    if current is not None:
        if not 0.0 < current <= stalled * (1.0 + ROUNDING):
            raise InputError([f"a current of {current:g} A is not between 0 and the stall current {stalled:g} A"])
        turning = _speed_at(motor, terminal_voltage, current)
        if turning <= 0.0:
            return current, 0.0, locked_torque(motor, current)
        return current, turning, running_torque(motor, current, turning)

    def surplus(amperes: float) -> float:
        turning = _speed_at(motor, terminal_voltage, amperes)
        return running_torque(motor, amperes, turning) - given[0]

    if surplus(stalled) <= 0.0:
        return stalled, 0.0, locked_torque(motor, stalled)
    amperes = _root(surplus, SHORT_OF_STALL * stalled, stalled)
    return amperes, _speed_at(motor, terminal_voltage, amperes), given[0]


def power_balance(motor: MotorCircuit, current: float, speed: float) -> dict[str, float]:
    """Where the electrical power goes at a static point: all terms [W], the last five sum to the first.

    Parameters: current [A], speed [rad/s] >= 0.  Returns: electrical, copper, brushes, gear, friction, shaft.
    """
    electromagnetic = field_constant(motor, current) * current * speed
    brushes = motor.brush_drop * math.tanh(current / BRUSH_CURRENT_SMOOTHING) * current
    return {
        "electrical": (resistive_drop(motor, current) + field_constant(motor, current) * speed) * current,
        "copper": motor.resistance * current**2,
        "brushes": brushes,
        "gear": (1.0 - motor.torque_share) * electromagnetic,
        "friction": (motor.friction_torque + motor.friction_viscous * speed) * speed,
        "shaft": running_torque(motor, current, speed) * speed,
    }


def scaled_reference(power: float, voltage: float, motor_kind: MotorKind = "series") -> MotorCircuit:
    """The reference machine of the published limits, scaled to a rating.

    With u = voltage / 12 V and q = power / 1 kW, at equal pinion speed and equal share of losses: current ~
    q/u, resistance ~ u^2/q, field constants ~ u, friction ~ q, brush drop unchanged, inductance = 8 ms x
    resistance, inertia ~ q^1.25.  A permanent-magnet machine takes the reference field at its loaded
    current.

    Parameters: power > 0 [W] rated; voltage > 0 [V] nominal (12, 24, 32, 64).  Returns: MotorCircuit at 20
    degC.
    Raises: InputError.
    """
    if not (power > 0.0 and voltage > 0.0 and math.isfinite(power) and math.isfinite(voltage)):
        raise InputError(["a starter's rated power and voltage must be above 0"])
    u, q = voltage / REFERENCE_VOLTAGE, power / REFERENCE_POWER
    resistance = REFERENCE_RESISTANCE * u**2 / q
    motor = MotorCircuit(
        resistance=resistance,
        inductance=TIME_CONSTANT_ELECTRICAL * resistance,
        brush_drop=REFERENCE_BRUSH_DROP,
        field_constant_residual=REFERENCE_FIELD_RESIDUAL * u,
        field_constant_saturated=REFERENCE_FIELD_SATURATED * u,
        saturation_current=REFERENCE_SATURATION_CURRENT * q / u,
        friction_torque=REFERENCE_FRICTION_TORQUE * q,
        friction_viscous=REFERENCE_FRICTION_VISCOUS * q,
        inertia=REFERENCE_INERTIA * q**INERTIA_EXPONENT,
        torque_share=REFERENCE_TORQUE_SHARE,
    )
    if motor_kind == "series":
        return motor
    loaded = field_constant(motor, LOADED_CURRENT_PER_WATT * power / u)
    return replace(motor, field_constant_residual=loaded, field_constant_saturated=0.0)


def from_rating(power: float, voltage: float, motor_kind: MotorKind = "series") -> MotorCircuit:
    """A sound machine from rated power and voltage alone.  Origin "estimate".

    `scaled_reference` made SOUND_SPEED_FACTOR faster at equal current and torque: field constants divided
    by it, torque share multiplied, viscous friction divided.  Its greatest shaft power on a battery of 6
    mohm (2.5 kW, 12 V) is 8 % above the rating.

    Parameters: power > 0 [W] rated; voltage > 0 [V] nominal; motor_kind.  Returns: MotorCircuit at 20 degC.
    Raises: InputError.
    """
    base = scaled_reference(power, voltage, motor_kind)
    return replace(
        base,
        field_constant_residual=base.field_constant_residual / SOUND_SPEED_FACTOR,
        field_constant_saturated=base.field_constant_saturated / SOUND_SPEED_FACTOR,
        friction_viscous=base.friction_viscous / SOUND_SPEED_FACTOR,
        torque_share=base.torque_share * SOUND_SPEED_FACTOR,
    )


def classify_points(points: list[BenchPoint]) -> list[BenchPoint]:
    """Say which test each bench point is, and complete it (no-load: torque 0; stalled: speed 0).

    Speed 0, or no speed at less than half the highest voltage, is stalled; torque 0, or no torque at less
    than half the largest current, is no-load; the rest are loaded.

    Returns: the points with ``test`` set.  Raises: InputError (no figure to fit, values out of range).
    """
    problems: list[str] = []
    for number, point in enumerate(points, start=1):
        values = (point.current, point.torque, point.speed)
        if not (math.isfinite(point.voltage) and point.voltage > 0.0):
            problems.append(f"starter point {number}: the voltage must be above 0")
        if any(value is not None and not (math.isfinite(value) and value >= 0.0) for value in values):
            problems.append(f"starter point {number}: current, torque and speed must be 0 or more")
        if point.current is None or point.current == 0.0:
            problems.append(f"starter point {number}: a bench point needs its current")
    if not points:
        problems.append("starter points: at least one bench point is needed")
    if problems:
        raise InputError(problems)
    highest = max(point.voltage for point in points)
    largest = max(point.current or 0.0 for point in points)
    done = []
    for point in points:
        unread = point.speed is None and point.voltage <= STALLED_VOLTAGE_SHARE * highest
        idle = point.torque is None and (point.current or 0.0) < NO_LOAD_CURRENT_SHARE * largest
        if point.test == "stalled" or (point.test is None and (point.speed == 0.0 or unread)):
            done.append(replace(point, test="stalled", speed=0.0))
        elif point.test == "no-load" or point.torque == 0.0 or (point.test is None and idle):
            done.append(replace(point, test="no-load", torque=0.0))
        else:
            done.append(replace(point, test="loaded"))
    return done


def point_errors(motor: MotorCircuit, point: BenchPoint) -> list[PointError]:
    """The machine's figures for one classified bench point, run at its voltage as the bench runs it.

    No-load: current and speed at torque 0.  Loaded: torque and speed at the point's current.  Stalled:
    current and locked torque.  Returns: one PointError for each figure given.
    """
    found: list[tuple[Literal["current", "torque", "speed"], float | None, float]]
    stalled = stall_current(motor, point.voltage)
    if point.test == "no-load":
        amperes, turning, _ = steady_state(motor, point.voltage, load_torque=0.0)
        found = [("current", point.current, amperes), ("speed", point.speed, turning)]
    elif point.test == "stalled":
        found = [("current", point.current, stalled), ("torque", point.torque, locked_torque(motor, stalled))]
    else:
        # A machine that stalls below the point's current is judged at its stall current.
        amperes = min(point.current or 0.0, stalled * (1.0 - SHORT_OF_STALL))
        turning = _speed_at(motor, point.voltage, amperes)
        found = [
            ("torque", point.torque, running_torque(motor, amperes, turning)),
            ("speed", point.speed, turning),
        ]
        if amperes < (point.current or 0.0):
            found.append(("current", point.current, amperes))
    test = point.test or "loaded"
    return [
        PointError(test, name, given, computed, computed / given - 1.0)
        for name, given, computed in found
        if given is not None and given > 0.0
    ]


def _penalty(ratio: float) -> float:
    """Log ratio in units of the tolerance, cubed beyond it: no figure buys its fit with a miss elsewhere."""
    deviation = math.log(max(ratio, FIT_RATIO_FLOOR)) / FIT_TOLERANCE
    return (1.0 - FIT_CUBIC_SHARE) * deviation + FIT_CUBIC_SHARE * deviation**3


def _misses(motor: MotorCircuit, points: list[BenchPoint]) -> list[float]:
    """Penalties of all bench figures, as many whatever the machine; a stall short of a load counts."""
    misses = [
        _penalty(1.0 + error.error)
        for point in points
        for error in point_errors(motor, point)
        if (error.test, error.quantity) != ("loaded", "current")
    ]
    return misses + [
        _penalty(min(1.0, stall_current(motor, point.voltage) / point.current))
        for point in points
        if point.test == "loaded" and point.current
    ]


def fit_points(
    points: list[BenchPoint], motor_kind: MotorKind = "series", voltage: float | None = None
) -> tuple[MotorCircuit, FitReport]:
    """Fit a machine to bench points by bounded least squares, leaning on the scaled reference where few.

    Unknowns are the logarithms of an equivalent rating (of `scaled_reference`) and of each parameter over the
    scaled reference, held to FIT_SPREAD with the small weight FIT_PRIOR_WEIGHT.  Brush drop stays within
    1-2 V, so that stall voltage over stall current is no lower bound on the resistance.

    Parameters: points; motor_kind; voltage [V] nominal (None: 12 or 24 V from the highest bench voltage).
    Returns: (MotorCircuit at 20 degC, FitReport).  Raises: InputError.
    """
    from scipy.optimize import least_squares

    points = classify_points(points)
    highest = max(point.voltage for point in points)
    nominal = voltage or (REFERENCE_VOLTAGE if highest <= SYSTEM_VOLTAGE_LIMIT else 2.0 * REFERENCE_VOLTAGE)
    constant_field = ("field_constant_saturated", "saturation_current") if motor_kind != "series" else ()
    names = [name for name in FIT_SPREAD if name not in constant_field]

    def machine(logs: Any) -> MotorCircuit:
        base = scaled_reference(REFERENCE_POWER * math.exp(logs[-1]), nominal, motor_kind)
        factors = zip(names, logs[:-1], strict=True)
        return replace(base, **{name: getattr(base, name) * math.exp(x) for name, x in factors})

    def residuals(logs: Any) -> list[float]:
        pull = [FIT_PRIOR_WEIGHT * x / FIT_SPREAD[name][0] for name, x in zip(names, logs[:-1], strict=True)]
        return [*_misses(machine(logs), points), *pull, FIT_SCALE_WEIGHT * logs[-1]]

    low = [math.log(FIT_SPREAD[name][1]) for name in names] + [math.log(FIT_SCALE_RANGE[0])]
    high = [math.log(FIT_SPREAD[name][2]) for name in names] + [math.log(FIT_SCALE_RANGE[1])]
    starts = [[0.0] * len(names) + [math.log(start)] for start in FIT_STARTS]
    solutions = [least_squares(residuals, start, bounds=(low, high)) for start in starts]
    best = min(solutions, key=lambda solution: solution.cost)
    motor = machine(best.x)
    motor = replace(motor, inductance=TIME_CONSTANT_ELECTRICAL * motor.resistance)
    errors = tuple(error for point in points for error in point_errors(motor, point))
    limits = zip(names, best.x, low, high, strict=False)
    report = FitReport(
        errors=errors,
        worst=max((abs(error.error) for error in errors), default=math.inf),
        equivalent_power=REFERENCE_POWER * math.exp(best.x[-1]),
        at_bounds=tuple(n for n, x, a, b in limits if min(x - a, b - x) < FIT_BOUND_MARGIN),
        from_reference=_prior_dominated(names, best.jac),
        equations=len(errors),
    )
    return motor, report


def _prior_dominated(names: list[str], jacobian: Any) -> tuple[str, ...]:
    """Parameters whose spread after the fit is still near that of the prior alone (linearised)."""
    import numpy as np

    spread = np.sqrt(np.diag(np.linalg.pinv(jacobian.T @ jacobian)))
    return tuple(
        n for n, s in zip(names, spread, strict=False) if s > PRIOR_DOMINATED * FIT_SPREAD[n][0] / FIT_PRIOR_WEIGHT
    )
