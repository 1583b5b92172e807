# SPDX-License-Identifier: GPL-3.0-or-later
"""Reading scenarios: values in SI, lines, every problem at once."""

from __future__ import annotations

import os
import pickle
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cranksag.errors import InputError
from cranksag.quantities import ConductorSize
from cranksag.scenario import TimeMark, load_scenario, loads_scenario

BOAT = """\
title = "a boat"
[temperature]
ambient = "50 degF"

[battery]
rating = "800 A"
capacity = "110 Ah"
state_of_charge = "85 %"
in_series = 1

[[cables.positive]]
length = "6 ft"
size = "2/0 AWG"
[[cables.positive]]
resistance = "0.3 mohm"

[feed]
from = "starter stud"
size = "70 mm2"
dead_in_start = true

[[loads]]
current = "1 A"
from_time = "start+0.2 s"
until = "fire - 50 ms"

[[displays]]
name = "helm"
power = "9 W"

[hold_up]
branch = "reservoir"
capacitance = "22 mF"
inrush_limit = "none"
"""


def refusals(read: Callable[..., object], *given: object) -> list[str]:
    """The problems that reading ends in; none if it succeeds. Any other exception is a failure."""
    try:
        read(*given)
    except InputError as error:
        return error.problems
    return []


def problems(text: str, name: str = "boat.toml") -> list[str]:
    found = refusals(loads_scenario, text, name)
    assert found
    assert all(line.isprintable() for line in found)
    return found


def test_values_are_si() -> None:
    boat = loads_scenario(BOAT)
    assert boat.title == "a boat"
    assert boat.temperature.ambient == pytest.approx(10.0, abs=1e-12)
    assert boat.battery.rating == 800.0
    assert boat.battery.capacity == 396000.0
    assert boat.battery.state_of_charge == 0.85
    assert boat.battery.health is None
    assert boat.house is None
    assert boat.cables.positive[0].size == ConductorSize("AWG", "2/0")
    assert boat.cables.positive[0].length == pytest.approx(1.8288, rel=1e-15)
    assert boat.cables.positive[1].resistance == 0.0003
    assert boat.cables.negative == ()
    assert boat.feed.from_ == "starter stud"
    assert boat.feed.size == ConductorSize("mm2", "70")
    assert boat.feed.dead_in_start is True
    assert boat.loads[0].from_time == TimeMark("start", 0.2)
    assert boat.loads[0].until == TimeMark("fire", -0.05)
    assert boat.hold_up.inrush_limit == "none"


def test_every_written_field_knows_its_line_and_text() -> None:
    boat = loads_scenario(BOAT, "boat.toml")
    lines = BOAT.split("\n")
    assert len(boat.written) == 20
    for path, place in boat.written.items():
        assert place.line is not None
        written = lines[place.line - 1]
        assert written.startswith(path.rpartition(".")[2] + " = ")
        assert place.text in written
        assert place.file == "boat.toml"
    assert boat.written["cables.positive.1.resistance"].line == 15
    assert boat.written["feed.dead_in_start"].text == "true"


def test_get_by_path() -> None:
    boat = loads_scenario(BOAT)
    assert boat.get("feed.from") == "starter stud"
    assert boat.get("cables.positive.1.resistance") == 0.0003
    assert boat.get("house.rating") is None
    for path in (
        "feed.sise",
        "feed",
        "cables.positive.5.length",
        "cables.positive.x.length",
        "",
        "..",
        "title.x",
    ):
        with pytest.raises(InputError):
            boat.get(path)


