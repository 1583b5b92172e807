# SPDX-License-Identifier: GPL-3.0-or-later
"""Battery: ratings by their tests, one rating against another, pulse currents, laws of state."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from typing import get_args

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, least_squares

from cranksag.errors import InputError
from cranksag.parts import battery as b
from cranksag.parts.load_test import load_test_health, load_test_table

AMPERE_HOUR = 3600.0
CHEMISTRIES: tuple[b.Chemistry, ...] = get_args(b.Chemistry)

chemistries = st.sampled_from(CHEMISTRIES)
standards = st.sampled_from(sorted(b.RATING_TESTS))
laws = st.sampled_from(get_args(b.TemperatureLaw))
ratings = st.floats(50.0, 2000.0)
temperatures = st.floats(-40.0, 60.0)
shares = st.floats(0.0, 1.0)
times = st.floats(0.0, 120.0)


def unit(rating: float = 540.0, standard: str = "SAE", **fields: object) -> b.BatteryCircuit:
    return b.battery_circuit(rating, standard, capacity=70.0 * AMPERE_HOUR, **fields)  # type: ignore[arg-type]


# --- open-circuit voltage -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("state_of_charge", "published"), [(1.0, 12.65), (0.75, 12.45), (0.5, 12.24), (0.25, 12.06), (0.0, 11.89)]
)
def test_bci_table(state_of_charge: float, published: float) -> None:
    # BCI open-circuit table at 26.7 degC (discoverbattery.com): table lookup, exact.
    assert b.open_circuit_voltage(state_of_charge, 26.7) == pytest.approx(published, abs=1e-12)


def test_agm_full() -> None:
    # Thin-plate AGM owner's manual p. 6: 12.84 V or more when full at 25 degC.
    assert b.open_circuit_voltage(1.0, 25.0, "agm") == pytest.approx(12.84, abs=1e-12)
    # Spiral AGM maker: 12.6 to 12.8 V or 13.0 to 13.2 V by model; the value here sits between the two bands.
    assert 12.8 < b.open_circuit_voltage(1.0, 25.0, "agm") < 13.0


@pytest.mark.parametrize(
    ("chemistry", "published"),
    [
        # Owner's manual with an AGM battery, charging table (publications.polaris.com 0000836273).
        ("agm", {0.75: 12.6, 0.5: 12.3, 0.25: 12.0}),
        # Battery maker's table for flooded, gel and AGM (discover-energy.com, FAQ on full charge), gel column.
        ("gel", {0.75: 12.65, 0.5: 12.35, 0.25: 12.0, 0.0: 11.8}),
    ],
)
def test_sealed_batteries_at_rest_against_a_table_not_used(
    chemistry: b.Chemistry, published: dict[float, float]
) -> None:
    """0.05 V: the step of tables printed in steps of 0.05 and 0.1 V; they state no temperature, ours are taken."""
    temperature = {"agm": b.AGM_OCV_TEMPERATURE, "gel": b.OCV_TABLE_TEMPERATURE}[chemistry]
    for charge, volts in published.items():
        assert b.open_circuit_voltage(charge, temperature, chemistry) == pytest.approx(volts, abs=0.05 + 1e-9)


def test_voltage_at_zero_fahrenheit_misses_one_source() -> None:
    """Electronics magazine 2011-11 p. 35 prints 12.52 V at 0 degF; the emf slope gives 12.60 V, 0.08 V more.

    Kept: a battery at rest keeps its acid, so the emf slope holds, and 0.08 V moves a resistance taken from
    a rating by 1.5 % only. With the magazine's own slope, 3 mV/K, its figure comes back.
    """
    assert b.open_circuit_voltage(1.0, -17.8) - 12.52 == pytest.approx(0.077, abs=0.001)
    assert b.open_circuit_voltage(1.0, -17.8, slope=3.0e-3) == pytest.approx(12.52, abs=0.005)


@given(chemistries, shares, shares, temperatures)
def test_voltage_rises_with_charge(chemistry: b.Chemistry, one: float, other: float, temperature: float) -> None:
    low, high = sorted((one, other))
    v_low = b.open_circuit_voltage(low, temperature, chemistry)
    v_high = b.open_circuit_voltage(high, temperature, chemistry)
    assert v_low <= v_high
    # 0.68 V per full charge at least, from the flattest segment of the table (0.17 V in a quarter)
    assert v_high - v_low >= 0.67 * (high - low) - 1e-12


@given(chemistries, shares, temperatures, st.floats(0.1, 20.0))
def test_voltage_rises_with_temperature(
    chemistry: b.Chemistry, charge: float, temperature: float, warmer: float
) -> None:
    rise = b.open_circuit_voltage(charge, temperature + warmer, chemistry)
    rise -= b.open_circuit_voltage(charge, temperature, chemistry)
    assert rise == pytest.approx(b.EMF_SLOPE * warmer, abs=1e-12)


# --- a rating comes back (circular, but it pins every test's figures) ---------------------------------------


@pytest.mark.parametrize(
    ("standard", "temperature", "time", "voltage"),
    [
        ("SAE", -18.0, 30.0, 7.2),
        ("MCA", 0.0, 30.0, 7.2),
        ("DIN", -18.0, 30.0, 9.0),
        ("BS", -18.0, 60.0, 8.4),
        ("EN 10 s", -18.0, 10.0, 7.5),
        ("EN", -18.0, 90.0, 6.0),
        ("EN2", -18.0, 150.0, 6.0),
    ],
)
@pytest.mark.parametrize("chemistry", CHEMISTRIES)
@pytest.mark.parametrize("law", get_args(b.TemperatureLaw))
def test_rated_current_meets_its_test_exactly(
    standard: str,
    temperature: float,
    time: float,
    voltage: float,
    chemistry: b.Chemistry,
    law: b.TemperatureLaw,
) -> None:
    # SAE J537, EN 50342-1, DIN 43539-2, BS 3911, MCA: conditions as printed by battery makers.
    circuit = unit(600.0, standard, chemistry=chemistry, temperature=temperature, law=law)
    assert b.terminal_voltage(circuit, 600.0, time) == pytest.approx(voltage, abs=1e-9)
    assert b.binding_point(standard, chemistry, law) == (time, voltage)


@given(ratings, standards, chemistries, laws)
def test_every_condition_of_a_test_is_kept(
    rating: float, standard: str, chemistry: b.Chemistry, law: b.TemperatureLaw
) -> None:
    test = b.RATING_TESTS[standard]
    circuit = unit(rating, standard, chemistry=chemistry, temperature=test.temperature, law=law)
    for time, voltage in test.points:
        assert b.terminal_voltage(circuit, rating, time) >= voltage - 1e-9


@given(ratings, standards, standards, chemistries, laws)
def test_prediction_round_trip_and_proportion(
    rating: float, one: str, other: str, chemistry: b.Chemistry, law: b.TemperatureLaw
) -> None:
    there = b.predict_rating(rating, one, other, chemistry, law)
    assert b.predict_rating(there, other, one, chemistry, law) == pytest.approx(rating, rel=1e-9)
    assert b.predict_rating(2.0 * rating, one, other, chemistry, law) == pytest.approx(2.0 * there, rel=1e-9)
    assert b.predict_rating(rating, one, one, chemistry, law) == pytest.approx(rating, rel=1e-12)


# --- how the constants were found ---------------------------------------------------------------------------


def test_slow_part_is_the_least_squares_fit_of_the_two_fitted_models(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each model's size is taken from its own 30 s current; charge transfer and its scale come along as they are."""

    def residuals(p: np.ndarray) -> np.ndarray:
        monkeypatch.setattr(b, "SLOW_SHARE", float(p[0]))
        monkeypatch.setattr(b, "TIME_SLOW", float(p[1]))
        one = b.battery_circuit(1.0, capacity=1.0, chemistry="agm", temperature=b.PULSE_TEMPERATURE)
        *ours, last = (b.discharge_current(one, b.PULSE_VOLTAGE, t) for t in b.PULSE_TIMES)
        rows = [np.array(b.PULSE_CURRENTS[k]) for k in b.PULSE_FITTED]
        return np.concatenate([row[:-1] / row[-1] * last / np.array(ours) - 1.0 for row in rows])

    given_values = b.SLOW_SHARE, b.TIME_SLOW
    share, time = least_squares(residuals, [1.0, 30.0], xtol=1e-12, ftol=1e-12, gtol=1e-12).x
    assert (share, time) == pytest.approx(given_values, rel=3e-4)  # last digit carried


