# SPDX-License-Identifier: GPL-3.0-or-later
"""Sweeps: real ones of a short crank, their files, what is read from them, and what they survive."""

from __future__ import annotations

import csv
import io
import json
import os
import shlex
import signal
import socket
import subprocess
import sys
import time
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import product
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from cranksag.catalogue import load_catalogue
from cranksag.cli.sweep_report import _at, _quantity, _share, report
from cranksag.errors import InputError, Interrupted
from cranksag.examples import example_text
from cranksag.runner import Changed, Keys
from cranksag.runner.boats import BoatWork
from cranksag.scenario import Scenario, loads_scenario, scenario_schema
from cranksag.simulate import simulate
from cranksag.studies import (
    Ties,
    boundary,
    drivers,
    objectives,
    pareto,
    read_table,
    summary_of,
    survivors,
    sweep,
    write_table,
)
from cranksag.studies.analysis import _bands, closest, ruled_out, told_precision
from cranksag.studies.measures import NUMBERS, TEXTS, RowMeasure, parse_price, status_of
from cranksag.studies.still import still_axes
from cranksag.studies.store import COLUMNS
from cranksag.studies.superseded import hiding
from cranksag.studies.sweep import plan_of
from cranksag.studies.sweepfile import _FIELDS, split_sweep
from cranksag.studies.table import STATUSES, AxisColumn, Table
from cranksag.verdict.cables import OVERHEATS
from tests.short_crank import SHORT

TESTS = Path(__file__).parent
AXES = ("battery.rating=400 A:1200 A:3", "feed.size=18 AWG,14 AWG")


@pytest.fixture(scope="module")
def swept(short: Scenario, tmp_path_factory: pytest.TempPathFactory) -> tuple[Any, Path]:
    out = tmp_path_factory.mktemp("sweep") / "rows.csv"
    return sweep(short, AXES, workers=2, out=out, prices=["feed.size=18 AWG:0.5/m", "feed.size=14 AWG:1/m"]), out


def comparable(table: Table) -> list[dict[str, Any]]:
    return [{k: v for k, v in row.items() if k != "solve_s"} for row in table.rows()]


# --- a real sweep --------------------------------------------------------------------------------------------


def test_every_row_is_its_own_simulation(short: Scenario, swept: tuple[Any, Path]) -> None:
    table = swept[0].table
    assert len(table) == 6
    for number in (0, 5):
        row = table.row(number)
        changed = {path: row[path] for path in ("battery.rating", "feed.size")}
        alone = simulate(short.with_overrides(changed))
        assert row["minimum_voltage_v"] == alone.display.minimum_voltage
        assert row["margin_v"] == alone.display.margin
        assert row["restarts"] == alone.display.restarts
        assert row["starter_peak_current_a"] == alone.starter.peak_current
        assert (row["status"] == "held") == alone.display.holds


def test_the_sweep_in_the_readme_finds_what_stands_there(tmp_path: Path) -> None:
    """The counts, and the best line to the second digit, in which another build of the solver may differ by one."""
    readme = (Path(__file__).resolve().parents[1] / "README.md").read_text(encoding="utf-8")
    line = next(x for x in readme.splitlines() if x.startswith("cranksag sweep boat.toml"))
    words = [word for word in shlex.split(line, comments=True)[3:] if word not in ("--out", "rows.csv")]
    boat = tmp_path / "boat.toml"
    boat.write_text(example_text("restarting"), encoding="utf-8")
    done = ran(boat, *words)
    assert (done.returncode, words[-1]) == (0, "feed.size=16 AWG,8 AWG")
    found, shown = done.stdout.splitlines(), readme[readme.index("6 combinations:") :].partition("```")[0].splitlines()
    assert found[0].partition("(")[0] == shown[0].partition("(")[0]
    best, told = (next(x for x in lines if x.startswith("220mF")).split() for lines in (found, shown))
    assert best[:3] == told[:3]
    assert [float(x) for x in best[3:]] == pytest.approx([float(x) for x in told[3:]], abs=0.0101)


def test_a_restart_is_laid_to_a_sense_pin_only_where_there_is_one(short: Scenario) -> None:
    """A supply that grazes the threshold resets the display though its held minimum rounds to the threshold."""
    for pin, told in (("none", "held just at its threshold of 6 V"), ("5 V", "reset by its sense pin")):
        found = simulate(short.with_overrides({"displays.0.sense_threshold": pin}))
        grazing = replace(found.display, margin=0.0005, restarts=1, holds=False)
        _, reason = status_of(replace(found, display=grazing, displays=(grazing,)))
        assert reason == f"helm restarts once{',' if pin != 'none' else ':'} {told}"


def test_summary_adds_up(swept: tuple[Any, Path]) -> None:
    summary = swept[0].summary
    assert summary["combinations"] == 6
    assert summary["held"] + summary["restarted"] + summary["failed"] == 6
    assert summary["failed"] == summary["not_run"] == 0
    assert summary["workers"] == 2
    assert summary["rate_per_s"] == pytest.approx(6 / summary["seconds"])
    json.dumps(summary, allow_nan=False)


def test_rows_csv_is_as_promised(swept: tuple[Any, Path]) -> None:
    with swept[1].open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert list(rows[0])[:10] == [
        "battery.rating", "battery.rating [A]", "feed.size", "feed.size [m2]",
        "minimum_voltage_v", "margin_v", "restarts", "dark_time_s", "status", "reason",
    ]  # fmt: skip
    assert [(r["battery.rating"], r["feed.size"]) for r in rows] == list(
        product(("400 A", "800 A", "1200 A"), ("18 AWG", "14 AWG"))
    )
    assert all(float(r["battery.rating [A]"]) == float(r["battery.rating"].split()[0]) for r in rows)
    assert {r["status"] for r in rows} <= {"held", "restarted"}
    assert not swept[1].with_name("rows.csv.journal").exists()


def test_more_battery_and_thicker_wire_never_lower_the_minimum(swept: tuple[Any, Path]) -> None:
    minimum = swept[0].table.numbers["minimum_voltage_v"].reshape(3, 2)
    assert (np.diff(minimum, axis=0) > 0.0).all()
    assert (np.diff(minimum, axis=1) > 0.0).all()


def test_wire_mass_and_cost(swept: tuple[Any, Path]) -> None:
    rows = [swept[0].table.row(k) for k in (0, 1)]
    # by hand: 30 ft out and back by default is 18.288 m; 18 AWG 0.8230 mm2, 14 AWG 2.0809 mm2 (ASTM B258), 8960 kg/m3;
    # the return conductor is not an axis but follows the size
    metres = 2 * 30 * 0.3048
    assert rows[1]["mass_kg"] - rows[0]["mass_kg"] == pytest.approx(metres * (2.0809e-6 - 0.8230e-6) * 8960, rel=0.01)
    assert rows[0]["cost"] == pytest.approx(0.5 * metres / 2)  # the price names feed.size: the supply conductor
    assert rows[1]["cost"] == pytest.approx(1.0 * metres / 2)


@pytest.mark.parametrize("suffix", [".csv", ".parquet", ".sqlite"])
def test_a_table_comes_back_as_it_was(swept: tuple[Any, Path], tmp_path: Path, suffix: str) -> None:
    table = swept[0].table
    path = write_table(table, tmp_path / f"rows{suffix}")
    again = read_table(path)
    assert list(again.rows()) == list(table.rows())
    assert again.axes == table.axes
    assert summary_of(again)["drivers"] == summary_of(table)["drivers"]
    if suffix != ".csv":
        assert summary_of(again) == summary_of(table)


def test_samples_and_ties_in_a_real_sweep(short: Scenario) -> None:
    ties = Ties(same=("feed.return_size=feed.size",), sample="latin 4", seed=3)
    axes = ("battery.rating=400 A:1200 A:2", "feed.size=18 AWG..14 AWG")
    first, again = (sweep(short, axes, ties, workers=count) for count in (1, 2))
    assert comparable(first.table) == comparable(again.table)
    assert all(row["feed.size"] == row["feed.return_size"] for row in first.table.rows())


