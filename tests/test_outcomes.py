# SPDX-License-Identifier: GPL-3.0-or-later
"""What can go wrong in a real boat arises from the circuit: each outcome beside a boat that differs in one cause.

No outcome is written into the model as a rule. Each test changes the cause alone (a temperature, a wire, a coil) and
looks at the verdict and the waveforms of both boats.
"""

from __future__ import annotations

import re
from functools import lru_cache

import numpy as np
import pytest

from cranksag.examples import example_text
from cranksag.scenario import loads_scenario
from cranksag.simulate import simulate
from cranksag.verdict.results import Result
from cranksag.verdict.series import between, crossings, mean

BOAT = """
title = "test boat"
[temperature]
ambient = "20 degC"
[battery]
rating = "800 A"
state_of_charge = "90 %"
health = "90 %"
[engine]
fires_after = "300 ms"
[crank]
key_on_before = "300 ms"
key_held = "1 s"
after = "500 ms"
[feed]
from = "starter stud"
size = "14 AWG"
[[displays]]
name = "helm"
power = "9 W"
boot_time = "100 ms"
"""
HOUSE = """
[house]
rating = "800 A"
"""
START, RELEASE = 0.3, 1.3  # [s] from key-on, as BOAT has them

WEAK = {"battery.health": "40 %", "battery.state_of_charge": "50 %", "temperature.ambient": "-5 degC"}
PACK = {"hold_up.branch": "standby pack"}
NO_RELAY = {"start_circuit.relay": "none"}
SHORT_WIRE = NO_RELAY | {"start_circuit.size": "8 AWG", "start_circuit.length": "2 m"}


@lru_cache(maxsize=128)
def _crank(extra: str, changes: tuple[tuple[str, str], ...]) -> Result:
    return simulate(loads_scenario(BOAT + extra).with_overrides(dict(changes)))


def crank(*changes: dict[str, str], extra: str = "") -> Result:
    """The test boat with some fields changed, cranked once."""
    merged = {path: text for part in changes for path, text in part.items()}
    return _crank(extra, tuple(sorted(merged.items())))


def codes(result: Result) -> set[str]:
    """Codes of the warnings."""
    return {note.code for note in result.warnings}


def signal(result: Result, name: str, moment: float) -> float:
    """A signal at a moment [s from key-on]."""
    return float(np.interp(moment, result.traces.time, result.traces.signals[name]))


def lowest(result: Result, name: str, begin: float, end: float) -> float:
    """Smallest value of a signal between two moments."""
    return float(between(result.traces.time, result.traces.signals[name], begin, end)[1].min())


def highest(result: Result, name: str, begin: float, end: float) -> float:
    """Largest value of a signal between two moments."""
    return float(between(result.traces.time, result.traces.signals[name], begin, end)[1].max())


# --- the hold-up relay ---------------------------------------------------------------------------


def test_a_hot_coil_does_not_pick_up_and_a_cold_one_does() -> None:
    """Copper at 85 degC has a quarter more resistance: 9.3 V at 20 degC become 11.7 V, more than S ever has."""
    coil = (
        PACK
        | SHORT_WIRE
        | {
            "hold_up.coil_at": "s terminal",
            "hold_up.must_operate": "9.3 V",
            "hold_up.placed_at": "engine room",
            "starter.pulls_in_at": "6.5 V",
        }
    )
    hot, cold = crank(coil, {"temperature.engine_room": "85 degC"}), crank(coil, {"temperature.engine_room": "20 degC"})
    assert hot.cranks.fires
    assert cold.cranks.fires
    assert hot.hold_up["relay_closes_s"] is None
    assert "hold_up_not_closing" in codes(hot)
    assert hot.display.restarts >= 1
    assert cold.hold_up["relay_closes_s"] < START + 0.02
    assert cold.display.restarts == 0


def test_a_starved_s_wire_never_gives_the_relay_its_volts_and_a_start_relay_does() -> None:
    coil = PACK | {"hold_up.coil_at": "s terminal", "hold_up.must_operate": "8 V"}
    starved = crank(coil, NO_RELAY, {"start_circuit.size": "14 AWG", "start_circuit.length": "30 ft"})
    relayed = crank(coil, {"start_circuit.size": "14 AWG", "start_circuit.length": "30 ft"})
    assert starved.hold_up["relay_closes_s"] is None
    assert highest(starved, "s_terminal", START + 0.02, RELEASE) < 8.0
    assert relayed.hold_up["relay_closes_s"] is not None
    assert relayed.display.holds


def test_the_relay_drops_out_in_the_sag_where_its_release_lies_above_it() -> None:
    weak = PACK | WEAK | {"battery.health": "42 %"}
    coil = weak | {"hold_up.coil_at": "s terminal", "hold_up.must_operate": "7.5 V"}
    drops = crank(coil, {"hold_up.must_release": "4.5 V"})
    stays = crank(coil, {"hold_up.must_release": "1.5 V"})
    assert drops.hold_up["chatter_count"] >= 1
    assert drops.display.restarts >= 1
    assert drops.hold_up["gap_s"] > 0.05
    assert stays.hold_up["chatter_count"] == 0
    assert stays.display.restarts == 0


