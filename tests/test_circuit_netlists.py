# SPDX-License-Identifier: GPL-3.0-or-later
"""The netlists of circuits/: runnable by hand, found in one place, used whole, and deaf to a scenario's text."""

from __future__ import annotations

import dataclasses
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cranksag.circuit import build_circuit
from cranksag.circuit.netlists import branch_names, circuits_directory, read_netlist
from cranksag.errors import DeckError, InputError
from cranksag.examples import example_names, example_text
from cranksag.resolve import resolve
from cranksag.scenario import BRANCHES, loads_scenario
from cranksag.simulate import simulate

NGSPICE = shutil.which("ngspice")
by_hand = pytest.mark.skipif(NGSPICE is None, reason="the ngspice program is not installed, only its library")

TOPS = tuple(branch.replace(" ", "_") for branch in BRANCHES)

BOAT = """
title = "test boat"
[crank]
key_on_before = "300 ms"
key_held = "300 ms"
after = "200 ms"
[[displays]]
name = "helm"
"""


def run_by_hand(deck: Path, folder: Path) -> str:
    """What plain ngspice prints about a deck, from an empty home."""
    done = subprocess.run(
        [str(NGSPICE), "-b", str(deck)],
        capture_output=True,
        text=True,
        cwd=folder,
        env={"PATH": os.environ["PATH"], "HOME": str(folder)},
        timeout=120,
        check=False,
    )
    return done.stdout + done.stderr


def measured(text: str) -> dict[str, float]:
    """Results of the `.meas` lines."""
    return {m[1]: float(m[2]) for m in re.finditer(r"^(\w+)\s*=\s*(-?\d\.\d+e[+-]\d+)", text, re.MULTILINE)}


@by_hand
@pytest.mark.parametrize("branch", TOPS)
def test_each_top_circuit_runs_by_hand_and_prints_its_measures(branch: str, tmp_path: Path) -> None:
    text = run_by_hand(circuits_directory() / f"{branch}.cir", tmp_path)
    values = measured(text)
    assert {"display_minimum", "battery_minimum", "starter_peak", "display_runs"} <= set(values), text[-2000:]
    assert "failed" not in text
    assert "too small" not in text
    assert 3.0 < values["battery_minimum"] < 12.0
    assert 200.0 < values["starter_peak"] < 3000.0
    assert 0.0 <= values["display_minimum"] < 14.5
    assert "unrecognized" not in text.lower()


def test_there_is_one_top_circuit_for_each_branch() -> None:
    assert set(TOPS) <= set(branch_names())


def test_each_subcircuit_is_used_by_some_boat() -> None:
    used: set[str] = set()
    extra = {
        "kinds": '[[loads]]\ncurrent = "1 A"\nfrom_time = "fire"\nuntil = "fire+1 s"\n[[loads]]\npower = "5 W"\n'
        '[[loads]]\nresistance = "10 ohm"\n',
    }
    boats = [(BOAT + extra["kinds"], {"hold_up.branch": branch}) for branch in BRANCHES if branch != "house feed"]
    boats.append((BOAT + "[house]\n", {"hold_up.branch": "house feed", "link.kind": "diode isolator"}))
    pack = {"hold_up.branch": "standby pack"}
    boats += [(BOAT, pack | {"hold_up.suppression": kind}) for kind in ("none", "zener", "resistor", "diode")]
    boats += [(BOAT, pack | {"hold_up.recharge": "charger"}), (BOAT, {"displays.0.sense_threshold": "4 V"})]
    boats.append((BOAT, {"battery.open_circuit_voltage": "13.0 V"}))
    for text, changes in boats:
        deck = build_circuit(resolve(loads_scenario(text).with_overrides(changes))).deck.text
        used |= set(re.findall(r"^\.subckt (\S+)", deck, re.MULTILINE | re.IGNORECASE))
    shipped = {name for branch in TOPS for name in read_netlist(branch).subcircuits}
    assert shipped - used == set()


@pytest.mark.parametrize("volts", [6.4, 12.8, 25.6])
def test_a_charger_s_limit_follows_the_pack_s_voltage(volts: float) -> None:
    """What 10 ohm let through from the float charge to a discharged pack: 13.6 and 12.0 V for each 12.8 V of a full."""
    changes = {
        "hold_up.branch": "standby pack",
        "hold_up.chemistry": "agm",
        "hold_up.pack_voltage": f"{volts} V",
        "hold_up.recharge": "charger",
        "hold_up.recharge_resistance": "1 ohm",
    }
    deck = build_circuit(resolve(loads_scenario(BOAT).with_overrides(changes))).deck.text
    (line,) = (line for line in deck.splitlines() if line.startswith("Xcharger"))
    values = {name: float(text) for name, text in re.findall(r"(\w+)=(\S+)", line)}
    assert values["vset"] == pytest.approx(13.6 * volts / 12.8)
    assert values["imax"] == pytest.approx((13.6 - 12.0) * volts / 12.8)


