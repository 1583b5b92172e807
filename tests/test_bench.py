# SPDX-License-Identifier: GPL-3.0-or-later
"""The bench through ngspice: source against profile, display against the harness's law, classes, the command."""

from __future__ import annotations

import csv
import json
import math
import shutil
import subprocess
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from cranksag.circuit.bench import NO_HARNESS, STIFF, BenchSetup, boat_lead
from cranksag.circuit.boat import CONTACT_RESISTANCE
from cranksag.circuit.netlists import circuits_directory
from cranksag.cli.app import app
from cranksag.errors import InputError
from cranksag.examples import example_text
from cranksag.profiles import Profile, level_voltage, load_profile, points_profile, profile_names
from cranksag.resolve import Boat, resolve
from cranksag.scenario import loads_scenario
from cranksag.solver import Settings
from cranksag.verdict.bench import LevelResult, bench, level_document, remarks

BOATS = {12.0: "restarting", 24.0: "converter-24v"}
PINS = BenchSetup(through="pins")
FINE = 200_001  # [-] points of the dense grid


@cache
def boat_of(example: str, *changes: tuple[str, str]) -> Boat:
    return resolve(loads_scenario(example_text(example), example).with_overrides(dict(changes)))


def only(boat: Boat, profile: Profile, setup: BenchSetup = PINS) -> LevelResult:
    [result] = bench(boat, profile, setup=setup)
    return result


SHIPPED = [(name, level.name) for name in profile_names() for level in load_profile(name).levels]


@pytest.mark.parametrize(("name", "level"), SHIPPED)
def test_the_source_in_ngspice_is_the_profile_to_a_millivolt(name: str, level: str) -> None:
    profile = load_profile(name)
    [result] = bench(boat_of(BOATS[profile.nominal_voltage or 0.0]), profile, [level])
    time, emf = result.traces.time - result.start, result.traces.signals["source_emf"]
    assert np.abs(level_voltage(result.level, time) - emf).max() < 1e-6
    # between ngspice's own points too: a sine drawn with steps h is off by 1 V x (2 pi 2 Hz)2 h2 / 8, 0.4 mV at 4.5 ms
    dense = np.linspace(time[0], time[-1], FINE)
    dense = np.sort(np.concatenate([dense, np.linspace(-0.01, 0.5, 20_001)]))
    assert np.abs(level_voltage(result.level, dense) - np.interp(dense, time, emf)).max() < 1e-3


def test_the_source_of_a_users_log() -> None:
    # A log of 1,500 points with noise: what ngspice plays is what the rows say.
    rng = np.random.default_rng(7)
    time = np.cumsum(rng.uniform(0.3e-3, 2e-3, 1500))
    volts = np.round(9.0 + 2.0 * np.cos(7.0 * time) + rng.normal(0.0, 0.3, 1500), 3)
    text = ", ".join(f"{t * 1e3:.4f} ms={v:.3f} V" for t, v in zip(time, volts, strict=True))
    result = only(boat_of("restarting"), points_profile(text))
    found = np.interp(time - time[0] + result.start, result.traces.time, result.traces.signals["source_emf"])
    assert np.abs(found - volts).max() < 1e-3


# --- the display behind the harness ----------------------------------------------------------------------------


def drop_law(volts: float, power: float, other: float, supply: float, back: float) -> float:
    """Voltage of a constant power behind wires at a steady source, by fixed-point iteration of Ohm's law."""
    at_display = volts
    for _ in range(200):
        current = power / at_display
        at_display = volts - (supply + back) * (current + other)
    return at_display


