# SPDX-License-Identifier: GPL-3.0-or-later
"""Compare: the boat as it is first, every variant with the document of a run of its own."""

from __future__ import annotations

import itertools
import json
import re
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import matplotlib.image as image
import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Annotation, Text
from typer.testing import CliRunner

from cranksag.catalogue import load_catalogue
from cranksag.cli.app import app
from cranksag.cli.compare import _margin
from cranksag.errors import InputError, SimulationError
from cranksag.examples import example_text
from cranksag.report import CAUTIONS_LINE
from cranksag.report.figure import save_figure
from cranksag.report.overlay import LOOKS, overlay_figure
from cranksag.resolve import Boat, resolve
from cranksag.scenario import Scenario, loads_scenario
from cranksag.simulate import Ladder, simulate
from cranksag.solver import LADDER
from cranksag.studies.compare import Comparison, compare
from cranksag.studies.variants import AS_WRITTEN, LONGEST_NAME
from cranksag.verdict.document import document, document_schema
from cranksag.verdict.results import Result

sys.path.insert(0, str(Path(__file__).parent))
from in_process import crank, run_here

SHORT = {
    "crank.key_on_before": "0.3 s",
    "crank.key_held": "0.4 s",
    "crank.after": "0.1 s",
    "engine.fires_after": "never",
}
VARIANTS = ("thick:feed.size=8 AWG", "battery feed:feed.from=battery,feed.return_to=battery negative")


def boat() -> Scenario:
    return loads_scenario(example_text("restarting"), "restarting").with_overrides(SHORT)


