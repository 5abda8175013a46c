"""How the motion noise of one interval adds to the covariance of the pose at its end.

Independent white noise along and across the direction of travel and in heading, per length, turn and time, is
integrated along the arc: Kelly, "Linearized error propagation in odometry", Int. J. Robotics Research 23(2) 2004,
179-218; Chong & Kleeman, ICRA 1997. The integral is taken by Gauss-Legendre quadrature, so splitting an interval
changes nothing.
"""

import math

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.config import MotionNoise
from locbench.geometry import exponential
from locbench.odometry.motion import Motion
from locbench.odometry.quadrature import QUADRATURE

__all__ = ["doubted_noise", "interval_noise", "noise_of", "transition"]

# So many rows at once stay in the processor's cache: half the time, and no large arrays beside the result.
_ROWS = 16_384


def transition(displacement: FloatArray) -> FloatArray:
    """Return the (..., 3, 3) derivative of the pose after a displacement with respect to the pose before.

    Parameters
    ----------
    displacement
        (..., 2) of the reference point, field frame.
    """
    matrix = np.zeros((*displacement.shape[:-1], 3, 3))
    matrix[..., range(3), range(3)] = 1.0
    matrix[..., 0, 2] = -displacement[..., 1]
    matrix[..., 1, 2] = displacement[..., 0]
    return matrix


def interval_noise(twist: FloatArray, duration_s: FloatArray, noise: MotionNoise) -> FloatArray:
    """Return the covariances (N, 3, 3) that undoubted intervals add, in the frame of the pose at their start.

    Parameters
    ----------
    twist
        (N, 3) body increments.
    duration_s
        (N,) lengths in time.
    noise
        Standard deviations per metre, turn and minute; variances grow linearly.
    """
    total = np.zeros((len(twist), 3, 3))
    for first in range(0, len(twist), _ROWS):
        rows = slice(first, first + _ROWS)
        _integrate(twist[rows], duration_s[rows], noise, total[rows])
    return total


def _integrate(twist: FloatArray, duration_s: FloatArray, noise: MotionNoise, total: FloatArray) -> None:
    """Add the integral along each arc to `total` (N, 3, 3)."""
    length = np.hypot(twist[:, 0], twist[:, 1])
    turn = np.abs(twist[:, 2])
    along = noise.along_per_metre**2 * length
    across = noise.across_per_metre**2 * length
    heading = (
        noise.heading_per_metre**2 * length
        + noise.heading_per_turn**2 * turn / (2.0 * math.pi)
        + noise.heading_per_minute**2 * duration_s / 60.0
    )
    direction = np.arctan2(twist[:, 1], twist[:, 0])
    end = exponential(twist)[:, :2]
    for fraction, share in QUADRATURE:
        here = exponential(fraction * twist)
        angle = direction + here[:, 2]
        cosine, sine = np.cos(angle), np.sin(angle)
        lever = end - here[:, :2]
        total[:, 0, 0] += share * (along * cosine**2 + across * sine**2 + heading * lever[:, 1] ** 2)
        total[:, 1, 1] += share * (along * sine**2 + across * cosine**2 + heading * lever[:, 0] ** 2)
        total[:, 0, 1] += share * ((along - across) * sine * cosine - heading * lever[:, 0] * lever[:, 1])
        total[:, 0, 2] -= share * heading * lever[:, 1]
        total[:, 1, 2] += share * heading * lever[:, 0]
        total[:, 2, 2] += share * heading
    total[:, 1, 0], total[:, 2, 0], total[:, 2, 1] = total[:, 0, 1], total[:, 0, 2], total[:, 1, 2]


def doubted_noise(twist: FloatArray, duration_s: FloatArray, doubted: BoolArray, noise: MotionNoise) -> FloatArray:
    """Return what `interval_noise` does, standard deviations times `noise.doubted_factor` where `doubted` (N,)."""
    scale = np.where(doubted, noise.doubted_factor**2, 1.0)
    return scale[:, np.newaxis, np.newaxis] * interval_noise(twist, duration_s, noise)


def noise_of(motion: Motion, noise: MotionNoise) -> FloatArray:
    """Return the covariances (N, 3, 3) that the intervals of a motion add, in the frame of the pose at their start."""
    return doubted_noise(motion.twist, motion.duration_s, motion.doubted, noise)
