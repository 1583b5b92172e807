# SPDX-License-Identifier: GPL-3.0-or-later
"""The example boats tell the stories their comments tell, and what a comment says to try does what it says."""

from __future__ import annotations

import re
from functools import lru_cache

import numpy as np
import pytest

from cranksag.cli.compare import _ROWS
from cranksag.examples import example_names, example_text
from cranksag.report import next_steps, verdict
from cranksag.scenario import loads_scenario
from cranksag.simulate import simulate
from cranksag.verdict.results import Result
from cranksag.verdict.series import between, crossings
from cranksag.verdict.switching import MARGIN_BAND

START = 5.0  # [s] from key-on, in every example but the supercapacitor's

POSTS = {"feed.from": "battery", "feed.return_to": "battery negative"}
LIVE = {"feed.dead_in_start": "false", "feed.key_break": "0 ms"}


@lru_cache(maxsize=64)
def _solved(name: str, changes: tuple[tuple[str, str], ...]) -> Result:
    return simulate(loads_scenario(example_text(name), name).with_overrides(dict(changes)))


def solved(name: str, changes: dict[str, str] | None = None) -> Result:
    """An example with some fields changed."""
    return _solved(name, tuple(sorted((changes or {}).items())))


def codes(result: Result) -> set[str]:
    """Codes of the warnings."""
    return {note.code for note in result.warnings}


def contact_made(result: Result) -> float:
    """When the solenoid's main contact is made [s from key-on]."""
    return float(crossings(result.traces.time, result.traces.signals["main_contact"], 0.6, True)[0])


@pytest.mark.parametrize(
    ("name", "restarts"),
    [
        ("restarting", True),
        ("standby-pack", False),
        ("hot-restart", True),
        ("converter-24v", True),
        ("key-cut", True),
        ("paralleled-banks", True),
        ("two-displays", True),
        ("reservoir", True),
        ("supercapacitor", False),
        ("house-feed", False),
    ],
)
def test_each_boat_starts_and_its_display_restarts_or_holds_well_off_the_edge(name: str, restarts: bool) -> None:
    result = solved(name)
    assert result.cranks.fires
    assert not result.near_switching
    assert result.display.holds is not restarts
    assert abs(result.display.margin) > 0.3


# name, changes its comment says to try, whether the display then holds; the boat cranks in each
TRIED = [
    ("restarting", {"feed.from": "battery"}, False),
    ("restarting", {"battery.health": "100 %"}, False),
    ("restarting", POSTS | {"battery.health": "100 %"}, False),
    ("hot-restart", {"temperature.engine_room": "20 degC"}, True),
    ("hot-restart", {"hold_up.placed_at": "helm"}, True),
    ("hot-restart", {"start_circuit.relay": "85 ohm"}, True),
    ("converter-24v", {"hold_up.cut_out": "10 V", "hold_up.cut_in": "11 V"}, True),
    ("converter-24v", {"feed.from": "battery"}, False),
    ("converter-24v", {"feed.size": "4 mm2"}, False),
    ("key-cut", LIVE, True),
    ("key-cut", {"feed.dead_in_start": "false"}, False),
    ("only-clicks", {"start_circuit.relay": "85 ohm"}, False),
    ("only-clicks", {"start_circuit.size": "8 AWG", "feed.size": "4 AWG"}, False),
    ("paralleled-banks", {"link.kind": "open"}, True),
    ("house-feed", {"link.kind": "closed"}, False),
    ("reservoir", {"hold_up.capacitance": "0.47 F"}, False),
    ("reservoir", {"hold_up.capacitance": "1 F", "crank.key_on_before": "60 s"}, True),
    ("supercapacitor", {"crank.key_on_before": "10 s"}, False),
    ("two-displays", {"feed.size": "10 AWG"}, False),
    ("two-displays", {"feed.from": "battery"}, False),
]


@pytest.mark.parametrize(("name", "changes", "holds"), TRIED)
def test_what_a_comment_says_to_try_does_what_it_says(name: str, changes: dict[str, str], holds: bool) -> None:
    result = solved(name, changes)
    assert result.cranks.fires
    assert result.display.holds is holds


