# SPDX-License-Identifier: GPL-3.0-or-later
"""The voltage budget closes by Kirchhoff's law, and again as resistance times current without any node voltage."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from cranksag.examples import example_names, example_text
from cranksag.scenario import loads_scenario
from cranksag.simulate import simulate
from cranksag.verdict.budget import at, ground_shift
from cranksag.verdict.results import Result, Traces
from tests.charge_transfer import charge_transfer

CLOSES = 1e-3  # [V] the budget against OCV less the display's minimum

BOAT = """
title = "test boat"
[crank]
key_on_before = "300 ms"
key_held = "800 ms"
after = "300 ms"
[[cables.positive]]
name = "battery cable"
length = "2 m"
size = "1/0 AWG"
[[cables.positive]]
name = "battery switch"
resistance = "0.4 mohm"
[[cables.positive]]
name = "switch to starter"
length = "1 m"
size = "1/0 AWG"
[[displays]]
name = "helm"
"""
HOUSE = '[house]\nrating = "700 A"\n'


@lru_cache(maxsize=64)
def result(text: str, changes: tuple[tuple[str, str], ...] = ()) -> Result:
    """One crank."""
    return simulate(loads_scenario(text).with_overrides(dict(changes)))


def short(name: str) -> Result:
    """An example with a short wait and a short crank; the supercapacitor keeps its time to charge."""
    changes = {"crank.key_held": "900 ms", "crank.after": "300 ms"}
    if name != "supercapacitor":
        changes["crank.key_on_before"] = "600 ms"
    return result(example_text(name), tuple(sorted(changes.items())))


@pytest.mark.parametrize("name", example_names())
def test_the_budget_of_every_example_closes(name: str) -> None:
    found = short(name)
    total = sum(line.drop for line in found.budget)
    assert total == pytest.approx(found.battery.open_circuit_voltage - found.display.minimum_voltage, abs=CLOSES)
    assert {line.side for line in found.budget} == {"supply", "return"}
    assert len({line.element for line in found.budget}) == len(found.budget)


@pytest.mark.parametrize("name", example_names())
def test_the_harness_of_every_example_is_resistance_times_current(name: str) -> None:
    """The harness has no inductance: each drop is its own resistance times its own current, no node involved."""
    found = short(name)
    feed, moment = found.boat.feed, found.display.minimum_at
    out, back = at(found.traces, "feed_current", moment), at(found.traces, "return_current", moment)
    expected = {
        "feed conductor": feed.resistance * out,
        "feed joints": feed.joints * out,
        "return conductor": feed.return_resistance * back,
        "return joints": feed.return_joints * back,
    }
    for line in found.budget:
        if line.element in expected:
            assert line.drop == pytest.approx(expected.pop(line.element), abs=CLOSES)
    assert expected == {}


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"feed.return_to": "battery negative"},
        {"battery.health": "50 %", "temperature.ambient": "-10 degC"},
        {"hold_up.branch": "standby pack"},
        {
            "start_circuit.relay": "none",
            "start_circuit.shares_feed": "true",
            "feed.size": "8 AWG",
            "feed.length": "2 m",
        },
    ],
    ids=lambda c: ", ".join(c) or "plain",
)
def test_battery_and_cables_from_their_current_alone(changes: dict[str, str]) -> None:
    """The bank's two time constants integrated from its current, cables as R i + L di/dt: independent of every node.

    The tolerance is 10 mV: the current is known at the solver's points only, and its slope is a difference of two of
    them while it changes by up to 100 kA/s in 3 uH.
    """
    found = result(BOAT, tuple(sorted(changes.items())))
    boat, traces, moment = found.boat, found.traces, found.display.minimum_at
    time, current = traces.time, -traces.signals["battery_current"]
    now = float(np.interp(moment, time, current))
    width = 0.4e-3
    slope = float(np.interp(moment + width, time, current) - np.interp(moment - width, time, current)) / (2 * width)
    bank = boat.battery
    drops = {
        "start battery, internal": bank.resistance_instant * now
        + float(charge_transfer(bank, time, current, np.array([moment]))[0])
        + polarisation(time, current, bank.resistance_slow, bank.time_slow, moment)
    }
    for element in (*boat.positive, *boat.negative):
        # the netlist's 0.5 ohm of eddy losses lies across the inductance
        inductive = 1.0 / (1.0 / 0.5 + 1.0 / max(abs(element.inductance * slope), 1e-12)) if element.inductance else 0.0
        assert inductive < 0.6
        drops[element.name] = (element.resistance + element.joints) * now + element.inductance * slope
    for line in found.budget:
        if line.element in drops:
            assert line.drop == pytest.approx(drops[line.element], abs=0.010), line.element


def polarisation(time: np.ndarray, current: np.ndarray, resistance: float, constant: float, moment: float) -> float:
    """Voltage of a resistance and capacitance in parallel, driven by a current that is straight between samples [V]."""
    fine = np.union1d(np.linspace(time[0], moment, 40_001), time[time < moment])
    i = np.interp(fine, time, current)
    kernel = np.exp(-(moment - fine) / constant)
    return float(np.trapezoid(i * kernel, fine)) * resistance / constant


@pytest.mark.parametrize("to", ["engine block", "battery negative"])
def test_ground_shift_is_the_sum_of_the_return_side(to: str) -> None:
    """Over its own millisecond: ground cables as R i + L di/dt, the display's return as R i."""
    found = result(BOAT, (("feed.return_to", to),))
    traces, moment, feed = found.traces, found.ground_shift_at, found.boat.feed
    sensed = np.linspace(moment - 0.5e-3, moment + 0.5e-3, 2001)
    current, returned = (
        np.interp(sensed, traces.time, traces.signals[name]) for name in ("battery_current", "return_current")
    )
    slope = -float(current[-1] - current[0]) / 1e-3
    engine = sum((e.resistance + e.joints) * -current.mean() + e.inductance * slope for e in found.boat.negative)
    harness = (feed.return_resistance + feed.return_joints) * float(returned.mean())
    shift = found.ground_shift
    assert shift["engine_block"] == pytest.approx(engine, abs=0.010)  # as for the cables above
    if to == "engine block":
        assert shift["display_return"] == pytest.approx(harness + shift["engine_block"], abs=CLOSES)
        assert shift["display_return"] > shift["engine_block"] > 0.05
    else:
        assert shift["display_return"] == pytest.approx(harness, abs=CLOSES)
        # the block moves with the starter's current all the same: what falsifies its senders
        assert shift["engine_block"] > 0.05 > shift["display_return"]


