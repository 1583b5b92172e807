# SPDX-License-Identifier: GPL-3.0-or-later
"""A starting profile as a pure function of time: straight lines between corners, and sine windows on top of them.

    u(t) = line(t) + sum over windows of gate(t) * amplitude * sin(2 pi frequency (t - begin))

`line` runs straight from corner to corner and stays at its first and last value outside them; `gate` is 1 within the
window and comes and goes in a straight line over `EDGE`. Time 0 is where the voltage leaves its resting value.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from cranksag.errors import InputError
from cranksag.quantities import nearest, shown

Array = npt.NDArray[np.float64]
Provenance = Literal["published", "published in part", "published (summary)", "memory", "user"]

EDGE: Final = 1e-4  # [s] a step of a profile: no source is faster, and published steps allow up to 1 ms (from memory)
DEPARTURE: Final = 0.02  # [-] of the resting voltage: further below it a user's profile counts as cranking


@dataclass(frozen=True, slots=True)
class Ripple:
    """A sine window from `begin` to `end` [s] of `amplitude` (half of peak to peak) [V] and `frequency` [Hz]."""

    begin: float
    end: float
    amplitude: float
    frequency: float


@dataclass(frozen=True, slots=True)
class Level:
    """One severity level of a profile.

    `corners`: (time [s], voltage [V]) of the straight lines, the first at time 0; `ripples`: sine windows;
    `crank`: (begin, end) [s] of the part in which the engine is cranked; `source_resistance` [ohm], 0 where none is
    published; `provenance`: how its figures are known, and `source` which document they belong to; `note`: what
    is missing or was decided here.
    """

    name: str
    corners: tuple[tuple[float, float], ...]
    ripples: tuple[Ripple, ...]
    crank: tuple[float, float]
    source_resistance: float
    provenance: Provenance
    source: str
    note: str = ""

    @property
    def rest(self) -> float:
        """Voltage before the profile begins [V]."""
        return self.corners[0][1]

    @property
    def duration(self) -> float:
        """Time from leaving the resting voltage to the last corner [s]."""
        return self.corners[-1][0]

    @property
    def highest(self) -> float:
        """A voltage it never exceeds [V]."""
        return max(v for _, v in self.corners) + sum(r.amplitude for r in self.ripples)


@dataclass(frozen=True, slots=True)
class Profile:
    """Levels of one document; `nominal_voltage` [V] of the boats it is meant for, None for a user's own."""

    name: str
    title: str
    nominal_voltage: float | None
    levels: tuple[Level, ...]

    def level(self, name: str) -> Level:
        """The level of a name.

        Raises
        ------
        InputError : there is none; the nearest and all names are listed.
        """
        for level in self.levels:
            if level.name.lower() == name.strip().lower():
                return level
        names = [level.name for level in self.levels]
        near = nearest(name, names)
        hint = f'did you mean "{near}"? ' if near else ""
        raise InputError([f"{self.name} has no level {shown(name)} ({hint}its levels: {', '.join(names)})"])


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a profile as it is written: to the voltage `to` [V] (None: hold) within `duration` [s], with a sine
    of `ripple` [V] from peak to peak and `frequency` [Hz] while holding."""

    to: float | None
    duration: float
    ripple: float = 0.0
    frequency: float = 0.0


def assemble(rest: float, steps: Sequence[Step]) -> tuple[tuple[tuple[float, float], ...], tuple[Ripple, ...]]:
    """Corners and sine windows of a profile that starts at `rest` [V] and takes `steps` one after the other.

    A hold after which the line goes on elsewhere needs no care: each step starts from the last corner's voltage. A sine
    that does not end on its centre jumps back to it within `EDGE`, as its gate closes.
    """
    time, volts = 0.0, rest
    corners, ripples = [(0.0, rest)], []
    for step in steps:
        end = time + step.duration
        if step.to is None and step.ripple > 0.0:
            ripples.append(Ripple(time, end, 0.5 * step.ripple, step.frequency))
        volts = volts if step.to is None else step.to
        corners.append((end, volts))
        time = end
    return tuple(corners), tuple(ripples)


def crank_window(corners: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """The part of a profile of straight lines in which the engine is cranked [s].

    From the first to the last moment at which it lies more than `DEPARTURE` under its resting voltage; the whole
    profile where it never does.
    """
    times = np.array([t for t, _ in corners])
    volts = np.array([v for _, v in corners])
    level = (1.0 - DEPARTURE) * float(volts[0])
    under = np.flatnonzero(volts < level)
    if not under.size:
        return float(times[0]), float(times[-1])
    first, last = int(under[0]), int(under[-1])
    begin = _between(corners[first - 1], corners[first], level) if first else float(times[0])
    end = _between(corners[last], corners[last + 1], level) if last + 1 < len(times) else float(times[-1])
    return begin, end


def _between(a: tuple[float, float], b: tuple[float, float], level: float) -> float:
    return a[0] + (b[0] - a[0]) * (level - a[1]) / (b[1] - a[1])


def gate(ripple: Ripple, time: Array) -> Array:
    """1 within the sine window, 0 outside, straight over `EDGE` [-]; `time` (n,) [s]."""
    points = (ripple.begin - EDGE, ripple.begin, ripple.end, ripple.end + EDGE)
    return np.asarray(np.interp(time, points, (0.0, 1.0, 1.0, 0.0)))


def level_voltage(level: Level, time: npt.ArrayLike) -> Array:
    """Source voltage of a level.

    Parameters
    ----------
    level : one level.
    time : moments [s], any shape; 0 is where the voltage leaves its resting value.

    Returns
    -------
    ndarray [V] of the shape of `time`.
    """
    t = np.asarray(time, dtype=np.float64)
    moments, volts = zip(*level.corners, strict=True)
    total = np.interp(t, moments, volts)
    for ripple in level.ripples:
        phase = 2.0 * math.pi * ripple.frequency * (t - ripple.begin)
        total = total + gate(ripple, t) * ripple.amplitude * np.sin(phase)
    return np.asarray(total)


def waveform(profile: Profile, level: str, time: npt.ArrayLike) -> Array:
    """Source voltage [V] of a profile's level at moments `time` [s] from where it leaves its resting voltage.

    Raises
    ------
    InputError : the profile has no such level.
    """
    return level_voltage(profile.level(level), time)


def one_level(name: str, corners: Iterable[tuple[float, float]], source: str) -> Profile:
    """A user's own profile of straight lines; its crank part is found by `crank_window`."""
    points = tuple(corners)
    first = points[0][0]
    shifted = tuple((t - first, v) for t, v in points)
    level = Level("own", shifted, (), crank_window(shifted), 0.0, "user", source)
    return Profile(name, source, None, (level,))
