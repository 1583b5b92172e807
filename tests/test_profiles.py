# SPDX-License-Identifier: GPL-3.0-or-later
"""Starting profiles: the shipped figures against a second evaluation, a waveform's laws, and a user's own files."""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cranksag.errors import InputError
from cranksag.profiles import (
    EDGE,
    Profile,
    find_profile,
    level_voltage,
    load_profile,
    points_profile,
    profile_names,
    read_profile,
    waveform,
)
from cranksag.profiles.document import profile_of_text
from cranksag.profiles.model import Step, assemble
from cranksag.profiles.reading import csv_profile

MS = 1e-3
SOURCE_EXACT = 1e-3  # [V] what a profile is held to

# --- the published figures, written down a second time and evaluated by formulas of their own ------------------

Function = Callable[[float], float]


def iso(u_b: float, u_s6: float, centre: float, t_f: float, t6: float, t7: float, t8: float, t_r: float) -> Function:
    """Shape of ISO 16750-2 from its symbols; times [ms], t8 [s], 2 V peak to peak at 2 Hz about the centre."""

    def volts(t: float) -> float:
        t_ms = 1e3 * t
        if t_ms < 0.0:
            return u_b
        if t_ms < t_f:
            return u_b - (u_b - u_s6) * t_ms / t_f
        if t_ms < t_f + t6:
            return u_s6
        if t_ms < t_f + t6 + t7:
            return u_s6 + (centre - u_s6) * (t_ms - t_f - t6) / t7
        on_plateau = t - (t_f + t6 + t7) * MS
        if on_plateau < t8:
            return centre + 1.0 * float(np.sin(4.0 * np.pi * on_plateau))
        return min(centre + (u_b - centre) * (on_plateau - t8) / (t_r * MS), u_b)

    return volts


def lines(*points: tuple[float, float]) -> Function:
    """Straight lines between (time [ms], volts); two points at one time are a step, drawn as `EDGE` after it."""

    def volts(t: float) -> float:
        t_ms = 1e3 * t
        for (t1, v1), (t2, v2) in pairwise(points):
            if t1 <= t_ms < t2:
                return v1 + (v2 - v1) * (t_ms - t1) / (t2 - t1)
        return points[0][1] if t_ms < points[0][0] else points[-1][1]

    return volts


def vw_cold(t: float) -> float:
    """VW 80000:2013 6.11 E-11: step to 4.5 V, 19 ms; 50 ms to 6.5 V; sine about 7.5 V for 10 s; 100 ms to 11 V."""
    edge = 1e3 * EDGE
    begin = 2 * edge + 19.0 + 50.0
    if 0.0 <= t - begin * MS < 10.0:
        return 7.5 + float(np.sin(4.0 * np.pi * (t - begin * MS)))
    points = [(0.0, 11.0), (edge, 4.5), (edge + 19.0, 4.5), (edge + 69.0, 6.5), (begin, 7.5)]
    return lines(*points, (begin + 10e3, 7.5), (begin + 10.1e3, 11.0))(t)


def gs(t: float) -> float:
    """BMW GS 95003-2:2007 level IIp: as ISO 16750-2 with 12 to 4.5 V in 1 ms, but to 11 V, 25 s there, then to 12 V."""
    if t < 10.07:
        return iso(12, 4.5, 7.5, 1, 19, 50, 10.0, 100)(t)
    return lines((10070, 7.5), (10170, 11), (35170, 11), (35270, 12))(t)


def pulse(v_b: float, v_s: float, v_a: float, t7: float, t9: float, t10: float, t11: float) -> Function:
    """Test pulse 4 from its own symbols: drops [V] from V_B, times [ms], t8 = 50 ms."""
    a, b, c = t10, t10 + t7, t10 + t7 + 50.0
    low, plateau = v_b - v_s, v_b - v_a
    return lines((0, v_b), (a, low), (b, low), (c, plateau), (c + t9, plateau), (c + t9 + t11, v_b))