def test_all_problems_at_once_in_order_of_line() -> None:
    text = """\
title = 3
[feed]
sise = "16 AWG"
length = 30
from = "display supply"
[battery]
state_of_charge = "170 %"
rating = "1,5 V"
chemistry = "lithium"
in_series = "2"
[hold_up]
branch = "standby pack"
capacitance = "1 F"
[[cables.positive]]
length = "2 m"
[engine]
fires_after = "nver"
cylinders = 4.0
[batery]
[[loads]]
from_time = "end"
until = "key on"
power = true
"""
    found = problems(text)
    assert found[1] == 'boat.toml:3: feed.sise: unknown field (did you mean "size"?)'
    assert found[2].startswith('boat.toml:4: feed.length = 30: needs a unit, such as "30 m" (units that fit: m, ')
    assert found[4] == 'boat.toml:7: battery.state_of_charge = "170 %": must be 0 % to 100 %'
    expected = [
        (1, "title = 3: must be text"),
        (3, "unknown field"),
        (4, "needs a unit"),
        (5, 'feed.from = "display supply": must be one of'),
        (7, "0 % to 100 %"),
        (8, "comma"),
        (9, "not modelled yet"),
        (10, "whole number"),
        (13, 'hold_up.capacitance: does not belong to branch "standby pack"'),
        (14, "cables.positive.0.size: is missing"),
        (17, '"never"'),
        (18, "whole number"),
        (19, 'batery: unknown section (did you mean "battery"?)'),
        (23, "loads.0.power = true: must be a power in quotes"),
    ]
    assert len(found) == len(expected)
    for line, (number, says) in zip(found, expected, strict=True):
        assert line.startswith(f"boat.toml:{number}: ")
        assert says in line


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "boat.toml: holds no field"),
        ("# nothing\n\n  # more\n", "boat.toml: holds no field"),
        ("[feed]\nlength = 30 ft\n", 'boat.toml:2: write quotes round the value, "30 ft"'),
        ("[feed]\nsize = 16 AWG  # thin\n", 'boat.toml:2: write quotes round the value, "16 AWG"'),
        ("[feed]\nsize = 2/0 AWG\n", 'boat.toml:2: write quotes round the value, "2/0 AWG"'),
        ("[battery]\nhealth = 90 %\n", 'boat.toml:2: write quotes round the value, "90 %"'),
        ("[battery]\nchemistry = agm\n", 'boat.toml:2: write quotes round the value, "agm"'),
        ("a = 1\n\n[feed\n", "boat.toml:3: not valid TOML"),
        ('title = "x\n', "boat.toml:1: not valid TOML"),
        ('title = """x\n\n', "boat.toml:1: not valid TOML"),
        ("title = \x00", "boat.toml:1: not valid TOML"),
        ('title = "\\ud800"', "boat.toml:1: not valid TOML"),
        (
            "[feed]\nlength = '1 m'\n\nlength = '2 m'\n",
            "boat.toml:4: feed.length: written twice (first on line 2)",
        ),
        ("[feed]\n[feed]\n", "boat.toml:2: feed: written twice (first on line 1)"),
        ("displays = 3", "boat.toml:1: displays is 3: must be a list of tables, written [[displays]]"),
        (
            "[displays]\npower = '9 W'",
            "boat.toml:1: displays is a table: must be a list of tables, written [[displays]]",
        ),
        ("displays = [3]", "boat.toml:1: displays.0 is 3: must be a table"),
        (
            "[[battery]]",
            "boat.toml:1: battery is a list: must be a table, written [battery] once, not [[battery]]",
        ),
        ("battery = 1979-05-27", "boat.toml:1: battery is "),
        ("house = []", "boat.toml:1: house is a list: must be a table"),
        ("cables = 'thick'", 'boat.toml:1: cables is "thick": must be a table'),
        ("title = ' '", "must not be empty"),
        ("title = '" + "x" * 201 + "'", "longer than 200"),
        ('title = "a\\u0000b"', "control character"),
        ("[battery]\nrating = inf", "needs a unit"),
        ("[battery]\nrating = nan", "needs a unit"),
        ("[battery]\nin_series = true", "whole number"),
        ("[engine]\ncompression_ratio = nan", "5 to 30"),
        ("[engine]\ncompression_ratio = inf", "5 to 30"),
        ("[engine]\nfires_after = []", "must be a time in quotes"),
        ("x = " + "9" * 5000, "not valid TOML"),
        ("[engine]\ncylinders = " + "9" * 400, "a huge number: must be a whole number"),
        ("x = " + "[" * 5000, "nested too deeply"),
        ("x = " + "[" * 100 + "]" * 100, "nested too deeply"),
        ("x = " + "{a = " * 1900, "nested too deeply"),
        ("a." * 100_000 + "b = 1", "too long"),
        ("[" + "a." * 300 + "b]", "too long"),
        ("x = 1\n" * 200_000, "larger than 1 MB"),
        ("[starter]\nmotor = 'Series'", 'did you mean "series"?'),
        ("[engine]\noil = '15w40'", 'did you mean "15W-40"?'),
        ("brownout = '8 V'", "displays has a field of that name"),
        ("[feed]\nfrom_ = 'battery'", 'feed.from_: unknown field (did you mean "from"?)'),
        ("[[displays]]\nreset_at = 'pins'", 'unknown field (did you mean "reset_after" or "brownout_at"?)'),
        ("[feed]\nreturn_too = 'battery'", 'unknown field (did you mean "return_to"?)'),
        ("[starter]\npart = 'x'\npoints = [{voltage = '9 V', current = '9 A'}]", "not both"),
        ("[starter]\npoints = [{voltage = '9 V'}]", "starter.points.0.current: is missing"),
        ("[start_circuit]\nrelay = 'none'\nrelay_must_operate = '8 V'", "has no meaning"),
        ("[[cables.negative]]\nname = 'x'", "cables.negative.0.length: is missing, a cable needs"),
        ("[[cables.negative]]\nlength = '1 m'\nsize = '2 AWG'\nresistance = '1 mohm'", "not both"),
        ("[panel]\nlength = '1 m'\nresistance = '1 mohm'", "not both"),
        ("[[loads]]\ncurrent = '1 A'\npower = '1 W'", "write only one of current, power"),
        ("[[loads]]\nname = 'x'", "a load needs current, power or resistance"),
        ("[[loads]]\ncurrent = '1 A'\nfrom_time = 'start'\nuntil = 'start'", "must be later than from_time"),
        ("[[loads]]\ncurrent = '1 A'\nfrom_time = 'start+2'", "the unit is missing"),
        ("[[loads]]\ncurrent = '1 A'\nfrom_time = 'starting'", "not a moment"),
        ("[[loads]]\ncurrent = '1 A'\nfrom_time = 'noon'", "not a moment"),
        ("[[loads]]\ncurrent = '1 A'\nfrom_time = 'start+2 h'", "at most 1 h"),
        ("[hold_up]\ncapacitance = '1 F'", 'does not belong to branch "none"'),
        ("[hold_up]\nbranch = 'pack'", 'did you mean "standby pack"?'),
        ("[[displays]]\n" * 9, "displays: holds 9 entries, at most 8 are taken"),
    ],
)
def test_bad_files(text: str, says: str) -> None:
    assert any(says in line for line in problems(text)), problems(text)