def test_the_relay_chatters_with_the_solenoid_on_a_dying_battery() -> None:
    dying = crank(PACK, WEAK, {"battery.health": "15 %", "hold_up.coil_at": "s terminal"})
    sound = crank(PACK, {"hold_up.coil_at": "s terminal"})
    assert dying.hold_up["chatter_count"] >= 3
    assert "hold_up_chatter" in codes(dying)
    assert sound.hold_up["chatter_count"] == 0


def test_a_changeover_contact_leaves_a_gap_and_a_capacitor_bridges_it() -> None:
    change = PACK | {"hold_up.contact": "changeover"}
    gap = crank(change, {"displays.0.input_capacitance": "47 uF"})
    bridged = crank(change, {"displays.0.input_capacitance": "10 mF"})
    make = crank(PACK, {"displays.0.input_capacitance": "47 uF"})
    assert gap.hold_up["gap_s"] > 1e-3
    assert gap.display.restarts >= 1
    assert bridged.display.restarts == 0
    assert make.display.restarts == 0
    assert make.hold_up["gap_s"] < 1.5e-3 < gap.hold_up["gap_s"]


def test_back_fed_coils_delay_the_opening_after_key_release() -> None:
    """The closed main contact feeds S through the pull-in coil; a coil that hangs there stays in."""
    hangs = crank(PACK, {"hold_up.coil_at": "s terminal"})
    signal_with_relay = crank(PACK, {"hold_up.coil_at": "start signal"})
    signal_bare = crank(PACK, SHORT_WIRE, {"hold_up.coil_at": "start signal"})
    late = hangs.hold_up["relay_opens_s"] - RELEASE
    clean = signal_with_relay.hold_up["relay_opens_s"] - RELEASE
    fed_back = signal_bare.hold_up["relay_opens_s"] - RELEASE
    # the start relay parts the start signal from S: nothing comes back
    assert clean < 0.010
    assert late > clean + 0.008
    # with no start relay the key's wire *is* the S terminal
    assert fed_back > clean + 0.008
    # the divider of pull-in (0.3 ohm, from the motor stud) and hold-in (1 ohm, to ground): 1 / 1.3 of the stud
    moment = RELEASE + 0.006
    stud = signal(signal_bare, "motor_stud", moment)
    assert signal(signal_bare, "s_terminal", moment) == pytest.approx(stud / 1.3, abs=0.25)


def test_suppression_delays_the_release() -> None:
    opens = {
        kind: crank(PACK, {"hold_up.suppression": kind}).hold_up["relay_opens_s"]
        for kind in ("diode", "zener", "resistor")
    }
    assert opens["zener"] < opens["diode"]
    assert opens["resistor"] < opens["diode"]


# --- the start circuit ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pull_in", "hold_in", "expected"),
    [
        # Service manual of a 12 V 1.1 kW starter, p. 199: 0.484 and 1.055 ohm; 0.332 ohm together.
        ("0.484 ohm", "1.055 ohm", 6.7),
        # TM 5-2420-230-24-2 p. 13-33, upper end at 10 V: 97 A both coils, 19 A hold-in alone; 0.103 ohm together.
        ("0.1282 ohm", "0.5263 ohm", 3.5),
    ],
)
def test_a_long_thin_start_wire_only_clicks(pull_in: str, hold_in: str, expected: float) -> None:
    """60 ft of 16 AWG (4.016 ohm per 1000 ft, ASTM B258) is 0.241 ohm; 12 V at rest.

    By hand with 20 mohm of joints: 12 x 0.332 / (0.332 + 0.261) = 6.7 V, and 12 x 0.103 / 0.364 = 3.4 V. The published
    figures know no brushes; the pull-in coil returns through the motor, so the figure is taken without their drop, and
    0.25 V covers battery, battery cables and the rounding. With brushes S stands up to 0.6 V higher and still clicks.
    """
    coils = {"starter.pull_in": pull_in, "starter.hold_in": hold_in}
    wire = NO_RELAY | {
        "start_circuit.size": "16 AWG",
        "start_circuit.length": "30 ft",
        "start_circuit.joints": "20 mohm",
    }
    battery = {"battery.open_circuit_voltage": "12 V"}
    bare = crank(coils, wire, battery, {"starter.brush_drop": "0 V"})
    clicks = crank(coils, wire, battery)
    for result in (bare, clicks):
        assert not result.cranks.engages
        assert not result.cranks.turns
        assert "click" in result.cranks.reason
        reached, needed = (float(v) for v in re.findall(r"([0-9.]+) V", result.cranks.reason))
        assert reached < needed
        assert "not_cranking" in codes(result)
    assert signal(bare, "s_terminal", START + 0.5) == pytest.approx(expected, abs=0.25)
    assert 0.0 < signal(clicks, "s_terminal", START + 0.5) - signal(bare, "s_terminal", START + 0.5) < 0.7
    relayed = crank(coils, battery, {"start_circuit.size": "16 AWG", "start_circuit.length": "30 ft"})
    assert relayed.cranks.engages
    assert relayed.cranks.turns


