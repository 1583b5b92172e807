# SPDX-License-Identifier: GPL-3.0-or-later
"""The engine as the starter sees it: friction by oil and temperature, compression ripple, breakaway, inertia.

Resisting torque at the crankshaft, speed w and angle theta (0 at a firing top dead centre):

    torque = (friction_torque + breakaway_torque exp(-(w / breakaway_speed)^2)) sign(w) + friction_viscous w
             + sum over n = 1..3 of a_n sin(n h theta) + b_n cos(n h theta),   h = cylinders / 2 (four-stroke)

The mean of the compression loop (blow-by and heat to the walls) is part of ``friction_torque``.
Limits: evenly firing four-strokes.  Three harmonics leave out 3 % of the ripple (root mean square) of six
cylinders, 12 % of four, 23 % of three, 46 % of two and most of one's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from cranksag.errors import InputError
from cranksag.parts.oil import dynamic_viscosity, oil_grade
from cranksag.parts.starter import RPM, MotorCircuit, motor_with_source, steady_state

ATMOSPHERE = 101325.0  # [Pa] ISO 2533
# Friction mean effective pressure, Chen-Flynn form A + B pmax + speed term, the latter in a cranking form.
FMEP_CONSTANT = 0.40e5  # [Pa] A, 0.3-0.5 bar: Chen-Flynn, from memory
FMEP_PER_PRESSURE = 0.005  # [-] B, 0.004-0.006: Chen-Flynn, from memory
FMEP_VISCOUS = 0.50e5  # [Pa] speed term at the reference viscosity and piston speed: engineering estimate
VISCOSITY_REFERENCE = 15.0e-3  # [Pa s] a 15W-40 at 90 degC (this project's oil law)
# [-] of mu / mu90, 0.2-0.35: from memory; the upper end comes nearest to the published cold demand
VISCOSITY_EXPONENT = 0.35
PISTON_SPEED_REFERENCE = 0.75  # [m/s] mean piston speed at 200 rpm of a 1 l cylinder: from STROKE_TO_BORE
PISTON_SPEED_EXPONENT = 0.5  # [-] hydrodynamic friction ~ sqrt(viscosity x speed): engineering estimate
STROKE_TO_BORE = 1.1  # [-] small diesels 1.0-1.2: engineering estimate
SPEEDS_LINEARISED = (100.0 * RPM, 300.0 * RPM)  # [rad/s] range over which the friction is made linear
SPEED_CRANKING = 200.0 * RPM  # [rad/s] typical diesel crank speed: common practice
BREAKAWAY_RATIO = 2.0  # [-] standstill over running friction, 1.5-3: from memory
BREAKAWAY_SPEED = 1.0  # [rad/s] about 10 rpm, oil films re-form in the first degrees: engineering estimate
# Compression loop.
POLYTROPIC_EXPONENT = 1.25  # [-] compression at crank speed with wall losses, 1.2-1.3: engineering estimate
# [-] the same of a divided chamber, which loses more heat: mean of five small diesels on a gauge at 280-300 rpm, 33
# bar, at ratio 22.5: 2.94 (sgr19 p. 25), 3.14 (33a p. 91), 3.2 (s6s p. 4-2, whose manual covers both kinds), 3.24-3.72
# (03-M-Serie) and 3.53-4.02 MPa (d902); with the three surely divided ones alone it would be 1.17
POLYTROPIC_EXPONENT_DIVIDED = 1.155
# [-] compression ratios up to which a chamber is taken for undivided and from which for divided: 21 (d1102-b), 23
# (Comet V chamber, westerbeke 30 p. 37) and 23.5 (3tnv76) are printed for divided ones, 17-19 is common practice for
# undivided ones
CHAMBER_DIVIDES = (19.0, 21.0)
# [-] share of the absolute pressure gone by top dead centre (blow-by, walls): engineering estimate
LOOP_LOSS = 0.10
ROD_RATIO = 0.28  # [-] crank radius over connecting rod: engineering estimate
INTAKE_CLOSES = math.radians(40.0)  # [rad] after bottom dead centre: engineering estimate
EXHAUST_OPENS = math.radians(45.0)  # [rad] before bottom dead centre: engineering estimate
SAMPLES_PER_PERIOD = 720  # [-] numerical: points of the superposed torque over one compression period
# Inertia of crank train, flywheel and damper.
INERTIA_PER_LITRE = 0.08  # [kg m2] at 1 l: engineering estimate (0.25 at 2 l, 0.9 at 4.2 l, 1.5 at 5.9 l)
INERTIA_EXPONENT = 5.0 / 3.0  # [-] inertia ~ length^5 of similar engines, displacement ~ length^3
LITRES = 1e3  # [l/m3] definition
CREEPING = 1e-3  # [rad/s] numerical: the starter turns the engine if it does so here
BISECTIONS = 60  # [-] numerical: halvings that bring a bracket to the last bits
ENGINES_KEPT = 256  # [-] numerical: harmonics remembered
LIMIT_CYLINDERS = (1, 16)  # [-]
LIMIT_COMPRESSION = (5.0, 30.0)  # [-]

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class EngineCircuit:
    """Engine at the crankshaft; equation in the module's docstring, resisting torque positive."""

    friction_torque: float  # [N m] Coulomb part while cranking, mean compression loss included
    friction_viscous: float  # [N m s/rad]
    breakaway_torque: float  # [N m] extra at standstill
    breakaway_speed: float  # [rad/s]
    inertia: float  # [kg m2]
    order: float  # h [-] compressions per radian: cylinders / 2
    a1: float  # [N m]
    b1: float  # [N m]
    a2: float  # [N m]
    b2: float  # [N m]
    a3: float  # [N m]
    b3: float  # [N m]
    rest_angle: float  # [rad] stable zero of the compression torque
    compression_loss: float  # [N m] mean loss of the compression, the part of friction_torque that is no friction