def test_polarisation_slopes_are_the_roots_they_claim(monkeypatch: pytest.MonkeyPatch) -> None:
    given_slopes = dict(b.POLARISATION_SLOPES)

    def root(law: b.TemperatureLaw, value: Callable[[], float], wanted: float) -> float:
        def miss(slope: float) -> float:
            monkeypatch.setattr(b, "POLARISATION_SLOPES", given_slopes | {law: slope})
            return value() - wanted

        return float(brentq(miss, 1e-4, 0.1))

    def power(temperature: float) -> float:
        return b.greatest_power(b.battery_circuit(1.0, capacity=1.0, temperature=temperature, law="strong"), 30.0)

    cold, warm = b.ANCHOR_PAIR
    found = {
        "anchored": root("anchored", lambda: b.predict_rating(cold, "SAE", "MCA"), warm),
        "weak": root("weak", lambda: b.resistance_temperature_ratio(-18.0, 27.0, 30.0, "weak"), b.WEAK_RATIO),
        "strong": root("strong", lambda: power(-18.0) / power(27.0), b.STRONG_POWER),
    }
    assert found == pytest.approx(given_slopes, abs=1e-6)  # last digit carried


def test_kinetics_are_those_of_the_published_battery() -> None:
    """17 Ah: both electrodes' own laws in series against the one law, from a tenth of the capacity to thirty times it.

    Exchange currents 7.36 and 6.82 A; 1 % of the drop for putting their geometric mean in place of both.
    """
    one = b.battery_circuit(17.0 * b.RATING_PER_CAPACITY, capacity=1.0, temperature=b.KINETICS_TEMPERATURE)
    thermal = 8.31446 * 294.85 / 96485.3
    exchange = [j0 * a * d * 8 * 0.114 * 0.065 for j0, a, d in ((0.06, 2.3e6, 0.9e-3), (0.004, 2.3e7, 1.25e-3))]
    assert exchange == pytest.approx([7.36, 6.82], abs=0.01)
    for current in (1.7, 17.0, 51.0, 170.0, 510.0):
        pair = sum(6 * thermal * math.asinh(current / (2.0 * e)) for e in exchange)
        resistive = current * (one.resistance_instant + one.resistance_slow)
        assert b.voltage_drop(one, current, math.inf) - resistive == pytest.approx(pair, rel=0.01)
    # zero-current time constant: R T / (F 2 I0) times 0.2 F/m2 of inner surface, weighted by resistance
    ohm = [thermal / (2.0 * e) for e in exchange]
    layer = [0.2 * a * d * 8 * 0.114 * 0.065 for a, d in ((2.3e6, 0.9e-3), (2.3e7, 1.25e-3))]
    mean = sum(r * r * c for r, c in zip(ohm, layer, strict=True)) / sum(ohm)
    assert one.activation_voltage / one.activation_current * one.activation_capacitance == pytest.approx(mean, rel=1e-6)
    assert mean == pytest.approx(0.35, abs=0.01)


