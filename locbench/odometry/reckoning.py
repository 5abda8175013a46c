"""Dead reckoning: poses and covariances from body increments alone."""

from collections.abc import Iterator

import numpy as np

from locbench.arrays import FloatArray
from locbench.config import MotionNoise
from locbench.geometry import exponential, rotation_matrix, transform_points
from locbench.odometry.motion import Motion
from locbench.odometry.noise import doubted_noise, transition
from locbench.statistics import propagated_covariance

__all__ = ["dead_reckon", "dead_reckon_covariance", "rotated"]

# Moments are summed about the start of a block, not the field's origin: far from it the sums would cancel digits.
_BLOCK = 256
# What the increments add is worked out for so many blocks at a time: hours of it would not fit beside the result.
_BLOCKS = 64


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
    covariance = np.empty((len(poses), 3, 3))
    current, origin = np.asarray(start_covariance, dtype=float), poses[0, :2]
    for block, added in _blocks(motion, poses, noise):
        offset = poses[block, :2] - origin
        carry, back = transition(offset), transition(-offset)
        moments = np.cumsum(propagated_covariance(back, added), axis=0)
        covariance[block] = propagated_covariance(carry, current + moments)
        current, origin = covariance[block.stop - 1], poses[block.stop - 1, :2]
    return covariance


def _blocks(motion: Motion, poses: FloatArray, noise: MotionNoise) -> Iterator[tuple[slice, FloatArray]]:
    """Yield blocks of B rows, and the covariances (B, 3, 3) that their increments add, field frame."""
    for first in range(0, len(poses), _BLOCK * _BLOCKS):
        rows = slice(first, min(first + _BLOCK * _BLOCKS, len(poses)))
        twist = motion.twist[rows]
        added = rotated(doubted_noise(twist, motion.duration_s[rows], motion.doubted[rows], noise), poses[rows, 2] - twist[:, 2])
        for begin in range(rows.start, rows.stop, _BLOCK):
            block = slice(begin, min(begin + _BLOCK, rows.stop))
            yield block, added[block.start - first : block.stop - first]
