# SPDX-License-Identifier: GPL-3.0-or-later
"""What an unnamed capacitor bank weighs and costs: as a line of the catalogue that it could be, or nobody knows."""

from __future__ import annotations

import io
import math
from pathlib import Path

import pytest
from rich.console import Console

from cranksag.catalogue import Catalogue, load_catalogue
from cranksag.cli.sweep_report import report
from cranksag.scenario import Scenario
from cranksag.studies import sweep
from cranksag.studies.analysis import objectives, pareto, usual_objectives
from cranksag.studies.measures import NUMBERS, TEXTS
from cranksag.studies.table import AxisColumn, Table


def test_a_plain_capacitance_weighs_what_a_line_of_it_weighs_or_nothing_is_said(short: Scenario) -> None:
    """Seven cells of 50 F are 7.14 F; of 6 F no cell is listed, so that nobody knows what they weigh."""
    axes = ["hold_up.branch=supercapacitor", "hold_up.cells=7", "hold_up.capacitance=7.14 F,6 F"]
    known, unknown = sweep(short, axes).table.rows()
    each = load_catalogue().find("supercapacitor", "50 F 2.7 V cell").value("mass")
    assert known["mass_kg"] - known["copper_kg"] == pytest.approx(7.0 * each)
    assert unknown["mass_kg"] is None
    assert unknown["copper_kg"] == known["copper_kg"] > 0.0


OWN_CAN = """
[[capacitor]]
name = "my can"
capacitance = "33 mF"
rated_voltage = "40 V"
mass = "0.4 kg"
price = 30
source = "label"
provenance = "engineering estimate"
"""


def test_a_plain_reservoir_costs_and_weighs_what_a_can_of_it_does(short: Scenario, tmp_path: Path) -> None:
    """One that names a can of which nothing is stated is as unknown as one that no can fits."""
    (tmp_path / "mine.toml").write_text(OWN_CAN, encoding="utf-8")
    own, boat = load_catalogue([tmp_path / "mine.toml"]), short.with_overrides({"hold_up.branch": "reservoir"})

    def bought(
        change: dict[str, str], catalogue: Catalogue | None = own, prices: tuple[str, ...] = ()
    ) -> tuple[float | None, float | None]:
        changed, axes = boat.with_overrides(change), ["crank.attempts=1"]
        (row,) = sweep(changed, axes, catalogue=catalogue, prices=prices, workers=1).table.rows()
        return None if row["mass_kg"] is None else round(row["mass_kg"] - row["copper_kg"], 9), row["cost"]

    assert bought({"hold_up.capacitance": "33 mF"}) == (0.4, 30.0)
    assert bought({"hold_up.capacitor": "my can"}) == (0.4, 30.0)
    for unlike in (
        {"hold_up.capacitance": "47 mF"},
        {"hold_up.capacitance": "33 mF", "hold_up.rated_voltage": "63 V"},
        {"hold_up.capacitor": "47 mF 25 V screw terminal"},
    ):
        assert bought(unlike) == (None, None), unlike
    assert bought({"hold_up.capacitance": "33 mF"}, None) == (None, None)
    given = "hold_up.capacitance=47 mF:12"
    assert bought({"hold_up.capacitance": "47 mF"}, own, (given,)) == (None, 12.0)
    assert bought({"hold_up.branch": "none"}) == (0.0, 0.0)


def test_the_copper_stands_in_where_the_mass_of_a_survivor_is_not_known() -> None:
    assert "mass_kg" in _objectives([1.0, 2.0])
    assert "copper_kg" not in _objectives([1.0, 2.0])
    assert "copper_kg" in _objectives([1.0, math.nan])
    assert "mass_kg" not in _objectives([1.0, math.nan])


def test_a_wanted_objective_that_no_survivor_knows_is_told() -> None:
    """Not passed over without a word: the bank is no line of the catalogue, so the mass stands in no row."""
    for masses, told in (([math.nan, math.nan], True), ([1.0, math.nan], False)):
        table = _survivors(masses)
        goals = objectives(["mass_kg:min", "margin_v:max"], table)
        summary = {
            "combinations": 2, "held": 2, "restarted": 0, "failed": 0, "not_run": 0, "survivors": 2, "seconds": None,
            "rate_per_s": None, "failures": {}, "notes": [], "not_started": 0, "near_switching": 0,
        "survivor_margin_v": 0.0, "drivers": {},
        }  # fmt: skip
        parts = [str(part) for part in report(table, summary, goals, pareto(table, goals), 10)]
        assert any("mass_kg is not known of any row that holds" in part for part in parts) is told


def _objectives(masses: list[float]) -> set[str]:
    return {objective.name for objective in usual_objectives(_survivors(masses))}


def _survivors(masses: list[float]) -> Table:
    """Survivors with these masses, and copper that varies."""
    table = Table.empty([AxisColumn("feed.length", "m")], len(masses))
    for number, mass in enumerate(masses):
        table.put_axes(number, [f"{number + 1} m"], [number + 1.0])
        numbers = {"margin_v": 1.0, "minimum_voltage_v": 9.5, "starts": 1.0, "mass_kg": mass, "copper_kg": 1.0 + number}
        table.put(number, [[numbers.get(name) for name in NUMBERS], [""] * len(TEXTS), "held", ""])
    return table


def test_rows_whose_starter_cable_burns_are_told_with_the_reason() -> None:
    table = _survivors([1.0, 2.0])
    for row in (0, 1):
        table.texts["dangers"].put(row, "starter_cable_overheats")
    summary = {
        "combinations": 2, "held": 2, "restarted": 0, "failed": 0, "not_run": 0, "survivors": 0, "seconds": None,
        "rate_per_s": None, "failures": {}, "notes": [], "not_started": 0, "near_switching": 0,
        "survivor_margin_v": 0.0, "drivers": {},
    }  # fmt: skip
    goals = objectives(["margin_v:max"], table)
    parts = [str(part) for part in report(table, summary, goals, pareto(table, goals), 10)]
    assert any("2 rows hold and are ruled out (column dangers): starter_cable_overheats" in p for p in parts)
    assert not any("Survivors" in part for part in parts)


def test_a_dangerous_survivor_is_marked_and_the_rows_left_out_are_told() -> None:
    """A boat without a fuse at its source held best and stood first, without a word."""
    table = _survivors([1.0, 2.0, 3.0])
    table.texts["dangers"].put(1, "source_unfused")
    goals = objectives(["margin_v:max"], table)
    summary = {
        "combinations": 3, "held": 3, "restarted": 0, "failed": 0, "not_run": 0, "survivors": 3, "seconds": None,
        "rate_per_s": None, "failures": {}, "notes": [], "not_started": 0, "near_switching": 0,
        "survivor_margin_v": 0.0, "drivers": {},
    }  # fmt: skip
    for most, count, named in ((10, "(3)", True), (1, "(1 of 3 shown)", False)):
        shown = io.StringIO()
        Console(file=shown, width=200).print(*report(table, summary, goals, pareto(table, goals), most), sep="\n")
        told = shown.getvalue()
        assert f"Survivors, largest margin first {count}" in told
        assert "1 of 3 survivors are dangerous (column dangers): source_unfused" in told
        assert any("source_unfused" in line and line.startswith("2 m") for line in told.splitlines()) is named
