# SPDX-License-Identifier: GPL-3.0-or-later
"""The displays' circuits in their drop class and the start circuit among published limits, for every boat."""

from __future__ import annotations

import dataclasses
from functools import lru_cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cranksag.circuit.boat import chain_nodes
from cranksag.circuit.timing import key_times
from cranksag.cli.summary import _wiring
from cranksag.examples import example_names, example_text
from cranksag.parts.joints import start_circuit_limit
from cranksag.report import next_steps
from cranksag.resolve import Boat, resolve
from cranksag.resolve.drops import CircuitDrop, display_drops
from cranksag.resolve.model import ConverterAhead, StandbyPack
from cranksag.scenario import loads_scenario
from cranksag.simulate import simulate
from cranksag.verdict.cranking import plateau
from cranksag.verdict.document import document
from cranksag.verdict.results import Result, WiringCheck
from cranksag.verdict.series import mean
from cranksag.verdict.wiring import BETWEEN, OVER, START_DROP, WITHIN

PLAIN = """title = "test boat"
[feed]
length = "30 ft"
size = "16 AWG"
joints = "40 mohm"
return_joints = "20 mohm"
[[displays]]
power = "12 W"
"""
LOAD = '[[loads]]\nname = "run solenoid"\nat = "{}"\n{}\n'


def boat(extra: str = "", changes: dict[str, str] | None = None) -> Boat:
    return resolve(loads_scenario(PLAIN + extra).with_overrides(changes or {}))


def drops(of: Boat) -> tuple[CircuitDrop, ...]:
    return display_drops(of.feed, of.displays, of.loads, of.hold_up, of.nominal_voltage)


@lru_cache
def cranked(name: str, *changes: tuple[str, str]) -> Result:
    return simulate(loads_scenario(example_text(name), name).with_overrides(dict(changes)))


def start(result: Result) -> WiringCheck:
    return next(check for check in result.wiring if check.code == START_DROP)


def codes(result: Result) -> set[str]:
    return {note.code for note in result.warnings}


# --- the displays' circuits -----------------------------------------------------------------------------------


def test_the_feed_s_drop_is_ohms_law_on_both_conductors_and_their_joints() -> None:
    """16 AWG is 1.309 mm2 (ASTM B258): 9.144 m of it 0.1229 ohm at 20 degC with 2 % of lay, twice, and 60 mohm."""
    (feed,) = drops(boat())
    assert feed.current == pytest.approx(1.0)
    assert feed.drop == pytest.approx(2 * 0.017241 * 9.144 / 1.309 * 1.02 + 0.06, rel=1e-3)
    assert feed.kind.share == pytest.approx(feed.drop / 12.0)
    assert feed.kind.name == "3 %"


@pytest.mark.parametrize(
    ("at", "fields", "supply", "back"),
    [
        ("feed", 'current = "1 A"', 1.0, 1.0),
        ("feed", 'power = "12 W"', 1.0, 1.0),
        ("feed", 'resistance = "12 ohm"', 1.0, 1.0),
        ("feed", 'current = "1 A"\nreturn_to = "engine block"', 1.0, 0.0),
        ("display supply", 'current = "1 A"', 1.0, 1.0),
        ("display supply", 'current = "1 A"\nreturn_to = "engine block"', 1.0, 0.0),
        ("feed", 'current = "1 A"\nfrom_time = "start"', 0.0, 0.0),
        ("feed", 'current = "1 A"\nuntil = "fire"', 0.0, 0.0),
        ("starter stud", 'current = "1 A"', 0.0, 0.0),
    ],
)
def test_what_the_key_leaves_on_in_the_same_conductors_counts(at: str, fields: str, supply: float, back: float) -> None:
    alone, found = boat(), boat(LOAD.format(at, fields))
    added = drops(found)[0].drop - drops(alone)[0].drop
    feed = alone.feed
    there, home = feed.resistance + feed.joints, feed.return_resistance + feed.return_joints
    assert added == pytest.approx(supply * there + back * home, abs=1e-12)


