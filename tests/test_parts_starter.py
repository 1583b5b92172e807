# SPDX-License-Identifier: GPL-3.0-or-later
"""Starter: laws first, then published machines by value, misses named one by one."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from cranksag.errors import InputError
from cranksag.parts.starter import (
    PERMANENT_MAGNET_FAMILY,
    PUBLISHED_FAMILY,
    RPM,
    MotorCircuit,
    MotorKind,
    StarterFamily,
    copper_resistance,
    field_constant,
    from_rating,
    locked_torque,
    motor_at_temperature,
    motor_with_source,
    power_balance,
    running_torque,
    scaled_reference,
    stall_current,
    steady_state,
)
from cranksag.parts.starter_bench import BenchPoint, classify_points, point_errors
from cranksag.parts.starter_fit import (
    FAMILY_PRIOR,
    LOADED_RATING_SHARE,
    MAGNET_PARAMETERS,
    PARAMETERS,
    SPREAD_PRIOR,
    estimate_family,
    fit_points,
)
from cranksag.parts.starter_published import PUBLISHED_STARTERS, PublishedStarter

RATINGS = st.floats(400.0, 9000.0)  # [W]
VOLTAGES = st.sampled_from([12.0, 24.0])  # [V]
KINDS = st.sampled_from(["series", "permanent magnet"])
MACHINES = st.builds(from_rating, RATINGS, VOLTAGES, KINDS)


# --- laws ------------------------------------------------------------------------------------------------


@given(motor=MACHINES, share=st.floats(0.02, 0.98), drop=st.floats(0.3, 1.0))
def test_power_in_is_power_out(motor: MotorCircuit, share: float, drop: float) -> None:
    voltage = 12.0 * drop
    current = share * stall_current(motor, voltage)
    amperes, speed, torque = steady_state(motor, voltage, current=current)
    power = power_balance(motor, amperes, speed)
    assert power["electrical"] == pytest.approx(voltage * amperes, rel=1e-9)
    parts = sum(value for name, value in power.items() if name != "electrical")
    assert parts == pytest.approx(power["electrical"], rel=1e-9)
    assert power["shaft"] == pytest.approx(torque * speed, rel=1e-9, abs=1e-6)
    assert min(power["copper"], power["brushes"], power["gear"], power["friction"]) >= 0.0


@given(motor=MACHINES, share=st.floats(0.1, 0.95))
def test_the_three_questions_have_one_answer(motor: MotorCircuit, share: float) -> None:
    voltage = 10.0
    current = share * stall_current(motor, voltage)
    point = steady_state(motor, voltage, current=current)
    by_speed = steady_state(motor, voltage, speed=point[1])
    assert by_speed == pytest.approx(point, rel=1e-6)
    assume(point[2] > 0.0)
    by_torque = steady_state(motor, voltage, load_torque=point[2])
    assert by_torque == pytest.approx(point, rel=1e-6)


@given(motor=MACHINES, weak=st.floats(1.02, 3.0), load=st.floats(0.05, 0.6))
def test_a_weaker_source_turns_slower_and_gives_less_inrush(motor: MotorCircuit, weak: float, load: float) -> None:
    source = 12.6 if motor.resistance < 20e-3 else 25.2
    strong_side = motor_with_source(motor, 5e-3)
    weak_side = motor_with_source(motor, 5e-3 * weak)
    assert stall_current(weak_side, source) < stall_current(strong_side, source)
    torque = load * running_torque(strong_side, stall_current(strong_side, source), 0.0)
    fast = steady_state(strong_side, source, load_torque=torque)[1]
    slow = steady_state(weak_side, source, load_torque=torque)[1]
    assert slow < fast


@given(motor=MACHINES, low=st.floats(0.0, 0.5), more=st.floats(1.01, 1.5))
def test_more_load_is_slower_and_draws_more(motor: MotorCircuit, low: float, more: float) -> None:
    torque = low * running_torque(motor, stall_current(motor, 10.0), 0.0)
    light = steady_state(motor, 10.0, load_torque=torque)
    heavy = steady_state(motor, 10.0, load_torque=torque * more + 0.01)
    assert heavy[0] > light[0]
    assert heavy[1] < light[1]


@given(power=RATINGS, factor=st.floats(1.1, 4.0), share=st.floats(0.05, 0.9))
def test_rating_scales_current_and_torque_at_equal_speed(power: float, factor: float, share: float) -> None:
    """Friction apart, which grows with the root of the rating."""
    small, large = from_rating(power, 12.0), from_rating(power * factor, 12.0)
    current = share * stall_current(small, 10.0)
    assume(current > 60.0)  # the 10 A smoothing of the brush drop does not scale
    _, speed, torque = steady_state(small, 10.0, current=current)
    amperes, faster, more = steady_state(large, 10.0, current=current * factor)
    torque += small.friction_torque + small.friction_viscous * speed
    more += large.friction_torque + large.friction_viscous * faster
    if speed > 0.0:
        assert (amperes, faster, more) == pytest.approx((current * factor, speed, torque * factor), rel=1e-4)
    assert large.friction_torque / small.friction_torque == pytest.approx(math.sqrt(factor))


@given(power=RATINGS, factor=st.floats(0.5, 2.0), load=st.floats(0.01, 0.9))
def test_a_gear_trades_speed_for_torque_at_equal_current(power: float, factor: float, load: float) -> None:
    plain, geared = scaled_reference(power, 12.0), scaled_reference(power, 12.0, speed_ratio=factor)
    torque = load * running_torque(plain, stall_current(plain, 10.0), 0.0)
    assume(steady_state(plain, 10.0, load_torque=torque)[1] > 1.0)
    amperes, speed, _ = steady_state(plain, 10.0, load_torque=torque)
    again, slower, _ = steady_state(geared, 10.0, load_torque=torque * factor)
    assert (again, slower * factor) == pytest.approx((amperes, speed), rel=1e-5)


@given(power=RATINGS, share=st.floats(0.1, 0.9))
def test_twice_the_volts_behind_the_brushes_is_the_same_machine(power: float, share: float) -> None:
    """Brush drop is what does not scale: at V - Vb doubled, half the current does the same work, speed for speed."""
    drop = PUBLISHED_FAMILY.brush_drop
    low, high = scaled_reference(power, 12.0), scaled_reference(power, 24.0 - drop)
    current = share * stall_current(low, 10.0)
    assume(current > 120.0)
    _, speed, torque = steady_state(low, 10.0, current=current)
    assume(speed > 1.0)
    _, again, same = steady_state(high, 20.0 - drop, current=current / 2.0)
    assert (again, same) == pytest.approx((speed, torque), rel=1e-4)


def test_brushes_set_the_least_voltage() -> None:
    with pytest.raises(InputError, match="brushes"):
        from_rating(1000.0, 1.0)


@given(motor=MACHINES, cold=st.floats(-40.0, 100.0), warmer=st.floats(1.0, 80.0))
def test_a_warm_winding_gives_less_stall_current(motor: MotorCircuit, cold: float, warmer: float) -> None:
    first, second = motor_at_temperature(motor, cold), motor_at_temperature(motor, cold + warmer)
    assert stall_current(second, 8.0) < stall_current(first, 8.0)


def test_a_permanent_magnet_machine_has_a_constant_field() -> None:
    motor = from_rating(1400.0, 12.0, "permanent magnet")
    assert field_constant(motor, 20.0) == field_constant(motor, 900.0) == motor.field_constant_residual


def test_a_load_beyond_reach_stalls_it() -> None:
    motor = from_rating(1100.0, 12.0)
    current, speed, torque = steady_state(motor, 2.5, load_torque=500.0)
    assert (current, speed) == (stall_current(motor, 2.5), 0.0)
    assert torque == locked_torque(motor, current)


def test_driven_past_its_no_load_speed_it_brakes() -> None:
    motor = from_rating(1100.0, 12.0, "permanent magnet")
    free = steady_state(motor, 11.5, load_torque=0.0)[1]
    current, _, torque = steady_state(motor, 11.5, speed=3.0 * free)
    assert current < 0.0
    assert torque < 0.0


@pytest.mark.parametrize(
    "question",
    [
        {},
        {"speed": 1.0, "current": 2.0},
        {"speed": -1.0},
        {"current": 0.0},
        {"current": 1e6},
        {"load_torque": math.nan},
        {"speed": math.inf},
    ],
)
def test_impossible_questions_are_refused(question: dict[str, float]) -> None:
    with pytest.raises(InputError):
        steady_state(from_rating(1000.0, 12.0), 12.0, **question)


@pytest.mark.parametrize(("power", "voltage"), [(0.0, 12.0), (1000.0, 0.0), (math.nan, 12.0), (1e3, math.inf)])
def test_impossible_ratings_are_refused(power: float, voltage: float) -> None:
    with pytest.raises(InputError):
        from_rating(power, voltage)


# --- the fit ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("starter", PUBLISHED_STARTERS, ids=lambda s: s.name)
@pytest.mark.parametrize("rated", [True, False])
def test_fitted_points_come_back(starter: PublishedStarter, rated: bool) -> None:
    """Published bench points, sources in PUBLISHED_STARTERS.

    Found: 2 to 10 % for series machines, 13 % for the direct drive, 3 to 7 % for permanent magnets.  Allowed 15 %: the
    spread of production machines, and the figures are limits.
    """
    motor, report = fit_points(list(starter.points), starter.motor, power=starter.power if rated else None)
    assert report.equations == sum(
        value is not None and value > 0.0
        for point in starter.points
        for value in (point.current if point.test != "loaded" else None, point.torque, point.speed)
    )
    assert report.worst < (0.15 if "direct drive" in starter.name else 0.11), report
    assert 1.0 <= motor.brush_drop <= 2.0


# What a left-out point misses by 20 % or more, as found: 4 of 72.  The two versions of 1.4 kW are printed with one
# no-load point, one load of 7.7 V and 300 A, and 780 and 980 A stalled.  515 and 900 A are printed as largest currents,
# and 900 A is the same for two machines whose load torques differ by two thirds.
KNOWN_MISSES = {
    ("12 V 1.4 kW petrol, version B", "stalled", "current"): -0.27,
    ("12 V turbo petrol, manual gearbox", "stalled", "current"): +0.21,
    ("12 V petrol 2.5 l of 2005, manual gearbox, constant field", "stalled", "current"): -0.37,
    ("12 V petrol 2.5 l of 2005, automatic gearbox, constant field", "stalled", "torque"): +0.22,
}


@cache
def family_without(name: str, kind: MotorKind) -> StarterFamily:
    return estimate_family((starter for starter in PUBLISHED_STARTERS if starter.name != name), kind)


@cache
def left_out_errors(number: int, left_out: int) -> dict[tuple[str, str, str], float]:
    starter = PUBLISHED_STARTERS[number]
    kept = [point for other, point in enumerate(starter.points) if other != left_out]
    family = family_without(starter.name, starter.motor)
    motor, _ = fit_points(kept, starter.motor, power=starter.power, family=family)
    return {(starter.name, e.test, e.quantity): e.error for e in point_errors(motor, starter.points[left_out])}


LEFT_OUT = [(n, k) for n, s in enumerate(PUBLISHED_STARTERS) if len(s.points) >= 3 for k in range(len(s.points))]


@pytest.mark.parametrize(("number", "left_out"), LEFT_OUT, ids=lambda x: str(x))
def test_a_point_left_out_is_predicted(number: int, left_out: int) -> None:
    """Allowed 20 %; what misses is listed with the size of the miss, and must stay that size (to 0.02).

    Blind: the family is estimated, centres and spreads, from the other starters of the kind only, and the rated
    power is the one printed, if any.  STANDSTILL_TORQUE_SHARE of series machines is the one figure that rests on all.
    """
    for key, error in left_out_errors(number, left_out).items():
        if key in KNOWN_MISSES:
            assert error == pytest.approx(KNOWN_MISSES[key], abs=0.02), (key, error)
            assert abs(error) >= 0.20, (key, error)
        else:
            assert abs(error) < 0.20, (key, error)


@pytest.mark.parametrize(
    ("kind", "figures", "misses", "allowed"), [("series", 48, 2, 0.13), ("permanent magnet", 24, 2, 0.14)]
)
def test_left_out_figures_scatter_by_an_eighth(kind: str, figures: int, misses: int, allowed: float) -> None:
    """As found: root mean square 12.4 and 13.0 %, where the figures' own spread is put at 7 %."""
    errors = [
        error
        for number, left_out in LEFT_OUT
        if PUBLISHED_STARTERS[number].motor == kind
        for error in left_out_errors(number, left_out).values()
    ]
    assert len(errors) == figures
    assert sum(abs(error) >= 0.20 for error in errors) == misses
    assert math.sqrt(sum(e * e for e in errors) / len(errors)) < allowed


