# SPDX-License-Identifier: GPL-3.0-or-later
"""The parts' equations as functions of SI floats. Every law is stated where it stands."""

from __future__ import annotations

import math

from scipy.special import wrightomega

BOLTZMANN, CHARGE = 1.380649e-23, 1.602176634e-19  # [J/K], [C] exact by definition of the SI (2019)
ZERO_CELSIUS = 273.15  # [K]
ROOM = 300.15  # [K] temperature at which the overrunning clutch and suppression diodes are described

CLUTCH_SATURATION, CLUTCH_SLOPE = 1e-6, 5e-3  # [N m], [rad/s per N m]
BRUSH_CURRENT = 10.0  # [A] over which the brush drop reverses
MOTOR_FRICTION_SPEED, ENGINE_FRICTION_SPEED = 2.0, 0.2  # [rad/s] over which dry friction reverses
GOVERNOR_RATIO = 0.15  # [N m s/rad per N m of cranking friction]
GOVERNOR_BAND = 8.0  # [rad/s]
ARC_SHARE = 1.6  # [-] arc voltage of the opening main contact over the boat's nominal voltage
MAIN_CONTACT_FROM, MAIN_CONTACT_SPAN = 0.60, 0.05  # [-] armature travel over which the main contact closes
STOP_SPAN = 1e-3  # [-] an implicit integrator finds no step onto a stop that gives by nothing


def clamp(x: float) -> float:
    """x held between 0 and 1."""
    return 0.0 if x <= 0.0 else 1.0 if x >= 1.0 else x


def thermal_voltage(kelvin: float) -> float:
    """k T / q [V]."""
    return BOLTZMANN * kelvin / CHARGE


def diode(voltage: float, saturation: float, scale: float, series: float) -> tuple[float, float]:
    """Current [A] and slope [S] of I = Is (exp((V - Rs I) / nVt) - 1), in closed form.

    With u = (I + Is) Rs / nVt:  u + ln u = ln(Is Rs / nVt) + (V + Rs Is) / nVt, so u is Wright's omega function.
    `scale` nVt [V], `series` Rs [ohm], `saturation` Is [A].
    """
    share = saturation * series / scale
    u = float(wrightomega(math.log(share) + (voltage + series * saturation) / scale))
    return u * scale / series - saturation, u / ((1.0 + u) * series)


def clutch_torque(slip: float) -> float:
    """Torque [N m] through the overrunning clutch at `slip` [rad/s], pinion less ring gear: exponential, one way."""
    return diode(slip, CLUTCH_SATURATION, thermal_voltage(ROOM), CLUTCH_SLOPE)[0]


def field_constant(current: float, residual: float, saturated: float, knee: float) -> tuple[float, float]:
    """k(i) = k0 + k1 |i| / (|i| + Is) [V s/rad] and its slope with i."""
    size = abs(current)
    return residual + saturated * size / (size + knee), math.copysign(saturated * knee / (size + knee) ** 2, current)


def motor_current(voltage: float, guess: float, law: MotorLaw) -> tuple[float, float]:
    """Current [A] and slope [S] of v = R i + Rd (i - iL) + Vb tanh(i / 10 A) + k(i) w, by Newton's method on i."""
    i = guess
    for _ in range(60):
        k, dk = field_constant(i, law.residual, law.saturated, law.knee)
        t = math.tanh(i / BRUSH_CURRENT)
        slope = law.resistance + law.damping + law.brush * (1.0 - t * t) / BRUSH_CURRENT + dk * law.speed
        error = (
            (law.resistance + law.damping) * i - law.damping * law.inductor + law.brush * t + k * law.speed - voltage
        )
        change = error / slope
        i -= change
        if abs(change) < 1e-10 * (1.0 + abs(i)):
            return i, 1.0 / slope
    raise ArithmeticError("no motor current")


class MotorLaw:
    """What `motor_current` needs; `speed` [rad/s] and `inductor` current [A] change with the state."""

    __slots__ = ("brush", "damping", "inductor", "knee", "residual", "resistance", "saturated", "speed")

    def __init__(self, resistance: float, damping: float, brush: float, residual: float, saturated: float, knee: float):
        self.resistance, self.damping, self.brush = resistance, damping, brush
        self.residual, self.saturated, self.knee = residual, saturated, knee
        self.speed = self.inductor = 0.0


def main_contact_conductance(position: float, resistance: float) -> float:
    """[S], rises with the square of the armature's travel between 0.60 and 0.65; 1 nS when open."""
    return clamp((position - MAIN_CONTACT_FROM) / MAIN_CONTACT_SPAN) ** 2 / resistance + 1e-9


def arc_current(voltage: float, arc: float) -> tuple[float, float]:
    """Current [A] and slope [S] of the arc across the opening main contact: 20 A for each volt above `arc` [V]."""
    return (20.0 * (voltage - arc), 20.0) if voltage > arc else (0.0, 0.0)


def ramp(position: float, rate: float, top: float = 1.0) -> float:
    """dx/dt [1/s] of what moves at a constant rate between stops at 0 and `top`, which give by `STOP_SPAN`."""
    return rate * clamp((top - position if rate > 0.0 else position) / STOP_SPAN)


def armature_rate(position: float, driven: bool, operate: float, release: float) -> float:
    """dx/dt [1/s]: constant speed up while driven, back else; the contact is made and lost at x = 0.625."""
    return ramp(position, 0.625 / operate if driven else -0.375 / release)


def compression_torque(angle: float, order: float, pairs: tuple[tuple[float, float], ...]) -> float:
    """Sum of a_n sin(n h theta) + b_n cos(n h theta) [N m], resisting positive."""
    return sum(
        a * math.sin(n * order * angle) + b * math.cos(n * order * angle) for n, (a, b) in enumerate(pairs, start=1)
    )


def engine_friction(speed: float, coulomb: float, breakaway: float, decay: float, viscous: float) -> float:
    """(Tc + Tb exp(-(w/ws)^2)) tanh(w / 0.2) + Bv w [N m]."""
    share = (speed / decay) ** 2
    extra = breakaway * math.exp(-share) if share < 700.0 else 0.0
    return (coulomb + extra) * math.tanh(speed / ENGINE_FRICTION_SPEED) + viscous * speed


def firing_torque(speed: float, idle: float, governor: float) -> float:
    """[N m] of the governed engine: proportional to the speed missing to idle, full from 8 rad/s below it."""
    return governor * GOVERNOR_BAND * clamp((idle - speed) / GOVERNOR_BAND)


def display_current(inside: float, power: float, minimum: float) -> float:
    """P / max(v, vmin), gone with the square between 0.8 vmin and 0.6 vmin [A]."""
    return power / max(inside, minimum) * clamp((inside - 0.6 * minimum) / (0.2 * minimum)) ** 2


def converter_output(voltage_in: float, voltage_out: float, law: tuple[float, float, float, float]) -> float:
    """Current [A]: 20 A/V below the set-point (or below the input less the headroom), held under the input limit.

    `law`: set-point [V], headroom [V], efficiency [-], input limit [A].
    """
    target, headroom, efficiency, limit = law
    wanted = 20.0 * max(min(target, voltage_in - headroom) - voltage_out, 0.0)
    return min(wanted, limit * efficiency * voltage_in / max(voltage_out, 1.0))