E = 1e3 * EDGE
PUBLISHED: dict[tuple[str, str], Function] = {
    # ISO 16750-2:2003 4.5.3 and :2006 4.6.3, test-waveform files in public code
    ("iso-16750-2-12v", "I-2003"): iso(12, 8, 10.5, 5, 15, 50, 1.0, 40),
    ("iso-16750-2-24v", "2003"): iso(24, 8, 16, 10, 50, 50, 20.0, 40),
    ("iso-16750-2-24v", "III-2006"): iso(24, 6, 11, 10, 50, 50, 1.0, 40),
    # the same kind of files for the documents named
    ("vw-80000-e11", "cold-normal"): vw_cold,
    ("lv-124-e11", "warm-long"): lines(
        (0, 11), (E, 7), (E + 15, 7), (E + 90, 8), (E + 330, 8), (E + 400, 9), (E + 1000, 9), (2 * E + 1000, 11)
    ),
    ("gs-95003-2", "IIp"): gs,
    # drops from U_B: 7.6 and 6.1 V; t10 5, t7 15, t8 50, t9 10 s, t11 5 ms
    ("dc-10615", "cold"): pulse(12.6, 7.6, 6.1, 15, 10e3, 5, 5),
    ("dc-10615", "warm"): lines((0, 11), (1, 7), (200, 9), (300, 10), (2200, 10), (2300, 11)),
    # drops 7.5 and 6 V; t10 15, t7 50, t9 2 s, t11 100 ms; then 5 and 3 V; t10 5, t7 5, t9 0.8 s, t11 100 ms
    ("cs-11979", "cold"): pulse(12, 7.5, 6.0, 50, 2e3, 15, 100),
    ("cs-11979", "warm"): pulse(11, 5.0, 3.0, 5, 800, 5, 100),
    # SAE J1113-11 test 4: ranges printed in two manuals of test instruments, both corners
    ("sae-j1113-11-12v", "mild"): pulse(12, 4, 2.5, 15, 500, 5, 5),
    ("sae-j1113-11-12v", "severe"): pulse(12, 7, 6, 40, 20e3, 5, 100),
    ("sae-j1113-11-24v", "mild"): pulse(24, 5, 5, 50, 500, 10, 10),
    ("sae-j1113-11-24v", "severe"): pulse(24, 16, 12, 100, 20e3, 10, 100),
}
MEMORY: dict[tuple[str, str], Function] = {
    # from memory, not confirmed: they are held to what is written down here and no more
    ("iso-16750-2-12v", "I"): iso(12, 8, 10.5, 5, 15, 50, 1.0, 40),
    ("iso-16750-2-12v", "II"): iso(12, 4.5, 7.5, 5, 15, 50, 10.0, 100),
    ("iso-16750-2-12v", "III"): iso(12, 3, 6, 5, 15, 50, 1.0, 100),
    ("iso-16750-2-12v", "IV"): iso(12, 6, 7.5, 5, 15, 50, 10.0, 100),
    ("iso-16750-2-24v", "I"): iso(24, 10, 21, 10, 50, 50, 1.0, 40),
    ("iso-16750-2-24v", "II"): iso(24, 8, 16, 10, 50, 50, 10.0, 100),
    ("iso-7637-2-12v", "mild"): pulse(12, 6, 2.5, 15, 500, 5, 5),
    ("iso-7637-2-12v", "severe"): pulse(12, 7, 6, 40, 20e3, 5, 100),
    ("iso-7637-2-24v", "mild"): pulse(24, 12, 5, 50, 500, 10, 10),
    ("iso-7637-2-24v", "severe"): pulse(24, 16, 12, 100, 20e3, 10, 100),
    ("lv-124-e11", "cold-normal"): iso(11, 4.5, 7.5, 1, 19, 50, 10.0, 100),
    ("lv-124-e11", "cold-severe"): lambda t: (
        7.0 + float(np.sin(4.0 * np.pi * (t - 0.4)))
        if 0.4 <= t < 10.4
        else lines((0, 11), (1, 3.2), (20, 3.2), (21, 5), (350, 5), (400, 7), (10400, 7), (10500, 11))(t)
    ),
}
ALL = PUBLISHED | MEMORY


