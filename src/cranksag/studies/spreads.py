# SPDX-License-Identifier: GPL-3.0-or-later
"""How far real parts stray from their figures: the default spreads, each with its source, and the grammar of a spread.

``PATH=SPEC`` with SPEC one of

- ``uniform 10 %``: evenly within 10 % either way of the boat's own figure;
- ``normal 10 %``: Gaussian with that standard deviation, cut off at three of them;
- ``factor 2``: log-normal; 95 % of parts lie within a factor of 2 either way, cut off at three standard deviations;
- ``uniform A..B``, ``normal A..B``: the same between values with units; of a Gaussian 95 % lie between them;
- ``triangular A..M..B``: from A to B with the peak at M;
- ``none``: as written.

Fields that one specimen settles together do not stray apart: a display with a high brown-out restarts later too, and
one with a bright backlight boots on more. Where the first field of a `Tie` strays, the second moves with it, unless the
user gives it a spread of its own (or ``none``, which keeps it as written).
"""

from __future__ import annotations

import dataclasses
import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from cranksag.catalogue.usual import USUAL
from cranksag.errors import InputError
from cranksag.parts.relay import OPERATE_SHARE_LOW, OPERATE_SHARE_TYPICAL, must_operate_spread, must_release_spread
from cranksag.quantities import SHARE, nearest, shown
from cranksag.resolve import Boat
from cranksag.resolve.model import Bank, HouseFeed, StandbyPack, Value
from cranksag.resolve.specimen import (
    operates_at,
    releases_at,
    temperature_law_band,
    with_diode_saturation,
    with_hold_up_relay,
    with_motor_resistance,
    with_start_relay,
    with_temperature_law,
)
from cranksag.runner import spec_at
from cranksag.scenario.specs import Number, Quantity

__all__ = [
    "DEFAULT_SPREADS",
    "MULTIPLE",
    "ON_THE_BOAT",
    "TIES",
    "Spread",
    "Tie",
    "drawn_unit",
    "parse_spread",
    "spreads_of",
    "ties_of",
]

CUT = 3.0
"""Standard deviations at which a Gaussian is cut off."""

COVERED = 1.959963984540054
"""Standard deviations that hold 95 % of a Gaussian."""


@dataclass(frozen=True, slots=True)
class Spread:
    """How one value strays.

    `law`: uniform, normal, triangular, factor or none; `low`, `middle`, `high`: multiples of the boat's own figure, or
    values [SI] where `absolute`; for normal and factor `low` and `high` hold 95 %; `source`: where they come from.
    """

    path: str
    law: str
    low: float
    middle: float
    high: float
    source: str
    absolute: bool = False

    def at(self, share: float) -> float:
        """The value below which a share (0 to 1) of parts lies."""
        if self.law == "none" or self.high <= self.low:
            return self.middle
        if self.law == "uniform":
            return self.low + share * (self.high - self.low)
        if self.law == "triangular":
            return _triangular(self.low, self.middle, self.high, share)
        deviations = _cut_normal(share)
        if self.law == "factor":
            return self.middle * math.exp(deviations * math.log(self.high / self.middle) / COVERED)
        return self.middle + deviations * (self.high - self.low) / (2.0 * COVERED)


def _triangular(low: float, peak: float, high: float, share: float) -> float:
    split = (peak - low) / (high - low)
    if share < split:
        return low + math.sqrt(share * (high - low) * (peak - low))
    return high - math.sqrt((1.0 - share) * (high - low) * (high - peak))


def _cut_normal(share: float) -> float:
    """Quantile of the standard Gaussian cut off at `CUT`."""
    from statistics import NormalDist

    standard = NormalDist()
    outside = standard.cdf(-CUT)
    return min(max(standard.inv_cdf(outside + share * (1.0 - 2.0 * outside)), -CUT), CUT)


MULTIPLE = "x nominal"
"""Unit of what is drawn as a multiple of the boat's own figure."""


def drawn_unit(path: str) -> str:
    """Unit in which values of a spread are drawn: SI (degC for temperatures), "-" for a share and a plain number, or
    `MULTIPLE`."""
    if path in ON_THE_BOAT:
        return MULTIPLE
    field = spec_at(path)
    return field.measure.si if isinstance(field, Quantity) and field.measure is not SHARE else "-"


# --- default spreads -----------------------------------------------------------------------------------------


def _within(path: str, percent: float, source: str) -> Spread:
    return Spread(path, "uniform", 1.0 - percent / 100.0, 1.0, 1.0 + percent / 100.0, source)


def _factor(path: str, factor: float, source: str) -> Spread:
    return Spread(path, "factor", 1.0 / factor, 1.0, factor, source)