@pytest.mark.parametrize(
    ("power", "verdict", "warned"), [("12 W", "3 %", False), ("25 W", "10 %", False), ("60 W", "over 10 %", True)]
)
def test_each_class_is_told_with_its_standard_and_only_what_is_beyond_all_is_a_warning(
    power: str, verdict: str, warned: bool
) -> None:
    found = boat(changes={"displays.0.power": power})
    (feed,) = drops(found)
    assert feed.kind.name == verdict
    assert "ABYC E-11 and ISO 13297" in feed.message
    notes = [note for note in found.warnings if note.code == "feed_drop"]
    assert bool(notes) is warned
    assert all(note.message.startswith(feed.message) for note in notes)
    words = {"3 %": "which class binds it", "10 %": "for the class that binds it", "over 10 %": "the binding figure"}
    assert words[verdict] in feed.message


@given(st.floats(0.5, 160.0), st.floats(1.01, 3.0))
def test_more_power_never_lowers_the_share_nor_betters_the_class(power: float, more: float) -> None:
    base = boat(changes={"displays.0.power": f"{power!r} W"})
    worse = boat(changes={"displays.0.power": f"{power * more!r} W"})
    order = ("3 %", "10 %", "over 10 %")
    assert drops(worse)[0].kind.share > drops(base)[0].kind.share
    assert order.index(drops(worse)[0].kind.name) >= order.index(drops(base)[0].kind.name)
    for one in (base, worse):
        assert (drops(one)[0].kind.share > 0.1) is ("feed_drop" in {note.code for note in one.warnings})


def test_a_converter_s_feed_carries_its_input_current() -> None:
    found = boat(
        '[hold_up]\nbranch = "converter"\nefficiency = "50 %"\nquiescent_power = "0 W"\ninput_limit = "20 A"\n'
    )
    assert isinstance(found.hold_up, ConverterAhead)
    (feed,) = drops(found)
    assert feed.current == pytest.approx(2.0, rel=1e-6)


def test_the_wires_of_a_pack_and_a_house_feed_are_classed_and_one_too_thin_is_warned_about() -> None:
    pack = boat('[hold_up]\nbranch = "standby pack"\n')
    assert isinstance(pack.hold_up, StandbyPack)
    _, wires = drops(pack)
    assert wires.drop == pytest.approx(pack.hold_up.fuse_resistance)  # 1 A
    house = '[house]\n[hold_up]\nbranch = "house feed"\n'
    for extra, changes in (("", {}), (house, {"hold_up.length": "100 m"})):
        codes_of = {note.code for note in boat(extra, changes).warnings}
        assert ("hold_up_drop" in codes_of) is bool(extra)
    assert [d.code for d in drops(boat('[hold_up]\nbranch = "reservoir"\n'))] == ["feed_drop"]


# --- the start circuit ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", example_names())
def test_the_sound_start_circuit_of_every_example_is_within_what_is_published_and_no_warning(name: str) -> None:
    result = cranked(name)
    assert start(result).verdict in (WITHIN, BETWEEN)
    assert not {START_DROP, "feed_drop", "hold_up_drop"} & codes(result)
    assert [c["code"] for c in document(result)["wiring"]] == [c.code for c in result.wiring]


def test_the_start_circuit_s_drop_is_its_current_times_its_resistance() -> None:
    """At the engine room's temperature; all the battery delivers flows through it, some in hold-in coil and feed."""
    result = cranked("standby-pack")
    check = start(result)
    ohm = sum(e.resistance + e.joints for e in (*result.boat.positive, *result.boat.negative))
    assert check.drop is not None
    assert check.current == pytest.approx(result.starter.crank_current, rel=1e-3)
    window = plateau(result.traces, key_times(result.boat.crank))
    assert window is not None
    delivered = -mean(result.traces.time, result.traces.signals["battery_current"], *window)
    assert check.current is not None
    assert check.current < delivered < 1.05 * check.current
    assert check.drop == pytest.approx(delivered * ohm, rel=2e-3)  # inductance and eddies average out over compressions
    assert check.share == pytest.approx(check.drop / 12.0)


def test_heat_is_no_fault_of_the_cables() -> None:
    """The limits are for 20 degC: a hot engine room changes the drop as cranking, not the resistance told."""
    cool, hot = (start(cranked("hot-restart", ("temperature.engine_room", t))) for t in ("20 degC", "85 degC"))
    assert hot.resistance == pytest.approx(cool.resistance)
    assert hot.drop is not None
    assert cool.drop is not None
    assert hot.drop > 1.1 * cool.drop
    assert hot.verdict == cool.verdict == BETWEEN


