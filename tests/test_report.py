# SPDX-License-Identifier: GPL-3.0-or-later
"""Figures, sentences and cautions of the report."""

from __future__ import annotations

import functools
import io
import re
import subprocess
import sys
from dataclasses import replace
from itertools import combinations, pairwise
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.text import Text
from rich.console import Console, Group

from cranksag import report
from cranksag.cli.summary import _budget, _figure, summary
from cranksag.examples import example_names, example_text
from cranksag.report.placing import LABEL_SIZE, free_place, spread
from cranksag.report.words import margin_words, seconds, volts
from cranksag.resolve import Note
from cranksag.scenario import loads_scenario
from cranksag.simulate import simulate
from cranksag.verdict.results import BudgetLine, Estimate, Result

LONG_TITLE = r"Preis $5_0 & \frac{x^2} ~ {%} #1 <b>[bold]" + " wide WWW words" * 10
BOATS: dict[str, tuple[str, dict[str, str]]] = {
    **{name: (name, {}) for name in example_names()},
    "three attempts": ("restarting", {"crank.attempts": "3", "crank.rest": "4 s", "engine.fires_after": "never"}),
    "short key-on": ("restarting", {"crank.key_on_before": "0.1 s", "crank.key_held": "0.8 s"}),
    "odd title": ("restarting", {"title": LONG_TITLE[:200], "displays.0.name": "$a$ " * 10}),
    "one long word": ("two-displays", {"title": "W" * 200, "displays.0.name": "W" * 40}),
    "neutral open": ("restarting", {"start_circuit.neutral_switch": "open"}),
    "dead battery": ("restarting", {"battery.state_of_charge": "10 %", "battery.health": "20 %"}),
}


@functools.cache
def result(name: str) -> Result:
    """The run of one boat, computed once."""
    example, changes = BOATS[name]
    scenario = loads_scenario(example_text(example), example)
    return simulate(scenario.with_overrides(changes) if changes else scenario)


@functools.cache
def drawn(name: str) -> Figure:
    """The figure of one boat, drawn once and not changed."""
    return report.crank_figure(result(name))


def _texts(figure: Figure) -> list[Text]:
    """Everything written in a figure except the numbers at the axes."""
    found = list(figure.texts)
    for ax in figure.axes:
        found += [*ax.texts, ax.xaxis.label, ax.yaxis.label]
        legend = ax.get_legend()
        found += legend.get_texts() if legend is not None else []
    return [text for text in found if text.get_text().strip() and text.get_visible()]


def _inside(ax: Axes, label: Text) -> bool:
    """Whether a number belongs to the part of an axis that is shown."""
    x, y = ax.transData.inverted().transform(label.get_transform().transform(label.get_position()))
    (left, right), (low, high) = ax.get_xlim(), ax.get_ylim()
    slack = 1e-9
    return bool(left - slack <= x <= right + slack) if label in ax.get_xticklabels() else bool(low <= y <= high)


@pytest.mark.parametrize("name", BOATS)
def test_no_text_is_clipped_or_overlaps_another(name: str) -> None:
    figure = drawn(name)
    whole = figure.bbox
    boxes = [(text.get_text(), Text.get_window_extent(text)) for text in _texts(figure)]
    with mpl.rc_context({"font.size": 9.0}):  # the letters' size decides how many numbers an axis gets
        ticks = [
            (label.get_text(), label.get_window_extent())
            for ax in figure.axes
            for label in (*ax.get_xticklabels(), *ax.get_yticklabels())
            if label.get_text() and label.get_visible() and _inside(ax, label)
        ]
    for text, box in boxes:
        assert box.x0 >= 0.0, text
        assert box.y0 >= 0.0, text
        assert box.x1 <= whole.width, text
        assert box.y1 <= whole.height, text
    for (one, a), (other, b) in combinations(boxes, 2):
        assert not (a.x0 < b.x1 and b.x0 < a.x1 and a.y0 < b.y1 and b.y0 < a.y1), (one, other)
    for (one, a), (other, b) in ((x, y) for x in boxes for y in ticks):
        assert not (a.x0 < b.x1 and b.x0 < a.x1 and a.y0 < b.y1 and b.y0 < a.y1), (one, other)


