"""Dead reckoning: poses and covariances from body increments alone."""

import numpy as np

from locbench.arrays import FloatArray
from locbench.config import MotionNoise
from locbench.geometry import exponential, rotation_matrix, transform_points
from locbench.odometry.motion import Motion
from locbench.odometry.noise import transition
from locbench.statistics import propagated_covariance

__all__ = ["dead_reckon", "dead_reckon_covariance", "rotated"]


def dead_reckon(motion: Motion, start: FloatArray) -> FloatArray:
    """Return the poses (N, 3) reached from `start` (3,), headings not wrapped.

    Each increment is an exact SE(2) exponential; the sums are cumulative.
    """
    chord = exponential(motion.twist)
    heading = start[2] + np.cumsum(motion.twist[:, 2])
    before = heading - motion.twist[:, 2]
    turned = np.column_stack([np.zeros_like(before), np.zeros_like(before), before])
    steps = transform_points(turned, chord[:, :2])
    return np.column_stack([start[:2] + np.cumsum(steps, axis=0), heading])


def rotated(covariance: FloatArray, heading_rad: FloatArray) -> FloatArray:
    """Return pose covariances (..., 3, 3) carried from the body frame at `heading_rad` into the field frame."""
    turn = np.zeros((*np.shape(heading_rad), 3, 3))
    turn[..., :2, :2] = rotation_matrix(heading_rad)
    turn[..., 2, 2] = 1.0
    return propagated_covariance(turn, covariance)


def dead_reckon_covariance(
    motion: Motion, poses: FloatArray, start_covariance: FloatArray, noise: MotionNoise
) -> FloatArray:
    """Return the covariances (N, 3, 3) of dead-reckoned poses, field frame.

    Parameters
    ----------
    motion
        The increments.
    poses
        (N, 3) from `dead_reckon`.
    start_covariance
        (3, 3).
    noise
        The robot's motion noise.
    """
    legs = motion.lookup.legs(np.full(len(poses), motion.time_s[0]), motion.time_s)
    carry = transition(poses[:, :2] - poses[0, :2])
    added = rotated(legs.covariance(noise), poses[0, 2])
    return propagated_covariance(carry, start_covariance) + added
