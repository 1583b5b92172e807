# SPDX-License-Identifier: GPL-3.0-or-later
"""What the crank asks of the parts: diodes' heat, contacts' and fuses' inrush, over-voltage when the key is let go.

Pure functions on traces; what they are compared with comes from the catalogue, and is None where a part is unknown.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from cranksag.catalogue import Catalogue, Entry, load_catalogue
from cranksag.circuit.timing import KeyTimes
from cranksag.errors import InputError
from cranksag.parts.contact import contact_inrush_use
from cranksag.parts.diode import DiodeCircuit, thermal_voltage
from cranksag.parts.diode_heat import SURGE_HALF_CYCLE
from cranksag.parts.fuse import melting_i2t, pulse_use
from cranksag.resolve.model import Bank, Boat, ConverterAhead, HouseFeed, NoHoldUp, Note, StandbyPack
from cranksag.verdict.fusing import fuse_front
from cranksag.verdict.results import Traces
from cranksag.verdict.series import Series, between, crossings
from cranksag.verdict.starting import CONTACT_MADE

__all__ = [
    "Stress",
    "coil_kick",
    "contact_inrush",
    "diode_heat",
    "diode_surge",
    "highest_mean",
    "pulse_i2t",
    "release_peak",
    "stress_warnings",
    "stresses",
]

HEAT_TIME = 1.0  # [s] over which a diode's loss is averaged: its leads warm within about that; engineering estimate
DIODE_RESISTANCE = 40.0  # [K/W] junction to ambient of a diode the catalogue does not know; engineering estimate
DIODE_LIMIT = 125.0  # [degC] junction limit of a diode the catalogue does not know; common practice for Schottky diodes
CONTACT_WINDOW = 0.02  # [s] after a contact closes: its inrush
DISPLAY_HIGHEST_12, DISPLAY_HIGHEST_24 = 16.0, 32.0  # [V] highest supply, codes A and E, ISO 16750-2 (table of codes)
KICK_LIMIT = 100.0  # [V] on a wire shared with electronics; ISO 7637-2 pulse 1 on 12 V, from memory
SPLIT_VOLTAGE = 18.0  # [V] nominal between 12 V and 24 V systems


@dataclass(frozen=True, slots=True)
class Stress:
    """One stress: `value` of a `quantity` of a `part` in `unit`, and its `limit` (None if not known)."""

    part: str
    quantity: str
    value: float
    limit: float | None
    unit: str

    @property
    def exceeded(self) -> bool:
        """Whether the value lies above its limit."""
        return self.limit is not None and self.value > self.limit


def highest_mean(time: Series, values: Series, duration: float) -> float:
    """Highest mean over any stretch of `duration`, or over all if that is shorter; exact on trapezoids.

    Parameters: time (n,) [s]; values (n,); duration [s]. Returns: in the unit of the values.
    """
    total = np.concatenate(([0.0], np.cumsum(0.5 * np.diff(time) * (values[1:] + values[:-1]))))
    length = min(duration, float(time[-1] - time[0]))
    if length <= 0.0:
        return float(values[-1])
    ends = np.concatenate((time, time + length))
    ends = ends[(ends >= time[0] + length) & (ends <= time[-1])]
    ends = ends if ends.size else time[-1:]
    return float(np.max(np.interp(ends, time, total) - np.interp(ends - length, time, total)) / length)


def diode_heat(
    diode: DiodeCircuit, time: Series, current: Series, thermal_resistance: float
) -> tuple[float, float, float]:
    """Worst current, loss and junction temperature of a conducting diode.

    P = I (N Vt ln(1 + I / IS) + I RS), averaged over the worst `HEAT_TIME`; Tj = Ta + Rth P. The forward voltage is
    that of the cool junction, which falls as it warms: the answer is on the safe side.

    Parameters
    ----------
    diode : at ambient temperature
    time, current : forward current (n,) [s], [A]; what is negative does not count
    thermal_resistance : junction to ambient [K/W]

    Returns
    -------
    highest mean current [A], loss [W], junction temperature [degC]
    """
    forward = np.maximum(current, 0.0)
    scale = diode.emission * thermal_voltage(diode.temperature)
    loss = forward * (scale * np.log1p(forward / diode.saturation_current) + forward * diode.series_resistance)
    power = highest_mean(time, loss, HEAT_TIME)
    return highest_mean(time, forward, HEAT_TIME), power, diode.temperature + thermal_resistance * power


def diode_surge(time: Series, current: Series) -> float:
    """Peak of the half sine of `SURGE_HALF_CYCLE` that heats a diode's chip as its worst surge does [A].

    sqrt(2 mean of i2) over the worst such stretch, for a half sine of peak I has I2 t / 2: what data sheets rate.

    Parameters: time [s], forward current [A] (n,); what is negative does not count.
    """
    squared = np.maximum(current, 0.0) ** 2
    span = float(time[-1] - time[0])
    worst = highest_mean(time, squared, SURGE_HALF_CYCLE) * min(1.0, span / SURGE_HALF_CYCLE)
    return math.sqrt(2.0 * max(worst, 0.0))


def pulse_i2t(time: Series, current: Series, rating: float) -> float:
    """I2t of the part of a current above a fuse's rating, which is what melts it [A2 s].

    Parameters: time [s], current [A] (n,); rating [A]. Returns: largest single pulse [A2 s].
    """
    over = np.where(np.abs(current) > rating, current**2, 0.0)
    steps = 0.5 * np.diff(time) * (over[1:] + over[:-1])
    worst = total = 0.0
    for step in steps:
        total = total + float(step) if step > 0.0 else 0.0
        worst = max(worst, total)
    return worst


def contact_inrush(time: Series, position: Series, current: Series) -> float | None:
    """Highest current through a contact just after it closes [A]; None if it never closes.

    Parameters: time [s], armature position [-], current [A] (n,).
    """
    peaks = [
        float(np.abs(between(time, current, float(t), min(float(t) + CONTACT_WINDOW, float(time[-1])))[1]).max())
        for t in crossings(time, position, CONTACT_MADE, rising=True)
    ]
    return max(peaks, default=None)


def release_peak(traces: Traces, times: KeyTimes) -> float:
    """Highest voltage across the display's pins from the first release of the key to the end [V]."""
    release = times.releases[0] - times.key_on
    return float(between(traces.time, traces.signals["display"], release, float(traces.time[-1]))[1].max())