def relative_volume(angle: FloatArray, compression_ratio: float) -> FloatArray:
    """Cylinder volume over swept volume, slider crank.

    V / Vd = 1/(eps - 1) + (1 + 1/l - cos a - sqrt(1/l^2 - sin^2 a)) / 2, l = ROD_RATIO.
    Parameters: angle [rad] from top dead centre; compression_ratio eps [-].  Returns: [-].
    """
    rod = 1.0 / ROD_RATIO
    stroke_share = 0.5 * (1.0 + rod - np.cos(angle) - np.sqrt(rod**2 - np.sin(angle) ** 2))
    return np.asarray(1.0 / (compression_ratio - 1.0) + stroke_share, dtype=np.float64)


def polytropic_exponent(compression_ratio: float) -> float:
    """Exponent of the compression: direct injection and petrol below, divided chambers above CHAMBER_DIVIDES.

    Linear between; so the pressure at top dead centre falls from ratio 19 to 21, where the engines change kind.
    Parameters: compression_ratio [-].  Returns: [-].
    """
    whole, divided = CHAMBER_DIVIDES
    share = min(1.0, max(0.0, (compression_ratio - whole) / (divided - whole)))
    return POLYTROPIC_EXPONENT + share * (POLYTROPIC_EXPONENT_DIVIDED - POLYTROPIC_EXPONENT)