@pytest.mark.parametrize(("name", "level"), list(ALL))
def test_a_shipped_level_is_its_figures_to_a_millivolt(name: str, level: str) -> None:
    profile = load_profile(name)
    found = profile.level(level)
    dense = np.linspace(-0.05, found.duration + 0.05, 20_001)
    corners = np.concatenate([[t - 1e-9, t, t + 1e-9] for t, _ in found.corners])
    fine = np.linspace(-0.01, min(0.5, found.duration), 20_001)
    time = np.sort(np.concatenate([dense, fine, corners]))
    second = np.array([ALL[(name, level)](t) for t in time])
    assert np.abs(waveform(profile, level, time) - second).max() < SOURCE_EXACT


def test_every_shipped_level_is_checked() -> None:
    shipped = {(name, level.name) for name in profile_names() for level in load_profile(name).levels}
    assert shipped == set(ALL)


def test_what_came_from_memory_says_so() -> None:
    for name in profile_names():
        for level in load_profile(name).levels:
            assert level.source
            if (name, level.name) in MEMORY:
                assert level.provenance == "memory"
                assert "memory" in level.note
            else:
                assert level.provenance in ("published", "published in part")
            if level.provenance == "published in part":
                assert "memory" in level.note or "estimate" in level.note


def test_published_source_resistance() -> None:
    # DC-10615-E:2007 7.4 prints 0.02 ohm, SAE J1113-11 test 4 prints 0 to 0.02 ohm.
    assert load_profile("dc-10615").level("cold").source_resistance == 0.02
    assert load_profile("sae-j1113-11-12v").level("severe").source_resistance == 0.02
    assert load_profile("iso-16750-2-12v").level("I-2003").source_resistance == 0.0


def test_the_start_signal_ends_when_the_engine_runs() -> None:
    # GS 95003-2: 25 s at 11 V follow the crank.
    level = load_profile("gs-95003-2").level("IIp")
    assert level.crank == pytest.approx((0.0, 10.17))
    assert load_profile("iso-16750-2-12v").level("I").crank == pytest.approx((0.0, 1.11))


# --- laws ------------------------------------------------------------------------------------------------------

volts = st.floats(0.0, 30.0)
step = st.one_of(
    st.builds(Step, volts, st.floats(EDGE, 2.0)),
    st.builds(Step, st.none(), st.floats(3 * EDGE, 2.0)),
    st.builds(Step, st.none(), st.floats(3 * EDGE, 2.0), st.floats(0.1, 2.0), st.floats(0.5, 50.0)),
)


@given(volts, st.lists(step, min_size=1, max_size=8))
def test_a_profile_is_continuous_and_bounded(rest: float, steps: list[Step]) -> None:
    corners, ripples = assemble(rest, steps)
    level = load_profile("iso-16750-2-12v").levels[0]
    level = type(level)("x", corners, ripples, (0.0, corners[-1][0]), 0.0, "user", "")
    time = np.linspace(-0.1, level.duration + 0.1, 5001)
    u = level_voltage(level, time)
    swing = sum(r.amplitude for r in ripples)
    assert u.min() >= min(v for _, v in corners) - swing - 1e-9
    assert u.max() <= level.highest + 1e-9
    assert u[0] == rest
    assert u[-1] == pytest.approx(corners[-1][1])
    slope = (max(v for _, v in corners) + 2.0 * swing) / EDGE + sum(6.3 * r.frequency * r.amplitude for r in ripples)
    for moment, _ in corners:
        a, b = level_voltage(level, [moment - 1e-7, moment + 1e-7])
        assert abs(a - b) <= 2.1e-7 * slope + 1e-9


# --- a user's own ----------------------------------------------------------------------------------------------

LINES = re.compile(r"own\.(csv|toml):\d+: .+")


def refused(read: Callable[[], Profile]) -> list[str]:
    """The problems; a profile is fine as well, and any other exception is not."""
    try:
        profile = read()
    except InputError as error:
        return error.problems
    time = np.linspace(-1.0, 700.0, 101)
    assert np.isfinite(level_voltage(profile.levels[0], time)).all()
    return []


