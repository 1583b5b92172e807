# SPDX-License-Identifier: GPL-3.0-or-later
"""The solver against real ngspice: no wrong answer without a word."""

from __future__ import annotations

import math
import pickle
import threading
import time
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cranksag import errors
from cranksag.circuit import build_circuit
from cranksag.examples import example_text
from cranksag.resolve import resolve
from cranksag.scenario import loads_scenario
from cranksag.simulate import simulate
from cranksag.solver import (
    LADDER,
    STANDARD,
    Deck,
    Settings,
    Solver,
    deck_text,
    deck_title,
    get_solver,
    library_info,
    running,
)
from cranksag.solver.messages import Meaning, meaning_of_line

# An injected command would write this file into the working directory.
MARK = "injected"


def small_deck(text: str, *vectors: str, **changes: object) -> Deck:
    """A deck of 0.1 s with a wide envelope."""
    wanted = vectors or ("v(a)",)
    fields: dict[str, object] = {
        "vectors": wanted,
        "stop_time": 0.1,
        "envelope": dict.fromkeys(wanted, (-1e3, 1e3)),
        "step_ceiling": 1e-3,
    }
    return Deck(text, **{**fields, **changes})  # type: ignore[arg-type]


GOOD = small_deck("V1 a 0 12\nR1 a 0 1")
# Discontinuous without hysteresis: the step collapses but never below ngspice's least.
RUNAWAY = "V1 a 0 12\nR1 a b 1\nB1 b 0 I=v(b)>6 ? 100 : 0\nC1 b 0 1u ic=0"


@pytest.fixture
def solver() -> Solver:
    return get_solver()


def test_bad_netlist_never_returns_the_circuit_before_it(solver: Solver) -> None:
    assert solver.run(GOOD).vectors["v(a)"][-1] == 12.0
    with pytest.raises(errors.DeckError, match="unknown subckt"):
        solver.run(small_deck("V1 a 0 5\nX1 a 0 nowhere"))
    five = solver.run(small_deck("V1 a 0 5\nR1 a 0 1"))
    assert float(five.vectors["v(a)"].max()) == 5.0


def test_result_is_plain_numpy_and_owns_its_memory(solver: Solver) -> None:
    result = solver.run(small_deck("V1 a 0 12\nR1 a b 1\nC1 b 0 1m ic=0", "v(a)", "v(b)", "i(v1)"))
    assert list(result.vectors) == ["v(a)", "v(b)", "i(v1)"]
    kept = result.vectors["v(b)"].copy()
    for values in (result.time, *result.vectors.values()):
        assert type(values) is np.ndarray
        assert values.dtype == np.float64
        assert values.flags.owndata
        assert values.shape == (result.points,)
    solver.run(GOOD)
    np.testing.assert_array_equal(result.vectors["v(b)"], kept)
    assert result.settings is STANDARD
    assert result.attempt == 1
    assert result.time[-1] == pytest.approx(0.1, rel=1e-9)


def discharge_error(solver: Solver, step_ceiling: float) -> float:
    """Greatest error against V exp(-t / RC) [V], 10 V, RC = 20 ms."""
    deck = small_deck("C1 a 0 10m ic=10\nR1 a 0 2", envelope={"v(a)": (-0.1, 10.1)}, step_ceiling=step_ceiling)
    result = solver.run(deck)
    return float(np.abs(result.vectors["v(a)"] - 10.0 * np.exp(-result.time / 0.02)).max())


def test_capacitor_discharge_follows_the_exponential(solver: Solver) -> None:
    # Exact solution. With step h = RC / 20 a second-order method errs by about (h / RC)^2 / 12 of 10 V: 2 mV
    # per time constant; 5 mV leaves room for the first-order start.
    coarse, fine = discharge_error(solver, 1e-3), discharge_error(solver, 1e-4)
    assert coarse < 5e-3
    # Ten times shorter steps: a second-order method gains up to 100, the first-order start takes some of it.
    assert fine < coarse / 5


