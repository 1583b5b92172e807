# SPDX-License-Identifier: GPL-3.0-or-later
"""Laws that hold for every sane boat, on random ones, with the real solver."""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import assume, given, settings

from cranksag.resolve import resolve
from cranksag.resolve.model import Boat
from cranksag.simulate import simulate, simulate_boat
from cranksag.verdict.results import Result
from tests.strategies import changes, scenario_of

LONG = os.environ.get("HYPOTHESIS_PROFILE") == "long"
MANY = 2000 if LONG else 40
FEW = 200 if LONG else 10
Drawn = tuple[str, dict[str, str]]
INRUSH = 0.15  # [s] from START: relay and solenoid take 0.04 s, the inrush is over after another 0.1 s
NOT_SWITCHING = {"displays__0__brownout": "2 V", "displays__0__restarts_above": "3 V", "engine__fires_after": "never"}
"""A display that never resets and an engine that never fires: nothing switches but the start circuit."""


def _at(result: Result, name: str) -> float:
    return float(np.interp(result.display.minimum_at, result.traces.time, result.traces.signals[name]))


@given(drawn=changes())
@settings(max_examples=MANY)
def test_every_boat_gets_an_answer_and_its_budget_closes(drawn: Drawn) -> None:
    """A run inside its envelope (the solver refuses others), Kirchhoff to 1 mV, and Ohm's law on the wires."""
    result = simulate(scenario_of(drawn))
    signals, boat = result.traces.signals, result.boat
    assert result.cranks.reason
    assert np.isfinite(result.display.margin)
    assert result.display.minimum_voltage > -1.0  # nothing in the boat drives a display's pins the wrong way round
    assert float(signals["battery"].min()) > 0.0
    lost = sum(line.drop for line in result.budget)
    assert lost == pytest.approx(result.battery.open_circuit_voltage - result.display.minimum_voltage, abs=1e-3)
    drops = {line.element: line.drop for line in result.budget}
    assert drops["feed conductor"] == pytest.approx(boat.feed.resistance * _at(result, "feed_current"), abs=1e-3)
    assert drops["feed joints"] == pytest.approx(boat.feed.joints * _at(result, "feed_current"), abs=1e-3)
    returned = boat.feed.return_resistance * _at(result, "return_current")
    assert drops["return conductor"] == pytest.approx(returned, abs=1e-3)
    still = result.traces.time < -1e-3
    assert max(float(np.ptp(signals[n][still])) for n in ("display", "battery", "starter_stud", "feed")) < 1e-3


def _pair(drawn: Drawn, more: dict[str, str], **common: str) -> tuple[Result, Result]:
    return simulate(scenario_of(drawn, **common)), simulate(scenario_of(drawn, **common, **more))


@given(drawn=changes(branches=("none",)))
@settings(max_examples=FEW)
def test_more_feed_resistance_means_less_voltage(drawn: Drawn) -> None:
    """Away from switching: 50 mohm more in the supply side lowers the display's minimum.

    A constant power at 3 V and little capacitance makes a feed's inductance ring, and resistance damps that; such a
    ring reaches even 2 V.
    """
    joints = float(drawn[1]["feed.joints"].split()[0])
    better, worse = _pair(drawn, {"feed__joints": f"{joints + 50.0} mohm"}, **NOT_SWITCHING)
    assume(better.display.margin > 0.0 and worse.display.margin > 0.0)
    assert worse.display.minimum_voltage < better.display.minimum_voltage


