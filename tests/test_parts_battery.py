# SPDX-License-Identifier: GPL-3.0-or-later
"""Battery: ratings by their tests, one rating against another, pulse currents, laws of state."""

from __future__ import annotations

import dataclasses
import math
from typing import get_args

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, least_squares

from cranksag.errors import InputError
from cranksag.parts import battery as b

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


def test_slow_part_is_the_least_squares_fit_of_the_two_fitted_models() -> None:
    def residuals(p: np.ndarray) -> np.ndarray:
        shape = 1.0 + p[0] * -np.expm1(-np.array(b.PULSE_TIMES) / p[1])
        rows = [np.array(b.PULSE_CURRENTS[k]) * shape / (b.PULSE_CURRENTS[k][-1] * shape[-1]) for k in b.PULSE_FITTED]
        return np.concatenate(rows) - 1.0

    share, time = least_squares(residuals, [1.0, 30.0], xtol=1e-12, ftol=1e-12, gtol=1e-12).x
    assert share == pytest.approx(b.SLOW_SHARE, abs=5e-4)  # last digit carried
    assert time == pytest.approx(b.TIME_SLOW, abs=0.02)


def test_polarisation_slopes_are_the_roots_they_claim(monkeypatch: pytest.MonkeyPatch) -> None:
    def ratio(slope: float, cold: float, warm: float) -> float:
        monkeypatch.setattr(b, "POLARISATION_SLOPES", {"anchored": slope})
        return b.resistance_temperature_ratio(cold, warm, 30.0)

    room = {t: b.open_circuit_voltage(1.0, t) - 7.2 for t in (-18.0, 0.0)}
    anchor = b.ANCHOR_PAIR[1] / b.ANCHOR_PAIR[0] * room[-18.0] / room[0.0]
    given_slopes = dict(b.POLARISATION_SLOPES)
    found = {
        "anchored": brentq(lambda s: ratio(s, -18.0, 0.0) - anchor, 1e-4, 0.1),
        "weak": brentq(lambda s: ratio(s, -18.0, 27.0) - b.WEAK_RATIO, 1e-4, 0.1),
        "strong": brentq(lambda s: ratio(s, -18.0, 27.0) - b.STRONG_RATIO, 1e-4, 0.1),
    }
    assert found == pytest.approx(given_slopes, abs=5e-6)  # last digit carried


# --- outside checks, nothing fitted -------------------------------------------------------------------------


def test_340_a_bs_is_540_a_sae() -> None:
    # One battery, two ratings: 340 A (BS 3911, 60 s, 8.4 V) = 540 A SAE, engine handbook TPD 1399E p. 29.
    # Ours 531 A, -1.6 %. Allowed 5 %: the flooded battery borrows its slow part from AGM pulses, whose own
    # scatter is 4.4 %.
    ours = b.predict_rating(340.0, "BS", "SAE")
    assert ours == pytest.approx(531.2, abs=0.5)
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
    # The other two temperature laws miss 490 = 630 by -8 % and +15 %: why the pair of ratings is the anchor.
    assert b.predict_rating(490.0, "SAE", "MCA", law="weak") / 630.0 == pytest.approx(0.919, abs=0.002)
    assert b.predict_rating(490.0, "SAE", "MCA", law="strong") / 630.0 == pytest.approx(1.154, abs=0.002)


@pytest.mark.parametrize("model", ["545", "625"])
def test_kept_back_pulse_currents(model: str) -> None:
    """Pulse currents of two AGM batteries that were not fitted, to 7.2 V at 25 degC (owner's manual p. 6).

    The scale is the model's own 30 s current; 5, 10 and 20 s are predicted. As found: 545 -3.4, -3.0, -0.3 %;
    625 -0.2, +4.4, +3.3 %. Allowed 5 %: the four models differ among themselves by 7 % in shape.
    """
    *published, last = b.PULSE_CURRENTS[model]
    # The 30 s pulse at 25 degC is a rating of its own: choose the SAE rating that gives it.
    per_ampere = unit(1.0, chemistry="agm", temperature=25.0)
    voltage = per_ampere.open_circuit_voltage
    rating = last * b.effective_resistance(per_ampere, 30.0) / (voltage - b.PULSE_VOLTAGE)
    circuit = unit(rating, chemistry="agm", temperature=25.0)
    assert b.terminal_voltage(circuit, last, 30.0) == pytest.approx(b.PULSE_VOLTAGE, abs=1e-9)
    ours = [(voltage - b.PULSE_VOLTAGE) / b.effective_resistance(circuit, t) for t in b.PULSE_TIMES[:-1]]
    expected = {"545": (-0.034, -0.030, -0.003), "625": (-0.002, 0.044, 0.033)}[model]
    assert [o / p - 1.0 for o, p in zip(ours, published, strict=True)] == pytest.approx(expected, abs=0.001)
    assert ours == pytest.approx(published, rel=0.05)


