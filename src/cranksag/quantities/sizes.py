# SPDX-License-Identifier: GPL-3.0-or-later
"""Conductor sizes: names in a sizing system, not areas."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from cranksag.errors import InputError
from cranksag.quantities.text import MAX_QUANTITY_LENGTH, RESPELL

AWG_NAMES: Final = (*(str(n) for n in range(22, 0, -1)), "1/0", "2/0", "3/0", "4/0")
"""American wire gauge names, thin to thick (ASTM B258)."""

AWG_SHELF_NAMES: Final = ("22", "20", "18", "16", "14", "12", "10", "8", "6", "4", "2", "1", "1/0", "2/0", "3/0", "4/0")
"""The AWG sizes a chandler keeps, thin to thick (common practice)."""

METRIC_NAMES: Final = (
    "0.5",
    "0.75",
    "1",
    "1.5",
    "2.5",
    "4",
    "6",
    "10",
    "16",
    "25",
    "35",
    "50",
    "70",
    "95",
    "120",
    "150",
    "185",
    "240",
    "300",
    "400",
)
"""Nominal cross-sections in mm2, thin to thick (IEC 60228)."""

SAE_NAMES: Final = ("20", "18", "16", "14", "12", "10", "8", "6", "4", "2", "1", "1/0", "2/0", "3/0", "4/0")
"""Gauge names of SAE J1127 battery cable and SAE J1128 primary cable, thin to thick."""

SIZE_NAMES: Final[Mapping[str, tuple[str, ...]]] = {"AWG": AWG_NAMES, "mm2": METRIC_NAMES, "SAE": SAE_NAMES}
"""Accepted names of each sizing system, thin to thick."""

_AUGHTS: Final = {"0": "1/0", "00": "2/0", "000": "3/0", "0000": "4/0"}
_GAUGE: Final = "[Aa][Ww][Gg]|[Ss][Aa][Ee]"
_SIZE = re.compile(
    rf"(?:(?P<before>{_GAUGE})\s*)?(?P<name>[0-9]{{1,4}}(?:/0)?(?:\.[0-9]{{1,4}})?)\s*(?P<after>{_GAUGE}|mm2)?"
)


@dataclass(frozen=True, slots=True)
class ConductorSize:
    """A conductor's size by its name in a sizing system; what it measures is for `parts.conductors`."""

    system: Literal["AWG", "mm2", "SAE"]
    name: str

    def __str__(self) -> str:
        return f"SAE {self.name}" if self.system == "SAE" else f"{self.name} {self.system}"


def parse_conductor_size(text: str) -> ConductorSize:
    """Read a conductor size: ``16 AWG``, ``2/0 AWG``, ``70 mm2`` or ``SAE 2/0``; AWG and SAE in any case of letters.

    Raises
    ------
    InputError : not a size, or not one of the standard's names; the neighbours are listed.
    """
    if len(text) > MAX_QUANTITY_LENGTH:
        raise InputError([f"longer than {MAX_QUANTITY_LENGTH} characters, write a size such as 16 AWG"])
    plain = text.translate(RESPELL).strip()
    match = _SIZE.fullmatch(plain)
    system = (match["before"] or match["after"]) if match else None
    if match is None or system is None or (match["before"] and match["after"]):
        if re.search(r"[0-9],[0-9]", plain):
            raise InputError(['a comma is not accepted, write the decimal mark as "." (such as "2.5 mm2")'])
        raise InputError(['not a conductor size, write "16 AWG", "2/0 AWG", "70 mm2" or "SAE 2/0"'])
    system = system if system == "mm2" else system.upper()
    name = match["name"]
    name = _AUGHTS.get(name, name) if system != "mm2" else name
    if system == "mm2" and "/" not in name:
        name = f"{float(name):g}"
    names = SIZE_NAMES[system]
    if name not in names:
        raise InputError([_size_problem(name, system, names)])
    return ConductorSize("AWG" if system == "AWG" else "SAE" if system == "SAE" else "mm2", name)


def _size_problem(name: str, system: str, names: tuple[str, ...]) -> str:
    standard = {"AWG": "ASTM B258", "mm2": "IEC 60228", "SAE": "SAE J1127 and J1128"}[system]
    reach = f"not a size this tool knows, {names[0]} to {names[-1]} {system} ({standard})"
    if "/" in name or ("." in name and system != "mm2"):
        return reach
    keys = [float(n) if "/" not in n else 1.0 - float(n.split("/")[0]) for n in names]
    wanted = float(name)
    below = [n for n, k in zip(names, keys, strict=True) if k < wanted]
    above = [n for n, k in zip(names, keys, strict=True) if k > wanted]
    if not below or not above:
        return reach
    first, second = (below[-1], above[0]) if system == "mm2" else (above[-1], below[0])
    return f"not a standard size ({standard}), the neighbours are {first} {system} and {second} {system}"