@pytest.mark.parametrize(
    ("kind", "published", "names"),
    [
        ("series", PUBLISHED_FAMILY, PARAMETERS),
        ("permanent magnet", PERMANENT_MAGNET_FAMILY, MAGNET_PARAMETERS),
    ],
)
def test_the_family_is_the_estimate_it_says_it_is(
    kind: MotorKind, published: StarterFamily, names: tuple[str, ...]
) -> None:
    found = estimate_family(PUBLISHED_STARTERS, kind)
    assert set(published.spread) == set(found.spread) == set(names)
    for name in names:
        assert getattr(published, name) == pytest.approx(getattr(found, name), rel=0.02), name
        assert published.spread[name] == pytest.approx(found.spread[name], rel=0.03), name


def test_a_load_test_stands_for_a_rating_that_is_not_printed() -> None:
    """LOADED_RATING_SHARE, the mean of the five that are printed (1.4 kW counts once); each within 10 % of it."""
    shares = {
        starter.power / (point.voltage * point.current)
        for starter in PUBLISHED_STARTERS
        for point in starter.points
        if starter.power is not None and point.test == "loaded" and point.current is not None
    }
    assert len(shares) == 5
    assert float(np.mean(list(shares))) == pytest.approx(LOADED_RATING_SHARE, abs=1e-3)
    assert list(shares) == pytest.approx([LOADED_RATING_SHARE] * 5, rel=0.10)
    free = PUBLISHED_STARTERS[0].points[0]
    small, large = (
        fit_points([free, BenchPoint(7.7, current, test="loaded")])[1].equivalent_power for current in (200.0, 400.0)
    )
    assert large > 1.5 * small


