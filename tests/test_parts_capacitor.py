# SPDX-License-Identifier: GPL-3.0-or-later
"""Capacitors and supercapacitors: cold, age, hold-up worked examples, inrush, series cells."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from cranksag.parts import capacitor, charging, ride_through, supercapacitor
from cranksag.parts.supercapacitor import CellSpec

VOLTAGES = st.floats(1.0, 60.0)
CAPACITANCES = st.floats(1e-4, 100.0)


# --- hold-up against published examples ---------------------------------------------------------------------


def test_clock_backup() -> None:
    # Real-time clock backup article (blog.csdn.net 128259830): 0.22 F from 3.0 to 1.6 V at 1 uA, 308 000 s.
    assert ride_through.hold_up_constant_current(0.22, 3.0, 1.6, 1e-6) == pytest.approx(308e3, rel=1e-9)


def test_bus_example() -> None:
    # Buffer-module article (infoneva.com): 100 W, 20 ms, 400 to 300 V, 57.1 uF. Tolerance: half the last
    # digit.
    found = ride_through.capacitance_for_constant_power(20e-3, 400.0, 300.0, 100.0)
    assert found == pytest.approx(57.1e-6, abs=0.05e-6)


def test_avionics_bus() -> None:
    # Hold-up article in Electronic Products: 25 W for 200 ms on a 28 V bus, converter 9-36 V input: "as high
    # as 25 000 uF/50 V". From 28 V 14 225 uF would do; the figure is that of the low line, 22 V: ours 24 814
    # uF, 0.7 % less.
    assert ride_through.capacitance_for_constant_power(0.2, 28.0, 9.0, 25.0) == pytest.approx(14225e-6, rel=1e-4)
    low_line = ride_through.capacitance_for_constant_power(0.2, 22.0, 9.0, 25.0)
    assert low_line == pytest.approx(25000e-6, rel=0.01)
    assert ride_through.hold_up_constant_power(low_line, 22.0, 9.0, 25.0) == pytest.approx(0.2, rel=1e-12)


def test_supercapacitor_demonstration_board() -> None:
    # Demo manual DC1937B: 4 x 10 F in series, 25 W out, from 10 V down to 3 V at the capacitors' terminals:
    # 3.2 s. Without losses 4.55 s. The controller's data sheet gives 0.90 to 0.96 for the converter; the
    # board's ESR is not printed, 50 mohm a cell is the catalogue's 10 F cell (from memory). Ours 3.01 to 3.28
    # s over that efficiency.
    string = supercapacitor.string_capacitance(10.0, 4)
    assert string == 2.5
    assert ride_through.hold_up_constant_power(string, 10.0, 3.0, 25.0) == pytest.approx(4.55, abs=0.005)
    esr = 4 * 50e-3
    slow, fast = (
        ride_through.hold_up_power_with_esr(
            string, 10.0, ride_through.internal_voltage(3.0, 25.0 / efficiency, esr), 25.0 / efficiency, esr
        )
        for efficiency in (0.90, 0.96)
    )
    assert slow < 3.2 < fast


@pytest.mark.parametrize(("share", "bracket"), [(0.7, 1.1737), (0.8, 1.4057), (0.9, 1.6668)])
def test_sizing_equation_of_a_controller(share: float, bracket: float) -> None:
    # LTC3350 data sheet p. 26: C = (4 P t / V^2) / [a + sqrt(a) - (1 - a) ln((1 + sqrt a) / sqrt(1 - a))]
    # with R = (1 - a) V^2 / (4 P), discharging to the maximum-power point. It is the exact form with that
    # end.
    voltage, power, time = 10.0, 25.0, 2.0
    esr = (1.0 - share) * voltage**2 / (4.0 * power)
    root = math.sqrt(share)
    exact = share + root - (1.0 - share) * math.log((1.0 + root) / math.sqrt(1.0 - share))
    assert exact == pytest.approx(bracket, abs=5e-5)
    capacitance = 4.0 * power * time / voltage**2 / exact
    assert ride_through.hold_up_power_with_esr(capacitance, voltage, 0.0, power, esr) == pytest.approx(time, rel=1e-9)


def test_exact_form_by_number() -> None:
    # 1 F, 5 W, 50 mohm, 12 to 9 V behind the ESR: 6.2856 s; 6.3000 s without ESR. Worked and integrated by
    # hand.
    assert ride_through.hold_up_power_with_esr(1.0, 12.0, 9.0, 5.0, 0.05) == pytest.approx(6.2856, abs=5e-5)
    assert ride_through.hold_up_power_with_esr(1.0, 12.0, 9.0, 5.0, 0.0) == pytest.approx(6.3, rel=1e-12)


def test_advice_of_10_and_22_millifarad() -> None:
    # Owners are told "a diode and 10 or 22 mF". At 1 A and 3 V of droop that is 30 and 66 ms (published
    # advice, derived times); a crank takes hundreds.
    assert ride_through.hold_up_constant_current(10e-3, 12.0, 9.0, 1.0) == pytest.approx(30e-3)
    assert ride_through.hold_up_constant_current(22e-3, 12.0, 9.0, 1.0) == pytest.approx(66e-3)


@given(
    capacitance=CAPACITANCES, start=st.floats(6.0, 30.0), share=st.floats(0.3, 0.95),
    power=st.floats(0.5, 60.0), relative=st.floats(0.0, 0.95),
)  # fmt: skip
def test_exact_form_is_the_integral(
    capacitance: float, start: float, share: float, power: float, relative: float
) -> None:
    end = share * start
    esr = relative * end**2 / (4.0 * power)
    time = ride_through.hold_up_power_with_esr(capacitance, start, end, power, esr)

    def slope(voltage: float) -> float:
        terminal = 0.5 * (voltage + math.sqrt(voltage**2 - 4.0 * power * esr))
        return capacitance * terminal / power

    integral, _ = quad(slope, end, start, epsabs=0.0, epsrel=1e-11)
    assert time == pytest.approx(integral, rel=1e-8)
    # ESR only ever costs time.
    assert time <= ride_through.hold_up_constant_power(capacitance, start, end, power) * (1.0 + 1e-12)
    terminal = 0.5 * (end + math.sqrt(end**2 - 4.0 * power * esr))
    assert ride_through.internal_voltage(terminal, power, esr) == pytest.approx(end, rel=1e-9)


def test_constant_current_agrees_with_integration() -> None:
    # 0.1 F with 0.2 ohm from 12 V at 2 A until 9 V at the terminals.
    time = ride_through.hold_up_constant_current(0.1, 12.0, 9.0, 2.0, 0.2)
    run = solve_ivp(lambda _, v: [-2.0 / 0.1], (0.0, time), [12.0])
    assert run.y[0, -1] - 2.0 * 0.2 == pytest.approx(9.0, rel=1e-9)


@given(power=st.floats(0.1, 100.0), esr=st.floats(1e-3, 1.0))
def test_floor_is_where_the_power_ends(power: float, esr: float) -> None:
    floor = ride_through.voltage_floor(power, esr)
    assert floor**2 / (4.0 * esr) == pytest.approx(power, rel=1e-12)  # matched load
    assert ride_through.hold_up_power_with_esr(1.0, floor * 0.99, 0.0, power, esr) == 0.0


# --- electrolytics against published figures ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("rated", "dissipation", "at_25", "at_40"),
    [
        (6.3, 0.24, 4, 8), (10.0, 0.20, 3, 6), (16.0, 0.16, 2, 6), (25.0, 0.14, 2, 4), (35.0, 0.12, 2, 4),
        (50.0, 0.10, 2, 3),
    ],
)  # fmt: skip
def test_printed_points_come_back(rated: float, dissipation: float, at_25: float, at_40: float) -> None:
    # TWL series data sheet (en.eeworld.com 82903696): tan delta and impedance ratios by rated voltage.
    assert capacitor.dissipation_factor(rated, 1000e-6) == dissipation
    assert capacitor.impedance_ratio(rated, -25.0) == pytest.approx(at_25, rel=1e-12)
    assert capacitor.impedance_ratio(rated, -40.0) == pytest.approx(at_40, rel=1e-12)


def test_esr_of_ten_millifarad() -> None:
    # From the same data sheet: 10 mF, 25 V: (0.14 + 9 x 0.02) / (2 pi 120 Hz 10 mF) = 42 mohm beside 133 mohm of
    # reactance; twice that impedance at -25 and four times at -40 degC at most, less the reactance of the capacitance
    # there (80 and 65 %): sqrt(278^2 - 166^2) = 224, sqrt(557^2 - 204^2) = 518 mohm. Tolerance: half the last digit.
    circuit = [capacitor.capacitor_circuit(10e-3, 25.0, t) for t in (20.0, -25.0, -40.0)]
    for found, printed in zip(circuit, (42e-3, 224e-3, 518e-3), strict=True):
        assert found.esr == pytest.approx(printed, abs=0.5e-3)
    assert circuit[2].capacitance < circuit[1].capacitance < circuit[0].capacitance == 10e-3


def test_a_large_can_is_mostly_resistance_in_the_cold() -> None:
    # 47 mF, 25 V: 29.9 mohm beside 28.2 of reactance; sqrt(82.2^2 - 35.3^2) = 74 mohm at -25 degC
    assert capacitor.capacitor_circuit(47e-3, 25.0, -25.0).esr == pytest.approx(74e-3, abs=0.5e-3)


@given(
    capacitance=st.floats(100e-6, 1.0), rated=st.floats(6.3, 63.0), share=st.floats(0.01, 20.0),
    temperature=st.floats(-40.0, 20.0),
)  # fmt: skip
def test_cold_impedance_is_the_printed_ratio(
    capacitance: float, rated: float, share: float, temperature: float
) -> None:
    reactance = 1.0 / (2.0 * math.pi * 120.0 * capacitance)
    esr = share * reactance
    cold = capacitor.cold_esr(esr, capacitance, rated, temperature)
    assert cold >= esr
    there = math.hypot(cold, reactance / capacitor.capacitance_temperature_factor(temperature))
    assert there / math.hypot(esr, reactance) == pytest.approx(capacitor.impedance_ratio(rated, temperature), rel=1e-9)
    # a pure resistance rises by the ratio itself
    alone = capacitor.cold_esr(esr, 1e6, rated, temperature)
    assert alone == pytest.approx(esr * capacitor.impedance_ratio(rated, temperature), rel=1e-6)


def test_life_and_leakage() -> None:
    # Capacitor maker's primer (part 7): twice the life for each 10 K. 2000 h at 85 degC are 32 000 h at 45
    # degC.
    assert capacitor.lifetime(2000.0, 85.0, 45.0) == pytest.approx(32000.0)
    # TWL series: 0.002 C V or 0.4 uA; 1000 uF at 25 V: 50 uA. Large can: 3 sqrt(C V) uA: 22 mF at 40 V 2.8
    # mA.
    assert capacitor.leakage_current(1000e-6, 25.0, "low leakage") == pytest.approx(50e-6)
    assert capacitor.leakage_current(1e-6, 25.0, "low leakage") == pytest.approx(0.4e-6)
    assert capacitor.leakage_current(22e-3, 40.0, "large can") == pytest.approx(2.81e-3, rel=2e-3)


@pytest.mark.parametrize(("series", "values"), [
    ("E6", [1.0, 1.5, 2.2, 3.3, 4.7, 6.8]),
    ("E12", [1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2]),
])  # fmt: skip
def test_preferred_values(series: str, values: list[float]) -> None:
    # IEC 60063, table of preferred numbers.
    assert list(capacitor.e_series(series, 1.0, 9.9)) == values
    assert list(capacitor.e_series("E6", 4.7e-6, 22e-6)) == [4.7e-6, 6.8e-6, 10e-6, 15e-6, 22e-6]


@given(series=st.sampled_from(["E6", "E12", "E24"]), low=st.floats(1e-9, 1e3), factor=st.floats(1.0, 1e4))
def test_preferred_values_in_bounds(series: str, low: float, factor: float) -> None:
    values = list(capacitor.e_series(series, low, low * factor))
    assert values == sorted(set(values))
    assert all(low * (1 - 1e-8) <= v <= low * factor * (1 + 1e-8) for v in values)
    per_decade = {"E6": 6, "E12": 12, "E24": 24}[series]
    assert len(values) >= math.floor(math.log10(factor)) * per_decade
    assert set(capacitor.e_series("E6", 1.0, 9.0)) < set(capacitor.e_series("E24", 1.0, 9.0))


# --- electrolytics: laws
# --------------------------------------------------------------------------------------


@given(
    rated=st.floats(6.3, 63.0),
    warm=st.floats(-55.0, 100.0),
    step=st.floats(0.1, 50.0),
    age=st.floats(0.0, 1.0),
)
def test_colder_and_older_is_worse(rated: float, warm: float, step: float, age: float) -> None:
    here = capacitor.capacitor_circuit(4.7e-3, rated, warm, age)
    colder = capacitor.capacitor_circuit(4.7e-3, rated, warm - step, age)
    older = capacitor.capacitor_circuit(4.7e-3, rated, warm, 1.0)
    assert colder.esr >= here.esr * (1.0 - 1e-12)
    assert colder.capacitance <= here.capacitance * (1.0 + 1e-12)
    assert older.esr >= here.esr
    assert older.capacitance <= here.capacitance


def test_end_of_life_factors() -> None:
    assert capacitor.age_factors(0.0) == (1.0, 1.0)
    # IEC 60384-4, endurance (from memory): -20 % capacitance, loss factor doubled.
    assert capacitor.age_factors(1.0) == pytest.approx((0.8, 2.0))


@given(supply=VOLTAGES, held=st.floats(0.0, 60.0), capacitance=CAPACITANCES, resistance=st.floats(1e-3, 100.0))
def test_inrush_energy_balance(supply: float, held: float, capacitance: float, resistance: float) -> None:
    # Whatever the resistance, C dV^2 / 2 is lost in it: I2t x R.
    i2t = charging.inrush_i2t(supply, held, capacitance, resistance)
    step = max(supply - held, 0.0)
    assert i2t * resistance == pytest.approx(0.5 * capacitance * step**2, rel=1e-9, abs=1e-300)
    assert charging.inrush_peak(supply, held, resistance) == pytest.approx(step / resistance)


@given(capacitance=CAPACITANCES, resistance=st.floats(0.1, 1e5), share=st.floats(0.01, 0.99))
def test_charge_and_bleed_are_mirrors(capacitance: float, resistance: float, share: float) -> None:
    charge = charging.charge_time(14.4, 0.0, share * 14.4, capacitance, resistance)
    bleed = charging.bleed_time(capacitance, resistance, 14.4, (1.0 - share) * 14.4)
    assert charge == pytest.approx(bleed, rel=1e-9)
    if 0.05 < share < 0.95:
        found = charging.bleed_resistance(capacitance, 14.4, (1.0 - share) * 14.4, bleed)
        assert found == pytest.approx(resistance, rel=1e-9)
    assert math.isinf(charging.charge_time(14.0, 0.0, 14.0, capacitance, resistance))


def test_bleed_power() -> None:
    assert charging.bleed_power(14.4, 1000.0) == pytest.approx(0.20736)


# --- supercapacitors --------------------------------------------------------------------------------------


def test_charging_voltage_of_a_flooded_bank() -> None:
    # Data sheet of a deep-cycle flooded battery (J305P-AC, charging instructions): equalising charge 15.5 V
    # and 31.0 V.
    assert (supercapacitor.CHARGE_VOLTAGE_12, supercapacitor.CHARGE_VOLTAGE_24) == (15.5, 31.0)


def test_life_of_a_supercapacitor() -> None:
    # Supercapacitor maker's page (spscap.com, prediction of supercapacitor life): twice for each 10 K cooler, 1.3 times
    # for each 0.1 V lower.
    assert supercapacitor.lifetime(1000.0, 65.0, 65.0, 2.7, 2.7) == 1000.0
    assert supercapacitor.lifetime(1000.0, 65.0, 45.0, 2.7, 2.7) == pytest.approx(4000.0)
    assert supercapacitor.lifetime(1000.0, 65.0, 65.0, 2.7, 2.5) == pytest.approx(1690.0)
    assert supercapacitor.lifetime(1000.0, 65.0, 65.0, 2.7, 2.8) == pytest.approx(1000.0 / 1.3)


def test_six_cells_are_too_few() -> None:
    # 6 x 2.7 V = 16.2 V looks enough for 15.5 V, but with cells 10 % apart the smallest takes 3.05 V.
    share = supercapacitor.worst_cell_share_charging(6, 0.10)
    assert supercapacitor.cell_voltage_margin(2.7, 6, 15.5) > 0.0
    assert supercapacitor.cell_voltage_margin(2.7, 6, 15.5, share) < 0.0
    assert supercapacitor.cell_voltage_margin(2.7, 6, 14.4) > supercapacitor.cell_voltage_margin(2.7, 6, 15.5)
    assert supercapacitor.cells_needed(2.7, 15.5) == 7
    assert supercapacitor.cells_needed(2.7, 31.0) == 14


@given(cells=st.integers(1, 30), spread=st.floats(0.0, 0.5), voltage=VOLTAGES)
def test_charging_share_by_charge_balance(cells: int, spread: float, voltage: float) -> None:
    share = supercapacitor.worst_cell_share_charging(cells, spread)
    worst = share * voltage / cells
    others = (voltage - worst) / (cells - 1) if cells > 1 else worst
    # The same charge in all: C_small V_small = C_large V_large.
    assert (1.0 - spread) * worst == pytest.approx(
        (1.0 + spread) * others if cells > 1 else (1.0 - spread) * worst, rel=1e-9
    )
    assert 1.0 - 1e-12 <= share <= cells


@given(cells=st.integers(2, 20), resistance=st.floats(10.0, 1e4), spread=st.floats(0.0, 5e-3))
def test_balanced_share_by_node_equations(cells: int, resistance: float, spread: float) -> None:
    share = supercapacitor.worst_cell_share_balanced(cells, 15.5, resistance, spread, 0.05)
    worst = share * 15.5 / cells
    others = (15.5 - worst) / (cells - 1)
    string_current = worst / (1.05 * resistance)
    assert others / (0.95 * resistance) + spread == pytest.approx(string_current, rel=1e-9)


def test_charge_time_agrees_with_integration() -> None:
    time = supercapacitor.charge_time_constant_current(8.0, 0.2, 2.0, 14.0, 5.0, 1.0)
    run = solve_ivp(lambda _, v: [4.0 / 8.0], (0.0, time), [2.0])
    assert run.y[0, -1] + 4.0 * 0.2 == pytest.approx(14.0, rel=1e-9)
    assert math.isinf(supercapacitor.charge_time_constant_current(8.0, 0.2, 2.0, 14.0, 1.0, 1.0))


def test_capacitance_measurement_window() -> None:
    # IEC 62391-1 style test (murata.com EDLC FAQ 0005): U1 = 0.8, U2 = 0.4 U_R, C = I t / (U1 - U2). A 100 F
    # cell at 1 A between 2.16 and 1.08 V takes 108 s; our hold-up time with that C and no ESR step is the
    # same.
    assert ride_through.hold_up_constant_current(100.0, 0.8 * 2.7, 0.4 * 2.7, 1.0) == pytest.approx(108.0)


def test_string_at_end_of_life() -> None:
    # Makers' failure criteria (nanoramic.com FAQ, atomfair.com): capacitance -20 to -30 %, ESR +100 %.
    cell = CellSpec(100.0, 9e-3, 2.7, 0.26e-3)
    new, old = (supercapacitor.string_circuit(cell, 7, 20.0, age, 470.0) for age in (0.0, 1.0))
    assert 0.70 <= old.capacitance / new.capacitance <= 0.80
    links = 6 * supercapacitor.LINK_RESISTANCE
    assert (old.esr - links) / (new.esr - links) == pytest.approx(2.0)
    assert new.rated_voltage == pytest.approx(18.9)
    assert new.capacitance == pytest.approx(100.0 / 7.0)
    # Balancing and leakage together are the drain at rated voltage.
    drain = supercapacitor.balancing_drain(18.9, 7, 470.0) + cell.leakage
    assert 18.9 / new.leakage_resistance == pytest.approx(drain)


@given(cold=st.floats(-50.0, 80.0), step=st.floats(0.0, 50.0))
def test_esr_rises_in_the_cold(cold: float, step: float) -> None:
    assert supercapacitor.esr_temperature_factor(cold) >= supercapacitor.esr_temperature_factor(cold + step)
    assert supercapacitor.esr_temperature_factor(20.0) == 1.0


def test_power_limit_and_self_discharge() -> None:
    # IEC 62391-2 (from memory): 0.12 U^2 / R. 2.7 V and 9 mohm: 97 W.
    assert supercapacitor.power_limit(2.7, 9e-3) == pytest.approx(97.2)
    assert supercapacitor.discharge_time(10.0, 14.0, 10.0, 1e-3) == pytest.approx(40e3)
    assert math.isinf(supercapacitor.discharge_time(10.0, 14.0, 10.0, 0.0))


@pytest.mark.parametrize(
    "call",
    [
        lambda: list(capacitor.e_series("E7", 1.0, 2.0)),
        lambda: list(capacitor.e_series("E6", 2.0, 1.0)),
        lambda: capacitor.age_factors(1.1),
        lambda: capacitor.leakage_current(1e-3, 25.0, "best"),
        lambda: capacitor.capacitor_circuit(0.0, 25.0, 20.0),
        lambda: charging.inrush_peak(12.0, 0.0, 0.0),
        lambda: charging.bleed_resistance(1e-3, 1.0, 2.0, 1.0),
        lambda: ride_through.capacitance_for_constant_power(1.0, 9.0, 9.0, 1.0),
        lambda: capacitor.esr_from_dissipation(0.1, 0.0),
        lambda: CellSpec(0.0, 1e-3, 2.7, 0.0),
        lambda: supercapacitor.string_capacitance(1.0, 0),
        lambda: supercapacitor.worst_cell_share_charging(6, 1.0),
        lambda: supercapacitor.end_of_life_factors(-0.1),
        lambda: supercapacitor.cells_needed(0.0, 15.5),
    ],
)
def test_refusals(call: object) -> None:
    with pytest.raises(ValueError):
        call()  # type: ignore[operator]


@given(st.floats(5.0, 30.0), st.floats(1e-3, 100.0), st.floats(0.01, 1e3), st.floats(0.1, 100.0), st.floats(30.0, 1e6))
def test_time_to_ready_agrees_with_integration(
    voltage: float, capacitance: float, resistance: float, limit: float, leakage: float
) -> None:
    """The charge law in even steps of voltage; at the limit the leakage is left out, a percent of the current."""
    assume(leakage > 100.0 * max(resistance, voltage / limit))
    told = charging.time_to_ready(voltage, capacitance, resistance, leakage, limit)
    levels = np.linspace(0.0, 0.95 * voltage, 20_001)
    middle = 0.5 * (levels[1:] + levels[:-1])
    passed = np.minimum((voltage - middle) / resistance, limit)
    current = passed - np.where(passed < limit, middle / leakage, 0.0)
    assert told == pytest.approx(float(np.sum(capacitance * np.diff(levels) / current)), rel=1e-3)


def test_a_leaky_bank_is_never_ready() -> None:
    assert charging.time_to_ready(12.0, 1.0, 10.0, 150.0) == math.inf
    assert charging.time_to_ready(12.0, 1.0, 10.0) == pytest.approx(10.0 * math.log(20.0))
    with pytest.raises(ValueError, match="above zero"):
        charging.time_to_ready(12.0, 1.0, 0.0)
