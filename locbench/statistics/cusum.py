"""Cumulative sums that tell a small, lasting shift from noise, and how long they run.

Sources: E. S. Page, "Continuous inspection schemes", Biometrika 41 (1954) 100-115; average run lengths by the integral
equation (same paper), solved by Gauss-Legendre nodes (Nystrom's method); both sides together by C. W. Kemp, "The use of
cumulative sums for sampling inspection schemes", Applied Statistics 11 (1962) 16-31: 1/L = 1/L+ + 1/L-.
"""

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

from locbench.arrays import BoolArray, FloatArray, IntArray

__all__ = ["Cusum", "average_run_length", "cusum", "cusum_limit", "one_sided_run_length"]

_NODES = 120
# beyond this run length the integral equation is too badly conditioned to be solved
_LONGEST_RUN = 1e10
_LOWEST, _GROWTH = 0.1, 1.25


@dataclass(frozen=True)
class Cusum:
    """Both sums at every step (N,), and from which step on each has been above zero: the index of its first step."""

    upper: FloatArray
    lower: FloatArray
    upper_since: IntArray
    lower_since: IntArray


def cusum(values: FloatArray, allowance: float, restart: BoolArray | None = None) -> Cusum:
    """Return the cumulative sums of standard normal values, from zero.

    Parameters
    ----------
    values
        (N,) of standard deviation 1; NaN adds nothing.
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

    Raises
    ------
    ValueError
        If the limit is not positive.
    """
    if not limit > 0.0:
        raise ValueError(f"the limit must be positive, got {limit}")
    nodes, weights = _rule()
    place, weight = limit * (nodes + 1.0) / 2.0, limit * weights / 2.0

    def density(to: FloatArray, start: FloatArray) -> FloatArray:
        return np.asarray(np.exp(-0.5 * (to - start + allowance - shift) ** 2) / np.sqrt(2.0 * np.pi))

    # L(u) = 1 + L(0) F(k - u - shift) + integral of L over (0, h); the last unknown is L(0)
    at = np.append(place, 0.0)
    matrix = np.zeros((_NODES + 1, _NODES + 1))
    matrix[:, :-1] = density(place[np.newaxis, :], at[:, np.newaxis]) * weight
    matrix[:, -1] = ndtr(allowance - at - shift)
    return float(np.linalg.solve(np.eye(_NODES + 1) - matrix, np.ones(_NODES + 1))[-1])


@lru_cache(maxsize=1)
def _rule() -> tuple[FloatArray, FloatArray]:
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    return nodes, weights


def average_run_length(allowance: float, limit: float, shift: float = 0.0) -> float:
    """Return after how many values, shifted, either sum exceeds the limit on the average, from zero."""
    up = one_sided_run_length(allowance, limit, shift)
    down = one_sided_run_length(allowance, limit, -shift)
    return 1.0 / (1.0 / up + 1.0 / down)


@lru_cache(maxsize=64)
def cusum_limit(allowance: float, run_length: float) -> float:
    """Return the limit that either sum exceeds once in that many unshifted values on the average.

    Raises
    ------
    ValueError
        If the run length is not between that of the least limit, 0.1, and 1e10.
    """

    def excess(limit: float) -> float:
        return float(np.log(average_run_length(allowance, limit) / run_length))

    if run_length > _LONGEST_RUN or excess(_LOWEST) > 0.0:
        raise ValueError(f"no limit gives a run length of {run_length}")
    highest = _LOWEST
    while excess(highest) < 0.0:
        highest *= _GROWTH
    return float(brentq(excess, highest / _GROWTH, highest, xtol=1e-9))
