"""A reference from a dense ground-truth track."""

from dataclasses import dataclass

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.geometry import interpolate_poses
from locbench.session import PoseTrack

__all__ = ["Reference", "dense_reference"]


@dataclass(frozen=True)
class Reference:
    """Reference poses over time, with one standard uncertainty per coordinate for all.

    `gap_before` (N,) marks rows that end a gap: nothing is known inside it.
    """

    time_s: FloatArray
    pose: FloatArray
    gap_before: BoolArray
    position_std_m: float
    heading_std_rad: float

    def poses_at(self, times_s: FloatArray) -> FloatArray:
        """Return poses (M, 3), linearly interpolated; NaN outside the track and in its gaps."""
        return interpolate_poses(self.time_s, self.pose, self.gap_before, times_s)

    def position_covariance(self, count: int) -> FloatArray:
        """Return (count, 2, 2)."""
        return np.tile(self.position_std_m**2 * np.eye(2), (count, 1, 1))


def dense_reference(truth: PoseTrack) -> Reference:
    """Return the reference that a dense ground-truth track is."""
    return Reference(truth.time_s, truth.pose, truth.flagged, truth.position_std_m, truth.heading_std_rad)
