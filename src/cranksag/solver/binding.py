# SPDX-License-Identifier: GPL-3.0-or-later
"""A thin subclass of PySpice's binding to ngspice's shared library: its calls, without its judgement.

PySpice 1.5 takes every note on stderr for an error, and an unknown subcircuit for none; so the lines are only
collected here and read in `cranksag.solver.messages`. `cranksag.solver.library` imports this module late.
"""

from __future__ import annotations

import locale
from pathlib import Path
from typing import Any

import numpy as np
from cffi import CDefError  # type: ignore[import-untyped]
from numpy.typing import NDArray
from PySpice.Spice.NgSpice import Shared
from PySpice.Spice.NgSpice.SimulationType import SIMULATION_TYPE

_ffi: Any = Shared.ffi


class NgSpice(Shared.NgSpiceShared):
    """The library as this program calls it; one instance per process, one call at a time."""

    def __init__(self, library: str) -> None:
        self.collected: list[tuple[str, str]] = []
        self.exited = False
        self.plot_title = ""
        self.file = library
        super().__init__()

    # --- what PySpice does in a way that does not fit ---------------------------------------------------

    def _load_library(self, verbose: bool) -> None:
        """Open the library by the name found; declare the C interface once per process."""
        try:
            _ffi.typeof("vector_info")
        except CDefError:
            _ffi.cdef(Path(Shared.__file__).with_name("api.h").read_text(encoding="utf-8"))
        locale.setlocale(locale.LC_NUMERIC, "C")  # ngspice reads and writes numbers through the C library
        self._ngspice_shared = _ffi.dlopen(self.file)

    def _get_version(self) -> None:
        super()._get_version()
        # PySpice's table of vector types ends at version 34; types are not used here, so nothing to warn of.
        SIMULATION_TYPE.setdefault(self._ngspice_version, SIMULATION_TYPE["last"])

    @staticmethod
    def _send_char(message_c: Any, ngspice_id: int, user_data: Any) -> int:
        self = _ffi.from_handle(user_data)
        message = _ffi.string(message_c).decode("utf-8", "replace")
        stream, _, line = message.partition(" ")
        if stream not in ("stdout", "stderr"):
            stream, line = "", message
        self.collected.append((stream, line))
        if stream == "stdout":
            self._stdout.append(line)  # the version is read from here
        return 0

    @staticmethod
    def _send_stat(message: Any, ngspice_id: int, user_data: Any) -> int:
        return 0

    @staticmethod
    def _send_init_data(data: Any, ngspice_id: int, user_data: Any) -> int:
        self = _ffi.from_handle(user_data)
        self.plot_title = _ffi.string(data.title).decode("utf-8", "replace") if data.title else ""
        return 0

    @staticmethod
    def _exit(status: int, immediate: bool, quit_exit: bool, ngspice_id: int, user_data: Any) -> int:
        _ffi.from_handle(user_data).exited = True
        return int(status)

    @staticmethod
    def _background_thread_running(is_running: bool, ngspice_id: int, user_data: Any) -> int:
        return 0

    # --- the calls the solver makes ---------------------------------------------------------------------

    def take_lines(self) -> list[tuple[str, str]]:
        """Lines (stream, text) printed since the last call."""
        lines, self.collected = self.collected, []
        self.clear_output()
        return lines

    def command(self, text: str | None) -> int:
        """Run one command, None to free ngspice's memory of past ones; its return code."""
        return int(self._ngspice_shared.ngSpice_Command(_ffi.NULL if text is None else text.encode("ascii")))

    def load(self, lines: list[str]) -> int:
        """Read a netlist; ngspice's return code."""
        # ngspice 33 and later want an empty line at the end.
        kept_alive = [_ffi.new("char[]", line.encode("utf-8")) for line in (*lines, "")]
        return int(self._ngspice_shared.ngSpice_Circ(_ffi.new("char *[]", [*kept_alive, _ffi.NULL])))

    def current_plot(self) -> str:
        """Name of the plot that holds the last result."""
        return str(_ffi.string(self._ngspice_shared.ngSpice_CurPlot()).decode())

    def vector_names(self, plot: str) -> list[str]:
        """Names of the vectors of a plot, in lower case."""
        names_c = self._ngspice_shared.ngSpice_AllVecs(plot.encode())
        names: list[str] = []
        while names_c != _ffi.NULL and names_c[len(names)] != _ffi.NULL:
            names.append(_ffi.string(names_c[len(names)]).decode("utf-8", "replace").lower())
        return names

    def copy_vector(self, plot: str, name: str) -> NDArray[np.float64]:
        """Own copy of a vector; empty if there is none. ngspice's memory is gone after `destroy`."""
        info = self._ngspice_shared.ngGet_Vec_Info(f"{plot}.{name}".encode())
        if info == _ffi.NULL or info.v_realdata == _ffi.NULL or info.v_length <= 0:
            return np.empty(0)
        return np.frombuffer(_ffi.buffer(info.v_realdata, info.v_length * 8), dtype=np.float64).copy()
