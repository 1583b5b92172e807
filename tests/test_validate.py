# SPDX-License-Identifier: GPL-3.0-or-later
"""The outside checks: enough, sourced, none loosened, misses explained; report and stored figures current."""

from __future__ import annotations

import json
import math
import re
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

import cranksag.validate
from cranksag.cli.app import app
from cranksag.errors import DeckError
from cranksag.parts import battery as b
from cranksag.parts.engine import engine_circuit, mean_cranking_torque
from cranksag.parts.starter import RING_GEAR_RATIO, RPM, field_constant, from_rating, steady_state
from cranksag.parts.starter_fit import fit_points
from cranksag.parts.starter_published import PUBLISHED_STARTERS
from cranksag.validate import (
    FAMILIES,
    PROVENANCE,
    Check,
    Row,
    all_checks,
    bench,
    boats,
    currents,
    drift,
    report,
    run_checks,
)
from cranksag.validate.records import Sense, band

ROOT = Path(__file__).parents[1]
REPORTS = ROOT / "reports"
needs_repository = pytest.mark.skipif(not REPORTS.is_dir(), reason="reports/ is kept in the repository only")


@pytest.fixture(scope="module")
def rows() -> list[Row]:
    """Every check, computed once."""
    return run_checks(all_checks())


# --- what the table must hold -------------------------------------------------------------------------------


def test_there_are_enough_checks_of_every_kind() -> None:
    checks = all_checks()
    of_family = Counter(check.family for check in checks)
    assert len(checks) >= 60
    # What the model takes as input proves little: the counts hold without such rows.
    plain = [check for check in checks if not check.circular]
    assert sum(check.status == "seen" for check in plain) >= 45
    assert sum(check.spice for check in plain) >= 25
    assert sum(check.whole for check in checks) >= 12
    assert all(of_family[family] >= 4 for family in FAMILIES), of_family
    assert of_family["conductor"] <= 15
    assert max(Counter(check.printed_in for check in checks).values()) <= 8


@pytest.mark.parametrize("check", all_checks(), ids=lambda check: f"{check.family}: {check.name}")
def test_every_row_is_sourced_and_its_tolerance_has_a_reason(check: Check) -> None:
    assert check.source
    assert check.reason
    assert check.status in PROVENANCE
    assert check.allowed >= 0.0
    # An allowed difference as large as the value itself would pass anything; only limits and bands may come near.
    if check.sense == "value":
        assert check.allowed < 0.4 * abs(check.published)
    # A figure from memory or from nowhere is never called published.
    if check.provenance == "published":
        assert "from memory" not in check.source


def test_names_are_unique() -> None:
    names = Counter((check.family, check.name) for check in all_checks())
    assert max(names.values()) == 1


def test_every_miss_is_explained_and_every_explanation_is_of_a_miss(rows: list[Row]) -> None:
    assert [row.failure for row in rows if row.failure] == []
    unexplained = [report.misses([row])[0] for row in rows if not row.passed and not row.check.miss]
    stale = [row.check.name for row in rows if row.passed and row.check.miss]
    assert (unexplained, stale) == ([], [])


def test_most_rows_agree(rows: list[Row]) -> None:
    assert sum(row.passed for row in rows) >= 0.8 * len(rows)


def test_the_document_keeps_its_contract(rows: list[Row]) -> None:
    document = json.loads(json.dumps(cranksag.validate.rows_document(rows), allow_nan=False))
    for line, row in zip(document, rows, strict=True):
        assert {"check", "source", "provenance", "published", "computed", "allowed", "unit", "pass"} <= set(line)
        assert line["provenance"] in ("published", "common practice", "memory")
        if line["pass"]:
            assert abs(line["computed"] - line["published"]) <= line["allowed"]
        assert line["pass"] is row.passed
        assert (line["missed_because"] is None) is line["pass"]


# --- the rule of a row --------------------------------------------------------------------------------------


