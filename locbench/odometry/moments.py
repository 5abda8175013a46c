"""Motion noise between two poses without the size of the noise: sums that any motion noise is linear in.

White noise along and across the way and in heading adds a covariance that is linear in its variances (Kelly, Int. J.
Robotics Research 23(2) 2004, 179-218; Chong & Kleeman, ICRA 1997). So a piece of the way is summed up once, in numbers
that no setting changes; two pieces after one another are summed up by adding, once the second is turned and moved to
the frame of the first.
"""

import math

import numpy as np

from locbench.arrays import FloatArray
from locbench.config import MotionNoise
from locbench.geometry import exponential
from locbench.odometry.quadrature import QUADRATURE

__all__ = ["MOMENTS", "interval_moments", "moved_moments", "noise_bases", "packed_noise", "unpacked", "variances"]

# w cos^2, w cos sin, w sin^2 of the direction of travel, weighed by length; then for each of the three causes of
# heading noise its weight and the weight's moments about the origin: w, wx, wy, wxx, wxy, wyy
MOMENTS = 21
_CAUSES = (3, 9, 15)


def variances(noise: MotionNoise) -> list[float]:
    """Return the five variances: along, across, heading per metre, per turn, per minute."""
    stds = (
        noise.along_per_metre,
        noise.across_per_metre,
        noise.heading_per_metre,
        noise.heading_per_turn,
        noise.heading_per_minute,
    )
    return [std**2 for std in stds]


def interval_moments(twist: FloatArray, duration_s: FloatArray) -> FloatArray:
    """Return moments (N, 21) of intervals, each in the frame of the pose at its start.

    Parameters
    ----------
    twist
        (N, 3) body increments.
    duration_s
        (N,) lengths in time.
    """
    length = np.hypot(twist[:, 0], twist[:, 1])
    causes = (length, np.abs(twist[:, 2]) / (2.0 * math.pi), duration_s / 60.0)
    direction = np.arctan2(twist[:, 1], twist[:, 0])
    total = np.zeros((len(twist), MOMENTS))
    for fraction, share in QUADRATURE:
        here = exponential(fraction * twist)
        angle, x, y = direction + here[:, 2], here[:, 0], here[:, 1]
        cosine, sine = np.cos(angle), np.sin(angle)
        for column, factor in enumerate((cosine**2, cosine * sine, sine**2)):
            total[:, column] += share * length * factor
        for first, cause in zip(_CAUSES, causes, strict=True):
            weight = share * cause
            total[:, first] += weight
            for column, factor in enumerate((x, y, x * x, x * y, y * y), start=first + 1):
                total[:, column] += weight * factor
    return total


def moved_moments(pose: FloatArray, moments: FloatArray) -> FloatArray:
    """Return moments (..., 21), given in the frame of `pose` (..., 3), in the frame the pose is expressed in."""
    cosine, sine, a, b = np.cos(pose[..., 2]), np.sin(pose[..., 2]), pose[..., 0], pose[..., 1]
    moved = np.empty(np.broadcast_shapes(pose.shape[:-1], moments.shape[:-1]) + (MOMENTS,))
    _turn_square(cosine, sine, moments[..., 0:3], moved[..., 0:3])
    for first in _CAUSES:
        weight, x, y = (moments[..., first + i] for i in range(3))
        # about the origin, in the axes of the frame; then the origin is moved to the pose
        u, v = cosine * x - sine * y, sine * x + cosine * y
        _turn_square(cosine, sine, moments[..., first + 3 : first + 6], moved[..., first + 3 : first + 6])
        moved[..., first] = weight
        moved[..., first + 1] = u + weight * a
        moved[..., first + 2] = v + weight * b
        moved[..., first + 3] += a * (2.0 * u + weight * a)
        moved[..., first + 4] += a * v + b * u + weight * a * b
        moved[..., first + 5] += b * (2.0 * v + weight * b)
    return moved


def _turn_square(cosine: FloatArray, sine: FloatArray, square: FloatArray, out: FloatArray) -> None:
    xx, xy, yy = square[..., 0], square[..., 1], square[..., 2]
    out[..., 0] = cosine**2 * xx - 2.0 * cosine * sine * xy + sine**2 * yy
    out[..., 1] = cosine * sine * (xx - yy) + (cosine**2 - sine**2) * xy
    out[..., 2] = sine**2 * xx + 2.0 * cosine * sine * xy + cosine**2 * yy


def noise_bases(displacement: FloatArray, moments: FloatArray) -> FloatArray:
    """Return bases (..., 21): what each variance adds to the covariance of the end, in the frame of the start.

    Noise along the way adds xx, xy, yy; noise across it yy, -xy, xx of the same three. Each of the three causes of
    heading noise adds xx, xy, yy, x-theta, y-theta, theta-theta.

    Parameters
    ----------
    displacement
        (..., 3) the pose at the end.
    moments
        (..., 21) of the way there.
    """
    bases = np.empty(moments.shape)
    bases[..., 0:3] = moments[..., 0:3]
    a, b = displacement[..., 0], displacement[..., 1]
    for first in _CAUSES:
        weight, x, y, wxx, wxy, wyy = (moments[..., first + i] for i in range(6))
        bases[..., first] = b * (weight * b - 2.0 * y) + wyy
        bases[..., first + 1] = a * y + b * x - weight * a * b - wxy
        bases[..., first + 2] = a * (weight * a - 2.0 * x) + wxx
        bases[..., first + 3] = y - weight * b
        bases[..., first + 4] = weight * a - x
        bases[..., first + 5] = weight
    return bases


def unpacked(numbers: FloatArray) -> FloatArray:
    """Return the covariances (..., 3, 3) of packed ones (..., 6): xx, xy, yy, x-theta, y-theta, theta-theta."""
    return np.asarray(numbers[..., [0, 1, 3, 1, 2, 4, 3, 4, 5]].reshape(*numbers.shape[:-1], 3, 3))


def packed_noise(bases: FloatArray, noise: MotionNoise) -> FloatArray:
    """Return (..., 6) the covariance that noise makes of bases (..., 21): xx, xy, yy, x-theta, y-theta, theta-theta."""
    along, across, *causes = variances(noise)
    parts = [variance * bases[..., first : first + 6] for variance, first in zip(causes, _CAUSES, strict=True)]
    packed: FloatArray = np.sum(parts, axis=0)
    packed[..., 0:3] += along * bases[..., 0:3] + across * bases[..., [2, 1, 0]] * [1.0, -1.0, 1.0]
    return packed
