# SPDX-License-Identifier: GPL-3.0-or-later
"""A corroded joint by name: what it adds, where it may stand, what is refused, and that it never lifts a display."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from functools import lru_cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cranksag.catalogue import Catalogue
from cranksag.catalogue.reader import read_text
from cranksag.errors import InputError
from cranksag.examples import example_text
from cranksag.parts.joints import JOINTS, joint_resistance
from cranksag.resolve import Boat, resolve
from cranksag.resolve.model import HouseFeed, StandbyPack
from cranksag.scenario import loads_scenario
from cranksag.simulate import simulate
from cranksag.studies.axes import parse_axis
from cranksag.studies.measures import _named_parts

PIN = "multi-pin connector pin"
ROWS = """title = "test boat"
[house]
[[cables.positive]]
length = "2 m"
size = "2/0 AWG"
[[cables.positive]]
part = "battery switch"
[[cables.negative]]
resistance = "1 mohm"
[[displays]]
"""


def boat(changes: dict[str, str]) -> Boat:
    return resolve(loads_scenario(ROWS, "boat.toml").with_overrides(changes))


def _pack(of: Boat) -> float:
    assert isinstance(of.hold_up, StandbyPack)
    return of.hold_up.fuse_resistance


def _house(of: Boat) -> float:
    assert isinstance(of.hold_up, HouseFeed)
    return of.hold_up.joints


PLACES: dict[str, tuple[dict[str, str], Callable[[Boat], float]]] = {
    "feed.": ({}, lambda b: b.feed.joints),
    "feed.return_": ({}, lambda b: b.feed.return_joints),
    "start_circuit.": ({}, lambda b: b.start.joints),
    "start_circuit. shared": ({"start_circuit.shares_feed": "true"}, lambda b: b.start.joints),
    "panel.": ({"panel.joints": "2 mohm"}, lambda b: b.panel.resistance),
    "cables.positive.0.": ({}, lambda b: b.positive[0].joints),
    "cables.negative.0.": ({}, lambda b: b.negative[0].joints),
    "hold_up.": ({"hold_up.branch": "standby pack"}, _pack),
    "hold_up. house": ({"hold_up.branch": "house feed"}, _house),
}
"""By the beginning of the fields' names: what the boat needs for them, and the resistance [ohm] they add to."""


def corroded(place: str, name: str, share: float | None) -> float:
    """The resistance at a place with a joint corroded so far."""
    needed, read = PLACES[place]
    start = place.split(" ")[0]
    more = {} if share is None else {f"{start}corrosion": f"{100.0 * share!r} %"}
    return read(boat({**needed, f"{start}corroded": name, **more}))


@pytest.mark.parametrize("place", PLACES)
def test_a_corroded_joint_adds_what_it_has_over_a_sound_one(place: str) -> None:
    needed, read = PLACES[place]
    sound = read(boat(needed))
    for share in (0.0, 0.25, 0.6, 1.0):
        added = joint_resistance(PIN, share) - JOINTS[PIN].sound
        assert corroded(place, PIN, share) == pytest.approx(sound + added, rel=1e-9)
    assert corroded(place, PIN, None) == pytest.approx(sound + 0.195, rel=1e-9)  # 200 mohm, sound 5 mohm
    assert corroded(place, "none", None) == sound


def test_a_joint_that_is_sound_changes_nothing_and_one_that_is_not_leaves_other_places_alone() -> None:
    plain, sound = boat({}), boat({"feed.corroded": PIN, "feed.corrosion": "0 %"})
    assert dataclasses.replace(sound, values={}) == dataclasses.replace(plain, values={})
    bad = boat({"feed.return_corroded": PIN, "feed.return_corrosion": "50 %"})
    as_before = dataclasses.replace(bad.feed, return_joints=plain.feed.return_joints)
    assert dataclasses.replace(bad, feed=as_before, values={}) == dataclasses.replace(plain, values={})
    assert bad.values["feed.return_joints"].value == plain.values["feed.return_joints"].value


@pytest.mark.parametrize("name", JOINTS)
def test_a_part_of_the_cables_corrodes_itself(name: str) -> None:
    path = "cables.positive.1"
    for share in (0.0, 0.4, 1.0):
        switch = boat({f"{path}.part": name, f"{path}.corrosion": f"{100.0 * share!r} %"}).positive[1]
        assert switch.resistance + switch.joints == pytest.approx(joint_resistance(name, share), rel=1e-9)
    switch = boat({f"{path}.part": name}).positive[1]
    assert switch.resistance + switch.joints == pytest.approx(JOINTS[name].sound)