def _check(published: float, allowed: float, sense: Sense) -> Check:
    return Check("x", "fuse", "a source", published, allowed, "V", "because", lambda: 0.0, sense=sense)


@given(st.floats(-1e3, 1e3), st.floats(0.0, 1e3), st.floats(-1e3, 1e3), st.sampled_from(["value", "band"]))
def test_values_and_bands_are_symmetric(published: float, allowed: float, step: float, sense: Sense) -> None:
    check = _check(published, allowed, sense)
    assert check.passes(published)
    assert check.passes(published + step) == (abs((published + step) - published) <= allowed)


@given(st.floats(-1e3, 1e3), st.floats(0.1, 1e3), st.floats(1e-6, 1.0))
def test_limits_hold_on_one_side_only(published: float, allowed: float, share: float) -> None:
    good, bad = published - share * allowed * 0.99, published + share * allowed * 0.99
    assert _check(published, allowed, "at most").passes(good)
    assert not _check(published, allowed, "at most").passes(bad)
    assert _check(published, allowed, "at least").passes(bad)
    assert not _check(published, allowed, "at least").passes(good)


@pytest.mark.parametrize("sense", ["value", "band", "at most", "at least"])
def test_no_figure_never_passes(sense: Sense) -> None:
    for figure in (math.nan, math.inf, -math.inf):
        assert not _check(1.0, 1e9, sense).passes(figure)
    assert not Row(_check(1.0, 1.0, sense), None, "failed").passed


@given(st.floats(-100.0, 100.0), st.floats(0.0, 50.0), st.floats(0.0, 1.0))
def test_a_band_holds_what_lies_between_its_ends(low: float, width: float, share: float) -> None:
    published, allowed = band(low, low + width)
    assert _check(published, allowed + 1e-9, "band").passes(low + share * width)


def test_a_failing_computation_is_a_miss_and_stops_nothing() -> None:
    def fails() -> float:
        raise ValueError("no such battery")

    bad = Check("bad", "battery", "a source", 1.0, 0.1, "V", "because", fails)
    good = Check("good", "battery", "a source", 1.0, 0.1, "V", "because", lambda: 1.05)
    found = run_checks([bad, good])
    assert [row.passed for row in found] == [False, True]
    assert found[0].failure == "no such battery"
    assert "No such battery." in report.misses(found)[0]


# --- the benches against a second method --------------------------------------------------------------------


@pytest.mark.parametrize("time", [0.5, 10.0, 30.0])
def test_the_battery_bench_is_the_closed_form(time: float) -> None:
    battery = b.battery_circuit(600.0, "SAE", capacity=2.5e5, temperature=-5.0)
    for current in (-60.0, 20.0, 400.0, 1200.0):
        expected = b.terminal_voltage(battery, current, time)
        assert bench.discharge(battery, current, time) == pytest.approx(expected, abs=2e-3), current


def test_the_starter_bench_is_the_static_curve() -> None:
    # Speed sweep of 40 s: current and inertia lag by less than 0.5 %.
    motor, _ = fit_points(list(PUBLISHED_STARTERS[0].points))
    amperes, speed, torque = steady_state(motor, 8.7, current=230.0)
    found = bench.loaded(motor, 8.7, 230.0, 1.5 * speed)
    assert found == pytest.approx((torque, speed), rel=5e-3)
    assert bench.stalled(motor, 2.5) == pytest.approx(steady_state(motor, 2.5, speed=0.0)[0], rel=1e-3)
    free = steady_state(motor, 11.5, load_torque=0.0)
    assert bench.no_load(motor, 11.5) == pytest.approx(free[:2], rel=2e-2)
    assert amperes == 230.0


def test_a_bench_refuses_a_port_that_is_not_there() -> None:
    with pytest.raises(DeckError, match="no port"):
        bench.Bench().part("x", "diode", {"anode": "a"})


