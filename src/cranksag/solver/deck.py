# SPDX-License-Identifier: GPL-3.0-or-later
"""What the solver is given: a deck's text, the vectors wanted, their envelope, and the numerical settings."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from functools import lru_cache

from cranksag.errors import DeckError

TITLE_LENGTH = 200
_VECTOR = re.compile(r"([vi])\(([a-z0-9_.#]+)\)")
_DOT_CARDS = frozenset({".subckt", ".ends", ".model", ".param", ".ic", ".func", ".global"})
_ELEMENTS = frozenset("rclkvibefghdswxqmj")
_COMMENT_COMMAND = re.compile(r"\*\s*(#|ng_script)", re.IGNORECASE)
_NOT_A_NUMBER = re.compile(r"(?<![\w.])[-+]?(nan|inf|infinity)(?![\w.])", re.IGNORECASE)
_CONTROL = re.compile(r"[\x00-\x08\x0a-\x1f\x7f-\x9f\u2028\u2029]")
_SAVED_PER_LINE = 10


@dataclass(frozen=True, slots=True)
class Settings:
    """Numerical settings of one attempt; None leaves ngspice's own default.

    The loosened absolute tolerances belong to circuits of volts and amperes; with gear they cost a ninth of
    ngspice's defaults and are closer to a 10 us reference (own measurements, 55 equations, 3 s of cranking).

    Attributes
    ----------
    name : str
        For people.
    method : str
        Integration: "gear" or "trap".
    ceiling_scale : float [-]
        Multiplies the deck's step ceiling.
    reltol : float or None [-]
    abstol, vntol, chgtol : float [A], [V], [C]
    trtol : float or None [-]
    xmu : float or None [-]
        Damping of "trap"; 0.5 is none.
    itl4 : int or None [-]
        Newton iterations allowed at a time point.
    """

    name: str = "standard"
    method: str = "gear"
    ceiling_scale: float = 1.0
    reltol: float | None = None
    abstol: float = 1e-6
    vntol: float = 1e-5
    chgtol: float = 1e-6
    trtol: float | None = None
    xmu: float | None = None
    itl4: int | None = None

    def options_line(self) -> str:
        """The `.options` line."""
        names = (f.name for f in fields(self) if f.name not in {"name", "ceiling_scale"})
        values = ((name, getattr(self, name)) for name in names)
        return ".options " + " ".join(f"{name}={value}" for name, value in values if value is not None)

    def transient_line(self, stop_time: float, step_ceiling: float) -> str:
        """The `.tran` line; times in [s]."""
        ceiling = float(step_ceiling) * self.ceiling_scale
        return f".tran {ceiling!r} {float(stop_time)!r} 0 {ceiling!r} uic"


STANDARD = Settings()

#: Settings tried in turn. Shorter steps first: they cost time and no accuracy. Then more Newton iterations
#: where switches change over, then another integration formula, then a looser relative tolerance with short
#: steps (a tighter one makes "timestep too small" likelier, not rarer).
LADDER: tuple[Settings, ...] = (
    STANDARD,
    Settings("half the step ceiling", ceiling_scale=0.5),
    Settings("a fifth of the ceiling, more iterations", ceiling_scale=0.2, itl4=50),
    Settings("trapezoidal, a tenth of the ceiling", method="trap", xmu=0.49, ceiling_scale=0.1, itl4=50),
    Settings("looser, a tenth", reltol=5e-3, vntol=1e-4, abstol=1e-5, ceiling_scale=0.1, itl4=100),
)


def deck_text(text: str, length: int = TITLE_LENGTH) -> str:
    """Text from a scenario made fit for a comment line of a deck.

    One line of printable ASCII without the characters that mean something to ngspice: a line end would open a
    new card (`.control` runs commands, `shell` among them), a backslash at the end joins the next line, `$`
    and `;` open comments, braces and quotes are expressions. Such are replaced by `?` or a look-alike.

    Parameters
    ----------
    text : str
        Any text.
    length : int
        Characters kept at most.

    Returns
    -------
    str
        Safe behind `* ` on a line of its own, never a whole line by itself.
    """
    look_alike = {"\\": "/", "$": "?", ";": ",", "{": "(", "}": ")", '"': "'", "`": "'", "\t": " "}
    kept = text[: 4 * length]
    safe = "".join(look_alike.get(c, c if " " <= c <= "~" else " " if c.isspace() else "?") for c in kept)
    # "*#" and "*ng_script" are commands in spite of the asterisk.
    safe = re.sub("ng_script", "ng-script", safe.replace("#", "No."), flags=re.IGNORECASE)
    return " ".join(safe.split())[:length].rstrip()


def deck_title(text: str) -> str:
    """The first line of a deck: a comment that carries the scenario's title.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    str
        One line that starts with `* `.
    """
    return "* " + deck_text(text)


@lru_cache(maxsize=4096)  # most lines of a deck are those of the parts, the same in every run
def _fault_in_line(line: str) -> str:
    """Why a line may not stand in a deck's text; empty when it may."""
    stripped = line.strip()
    if _CONTROL.search(line):
        return "a control character"
    if not stripped:
        return ""
    if stripped.startswith("*"):
        return "a command inside a comment" if _COMMENT_COMMAND.match(stripped) else ""
    if not stripped.isascii():
        return "a character outside ASCII"
    if "\\" in stripped or "`" in stripped:
        return "a backslash or back quote"
    if stripped.startswith("."):
        card = stripped.split(None, 1)[0].split("(")[0].lower()
        if card not in _DOT_CARDS:
            return f"the card {card}, which is the solver's own or not allowed"
    elif stripped[0] != "+" and stripped[0].lower() not in _ELEMENTS:
        return f"an unknown kind of element, {stripped.split(None, 1)[0]}"
    if _NOT_A_NUMBER.search(stripped):
        return "a value that is not a number"
    return ""


