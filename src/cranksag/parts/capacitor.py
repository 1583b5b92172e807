# SPDX-License-Identifier: GPL-3.0-or-later
"""Aluminium electrolytic capacitor: cold, age, leakage, life, charge, inrush, bleed, hold-up time.

Temperatures are in degC, everything else in SI units. Hold-up times are how long a charged capacitor feeds a
load while its voltage falls from one value to another.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Iterator
from dataclasses import dataclass

__all__ = [
    "CapacitorCircuit",
    "age_factors",
    "bleed_power",
    "bleed_resistance",
    "bleed_time",
    "capacitance_for_constant_power",
    "capacitance_temperature_factor",
    "capacitor_circuit",
    "charge_time",
    "dissipation_factor",
    "e_series",
    "esr_from_dissipation",
    "hold_up_constant_current",
    "hold_up_constant_power",
    "hold_up_power_with_esr",
    "impedance_ratio",
    "inrush_i2t",
    "inrush_peak",
    "internal_voltage",
    "leakage_current",
    "lifetime",
    "voltage_floor",
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
    slope below; 1 above 20 degC, where ESR only falls. The impedance at 120 Hz of a large electrolytic in the
    cold is mostly its ESR, so the ratio is taken for the ESR.

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
        esr=esr * esr_age * impedance_ratio(rated_voltage, temperature),
        leakage_resistance=rated_voltage / leakage_current(capacitance, rated_voltage, grade),
        rated_voltage=rated_voltage,
    )


def inrush_peak(supply_voltage: float, capacitor_voltage: float, resistance: float) -> float:
    """First current into a capacitor connected to a supply through a resistance [A].

    Parameters
    ----------
    supply_voltage, capacitor_voltage : [V]
    resistance : limiter, ESR and wiring together [ohm]

    Returns
    -------
    current [A]; zero if the capacitor is already at or above the supply

    Raises
    ------
    ValueError
        If the resistance is not positive.
    """
    if resistance <= 0.0:
        raise ValueError("inrush needs a resistance above zero")
    return max(supply_voltage - capacitor_voltage, 0.0) / resistance


def inrush_i2t(supply_voltage: float, capacitor_voltage: float, capacitance: float, resistance: float) -> float:
    """I2t of that inrush until it has died away: (dV)^2 C / (2 R) [A2 s].

    Parameters
    ----------
    supply_voltage, capacitor_voltage : [V]
    capacitance : [F]
    resistance : limiter, ESR and wiring together [ohm]

    Returns
    -------
    I2t [A2 s]
    """
    return 0.5 * capacitance * resistance * inrush_peak(supply_voltage, capacitor_voltage, resistance) ** 2


def charge_time(
    supply_voltage: float, start_voltage: float, end_voltage: float, capacitance: float, resistance: float
) -> float:
    """Time to charge through a resistance from one capacitor voltage to another.

    Parameters
    ----------
    supply_voltage, start_voltage, end_voltage : [V]
    capacitance : [F]
    resistance : [ohm]

    Returns
    -------
    time [s]; infinite if the supply is not above the end voltage
    """
    if end_voltage <= start_voltage:
        return 0.0
    if supply_voltage <= end_voltage:
        return math.inf
    return resistance * capacitance * math.log((supply_voltage - start_voltage) / (supply_voltage - end_voltage))


def bleed_time(capacitance: float, resistance: float, start_voltage: float, safe_voltage: float) -> float:
    """Time for a bleed resistor to bring a capacitor down to a safe voltage [s].

    Parameters
    ----------
    capacitance : [F]
    resistance : [ohm]
    start_voltage, safe_voltage : [V]

    Returns
    -------
    time [s]
    """
    return resistance * capacitance * math.log(max(start_voltage / safe_voltage, 1.0))


def bleed_resistance(capacitance: float, start_voltage: float, safe_voltage: float, time: float) -> float:
    """Bleed resistor that reaches a safe voltage in a given time [ohm].

    Parameters
    ----------
    capacitance : [F]
    start_voltage, safe_voltage : with start above safe [V]
    time : [s]

    Returns
    -------
    resistance [ohm]

    Raises
    ------
    ValueError
        If the start voltage is not above the safe voltage.
    """
    if not 0.0 < safe_voltage < start_voltage:
        raise ValueError("the start voltage must be above the safe voltage")
    return time / (capacitance * math.log(start_voltage / safe_voltage))


def bleed_power(voltage: float, resistance: float) -> float:
    """Continuous loss in a bleed resistor, V^2 / R [W].

    Parameters
    ----------
    voltage : [V]
    resistance : [ohm]

    Returns
    -------
    power [W]
    """
    return voltage**2 / resistance


def hold_up_constant_current(
    capacitance: float, start_voltage: float, end_voltage: float, current: float, esr: float = 0.0
) -> float:
    """Hold-up time at constant current: t = C (V1 - V2 - I ESR) / I.

    Parameters
    ----------
    capacitance : [F]
    start_voltage : charged, at rest [V]
    end_voltage : lowest voltage at the terminals under load [V]
    current : [A]
    esr : [ohm]

    Returns
    -------
    time [s]; zero if the ESR step alone is too much, infinite without a load

    Examples
    --------
    0.22 F from 3.0 to 1.6 V at 1 uA, a clock backup: 308 000 s.

    >>> round(hold_up_constant_current(0.22, 3.0, 1.6, 1e-6))
    308000
    """
    if current <= 0.0:
        return math.inf
    return capacitance * max(start_voltage - end_voltage - current * esr, 0.0) / current


def hold_up_constant_power(
    capacitance: float, start_voltage: float, end_voltage: float, power: float, efficiency: float = 1.0
) -> float:
    """Hold-up time at constant power without ESR: t = eta C (V1^2 - V2^2) / (2 P).

    Parameters
    ----------
    capacitance : [F]
    start_voltage, end_voltage : [V]
    power : drawn by the load [W]
    efficiency : of a converter between capacitor and load [-]

    Returns
    -------
    time [s]; infinite without a load

    References
    ----------
    Hold-up capacitor selection for military and avionics converters, Electronic Products, equation for C.
    """
    if power <= 0.0:
        return math.inf
    return 0.5 * efficiency * capacitance * max(start_voltage**2 - end_voltage**2, 0.0) / power


def capacitance_for_constant_power(
    time: float, start_voltage: float, end_voltage: float, power: float, efficiency: float = 1.0
) -> float:
    """Capacitance that holds a constant power for a time, without ESR [F].

    Parameters
    ----------
    time : [s]
    start_voltage, end_voltage : [V]
    power : drawn by the load [W]
    efficiency : of a converter between capacitor and load [-]

    Returns
    -------
    capacitance [F]

    Raises
    ------
    ValueError
        If the end voltage is not below the start voltage.

    Examples
    --------
    100 W for 20 ms between 400 and 300 V: 57.1 uF.

    >>> round(1e6 * capacitance_for_constant_power(20e-3, 400.0, 300.0, 100.0), 1)
    57.1
    """
    if not 0.0 <= end_voltage < start_voltage:
        raise ValueError("the end voltage must be below the start voltage")
    return 2.0 * power * time / (efficiency * (start_voltage**2 - end_voltage**2))


def internal_voltage(terminal_voltage: float, power: float, esr: float) -> float:
    """Voltage behind the ESR when the terminals deliver a power at a voltage: V = u + P ESR / u.

    Parameters
    ----------
    terminal_voltage : above zero [V]
    power : [W]
    esr : [ohm]

    Returns
    -------
    voltage [V]
    """
    return terminal_voltage + power * esr / terminal_voltage


def voltage_floor(power: float, esr: float) -> float:
    """Lowest internal voltage at which a power can still be drawn through an ESR: 2 sqrt(P ESR).

    Parameters
    ----------
    power : [W]
    esr : [ohm]

    Returns
    -------
    voltage [V]
    """
    return 2.0 * math.sqrt(power * esr)


def hold_up_power_with_esr(
    capacitance: float, start_voltage: float, end_voltage: float, power: float, esr: float
) -> float:
    """Hold-up time at constant power with ESR, exact.

    t = C / (4 P) [F(V1) - F(V2)],  F(V) = V^2 + V s - 4 P R ln(V + s),  s = sqrt(V^2 - 4 P R),

    the integral of C dV / i with i = (V - s) / (2 R). V1 and V2 are the voltages *behind* the ESR; for an end
    at the terminals pass internal_voltage(u, P, R). The end is raised to voltage_floor, below which the load
    collapses.

    Parameters
    ----------
    capacitance : [F]
    start_voltage : internal voltage when the load begins [V]
    end_voltage : internal voltage at the end [V]
    power : [W]
    esr : [ohm]

    Returns
    -------
    time [s]; infinite without a load, zero if the start cannot carry the load

    Examples
    --------
    >>> round(hold_up_power_with_esr(1.0, 12.0, 9.0, 5.0, 0.05), 4)
    6.2856
    """
    if power <= 0.0:
        return math.inf
    four = 4.0 * power * esr
    end = max(end_voltage, voltage_floor(power, esr))
    if start_voltage <= end:
        return 0.0

    def antiderivative(voltage: float) -> float:
        root = math.sqrt(max(voltage**2 - four, 0.0))
        log_term = four * math.log(voltage + root) if four > 0.0 else 0.0
        return voltage**2 + voltage * root - log_term

    return capacitance / (4.0 * power) * (antiderivative(start_voltage) - antiderivative(end))