def test_every_included_file_exists_and_every_part_is_included() -> None:
    folder = circuits_directory()
    parts = {path.name for path in (folder / "parts").glob("*.inc")}
    for top in folder.glob("*.cir"):
        included = set(re.findall(r"^\.include parts/(\S+)", top.read_text(encoding="utf-8"), re.MULTILINE))
        assert included <= parts, top.name
    everywhere = "".join(path.read_text(encoding="utf-8") for path in folder.glob("*.*"))
    assert {name for name in parts if f"parts/{name}" not in everywhere} == set()


def test_no_expression_works_out_its_constants_at_every_step() -> None:
    """ngspice puts the figures for the names in the braces of a B source and keeps the arithmetic between them."""
    for path in [*circuits_directory().rglob("*.inc"), *circuits_directory().rglob("*.cir")]:
        for line in path.read_text(encoding="utf-8").splitlines():
            if line.upper().startswith("B"):
                assert not re.search(r"\{\s*[^{}\s]*[^{}\w\s][^{}]*\}", line), f"{path.name}: {line}"


def test_missing_netlists_are_a_named_fault() -> None:
    with pytest.raises(DeckError):
        read_netlist("no_such_branch")


def test_an_editable_install_sees_an_edited_netlist_at_once(tmp_path: Path) -> None:
    """A copy of the tree, run twice in one process: the second run meets an edited part."""
    root = circuits_directory().parent
    if not (root / "src" / "cranksag").is_dir():
        pytest.skip("the netlists are the packaged copy: not an editable install")
    shutil.copytree(
        root / "src" / "cranksag", tmp_path / "src" / "cranksag", ignore=shutil.ignore_patterns("__pycache__")
    )
    shutil.copytree(root / "circuits", tmp_path / "circuits")
    script = f"""
import os, pathlib, time
from cranksag.circuit.netlists import LOOKED_AT_EVERY, circuits_directory, read_netlist
from cranksag.scenario import loads_scenario
from cranksag.simulate import simulate
assert LOOKED_AT_EVERY <= 1.0
boat = loads_scenario({BOAT!r})
assert circuits_directory() == pathlib.Path({str(tmp_path)!r}) / "circuits", circuits_directory()
before = simulate(boat).starter.peak_current
part = circuits_directory() / "parts" / "battery.inc"
text = part.read_text()
assert "R0 e0 e1 {{r0}}" in text
part.write_text(text.replace("R0 e0 e1 {{r0}}", "R0 e0 e1 {{r0+5m}}"))
os.utime(part, ns=(1, 1))
time.sleep(LOOKED_AT_EVERY)
after = simulate(boat).starter.peak_current
print(before, after)
"""
    env = os.environ | {"PYTHONPATH": str(tmp_path / "src")}
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, env=env, check=False, cwd=tmp_path
    )
    assert done.returncode == 0, done.stderr
    before, after = map(float, done.stdout.split())
    assert after < 0.8 * before


@by_hand
@pytest.mark.parametrize("name", example_names())
def test_the_complete_deck_gives_plain_ngspice_the_same_minimum(name: str, tmp_path: Path) -> None:
    """Within 1 mV, and the display's voltage is the difference of two nodes that `.meas` prints one by one."""
    scenario = loads_scenario(example_text(name), name)
    scenario = scenario.with_overrides(
        {"crank.key_on_before": "500 ms", "crank.key_held": "600 ms", "crank.after": "300 ms"}
    )
    boat = resolve(scenario)
    circuit = build_circuit(boat)
    result = simulate(scenario)
    low = int(np.argmin(result.traces.signals["display"]))
    raw = tmp_path / "out.raw"
    deck = tmp_path / "boat.cir"
    deck.write_text(circuit.deck.complete(), encoding="ascii")
    values = measured(run_by_hand(deck, tmp_path))
    begin = result.traces.time[0]
    for node, trace in (
        ("ds", "display_supply"),
        ("stud", "starter_stud"),
        ("bat", "battery"),
        ("dr", "display_return"),
    ):
        if f"min_v_{node}" in values:
            assert values[f"min_v_{node}"] == pytest.approx(float(result.traces.signals[trace].min()), abs=1e-3)
            assert values[f"max_v_{node}"] == pytest.approx(float(result.traces.signals[trace].max()), abs=1e-3)
    # the display's own minimum, from the raw file of the same deck
    subprocess.run(
        [str(NGSPICE), "-b", "-r", str(raw), str(deck)],
        capture_output=True,
        cwd=tmp_path,
        env={"PATH": os.environ["PATH"], "HOME": str(tmp_path)},
        timeout=120,
        check=False,
    )
    time, supply, back = _raw(raw, "v(ds)", "v(dr)")
    after = time + begin >= result.traces.time[low] - 0.05
    assert float((supply - back)[after].min()) == pytest.approx(float(result.traces.signals["display"][low]), abs=1e-3)


