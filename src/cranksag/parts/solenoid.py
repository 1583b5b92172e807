# SPDX-License-Identifier: GPL-3.0-or-later
"""Starter solenoid: pull-in coil from S to the motor stud, hold-in coil from S to the case.

Both coils have the same number of turns (common practice: with the key released the hold-in current runs
backwards through the pull-in coil and the pull must cancel), so the plunger follows the sum of the currents.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from cranksag.errors import InputError
from cranksag.parts.starter import copper_resistance

# [degC] coil temperature at which a pull-in voltage is taken to hold: assumption.  One manual (service manual
# TNV IDI p. 10-5) states its <= 8.0 V with the coil at 100 degC: for such a solenoid pass 100.
TEMPERATURE_COIL_RATED = 20.0
PULLS_IN_AT_12 = 8.0  # [V] published limit <= 8 V: TM 10-3930-671-24 p. 563
PULLS_IN_AT_24 = 18.0  # [V] 24 V solenoid, "pull-in >= 18 V": TM 5-3895-382-24 p. 234 (16 V also met)
VOLTAGE_SPLIT = 18.0  # [V] between a 12 V and a 24 V system, for choosing the default
DROP_OUT_SHARE = 0.3  # [-] hold-in drop-out voltage over pull-in voltage: engineering estimate
VOLTAGE_TEST_12 = 10.0  # [V] at which 12 V coil currents are published: TM 5-2420-230-24-2 p. 13-33
VOLTAGE_TEST_24 = 20.0  # [V] same for 24 V
REFERENCE_OPERATE_AMPERE = 24.0  # [A] sum at pull-in of the published 0.484 / 1.055 ohm pair at 8 V
REFERENCE_INDUCTANCE = 1.5e-3  # [H] of either coil of that pair, plunger out: engineering estimate
TRAVEL_OPERATE = 25e-3  # [s] plunger from pull-in to closed contact, 20-30 ms: engineering estimate
TRAVEL_RELEASE = 10e-3  # [s] return spring: engineering estimate
CONTACT_NEW = 0.05e-3  # [ohm] 0.02-0.05 mohm new: Murugesan et al. 2014 (second hand)
CONTACT_WORN = 10e-3  # [ohm] 10-15 mohm worn out: Murugesan et al. 2014 (second hand)


@dataclass(frozen=True, slots=True)
class SolenoidCoils:
    """Coils at 20 degC and the plunger; operate and release are sums of both coils' currents."""

    pull_in: float  # [ohm] at 20 degC
    hold_in: float  # [ohm] at 20 degC
    operate_ampere: float  # [A]
    release_ampere: float  # [A]
    inductance_pull_in: float  # [H]
    inductance_hold_in: float  # [H]
    travel_operate: float = TRAVEL_OPERATE  # [s]
    travel_release: float = TRAVEL_RELEASE  # [s]
    contact_resistance: float = CONTACT_NEW  # [ohm]


@dataclass(frozen=True, slots=True)
class PublishedSolenoid:
    """Published currents [A] of both coils together and of the hold-in coil alone, at a test voltage [V]."""

    name: str
    voltage: float  # [V] nominal
    test_voltage: float  # [V]
    both: float  # [A]
    hold: float  # [A]
    source: str


_TM_COILS = "TM 5-2420-230-24-2 p. 13-33"
# Volts and amperes as printed there.
PUBLISHED_SOLENOIDS: tuple[PublishedSolenoid, ...] = (
    PublishedSolenoid("12 V small heavy-duty", 12.0, VOLTAGE_TEST_12, 69.0, 13.0, _TM_COILS),
    PublishedSolenoid("12 V medium heavy-duty", 12.0, VOLTAGE_TEST_12, 74.0, 19.0, _TM_COILS),
    PublishedSolenoid("12 V large heavy-duty", 12.0, VOLTAGE_TEST_12, 97.0, 18.0, _TM_COILS),
    PublishedSolenoid("12 V largest heavy-duty", 12.0, VOLTAGE_TEST_12, 86.0, 15.0, _TM_COILS),
    PublishedSolenoid("24 V medium heavy-duty", 24.0, VOLTAGE_TEST_24, 36.0, 6.0, _TM_COILS),
    PublishedSolenoid("24 V large heavy-duty", 24.0, VOLTAGE_TEST_24, 57.0, 13.0, _TM_COILS),
    PublishedSolenoid("24 V largest heavy-duty", 24.0, VOLTAGE_TEST_24, 49.0, 6.0, _TM_COILS),
)


def coils_from_amperes(both: float, hold: float, test_voltage: float) -> tuple[float, float]:
    """Coil resistances from published currents: hold-in = V / hold, pull-in = V / (both - hold).

    Parameters: both [A] of both coils in parallel (motor stud grounded), hold [A] of the hold-in coil alone,
    test_voltage [V].  Returns: (pull_in, hold_in) [ohm] at the test's temperature, taken as 20 degC.
    Raises: InputError unless 0 < hold < both and the voltage is above 0.
    """
    if not (0.0 < hold < both and test_voltage > 0.0 and math.isfinite(both) and math.isfinite(test_voltage)):
        raise InputError(["solenoid currents: the hold-in current must lie between 0 and that of both coils"])
    return test_voltage / (both - hold), test_voltage / hold


