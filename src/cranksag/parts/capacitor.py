# SPDX-License-Identifier: GPL-3.0-or-later
"""Aluminium electrolytic capacitor: preferred values, loss, cold, age, leakage, life.

Temperatures are in degC, everything else in SI units. What a bank does in a circuit is in `cranksag.parts.charging`
and `cranksag.parts.ride_through`.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Iterator
from dataclasses import dataclass

__all__ = [
    "CapacitorCircuit",
    "age_factors",
    "capacitance_temperature_factor",
    "capacitor_circuit",
    "cold_esr",
    "dissipation_factor",
    "e_series",
    "esr_from_dissipation",
    "impedance_ratio",
    "leakage_current",
    "lifetime",
]

# Values per decade of the preferred series [-]. Source: IEC 60063, tables of the E6, E12 and E24 series.
E24_VALUES = (
    1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0,
    3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1,
)  # fmt: skip
E_SERIES = {"E6": E24_VALUES[::4], "E12": E24_VALUES[::2], "E24": E24_VALUES}
# A bound written as the series value itself counts as inside although its float may not compare so [-].
E_SERIES_ROUNDING = 1e-9
# The next four come from one data sheet of a radial electrolytic series (low-leakage "TWL" series):
# rated voltage classes [V], largest loss factor tan delta at 120 Hz and 20 degC [-] ...
VOLTAGE_CLASSES = (6.3, 10.0, 16.0, 25.0, 35.0, 50.0)
DISSIPATION_FACTORS = (0.24, 0.20, 0.16, 0.14, 0.12, 0.10)
# ... 0.02 more for each 1000 uF above 1000 uF [1/F] ...
DISSIPATION_PER_FARAD = 0.02 / 1000e-6
DISSIPATION_FREE_CAPACITANCE = 1000e-6
# ... and the largest impedance ratios Z(-25)/Z(20) and Z(-40)/Z(20) by voltage class [-].
# Temperatures of those ratios, and of everything printed as a nominal value [degC]; same data sheet.
REFERENCE_TEMPERATURE = 20.0
IMPEDANCE_COLD, IMPEDANCE_COLDEST = -25.0, -40.0
IMPEDANCE_RATIOS_MINUS_25 = (4.0, 3.0, 2.0, 2.0, 2.0, 2.0)
IMPEDANCE_RATIOS_MINUS_40 = (8.0, 6.0, 6.0, 4.0, 4.0, 3.0)
# Frequency of the loss factor [Hz]; same data sheet.
DISSIPATION_FREQUENCY = 120.0
# Tolerance of capacitance at 120 Hz, 20 degC [-]; same data sheet.
CAPACITANCE_TOLERANCE = 0.20
# Capacitance at a temperature over that at 20 degC [-]. Engineering estimate from typical curves of wet
# electrolytics; the series above prints none.
CAPACITANCE_TEMPERATURES = (-40.0, -25.0, 0.0, 20.0, 85.0)
CAPACITANCE_FACTORS = (0.65, 0.80, 0.94, 1.0, 1.05)
# End of endurance: capacitance may have changed by 20 %, the loss factor risen to twice its limit [-].
# Source: IEC 60384-4, endurance requirements, from memory.
END_OF_LIFE_CAPACITANCE = 0.80
END_OF_LIFE_ESR = 2.0
# Leakage laws. Low leakage: larger of 0.002 C V and 0.4 uA after 2 min (data sheet above). General:
# larger of 0.01 C V and 3 uA (from memory). Large can: 3 sqrt(C V) uA after 5 min (data sheet of
# screw-terminal cans). C in uF, V in volts, result in uA.
LEAKAGE_PER_CV = {"low leakage": 0.002, "general": 0.01}
LEAKAGE_FLOOR_UA = {"low leakage": 0.4, "general": 3.0}
LEAKAGE_LARGE_CAN = 3.0
MICRO = 1e-6  # [F/uF], [A/uA] definition
# Life doubles for each 10 K cooler [K]. Source: capacitor maker's electronics primer, part 7, life estimate.
LIFE_DOUBLING = 10.0


@dataclass(frozen=True, slots=True)
class CapacitorCircuit:
    """The capacitor as the netlist sees it.

    capacitance [F], esr [ohm], leakage_resistance [ohm], rated_voltage [V].
    """

    capacitance: float
    esr: float
    leakage_resistance: float
    rated_voltage: float


def e_series(series: str, low: float, high: float) -> Iterator[float]:
    """Preferred values between two bounds, bounds included.

    Parameters
    ----------
    series : "E6", "E12" or "E24"
    low, high : bounds in any unit, both above zero

    Yields
    ------
    values in the unit of the bounds, ascending

    Raises
    ------
    ValueError
        If the series is unknown or the bounds are not 0 < low <= high.

    References
    ----------
    IEC 60063, preferred number series for resistors and capacitors.

    Examples
    --------
    >>> list(e_series("E6", 1.0, 10.0))
    [1.0, 1.5, 2.2, 3.3, 4.7, 6.8, 10.0]
    """
    if series not in E_SERIES:
        raise ValueError(f"series {series!r}: must be E6, E12 or E24")
    if not 0.0 < low <= high < math.inf:
        raise ValueError("bounds must be above zero, the lower one first")
    first = math.floor(math.log10(low)) - 1
    last = math.floor(math.log10(high)) + 1
    for decade in range(first, last + 1):
        for step in E_SERIES[series]:
            # Through text, so that 4.7e-6 is the same float as the one people write.
            value = float(f"{step:.1f}e{decade}")
            if low * (1.0 - E_SERIES_ROUNDING) <= value <= high * (1.0 + E_SERIES_ROUNDING):
                yield value


def _voltage_class(rated_voltage: float) -> int:
    """Index of the highest class not above the rated voltage; the lowest class for anything under it."""
    return max(bisect.bisect_right(VOLTAGE_CLASSES, rated_voltage) - 1, 0)


def dissipation_factor(rated_voltage: float, capacitance: float) -> float:
    """Largest loss factor tan delta of an electrolytic at 120 Hz and 20 degC.

    Parameters
    ----------
    rated_voltage : [V]
    capacitance : [F]

    Returns
    -------
    tan delta [-]

    References
    ----------
    Data sheet of a radial electrolytic series (TWL series), table of tan delta.
    """
    extra = DISSIPATION_PER_FARAD * max(capacitance - DISSIPATION_FREE_CAPACITANCE, 0.0)
    return DISSIPATION_FACTORS[_voltage_class(rated_voltage)] + extra


def esr_from_dissipation(dissipation: float, capacitance: float, frequency: float = DISSIPATION_FREQUENCY) -> float:
    """Equivalent series resistance from the loss factor: tan delta / (2 pi f C).

    Parameters
    ----------
    dissipation : tan delta [-]
    capacitance : [F]
    frequency : [Hz]

    Returns
    -------
    resistance [ohm]

    Examples
    --------
    10 mF, 25 V: at most 42 mohm.

    >>> round(1e3 * esr_from_dissipation(dissipation_factor(25.0, 10e-3), 10e-3), 1)
    42.4
    """
    if capacitance <= 0.0 or frequency <= 0.0:
        raise ValueError("capacitance and frequency must be above zero")
    return dissipation / (2.0 * math.pi * frequency * capacitance)


def impedance_ratio(rated_voltage: float, temperature: float) -> float:
    """Impedance at a temperature over that at 20 degC, a maximum by voltage class.

    Straight in the logarithm between the printed points at 20, -25 and -40 degC, continued with the last
    slope below; 1 above 20 degC, where ESR only falls.

    Parameters
    ----------
    rated_voltage : [V]
    temperature : [degC]

    Returns
    -------
    ratio [-]
    """
    if temperature >= REFERENCE_TEMPERATURE:
        return 1.0
    index = _voltage_class(rated_voltage)
    at_25, at_40 = math.log(IMPEDANCE_RATIOS_MINUS_25[index]), math.log(IMPEDANCE_RATIOS_MINUS_40[index])
    if temperature >= IMPEDANCE_COLD:
        return math.exp(at_25 * (REFERENCE_TEMPERATURE - temperature) / (REFERENCE_TEMPERATURE - IMPEDANCE_COLD))
    colder = (IMPEDANCE_COLD - temperature) / (IMPEDANCE_COLD - IMPEDANCE_COLDEST)
    return math.exp(at_25 + (at_40 - at_25) * colder)


def cold_esr(esr: float, capacitance: float, rated_voltage: float, temperature: float) -> float:
    """ESR at a temperature from the printed ratio of impedances at 120 Hz: sqrt((r Z20)^2 - Xc(T)^2).

    Z20 = sqrt(ESR20^2 + Xc20^2): below some 20 mF it is mostly reactance, which the cold hardly raises, so the ESR
    rises by more than the ratio. Never below the value at 20 degC, which holds above that.

    Parameters
    ----------
    esr : at 20 degC [ohm]
    capacitance : at 20 degC [F]
    rated_voltage : [V]
    temperature : [degC]

    Returns
    -------
    resistance [ohm]

    Examples
    --------
    10 mF, 25 V at -25 degC: twice the impedance is five times the ESR.

    >>> round(1e3 * cold_esr(42.4e-3, 10e-3, 25.0, -25.0))
    224
    """
    if temperature >= REFERENCE_TEMPERATURE:
        return esr
    reactance = 1.0 / (2.0 * math.pi * DISSIPATION_FREQUENCY * capacitance)
    impedance = impedance_ratio(rated_voltage, temperature) * math.hypot(esr, reactance)
    cold = impedance**2 - (reactance / capacitance_temperature_factor(temperature)) ** 2
    return max(esr, math.sqrt(max(cold, 0.0)))


def capacitance_temperature_factor(temperature: float) -> float:
    """Capacitance at a temperature over that at 20 degC; straight between points, flat outside them.

    Parameters
    ----------
    temperature : [degC]

    Returns
    -------
    factor [-]
    """
    if temperature <= CAPACITANCE_TEMPERATURES[0]:
        return CAPACITANCE_FACTORS[0]
    if temperature >= CAPACITANCE_TEMPERATURES[-1]:
        return CAPACITANCE_FACTORS[-1]
    index = bisect.bisect_right(CAPACITANCE_TEMPERATURES, temperature)
    t0, t1 = CAPACITANCE_TEMPERATURES[index - 1 : index + 1]
    f0, f1 = CAPACITANCE_FACTORS[index - 1 : index + 1]
    return f0 + (f1 - f0) * (temperature - t0) / (t1 - t0)


def age_factors(age: float) -> tuple[float, float]:
    """Capacitance and ESR factors at an age, 0 new to 1 at the end of its rated endurance.

    Parameters
    ----------
    age : share of rated life used, 0 to 1 [-]

    Returns
    -------
    factor on capacitance [-], factor on ESR [-]

    Raises
    ------
    ValueError
        If the age is not between 0 and 1.
    """
    if not 0.0 <= age <= 1.0:
        raise ValueError("age must be between 0 (new) and 1 (end of life)")
    return 1.0 - age * (1.0 - END_OF_LIFE_CAPACITANCE), 1.0 + age * (END_OF_LIFE_ESR - 1.0)


def lifetime(rated_life: float, rated_temperature: float, temperature: float) -> float:
    """Life at a temperature: L = L0 2^((T0 - T) / 10 K).

    Parameters
    ----------
    rated_life : printed endurance, any unit of time
    rated_temperature : its temperature [degC]
    temperature : of use [degC]

    Returns
    -------
    life in the unit of rated_life
    """
    return float(rated_life * 2.0 ** ((rated_temperature - temperature) / LIFE_DOUBLING))


def leakage_current(capacitance: float, voltage: float, grade: str = "general") -> float:
    """Largest leakage current of a formed electrolytic.

    Parameters
    ----------
    capacitance : [F]
    voltage : rated voltage [V]
    grade : "low leakage", "general" or "large can"

    Returns
    -------
    current [A]

    Raises
    ------
    ValueError
        If the grade is unknown.
    """
    product = capacitance / MICRO * voltage  # the printed laws take uF and volts and give uA
    if grade == "large can":
        return LEAKAGE_LARGE_CAN * math.sqrt(product) * MICRO
    if grade not in LEAKAGE_PER_CV:
        raise ValueError(f"leakage grade {grade!r}: must be low leakage, general or large can")
    return max(LEAKAGE_PER_CV[grade] * product, LEAKAGE_FLOOR_UA[grade]) * MICRO


def capacitor_circuit(
    capacitance: float,
    rated_voltage: float,
    temperature: float,
    age: float = 0.0,
    tolerance: float = 0.0,
    esr: float | None = None,
    grade: str = "general",
) -> CapacitorCircuit:
    """Circuit parameters of an electrolytic at a temperature, age and place in its tolerance.

    Parameters
    ----------
    capacitance : nominal [F]
    rated_voltage : [V]
    temperature : [degC]
    age : 0 new to 1 end of life [-]
    tolerance : shift of this specimen, for instance -0.2 [-]
    esr : at 20 degC, new [ohm]; from the largest loss factor if not given
    grade : leakage grade

    Returns
    -------
    CapacitorCircuit

    Raises
    ------
    ValueError
        If capacitance or rated voltage is not positive, or the tolerance is -1 or less.
    """
    if capacitance <= 0.0 or rated_voltage <= 0.0 or tolerance <= -1.0:
        raise ValueError("capacitance and rated voltage must be above zero, tolerance above -100 %")
    if esr is None:
        esr = esr_from_dissipation(dissipation_factor(rated_voltage, capacitance), capacitance)
    capacitance_age, esr_age = age_factors(age)
    actual = capacitance * (1.0 + tolerance) * capacitance_age * capacitance_temperature_factor(temperature)
    return CapacitorCircuit(
        capacitance=actual,
        esr=cold_esr(esr, capacitance, rated_voltage, temperature) * esr_age,
        leakage_resistance=rated_voltage / leakage_current(capacitance, rated_voltage, grade),
        rated_voltage=rated_voltage,
    )
