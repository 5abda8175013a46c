"""How well redundant measurements check each other: redundancy numbers, smallest faults found, faults that look alike.

Sources: W. Baarda, "A testing procedure for use in geodetic networks", Netherlands Geodetic Commission, Publications on
Geodesy 2(5), 1968 (redundancy numbers, least detectable faults); E. Y. Chow and A. S. Willsky, "Analytical redundancy
and the design of robust failure detection systems", IEEE Trans. Automatic Control 29(7) 1984, 603-614 (parity).
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtri, chndtr

from locbench.arrays import BoolArray, FloatArray

__all__ = ["Reliability", "noncentrality", "reliability"]

# A share of a measurement's error below this is rounding: nothing contradicts it.
_NOTHING = 1e-9


def noncentrality(false_alarm: float, power: float, degrees_of_freedom: int = 1) -> float:
    """Return the noncentrality of a chi-square that exceeds its limit with a given power.

    Parameters
    ----------
    false_alarm
        Probability that the limit is exceeded where nothing is wrong.
    power
        Probability that it is exceeded at the noncentrality returned; more than `false_alarm`.
    degrees_of_freedom
        Of the chi-square; 1 at least.

    Raises
    ------
    ValueError
        If the power is not above the probability of a false alarm, or there are no degrees of freedom.
    """
    if degrees_of_freedom < 1:
        raise ValueError(f"need one degree of freedom at least, got {degrees_of_freedom}")
    if not 0.0 < false_alarm < power < 1.0:
        raise ValueError(f"need 0 < false alarm < power < 1, got {false_alarm} and {power}")
    limit = float(chdtri(degrees_of_freedom, false_alarm))
    most = 1.0
    while chndtr(limit, degrees_of_freedom, most) > 1.0 - power:
        most *= 2.0
    return float(brentq(lambda value: chndtr(limit, degrees_of_freedom, value) - (1.0 - power), 0.0, most, xtol=1e-12))


@dataclass(frozen=True)
class Reliability:
    """K uncorrelated measurements of fewer unknowns.

    `std` (K,) are their standard deviations. `parity` (R, K) maps measurements divided by them onto what no unknown
    explains, orthonormal; R may be 0.
    """

    std: FloatArray
    parity: FloatArray

    @cached_property
    def redundancy(self) -> FloatArray:
        """(K,) share of each measurement's error that shows; they sum up to R (Baarda 1968)."""
        return np.asarray(np.sum(self.parity**2, axis=0))

    def least_detectable(self, root_of_noncentrality: float) -> FloatArray:
        """Return (K,) the least fault of each measurement that is found with the power chosen; infinite if none is."""
        share = np.where(self.redundancy > _NOTHING, self.redundancy, np.nan)
        return np.where(np.isnan(share), np.inf, root_of_noncentrality * self.std / np.sqrt(share))

    @cached_property
    def cosine(self) -> FloatArray:
        """(K, K) of the angle between the parity vectors of two faults, whichever sign; 0 with one that shows nothing.

        Faults of a cosine of 1 cannot be told apart.
        """
        length = np.sqrt(np.where(self.redundancy > _NOTHING, self.redundancy, np.inf))
        return np.asarray(np.abs(self.parity.T @ self.parity) / np.outer(length, length))

    def alike(self, cosine: float) -> tuple[tuple[int, ...], ...]:
        """Return sets of measurements whose faults look alike: those linked by at least that cosine.

        Measurements whose faults do not show are in none.
        """
        linked = self.cosine >= cosine
        unseen = set(np.flatnonzero(self.redundancy > _NOTHING).tolist())
        sets: list[tuple[int, ...]] = []
        while unseen:
            group, waiting = set(), [min(unseen)]
            while waiting:
                one = waiting.pop()
                if one in unseen:
                    unseen.remove(one)
                    group.add(one)
                    waiting += np.flatnonzero(linked[one]).tolist()
            sets.append(tuple(sorted(group)))
        return tuple(sets)


def reliability(design: FloatArray, std: FloatArray) -> Reliability:
    """Return how measurements check each other.

    Parameters
    ----------
    design
        (K, U) how each of K measurements follows U unknowns; of any rank.
    std
        (K,) positive standard deviations.

    Raises
    ------
    ValueError
        If the shapes do not fit, a number of the design is not finite, or a standard deviation is not positive.
    """
    design, std = np.asarray(design, dtype=float), np.asarray(std, dtype=float)
    if design.ndim != 2 or std.shape != (len(design),) or not np.all(std > 0.0):
        raise ValueError("design must be (K, U) and std (K,), all positive")
    if not np.all(np.isfinite(design)):
        raise ValueError("every number of the design must be finite")
    weighted = design / std[:, np.newaxis]
    # columns to one size: metres and radians would otherwise decide about the rank
    size = np.linalg.norm(weighted, axis=0)
    left, singular, _ = np.linalg.svd(weighted / np.where(size > 0.0, size, 1.0), full_matrices=True)
    rank = int(np.sum(_beyond_rounding(singular)))
    return Reliability(std, left[:, rank:].T)


def _beyond_rounding(singular: FloatArray) -> BoolArray:
    return np.asarray(singular > 1e-9 * max(float(np.max(singular, initial=0.0)), 1e-300))
