# SPDX-License-Identifier: GPL-3.0-or-later
"""What a fault is: a few changes of a deck's own lines, and what stays to be said of it.

A short is `FAULT_SHORT` across two nodes, an open a port taken off its node and left behind `FAULT_OPEN`, a reversed
part has two ports exchanged. Only lines of the top circuit are changed, never the netlists of ``circuits/``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from cranksag.circuit import Signal
from cranksag.errors import DeckError

FAULT_SHORT = 1e-3  # [ohm] a part failed short, a wire chafed through to metal; engineering estimate
FAULT_OPEN = 1e9  # [ohm] a broken wire, a dead part
SOUND = ("as designed", "none")
"""Part and fault of the row without a fault."""


@dataclass(frozen=True, slots=True)
class Bridge:
    """`ohm` between nodes `a` and `b`."""

    a: str
    b: str
    ohm: float = FAULT_SHORT


@dataclass(frozen=True, slots=True)
class Detach:
    """Port number `port` of an element taken off its node."""

    element: str
    port: int


@dataclass(frozen=True, slots=True)
class Swap:
    """The first two ports of an element exchanged."""

    element: str


@dataclass(frozen=True, slots=True)
class Port:
    """Port number `port` of an element moved to another node."""

    element: str
    port: int
    node: str


@dataclass(frozen=True, slots=True)
class Line:
    """An element's line written anew."""

    element: str
    text: str


@dataclass(frozen=True, slots=True)
class Added:
    """Lines added to the top circuit."""

    text: str


@dataclass(frozen=True, slots=True)
class Parameter:
    """A parameter of an element."""

    element: str
    name: str
    value: float


Edit = Bridge | Detach | Swap | Port | Line | Added | Parameter


@dataclass(frozen=True, slots=True)
class Unfused:
    """Where a short draws from without a fuse: the watched `sources`, the scenario `paths` of the cables that carry it,
    and whether the battery switch ends it (None without one); `upper`: the short's own cable is not known, so that its
    current is an upper bound; `cure`: what guards against it."""

    sources: tuple[str, ...]
    paths: tuple[str, ...] = ()
    switched: bool | None = None
    upper: bool = False
    cure: str = "guard the cable against chafe, or fit a main fuse at the battery that carries the crank"


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault: the `part`, what is wrong with it (`fault`), the changes of the deck that make it, and a `note`.

    `reads`: signals that the fault moves to another node, by name. `unfused`: of a short that no fuse ends. `charging`:
    whether it changes what the batteries get of the alternator; `load_dump`: it takes the batteries off the alternator,
    and leaves the "display" or "others" alone on it.
    """

    part: str
    fault: str
    edits: tuple[Edit, ...]
    note: str = ""
    reads: tuple[tuple[str, Signal], ...] = ()
    unfused: Unfused | None = None
    charging: bool = False
    load_dump: Literal["", "display", "others"] = ""


def edited(text: str, edits: tuple[Edit, ...]) -> str:
    """A deck's text with changes made to the lines of its top circuit.

    Parameters: text : of a `Deck`; edits : changes, in order. Returns: text.
    Raises: DeckError if the top circuit has no such element or port.
    """
    lines = text.splitlines()
    for number, edit in enumerate(edits):
        if isinstance(edit, Bridge):
            lines.append(f"Rbridge{number} {edit.a} {edit.b} {edit.ohm!r}")
            continue
        if isinstance(edit, Added):
            lines += edit.text.splitlines()
            continue
        where = _find(lines, edit.element)
        words = lines[where].split()
        if isinstance(edit, Line):
            words = edit.text.split()
        elif isinstance(edit, Swap):
            words[1], words[2] = words[2], words[1]
        elif isinstance(edit, Parameter):
            known = [w for w in words if w.startswith(edit.name + "=")]
            words = [w for w in words if w not in known] + [f"{edit.name}={edit.value!r}"]
        else:
            old = words[1 + edit.port]
            fresh = edit.node if isinstance(edit, Port) else f"broken{number}"
            words[1 + edit.port] = fresh
            if isinstance(edit, Detach):
                lines.append(f"Rbroken{number} {old} {fresh} {FAULT_OPEN!r}")
        lines[where] = " ".join(words)
    return "\n".join(lines)


def _find(lines: list[str], element: str) -> int:
    inside = False
    for number, line in enumerate(lines):
        word = line.split(maxsplit=1)[0].lower() if line.strip() else ""
        inside = word == ".subckt" or (inside and word != ".ends")
        if not inside and word == element.lower():
            return number
    raise DeckError(f"the deck has no element {element} to fail")


def conductor(part: str, element: str, port: int, node: str) -> Iterator[Fault]:
    """A wire broken at a `port` of its `element`, and shorted to ground at a `node`."""
    yield Fault(part, "broken", (Detach(element, port),))
    yield Fault(part, "shorted to ground", (Bridge(node, "block"),))


def two_terminal(part: str, element: str, a: str, b: str) -> Iterator[Fault]:
    """A diode from `a` to `b`, or what else has two ends, short, open and reversed."""
    yield Fault(part, "short", (Bridge(a, b),))
    yield Fault(part, "open", (Detach(element, 0),))
    yield Fault(part, "reversed", (Swap(element),))