def test_a_family_of_none_is_the_prior_and_one_of_copies_is_narrow() -> None:
    nothing = estimate_family([])
    assert {name: getattr(nothing, name) for name in PARAMETERS} == pytest.approx(
        {name: value for name, (value, _) in FAMILY_PRIOR.items()}
    )
    assert nothing.spread == pytest.approx(SPREAD_PRIOR)
    copies = estimate_family([PUBLISHED_STARTERS[0]] * 6)
    assert copies.spread["resistance"] < SPREAD_PRIOR["resistance"]


def test_a_rating_moves_what_the_points_leave_open() -> None:
    """From the no-load point alone: stall current follows the rating told."""
    points = [PUBLISHED_STARTERS[0].points[0]]
    small, large = (fit_points(points, power=power)[0] for power in (900.0, 1500.0))
    assert stall_current(large, 2.5) > 1.3 * stall_current(small, 2.5)


def test_the_field_constant_of_the_24_v_machine_nearly_doubles() -> None:
    """24 V 5.0 kW, fork-lift manual d35s-5 p. 128, derived from its speeds: 65 mV s/rad no-load, 122 loaded.

    Ours 63 and 115 (the load's own current is not in the fit): within 10 % and 15 %.
    """
    starter = next(s for s in PUBLISHED_STARTERS if s.name == "24 V 5.0 kW, 3.9 l diesel")
    motor, _ = fit_points(list(starter.points))
    assert field_constant(motor, 95.0) == pytest.approx(65e-3, rel=0.10)
    assert field_constant(motor, 500.0) == pytest.approx(122e-3, rel=0.15)
    assert field_constant(motor, 500.0) / field_constant(motor, 95.0) > 1.7