def test_the_readme_counts_the_checks_as_they_are(rows: list[Row]) -> None:
    readme = ROOT / "README.md"
    if not readme.is_file():
        pytest.skip("README.md is kept in the repository only")
    said = re.search(r"lists (\d+) outside checks .*?; (\d+) miss", " ".join(readme.read_text("utf-8").split()))
    assert said is not None
    assert [int(said[1]), int(said[2])] == [len(rows), sum(not row.passed for row in rows)]


def test_the_reason_why_cold_currents_fall_short_of_the_torque_holds() -> None:
    """The miss of the cold currents names speeds, torques, friction and field: each recomputed from the model."""
    reason = currents.MISSES["cold"]
    temperatures = (27.0, 0.0, -18.0, -29.0)
    runs = [boats.at(boats.DIESEL_12, t) for t in temperatures]
    amperes, rpm = ([boats.figure(run, name) for run in runs] for name in ("amperes", "rpm"))
    engines = [engine_circuit(4.2e-3, 4, 17.5, "15W-40", t) for t in temperatures]
    torque = [mean_cranking_torque(e, n * RPM) for e, n in zip(engines, rpm, strict=True)]
    motor = from_rating(2500.0, 12.0)
    field = [field_constant(motor, a) for a in amperes]
    own = motor.friction_torque + motor.friction_viscous * rpm[0] * RPM * RING_GEAR_RATIO
    assert f"slows from {rpm[0]:.0f} rpm at 27 degC to {rpm[1]:.0f}, {rpm[2]:.0f} and {rpm[3]:.0f}" in reason
    asked = [x / torque[0] for x in torque[1:]]
    assert "asks {:.1f}, {:.1f} and {:.1f} times".format(*asked) in reason
    grown = [100.0 * (x / field[0] - 1.0) for x in field[1:]]
    assert "by {:.0f}, {:.0f} and {:.0f} %".format(*grown) in reason
    assert own / (motor.torque_share * field[0] * amperes[0]) == pytest.approx(0.2, abs=0.02)  # "a fifth"
    assert all(a / amperes[0] < x for a, x in zip(amperes[1:], asked, strict=True))


# --- report and command -------------------------------------------------------------------------------------

_NUMBER = re.compile(r"[-+]?\d+(?:\.\d+)?(?:e[-+]?\d+)?")


def _skeleton(line: str) -> tuple[str, list[float]]:
    """A line of the report without its numbers, and the numbers; the difference column follows from two others."""
    cells = line.split(" | ")
    if len(cells) == 9:
        cells[5] = ""
    text = " | ".join(cells)
    return _NUMBER.sub("#", text), [float(number) for number in _NUMBER.findall(text)]


@needs_repository
def test_the_report_is_current(rows: list[Row]) -> None:
    """`make validate` writes it. Numbers may differ by 1 %: another release of ngspice, another processor."""
    written = (REPORTS / "validation.md").read_text(encoding="utf-8").splitlines()
    now = report.markdown(rows).splitlines()
    assert [_skeleton(line)[0] for line in written] == [_skeleton(line)[0] for line in now], "run `make validate`"
    for old, new in zip(written, now, strict=True):
        assert _skeleton(old)[1] == pytest.approx(_skeleton(new)[1], rel=0.01, abs=1e-3), (
            f"run `make validate`\n{old}\n{new}"
        )


def test_the_report_names_every_source_and_says_what_cannot_be_checked(rows: list[Row]) -> None:
    text = report.markdown(rows)
    assert all(row.check.source.replace("|", "\\|") in text for row in rows)
    assert "the inrush dip cannot be checked" in " ".join(text.split())
    for what, how_many in report.counts(rows):
        assert f"- {what}: {how_many}" in text


@pytest.fixture
def two_checks(monkeypatch: pytest.MonkeyPatch) -> None:
    """The command with two quick checks, one of which misses."""
    known = [
        check
        for check in all_checks()
        if check.name in ("10 mm2 in PVC, one second", "EN rating over DIN rating of one battery")
    ]
    assert len(known) == 2
    monkeypatch.setattr(cranksag.validate, "all_checks", lambda: known)