@pytest.mark.parametrize("name", BOATS)
def test_the_dip_is_marked_where_the_result_says(name: str) -> None:
    found = result(name)
    upper = drawn(name).axes[0]
    begin, end = upper.get_xlim()
    low, high = upper.get_ylim()
    assert begin <= found.display.minimum_at <= end
    assert low < found.display.minimum_voltage < high
    marks = [line for line in upper.get_lines() if line.get_marker() == "o"]
    assert [tuple(map(float, mark.get_xydata()[0])) for mark in marks] == [
        (found.display.minimum_at, found.display.minimum_voltage)
    ]
    labels = [text.get_text() for text in upper.texts]
    assert f"lowest {volts(found.display.minimum_voltage)}\nat {found.display.minimum_at:.3f} s" in labels
    assert any(label.startswith("brown-out ") for label in labels)


def test_axes_carry_their_units_and_curves_differ_without_colour() -> None:
    upper, lower, twin = drawn("restarting").axes
    assert (upper.get_ylabel(), lower.get_ylabel()) == ("voltage (V)", "starter current (A)")
    assert (twin.get_ylabel(), lower.get_xlabel()) == ("engine speed (rpm)", "time from key-on (s)")
    curves = [line for line in upper.get_lines() if len(line.get_xdata()) > 100]
    assert len(curves) == 3
    looks = {(str(line._dash_pattern), line.get_linewidth()) for line in curves}  # type: ignore[attr-defined]
    assert len(looks) == 3


@pytest.mark.parametrize("name", ["key-cut", "restarting"])  # a long reset and a short one
def test_reset_and_boot_are_shaded_and_named(name: str) -> None:
    panel = drawn(name).axes[0]
    legend = panel.get_legend()
    assert legend is not None
    assert [text.get_text() for text in legend.get_texts()] == ["display in reset", "display boots"]
    hatches = [patch.get_hatch() for patch in legend.get_patches()]
    assert hatches == ["////", None]  # apart in grey print as well
    assert {patch.get_hatch() for patch in panel.patches} == set(hatches)
    calm = drawn("supercapacitor").axes[0]  # booted long before START
    assert calm.get_legend() is None
    assert not calm.patches


@pytest.mark.parametrize("name", BOATS)
def test_the_voltage_axis_goes_no_further_down_than_a_curve(name: str) -> None:
    panel = drawn(name).axes[0]
    begin, end = panel.get_xlim()
    low, high = panel.get_ylim()
    # but for what the S terminal's coils kick up, which the panel cuts off as it does a spike
    curves = [line.get_data() for line in panel.get_lines() if line.get_color() != "#7a3f8f"]
    shown = [y[(x >= begin) & (x <= end)].min() for x, y in curves if len(x) > 100]
    if name == "only-clicks":
        shown.append(0.0)  # the S terminal before START
    lowest = float(min(shown))
    assert low == 0.0 if lowest > 0.03 * high else low < min(lowest, 0.0)
    assert low >= min(lowest, 0.0) - 0.05 * (high - low)


def test_a_boat_that_only_clicks_shows_what_its_solenoid_gets_and_needs() -> None:
    """Its battery, stud and display look healthy; so do those of a boat that cranks, which shows no S terminal."""
    texts = [t.get_text() for t in _texts(drawn("only-clicks"))]
    budget = result("only-clicks").start_budget
    assert f"S terminal {volts(budget.left, 1)}" in texts
    assert f"S needs {budget.needed:.3g} V" in texts
    assert any("it only clicks" in " ".join(text.split()) for text in texts)
    assert not any("S terminal" in t.get_text() for t in _texts(drawn("restarting")))
    low, high = drawn("only-clicks").axes[0].get_ylim()
    assert -1.0 < low < 0.0 < high < 17.0  # what the coils kick up at the release does not squeeze the rest


STARTS = {
    "only clicks": ("only-clicks", {}, "from the solenoid's S terminal"),
    "neutral open": ("restarting", {"start_circuit.neutral_switch": "open"}, "Take the gear out"),
    "key let go": ("restarting", {"crank.key_held": "50 ms"}, "hold the key in START"),
    "relay asks too much": ("restarting", {"start_circuit.relay_must_operate": "11.9 V", "start_circuit.joints":
                            "10 ohm"}, "across the coil of the start relay"),
}  # fmt: skip