def test_a_hot_solenoid_no_longer_pulls_in_through_the_same_wire() -> None:
    wire = NO_RELAY | {"start_circuit.size": "12 AWG", "start_circuit.length": "6 m"}
    cold, hot = crank(wire), crank(wire, {"temperature.engine_room": "80 degC"})
    assert cold.cranks.engages
    assert not hot.cranks.engages


def test_a_weak_battery_makes_the_solenoid_chatter() -> None:
    weak = crank(WEAK, SHORT_WIRE, {"battery.health": "15 %"})
    sound = crank(SHORT_WIRE)

    def closings(result: Result) -> int:
        return len(
            crossings(*between(result.traces.time, result.traces.signals["main_contact"], START, RELEASE), 0.6, True)
        )

    assert closings(weak) >= 5
    assert "chatters" in weak.cranks.reason
    assert closings(sound) == 1
    assert "chatters" not in sound.cranks.reason


def test_an_open_neutral_switch_blocks_the_start() -> None:
    blocked, closed = crank({"start_circuit.neutral_switch": "open"}), crank()
    assert not blocked.cranks.engages
    assert "neutral" in blocked.cranks.reason
    assert blocked.display.restarts == 0
    assert closed.cranks.engages


def test_the_pull_in_burst_starts_the_sag_before_the_main_contact_closes() -> None:
    """The start wire shares the feed's conductor: tens of amperes run in it before the motor draws anything."""
    shared = crank(SHORT_WIRE, {"start_circuit.shares_feed": "true", "feed.size": "10 AWG", "feed.length": "4 m"})
    apart = crank(SHORT_WIRE, {"feed.size": "10 AWG", "feed.length": "4 m"})
    made = crossings(shared.traces.time, shared.traces.signals["main_contact"], 0.6, True)[0]
    assert made > START + 0.01
    before = lowest(shared, "display", START - 1e-3, made - 1e-3)
    rest = signal(shared, "display", START - 1e-3)
    assert signal(shared, "pull_in_current", made - 2e-3) > 15.0
    assert before < rest - 1.0
    apart_made = crossings(apart.traces.time, apart.traces.signals["main_contact"], 0.6, True)[0]
    assert before < lowest(apart, "display", START - 1e-3, apart_made - 1e-3) - 0.5
    assert highest(shared, "starter_current", START, made - 1e-3) < 60.0  # the pull-in coil's own, through the motor


# --- the key -------------------------------------------------------------------------------------


def test_a_terminal_that_is_dead_in_start_cuts_the_display() -> None:
    at_house = {"feed.from": "battery", "feed.size": "8 AWG", "displays.0.brownout": "5 V"}
    cut, kept = crank(at_house, {"feed.dead_in_start": "true"}), crank(at_house)
    assert cut.display.restarts == 1
    assert signal(cut, "feed_current", START + 0.5) == pytest.approx(0.0, abs=1e-3)
    assert cut.display.source == "input capacitor"
    assert kept.display.restarts == 0


def test_a_break_of_the_key_is_bridged_by_the_input_capacitor_or_not() -> None:
    key = {"feed.from": "battery", "feed.size": "8 AWG", "feed.key_break": "5 ms", "displays.0.brownout": "5 V"}
    # C dV = P t / V: 9 W for 5 ms from 12.4 V down to 5 V take 0.7 mF at least
    small = crank(key, {"displays.0.input_capacitance": "220 uF"})
    large = crank(key, {"displays.0.input_capacitance": "4.7 mF"})
    none = crank(key, {"displays.0.input_capacitance": "220 uF", "feed.key_break": "0 ms"})
    assert small.display.restarts >= 1
    assert lowest(small, "display", START - 0.01, START) < 5.0
    assert large.display.restarts == 0
    assert none.display.restarts == 0


# --- the display ---------------------------------------------------------------------------------


def test_a_restart_loop_counts_every_restart() -> None:
    """In reset the display draws little, its supply rises, it boots, and its own current pulls it down again."""
    hungry = WEAK | {"feed.from": "battery", "displays.0.power": "18 W", "displays.0.boot_power": "25 W"}
    loop = crank(hungry, {"feed.size": "20 AWG", "feed.joints": "330 mohm"})
    stiff = crank(hungry, {"feed.size": "8 AWG", "feed.joints": "5 mohm"})
    assert loop.display.restarts > 2
    assert stiff.display.restarts == 1


def test_a_display_that_was_reset_before_start_and_stays_dark_does_not_hold() -> None:
    """A load at its feed pulls it below its brown-out 0.1 s after key-on and keeps it below its restart voltage."""
    heater = '[[loads]]\nname = "heater"\nat = "feed"\ncurrent = "15 A"\nfrom_time = "key on+0.1 s"\nuntil = "end"\n'
    thin = {"feed.joints": "200 mohm", "displays.0.restarts_above": "12 V"}
    dark = crank(thin, extra=heater)
    runs = dark.traces.signals["display_0_runs"]
    assert runs.max() > 0.5
    assert not np.any(runs[dark.traces.time > START - 0.1] > 0.5)
    assert not dark.display.holds
    assert dark.display.restarts == 1
    assert dark.display.first_reset_at == pytest.approx(0.1, abs=0.01)
    assert dark.display.demand_minimum_voltage == dark.display.minimum_voltage
    assert dark.display.dark_time is None


