# SPDX-License-Identifier: GPL-3.0-or-later
"""What every vector of a run can physically reach, worked out from the boat: a run outside it is refused.

The bounds follow from the sources' voltages, the resistances that limit currents, and the energy that coils hold;
they are wide (a factor and a few volts) but finite, so that a numerical runaway of kilovolts is seen.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from cranksag.resolve.model import Bank, Boat, ConverterAhead, StandbyPack

SLACK_VOLTAGE = 3.0  # [V] on node voltages, for ringing and ground shift
SLACK_CURRENT = 1.5  # [-] on currents
CABLE_DAMPING = 0.5  # [ohm] across each cable inductance of the netlist
CORE_DAMPING = 10.0  # [ohm] across each solenoid winding of the netlist
SPEED_SLACK = 1.3  # [-] on speeds
SUPPLY_NODES = re.compile(r"v\((bat|sw|stud|pos\d+|f0|g0|keyin|keyin2|feed|fd|panel|house|x\w+\.(m|e0|di))\)")


def envelope(boat: Boat, vectors: Sequence[str]) -> dict[str, tuple[float, float]]:
    """Lowest and highest possible value of each vector [V, A, rad/s, or a state of 0..1]."""
    limits = _Limits(boat)
    return {vector: limits.of(vector) for vector in vectors}


class _Limits:
    """Bounds of one boat; each attribute in SI."""

    def __init__(self, boat: Boat) -> None:
        sources = [boat.battery.open_circuit_voltage, boat.alternator.charge_voltage]
        resistance = [boat.battery.resistance_instant]
        if boat.house is not None:
            sources.append(boat.house.open_circuit_voltage)
            resistance.append(boat.house.resistance_instant)
        hold = boat.hold_up
        if isinstance(hold, StandbyPack):
            sources.append(hold.pack.open_circuit_voltage)
        display = max(sources)
        if isinstance(hold, ConverterAhead):
            display = max(display, hold.converter.output_voltage)
        self.top = max(sources) + SLACK_VOLTAGE
        self.display_top = display + SLACK_VOLTAGE
        short = sum(boat.battery.open_circuit_voltage / r for r in resistance) + boat.alternator.rating
        self.starter = SLACK_CURRENT * short
        coils = self.top / boat.solenoid.pull_in + self.top / boat.solenoid.hold_in
        cables = len(boat.positive) + len(boat.negative)
        # chopping the solenoid's current at its feeding contact
        self.spike = coils * CABLE_DAMPING * cables
        self.coil_kick = self.top + coils * CORE_DAMPING
        self.feed = self.feed_current(boat)
        free = boat.motor.field_constant_residual if boat.motor.field_constant_residual > 1e-4 else 1e-4
        self.motor_speed = SPEED_SLACK * max(self.top / free, boat.gear_ratio * boat.idle_speed)
        self.engine_speed = SPEED_SLACK * max(self.motor_speed / boat.gear_ratio, boat.idle_speed)
        self.relay_kick = self.top
        relays = [boat.start.relay, hold.relay if isinstance(hold, StandbyPack) else None]
        for relay in relays:
            if relay is not None:
                kick = self.top / relay.coil_resistance * relay.damping_resistance
                self.relay_kick = max(self.relay_kick, self.top + 1.1 * kick)
        self.angle = self.engine_speed * (boat.crank.key_held + boat.crank.after) * boat.crank.attempts + 10.0

    def feed_current(self, boat: Boat) -> float:
        """Charging the displays' input capacitors and any bank through the harness, plus the start circuit [A]."""
        harness = boat.feed.resistance + boat.feed.joints + boat.feed.return_resistance + boat.feed.return_joints
        hold = boat.hold_up
        leg = 1e-2
        if isinstance(hold, Bank) and hold.inrush_limit:
            leg = hold.inrush_limit
        coils = self.top * (1.0 / boat.solenoid.pull_in + 1.0 / boat.solenoid.hold_in)
        return SLACK_CURRENT * (self.top / max(harness, 5e-3) + self.top / leg + coils)

    def of(self, vector: str) -> tuple[float, float]:
        """Bounds of one vector."""
        for pattern, bounds in self._table():
            if re.fullmatch(pattern, vector):
                return bounds
        if vector.startswith("i("):
            return -self.starter - self.feed, self.starter + self.feed
        return -self.spike - SLACK_VOLTAGE - self.coil_kick, self.top + self.spike + self.coil_kick

    def _table(self) -> list[tuple[str, tuple[float, float]]]:
        low = -SLACK_VOLTAGE - self.spike
        return [
            (
                r"v\((ds|cv|hd|pk|cb|cp|dr|xreturn\.m|rt|xdisplay\d+\.di)\)",
                (low, self.display_top + self.spike),
            ),
            (r"v\((on\d+|onc|fi|xdisplay\d+\.done)\)", (-0.1, 1.1)),
            (r"v\((xso|xsr|xhr)\)", (-100.0, 1100.0)),
            (r"v\(w\)", (-self.motor_speed, self.motor_speed)),
            (r"v\((we|xengine\.wa)\)", (-self.engine_speed, self.engine_speed)),
            (r"v\(th\)", (-10.0, self.angle)),
            (
                r"v\((s|s0|mot|sig|keyst|kn|xstartwire\.m|coil)\)",
                (-self.coil_kick - self.relay_kick, self.coil_kick + self.relay_kick),
            ),
            (r"v\(cf\)", (low, self.top + self.spike)),
            (r"i\(vmot\)", (-self.starter, self.starter)),
            (r"i\(v\.xbattery\.voc\)", (-self.starter, self.starter)),
            (r"i\((vtap|vreturn|vfd|vhold|vfuse|v\.xdisplay\d+\.vp)\)", (-self.feed, self.feed)),
            (SUPPLY_NODES.pattern, (low, self.top + self.spike)),
        ]