@pytest.mark.parametrize("name", STARTS)
def test_a_start_that_fails_is_repaired_where_it_fails(name: str) -> None:
    """A start circuit that gives its solenoid enough is not to be repaired; a relay's coil is not at the S terminal."""
    example, changes, advice = STARTS[name]
    found = simulate(loads_scenario(example_text(example)).with_overrides(changes))
    assert not found.cranks.engages
    first = report.next_steps(found)[0]
    assert advice in first
    told = Console(width=200, record=True, file=io.StringIO())
    told.print(*summary(found))
    assert ("Voltage budget of the start circuit" in told.export_text()) is (name != "key let go")


def test_a_display_that_is_always_fed_was_up_before_the_key() -> None:
    fed = simulate(loads_scenario(example_text("restarting")).with_overrides({"feed.key_terminal": "always"}))
    told = Console(width=200, record=True, file=io.StringIO())
    told.print(*summary(fed))
    assert re.search(r"gauges first up +before key-on", told.export_text())


def test_the_stud_is_drawn_without_the_decks_own_spike() -> None:
    """As the start relay closes, the capacitance at S is charged from that at the stud: microseconds, 8 V deep."""
    found = result("converter-24v")
    start = found.boat.crank.key_on_before
    early = (found.traces.time > start) & (found.traces.time < start + 0.02)
    assert found.traces.signals["starter_stud"][early].min() < 20.0
    lines = {line.get_color(): line for line in drawn("converter-24v").axes[0].get_lines()}
    shown = np.asarray(lines["#b5541c"].get_ydata())[early]
    assert shown.min() > 23.5


def test_dangers_stand_in_the_headline_of_a_display_that_runs_on() -> None:
    found = result("standby-pack")
    assert found.display.holds
    note = Note("display_over_voltage", "too much for it")
    for sentence in (report.verdict, report.words.brief_verdict):
        assert "DANGER" not in sentence(replace(found, dangers=()))
        assert sentence(replace(found, dangers=(note,))).endswith(" DANGER: display over voltage.")


def test_every_display_is_in_the_headline() -> None:
    found = result("two-displays")
    for text in (report.verdict(found), report.words.brief_verdict(found)):
        assert "display wheelhouse restarts once" in text.replace("Display", "display")
        assert "; display fly bridge keeps running" in text


def test_title_verdict_and_cautions_stand_on_the_page() -> None:
    figure = drawn("odd title")
    title, words, cautions = (" ".join(text.get_text().split()) for text in figure.texts)
    assert title.startswith(r"Preis $5_0 & \frac{x^2} ~ {%} #1 <b>[bold]")
    assert words == report.brief_verdict(result("odd title"))
    assert cautions == report.CAUTIONS_LINE


@pytest.mark.parametrize("ending", [".png", ".svg", ".pdf"])
def test_the_same_run_gives_the_same_bytes_whatever_the_users_settings(tmp_path: Path, ending: str) -> None:
    found = result("restarting")
    first = report.save_figure(drawn("restarting"), tmp_path / f"first{ending}")
    with mpl.rc_context({"font.size": 30.0, "axes.grid": False, "lines.linewidth": 9.0, "savefig.dpi": 30.0}):
        before = dict(mpl.rcParams)
        second = report.save_figure(report.crank_figure(found), str(tmp_path / f"second{ending}"))
        assert dict(mpl.rcParams) == before
    assert first.read_bytes() == second.read_bytes()
    assert first.stat().st_size > 10_000


def test_a_title_that_looks_like_markup_is_drawn(tmp_path: Path) -> None:
    for ending in report.FIGURE_TYPES:
        assert report.save_figure(drawn("odd title"), tmp_path / f"odd{ending}").is_file()


def test_another_ending_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match=r"\.png, \.svg, \.pdf"):
        report.save_figure(drawn("restarting"), tmp_path / "crank.jpg")


def test_two_results_on_one_figure_and_axes_of_ones_own() -> None:
    cured, before = result("standby-pack"), result("restarting")
    upper = report.crank_figure(cured, before=before).axes[0]
    curves = [line for line in upper.get_lines() if len(line.get_xdata()) > 100]
    assert len(curves) == 4
    assert any(np.array_equal(line.get_ydata(), before.traces.signals["display"]) for line in curves)
    assert "display before" in [text.get_text() for text in upper.texts]
    mine = Figure()
    axes: list[Axes] = list(mine.subplots(2, 1))
    assert report.crank_figure(cured, axes, window=(5.0, 5.5)) is mine
    assert axes[0].get_xlim() == (5.0, 5.5)
    assert not mine.texts