@pytest.mark.parametrize("reset_after", ["0 s", "2 ms", "1 s", "10 s"])
def test_a_display_starts_5_ms_after_its_supply_however_long_its_brown_out_takes(reset_after: str) -> None:
    """The input capacitor charges within a few tenths of a millisecond."""
    runs = crank({"displays.0.reset_after": reset_after, "crank.key_on_before": "2 s"}).traces
    first = crossings(runs.time, runs.signals["display_0_runs"], 0.5, rising=True)
    assert first[0] == pytest.approx(5e-3, abs=5e-4)


def test_in_reset_a_display_takes_its_reset_power_however_long_it_has_run() -> None:
    """Not the difference between running and booting, which would feed the boat where booting takes more."""
    brief = {"displays.0.reset_power": "0.5 W", "displays.0.boot_time": "1 ms", "crank.key_on_before": "20 s"}
    brief["displays.0.converter_minimum"] = "2 V"
    for power, boot in (("2 W", "40 W"), ("40 W", "2 W")):
        result = crank(WEAK | brief, {"displays.0.power": power, "displays.0.boot_power": boot})
        signals, time, first = result.traces.signals, result.traces.time, result.display.first_reset_at
        assert first is not None
        volts, cin = signals["display_0_inside"], result.boat.displays[0].circuit.input_capacitance
        taken = (signals["display_0_current"] - cin * np.gradient(volts, time)) * volts
        just = (time > first + 2e-4) & (time < first + 2e-3)
        assert just.sum() > 2
        assert float(np.median(taken[just])) == pytest.approx(0.5, abs=0.5)
        assert not np.any(signals["display_0_booted"][just] > 0.5)


@pytest.mark.parametrize(
    ("reset_after", "brownout", "health", "power"),
    [("0.02018 ms", 6.523, "41.3 %", "8.67 W"), ("0.02473 ms", 7.82, "65.3 %", "10.8 W"), ("0 s", 7.0, "50 %", "9 W")],
)
def test_no_display_restarts_below_its_restart_voltage(
    reset_after: str, brownout: float, health: str, power: str
) -> None:
    """The supply comes back slowly over the brown-out threshold, and the display waits for more than that."""
    changes = {
        "displays__0__reset_after": reset_after,
        "displays__0__brownout": f"{brownout} V",
        "displays__0__restarts_above": f"{brownout + 1.0} V",
        "crank__key_on_before": "1 s",
        "crank__key_held": "1.2 s",
        "engine__fires_after": "0.4 s",
        "battery__health": health,
        "displays__0__power": power,
    }
    text = example_text("two-displays")
    result = simulate(loads_scenario(text).with_overrides({k.replace("__", "."): v for k, v in changes.items()}))
    signals, time, circuit = result.traces.signals, result.traces.time, result.boat.displays[0].circuit
    judged = signals["display" if circuit.at == "pins" else "display_0_inside"]
    for moment in crossings(time, signals["display_0_runs"], 0.5, rising=True)[1:]:
        assert float(np.interp(moment - 3e-3, time, judged)) > circuit.restarts_above - 0.1


def test_a_display_asleep_behind_its_sense_pin_wakes_with_the_key() -> None:
    """Fed by a pack for ever, it rests in reset until the key brings its sense pin up, and boots then."""
    asleep = {"hold_up.branch": "standby pack", "hold_up.contact": "none", "displays.0.sense_from": "feed"}
    result = crank(asleep, {"displays.0.sense_threshold": "6 V"})
    runs, time = result.traces.signals["display_0_runs"], result.traces.time
    (woken,) = crossings(time, runs, 0.5, rising=True)[:1]
    assert 0.0 < woken < 2e-3
    before = time < -1e-3
    assert float(np.ptp(result.traces.signals["display"][before])) < 1e-3


def test_a_sense_pin_resets_while_the_supply_holds() -> None:
    supply = {
        "feed.from": "battery",
        "feed.size": "10 AWG",
        "displays.0.brownout": "6 V",
        "displays.0.sense_from": "starter stud",
    }
    reset = crank(supply, {"displays.0.sense_threshold": "8 V"})
    low = crank(supply, {"displays.0.sense_threshold": "4 V"})
    assert reset.display.margin > 0.5
    assert reset.display.restarts == 1
    assert "sense_reset" in codes(reset)
    assert low.display.restarts == 0


@pytest.mark.parametrize("threshold", ["15 V", "16.85 V"])
def test_a_sense_pin_stands_the_jump_of_the_return_at_key_on(threshold: str) -> None:
    """The inrush lifts the display's return by half the supply in no time, and the sense pin with it over its level."""
    pin = {"displays.0.sense_from": "battery", "displays.0.sense_threshold": threshold}
    long = {"feed.return_to": "battery negative", "feed.length": "28 m", "feed.size": "12 AWG"}
    result = crank({"battery.in_series": "2"}, pin, long)
    assert highest(result, "display_return", -1e-3, 1e-2) > 9.0
    assert result.traces.signals["display_0_runs"][-1] > 0.5


