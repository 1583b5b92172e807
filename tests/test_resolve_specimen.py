# SPDX-License-Identifier: GPL-3.0-or-later
"""Other specimens of a boat's parts: a factor touches its own figures, in proportion, and nothing else."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cranksag.examples import example_text
from cranksag.parts.battery import bank_circuit, voltage_drop
from cranksag.resolve import Boat, resolve
from cranksag.resolve.specimen import (
    RELEASE_BELOW,
    operates_at,
    releases_at,
    temperature_law_band,
    with_battery_resistance,
    with_diode_saturation,
    with_friction,
    with_hold_up_relay,
    with_motor_resistance,
    with_start_relay,
    with_temperature_law,
)
from cranksag.scenario import loads_scenario
from cranksag.simulate import simulate, simulate_boat
from cranksag.studies.spreads import spreads_of
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


@given(factor=st.floats(0.2, 5.0))
def test_another_friction_is_that_of_its_field(factor: float) -> None:
    """As if `engine.friction_factor` had been written: the compression and its loss stay as they are."""
    scenario = loads_scenario(example_text("restarting"), "r")
    rubs = dict(numbers(with_friction(resolve(scenario), factor).engine, ""))
    written = dict(numbers(resolve(scenario.with_overrides({"engine.friction_factor": repr(factor)})).engine, ""))
    assert rubs == pytest.approx(written, rel=1e-9)


@given(first=st.floats(0.1, 3.0), second=st.floats(0.1, 10.0))
def test_a_relay_always_lets_go_below_its_own_pick_up(first: float, second: float) -> None:
    boat = with_hold_up_relay(with_start_relay(_boat("standby-pack"), operates_at(first)), operates_at(first))
    boat = with_hold_up_relay(with_start_relay(boat, releases_at(second)), releases_at(second))
    for relay in (boat.start.relay, getattr(boat.hold_up, "relay", None)):
        assert relay is not None
        assert 0.0 < relay.release_current <= RELEASE_BELOW * relay.operate_current * (1.0 + 1e-12)


# --- the temperature laws ------------------------------------------------------------------------------------

TWO_BANKS = """title = "two banks"
[temperature]
ambient = "{ambient} degC"
[battery]
rating = "1000 A"
rating_standard = "{start}"
chemistry = "{chemistry}"
[house]
rating = "600 A"
rating_standard = "{house}"
chemistry = "agm"
"""


@pytest.mark.parametrize("ambient", [-10, 5, 25])
@pytest.mark.parametrize(("start", "house"), [("SAE", "SAE"), ("MCA", "SAE"), ("SAE", "MCA"), ("EN", "DIN")])
@pytest.mark.parametrize("chemistry", ["flooded", "gel"])
def test_each_bank_follows_the_temperature_laws_from_its_own_rating(
    ambient: int, start: str, house: str, chemistry: str
) -> None:
    """The ends of the band are the weak and the strong law, each bank's size taken from its own rating by that law."""
    text = TWO_BANKS.format(ambient=ambient, start=start, house=house, chemistry=chemistry)
    boat = resolve(loads_scenario(text, "two"))
    ends = [with_temperature_law(boat, factor) for factor in temperature_law_band(boat)]
    for name, rating in (("battery", 1000.0), ("house", 600.0)):
        held = {field: boat.values[f"{name}.{field}"].value for field in FIELDS}
        by_law = [
            bank_circuit(**held, temperature=ambient, law=law)  # type: ignore[arg-type]
            for law in ("weak", "strong")
        ]
        at_crank = 0.5 * held["health"] / (1.0 + 0.4 * (1.0 - held["state_of_charge"])) * rating
        found = sorted(voltage_drop(getattr(end, name), at_crank, 1.0) for end in ends)
        assert found == pytest.approx(sorted(voltage_drop(bank, at_crank, 1.0) for bank in by_law), rel=1e-6)


FIELDS = ("chemistry", "rating", "rating_standard", "capacity", "state_of_charge", "health")


def test_what_draws_and_judges_knows_the_rating_s_own_test() -> None:
    """Near 0 degC a marine rating says more of a battery than one at -18 degC does."""
    widths = {}
    for standard in ("SAE", "MCA"):
        changes = {"battery.rating_standard": standard, "temperature.ambient": "5 degC"}
        scenario = loads_scenario(example_text("restarting"), "r").with_overrides(changes | ALL_KNOWN)
        boat = resolve(scenario)
        spread = next(s for s in spreads_of(boat) if s.path == "battery.temperature_law")
        assert (spread.low, spread.high) == temperature_law_band(boat)
        result = simulate(scenario, band=True)
        assert result.estimate is not None
        assert result.estimate.fields == ("battery temperature law",)
        ends = [
            simulate_boat(with_temperature_law(boat, f)).display.minimum_voltage for f in temperature_law_band(boat)
        ]
        assert [result.estimate.low, result.estimate.high] == pytest.approx(sorted(ends), abs=1e-3)
        widths[standard] = result.estimate.high - result.estimate.low
    assert widths["MCA"] < 0.6 * widths["SAE"]


ALL_KNOWN = {
    "engine.friction_factor": "1",
    "starter.resistance": "9 mohm",
    "crank.key_on_before": "0.3 s",
    "crank.key_held": "0.6 s",
    "crank.after": "50 ms",
    "engine.fires_after": "never",
    "displays.0.brownout": "4 V",
    "displays.0.restarts_above": "6 V",
}
"""The boat of the example with nothing left to doubt but the battery's temperature law, and a short crank."""


def test_a_boat_without_the_part_stays_as_it_is() -> None:
    bare = resolve(loads_scenario(example_text("restarting"), "r").with_overrides({"start_circuit.relay": "none"}))
    assert with_start_relay(bare, operates_at(2.0)) is bare
    assert with_hold_up_relay(bare, releases_at(2.0)) is bare
    assert with_diode_saturation(bare, 2.0) is bare