def cylinder_pressure(angle: FloatArray, compression_ratio: float) -> FloatArray:
    """Motored pressure over the four-stroke cycle, valves and manifolds at ambient pressure.

    Compression from intake closing p = p0 (V1/V)^n, expansion p = (1 - LOOP_LOSS) p0 (V1/V)^n until the
    exhaust opens.
    The step at top dead centre does no work there (dV = 0).

    Parameters: angle [rad], 0 = firing top dead centre, any range.  Returns: absolute pressure [Pa].
    """
    cycle = np.mod(angle + 2.0 * math.pi, 4.0 * math.pi) - 2.0 * math.pi
    volume = relative_volume(cycle, compression_ratio)
    start = -math.pi + INTAKE_CLOSES
    trapped = float(relative_volume(np.array([start]), compression_ratio)[0])
    compressed = ATMOSPHERE * (trapped / volume) ** polytropic_exponent(compression_ratio)
    pressure = np.full_like(volume, ATMOSPHERE)
    rising = (cycle >= start) & (cycle <= 0.0)
    falling = (cycle > 0.0) & (cycle <= math.pi - EXHAUST_OPENS)
    pressure[rising] = compressed[rising]
    pressure[falling] = (1.0 - LOOP_LOSS) * compressed[falling]
    return pressure


def peak_pressure(compression_ratio: float) -> float:
    """Motored pressure at top dead centre, absolute [Pa]: p0 (V1/Vc)^n.  compression_ratio [-]."""
    return float(cylinder_pressure(np.array([0.0]), compression_ratio)[0])


def compression_torque(angle: FloatArray, displacement: float, cylinders: int, compression_ratio: float) -> FloatArray:
    """Resisting torque of all cylinders, evenly spaced over two revolutions: -sum (p - p0) dV/dtheta.

    Parameters: angle [rad]; displacement [m3] of the whole engine; cylinders [-]; compression_ratio [-].
    Returns: [N m], resisting positive; its mean is the loss of the compression loop.
    """
    swept = displacement / cylinders
    total = np.zeros_like(angle)
    for number in range(cylinders):
        shifted = angle - 4.0 * math.pi * number / cylinders
        root = np.sqrt(1.0 / ROD_RATIO**2 - np.sin(shifted) ** 2)
        slope = 0.5 * swept * (np.sin(shifted) + np.sin(shifted) * np.cos(shifted) / root)  # dV/dtheta [m3/rad]
        total -= (cylinder_pressure(shifted, compression_ratio) - ATMOSPHERE) * slope
    return total


@lru_cache(maxsize=ENGINES_KEPT)
def compression_harmonics(
    displacement: float, cylinders: int, compression_ratio: float
) -> tuple[float, tuple[float, ...], tuple[float, ...]]:
    """Mean and first three harmonics, of order n cylinders/2, of the compression torque (FFT over a period).

    Parameters: displacement [m3]; cylinders [-]; compression_ratio [-].
    Returns: (mean [N m], (a1, a2, a3) of the sines [N m], (b1, b2, b3) of the cosines [N m]).
    """
    period = 4.0 * math.pi / cylinders
    # Half a step off top dead centre: the pressure step there falls between two samples.
    offset = 0.5 / SAMPLES_PER_PERIOD
    angle = (np.arange(SAMPLES_PER_PERIOD) / SAMPLES_PER_PERIOD + offset) * period
    torque = compression_torque(angle, displacement, cylinders, compression_ratio)
    spectrum = np.fft.rfft(torque) / SAMPLES_PER_PERIOD
    spectrum = spectrum * np.exp(-2.0j * math.pi * offset * np.arange(spectrum.size))
    sines = tuple(float(-2.0 * spectrum[n].imag) for n in (1, 2, 3))
    cosines = tuple(float(2.0 * spectrum[n].real) for n in (1, 2, 3))
    return float(spectrum[0].real), sines, cosines


def ripple(order: float, sines: tuple[float, ...], cosines: tuple[float, ...], angle: FloatArray) -> FloatArray:
    """Sum of a_n sin(n h theta) + b_n cos(n h theta) [N m] at angles [rad]; order h [-]."""
    total = np.zeros_like(angle)
    for n, (a, b) in enumerate(zip(sines, cosines, strict=True), start=1):
        total += a * np.sin(n * order * angle) + b * np.cos(n * order * angle)
    return total