@settings(max_examples=10)
@given(
    power=st.floats(800.0, 5000.0),
    voltage=VOLTAGES,
    resistance=st.floats(0.8, 1.25),
    field=st.floats(0.85, 1.15),
    friction=st.floats(0.7, 1.4),
)
def test_a_made_up_machine_is_found_again(
    power: float, voltage: float, resistance: float, field: float, friction: float
) -> None:
    base = scaled_reference(power, voltage)
    truth = replace(
        base,
        resistance=base.resistance * resistance,
        field_constant_saturated=base.field_constant_saturated * field,
        friction_torque=base.friction_torque * friction,
    )
    level = voltage / 12.0
    free = steady_state(truth, 11.5 * level, load_torque=0.0)
    load = steady_state(truth, 8.5 * level, speed=120.0)
    locked = steady_state(truth, 3.0 * level, speed=0.0)
    points = [
        BenchPoint(11.5 * level, free[0], 0.0, free[1]),
        BenchPoint(8.5 * level, load[0], load[2], load[1]),
        BenchPoint(3.0 * level, locked[0], locked[2], 0.0),
    ]
    _, report = fit_points(points)
    assert report.worst < 0.05, report
    # A load between the fitted ones is predicted too.
    motor, _ = fit_points(points)
    between = steady_state(truth, 9.5 * level, speed=180.0)
    again = steady_state(motor, 9.5 * level, speed=180.0)
    assert again == pytest.approx(between, rel=0.15)