def test_resistance_grows_under_a_deep_pulse() -> None:
    # Same table: (12.84 - 7.2)/I grows 37 to 43 % from 5 to 30 s in the four models; ours 38.6 %. From 1 s
    # on, where nothing is printed, ours grows 53 %, and 73 % at -18 degC.
    published = [(i[0] / i[-1]) for i in b.PULSE_CURRENTS.values()]
    ours = b.resistance_shape(30.0, 25.0) / b.resistance_shape(5.0, 25.0)
    assert min(published) <= ours <= max(published)
    assert 1.3 < b.resistance_shape(30.0, 25.0) / b.resistance_shape(1.0, 25.0) < 1.7


def test_en_rating_is_close_to_sae_and_its_second_condition_binds() -> None:
    # "Almost identical" (e-catalog.co.uk). Ours EN = 0.926 SAE, bound by 6 V at 90 s; the 10 s condition
    # alone would put EN at 1.27 SAE, which nobody prints. 90 s lies beyond the fitted 30 s: allowed 10 %.
    assert b.predict_rating(1.0, "SAE", "EN") == pytest.approx(0.926, abs=0.001)
    assert b.predict_rating(1.0, "SAE", "EN") == pytest.approx(1.0, abs=0.10)
    assert b.predict_rating(1.0, "SAE", "EN 10 s") == pytest.approx(1.270, abs=0.001)


def test_din_rating_against_en() -> None:
    # "About 1.7 times smaller than EN" (e-catalog.co.uk). Ours 1.39, 18 % less: a miss. A straight resistance
    # makes SAE/DIN exactly (E - 7.2)/(E - 9.0) = 1.50; a real battery's polarisation is not a straight line.
    assert b.predict_rating(1.0, "DIN", "EN") == pytest.approx(1.389, abs=0.002)
    assert b.predict_rating(1.0, "DIN", "SAE") == pytest.approx(1.5, abs=0.003)


@pytest.mark.parametrize(
    ("temperature", "published", "ours"), [(0.0, 0.65, 0.686), (-18.0, 0.40, 0.528), (-29.0, 0.20, 0.448)]
)
def test_available_cranking_power(temperature: float, published: float, ours: float) -> None:
    """Available cranking power against 27 degC, TM 5-4210-230-14&P-1 p. 458, as E^2/R after 30 s.

    As found: +6 % at 0 degC, +32 % at -18, a factor of 2.2 at -29 degC: the table falls faster than any
    law that keeps the published pairs of ratings. The "strong" law carries its -18 degC row
    into the band.
    """

    def power(law: b.TemperatureLaw) -> float:
        squared = (b.open_circuit_voltage(1.0, temperature) / b.open_circuit_voltage(1.0, 27.0)) ** 2
        return squared / b.resistance_temperature_ratio(temperature, 27.0, 30.0, law)

    assert power("anchored") == pytest.approx(ours, abs=0.001)
    assert power("anchored") > published
    if temperature == -18.0:
        assert power("strong") == pytest.approx(published, abs=0.01)


def test_ratio_cold_over_warm() -> None:
    # Published R(-18)/R(27): 1.5 (nenpower.com), about 1.9 (from 490 = 630), 2.5 (cranking-power table).
    # Ours 1.50 for the first instant, 1.64 after 1 s, 1.88 after 30 s: the first two need not disagree.
    found = [b.resistance_temperature_ratio(-18.0, 27.0, t) for t in (0.0, 1.0, 30.0)]
    assert found == pytest.approx([1.463, 1.645, 1.878], abs=0.001)


LOAD_TEST_AS_FOUND = (0.441, 0.450, 0.472, 0.496, 0.500, 0.514, 0.522, 0.540)


def test_load_test_health_as_found() -> None:
    """Half-rating 15 s load test (car workshop manuals): health at which each limit is crossed.

    As found, for a full battery, the limits fail it at 44 % of its rating at 20 degC and at 54 % at -18 degC:
    harder on it when cold by a quarter. A sound battery passes each by 1.7 to 1.9 V.
    """
    rows = b.load_test_table()
    assert [r.health for r in rows] == pytest.approx(LOAD_TEST_AS_FOUND, abs=0.001)
    assert all(1.5 < r.voltage_at_full_health - r.limit < 1.95 for r in rows)
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
    assert b.effective_resistance(empty, time) >= b.effective_resistance(full, time)
    assert b.terminal_voltage(empty, rating / 2.0, time) <= b.terminal_voltage(full, rating / 2.0, time) + 1e-12