# --- outside checks, nothing fitted -------------------------------------------------------------------------


def test_340_a_bs_is_540_a_sae() -> None:
    # One battery, two ratings: 340 A (BS 3911, 60 s, 8.4 V) = 540 A SAE, engine handbook TPD 1399E p. 29.
    # Ours 565 A, +4.7 %. Allowed 5 %: the flooded battery borrows its slow part from AGM pulses, whose own
    # scatter is 4.4 %.
    ours = b.predict_rating(340.0, "BS", "SAE")
    assert ours == pytest.approx(565.4, abs=0.5)
    assert ours == pytest.approx(540.0, rel=0.05)


@pytest.mark.parametrize(
    ("cold", "published", "ours"), [(490.0, 630.0, 637.0), (512.0, 675.0, 665.6), (800.0, 1000.0, 1040.0)]
)
def test_rating_at_minus_18_predicts_rating_at_0(cold: float, published: float, ours: float) -> None:
    # 490 = 630 outboard manual 90-883728 p. 2B-21; 512 = 675 fairwindsmarina.com; 800 = 1000
    # continuouswave.com thread 001257. Ratings are round figures: published ratios run from 1.25 to 1.32, the
    # anchor's is 1.30. Ours +1.1 %, -1.4 %, +4.0 %; allowed 4.5 %.
    predicted = b.predict_rating(cold, "SAE", "MCA")
    assert predicted == pytest.approx(ours, abs=0.5)
    assert predicted == pytest.approx(published, rel=0.045)


