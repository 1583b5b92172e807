# SPDX-License-Identifier: GPL-3.0-or-later
"""Published starting profiles, and a user's own, as voltage sources: the bench instead of the boat.

One TOML file per document in this folder; each level says where its figures come from. A figure from memory says so.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

from cranksag.errors import InputError
from cranksag.profiles.model import EDGE, Level, Profile, Ripple, gate, level_voltage, waveform
from cranksag.profiles.reading import points_profile, read_profile
from cranksag.quantities import nearest, shown

__all__ = [
    "EDGE",
    "Level",
    "Profile",
    "Ripple",
    "find_profile",
    "gate",
    "level_voltage",
    "load_profile",
    "points_profile",
    "profile_names",
    "read_profile",
    "waveform",
]

SUFFIXES = (".toml", ".csv", ".tsv", ".txt")
"""How a file name of a user's own profile ends."""


@cache
def profile_names() -> tuple[str, ...]:
    """Names of the profiles that come with the tool, sorted."""
    return tuple(sorted(path.stem for path in Path(__file__).parent.glob("*.toml")))


@cache
def load_profile(name: str) -> Profile:
    """A profile that comes with the tool.

    Raises
    ------
    InputError : there is none of that name; the nearest and all names are listed.
    """
    if name not in profile_names():
        near = nearest(name, profile_names())
        hint = f'did you mean "{near}"? ' if near else ""
        own = f"your own is a file whose name ends in {', '.join(SUFFIXES)}"
        raise InputError([f"no profile {shown(name)} ({hint}there are: {', '.join(profile_names())}; {own})"])
    return read_profile(Path(__file__).parent / f"{name}.toml", shipped=True)


def find_profile(text: str) -> Profile:
    """The profile that a user means: the name of a shipped one, or a file of his own (`SUFFIXES`).

    Raises
    ------
    InputError : there is none, or the file cannot be used.
    """
    if Path(text).suffix.lower() in SUFFIXES:
        return read_profile(Path(text))
    return load_profile(text.strip().lower())
