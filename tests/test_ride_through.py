# SPDX-License-Identifier: GPL-3.0-or-later
"""How long a bank alone feeds the displays: the integral against its closed limits, and the report against runs in
which the feed is dead while the engine is cranked."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from cranksag.examples import example_text
from cranksag.parts.diode import DiodeCircuit, circuit_voltage
from cranksag.parts.display import DisplayCircuit
from cranksag.parts.ride_through import (
    Discharge,
    bank_ride_through,
    hold_up_constant_power,
    hold_up_power_with_esr,
    internal_voltage,
    pins_floor,
)
from cranksag.scenario import loads_scenario
from cranksag.simulate import simulate
from cranksag.verdict.series import crossings

NO_DIODE = {"bypass": 0.0}
SCHOTTKY = DiodeCircuit(15e-6, 1.25, 30e-3, 20.0, 40.0)
SILICON = DiodeCircuit(1e-9, 1.8, 20e-3, 20.0, 400.0)


def _display(power: float = 9.0, brownout: float = 8.5, **more: object) -> DisplayCircuit:
    plain = DisplayCircuit(power, power, 0.1 * power, 0.8 * brownout, brownout, "pins", 2e-3, brownout + 1.0, 12.0, 0.0,
                           None, None)  # fmt: skip
    return dataclasses.replace(plain, **more)  # type: ignore[arg-type]


@given(
    capacitance=st.floats(1e-3, 100.0), start=st.floats(8.6, 30.0), power=st.floats(0.5, 60.0), esr=st.floats(0.0, 0.3)
)
def test_without_losses_it_is_the_closed_formula(capacitance: float, start: float, power: float, esr: float) -> None:
    """An ideal diode and no leakage: t = C (V1^2 - V2^2) / (2 P), with ESR its closed integral. 2e-5: trapezoids."""
    found = bank_ride_through(Discharge(capacitance, 0.0, **NO_DIODE), start, [_display(power)])
    assert found == pytest.approx(hold_up_constant_power(capacitance, start, 8.5, power), rel=2e-5)
    lossy = bank_ride_through(Discharge(capacitance, esr, **NO_DIODE), start, [_display(power)])
    end = internal_voltage(8.5, power, esr)
    closed = hold_up_power_with_esr(capacitance, start, end, power, esr) if start > end else 0.0
    if power * esr < 0.5 * 8.5**2:  # where the bank can give the power down to the floor
        assert lossy == pytest.approx(closed, rel=2e-5, abs=1e-6 * capacitance)
    assert lossy <= found * (1.0 + 2e-5)


def test_a_bank_that_cannot_give_the_power_ends_there() -> None:
    """60 W through 1.5 ohm end at 2 sqrt(P ESR) = 19 V behind it, with 9.5 V at the pins. 1e-3: one step."""
    found = bank_ride_through(Discharge(1.0, 1.5, **NO_DIODE), 24.0, [_display(60.0)])
    assert found == pytest.approx(hold_up_power_with_esr(1.0, 24.0, 0.0, 60.0, 1.5), rel=1e-3)
    assert bank_ride_through(Discharge(1.0, 1.5, **NO_DIODE), 18.9, [_display(60.0)]) == 0.0


@given(
    power=st.floats(1.0, 40.0),
    leak=st.floats(20.0, 1e5),
    bypass=st.sampled_from((0.5, 2.2, math.inf)),
    esr=st.floats(0.0, 0.1),
    inside=st.booleans(),
)
def test_it_is_the_solution_of_its_differential_equation(
    power: float, leak: float, bypass: float, esr: float, inside: bool
) -> None:
    """C dV/dt = -(i + V / R), by scipy's integrator; the way out solved by bisection. 2e-3: both grids."""
    display = _display(power, diode=SILICON if inside else None, at="internal" if inside else "pins")
    bank = Discharge(0.3, esr, leak, SCHOTTKY, bypass)
    found = bank_ride_through(bank, 13.0, [display])

    def way_out(current: float) -> float:
        def beside(volts: float) -> float:
            through = brentq(lambda j: float(circuit_voltage(SCHOTTKY, np.asarray(j))) - volts, 0.0, 1e3)
            return float(through) + volts / bypass - current

        return float(brentq(beside, 0.0, 5.0))

    def above(volts: float, behind: float) -> float:
        current = power / behind
        own = float(circuit_voltage(SILICON, np.asarray(current))) if inside else 0.0
        return volts - esr * current - way_out(current) - own - behind

    grid = np.linspace(display.brownout, 13.0, 40)
    sums = np.array([w - above(0.0, w) - w for w in grid])  # volts behind the ESR for each inner voltage
    rising = int(np.argmin(sums))

    def rate(_: float, volts: np.ndarray) -> list[float]:
        current = power / float(np.interp(volts[0], sums[rising:], grid[rising:]))
        return [-(current + volts[0] / leak) / 0.3]

    def empty(_: float, volts: np.ndarray) -> float:
        return float(volts[0] - sums[rising])

    if sums[rising] >= 13.0:
        assert found == 0.0
        return
    empty.terminal = True  # type: ignore[attr-defined]
    run = solve_ivp(rate, (0.0, 1e3), [13.0], events=empty, rtol=1e-7, max_step=0.05)
    assert found == pytest.approx(float(run.t[-1]), rel=2e-3, abs=1e-5)