def test_points_say_which_test_they_are() -> None:
    points = [
        BenchPoint(11.5, 90.0, speed=3000 * RPM),
        BenchPoint(7.7, 300.0, torque=9.1),
        BenchPoint(4.0, 780.0, torque=18.6),
    ]
    assert [point.test for point in classify_points(points)] == ["no-load", "loaded", "stalled"]


@pytest.mark.parametrize("starter", [s for s in PUBLISHED_STARTERS if s.motor != "series"], ids=lambda s: s.name)
def test_a_permanent_magnet_field_constant_rises_little(starter: PublishedStarter) -> None:
    """From the free to the loaded current by 1.19 to 1.24 as fitted; series machines by 1.44 to 2.5."""
    motor, _ = fit_points(list(starter.points), starter.motor)
    free, loaded = (field_constant(motor, point.current or 0.0) for point in starter.points[:2])
    assert 1.15 < loaded / free < 1.30


def test_a_series_machine_is_no_permanent_magnet_one() -> None:
    points = list(PUBLISHED_STARTERS[0].points)
    assert fit_points(points, "permanent magnet")[1].worst > 1.5 * fit_points(points)[1].worst


def test_a_machine_outside_the_family_is_fitted_all_the_same() -> None:
    """Bench test of a 0.25 kW direct-drive starter: mss-ape-50 p. 65, middles of the voltages.  Found 14 %."""
    points = [
        BenchPoint(11.75, 30.0, 0.0, 11000 * RPM),
        BenchPoint(10.25, 60.0, 0.59, 4600 * RPM),
        BenchPoint(8.25, 160.0, 2.94, 0.0),
    ]
    _, report = fit_points(points, power=250.0)
    assert report.loosened > 1.0
    assert report.worst < 0.15
    assert fit_points(list(PUBLISHED_STARTERS[0].points))[1].loosened == 1.0


def test_a_fit_says_what_it_leans_on() -> None:
    _, full = fit_points(list(PUBLISHED_STARTERS[4].points))
    _, single = fit_points([PUBLISHED_STARTERS[4].points[3]])
    assert set(full.from_reference) < set(single.from_reference)
    assert single.equations == 2


@pytest.mark.parametrize(
    "points",
    [
        [],
        [BenchPoint(0.0, 90.0)],
        [BenchPoint(12.0)],
        [BenchPoint(12.0, 90.0, torque=-1.0)],
        [BenchPoint(12.0, math.nan)],
    ],
)
def test_impossible_points_are_refused(points: list[BenchPoint]) -> None:
    with pytest.raises(InputError):
        fit_points(points)


# --- ratings and windings by value ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("number", "found"),
    # As found, stalled current over the largest the manual allows, less 1.
    [(0, -0.12), (1, 0.00), (2, -0.05), (3, -0.24), (6, +0.16)],
)
def test_rating_alone_against_published_stall(number: int, found: float) -> None:
    """From power and voltage alone, names and sources in PUBLISHED_STARTERS: an estimate, its misses pinned.

    Machines of one rating differ by 25 % in stall current (the two 1.4 kW ones); the 24 V machine
    draws 15 % less than its rating suggests.
    """
    starter = PUBLISHED_STARTERS[number]
    assert starter.power is not None
    motor = from_rating(starter.power, starter.voltage)
    stalled = starter.points[-1]
    assert stalled.current is not None
    assert stall_current(motor, stalled.voltage) / stalled.current - 1.0 == pytest.approx(found, abs=0.02)