@dataclass(frozen=True, slots=True)
class Deck:
    """One circuit ready to be computed.

    Attributes
    ----------
    text : str
        Elements, models, subcircuits, parameters and initial conditions, without a title line and without
        `.options`, `.tran`, `.save`, `.meas` and `.end`: the solver writes those.
    vectors : tuple of str
        Node voltages and source currents wanted, as `v(stud)`, `i(vfeed)`, `v(xbat.e1)`, `i(v.xmot.vsense)`,
        in lower case.
    stop_time : float [s]
        End of the run.
    envelope : mapping of str to (float, float) [V] or [A]
        Lowest and highest value physically possible, for every vector.
    step_ceiling : float [s]
        Longest step allowed at standard settings.
    title : str
        The scenario's title; any text.
    preroll : float [s]
        Time at the start during which no voltage may move by more than `STILL`; 0 when not to be checked.
    units : mapping of str to float [V]
        For a node that stands for something else than a voltage: how many of the node's volts are one of it.
    """

    text: str
    vectors: tuple[str, ...]
    stop_time: float
    envelope: Mapping[str, tuple[float, float]]
    step_ceiling: float
    title: str = ""
    preroll: float = 0.0
    units: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for number, line in enumerate(self.text.split("\n"), start=1):
            if fault := _fault_in_line(line):
                raise self._error(f"line {number} of the netlist has {fault}")
        bad = [v for v in self.vectors if not _VECTOR.fullmatch(v)]
        if bad or not self.vectors or len(set(self.vectors)) != len(self.vectors):
            raise self._error(f"vectors must be distinct names like v(node), i(vsource): {bad or self.vectors}")
        for vector in self.vectors:
            low, high = self.envelope.get(vector, (math.nan, math.nan))
            if not low < high:
                raise self._error(f"{vector} has no envelope")
        times = (self.stop_time, self.step_ceiling)
        if not all(0 < t < math.inf for t in times) or not 0 <= self.preroll < self.stop_time:
            raise self._error(f"impossible times: stop, step ceiling {times}, pre-roll {self.preroll}")

    def _error(self, what: str) -> DeckError:
        return DeckError(what, title=deck_text(self.title), deck=self.text)

    def lines(self, settings: Settings = STANDARD, *, measures: bool = False) -> list[str]:
        """Every line of the complete deck; see `complete`."""
        saved = [
            ".save " + " ".join(self.vectors[k : k + _SAVED_PER_LINE])
            for k in range(0, len(self.vectors), _SAVED_PER_LINE)
        ]
        measured = [
            f".meas tran {kind}_{v[0]}_{re.sub(r'[^a-z0-9]', '_', v[2:-1])} {kind} {v}"
            for v in (self.vectors if measures else ())
            for kind in ("min", "max")
        ]
        return [
            deck_title(self.title),
            *(line for line in self.text.split("\n") if line.strip()),
            settings.options_line(),
            *saved,
            settings.transient_line(self.stop_time, self.step_ceiling),
            *measured,
            ".end",
        ]

    def complete(self, settings: Settings = STANDARD) -> str:
        """The self-contained text that plain `ngspice -b` runs; it prints the extremes of every vector.

        Parameters
        ----------
        settings : Settings
            Numerical settings written into it.

        Returns
        -------
        str
        """
        return "\n".join(self.lines(settings, measures=True)) + "\n"
