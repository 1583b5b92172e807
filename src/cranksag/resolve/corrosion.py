# SPDX-License-Identifier: GPL-3.0-or-later
"""Corroded joints by name: what a joint of the catalogue adds to the resistance of a circuit's joints."""

from __future__ import annotations

from cranksag.catalogue import Entry
from cranksag.parts.joints import corroded_resistance
from cranksag.resolve.fields import Section

__all__ = ["with_corrosion"]

WHOLLY = "as the catalogue states it corroded"
SOUND = "no joint is named as corroded"


def with_corrosion(section: Section, joints: float, side: str = "", part: Entry | None = None) -> float:
    """Resistance of joints [ohm] with the corrosion of the one that the fields `corroded` and `corrosion` name.

    `joints` are the sound ones, that one among them: at 0 % nothing is added, at 100 % what the catalogue states for
    the joint corroded over sound. The values noted of `joints` stay as written.

    Parameters
    ----------
    section : the table; the fields' problems go to its ledger
    joints : as written or estimated [ohm]
    side : what stands before the names of the fields, such as "return_"
    part : joint that the table is itself, where it names no other
    """
    entry = section.part("joint", f"{side}corroded") or part
    named = section.ledger.values[f"{section.prefix}.{side}corroded"].value != "none"
    usual = (1.0, WHOLLY) if named else (0.0, SOUND)
    share = section.number(f"{side}corrosion", *usual)
    if entry is None:
        return joints
    sound, corroded = (float(entry.value(name)) for name in ("resistance", "corroded_resistance"))
    if corroded < sound:
        field = f"{side}corroded" if named else "part"
        section.problem(
            field, f"the catalogue states {corroded:g} ohm corroded and {sound:g} ohm sound: corrosion lowers nothing"
        )
        return joints
    return joints + corroded_resistance(sound, corroded, share) - sound