@pytest.mark.parametrize(
    "program",
    ["from cranksag import report; report.verdict", "from cranksag.report import CAUTIONS, next_steps"],
)
def test_words_need_no_matplotlib(program: str) -> None:
    check = f"{program}; import sys; assert 'matplotlib' not in sys.modules"
    subprocess.run([sys.executable, "-c", check], check=True)


def test_figures_need_no_window_system() -> None:
    check = "from cranksag.report import crank_figure; import sys; assert 'matplotlib.pyplot' not in sys.modules"
    subprocess.run([sys.executable, "-c", check], check=True)
    assert sorted(report.__all__) == report.__all__
    assert all(hasattr(report, name) for name in report.__all__)
    with pytest.raises(AttributeError, match="absent"):
        _ = report.absent


@given(st.lists(st.floats(-0.5, 1.5), max_size=8), st.floats(0.01, 0.12))
def test_labels_are_spread_in_order_inside_the_panel(wanted: list[float], gap: float) -> None:
    placed = spread(wanted, gap)
    assert len(placed) == len(wanted)
    order = sorted(range(len(wanted)), key=lambda k: wanted[k])
    ordered = [placed[k] for k in order]
    # sums of eight levels carry a few units of the sixteenth digit
    assert all(b - a >= gap - 1e-12 for a, b in pairwise(ordered))
    assert all(-1e-12 <= level <= 1.0 + 1e-12 for level in placed)


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_labels_that_have_room_stay_where_they_are(a: float, b: float) -> None:
    if abs(a - b) >= 0.06:
        assert spread([a, b], 0.06) == [a, b]


@settings(max_examples=10)  # a search over the whole panel each
@given(st.floats(0.02, 0.98), st.floats(0.05, 0.9))
def test_the_dips_label_keeps_off_a_curve(x: float, level: float) -> None:
    flat = np.column_stack((np.linspace(0.0, 1.0, 500), np.full(500, level)))
    place = free_place(flat, (x, level))
    assert abs(place[1] - level) >= LABEL_SIZE[1] / 2
    assert LABEL_SIZE[0] / 2 <= place[0] <= 1.0 - LABEL_SIZE[0] / 2


@given(st.floats(-60.0, 60.0))
def test_volts_are_read_back_and_never_minus_zero(value: float) -> None:
    text = volts(value)
    assert float(text.removesuffix(" V")) == pytest.approx(value, abs=0.0051)  # two decimals
    assert text != "-0.00 V"
    assert volts(value, sign=True)[0] in "+-"


@given(st.floats(-0.1, 0.1), st.booleans())
def test_a_margin_beside_a_restart_is_never_plus_nothing(margin: float, restarts: bool) -> None:
    told = margin_words(margin, restarts)
    assert float(told.removesuffix(" V")) == pytest.approx(margin, abs=0.0051)
    assert told[0] in "+-"
    assert not restarts or float(told.removesuffix(" V")) != 0.0 or told == "-0.00 V"
    assert told == margin_words(margin, not restarts) or abs(margin) <= 0.005


@given(st.floats(1e-6, 1e5))
def test_seconds_are_read_back(value: float) -> None:
    number, unit = seconds(value).split()
    assert float(number) * {"s": 1.0, "ms": 1e-3}[unit] == pytest.approx(value, rel=0.0051)  # three digits


@pytest.mark.parametrize("name", BOATS)
def test_the_verdict_is_one_line_that_agrees_with_the_result(name: str) -> None:
    found = result(name)
    for sentence in (report.verdict(found), report.brief_verdict(found)):
        assert sentence.endswith(".")
        assert "\n" not in sentence
        assert volts(found.display.minimum_voltage) in sentence
        assert ("keeps running" in sentence.split("; display ")[0]) is found.display.holds
        assert ("does not crank" in sentence) is not found.cranks.turns
    steps = report.next_steps(found)
    assert steps
    starting = any(
        repair in steps[0] for repair in ("start circuit first", "Take the gear out", "enough: hold the key")
    )
    assert starting is not found.cranks.engages
    assert not any("hold-up brings" in step for step in steps) or found.cranks.fires