def test_a_feed_from_the_house_bank_has_the_difference_of_the_banks_as_a_line() -> None:
    found = result(BOAT + HOUSE, (("battery.state_of_charge", "60 %"), ("feed.from", "house battery")))
    total = sum(line.drop for line in found.budget)
    assert total == pytest.approx(found.battery.open_circuit_voltage - found.display.minimum_voltage, abs=CLOSES)
    first = found.budget[0]
    assert first.path == "house"
    assert found.boat.house is not None
    assert first.drop == pytest.approx(found.boat.battery.open_circuit_voltage - found.boat.house.open_circuit_voltage)
    assert first.drop < 0.0  # the house bank is the fuller one


@pytest.mark.parametrize("source", ["battery", "battery switch", "starter stud", "house battery", "panel"])
@pytest.mark.parametrize("branch", ["none", "house feed"])
def test_the_budget_closes_from_every_feed_point(source: str, branch: str) -> None:
    found = result(BOAT + HOUSE, (("feed.from", source), ("hold_up.branch", branch), ("link.kind", "closed")))
    total = sum(line.drop for line in found.budget)
    assert total == pytest.approx(found.battery.open_circuit_voltage - found.display.minimum_voltage, abs=CLOSES)


def test_a_blocked_diode_is_listed_as_blocking() -> None:
    """The house bank carries the display in the sag: the normal feed's diode blocks, and its drop is negative."""
    changes = (("battery.health", "50 %"), ("hold_up.branch", "house feed"))
    found = result(BOAT + HOUSE, changes)
    assert found.display.source == "house feed"
    diode = next(line for line in found.budget if line.element == "feed diode")
    assert diode.blocking
    assert diode.drop < 0.0
    assert not any(line.blocking for line in found.budget if line.element != "feed diode")
    # and where nothing blocks it, its drop is a diode's
    sound = result(BOAT, (("hold_up.branch", "reservoir"), ("hold_up.capacitance", "1 mF")))
    carried = next(line for line in sound.budget if line.element == "feed diode")
    if not carried.blocking:
        assert 0.2 < carried.drop < 0.7


# --- which instant -------------------------------------------------------------------------------------------


def test_a_display_that_resets_has_its_budget_from_before_the_reset() -> None:
    """The load is still there: the feed carries the running power and more, for the display draws constant power."""
    found = short("restarting")
    display, feed = found.display, found.boat.feed
    reset = display.first_reset_at
    assert reset is not None
    assert reset < display.minimum_at
    assert display.demand_minimum_at <= reset
    assert display.minimum_voltage < display.demand_minimum_voltage < display.brownout
    total = sum(line.drop for line in found.demand_budget)
    assert total == pytest.approx(found.battery.open_circuit_voltage - display.demand_minimum_voltage, abs=CLOSES)
    out = at(found.traces, "feed_current", display.demand_minimum_at)
    carried = next(line.drop for line in found.demand_budget if line.element == "feed conductor")
    assert carried == pytest.approx(feed.resistance * out, abs=CLOSES)
    assert carried > 2.0 * next(line.drop for line in found.budget if line.element == "feed conductor")


def test_a_display_that_holds_has_one_budget() -> None:
    found = short("standby-pack")
    assert found.display.first_reset_at is None
    assert found.demand_budget == found.budget
    assert found.display.demand_minimum_at == found.display.minimum_at


