# SPDX-License-Identifier: GPL-3.0-or-later
"""Fatal errors, each with its exit code.

`str()` of every one is meant for the user: what happened, likely why, what to do next.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any


class CranksagError(Exception):
    """Base of every error the tool reports by itself."""

    exit_code: int = 70


class InputError(CranksagError):
    """Bad input: every problem found, one line each."""

    exit_code = 2

    def __init__(self, problems: Sequence[str]) -> None:
        self.problems = list(problems)
        super().__init__("\n".join(self.problems))

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.problems,)


class CheckFailed(CranksagError):
    """Something asked for with `--check` does not hold."""

    exit_code = 1


class Interrupted(CranksagError):
    """The user stopped the program."""

    exit_code = 130


class SimulationError(CranksagError):
    """A simulation that gave no answer worth trusting.

    Parameters
    ----------
    what : str
        What happened, one sentence.
    why : str, optional
        The likely cause; each class has its own default.
    todo : str, optional
        What to do next; each class has its own default.
    title : str, optional
        The scenario's title.
    deck : str, optional
        Complete text of the deck that failed; plain ngspice runs it.
    last_lines : sequence of str, optional
        The solver's last lines.
    attempts : sequence of str, optional
        One line for each group of solver settings tried: settings and outcome.
    """

    exit_code = 3
    default_why: str = ""
    default_todo: str = "`cranksag netlist` writes the deck to a file that plain ngspice runs."

    def __init__(
        self,
        what: str,
        *,
        why: str = "",
        todo: str = "",
        title: str = "",
        deck: str = "",
        last_lines: Sequence[str] = (),
        attempts: Sequence[str] = (),
    ) -> None:
        self.what = what
        self.why = why or self.default_why
        self.todo = todo or self.default_todo
        self.title = title
        self.deck = deck
        self.last_lines = tuple(last_lines)
        self.attempts = tuple(attempts)
        super().__init__(what)

    def __str__(self) -> str:
        lines = [f"{self.title}: {self.what}" if self.title else self.what]
        if len(self.attempts) > 1:
            lines.append(f"Tried {len(self.attempts)} groups of solver settings.")
        lines.extend(text for text in (self.why, self.todo) if text)
        return "\n".join(lines)

    def __reduce__(self) -> tuple[Any, ...]:
        return _rebuild, (type(self), self._fields())

    def _fields(self) -> dict[str, Any]:
        names = ("what", "why", "todo", "title", "deck", "last_lines", "attempts")
        return {name: getattr(self, name) for name in names}

    def write_deck(self, path: Path | str) -> Path:
        """Write the deck that failed, for a run by hand with `ngspice -b`.

        Parameters
        ----------
        path : path-like
            File to write.

        Returns
        -------
        Path
            The file written.
        """
        target = Path(path)
        target.write_text(self.deck, encoding="utf-8")
        return target


def _rebuild(kind: type[SimulationError], fields: dict[str, Any]) -> SimulationError:
    """Make the error again on the far side of a process boundary."""
    return kind(fields.pop("what"), **fields)


class DeckError(SimulationError):
    """The netlist itself is at fault; other solver settings would not help."""

    default_why = "The netlist is at fault rather than the scenario: a part, node or value is missing or wrong."


class ConvergenceError(SimulationError):
    """The solver gave up at a point in time, under every group of settings tried."""

    default_why = "The circuit changes faster there than the solver can follow, or holds a contradiction."


class IncompleteError(SimulationError):
    """The run ended early, or returned times that do not run from the start to the asked end."""

    default_why = "The solver needed far more steps than the run is worth, or stopped on its own."


class EnvelopeError(SimulationError):
    """A voltage or current left the range that is physically possible in this circuit."""

    default_why = "A number that cannot occur in the boat is a fault of the computation; the run is refused."


class RestError(EnvelopeError):
    """Something moved before the key was turned on; other solver settings would not help."""

    default_why = "The initial conditions do not agree with the circuit at rest."


class LibraryDead(SimulationError):
    """ngspice cannot be used any more in this process; a fresh process can.

    Where a run was given up it goes on in this one: end it by `os._exit`, for the interpreter's clean-up may crash.
    """

    default_why = "An earlier fault left the ngspice library of this process unusable."
    default_todo = "Start again; a worker process is to be replaced."


class LibraryMissing(SimulationError):
    """ngspice's shared library, or its Python binding, could not be loaded."""

    default_why = "The circuits are computed by ngspice's shared library, called through PySpice."
    default_todo = (
        "Debian, Ubuntu: apt-get install libngspice0. Other systems: install ngspice's shared library with "
        "their package manager, or set NGSPICE_LIBRARY_PATH to its file."
    )