@given(
    volts=st.floats(1.0, 32.0),
    upper=st.floats(1e-3, 1e3),
    lower=st.floats(1e-3, 1e3),
)
def test_divider_of_any_numbers(volts: float, upper: float, lower: float) -> None:
    text = f"V1 a 0 {volts}\nR1 a b {upper}\nR2 b 0 {lower}"
    deck = small_deck(text, "v(b)", "i(v1)", envelope={"v(b)": (0.0, 33.0), "i(v1)": (-2e4, 0.0)}, stop_time=3e-3)
    result = get_solver().run(deck)
    # Linear and resistive: nothing but rounding, and the 1e-12 S that ngspice adds.
    assert result.vectors["v(b)"][-1] == pytest.approx(volts * lower / (upper + lower), rel=1e-8)
    assert result.vectors["i(v1)"][-1] == pytest.approx(-volts / (upper + lower), rel=1e-8)


def test_current_into_a_source_is_positive_from_plus_to_minus_inside(solver: Solver) -> None:
    result = solver.run(small_deck("V1 a 0 12\nVs a b 0\nR1 b 0 2", "i(v1)", "i(vs)"))
    assert result.vectors["i(vs)"][-1] == pytest.approx(6.0)
    assert result.vectors["i(v1)"][-1] == pytest.approx(-6.0)


def test_vectors_within_subcircuits(solver: Solver) -> None:
    text = "V1 a 0 12\n.subckt part x y\nR1 x m 1\nVs m n 0\nR2 n y 2\n.ends\nX1 a 0 part"
    result = solver.run(small_deck(text, "v(x1.m)", "i(v.x1.vs)"))
    assert result.vectors["v(x1.m)"][-1] == pytest.approx(8.0)
    assert result.vectors["i(v.x1.vs)"][-1] == pytest.approx(4.0)


@pytest.mark.parametrize("name", ["error", "aborted", "fatal", "singular"])
def test_a_node_may_have_an_alarming_name(solver: Solver, name: str) -> None:
    text = f"V{name} {name} 0 12\nR{name} {name} 0 1\n.ic v({name})=12"
    assert solver.run(small_deck(text, f"v({name})")).vectors[f"v({name})"][-1] == 12.0


BAD_NETLISTS = {
    "unknown subcircuit": ("X1 a 0 nowhere", "unknown subckt"),
    "unknown model": ("D1 a 0 nowhere", "find model"),
    "unknown function": ("B1 b 0 V=nowhere(v(a))\nR9 b 0 1", "no such function"),
    "unknown parameter of a part": ("R9 a 0 1 nowhere=2", "unknown parameter"),
    "expression cut short": ("B1 b 0 V=v(a)+\nR9 b 0 1", "syntax error"),
    "missing .ends": (".subckt part x y\nR9 x y 1\nX1 a 0 part", "subckt"),
    "missing node": ("R9 a", "1 mOhm"),
    "missing value": ("R9 a 0", "1 mOhm"),
    "division by zero": ("R9 a 0 {1/0}", "inf"),
    "initial condition of no node": (".ic v(nowhere)=1", "non-existent node"),
    "two parts of one name": ("R1 a 0 2", "already exists"),
}


@pytest.mark.parametrize(("extra", "told"), BAD_NETLISTS.values(), ids=BAD_NETLISTS.keys())
def test_faulty_netlist_is_refused_once_and_the_next_run_is_right(solver: Solver, extra: str, told: str) -> None:
    with pytest.raises(errors.DeckError, match=told) as caught:
        solver.run(small_deck(f"V1 a 0 12\nR1 a 0 1\n{extra}", title="my boat"))
    assert len(caught.value.attempts) == 1
    assert caught.value.title == "my boat"
    assert "R1 a 0 1" in caught.value.deck
    assert caught.value.last_lines
    assert not solver.dead
    assert solver.run(GOOD).vectors["v(a)"][-1] == 12.0


@pytest.mark.parametrize("wanted", [("v(nowhere)",), ("v(a)", "v(nowhere)"), ("i(nowhere)",)])
def test_asked_for_vector_that_does_not_exist(solver: Solver, wanted: tuple[str, ...]) -> None:
    with pytest.raises(errors.DeckError):
        solver.run(small_deck("V1 a 0 12\nR1 a 0 1", *wanted))