@pytest.fixture
def here(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("cranksag.studies.compare.run_many", run_here)


def _told(found: dict[str, Any]) -> dict[str, Any]:
    """A document without the time that the solver took."""
    return {**found, "solver": {k: v for k, v in found["solver"].items() if k != "solve_s"}}


def test_each_variant_has_the_document_of_a_run_of_its_own() -> None:
    found = compare(boat(), VARIANTS)
    assert [c.name for c in found.variants] == [AS_WRITTEN, "thick", "battery feed"]
    written = found.document()["variants"]
    plain = _told(document(simulate(boat())))
    assert plain.items() <= _told(written[0]).items()
    thick = _told(document(simulate(boat().with_overrides({"feed.size": "8 AWG"}))))
    assert thick.items() <= _told(written[1]).items()
    for variant in written:
        keys = {k: v for k, v in variant.items() if k in document_schema()["properties"]}
        jsonschema.validate(keys, document_schema())
    # each repair leaves the display more than the boat as it is: a thicker feed, and the feed past the starter's cables
    lowest = [variant["display"]["minimum_voltage_v"] for variant in written]
    assert lowest[0] < lowest[1] < lowest[2]


@pytest.mark.usefixtures("here")
def test_a_part_that_a_variant_names_counts_with_its_own_figures() -> None:
    parts = sorted(load_catalogue().filter("flooded", "battery"), key=lambda entry: entry.value("rating"))
    big = parts[-1].name
    variants = (f"big:battery.part={big}", f"mixed:battery.part={big},battery.rating=800 A")
    found = compare(boat(), variants, simulate=crank)
    written, own, mixed = (c.result for c in found.variants)
    assert own.boat.values["battery.rating"].value == parts[-1].value("rating")
    assert mixed.boat.values["battery.rating"].value == written.boat.values["battery.rating"].value == 800.0
    assert own.display.minimum_voltage > written.display.minimum_voltage + 0.05
    first, second = found.document()["notes"]
    assert first.startswith("left out for big: battery.chemistry, battery.rating, ")
    assert second.startswith("left out for mixed: battery.chemistry, battery.rating_standard, battery.capacity")


def faulty(asked: Boat, ladder: Ladder) -> Result:
    """Fails for the thick feed alone."""
    if str(asked.values["feed.size"].value) == "8 AWG":
        raise SimulationError("of the test")
    return crank(asked, ladder)


@pytest.mark.usefixtures("here")
def test_a_variant_that_fails_is_told_and_the_others_stay() -> None:
    found = compare(boat(), VARIANTS, simulate=faulty)
    written = found.document()["variants"]
    assert [v["failure"] is None for v in written] == [True, False, True]
    assert written[1]["display"] is None
    assert set(written[0]) == set(written[1])
    assert [name for name, _ in found.results] == [AS_WRITTEN, "battery feed"]


@pytest.mark.usefixtures("here")
def test_where_everything_fails_that_is_the_answer() -> None:
    with pytest.raises(SimulationError):
        compare(boat().with_overrides({"feed.size": "8 AWG"}), ("again:feed.joints=1 mohm",), simulate=faulty)


@pytest.mark.parametrize(
    ("variants", "told"),
    [
        ((), "at least one"),
        (("thick",), "NAME:PATH=VALUE"),
        (("a:feed.sise=8 AWG",), "did you mean"),
        (("a:feed.size=8 AWG", "a:feed.size=6 AWG"), "taken"),
        ((f"{AS_WRITTEN}:feed.size=8 AWG",), "taken"),
        (("a:feed.from=house battery",), "[house]"),
        (("a:hold_up.branch=reservoir,hold_up.pack=x",), "does not belong"),
    ],
)
def test_what_is_no_variant_is_refused(variants: tuple[str, ...], told: str) -> None:
    with pytest.raises(InputError) as caught:
        compare(boat(), variants)
    assert told in str(caught.value)


@pytest.fixture(scope="module")
def drawn() -> Comparison:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("cranksag.studies.compare.run_many", run_here)
        return compare(boat(), VARIANTS, simulate=crank)


def test_the_figure_holds_the_data_of_every_variant(drawn: Comparison) -> None:
    figure = overlay_figure(drawn.results)
    assert any(" ".join(text.get_text().split()) == CAUTIONS_LINE for text in figure.texts)
    upper, lower = figure.axes
    for (_, result), line in zip(drawn.results, upper.get_lines(), strict=False):
        assert np.array_equal(np.asarray(line.get_ydata()), result.traces.signals["display"])
    told = " ".join(text.get_text() for text in upper.texts)
    for name, _ in drawn.results:
        assert name in told
    assert "restarts" in told
    named = {(text.get_text(), tuple(map(float, text.xy))) for text in upper.texts if isinstance(text, Annotation)}
    for _, result in drawn.results:
        display = result.display
        assert (f"{display.minimum_voltage:.2f} V", (display.minimum_at, display.minimum_voltage)) in named
    assert lower.get_ylabel() == "start battery (V)"


def test_the_figure_is_the_same_each_time_and_can_be_drawn_on_given_axes(drawn: Comparison, tmp_path: Path) -> None:
    first, second = (save_figure(overlay_figure(drawn.results), tmp_path / name) for name in ("a.png", "b.png"))
    assert first.read_bytes() == second.read_bytes()
    assert image.imread(first).std() > 0.01
    own = Figure()
    assert overlay_figure(drawn.results, own.subplots(2, 1)) is own
    with pytest.raises(ValueError):
        overlay_figure(())


LONG = "a bank of three supercapacitors behind a diode, fed at 24 V"
assert len(LONG) <= LONGEST_NAME


@pytest.mark.parametrize("count", [3, 8])
def test_names_at_the_edge_stand_whole_apart_and_inside_the_figure(drawn: Comparison, count: int) -> None:
    names = [f"{LONG[:-2]}{k}" for k in range(count)]
    results = [(name, drawn.results[k % 3][1]) for k, name in enumerate(names)]
    figure = overlay_figure(results)
    figure.draw_without_rendering()
    for panel, least in zip(figure.axes, (8, 3), strict=True):
        boxes = []
        told = []
        for text in panel.texts:
            if isinstance(text, Annotation) and text.xyann[0] > 1.0:
                boxes.append(Text.get_window_extent(text))  # without the line that leads to it
                told.append(" ".join(text.get_text().split()))
        assert len(told) == count
        if count <= least:
            assert [line.partition(":")[0] for line in told] == names
        assert all(box.x1 <= figure.bbox.x1 for box in boxes)
        levels = sorted((box.y0, box.y1) for box in boxes)
        assert all(below[1] <= above[0] + 1.0 for below, above in itertools.pairwise(levels))


def test_curves_differ_by_dash_as_well_as_by_colour() -> None:
    styles = [(look["linestyle"], look["linewidth"] > 2.0) for look in LOOKS]
    assert len({repr(style) for style in styles}) == len(LOOKS)


@pytest.mark.usefixtures("here")
def test_the_command_compares_draws_and_checks(tmp_path: Path) -> None:
    file = tmp_path / "boat.toml"
    file.write_text(example_text("restarting"), encoding="utf-8")
    sets = [word for path, text in SHORT.items() for word in ("--set", f"{path}={text}")]
    words = ["compare", str(file), *sets, "--variant", VARIANTS[0]]
    done = CliRunner().invoke(app, [*words, "--json", "-q", "--plot", str(tmp_path / "f.svg")])
    assert done.exit_code == 0, done.stderr
    assert [v["name"] for v in json.loads(done.stdout)["variants"]] == [AS_WRITTEN, "thick"]
    assert (tmp_path / "f.svg").stat().st_size > 1000
    told = CliRunner().invoke(app, [*words, "--check"])
    assert told.exit_code == 1
    assert "lowest voltage" in told.stdout
    assert re.search(
        r"^check: thick: helm restarts once: held \d\.\d\d V below its threshold", told.stderr, re.MULTILINE
    )
    refused = CliRunner().invoke(app, [*words, "--plot", str(tmp_path / "f.txt")])
    assert (refused.exit_code, refused.stdout) == (2, "")


@pytest.mark.usefixtures("here")
def test_a_check_says_that_it_is_the_engine(tmp_path: Path) -> None:
    """An engine that wants more speed than its starter gives, and a feed that holds the display all the same."""
    file = tmp_path / "boat.toml"
    file.write_text(example_text("standby-pack"), encoding="utf-8")
    words = ["compare", str(file), "--check", "--variant"]
    told = CliRunner().invoke(app, [*words, "slow:engine.minimum_speed=250 rpm,feed.size=8 AWG,battery.health=100 %"])
    assert told.exit_code == 1
    assert re.search(r"^display holds +yes +yes$", told.stdout, re.MULTILINE)
    assert re.search(r"^check: slow: the engine does not start: turns at \d", told.stderr, re.MULTILINE)
    assert CliRunner().invoke(app, [*words, VARIANTS[0]]).exit_code == 0


@pytest.mark.parametrize(
    ("margin", "restarts", "told"),
    [
        (-0.0001, 1, "just at its threshold"),
        (0.002, 1, "+0.002 V, just at its threshold"),
        (-0.31, 1, "-0.31 V"),
        (0.0, 0, "+0.00 V"),
    ],
)
def test_a_margin_beside_a_restart_is_told_in_the_words_of_a_sweep(margin: float, restarts: int, told: str) -> None:
    found = crank(resolve(boat()), LADDER)
    display = replace(found.display, margin=margin, restarts=restarts, holds=not restarts)
    assert _margin(replace(found, display=display, displays=(display,))) == told


@pytest.mark.usefixtures("here")
@pytest.mark.parametrize("quiet", [False, True])
def test_each_variants_dangers_and_warnings_are_named(tmp_path: Path, quiet: bool) -> None:
    file = tmp_path / "boat.toml"
    file.write_text(example_text("hot-restart"), encoding="utf-8")
    sets = [word for path, text in SHORT.items() for word in ("--set", f"{path}={text}")]
    words = ["compare", str(file), *sets, "--variant", "cool:temperature.engine_room=20 degC", *["-q"] * quiet]
    done = CliRunner().invoke(app, [*words, "--json"])
    hot, cool = json.loads(done.stdout)["variants"]
    (danger,), (warning,) = hot["dangers"], hot["warnings"]
    assert (danger["code"], warning["code"], cool["dangers"]) == ("pack_hot", "hold_up_not_closing", [])
    told = CliRunner().invoke(app, words)
    alert = f"danger: as written: pack_hot: {danger['message']}\n"
    assert (alert in done.stderr, told.stderr.endswith(alert)) == (False, quiet)
    assert f"\nas written: danger: pack_hot: {danger['message']}\n" in told.stdout
    assert "\nas written: warnings: hold_up_not_closing\n" in told.stdout
    assert "cool: warnings:" not in told.stdout or cool["warnings"]


def test_a_hold_up_that_leaves_less_than_none_says_why(here: None, tmp_path: Path) -> None:
    """Named with nothing but defaults, a supercapacitor is empty at START and a converter stops at its own cut-out."""
    del here
    file = tmp_path / "boat.toml"
    file.write_text(example_text("restarting"), encoding="utf-8")
    sets = [word for path, text in SHORT.items() for word in ("--set", f"{path}={text}")]
    words = ["compare", str(file), *sets]
    for branch in ("supercapacitor", "converter"):
        words += ["--variant", f"{branch}:hold_up.branch={branch}"]
    told = CliRunner().invoke(app, words).stdout
    bank, unit = (re.search(rf"^{name}: the hold-up falls short: (.*)$", told, re.MULTILINE) for name in
                  ("supercapacitor", "converter"))  # fmt: skip
    assert bank is not None
    assert unit is not None
    assert "not charged yet at START" in bank[1]
    assert "cuts out below 9 V" in unit[1]
    assert re.search(r"; 0\.\d\d V less at the lowest than the boat as written$", unit[1])
    found = json.loads(CliRunner().invoke(app, [*words, "--json"]).stdout)["variants"]
    assert [len(variant["falls_short"]) > 0 for variant in found] == [False, True, True]


def test_a_panel_reaches_over_the_end_of_its_curves() -> None:
    """After firing, few samples carry the highest voltage of the battery; they are shown."""
    boat = simulate(loads_scenario(example_text("restarting")))
    lower = overlay_figure([("as written", boat)]).axes[1]
    assert lower.get_ylim()[1] > float(boat.traces.signals["battery"][-1])
