"""What an estimator published: poses at events, and the rule for the times between them."""

from dataclasses import dataclass
from enum import Enum, auto

import numpy as np

from locbench.arrays import FloatArray
from locbench.config import MotionNoise
from locbench.geometry import compose, interpolate_poses
from locbench.odometry import Legs, Motion, transition
from locbench.odometry.reckoning import rotated
from locbench.statistics import propagated_covariance

__all__ = ["Between", "Sampled", "Track", "carried_along", "sample_track"]


class Between(Enum):
    """How a pose between two published ones is found."""

    ODOMETRY = auto()
    LINEAR = auto()
    HOLD = auto()


@dataclass(frozen=True)
class Track:
    """Published poses in order of time.

    Attributes
    ----------
    time_s
        (E,) non-decreasing; of equal times the later entry holds.
    pose
        (E, 3), headings not wrapped.
    covariance
        (E, 3, 3) field frame; NaN where the estimator gives none.
    valid_until_s
        (E,) after which an entry no longer stands; infinite for all but held poses.
    between
        How to find poses between entries.
    """

    time_s: FloatArray
    pose: FloatArray
    covariance: FloatArray
    valid_until_s: FloatArray
    between: Between


@dataclass(frozen=True)
class Sampled:
    """Poses (M, 3) and covariances (M, 3, 3) at wanted times; NaN where there is none."""

    time_s: FloatArray
    pose: FloatArray
    covariance: FloatArray


def sample_track(track: Track, motion: Motion, noise: MotionNoise, times_s: FloatArray) -> Sampled:
    """Return what the estimator published for each of the times.

    Parameters
    ----------
    track
        Published poses.
    motion
        The odometry that carries a pose from the last entry to the wanted time.
    noise
        The motion noise that this estimator believes.
    times_s
        (M,) in any order.
    """
    times_s = np.asarray(times_s, dtype=float)
    if track.between is Between.LINEAR:
        no_gap = np.zeros(len(track.time_s), dtype=bool)
        pose = interpolate_poses(track.time_s, track.pose, no_gap, times_s)
        return Sampled(times_s, pose, np.full((len(times_s), 3, 3), np.nan))
    last = np.searchsorted(track.time_s, times_s, side="right") - 1
    covered = (last >= 0) & (times_s <= motion.time_s[-1])
    last = np.maximum(last, 0)
    if len(track.time_s):
        covered &= times_s <= track.valid_until_s[last]
        pose, covariance = track.pose[last].copy(), track.covariance[last].copy()
    else:
        pose, covariance = np.full((len(times_s), 3), np.nan), np.full((len(times_s), 3, 3), np.nan)
    if track.between is Between.ODOMETRY:
        # what is not covered is carried nowhere
        until_s = np.where(covered, times_s, track.time_s[last])
        pose, covariance = carried_along(pose, covariance, motion.lookup.legs(track.time_s[last], until_s), noise)
    pose[~covered], covariance[~covered] = np.nan, np.nan
    return Sampled(times_s, pose, covariance)


def carried_along(
    pose: FloatArray, covariance: FloatArray, legs: Legs, noise: MotionNoise
) -> tuple[FloatArray, FloatArray]:
    """Return poses (M, 3) and covariances (M, 3, 3) at the ends of legs, from those at their beginnings."""
    moved = compose(pose, legs.displacement)
    carry = transition(moved[:, :2] - pose[:, :2])
    added = rotated(legs.covariance(noise), pose[:, 2])
    return moved, propagated_covariance(carry, covariance) + added