def test_contradiction_is_tried_on_every_step_of_the_ladder(solver: Solver) -> None:
    with pytest.raises(errors.ConvergenceError, match="too small") as caught:
        solver.run(small_deck("V1 a 0 12\nV2 a 0 11", title="two sources"))
    error = caught.value
    assert [line.split(":")[0] for line in error.attempts] == [s.name for s in LADDER]
    assert any("aborted" in line for line in error.last_lines)
    assert solver.run(GOOD).attempt == 1


def test_constant_power_load_beyond_its_source_is_a_convergence_error(solver: Solver) -> None:
    # 20 W through 2 ohm from 12 V: more than V^2 / 4R = 18 W, so the node collapses without a solution.
    with pytest.raises(errors.ConvergenceError):
        solver.run(small_deck("V1 a 0 12\nR1 a b 2\nC1 b 0 10n ic=12\nB1 b 0 I=20/v(b)"))


FLOATING = {
    "resistor and capacitor": "C1 b c 1u\nR1 b c 1",
    "resistor": "R1 b c 1",
    "inductor": "L1 b c 1 ic=0\nR1 b c 1",
    "source": "V2 b c 1\nR1 b c 1",
    "controlled source": "E1 b c a 0 1\nR1 b c 1",
}


@pytest.mark.parametrize("part", FLOATING.values(), ids=FLOATING.keys())
def test_part_without_a_path_to_node_0_is_refused(solver: Solver, part: str) -> None:
    with pytest.raises(errors.ConvergenceError, match="no path to node 0"):
        solver.run(small_deck(f"V1 a 0 12\nRa a 0 1\n{part}"))
    assert solver.run(GOOD).vectors["v(a)"][-1] == 12.0


