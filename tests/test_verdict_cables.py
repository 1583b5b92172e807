# SPDX-License-Identifier: GPL-3.0-or-later
"""A starter's cable that the crank burns is a danger, with its size and figures; its sound neighbour is none."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from cranksag.circuit.timing import KeyTimes, key_times
from cranksag.examples import example_text
from cranksag.resolve import resolve
from cranksag.scenario import loads_scenario
from cranksag.simulate import simulate
from cranksag.verdict.cables import OVERHEATS, cable_dangers, cable_heat
from cranksag.verdict.results import Result, Traces

TEN_AWG = 5.26  # [mm2] ASTM B258
K_PVC = 115.0  # [A s^0.5 / mm2] IEC 60364-5-54, copper in PVC, 70 to 160 degC


@lru_cache
def cranked(*changes: tuple[str, str]) -> Result:
    return simulate(loads_scenario(example_text("standby-pack"), "standby-pack").with_overrides(dict(changes)))


def burning(result: Result) -> list[str]:
    return [note.message for note in result.dangers if note.code == OVERHEATS]


def test_a_cable_that_the_crank_burns_is_a_danger_and_as_written_it_is_none() -> None:
    thin = cranked(("cables.positive.0.size", "10 AWG"))
    assert thin.cranks.fires
    (told,) = burning(thin)
    assert "10 AWG of 'battery cable' (cables.positive.0)" in told
    assert "IEC 60364-5-54" in told
    assert "turn to the standard that applies for the binding figure" in told
    assert burning(cranked()) == []
    assert burning(cranked(("cables.positive.0.size", "4 AWG"))) == []


def test_its_i2t_is_that_of_the_starters_current_and_its_limit_that_of_the_standard() -> None:
    result = cranked(("cables.positive.0.size", "10 AWG"))
    battery, _, ground = cable_heat(result.boat, result.traces, key_times(result.boat.crank))
    time = result.traces.time
    held = time >= result.boat.crank.key_on_before
    by_starter = np.trapezoid(result.traces.signals["starter_current"][held] ** 2, time[held])
    assert battery.i2t == pytest.approx(by_starter, rel=0.05)  # the hold-in coil's few amperes come on top
    assert battery.i2t >= by_starter
    assert battery.i2t == ground.i2t
    assert battery.limit == pytest.approx((K_PVC * TEN_AWG) ** 2, rel=2e-3)
    assert battery.overheats
    assert not ground.overheats


def test_every_attempt_counts_and_a_thin_ground_is_named() -> None:
    ground = ("cables.negative.0.size", "8 AWG")
    never, rest = ("engine.fires_after", "never"), ("crank.rest", "3 s")
    assert burning(cranked(ground)) == []
    often = cranked(ground, never, rest, ("crank.attempts", "4"))
    (told,) = burning(often)
    assert "8 AWG of 'engine ground' (cables.negative.0)" in told
    assert "12 s of START" in told


def test_a_steady_current_burns_a_cable_just_beyond_its_time() -> None:
    """400 A in 10 AWG: 3.66e5 A2s over 1.6e5 A2 are 2.29 s."""
    boat = resolve(loads_scenario(example_text("standby-pack")).with_overrides({"cables.positive.0.size": "10 AWG"}))
    stands = (K_PVC * TEN_AWG / 400.0) ** 2
    for share, burns in ((0.99, False), (1.01, True)):
        held = share * stands
        time = np.linspace(0.0, 5.0, 50001)
        amperes = np.where((time >= 1.0) & (time < 1.0 + held), 400.0, 0.0)
        traces = Traces(time, {"starter_current": amperes, "hold_in_current": np.zeros_like(time)})
        times = KeyTimes(0.05, (1.05,), (1.05 + held,), 5.05)
        assert bool(list(cable_dangers(boat, traces, times))) is burns


def test_a_link_given_by_its_resistance_is_not_judged() -> None:
    result = cranked()
    times = key_times(result.boat.crank)
    paths = [cable.path for cable in cable_heat(result.boat, result.traces, times)]
    assert paths == ["cables.positive.0", "cables.positive.2", "cables.negative.0"]
    unknown = {k: v for k, v in result.boat.values.items() if not k.endswith(".size")}
    assert cable_heat(replace(result.boat, values=unknown), result.traces, times) == ()