def test_equal_boats_are_computed_once(short: Scenario) -> None:
    result = sweep(short, ["feed.return_length=30 ft,9.144 m,20 ft", "battery.rating=800 A"], workers=1)
    assert result.summary["combinations"] == 2  # equal values of one axis count once
    keys = Keys(BoatWork((short,)))
    base = keys.of(Changed())
    assert keys.of(Changed((("battery.rating", "0.8 kA"),))) == base
    assert keys.of(Changed((("battery.rating", "801 A"),))) != base
    other = Keys(BoatWork((short.with_overrides({"battery.rating": "801 A"}),)))
    assert other.of(Changed()) != base


def test_rows_that_a_plan_repeats_are_not_told_as_there_before(
    boat: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "rows.csv"
    words = (boat, "--axis", "battery.rating=600 A,800 A", "--axis", "feed.joints=1 mohm,2 mohm", "--workers", 1)
    sample = (*words, "--sample", "saltelli 4", "--out", out)
    code, shown, err = here(capsys, monkeypatch, *sample, "--json")
    found = json.loads(shown)
    assert (code, found["combinations"], found["recalled"], found["computed"] + found["repeated"]) == (0, 16, 0, 16)
    assert found["computed"] <= 4
    assert "were there" not in err
    assert f"{found['repeated']} of its rows are of boats that others have too, which were run once" in err
    wider = sweep(
        loads_scenario(SHORT), ["battery.rating=600 A,800 A,900 A", "feed.joints=1 mohm"], out=tmp_path / "w.csv"
    )
    assert (wider.summary["computed"], wider.summary["recalled"], wider.summary["repeated"]) == (3, 0, 0)


def test_a_long_crank_is_no_hang(short: Scenario, monkeypatch: pytest.MonkeyPatch) -> None:
    """Minutes of cranking take the solver several budgets of steps, each with a wall limit of its own."""
    keys = Keys(BoatWork((short,)))
    assert keys.job(Changed()).limit == 60.0
    fields = (("crank.attempts", "20"), ("crank.key_held", "2 min"), ("crank.rest", "60 s"))
    assert keys.job(Changed(fields)).limit == pytest.approx(20.0 * (20 * 180.0 - 60.0), rel=1e-3)
    with monkeypatch.context() as patch:
        patch.setattr("cranksag.runner.boats.resolve", lambda *_: 1 / 0)
        assert Keys(BoatWork((short,))).job(Changed()).limit == 60.0, "a fault of the program costs its row only"
    monkeypatch.setattr("cranksag.runner.boats.WALL_LIMIT", 0.2)
    long = ["crank.key_held=20 s", "crank.attempts=2", "crank.rest=1 s"]
    assert sweep(short, long, workers=1, wall_limit=0.2).summary["failures"] == {"hung": 1}
    assert sweep(short, long, workers=1).summary["failed"] == 0


def test_an_impossible_sweep_is_refused_at_once(short: Scenario, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="has 1 entry"):
        sweep(short, ["displays.3.power=9 W,12 W"])
    with pytest.raises(InputError, match="no combination"):
        sweep(short, ["battery.rating=600 A,700 A"], Ties(where=("battery.rating > 900 A",)))
    with pytest.raises(InputError, match="must end in"):
        sweep(short, AXES, out=tmp_path / "rows.txt")
    with pytest.raises(InputError, match="no such directory"):
        sweep(short, AXES, out=tmp_path / "nowhere" / "rows.csv")
    with pytest.raises(InputError, match="needs --out"):
        sweep(short, AXES, resume=True)
    with pytest.raises(InputError, match="--price"):
        sweep(short, AXES, prices=["feed.size=16 AWG"])


def test_prices_are_read_or_refused() -> None:
    assert parse_price("battery.rating=800 A:180").amount == 180.0
    assert parse_price("feed.size=16 AWG: 1.2 /m").per_metre
    for text in (
        "battery.rating=800 A",
        "battery.rating=800 A:x",
        "battery.rating=800 A:-1",
        "battery.rating=800 A:1/m",
        "a=b:1",
    ):
        with pytest.raises(InputError, match="--price"):
            parse_price(text)


OWN_BATTERIES = """
[[battery]]
name = "my battery"
chemistry = "agm"
voltage = "12 V"
rating = "700 A"
rating_standard = "EN"
capacity = "70 Ah"
mass = "19 kg"
price = 240
source = "label"
provenance = "engineering estimate"
[[battery]]
name = "my other"
chemistry = "agm"
voltage = "12 V"
rating = "700 A"
rating_standard = "EN"
capacity = "70 Ah"
source = "label"
provenance = "engineering estimate"
"""


def test_named_parts_bring_their_mass_and_price(short: Scenario, tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(OWN_BATTERIES, encoding="utf-8")
    own = load_catalogue([tmp_path / "mine.toml"])
    axes = ["battery.part=my battery,my other,none", "battery.in_parallel=1,2"]
    rows = {(r["battery.part"], r["battery.in_parallel"]): r for r in sweep(short, axes, catalogue=own).table.rows()}
    copper = rows["none", "1"]["mass_kg"]
    assert rows["my battery", "1"]["mass_kg"] == pytest.approx(copper + 19.0)
    assert rows["my battery", "2"]["mass_kg"] == pytest.approx(copper + 38.0)
    assert rows["my other", "2"]["mass_kg"] == pytest.approx(copper)
    assert [rows["my battery", n]["cost"] for n in "12"] == [240.0, 480.0]
    assert rows["my other", "1"]["cost"] is None  # a part of a kind that has prices, and none of its own
    assert rows["none", "1"]["cost"] == 0.0
    given = sweep(short, ["battery.part=my battery,my other"], catalogue=own, prices=["battery.part=my other:99"])
    assert [r["cost"] for r in given.table.rows()] == [None, 99.0]
    assert rows["my battery", "1"]["minimum_voltage_v"] < rows["my battery", "2"]["minimum_voltage_v"]


def test_a_supercapacitor_weighs_as_many_cells_as_there_are(short: Scenario) -> None:
    axes = ["hold_up.branch=supercapacitor", "hold_up.capacitor=50 F 2.7 V cell", "hold_up.cells=7"]
    (row,) = sweep(short, axes).table.rows()
    each = load_catalogue().find("supercapacitor", "50 F 2.7 V cell").value("mass")
    assert row["mass_kg"] - row["copper_kg"] == pytest.approx(7.0 * each)


def test_a_row_that_contradicts_itself_fails_alone(short: Scenario) -> None:
    result = sweep(short, ["feed.from=starter stud,house battery"], workers=1)
    assert result.summary["failed"] == 1
    assert result.summary["failures"] == {"input": 1}
    assert "no [house] bank" in result.table.row(1)["reason"]
    assert result.table.row(1)["minimum_voltage_v"] is None


BATTERIES = load_catalogue().filter("flooded", "battery")


def test_a_part_that_an_axis_names_counts_with_its_own_figures(short: Scenario) -> None:
    """The file's figures would hide it; those that a row or --set gives on purpose stay, and "none" is the file's."""
    big, small = (e.name for e in sorted(BATTERIES, key=lambda e: -e.value("rating"))[:: len(BATTERIES) - 1])
    found = sweep(short, [f"battery.part=none,parts:{big},parts:{small}"], workers=1)
    none, large, little = found.table.rows()
    assert large["margin_v"] > little["margin_v"] + 0.1
    assert none["minimum_voltage_v"] == simulate(short).display.minimum_voltage
    bare = short.without("battery", ["rating"]).with_overrides({"battery.part": big})
    assert large["minimum_voltage_v"] == simulate(bare).display.minimum_voltage
    (note,) = found.summary["notes"]
    assert note.startswith("left out for battery.part: battery.rating, ")
    assert summary_of(found.table)["notes"] == [note]
    kept = sweep(short.with_overrides({"battery.rating": "800 A"}), [f"battery.part=parts:{big}"], workers=1)
    assert kept.summary["notes"] == []
    given = sweep(short, [f"battery.part=parts:{big}", "battery.rating=800 A,600 A"], workers=1)
    same, less = given.table.rows()
    assert same["minimum_voltage_v"] == kept.table.row(0)["minimum_voltage_v"] > less["minimum_voltage_v"]


def test_a_figure_that_is_left_out_is_in_the_run_key(short: Scenario) -> None:
    keys, change = Keys(BoatWork((short,))), (("battery.part", BATTERIES[0].name),)
    bare, whole = (keys.of(Changed(change, left_out=gone)) for gone in (("battery.rating",), ()))
    assert bare != whole
    assert whole == keys.of(Changed(change))


def test_an_axis_that_moves_nothing_is_told_with_the_reason(short: Scenario) -> None:
    """The key is on for 20 ms before START, so the display boots through the crank."""
    axes = ["displays.0.power=9 W,12 W", "feed.size=16 AWG,12 AWG"]
    booting = short.with_overrides({"displays.0.boot_power": "12 W"})
    told = "displays.0.power moves nothing here: the display is still booting at START, so boot_power counts"
    found = sweep(booting, axes, workers=1)
    assert found.summary["notes"] == summary_of(found.table)["notes"] == [told]
    fed = booting.with_overrides({"feed.key_terminal": "always"})
    always = sweep(fed, axes, workers=1)
    assert always.summary["notes"] == []
    assert np.ptp(always.table.numbers["minimum_voltage_v"][[0, 2]]) > 1e-4
    own = short.with_overrides({"battery.rating": "800 A"})  # the other figures of a part are left unwritten
    kept = own.with_overrides(
        {"battery.chemistry": "agm", "battery.rating_standard": "EN", "battery.capacity": "90 Ah"}
    )
    parts = ",".join(f"parts:{entry.name}" for entry in BATTERIES[:2])
    (hidden,) = sweep(kept, [f"battery.part={parts}"], workers=1).summary["notes"]
    assert hidden.startswith("battery.part moves nothing here: figures that are set beside it hide")


def test_an_axis_moves_nothing_only_where_no_row_of_it_moves() -> None:
    columns = {"battery.rating": RATINGS, "feed.length": LENGTHS}
    still = "feed.length moves nothing here"
    assert still_axes(made(columns, lambda a, m: a / 1000.0)) == [still]
    assert still_axes(made(columns, lambda a, m: a / 1000.0 + 1e-6 * m)) == [still]
    assert still_axes(made(columns, lambda a, m: a / 1000.0 + 1e-4 * m * (a > 900.0))) == []
    changed = made(columns, lambda a, m: a / 1000.0)
    changed.numbers["restarts"][:] = 0.0
    assert still_axes(changed) == [still]
    changed.numbers["restarts"][4] = 1.0
    assert still_axes(changed) == []
    lone = made({"battery.rating": RATINGS[:1], "feed.length": LENGTHS[:1]}, lambda a, m: 1.0)
    assert still_axes(lone) == []
    assert still_axes(lone.taken(lone.done()[:0])) == []


@pytest.mark.parametrize(
    ("path", "figures"),
    [
        ("hold_up.pack", {"chemistry", "pack_voltage", "pack_resistance", "pack_capacity"}),
        ("hold_up.fuse_part", {"fuse"}),
        ("battery.part", {"chemistry", "rating", "rating_standard", "capacity"}),
        ("starter.solenoid", {"pull_in", "hold_in"}),
        ("feed.size", set()),
    ],
)
def test_figures_that_hide_a_part_are_those_that_it_has_too(path: str, figures: set[str]) -> None:
    boat = loads_scenario(example_text("standby-pack"), "boat")
    table = path.partition(".")[0]
    assert set(hiding(boat, [path]).get(path, ())) == {f"{table}.{name}" for name in figures}


def test_a_joint_hides_nothing_in_a_run_of_wire_and_a_measured_resistance_hides_it() -> None:
    boat = loads_scenario(example_text("restarting"), "boat")
    found = hiding(boat, [f"cables.positive.{k}.part" for k in range(2)])
    assert found == {"cables.positive.1.part": ("cables.positive.1.resistance",)}


# --- reading a table -----------------------------------------------------------------------------------------


def made(
    columns: dict[str, list[str]], margin: Callable[..., float], holds: Callable[[float], bool] = lambda m: m >= 0.0
) -> Table:
    """A table of a full grid whose margin is a function of the axis values."""
    units = {"battery.rating": "A", "feed.length": "m", "feed.joints": "ohm"}
    grid = list(product(*columns.values()))
    table = Table.empty([AxisColumn(path, units[path]) for path in columns], len(grid))
    for number, texts in enumerate(grid):
        values = [float(text.split()[0]) for text in texts]
        table.put_axes(number, texts, values)
        level = margin(*values)
        numbers = {"margin_v": level, "minimum_voltage_v": 8.5 + level, "starts": 1.0, "mass_kg": values[0] / 100.0}
        status = "held" if holds(level) else "restarted"
        table.put(number, [[numbers.get(name) for name in NUMBERS], ["helm", "feed", "", "", ""], status, ""])
    return table


RATINGS = ["400 A", "600 A", "800 A", "1000 A"]
LENGTHS = ["2 m", "6 m", "10 m"]


def test_a_display_that_lets_go_at_its_threshold_places_no_boundary() -> None:
    """Its margin is nil by a hair whatever the bank lacks: a line to it would put the boundary at the value itself."""
    table = made({"battery.rating": RATINGS}, lambda a: -0.0005 if a < 700.0 else 0.4)
    assert [crossing.zero for crossing in boundary(table)] == [None]


def test_boundary_lies_where_the_margin_is_zero() -> None:
    table = made({"battery.rating": RATINGS, "feed.length": LENGTHS}, lambda a, m: (a - 700.0) / 100.0 - 0.1 * m)
    found = boundary(table)
    along = {dict(c.others)["feed.length"]: c for c in found if c.path == "battery.rating"}
    assert set(along) == set(LENGTHS)
    for text, crossing in along.items():
        assert crossing.zero == pytest.approx(700.0 + 10.0 * float(text.split()[0]))
    assert (along["2 m"].holds_at, along["2 m"].fails_at) == ("800 A", "600 A")
    assert boundary(made({"battery.rating": RATINGS}, lambda a: 1.0)) == []


def test_survivors_hold_with_margin_and_start() -> None:
    table = made({"battery.rating": RATINGS}, lambda a: (a - 700.0) / 100.0)
    assert [table.row(int(k))["battery.rating"] for k in survivors(table, 0.5)] == ["1000 A", "800 A"]
    assert len(survivors(table, 2.0)) == 1
    table.numbers["starts"][3] = 0.0
    assert len(survivors(table, 0.0)) == 1


def test_where_none_survives_the_nearest_rows_are_told() -> None:
    """Rows that failed, or in which nothing cranks, are no way to go."""
    table = made({"battery.rating": RATINGS}, lambda a: (a - 2000.0) / 100.0)
    order = sorted(range(len(table)), key=lambda k: -float(table.numbers["margin_v"][k]))
    assert list(closest(table)) == order
    table.numbers["starts"][order[0]] = 0.0
    table.status[order[1]] = STATUSES.index("failed")
    assert list(closest(table)) == order[2:]
    shown = io.StringIO()
    Console(file=shown, width=100).print(*report(table, summary_of(table), (), np.array([], dtype=int), 10))
    told = shown.getvalue()
    assert "Nearest to holding" in told
    assert str(table.row(order[2])["battery.rating"]) in told
    alive = made({"battery.rating": RATINGS}, lambda a: (a - 700.0) / 100.0)
    shown = io.StringIO()
    Console(file=shown, width=100).print(*report(alive, summary_of(alive), (), np.array([], dtype=int), 10))
    assert "Nearest to holding" not in shown.getvalue()


def test_a_row_whose_starter_cable_burns_is_no_survivor() -> None:
    table = made({"battery.rating": RATINGS}, lambda a: (a - 700.0) / 100.0)
    before = list(survivors(table))
    table.texts["dangers"].put(int(before[0]), f"source_unfused; {OVERHEATS}")
    table.texts["dangers"].put(int(before[1]), "source_unfused")
    assert list(survivors(table)) == before[1:]
    assert list(ruled_out(table)) == before[:1]
    assert list(ruled_out(table, 99.0)) == []


@given(points=st.lists(st.tuples(st.integers(0, 6), st.integers(0, 6), st.integers(0, 6)), min_size=1, max_size=40))
def test_pareto_is_what_no_row_beats(points: list[tuple[int, int, int]]) -> None:
    table = Table.empty([AxisColumn("battery.rating", "A")], len(points))
    for number, (a, b, c) in enumerate(points):
        table.numbers["margin_v"][number], table.numbers["mass_kg"][number] = a, b
        table.numbers["battery.rating [A]"][number] = c
    wanted = objectives(["margin_v:max", "mass_kg:min", "battery.rating:min"], table)
    found = set(pareto(table, wanted, np.arange(len(points))).tolist())

    def beats(p: tuple[int, int, int], q: tuple[int, int, int]) -> bool:
        return p != q and p[0] >= q[0] and p[1] <= q[1] and p[2] <= q[2]

    assert found == {k for k, q in enumerate(points) if not any(beats(p, q) for p in points)}


def test_a_tie_within_the_noise_of_the_solver_beats_nobody() -> None:
    """Three boats of one mass, two of them alike but for 1e-12 V: both stand, and the one a millivolt less does not."""
    table = made({"battery.rating": RATINGS}, lambda a: {400: 0.5, 600: 0.5 + 1e-12, 800: 0.499, 1000: 0.6}[int(a)])
    table.numbers["mass_kg"][:] = [3.0, 3.0 - 1e-13, 3.0, 4.0]
    wanted = objectives(["margin_v:max", "mass_kg:min"], table)
    assert sorted(pareto(table, wanted).tolist()) == [0, 1, 3]
    values = np.array([0.00231, 0.00232, 12.346, 1234.567, 0.0, np.nan])
    assert told_precision("gap_s", values)[:5].tolist() == [0.00231, 0.00232, 12.35, 1234.57, 0.0]
    areas = np.array([1.31e-6, 1.32e-6])
    assert told_precision("feed.size [m2]", areas) is areas


def test_objectives_name_columns() -> None:
    table = made({"battery.rating": RATINGS}, lambda a: 1.0)
    with pytest.raises(InputError, match="did you mean mass_kg"):
        objectives(["mas_kg:min"], table)
    with pytest.raises(InputError, match="NAME:min"):
        objectives(["mass_kg"], table)


def test_drivers_of_a_sum_are_the_shares_of_its_variances() -> None:
    # y = 3 a + b with a, b equally spaced: no interaction, first order = total order = 9 var(a) / (9 var(a) + var(b))
    table = made(
        {"battery.rating": ["0 A", "1 A", "2 A"], "feed.length": ["0 m", "1 m", "2 m"]}, lambda a, b: 3 * a + b
    )
    found = {d.path: d for d in drivers(table)}
    assert found["battery.rating"].first == pytest.approx(0.9)
    assert found["battery.rating"].total == pytest.approx(0.9)
    assert found["feed.length"].first == pytest.approx(0.1)
    assert [d.path for d in drivers(table)] == ["battery.rating", "feed.length"]


def test_drivers_of_a_product_are_its_interaction() -> None:
    # y = a b, a and b in {-1, 1}: neither alone explains anything, both together everything
    table = made({"battery.rating": ["-1 A", "1 A"], "feed.length": ["-1 m", "1 m"]}, lambda a, b: a * b)
    for driver in drivers(table):
        assert (driver.first, driver.total) == (pytest.approx(0.0), pytest.approx(1.0))


def ishigami(a: np.ndarray, b: np.ndarray, c: np.ndarray) -> np.ndarray:
    return np.sin(a) + 7.0 * np.sin(b) ** 2 + 0.1 * c**4 * np.sin(a)


@pytest.mark.parametrize(("kind", "count"), [("saltelli", 1024), ("sobol", 4096)])
def test_drivers_of_a_known_function(kind: str, count: int) -> None:
    # Ishigami's function, a = 7, b = 0.1: first order 0.3139, 0.4424, 0; total 0.5576, 0.4424, 0.2437
    # (T. Ishigami, T. Homma, ISUMA 1990; closed form). Tolerance: sampling error of 1024 pairs, and the bins' width.
    from cranksag.studies.plan import Sample, _unit_design

    unit = _unit_design(Sample(kind, count, 1), 3)
    points = np.pi * (2.0 * unit - 1.0)
    table = Table.empty([AxisColumn(p, "-") for p in ("feed.length", "feed.joints", "battery.rating")], len(points))
    for number, row in enumerate(points):
        table.put_axes(number, [repr(v) for v in row], list(row))
    table.numbers["margin_v"][:] = ishigami(*points.T)
    table.meta["plan"] = {"kind": kind, "count": count}
    found = {d.path: d for d in drivers(table)}
    for path, first, total in (
        ("feed.length", 0.3139, 0.5576),
        ("feed.joints", 0.4424, 0.4424),
        ("battery.rating", 0.0, 0.2437),
    ):
        assert found[path].first == pytest.approx(first, abs=0.05)
        if kind == "saltelli":
            assert found[path].total == pytest.approx(total, abs=0.05)
        else:
            assert found[path].total is None


@pytest.mark.parametrize(("pairs", "least"), [(8, 0.7), (64, 0.85)])
def test_the_band_of_an_index_holds_the_index(pairs: int, least: float) -> None:
    """Ishigami's function again: nine times in ten, from 8 pairs about eight; 20 seeds leave room for chance."""
    from cranksag.studies.plan import Sample, _unit_design

    known = np.array([[0.3139, 0.4424, 0.0], [0.5576, 0.4424, 0.2437]])
    inside = []
    for seed in range(20):
        points = np.pi * (2.0 * _unit_design(Sample("saltelli", pairs, seed), 3) - 1.0)
        low, high = _bands(ishigami(*points.T).reshape(5, pairs))
        inside.append((low <= known) & (known <= high))
    assert np.mean(inside) > least


@pytest.mark.parametrize("pairs", [8, 128])
def test_an_index_from_few_pairs_is_told_as_rough_and_never_above_all(pairs: int) -> None:
    from cranksag.studies.plan import Sample, _unit_design

    points = np.pi * (2.0 * _unit_design(Sample("saltelli", pairs, 3), 3) - 1.0)
    table = Table.empty([AxisColumn(p, "-") for p in ("feed.length", "feed.joints", "battery.rating")], len(points))
    for number, row in enumerate(points):
        table.put_axes(number, [repr(v) for v in row], list(row))
    table.numbers["margin_v"][:] = ishigami(*points.T)
    table.meta["plan"] = {"kind": "saltelli", "count": pairs}
    found = drivers(table)
    assert ("rough, take 64 or more" in found[0].how) == (pairs < 64)
    assert drivers(table) == found
    assert _share(1.34, (0.2, 1.9)) == "100% (20% to 100%)"
    assert _share(-0.2, None) == "0%"
    for driver in found:
        assert driver.first_band is not None
        assert driver.first_band[0] < driver.first_band[1]


free = st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"]), max_size=20)
risky = st.sampled_from(["=1+1", "+1", "-1", "@SUM(A1)", "'x", "''=1", "a,b", 'say "x"', "\tx"])


@given(reason=st.one_of(free, risky), name=st.one_of(free, risky), margin=st.one_of(st.none(), st.floats(-50, 50)))
def test_no_free_text_reaches_a_spreadsheet_as_a_formula(
    tmp_path_factory: pytest.TempPathFactory, reason: str, name: str, margin: float | None
) -> None:
    table = Table.empty([AxisColumn("temperature.ambient", "degC"), AxisColumn("displays.0.name", "-", True)], 1)
    table.put_axes(0, ["-10 degC", name], [-10.0, 0.0])
    numbers = [margin if k == "margin_v" else None for k in NUMBERS]
    table.put(0, [numbers, [name, *[""] * (len(TEXTS) - 1)], "restarted", reason])
    path = write_table(table, tmp_path_factory.mktemp("safe") / "rows.csv")
    with path.open(newline="", encoding="utf-8") as file:
        header, cells = csv.reader(file)
    row = dict(zip(header, cells, strict=True))
    assert row["temperature.ambient"] == "-10 degC"
    for column in ("reason", "display", "displays.0.name"):
        assert not row[column].startswith(("=", "+", "-", "@", "\t", "\r"))
    assert list(read_table(path).rows()) == list(table.rows())


def test_a_table_of_another_version_is_told_so(short: Scenario, tmp_path: Path) -> None:
    path = tmp_path / "old.csv"
    path.write_text(",".join(["feed.length", "feed.length [m]", *(c for c in COLUMNS if c != "copper_kg")]) + "\n")
    with pytest.raises(InputError, match="of another version has to be run again"):
        read_table(path)
    with pytest.raises(InputError, match="such as another version's; choose another name, or --force"):
        sweep(short, ["feed.length=2 m"], out=path, resume=True)


def test_what_is_no_table_is_refused(tmp_path: Path) -> None:
    for name, content in (
        ("a.csv", b"x,y\n1,2\n"),
        ("b.csv", b"\xff\xfe"),
        ("c.csv", b""),
        ("d.sqlite", b"no"),
        ("e.parquet", b"no"),
    ):
        path = tmp_path / name
        path.write_bytes(content)
        with pytest.raises(InputError, match="not a result table"):
            read_table(path)
    with pytest.raises(InputError, match="no such file"):
        read_table(tmp_path / "none.csv")
    with pytest.raises(InputError, match="must end in"):
        read_table(tmp_path / "none.doc")


def test_a_big_table_stays_small() -> None:
    count = 100_000
    table = Table.empty([AxisColumn("battery.rating", "A"), AxisColumn("feed.size", "m2")], count)
    size = sum(c.nbytes for c in table.numbers.values()) + table.status.nbytes
    size += sum(c.codes.nbytes for c in (*table.written.values(), *table.texts.values()))
    assert size < 100e6  # bytes; the whole process must stay below 1 GB
    assert len(COLUMNS) == len(set(COLUMNS))


# --- the [sweep] table ---------------------------------------------------------------------------------------


def test_a_sweep_table_is_taken_out_of_the_scenario() -> None:
    text = (
        SHORT
        + '[sweep]\naxes = [\n  "battery.rating=600 A",\n]\nsame = ["a=b"]\nsample = "latin 3"\nseed = 4\n'
        + '[feed]\nlength = "3 m"\n'
    )
    rest, table = split_sweep(text, "x.toml")
    scenario = loads_scenario(rest, "x.toml")
    assert scenario.written["feed.length"].line == text[: text.index("length =")].count("\n") + 1
    assert table.axes == ("battery.rating=600 A",)
    assert table.ties == Ties(same=("a=b",), sample="latin 3", seed=4)
    assert split_sweep(SHORT, "x.toml")[0] == SHORT


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[sweep]\naxis = []\n", 'did you mean "axes"'),
        ("[sweep]\naxes = 3\n", "list of texts"),
        ("[sweep]\nseed = -1\n", "seed"),
        ("[sweep]\nsample = 3\n", "sample"),
        ("sweep = {axes = []}\n", "at the end of the file"),
        ("sweep = 3\n", "at the end"),
    ],
)
def test_a_sweep_table_that_cannot_be_read(text: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        split_sweep(text, "x.toml")
    assert words in str(caught.value)


# --- the command, and what it survives -----------------------------------------------------------------------


def command(*arguments: object, faulty: bool = False) -> list[str]:
    """The command line; `faulty` with the simulation of tests/faulty_work.py, which is told to fail at some ratings."""
    patch = (
        f"sys.path.insert(0, {str(TESTS)!r}); from faulty_work import faulty_boat; "
        "from cranksag.studies.sweep import sweep; "
        "sweep.__kwdefaults__['simulate'] = faulty_boat; "
    )
    code = f"import sys; {patch if faulty else ''}sys.argv[0] = 'cranksag'; from cranksag.cli import main; main()"
    return [sys.executable, "-c", code, "sweep", *map(str, arguments)]


def ran(*arguments: object, faulty: bool = False) -> subprocess.CompletedProcess[str]:
    return subprocess.run(command(*arguments, faulty=faulty), capture_output=True, text=True, check=False)


def here(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, *arguments: object
) -> tuple[int, str, str]:
    """Exit code, stdout and stderr of the command run in this process."""
    from cranksag.cli import main

    monkeypatch.setattr(sys, "argv", ["cranksag", "sweep", *map(str, arguments)])
    monkeypatch.setattr("cranksag.cli.console.own_process", lambda: None)  # it is the tests': Ctrl-C stays theirs
    with pytest.raises(SystemExit) as caught:
        main()
    told = capsys.readouterr()
    return int(caught.value.code or 0), told.out, told.err


@pytest.fixture
def boat(tmp_path: Path) -> Path:
    path = tmp_path / "boat.toml"
    path.write_text(SHORT)
    return path


def lines(path: Path) -> int:
    return path.read_bytes().count(b"\n") if path.exists() else 0


def until(met: Callable[[], bool], seconds: float = 120.0) -> None:
    end = time.monotonic() + seconds
    while not met():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.02)