def test_empty_battery_has_40_percent_more() -> None:
    # +40 % full to empty, near-linear (nenpower.com, second hand).
    ratio = b.effective_resistance(unit(state_of_charge=0.0), 5.0) / b.effective_resistance(unit(), 5.0)
    assert ratio == pytest.approx(1.40, rel=1e-12)


@given(ratings, standards, chemistries, st.floats(0.1, 1.0))
def test_health_is_the_share_of_rated_current(
    rating: float, standard: str, chemistry: b.Chemistry, health: float
) -> None:
    temperature = b.RATING_TESTS[standard].temperature
    time, voltage = b.binding_point(standard, chemistry)
    worn = unit(rating, standard, chemistry=chemistry, health=health, temperature=temperature)
    assert b.terminal_voltage(worn, health * rating, time) == pytest.approx(voltage, abs=1e-9)


@given(ratings, st.floats(1.01, 3.0), standards, temperatures, times)
def test_resistance_falls_as_the_rating_rises(
    rating: float, more: float, standard: str, temperature: float, time: float
) -> None:
    small = b.effective_resistance(unit(rating, standard, temperature=temperature), time)
    large = b.effective_resistance(unit(rating * more, standard, temperature=temperature), time)
    assert small == pytest.approx(large * more, rel=1e-9)


@given(st.integers(1, 4), st.integers(1, 4), times, st.floats(0.0, 1e-2))
def test_bank_scaling(series: int, parallel: int, time: float, link: float) -> None:
    one = unit(800.0, temperature=5.0)
    bank = b.bank_circuit(
        "flooded", 800.0, "SAE", 70.0 * AMPERE_HOUR, 1.0, 1.0, 5.0, series, parallel, link_resistance=link
    )
    assert bank.open_circuit_voltage == pytest.approx(series * one.open_circuit_voltage)
    expected = (series * b.effective_resistance(one, time) + (series - 1) * link) / parallel
    assert b.effective_resistance(bank, time) == pytest.approx(expected, rel=1e-12)
    assert bank.capacity == pytest.approx(parallel * one.capacity)
    assert (bank.time_fast, bank.time_slow) == (one.time_fast, one.time_slow)


@given(temperatures, times, standards, chemistries)
def test_spread_contains_one(temperature: float, time: float, standard: str, chemistry: b.Chemistry) -> None:
    low, high = b.temperature_law_spread(temperature, time, standard, chemistry)
    assert 0.0 < low <= 1.0 <= high


def test_spread_closes_at_the_rating_test_and_opens_away_from_it() -> None:
    assert b.temperature_law_spread(-18.0, 30.0) == pytest.approx((1.0, 1.0), abs=1e-9)
    assert b.temperature_law_spread(0.0, 30.0, "MCA") == pytest.approx((1.0, 1.0), abs=1e-9)
    widths = [high - low for low, high in (b.temperature_law_spread(t, 30.0) for t in (-18.0, 0.0, 20.0, 40.0))]
    assert widths == sorted(widths)
    # At 25 degC after a second, the band on a battery rated by SAE is -24 to +24 %.
    assert b.temperature_law_spread(25.0, 1.0) == pytest.approx((0.758, 1.241), abs=0.001)


def test_analytic_voltage_against_the_differential_equation() -> None:
    circuit = unit(700.0, temperature=-5.0, state_of_charge=0.8)
    current = 300.0

    def slope(_: float, v: np.ndarray) -> list[float]:
        return [
            (current * circuit.resistance_fast - v[0]) / circuit.time_fast,
            (current * circuit.resistance_slow - v[1]) / circuit.time_slow,
        ]

    ends = [0.05, 0.5, 5.0, 30.0]
    solved = solve_ivp(slope, (0.0, 30.0), [0.0, 0.0], t_eval=ends, rtol=1e-10, atol=1e-12)
    for index, time in enumerate(ends):
        drop = current * circuit.resistance_instant + float(solved.y[:, index].sum())
        ours = b.terminal_voltage(circuit, current, time)
        assert ours == pytest.approx(circuit.open_circuit_voltage - drop, abs=1e-7)


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
        b.load_test_health(20.0, 13.0)


def test_circuit_is_frozen_data() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        unit().time_fast = 1.0  # type: ignore[misc]