@given(
    st.sampled_from(sorted(PLACES)),
    st.sampled_from(sorted(JOINTS)),
    st.floats(0.0, 1.0),
    st.floats(0.0, 1.0),
)
def test_more_corrosion_is_never_less_resistance(place: str, name: str, one: float, other: float) -> None:
    less, more = sorted((one, other))
    assert corroded(place, name, more) >= corroded(place, name, less) * (1.0 - 1e-12)


@lru_cache(maxsize=64)
def lowest(place: str, name: str, share: float) -> float:
    """Minimum of a display that never resets, as the boat of `restarting` cranks [V]."""
    changes = {
        f"{place}corroded": name,
        f"{place}corrosion": f"{100.0 * share!r} %",
        "displays.0.brownout": "3 V",
        "displays.0.reset_after": "1 s",
        "crank.key_held": "0.6 s",
        "crank.after": "50 ms",
    }
    result = simulate(loads_scenario(example_text("restarting"), "restarting").with_overrides(changes))
    assert result.display.holds
    return result.display.minimum_voltage


@settings(max_examples=8, deadline=None)
@given(
    st.sampled_from(
        [
            ("feed.", PIN),
            ("feed.return_", PIN),
            ("cables.positive.0.", "battery post clamp"),
            ("cables.negative.0.", "ground bolt on block"),
        ]
    ),
    st.floats(0.0, 1.0),
    st.floats(0.0, 1.0),
)
def test_more_corrosion_never_raises_the_display_s_minimum(where: tuple[str, str], one: float, other: float) -> None:
    """Ways the display is fed by, or shares with the starter; 0.5 mV for the solver's steps."""
    less, more = sorted((one, other))
    assert lowest(*where, more) <= lowest(*where, less) + 0.5e-3


def test_a_corroded_ground_bolt_costs_the_display_volts() -> None:
    assert lowest("cables.negative.0.", "ground bolt on block", 1.0) < lowest("feed.", PIN, 0.0) - 0.5


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('[feed]\ncorrosion = "60 %"\n', "boat.toml:3: feed.corrosion: of which joint? add corroded ="),
        ('[feed]\nreturn_corrosion = "60 %"\n', "of which joint? add return_corroded ="),
        ('[start_circuit]\ncorrosion = "60 %"\n', "of which joint? add corroded ="),
        ('[panel]\ncorrosion = "60 %"\n', 'another of "cranksag parts joint"; ohms go into joints'),
        ('[hold_up]\nbranch = "standby pack"\ncorrosion = "60 %"\n', "of which joint?"),
        ('[hold_up]\nbranch = "reservoir"\ncorroded = "battery switch"\n', 'does not belong to branch "reservoir"'),
        ('[[cables.negative]]\nresistance = "1 mohm"\ncorrosion = "60 %"\n', "of which joint?"),
        (
            '[[cables.negative]]\npart = "battery switch"\ncorroded = "battery cable lug"\n',
            "part names the joint already, corrosion alone says how far it is; leave corroded out",
        ),
        ('[feed]\ncorroded = "battery switch"\ncorrosion = "120 %"\n', "must be 0 % to 100 %"),
        ('[feed]\ncorroded = "battery switch"\ncorrosion = 0.6\n', 'needs a unit, such as "0.6 %"'),
        ('[feed]\ncorroded = "multi-pin conector pin"\n', 'did you mean "multi-pin connector pin"'),
        (
            '[[cables.negative]]\nlength = "1 m"\nsize = "2 AWG"\ncorroded = "ground bolt"\n',
            "cables.negative.0.corroded",
        ),
    ],
)
def test_what_cannot_be_is_refused_with_what_to_do(text: str, told: str) -> None:
    with pytest.raises(InputError) as caught:
        resolve(loads_scenario(f'title = "x"\n{text}', "boat.toml"))
    (problem,) = caught.value.problems
    assert told in problem


def test_a_line_that_states_less_corroded_than_sound_is_refused() -> None:
    line = """[[joint]]
name = "odd lug"
resistance = "2 mohm"
corroded_resistance = "1 mohm"
source = "a slip"
provenance = "engineering estimate"
"""
    own = Catalogue(read_text(line, "own.toml"))
    scenario = loads_scenario('title = "x"\n[feed]\ncorroded = "odd lug"\n', "boat.toml")
    with pytest.raises(InputError, match=r"boat\.toml:3: feed\.corroded = .*0\.001 ohm corroded and 0\.002 ohm sound"):
        resolve(scenario, own)


def test_corrosion_is_an_axis_and_no_purchase() -> None:
    axis = parse_axis("feed.corrosion=0 %:100 %:5")
    assert axis.values == pytest.approx((0.0, 0.25, 0.5, 0.75, 1.0))
    assert PIN in parse_axis("feed.corroded=parts:").texts
    bought = [path for path, _ in _named_parts(boat({"feed.corroded": PIN, "cables.negative.0.corroded": PIN}))]
    assert bought == ["cables.positive.1.part"]