def test_command_prints_one_document_and_writes_rows(
    boat: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "rows.csv"
    boat.write_text(SHORT + '[sweep]\naxes = ["battery.rating=400 A", "feed.size=16 AWG"]\n')
    done = ran(boat, "--axis", "battery.rating=600A,800A", "--out", out, "--json", "--workers", 1)
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    assert {"combinations", "held", "restarted", "failed", "seconds", "rate_per_s", "workers"} <= set(document)
    assert document["combinations"] == lines(out) - 1 == 2
    code, shown, _ = here(capsys, monkeypatch, "--show", out, "--json")
    assert code == 0
    again = json.loads(shown)
    for key in ("combinations", "held", "restarted", "failed", "survivors", "boundary"):
        assert again[key] == document[key]
    assert "2 combinations" in here(capsys, monkeypatch, "--show", out)[1]
    assert document["title"] == "short crank"


def test_command_refuses_with_exit_code_2_and_an_empty_stdout(
    boat: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    for arguments in (
        [boat],
        [boat, "--axis", "feed.sise=1"],
        [boat, "--axis", "battery.rating=600 A", "--out", boat],
        [boat, "--axis", "battery.rating=600 A", "--workers", 0],
        [boat, "--axis", "battery.rating=600 A", "--on", "dask://127.0.0.1:1/x"],
        ["--show", tmp_path / "none.csv"],
        ["--show", boat, boat],
        [tmp_path / "none.toml", "--axis", "battery.rating=600 A"],
        [],
    ):
        code, out, err = here(capsys, monkeypatch, *arguments, "--json")
        assert code == 2, (arguments, err)
        assert out == ""
        assert err.strip()


@pytest.mark.parametrize(
    ("starts", "told", "code"),
    [
        ([0.0] * 4, ("4 hold (the engine does not start in any of them)", "No survivors: the engine starts in no"), 1),
        ([0.0, 1.0, 1.0, 1.0], ("4 hold (the engine does not start in 1 of them)", "Survivors"), 1),
        ([1.0] * 4, ("4 combinations: 4 hold, 0 restart", "Survivors"), 0),
    ],
)
def test_a_row_that_does_not_start_the_engine_is_told_and_does_not_pass(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    starts: list[float],
    told: tuple[str, str],
    code: int,
) -> None:
    table = made({"battery.rating": RATINGS}, lambda a: a / 1000.0)
    table.numbers["starts"][:] = starts
    rows = write_table(table, tmp_path / "rows.csv")
    left, shown, err = here(capsys, monkeypatch, "--show", rows, "--check")
    assert left == code
    assert all(words in shown for words in told)
    assert (f"check: of 4 combinations {starts.count(0.0)} do not start the engine" in err) == bool(code)
    assert summary_of(table)["not_started"] == starts.count(0.0)
    least = here(capsys, monkeypatch, "--show", rows, "--margin", "9 V")[1]
    assert ("has a margin of 9 V" in least) == (1.0 in starts)


def test_a_picture_that_the_rows_do_not_give_costs_no_report(
    boat: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing of this short crank survives at a margin of 9 V, and only the rows tell."""
    out, plot = tmp_path / "rows.csv", tmp_path / "p.png"
    asked = ("--plot", plot, "--picture", "pareto", "--pareto", "margin_v:max", "--pareto", "wire_length_m:min")
    words = (boat, "--axis", "battery.rating=600 A,800 A", *asked, "--margin", "9 V", "--workers", 1)
    code, shown, err = here(capsys, monkeypatch, *words, "--out", out)
    assert code == 0
    assert "2 combinations" in shown
    assert "--picture pareto: no row survives with both objectives known: no picture is written" in err
    assert lines(out) == 3
    assert not plot.exists()
    code, shown, err = here(capsys, monkeypatch, "--show", out, *asked, "--margin", "9 V")
    assert code == 2
    assert "2 combinations" in shown
    assert "no picture is written" in err
    plot.mkdir()
    code, shown, err = here(capsys, monkeypatch, "--show", out, "--plot", plot, "--json")
    assert code == 2
    assert json.loads(shown)["combinations"] == 2
    assert "it is a directory" in err


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("boat.toml", "--sample", "latin", "8"), 'A value with a space needs quotes: --sample "latin N".'),
        (("boat.toml", "--picture", "map", "a,b"), 'A value with a space needs quotes: --picture "map X,Y".'),
        (("boat.toml", "--picture", "band", "a"), 'A value with a space needs quotes: --picture "band X".'),
        (("--show", "rows.csv", "--picture", "band", "a"), 'a picture of two words needs quotes: --picture "band X"'),
    ],
)
def test_a_value_of_two_words_without_quotes_is_answered_with_them(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], told: str
) -> None:
    code, shown, err = here(capsys, monkeypatch, *words)
    assert (code, shown) == (2, "")
    assert told in err
    assert "needs quotes" not in here(capsys, monkeypatch, "boat.toml", "more.toml", "--picture", "map X,Y")[2]


def test_the_sweep_table_in_the_readme_is_one() -> None:
    readme = (Path(__file__).resolve().parents[1] / "README.md").read_text(encoding="utf-8")
    table = readme[readme.index("[sweep]\n") :].partition("```")[0]
    for text in (table, table.replace("\n# ", "\n")):  # as it stands, and with what is commented out
        _, found = split_sweep(example_text("restarting") + text, "boat.toml")
        assert len(found.axes) == 3
        for price in found.prices:
            parse_price(price)
    _, found = split_sweep(example_text("restarting") + table, "boat.toml")
    assert (
        plan_of(found.axes, found.ties, None).count() == 3 * 15
    )  # sizes 18, 16, 14, 12, 10 AWG, the return no thinner
    every = tomllib.loads(table.replace("\n# ", "\n"))["sweep"]
    assert set(every) | {"seed"} == set(_FIELDS)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--picture", "pareto", "--pareto", "margin_v:max"), "needs two objectives"),
        (("--pareto", "margin:max",), "did you mean margin_v?"),
        (("--picture", "map battery.rating,feed.size"), "not an axis"),
        (("--picture", "map"), "needs two axes"),
        (("--picture", "cake"), "write map X,Y"),
    ],
)  # fmt: skip
def test_a_picture_that_no_rows_could_give_is_refused_before_any_is_run(
    boat: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    words: tuple[str, ...],
    told: str,
) -> None:
    monkeypatch.setattr(sys.modules["cranksag.studies.sweep"], "run_many", lambda *_, **__: 1 / 0)
    plot, out = tmp_path / "p.png", tmp_path / "rows.csv"
    rows = ("--axis", "battery.rating=600 A,800 A", "--out", out)
    code, shown, err = here(capsys, monkeypatch, boat, *rows, "--plot", plot, *words)
    assert (code, shown) == (2, "")
    assert told in err
    assert not out.exists()


@pytest.mark.parametrize("suffix", [".csv", ".parquet", ".sqlite"])
def test_results_are_written_over_only_by_the_same_sweep(
    boat: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, suffix: str
) -> None:
    out = tmp_path / f"rows{suffix}"
    ratings = (boat, "--axis", "battery.rating=600 A", "--out", out, "--workers", 1)
    others = (boat, "--axis", "feed.size=16 AWG", "--out", out, "--workers", 1)
    out.touch()  # an empty file, as mktemp makes one, holds nothing to lose
    assert here(capsys, monkeypatch, *ratings)[0] == 0
    held = out.read_bytes()
    changed = (*ratings, "--set", "engine.displacement=2 l")
    assert here(capsys, monkeypatch, *changed, "--force")[0] == 0
    assert out.read_bytes() != held
    held = out.read_bytes()
    code, _, err = here(capsys, monkeypatch, *changed)
    assert code == 0
    assert "holds all rows of this sweep already: nothing was run; --force runs them anew" in err
    wider = (*ratings[:2], "battery.rating=0.6 kA, 800 A", *ratings[3:])
    other = (*ratings[:2], "battery.rating=700 A, 800 A", *ratings[3:])
    strange = "1 of its 1 combinations is of another boat, other parts or prices, or another version (by run_key); "
    strange += "choose another name to keep both, or add --force to write over it"
    ratings, wider, other = ((*words, *changed[-2:]) for words in (ratings, wider, other))
    for words, told in (
        (ratings[:-2], strange),
        ((*ratings[:-2], "--resume"), strange),
        ((*ratings, "--price", "battery.rating=600 A:9", "--resume"), strange),
        (wider, "holds 1 of the 2 combinations of this sweep; --resume keeps its rows and runs the others, --force"),
        (other, "holds other values of battery.rating: 1 of its 1 combinations is not of this sweep; choose"),
        ((*other, "--resume"), "is not of this sweep; choose another name, or --force to write over it"),
    ):
        code, shown, err = here(capsys, monkeypatch, *words)
        assert (code, shown) == (2, "")
        assert told in err
        assert out.read_bytes() == held
        assert not out.with_name(f"{out.name}.journal").exists()
    assert here(capsys, monkeypatch, *wider, "--force")[0] == 0
    held = out.read_bytes()
    code, shown, err = here(capsys, monkeypatch, *others)
    assert (code, shown) == (2, "")
    assert "holds another sweep, over battery.rating" in err
    assert "--force" in err
    assert out.read_bytes() == held
    assert here(capsys, monkeypatch, *others, "--force")[0] == 0
    assert [axis.path for axis in read_table(out).axes] == ["feed.size"]
    out.write_bytes(b"day,hours\n1,7.5\n")
    code, shown, err = here(capsys, monkeypatch, *others)
    assert (code, shown) == (2, "")
    assert "is no result of a sweep" in err
    assert out.read_bytes() == b"day,hours\n1,7.5\n"
    assert here(capsys, monkeypatch, *others, "--force")[0] == 0


def digits(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("suffix", [".csv", ".parquet", ".sqlite"])
def test_a_finished_sweep_is_not_run_again(short: Scenario, tmp_path: Path, suffix: str) -> None:
    out = tmp_path / f"rows{suffix}"
    ratings = "battery.rating=600 A,800 A"
    first = sweep(short, [ratings], out=out, workers=1)
    again = sweep(short, ["battery.rating=0.6 kA,800 A"], out=out, workers=1, resume=True)
    assert (first.summary["computed"], again.summary["computed"], again.summary["recalled"]) == (2, 0, 2)
    assert [row["battery.rating"] for row in again.table.rows()] == ["0.6 kA", "800 A"]  # as asked now
    results = [[{**row, "battery.rating": ""} for row in found.table.rows()] for found in (first, again)]
    assert results[0] == results[1]
    plain, anew = (sweep(short, [ratings], out=out, workers=1, force=force) for force in (False, True))
    assert [found.summary["computed"] for found in (plain, anew)] == [0, 2]
    assert comparable(plain.table) == comparable(anew.table)
    wider = sweep(short, ["battery.rating=500 A,600 A,800 A"], out=out, workers=1, resume=True)
    assert (wider.summary["computed"], wider.summary["recalled"]) == (1, 2)
    assert len(read_table(out)) == 3
    fresh = sweep(short, ["battery.rating=500 A,600 A,800 A"], workers=1)
    assert comparable(wider.table) == comparable(fresh.table)


def test_resume_runs_again_what_is_not_of_this_boat_model_or_file(
    short: Scenario, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "rows.csv"
    axes = ["battery.rating=600 A,800 A"]

    def computed(boat: Scenario = short, *, force: bool = False) -> int:
        return int(sweep(boat, axes, out=out, workers=1, resume=True, force=force).summary["computed"])

    assert (computed(), computed()) == (2, 0)
    assert computed(short.with_overrides({"engine.displacement": "2 l"}), force=True) == 2
    assert (computed(force=True), computed()) == (2, 0)
    whole = digits(out)
    assert len({row["run_key"] for row in whole}) == 2
    for column, text in (("margin_v", "9.9"), ("status", "failed"), ("run_key", ""), ("reason", "=of the hand")):
        rows = [dict(row) for row in whole]
        rows[1][column] = text
        with out.open("w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, list(whole[0]))
            writer.writeheader()
            writer.writerows(rows)
        if column == "run_key":  # whose row it is, nobody knows any more
            with pytest.raises(InputError, match="1 of its 2 combinations is of another boat"):
                computed()
        assert computed(force=column == "run_key") == 1, column
        left = [{k: v for k, v in row.items() if k != "solve_s"} for row in digits(out)]
        assert left == [{k: v for k, v in row.items() if k != "solve_s"} for row in whole]
    monkeypatch.setattr("cranksag.runner.boats.model_fingerprint", lambda: "another model")
    with pytest.raises(InputError, match="2 of its 2 combinations are of another boat"):
        computed()
    assert computed(force=True) == 2


def test_an_interrupted_resume_loses_no_row_of_the_finished_table(
    short: Scenario, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """New values before the old ones, and Ctrl-C before anything new is done."""
    out = tmp_path / "rows.csv"
    sweep(short, ["battery.rating=600 A,800 A"], out=out, workers=1)
    held = digits(out)
    with monkeypatch.context() as patch:
        patch.setattr("cranksag.runner.interrupt.StopRequest.__call__", lambda self: True)
        for boat in (short, short.with_overrides({"engine.displacement": "2 l"})):
            wider = ["battery.rating=500 A:599 A:100,600 A,800 A"]
            stopped = sweep(boat, wider, out=out, workers=1, resume=True, force=boat is not short)
            assert stopped.interrupted
            assert digits(out) == held
    assert (tmp_path / "rows.csv.journal").exists()


def stopped_after(monkeypatch: pytest.MonkeyPatch, journal: Path, rows: int) -> None:
    """From here on Ctrl-C is heard once a journal holds so many rows."""
    monkeypatch.setattr("cranksag.runner.interrupt.StopRequest.__call__", lambda self: lines(journal) > rows)


def test_an_interrupt_leaves_no_table_with_fewer_rows(short: Scenario, tmp_path: Path) -> None:
    """Of the boat itself, of another boat and of other fields; a hand's change does not make a row worth less."""
    out, journal = tmp_path / "rows.csv", tmp_path / "rows.csv.journal"
    axes = ["battery.rating=500 A:900 A:5"]
    other = short.with_overrides({"engine.displacement": "2 l"})
    whole = sweep(short, axes, out=out, workers=1)
    assert whole.written
    held = out.read_bytes()

    def halted(boat: Scenario, asked: list[str], *, force: bool, resume: bool = False) -> Any:
        with pytest.MonkeyPatch.context() as patch:
            stopped_after(patch, journal, 2)
            found = sweep(boat, asked, out=out, workers=1, force=force, resume=resume)
        assert (found.interrupted, found.written) == (True, False)
        return found

    halted(short, axes, force=True)
    assert out.read_bytes() == held
    assert sweep(short, axes, out=out, workers=1, resume=True).summary["computed"] == 0
    for resume in (False, True):
        with pytest.raises(InputError, match=r"5 of its 5 combinations are of another boat.*add --force"):
            sweep(other, axes, out=out, workers=1, resume=resume)
    assert not journal.exists()
    done = halted(other, axes, force=True).summary["computed"]
    assert done >= 2
    assert read_table(out).keys.tolist() == whole.table.keys.tolist()
    finished = sweep(other, axes, out=out, workers=1, resume=True, force=True)
    assert (finished.summary["recalled"], finished.summary["computed"]) == (done, 5 - done)
    held = out.read_bytes()
    halted(other, ["battery.health=60%:100%:5"], force=True)
    assert out.read_bytes() == held
    journal.unlink()
    edited = held.replace(b"held", b"failed", 5)
    out.write_bytes(edited)
    halted(other, axes, force=False)
    assert out.read_bytes() == edited
    with pytest.MonkeyPatch.context() as patch:  # a second Ctrl-C
        twice = (signal.SIGINT, signal.SIGINT)
        patch.setattr(
            sys.modules["cranksag.studies.sweep"], "run_many", lambda *_, **__: list(map(signal.raise_signal, twice))
        )
        with pytest.raises(Interrupted, match=r"rows\.csv is left as it was; the same command with --resume"):
            sweep(other, axes, out=out, workers=1, force=True)
    assert out.read_bytes() == edited


def test_an_interrupted_table_grows(short: Scenario, tmp_path: Path) -> None:
    out, journal = tmp_path / "rows.csv", tmp_path / "rows.csv.journal"
    counts = []
    for rows in (2, 4):
        with pytest.MonkeyPatch.context() as patch:
            stopped_after(patch, journal, rows)
            found = sweep(short, ["battery.rating=500 A:900 A:9"], out=out, workers=1, resume=True)
        assert (found.interrupted, found.written) == (True, True)
        counts.append(len(read_table(out)))
    assert 2 <= counts[0] < counts[1] < 9


def test_resume_keeps_a_journal_of_another_boat(short: Scenario, tmp_path: Path) -> None:
    """As a kill leaves it, without a table: no file tells whose rows they are but their keys."""
    out, journal = tmp_path / "rows.csv", tmp_path / "rows.csv.journal"
    axes = ["battery.rating=500 A:900 A:5"]
    with pytest.MonkeyPatch.context() as patch:
        stopped_after(patch, journal, 2)
        done = sweep(short, axes, out=out, workers=1).summary["computed"]
    out.unlink()
    held = journal.read_bytes()
    other = short.with_overrides({"engine.displacement": "2 l"})
    for boat, asked in ((other, axes), (short, ["battery.rating=500 A"])):
        with pytest.raises(InputError, match=r"journal: .* of its .* of another boat.*add --force"):
            sweep(boat, asked, out=out, workers=1, resume=True)
        assert journal.read_bytes() == held
    assert sweep(short, axes, out=out, workers=1, resume=True).summary["recalled"] == done
    assert not journal.exists()
    journal.write_bytes(held)
    out.unlink()
    assert sweep(other, axes, out=out, workers=1, resume=True, force=True).summary["computed"] == 5


def test_a_table_that_an_interrupt_leaves_is_not_told_as_written(
    boat: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, journal = tmp_path / "rows.csv", tmp_path / "rows.csv.journal"
    words = (boat, "--axis", "battery.rating=500 A:900 A:5", "--out", out, "--workers", 1)
    with pytest.MonkeyPatch.context() as patch:
        assert here(capsys, patch, *words)[0] == 0
        stopped_after(patch, journal, 2)
        code, _, err = here(capsys, patch, *words, "--force")
    assert code == 130
    assert f"rows done; {out} is left as it was; the same command with --resume carries on" in " ".join(err.split())
    assert "written" not in err


def test_what_hung_in_a_finished_table_is_tried_again_when_it_may_take_longer(
    short: Scenario, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.syspath_prepend(str(TESTS))
    from faulty_work import faulty_boat

    def found(limit: float) -> tuple[int, str]:
        made = sweep(
            short, ["battery.rating=601 A,602 A,603 A"], out=tmp_path / "rows.csv", workers=1, resume=True,
            wall_limit=limit, simulate=faulty_boat,
        )  # fmt: skip
        assert made.summary["failures"] == {"died": 1, "hung": 1, "convergence": 1}
        return made.summary["computed"], made.table.texts["reason"][1].partition(",")[0]

    told = [found(limit) for limit in (4.0, 4.0, 5.0, 3.0)]
    assert [count for count, _ in told] == [3, 0, 1, 0]
    assert [words for _, words in told] == [f"hung: no answer within {x} s" for x in (4, 4, 5, 5)]


def test_force_begins_an_interrupted_sweep_anew(short: Scenario, tmp_path: Path) -> None:
    out = tmp_path / "rows.csv"
    left = tmp_path / "rows.csv.journal"
    left.write_text('{"journal": "cranksag runner", "version": 1}\n{"key": "ab", "payload": [], "seconds": 1.0}\n')
    with pytest.raises(InputError, match=r"--resume.*--force"):
        sweep(short, ["battery.rating=600 A"], out=out, workers=1)
    assert sweep(short, ["battery.rating=600 A"], out=out, workers=1, force=True).summary["computed"] == 1
    assert not left.exists()


@pytest.mark.parametrize(
    ("value", "unit", "told"),
    [(1.309e-6, "m2", "1.309 mm2"), (0.4061, "F", "406.1 mF"), (0.45, "-", "0.45"), (-5.0, "degC", "-5 degC")],
)
def test_a_crossing_is_told_in_a_unit_that_people_read(value: float, unit: str, told: str) -> None:
    assert _quantity(value, unit) == told


@pytest.mark.parametrize(
    ("path", "unit", "value", "told"),
    [
        ("battery.health", "-", 0.478, "47.8 %"),
        ("hold_up.capacitance", "F", 0.4061, "406.1 mF"),
        ("feed.size", "m2", 1.309e-6, "1.309 mm2"),
        ("battery.in_parallel", "-", 1.5, "1.5"),
    ],
)
def test_a_crossing_is_told_as_its_axis_is_written(path: str, unit: str, value: float, told: str) -> None:
    assert _at(AxisColumn(path, unit), value) == told


def test_command_fails_if_every_row_failed(boat: Path, tmp_path: Path) -> None:
    done = ran(boat, "--axis", "battery.rating=503 A,603 A", "--out", tmp_path / "rows.csv", "--json", faulty=True)
    assert done.returncode == 3, done.stderr
    assert done.stdout == ""
    assert "every row failed" in done.stderr
    assert lines(tmp_path / "rows.csv") == 3


def faults(boat: Path, out: Path, first: int, last: int, each: int) -> None:
    """Sweep ratings from `first` to `last`, among them `each` that abort, hang and contradict themselves."""
    count = last - first + 1
    done = ran(
        boat,
        "--axis",
        f"battery.rating={first} A:{last} A:{count}",
        "--out",
        out,
        "--json",
        "--row-limit",
        5,
        faulty=True,
    )
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    assert (document["combinations"], document["failed"], document["not_run"]) == (count, 3 * each, 0)
    assert document["failures"] == {"died": each, "hung": each, "convergence": each}
    assert document["held"] + document["restarted"] == count - 3 * each
    with out.open(newline="") as file:
        rows = {int(float(r["battery.rating [A]"])): r for r in csv.DictReader(file)}
    assert sorted(rows) == list(range(first, last + 1))
    kinds = {1: "died: ", 2: "hung: ", 3: "convergence: "}
    for rating, row in rows.items():
        expected = kinds.get(rating % 100)
        assert (row["status"] == "failed") == (expected is not None)
        if expected is not None:
            assert row["reason"].startswith(expected)
            assert row["minimum_voltage_v"] == ""
        else:
            assert 0.0 < float(row["minimum_voltage_v"]) < 14.0


def test_a_fault_of_every_kind(boat: Path, tmp_path: Path) -> None:
    faults(boat, tmp_path / "rows.csv", 599, 610, 1)


@pytest.mark.long
def test_thirty_faults_among_a_thousand(boat: Path, tmp_path: Path) -> None:
    faults(boat, tmp_path / "rows.csv", 501, 1500, 10)


RESUMED = ("--axis", "battery.rating=500 A:900 A:17")


@pytest.fixture(scope="module")
def expected(short: Scenario) -> list[dict[str, Any]]:
    return comparable(sweep(short, [RESUMED[1]]).table)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGKILL])
def test_resume_loses_nothing_and_repeats_nothing(
    boat: Path, tmp_path: Path, number: signal.Signals, expected: list[dict[str, Any]]
) -> None:
    out = tmp_path / "rows.csv"
    journal = tmp_path / "rows.csv.journal"
    process = subprocess.Popen(
        command(boat, *RESUMED, "--out", out, "--json"), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    until(lambda: lines(journal) > 4)
    process.send_signal(number)
    stdout, stderr = process.communicate()
    done = lines(journal) - 1
    assert 4 <= done < 17
    if number == signal.SIGINT:
        assert process.returncode == 130
        assert "--resume" in stderr
        assert lines(out) - 1 == done == json.loads(stdout)["held"] + json.loads(stdout)["restarted"]
    else:
        assert not out.exists()
        with journal.open("ab") as file:
            file.write(b'{"key": "torn in the mid')
    refused = ran(boat, *RESUMED, "--out", out)
    assert refused.returncode == 2
    assert "--resume" in refused.stderr
    finished = ran(boat, *RESUMED, "--out", out, "--resume", "--json")
    assert finished.returncode == 0, finished.stderr
    assert json.loads(finished.stdout)["computed"] == 17 - done
    assert comparable(read_table(out)) == expected
    assert not journal.exists()


# --- beyond one machine --------------------------------------------------------------------------------------


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """A real scheduler and two workers on loopback."""
    pytest.importorskip("distributed")
    port = free_port()
    started: list[subprocess.Popen[bytes]] = []

    def start(module: str, *arguments: str) -> None:
        line = [sys.executable, "-m", f"distributed.cli.{module}", *arguments, "--no-dashboard"]
        environment = dict(os.environ, PYTHONPATH=os.pathsep.join([str(TESTS), *sys.path]))
        with (tmp_path / f"{module}{len(started)}.log").open("wb") as log:
            started.append(subprocess.Popen(line, stdout=log, stderr=log, cwd=tmp_path, env=environment))

    start("dask_scheduler", "--host", "127.0.0.1", "--port", str(port))
    for _ in range(2):
        start("dask_worker", f"tcp://127.0.0.1:{port}", "--nthreads", "1", "--no-nanny")
    yield f"dask://127.0.0.1:{port}", started
    for process in started:
        process.kill()
        process.wait()


def both_are_up(address: str) -> None:
    from distributed import Client

    with Client(f"tcp://{address.removeprefix('dask://')}", set_as_default=False) as client:
        client.wait_for_workers(2, timeout=60)


@pytest.mark.filterwarnings("ignore::ResourceWarning", "ignore::pytest.PytestUnraisableExceptionWarning")
def test_a_lost_dask_worker_loses_no_row(
    cluster: tuple[str, list[subprocess.Popen[bytes]]], boat: Path, tmp_path: Path, expected: list[dict[str, Any]]
) -> None:
    address, processes = cluster
    both_are_up(address)
    out = tmp_path / "rows.csv"
    process = subprocess.Popen(
        command(boat, *RESUMED, "--out", out, "--json", "--on", address),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    until(lambda: lines(tmp_path / "rows.csv.journal") > 4)
    processes[2].kill()
    stdout, stderr = process.communicate()
    assert process.returncode == 0, stderr
    document = json.loads(stdout)
    assert (document["combinations"], document["failed"]) == (17, 0)
    assert document["workers"] == 2
    assert comparable(read_table(out)) == expected


@pytest.mark.long
@pytest.mark.filterwarnings("ignore::ResourceWarning", "ignore::pytest.PytestUnraisableExceptionWarning")
def test_faults_stay_in_their_row_on_dask(
    cluster: tuple[str, list[subprocess.Popen[bytes]]], monkeypatch: pytest.MonkeyPatch
) -> None:
    from cranksag.runner import Job, run_many

    monkeypatch.syspath_prepend(str(TESTS))
    from faulty_work import Dividers

    address, processes = cluster
    kinds = {3: "abort", 7: "hang", 11: "converge", 12: "dead"}
    jobs = [Job(f"{k:02x}", (1.0 + k, kinds.get(k, ""))) for k in range(24)]
    found = {o.number: o.failure for o in run_many(jobs, Dividers(), on=address, wall_limit=3.0)}
    expected = {3: "died", 7: "hung", 11: "convergence", 12: "library"}
    assert found == {k: expected.get(k, "") for k in range(24)}
    assert all(process.poll() is None for process in processes)  # no dask worker was lost


def test_measures_name_every_column_once() -> None:
    names = (*NUMBERS, *TEXTS, "status", "reason")
    assert len(set(names)) == len(names)
    assert RowMeasure.of().masses


def test_the_schema_of_the_scenario_knows_the_sweep_table() -> None:
    table = scenario_schema()["properties"]["sweep"]["properties"]
    assert set(table) == set(_FIELDS)
    raw = tomllib.loads(
        '[sweep]\naxes = ["battery.rating=600 A"]\nwhere = ["feed.size <= feed.return_size"]\n'
        'sample = "latin 4"\nseed = 2'
    )
    jsonschema.validate(raw, scenario_schema())
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({"sweep": {"axis": []}}, scenario_schema())