def _usual(path: str, kind: str, field: str) -> Spread:
    """As the catalogue has it for parts of a kind: evenly within as much either way, else by a factor."""
    usual = USUAL[kind][field]
    law = "uniform" if usual.high == -usual.low else "factor"
    return Spread(path, law, 1.0 + usual.low, 1.0, 1.0 + usual.high, usual.source)


_SHIPPED = "catalogue tolerance"

DEFAULT_SPREADS: tuple[Spread, ...] = (
    _usual("battery.health", "battery", "rating"),
    _within("battery.state_of_charge", 5.0, "engineering estimate: charge read from a resting voltage"),
    _usual("house.health", "battery", "rating"),
    _within("house.state_of_charge", 5.0, "engineering estimate: charge read from a resting voltage"),
    Spread("battery.temperature_law", "uniform", 1.0, 1.0, 1.0, "disagreement of the published temperature laws"),
    _usual("starter.resistance", "starter", "points"),
    _usual("starter.pull_in", "starter", "pull_in"),
    _usual("starter.hold_in", "starter", "hold_in"),
    _usual("start_circuit.relay", "relay", "coil_resistance"),
    Spread("start_circuit.relay_must_operate", "triangular", OPERATE_SHARE_LOW, OPERATE_SHARE_TYPICAL, 1.0,
           "data sheets print a maximum; lowest and typical: engineering estimate"),
    Spread("start_circuit.relay_must_release", "triangular", 1.0, 1.0, 1.0,
           "data sheets print a minimum; highest: release window of a relay to JIS D 5010"),
    _usual("start_circuit.joints", "joint", "resistance"),
    _usual("cables.positive.*.joints", "joint", "resistance"),
    _usual("cables.negative.*.joints", "joint", "resistance"),
    _usual("feed.joints", "joint", "resistance"),
    _usual("feed.return_joints", "joint", "resistance"),
    _within("feed.length", 10.0, "engineering estimate: a harness measured along the hull"),
    _factor("engine.friction_factor", 1.3, "engineering estimate: cranking friction from displacement and oil"),
    _usual("displays.*.power", "display", "power"),
    _usual("displays.*.brownout", "display", "brownout"),
    _usual("displays.*.input_capacitance", "display", "input_capacitance"),
    _usual("hold_up.capacitance", "capacitor", "capacitance"),
    _usual("hold_up.esr", "capacitor", "esr"),
    _within("hold_up.inrush_limit", 5.0, "series E24 of IEC 60063 goes with +-5 %"),
    _within("hold_up.pack_charge", 10.0, "engineering estimate: months since it was charged"),
    _usual("hold_up.pack_resistance", "pack", "resistance"),
    _usual("hold_up.cut_out", "converter", "cut_out"),
    _usual("hold_up.coil_resistance", "relay", "coil_resistance"),
    Spread("hold_up.must_operate", "triangular", OPERATE_SHARE_LOW, OPERATE_SHARE_TYPICAL, 1.0,
           "data sheets print a maximum; lowest and typical: engineering estimate"),
    Spread("hold_up.must_release", "triangular", 1.0, 1.0, 1.0,
           "data sheets print a minimum; highest: release window of a relay to JIS D 5010"),
    _usual("hold_up.joints", "joint", "resistance"),
    _factor("hold_up.diode_saturation", 3.0, "engineering estimate: +-40 mV of forward drop between specimens"),
)  # fmt: skip
"""Spreads where the user names none; those of fields that a boat does not have fall away. A star is any number. The
bands of `battery.temperature_law` and of both `must_release` come from the boat itself."""

ON_THE_BOAT: Mapping[str, Callable[[Boat, float], Boat]] = {
    "battery.temperature_law": with_temperature_law,
    "starter.resistance": with_motor_resistance,
    "start_circuit.relay_must_operate": lambda boat, factor: with_start_relay(boat, operates_at(factor)),
    "start_circuit.relay_must_release": lambda boat, factor: with_start_relay(boat, releases_at(factor)),
    "hold_up.must_operate": lambda boat, factor: with_hold_up_relay(boat, operates_at(factor)),
    "hold_up.must_release": lambda boat, factor: with_hold_up_relay(boat, releases_at(factor)),
    "hold_up.diode_saturation": with_diode_saturation,
}
"""What is not a field, or stands for a specimen behind a printed limit: multiples on the resolved boat."""


# --- fields that move together --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Tie:
    """Two fields of one specimen: where `leader` strays, `follower` moves by as much (`by` "difference") or in
    proportion ("ratio"); `floor`: a boat whose follower is below its leader is refused as input."""

    leader: str
    follower: str
    by: Literal["difference", "ratio"]
    floor: bool

    def moved(self, boat: Boat, leader: float) -> float:
        """The follower [SI] of a specimen whose leader is at a value [SI]."""
        held, own = (float(boat.values[path].value) for path in (self.follower, self.leader))
        if self.by == "ratio":
            return held * leader / own
        found = held + (leader - own)
        return max(found, leader) if self.floor else found  # equal thresholds stay equal to the last digit