@pytest.mark.parametrize("name", ["restarting", "reservoir"])
def test_a_run_stopped_and_resumed_is_the_run_in_one_piece(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    boat = loads_scenario(example_text(name))
    whole = simulate(boat)
    monkeypatch.setattr(running, "BUDGET", 150)
    monkeypatch.setattr(running, "LEAST_PACE", 1e-9)
    pieces = simulate(boat)
    assert whole.solver.points > 5 * 150
    # the library's own state between two runs differs in its last digits, which may move a step
    assert pieces.solver.points == pytest.approx(whole.solver.points, rel=0.05)
    assert pieces.display.restarts == whole.display.restarts
    assert pieces.display.minimum_voltage == pytest.approx(whole.display.minimum_voltage, abs=1e-4)


def test_a_long_run_that_gets_on_is_not_taken_to_hang(solver: Solver, monkeypatch: pytest.MonkeyPatch) -> None:
    """The wall limit is for each budget of steps: here they are held up for 6 s in all, and each may last 3 s."""
    deck = build_circuit(resolve(loads_scenario(example_text("house-feed")))).deck
    whole = solver.run(deck)
    gets_on = running._Attempt._gets_on

    def slowly(attempt: running._Attempt, steps: int, reached: float) -> bool:
        time.sleep(0.3)
        return gets_on(attempt, steps, reached)

    monkeypatch.setattr(running, "BUDGET", whole.points // 20)
    monkeypatch.setattr(running, "LEAST_PACE", 1e-9)
    monkeypatch.setattr(running._Attempt, "_gets_on", slowly)
    assert solver.run(deck, wall_limit=3.0).points == pytest.approx(whole.points, rel=0.05)


def test_a_display_that_restarts_in_a_loop_is_no_runaway() -> None:
    """Its feed alone lifts and drops it by more than its hysteresis: a hundred restarts a second, 170 steps in each."""
    thin = {"feed.length": "100 ft", "feed.size": "22 AWG", "feed.from": "battery", "battery.rating": "1200 A"}
    text = 'title = "thin"\n[crank]\nkey_held = "4 s"\n[engine]\nfires_after = "never"\n[[displays]]\nname = "helm"\n'
    found = simulate(loads_scenario(text).with_overrides(thin))
    assert found.solver.points > running.BUDGET
    assert found.solver.attempt == 1
    assert found.display.restarts > 200


def test_runaway_steps_end_at_the_budget(solver: Solver) -> None:
    with pytest.raises(errors.IncompleteError, match="budget"):
        solver.run(small_deck(RUNAWAY), ladder=(STANDARD,))
    assert solver.run(GOOD).vectors["v(a)"][-1] == 12.0


def test_envelope_breach_names_vector_value_and_time(solver: Solver) -> None:
    # 1/v at v = 0: ngspice answers 1e32 V without a word.
    deck = small_deck("V1 a 0 0\nR1 a 0 1\nB1 b 0 V=1/v(a)\nR2 b 0 1", "v(b)")
    with pytest.raises(errors.EnvelopeError, match=r"v\(b\) reached 1e\+32 V"):
        solver.run(deck)


def test_second_rung_rescues_an_overshoot_that_only_the_step_made(solver: Solver) -> None:
    # An RC circuit cannot exceed its source. At a step as long as its time constant gear overshoots by 91 mV.
    text = "V1 a 0 pulse(0 12 0.01 1u 1u 1 2)\nR1 a b 1\nC1 b 0 1m ic=0"
    deck = small_deck(text, "v(b)", envelope={"v(b)": (-0.01, 12.01)})
    with pytest.raises(errors.EnvelopeError):
        solver.run(deck, ladder=(STANDARD,))
    result = solver.run(deck)
    assert result.attempt == 2
    assert result.settings is LADDER[1]
    assert 11.9 < float(result.vectors["v(b)"].max()) <= 12.01


def test_first_failure_names_the_class_when_later_rungs_fail_otherwise(solver: Solver) -> None:
    deck = small_deck("V1 a 0 12\nR1 a 0 1", envelope={"v(a)": (0.0, 11.0)})
    with pytest.raises(errors.EnvelopeError) as caught:
        solver.run(deck, ladder=(STANDARD, Settings("too few iterations", itl4=1)))
    assert len(caught.value.attempts) == 2


@pytest.fixture
def deaf(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every message taken for harmless: what is left must still refuse a wrong answer."""
    monkeypatch.setattr(running, "worst_meaning", lambda lines, loading=False: (Meaning.HARMLESS, ""))


@pytest.mark.usefixtures("deaf")
def test_left_over_circuit_is_told_by_its_title_alone(solver: Solver) -> None:
    solver.run(GOOD)
    spice = solver._library()
    # What would happen if the circuit of an earlier run had not been removed.
    spice.load(["* earlier", "V1 a 0 12", "R1 a 0 1", ".save v(a)", ".tran 1m 0.1 0 1m uic", ".end"])
    try:
        with pytest.raises(errors.DeckError, match=r"ran another circuit \('\* earlier'\)"):
            solver.run(small_deck("V1 a 0 5\nX1 a 0 nowhere"))
    finally:
        spice.command("remcirc")


@pytest.mark.usefixtures("deaf")
def test_early_end_is_told_by_the_last_time_alone(solver: Solver) -> None:
    with pytest.raises(errors.IncompleteError, match=r"the run ended at .* s instead of 0\.1 s"):
        solver.run(small_deck(RUNAWAY), ladder=(STANDARD,))


@pytest.mark.usefixtures("deaf")
def test_nothing_returned_is_refused(solver: Solver) -> None:
    with pytest.raises(errors.DeckError):
        solver.run(small_deck("V1 a 0 12\nX1 a 0 nowhere"))


@pytest.mark.parametrize("settings", LADDER, ids=lambda s: s.name)
def test_settings_of_a_run_do_not_reach_the_next(solver: Solver, settings: Settings) -> None:
    deck = small_deck("V1 a 0 sin(0 10 50)\nR1 a b 1\nC1 b 0 1m ic=0", "v(b)")
    before = solver.run(deck).vectors["v(b)"]
    solver.run(deck, ladder=(settings,))
    np.testing.assert_array_equal(solver.run(deck).vectors["v(b)"], before)


def test_every_rung_solves_a_plain_circuit_alike(solver: Solver) -> None:
    deck = small_deck("V1 a 0 sin(0 10 50)\nR1 a b 1\nC1 b 0 1m ic=0", "v(b)")
    peaks = [float(solver.run(deck, ladder=(s,)).vectors["v(b)"].max()) for s in LADDER]
    # Exact steady amplitude 10 / sqrt(1 + (2 pi 50 RC)^2) = 9.54 V with RC = 1 ms; the coarsest step is RC
    # itself, where a second-order formula is off by some per cent.
    exact = 10.0 / math.hypot(1.0, 2.0 * math.pi * 50.0 * 1e-3)
    assert peaks == pytest.approx([exact] * len(peaks), rel=0.05)


def preroll_deck(initial: float) -> Deck:
    text = f"V1 a 0 12\nR1 a b 1\nC1 b 0 10m ic={initial}\n.ic v(a)=12 v(b)={initial}"
    return small_deck(text, "v(a)", "v(b)", preroll=0.02)


def test_preroll_must_stand_still(solver: Solver) -> None:
    assert solver.run(preroll_deck(12.0)).points > 2
    with pytest.raises(errors.EnvelopeError, match=r"v\(b\) moved by .* within the first 0\.02 s"):
        solver.run(preroll_deck(11.99))


def test_two_threads_take_turns(solver: Solver) -> None:
    wrong: list[float] = []

    def work(volts: float) -> None:
        deck = small_deck(f"V1 a 0 {volts}\nR1 a b 1\nC1 b 0 1m ic=0", "v(b)")
        wrong.extend(end for _ in range(20) if abs((end := solver.run(deck).vectors["v(b)"][-1]) - volts) > 1e-3)

    threads = [threading.Thread(target=work, args=(volts,)) for volts in (5.0, 12.0)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []


def test_library_info(solver: Solver) -> None:
    info = library_info()
    assert info.name == "ngspice"
    assert int(info.version) >= 30
    assert "ngspice" in info.path
    assert get_solver() is solver


# --- what may stand in a deck --------------------------------------------------------------------------

REFUSED = [
    ".control\nshell touch injected\n.endc",
    "  .CONTROL",
    "*# shell touch injected",
    "* # shell touch injected",
    "*ng_script",
    ".include /etc/passwd",
    ".lib other.lib x",
    ".options reltol=1",
    ".tran 1 1",
    ".save all",
    ".end",
    ".meas tran x min v(a)",
    ".title x",
    "!shell touch injected",
    "A1 a b filesource",
    "R1 a 0 1\rR2 a 0 1",
    "R1 a 0 1\x0bR2 a 0 1",
    "* comment\x85.control",
    "* comment\u2028.control",
    "R1 a 0 1 \\",
    "R1 a 0 \N{GREEK SMALL LETTER MU}",
    f"R1 a 0 {math.nan}",
    f"V1 a 0 {math.inf}",
    f"V1 a 0 pwl(0 0 1 {-math.inf})",
]


@pytest.mark.parametrize("line", REFUSED)
def test_deck_refuses_commands_and_non_numbers(line: str) -> None:
    with pytest.raises(errors.DeckError, match="line 2 of the netlist has"):
        small_deck(f"R9 a 0 1\n{line}\nV9 a 0 1")


def test_deck_takes_what_parts_need() -> None:
    text = (
        "* degC and ohm signs may stand in comments: \N{DEGREE SIGN}C \N{GREEK CAPITAL LETTER OMEGA}\n"
        ".subckt info a nano params: inf1=1\n"
        "+ nan_node=2\n.ends\n.model sw sw vt=0.5 vh=0\n.param x={1+2}\n.ic v(a)=1\n.func f(x) {x}\n"
        ".global g\n"
        "\tR1 a 0 {x}\nB1 a 0 I='v(a)'"
    )
    assert small_deck(text).text == text


@pytest.mark.parametrize(
    "changes",
    [
        {"vectors": ()},
        {"vectors": ("v(a)", "v(a)")},
        {"vectors": ("V(A)",)},
        {"vectors": ("v(a) v(b)",)},
        {"vectors": ("v(a,b)",)},
        {"vectors": ("all",)},
        {"envelope": {}},
        {"envelope": {"v(a)": (math.nan, 1.0)}},
        {"envelope": {"v(a)": (1.0, 1.0)}},
        {"stop_time": 0.0},
        {"stop_time": math.nan},
        {"step_ceiling": math.inf},
        {"step_ceiling": -1e-3},
        {"preroll": 0.1},
        {"preroll": math.nan},
    ],
    ids=str,
)
def test_deck_refuses_incomplete_declarations(changes: Mapping[str, object]) -> None:
    with pytest.raises(errors.DeckError):
        small_deck("V1 a 0 1", **changes)


HOSTILE_TITLES = [
    "x\n.control\nshell touch injected\n.endc",
    "x\r.control\rshell touch injected",
    "x\r\n.control\r\nshell touch injected\r\n.endc\r\n",
    "x\u2028.control\u2028shell touch injected",
    "x\x85*# shell touch injected",
    "# shell touch injected",
    "ng_script\nshell touch injected",
    "NG_Script",
    "$ shell touch injected",
    "; shell touch injected \\",
    "`shell touch injected`",
    "{undefined_parameter}",
    "\x00",
    "",
    "x" * 100_000,
    "Fischerboot \N{LATIN SMALL LETTER O WITH DIAERESIS}\N{ROCKET}",
]


@pytest.mark.parametrize("title", HOSTILE_TITLES, ids=range(len(HOSTILE_TITLES)))
def test_text_of_a_scenario_has_no_effect(
    solver: Solver, title: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    text = f"* {deck_text(title)}\nV1 a 0 12\nR1 a 0 1"
    deck = small_deck(text, title=title)
    assert solver.run(deck).vectors["v(a)"][-1] == 12.0
    assert not (tmp_path / MARK).exists()
    assert len(deck.complete().splitlines()[0]) < 250


@given(st.text(max_size=300))
def test_deck_text_is_one_harmless_line(text: str) -> None:
    safe = deck_text(text)
    assert safe.isascii()
    assert safe.isprintable()
    assert len(safe) <= 200
    assert not set(safe) & set('\\$;{}"`')
    assert deck_text(safe) == safe
    assert "#" not in safe
    assert "ng_script" not in safe.lower()
    assert deck_title(text) == f"* {safe}"
    small_deck(f"* {safe}\n*{safe}\nV1 a 0 1", title=text)


@given(st.text(alphabet=st.characters(min_codepoint=32, max_codepoint=126), max_size=100))
def test_deck_text_keeps_ordinary_words(text: str) -> None:
    words = " ".join("".join(c for c in text if c.isalnum() or c == " ").split())
    assert deck_text(words) == words


def test_complete_deck_holds_everything_plain_ngspice_needs() -> None:
    deck = small_deck("V1 a 0 12\nR1 a 0 1", "v(a)", "i(v1)", title="A boat")
    lines = deck.complete().splitlines()
    assert lines[0] == "* A boat"
    assert lines[-1] == ".end"
    assert ".options method=gear abstol=1e-06 vntol=1e-05 chgtol=1e-06" in lines
    assert ".tran 0.001 0.1 0 0.001 uic" in lines
    assert ".save v(a) i(v1)" in lines
    assert ".meas tran min_i_v1 min i(v1)" in lines
    assert ".tran 0.0005 0.1 0 0.0005 uic" in deck.complete(LADDER[1])


# --- reading the messages ------------------------------------------------------------------------------

LINES = [
    # ngspice 39, seen
    ("stderr", "Note: can't find the initialization file spinit.", Meaning.HARMLESS),
    ("stdout", "Note: No compatibility mode selected!", Meaning.HARMLESS),
    ("stdout", "error                                        12", Meaning.HARMLESS),
    ("", " Reference value :  1.00000e-05\r", Meaning.HARMLESS),
    ("stderr", "Warning: verror: no DC value, transient time 0 value used", Meaning.HARMLESS),
    ("stderr", "Warning: vsense: has no value, DC 0 assumed", Meaning.HARMLESS),
    ("stderr", "Note: Starting dynamic gmin stepping", Meaning.HARMLESS),
    ("stderr", "Trying gmin =   1.0000E-03 Note: One successful gmin step", Meaning.HARMLESS),
    ("stderr", "Dynamic gmin stepping failed", Meaning.HARMLESS),
    ("stderr", ".meas tran yy when v(a)=99 failed!", Meaning.HARMLESS),
    ("stderr", "Warning: r1: resistance to low, set to 1 mOhm", Meaning.DECK),
    ("stderr", "Error: circuit not parsed.", Meaning.DECK),
    ("stderr", "Error: there aren't any circuits loaded.", Meaning.DECK),
    ("stderr", "Error: no data saved for Transient analysis; analysis not run", Meaning.DECK),
    ("stderr", "Error: ngspice.dll cannot recover and awaits to be detached", Meaning.DEAD),
    ("stderr", "Warning: singular matrix:  check node v1#branch", Meaning.FAILED),
    ("stderr", "doAnalyses: TRAN:  Timestep too small; time = 1e-14", Meaning.FAILED),
    ("stderr", "run simulation(s) aborted", Meaning.FAILED),
    ("stderr", "Error: -12 out of range for ln", Meaning.FAILED),
    ("stdout", "Error: something new", Meaning.FAILED),
    # later versions, as their users report them
    ("stdout", "Using SPARSE 1.3 as Direct Linear Solver", Meaning.HARMLESS),
    ("stderr", "Using SPARSE 1.3 as Direct Linear Solver", Meaning.HARMLESS),
    ("stderr", "Using KLU as Direct Linear Solver", Meaning.HARMLESS),
    # unknown wording
    ("stderr", "A fatal thing happened", Meaning.FAILED),
    ("stderr", "Something was mentioned", Meaning.HARMLESS),
]


@pytest.mark.parametrize(("stream", "line", "meaning"), LINES)
def test_meaning_of_lines(stream: str, line: str, meaning: Meaning) -> None:
    assert meaning_of_line(stream, line) is meaning


def test_unknown_complaint_while_loading_is_a_fault_of_the_netlist() -> None:
    assert meaning_of_line("stderr", "Something was mentioned", loading=True) is Meaning.DECK
    assert meaning_of_line("stderr", "Using KLU as Direct Linear Solver", loading=True) is Meaning.HARMLESS


# --- the errors themselves -----------------------------------------------------------------------------


def test_errors_cross_process_boundaries_whole(tmp_path: Path) -> None:
    error = errors.ConvergenceError("stopped", title="t", deck="* d\n", last_lines=["x"], attempts=["a", "b"])
    copy = pickle.loads(pickle.dumps(error))
    assert type(copy) is errors.ConvergenceError
    assert str(copy) == str(error)
    assert (copy.deck, copy.last_lines, copy.attempts) == (error.deck, error.last_lines, error.attempts)
    assert copy.write_deck(tmp_path / "d.cir").read_text() == "* d\n"
    problems = pickle.loads(pickle.dumps(errors.InputError(["one", "two"])))
    assert problems.problems == ["one", "two"]
    assert str(problems) == "one\ntwo"


def test_message_says_what_why_and_what_next(solver: Solver) -> None:
    with pytest.raises(errors.ConvergenceError) as caught:
        solver.run(small_deck("V1 a 0 12\nV2 a 0 11", title="my boat"))
    lines = str(caught.value).splitlines()
    assert lines[0].startswith("my boat: ngspice gave up (doAnalyses: TRAN:  Timestep too small")
    assert lines[1] == f"Tried {len(LADDER)} groups of solver settings."
    assert "sources contradict" in lines[2]
    assert "cranksag netlist" in lines[3]
    assert len(lines) == 4


def test_exit_codes() -> None:
    codes = {
        errors.CranksagError: 70,
        errors.InputError: 2,
        errors.CheckFailed: 1,
        errors.Interrupted: 130,
        errors.SimulationError: 3,
        errors.DeckError: 3,
        errors.ConvergenceError: 3,
        errors.IncompleteError: 3,
        errors.EnvelopeError: 3,
        errors.LibraryDead: 3,
        errors.LibraryMissing: 3,
    }
    assert {kind: kind.exit_code for kind in codes} == codes