def test_a_sound_machine_exceeds_the_least_values_printed_for_its_rating() -> None:
    """On the mean of the seven rated machines: no-load speed +18 %, loaded speed +7 %, torque +11 %, locked +18 %.

    Single machines lie 20 % below to 45 % above: the two diesel machines of 1.0 and 1.1 kW are printed with 4.7 and
    6.9 N m at one current.
    """
    found: dict[tuple[str, str], list[float]] = {}
    for starter in PUBLISHED_STARTERS:
        if starter.power is None:
            continue
        motor = from_rating(starter.power, starter.voltage)
        for error in (e for point in starter.points for e in point_errors(motor, point)):
            found.setdefault((error.test, error.quantity), []).append(error.error)
    least = [("no-load", "speed"), ("loaded", "torque"), ("loaded", "speed"), ("stalled", "torque")]
    means = {key: float(np.mean(errors)) for key, errors in found.items()}
    assert [means[key] for key in least] == pytest.approx([0.18, 0.11, 0.07, 0.18], abs=0.02)
    assert means["no-load", "current"] < 0.0
    assert means["stalled", "current"] < 0.0


def test_stall_current_for_its_rating_lies_in_the_middle_of_published_machines() -> None:
    """Per kW of equivalent rating at 12 V, brush drop scaled out: series machines 1.66 to 2.25 kA, ours 1.97.

    Permanent magnets lie above all of them, at 2.9 to 3.4 kA, ours at 3.04: a family of their own.
    """
    drop = PUBLISHED_FAMILY.brush_drop
    found, magnets = [], []
    for starter in PUBLISHED_STARTERS:
        motor, report = fit_points(list(starter.points), starter.motor, power=starter.power)
        step = (starter.voltage - drop) / (12.0 - drop)
        group = found if starter.motor == "series" else magnets
        group.append(stall_current(motor, starter.voltage) * step / report.equivalent_power)

    def ours(kind: MotorKind) -> list[float]:
        return [
            stall_current(from_rating(power, voltage, kind), voltage) * (voltage - drop) / (12.0 - drop) / power
            for power, voltage in ((2500.0, 12.0), (5000.0, 24.0))
        ]

    assert ours("series") == pytest.approx([float(np.median(found))] * 2, rel=0.05)
    assert ours("permanent magnet") == pytest.approx([float(np.median(magnets))] * 2, rel=0.05)
    assert [min(found), max(found)] == pytest.approx([1.66, 2.25], rel=0.02)
    assert [min(magnets), max(magnets)] == pytest.approx([2.92, 3.39], rel=0.02)


@pytest.mark.parametrize("kind", ["series", "permanent magnet"])
def test_rated_power_is_reached_on_a_sound_battery(kind: MotorKind) -> None:
    """Common practice: the rated power is the greatest shaft power on the battery the starter is made for.

    12 V 2.5 kW on 12.6 V behind 6 mohm: ours 2.72 and 2.65 kW; allowed 15 %, the battery is not part of the rating.
    """
    motor = motor_with_source(from_rating(2500.0, 12.0, kind), 6e-3)
    currents = np.linspace(0.05, 0.98, 200) * stall_current(motor, 12.6)
    points = [steady_state(motor, 12.6, current=float(current)) for current in currents]
    assert max(speed * torque for _, speed, torque in points) == pytest.approx(2500.0, rel=0.15)


def test_copper_follows_the_inferred_zero() -> None:
    """Ratio (234.5 + T) / (234.5 + 20), relay notes (te.com, babcockinc.com), 90 ohm at 20 degC."""
    assert copper_resistance(90.0, 85.0) == pytest.approx(112.98, abs=0.02)
    assert copper_resistance(90.0, -40.0) == pytest.approx(68.78, abs=0.02)
    assert copper_resistance(1.0, 85.0) == pytest.approx((234.5 + 85.0) / (234.5 + 20.0), rel=1e-3)
