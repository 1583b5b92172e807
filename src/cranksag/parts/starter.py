# SPDX-License-Identifier: GPL-3.0-or-later
"""Starter motor as a machine: static curves, and an estimate from the rating alone.

Everything stands at the pinion shaft.  With armature current i and pinion speed w (motoring positive):

    v = resistance i + brush_drop tanh(i / 10 A) + k(i) w + inductance di/dt
    torque = torque_share k(i) i - friction_torque tanh(w / 2 rad/s) - friction_viscous w
    k(i) = field_constant_residual + field_constant_saturated |i| / (|i| + saturation_current)

A permanent-magnet machine from its rating alone has ``field_constant_saturated = 0``; one fitted to bench points has
a small saturating part, because published ones turn slower under load than a constant field allows (a fifth to a
third more field constant at the loaded current than free, series machines two fifths and more).  ``torque_share`` is
the share of the electromagnetic torque that reaches the pinion (internal gear, iron, armature reaction).  Published
loaded points need it: their back-EMF constant is about 1.6 times what their torque per ampere allows.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from cranksag.errors import InputError
from cranksag.parts.conductors import COPPER_ALPHA_20

MotorKind = Literal["series", "permanent magnet"]

RPM = 2.0 * math.pi / 60.0  # [rad/s per rev/min]
TEMPERATURE_BENCH = 20.0  # [degC] starter bench figures are read at 20 degC: common practice
BRUSH_CURRENT_SMOOTHING = 10.0  # [A] numerical: brush drop passes through zero over +-10 A, as in the netlist
FRICTION_SMOOTHING_SPEED = 2.0  # [rad/s] numerical: pinion friction passes through zero, as in the netlist
BRUSH_DROP_RANGE = (1.0, 2.0)  # [V] both brushes of copper-graphite starters: from memory
RING_GEAR_RATIO = 114.0 / 9.0  # [-] ring gear over pinion teeth, 24 V 5 kW, fork-lift manual d35s-5 p. 128
# [-] locked over running torque at equal current: fitted to the published starters (least favourable rotor
# position and gear stiction; the same pairs give 0.75-0.92 with friction left out)
STANDSTILL_TORQUE_SHARE = 0.70
ITERATIONS = 200  # [-] numerical: most of a root search
ROOT_TOLERANCE = 1e-12  # [-] numerical, of the bracket
SHORT_OF_STALL = 1e-6  # [-] numerical: share of the stall current kept clear of the ends of a search
ROUNDING = 1e-9  # [-] numerical: a stall current given back may differ by so much

REFERENCE_POWER = 1000.0  # [W]
REFERENCE_VOLTAGE = 12.0  # [V]
# [-] friction of the pinion shaft ~ rating^0.5.  No-load watts of published starters: 1035 at 1.0, 1.1 and 1.4 kW,
# 1150 at 2.0 kW (11.5 V 100 A, workshop manual, 4.5 l petrol), 1840 at 3.2 kW (23 V 80 A, service data L2C p. 40),
# 2185 at 5.0 kW (fork-lift manual d35s-5 p. 128): slope 0.46
FRICTION_EXPONENT = 0.5
# [-] shaft power of a sound machine at equal current over what a manual asks, in equal parts speed and torque since
# both are printed as least values: engineering estimate (most of the points behind the family are such limits)
SOUND_POWER_FACTOR = 1.15
# [-] friction of a sound machine over that of one at its no-load limit.  Two manuals print both ends of the no-load
# current, 70-110 A (TM 5-3810-303-24 table 10D-1) and 75-90 A (TM 9-4940-568-34 p. 5-157), both at 20 V: the middle is
# 0.87 of the limit, where the field constant is 0.93 of its value
SOUND_FRICTION_FACTOR = 0.87 * 0.93
LOADED_CURRENT_PER_WATT = 230.0 / 1100.0  # [A/W] at 12 V, loaded point, service manual 2tnv70 p. 199
TIME_CONSTANT_ELECTRICAL = 8.0e-3  # [s] L / R: gives 41 uH at 1 kW, inside 10-60 uH (from memory); estimate
# [kg m2] at the pinion: 0.25e-3 of a 1 kW armature times a 4:1 gear squared; estimate
REFERENCE_INERTIA = 4.0e-3
INERTIA_EXPONENT = 1.25  # [-] torque ~ length^4, inertia ~ length^5 of similar machines: engineering estimate


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
    standstill_share: float = STANDSTILL_TORQUE_SHARE  # [-] of the running torque, read on a locked-rotor bench


@dataclass(frozen=True, slots=True)
class StarterFamily:
    """What starters have in common: the machine of 1 kW at 12 V, and how far single machines lie from it.

    The spreads are standard deviations of natural logarithms, keyed by the names of `MotorCircuit`; a name that is
    not there does not differ from machine to machine.
    """

    resistance: float  # [ohm] at 20 degC
    brush_drop: float  # [V]
    field_constant_residual: float  # [V s/rad]
    field_constant_saturated: float  # [V s/rad]
    saturation_current: float  # [A]
    friction_torque: float  # [N m]
    friction_viscous: float  # [N m s/rad]
    torque_share: float  # [-]
    spread: Mapping[str, float]  # [-]
    standstill_share: float = STANDSTILL_TORQUE_SHARE  # [-]


# `starter_fit.estimate_family` over the published series starters; the tests repeat the estimate.
PUBLISHED_FAMILY = StarterFamily(
    resistance=5.57e-3,
    brush_drop=1.05,
    field_constant_residual=5.77e-3,
    field_constant_saturated=74.2e-3,
    saturation_current=109.8,
    friction_torque=0.270,
    friction_viscous=4.58e-3,
    torque_share=0.604,
    spread={
        "resistance": 0.169,
        "brush_drop": 0.143,
        "field_constant_residual": 0.319,
        "field_constant_saturated": 0.169,
        "saturation_current": 0.301,
        "friction_torque": 0.302,
        "friction_viscous": 0.258,
        "torque_share": 0.0782,
    },
)

# The same over the published permanent-magnet starters.
PERMANENT_MAGNET_FAMILY = StarterFamily(
    resistance=3.56e-3,
    brush_drop=1.19,
    field_constant_residual=37.8e-3,
    field_constant_saturated=32.6e-3,
    saturation_current=130.4,
    friction_torque=0.412,
    friction_viscous=6.98e-3,
    torque_share=0.554,
    standstill_share=0.516,
    spread={
        "resistance": 0.178,
        "brush_drop": 0.143,
        "field_constant_residual": 0.166,
        "field_constant_saturated": 0.187,
        "saturation_current": 0.294,
        "friction_torque": 0.295,
        "friction_viscous": 0.262,
        "torque_share": 0.0835,
        "standstill_share": 0.108,
    },
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
    """Torque a locked-rotor bench reads: standstill_share of the running torque at standstill, >= 0.

    Parameters: current [A].  Returns: [N m].  A rotor that creeps already has the full running torque.
    """
    return max(0.0, motor.standstill_share * running_torque(motor, current, 0.0))


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


def speed_at_current(motor: MotorCircuit, voltage: float, current: float) -> float:
    """Speed at a terminal voltage [V] and a current [A], negative beyond the stall current; returns [rad/s]."""
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
        turning = speed_at_current(motor, terminal_voltage, current)
        if turning <= 0.0:
            return current, 0.0, locked_torque(motor, current)
        return current, turning, running_torque(motor, current, turning)

    def surplus(amperes: float) -> float:
        turning = speed_at_current(motor, terminal_voltage, amperes)
        return running_torque(motor, amperes, turning) - given[0]

    if surplus(stalled) <= 0.0:
        return stalled, 0.0, locked_torque(motor, stalled)
    amperes = _root(surplus, SHORT_OF_STALL * stalled, stalled)
    return amperes, speed_at_current(motor, terminal_voltage, amperes), given[0]


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


def scaled_reference(
    power: float,
    voltage: float,
    motor_kind: MotorKind = "series",
    family: StarterFamily = PUBLISHED_FAMILY,
    speed_ratio: float = 1.0,
) -> MotorCircuit:
    """The family's machine scaled to a rating.

    With q = power / 1 kW and u = (voltage - brush drop) / (12 V - brush drop), at equal pinion speed and equal
    shares of copper loss: current ~ q/u, resistance ~ u^2/q, field constants ~ u, brush drop unchanged,
    friction ~ q^0.5 (FRICTION_EXPONENT), inductance = 8 ms x resistance, inertia ~ q^1.25.  speed_ratio s is
    gearing or winding: field constants and friction torque ~ s, viscous friction ~ s^2, speeds ~ 1/s at
    unchanged currents.  A permanent-magnet machine takes the family's field at its loaded current.

    Parameters: power > 0 [W] rated; voltage [V] nominal (12, 24, 32, 64), above the brush drop; motor_kind;
    family; speed_ratio > 0 [-].
    Returns: MotorCircuit at 20 degC.  Raises: InputError.
    """
    if not (power > 0.0 and voltage > 0.0 and math.isfinite(power) and math.isfinite(voltage)):
        raise InputError(["a starter's rated power and voltage must be above 0"])
    if voltage <= family.brush_drop:
        raise InputError([f"a starter of {voltage:g} V cannot overcome its brushes ({family.brush_drop:g} V)"])
    u = (voltage - family.brush_drop) / (REFERENCE_VOLTAGE - family.brush_drop)
    q = power / REFERENCE_POWER
    resistance = family.resistance * u**2 / q
    motor = MotorCircuit(
        resistance=resistance,
        inductance=TIME_CONSTANT_ELECTRICAL * resistance,
        brush_drop=family.brush_drop,
        field_constant_residual=family.field_constant_residual * u * speed_ratio,
        field_constant_saturated=family.field_constant_saturated * u * speed_ratio,
        saturation_current=family.saturation_current * q / u,
        friction_torque=family.friction_torque * q**FRICTION_EXPONENT * speed_ratio,
        friction_viscous=family.friction_viscous * q**FRICTION_EXPONENT * speed_ratio**2,
        inertia=REFERENCE_INERTIA * q**INERTIA_EXPONENT,
        torque_share=family.torque_share,
        standstill_share=family.standstill_share,
    )
    if motor_kind == "series":
        return motor
    loaded = field_constant(motor, LOADED_CURRENT_PER_WATT * power / u)
    return replace(motor, field_constant_residual=loaded, field_constant_saturated=0.0)


def from_rating(power: float, voltage: float, motor_kind: MotorKind = "series") -> MotorCircuit:
    """A sound machine from rated power and voltage alone.  Origin "estimate".

    `scaled_reference` with SOUND_POWER_FACTOR more shaft power at equal current: field constants divided by its
    root, so that it turns faster by that, torque share multiplied by the whole of it, so that torque rises by
    the root.  Friction is SOUND_FRICTION_FACTOR of the limit's.  Its greatest shaft power on a battery of 6 mohm
    (2.5 kW, 12 V) is 9 % above the rating, of a permanent-magnet machine, which has a family of its own, 6 %.

    Parameters: power > 0 [W] rated; voltage > 0 [V] nominal; motor_kind.  Returns: MotorCircuit at 20 degC.
    Raises: InputError.
    """
    family = PUBLISHED_FAMILY if motor_kind == "series" else PERMANENT_MAGNET_FAMILY
    base = scaled_reference(power, voltage, motor_kind, family)
    faster = math.sqrt(SOUND_POWER_FACTOR)
    return replace(
        base,
        field_constant_residual=base.field_constant_residual / faster,
        field_constant_saturated=base.field_constant_saturated / faster,
        friction_torque=base.friction_torque * SOUND_FRICTION_FACTOR,
        friction_viscous=base.friction_viscous * SOUND_FRICTION_FACTOR / faster,
        torque_share=base.torque_share * SOUND_POWER_FACTOR,
    )
