# SPDX-License-Identifier: GPL-3.0-or-later
"""Finding ngspice's shared library, and starting it where no file or variable can change what it computes."""

from __future__ import annotations

import ctypes.util
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from cranksag.errors import LibraryMissing

if TYPE_CHECKING:
    from cranksag.solver.binding import NgSpice

#: Versioned names first: the bare one exists only with a development package.
LIBRARY_NAMES = (
    "libngspice.so.0",
    "libngspice.so.1",
    "libngspice.so",
    "libngspice.0.dylib",
    "libngspice.dylib",
    "ngspice.dll",
)
# Read by ngspice; with an unknown value each could change where it looks for files or how it prints.
_VARIABLES_REMOVED = (
    "NGSPICE_INPUT_DIR",
    "NGSPICE_MEAS_PRECISION",
    "SPICE_ASCIIRAWFILE",
    "SPICE_BUGADDR",
    "SPICE_EDITOR",
    "SPICE_HELP_DIR",
    "SPICE_HOST",
    "SPICE_NEWS",
    "SPICE_NO_DATASEG_CHECK",
    "SPICE_PATH",
)
_VARIABLES_EMPTY_FOLDER = ("HOME", "USERPROFILE", "SPICE_LIB_DIR", "SPICE_SCRIPTS")


@dataclass(frozen=True, slots=True)
class LibraryInfo:
    """Which library computes.

    Attributes
    ----------
    name : str
        "ngspice".
    version : str
        As the library says, "39"; empty if it does not say.
    path : str
        File it was loaded from, or the name it was asked for where the system does not tell.
    """

    name: str
    version: str
    path: str


def library_candidates() -> tuple[str, ...]:
    """Names to try, in order: only NGSPICE_LIBRARY_PATH where that is set, else the usual names."""
    if chosen := os.environ.get("NGSPICE_LIBRARY_PATH"):
        return (chosen.replace("{}", ""),)
    return LIBRARY_NAMES


def open_library() -> NgSpice:
    """Load ngspice and start it in an empty directory with an empty home.

    Returns
    -------
    NgSpice

    Raises
    ------
    LibraryMissing
        PySpice or the library cannot be loaded.
    """
    try:
        from cranksag.solver.binding import NgSpice
    except ImportError as error:
        raise LibraryMissing(
            f"PySpice cannot be imported: {error}", todo='Install it: pip install "PySpice>=1.5,<1.6".'
        ) from error
    name = _first_that_opens()
    try:
        with _undisturbed():
            return NgSpice(name)
    except (
        AttributeError,
        NameError,
        OSError,
    ) as error:  # AttributeError: another library; NameError: PySpice's own
        raise LibraryMissing(f"{name} does not work as ngspice's shared library: {error}") from error


def _first_that_opens() -> str:
    candidates = library_candidates()
    reasons = []
    for name in candidates:
        try:
            ctypes.CDLL(name)
        except OSError as error:
            reasons.append(f"{name}: {error}")
        else:
            return name
    if candidates is LIBRARY_NAMES and (found := ctypes.util.find_library("ngspice")):
        return found
    raise LibraryMissing(f"ngspice's shared library was not found ({reasons[0]})")


@contextmanager
def _undisturbed() -> Iterator[None]:
    """An empty working and home directory, and none of ngspice's own variables, while the library starts.

    ngspice reads `.spiceinit` or `spice.rc` from both, and `spinit` from SPICE_SCRIPTS or SPICE_LIB_DIR; such
    a file can set options for every later run or run commands. Without `spinit` the code models stay away, as
    they do where only the library is installed, so results do not depend on that either.
    """
    touched = {name: os.environ.get(name) for name in (*_VARIABLES_REMOVED, *_VARIABLES_EMPTY_FOLDER)}
    before = None
    with suppress(OSError):  # the working directory may have been deleted
        before = Path.cwd()
    with tempfile.TemporaryDirectory(prefix="cranksag-") as empty:
        try:
            for name in _VARIABLES_REMOVED:
                os.environ.pop(name, None)
            for name in _VARIABLES_EMPTY_FOLDER:
                os.environ[name] = empty
            os.chdir(empty)
            yield
        finally:
            for name, value in touched.items():
                if value is None:
                    os.environ.pop(name, None)
                else:
                    os.environ[name] = value
            os.chdir(before or os.sep)


def loaded_path(name: str) -> str:
    """File from which a library was loaded, where the system tells (Linux); else the name asked for."""
    with suppress(OSError):
        for line in Path("/proc/self/maps").read_text(encoding="utf-8", errors="replace").splitlines():
            path = line.partition("/")[2]
            if "ngspice" in os.path.basename(path):
                return "/" + path
    return name
