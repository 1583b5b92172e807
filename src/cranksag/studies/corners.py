# SPDX-License-Identifier: GPL-3.0-or-later
"""Corners: the states of one boat over which a part has to do its work, each place at its own worst.

A corner only ever makes a boat worse: where the boat as written stands beyond a corner's figure already, its own
figure stays. The figures are those of boats from the tropics to the ice (engineering estimates, unless `why`
names a source).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from cranksag.resolve import Boat
from cranksag.runner import Overrides, spec_at
from cranksag.scenario.hold_up import branches_of
from cranksag.scenario.specs import Number, Quantity

__all__ = ["DEFAULT_CORNERS", "Corner", "changes_of", "text_of"]

Law = Callable[[float, float], float]


@dataclass(frozen=True, slots=True)
class Bound:
    """One field of a corner: its value becomes `law` of what the boat has and `figure` [SI]."""

    path: str
    law: Law
    figure: float


@dataclass(frozen=True, slots=True)
class Corner:
    """A named corner: its `bounds`, and `why` it is one."""

    name: str
    bounds: tuple[Bound, ...]
    why: str


def _times(held: float, factor: float) -> float:
    return held * factor


def _most(path: str, figure: float) -> Bound:
    return Bound(path, min, figure)


def _least(path: str, figure: float) -> Bound:
    return Bound(path, max, figure)


COLD, HOT_ROOM, HOT_HELM, HOT_BATTERY, HOT_OIL = -10.0, 70.0, 50.0, 40.0, 90.0  # [degC]
YEAR = 365.25 * 86400.0  # [s]

_COLD_BATTERY = (_most("temperature.battery", COLD), _most("temperature.oil", COLD))
_COLD = (*_COLD_BATTERY, _most("temperature.engine_room", COLD), _most("temperature.helm", COLD))
_HOT = (
    _least("temperature.battery", HOT_BATTERY),
    _least("temperature.oil", HOT_OIL),
    _least("temperature.engine_room", HOT_ROOM),
    _least("temperature.helm", HOT_HELM),
)
_HOT_RELAY = (_least("temperature.engine_room", HOT_ROOM), _most("temperature.helm", COLD))
_WORN_HOLD_UP = (_least("hold_up.age", 10.0 * YEAR), Bound("hold_up.pack_resistance", _times, 1.6))
_WORN = (_most("battery.health", 0.6), *_WORN_HOLD_UP)
_HALF = (_most("battery.state_of_charge", 0.5), _most("hold_up.pack_charge", 0.5))
_HASTE = (_most("crank.key_on_before", 0.2),)
_LONG = (Bound("feed.length", _times, 1.5),)
_AGAIN = (_least("crank.attempts", 2.0), _most("crank.rest", 3.0))
_NEW = (
    _least("battery.health", 1.0),
    _least("battery.state_of_charge", 1.0),
    _least("hold_up.pack_charge", 1.0),
    _most("hold_up.age", 0.0),
)

DEFAULT_CORNERS: tuple[Corner, ...] = (
    Corner("cold", _COLD, "everything at -10 degC: stiff oil, weak battery, capacitors that lost capacitance"),
    Corner("hot restart", _HOT, "engine room at 70 degC, oil at 90 degC: coils gain ohms, relays need more volts"),
    Corner(
        "hot relay, cold battery",
        (*_COLD_BATTERY, *_HOT_RELAY),
        "battery and oil at -10 degC in their lockers, a relay beside a block at 70 degC",
    ),
    Corner("new and fresh", _NEW, "new battery and hold-up, both full: the largest starter current"),
    Corner("end of life", _WORN, "battery at 60 % health, bank ten years old, pack at 1.6 times its resistance"),
    Corner("half-charged", _HALF, "start battery and pack at 50 %"),
    Corner("straight to START", _HASTE, "0.2 s from key-on to START: a hold-up that has had no time to charge"),
    Corner("second attempt", _AGAIN, "the engine does not fire, 3 s of rest, key in START once more"),
    Corner("long feed", _LONG, "half as much again of feed: an unmeasured harness"),
    Corner(
        "cold, worn, in haste",
        (*_COLD, *_LONG, *_HASTE, *_WORN_HOLD_UP),
        "everything at -10 degC, hold-up old, feed long, no time; health and charge of the battery as written",
    ),
    Corner(
        "each place at its worst",
        (*_COLD_BATTERY, *_HOT_RELAY, *_LONG, *_HASTE, *_WORN, *_HALF),
        "end of life, half-charged and cold battery, relay at 70 degC, long feed, no time; a single attempt",
    ),
)
"""Corners where the user names none, beside the boat as written."""

_IN_WORDS = {"second attempt": (("engine.fires_after", "never"),)}
"""What a corner changes in words: a second attempt is made because the first one failed."""


def changes_of(corner: Corner, boat: Boat, sized: str = "") -> Overrides:
    """What a corner changes about a boat; nothing if the boat stands beyond all its figures.

    Parameters
    ----------
    corner : one of `DEFAULT_CORNERS`
    boat : the boat, with the part that is tried
    sized : path of the field that is sized, which no corner touches
    """
    found = _changes(boat, corner.bounds, sized)
    if found:
        found |= {path: text for path, text in _IN_WORDS.get(corner.name, ()) if path != sized}
    return tuple(found.items())


def _changes(boat: Boat, bounds: Sequence[Bound], sized: str) -> dict[str, str]:
    texts: dict[str, str] = {}
    for bound in bounds:
        belongs = branches_of(bound.path.rpartition(".")[2]) if bound.path.startswith("hold_up.") else ()
        held = boat.values.get(bound.path)
        if bound.path == sized or held is None or (belongs and boat.branch not in belongs):
            continue
        if isinstance(held.value, bool | str) or not isinstance(held.value, int | float):
            continue
        value = bound.law(float(held.value), bound.figure)
        if value != held.value:
            texts[bound.path] = text_of(bound.path, value)
    return texts


def text_of(path: str, value: float) -> str:
    """A value [SI] as text after ``--set``, kept within the limits of its field."""
    field = spec_at(path)
    if isinstance(field, Quantity):
        low, high = field.limits
        inside = min(max(value, low), high)
        return f"{100.0 * inside:.10g} %" if field.measure.name == "share" else f"{inside:.10g} {field.measure.si}"
    if isinstance(field, Number):
        inside = min(max(value, field.low), field.high)
        return str(round(inside)) if field.whole else f"{inside:.10g}"
    raise TypeError(f"{path} holds no number")
