# SPDX-License-Identifier: GPL-3.0-or-later
"""Content hashes: what decides an outcome, and nothing else, is in a job's key."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from functools import cache
from pathlib import Path

import cranksag
from cranksag.circuit.netlists import circuits_directory
from cranksag.solver import library_info

_ROOMS = (
    "quantities.py",
    "simulate.py",
    "scenario",
    "catalogue",
    "parts",
    "resolve",
    "profiles",
    "circuit",
    "solver",
    "verdict",
    "studies/measures.py",
    "studies/banks.py",
    "studies/kinds.py",
)
"""Rooms and files whose code or data can change a number."""


def digest(*parts: str) -> str:
    """SHA-256 of texts in order, as hex."""
    state = hashlib.sha256()
    for part in parts:
        data = part.encode()
        state.update(len(data).to_bytes(8, "little"))
        state.update(data)
    return state.hexdigest()


@cache
def model_fingerprint() -> str:
    """Hash of the model: package version, netlists, and the source and data of the rooms that compute."""
    package = Path(cranksag.__file__).parent
    files: list[Path] = []
    for room in _ROOMS:
        path = package / room
        files += [path] if path.is_file() else sorted(path.rglob("*.py")) + sorted(path.rglob("*.toml"))
    netlists = sorted([*circuits_directory().rglob("*.cir"), *circuits_directory().rglob("*.inc")])
    return digest(cranksag.__version__, *_contents(files), *_contents(netlists))


def _contents(files: Iterable[Path]) -> list[str]:
    return [text for f in files if f.is_file() for text in (f.name, f.read_text(encoding="utf-8"))]


@cache
def solver_fingerprint() -> str:
    """Name and version of the solver's library."""
    library = library_info()
    return f"{library.name} {library.version}"
