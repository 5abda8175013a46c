"""How far the robot moved between any two times, and how surely."""

from dataclasses import dataclass

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.config import MotionNoise
from locbench.odometry.motion import Motion
from locbench.odometry.reckoning import dead_reckon, dead_reckon_covariance, rotated

__all__ = ["Travel", "travel_since"]


@dataclass(frozen=True)
class Travel:
    """What odometry says of the motion from one time to each of M later ones.

    Attributes
    ----------
    displacement
        (M, 3) pose then, in the frame of the pose at the beginning.
    covariance
        (M, 3, 3) what the motion noise adds, in the frame of the pose at the end.
    flagged
        (M,) whether an increment since the beginning is not known to be motion.
    """

    displacement: FloatArray
    covariance: FloatArray
    flagged: BoolArray


def travel_since(motion: Motion, noise: MotionNoise, begin_s: float, times_s: FloatArray) -> Travel:
    """Return the motion from `begin_s` to each of the times.

    Parameters
    ----------
    motion
        The odometry.
    noise
        Motion noise.
    begin_s
        Inside the span of the motion.
    times_s
        (M,) in any order, none before `begin_s` or after the last row.
    """
    fine = motion.divided(begin_s, times_s)
    pose = dead_reckon(fine, np.zeros(3))
    covariance = dead_reckon_covariance(fine, pose, np.zeros((3, 3)), noise)
    at = np.searchsorted(fine.time_s, times_s)
    return Travel(
        displacement=pose[at],
        covariance=rotated(covariance[at], -pose[at, 2]),
        flagged=np.logical_or.accumulate(fine.flagged)[at],
    )