@pytest.mark.usefixtures("two_checks")
def test_the_command_prints_the_table_and_ends_with_1_on_a_miss(tmp_path: Path) -> None:
    target = tmp_path / "validation.md"
    done = CliRunner().invoke(app, ["validate", "-o", str(target)])
    assert done.exit_code == 1
    assert "EN rating over DIN rating" in done.stdout
    assert "MISS" in done.stdout
    assert "charge transfer brings it" in done.stdout
    assert "1 of 2 outside checks miss" in done.stderr
    assert "10 mm2 in PVC" in target.read_text(encoding="utf-8")


@pytest.mark.usefixtures("two_checks")
def test_the_command_prints_json_and_nothing_else() -> None:
    done = CliRunner().invoke(app, ["validate", "--json", "-q"])
    assert done.exit_code == 1
    document = json.loads(done.stdout)
    assert [line["pass"] for line in document] == [False, True]


def test_the_command_ends_with_0_when_all_agree(monkeypatch: pytest.MonkeyPatch) -> None:
    known = [check for check in all_checks() if check.name == "10 mm2 in PVC, one second"]
    monkeypatch.setattr(cranksag.validate, "all_checks", lambda: known)
    done = CliRunner().invoke(app, ["validate"])
    assert done.exit_code == 0
    assert "10 mm2 in PVC" in done.stdout


# --- stored figures of the examples -------------------------------------------------------------------------


@needs_repository
def test_the_examples_give_what_is_stored() -> None:
    """On failure the message is the drift; `make drift` prints it too, and `make drift-store` accepts it."""
    stored = json.loads((REPORTS / "examples.json").read_text(encoding="utf-8"))
    moved = drift.drift(stored, drift.example_figures())
    assert not moved, "the model gives other figures than stored:\n" + drift.drift_table(moved)


FIGURES = {"minimum_voltage_v": 9.5, "restarts": 1, "fires": True, "crank_speed_rpm": None}


def test_drift_shows_what_moved_and_by_how_much() -> None:
    now = {"boat": {**FIGURES, "minimum_voltage_v": 9.6, "restarts": 2, "crank_speed_rpm": 150.0}}
    moved = drift.drift({"boat": FIGURES}, now)
    assert [one.figure for one in moved] == ["minimum_voltage_v", "restarts", "crank_speed_rpm"]
    table = drift.drift_table(moved)
    assert "+0.1" in table
    assert "150" in table
    assert drift.drift({"boat": FIGURES}, {"boat": FIGURES}) == []
    assert drift.drift_table([]) == "nothing moved"


def test_drift_sees_examples_that_come_and_go() -> None:
    assert {one.example for one in drift.drift({"old": FIGURES}, {"new": FIGURES})} == {"old", "new"}


@given(st.sampled_from(sorted(drift.TOLERANCES)), st.floats(0.5, 500.0), st.floats(-0.99, 0.99))
def test_drift_tolerates_its_tolerance(figure: str, value: float, share: float) -> None:
    absolute, relative = drift.TOLERANCES[figure]
    step = absolute + relative * value
    inside = {"boat": {figure: value + share * step}}
    assert drift.drift({"boat": {figure: value}}, inside) == []
    outside = {"boat": {figure: value + 1.01 * step + 1e-6}}
    assert len(drift.drift({"boat": {figure: value}}, outside)) == 1


def test_storing_and_comparing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "examples.json"
    monkeypatch.setattr(drift, "example_figures", lambda: {"boat": dict(FIGURES)})
    assert drift.main([str(path)]) == 1
    assert drift.main([str(path), "--store"]) == 0
    capsys.readouterr()
    assert drift.main([str(path)]) == 0
    assert capsys.readouterr().out == "nothing moved\n"
    assert drift.main([]) == 2


def test_sampling_points_are_not_needed_by_a_figure(rows: list[Row]) -> None:
    """Every computed figure is a plain number: nothing of NumPy leaves the checks."""
    assert all(type(row.computed) in (float, int) and not isinstance(row.computed, np.generic) for row in rows)