@given(excess=st.floats(-1e-6, 1e-6), inside=st.booleans())
def test_a_start_at_the_floor_carries_for_no_time(excess: float, inside: bool) -> None:
    display = _display(diode=SILICON if inside else None, at="internal" if inside else "pins", input_capacitance=1e-3)
    start = pins_floor(display) * (1.0 + excess)
    assert 0.0 <= bank_ride_through(Discharge(1.0, 0.0, **NO_DIODE), start, [display]) < 1e-4


def test_every_loss_shortens_it() -> None:
    ideal = bank_ride_through(Discharge(0.47, 0.0, **NO_DIODE), 12.0, [_display()])
    diode = bank_ride_through(Discharge(0.47, 0.0, diode=SCHOTTKY), 12.0, [_display()])
    helped = bank_ride_through(Discharge(0.47, 0.0, diode=SCHOTTKY, bypass=0.1), 12.0, [_display()])
    leaky = bank_ride_through(Discharge(0.47, 0.0, 200.0, SCHOTTKY), 12.0, [_display()])
    inner = _display(diode=SILICON, at="internal")
    behind = bank_ride_through(Discharge(0.47, 0.0, 200.0, SCHOTTKY), 12.0, [inner])
    assert behind < leaky < diode < helped < ideal
    assert pins_floor(inner) == pytest.approx(8.5 + 0.96, abs=0.05)  # 1.06 A through the silicon diode above
    assert pins_floor(dataclasses.replace(inner, at="pins")) == 8.5


def test_the_first_display_to_brown_out_ends_it() -> None:
    both = [_display(9.0, 8.5), _display(3.0, 10.0)]
    found = bank_ride_through(Discharge(0.47, 0.0, **NO_DIODE), 12.0, both)
    assert found == pytest.approx(hold_up_constant_power(0.47, 12.0, 10.0, 12.0), rel=1e-5)


def test_booting_takes_its_own_power_while_it_lasts() -> None:
    """0.3 s at 18 W, then 9 W: energies add up."""
    bank, display = Discharge(0.47, 0.0, **NO_DIODE), _display(boot_power=18.0)
    energy = 0.5 * 0.47 * (12.0**2 - 8.5**2)
    found = bank_ride_through(bank, 12.0, [display], [0.3])
    assert found == pytest.approx(0.3 + (energy - 0.3 * 18.0) / 9.0, rel=1e-4)
    assert bank_ride_through(bank, 12.0, [display], [60.0]) == pytest.approx(energy / 18.0, rel=1e-4)
    assert bank_ride_through(bank, 12.0, [display], [-1.0]) == pytest.approx(energy / 9.0, rel=1e-4)


def test_a_charger_without_a_diode_lets_nothing_out() -> None:
    assert bank_ride_through(Discharge(1.0, 0.0), 12.0, [_display()]) == 0.0


ALONE = {"hold_up.capacitance": "0.47 F", "hold_up.inrush_limit": "0.5 ohm", "feed.dead_in_start": "true"}
BOOTED = {"crank.key_on_before": "60 s"}
NO_LEAK = {"hold_up.leakage": "0 A", "hold_up.bleed": "none"}
INSIDE = {"displays.0.brownout_at": "internal", "displays.0.input_diode": "true"}
POWER = "displays.0.power"


@pytest.mark.parametrize(
    ("changes", "closed"),
    [
        (BOOTED | NO_LEAK, 1.0),
        (BOOTED, 1.0),
        (BOOTED | {POWER: "30 W"}, 1.0),
        (BOOTED | NO_LEAK | INSIDE, 1.2),
        (BOOTED | INSIDE | {POWER: "20 W"}, 1.4),
        ({}, 1.3),  # still booting at START, with 12 W
        ({"crank.key_on_before": "11.5 s"}, 1.2),  # the boot ends on the way
        ({"hold_up.capacitance": "22 mF", "hold_up.inrush_limit": "2.2 ohm"}, 1.3),
    ],
)
def test_the_report_is_what_a_run_with_a_dead_feed_does(changes: dict[str, str], closed: float) -> None:
    """First reset of the run, less the time below the threshold before it. 1 %: the display's input capacitor starts
    from the feed's voltage. `closed`: by how much at least the formula for an ideal diode and no leakage is longer."""
    scenario = loads_scenario(example_text("reservoir"), "reservoir").with_overrides(ALONE | changes)
    result = simulate(scenario)
    display, start = result.boat.displays[0].circuit, result.boat.crank.key_on_before
    runs = result.traces.signals["display_0_runs"]
    resets = crossings(result.traces.time, runs, 0.5, rising=False)
    lasted = float(resets[resets > start][0]) - start - display.reset_after
    assert result.hold_up["ride_through_s"] == pytest.approx(lasted, rel=0.01)
    full = float(np.interp(start, result.traces.time, result.traces.signals["hold_up"]))
    capacitance = result.boat.hold_up.bank.capacitance  # type: ignore[union-attr]
    assert hold_up_constant_power(capacitance, full, display.brownout, display.power) > closed * lasted


def test_a_supercapacitors_charger_gives_nothing_back() -> None:
    """Its bank discharges through the diode alone, whatever lies in the charge path."""
    alone = {"feed.dead_in_start": "true", "hold_up.capacitance": "0.5 F", "hold_up.esr": "0.5 ohm"}
    result = simulate(loads_scenario(example_text("supercapacitor"), "s").with_overrides(alone))
    resets = crossings(result.traces.time, result.traces.signals["display_0_runs"], 0.5, rising=False)
    lasted = float(resets[resets > 60.0][0]) - 60.0 - result.boat.displays[0].circuit.reset_after
    assert result.hold_up["ride_through_s"] == pytest.approx(lasted, rel=0.01)