TIES: tuple[Tie, ...] = (
    Tie("displays.*.brownout", "displays.*.restarts_above", "difference", floor=True),
    Tie("displays.*.power", "displays.*.boot_power", "ratio", floor=False),
    Tie("hold_up.cut_out", "hold_up.cut_in", "difference", floor=True),
    Tie("starter.pulls_in_at", "starter.drops_out_at", "ratio", floor=False),
)
"""Every pair of numbers that the input has a rule for, and a display's two powers: hysteresis stays as written, both
powers stray alike, for backlight and losses are the same in either state. A relay's operate and release are kept apart
on the boat itself (`cranksag.resolve.specimen`)."""


def ties_of(boat: Boat) -> tuple[Tie, ...]:
    """The ties between numbers that a boat has."""
    found = []
    for tie in TIES:
        pattern = re.compile(re.escape(tie.leader).replace(r"\*", "([0-9]+)"))
        for path in boat.values:
            if match := pattern.fullmatch(path):
                place = match[1] if match.groups() else ""
                found.append(dataclasses.replace(tie, leader=path, follower=tie.follower.replace("*", place)))
    return tuple(t for t in found if _applies(t.leader, boat) and _applies(t.follower, boat))


# --- spreads of one boat -------------------------------------------------------------------------------------


def spreads_of(
    boat: Boat,
    own: Sequence[Spread] = (),
    defaults: Sequence[Spread] = DEFAULT_SPREADS,
) -> tuple[Spread, ...]:
    """The spreads that apply to a boat: the user's own before the default ones.

    Parameters
    ----------
    boat : as written
    own : those of the user
    defaults : in place of `DEFAULT_SPREADS`

    Raises
    ------
    InputError
        An own spread is about something the boat does not have.
    """
    taken = {spread.path for spread in own}
    found: list[Spread] = []
    for spread in defaults:
        found += [s for s in _placed(spread, boat) if s.path not in taken and _strays(s.path, boat)]
    found = [_from_boat(s, boat) for s in found]
    if defaults:
        strays = {spread.path for spread in (*found, *own) if spread.law != "none"}
        moved = {tie.follower for tie in ties_of(boat) if tie.leader in strays}
        known = taken | moved | ON_THE_BOAT.keys() | {spread.path for spread in found}
        stated = [path for path, held in boat.values.items() if held.tolerance > 0.0 and path not in known]
        found += [_of_part(path, boat.values[path]) for path in stated if _continuous(path, boat)]
    missing = [s.path for s in own if not _applies(s.path, boat)]
    if missing:
        raise InputError([f"--tolerance {path}: this boat has no number there" for path in missing])
    found += [s for s in own if s.law != "none"]
    return tuple(s for s in found if s.high > s.low)


def _placed(spread: Spread, boat: Boat) -> list[Spread]:
    """A spread for each entry of a list."""
    if "*" not in spread.path:
        return [spread]
    pattern = re.compile(re.escape(spread.path).replace(r"\*", "([0-9]+)"))
    return [dataclasses.replace(spread, path=path) for path in boat.values if pattern.fullmatch(path)]


def _applies(path: str, boat: Boat) -> bool:
    if path == "battery.temperature_law" or path == "starter.resistance":
        return True
    if path == "hold_up.diode_saturation":
        return isinstance(boat.hold_up, StandbyPack | HouseFeed | Bank) and boat.hold_up.diode is not None
    if path.startswith("start_circuit.relay_must"):
        return boat.start.relay is not None
    if path in ("hold_up.must_operate", "hold_up.must_release"):
        return isinstance(boat.hold_up, StandbyPack) and boat.hold_up.relay is not None
    held = boat.values.get(path)
    return held is not None and isinstance(held.value, float | int) and not isinstance(held.value, bool)


def _continuous(path: str, boat: Boat) -> bool:
    """Whether a field is a number that may take any value near its own."""
    field = spec_at(path)
    return _strays(path, boat) and (isinstance(field, Quantity) or (isinstance(field, Number) and not field.whole))


def _strays(path: str, boat: Boat) -> bool:
    """Whether a default spread applies; nothing strays about a zero."""
    return _applies(path, boat) and (path not in boat.values or boat.values[path].value != 0.0)


def _of_part(path: str, held: Value) -> Spread:
    """The spread that a catalogue line states for its own figure."""
    return _within(path, 100.0 * held.tolerance, f"{_SHIPPED}: {held.source}")


