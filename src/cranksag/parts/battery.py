# SPDX-License-Identifier: GPL-3.0-or-later
"""Lead-acid start battery: rating and test behind it to open-circuit voltage and a three-part resistance.

Model of one 12 V battery: an open-circuit voltage E behind R_instant, (R_fast || C_fast), (R_slow || C_slow).
For a constant current I from rest

    V(t) = E - I [R_instant + R_fast (1 - exp(-t/time_fast)) + R_slow (1 - exp(-t/time_slow))].

The shares of the three parts and time_slow come from published pulse currents of AGM batteries at 25 degC
(5 to 30 s; used for every chemistry); the scale comes from the rating, so that at the rating's own current,
temperature and binding time the terminal voltage is the test's. Two temperature laws, one ohmic and one for
polarisation, are anchored on a pair of ratings at -18 and 0 degC.

Limits of use: currents near a crank (a third of the rating upwards); at a few amperes a real battery shows
more resistance than this. Not for discharges of minutes: 90 s is the longest time ever asked of the model.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from cranksag.errors import InputError

__all__ = [
    "ANCHOR_PAIR",
    "LOAD_TEST_LIMITS",
    "OCV_TABLE",
    "PULSE_CURRENTS",
    "RATING_TESTS",
    "BatteryCircuit",
    "Chemistry",
    "LoadTestCrossing",
    "RatingTest",
    "TemperatureLaw",
    "bank_circuit",
    "battery_circuit",
    "battery_mass",
    "binding_point",
    "effective_resistance",
    "estimate_rating",
    "load_test_health",
    "load_test_table",
    "open_circuit_voltage",
    "predict_rating",
    "rating_resistance",
    "resistance_shape",
    "resistance_temperature_ratio",
    "temperature_law_spread",
    "terminal_voltage",
]

Chemistry = Literal["flooded", "efb", "agm", "gel"]
TemperatureLaw = Literal["weak", "anchored", "strong"]

# --- open-circuit voltage -----------------------------------------------------------------------------------
#: (state of charge [-], voltage of a 12 V flooded battery at rest at 26.7 degC [V]), BCI table reprinted by
#: discoverbattery.com, state-of-charge article
OCV_TABLE = ((0.0, 11.89), (0.25, 12.06), (0.50, 12.24), (0.75, 12.45), (1.0, 12.65))
OCV_TABLE_TEMPERATURE = 26.7  # [degC] 80 degF, same table
AGM_FULL_VOLTAGE = 12.84  # [V] full, at rest, 25 degC: thin-plate AGM owner's manual p. 6 ("12.84 V or more")
AGM_FULL_TEMPERATURE = 25.0  # [degC] same
GEL_FULL_VOLTAGE = 12.80  # [V] full, at rest, 25 degC (from memory of gel makers' data)
# The printed slopes disagree: 4.3 mV/K (the hydrometer correction, not an emf), 3 mV/K (12.65 to 12.52 V over
# 45 K, electronics magazine 2011-11 p. 35), 1.2 mV/K (emf of the cell, from memory of thermodynamic tables).
# A resting battery keeps its acid concentration, so the emf slope is the one that applies.
EMF_SLOPE = 1.2e-3  # [V/K] per 12 V battery, 0.2 mV/K per cell (from memory; chosen, see above)

# --- ratings ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class RatingTest:
    """A cranking-current test: at this temperature the rated current holds each voltage at each time.

    temperature : [degC]; points : ((time [s], least voltage of a 12 V battery [V]), ...); source : title.
    """

    temperature: float
    points: tuple[tuple[float, float], ...]
    source: str


#: tests by the name written as rating_standard. EN has two conditions on one current and a battery only just
#: keeps the harder of them; "EN 10 s" takes the first alone.
RATING_TESTS: Mapping[str, RatingTest] = MappingProxyType(
    {
        "SAE": RatingTest(-18.0, ((30.0, 7.2),), "SAE J537 (battery maker's lexicon)"),
        "EN": RatingTest(-18.0, ((10.0, 7.5), (90.0, 6.0)), "EN 50342-1 class EN1 (battery maker's lexicon)"),
        "EN2": RatingTest(-18.0, ((10.0, 7.5), (150.0, 6.0)), "EN 50342-1 class EN2 (battery maker's lexicon)"),
        "EN 10 s": RatingTest(-18.0, ((10.0, 7.5),), "EN 50342-1, first condition alone"),
        "DIN": RatingTest(-18.0, ((30.0, 9.0), (150.0, 6.0)), "DIN 43539-2 (as quoted by owners' forum)"),
        "MCA": RatingTest(0.0, ((30.0, 7.2),), "marine cranking amperes, as SAE at 0 degC (maker's glossary)"),
        "BS": RatingTest(-18.0, ((60.0, 8.4),), "BS 3911 / IEC 60095-1 (battery maker's lexicon)"),
    }
)
#: [A per Ah] SAE rating over capacity where no rating is given: 540/70 and 700/88 on the battery line of the
#: Volvo Penta D1/D2 manual p. 38, mean
RATING_PER_CAPACITY = 7.8
COULOMB_PER_AMPERE_HOUR = 3600.0  # [C/Ah] definition

# --- shares and times ---------------------------------------------------------------------------------------
#: [A] to 7.2 V at 25 degC after `PULSE_TIMES`, by model: thin-plate AGM owner's manual p. 6
PULSE_CURRENTS: Mapping[str, tuple[float, float, float, float]] = MappingProxyType(
    {
        "535": (535.0, 465.0, 410.0, 380.0),
        "545": (545.0, 495.0, 420.0, 380.0),
        "625": (625.0, 545.0, 480.0, 450.0),
        "925": (925.0, 870.0, 765.0, 675.0),
    }
)
PULSE_TIMES = (5.0, 10.0, 20.0, 30.0)  # [s] same table
PULSE_VOLTAGE = 7.2  # [V] same table
PULSE_TEMPERATURE = 25.0  # [degC] same table; the shares below hold at this temperature
PULSE_FITTED = ("535", "925")  # models used for the two figures below; 545 and 625 are kept back as checks
SLOW_SHARE = 1.0903  # [-] R_slow over R_instant + R_fast at 25 degC, least squares on the fitted models
TIME_SLOW = 42.18  # [s] same fit
FAST_SHARE = 0.2  # [-] R_fast over R_instant + R_fast at 25 degC (engineering estimate)
TIME_FAST = 0.3  # [s] charge transfer with its double layer, 0.1 to 1 s (engineering estimate)

# --- temperature laws ---------------------------------------------------------------------------------------
#: [1/K] ohmic part: +50 % from +30 to -18 degC (nenpower.com, second hand), taken as exponential
OHMIC_SLOPE = math.log(1.5) / 48.0
#: (rating at -18 degC, rating at 0 degC) [A] of one battery, both to 7.2 V at 30 s: marinemechanic.com page32
#: (500 = 650). 490 = 630 (manual 90-883728 p. 2B-21), 512 = 675 (fairwindsmarina.com, from a service manual)
#: and 800 = 1000 (continuouswave.com thread 001257) are kept back as checks.
ANCHOR_PAIR = (500.0, 650.0)
#: [1/K] polarisation parts by law. "anchored" returns `ANCHOR_PAIR`; "weak" and "strong" make the 30 s
#: resistance at -18 over +27 degC 1.5 (same page as OHMIC_SLOPE, read as the whole resistance) and 2.5 (100 %
#: to 40 % available cranking power, TM 5-4210-230-14&P-1 p. 458).
POLARISATION_SLOPES: Mapping[str, float] = MappingProxyType(
    {"weak": 0.009594, "anchored": 0.018764, "strong": 0.028745}
)
WEAK_RATIO = 1.5  # [-] R(-18)/R(27) after 30 s behind "weak"
STRONG_RATIO = 2.5  # [-] R(-18)/R(27) after 30 s behind "strong"

# --- state of charge ----------------------------------------------------------------------------------------
EMPTY_RISE = 0.40  # [-] rise of resistance from full to empty, near-linear (nenpower.com, second hand)

# --- bounds of use ------------------------------------------------------------------------------------------
TEMPERATURE_RANGE = (-40.0, 80.0)  # [degC] beyond it the laws are not meant (engineering estimate)
HEALTH_MAX = 1.5  # [-] a new battery may exceed its rating, not by more than this (engineering estimate)

# --- load test ----------------------------------------------------------------------------------------------
#: (temperature [degC], least voltage [V]) at half the SAE rating after 15 s: car workshop manuals (several)
LOAD_TEST_LIMITS = (
    *((20.0, 9.6), (16.0, 9.5), (10.0, 9.4), (4.0, 9.3)),
    *((-1.0, 9.1), (-7.0, 8.9), (-12.0, 8.7), (-18.0, 8.5)),
)
LOAD_TEST_SHARE = 0.5  # [-] of the rating, same manuals
LOAD_TEST_TIME = 15.0  # [s] same manuals

# --- mass ---------------------------------------------------------------------------------------------------
#: [kg/Ah] of a 12 V battery, 20 h rate (engineering estimate; flooded: 16.6 kg for 74 Ah on a maker's sheet)
MASS_PER_CAPACITY: Mapping[str, float] = MappingProxyType({"flooded": 0.225, "efb": 0.25, "agm": 0.28, "gel": 0.32})


@dataclass(frozen=True, slots=True)
class BatteryCircuit:
    """Parameters of a battery or bank for the netlist (the module's equation).

    open_circuit_voltage [V]; resistance_instant, resistance_fast, resistance_slow [ohm];
    time_fast, time_slow [s]; capacity : rated charge [C].
    """

    open_circuit_voltage: float
    resistance_instant: float
    resistance_fast: float
    time_fast: float
    resistance_slow: float
    time_slow: float
    capacity: float


@dataclass(frozen=True, slots=True)
class LoadTestCrossing:
    """Where the half-rating 15 s load test meets its published limit.

    temperature [degC]; limit [V]; voltage_at_full_health [V]; health : where voltage equals limit [-].
    """

    temperature: float
    limit: float
    voltage_at_full_health: float
    health: float


def _within(name: str, value: float, low: float, high: float, problems: list[str]) -> None:
    if not low <= value <= high:
        problems.append(f"{name} {value:g} must lie between {low:g} and {high:g}")


def _check(temperature: float, chemistry: str, state_of_charge: float = 1.0, health: float = 1.0) -> None:
    problems: list[str] = []
    _within("battery temperature [degC]", temperature, *TEMPERATURE_RANGE, problems)
    _within("state of charge", state_of_charge, 0.0, 1.0, problems)
    if chemistry not in MASS_PER_CAPACITY:
        problems.append(f'chemistry "{chemistry}" is not modelled: use {", ".join(MASS_PER_CAPACITY)}')
    if not 0.0 < health <= HEALTH_MAX:
        problems.append(f"battery health {health:g} must lie above 0 and not above {HEALTH_MAX:g}")
    if problems:
        raise InputError(problems)


def _test(rating_standard: str) -> RatingTest:
    if rating_standard not in RATING_TESTS:
        raise InputError([f'rating standard "{rating_standard}" is unknown: use {", ".join(RATING_TESTS)}'])
    return RATING_TESTS[rating_standard]


def _table_voltage(state_of_charge: float) -> float:
    """Linear between the rows of `OCV_TABLE` [V]."""
    for (low, v_low), (high, v_high) in itertools.pairwise(OCV_TABLE):
        if state_of_charge <= high:
            return v_low + (v_high - v_low) * (state_of_charge - low) / (high - low)
    return OCV_TABLE[-1][1]


def open_circuit_voltage(
    state_of_charge: float, temperature: float, chemistry: Chemistry = "flooded", slope: float = EMF_SLOPE
) -> float:
    """Voltage of one 12 V battery at rest.

    E = table(state of charge) + slope (T - 26.7) [+ the chemistry's offset at full, for stronger acid].
    EFB uses the flooded table. The offset of AGM and gel is kept at every state of charge (estimate).

    Parameters
    ----------
    state_of_charge : 0 to 1 [-]
    temperature : [degC]
    chemistry : flooded, efb, agm or gel
    slope : temperature slope [V/K]; the published ones disagree, `EMF_SLOPE` says why this one

    Returns
    -------
    voltage [V]

    Raises
    ------
    InputError
        outside the ranges or for another chemistry.
    """
    _check(temperature, chemistry, state_of_charge)
    voltage = _table_voltage(state_of_charge) + slope * (temperature - OCV_TABLE_TEMPERATURE)
    full = {"agm": AGM_FULL_VOLTAGE, "gel": GEL_FULL_VOLTAGE}.get(chemistry)
    if full is not None:
        voltage += full - (OCV_TABLE[-1][1] + slope * (AGM_FULL_TEMPERATURE - OCV_TABLE_TEMPERATURE))
    return voltage


def _part_factors(temperature: float, law: TemperatureLaw) -> tuple[float, float, float]:
    """Instant, fast and slow resistance over (instant + fast at 25 degC) [-]."""
    warmer = temperature - PULSE_TEMPERATURE
    polarisation = math.exp(-POLARISATION_SLOPES[law] * warmer)
    instant = (1.0 - FAST_SHARE) * math.exp(-OHMIC_SLOPE * warmer)
    return instant, FAST_SHARE * polarisation, SLOW_SHARE * polarisation


def resistance_shape(time: float, temperature: float, law: TemperatureLaw = "anchored") -> float:
    """Effective resistance (E - V)/I after a constant current from rest, over instant + fast at 25 degC.

    Parameters: time since the current began [s] >= 0; temperature [degC]; law : temperature law.
    Returns: shape [-]. The rating supplies the scale.
    Raises: InputError outside the temperature range or for a negative time.
    """
    _check(temperature, "flooded")
    if not time >= 0.0:
        raise InputError([f"time {time:g} s since the current began must be zero or more"])
    instant, fast, slow = _part_factors(temperature, law)
    return instant - fast * math.expm1(-time / TIME_FAST) - slow * math.expm1(-time / TIME_SLOW)


def binding_point(
    rating_standard: str, chemistry: Chemistry = "flooded", law: TemperatureLaw = "anchored"
) -> tuple[float, float]:
    """The condition of a rating test that a battery only just meets, (time, voltage).

    Of the test's points it is the one that allows the least resistance.

    Parameters: rating_standard : key of `RATING_TESTS`; chemistry; law : temperature law.
    Returns: (time [s], voltage [V]). Raises: InputError for an unknown test or chemistry.
    """
    test = _test(rating_standard)
    voltage = open_circuit_voltage(1.0, test.temperature, chemistry)

    def allowed(point: tuple[float, float]) -> float:
        return (voltage - point[1]) / resistance_shape(point[0], test.temperature, law)

    return min(test.points, key=allowed)


def rating_resistance(
    rating: float,
    rating_standard: str = "SAE",
    chemistry: Chemistry = "flooded",
    law: TemperatureLaw = "anchored",
) -> float:
    """Effective resistance of a sound, full 12 V battery at its rating test's temperature and binding time.

    R = (E - V_test) / rating.

    Parameters: rating [A] > 0; rating_standard : key of `RATING_TESTS`; chemistry; law : temperature law.
    Returns: resistance [ohm].
    Raises: InputError for a rating that is not positive, unknown test or chemistry.
    """
    if not 0.0 < rating < math.inf:
        raise InputError([f"battery rating {rating:g} A must be more than zero"])
    _, voltage = binding_point(rating_standard, chemistry, law)
    return (open_circuit_voltage(1.0, _test(rating_standard).temperature, chemistry) - voltage) / rating


def _scale(rating: float, rating_standard: str, chemistry: Chemistry, law: TemperatureLaw) -> float:
    """Instant + fast resistance at 25 degC of a sound, full 12 V battery [ohm]."""
    time, _ = binding_point(rating_standard, chemistry, law)
    shape = resistance_shape(time, _test(rating_standard).temperature, law)
    return rating_resistance(rating, rating_standard, chemistry, law) / shape


def estimate_rating(capacity: float) -> float:
    """SAE rating of a start battery when only its capacity is known (estimate from two published batteries).

    Parameters: capacity [C] > 0. Returns: rating [A]. Raises: InputError if capacity is not positive.
    """
    if not 0.0 < capacity < math.inf:
        raise InputError(["battery capacity must be more than zero"])
    return RATING_PER_CAPACITY * capacity / COULOMB_PER_AMPERE_HOUR


def battery_circuit(
    rating: float,
    rating_standard: str = "SAE",
    *,
    capacity: float,
    chemistry: Chemistry = "flooded",
    state_of_charge: float = 1.0,
    health: float = 1.0,
    temperature: float = PULSE_TEMPERATURE,
    law: TemperatureLaw = "anchored",
) -> BatteryCircuit:
    """Circuit of one 12 V battery.

    R_part = scale(rating) x part(T) x (1 + 0.4 (1 - state of charge)) / health. Dividing by health makes
    health the share of the rated cranking current still there, exactly, for a full battery in its own test.

    Parameters
    ----------
    rating : cranking current by the test [A]
    rating_standard : key of `RATING_TESTS`
    capacity : rated charge [C], carried along
    chemistry : flooded, efb, agm or gel
    state_of_charge : 0 to 1 [-]
    health : share of the rated current still there, above 0 [-]
    temperature : electrolyte [degC]
    law : temperature law; "weak" and "strong" bound what has been published

    Returns
    -------
    `BatteryCircuit`

    Raises
    ------
    InputError
        naming every value out of range.
    """
    _check(temperature, chemistry, state_of_charge, health)
    estimate_rating(capacity)  # refuses a capacity that is not positive
    scale = _scale(rating, rating_standard, chemistry, law)
    scale *= (1.0 + EMPTY_RISE * (1.0 - state_of_charge)) / health
    instant, fast, slow = _part_factors(temperature, law)
    return BatteryCircuit(
        open_circuit_voltage=open_circuit_voltage(state_of_charge, temperature, chemistry),
        resistance_instant=scale * instant,
        resistance_fast=scale * fast,
        time_fast=TIME_FAST,
        resistance_slow=scale * slow,
        time_slow=TIME_SLOW,
        capacity=capacity,
    )


def bank_circuit(
    chemistry: Chemistry,
    rating: float | None,
    rating_standard: str,
    capacity: float,
    state_of_charge: float,
    health: float,
    temperature: float,
    in_series: int = 1,
    in_parallel: int = 1,
    link_resistance: float = 0.0,
    law: TemperatureLaw = "anchored",
) -> BatteryCircuit:
    """Circuit of a bank of equal 12 V batteries.

    Voltage x series; resistances x series / parallel; capacity x parallel. Link cables (each series joint
    between batteries, in every string) add (series - 1) x link / parallel to the instant part; parallel
    jumpers belong to the cable runs.

    Parameters
    ----------
    chemistry, state_of_charge, health, temperature, law : as `battery_circuit`, equal for all batteries
    rating : of one battery [A]; None takes `estimate_rating` as an SAE rating
    rating_standard : key of `RATING_TESTS`, unused without a rating
    capacity : of one battery [C]
    in_series, in_parallel : counts, at least 1 [-]
    link_resistance : one link cable between two batteries in series [ohm]

    Returns
    -------
    `BatteryCircuit` of the bank

    Raises
    ------
    InputError
        naming what is out of range.
    """
    if in_series < 1 or in_parallel < 1 or not 0.0 <= link_resistance < math.inf:
        raise InputError(["a bank needs at least one battery each way and links of zero ohm or more"])
    if rating is None:
        rating, rating_standard = estimate_rating(capacity), "SAE"
    unit = battery_circuit(
        rating,
        rating_standard,
        capacity=capacity,
        chemistry=chemistry,
        state_of_charge=state_of_charge,
        health=health,
        temperature=temperature,
        law=law,
    )
    ratio = in_series / in_parallel
    return BatteryCircuit(
        open_circuit_voltage=unit.open_circuit_voltage * in_series,
        resistance_instant=unit.resistance_instant * ratio + (in_series - 1) * link_resistance / in_parallel,
        resistance_fast=unit.resistance_fast * ratio,
        time_fast=unit.time_fast,
        resistance_slow=unit.resistance_slow * ratio,
        time_slow=unit.time_slow,
        capacity=capacity * in_parallel,
    )


def effective_resistance(circuit: BatteryCircuit, time: float) -> float:
    """(E - V)/I after a constant current from rest, by the module's equation.

    Parameters: circuit; time since the current began [s] >= 0, may be inf. Returns: resistance [ohm].
    """
    fast = -circuit.resistance_fast * math.expm1(-time / circuit.time_fast)
    slow = -circuit.resistance_slow * math.expm1(-time / circuit.time_slow)
    return circuit.resistance_instant + fast + slow


def terminal_voltage(circuit: BatteryCircuit, current: float, time: float) -> float:
    """Terminal voltage under a constant discharge current from rest.

    Parameters: circuit; current [A], discharge positive; time since it began [s] >= 0.
    Returns: voltage [V]; it may fall below zero where the current could not flow.
    """
    return circuit.open_circuit_voltage - current * effective_resistance(circuit, time)


def predict_rating(
    rating: float,
    from_standard: str,
    to_standard: str,
    chemistry: Chemistry = "flooded",
    law: TemperatureLaw = "anchored",
) -> float:
    """Rating of a battery by one test, predicted from its rating by another.

    I_to = (E - V_to) / R(t_to, T_to) at the binding point of the second test.

    Parameters: rating [A] by from_standard; from_standard, to_standard : keys of `RATING_TESTS`; chemistry;
    law : temperature law. Returns: rating [A]. Raises: InputError as `rating_resistance`.
    """
    scale = _scale(rating, from_standard, chemistry, law)
    return _scale(1.0, to_standard, chemistry, law) / scale


def resistance_temperature_ratio(
    temperature: float, reference: float, time: float, law: TemperatureLaw = "anchored"
) -> float:
    """Effective resistance at a temperature over that at a reference temperature.

    Parameters: temperature, reference [degC]; time since the current began [s]; law : temperature law.
    Returns: ratio [-]. Raises: InputError outside the temperature range.
    """
    return resistance_shape(time, temperature, law) / resistance_shape(time, reference, law)


def temperature_law_spread(
    temperature: float, time: float, rating_standard: str = "SAE", chemistry: Chemistry = "flooded"
) -> tuple[float, float]:
    """Band on the resistance of a rated battery from the disagreement of the published temperature laws.

    For each law the scale is taken anew from the rating, so the band closes at the rating's own test and
    opens away from it.

    Parameters: temperature [degC]; time since the current began [s]; rating_standard; chemistry.
    Returns: (lowest, highest) resistance over that of the anchored law [-]. Raises: InputError as
    `rating_resistance`.
    """

    def resistance(law: TemperatureLaw) -> float:
        return _scale(1.0, rating_standard, chemistry, law) * resistance_shape(time, temperature, law)

    middle = resistance("anchored")
    ratios = (resistance("weak") / middle, 1.0, resistance("strong") / middle)
    return min(ratios), max(ratios)


def load_test_health(
    temperature: float,
    limit: float,
    rating_standard: str = "SAE",
    chemistry: Chemistry = "flooded",
    state_of_charge: float = 1.0,
    law: TemperatureLaw = "anchored",
) -> LoadTestCrossing:
    """Health at which the half-rating 15 s load test meets a voltage limit.

    V = E - (rating/2) R(15 s)/health, so health = (rating/2) R(15 s) / (E - limit): free of the rating.

    Parameters: temperature [degC]; limit [V]; rating_standard, chemistry, state_of_charge, law as
    `battery_circuit`. Returns: `LoadTestCrossing`. Raises: InputError if the limit is not below E.
    """
    rise = 1.0 + EMPTY_RISE * (1.0 - state_of_charge)
    voltage = open_circuit_voltage(state_of_charge, temperature, chemistry)
    if not limit < voltage:
        raise InputError([f"load-test limit {limit:g} V is not below the resting voltage {voltage:.2f} V"])
    scale = _scale(1.0, rating_standard, chemistry, law)
    drop = LOAD_TEST_SHARE * scale * rise * resistance_shape(LOAD_TEST_TIME, temperature, law)
    return LoadTestCrossing(temperature, limit, voltage - drop, drop / (voltage - limit))


def load_test_table(chemistry: Chemistry = "flooded", law: TemperatureLaw = "anchored") -> list[LoadTestCrossing]:
    """Crossing of every published load-test limit for a full battery rated by SAE.

    Parameters: chemistry; law : temperature law. Returns: one `LoadTestCrossing` per row of the table.
    """
    return [load_test_health(t, limit, "SAE", chemistry, 1.0, law) for t, limit in LOAD_TEST_LIMITS]


def battery_mass(capacity: float, chemistry: Chemistry = "flooded", in_series: int = 1, in_parallel: int = 1) -> float:
    """Mass of a bank of 12 V batteries, proportional to capacity (engineering estimate).

    Parameters: capacity of one battery [C]; chemistry; in_series, in_parallel counts [-].
    Returns: mass [kg]. Raises: InputError for another chemistry.
    """
    _check(PULSE_TEMPERATURE, chemistry)
    per_battery = MASS_PER_CAPACITY[chemistry] * capacity / COULOMB_PER_AMPERE_HOUR
    return per_battery * in_series * in_parallel
