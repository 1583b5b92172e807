# SPDX-License-Identifier: GPL-3.0-or-later
"""What a Monte Carlo says: the share with its interval, how many draws were enough, what drives failures.

The interval is that of Clopper and Pearson (exact: it covers at least its confidence) or of Wilson, both from
scipy.stats.

What drives failures: each drawn value of the boats that failed against those that held, by the test of Mann and
Whitney (its effect, the rank-biserial correlation, runs from -1 to 1). Where too few failed to say, places left are
filled by Spearman's rank correlation of the value with the margin, which needs no failures. What one strong part hides
from both comes out once its share is taken off: places still left are filled by the partial rank correlation with the
margin, the parts named so far held equal (R. L. Iman and W. J. Conover, Technometrics 21 (1979) 499-509, from memory).
All take any monotone law, and none sees an effect that turns round within its spread. What is not beyond chance is not
named, so that there may be fewer than three.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cranksag.studies.spreads import Spread

__all__ = [
    "INTERVALS",
    "Correlation",
    "Driver",
    "Running",
    "caution",
    "correlations",
    "drivers",
    "enough",
    "interval",
    "running",
]

INTERVALS = {"clopper-pearson": "exact", "wilson": "wilson"}
"""Intervals on a share, and their names in scipy.stats."""

DRIVERS = 3  # [-] how many are named
CHANCE = 0.05
"""Probability that any of the drivers named is one by chance alone (Bonferroni over all spreads and three tests)."""
TESTS = 3  # [-] failures, margin, margin beside those named
EVENTS = 10
"""Failures, and boats that hold, that each driver named should stand on: rule of thumb for regressions (P. Peduzzi and
others, J. Clin. Epidemiol. 49 (1996) 1373-1379, from memory)."""

LOOKS = 200  # [-] places along the draws at which the interval's width is looked at
LEAST_DRAWS = 4  # [-] for a rank correlation to have a p-value

FELL, MARGIN, BESIDE = "failed against held", "margin", "margin, those above held equal"
"""What a driver was found by."""

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Correlation:
    """How a drawn value moves the outcome.

    `failures`: rank-biserial effect, above 0 if it is higher in boats that fail, with its `failures_p`; `margin`:
    Spearman's rank correlation with the margin and its `margin_p`; None where they cannot be told; `source` of the
    spread.
    """

    path: str
    failures: float | None
    failures_p: float | None
    margin: float | None
    margin_p: float | None
    source: str

    @property
    def strength(self) -> float:
        """The larger of both effects [-]."""
        return max(abs(self.failures or 0.0), abs(self.margin or 0.0))


@dataclass(frozen=True, slots=True)
class Driver:
    """A spread that drives failures: `by` which of the two effects, `effect` [-], its `p_value`; `worse`: "higher" or
    "lower" values fail."""

    path: str
    by: str
    effect: float
    p_value: float
    worse: str
    source: str


@dataclass(frozen=True, slots=True)
class Running:
    """The share after some draws, with its interval."""

    draws: int
    share: float
    low: float
    high: float


def interval(held: int, draws: int, confidence: float = 0.95, method: str = "clopper-pearson") -> tuple[float, float]:
    """Confidence interval on a share of `held` in `draws` [-].

    Parameters
    ----------
    held, draws : counts
    confidence : [-]
    method : "clopper-pearson" (C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404-413) or "wilson"
        (E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209-212)

    Examples
    --------
    >>> [round(x, 4) for x in interval(81, 263, method="wilson")]
    [0.2553, 0.3662]
    """
    from scipy.stats import binomtest

    found = binomtest(held, draws).proportion_ci(confidence, method=INTERVALS[method])
    return float(found.low), float(found.high)


def correlations(
    spreads: Sequence[Spread],
    values: dict[str, Floats],
    margins: Floats,
    held: Flags,
    known: Flags,
) -> tuple[Correlation, ...]:
    from scipy.stats import mannwhitneyu, spearmanr

    stood, fell = known & held, known & ~held
    both = bool(stood.any() and fell.any())
    varied = known.sum() >= LEAST_DRAWS and np.ptp(margins[known]) > 0.0
    found = []
    for spread in spreads:
        drawn = values[spread.path]
        if np.ptp(drawn[known]) == 0.0:
            continue
        effect = effect_p = rank = rank_p = None
        if both:
            test = mannwhitneyu(drawn[fell], drawn[stood])
            effect = 2.0 * float(test.statistic) / (int(fell.sum()) * int(stood.sum())) - 1.0
            effect_p = float(test.pvalue)
        if varied:
            test = spearmanr(drawn[known], margins[known])
            rank, rank_p = float(test.statistic), float(test.pvalue)
        found.append(Correlation(spread.path, effect, effect_p, rank, rank_p, spread.source))
    return tuple(sorted(found, key=lambda c: (-c.strength, c.path)))


def drivers(
    found: Sequence[Correlation], values: Mapping[str, Floats], margins: Floats, known: Flags
) -> tuple[Driver, ...]:
    """What sets failed boats apart, strongest first; then what moves the margin; then what does beside those."""
    limit = CHANCE / (TESTS * max(len(found), 1))
    by_failures = [
        Driver(c.path, FELL, c.failures, c.failures_p, "higher" if c.failures > 0.0 else "lower", c.source)
        for c in found
        if c.failures is not None and c.failures_p is not None and c.failures_p < limit
    ]
    taken = {driver.path for driver in by_failures}
    by_margin = [
        Driver(c.path, MARGIN, c.margin, c.margin_p, "lower" if c.margin > 0.0 else "higher", c.source)
        for c in found
        if c.path not in taken and c.margin is not None and c.margin_p is not None and c.margin_p < limit
    ]
    ranked = [sorted(group, key=lambda d: (-abs(d.effect), d.path)) for group in (by_failures, by_margin)]
    named = (ranked[0] + ranked[1])[:DRIVERS]
    while 0 < len(named) < DRIVERS and (more := _beside(named, found, values, margins, known)):
        named.append(more)
    return tuple(named)


def caution(named: int, fell: int, draws: int) -> str:
    """What to bear in mind about the drivers `named` in so many failures among the draws; empty if nothing."""
    rarer = min(fell, draws - fell)
    if fell == 0 or fell == draws:
        told = "no boat fails" if fell == 0 else "every boat fails"
        return f"{told}: what is named moves the margin, and no failure shows it" if named else ""
    words = []
    if named < DRIVERS:
        words.append(f"{named} of {DRIVERS} stand out from chance with {fell} failures in {draws} draws")
    if named and rarer < EVENTS * named:
        what = f"{rarer} failures" if rarer == fell else f"{rarer} boats that hold"
        words.append(f"{what} are few, {EVENTS} for each part named are usual: take it as a hint")
    return "; ".join(words) + ("; more draws would tell" if words else "")


def _beside(
    named: Sequence[Driver], found: Sequence[Correlation], values: Mapping[str, Floats], margins: Floats, known: Flags
) -> Driver | None:
    """The strongest partial rank correlation with the margin beside the parts named; None if it may be chance."""
    from scipy.stats import rankdata, t

    taken, free = [driver.path for driver in named], int(known.sum()) - 2 - len(named)
    if free < 1:
        return None
    equal = np.column_stack([np.ones(int(known.sum())), *(rankdata(values[path][known]) for path in taken)])

    def left(drawn: Floats) -> Floats:
        ranks = rankdata(drawn[known])
        rest = ranks - equal @ np.linalg.lstsq(equal, ranks, rcond=None)[0]
        size = float(np.linalg.norm(rest))
        return np.asarray(rest / size if size > 1e-9 * np.linalg.norm(ranks) else np.zeros_like(rest))

    margin = left(margins)
    effects = [(float(left(values[c.path]) @ margin), c) for c in found if c.path not in taken]
    effect, best = max(effects, key=lambda pair: abs(pair[0]), default=(0.0, None))
    if best is None or abs(effect) >= 1.0:
        return None
    p_value = 2.0 * float(t.sf(abs(effect) * np.sqrt(free / (1.0 - effect**2)), free))
    if p_value >= CHANCE / (TESTS * len(found)):
        return None
    return Driver(best.path, BESIDE, effect, p_value, "lower" if effect > 0.0 else "higher", best.source)


def running(held: Flags, confidence: float, method: str) -> tuple[Running, ...]:
    """The share after 10, 20, 50, 100 ... draws and after all."""
    total = len(held)
    steps = sorted({s for e in range(1, 7) for m in (1, 2, 5) if (s := m * 10**e) < total} | {total})
    sums = np.cumsum(held)
    found = []
    for step in steps:
        count = int(sums[step - 1])
        found.append(Running(step, count / step, *interval(count, step, confidence, method)))
    return tuple(found)


def enough(held: Flags, confidence: float, method: str, width: float) -> int | None:
    """Draws from which on the interval stays narrower than `width`, None if it does not; `LOOKS` places are tried."""
    sums, total = np.cumsum(held), len(held)
    found = None
    for draw in np.unique(np.linspace(1, total, min(LOOKS, total)).astype(int))[::-1]:
        low, high = interval(int(sums[draw - 1]), int(draw), confidence, method)
        if high - low >= width:
            break
        found = int(draw)
    return found