@pytest.mark.parametrize("name", BOATS)
def test_the_distance_to_the_threshold_is_that_of_the_voltage_told(name: str) -> None:
    """Who subtracts the threshold from the lowest voltage of the sentence gets the distance of the sentence."""
    found = re.search(r"is at (\S+) V at the lowest, (\S+) V above its (\S+) V", report.verdict(result(name)))
    display = result(name).display
    assert (found is not None) is (display.holds and display.minimum_voltage >= display.brownout)
    if found is not None:
        lowest, above, threshold = (float(number) for number in found.groups())
        assert above == pytest.approx(lowest - threshold, abs=0.0101)  # each is rounded


def test_a_display_that_is_not_running_yet_at_start_is_not_said_to_be() -> None:
    """The key is turned through to START before the converter has started."""
    text = example_text("converter-24v")
    for lead, late in (("0.2 s", True), ("2 s", False)):
        changes = {"crank.key_on_before": lead, "hold_up.cut_out": "6 V", "hold_up.cut_in": "7 V"}
        found = simulate(loads_scenario(text).with_overrides(changes))
        assert found.display.holds
        for sentence in (report.verdict(found), report.brief_verdict(found)):
            assert (re.search(r"first runs \d+ ms after START and then keeps running", sentence) is not None) is late


def test_a_threshold_behind_the_input_diode_is_not_compared_with_the_pins() -> None:
    inside = {"displays__0__brownout_at": "internal", "displays__0__input_diode": "true", "feed__from": "battery"}
    low = fitted(**inside, displays__0__input_capacitance="14 mF", battery__health="100 %")
    high = fitted(**inside, displays__0__brownout="5 V", displays__0__restarts_above="9 V")
    assert not low.display.holds
    assert low.display.minimum_voltage - 8.5 < low.display.margin - 0.5  # its capacitor carries it most of the way
    assert f"which inside leaves it {-low.display.margin:.2f} V below its 8.5 V brown-out" in report.verdict(low)
    assert high.display.holds
    assert f"which inside leaves it {high.display.margin:.2f} V above its 5 V brown-out" in report.verdict(high)


CAUTIONED = (
    "hundreds of amperes",
    "explosive gas",
    "use every added conductor at its source",
    "rotating parts",
    "raw-water seacock open",
    "wet exhaust",
    "starter's rest times",
    "estimates to be confirmed by measurement",
    "local electrical code",
    "boat-wiring standard",
    "qualified person",
)


@pytest.mark.parametrize("phrase", CAUTIONED)
def test_the_cautions_name_every_hazard(phrase: str) -> None:
    assert phrase in report.CAUTIONS_LINE


# --- a hold-up that does not help ----------------------------------------------------------------------------


def fitted(**changes: str) -> Result:
    text = example_text("restarting")
    short = {"crank.key_held": "900 ms", "crank.after": "300 ms"}
    return simulate(
        loads_scenario(text).with_overrides({**short, **{k.replace("__", "."): v for k, v in changes.items()}})
    )


@pytest.mark.parametrize(
    ("changes", "says", "path"),
    [
        ({"hold_up__branch": "supercapacitor"}, "is not charged yet at START, 5 s after", "hold_up.capacitance"),
        ({"hold_up__branch": "supercapacitor"}, "its feed diode takes 0.4", "hold_up.capacitance"),
        ({"hold_up__branch": "converter"}, "the converter cuts out below 9 V at its input", "feed.size"),
        ({"hold_up__branch": "converter"}, "starts again 0.3 s after that is back at ", "feed.size"),
        ({"hold_up__branch": "reservoir"}, "it carries the display for 0.0", "hold_up.capacitance"),
        (
            {"hold_up__branch": "standby pack", "hold_up__must_operate": "11.8 V",
             "temperature__engine_room": "90 degC", "temperature__helm": "80 degC"},
            "the hold-up relay never closes",
            "hold_up.relay",
        ),
    ],
)  # fmt: skip
def test_a_hold_up_that_does_not_help_says_why_and_what_sizes_it(changes: dict[str, str], says: str, path: str) -> None:
    found = fitted(**changes)
    assert not found.display.holds
    told = report.verdict(found)
    assert "; the hold-up falls short: " in told
    assert says in told
    steps = " ".join(report.next_steps(found))
    assert f"`cranksag size FILE --for {path}`" in steps
    assert "`cranksag tolerance FILE`" in steps
    assert "hold-up brings" not in steps


