# SPDX-License-Identifier: GPL-3.0-or-later
"""One outside check as data: what is published and where, what the model is asked, and how far they may differ."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

Status = Literal["seen", "derived", "second hand", "common practice", "memory"]
Sense = Literal["value", "band", "at most", "at least"]

PROVENANCE: dict[str, str] = {
    "seen": "published",
    "derived": "published",
    "second hand": "published",
    "common practice": "common practice",
    "memory": "memory",
}
"""Provenance of the JSON contract by how the figure was come by: ``seen`` in the source named, ``derived`` from figures
seen there by arithmetic, ``second hand`` in a summary of the source; the other two name themselves."""

FAMILIES = (
    "battery",
    "starter",
    "solenoid",
    "engine and oil",
    "conductor",
    "joint and limit",
    "relay",
    "diode",
    "capacitor",
    "supercapacitor",
    "pack",
    "converter",
    "display",
    "fuse",
    "boat",
)
"""Part families in the order of the table; ``boat``: nothing but the whole circuit."""


@dataclass(frozen=True, slots=True)
class Check:
    """An outside check.

    name, family; source : title and place; status : how the figure was come by; published, allowed, unit : the
    figure and the difference it may have; sense : what `allowed` bounds (see `passes`); reason : why so much is
    allowed; compute : gives the model's figure in `unit`; spice : it comes from an ngspice run; whole : it is about
    the whole circuit; table : rows taken from one printed table share it; miss : why the model is known to miss.
    """

    name: str
    family: str
    source: str
    published: float
    allowed: float
    unit: str
    reason: str
    compute: Callable[[], float]
    status: Status = "seen"
    sense: Sense = "value"
    spice: bool = False
    whole: bool = False
    table: str = ""
    miss: str = ""

    @property
    def provenance(self) -> str:
        """As the JSON contract names it."""
        return PROVENANCE[self.status]

    @property
    def circular(self) -> bool:
        """Whether the model takes the published figure itself, so that the row guards transcription and
        netlist only."""
        return self.reason.startswith("circular")

    @property
    def printed_in(self) -> str:
        """The table the row was taken from."""
        return self.table or self.source

    def passes(self, computed: float) -> bool:
        """Whether a computed figure agrees.

        A value or band agrees within `allowed` of `published` (a band's middle); "at most" also asks that it does not
        exceed the published limit and "at least" that it does not fall below; `allowed` is then how far on the good
        side a sane figure may lie.
        """
        difference = computed - self.published
        if not math.isfinite(difference) or abs(difference) > self.allowed:
            return False
        if self.sense == "at most":
            return difference <= 0.0
        return self.sense != "at least" or difference >= 0.0


@dataclass(frozen=True, slots=True)
class Row:
    """A check with the model's figure; computed is None where the computation itself failed, `failure` says how."""

    check: Check
    computed: float | None
    failure: str = ""

    @property
    def passed(self) -> bool:
        """Whether the check agrees."""
        return self.computed is not None and self.check.passes(self.computed)


def band(low: float, high: float) -> tuple[float, float]:
    """Middle and half width of a published band, as `published` and `allowed`; use with sense "band"."""
    return 0.5 * (low + high), 0.5 * (high - low)