def test_brown_out_at_the_pins_or_behind_the_input() -> None:
    dip = {"displays.0.input_diode": "true", "displays.0.input_capacitance": "47 mF", "displays.0.brownout": "8.2 V"}
    pins = crank(dip, {"displays.0.brownout_at": "pins"})
    inside = crank(dip, {"displays.0.brownout_at": "internal"})
    assert pins.display.minimum_voltage == pytest.approx(inside.display.minimum_voltage, abs=0.3)
    assert pins.display.restarts >= 1
    assert pins.display.margin < -1.0
    assert inside.display.restarts == 0
    assert inside.display.margin > 0.1


def test_a_short_dip_is_harmless_where_the_brown_out_needs_longer() -> None:
    slow = crank({"displays.0.reset_after": "200 ms"})
    fast = crank({"displays.0.reset_after": "2 ms"})
    assert slow.display.restarts == 0
    assert slow.display.margin > 0.0
    assert slow.display.time_below_threshold == pytest.approx(fast.display.time_below_threshold, abs=10e-3)
    assert slow.display.time_below_threshold > 5e-3
    assert fast.display.restarts == 1


def test_dark_time_holds_the_boot_past_the_end_and_null_if_it_never_returns() -> None:
    returns = crank({"displays.0.boot_time": "5 s"})
    # the battery does not come back to 12.15 V within half a second of a hard crank
    never = crank(WEAK, {"displays.0.restarts_above": "12.15 V", "engine.fires_after": "never"})
    assert returns.display.dark_time is not None
    assert 5.0 < returns.display.dark_time < 6.5
    assert never.display.restarts == 1
    assert never.display.dark_time is None
    assert never.display.alarm_blind is not None  # the engine never ran


def test_alarms_are_blind_while_the_engine_runs_and_the_display_boots() -> None:
    quick, slow = crank({"displays.0.boot_time": "50 ms"}), crank({"displays.0.boot_time": "5 s"})
    never = crank({"displays.0.boot_time": "5 s", "engine.fires_after": "never"})
    assert quick.display.alarm_blind == 0.0
    assert slow.display.dark_time is not None
    assert slow.display.alarm_blind is not None
    fired = crossings(slow.traces.time, slow.traces.signals["fired"], 0.5, True)[0]
    reset = crossings(slow.traces.time, slow.traces.signals["display_0_runs"], 0.5, False)[0]
    assert slow.display.alarm_blind == pytest.approx(slow.display.dark_time - (fired - reset), abs=5e-3)
    assert never.display.alarm_blind == 0.0


def test_each_display_has_its_own_verdict_and_the_worst_one_leads() -> None:
    both = crank(extra='[[displays]]\nname = "tough"\npower = "6 W"\nbrownout = "4 V"\nconverter_minimum = "3.5 V"\n')
    assert [d.name for d in both.displays] == ["helm", "tough"]
    assert both.displays[0].restarts >= 1
    assert both.displays[1].restarts == 0
    assert both.display.name == "helm"


# --- engine and starter --------------------------------------------------------------------------


def test_an_engine_that_never_fires_is_too_slow_or_is_let_go_too_early() -> None:
    fires = crank()
    never = crank({"engine.fires_after": "never"})
    slow = crank({"engine.minimum_speed": "400 rpm"})
    early = crank({"engine.fires_after": "3 s"})
    assert fires.cranks.fires
    for result, word in ((never, "never"), (slow, "rpm"), (early, "released")):
        assert result.cranks.turns
        assert not result.cranks.fires
        assert word in result.cranks.reason
    assert highest(fires, "engine_speed", 0.0, 1.8) > 1.5 * highest(never, "engine_speed", 0.0, 1.8)


def test_a_key_that_is_only_touched_says_so() -> None:
    touched = crank({"crank.key_held": "60 ms"})
    bumped = crank({"crank.key_held": "100 ms"})
    stalled = crank(WEAK, {"battery.health": "25 %", "engine.friction_factor": "4", "starter.drops_out_at": "500 mV"})
    assert not touched.cranks.engages
    assert "released" in touched.cranks.reason
    assert bumped.cranks.engages
    assert not bumped.cranks.turns
    assert "released" in bumped.cranks.reason
    assert not stalled.cranks.turns
    assert "released" not in stalled.cranks.reason


def test_a_weaker_battery_cranks_slower_with_less_inrush_and_no_negative_voltage() -> None:
    results = [crank({"battery.health": f"{h} %"}) for h in (100, 60, 30, 12)]
    peaks = [r.starter.peak_current for r in results]
    speeds = [r.starter.crank_speed or 0.0 for r in results]
    minima = [r.battery.minimum_voltage for r in results]
    assert peaks == sorted(peaks, reverse=True)
    assert speeds == sorted(speeds, reverse=True)
    assert minima == sorted(minima, reverse=True)
    for result in results:
        assert lowest(result, "battery", 0.0, 1.8) > 0.0
        assert lowest(result, "starter_stud", 0.0, 1.8) > 0.0