def test_the_harness_drop_counts_at_the_feed_and_not_at_the_pins() -> None:
    # Written values of the boat "restarting": 9 W, and a run solenoid of 1 A through the same wires out and back.
    boat = boat_of("restarting")
    profile = points_profile("0 s=12 V, 10 ms=10 V, 2 s=10 V, 2.01 s=12 V")
    [load] = boat.loads
    assert (load.kind, load.at, load.return_to) == ("current", "feed", "display return")
    other = load.amount
    feed = boat.feed
    supply = feed.resistance + feed.joints + CONTACT_RESISTANCE + STIFF
    back = feed.return_resistance + feed.return_joints
    power = boat.displays[0].circuit.power
    through = only(boat, profile, BenchSetup())
    at_pins = only(boat, profile)
    for result, law in (
        (through, drop_law(10.0, power, other, supply, back)),
        (at_pins, drop_law(10.0, power, other, CONTACT_RESISTANCE + STIFF + 2 * NO_HARNESS, 2 * NO_HARNESS)),
    ):
        settled = np.interp(1.9 + result.start, result.traces.time, result.traces.signals["display"])
        assert settled == pytest.approx(law, abs=2e-3)  # 1 mohm ties, a solver tolerance of 1e-3 relative of a drop
    assert through.display.minimum_voltage < at_pins.display.minimum_voltage - 0.2
    assert at_pins.source_minimum == pytest.approx(10.0, abs=2e-3)


def test_a_published_source_resistance_is_in_the_source() -> None:
    # DC-10615-E:2007 7.4 prints 0.02 ohm: the terminal lies that much under the profile for the feed's current.
    [result] = bench(boat_of("restarting"), load_profile("dc-10615"), ["cold"])
    signals = result.traces.signals
    drop = signals["source_emf"] - signals["source"] - 0.02 * signals["feed_current"]
    closing = np.abs(result.traces.time - result.start) < 5e-3  # the start signal charges its wire
    # start wire: 1 uF follows 12.6 to 5.0 V in 5 ms, 1.5 mA in 0.02 ohm are 30 uV; its 10 kohm take 25 uV
    assert np.abs(drop[~closing]).max() < 6e-5
    assert signals["feed_current"].max() > 1.0


# --- verdict and class -----------------------------------------------------------------------------------------

# The display of "restarting": brown-out 8.5 V for 2 ms at the pins, restarts above 9.5 V.


@pytest.mark.parametrize(
    ("points", "letter", "restarts"),
    [
        ("0 s=12 V, 5 ms=9 V, 1 s=9 V, 1.1 s=12 V", "A", 0),
        ("0 s=12 V, 0.2 ms=8 V, 1 ms=8 V, 1.2 ms=12 V, 1 s=12 V", "B", 0),
        ("0 s=12 V, 5 ms=8 V, 40 ms=8 V, 50 ms=12 V", "C", 1),
        ("0 s=12 V, 5 ms=8 V, 40 ms=8 V, 50 ms=12 V, 1 s=12 V, 1.01 s=7 V, 1.2 s=7 V, 1.3 s=12 V", "C", 2),
        ("0 s=12 V, 5 ms=8 V, 40 ms=8 V, 50 ms=9 V, 3 s=9 V", "D", 1),
        ("0 s=12 V, 5 ms=7 V", "D", 1),
        ("0 s=9 V, 5 ms=8.8 V, 1 s=9 V", "D", 0),
        ("0 s=9 V, 5 ms=8.8 V, 1 s=12 V", "C", 0),  # does not run at rest: it fails from the start
    ],
)
def test_functional_classes(points: str, letter: str, restarts: int) -> None:
    result = only(boat_of("restarting"), points_profile(points))
    assert (result.functional_class, result.display.restarts) == (letter, restarts)
    if restarts or letter in "AB":
        assert result.display.holds == (letter in "AB")
    assert (result.display.dark_time is None) == (letter == "D")
    assert any(n.code == "never_started" for n in result.notes) == (restarts == 0 and letter in "CD")
    hints = [n.message for n in result.notes if n.code == "ends_low"]
    assert len(hints) == (letter == "D")
    assert all("boots again above 9.5 V" in hint for hint in hints)


def test_time_below_threshold_is_the_profiles_own_at_the_pins() -> None:
    # 12 to 8 V in 40 ms, 100 ms there, back in 80 ms: under 8.5 V for 1/8 of each ramp and the hold. The series
    # resistance of 2.1 mohm shifts the crossing by 2.1 mohm x 2.1 A = 4.4 mV of ramps of 100 and 50 V/s, 0.13 ms.
    result = only(boat_of("restarting"), points_profile("0 s=12 V, 40 ms=8 V, 140 ms=8 V, 220 ms=12 V"))
    assert result.display.time_below_threshold == pytest.approx(5e-3 + 0.1 + 10e-3, abs=1.5e-4)
    assert level_document(result)["minimum_at_s"] == pytest.approx(0.09, abs=0.0501)