def test_every_change_named_in_a_comment_is_tried_here() -> None:
    tried = {(name, f"{path}={value}") for name, changes, _ in TRIED for path, value in changes.items()}
    tried |= {("only-clicks", "start_circuit.size=8 AWG")}  # alone, below
    for name in example_names():
        comment = " ".join(line.lstrip("# ") for line in example_text(name).split("\n\n")[0].split("\n"))
        named = re.findall(r'--set (?:"([^"]+)"|([^\s",:]+))', comment)
        for quoted, bare in named:
            assert (name, quoted or bare) in tried


def test_the_complaint_is_black_for_twelve_seconds() -> None:
    """No repair named in the comment is enough, each brings a volt or about it."""
    boat = solved("restarting")
    assert boat.display.dark_time == pytest.approx(12.5, abs=1.5)
    for changes in ({"feed.from": "battery"}, {"battery.health": "100 %"}):
        assert solved("restarting", changes).display.minimum_voltage > boat.display.minimum_voltage + 0.5


def test_the_standby_pack_s_relay_closes_before_the_inrush() -> None:
    pack = solved("standby-pack")
    assert pack.hold_up["relay_closes_s"] < contact_made(pack) - 0.01


def test_heat_alone_keeps_the_relay_of_the_hot_restart_from_picking_up() -> None:
    """One boat, one field: at a cool engine room the relay is closed before the inrush, at a hot one never."""
    hot = solved("hot-restart")
    assert hot.boat.temperatures.engine_room == pytest.approx(85.0)
    assert hot.cranks.fires
    assert hot.hold_up["relay_closes_s"] is None
    assert "hold_up_not_closing" in codes(hot)
    assert "never closes" in verdict(hot)
    for room in ("5 degC", "20 degC"):
        cool = solved("hot-restart", {"temperature.engine_room": room})
        assert cool.hold_up["relay_closes_s"] < contact_made(cool) - 0.01
        assert cool.display.holds
        assert cool.display.margin > 2.0
        assert cool.dangers == ()
        assert codes(cool) == set()
    # copper: 1 + 0.00393 / K from 20 degC, so 9.3 V become 11.7 V, more than S has once the solenoid's current is up
    s_terminal = between(hot.traces.time, hot.traces.signals["s_terminal"], START + 0.01, START + 2.99)[1]
    assert 9.3 < float(s_terminal.max()) < 9.3 * (1.0 + 0.00393 * 65.0) - 0.3


def test_a_hotter_coil_lifted_by_the_collapse_after_release_has_not_picked_up() -> None:
    hotter = solved("hot-restart", {"temperature.engine_room": "80 degC"})
    assert hotter.hold_up["relay_closes_s"] is None or hotter.hold_up["relay_closes_s"] > 8.0
    assert "hold_up_not_closing" in codes(hotter)


def test_the_boat_that_only_clicks_does_so_through_the_thin_shared_wire() -> None:
    boat = solved("only-clicks")
    assert "only clicks" in boat.cranks.reason
    assert boat.display.holds
    thick_alone = solved("only-clicks", {"start_circuit.size": "8 AWG"})
    assert "only clicks" in thick_alone.cranks.reason


def test_the_converter_waits_for_its_cut_in_until_the_engine_has_fired() -> None:
    """The sag leaves more than the display needs; the unit stops, and 21 V at its input come back after firing."""
    boat = solved("converter-24v")
    time, signals = boat.traces.time, boat.traces.signals
    assert boat.hold_up["cut_outs"] == 1
    assert float(boat.hold_up["input_minimum_v"]) > boat.display.brownout + 1.0
    fired = float(crossings(time, signals["fired"], 0.5, True)[0])
    back = crossings(time, signals["converter_on"], 0.5, True)
    assert float(back[back > START][0]) > fired
    sooner = solved("converter-24v", {"feed.from": "battery"})
    assert boat.display.dark_time is not None
    assert sooner.display.dark_time is not None
    assert sooner.display.dark_time == pytest.approx(boat.display.dark_time - 1.0, abs=0.3)


def test_the_key_cut_is_no_sag() -> None:
    boat = solved("key-cut")
    assert boat.battery.minimum_voltage == pytest.approx(10.5, abs=0.15)
    assert boat.display.source == "input capacitor"
    assert boat.display.minimum_at < START
    half = solved("key-cut", {"feed.dead_in_start": "false"})
    assert half.display.first_reset_at is not None
    assert half.display.first_reset_at < START  # in the break, before the starter draws anything
    assert solved("key-cut", LIVE).display.margin > 1.0


