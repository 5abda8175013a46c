"""How far the robot moved between any two times, and how surely."""

from dataclasses import dataclass

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.config import MotionNoise
from locbench.odometry.motion import Motion
from locbench.odometry.reckoning import rotated

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
    legs = motion.lookup.legs(np.full(len(times_s), begin_s), times_s)
    return Travel(
        displacement=legs.displacement,
        covariance=rotated(legs.covariance(noise), -legs.displacement[:, 2]),
        flagged=_flagged_between(motion, begin_s, times_s),
    )


def _flagged_between(motion: Motion, begin_s: float, times_s: FloatArray) -> BoolArray:
    """Return (M,) whether a flagged interval, or a part of one, lies between."""
    flags, last_row = motion.flags_so_far, len(motion.time_s) - 1
    # the interval that holds the beginning begins at this row, the one that holds a later time ends at that
    first = np.searchsorted(motion.time_s, begin_s, side="right") - 1
    last = np.minimum(np.searchsorted(motion.time_s, times_s, side="left"), last_row)
    return np.asarray((flags[last] > flags[first]) & (times_s > begin_s))
