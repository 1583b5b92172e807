# SPDX-License-Identifier: GPL-3.0-or-later
"""Lead-acid start battery: rating and test behind it to open-circuit voltage, resistances and charge transfer.

The circuit is that of `cranksag.parts.discharge`. Everything scales with one size: a battery of twice the rating at
twice the current has the same voltage. A voltage at rest above a full battery's is surface charge: 15 starts of one car
from 12.3 to 13.4 V at rest (`cranksag.validate.measured`) settle at voltages that do not follow it (0.05 +- 0.15 V
per volt; the 13 of one day alone 0.3 +- 0.2), so most of it is gone in the first tenths of a second.

Charge transfer and double layer come from a published set of electrode kinetics; the share of the slow part and its
time from published pulse currents of AGM batteries at 25 degC (5 to 30 s; used for every chemistry); the scale of the
resistances from the rating, so that at the rating's own current, temperature and binding time the terminal voltage is
the test's. Two temperature laws, one ohmic and one for polarisation, are anchored on a pair of ratings at -18 and
0 degC.

Limits of use: the reaction is taken as even through the plates, which gives the least charge-transfer drop; crowding at
the plates' faces would add to it. Not for discharges of minutes: 90 s is the longest time ever asked of the model.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from cranksag.errors import InputError
from cranksag.parts.discharge import (
    BatteryCircuit,
    charge_transfer,
    discharge_current,
    greatest_power,
    scaled,
    terminal_voltage,
    voltage_drop,
)

__all__ = [
    "ANCHOR_PAIR",
    "OCV_TABLE",
    "PULSE_CURRENTS",
    "RATING_TESTS",
    "BatteryCircuit",
    "Chemistry",
    "RatingTest",
    "TemperatureLaw",
    "bank_circuit",
    "battery_circuit",
    "battery_mass",
    "binding_point",
    "charged_above_full",
    "discharge_current",
    "estimate_rating",
    "greatest_power",
    "open_circuit_voltage",
    "predict_rating",
    "rating_resistance",
    "resistance_shape",
    "resistance_temperature_ratio",
    "scaled",
    "temperature_law_factors",
    "temperature_law_spread",
    "terminal_voltage",
    "voltage_drop",
]

Chemistry = Literal["flooded", "efb", "agm", "gel"]
TemperatureLaw = Literal["weak", "anchored", "strong"]

# --- open-circuit voltage -----------------------------------------------------------------------------------
#: (state of charge [-], voltage of a 12 V flooded battery at rest at 26.7 degC [V]), BCI table reprinted by
#: discoverbattery.com, state-of-charge article
OCV_TABLE = ((0.0, 11.89), (0.25, 12.06), (0.50, 12.24), (0.75, 12.45), (1.0, 12.65))
OCV_TABLE_TEMPERATURE = 26.7  # [degC] 80 degF, same table
#: the same of AGM: full from the thin-plate AGM owner's manual p. 6 ("12.84 V or more" at 25 degC), the rest from a
#: battery maker's table for flooded, gel and AGM (discover-energy.com, FAQ on full charge: 12.90-12.80 V full). An
#: owner's manual prints the same 12.6, 12.3 and 12.0 V (publications.polaris.com 0000836273, AGM charging table);
#: others' differ by up to 0.3 V at half charge
AGM_OCV_TABLE = ((0.0, 11.80), (0.25, 12.00), (0.50, 12.30), (0.75, 12.60), (1.0, 12.84))
AGM_OCV_TEMPERATURE = 25.0  # [degC] of the full one; the other rows state none
#: the same of gel at `OCV_TABLE_TEMPERATURE`: table "State of Charge" of wet and gel batteries by temperature
#: (meeknet.co.uk, second hand: age-series/ElectricalAge2, ds.csv), whose wet column is `OCV_TABLE`; the maker's table
#: above is within 0.05 V of it below full
GEL_OCV_TABLE = ((0.0, 11.80), (0.25, 12.00), (0.50, 12.40), (0.75, 12.60), (1.0, 12.80))
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
SLOW_SHARE = 1.2144  # [-] R_slow over R_instant at 25 degC, least squares on the fitted models
TIME_SLOW = 43.68  # [s] same fit

# --- charge transfer ----------------------------------------------------------------------------------------
# Kinetics of a 12 V 17 Ah battery at 294.85 K: Sulzer et al., J. Electrochem. Soc. 166 (2019) A2363, parameters as in
# the authors' open code; exchange-current densities after Srinivasan (2003). Two electrons, symmetric: in both
# electrodes j = 2 j0 sinh(F v / (R T)).
KINETICS_TEMPERATURE = 294.85 - 273.15  # [degC] same
KINETICS_CAPACITY = 17.0  # [Ah] same
PLATE_AREA = 8 * 0.114 * 0.065  # [m2] eight pairs of plates, same
#: (exchange current density [A/m2], inner surface [1/m], thickness [m]) of negative and positive plates, same
ELECTRODES = ((0.06, 2.3e6, 0.9e-3), (0.004, 2.3e7, 1.25e-3))
DOUBLE_LAYER = 0.2  # [F/m2] same
CELLS = 6  # [-] in a 12 V battery
GAS_OVER_FARADAY = 8.31446 / 96485.3  # [V/K] R / F
KELVIN = 273.15

# --- temperature laws ---------------------------------------------------------------------------------------
#: [1/K] ohmic part: +50 % from +30 to -18 degC (nenpower.com, second hand), taken as exponential
OHMIC_SLOPE = math.log(1.5) / 48.0
#: (rating at -18 degC, rating at 0 degC) [A] of one battery, both to 7.2 V at 30 s: marinemechanic.com page32
#: (500 = 650). 490 = 630 (manual 90-883728 p. 2B-21), 512 = 675 (fairwindsmarina.com, from a service manual)
#: and 800 = 1000 (continuouswave.com thread 001257) are kept back as checks.
ANCHOR_PAIR = (500.0, 650.0)
#: [1/K] slow part and charge transfer at zero current, by law. "anchored" returns `ANCHOR_PAIR`; "weak" and "strong"
#: make the drop after 30 s of the SAE current at -18 over +27 degC 1.5 (same page as OHMIC_SLOPE, read as the whole
#: resistance) and the greatest power after 30 s 40 % (available cranking power, TM 5-4210-230-14&P-1 p. 458).
POLARISATION_SLOPES: Mapping[str, float] = MappingProxyType(
    {"weak": 0.014457, "anchored": 0.021138, "strong": 0.032088}
)
WEAK_RATIO = 1.5  # [-] drop at -18 over 27 degC after 30 s behind "weak"
STRONG_POWER = 0.40  # [-] greatest power at -18 over 27 degC after 30 s behind "strong"

# --- state of charge ----------------------------------------------------------------------------------------
EMPTY_RISE = 0.40  # [-] rise of resistance from full to empty, near-linear (nenpower.com, second hand)

# --- bounds of use ------------------------------------------------------------------------------------------
TEMPERATURE_RANGE = (-40.0, 80.0)  # [degC] beyond it the laws are not meant (engineering estimate)
SPREAD_LOAD = 0.5  # [-] of the rating: a crank, at which the temperature laws are compared (engineering estimate)
HEALTH_MAX = 1.5  # [-] a new battery may exceed its rating, not by more than this (engineering estimate)

# --- mass ---------------------------------------------------------------------------------------------------
#: [kg/Ah] of a 12 V battery, 20 h rate (engineering estimate; flooded: 16.6 kg for 74 Ah on a maker's sheet)
MASS_PER_CAPACITY: Mapping[str, float] = MappingProxyType({"flooded": 0.225, "efb": 0.25, "agm": 0.28, "gel": 0.32})


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


def _table_voltage(table: tuple[tuple[float, float], ...], state_of_charge: float) -> float:
    """Linear between the rows of a table [V]."""
    for (low, v_low), (high, v_high) in itertools.pairwise(table):
        if state_of_charge <= high:
            return v_low + (v_high - v_low) * (state_of_charge - low) / (high - low)
    return table[-1][1]


def open_circuit_voltage(
    state_of_charge: float, temperature: float, chemistry: Chemistry = "flooded", slope: float = EMF_SLOPE
) -> float:
    """Voltage of one 12 V battery at rest.

    E = table(state of charge) + slope (T - the table's temperature), with a table for flooded and EFB, AGM and gel
    each: sealed batteries hold less acid, and stronger, so that they stand higher full and lower empty.

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
    table, known_at = {
        "agm": (AGM_OCV_TABLE, AGM_OCV_TEMPERATURE),
        "gel": (GEL_OCV_TABLE, OCV_TABLE_TEMPERATURE),
    }.get(chemistry, (OCV_TABLE, OCV_TABLE_TEMPERATURE))
    return _table_voltage(table, state_of_charge) + slope * (temperature - known_at)


def _part_factors(temperature: float, law: TemperatureLaw) -> tuple[float, float]:
    """Instant and slow resistance over the instant one at 25 degC [-]."""
    warmer = temperature - PULSE_TEMPERATURE
    return math.exp(-OHMIC_SLOPE * warmer), SLOW_SHARE * math.exp(-POLARISATION_SLOPES[law] * warmer)


def resistance_shape(time: float, temperature: float, law: TemperatureLaw = "anchored") -> float:
    """Resistive part of the drop after a constant current from rest, over the current and R_instant at 25 degC.

    Parameters: time since the current began [s] >= 0; temperature [degC]; law : temperature law.
    Returns: shape [-]; charge transfer is not in it. The rating supplies the scale.
    Raises: InputError outside the temperature range or for a negative time.
    """
    _check(temperature, "flooded")
    if not time >= 0.0:
        raise InputError([f"time {time:g} s since the current began must be zero or more"])
    instant, slow = _part_factors(temperature, law)
    return instant - slow * math.expm1(-time / TIME_SLOW)


def _kinetics(temperature: float, law: TemperatureLaw) -> tuple[float, float, float]:
    """V_a [V], I_a [A] and double layer [F] of a 12 V battery of one ampere by SAE.

    Both electrodes have nearly the same exchange current, so one law with its geometric mean stands for the two. It
    follows the capacity (inner surface of the active mass), which `RATING_PER_CAPACITY` turns into a rating, so that
    everything scales with one size; a battery with 14 A/Ah in place of 7.8 has 0.17 V more. In the cold the resistance
    at zero current, V_a / I_a, grows as the polarisation law says. The double layer gives the two electrodes' mean
    time constant at zero current, 0.35 s, and does not depend on temperature.
    """
    share = 1.0 / RATING_PER_CAPACITY / KINETICS_CAPACITY
    exchange = [j0 * a * d * PLATE_AREA * share for j0, a, d in ELECTRODES]
    layers = [DOUBLE_LAYER * a * d * PLATE_AREA * share for _, a, d in ELECTRODES]
    size = 2.0 * math.sqrt(math.prod(exchange))
    voltage, measured_at = (2.0 * CELLS * GAS_OVER_FARADAY * (t + KELVIN) for t in (temperature, KINETICS_TEMPERATURE))
    # one electrode of one cell: R T / (2 F I0) [ohm]; CELLS of both in series have V_a / I_a
    ohms = [measured_at / (4.0 * CELLS * i0) for i0 in exchange]
    time = sum(r * r * layer for r, layer in zip(ohms, layers, strict=True)) / sum(ohms)
    colder = math.exp(POLARISATION_SLOPES[law] * (KINETICS_TEMPERATURE - temperature))
    return voltage, size * voltage / measured_at / colder, time * size / measured_at


def _surface_capacitance() -> float:
    """Double layer [F] of the positive plates of a 12 V battery of one ampere by SAE.

    The surface charge is taken to stand on them alone: of the two electrodes the one that holds it longest (14 times
    the negative's). With both in series it would be gone in a fifteenth of the time.
    """
    _, surface, thickness = ELECTRODES[1]
    return DOUBLE_LAYER * surface * thickness * PLATE_AREA / CELLS / RATING_PER_CAPACITY / KINETICS_CAPACITY


def charged_above_full(circuit: BatteryCircuit, voltage: float, full: float) -> BatteryCircuit:
    """The battery at a measured voltage at rest, what it lies above a full one's being surface charge.

    Parameters: circuit; voltage at rest [V]; full : of the same battery fully charged [V]. Returns: `BatteryCircuit`.
    """
    return dataclasses.replace(circuit, open_circuit_voltage=voltage, surface_voltage=max(0.0, voltage - full))


def _unit(temperature: float, chemistry: Chemistry, law: TemperatureLaw) -> BatteryCircuit:
    """A sound, full 12 V battery of one ampere by SAE: its own test gives the scale of its resistances."""
    test = RATING_TESTS["SAE"]
    ((time, voltage),) = test.points
    room = open_circuit_voltage(1.0, test.temperature, chemistry) - voltage
    room -= charge_transfer(*_kinetics(test.temperature, law), 1.0, time)
    scale = room / resistance_shape(time, test.temperature, law)
    instant, slow = _part_factors(temperature, law)
    return BatteryCircuit(
        open_circuit_voltage(1.0, temperature, chemistry),
        scale * instant,
        *_kinetics(temperature, law),
        scale * slow,
        TIME_SLOW,
        COULOMB_PER_AMPERE_HOUR / RATING_PER_CAPACITY,
        _surface_capacitance(),
    )


def _size(rating: float, rating_standard: str, chemistry: Chemistry, law: TemperatureLaw) -> float:
    """SAE rating of a battery rated by another test: of its conditions the one that asks for most counts [A]."""
    if not 0.0 < rating < math.inf:
        raise InputError([f"battery rating {rating:g} A must be more than zero"])
    return rating / min(load for load, _ in _loads(rating_standard, chemistry, law))


def _loads(rating_standard: str, chemistry: Chemistry, law: TemperatureLaw) -> list[tuple[float, tuple[float, float]]]:
    """For each condition of a test the current [A] that a battery of one ampere by SAE holds it with."""
    test = _test(rating_standard)
    unit = _unit(test.temperature, chemistry, law)
    return [(discharge_current(unit, voltage, time), (time, voltage)) for time, voltage in test.points]


def binding_point(
    rating_standard: str, chemistry: Chemistry = "flooded", law: TemperatureLaw = "anchored"
) -> tuple[float, float]:
    """The condition of a rating test that a battery only just meets, (time, voltage).

    Of the test's points it is the one that allows the least current.

    Parameters: rating_standard : key of `RATING_TESTS`; chemistry; law : temperature law.
    Returns: (time [s], voltage [V]). Raises: InputError for an unknown test or chemistry.
    """
    return min(_loads(rating_standard, chemistry, law))[1]


def rating_resistance(
    rating: float,
    rating_standard: str = "SAE",
    chemistry: Chemistry = "flooded",
    law: TemperatureLaw = "anchored",
) -> float:
    """Drop over current of a sound, full 12 V battery in its own rating test, at the binding time.

    R = (E - V_test) / rating, charge transfer included.

    Parameters: rating [A] > 0; rating_standard : key of `RATING_TESTS`; chemistry; law : temperature law.
    Returns: resistance [ohm].
    Raises: InputError for a rating that is not positive, unknown test or chemistry.
    """
    if not 0.0 < rating < math.inf:
        raise InputError([f"battery rating {rating:g} A must be more than zero"])
    _, voltage = binding_point(rating_standard, chemistry, law)
    return (open_circuit_voltage(1.0, _test(rating_standard).temperature, chemistry) - voltage) / rating


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

    Its drop is that of a sound, full battery whose rating is multiplied by health / (1 + 0.4 (1 - state of charge)).
    So health is the share of the rated cranking current still there, exactly, for a full battery in its own test.

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
    size = _size(rating, rating_standard, chemistry, law) * health / (1.0 + EMPTY_RISE * (1.0 - state_of_charge))
    return dataclasses.replace(
        scaled(_unit(temperature, chemistry, law), 1.0 / size),
        open_circuit_voltage=open_circuit_voltage(state_of_charge, temperature, chemistry),
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

    Voltages x series; resistances x series / parallel; currents and capacity x parallel. Link cables (each series joint
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
    ratio, links = in_series / in_parallel, (in_series - 1) * link_resistance / in_parallel
    return BatteryCircuit(
        open_circuit_voltage=unit.open_circuit_voltage * in_series,
        resistance_instant=unit.resistance_instant * ratio + links,
        activation_voltage=unit.activation_voltage * in_series,
        activation_current=unit.activation_current * in_parallel,
        activation_capacitance=unit.activation_capacitance / ratio,
        resistance_slow=unit.resistance_slow * ratio,
        time_slow=unit.time_slow,
        capacity=capacity * in_parallel,
        surface_capacitance=unit.surface_capacitance / ratio,
        link_resistance=links,
    )


def predict_rating(
    rating: float,
    from_standard: str,
    to_standard: str,
    chemistry: Chemistry = "flooded",
    law: TemperatureLaw = "anchored",
) -> float:
    """Rating of a battery by one test, predicted from its rating by another.

    The least of the currents that meet the second test's conditions; proportional to the first rating.

    Parameters: rating [A] by from_standard; from_standard, to_standard : keys of `RATING_TESTS`; chemistry;
    law : temperature law. Returns: rating [A]. Raises: InputError as `rating_resistance`.
    """
    return _size(rating, from_standard, chemistry, law) / _size(1.0, to_standard, chemistry, law)


def resistance_temperature_ratio(
    temperature: float, reference: float, time: float, law: TemperatureLaw = "anchored", load: float = 1.0
) -> float:
    """Drop of a flooded battery at a temperature over that at a reference temperature, at the same current.

    Parameters: temperature, reference [degC]; time since the current began [s]; law : temperature law; load : current
    over the SAE rating [-]. Returns: ratio [-]. Raises: InputError outside the temperature range.
    """
    drops = [voltage_drop(_unit(t, "flooded", law), load, time) for t in (temperature, reference)]
    return drops[0] / drops[1]


def temperature_law_factors(
    temperature: float,
    time: float,
    rating_standard: str = "SAE",
    chemistry: Chemistry = "flooded",
    load: float = SPREAD_LOAD,
) -> tuple[float, float]:
    """Drop of a rated battery by the weak and by the strong of the published temperature laws, over the anchored one's.

    For each law the size is taken anew from the rating, so both are 1 at the rating's own test and leave it away
    from there.

    Parameters: temperature [degC]; time since the current began [s]; rating_standard; chemistry; load : current over
    the rating at which the laws are compared [-].
    Returns: (weak, strong) factor for `scaled` that gives the anchored law's battery the other law's drop [-].
    Raises: InputError as `rating_resistance`.
    """
    laws: tuple[TemperatureLaw, ...] = ("weak", "anchored", "strong")
    voltages, currents = [], {}
    for law in laws:
        unit = _unit(temperature, chemistry, law)
        currents[law] = load / _size(1.0, rating_standard, chemistry, law)
        voltages.append(terminal_voltage(unit, currents[law], time))
    unit = _unit(temperature, chemistry, "anchored")
    weak, _, strong = (discharge_current(unit, voltage, time) / currents["anchored"] for voltage in voltages)
    return weak, strong


def temperature_law_spread(
    temperature: float,
    time: float,
    rating_standard: str = "SAE",
    chemistry: Chemistry = "flooded",
    load: float = SPREAD_LOAD,
) -> tuple[float, float]:
    """Band on the drop of a rated battery from the disagreement of the published temperature laws.

    Parameters, errors: as `temperature_law_factors`. Returns: (lowest, highest) of its factors and 1 [-].
    """
    factors = temperature_law_factors(temperature, time, rating_standard, chemistry, load)
    return min(1.0, *factors), max(1.0, *factors)


def battery_mass(capacity: float, chemistry: Chemistry = "flooded", in_series: int = 1, in_parallel: int = 1) -> float:
    """Mass of a bank of 12 V batteries, proportional to capacity (engineering estimate).

    Parameters: capacity of one battery [C]; chemistry; in_series, in_parallel counts [-].
    Returns: mass [kg]. Raises: InputError for another chemistry.
    """
    _check(PULSE_TEMPERATURE, chemistry)
    per_battery = MASS_PER_CAPACITY[chemistry] * capacity / COULOMB_PER_AMPERE_HOUR
    return per_battery * in_series * in_parallel
