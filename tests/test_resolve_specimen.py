# SPDX-License-Identifier: GPL-3.0-or-later
"""Other specimens of a boat's parts: a factor touches its own figures, in proportion, and nothing else."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cranksag.examples import example_text
from cranksag.resolve import Boat, resolve
from cranksag.resolve.specimen import (
    RELEASE_BELOW,
    operates_at,
    releases_at,
    with_battery_resistance,
    with_diode_saturation,
    with_friction,
    with_hold_up_relay,
    with_motor_resistance,
    with_start_relay,
)
from cranksag.scenario import loads_scenario
from tests.part_fields import numbers


@cache
def _boat(name: str) -> Boat:
    return resolve(loads_scenario(example_text(name), name))


SIZED = {
    "resistance_instant": 1,
    "resistance_slow": 1,
    "activation_current": -1,
    "activation_capacitance": -1,
    "surface_capacitance": -1,
}
"""Power of the factor on each figure of a battery."""

CHANGES: list[tuple[Callable[[Boat, float], Boat], dict[str, int]]] = [
    (with_battery_resistance, {f".battery.{part}": power for part, power in SIZED.items()}),
    (with_motor_resistance, {".motor.resistance": 1}),
    (with_friction, {f".engine.{part}": 1 for part in ("friction_torque", "friction_viscous", "breakaway_torque")}),
    (with_diode_saturation, {".hold_up.diode.saturation_current": 1}),
]


@pytest.mark.parametrize(("change", "places"), CHANGES)
@given(factor=st.floats(0.2, 5.0).filter(lambda f: abs(f - 1.0) > 1e-3))
def test_a_factor_moves_its_own_figures_in_proportion(
    change: Callable[[Boat, float], Boat], places: dict[str, int], factor: float
) -> None:
    before, after = dict(numbers(_boat("standby-pack"), "")), dict(numbers(change(_boat("standby-pack"), factor), ""))
    assert {place for place in before if before[place] != after[place]} == set(places)
    for place, power in places.items():
        assert after[place] == pytest.approx(before[place] * factor**power, rel=1e-12)


@given(first=st.floats(0.1, 3.0), second=st.floats(0.1, 10.0))
def test_a_relay_always_lets_go_below_its_own_pick_up(first: float, second: float) -> None:
    boat = with_hold_up_relay(with_start_relay(_boat("standby-pack"), operates_at(first)), operates_at(first))
    boat = with_hold_up_relay(with_start_relay(boat, releases_at(second)), releases_at(second))
    for relay in (boat.start.relay, getattr(boat.hold_up, "relay", None)):
        assert relay is not None
        assert 0.0 < relay.release_current <= RELEASE_BELOW * relay.operate_current * (1.0 + 1e-12)


def test_a_boat_without_the_part_stays_as_it_is() -> None:
    bare = resolve(loads_scenario(example_text("restarting"), "r").with_overrides({"start_circuit.relay": "none"}))
    assert with_start_relay(bare, operates_at(2.0)) is bare
    assert with_hold_up_relay(bare, releases_at(2.0)) is bare
    assert with_diode_saturation(bare, 2.0) is bare