def test_weak_and_strong_laws_do_not_fit_the_rating_pair() -> None:
    # The other two temperature laws miss 490 = 630 by -5 % and +16 %: why the pair of ratings is the anchor.
    assert b.predict_rating(490.0, "SAE", "MCA", law="weak") / 630.0 == pytest.approx(0.946, abs=0.002)
    assert b.predict_rating(490.0, "SAE", "MCA", law="strong") / 630.0 == pytest.approx(1.159, abs=0.002)


@pytest.mark.parametrize("model", ["545", "625"])
def test_kept_back_pulse_currents(model: str) -> None:
    """Pulse currents of two AGM batteries that were not fitted, to 7.2 V at 25 degC (owner's manual p. 6).

    The scale is the model's own 30 s current; 5, 10 and 20 s are predicted. As found: 545 -3.4, -3.0, -0.3 %;
    625 -0.2, +4.4, +3.3 %. Allowed 5 %: the four models differ among themselves by 7 % in shape.
    """
    *published, last = b.PULSE_CURRENTS[model]
    # The 30 s pulse at 25 degC is a rating of its own: choose the SAE rating that gives it.
    per_ampere = unit(1.0, chemistry="agm", temperature=25.0)
    rating = last / b.discharge_current(per_ampere, b.PULSE_VOLTAGE, 30.0)
    circuit = unit(rating, chemistry="agm", temperature=25.0)
    assert b.terminal_voltage(circuit, last, 30.0) == pytest.approx(b.PULSE_VOLTAGE, abs=1e-9)
    ours = [b.discharge_current(circuit, b.PULSE_VOLTAGE, t) for t in b.PULSE_TIMES[:-1]]
    expected = {"545": (-0.034, -0.030, -0.003), "625": (-0.002, 0.044, 0.033)}[model]
    assert [o / p - 1.0 for o, p in zip(ours, published, strict=True)] == pytest.approx(expected, abs=0.001)
    assert ours == pytest.approx(published, rel=0.05)


def test_resistance_grows_under_a_deep_pulse() -> None:
    # Same table: (12.84 - 7.2)/I grows 37 to 43 % from 5 to 30 s in the four models; ours 38.6 %.
    published = [(i[0] / i[-1]) for i in b.PULSE_CURRENTS.values()]
    one = unit(1.0, chemistry="agm", temperature=25.0)
    first, last = (b.discharge_current(one, b.PULSE_VOLTAGE, t) for t in (5.0, 30.0))
    assert min(published) <= first / last <= max(published)


def test_en_rating_is_close_to_sae_and_its_second_condition_binds() -> None:
    # "Almost identical" (e-catalog.co.uk). Ours EN = 0.923 SAE, bound by 6 V at 90 s; the 10 s condition
    # alone would put EN at 1.31 SAE, which nobody prints. 90 s lies beyond the fitted 30 s: allowed 10 %.
    assert b.predict_rating(1.0, "SAE", "EN") == pytest.approx(0.923, abs=0.001)
    assert b.predict_rating(1.0, "SAE", "EN") == pytest.approx(1.0, abs=0.10)
    assert b.predict_rating(1.0, "SAE", "EN 10 s") == pytest.approx(1.307, abs=0.001)


def test_din_rating_against_en() -> None:
    # "About 1.7 times smaller than EN" (e-catalog.co.uk). Ours 1.50, 12 % less: a miss. A straight resistance would
    # make SAE/DIN exactly (E - 7.2)/(E - 9.0) = 1.50 and EN/DIN 1.39; charge transfer makes them 1.62 and 1.50.
    assert b.predict_rating(1.0, "DIN", "EN") == pytest.approx(1.497, abs=0.002)
    assert b.predict_rating(1.0, "DIN", "SAE") == pytest.approx(1.622, abs=0.002)