def test_csv_and_breakpoints_give_the_same_profile() -> None:
    text = "time_s,volts\n# a log\n100.0,12\n100.005,8 # dip\n100.02,8\n\n100.07,10.5\n101.0,10.5\n101.1,12\n"
    first = csv_profile(text, "own.csv").levels[0]
    second = points_profile("0 s=12 V, 5 ms=8 V, 20 ms=8V,70 ms=10.5 V, 1 s=10.5 V, 1.1 s=12 V").levels[0]
    time = np.linspace(-0.1, 1.3, 1001)
    assert np.abs(level_voltage(first, time) - level_voltage(second, time)).max() < 1e-9
    # 2 % below 12 V is 11.76 V: 0.24 / 4 of the fall of 5 ms, and 0.24 / 1.5 of the rise of 100 ms before its end
    assert second.crank == pytest.approx((0.3 * MS, 1.1 - 16 * MS))
    assert second.provenance == "user"


@pytest.mark.parametrize("mark", [",", ";", "\t", " "])
def test_csv_separators(mark: str) -> None:
    level = csv_profile(f"0{mark}12\n1{mark}9\n", "own.csv").levels[0]
    assert level.corners == ((0.0, 12.0), (1.0, 9.0))


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("0,12\n1,nan\n", 2, "not a number"),
        ("0,12\n1,1_0\n", 2, "not a number"),
        ("0;12\n0,5;11\n", 2, "decimal mark"),
        ("0,12\n1,11,10\n", 2, "two columns"),
        ("0,12\n1,11\n1,10\n", 3, "not later"),
        ("0,12\n1,11\n1.000001,10\n", 3, "less than"),
        ("0,12\n1,-3\n", 2, "not within"),
        ("0,12\n1,1e9\n", 2, "not within"),
        ("0,12\n1e300,11\n", 2, "not a time"),
        ("0,12\n7000,11\n", 2, "longer than"),
        ("time_s,volts\n0,12\n", 1, "at least two"),
        ("", 1, "at least two"),
        ("seconds since boot,supply\n0,12\n1,9\n", 1, "not a number"),
    ],
)
def test_a_csv_problem_names_its_line(text: str, line: int, words: str) -> None:
    with pytest.raises(InputError) as caught:
        csv_profile(text, "own.csv")
    assert any(p.startswith(f"own.csv:{line}: ") and words in p for p in caught.value.problems), caught.value.problems


def test_a_long_log_is_refused_not_crawled_through() -> None:
    text = "\n".join(f"{k * 1e-3},12" for k in range(20_000))
    with pytest.raises(InputError, match=r"own\.csv:4001: more than 4000 points"):
        csv_profile(text, "own.csv")


@given(st.text())
def test_any_text_as_csv(text: str) -> None:
    assert all(LINES.fullmatch(p) or "more problems" in p for p in refused(lambda: csv_profile(text, "own.csv")))


odd = st.text(alphabet='0123456789.eE+-,; \t"#nafit', max_size=8)
cell = st.one_of(st.floats().map(repr), odd, st.integers().map(str))


@given(st.lists(st.tuples(cell, st.sampled_from([",", ";", "\t", " "]), cell).map("".join), max_size=6).map("\n".join))
def test_almost_csv(text: str) -> None:
    assert all(LINES.fullmatch(p) for p in refused(lambda: csv_profile(text, "own.csv")))


