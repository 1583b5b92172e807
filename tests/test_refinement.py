# SPDX-License-Identifier: GPL-3.0-or-later
"""Steps ten times finer move the display's minimum by less than 5 mV, for every branch and several crank endings."""

from __future__ import annotations

import dataclasses
import os

import pytest
from hypothesis import given, settings

from cranksag.circuit import build_circuit
from cranksag.examples import example_text
from cranksag.resolve import resolve
from cranksag.resolve.model import Boat
from cranksag.scenario import loads_scenario
from cranksag.solver import LADDER, STANDARD, Settings, get_solver
from cranksag.verdict import judge
from cranksag.verdict.results import Result
from tests.strategies import changes, scenario_of

FEW = 200 if os.environ.get("HYPOTHESIS_PROFILE") == "long" else 6
Drawn = tuple[str, dict[str, str]]
ALLOWED = 5e-3  # [V] what refining the steps tenfold may change
SHORT = {"crank.key_on_before": "0.5 s", "crank.key_held": "1.2 s", "crank.after": "0.3 s"}
CASES = {
    "none": ("restarting", {}),
    "none, never fires": ("restarting", {"engine.fires_after": "never"}),
    "standby pack": ("standby-pack", {}),
    "standby pack, never fires": ("standby-pack", {"engine.fires_after": "never"}),
    "changeover": ("standby-pack", {"hold_up.contact": "changeover"}),
    "reservoir": ("reservoir", {}),
    "reservoir, still charging": (
        "reservoir",
        {"hold_up.capacitance": "75 mF", "feed.from": "battery", "displays.0.brownout": "6 V"},
    ),
    "supercapacitor": ("supercapacitor", {"crank.key_on_before": "20 s"}),
    "house feed": ("house-feed", {}),
    "converter": ("converter-24v", {}),
    "two displays": ("two-displays", {}),
    "paralleled banks": ("paralleled-banks", {}),
    "surface charge": ("restarting", {"battery.open_circuit_voltage": "13.2 V"}),
}


def _at_pace(boat: Boat, pace: float, ladder: tuple[Settings, ...] = (STANDARD,)) -> Result:
    circuit = build_circuit(boat, pace=pace)
    deck = dataclasses.replace(circuit.deck, step_ceiling=circuit.deck.step_ceiling * pace)
    return judge(boat, circuit, get_solver().run(deck, ladder), get_solver().info())


@pytest.mark.parametrize("case", CASES)
def test_ten_times_finer_steps_change_little(case: str) -> None:
    example, overrides = CASES[case]
    boat = resolve(loads_scenario(example_text(example), example).with_overrides(SHORT | overrides))
    coarse, fine = (_at_pace(boat, pace).display.minimum_voltage for pace in (1.0, 0.1))
    assert coarse == pytest.approx(fine, abs=ALLOWED)


@given(drawn=changes())
@settings(max_examples=FEW, derandomize=True, database=None)
def test_ten_times_finer_steps_change_little_on_random_boats(drawn: Drawn) -> None:
    """Banks that still charge at START, a changeover's gap, restart loops, cranks that nearly stall."""
    boat = resolve(scenario_of(drawn))
    coarse, fine = (_at_pace(boat, pace, LADDER) for pace in (1.0, 0.1))
    if not coarse.near_switching and not fine.near_switching:
        assert coarse.display.restarts == fine.display.restarts
        assert coarse.display.minimum_voltage == pytest.approx(fine.display.minimum_voltage, abs=ALLOWED)
