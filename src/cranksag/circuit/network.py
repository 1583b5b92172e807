# SPDX-License-Identifier: GPL-3.0-or-later
"""The deck under construction: instance lines, and beside them the same network at rest.

Every line that conducts with the key off is entered twice by one call: as netlist text and as an element of a small
resistive network. Its solution gives the initial conditions, so that the run starts from the boat at rest and not
from an operating point the simulator would have to guess. ngspice checks it: the pre-roll must stay still.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from cranksag.circuit.netlists import Netlist, Subcircuit
from cranksag.errors import DeckError

THERMAL_VOLTAGE_DECK = 0.02586483  # [V] k T / q at the deck's 300.15 K (27 degC), ngspice's default temperature
DECK_TEMPERATURE = 300.15  # [K]
GROUND = "0"
LEAST_RESISTANCE = 1e-6  # [ohm] ngspice reads a resistor of 0 ohm as one of 1 mohm
RESISTANCES = ("wire", "joint", "cable")
REST_STEPS = 500  # [-] each moves a node by 0.3 V at most
REST_TOLERANCE = 1e-7  # [V] last Newton step of the rest state


@dataclass(frozen=True, slots=True)
class RestElement:
    """A conducting element at rest between nodes `a` and `b`.

    kind "r": `value` [ohm]; "e": source of `value` [V] behind `extra` [ohm], `a` positive, and with a `knee` [A] behind
    charge transfer of `series` [V] as well: v = series asinh(i / knee);
    "d": diode with saturation current `value` [A], emission-scaled voltage `extra` [V], series `series` [ohm];
    "p": constant power `value` [W] above `extra` [V].
    """

    kind: str
    name: str
    a: str
    b: str
    value: float
    extra: float = 0.0
    series: float = 0.0
    knee: float = 0.0


@dataclass(slots=True)
class Builder:
    """Collects the lines of each block and the network at rest."""

    netlist: Netlist
    blocks: dict[str, list[str]] = field(default_factory=dict)
    rest: list[RestElement] = field(default_factory=list)
    used: set[str] = field(default_factory=set)

    def line(self, block: str, text: str) -> None:
        """A netlist line as it stands."""
        self.blocks.setdefault(block, []).append(text)

    def instance(self, block: str, name: str, nodes: tuple[str, ...], part: str, **values: float) -> None:
        """An instance of a subcircuit; unknown parameters or a wrong number of nodes are refused.

        Raises
        ------
        DeckError
            The netlist has no such part, port or parameter.
        """
        subcircuit = self.netlist.subcircuits.get(part)
        if subcircuit is None:
            raise DeckError(f"circuits/ has no subcircuit {part}")
        unknown = [key for key in values if key not in subcircuit.defaults]
        if unknown or len(nodes) != len(subcircuit.ports):
            raise DeckError(f"subcircuit {part}: unknown parameters {unknown} or {len(nodes)} nodes")
        self._use(subcircuit)
        if part in RESISTANCES:
            values |= {key: max(values[key], LEAST_RESISTANCE) for key in ("r", "rj") if key in values}
        numbers = " ".join(f"{key}={_number(value)}" for key, value in values.items())
        self.line(block, f"X{name} {' '.join(nodes)} {part} {numbers}")

    def _use(self, subcircuit: Subcircuit) -> None:
        if subcircuit.name in self.used:
            return
        self.used.add(subcircuit.name)
        for inner in subcircuit.uses:
            self._use(self.netlist.subcircuits[inner])

    def at_rest(
        self,
        kind: str,
        name: str,
        a: str,
        b: str,
        value: float,
        extra: float = 0.0,
        series: float = 0.0,
        knee: float = 0.0,
    ) -> None:
        """Enter an element of the network at rest."""
        least = LEAST_RESISTANCE if kind == "r" else value
        self.rest.append(RestElement(kind, name, a, b, max(value, least), extra, series, knee))

    def text(self, placed: tuple[str, ...]) -> str:
        """The deck's lines: used subcircuits, then the top circuit with its blocks replaced.

        `placed`: blocks whose defaults are dropped even when nothing was written for them.
        """
        parts = [self.netlist.subcircuits[name].text for name in self.netlist.subcircuits if name in self.used]
        body: list[str] = []
        known = {name for name, _ in self.netlist.pieces}
        missing = [block for block in self.blocks if block not in known]
        if missing:
            raise DeckError(f"circuits/ has no block {missing}")
        for name, text in self.netlist.pieces:
            if not name:
                body += [line for line in text.splitlines() if line.strip() and not line.startswith("*")]
            elif name in self.blocks:
                body += self.blocks[name]
            elif name not in placed:
                body += text.splitlines()
        return "\n".join([*parts, *body])


def _number(value: float) -> str:
    if not math.isfinite(value):
        raise DeckError(f"a deck parameter is not a number: {value}")
    return repr(float(value))


def solve_rest(elements: list[RestElement]) -> tuple[dict[str, float], dict[str, float]]:
    """Node voltages [V] and element currents [A] (from a to b) of the network at rest, by Newton's method.

    Nodes without a source come out at 0 V.

    Raises
    ------
    DeckError
        No convergence: the scenario at rest makes no sense.
    """
    nodes = sorted({n for e in elements for n in (e.a, e.b)} - {GROUND})
    index = {node: k for k, node in enumerate(nodes)}
    start = max((e.value for e in elements if e.kind == "e"), default=0.0)
    live = _live(elements)
    voltage = np.array([start if node in live else 0.0 for node in nodes])
    leak = np.eye(len(nodes)) * 1e-12
    for _ in range(REST_STEPS):
        matrix, residual = leak.copy(), leak @ voltage
        for element in elements:
            current, slope = _current(element, _across(element, voltage, index))
            for node, sign in ((element.a, 1.0), (element.b, -1.0)):
                if node == GROUND:
                    continue
                residual[index[node]] += sign * current
                for other, way in ((element.a, 1.0), (element.b, -1.0)):
                    if other != GROUND:
                        matrix[index[node], index[other]] += sign * way * slope
        step = np.linalg.solve(matrix, -residual)
        largest = float(np.max(np.abs(step), initial=0.0))
        voltage = voltage + step * min(1.0, 0.3 / largest if largest > 0.3 else 1.0)
        if largest < REST_TOLERANCE:
            break
    else:
        raise DeckError("the boat at rest has no steady state: check the feed point and the hold-up branch")
    volts = {node: float(voltage[k]) for node, k in index.items()} | {GROUND: 0.0}
    amperes = {e.name: _current(e, _across(e, voltage, index))[0] for e in elements}
    return volts, amperes


def _live(elements: list[RestElement]) -> set[str]:
    live: set[str] = {n for e in elements if e.kind == "e" for n in (e.a,)}
    for _ in elements:
        live |= {n for e in elements if e.kind in "rd" and {e.a, e.b} & live for n in (e.a, e.b)} - {GROUND}
    return live


def _across(element: RestElement, voltage: np.ndarray, index: Mapping[str, int]) -> float:
    high = 0.0 if element.a == GROUND else float(voltage[index[element.a]])
    low = 0.0 if element.b == GROUND else float(voltage[index[element.b]])
    return high - low


def _current(element: RestElement, across: float) -> tuple[float, float]:
    """Current from a to b and its slope [A, S]."""
    if element.kind == "r":
        return across / element.value, 1.0 / element.value
    if element.kind == "e" and element.knee:
        return _transfer(across - element.value, element.extra, element.series, element.knee)
    if element.kind == "e":
        return (across - element.value) / element.extra, 1.0 / element.extra
    if element.kind == "p":
        # a slope of 0 instead of -P/V^2: with every diode still blocking, that would be the only slope at the node and
        # drive it upwards for ever
        return element.value / max(across, element.extra), 0.0
    return _diode(across, element.value, element.extra, element.series)


def _transfer(drop: float, ohm: float, scale: float, knee: float) -> tuple[float, float]:
    """Current and slope of a resistance in series with v = scale asinh(i / knee), by Newton on the current."""
    current = drop / (ohm + scale / knee)
    for _ in range(60):
        error = ohm * current + scale * math.asinh(current / knee) - drop
        change = error / (ohm + scale / math.hypot(current, knee))
        current -= change
        if abs(change) <= 1e-14 * abs(current):
            break
    return current, 1.0 / (ohm + scale / math.hypot(current, knee))


def _diode(across: float, saturation: float, scale: float, series: float) -> tuple[float, float]:
    """Current and slope of a diode behind its series resistance, solved by Newton on the junction voltage."""
    if across <= 0.0:
        slope = saturation / scale * math.exp(max(across / scale, -50.0)) + 1e-12
        return saturation * math.expm1(max(across / scale, -50.0)) + 1e-12 * across, slope
    junction = min(across, scale * math.log1p(across / max(series, 1e-4) / saturation))
    for _ in range(60):
        current = saturation * math.expm1(junction / scale)
        slope = saturation / scale * math.exp(junction / scale)
        change = (across - junction - series * current) / (1.0 + series * slope)
        junction += change
        if abs(change) < 1e-12:
            break
    conductance = saturation / scale * math.exp(junction / scale)
    return saturation * math.expm1(junction / scale), conductance / (1.0 + series * conductance)
