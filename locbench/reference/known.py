"""What a reference says of where the robot was."""

from dataclasses import dataclass

import numpy as np

from locbench.arrays import BoolArray, FloatArray

__all__ = ["KnownPoses"]


@dataclass(frozen=True)
class KnownPoses:
    """Poses (M, 3) and covariances (M, 3, 3), field frame; NaN where unknown, be it the heading alone."""

    pose: FloatArray
    covariance: FloatArray

    @property
    def known(self) -> BoolArray:
        """(M,) whether at least the position is known."""
        return np.isfinite(self.pose[:, 0])