@given(st.one_of(st.text(), st.text(alphabet="0123456789.=, VsmAuhk-+eE")))
def test_any_text_as_breakpoints(text: str) -> None:
    assert all(p.startswith("--points") for p in refused(lambda: points_profile(text)))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("0 s=12 V, 5 ms=8", "breakpoint 2"),
        ("0 s=12 V, 5=8 V", "unit"),
        ("0 s=12 V", "at least two"),
        ("0 s=12 V, 5 ms", "TIME=VOLTAGE"),
        ("0 s=12 V, 5 ms=8 V, 5 ms=9 V", "breakpoint 3"),
        ("0 s=12 V, 1 s=70 V", "not within"),
    ],
)
def test_a_problem_of_breakpoints(text: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        points_profile(text)


OWN = """title = "a log of ours"
nominal = "12 V"

[[levels]]
name = "cold"
rest = "12.4 V"
resistance = "5 mohm"
crank_steps = 3
steps = [
    { to = "7 V", within = "8 ms" },
    { hold = "20 ms" },
    { hold = "2 s", ripple = "1 V", frequency = 10 },
    { to = "13 V" },
]
"""


def test_own_toml() -> None:
    profile = profile_of_text(OWN, "own.toml", "own")
    level = profile.level("COLD")
    assert (profile.nominal_voltage, level.source_resistance, level.provenance) == (12.0, 0.005, "user")
    assert level.crank == pytest.approx((0.0, 2.028))
    assert float(level_voltage(level, 0.028 + 0.025)) == pytest.approx(7.5)
    assert level.corners[-1] == (pytest.approx(2.028 + EDGE), 13.0)


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ('rest = "12.4 V"', 'rest = "12.4 A"', 6, "voltage"),
        ('rest = "12.4 V"', "rest = 12.4", 6, "quantity"),
        ('rest = "12.4 V"\n', "", 4, "missing"),
        ("crank_steps = 3", "crank_steps = 9", 8, "whole number"),
        ("crank_steps = 3", "crank_steps = true", 8, "whole number"),
        ("{ hold =", "{ holds =", 11, "did you mean"),
        ('within = "8 ms"', 'within = "0 s"', 10, "must last"),
        ('ripple = "1 V"', 'ripple = "20 V"', 9, "below 0 V"),
        ("frequency = 10", "frequency = nan", 12, "hertz"),
        ("frequency = 10", "frequency = -1", 12, "hertz"),
        ('nominal = "12 V"', 'nominal = "12 V"\nprovenance = "published"', 3, "unknown field"),
        ('name = "cold"', 'name = "cold"\nprovenance = "published"', 6, "provenance"),
        ('title = "a log of ours"', "title = ", 1, "not valid TOML"),
    ],
)
def test_a_toml_problem_names_its_line(old: str, new: str, line: int, words: str) -> None:
    assert old in OWN
    with pytest.raises(InputError) as caught:
        profile_of_text(OWN.replace(old, new, 1), "own.toml", "own")
    assert any(p.startswith(f"own.toml:{line}: ") and words in p for p in caught.value.problems), caught.value.problems


@given(st.integers(0, len(OWN)), st.integers(0, 40), st.text(max_size=12))
def test_damaged_toml(at: int, cut: int, put: str) -> None:
    text = OWN[:at] + put + OWN[at + cut :]
    problems = refused(lambda: profile_of_text(text, "own.toml", "own"))
    assert all(LINES.fullmatch(p) or "nested" in p for p in problems), problems


def test_files(tmp_path: Path) -> None:
    (tmp_path / "own.csv").write_bytes(b"\xef\xbb\xbftime_s;volts\r\n0;12\r\n1;9\r\n")
    assert find_profile(str(tmp_path / "own.csv")).levels[0].corners == ((0.0, 12.0), (1.0, 9.0))
    (tmp_path / "own.toml").write_text(OWN)
    assert read_profile(tmp_path / "own.toml").name == "own"
    (tmp_path / "bad.csv").write_bytes(b"0,12\n1,\xff\n")
    with pytest.raises(InputError, match=r"bad\.csv:2: not UTF-8"):
        read_profile(tmp_path / "bad.csv")
    for name in ("missing.csv", ""):
        with pytest.raises(InputError, match="cannot be read"):
            read_profile(tmp_path / name)
    (tmp_path / "big.csv").write_bytes(b"#" * 2_100_000)
    with pytest.raises(InputError, match="larger than"):
        read_profile(tmp_path / "big.csv")


def test_an_unknown_name_is_told_the_nearest() -> None:
    with pytest.raises(InputError, match='did you mean "iso-16750-2-12v"'):
        find_profile("iso-16750-12v")
    with pytest.raises(InputError, match="its levels: I-2003, I, II, III, IV"):
        load_profile("iso-16750-2-12v").level("V-2003")