def test_a_thinner_cable_does_the_same() -> None:
    thick = crank({"cables.positive.0.length": "6 m", "cables.positive.0.size": "2/0 AWG"})
    thin = crank({"cables.positive.0.length": "6 m", "cables.positive.0.size": "6 AWG"})
    assert thin.starter.peak_current < thick.starter.peak_current
    assert thin.starter.crank_speed is not None
    assert thick.starter.crank_speed is not None
    assert thin.starter.crank_speed < thick.starter.crank_speed
    assert thin.starter.stud_minimum_voltage > 0.0
    # and the battery itself sags less
    assert thin.battery.minimum_voltage > thick.battery.minimum_voltage


def test_a_pinion_that_is_withdrawn_leaves_the_motor_alone() -> None:
    """The engine rocks back on its compression after the release and does not turn the motor backwards.

    So the inrush of a second START half a second later stays below that of the first.
    """
    held, rest = 1.2, 0.5
    changes = {"crank.key_on_before": f"{START} s", "crank.key_held": f"{held} s", "crank.rest": f"{rest} s"}
    twice = changes | {"crank.attempts": "2", "crank.after": "0.1 s"}
    result = simulate(loads_scenario(example_text("restarting")).with_overrides(twice))
    again = START + held + rest
    assert lowest(result, "engine_speed", START + held, again) < -5.0
    assert float(result.traces.signals["motor_speed"].min()) > -1.0
    second = highest(result, "starter_current", again, again + 0.3)
    assert second < highest(result, "starter_current", START, START + 0.3)


def test_inrush_plateau_and_speed_arise_from_the_machine() -> None:
    series, magnet = crank(), crank({"starter.motor": "permanent magnet"})
    for result in (series, magnet):
        assert result.cranks.fires
        assert result.starter.crank_current is not None
        assert result.starter.peak_current > 2.0 * result.starter.crank_current
    assert series.starter.crank_speed != pytest.approx(magnet.starter.crank_speed, rel=0.01)


def test_the_load_vanishes_and_the_alternator_lifts_the_voltage_when_the_engine_fires() -> None:
    fires = crank({"crank.after": "2 s"})
    never = crank({"crank.after": "2 s", "engine.fires_after": "never"})
    rest = signal(fires, "battery", 0.0)
    assert signal(fires, "battery", 3.2) > rest + 0.1
    assert signal(fires, "battery", 3.2) > signal(never, "battery", 3.2) + 0.15
    assert signal(never, "battery", 3.2) < rest
    fired = crossings(fires.traces.time, fires.traces.signals["fired"], 0.5, True)[0]
    # the overrunning clutch lets the starter spin free: less current than while it turns the engine
    spinning, turning = (
        mean(r.traces.time, r.traces.signals["starter_current"], fired + 0.25, RELEASE - 5e-3) for r in (fires, never)
    )
    assert spinning < 0.7 * turning  # its no-load current is left


def test_the_alternator_comes_up_over_its_ramp() -> None:
    """With the starter still in the stud stands far below the set-point: the current is what the ramp allows."""
    quick, usual, slow = (
        crank({"alternator.rating": "100 A", "alternator.ramp": ramp}) for ramp in ("1 ms", "1 s", "20 s")
    )
    fired = crossings(usual.traces.time, usual.traces.signals["fired"], 0.5, True)[0]
    volts = [signal(run, "starter_stud", fired + 0.2) for run in (quick, usual, slow)]
    assert volts[0] > volts[1] + 0.2
    assert volts[1] > volts[2] + 0.03
    assert volts[1] - volts[2] < 0.4 * (volts[0] - volts[2])  # a fifth of the ramp


def test_the_engine_settles_at_its_idle_speed() -> None:
    run = crank({"crank.after": "3 s"})
    assert run.traces.signals["engine_speed"][-1] == pytest.approx(750.0 * 2.0 * np.pi / 60.0, rel=0.005)


def test_a_24_volt_boat() -> None:
    boat = crank({"battery.in_series": "2", "displays.0.brownout": "12 V"})
    assert boat.cranks.fires
    assert 20.0 < boat.battery.open_circuit_voltage < 26.5
    assert boat.starter.peak_current < crank().starter.peak_current
    assert boat.display.minimum_voltage > 12.0


# --- banks, feed points, loads -------------------------------------------------------------------


def test_paralleled_banks_sag_together() -> None:
    feed = {"feed.from": "house battery"}
    closed = crank(feed, {"link.kind": "closed"}, extra=HOUSE)
    opened = crank(feed, {"link.kind": "open"}, extra=HOUSE)
    isolated = crank(feed, {"link.kind": "diode isolator"}, extra=HOUSE)
    assert lowest(closed, "house_battery", START, RELEASE) < lowest(opened, "house_battery", START, RELEASE) - 1.5
    assert closed.display.minimum_voltage < opened.display.minimum_voltage - 1.0
    assert isolated.display.minimum_voltage == pytest.approx(opened.display.minimum_voltage, abs=0.05)