@lru_cache(maxsize=ENGINES_KEPT)
def rest_angle(order: float, sines: tuple[float, ...], cosines: tuple[float, ...]) -> float:
    """Where the crank comes to rest: the zero of the ripple with positive slope and the lowest stored work.

    Parameters: order h [-]; sines, cosines [N m].  Returns: [rad] within one compression period.
    """
    period = 2.0 * math.pi / order
    angle = np.arange(SAMPLES_PER_PERIOD) * period / SAMPLES_PER_PERIOD
    work = np.zeros_like(angle)  # integral of the ripple over angle
    for n, (a, b) in enumerate(zip(sines, cosines, strict=True), start=1):
        work += (-a * np.cos(n * order * angle) + b * np.sin(n * order * angle)) / (n * order)
    lowest = float(angle[int(np.argmin(work))])
    low, high = lowest - period / SAMPLES_PER_PERIOD, lowest + period / SAMPLES_PER_PERIOD
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        if float(ripple(order, sines, cosines, np.array([middle]))[0]) < 0.0:
            low = middle
        else:
            high = middle
    return math.fmod(0.5 * (low + high) + period, period)


def mean_piston_speed(displacement: float, cylinders: int, speed: float) -> float:
    """2 S n with stroke S = STROKE_TO_BORE x bore.  displacement [m3], speed [rad/s]; returns [m/s]."""
    bore = math.cbrt(4.0 * displacement / (cylinders * math.pi * STROKE_TO_BORE))
    return 2.0 * STROKE_TO_BORE * bore * speed / (2.0 * math.pi)


def friction_pressure(
    displacement: float, cylinders: int, compression_ratio: float, viscosity: float, speed: float
) -> float:
    """Friction mean effective pressure while cranking, Chen-Flynn form with a hydrodynamic speed term.

    fmep = A + B pmax + C (mu / mu_ref)^0.35 (cm / cm_ref)^0.5

    Parameters: displacement [m3]; cylinders, compression_ratio [-]; viscosity [Pa s]; speed [rad/s].
    Returns: [Pa].
    """
    piston = mean_piston_speed(displacement, cylinders, speed) / PISTON_SPEED_REFERENCE
    film = math.pow(viscosity / VISCOSITY_REFERENCE, VISCOSITY_EXPONENT) * math.pow(piston, PISTON_SPEED_EXPONENT)
    return FMEP_CONSTANT + FMEP_PER_PRESSURE * peak_pressure(compression_ratio) + FMEP_VISCOUS * film


def engine_inertia(displacement: float) -> float:
    """Crank train with flywheel, 0.08 kg m2 x litres^(5/3): engineering estimate.

    Parameters: displacement [m3].  Returns: [kg m2].
    """
    return INERTIA_PER_LITRE * math.pow(displacement * LITRES, INERTIA_EXPONENT)


def _check(
    displacement: float,
    cylinders: int,
    compression_ratio: float,
    friction_factor: float,
    inertia: float | None,
) -> None:
    problems = []
    if not (math.isfinite(displacement) and displacement > 0.0):
        problems.append("engine.displacement must be above 0")
    if not LIMIT_CYLINDERS[0] <= cylinders <= LIMIT_CYLINDERS[1]:
        problems.append("engine.cylinders must be 1 to 16")
    if not LIMIT_COMPRESSION[0] <= compression_ratio <= LIMIT_COMPRESSION[1]:
        problems.append("engine.compression_ratio must be 5 to 30")
    if not (math.isfinite(friction_factor) and friction_factor > 0.0):
        problems.append("engine friction factor must be above 0")
    if inertia is not None and not (math.isfinite(inertia) and inertia > 0.0):
        problems.append("engine inertia must be above 0")
    if problems:
        raise InputError(problems)