def _raw(path: Path, *names: str) -> list[np.ndarray]:
    """Vectors of a binary raw file, time first."""
    header, data = path.read_bytes().split(b"Binary:\n", 1)
    found = [line.split()[1].lower() for line in header.decode().split("Variables:\n")[1].splitlines() if line.strip()]
    table = np.frombuffer(data, dtype=np.float64)
    table = table[: table.size // len(found) * len(found)].reshape(-1, len(found))
    return [table[:, 0], *(table[:, found.index(name)] for name in names)]


NASTY = st.one_of(
    st.sampled_from(
        [
            "x\n.control\nshell touch {mark}\n.endc",
            "x\r.control\rshell touch {mark}\r.endc",
            "x\u2028.control\u2028shell touch {mark}",
            "*# shell touch {mark}",
            "*ng_script\nshell touch {mark}",
            "$ ; {{1/0}} `touch {mark}`",
            "\\",
            "\"quotes\" and 'quotes'",
            "ünïcödé 船 🚤",
            "a" * 200,
            ".end",
            ".include /etc/passwd",
            "V1 bat 0 100",
            "+ r=0",
        ]
    ),
    st.text(max_size=120),
)


def _toml(text: str) -> str:
    return '"' + "".join(c if (c.isalnum() and c.isascii()) or c == " " else f"\\U{ord(c):08x}" for c in text) + '"'


@settings(max_examples=25)
@given(title=NASTY, names=st.lists(NASTY, min_size=4, max_size=4))
def test_text_of_a_scenario_has_no_effect_on_the_deck(title: str, names: list[str]) -> None:
    """Cables, loads and displays are named by their number in the deck; the title is one comment line."""
    words = [t.replace("{mark}", "/nowhere") for t in (title, *names)]
    text = _boat_with_names(words)
    try:
        scenario = loads_scenario(text)
    except InputError:  # control characters, empty or overlong text: refused at the door
        return
    plain = build_circuit(resolve(loads_scenario(_boat_with_names(["a", "b", "c", "d", "e"])))).deck
    deck = build_circuit(resolve(scenario)).deck
    assert deck.text == plain.text
    lines, reference = deck.lines(), plain.lines()
    assert lines[1:] == reference[1:]
    assert lines[0].startswith("* ")
    assert lines[0].isascii()
    assert "\n" not in lines[0]
    assert "\r" not in lines[0]


def _boat_with_names(words: list[str]) -> str:
    title, cable, ground, load, display = map(_toml, words)
    return f"""
title = {title}
[crank]
key_on_before = "100 ms"
key_held = "100 ms"
after = "100 ms"
[[cables.positive]]
name = {cable}
resistance = "1 mohm"
[[cables.negative]]
name = {ground}
resistance = "1 mohm"
[[loads]]
name = {load}
current = "1 A"
[[displays]]
name = {display}
"""


def test_hostile_text_runs_no_command(tmp_path: Path) -> None:
    mark = tmp_path / "touched"
    words = [
        f"x\n.control\nshell touch {mark}\n.endc\n",
        "*# shell",
        "`id`",
        "$(id)",
        f"\\\n.control\nshell touch {mark}",
    ]
    scenario_text = _boat_with_names([w.replace("\n", " ") for w in words])
    simulate(loads_scenario(scenario_text))
    assert not mark.exists()
    deck = build_circuit(resolve(loads_scenario(scenario_text))).deck
    if NGSPICE is not None:
        path = tmp_path / "deck.cir"
        path.write_text(deck.complete(), encoding="ascii")
        run_by_hand(path, tmp_path)
        assert not mark.exists()
    # straight into the deck, past the scenario's own checks
    raw = dataclasses.replace(deck, title=words[0])
    assert raw.lines()[0].count("\n") == 0
    if NGSPICE is not None:
        path.write_text(raw.complete(), encoding="ascii")
        run_by_hand(path, tmp_path)
        assert not mark.exists()