def _from_boat(spread: Spread, boat: Boat) -> Spread:
    """The spread with what the boat's own parts and place say about it."""
    if spread.path == "battery.temperature_law":
        low, high = temperature_law_band(boat)
        return dataclasses.replace(spread, low=low, high=high)
    if spread.path.endswith("must_release"):
        return _release(spread, boat)
    held = boat.values.get(spread.path)
    if held is not None and held.tolerance > 0.0 and spread.path not in ON_THE_BOAT:
        return _of_part(spread.path, held)
    return spread


def _release(spread: Spread, boat: Boat) -> Spread:
    """Release of single specimens, as multiples of the typical one that the boat has."""
    names = ("hold_up.must_release", "hold_up.must_operate")
    if spread.path.startswith("start_circuit"):
        names = ("start_circuit.relay_must_release", "start_circuit.relay_must_operate")
    printed, operate = (float(boat.values[name].value) for name in names)
    found = must_release_spread(printed, must_operate_spread(operate).high)
    return dataclasses.replace(spread, low=found.low / found.typical, high=found.high / found.typical)


# --- the grammar ---------------------------------------------------------------------------------------------

_PERCENT = re.compile(r"(uniform|normal)\s+([0-9]+(?:\.[0-9]*)?)\s*%")
_FACTOR = re.compile(r"factor\s+([0-9]+(?:\.[0-9]*)?)")
_LIMITS = re.compile(r"(uniform|normal|triangular)\s+(.+)", re.DOTALL)
_GRAMMAR = "write uniform 10 %, normal 10 %, factor 2, uniform A..B, normal A..B, triangular A..M..B or none"


def parse_spread(text: str, option: str = "--tolerance") -> Spread:
    """A spread of ``PATH=SPEC``.

    Raises
    ------
    InputError
        The path or the spread cannot be read.
    """
    path, equals, spec = (part.strip() for part in text.partition("="))
    if not equals or not path:
        raise InputError([f"{option} {shown(text)}: write PATH=SPEC, such as feed.joints=factor 2"])
    if path not in ON_THE_BOAT:
        _number_at(path, option)
    source = f"{option} {spec}"
    if spec == "none":
        return Spread(path, "none", 1.0, 1.0, 1.0, source)
    if match := _PERCENT.fullmatch(spec):
        return _by_percent(path, match[1], float(match[2]), source, option)
    if match := _FACTOR.fullmatch(spec):
        factor = float(match[1])
        if not 1.0 < factor <= 100.0:
            raise InputError([f"{option} {path}: a factor must be above 1 and at most 100"])
        return _factor(path, factor, source)
    if (match := _LIMITS.fullmatch(spec)) and ".." in spec:
        return _by_limits(path, match[1], [part.strip() for part in match[2].split("..")], source, option)
    raise InputError([f"{option} {path} = {shown(spec)}: {_GRAMMAR}"])


def _number_at(path: str, option: str) -> None:
    try:
        field = spec_at(path)
    except InputError as error:
        close = nearest(path, list(ON_THE_BOAT))
        hint = f" (or did you mean {close}?)" if close else ""
        raise InputError([f"{option} {problem}{hint}" for problem in error.problems]) from None
    if not isinstance(field, Quantity | Number) or (isinstance(field, Number) and field.whole):
        raise InputError([f"{option} {path}: only a number strays, not a {field.kind}"])


def _by_percent(path: str, law: str, percent: float, source: str, option: str) -> Spread:
    if not 0.0 < percent < 100.0:
        raise InputError([f"{option} {path}: a tolerance must be above 0 % and below 100 %"])
    if law == "uniform":
        return _within(path, percent, source)
    half = COVERED * percent / 100.0
    return Spread(path, "normal", 1.0 - half, 1.0, 1.0 + half, source)


def _by_limits(path: str, law: str, parts: list[str], source: str, option: str) -> Spread:
    wanted = 3 if law == "triangular" else 2
    if len(parts) != wanted:
        raise InputError([f"{option} {path}: {_GRAMMAR}"])
    if path in ON_THE_BOAT:
        raise InputError([f"{option} {path}: strays about a figure of the boat, write percent or a factor"])
    field = spec_at(path)
    try:
        values = [field.read_text(part) for part in parts]
    except InputError as error:
        raise InputError([f"{option} {path}: {problem}" for problem in error.problems]) from None
    if any(isinstance(v, str) for v in values) or sorted(values) != values or values[0] == values[-1]:
        raise InputError([f"{option} {path}: the limits must be numbers, the lower one first"])
    middle = values[1] if wanted == 3 else 0.5 * (values[0] + values[1])
    return Spread(path, law, values[0], middle, values[-1], source, absolute=True)
