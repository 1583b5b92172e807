# SPDX-License-Identifier: GPL-3.0-or-later
"""The half-rating load test of a start battery: its published limits, and the health at which each is met."""

from __future__ import annotations

from dataclasses import dataclass

from cranksag.errors import InputError
from cranksag.parts.battery import Chemistry, TemperatureLaw, battery_circuit
from cranksag.parts.discharge import discharge_current, terminal_voltage

__all__ = ["LOAD_TEST_LIMITS", "LoadTestCrossing", "load_test_health", "load_test_table"]

#: (temperature [degC], least voltage [V]) at half the SAE rating after 15 s: car workshop manuals (several)
LOAD_TEST_LIMITS = (
    *((20.0, 9.6), (16.0, 9.5), (10.0, 9.4), (4.0, 9.3)),
    *((-1.0, 9.1), (-7.0, 8.9), (-12.0, 8.7), (-18.0, 8.5)),
)
LOAD_TEST_SHARE = 0.5  # [-] of the rating, same manuals
LOAD_TEST_TIME = 15.0  # [s] same manuals


@dataclass(frozen=True, slots=True)
class LoadTestCrossing:
    """Where the half-rating 15 s load test meets its published limit.

    temperature [degC]; limit [V]; voltage_at_full_health [V]; health : where voltage equals limit [-].
    """

    temperature: float
    limit: float
    voltage_at_full_health: float
    health: float


def load_test_health(
    temperature: float,
    limit: float,
    rating_standard: str = "SAE",
    chemistry: Chemistry = "flooded",
    state_of_charge: float = 1.0,
    law: TemperatureLaw = "anchored",
) -> LoadTestCrossing:
    """Health at which the half-rating 15 s load test meets a voltage limit; free of the rating.

    Parameters: temperature [degC]; limit [V]; rating_standard, chemistry, state_of_charge, law as
    `battery_circuit`. Returns: `LoadTestCrossing`. Raises: InputError if the limit is not below E.
    """
    battery = battery_circuit(
        1.0,
        rating_standard,
        capacity=1.0,
        chemistry=chemistry,
        state_of_charge=state_of_charge,
        temperature=temperature,
        law=law,
    )
    voltage = battery.open_circuit_voltage
    if not limit < voltage:
        raise InputError([f"load-test limit {limit:g} V is not below the resting voltage {voltage:.2f} V"])
    sound = terminal_voltage(battery, LOAD_TEST_SHARE, LOAD_TEST_TIME)
    health = LOAD_TEST_SHARE / discharge_current(battery, limit, LOAD_TEST_TIME)
    return LoadTestCrossing(temperature, limit, sound, health)


def load_test_table(chemistry: Chemistry = "flooded", law: TemperatureLaw = "anchored") -> list[LoadTestCrossing]:
    """Crossing of every published load-test limit for a full battery rated by SAE.

    Parameters: chemistry; law : temperature law. Returns: one `LoadTestCrossing` per row of the table.
    """
    return [load_test_health(t, limit, "SAE", chemistry, 1.0, law) for t, limit in LOAD_TEST_LIMITS]