@pytest.mark.parametrize(
    ("temperature", "published", "ours"), [(0.0, 0.65, 0.690), (-18.0, 0.40, 0.531), (-29.0, 0.20, 0.450)]
)
def test_available_cranking_power(temperature: float, published: float, ours: float) -> None:
    """Available cranking power against 27 degC, TM 5-4210-230-14&P-1 p. 458: greatest power after 30 s.

    As found: +6 % at 0 degC, +33 % at -18, a factor of 2.2 at -29 degC: the table falls faster than any
    law that keeps the published pairs of ratings. The "strong" law carries its -18 degC row
    into the band.
    """

    def power(law: b.TemperatureLaw) -> float:
        cold, warm = (b.greatest_power(unit(temperature=t, law=law), 30.0) for t in (temperature, 27.0))
        return cold / warm

    assert power("anchored") == pytest.approx(ours, abs=0.001)
    assert power("anchored") > published
    if temperature == -18.0:
        assert power("strong") == pytest.approx(published, abs=0.01)


def test_ratio_cold_over_warm() -> None:
    # Published R(-18)/R(27): 1.5 (nenpower.com), about 1.9 (from 490 = 630), 2.5 (cranking-power table).
    # Ours at the SAE current 1.46 for the first instant, 1.38 after 1 s, 1.69 after 30 s: charge transfer, which the
    # cold hardly raises at such currents, pulls the ratio down.
    found = [b.resistance_temperature_ratio(-18.0, 27.0, t) for t in (0.0, 1.0, 30.0)]
    assert found == pytest.approx([1.463, 1.380, 1.691], abs=0.001)


LOAD_TEST_AS_FOUND = (0.499, 0.504, 0.523, 0.544, 0.540, 0.545, 0.546, 0.556)


def test_load_test_health_as_found() -> None:
    """Half-rating 15 s load test (car workshop manuals): health at which each limit is crossed.

    As found, for a full battery, the limits fail it at 50 % of its rating at 20 degC and at 56 % at -18 degC: hardly
    harder on it when cold. A sound battery passes each by 1.3 to 1.5 V.
    """
    rows = load_test_table()
    assert [r.health for r in rows] == pytest.approx(LOAD_TEST_AS_FOUND, abs=0.001)
    assert all(1.2 < r.voltage_at_full_health - r.limit < 1.55 for r in rows)
    for row in rows:
        circuit = unit(540.0, health=row.health, temperature=row.temperature)
        assert b.terminal_voltage(circuit, 270.0, 15.0) == pytest.approx(row.limit, abs=1e-9)


# --- laws ---------------------------------------------------------------------------------------------------


@given(times, temperatures, st.floats(0.1, 20.0), laws)
def test_colder_means_more_resistance(time: float, temperature: float, warmer: float, law: b.TemperatureLaw) -> None:
    assert b.resistance_shape(time, temperature, law) > b.resistance_shape(time, temperature + warmer, law)


@given(ratings, chemistries, shares, shares, temperatures, times)
def test_emptier_means_more_resistance_and_less_voltage(
    rating: float, chemistry: b.Chemistry, one: float, other: float, temperature: float, time: float
) -> None:
    low, high = sorted((one, other))
    fields = {"chemistry": chemistry, "temperature": temperature}
    empty = unit(rating, state_of_charge=low, **fields)
    full = unit(rating, state_of_charge=high, **fields)
    assert b.voltage_drop(empty, rating / 2.0, time) >= b.voltage_drop(full, rating / 2.0, time) - 1e-12
    assert b.terminal_voltage(empty, rating / 2.0, time) <= b.terminal_voltage(full, rating / 2.0, time) + 1e-12


def test_empty_battery_has_40_percent_more() -> None:
    # +40 % full to empty, near-linear (nenpower.com, second hand): of every resistance, at no current.
    empty, full = unit(state_of_charge=0.0), unit()
    for resistance in (
        lambda c: c.resistance_instant,
        lambda c: c.resistance_slow,
        lambda c: c.activation_voltage / c.activation_current,
    ):
        assert resistance(empty) / resistance(full) == pytest.approx(1.40, rel=1e-12)