@given(drawn=changes(branches=("none",), feed__return_to="battery negative"))
@settings(max_examples=FEW)
def test_starter_cable_resistance_raises_the_battery_and_lowers_the_stud(drawn: Drawn) -> None:
    """1 mohm more in the starter's cable: a display at the battery posts gains, one at the stud loses.

    Where both minima belong to the inrush: a nearly stalled engine with less torque may stop on a compression that it
    would have passed, and that sag is deeper than the inrush.
    """
    for place, sign in (("battery", 1.0), ("starter stud", -1.0)):
        common = {**NOT_SWITCHING, "feed__from": place}
        thick, thin = _pair(drawn, {"cables__positive__1__resistance": "1.3 mohm"}, **common)
        assume(thick.cranks.engages and thin.cranks.engages)
        assume(thick.display.margin > 0.0 and thin.display.margin > 0.0)
        assume(max(r.display.minimum_at - r.boat.crank.key_on_before for r in (thick, thin)) < INRUSH)
        assert sign * (thin.display.minimum_voltage - thick.display.minimum_voltage) > 0.0


@given(drawn=changes(branches=("none",)))
@settings(max_examples=FEW)
def test_a_weaker_battery_gives_less_inrush_and_a_slower_crank(drawn: Drawn) -> None:
    """A fifth less rating: less peak current, and fewer turns by the time the key is let go."""
    rating = float(drawn[1]["battery.rating"].split()[0])
    strong, weak = _pair(drawn, {"battery__rating": f"{0.8 * rating} A"}, **NOT_SWITCHING)
    assume(strong.cranks.engages and weak.cranks.engages)
    assert weak.starter.peak_current < strong.starter.peak_current
    held = r_held(strong)
    turned = [float(np.interp(held, r.traces.time, r.traces.signals["crank_angle"])) for r in (strong, weak)]
    # the compression may throw a nearly stalled engine back further: a tenth of a radian of that is no law broken
    assert turned[1] <= turned[0] + 0.1


def r_held(result: Result) -> float:
    """Moment the key is let go [s from key-on]."""
    crank = result.boat.crank
    return crank.key_on_before + crank.key_held


def _nudged(boat: Boat) -> list[Boat]:
    """The boat with one parameter changed by one part in a billion, for each of a list."""
    factor = 1.0 + 1e-9

    def scaled(part: object, name: str) -> object:
        return dataclasses.replace(part, **{name: getattr(part, name) * factor})  # type: ignore[type-var]

    display = boat.displays[0]
    return [
        dataclasses.replace(boat, battery=scaled(boat.battery, "resistance_instant")),
        dataclasses.replace(boat, feed=scaled(boat.feed, "joints")),
        dataclasses.replace(boat, motor=scaled(boat.motor, "field_constant_saturated")),
        dataclasses.replace(boat, engine=scaled(boat.engine, "friction_torque")),
        dataclasses.replace(boat, solenoid=scaled(boat.solenoid, "pull_in")),
        dataclasses.replace(
            boat, displays=(dataclasses.replace(display, circuit=scaled(display.circuit, "power")), *boat.displays[1:])
        ),
    ]


STILL = 1e-4  # [V] what a change of one part in a billion may do to the minimum


@given(drawn=changes())
@settings(max_examples=FEW, derandomize=not LONG)
def test_one_part_in_a_billion_changes_nothing(drawn: Drawn) -> None:
    """Less than 0.1 mV on the minimum, unless the result says that the boat stands near a switching point."""
    boat = resolve(scenario_of(drawn))
    base = simulate_boat(boat)
    for changed in _nudged(boat):
        result = simulate_boat(changed)
        if not base.near_switching and not result.near_switching:
            assert result.display.restarts == base.display.restarts
            assert result.display.minimum_voltage == pytest.approx(base.display.minimum_voltage, abs=STILL)


@pytest.mark.long
def test_few_boats_stand_near_a_switching_point() -> None:
    """At most 5 % of random boats."""
    seen: list[bool] = []

    @given(drawn=changes())
    @settings(max_examples=MANY, derandomize=True, database=None)
    def look(drawn: Drawn) -> None:
        seen.append(bool(simulate(scenario_of(drawn)).near_switching))

    run: Callable[[], None] = look
    run()
    assert sum(seen) <= 0.05 * len(seen)