def coils_at_temperature(coils: SolenoidCoils, temperature: float) -> tuple[float, float]:
    """(pull_in, hold_in) [ohm] with both coils at a temperature [degC]; copper, IEC 60028."""
    return copper_resistance(coils.pull_in, temperature), copper_resistance(coils.hold_in, temperature)


def pull_in_voltage(coils: SolenoidCoils, temperature: float) -> float:
    """Voltage at S that pulls the plunger in, motor stud grounded: operate_ampere (R_pi || R_hi).

    Parameters: temperature [degC] of the coils.  Returns: [V].
    """
    pull, hold = coils_at_temperature(coils, temperature)
    return coils.operate_ampere * pull * hold / (pull + hold)


def drop_out_voltage(coils: SolenoidCoils, temperature: float) -> float:
    """Voltage at S below which the hold-in coil alone lets go: release_ampere R_hi.

    Parameters: temperature [degC] of the coils.  Returns: [V].
    """
    return coils.release_ampere * coils_at_temperature(coils, temperature)[1]


def solenoid_coils(
    pull_in: float,
    hold_in: float,
    voltage: float,
    pulls_in_at: float | None = None,
    drops_out_at: float | None = None,
    temperature_rated: float = TEMPERATURE_COIL_RATED,
    contact_resistance: float = CONTACT_NEW,
) -> SolenoidCoils:
    """A solenoid from its two coil resistances and its pull-in and drop-out voltages.

    operate_ampere = V_in (1/R_pi + 1/R_hi), release_ampere = V_out / R_hi, at the rated coil temperature.
    Ampere-turns at pull-in are taken equal for all solenoids, so turns ~ 1 / operate_ampere and inductance ~
    turns^2, equal for both coils (engineering estimate).

    Parameters: pull_in, hold_in > 0 [ohm] at 20 degC; voltage [V] nominal; pulls_in_at [V] at S (None: 8 V on
    12 V, 18 V on 24 V); drops_out_at [V] on the hold-in coil (None: 0.3 of pulls_in_at); temperature_rated
    [degC] at which pulls_in_at and drops_out_at hold; contact_resistance [ohm].
    Returns: SolenoidCoils.  Raises: InputError.
    """
    if pulls_in_at is None:
        pulls_in_at = PULLS_IN_AT_12 if voltage < VOLTAGE_SPLIT else PULLS_IN_AT_24
    if drops_out_at is None:
        drops_out_at = DROP_OUT_SHARE * pulls_in_at
    problems = []
    if not all(math.isfinite(x) and x > 0.0 for x in (pull_in, hold_in, voltage, pulls_in_at, drops_out_at)):
        problems.append("solenoid: resistances and voltages must be above 0")
    elif not copper_resistance(1.0, temperature_rated) > 0.0:
        problems.append("solenoid: the rated coil temperature is below any copper coil's")
    if problems:
        raise InputError(problems)
    warm = copper_resistance(1.0, temperature_rated)  # R(T) / R(20 degC)
    operate = pulls_in_at * (1.0 / pull_in + 1.0 / hold_in) / warm
    release = drops_out_at / hold_in / warm
    if release >= operate:
        raise InputError(["solenoid: it would drop out at more current than it needs to pull in"])
    inductance = REFERENCE_INDUCTANCE * (REFERENCE_OPERATE_AMPERE / operate) ** 2
    return SolenoidCoils(
        pull_in=pull_in,
        hold_in=hold_in,
        operate_ampere=operate,
        release_ampere=release,
        inductance_pull_in=inductance,
        inductance_hold_in=inductance,
        contact_resistance=contact_resistance,
    )


def starved_terminal_voltage(
    coils: SolenoidCoils, source_voltage: float, harness_resistance: float, temperature: float
) -> float:
    """Steady S-terminal voltage, both coils fed through a harness, plunger still out (motor stud at ground).

    V_s = V (R_pi || R_hi) / (R_pi || R_hi + R_harness); the motor's own few milliohm are neglected.

    Parameters: source_voltage [V]; harness_resistance [ohm] out and back with joints; temperature [degC] of
    the coils.  Returns: [V].
    """
    pull, hold = coils_at_temperature(coils, temperature)
    parallel = pull * hold / (pull + hold)
    return source_voltage * parallel / (parallel + harness_resistance)


def pulls_in(coils: SolenoidCoils, source_voltage: float, harness_resistance: float, temperature: float) -> bool:
    """Whether the starved S terminal still reaches the pull-in ampere sum (static; arguments as above)."""
    reached = starved_terminal_voltage(coils, source_voltage, harness_resistance, temperature)
    return reached >= pull_in_voltage(coils, temperature)