def test_a_minimum_of_nothing_is_told_without_a_sign() -> None:
    """The empty input capacitor ends a fraction of a millivolt below zero."""
    boat = solved("key-cut")
    assert -5e-3 < boat.display.minimum_voltage < 0.0
    assert _ROWS["lowest voltage"](boat) == "0.00 V"
    assert "at 0.00 V at the lowest" in verdict(boat)


def test_the_next_step_of_the_key_cut_cures_it() -> None:
    step = next(s for s in next_steps(solved("key-cut")) if "live terminal" in s)
    named = re.findall(r'--set (?:"([^"]+)"|(\S+))', step)
    changes = dict((quoted or bare).split("=", 1) for quoted, bare in named)
    assert solved("key-cut", changes).display.holds
    unbroken = next_steps(solved("key-cut", {"feed.key_break": "0 ms"}))
    assert not any("key_break" in s for s in unbroken)


def test_the_paralleled_house_bank_hardly_helps_and_goes_down() -> None:
    closed, parted = solved("paralleled-banks"), solved("paralleled-banks", {"link.kind": "open"})
    assert closed.starter.crank_speed is not None
    assert parted.starter.crank_speed is not None
    gain = (closed.starter.crank_speed - parted.starter.crank_speed) * 60.0 / (2.0 * np.pi)
    assert gain == pytest.approx(4.7, abs=1.0)
    assert parted.display.minimum_voltage > closed.display.minimum_voltage + 3.0


def test_the_reservoir_carries_for_a_tenth_of_what_it_would_have_to() -> None:
    """22 mF at 12 W, for the display still boots: forty milliseconds; the feed comes and goes for half a second."""
    boat = solved("reservoir")
    assert boat.hold_up["ride_through_s"] == pytest.approx(0.04, abs=0.005)
    signals = boat.traces.signals
    feed = signals["feed"] - signals["display_return"]
    diode = 0.35  # [V] at the display's current
    low = boat.traces.time[(feed - diode < boat.display.brownout) & (boat.traces.time > START)]
    assert low.max() - START == pytest.approx(0.55, abs=0.15)
    dry = solved("reservoir", {"hold_up.capacitance": "0.47 F"})
    # it lets go at its threshold, which is no sign of a narrow escape: the bank was still being drained
    assert dry.display.restarts == 1
    assert abs(dry.display.margin) < MARGIN_BAND
    assert not dry.near_switching
    large = solved("reservoir", {"hold_up.capacitance": "1 F", "crank.key_on_before": "60 s"})
    # 6.6 A through a fuse of 5 A for a second, which stands that for five at least
    assert "diode_overloaded" in codes(large)
    assert not {"fuse_opens_on_inrush", "fuse_ages_on_inrush"} & codes(large)


def test_the_supercapacitor_is_full_after_forty_seconds_and_needs_seven_cells() -> None:
    boat = solved("supercapacitor")
    assert boat.hold_up["ready_after_s"] == pytest.approx(40.0, abs=3.0)
    early = solved("supercapacitor", {"crank.key_on_before": "10 s"})
    assert early.display.minimum_voltage < solved("restarting").display.minimum_voltage
    assert solved("supercapacitor", {"hold_up.cells": "6"}).hold_up["cell_voltage_margin_v"] < 0.0


def test_two_displays_pull_each_other_down_and_the_newer_one_stands_it() -> None:
    older, newer = solved("two-displays").displays
    assert (older.name, newer.name) == ("wheelhouse", "fly bridge")
    assert older.restarts >= 1
    assert newer.holds
    assert newer.margin > 0.3
    light = {f"displays.1.{field}": "0.5 W" for field in ("power", "boot_power")}
    assert solved("two-displays", light).display.minimum_voltage > older.minimum_voltage + 0.5
    for changes in ({"feed.size": "10 AWG"}, {"feed.from": "battery"}):
        lifted = solved("two-displays", changes).display.minimum_voltage
        assert lifted - older.minimum_voltage == pytest.approx(1.2, abs=0.4)
