"""Whether detections err anew each time or alike for a while: what averaging over a stand is worth."""

from dataclasses import dataclass

import numpy as np
from scipy import special

from locbench.arrays import FloatArray, IntArray

__all__ = ["SlowShare", "correlation_time", "slow_share"]

_FEWEST_IN_A_PASS = 4
_FEWEST_PASSES = 3


@dataclass(frozen=True)
class SlowShare:
    """Share of the variance that stays the same all through a pass, and its 95 % interval."""

    value: float
    low: float
    high: float
    passes: int


def slow_share(normalised: FloatArray, passed: IntArray, of_the_reference: float) -> SlowShare | None:
    """Return the share of a camera's variance that is common to each pass; None with too few passes, or without noise.

    Parameters
    ----------
    normalised
        (M,) good residuals in standard deviations.
    passed
        (M,) number of the pass of each.
    of_the_reference
        Share of the residuals' variance that the reference itself adds, less than 1. It errs alike all through a pass,
        so that much is taken off; the upper end of the interval holds even if it does not.

    Notes
    -----
    The intraclass correlation of a one-way analysis of variance with random effects, its interval from the F
    distribution: Searle, "Linear Models" (1971), chapter 9; Shrout & Fleiss, Psychological Bulletin 86(2) 1979,
    420-428.
    """
    values = normalised[np.isfinite(normalised)]
    groups = passed[np.isfinite(normalised)]
    _, index, counts = np.unique(groups, return_inverse=True, return_counts=True)
    keep = counts[index] >= _FEWEST_IN_A_PASS
    values, (_, index, counts) = values[keep], np.unique(groups[keep], return_inverse=True, return_counts=True)
    passes, total = len(counts), len(values)
    if passes < _FEWEST_PASSES:
        return None
    means = np.bincount(index, values) / counts
    between = float(np.sum(counts * (means - np.mean(values)) ** 2)) / (passes - 1)
    within = float(np.sum((values - means[index]) ** 2)) / (total - passes)
    if within == 0.0:
        return None
    size = (total - float(np.sum(counts**2)) / total) / (passes - 1)
    ratio = between / within
    upper = ratio / float(special.fdtri(passes - 1, total - passes, 0.025))
    lower = ratio / float(special.fdtri(passes - 1, total - passes, 0.975))
    own = 1.0 - of_the_reference
    return SlowShare(
        value=max(0.0, _share(ratio, size) - of_the_reference) / own,
        low=max(0.0, _share(lower, size) - of_the_reference) / own,
        high=min(1.0, _share(upper, size) / own),
        passes=passes,
    )


def _share(ratio: float, size: float) -> float:
    return float(np.clip((ratio - 1.0) / (ratio - 1.0 + size), 0.0, 1.0))


def correlation_time(normalised: FloatArray, time_s: FloatArray, passed: IntArray) -> float | None:
    """Return within which time residuals of one pass stay alike, in seconds: 0 if they do not.

    None with too few, or where they do not scatter.

    The lag at which the correlation of neighbours in a pass, taken to fall off exponentially, is 1/e.
    """
    good = np.isfinite(normalised)
    order = np.lexsort((time_s[good], passed[good]))
    values, times, passes = normalised[good][order], time_s[good][order], passed[good][order]
    next_to = np.flatnonzero((passes[1:] == passes[:-1]) & (times[1:] > times[:-1]))
    if len(next_to) < 10:
        return None
    values = np.clip(values, -3.0, 3.0)
    square = float(np.sum(values[next_to] ** 2))
    if square == 0.0:
        return None
    correlation = float(np.sum(values[next_to] * values[next_to + 1])) / square
    # not told from chance: two standard errors of a correlation that is none
    if correlation < 2.0 / np.sqrt(len(next_to)):
        return 0.0
    gap = float(np.median(times[next_to + 1] - times[next_to]))
    return -gap / float(np.log(min(correlation, 0.99)))
