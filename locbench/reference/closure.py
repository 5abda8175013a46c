"""Whether odometry closes between two fixes: a slip, a shove or a gap breaks the reference between them.

The squared innovation of each fix, predicted from everything before it, is chi-square with as many degrees of freedom
as the fix has components if odometry did what its noise says: Bar-Shalom, Li & Kirubarajan, "Estimation with
Applications to Tracking and Navigation" (2001), section 5.4. Where it is larger than expected but not beyond the 95 %
point, the odometry noise of that interval is scaled up to agree: Birge, Phys. Rev. 40 (1932) 207-227.
"""

from dataclasses import dataclass

import numpy as np

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.geometry import compose
from locbench.odometry import Travel
from locbench.reference.smoother import Fixes, condition, deviation, linearised
from locbench.statistics import chi_square_quantile

__all__ = ["Closure", "close_intervals"]

_BROKEN_BEYOND = 0.95


@dataclass(frozen=True)
class Closure:
    """One entry per interval between neighbouring fixes.

    Attributes
    ----------
    chi_square
        (N - 1,) squared innovation of the fix that ends the interval.
    degrees_of_freedom
        (N - 1,) 3, or 2 where that fix has no heading.
    flagged
        (N - 1,) whether odometry itself is in doubt inside.
    """

    chi_square: FloatArray
    degrees_of_freedom: IntArray
    flagged: BoolArray

    @property
    def misses(self) -> BoolArray:
        """(N - 1,) whether odometry misses the fix beyond the 95 % point."""
        limits = [chi_square_quantile(_BROKEN_BEYOND, size) for size in self.degrees_of_freedom]
        return np.asarray(~(self.chi_square <= np.array(limits)))

    @property
    def broken(self) -> BoolArray:
        """(N - 1,) whether the interval can judge nothing."""
        return self.misses | self.flagged

    @property
    def scale(self) -> FloatArray:
        """(N - 1,) by how much the covariance of odometry has to grow to agree with the fixes; at least 1."""
        return np.maximum(1.0, self.chi_square / self.degrees_of_freedom)


def close_intervals(travel: Travel, fixes: Fixes) -> Closure:
    """Return how well odometry meets each fix, coming from everything before it.

    Parameters
    ----------
    travel
        Odometry from each fix to the next, (N - 1) segments.
    fixes
        N fixes in order of time. An interval that misses is left behind with its noise scaled up, so that it does not
        spoil the next one.
    """
    count = len(fixes) - 1
    squared, size = np.zeros(count), np.zeros(count, dtype=np.int64)
    pose, covariance = fixes.pose[0], fixes.covariance[0]
    for k in range(count):
        carried = compose(pose, travel.displacement[k])
        link = linearised(pose, carried, travel.displacement[k], travel.covariance[k])
        residual = deviation(fixes.pose[k + 1], carried)
        size[k] = len(residual)
        noise = fixes.covariance[k + 1][: size[k], : size[k]]
        before = link.carry @ covariance @ link.carry.T
        total = (before + link.added)[: size[k], : size[k]] + noise
        squared[k] = residual @ np.linalg.solve(total, residual)
        scale = max(1.0, squared[k] / size[k])
        step, covariance = condition(np.zeros(3), before + scale * link.added, residual, noise)
        pose = carried + step
    return Closure(squared, size, travel.flagged)
