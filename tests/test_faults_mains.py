# SPDX-License-Identifier: GPL-3.0-or-later
"""Faults of main cables, link, alternator, isolator, key contacts and input diodes, run through the real ngspice."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from cranksag.examples import example_names, example_text
from cranksag.parts.fuse import conductor_withstand_time
from cranksag.quantities import ConductorSize
from cranksag.resolve import Boat, resolve
from cranksag.scenario import loads_scenario
from cranksag.studies.faultedits import FAULT_SHORT, Edit, Fault, Swap
from cranksag.studies.faultlist import single_faults
from cranksag.studies.faultmains import ALTERNATOR, CONTACT_WIRE, LINK, main_faults
from cranksag.studies.faultreading import FaultRow
from cranksag.studies.faultrun import make_bench, run_fault
from cranksag.studies.faults import run_faults
from cranksag.studies.faultshorts import SHORTED
from cranksag.verdict.series import between

Run = Callable[..., FaultRow]
ISOLATED = (("link.kind", "diode isolator"),)


@cache
def _boat(name: str, changes: tuple[tuple[str, str], ...] = ()) -> Boat:
    return resolve(loads_scenario(example_text(name), name).with_overrides(dict(changes)))


@cache
def _rows(name: str, part: str, changes: tuple[tuple[str, str], ...] = ()) -> dict[str, FaultRow]:
    rows = run_faults(_boat(name, changes), lambda f: f.part == part)
    return {row.fault: row for row in rows[1:]}


def _codes(row: FaultRow) -> set[str]:
    return {n.code for n in (*row.dangers, *row.warnings)}


def _current(row: FaultRow, element: str) -> float:
    return next(c.current for c in row.currents if c.element == element)


# shorts that no fuse ends --------------------------------------------------------------------------------------------


def _short_current(boat: Boat, upto: int) -> float:
    """What a battery gives into a short behind `upto` elements, by its own law: no slow polarisation yet [A]."""
    battery = boat.battery
    elements = (*boat.positive[:upto], *boat.negative)
    ohm = battery.resistance_instant + sum(e.resistance + e.joints for e in elements) + FAULT_SHORT

    def left(current: float) -> float:
        lost = battery.activation_voltage * math.asinh(current / battery.activation_current)
        return battery.open_circuit_voltage - lost - ohm * current

    return float(brentq(left, 0.0, battery.open_circuit_voltage / ohm))


@pytest.mark.parametrize("name", ["restarting", "converter-24v", "key-cut"])
@pytest.mark.parametrize(("part", "upto"), [("battery cable", 1), ("switch to starter", 3)])
def test_a_shorted_main_cable_draws_what_battery_and_cables_let_through(name: str, part: str, upto: int) -> None:
    row = _rows(name, part)["shorted to ground"]
    # the double layer is charged within 0.1 s, in which the slow resistance takes up to 1 %
    assert _current(row, "start battery") == pytest.approx(_short_current(_boat(name), upto), rel=0.03)
    assert {n.code for n in row.dangers} == {SHORTED}
    assert row.cranks is False
    ends = "ahead of the battery switch" if part == "battery cable" else "only the battery switch ends it"
    assert ends in row.message
    assert "fire" in row.message


def test_the_time_of_a_shorted_cable_is_that_of_its_thinnest_copper() -> None:
    changes = (("cables.negative.0.size", "2 AWG"),)
    row = _rows("restarting", "battery cable", changes)["shorted to ground"]
    told = float(row.message.partition(" is at its limit ")[2].split(" s;")[0].split()[-1])
    drawn = float(row.message.partition(" A out of")[0].split()[-1])
    area = 33.6e-6  # [m2] 2 AWG, ASTM B258
    assert ConductorSize("AWG", "2") == _boat("restarting", changes).values["cables.negative.0.size"].value
    assert "copper of 2 AWG" in row.message
    assert told == pytest.approx(conductor_withstand_time(area, drawn), rel=0.06)  # two digits are printed


def test_a_shorted_main_cable_is_not_the_hold_ups_doing() -> None:
    row = _rows("standby-pack", "battery cable")["shorted to ground"]
    assert row.from_hold_up is False
    assert row.runs == 1


def test_a_short_of_linked_banks_draws_from_both() -> None:
    row = _rows("paralleled-banks", LINK)["shorted to ground"]
    assert {n.code for n in row.dangers} == {SHORTED}
    assert all(_current(row, bank) > 500.0 for bank in ("start battery", "house bank"))
    assert "out of the start battery and" in row.message


def test_an_isolator_keeps_the_batteries_out_of_a_shorted_alternator_cable() -> None:
    row = _rows("house-feed", ALTERNATOR, ISOLATED)["shorted to ground"]
    assert not row.danger
    assert max(_current(row, f"isolator's {side} diode") for side in ("start", "house")) < 0.1
    bare = _rows("house-feed", ALTERNATOR)["shorted to ground"]
    assert {n.code for n in bare.dangers} == {SHORTED}
    assert "up to" in bare.message


@pytest.mark.parametrize("name", [n for n in example_names() if n not in ("only-clicks", "hot-restart")])
def test_a_short_behind_the_start_relay_is_computed_and_arcs_when_it_ends(name: str) -> None:
    """Chopped in no time its hundreds of amperes drove the stud to kilovolts."""
    row = _rows(name, CONTACT_WIRE)["shorted to ground"]
    assert {n.code for n in row.dangers} == {SHORTED}
    assert "could not be computed" not in row.message
    assert row.display_highest is not None
    assert row.display_highest < 3.0 * _boat(name).battery.open_circuit_voltage


# the alternator ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "changes", "words"),
    [
        ("restarting", (), "surges at the display"),
        ("key-cut", (), "but not at the display"),  # its display hangs on the battery
        ("converter-24v", (), "151 to 202 V"),
        ("house-feed", ISOLATED, ""),  # the alternator keeps the house bank
    ],
)
def test_a_lost_battery_cable_is_a_load_dump_where_the_alternator_keeps_no_battery(
    name: str, changes: tuple[tuple[str, str], ...], words: str
) -> None:
    row = _rows(name, "battery cable", changes)["broken"]
    assert ("load_dump" in _codes(row)) == bool(words)
    assert words in row.message
    assert not row.danger
    assert row.cranks is False


def test_a_broken_alternator_cable_charges_nothing_and_surges_nowhere_else() -> None:
    row = _rows("restarting", ALTERNATOR)["broken"]
    assert _codes(row) & {"charge_changed", "load_dump"} == {"charge_changed"}
    assert "the start battery gets 0 A instead of 60 A" in row.message


@pytest.mark.parametrize(("side", "other"), [("start", "house"), ("house", "start")])
def test_an_open_isolator_diode_leaves_its_bank_uncharged(side: str, other: str) -> None:
    bank = {"start": "start battery", "house": "house bank"}
    rows = _rows("house-feed", f"isolator's {side} diode", ISOLATED)
    for fault in ("open", "reversed"):
        assert f"the {bank[side]} gets 0 A instead of" in rows[fault].message
        assert f"the {bank[other]} gets 0 A" not in rows[fault].message


def test_a_shorted_isolator_diode_lets_the_house_bank_crank() -> None:
    rows = _rows("house-feed", "isolator's house diode", ISOLATED)
    row = rows["short"]
    through = [_current(row, f"isolator's {side} diode") for side in ("start", "house")]
    assert through[0] == pytest.approx(through[1], rel=1e-3)  # one current through both
    assert through[0] > 60.0 * 2
    assert {n.code for n in row.dangers} == {"conductor_overloaded"}
    assert "fuse the wire from the isolator to each bank" in row.message
    assert not rows["open"].danger


def test_a_welded_link_lets_both_banks_sag() -> None:
    row = _rows("house-feed", LINK)["welded"]
    assert row.display_holds is False
    assert _current(row, "house bank") > 100.0


# key, main contact, input diode --------------------------------------------------------------------------------------


@pytest.mark.parametrize("part", ["key's START contact", "starter solenoid's main contact"])
def test_a_contact_that_welds_cranks_with_the_key_off(part: str) -> None:
    row = _rows("restarting", part)["welded"]
    assert {n.code for n in row.dangers} == {"uncommanded_crank"}
    assert "the starter engages by itself" in row.message
    bench = make_bench(_boat("restarting"))
    fault = next(f for f in single_faults(_boat("restarting")) if (f.part, f.fault) == (part, "welded"))
    run = run_fault(bench, fault, phases=1)
    assert float(np.ptp(run.traces.signals["crank_angle"])) > 0.5
    assert _rows("restarting", part)["open"].cranks is False


def test_a_feed_that_the_boat_keeps_live_does_not_end_with_the_bank() -> None:
    """A bank that settles from its charge to the boat's volts was told as the feed's only source, for 7 min."""
    row = _rows("reservoir", "key's RUN contact")["welded"]
    assert {"engine_will_not_stop", "excitation_back_fed"} <= _codes(row)
    assert "is empty" not in row.message
    assert "not charged any more" not in row.message


def test_an_input_diode_that_fails_is_told_of_its_own_display() -> None:
    rows = _rows("two-displays", "input diode of display 'fly bridge'")
    assert set(rows) == {"short", "open", "reversed"}
    for fault in ("open", "reversed"):
        assert "display 'fly bridge' is dead in RUN" in rows[fault].message
    assert "dead" not in rows["short"].message
    assert not any("wheelhouse" in f.part for f in single_faults(_boat("two-displays")))


def _inside(edits: tuple[Edit, ...]) -> float:
    """Lowest voltage inside the second display on a battery connected the wrong way round [V]."""
    bench = make_bench(_boat("two-displays"))
    run = run_fault(bench, Fault("input diode", "and a reversed battery", (*edits, Swap("Xbattery"))), phases=2)
    shift = run.times.key_on
    return float(between(run.traces.time, run.traces.signals["display_1_inside"], -shift, 0.3)[1].min())


def test_only_a_sound_input_diode_keeps_a_reversed_supply_out() -> None:
    faults = {f.fault: f for f in single_faults(_boat("two-displays")) if f.part.startswith("input diode")}
    assert _inside(()) > -0.5
    assert _inside(faults["open"].edits) > -0.5
    for fault in ("short", "reversed"):
        assert _inside(faults[fault].edits) < -5.0
        assert "reversed supply" in faults[fault].note


# names ---------------------------------------------------------------------------------------------------------------


@given(st.lists(st.sampled_from(["cable", "battery cable", "bank link", "strap"]), min_size=5, max_size=5))
def test_cables_of_one_name_stay_apart(names: list[str]) -> None:
    paths = ["cables.positive.0.name", "cables.positive.2.name", "cables.negative.0.name"]
    boat = _boat("paralleled-banks", tuple(zip(paths, names, strict=False)))
    told = [(f.part, f.fault) for f in single_faults(boat)]
    assert len(set(told)) == len(told)
    assert sum(f.fault in ("broken", "open") for f in main_faults(boat)) == len(boat.positive) + 4


def test_a_house_bank_behind_an_isolator_that_loses_its_negative_can_be_computed() -> None:
    """A floating bank had no state to step from, and the row was told as a danger."""
    text = example_text("paralleled-banks")
    isolated = loads_scenario(text, "banks").with_overrides({"link.kind": "diode isolator"})
    (row,) = run_faults(resolve(isolated), lambda fault: fault.part == "house bank negative")[1:]
    assert not row.danger
    assert row.display_alive is False  # that display hangs on the house bank's panel
