# SPDX-License-Identifier: GPL-3.0-or-later
"""What a hold-up's report says of standing, of its fuse and of its age, on the real ngspice."""

from __future__ import annotations

import math
from collections.abc import Mapping

import pytest

from cranksag.cli.summary import _hold_up
from cranksag.examples import example_text
from cranksag.parts.pack import MONTH, time_to_flat
from cranksag.parts.pack_chemistry import CHEMISTRIES
from cranksag.resolve.model import StandbyPack
from cranksag.scenario import loads_scenario
from cranksag.simulate import simulate
from cranksag.verdict.hold_up import FLAT
from cranksag.verdict.results import Result


def _solved(name: str, changes: Mapping[str, str]) -> Result:
    return simulate(loads_scenario(example_text(name), name).with_overrides(changes))


def test_a_pack_in_the_heat_is_flat_eight_times_sooner() -> None:
    """Self-discharge doubles for each 10 K: three times from 20 to 50 degC. 0.1 %: the drain of an open relay."""
    cool, hot = (_solved("standby-pack", {"temperature.helm": f"{degrees} degC"}) for degrees in (20, 50))
    assert cool.hold_up["months_to_flat"] == pytest.approx(8.0 * hot.hold_up["months_to_flat"], rel=1e-3)
    assert hot.hold_up["pack_temperature_degc"] == 50.0
    assert ("pack temperature", "50 degC") in list(_hold_up(hot))
    lost = CHEMISTRIES["sealed lead AGM"].self_discharge
    assert isinstance(cool.boat.hold_up, StandbyPack)
    months = math.log(FLAT / cool.boat.hold_up.pack_charge) / math.log(1.0 - lost)
    assert cool.hold_up["months_to_flat"] == pytest.approx(months, rel=1e-3)


def test_a_drained_pack_is_flat_as_time_to_flat_says() -> None:
    """Without a relay the run solenoid hangs on the pack."""
    result = _solved(
        "standby-pack", {"hold_up.contact": "none", "temperature.helm": "30 degC", "hold_up.pack_charge": "80 %"}
    )
    hold = result.boat.hold_up
    assert isinstance(hold, StandbyPack)
    drain = result.hold_up["standing_drain_a"]
    assert drain > 0.1
    full = hold.pack.capacity_ah * 3600.0 / 0.8
    expected = time_to_flat(hold.pack_chemistry, full, 0.8, FLAT, 30.0, drain) / MONTH
    assert result.hold_up["months_to_flat"] == pytest.approx(expected, rel=1e-9)
    # nearly all of it is the drain: charge over current, and a little less
    assert 0.95 * (0.8 - FLAT) * full < expected * MONTH * drain < (0.8 - FLAT) * full


def test_a_pack_that_is_flat_already_stands_for_no_time() -> None:
    assert _solved("standby-pack", {"hold_up.pack_charge": "30 %"}).hold_up["months_to_flat"] == 0.0