@given(ratings, standards, chemistries, st.floats(0.1, 1.0))
def test_health_is_the_share_of_rated_current(
    rating: float, standard: str, chemistry: b.Chemistry, health: float
) -> None:
    temperature = b.RATING_TESTS[standard].temperature
    time, voltage = b.binding_point(standard, chemistry)
    worn = unit(rating, standard, chemistry=chemistry, health=health, temperature=temperature)
    assert b.terminal_voltage(worn, health * rating, time) == pytest.approx(voltage, abs=1e-9)


@given(ratings, st.floats(1.01, 3.0), standards, temperatures, times, st.floats(0.0, 3.0))
def test_a_larger_battery_has_the_same_voltage_at_proportionally_more_current(
    rating: float, more: float, standard: str, temperature: float, time: float, share: float
) -> None:
    small = b.voltage_drop(unit(rating, standard, temperature=temperature), share * rating, time)
    large = b.voltage_drop(unit(rating * more, standard, temperature=temperature), share * rating * more, time)
    assert small == pytest.approx(large, rel=1e-9, abs=1e-12)


@given(st.integers(1, 4), st.integers(1, 4), times, st.floats(0.0, 1e-2))
def test_bank_scaling(series: int, parallel: int, time: float, link: float) -> None:
    one = unit(800.0, temperature=5.0)
    bank = b.bank_circuit(
        "flooded", 800.0, "SAE", 70.0 * AMPERE_HOUR, 1.0, 1.0, 5.0, series, parallel, link_resistance=link
    )
    assert bank.open_circuit_voltage == pytest.approx(series * one.open_circuit_voltage)
    for current in (1.0, 100.0, 1000.0):
        links = (series - 1) * link * current
        expected = series * b.voltage_drop(one, current, time) + links
        assert b.voltage_drop(bank, parallel * current, time) == pytest.approx(expected, rel=1e-12)
        # batteries of another size are joined by the same cables
        other = series * b.voltage_drop(one, 2.0 * current, time) + links
        assert b.voltage_drop(b.scaled(bank, 2.0), parallel * current, time) == pytest.approx(other, rel=1e-12)
    assert bank.capacity == pytest.approx(parallel * one.capacity)
    assert bank.time_slow == one.time_slow


@given(temperatures, times, standards, chemistries)
def test_spread_contains_one(temperature: float, time: float, standard: str, chemistry: b.Chemistry) -> None:
    low, high = b.temperature_law_spread(temperature, time, standard, chemistry)
    assert 0.0 < low <= 1.0 <= high


def test_spread_closes_at_the_rating_test_and_opens_away_from_it() -> None:
    assert b.temperature_law_spread(-18.0, 30.0, load=1.0) == pytest.approx((1.0, 1.0), abs=1e-9)
    assert b.temperature_law_spread(0.0, 30.0, "MCA", load=1.0) == pytest.approx((1.0, 1.0), abs=1e-9)
    widths = [high - low for low, high in (b.temperature_law_spread(t, 30.0) for t in (-18.0, 0.0, 20.0, 40.0))]
    assert widths == sorted(widths)
    # At 25 degC after a second, the band on a battery rated by SAE is -19 to +13 %.
    assert b.temperature_law_spread(25.0, 1.0) == pytest.approx((0.812, 1.126), abs=0.001)


@given(temperatures, times.filter(lambda t: t > 0.01), standards, chemistries, st.floats(0.1, 2.0))
def test_the_spread_gives_the_other_laws_voltage(
    temperature: float, time: float, standard: str, chemistry: b.Chemistry, load: float
) -> None:
    bounds = b.temperature_law_spread(temperature, time, standard, chemistry, load)
    fields = {"chemistry": chemistry, "temperature": temperature}
    ours = [b.voltage_drop(b.scaled(unit(1.0, standard, **fields), f), load, time) for f in bounds]
    by_law = [unit(1.0, standard, law=law, **fields) for law in get_args(b.TemperatureLaw)]
    laws_say = [b.voltage_drop(battery, load, time) for battery in by_law]
    assert ours == pytest.approx([min(laws_say), max(laws_say)], rel=1e-9)


