# SPDX-License-Identifier: GPL-3.0-or-later
"""Whether a fuse opens on a current that varies: the band's times held against the worst stretch of each length."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from cranksag.parts.fuse import FuseType, opening_time
from cranksag.verdict.series import Series

__all__ = ["Front", "fuse_front"]

SHORTEST, FINER = 1e-3, 1.05  # [s], [-] stretches in which a fuse is asked to open: the first, and one to the next


@dataclass(frozen=True, slots=True)
class Front:
    """What the worst stretches of a current do to a fuse, however much is left in the end.

    `may`, `must`: length of the shortest stretch in which it may open, and in which it must (infinite if in none) [s];
    `current`: rms in the latter, or else the former [A].
    """

    may: float
    must: float
    current: float


class _Stretches:
    """The worst rms of a current over stretches of any length."""

    def __init__(self, time: Series, current: Series) -> None:
        self.time = time
        self.total = np.concatenate(([0.0], np.cumsum(0.5 * np.diff(time) * (current[1:] ** 2 + current[:-1] ** 2))))

    def rms(self, length: float) -> float:
        """Highest over any stretch of `length` [s], no longer than the series [A]."""
        time, total = self.time, self.total
        # a stretch that holds most begins or ends at a sample
        ends = np.concatenate((time[np.searchsorted(time, time[0] + length) :], [time[-1]]))
        begins = time[: np.searchsorted(time, time[-1] - length, side="right")]
        most = max(
            float(np.max(np.interp(ends, time, total) - np.interp(ends - length, time, total))),
            float(np.max(np.interp(begins + length, time, total) - np.interp(begins, time, total), initial=0.0)),
        )
        return math.sqrt(max(most, 0.0) / length)


def fuse_front(time: Series, current: Series, fuse: FuseType, rating: float) -> Front | None:
    """Whether some stretch of a current opens a fuse by itself; None where none may.

    The I2t of a stretch is held against what the fuse's band passes in the same time. In the times of the band's last
    point that is the melting I2t; it holds no longer than that, because heat then leaves, and the I2t of a small
    overload that lasts for seconds would "melt" a fuse that need not open at all.

    Parameters
    ----------
    time, current : (n,) [s], [A]
    fuse : type
    rating : [A]

    Returns
    -------
    Front or None
    """
    if float(np.abs(current).max()) < fuse.band[0][0] * rating or time[-1] <= time[0]:
        return None
    stretches, whole = _Stretches(time, current), float(time[-1] - time[0])
    may = at_may = 0.0
    steps = max(math.ceil(math.log(whole / SHORTEST) / math.log(FINER)), 1)
    for length in np.geomspace(min(SHORTEST, whole), whole, steps + 1):
        worst = stretches.rms(float(length))
        shortest, longest = opening_time(fuse, rating, worst)
        if not may and shortest <= length:
            may, at_may = float(length), worst
        if longest <= length:
            return Front(may, float(length), worst)
    return Front(may, math.inf, at_may) if may else None
