# SPDX-License-Identifier: GPL-3.0-or-later
"""The netlists of ``circuits/``: found, read, with their includes inlined and their marked blocks apart.

A top circuit is a runnable ngspice deck. ``*[name]`` ... ``*[end]`` marks the blocks whose lines carry default values;
`cranksag.circuit` writes its own lines in their place and keeps everything else.
"""

from __future__ import annotations

import re
import time
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from cranksag.errors import DeckError

LOOKED_AT_EVERY = 0.5  # [s] a sweep does not ask the disk for every row
_SUBCKT = re.compile(r"\.subckt\s+(\S+)\s+(.*)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Subcircuit:
    """One part's subcircuit: its `ports` in order, `defaults` of its parameters as written, and its `text`."""

    name: str
    ports: tuple[str, ...]
    defaults: Mapping[str, str]
    text: str
    uses: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Netlist:
    """A top circuit: `title`, `subcircuits` by name, and `pieces`: (block name or "", text) in order."""

    title: str
    subcircuits: Mapping[str, Subcircuit]
    pieces: tuple[tuple[str, str], ...]


def circuits_directory() -> Path:
    """Folder of the netlists: the packaged copy, else the repository's ``circuits/`` (editable install).

    Raises
    ------
    DeckError
        Neither exists: the installation is broken.
    """
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "_circuits", package.parents[1] / "circuits"):
        if (folder / "boat.inc").is_file():
            return folder
    raise DeckError("the netlists (circuits/) are missing: install cranksag again")


def branch_names() -> tuple[str, ...]:
    """Names of the top circuits, sorted."""
    return tuple(sorted(path.stem for path in circuits_directory().glob("*.cir")))


def read_netlist(branch: str, around: str = "boat.inc") -> Netlist:
    """The top circuit of a hold-up branch (``standby_pack``), as it is on disk now.

    `around`: what stands round the branch, the boat or, in its place, another include of the folder.

    Raises
    ------
    DeckError
        No such file, an include that is missing, or a block that is not closed.
    """
    folder = circuits_directory()
    return _read(folder, branch, around, _stamps(folder, int(time.monotonic() / LOOKED_AT_EVERY)))


@lru_cache(maxsize=1)
def _stamps(folder: Path, moment: int) -> tuple[tuple[str, int], ...]:
    """Names and times of the netlists, looked at anew for each `moment`."""
    del moment
    return tuple((p.name, p.stat().st_mtime_ns) for p in _files(folder))


def _files(folder: Path) -> list[Path]:
    return [*folder.glob("*.cir"), *folder.glob("*.inc"), *folder.glob("parts/*.inc")]


@lru_cache(maxsize=32)
def _read(folder: Path, branch: str, around: str, stamps: tuple[tuple[str, int], ...]) -> Netlist:
    lines = _inlined(folder / f"{branch}.cir", around)
    title, body = lines[0], lines[1:]
    subcircuits: dict[str, Subcircuit] = {}
    pieces: list[tuple[str, str]] = []
    block, kept, inside = "", [], []  # type: str, list[str], list[str]
    for line in body:
        mark = line.strip().lower()
        if inside:
            inside.append(line)
            if mark.startswith(".ends"):
                part = _subcircuit(inside)
                subcircuits[part.name] = part
                inside = []
        elif mark.startswith(".subckt"):
            inside = [line]
        elif mark.startswith("*["):
            pieces.append((block, "\n".join(kept)))
            kept = []
            if (mark == "*[end]") != bool(block):
                raise DeckError(f"{branch}.cir: blocks are not paired at {mark}")
            block = "" if block else mark[2:-1]
        else:
            kept.append(line)
    if inside or block:
        raise DeckError(f"{branch}.cir: an open subcircuit or block at the end")
    pieces.append(("", "\n".join(kept)))
    return Netlist(title, subcircuits, tuple(pieces))


def _inlined(path: Path, around: str, depth: int = 0) -> list[str]:
    if depth > 4 or not path.is_file():
        raise DeckError(f"netlist {path.name} is missing or includes itself")
    lines: list[str] = []
    for line in path.read_text(encoding="utf-8").splitlines():
        if line.lower().startswith(".include"):
            name = line.split(maxsplit=1)[1].strip().strip('"')
            lines += _inlined(path.parent / (around if name == "boat.inc" else name), around, depth + 1)
        else:
            lines.append(line)
    return lines


def _subcircuit(lines: list[str]) -> Subcircuit:
    logical: list[str] = []
    for line in lines:
        if line.startswith("+") and logical:
            logical[-1] += " " + line[1:].strip()
        elif line.strip() and not line.startswith("*"):
            logical.append(line.strip())
    match = _SUBCKT.match(logical[0])
    if match is None:
        raise DeckError(f"not a subcircuit: {logical[0]}")
    words = match[2].split()
    ports = tuple(w for w in words if "=" not in w)
    defaults = dict(w.split("=", 1) for w in words if "=" in w)
    uses = tuple(
        next(w for w in reversed(line.split()) if "=" not in w) for line in logical[1:] if line[:1].lower() == "x"
    )
    return Subcircuit(match[1].lower(), ports, defaults, "\n".join(logical), uses)