def test_a_corroded_ground_is_warned_about_with_side_limit_source_and_next_step() -> None:
    result = cranked("standby-pack", ("cables.negative.0.joints", "2 mohm"))
    assert start(result).verdict == OVER
    (told,) = [note.message for note in result.warnings if note.code == START_DROP]
    for part in ("ground side drops", "limit 0.2 V (TM 5-3820-256-24-4 p. 450)", "battery - to starter -", "disagree"):
        assert part in told
    assert "battery + to starter terminal drops" not in told
    (step,) = [s for s in next_steps(result) if s.startswith("Measure the start circuit")]
    assert "published limits 0.7 V and 0.2 V" in step
    assert "published limit 0.5 V" in step
    assert any(line == f"start circuit: beyond every published limit, see the warning {START_DROP}"
               for line in _wiring(result))  # fmt: skip


def test_a_thin_cable_is_named_with_the_limit_for_its_length() -> None:
    result = cranked("standby-pack", ("cables.positive.0.size", "4 AWG"))
    (told,) = [note.message for note in result.warnings if note.code == START_DROP]
    assert "battery + to starter terminal drops" in told
    assert "battery cable (cables.positive.0) drops" in told
    assert "ground side" not in told


def test_a_worn_main_contact_is_named_though_no_limit_on_the_whole_counts_it() -> None:
    """5 mohm at some 300 A: 1.5 V, of 0.2 V that TM 5-3820-256-24-4 leaves a solenoid switch."""
    worn, new = (start(cranked("standby-pack", ("starter.contact_resistance", r))) for r in ("5 mohm", "0.05 mohm"))
    assert "main contact (starter.contact_resistance) drops 1." in worn.message
    assert "limit 0.2 V (TM 5-3820-256-24-4" in worn.message
    assert "main contact" not in new.message
    assert worn.resistance == new.resistance


def test_a_24_v_boat_is_held_against_24_v_limits() -> None:
    sound = start(cranked("converter-24v"))
    tight, wide = start_circuit_limit(24.0)
    assert [limit.limit for limit in sound.limits[:2]] == [tight.resistance, wide.resistance]
    assert START_DROP in codes(cranked("converter-24v", ("cables.negative.0.joints", "4 mohm")))


def test_where_nothing_cranks_the_resistance_alone_is_judged() -> None:
    check = start(cranked("only-clicks"))
    assert check.drop is check.current is check.share is None
    assert check.verdict == BETWEEN
    corroded = cranked("only-clicks", ("cables.negative.0.joints", "5 mohm"))
    assert not corroded.cranks.engages
    assert START_DROP in codes(corroded)
    assert any("published limits 0.7 V and 0.2 V" in step for step in next_steps(corroded))


@settings(max_examples=8, deadline=None)
@given(st.floats(0.0, 4e-3), st.floats(0.0, 2e-3))
def test_a_worse_joint_never_betters_the_verdict(joint: float, more: float) -> None:
    order = (WITHIN, BETWEEN, OVER)
    short = ("crank.key_held", "0.6 s"), ("crank.after", "50 ms")
    found = [
        cranked("standby-pack", ("cables.positive.2.joints", f"{ohm!r} ohm"), *short) for ohm in (joint, joint + more)
    ]
    better, worse = (start(result) for result in found)
    assert better.resistance is not None
    assert worse.resistance == pytest.approx(better.resistance + more, abs=1e-12)
    assert order.index(worse.verdict) >= order.index(better.verdict)
    for result in found:
        assert (START_DROP in codes(result)) is (start(result).verdict == OVER)
        assert (start(result).verdict == OVER) is ((start(result).resistance or 0.0) > 2e-3)


def test_a_battery_switch_is_known_by_its_part_under_any_name() -> None:
    """Named otherwise it was no switch to the report, the taps and the faults; a second one has a node of its own."""
    text = example_text("restarting").replace(
        'name = "battery switch"', 'name = "main isolator"\npart = "battery switch"'
    )
    assert "main isolator" in text
    renamed = resolve(loads_scenario(text, "renamed"))
    assert [element.is_switch for element in renamed.positive] == [False, True, False]
    assert not any(note.code == "no_battery_switch" for note in renamed.warnings)
    named = resolve(loads_scenario(example_text("restarting"), "named"))
    assert chain_nodes(renamed) == chain_nodes(named) == (["bat", "pos0", "sw", "stud"], ["block", "0"])
    twice = dataclasses.replace(
        named, positive=(named.positive[0], named.positive[1], named.positive[1], *named.positive[2:])
    )
    assert chain_nodes(twice)[0] == ["bat", "pos0", "sw", "pos2", "stud"]