def test_a_lower_profile_is_never_better() -> None:
    boat = boat_of("restarting")
    lowest, below = [], []
    for dip in (10.0, 9.0, 8.4, 7.0, 5.0, 3.0):
        result = only(boat, points_profile(f"0 s=12 V, 5 ms={dip} V, 300 ms={dip} V, 350 ms=12 V"), BenchSetup())
        lowest.append(result.display.minimum_voltage)
        below.append(result.display.time_below_threshold)
        assert result.display.minimum_voltage < result.source_minimum <= dip + 1e-3
    assert lowest == sorted(lowest, reverse=True)
    assert below == sorted(below)


# --- hold-up branches ------------------------------------------------------------------------------------------


def test_the_sag_reaches_the_relays_coil() -> None:
    # The example's relay must operate at 7.2 V at 20 degC. A profile that falls to 5 V in 5 ms starves it; a start
    # signal that comes before the fall, as on a boat, closes it at 12.6 V, and 5 V hold it (must-release 1.2 V).
    boat, profile = boat_of("standby-pack"), load_profile("dc-10615")
    [hard] = bench(boat, profile, ["cold"])
    [led] = bench(boat, profile, ["cold"], BenchSetup(start_lead=boat_lead(boat)))
    # at the end the voltage passes 7.2 V again while the key is still held
    assert 10.07 < level_document(hard)["hold_up"]["relay_closes_s"] < 10.1
    assert [n.code for n in hard.notes] == ["hold_up_late"]
    assert hard.functional_class == "C"
    assert led.functional_class == "A"
    assert level_document(led)["hold_up"]["relay_closes_s"] < 0.0 < level_document(led)["hold_up"]["relay_opens_s"]
    moment, time, signals = led.start + 5.0, led.traces.time, led.traces.signals
    at = {name: float(np.interp(moment, time, values)) for name, values in signals.items()}
    # the source's 6.5 V less 0.1 ohm of wire; the coil returns to the block, which a milliohm of the bench lifts by the
    # display's ampere or two
    assert at["relay_coil"] == pytest.approx(at["source"] - 0.1 * at["relay_coil_current"], abs=3e-3)


def test_the_start_signal_stands_for_the_crank_part_alone() -> None:
    [result] = bench(boat_of("standby-pack"), load_profile("gs-95003-2"))
    time, signal = result.traces.time - result.start, result.traces.signals["start_signal"]
    on = time[(signal > 1.0) & (time > -1.0)]  # at key-on the display's inrush lifts its return and the open coil
    assert on[0] == pytest.approx(0.0, abs=2e-3)
    assert on[-1] == pytest.approx(10.17, abs=2e-3)


@pytest.mark.parametrize("example", ["none", "standby-pack", "reservoir", "supercapacitor", "house-feed"])
def test_every_branch_stands_on_the_bench(example: str) -> None:
    boat = boat_of("restarting") if example == "none" else boat_of(example)
    results = list(bench(boat, load_profile("iso-16750-2-12v")))
    assert [r.level.name for r in results] == ["I-2003", "I", "II", "III", "IV"]
    for result in results:
        document = level_document(result)
        assert document["hold_up"]["branch"] == boat.branch
        assert all(math.isfinite(v) for v in document.values() if isinstance(v, float))
    if example == "house-feed":  # a bank of its own holds through everything
        assert {r.functional_class for r in results} == {"A"}
    if example == "none":  # 8.0 V at the tap of a display that wants 8.5 V at its pins
        assert {r.functional_class for r in results} == {"C"}


def test_a_reservoir_lengthens_what_is_ridden_through() -> None:
    dip = points_profile("0 s=12 V, 2 ms=7 V, 30 ms=7 V, 35 ms=12 V")
    dips = [only(boat_of(name), dip, BenchSetup()) for name in ("restarting", "reservoir")]
    assert [d.functional_class for d in dips] == ["C", "A"]


