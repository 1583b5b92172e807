# SPDX-License-Identifier: GPL-3.0-or-later
"""The grammar of axes, standard values, and plans of combinations."""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cranksag.catalogue import load_catalogue
from cranksag.errors import InputError
from cranksag.parts.conductors import conductor_area
from cranksag.quantities import ConductorSize
from cranksag.runner import spec_at
from cranksag.scenario import field_table
from cranksag.studies.axes import Axis, make_axis, parse_axes, parse_axis, value_at
from cranksag.studies.plan import make_plan, parse_condition, parse_sample
from cranksag.studies.series import decade, series_between


def texts(text: str) -> tuple[str, ...]:
    return parse_axis(text).texts


# --- the items of a SPEC -------------------------------------------------------------------------------------


def test_comma_list_keeps_text_and_order() -> None:
    axis = parse_axis("battery.rating = 800 A,600A , 0.7 kA")
    assert axis.path == "battery.rating"
    assert axis.texts == ("800 A", "600A", "0.7 kA")
    assert axis.values == (800.0, 600.0, 700.0)
    assert axis.unit == "A"


def test_split_at_the_first_equals_sign() -> None:
    with pytest.raises(InputError, match="write PATH=SPEC"):
        parse_axis("battery.rating")
    with pytest.raises(InputError, match="not a quantity"):
        parse_axis("battery.rating==800 A")


def test_sizes_between_are_those_of_the_shelf() -> None:
    assert texts("feed.size=18 AWG..10 AWG") == ("18 AWG", "16 AWG", "14 AWG", "12 AWG", "10 AWG")
    assert texts("feed.size=10 AWG..14 AWG") == ("10 AWG", "12 AWG", "14 AWG")
    assert texts("feed.size=1 mm2..6 mm2,16 AWG") == ("1 mm2", "1.5 mm2", "2.5 mm2", "4 mm2", "6 mm2", "16 AWG")
    axis = parse_axis("feed.size=16 AWG,10 mm2")
    assert axis.unit == "m2"
    assert axis.values == pytest.approx((conductor_area(ConductorSize("AWG", "16")), 10e-6), rel=1e-12)
    with pytest.raises(InputError, match="within one system"):
        parse_axis("feed.size=16 AWG..10 mm2")


def test_whole_numbers_and_shelf_values_between() -> None:
    assert texts("engine.cylinders=3..6") == ("3", "4", "5", "6")
    assert texts("engine.cylinders=6..4") == ("6", "5", "4")
    assert texts("hold_up.capacitance=10 mF..47 mF") == ("10 mF", "15 mF", "22 mF", "33 mF", "47 mF")
    assert texts("hold_up.capacitance=47 mF..22 mF") == ("47 mF", "33 mF", "22 mF")
    ratings = {e.value("rating") for e in load_catalogue().entries("fuse")}
    axis = parse_axis("hold_up.fuse=1 A..10 A,none")
    assert set(axis.values[:-1]) == {r for r in ratings if 1.0 <= r <= 10.0}
    assert axis.texts[-1] == "none"
    assert math.isnan(axis.values[-1])
    with pytest.raises(InputError, match="A:B:N"):
        parse_axis("temperature.ambient=0 degC..20 degC")


def test_points_have_their_ends_as_written() -> None:
    assert texts("feed.length=20 ft:30 ft:5") == ("20 ft", "22.5 ft", "25 ft", "27.5 ft", "30 ft")
    assert texts("temperature.ambient=-10degC:40 degC:6")[:2] == ("-10degC", "0 degC")
    assert parse_axis("temperature.ambient=14 degF:104 degF:6").values == pytest.approx([-10, 0, 10, 20, 30, 40])
    assert texts("battery.health=50 %:100 %:3") == ("50 %", "75 %", "100 %")
    assert texts("engine.compression_ratio=15:18:4") == ("15", "16", "17", "18")
    assert texts("crank.attempts=1:3:3") == ("1", "2", "3")
    axis = parse_axis("hold_up.capacitance=log 1 mF:100 mF:5")
    assert axis.values == pytest.approx([1e-3 * 10 ** (k / 2) for k in range(5)])


