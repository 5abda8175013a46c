"""A dense truth with holes, filled from the marks."""

from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray
from locbench.reference.dense import Reference
from locbench.reference.known import KnownPoses
from locbench.reference.marks import SmoothedReference

__all__ = ["FilledReference"]


@dataclass(frozen=True)
class FilledReference:
    """The dense truth where it tells a pose; its position and the marks' heading where it has none; else the marks."""

    truth: Reference
    marks: SmoothedReference

    def at(self, times_s: FloatArray) -> KnownPoses:
        """Return the poses at M times with their covariances; nothing is known where neither tells anything."""
        dense, smoothed = self.truth.at(times_s), self.marks.at(times_s)
        pose, covariance = dense.pose.copy(), dense.covariance.copy()
        missing = ~dense.known
        pose[missing], covariance[missing] = smoothed.pose[missing], smoothed.covariance[missing]
        headless = dense.known & ~np.isfinite(dense.pose[:, 2])
        pose[headless, 2] = smoothed.pose[headless, 2]
        # the truth's position is measured apart from the heading that the marks give
        covariance[headless, 2, 2] = smoothed.covariance[headless, 2, 2]
        return KnownPoses(pose, covariance)