def test_a_bank_that_is_not_charged_yet_is_told() -> None:
    slow = boat_of("supercapacitor", ("hold_up.capacitance", "40 F"), ("hold_up.charge_current", "1 A"))
    [result] = bench(slow, load_profile("iso-16750-2-12v"), ["I-2003"])
    assert "hold_up_not_charged" in [n.code for n in result.notes]


def test_a_converter_on_24_volts() -> None:
    # The example's step-down unit cuts out below 18 V or so: every level of the document goes below that.
    results = list(bench(boat_of("converter-24v"), load_profile("iso-16750-2-24v")))
    assert all(r.hold_up["cut_outs"] >= 1 for r in results)


@pytest.mark.parametrize(
    ("node", "before"), [("starter stud", True), ("battery switch", True), ("feed", True), ("s terminal", False)]
)
def test_a_sense_pin_finds_its_node_on_the_bench(node: str, before: bool) -> None:
    # This profile never falls to 5 V, but the S terminal is dead before and after the crank: the display is off then.
    sense = (("displays.0.sense_threshold", "5 V"), ("displays.0.sense_from", node))
    result = only(boat_of("restarting", *sense), points_profile("0 s=12 V, 5 ms=9.5 V, 1 s=9.5 V, 1.1 s=12 V"))
    assert ("never_started" in [n.code for n in result.notes]) == (not before)
    assert result.functional_class == ("A" if before else "D")


@pytest.mark.parametrize("example", ["reservoir", "standby-pack"])
def test_shorter_steps_change_nothing(example: str) -> None:
    boat, profile = boat_of(example), load_profile("iso-16750-2-12v")
    [usual] = bench(boat, profile, ["III"])
    [fine] = bench(boat, profile, ["III"], ladder=(Settings("short steps", ceiling_scale=0.01),))
    assert len(fine.traces.time) > 10 * len(usual.traces.time)
    # a relay's closing moves by some tenths of a millisecond on a ramp of 70 V/s, hence 5 mV and 2 ms
    assert usual.display.minimum_voltage == pytest.approx(fine.display.minimum_voltage, abs=5e-3)
    assert usual.display.time_below_threshold == pytest.approx(fine.display.time_below_threshold, abs=2e-3)
    assert usual.functional_class == fine.functional_class


def test_another_system_voltage_is_refused() -> None:
    with pytest.raises(InputError, match="24 V boats and this one has 12 V"):
        bench(boat_of("restarting"), load_profile("iso-16750-2-24v"))
    with pytest.raises(InputError, match="12 V boats and this one has 24 V"):
        bench(boat_of("converter-24v"), load_profile("cs-11979"))
    own = points_profile("0 s=24 V, 1 s=20 V")
    assert any("rests at 24 V" in r for r in remarks(boat_of("restarting"), own, PINS))


def test_an_unknown_level_is_refused_before_anything_runs() -> None:
    with pytest.raises(InputError, match="no level"):
        bench(boat_of("restarting"), load_profile("cs-11979"), ["warm", "cool"])


def test_the_worst_display_stands_for_the_boat() -> None:
    result = only(boat_of("two-displays"), points_profile("0 s=12 V, 5 ms=7 V, 40 ms=7 V, 50 ms=12 V"), BenchSetup())
    assert len(result.classes) == 2
    assert result.functional_class == max(result.classes)
    assert result.display.margin == min(d.margin for d in result.displays)


# --- the netlist by hand, and the command ----------------------------------------------------------------------


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="plain ngspice is not installed")
@pytest.mark.parametrize("top", ["none", "reservoir", "standby_pack"])
def test_the_netlist_runs_by_hand(top: str, tmp_path: Path) -> None:
    folder = tmp_path / "circuits"
    shutil.copytree(circuits_directory(), folder)
    deck = folder / f"{top}.cir"
    deck.write_text(deck.read_text().replace("boat.inc", "bench.inc"))
    done = subprocess.run(["ngspice", "-b", deck.name], cwd=folder, capture_output=True, text=True, timeout=120)
    [line] = [x for x in done.stdout.splitlines() if x.startswith("battery_minimum")]
    assert float(line.split("=")[1].split()[0]) == pytest.approx(8.0, abs=1e-3), done.stdout
    assert "display_minimum" in done.stdout