def coil_kick(traces: Traces, times: KeyTimes) -> float:
    """Largest reverse voltage on the start signal, or across the hold-up relay's coil, after the key is let go [V].

    Nothing across the coil lets it rise to hundreds of volts; a diode across it keeps it under a volt.
    """
    release, signals = times.releases[0] - times.key_on - 1e-3, traces.signals
    # the block itself jumps when the solenoid's current breaks: it is no part of a kick
    across = [signals["start_signal"] - signals["block"], *(signals[n] for n in ("relay_coil",) if n in signals)]
    lows = [float(between(traces.time, volts, release, float(traces.time[-1]))[1].min()) for volts in across]
    return max(0.0, -min(lows))


def stresses(boat: Boat, traces: Traces, times: KeyTimes, catalogue: Catalogue | None = None) -> tuple[Stress, ...]:
    """Every stress of a run beside its limit.

    Parameters
    ----------
    boat, traces, times : of one run
    catalogue : whose limits count; the shipped one by default

    Returns
    -------
    tuple of Stress
    """
    parts = catalogue or load_catalogue()
    return (
        *_diodes(boat, traces, parts),
        *_contact(boat, traces, parts),
        *_fuses(boat, traces),
        *_release(boat, traces, times),
    )


def stress_warnings(
    boat: Boat, traces: Traces, times: KeyTimes, catalogue: Catalogue | None = None
) -> tuple[Note, ...]:
    """A warning for each stress above its limit."""
    found = (s for s in stresses(boat, traces, times, catalogue) if s.exceeded)
    return tuple(_WARNINGS[s.quantity](s) for s in found)


_WARNINGS: dict[str, Callable[[Stress], Note]] = {
    "current": lambda s: Note(
        "diode_overloaded", f"the {s.part} carries {s.value:.1f} A of its {s.limit:g} A: fit a larger one"
    ),
    "junction temperature": lambda s: Note(
        "diode_hot",
        f"the {s.part} reaches {s.value:.0f} degC at its junction, {s.limit:.0f} degC is its limit: fit a larger one",
    ),
    "surge": lambda s: Note(
        "diode_surge",
        f"the {s.part} takes a surge that heats it as a half sine of {s.value:.0f} A and 8.3 ms does, its data sheet "
        f"allows {s.limit:g} A now and then: it fails short one day; limit the inrush or fit a larger one",
    ),
    "contact inrush": lambda s: Note(
        "contact_inrush",
        f"the {s.part} closes on {s.value:.0f} A and may close on {s.limit:g} A: it can weld; limit the inrush",
    ),
    "inrush I2t": lambda s: Note(
        "fuse_opens_on_inrush",
        f"the inrush of {s.value:.3g} A2s can melt the {s.part} ({s.limit:.3g} A2s): slower fuse, or limit the inrush",
    ),
    "overload": lambda s: Note(
        "fuse_opens_on_inrush",
        f"{s.value:.3g} A flow through the {s.part} of {s.limit:g} A for long enough to open it: "
        "slower fuse, or limit the current",
    ),
    "inrush I2t, repeated": lambda s: Note(
        "fuse_ages_on_inrush",
        f"the inrush uses {s.value:.1f} times what the {s.part} stands again and again: it opens one day",
    ),
    "voltage at release": lambda s: Note(
        "release_over_voltage",
        f"{s.value:.1f} V across the {s.part} when the key is let go, {s.limit:g} V is what such devices stand",
    ),
    "coil kick": lambda s: Note(
        "coil_kick",
        f"a coil on the {s.part} kicks back {s.value:.0f} V when the key is let go: suppress it at the coil",
    ),
}


