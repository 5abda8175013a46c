"""A reference from a dense ground-truth track."""

from dataclasses import dataclass

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.geometry import interpolate_poses
from locbench.reference.known import KnownPoses
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

    @property
    def covariance(self) -> FloatArray:
        """(3, 3) of every pose."""
        return np.diag(np.array([self.position_std_m, self.position_std_m, self.heading_std_rad]) ** 2)

    def at(self, times_s: FloatArray) -> KnownPoses:
        """Return the poses at M times with their covariances; nothing is known outside the track and in its gaps."""
        pose = self.poses_at(times_s)
        covariance = np.tile(self.covariance, (len(pose), 1, 1))
        covariance[~np.isfinite(pose[:, 0])] = np.nan
        return KnownPoses(pose, covariance)


def dense_reference(truth: PoseTrack) -> Reference:
    """Return the reference that a dense ground-truth track is."""
    return Reference(truth.time_s, truth.pose, truth.flagged, truth.position_std_m, truth.heading_std_rad)