def test_battery_posts_stud_and_panel_as_feed_points() -> None:
    minimum = {
        node: crank({"feed.from": node}, extra=HOUSE).display.minimum_voltage
        for node in ("starter stud", "battery", "panel")
    }
    assert minimum["starter stud"] < minimum["battery"] - 0.5
    assert minimum["battery"] < minimum["panel"] - 1.0


def test_starter_cable_resistance_lifts_the_posts_and_lowers_the_stud() -> None:
    thin = {"cables.positive.0.resistance": "2 mohm"}
    thick = {"cables.positive.0.resistance": "0.3 mohm"}

    def positive(text: str, feed: str) -> float:
        cables = f'[[cables.positive]]\nname = "battery cable"\nresistance = "{text}"\n'
        return crank({"feed.from": feed, "feed.return_to": "battery negative"}, extra=cables).display.minimum_voltage

    assert positive(thin["cables.positive.0.resistance"], "battery") > positive(
        thick["cables.positive.0.resistance"], "battery"
    )
    assert positive(thin["cables.positive.0.resistance"], "starter stud") < positive(
        thick["cables.positive.0.resistance"], "starter stud"
    )


@pytest.mark.parametrize(
    ("law", "amount", "expected"),
    [("current", "5 A", 5.0), ("power", "60 W", 60.0 / 12.3), ("resistance", "3 ohm", 12.3 / 3.0)],
)
def test_a_load_draws_by_its_law_within_its_window(law: str, amount: str, expected: float) -> None:
    window = 'from_time = "key on+50 ms"\nuntil = "key on+150 ms"\n'
    load = f'[[loads]]\nname = "heater"\nat = "battery"\n{law} = "{amount}"\n{window}'
    result = crank(extra=load)
    assert signal(result, "load_0_current", 0.03) == pytest.approx(0.0, abs=1e-6)
    assert signal(result, "load_0_current", 0.10) == pytest.approx(expected, rel=0.03)
    assert signal(result, "load_0_current", 0.20) == pytest.approx(0.0, abs=1e-6)


def test_load_windows_hang_on_start_fire_and_end() -> None:
    loads = "".join(
        f'[[loads]]\nat = "battery"\ncurrent = "4 A"\nfrom_time = "{begin}"\nuntil = "{end}"\n'
        for begin, end in (("start+100 ms", "end"), ("key on", "fire"), ("fire+50 ms", "end"), ("start", "fire+100 ms"))
    )
    result = crank(extra=loads)
    fired = crossings(result.traces.time, result.traces.signals["fired"], 0.5, True)[0]
    on = {k: result.traces.signals[f"load_{k}_current"] for k in range(4)}

    def at(k: int, moment: float) -> bool:
        return float(np.interp(moment, result.traces.time, on[k])) > 2.0

    assert [at(0, t) for t in (START + 0.05, START + 0.15, 1.79)] == [False, True, True]
    assert [at(1, t) for t in (0.1, fired - 0.05, fired + 0.05)] == [True, True, False]
    assert [at(2, t) for t in (fired - 0.02, fired + 0.03, fired + 0.09)] == [False, False, True]
    assert [at(3, t) for t in (START - 0.02, fired + 0.05, fired + 0.14)] == [False, True, False]


def test_a_load_on_the_feed_lowers_the_display() -> None:
    load = '[[loads]]\nat = "feed"\ncurrent = "6 A"\nfrom_time = "start"\nuntil = "end"\n'
    assert crank(extra=load).display.minimum_voltage < crank().display.minimum_voltage - 0.5


# --- hold-up branches ----------------------------------------------------------------------------


def test_each_branch_cures_a_boat_that_restarts() -> None:
    assert crank().display.restarts >= 1
    assert crank(PACK).display.holds
    assert crank({"hold_up.branch": "house feed"}, extra=HOUSE).display.holds
    bank = {"crank.key_on_before": "10 s", "hold_up.capacitance": "200 mF"}
    assert crank({"hold_up.branch": "reservoir"}, bank).display.holds
    assert crank(
        {"hold_up.branch": "converter", "hold_up.cut_out": "5 V", "hold_up.restart_delay": "50 ms"}
    ).display.holds


def test_a_second_attempt_meets_a_reservoir_that_recharges_too_slowly() -> None:
    bank = {
        "hold_up.branch": "reservoir",
        "hold_up.capacitance": "240 mF",
        "hold_up.inrush_limit": "22 ohm",
        "feed.dead_in_start": "true",
        "crank.key_on_before": "60 s",
        "crank.key_held": "500 ms",
        "crank.attempts": "2",
        "engine.fires_after": "never",
        "displays.0.boot_time": "10 ms",
    }
    hasty, patient = crank(bank, {"crank.rest": "500 ms"}), crank(bank, {"crank.rest": "60 s"})
    resets = crossings(hasty.traces.time, hasty.traces.signals["display_0_runs"], 0.5, False)
    assert resets.size == 1
    assert resets[0] > 61.0  # in the second attempt, from 61.0 s on
    assert hasty.display.restarts == 1
    assert patient.display.restarts == 0