@pytest.mark.parametrize("current", [-300.0, 5.0, 60.0, 300.0, 1500.0])
def test_analytic_voltage_against_the_differential_equation(current: float) -> None:
    circuit = unit(700.0, temperature=-5.0, state_of_charge=0.8)

    def slope(_: float, v: np.ndarray) -> list[float]:
        leaking = circuit.activation_current * math.sinh(v[0] / circuit.activation_voltage)
        return [
            (current - leaking) / circuit.activation_capacitance,
            (current * circuit.resistance_slow - v[1]) / circuit.time_slow,
        ]

    ends = [0.005, 0.05, 0.5, 5.0, 30.0]
    solved = solve_ivp(slope, (0.0, 30.0), [0.0, 0.0], t_eval=ends, rtol=1e-10, atol=1e-12, method="LSODA")
    for index, time in enumerate(ends):
        drop = current * circuit.resistance_instant + float(solved.y[:, index].sum())
        ours = b.terminal_voltage(circuit, current, time)
        assert ours == pytest.approx(circuit.open_circuit_voltage - drop, abs=1e-7)


currents = st.floats(0.0, 5000.0)


def test_surface_charge_stands_on_the_published_double_layer() -> None:
    """0.2 F/m2 on 2.3e7 1/m, 1.25 mm and 593 cm2 of positive plates: 341 F to each cell of a 17 Ah battery."""
    unit = b.battery_circuit(17.0 * b.RATING_PER_CAPACITY, capacity=17.0 * b.COULOMB_PER_AMPERE_HOUR)
    assert unit.surface_capacitance * b.CELLS == pytest.approx(0.2 * 2.3e7 * 1.25e-3 * 8 * 0.114 * 0.065, rel=1e-9)
    assert unit.surface_voltage == 0.0


@given(ratings, temperatures, times, st.floats(1.0, 2000.0), st.floats(0.0, 1.0))
def test_surface_charge_goes_with_the_charge_drawn(
    rating: float, temperature: float, time: float, current: float, above: float
) -> None:
    """From a higher rest voltage the battery comes down to the full battery's, never below it."""
    full = b.battery_circuit(rating, capacity=3.6e5, temperature=temperature)
    charged = b.charged_above_full(full, full.open_circuit_voltage + above, full.open_circuit_voltage)
    extra = b.terminal_voltage(charged, current, time) - b.terminal_voltage(full, current, time)
    left = max(0.0, above - current * time / full.surface_capacitance)
    assert extra == pytest.approx(left, abs=1e-9)


def test_a_rest_voltage_below_a_full_batterys_is_no_surface_charge() -> None:
    full = b.battery_circuit(600.0, capacity=3.6e5)
    assert b.charged_above_full(full, 12.4, 12.65).surface_voltage == 0.0
    assert b.charged_above_full(full, 12.4, 12.65).open_circuit_voltage == 12.4


@given(ratings, temperatures, times, currents, st.floats(1e-3, 500.0))
def test_the_drop_rises_with_the_current_and_never_faster_than_at_none(
    rating: float, temperature: float, time: float, current: float, more: float
) -> None:
    """Strictly rising, odd, bending down: between the resistances alone and those with the zero-current slope."""
    circuit = unit(rating, temperature=temperature)
    low, high = (b.voltage_drop(circuit, i, time) for i in (current, current + more))
    resistive = more * (circuit.resistance_instant - circuit.resistance_slow * math.expm1(-time / circuit.time_slow))
    steepest = resistive + more * circuit.activation_voltage / circuit.activation_current
    assert resistive * (1.0 - 1e-9) - 1e-12 <= high - low <= steepest * (1.0 + 1e-9) + 1e-12
    assert b.voltage_drop(circuit, -current, time) == -low


@given(ratings, temperatures, times, st.floats(1.0, 2000.0))
def test_charge_transfer_fades_to_the_straight_battery(
    rating: float, temperature: float, time: float, current: float
) -> None:
    """V_a towards nothing leaves the resistances; so does a large current for the slope."""
    circuit = unit(rating, temperature=temperature)
    straight = circuit.resistance_instant - circuit.resistance_slow * math.expm1(-time / circuit.time_slow)
    faint = dataclasses.replace(circuit, activation_voltage=1e-9)
    assert b.voltage_drop(faint, current, time) == pytest.approx(current * straight, abs=1e-6)
    far = 1e5 * circuit.activation_current
    slope = (b.voltage_drop(circuit, far * 1.001, math.inf) - b.voltage_drop(circuit, far, math.inf)) / (0.001 * far)
    assert slope == pytest.approx(circuit.resistance_instant + circuit.resistance_slow, rel=1e-3)


