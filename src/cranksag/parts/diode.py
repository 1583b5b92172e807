# SPDX-License-Identifier: GPL-3.0-or-later
"""Diode: SPICE parameters from catalogue points, and their temperature laws.

V(I) = N Vt ln(1 + I / IS) + I RS, the SPICE diode without junction capacitance and without high-injection
knee. Temperatures are in degC in every signature and turned into kelvin at the top of the function.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = [
    "DiodeCircuit",
    "DiodeModel",
    "circuit_voltage",
    "diode_circuit",
    "fit_diode",
    "forward_current",
    "forward_voltage",
    "leakage_current",
    "leakage_doubling",
    "saturation_current",
    "thermal_voltage",
]

# Boltzmann constant [J/K] and elementary charge [C], exact in the SI since 2019.
BOLTZMANN = 1.380649e-23
ELEMENTARY_CHARGE = 1.602176634e-19
# 0 degC in kelvin, exact by definition [K].
ZERO_CELSIUS = 273.15
# Nominal temperature of SPICE parameters [degC]; ngspice manual, .model, TNOM.
SPICE_TEMPERATURE = 27.0
# Temperature law of a silicon junction: exponent XTI [-] and gap EG [eV]; ngspice manual, diode model
# defaults.
SILICON_EXPONENT = 3.0
SILICON_GAP = 1.11
# The same for a Schottky barrier: EG 0.69, XTI 2, as in the public "standard.dio" set for the 1N5817.
SCHOTTKY_EXPONENT = 2.0
SCHOTTKY_GAP = 0.69
# Emission coefficients outside this range belong to no real junction [-]. Common practice.
EMISSION_LOWEST = 1.0
EMISSION_HIGHEST = 2.0
# Temperature at which data sheets print forward points [degC]. Common practice.
DATA_SHEET_TEMPERATURE = 25.0
# Numerical [-]: halvings that bring any bracket here to the last bit; largest exponent a double takes, with room.
BISECTIONS = 200
EXPONENT_LARGEST = 700.0

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class DiodeModel:
    """A diode's SPICE set.

    saturation_current [A] and temperature [degC] belong together; emission [-], series_resistance [ohm],
    exponent XTI [-], gap EG [eV], breakdown voltage [V].
    """

    saturation_current: float
    emission: float
    series_resistance: float
    temperature: float = SPICE_TEMPERATURE
    exponent: float = SILICON_EXPONENT
    gap: float = SILICON_GAP
    breakdown: float = math.inf

    def __post_init__(self) -> None:
        """Refuse what is no diode.

        Raises
        ------
        ValueError
            If saturation current or emission is not positive, or the series resistance negative.
        """
        if self.saturation_current <= 0.0 or self.emission <= 0.0 or self.series_resistance < 0.0:
            raise ValueError("a diode needs IS > 0, N > 0 and RS >= 0")


@dataclass(frozen=True, slots=True)
class DiodeCircuit:
    """The diode as the netlist sees it: SPICE diode without junction capacitance, and what it leaks.

    saturation_current [A] already evaluated at temperature [degC], emission [-], series_resistance [ohm],
    breakdown [V]; leakage [S]: reverse current over reverse voltage.
    """

    saturation_current: float
    emission: float
    series_resistance: float
    temperature: float
    breakdown: float
    leakage: float = 0.0


def thermal_voltage(temperature: float) -> float:
    """Thermal voltage k T / q.

    Parameters
    ----------
    temperature : [degC]

    Returns
    -------
    voltage [V]

    Raises
    ------
    ValueError
        At or below absolute zero.
    """
    kelvin = temperature + ZERO_CELSIUS
    if kelvin <= 0.0:
        raise ValueError("temperature at or below absolute zero")
    return BOLTZMANN * kelvin / ELEMENTARY_CHARGE


def saturation_current(model: DiodeModel, temperature: float) -> float:
    """Saturation current at a junction temperature.

    IS(T) = IS (T / Tn)^(XTI / N) exp(EG / (N Vt(T)) (T / Tn - 1)), ngspice's own law.

    Parameters
    ----------
    model : SPICE set
    temperature : junction temperature [degC]

    Returns
    -------
    current [A]

    References
    ----------
    ngspice manual, section on the diode model, temperature dependence.
    """
    ratio = (temperature + ZERO_CELSIUS) / (model.temperature + ZERO_CELSIUS)
    arrhenius = model.gap / (model.emission * thermal_voltage(temperature)) * (ratio - 1.0)
    power_law = model.exponent / model.emission * math.log(ratio)
    return model.saturation_current * math.exp(arrhenius + power_law)


def forward_voltage(model: DiodeModel, current: float, temperature: float) -> float:
    """Forward voltage at a current and junction temperature.

    Parameters
    ----------
    model : SPICE set
    current : forward current, zero or more [A]
    temperature : junction temperature [degC]

    Returns
    -------
    voltage [V]

    Raises
    ------
    ValueError
        If the current is negative.
    """
    if current < 0.0:
        raise ValueError("forward current must not be negative")
    scale = model.emission * thermal_voltage(temperature)
    return scale * math.log1p(current / saturation_current(model, temperature)) + current * model.series_resistance


def forward_current(model: DiodeModel, voltage: float, temperature: float) -> float:
    """Current at a voltage; the inverse of forward_voltage, and -IS for reverse voltage short of breakdown.

    Parameters
    ----------
    model : SPICE set
    voltage : across the diode's terminals [V]
    temperature : junction temperature [degC]

    Returns
    -------
    current [A]
    """
    scale = model.emission * thermal_voltage(temperature)
    saturation = saturation_current(model, temperature)
    if voltage <= 0.0:
        return saturation * math.expm1(voltage / scale)
    # Work on the junction voltage: u + RS IS (exp(u / scale) - 1) = v rises monotonically between 0 and v.
    low, high = 0.0, voltage
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        exponent = min(middle / scale, EXPONENT_LARGEST)
        if middle + model.series_resistance * saturation * math.expm1(exponent) < voltage:
            low = middle
        else:
            high = middle
    return saturation * math.expm1(0.5 * (low + high) / scale)


def _fit_with_emission(
    currents: np.ndarray, voltages: np.ndarray, scale: float, resistance: float | None
) -> tuple[float, float, float]:
    """ln IS, RS and squared residual for a given N Vt; RS is as given, or fitted and at least zero."""
    reduced = voltages - scale * np.log(currents)
    if resistance is None and len(currents) > 1:
        design = np.column_stack([np.ones_like(currents), currents])
        resistance = max(float(np.linalg.lstsq(design, reduced, rcond=None)[0][1]), 0.0)
    elif resistance is None:
        resistance = 0.0
    offset = float(np.mean(reduced - resistance * currents))
    residual = reduced - offset - resistance * currents
    return -offset / scale, resistance, float(residual @ residual)


def fit_diode(
    points: Sequence[tuple[float, float]],
    temperature: float = DATA_SHEET_TEMPERATURE,
    emission: float | None = None,
    exponent: float = SILICON_EXPONENT,
    gap: float = SILICON_GAP,
    breakdown: float = math.inf,
    series_resistance: float | None = None,
) -> DiodeModel:
    """SPICE set through catalogue points of forward current and voltage, by least squares.

    V = N Vt ln I - N Vt ln IS + RS I is linear in N, N ln IS and RS. N is kept between 1 and 2 and RS at or
    above zero, since printed maxima at several currents need not lie on one diode's curve. The points are
    taken to be far above the saturation current, as printed points are.

    Parameters
    ----------
    points : pairs of forward current [A] and voltage [V]; three or more unless the emission is given
    temperature : junction temperature of the points [degC]
    emission : N if known [-]
    exponent, gap : temperature law XTI [-] and EG [eV]
    breakdown : [V]
    series_resistance : RS if known [ohm]; only used with a known emission. One point alone cannot tell it
        from the junction, and it decides how the forward voltage follows temperature

    Returns
    -------
    DiodeModel

    Raises
    ------
    ValueError
        If a current or voltage is not positive or there are too few points.
    """
    if any(current <= 0.0 or voltage <= 0.0 for current, voltage in points):
        raise ValueError("forward points need current and voltage above zero")
    if len({current for current, _ in points}) < (3 if emission is None else 1):
        raise ValueError("three points at different currents are needed, or a known emission coefficient")
    currents = np.array([current for current, _ in points], dtype=float)
    voltages = np.array([voltage for _, voltage in points], dtype=float)
    unit = thermal_voltage(temperature)
    if emission is None:
        design = np.column_stack([unit * np.log(currents), np.ones_like(currents), currents])
        (free, _, resistance_free), *_ = np.linalg.lstsq(design, voltages, rcond=None)
        candidates = [EMISSION_LOWEST, EMISSION_HIGHEST]
        if EMISSION_LOWEST <= free <= EMISSION_HIGHEST:
            candidates.append(float(free))
        if resistance_free < 0.0:
            # On the edge RS = 0 the best N is the slope of V over Vt ln I.
            slope = float(np.polyfit(unit * np.log(currents), voltages, 1)[0])
            candidates.append(min(max(slope, EMISSION_LOWEST), EMISSION_HIGHEST))
    else:
        candidates = [emission]
    known = series_resistance if emission is not None else None
    fits = [(*_fit_with_emission(currents, voltages, n * unit, known), n) for n in candidates]
    log_saturation, resistance, _, best = min(fits, key=lambda fit: fit[2])
    return DiodeModel(math.exp(log_saturation), best, resistance, temperature, exponent, gap, breakdown)


def diode_circuit(model: DiodeModel, temperature: float, leakage: float = 0.0) -> DiodeCircuit:
    """The diode at a junction temperature, for the netlist.

    Parameters
    ----------
    model : SPICE set
    temperature : junction temperature [degC]
    leakage : reverse current over reverse voltage [S], beside IS: a data sheet's maximum is many times that

    Returns
    -------
    DiodeCircuit
    """
    return DiodeCircuit(
        saturation_current(model, temperature),
        model.emission,
        model.series_resistance,
        temperature,
        model.breakdown,
        leakage,
    )


def circuit_voltage(diode: DiodeCircuit, current: Array) -> Array:
    """Forward voltage of a diode as the netlist has it: N Vt ln(1 + I / IS) + I RS.

    Parameters
    ----------
    diode : at its temperature
    current : forward current, zero or more, of any shape [A]

    Returns
    -------
    voltage, of the shape of the current [V]
    """
    scale = diode.emission * thermal_voltage(diode.temperature)
    return np.asarray(scale * np.log1p(current / diode.saturation_current) + current * diode.series_resistance)


def leakage_doubling(current_cool: float, temperature_cool: float, current_hot: float, temperature_hot: float) -> float:
    """Temperature step over which leakage doubles, from two printed points.

    Parameters
    ----------
    current_cool, current_hot : leakage [A]
    temperature_cool, temperature_hot : [degC]

    Returns
    -------
    step [K]

    Raises
    ------
    ValueError
        If leakage does not rise from the cool to the hot point.
    """
    if not (0.0 < current_cool < current_hot and temperature_cool < temperature_hot):
        raise ValueError("leakage must rise with temperature between the two points")
    return (temperature_hot - temperature_cool) * math.log(2.0) / math.log(current_hot / current_cool)


def leakage_current(reference: float, temperature_reference: float, doubling: float, temperature: float) -> float:
    """Reverse leakage at a temperature: I = I_ref 2^((T - T_ref) / step).

    Parameters
    ----------
    reference : leakage at the reference temperature [A]
    temperature_reference : [degC]
    doubling : step over which it doubles [K]
    temperature : [degC]

    Returns
    -------
    current [A]
    """
    return float(reference * 2.0 ** ((temperature - temperature_reference) / doubling))