def test_a_supercapacitor_is_not_charged_at_the_first_crank() -> None:
    bank = {"hold_up.branch": "supercapacitor", "hold_up.charge_current": "5 A", "hold_up.inrush_limit": "500 mohm"}
    early, late = crank(bank), crank(bank, {"crank.key_on_before": "60 s"})
    assert early.display.restarts >= 1
    assert early.hold_up["ready_after_s"] is None
    assert late.display.restarts == 0
    assert 15.0 < late.hold_up["ready_after_s"] < 60.0


def test_a_supercapacitor_of_too_few_cells_is_over_voltage() -> None:
    few = crank({"hold_up.branch": "supercapacitor", "hold_up.cells": "4"})
    enough = crank({"hold_up.branch": "supercapacitor", "hold_up.cells": "7"})
    assert few.hold_up["cell_voltage_margin_v"] < 0.0
    assert "over_voltage" in {d.code for d in few.dangers}
    assert enough.hold_up["cell_voltage_margin_v"] > 0.0
    assert "over_voltage" not in {d.code for d in enough.dangers}


@pytest.mark.parametrize("direction", ["up", "up/down"])
def test_a_converter_holds_unless_it_cuts_out(direction: str) -> None:
    unit = {"hold_up.branch": "converter", "hold_up.direction": direction, "hold_up.restart_delay": "50 ms"}
    holds, cuts = crank(unit, {"hold_up.cut_out": "5 V"}), crank(unit, {"hold_up.cut_out": "9 V"})
    assert holds.display.holds
    assert holds.hold_up["cut_outs"] == 0
    assert cuts.hold_up["cut_outs"] >= 1
    assert cuts.display.restarts >= 1


def test_a_step_down_unit_cannot_lift_and_restarts_late() -> None:
    heavy = {"battery.in_series": "2", "hold_up.branch": "converter", "hold_up.direction": "down"}
    quick = crank(heavy, {"hold_up.restart_delay": "20 ms", "hold_up.cut_out": "19 V"})
    late = crank(heavy, {"hold_up.restart_delay": "200 ms", "hold_up.cut_out": "19 V"})
    sturdy = crank(heavy, {"hold_up.restart_delay": "200 ms", "hold_up.cut_out": "10 V"})
    twelve = {"hold_up.branch": "converter", "hold_up.cut_out": "5 V", "hold_up.restart_delay": "50 ms"}
    down, both = crank(twelve, {"hold_up.direction": "down"}), crank(twelve, {"hold_up.direction": "up/down"})
    assert sturdy.display.holds
    assert sturdy.hold_up["cut_outs"] == 0
    assert late.hold_up["cut_outs"] == quick.hold_up["cut_outs"] == 1
    assert late.display.dark_time is not None
    assert quick.display.dark_time is not None
    assert late.display.dark_time > quick.display.dark_time + 0.1
    assert down.display.restarts >= 1
    assert both.display.holds


def test_input_current_of_a_converter_rises_as_its_supply_sags() -> None:
    unit = crank({"hold_up.branch": "converter", "hold_up.cut_out": "5 V", "hold_up.restart_delay": "50 ms"})
    low = int(np.argmin(np.where(unit.traces.time > START, unit.traces.signals["converter_input"], np.inf)))
    moment = float(unit.traces.time[low])
    assert signal(unit, "converter_current", moment) > 1.4 * signal(unit, "converter_current", START - 0.01)


OVERLOADED = """title = "invented 24 V workboat, two displays behind a converter of 3 A"
[temperature]
ambient = "0 degC"
engine_room = "10 degC"
[battery]
part = "12 V 140 Ah flooded 800 A EN"
in_series = 2
health = "80 %"
[starter]
power = "5 kW"
[engine]
part = "6-cylinder direct diesel 7.8 L"
[panel]
length = "4 m"
size = "8 AWG"
[feed]
from = "panel"
size = "2.5 mm2"
return_to = "battery negative"
[[displays]]
part = "7 in display, 12 V"
[[displays]]
name = "fly"
part = "12 in display, 10-32 V"
[hold_up]
branch = "converter"
converter = "24 V to 12 V 3 A"
"""


def test_an_overloaded_converter_restarts_the_display_and_never_turns_it_round() -> None:
    """It hunts between cut-out and boot; a converter draws no power back from an output that is pulled below nil."""
    result = simulate(loads_scenario(OVERLOADED).with_overrides({"feed.length": "11.9 m"}))
    assert result.display.restarts > 50
    assert 2.0 < result.display.minimum_voltage < 9.5


def test_a_plate_below_the_usual_limit_is_the_limit_at_release() -> None:
    """A display that stands less than its class is told so when the alternator lifts its pins."""
    weak, usual = crank({"displays.0.maximum_supply": "13 V"}), crank({})
    assert "release_over_voltage" in {note.code for note in weak.warnings}
    assert "release_over_voltage" not in {note.code for note in usual.warnings}
    assert weak.display.minimum_voltage == usual.display.minimum_voltage