def test_a_converter_that_cuts_out_is_told_from_a_thin_feed() -> None:
    steps = report.next_steps(fitted(hold_up__branch="converter", hold_up__cut_out="8 V"))
    assert any("input falls below 8 V" in step and "`cranksag parts converter`" in step for step in steps)


def test_an_empty_bank_is_told_even_where_the_display_holds() -> None:
    changes = {"hold_up__branch": "supercapacitor", "battery__rating": "1600 A", "feed__from": "battery"}
    found = fitted(**changes, feed__return_to="battery negative", feed__size="8 AWG", displays__0__brownout="6 V")
    assert found.display.holds
    assert found.hold_up["ready_after_s"] is None
    told = report.verdict(found)
    match = re.search(r"; the bank is not charged yet at START, 5 s after key-on \(it needs about (\d+) s\)\.$", told)
    assert match is not None
    assert 120 < int(match[1]) < 180  # three time constants of 10 F behind 4.7 ohm are 141 s


@pytest.mark.parametrize(
    ("branch", "slow"),
    [
        ("reservoir", {"hold_up__inrush_limit": "68 ohm"}),
        ("supercapacitor", {"hold_up__capacitance": "2 F", "hold_up__charge_current": "500 mA"}),
        ("supercapacitor", {"hold_up__capacitance": "2 F", "hold_up__charge_current": "20 A"}),
    ],
)
def test_what_is_advised_charges_the_bank(branch: str, slow: dict[str, str]) -> None:
    """Each figure of the advice, taken with a tenth of room, charges the bank before START."""
    late = fitted(hold_up__branch=branch, **slow)
    assert late.hold_up["ready_after_s"] is None
    steps = next(step for step in report.next_steps(late) if "not charged at START" in step)

    def ready(**changes: str) -> float | None:
        found: float | None = fitted(hold_up__branch=branch, **{**slow, **changes}).hold_up["ready_after_s"]
        return found

    def advised(unit: str) -> float:
        match = re.search(rf"about ([0-9.]+) {unit}\b", steps)
        assert match is not None, unit
        return float(match[1])

    assert ready(crank__key_on_before=f"{1.1 * advised('s')} s") is not None
    if branch == "reservoir":
        assert ready(hold_up__inrush_limit=f"{0.9 * advised('ohm')} ohm") is not None
        assert ready(hold_up__inrush_limit=f"{1.2 * advised('ohm')} ohm") is None  # and it is not far too small
    else:
        assert "raise hold_up.charge_current" in steps


def test_a_bank_that_leaks_past_its_limiter_is_not_told_to_wait() -> None:
    steps = " ".join(report.next_steps(fitted(hold_up__branch="reservoir", hold_up__inrush_limit="100 ohm")))
    assert "lower hold_up.inrush_limit" in steps
    assert "leave the key on" not in steps


# --- what the band asks for ----------------------------------------------------------------------------------


def test_a_band_over_the_threshold_asks_for_fields_that_can_be_written() -> None:
    """Not for the "battery temperature law", which is behind the band and in no file."""
    found = result("restarting")
    fields = ("battery temperature law", "starter characteristic", "feed.joints")
    band = Estimate(found.display.brownout - 1.0, found.display.brownout + 1.0, fields)
    steps = report.next_steps(replace(found, estimate=band))
    assert "The band spans the threshold. Write what you can find out of: starter.points, feed.joints." in steps
    laws = replace(band, fields=fields[:1])
    assert "The band spans the threshold." in report.next_steps(replace(found, estimate=laws))


# --- figures of the report -----------------------------------------------------------------------------------


def test_a_line_of_the_budget_without_a_drop_has_no_negative_share() -> None:
    """Where a blocking diode lifts the sum the other way, nothing was told as "-0%"."""
    drops = [
        BudgetLine("feed conductor", "supply", None, -1e-9, False),
        BudgetLine("battery cable", "supply", None, 2.0, False),
    ]
    found = replace(result("restarting"), demand_budget=tuple(drops))
    shown = io.StringIO()
    Console(file=shown, width=200).print(Group(*_budget(found)))
    assert "-0%" not in shown.getvalue()
    assert " 0%" in shown.getvalue()


@pytest.mark.parametrize(
    ("value", "told"), [(2.358e5, "236000"), (123456.0, "123000"), (9876.25, "9876"), (20.0, "20"), (3, "3")]
)
def test_a_count_is_told_without_a_power_of_ten(value: float, told: str) -> None:
    assert _figure(value, "") == told
