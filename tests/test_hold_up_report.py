# SPDX-License-Identifier: GPL-3.0-or-later
"""What a hold-up's report says of standing, of its fuse and of its age, on the real ngspice."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cranksag.circuit import build_circuit
from cranksag.cli.summary import _hold_up
from cranksag.examples import example_text
from cranksag.parts.diode_heat import SURGE_HALF_CYCLE, surge_use
from cranksag.parts.fuse import FUSE_TYPES, melting_i2t, opening_time
from cranksag.parts.pack import MONTH, time_to_flat
from cranksag.parts.pack_chemistry import CHEMISTRIES
from cranksag.resolve import resolve
from cranksag.resolve.model import Bank, StandbyPack
from cranksag.scenario import loads_scenario
from cranksag.simulate import simulate
from cranksag.verdict.fusing import fuse_front
from cranksag.verdict.hold_up import FLAT
from cranksag.verdict.results import Result
from cranksag.verdict.stresses import diode_surge, pulse_i2t, stresses
from tests.strategies import scenario_of

BLADE = FUSE_TYPES["blade"]


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


# the fuse ------------------------------------------------------------------------------------------------------------


def _fuse_notes(result: Result, part: str) -> list[str]:
    return [n.code for n in result.warnings if n.code.startswith("fuse_") and part in n.message]


def test_a_small_lasting_overload_does_not_melt_a_fuse() -> None:
    """5.2 A through a fuse of 5 A for ten seconds: 270 A2s, fifteen times its melting I2t, and it need never open."""
    result = _solved("supercapacitor", {"hold_up.charge_current": "5.2 A"})
    time, current = result.traces.time, np.abs(result.traces.signals["hold_up_current"])
    assert pulse_i2t(time, current, 5.0) > 10.0 * melting_i2t(BLADE, 5.0)[0]
    assert opening_time(BLADE, 5.0, float(current.max())) == (math.inf, math.inf)
    assert _fuse_notes(result, "hold-up fuse") == []
    # the same charge, the display and the run solenoid are half as much again as the feed's fuse of 5 A stands
    assert _fuse_notes(result, "display feed fuse") == ["fuse_opens_on_inrush"]


def test_a_large_lasting_overload_is_told_with_its_amperes() -> None:
    """9 A for seconds open a fuse of 5 A, though no 20 ms of them come near its melting I2t."""
    result = _solved("supercapacitor", {"hold_up.charge_current": "9 A", "hold_up.inrush_limit": "0.1 ohm"})
    found = {(s.part, s.quantity): s for s in stresses(result.boat, result.traces, build_circuit(result.boat).times)}
    inrush, overload = found["hold-up fuse", "inrush I2t"], found["hold-up fuse", "overload"]
    assert inrush.value == pytest.approx(9.0**2 * BLADE.band[-1][1], rel=0.01)
    assert not inrush.exceeded
    assert not found["hold-up fuse", "inrush I2t, repeated"].exceeded
    assert overload.value == pytest.approx(9.0, rel=0.01)
    assert overload.exceeded
    assert any("9 A flow through the hold-up fuse of 5 A" in n.message for n in result.warnings)


@given(st.floats(20.0, 400.0), st.floats(1e-3, 8e-3))
def test_a_pulse_is_judged_by_its_melting_i2t(peak: float, tau: float) -> None:
    """An exponential inrush that is over in milliseconds: peak^2 tau / 2 against the lowest melting I2t."""
    time = np.linspace(0.0, 1.0, 40001)
    front = fuse_front(time, peak * np.exp(-time / tau), BLADE, 5.0)
    low = melting_i2t(BLADE, 5.0)[0]
    within = 0.5 * peak**2 * tau
    if within * (1.0 - math.exp(-2.0 * 1e-3 / tau)) > 1.1 * low and peak > 60.0:
        assert front is not None
    if within < 0.6 * low:  # the band's points between ask for no less
        assert front is None


# surge of diodes ------------------------------------------------------------------------------------------------------


@given(st.floats(1.0, 500.0), st.floats(1.0, 3.0))
def test_a_half_sine_of_the_printed_length_is_a_surge_of_its_own_peak(peak: float, before: float) -> None:
    """The rating is of one half sine of 8.3 ms, wherever it stands; what flows backwards does not count."""
    time = np.union1d(np.linspace(0.0, 4.0, 401), before + np.linspace(0.0, SURGE_HALF_CYCLE, 2001))
    inside = (time >= before) & (time <= before + SURGE_HALF_CYCLE)
    current = np.where(inside, peak * np.sin(math.pi * (time - before) / SURGE_HALF_CYCLE), -3.0 * peak)
    assert diode_surge(time, current) == pytest.approx(peak, rel=1e-3)


@given(st.floats(1.0, 500.0), st.floats(2e-4, 1e-3))
def test_a_short_pulse_is_a_surge_by_its_i2t(peak: float, tau: float) -> None:
    """peak^2 tau / 2 of an exponential pulse that is over within the half sine, against I^2 t / 2 of that."""
    time = np.linspace(0.0, 0.05, 50001)
    use = surge_use(0.5 * peak**2 * tau, diode_surge(time, peak * np.exp(-time / tau)))
    assert use == pytest.approx(1.0, rel=1e-3)


def test_a_bank_without_a_limiter_surges_a_small_diode_and_a_limiter_saves_it() -> None:
    """0.1 F behind 20 mohm through a diode of 1 A and 25 A of surge; the feed's wire leaves it some 25 A or more."""
    bare = {"hold_up.capacitance": "0.1 F", "hold_up.inrush_limit": "20 mohm", "hold_up.diode": "1N5819",
            "feed.length": "3 ft", "feed.size": "10 AWG"}  # fmt: skip
    surged = _solved("reservoir", bare)
    found = {(s.part, s.quantity): s for s in stresses(surged.boat, surged.traces, build_circuit(surged.boat).times)}
    surge = found["feed diode", "surge"]
    assert surge.limit == 25.0
    assert surge.exceeded
    (told,) = (n for n in surged.warnings if n.code == "diode_surge")
    assert f"half sine of {surge.value:.0f} A" in told.message
    assert "allows 25 A" in told.message
    limited = _solved("reservoir", bare | {"hold_up.inrush_limit": "2 ohm"})
    assert "diode_surge" not in {n.code for n in limited.warnings}


