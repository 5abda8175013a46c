"""What a comparison between two parts of a log leaves, and its cost.

The cost is the negative log-likelihood of a Cauchy distribution, which outliers (flipped fixes, slips, shoves) cannot
dominate: Huber & Ronchetti, "Robust Statistics" (2009), chapter 4.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from locbench.arrays import FloatArray
from locbench.geometry import wrap_angle

__all__ = ["ALIKE", "NOTHING", "Residuals", "pose_residuals", "position_residuals"]

# so many fixes of neighbouring moments err alike that they count as one; common practice, no source
ALIKE = 8.0


@dataclass(frozen=True)
class Residuals:
    """What one comparison leaves: positions (N,) in metres and headings (N,) in radians, NaN where there is nothing.

    The scales (N,) are what a healthy log leaves. `independent` is how many count as independent evidence.
    """

    position_m: FloatArray
    heading_rad: FloatArray
    scale_m: FloatArray
    scale_rad: FloatArray
    independent: float

    @cached_property
    def count(self) -> int:
        """How many comparisons there are."""
        return int(np.sum(np.isfinite(self.position_m) | np.isfinite(self.heading_rad)))

    @cached_property
    def mean_cost(self) -> float:
        """Mean over residuals r, in units of their scales, of log(1 + r^2): of positions plus of headings."""
        return _mean_cost(self.position_m / self.scale_m) + _mean_cost(self.heading_rad / self.scale_rad)

    @property
    def typical_m(self) -> float:
        """The median distance; NaN where there is none."""
        return _median(self.position_m)

    @property
    def typical_rad(self) -> float:
        """The median angle; NaN where there is none."""
        return _median(self.heading_rad)


def _median(values: FloatArray) -> float:
    known = np.abs(values[np.isfinite(values)])
    return float(np.median(known)) if len(known) else float("nan")


def _mean_cost(residual: FloatArray) -> float:
    known = residual[np.isfinite(residual)]
    return float(np.mean(np.log1p(known**2))) if len(known) else 0.0


NOTHING = Residuals(np.zeros(0), np.zeros(0), np.ones(0), np.ones(0), 0.0)


def position_residuals(distance_m: FloatArray, scale_m: FloatArray, independent: float) -> Residuals:
    """Return what distances (N,) leave, where there are no headings to compare."""
    return Residuals(distance_m, np.full(len(distance_m), np.nan), scale_m, np.ones(len(distance_m)), independent)


def pose_residuals(
    error: FloatArray, scale_m: FloatArray | float, scale_rad: FloatArray | float, independent: float
) -> Residuals:
    """Return what errors (N, 3) of poses leave."""
    every = np.ones(len(error))
    distance = np.hypot(error[:, 0], error[:, 1])
    return Residuals(distance, wrap_angle(error[:, 2]), scale_m * every, scale_rad * every, independent)