@dataclass(frozen=True)
class Done:
    """What the command ended with."""

    returncode: int
    stdout: str
    stderr: str


def run(*words: str) -> Done:
    done = CliRunner().invoke(app, ["bench", *words])
    return Done(done.exit_code, done.stdout, done.stderr)


@pytest.fixture(autouse=True)
def _in_a_folder_with_a_boat(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "boat.toml").write_text(example_text("restarting"))
    monkeypatch.chdir(tmp_path)


def test_json_and_waveforms(tmp_path: Path) -> None:
    chosen = ["--profile", "iso-16750-2-12v", "--level", "III", "--level", "I-2003"]
    done = run("boat.toml", *chosen, "--json", "--waveforms", "w.csv")
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    assert document["profile"] == "iso-16750-2-12v"
    assert [level["level"] for level in document["levels"]] == ["III", "I-2003"]
    for level in document["levels"]:
        assert {"minimum_voltage_v", "time_below_threshold_s", "restarts", "functional_class"} <= set(level)
        assert level["functional_class"] == "C"
    assert [level["provenance"] for level in document["levels"]] == ["memory", "published"]
    assert document["functional_classes"]["provenance"] == "memory"
    with (tmp_path / "w.csv").open() as file:
        rows = list(csv.DictReader(file))
    for level in document["levels"]:
        mine = [row for row in rows if row["level"] == level["level"]]
        time = np.array([float(row["time_s"]) for row in mine])
        source = np.array([float(row["source_v"]) for row in mine])
        wanted = level_voltage(load_profile("iso-16750-2-12v").level(level["level"]), time)
        assert np.abs(source - wanted)[time > -1.0].max() < 1e-3  # 2 A in 0.1 mohm, and nine digits
        after = [float(row["display_v"]) for row in mine if float(row["time_s"]) >= 0.0]
        assert min(after) == pytest.approx(level["minimum_voltage_v"], abs=1e-6)


def test_table_for_people() -> None:
    done = run("boat.toml", "--profile", "lv-124-e11")
    assert done.returncode == 0, done.stderr
    for word in ("warm-long", "cold-normal", "cold-severe", "memory", "published", "from memory", "class"):
        assert word in done.stdout


def test_list() -> None:
    done = run("--profile", "list")
    assert done.returncode == 0, done.stderr
    assert all(name in done.stdout for name in profile_names())
    document = json.loads(run("--profile", "list", "--json").stdout)
    assert [p["profile"] for p in document["profiles"]] == list(profile_names())


def test_own_profile_and_check(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text("time_s,volts\n0,12.4\n0.01,7\n0.5,7\n0.6,12.4\n")
    done = run("boat.toml", "--profile", "log.csv", "--json", "--check")
    assert done.returncode == 1
    [level] = json.loads(done.stdout)["levels"]
    assert (level["provenance"], level["restarts"]) == ("user", 1)
    done = run("boat.toml", "--points", "0 s=12 V, 1 s=11.5 V", "--check", "--through", "pins", "-q")
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["boat.toml"], "a profile is needed"),
        (["--profile", "cs-11979"], "a scenario file is needed"),
        (["boat.toml", "--profile", "cs-1197"], "did you mean"),
        (["boat.toml", "--profile", "cs-11979", "--level", "hot"], "its levels: cold, warm"),
        (["boat.toml", "--profile", "iso-16750-2-24v"], "24 V boats"),
        (["boat.toml", "--profile", "none.csv"], "none.csv: cannot be read"),
        (["boat.toml", "--profile", "cs-11979", "--points", "0 s=1 V"], "give one of them"),
        (["boat.toml", "--profile", "cs-11979", "--start-lead", "3 V"], "--start-lead"),
        (["boat.toml", "--profile", "cs-11979", "--waveforms", "boat.toml"], "overwritten"),
    ],
)
def test_usage_errors(words: list[str], told: str) -> None:
    done = run(*words)
    assert (done.returncode, done.stdout) == (2, "")
    assert told in done.stderr
    assert "Traceback" not in done.stderr