# age -----------------------------------------------------------------------------------------------------------------


def _bank_of(branch: str, **changes: str) -> Bank:
    fields = {f"hold_up.{name}": text for name, text in changes.items()} | {"hold_up.branch": branch}
    fields["temperature.helm"] = fields.pop("hold_up.helm", "20 degC")
    found = resolve(scenario_of(("none", fields))).hold_up
    assert isinstance(found, Bank)
    return found


@pytest.mark.parametrize("branch", ["reservoir", "supercapacitor"])
def test_a_bank_has_aged_by_the_mean_of_its_years_not_by_the_day_of_the_crank(branch: str) -> None:
    """A frost does not make a part young: what age takes is a factor on what the cold leaves."""
    shares = set()
    for helm in ("-20 degC", "20 degC", "45 degC"):
        old, new = (_bank_of(branch, age=age, helm=helm).bank for age in ("8 y", "0 y"))
        assert old.capacitance < 0.99 * new.capacitance
        assert old.esr > 1.01 * new.esr
        shares.add(round(old.capacitance / new.capacitance, 9))
    assert len(shares) == 1
    warm, cool = (_bank_of(branch, age="8 y", age_temperature=mean).bank for mean in ("35 degC", "5 degC"))
    assert warm.capacitance < cool.capacitance
    assert warm.esr > cool.esr


def test_cells_below_their_rated_voltage_age_slower() -> None:
    """2 years at 20 degC: 1.3 times the life for each 0.1 V; the share of life used is that of the capacitance lost."""
    used = {}
    for cells in (6, 8):
        bank = _bank_of("supercapacitor", age="2 y", cells=str(cells), capacitance="5 F")
        used[cells] = (1.0 - bank.bank.capacitance / 5.0) / 0.3
    stands = {cells: 14.2 / cells for cells in used}
    assert used[6] / used[8] == pytest.approx(1.3 ** ((stands[6] - stands[8]) / 0.1), rel=1e-6)
    life = 1000.0 * 2.0**4.5 * 1.3 ** ((2.7 - stands[8]) / 0.1)  # [h]
    assert used[8] == pytest.approx(2.0 * 365.25 * 24.0 / life, rel=1e-6)
