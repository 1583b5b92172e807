# SPDX-License-Identifier: GPL-3.0-or-later
"""The resistive network between the states: linear branches, contacts, ideal capacitors and nonlinear ports.

Unknowns y: node voltages and the currents of ideal capacitors. Kirchhoff's current law at every node,

    G(contacts) y + P f(v) = B x + b,   v = P' y,

x the states, f the port currents. The linear part is inverted once for each position of the contacts; Newton's method
then runs on the few port voltages alone. A share g0 of every port is kept in G so that G is never singular.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.linalg.lapack import dgesv

Array = np.ndarray
PortLaw = Callable[[float, Sequence[float]], tuple[float, float]]
OPEN = 1e-9  # [S] open contact
LEAK = 1e-10  # [S] every node to ground, against floating pieces
CONVERGED, STALLED = 1e-13, 1e-9  # [V] last step or error of Newton's method; rounding may stop it between the two


@dataclass(slots=True)
class Branch:
    """Current from a to b: conductance (v_a - v_b) + sum of factors times states + constant; a contact if `contact`."""

    a: str
    b: str
    conductance: float
    factors: Mapping[str, float] = field(default_factory=dict)
    constant: float = 0.0
    contact: str = ""


@dataclass(slots=True)
class Port:
    """Nonlinear branch from a to b: `law`(v, x) gives current and slope; `share` [S] is kept in the linear part."""

    a: str
    b: str
    law: PortLaw
    share: float = 0.0


class Network:
    """Collects elements by name; `aliases` join nodes."""

    def __init__(self) -> None:
        self.branches: dict[str, Branch] = {}
        self.ports: dict[str, Port] = {}
        self.ideal: dict[str, tuple[str, str]] = {}
        self.aliases: dict[str, str] = {}

    def resistor(self, name: str, a: str, b: str, ohm: float, contact: str = "") -> None:
        """A resistance [ohm], or a contact of that resistance when `contact` names what closes it."""
        self.branches[name] = Branch(a, b, 1.0 / ohm, contact=contact)

    def winding(self, name: str, a: str, b: str, ohm: float, damping: float, state: str) -> None:
        """R in series with L || Rd, the current of L a state: i = (v + Rd iL) / (R + Rd)."""
        total = ohm + damping
        self.branches[name] = Branch(a, b, 1.0 / total, {state: damping / total})

    def source(self, name: str, p: str, n: str, ohm: float, states: Mapping[str, float], emf: float) -> None:
        """EMF plus the sum of factors times states behind a resistance: i (p to n) = (v - emf) / R."""
        self.branches[name] = Branch(p, n, 1.0 / ohm, {k: -v / ohm for k, v in states.items()}, -emf / ohm)

    def port(self, name: str, a: str, b: str, law: PortLaw, share: float = 0.0) -> None:
        """A nonlinear branch."""
        self.ports[name] = Port(a, b, law, share)


def precise_inverse(matrix: Array) -> Array:
    """Inverse by Gauss-Jordan elimination in extended precision.

    An open contact beside a capacitor's 0.1 milliohm leaves a condition of 1e13; in double precision its rounding
    errors would be noise on that capacitor's current.
    """
    count = len(matrix)
    work = np.hstack([matrix, np.eye(count)]).astype(np.longdouble)
    for k in range(count):
        pivot = k + int(np.argmax(np.abs(work[k:, k])))
        work[[k, pivot]] = work[[pivot, k]]
        work[k] /= work[k, k]
        others = np.arange(count) != k
        work[others] -= np.outer(work[others, k], work[k])
    return work[:, count:].astype(np.float64)


class Solver:
    """The network made ready for a state layout. `calls` counts solutions."""

    def __init__(self, network: Network, states: Mapping[str, int]) -> None:
        self.network, self.states = network, states
        self.names = list(network.branches)
        self.port_names = list(network.ports)
        self.laws = [p.law for p in network.ports.values()]
        nodes = {self._name(n) for e in [*network.branches.values(), *network.ports.values()] for n in (e.a, e.b)}
        nodes |= {self._name(n) for pair in network.ideal.values() for n in pair}
        self.nodes = {n: k for k, n in enumerate(sorted(nodes - {"0"}))}
        self.ideal = {s: len(self.nodes) + k for k, s in enumerate(network.ideal)}
        self.size = len(self.nodes) + len(self.ideal)
        self.incidence = np.zeros((self.size, len(self.laws)))
        for j, port in enumerate(network.ports.values()):
            self._add(self.incidence[:, j], port.a, port.b, 1.0)
        self.shares = np.array([p.share for p in network.ports.values()])
        self._kept: dict[frozenset[str], tuple[Array, ...]] = {}
        self.guess = np.zeros(len(self.laws))
        self.port_currents = np.zeros(len(self.laws))

    def _name(self, node: str) -> str:
        while node in self.network.aliases:
            node = self.network.aliases[node]
        return node

    def index(self, node: str) -> int:
        """Row of a node; -1 for ground."""
        return self.nodes.get(self._name(node), -1)

    def _add(self, column: Array, a: str, b: str, value: float) -> None:
        for node, sign in ((a, 1.0), (b, -1.0)):
            if (k := self.index(node)) >= 0:
                column[k] += sign * value

    def _matrices(self, contacts: frozenset[str]) -> tuple[Array, ...]:
        kept = self._kept.get(contacts)
        if kept is not None:
            return kept
        matrix = np.zeros((self.size, self.size))
        for k in self.nodes.values():
            matrix[k, k] += LEAK
        inject, constant = np.zeros((self.size, len(self.states))), np.zeros(self.size)
        for branch in self.network.branches.values():
            conductance = branch.conductance if not branch.contact or branch.contact in contacts else OPEN
            self._stamp(matrix, branch.a, branch.b, conductance)
            for state, factor in branch.factors.items():
                self._add(inject[:, self.states[state]], branch.a, branch.b, -factor)
            self._add(constant, branch.a, branch.b, -branch.constant)
        for port in self.network.ports.values():
            self._stamp(matrix, port.a, port.b, port.share)
        for state, (a, b) in self.network.ideal.items():
            row = self.ideal[state]
            self._add(matrix[:, row], a, b, 1.0)
            self._add(matrix[row, :], a, b, 1.0)
            inject[row, self.states[state]] = 1.0
        inverse = precise_inverse(matrix)
        p = self.incidence
        kept = (
            np.ascontiguousarray(inverse @ inject),
            inverse @ constant,
            np.ascontiguousarray(inverse @ p),
            np.ascontiguousarray(p.T @ inverse @ inject),
            p.T @ inverse @ constant,
            np.ascontiguousarray(p.T @ inverse @ p),
        )
        self._kept[contacts] = kept
        return kept

    def _stamp(self, matrix: Array, a: str, b: str, conductance: float) -> None:
        i, j = self.index(a), self.index(b)
        for row, column, sign in ((i, i, 1.0), (j, j, 1.0), (i, j, -1.0), (j, i, -1.0)):
            if row >= 0 and column >= 0:
                matrix[row, column] += sign * conductance

    def solve(self, x: Array, contacts: frozenset[str]) -> Array:
        """Node voltages and ideal capacitors' currents; port currents are left in `port_currents`."""
        node_x, node_0, node_f, port_x, port_0, port_f = self._matrices(contacts)
        if not self.laws:
            return node_x @ x + node_0
        open_circuit = port_x @ x + port_0
        states = x.tolist()
        v = self.guess
        current, error, jacobian = self._residual(v, states, open_circuit, port_f)
        norm = max(map(abs, error.tolist()))
        for count in range(80):
            _, _, step, _ = dgesv(jacobian, error)
            size, factor = max(map(abs, step.tolist())), 1.0
            for _ in range(25):
                trial = v - factor * step
                current, error, next_jacobian = self._residual(trial, states, open_circuit, port_f)
                next_norm = max(map(abs, error.tolist()))
                if next_norm < norm or next_norm < STALLED or count < 3:
                    break
                factor *= 0.5
            stalled = count >= 2 and next_norm < STALLED and next_norm >= 0.5 * norm
            v, jacobian, norm = trial, next_jacobian, next_norm
            if size * factor < CONVERGED or norm < CONVERGED or stalled:
                break
        else:
            raise ArithmeticError(f"the network has no solution, last step {size:.3g} V, error {norm:.3g} V")
        self.guess = v
        self.port_currents = current + self.shares * v
        return node_x @ x + node_0 - node_f @ current

    def _residual(self, v: Array, x: list[float], open_circuit: Array, coupling: Array) -> tuple[Array, Array, Array]:
        pairs = np.array([law(value, x) for law, value in zip(self.laws, v.tolist(), strict=True)])
        current = pairs[:, 0] - self.shares * v
        jacobian = coupling * (pairs[:, 1] - self.shares)
        jacobian.flat[:: len(v) + 1] += 1.0
        return current, v - open_circuit + coupling @ current, jacobian

    def volt(self, y: Array, node: str) -> float:
        """Voltage of a node [V]."""
        k = self.index(node)
        return float(y[k]) if k >= 0 else 0.0

    def row(self, name: str, contacts_closed: bool = True) -> tuple[Array, Array, float]:
        """A branch's current as y-row, x-row and constant."""
        branch = self.network.branches[name]
        conductance = branch.conductance if contacts_closed else OPEN
        y_row, x_row = np.zeros(self.size), np.zeros(len(self.states))
        self._add(y_row, branch.a, branch.b, conductance)
        for state, factor in branch.factors.items():
            x_row[self.states[state]] += factor
        return y_row, x_row, branch.constant