@given(ratings, temperatures, st.floats(0.05, 90.0), st.floats(0.0, 11.9))
def test_a_current_found_from_a_voltage_gives_it_back(
    rating: float, temperature: float, time: float, voltage: float
) -> None:
    circuit = unit(rating, temperature=temperature)
    current = b.discharge_current(circuit, voltage, time)
    assert b.terminal_voltage(circuit, current, time) == pytest.approx(voltage, abs=1e-9)
    top = b.greatest_power(circuit, time)
    assert top >= voltage * current * (1.0 - 1e-9)


def test_several_tenths_of_a_volt_at_a_moderate_current() -> None:
    """Charge transfer of a 540 A battery at 25 degC, as found: 0.23 V at 50 A, 0.58 V at 200 A, 0.88 V at 540 A."""
    circuit = unit(540.0, temperature=25.0)
    ohm = circuit.resistance_instant + circuit.resistance_slow
    found = [b.voltage_drop(circuit, i, math.inf) - i * ohm for i in (50.0, 200.0, 540.0)]
    assert found == pytest.approx([0.226, 0.579, 0.879], abs=0.001)


# --- estimates and refusals ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("capacity", "rating"), [(70.0, 540.0), (88.0, 700.0)])
def test_rating_estimated_from_capacity(capacity: float, rating: float) -> None:
    # Batteries named for two small diesels (Volvo Penta D1/D2 manual p. 38); the factor is their mean: 2 %.
    assert b.estimate_rating(capacity * AMPERE_HOUR) == pytest.approx(rating, rel=0.02)
    bank = b.bank_circuit("flooded", None, "DIN", capacity * AMPERE_HOUR, 1.0, 1.0, 20.0)
    named = b.bank_circuit(
        "flooded", b.estimate_rating(capacity * AMPERE_HOUR), "SAE", capacity * AMPERE_HOUR, 1.0, 1.0, 20.0
    )
    assert bank == named


def test_mass() -> None:
    # 74 Ah flooded, 16.6 kg (maker's data sheet, 2023); the factor comes from it: this pins the unit.
    assert b.battery_mass(74.0 * AMPERE_HOUR) == pytest.approx(16.6, rel=0.01)
    # Thin-plate AGM, 104 Ah: 34.1 kg (novapart.co PC2150S). Ours 29.1 kg, -15 %: a miss; pure-lead
    # thin-plate batteries are heavier than the AGM factor says.
    assert b.battery_mass(104.0 * AMPERE_HOUR, "agm") == pytest.approx(29.1, abs=0.1)
    assert b.battery_mass(104.0 * AMPERE_HOUR, "agm", 2, 3) == pytest.approx(6 * 29.12, rel=1e-9)


@pytest.mark.parametrize(
    "fields",
    [
        {"temperature": -41.0},
        {"temperature": math.nan},
        {"state_of_charge": 1.01},
        {"state_of_charge": math.nan},
        {"health": 0.0},
        {"health": math.nan},
        {"chemistry": "lithium"},
    ],
)
def test_refused_state(fields: dict[str, object]) -> None:
    with pytest.raises(InputError):
        unit(**fields)


def test_refusals_name_every_problem() -> None:
    with pytest.raises(InputError) as caught:
        unit(temperature=200.0, state_of_charge=2.0, health=-1.0, chemistry="lithium")
    assert len(caught.value.problems) == 4
    for rating in (0.0, -1.0, math.nan, math.inf):
        with pytest.raises(InputError):
            b.rating_resistance(rating)
    with pytest.raises(InputError):
        b.rating_resistance(500.0, "JIS")
    with pytest.raises(InputError):
        b.battery_circuit(500.0, capacity=0.0)
    with pytest.raises(InputError):
        b.bank_circuit("flooded", 500.0, "SAE", 1.0, 1.0, 1.0, 20.0, in_series=0)
    with pytest.raises(InputError):
        b.resistance_shape(-1.0, 20.0)
    with pytest.raises(InputError):
        load_test_health(20.0, 13.0)
    with pytest.raises(InputError):
        b.discharge_current(unit(), 13.0, 1.0)


def test_circuit_is_frozen_data() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        unit().time_slow = 1.0  # type: ignore[misc]
