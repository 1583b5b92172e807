# SPDX-License-Identifier: GPL-3.0-or-later
"""Reading what ngspice prints: which lines are harmless, which mean a bad netlist, which a failed run.

ngspice's return codes say 0 for "timestep too small" and for a netlist that was not parsed, so the lines
decide. Wordings were collected by running faulty circuits through ngspice 39; the banners of later versions
("Using SPARSE 1.3", "Using KLU") are in the table as well.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from enum import Enum


class Meaning(Enum):
    """What one line of the solver's output says about the run."""

    HARMLESS = "harmless"
    DECK = "netlist at fault"
    FAILED = "run failed"
    DEAD = "library unusable"


# The first match decides, so that a node or part called "error" does no harm in a known note.
_TABLE: tuple[tuple[Meaning, re.Pattern[str]], ...] = tuple(
    (meaning, re.compile(pattern, re.IGNORECASE))
    for meaning, pattern in (
        (Meaning.DEAD, r"cannot recover|awaits to be (detached|unloaded)"),
        # Silent repairs of a faulty netlist: ngspice only warns, and computes another circuit.
        (Meaning.DECK, r"resistance to+ low, set to"),
        (Meaning.DECK, r"on non-existent node"),
        (Meaning.DECK, r"unusual leading characters"),
        (Meaning.DECK, r"can't find model|could not find a valid model"),
        (Meaning.DECK, r"circuit not parsed|aren't any circuits loaded|no circuits? loaded"),
        (Meaning.DECK, r"unknown (subckt|parameter|model|device)|undefined parameter|no such function"),
        (Meaning.DECK, r"device already exists|mismatch of \.subckt|could not find include|mif-error"),
        (Meaning.DECK, r"no data saved|syntax error|cannot compute substitute"),
        (Meaning.DECK, r"^error on line|^netlist line no"),
        (Meaning.HARMLESS, r"^note\b"),
        (Meaning.HARMLESS, r"^using [\w .,()+-]*$"),
        (Meaning.HARMLESS, r"^\s*reference value\s*:"),
        (Meaning.HARMLESS, r"^\s*%?\s*[\d.]+\s*%?\s*$"),
        (Meaning.HARMLESS, r"^warning: \S+: (has no value, dc 0 assumed|no dc value, transient time 0)"),
        (Meaning.HARMLESS, r"^\s*\.meas\b.*failed|^\s*out of interval\s*$|^error: measure\b"),
        (Meaning.HARMLESS, r"^(trying gmin|dynamic gmin|source stepping|supplies reduced|transient op)"),
        (Meaning.HARMLESS, r"^\s*$"),
    )
)
_SUSPECT = re.compile(
    r"error|abort|fatal|singular|too small|not parsed|no circuits|cannot|can't|could not|failed|interrupted|"
    r"out of range|unknown|undefined|illegal|not found",
    re.IGNORECASE,
)
# Only these forms on stdout: circuit listings appear there too, and a node may be called "error".
_STDOUT_FAILURE = re.compile(r"^\s*(fatal )?error ?:|simulation(\(s\))? (aborted|interrupted)", re.I)


def meaning_of_line(stream: str, line: str, *, loading: bool = False) -> Meaning:
    """Meaning of one line.

    Parameters
    ----------
    stream : str
        "stderr", "stdout" or "" (progress).
    line : str
        The line without its stream's name.
    loading : bool
        True while a netlist is read. Then every line on stderr that is not known to be harmless is a fault of
        the netlist: ngspice passes over what it does not understand and goes on with the rest.

    Returns
    -------
    Meaning
    """
    if stream != "stderr":
        return Meaning.FAILED if stream == "stdout" and _STDOUT_FAILURE.search(line) else Meaning.HARMLESS
    for meaning, pattern in _TABLE:
        if pattern.search(line):
            return meaning
    if loading:
        return Meaning.DECK
    return Meaning.FAILED if _SUSPECT.search(line) else Meaning.HARMLESS


def worst_meaning(lines: Iterable[tuple[str, str]], *, loading: bool = False) -> tuple[Meaning, str]:
    """The gravest meaning among lines, and the line that carries it.

    Parameters
    ----------
    lines : iterable of (stream, line)
        What ngspice printed.
    loading : bool
        See `meaning_of_line`.

    Returns
    -------
    meaning : Meaning
    line : str
        The line that tells most: the first of that meaning, or of the failures the one with the time; empty
        when all are harmless.
    """
    order = [Meaning.HARMLESS, Meaning.FAILED, Meaning.DECK, Meaning.DEAD]
    worst, where = Meaning.HARMLESS, ""
    for stream, line in lines:
        meaning = meaning_of_line(stream, line, loading=loading)
        graver = order.index(meaning) > order.index(worst)
        if graver or (meaning is worst is Meaning.FAILED and line.lstrip().startswith("doAnalyses")):
            worst, where = meaning, line.strip()
    return worst, where