def test_many_problems_are_counted_not_listed() -> None:
    found = problems("\n".join(f"x{n} = 1" for n in range(5000)))
    assert len(found) == 51
    assert found[-1] == "boat.toml: and 4950 more problems"


def test_user_text_cannot_break_a_message() -> None:
    found = problems('"a\\nb\\u0000" = 1\n[feed]\nlength = "x\\n.control\\u001b[2J"')
    assert len(found) == 2
    assert problems("a = 1", "evil\n\x1b[2J.toml")[0].startswith("evil\\n\\x1b")


def test_a_title_may_hold_anything_that_prints() -> None:
    assert loads_scenario('title = "x\\n.control\\nshell touch y"').title == "x\n.control\nshell touch y"


def test_files(tmp_path: Path) -> None:
    def refusal(path: Path | str) -> str:
        with pytest.raises(InputError) as caught:
            load_scenario(path)
        assert len(caught.value.problems) == 1
        assert caught.value.problems[0].isprintable()
        return caught.value.problems[0]

    good = tmp_path / "boat.toml"
    good.write_text(BOAT, encoding="utf-8")
    assert load_scenario(good) == load_scenario(str(good)) == loads_scenario(BOAT)
    marked = tmp_path / "bom.toml"
    marked.write_bytes(b"\xef\xbb\xbf" + BOAT.replace("\n", "\r\n").encode())
    assert load_scenario(marked) == load_scenario(good)
    assert load_scenario(marked).written["feed.size"].line == 19
    assert "no such file" in refusal(tmp_path / "missing.toml")
    assert "no such file" in refusal("")
    assert "is a directory" in refusal(tmp_path)
    assert "cannot be read" in refusal(good / "below")
    assert "cannot be read" in refusal("a\0b")
    assert "cannot be read" in refusal("x" * 5000)
    for name, data, says in [
        ("empty", b"", "holds no field"),
        ("large", b"# x\n" * 2_500_000, "larger than 1 MB"),
        ("binary", bytes(range(256)) * 4, "is a binary file"),
        ("latin", "title = 'b\xe2teau'\n".encode("latin-1"), ":1: not UTF-8 text (byte 0xe2)"),
        ("wide", BOAT.encode("utf-16"), "is UTF-16 text"),
        ("deep", b"x = " + b"[" * 100_000, "too long"),
        ("deep_lines", b"x = " + b"[\n" * 100_000, "nested too deeply"),
    ]:
        path = tmp_path / f"{name}.toml"
        path.write_bytes(data)
        assert says in refusal(path)
    assert "larger than 1 MB" in refusal("/dev/zero")


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read everything")
def test_a_file_without_permission(tmp_path: Path) -> None:
    path = tmp_path / "boat.toml"
    path.write_text(BOAT)
    path.chmod(0)
    with pytest.raises(InputError, match="no permission"):
        load_scenario(path)


def test_a_pipe_is_read(tmp_path: Path) -> None:
    path = tmp_path / "pipe"
    os.mkfifo(path)
    writer = threading.Thread(target=path.write_text, args=(BOAT,))
    writer.start()
    boat = load_scenario(path)
    writer.join()
    assert boat == loads_scenario(BOAT)


@given(st.text(max_size=300))
def test_any_text_is_read_or_refused(text: str) -> None:
    assert all(line.isprintable() for line in refusals(loads_scenario, text))


@given(st.integers(0, len(BOAT)), st.integers(0, 12), st.text(max_size=8))
def test_any_damage_is_read_or_refused(at: int, length: int, put: str) -> None:
    found = refusals(loads_scenario, BOAT[:at] + put + BOAT[at + length :])
    assert all(line.startswith("scenario:") and line.isprintable() for line in found)


def test_scenarios_travel_to_worker_processes() -> None:
    boat = loads_scenario(BOAT, "boat.toml").with_overrides({"feed.length": "10 m"})
    back = pickle.loads(pickle.dumps(boat))
    assert back == boat
    assert hash(back) == hash(boat)
    assert back.written == boat.written


def test_scenarios_cannot_be_changed_in_place() -> None:
    boat = loads_scenario(BOAT)
    with pytest.raises(ValueError, match="frozen"):
        boat.feed.length = 3.0  # type: ignore[misc]