def _entry(parts: Catalogue, boat: Boat, kind: str, path: str) -> Entry | None:
    value = boat.values.get(path)
    if value is None or not isinstance(value.value, str) or value.value == "none":
        return None
    try:
        return parts.find(kind, value.value)
    except InputError:
        return None


def _figure(entry: Entry | None, name: str) -> float | None:
    return float(entry.value(name)) if entry is not None and name in entry.values else None


def _diodes(boat: Boat, traces: Traces, parts: Catalogue) -> Iterator[Stress]:
    for part, path, diode, current in _diode_currents(boat, traces):
        entry = _entry(parts, boat, "diode", path)
        resistance = _figure(entry, "thermal_resistance") or DIODE_RESISTANCE
        worst, loss, junction = diode_heat(diode, traces.time, current, resistance)
        yield Stress(part, "current", worst, _figure(entry, "rated_current"), "A")
        yield Stress(part, "surge", diode_surge(traces.time, current), _figure(entry, "surge_current"), "A")
        yield Stress(part, "dissipation", loss, None, "W")
        yield Stress(part, "junction temperature", junction, _figure(entry, "junction_limit") or DIODE_LIMIT, "degC")


def _diode_currents(boat: Boat, traces: Traces) -> Iterator[tuple[str, str, DiodeCircuit, Series]]:
    hold, signals = boat.hold_up, traces.signals
    if isinstance(hold, (StandbyPack, HouseFeed)):
        name = "pack diode" if isinstance(hold, StandbyPack) else "house diode"
        yield name, "hold_up.diode", hold.diode, signals["hold_up_current"]
        if hold.feed_diode is not None:
            yield "feed diode", "hold_up.feed_diode", hold.feed_diode, signals["normal_feed_current"]
    elif isinstance(hold, Bank):
        if hold.diode is not None:
            yield "feed diode", "hold_up.diode", hold.diode, signals["normal_feed_current"]
        if hold.discharge_diode is not None:
            yield "discharge diode", "hold_up.discharge_diode", hold.discharge_diode, -signals["hold_up_current"]


def _contact(boat: Boat, traces: Traces, parts: Catalogue) -> Iterator[Stress]:
    hold = boat.hold_up
    if not isinstance(hold, StandbyPack) or hold.relay is None:
        return
    peak = contact_inrush(traces.time, traces.signals["relay_position"], traces.signals["hold_up_current"])
    if peak is None:
        return
    making = _figure(_entry(parts, boat, "relay", "hold_up.relay"), "making_current")
    yield Stress("hold-up relay", "contact inrush", peak, making, "A")
    if making is not None:
        yield Stress("hold-up relay", "contact inrush, share", contact_inrush_use(peak, making), None, "-")


def _fuses(boat: Boat, traces: Traces) -> Iterator[Stress]:
    rated, hold = boat.values.get("feed.fuse"), boat.hold_up
    found = [("display feed fuse", boat.feed.fuse_type, rated.value if rated is not None else None, "feed_current")]
    if isinstance(hold, ConverterAhead):
        found.append(("converter fuse", hold.fuse_type, hold.fuse_rating, "converter_fuse_current"))
    elif not isinstance(hold, NoHoldUp):
        signal = "pack_current" if isinstance(hold, StandbyPack) else "hold_up_current"
        found.append(("hold-up fuse", hold.fuse_type, hold.fuse_rating, signal))
    for part, fuse, rating, name in found:
        if not isinstance(rating, float) or name not in traces.signals:
            continue
        time, current, lowest = traces.time, traces.signals[name], melting_i2t(fuse, rating)[0]
        over = np.where(np.abs(current) > rating, current**2, 0.0)
        # in anything longer heat leaves: that is no pulse, and the band judges it
        window = min(fuse.band[-1][1], float(time[-1] - time[0]))
        pulse = highest_mean(time, over, window) * window
        yield Stress(part, "inrush I2t", pulse, lowest, "A2s")
        yield Stress(part, "inrush I2t, repeated", pulse_use(fuse, rating, pulse), 1.0, "-")
        front = fuse_front(time, current, fuse, rating)
        if front is not None and pulse <= lowest:
            yield Stress(part, "overload", front.current, rating, "A")


def _release(boat: Boat, traces: Traces, times: KeyTimes) -> Iterator[Stress]:
    usual = DISPLAY_HIGHEST_24 if boat.nominal_voltage > SPLIT_VOLTAGE else DISPLAY_HIGHEST_12
    plates = [boat.values[f"{display.path}.maximum_supply"].value for display in boat.displays]
    highest = min([usual, *(plate for plate in plates if isinstance(plate, float))])
    yield Stress("display pins", "voltage at release", release_peak(traces, times), highest, "V")
    kick = coil_kick(traces, times)
    # the bare coil of a start relay is the boat's own affair until something is added to its wire
    if math.isfinite(kick) and isinstance(boat.hold_up, StandbyPack):
        yield Stress("start signal", "coil kick", kick, KICK_LIMIT, "V")
