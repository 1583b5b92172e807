# SPDX-License-Identifier: GPL-3.0-or-later
"""Steps ten times finer move the display's minimum by less than 5 mV, for every branch and several crank endings."""

from __future__ import annotations

import dataclasses

import pytest

from cranksag.circuit import build_circuit
from cranksag.examples import example_text
from cranksag.resolve import resolve
from cranksag.scenario import loads_scenario
from cranksag.solver import STANDARD, get_solver
from cranksag.verdict import judge

ALLOWED = 5e-3  # [V] what refining the steps tenfold may change
SHORT = {"crank.key_on_before": "0.5 s", "crank.key_held": "1.2 s", "crank.after": "0.3 s"}
CASES = {
    "none": ("restarting", {}),
    "none, never fires": ("restarting", {"engine.fires_after": "never"}),
    "standby pack": ("standby-pack", {}),
    "standby pack, never fires": ("standby-pack", {"engine.fires_after": "never"}),
    "changeover": ("standby-pack", {"hold_up.contact": "changeover"}),
    "reservoir": ("reservoir", {}),
    "supercapacitor": ("supercapacitor", {"crank.key_on_before": "20 s"}),
    "house feed": ("house-feed", {}),
    "converter": ("converter-24v", {}),
    "two displays": ("two-displays", {}),
    "paralleled banks": ("paralleled-banks", {}),
    "surface charge": ("restarting", {"battery.open_circuit_voltage": "13.2 V"}),
}


@pytest.mark.parametrize("case", CASES)
def test_ten_times_finer_steps_change_little(case: str) -> None:
    example, changes = CASES[case]
    boat = resolve(loads_scenario(example_text(example), example).with_overrides(SHORT | changes))
    lowest = []
    for pace in (1.0, 0.1):
        circuit = build_circuit(boat, pace=pace)
        deck = dataclasses.replace(circuit.deck, step_ceiling=circuit.deck.step_ceiling * pace)
        result = judge(boat, circuit, get_solver().run(deck, (STANDARD,)), get_solver().info())
        lowest.append(result.display.minimum_voltage)
    assert lowest[0] == pytest.approx(lowest[1], abs=ALLOWED)