@pytest.mark.parametrize("name", example_names())
def test_the_ground_shift_is_the_largest_that_lasts_while_cranking(name: str) -> None:
    """Read again at even steps of 50 us: no mean over a millisecond is larger, and the shift itself is one of them."""
    found = short(name)
    crank = found.boat.crank
    ends = crank.key_on_before, crank.key_on_before + crank.key_held
    time = np.arange(*ends, 50e-6)
    means = []
    for signal in ("block", "display_return"):
        series = np.interp(time, found.traces.time, found.traces.signals[signal])
        means.append(np.abs(np.convolve(series, np.full(20, 1.0 / 20.0), mode="valid")).max())
    told = max(abs(value) for value in found.ground_shift.values())
    assert ends[0] - 0.5 <= found.ground_shift_at <= ends[1]
    assert told == pytest.approx(max(means), rel=0.05, abs=0.01)
    window = np.linspace(found.ground_shift_at - 0.5e-3, found.ground_shift_at + 0.5e-3, 20_001)
    for place, signal in (("engine_block", "block"), ("display_return", "display_return")):
        series = np.interp(window, found.traces.time, found.traces.signals[signal])
        assert found.ground_shift[place] == pytest.approx(np.trapezoid(series, window) / 1e-3, abs=1e-4)


def test_the_ground_shift_is_a_mean_and_no_instant() -> None:
    """A millisecond that holds a spike of 10 us and 5 V is told with the 50 mV that it adds."""
    time = np.sort(np.concatenate((np.arange(0.0, 1.0, 1e-4), [0.5 + 1e-9, 0.5 + 5e-6, 0.50001 - 1e-9, 0.50001])))
    block = np.where(time > 0.4, 1.0, 0.5) + np.where((time > 0.5) & (time < 0.50001), 5.0, 0.0)
    traces = Traces(time, {"block": block, "display_return": 0.5 * block})
    moment, shift = ground_shift(traces, 0.1, 0.9)
    assert abs(moment - 0.5) < 0.6e-3
    assert shift["engine_block"] == pytest.approx(1.05, abs=5e-3)
    assert shift["display_return"] == pytest.approx(0.525, abs=3e-3)


CLICKS: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    ("only-clicks", ()),
    ("restarting", (("start_circuit.neutral_switch", "open"),)),
    ("house-feed", (("start_circuit.relay", "none"), ("start_circuit.supply_from", "house battery"))),
    ("restarting", (("start_circuit.joints", "10 ohm"), ("start_circuit.return_length", "500 m"),
                    ("start_circuit.size", "22 AWG"), ("battery.state_of_charge", "30 %"))),
)  # fmt: skip


@pytest.mark.parametrize(("name", "changes"), [*CLICKS, *((name, ()) for name in example_names())])
def test_the_start_circuits_budget_closes(name: str, changes: tuple[tuple[str, str], ...]) -> None:
    """Round the key's loop to the S terminal, or to the coil of a start relay that does not pick up."""
    held = {"crank.key_on_before": "600 ms", "crank.key_held": "900 ms", "crank.after": "300 ms"}
    found = result(example_text(name), tuple(sorted((held | dict(changes)).items())))
    budget = found.start_budget
    total = sum(line.drop for line in budget.lines)
    assert total + budget.left == pytest.approx(found.battery.open_circuit_voltage, abs=CLOSES)
    assert found.cranks.engages is (budget.left > budget.needed)
    assert budget.across == (
        "solenoid" if found.cranks.engages or found.boat.start.relay is None else "start relay coil"
    )
    assert 0.6 < budget.at < 1.5


def test_the_start_circuits_drops_are_resistance_times_the_coils_current() -> None:
    """Ohm's law on the way of the coils' current alone, without any node voltage of the run."""
    found = short("only-clicks")
    traces, start, feed = found.traces, found.boat.start, found.boat.feed
    coils = sum(at(traces, f"{coil}_current", found.start_budget.at) for coil in ("pull_in", "hold_in"))
    through_feed = at(traces, "feed_current", found.start_budget.at)
    drops = {line.element: line.drop for line in found.start_budget.lines}
    assert start.shares_feed
    assert drops["start wire"] == pytest.approx(start.resistance * coils, rel=1e-3)
    assert drops["start wire joints"] == pytest.approx(start.joints * coils, rel=1e-3)
    assert drops["neutral switch"] == pytest.approx(start.neutral_resistance * coils, rel=1e-3)
    assert drops["feed conductor"] == pytest.approx(feed.resistance * through_feed, rel=1e-3)


def test_an_open_neutral_switch_takes_all_the_volts() -> None:
    found = result(example_text("restarting"), CLICKS[1][1])
    largest = max(found.start_budget.lines, key=lambda line: line.drop)
    assert largest.element == "neutral switch, open"
    assert largest.drop == pytest.approx(found.battery.open_circuit_voltage, abs=0.1)