def test_series() -> None:
    # E6 and E12 as printed in IEC 60063, table 1
    assert decade("E6") == (1.0, 1.5, 2.2, 3.3, 4.7, 6.8)
    assert decade("E12") == (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
    assert decade("E3") == (1.0, 2.2, 4.7)
    assert decade("E96")[:6] == (1.0, 1.02, 1.05, 1.07, 1.1, 1.13)  # IEC 60063, table 2
    assert (len(decade("E48")), len(decade("E96")), len(decade("E192"))) == (48, 96, 192)
    assert 9.2 in decade("E192")
    assert texts("hold_up.capacitance=E6 1 mF..10 mF") == (
        "1 mF",
        "1.5 mF",
        "2.2 mF",
        "3.3 mF",
        "4.7 mF",
        "6.8 mF",
        "10 mF",
    )
    assert texts("hold_up.inrush_limit=E3 10 ohm..1 ohm") == ("10 ohm", "4.7 ohm", "2.2 ohm", "1 ohm")


@given(
    name=st.sampled_from(["E3", "E6", "E12", "E24", "E48", "E96"]),
    low=st.floats(1e-9, 1e6),
    factor=st.floats(1.0, 1e3),
)
def test_a_series_has_all_its_values_between(name: str, low: float, factor: float) -> None:
    found = series_between(name, low, low * factor)
    assert found == sorted(set(found))
    assert all(low * (1 - 1e-8) <= v <= low * factor * (1 + 1e-8) for v in found)
    # neighbours of a series of n differ by about 10**(1/n): the count follows, one either way at the ends
    expected = int(name[1:]) * math.log10(factor)
    assert abs(len(found) - expected) <= 2.0


def test_words_flags_names_and_moments() -> None:
    axis = parse_axis("hold_up.branch=none,standby pack")
    assert (axis.texts, axis.values, axis.unit) == (("none", "standby pack"), (0.0, 1.0), "-")
    assert parse_axis("feed.dead_in_start=false,true").values == (0.0, 1.0)
    assert parse_axis("loads.0.from_time=start,start+0.2 s").values == (0.0, 0.2)
    relays = parse_axis("hold_up.relay=parts:12 V make")
    assert len(relays) > 1
    assert relays.free_text
    with pytest.raises(InputError, match="no such relay"):
        parse_axis("hold_up.relay=12 V 45 A make, 90 ohm")  # the comma separates; parts: is for such names
    with pytest.raises(InputError, match="names no catalogue part"):
        parse_axis("battery.rating=parts:12")
    with pytest.raises(InputError, match="no diode of the catalogue"):
        parse_axis("hold_up.diode=parts:nonsense of a name")


def test_equal_values_count_once() -> None:
    assert texts("battery.rating=800 A,0.8 kA,800A,700 A") == ("800 A", "700 A")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("feed.sise=16 AWG", 'did you mean "size"'),
        ("battery.rating=800", "unit is missing"),
        ("battery.rating=800 A,,700 A", "a comma always separates"),
        ("battery.rating=", "value is missing"),
        ("battery.rating=1,5 A", "unit is missing"),
        ("battery.rating=1 A:2 A", "A:B:N"),
        ("battery.rating=100 A:200 A:1", "2 to 100000"),
        ("battery.rating=100 A:200 A:-3", "A:B:N"),
        ("battery.rating=100 A..", "one end is missing"),
        ("battery.rating=log 100 A..200 A", "A:B:N"),
        ("temperature.ambient=log 1 degC:10 degC:3", "above zero"),
        ("engine.cylinders=1:4:3", "not a whole number"),
        ("feed.size=16 AWG:10 AWG:3", "no points between"),
        ("hold_up.branch=nothing", "must be one of"),
        ("hold_up.inrush_limit=none..10 ohm", "needs numbers at both ends"),
        ("hold_up.capacitance=E6 1 mF", "write E6 A..B"),
        ("battery=800 A", "is a table"),
    ],
)
def test_what_cannot_be_read_is_told(text: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_axis(text)
    assert words in str(caught.value)


def test_every_problem_of_every_axis_at_once() -> None:
    with pytest.raises(InputError) as caught:
        parse_axes(["battery.rating=1,2", "feed.sise=3", "crank.attempts=1", "crank.attempts=2"])
    assert len(caught.value.problems) == 4
    assert all(problem.startswith("--axis ") for problem in caught.value.problems)


@given(text=st.text(max_size=60), path=st.sampled_from(sorted(field_table())))
def test_any_text_is_read_or_refused(text: str, path: str) -> None:
    try:
        axis = parse_axis(f"{path.replace('*', '0')}={text}")
    except InputError as error:
        problems = error.problems
        if not problems or any("\n" in problem for problem in problems):
            pytest.fail(f"refused without one line each: {problems}")
    else:
        assert len(axis.texts) == len(axis.values) > 0
        for written in axis.texts:  # every value is one the scenario takes
            spec_at(axis.path).read_text(written)


@given(
    low=st.floats(60.0, 2000.0),
    high=st.floats(60.0, 2000.0),
    count=st.integers(2, 40),
    unit=st.sampled_from(["A", "kA"]),
    log=st.booleans(),
)
def test_points_are_spaced_and_inside(low: float, high: float, count: int, unit: str, log: bool) -> None:
    factor = {"A": 1.0, "kA": 1e-3}[unit]
    ends = [f"{v * factor:.6f} {unit}" for v in (low, high)]
    axis = parse_axis(f"battery.rating={'log ' if log else ''}{ends[0]}:{ends[1]}:{count}")
    values = np.array(axis.values)
    assert axis.texts[0] == ends[0]
    assert values[0] == pytest.approx(low, rel=2e-5)
    if len(axis) == count:
        steps = np.diff(np.log(values) if log else values)
        assert steps == pytest.approx(np.full(count - 1, steps.mean()), rel=1e-3, abs=1e-4)
    assert values.min() >= min(low, high) * (1 - 1e-4)
    assert values.max() <= max(low, high) * (1 + 1e-4)


@given(share=st.floats(0.0, 1.0))
def test_a_sample_stays_on_its_axis(share: float) -> None:
    span = parse_axis("feed.length=20 ft:30 ft:3")
    text, value = value_at(span, share)
    assert 6.096 - 1e-4 <= value <= 9.144 + 1e-4
    assert spec_at("feed.length").read_text(text) == value
    listed = parse_axis("battery.rating=600 A,700 A,800 A")
    assert value_at(listed, share)[0] in listed.texts


# --- plans ---------------------------------------------------------------------------------------------------


def three() -> tuple[Axis, ...]:
    return parse_axes(["battery.rating=600 A,800 A", "feed.size=18 AWG..14 AWG", "feed.return_size=18 AWG..14 AWG"])


def rows(plan: object) -> list[tuple[str, ...]]:
    return [row.texts for row in plan.rows()]  # type: ignore[attr-defined]


def test_full_grid_in_order() -> None:
    plan = make_plan(three())
    assert rows(plan) == list(product(*(axis.texts for axis in three())))
    assert plan.count() == 18
    assert plan.overrides(next(plan.rows()))[0] == ("battery.rating", "600 A")


def test_zipped_axes_advance_together() -> None:
    plan = make_plan(three(), zipped=["feed.size,feed.return_size"])
    assert plan.count() == 6
    assert all(a == b for _, a, b in rows(plan))
    with pytest.raises(InputError, match="as many values"):
        make_plan(three(), zipped=["battery.rating,feed.size"])
    with pytest.raises(InputError, match=r"did you mean feed\.size"):
        make_plan(three(), zipped=["feed.sze,feed.return_size"])
    with pytest.raises(InputError, match="two or more"):
        make_plan(three(), zipped=["feed.size"])


def test_a_field_may_follow_another() -> None:
    plan = make_plan(three()[:2], same=["hold_up.size=feed.size", "feed.return_size=hold_up.size"])
    assert plan.count() == 6
    assert all(a == b == c for _, a, b, c in rows(plan))
    assert [axis.path for axis in plan.axes] == ["battery.rating", "feed.size", "hold_up.size", "feed.return_size"]
    with pytest.raises(InputError, match="values of its own"):
        make_plan(three(), same=["feed.return_size=feed.size"])
    with pytest.raises(InputError, match="not of one kind"):
        make_plan(three(), same=["feed.length=feed.size"])
    with pytest.raises(InputError, match="is not an axis"):
        make_plan(three(), same=["hold_up.size=panel.size"])


def test_conditions() -> None:
    sizes = {"18 AWG": 0, "16 AWG": 1, "14 AWG": 2}
    plan = make_plan(three(), where=["feed.size <= feed.return_size", "battery.rating > 0.7 kA"])
    found = rows(plan)
    assert plan.count() == len(found) == 6
    assert all(r == "800 A" and sizes[a] <= sizes[b] for r, a, b in found)
    assert len(rows(make_plan(three(), where=["feed.size = feed.return_size"]))) == 6
    assert len(rows(make_plan(three(), where=["feed.size != 16 AWG"]))) == 12
    words = parse_axes(["hold_up.branch=none,reservoir", "battery.rating=600 A,800 A"])
    assert rows(make_plan(words, where=["hold_up.branch = none"])) == [("none", "600 A"), ("none", "800 A")]


@pytest.mark.parametrize(
    ("text", "words"),
    [("feed.size", "write PATH"), ("panel.size < 3", "is not an axis"), ("feed.size < battery.rating", "one kind"),
     ("battery.rating < 3 V", "measures a voltage")],
)  # fmt: skip
def test_conditions_that_cannot_be_read(text: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_condition(text, three())
    assert words in str(caught.value)


@given(st.text(max_size=40))
def test_any_condition_and_sample_is_read_or_refused(text: str) -> None:
    for read in (lambda: parse_condition(text, three()), lambda: parse_sample(text)):
        try:
            read()
        except InputError as error:
            if not error.problems:
                pytest.fail("refused without a word")


@pytest.mark.parametrize("kind", ["latin", "sobol", "saltelli"])
@pytest.mark.parametrize("count", [1, 5, 32])
def test_samples_repeat_with_their_seed(kind: str, count: int) -> None:
    axes = parse_axes(
        ["feed.length=20 ft:30 ft:2", "battery.rating=600 A,700 A,800 A", "feed.joints=log 1 mohm:1 ohm:2"]
    )
    plans = [make_plan(axes, sample=parse_sample(f"{kind} {count}", seed)) for seed in (1, 1, 2)]
    found = [rows(plan) for plan in plans]
    assert found[0] == found[1]
    assert found[0] != found[2]
    assert len(found[0]) == plans[0].count() == count * (5 if kind == "saltelli" else 1)


def test_a_latin_hypercube_meets_every_stratum() -> None:
    plan = make_plan(parse_axes(["battery.rating=100 A:200 A:2"]), sample=parse_sample("latin 50"))
    strata = sorted(int((row.values[0] - 100.0) / 2.0) for row in plan.rows())
    assert strata == list(range(50))


def test_a_saltelli_block_differs_from_the_first_in_one_axis() -> None:
    axes = parse_axes(["feed.length=20 ft:30 ft:2", "battery.rating=500 A:900 A:2"])
    values = np.array([row.values for row in make_plan(axes, sample=parse_sample("saltelli 8")).rows()])
    a, b, ab0, ab1 = values.reshape(4, 8, 2)
    assert np.array_equal(ab0, np.column_stack([b[:, 0], a[:, 1]]))
    assert np.array_equal(ab1, np.column_stack([a[:, 0], b[:, 1]]))


def test_a_plan_needs_an_axis_and_a_size_in_reason() -> None:
    with pytest.raises(InputError, match="at least one axis"):
        make_plan([])
    long = [
        make_axis(path, [f"{k} mohm" for k in range(1, 501)])
        for path in ("feed.joints", "feed.return_joints", "panel.joints")
    ]
    with pytest.raises(InputError, match="125000000 combinations"):
        make_plan(long)