def engine_circuit(
    displacement: float,
    cylinders: int,
    compression_ratio: float,
    oil: str,
    oil_temperature: float,
    friction_factor: float = 1.0,
    inertia: float | None = None,
) -> EngineCircuit:
    """The engine's resisting torque for one oil at one temperature.

    Torque = fmep Vd / (4 pi), made linear through its values at 100 and 300 rpm, plus the mean compression
    loss.

    Parameters: displacement [m3]; cylinders [-]; compression_ratio [-]; oil: SAE grade; oil_temperature
    [degC]; friction_factor [-] on the friction (not on compression); inertia [kg m2] (None: estimate by
    displacement).
    Returns: EngineCircuit.  Raises: InputError.
    """
    _check(displacement, cylinders, compression_ratio, friction_factor, inertia)
    viscosity = dynamic_viscosity(oil_grade(oil), oil_temperature)
    torque = [
        friction_factor
        * friction_pressure(displacement, cylinders, compression_ratio, viscosity, speed)
        * displacement
        / (4.0 * math.pi)
        for speed in SPEEDS_LINEARISED
    ]
    viscous = (torque[1] - torque[0]) / (SPEEDS_LINEARISED[1] - SPEEDS_LINEARISED[0])
    coulomb = torque[0] - viscous * SPEEDS_LINEARISED[0]
    loss, sines, cosines = compression_harmonics(displacement, cylinders, compression_ratio)
    order = cylinders / 2.0
    running = coulomb + viscous * SPEED_CRANKING
    return EngineCircuit(
        friction_torque=coulomb + loss,
        friction_viscous=viscous,
        # At standstill the viscous part is gone: the extra brings friction to BREAKAWAY_RATIO x running.
        breakaway_torque=BREAKAWAY_RATIO * running - coulomb,
        breakaway_speed=BREAKAWAY_SPEED,
        inertia=engine_inertia(displacement) if inertia is None else inertia,
        order=order,
        a1=sines[0],
        b1=cosines[0],
        a2=sines[1],
        b2=cosines[1],
        a3=sines[2],
        b3=cosines[2],
        rest_angle=rest_angle(order, sines, cosines),
        compression_loss=loss,
    )


def mean_cranking_torque(engine: EngineCircuit, speed: float) -> float:
    """Mean resisting torque while turning, friction_torque + friction_viscous w: speed [rad/s] to [N m]."""
    return engine.friction_torque + engine.friction_viscous * speed


def cranking_point(
    motor: MotorCircuit,
    engine: EngineCircuit,
    gear_ratio: float,
    source_voltage: float,
    source_resistance: float,
) -> tuple[float, float, float]:
    """Static mean operating point while cranking: where the starter's torque meets the engine's mean torque.

    The source's resistance joins the motor's; the compression ripple and its effect on the mean are left out.

    Parameters: gear_ratio [-] ring gear over pinion; source_voltage [V] open circuit; source_resistance [ohm]
    of battery, cables and joints.
    Returns: (current [A], crankshaft speed [rev/min], motor terminal voltage [V]); speed 0 where the starter
    cannot turn the engine.
    Raises: InputError.
    """
    if not (gear_ratio > 0.0 and source_resistance >= 0.0):
        raise InputError(["cranking point: gear ratio above 0 and source resistance of 0 or more are needed"])
    whole = motor_with_source(motor, source_resistance)

    def shortfall(crank: float) -> float:
        torque = steady_state(whole, source_voltage, speed=crank * gear_ratio)[2] if crank > 0.0 else 0.0
        return mean_cranking_torque(engine, crank) / gear_ratio - torque

    low = CREEPING
    if shortfall(low) >= 0.0:
        current = steady_state(whole, source_voltage, speed=0.0)[0]
        return current, 0.0, source_voltage - source_resistance * current
    high = steady_state(whole, source_voltage, load_torque=0.0)[1] / gear_ratio
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if shortfall(middle) < 0.0 else (low, middle)
    crank = 0.5 * (low + high)
    current = steady_state(whole, source_voltage, speed=crank * gear_ratio)[0]
    return current, crank / RPM, source_voltage - source_resistance * current
