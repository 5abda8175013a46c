"""Cumulative sums that tell a small, lasting shift from noise, and how long they run.

Sources: E. S. Page, "Continuous inspection schemes", Biometrika 41 (1954) 100-115; average run lengths by the integral
equation (same paper), solved by Gauss-Legendre nodes (Nystrom's method) and an elimination without differences: W. K.
Grassmann, M. I. Taksar and D. P. Heyman, "Regenerative analysis and steady state distributions for Markov chains",
Operations Research 33 (1985) 1107-1116 (from memory). Both sides together: C. W. Kemp, "The use of cumulative sums for
sampling inspection schemes", Applied Statistics 11 (1962) 16-31: 1/L = 1/L+ + 1/L-.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

from locbench.arrays import BoolArray, FloatArray, IntArray

__all__ = ["Cusum", "average_run_length", "cusum", "cusum_limit", "one_sided_run_length"]

# The density of a step has standard deviation 1: three nodes to each resolve it, and a narrow band takes 120.
_LEAST_NODES, _NODES_PER_STD = 120, 3.0
# wider bands would take many seconds
_WIDEST = 200.0
# below what floating point holds, so that every run length on the way to a limit is a number
_LONGEST_RUN = 1e100
_LOWEST, _GROWTH = 0.1, 1.25


@dataclass(frozen=True)
class Cusum:
    """Both sums at every step (N,), and from which step on each has been above zero: the index of its first step.

    Where a sum is zero, that is the index of the next step.
    """

    upper: FloatArray
    lower: FloatArray
    upper_since: IntArray
    lower_since: IntArray


def cusum(values: FloatArray, allowance: float, restart: BoolArray | None = None) -> Cusum:
    """Return the cumulative sums of standard normal values, from zero.

    Parameters
    ----------
    values
        (N,) of standard deviation 1; NaN counts as 0, so that both sums fall by the allowance.
    allowance
        What is taken off every value: half the shift that is looked for.
    restart
        (N,) steps before which both sums are set to zero.

    Notes
    -----
    S = max(0, S + x - k) is x summed up less its least sum so far: no loop over the steps.
    """
    steps = np.nan_to_num(np.asarray(values, dtype=float))
    begin = np.zeros(len(steps), dtype=bool) if restart is None else np.asarray(restart, dtype=bool)
    upper, upper_since = _one_side(steps - allowance, begin)
    lower, lower_since = _one_side(-steps - allowance, begin)
    return Cusum(upper, lower, upper_since, lower_since)


def _one_side(steps: FloatArray, begin: BoolArray) -> tuple[FloatArray, IntArray]:
    sums, since = np.zeros(len(steps)), np.zeros(len(steps), dtype=np.int64)
    bounds = np.unique(np.concatenate([[0], np.flatnonzero(begin), [len(steps)]]))
    for first, last in pairwise(bounds):
        path = np.concatenate([[0.0], np.cumsum(steps[first:last])])
        least = np.minimum.accumulate(path)
        sums[first:last] = (path - least)[1:]
        at_least = np.where(path <= least, np.arange(len(path)), 0)
        since[first:last] = first + np.maximum.accumulate(at_least)[1:]
    return sums, since


def one_sided_run_length(allowance: float, limit: float, shift: float = 0.0) -> float:
    """Return after how many standard normal values, shifted, the upper sum exceeds a limit on the average, from zero.

    Infinite if longer than floating point holds.

    Raises
    ------
    ValueError
        If the limit is not positive, or above 200.
    """
    if not 0.0 < limit <= _WIDEST:
        raise ValueError(f"the limit must be positive and at most {_WIDEST:g}, got {limit}")
    nodes, weights = _rule(max(_LEAST_NODES, math.ceil(_NODES_PER_STD * limit)))
    # L(u) = 1 + L(0) F(k - u - shift) + integral of L over (0, h); zero is the first place
    place, weight = np.append(0.0, limit * (nodes + 1.0) / 2.0), limit * weights / 2.0
    drift = shift - allowance
    moves = np.empty((len(place), len(place)))
    moves[:, 0] = ndtr(-drift - place)
    moves[:, 1:] = np.exp(-0.5 * (place[1:] - place[:, np.newaxis] - drift) ** 2) / math.sqrt(2.0 * math.pi) * weight
    return _steps_to_leave(moves, ndtr(place + drift - limit))


def _steps_to_leave(moves: FloatArray, leaves: FloatArray) -> float:
    """Return the mean number of steps from the first place until the chain is left; infinite if it hardly ever is.

    `moves` (P, P) are the probabilities to go from place to place, `leaves` (P,) to leave. Places are eliminated one by
    one. The probability to go on is summed up and not taken as 1 less that to stay: nothing cancels, however rare it
    is to leave.
    """
    moves, leaves, steps = moves.copy(), leaves.copy(), np.ones(len(leaves))
    for last in range(len(leaves) - 1, 0, -1):
        comes = moves[:last, last] / (np.sum(moves[last, :last]) + leaves[last])
        moves[:last, :last] += np.outer(comes, moves[last, :last])
        leaves[:last] += comes * leaves[last]
        steps[:last] += comes * steps[last]
    return float(steps[0] / leaves[0]) if leaves[0] > 0.0 else math.inf


@lru_cache(maxsize=8)
def _rule(nodes: int) -> tuple[FloatArray, FloatArray]:
    places, weights = np.polynomial.legendre.leggauss(nodes)
    return places, weights


def average_run_length(allowance: float, limit: float, shift: float = 0.0) -> float:
    """Return after how many values, shifted, either sum exceeds the limit on the average, from zero.

    Infinite if longer than floating point holds.

    Raises
    ------
    ValueError
        If the limit is not positive, or above 200.
    """
    up = one_sided_run_length(allowance, limit, shift)
    down = one_sided_run_length(allowance, limit, -shift)
    rate = 1.0 / up + 1.0 / down
    return 1.0 / rate if rate > 0.0 else math.inf


@lru_cache(maxsize=64)
def cusum_limit(allowance: float, run_length: float) -> float:
    """Return the limit that either sum exceeds once in that many unshifted values on the average.

    Raises
    ------
    ValueError
        If the run length is below that of the least limit, 0.1, above that of the widest, 200, or above 1e100.
    """

    def excess(limit: float) -> float:
        return math.log(average_run_length(allowance, limit) / run_length)

    lowest = highest = _LOWEST
    if not 0.0 < run_length <= _LONGEST_RUN or excess(highest) > 0.0:
        raise ValueError(f"no limit gives a run length of {run_length}")
    while excess(highest) < 0.0:
        if highest == _WIDEST:
            raise ValueError(f"no limit up to {_WIDEST:g} gives a run length of {run_length}")
        lowest, highest = highest, min(highest * _GROWTH, _WIDEST)
    return float(brentq(excess, lowest, highest, xtol=1e-9))
