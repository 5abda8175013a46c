"""The group SE(2) of planar rigid motions.

Formulas: Solà, Deray & Atchuthan, "A micro Lie theory for state estimation in robotics", arXiv:1812.01537 (2021);
Barfoot, "State Estimation for Robotics" (2017).
"""

import numpy as np

from locbench.arrays import BoolArray, FloatArray

__all__ = [
    "adjoint",
    "between",
    "circular_mean",
    "compose",
    "exponential",
    "interpolate_poses",
    "inverse",
    "left_jacobian",
    "logarithm",
    "right_jacobian",
    "rotation_matrix",
    "transform_points",
    "wrap_angle",
]

# Below this angle the closed forms of (1 - cos)/a and (a - sin)/a^2 lose digits and their series is exact to 1e-16.
_SMALL_ANGLE_RAD = 1e-3


def wrap_angle(angle_rad: FloatArray) -> FloatArray:
    """Return the angle in [-pi, pi); NaN stays NaN."""
    return np.asarray((np.asarray(angle_rad) + np.pi) % (2.0 * np.pi) - np.pi)


def circular_mean(angle_rad: FloatArray) -> float:
    """Return the direction of the mean unit vector, in (-pi, pi].

    Source: Mardia & Jupp, "Directional Statistics" (2000), section 2.2.
    """
    return float(np.arctan2(np.mean(np.sin(angle_rad)), np.mean(np.cos(angle_rad))))


def _side_by_side(first: FloatArray, *others: FloatArray) -> FloatArray:
    """Return (..., K) from K arrays of the shape of the first: `np.stack`, a third of its time on single poses."""
    joined = np.empty((*first.shape, 1 + len(others)))
    joined[..., 0] = first
    for place, part in enumerate(others, start=1):
        joined[..., place] = part
    return joined


def rotation_matrix(angle_rad: FloatArray) -> FloatArray:
    """Return rotation matrices of shape (..., 2, 2)."""
    cosine, sine = np.cos(angle_rad), np.sin(angle_rad)
    return _side_by_side(cosine, -sine, sine, cosine).reshape(*cosine.shape, 2, 2)


def transform_points(pose: FloatArray, points: FloatArray) -> FloatArray:
    """Return points (..., 2), given in the frame of `pose` (..., 3), in the frame the pose is expressed in."""
    pose, points = np.asarray(pose, dtype=float), np.asarray(points, dtype=float)
    cosine, sine = np.cos(pose[..., 2]), np.sin(pose[..., 2])
    x, y = points[..., 0], points[..., 1]
    return _side_by_side(pose[..., 0] + cosine * x - sine * y, pose[..., 1] + sine * x + cosine * y)


def compose(first: FloatArray, second: FloatArray) -> FloatArray:
    """Return the pose reached by `first`, then `second` expressed in the frame of `first`; theta is not wrapped."""
    first, second = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    moved = transform_points(first, second[..., :2])
    return _side_by_side(moved[..., 0], moved[..., 1], first[..., 2] + second[..., 2])


def inverse(pose: FloatArray) -> FloatArray:
    """Return the pose whose composition with `pose` is the identity."""
    pose = np.asarray(pose, dtype=float)
    cosine, sine = np.cos(pose[..., 2]), np.sin(pose[..., 2])
    x, y = pose[..., 0], pose[..., 1]
    return _side_by_side(-cosine * x - sine * y, sine * x - cosine * y, -pose[..., 2])


def between(start: FloatArray, end: FloatArray) -> FloatArray:
    """Return `end` expressed in the frame of `start`; theta wrapped to [-pi, pi)."""
    relative = compose(inverse(start), end)
    relative[..., 2] = wrap_angle(relative[..., 2])
    return relative


def _sine_and_versine_over(angle: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return sin(a) / a and (1 - cos a) / a, written with the half angle so that nothing cancels."""
    half = angle / 2.0
    sine = np.sin(half)
    share = np.where(half, sine / np.where(half, half, 1.0), 1.0)
    return np.cos(half) * share, sine * share


def exponential(twist: FloatArray) -> FloatArray:
    """Return the pose reached by moving along `twist` (dx, dy, dtheta) at constant body velocity."""
    twist = np.asarray(twist, dtype=float)
    dx, dy, angle = twist[..., 0], twist[..., 1], twist[..., 2]
    sine, versine = _sine_and_versine_over(angle)
    return _side_by_side(sine * dx - versine * dy, versine * dx + sine * dy, angle)


def logarithm(pose: FloatArray) -> FloatArray:
    """Return the twist whose exponential is `pose`, with its turn in [-pi, pi)."""
    pose = np.asarray(pose, dtype=float)
    angle = wrap_angle(pose[..., 2])
    half = angle / 2.0
    # inverse of [[s, -v], [v, s]] is [[h cot h, h], [-h, h cot h]] with h half the angle
    sinc_half = np.sinc(half / np.pi)
    cotangent = np.cos(half) / sinc_half
    x, y = pose[..., 0], pose[..., 1]
    return _side_by_side(cotangent * x + half * y, -half * x + cotangent * y, angle)


def adjoint(pose: FloatArray) -> FloatArray:
    """Return the (..., 3, 3) matrix that maps a twist in the body frame to the frame of `pose`."""
    pose = np.asarray(pose, dtype=float)
    matrix = np.zeros((*pose.shape[:-1], 3, 3))
    matrix[..., :2, :2] = rotation_matrix(pose[..., 2])
    matrix[..., 0, 2] = pose[..., 1]
    matrix[..., 1, 2] = -pose[..., 0]
    matrix[..., 2, 2] = 1.0
    return matrix


def _angle_minus_sine_over_square(angle: FloatArray) -> FloatArray:
    small = np.abs(angle) < _SMALL_ANGLE_RAD
    safe = np.where(small, 1.0, angle)
    return np.where(small, angle / 6.0 * (1.0 - angle**2 / 20.0), (safe - np.sin(safe)) / safe**2)


def _versine_over_square(angle: FloatArray) -> FloatArray:
    return 0.5 * np.sinc(angle / (2.0 * np.pi)) ** 2


def right_jacobian(twist: FloatArray) -> FloatArray:
    """Return J (..., 3, 3) with exp(twist + d) = exp(twist) exp(J d) to first order in d."""
    twist = np.asarray(twist, dtype=float)
    dx, dy, angle = twist[..., 0], twist[..., 1], twist[..., 2]
    sine, versine = _sine_and_versine_over(angle)
    cubic, square = _angle_minus_sine_over_square(angle), _versine_over_square(angle)
    matrix = np.zeros((*twist.shape[:-1], 3, 3))
    matrix[..., 0, 0] = matrix[..., 1, 1] = sine
    matrix[..., 0, 1] = versine
    matrix[..., 1, 0] = -versine
    matrix[..., 0, 2] = cubic * dx - square * dy
    matrix[..., 1, 2] = square * dx + cubic * dy
    matrix[..., 2, 2] = 1.0
    return matrix


def left_jacobian(twist: FloatArray) -> FloatArray:
    """Return J (..., 3, 3) with exp(twist + d) = exp(J d) exp(twist) to first order in d."""
    return right_jacobian(-np.asarray(twist, dtype=float))


def interpolate_poses(
    times_s: FloatArray, poses: FloatArray, gap_before: BoolArray, wanted_s: FloatArray
) -> FloatArray:
    """Return poses (M, 3) at `wanted_s` by linear interpolation, headings the short way round.

    Parameters
    ----------
    times_s
        (N,) non-decreasing.
    poses
        (N, 3).
    gap_before
        (N,) whether a gap ends at that row: a straight line across it would be invented.
    wanted_s
        (M,); a time outside the span or inside a gap gives NaN.
    """
    if not len(times_s):
        return np.full((len(wanted_s), 3), np.nan)
    columns = [poses[:, 0], poses[:, 1], np.unwrap(poses[:, 2])]
    found = np.stack([np.interp(wanted_s, times_s, c, left=np.nan, right=np.nan) for c in columns], axis=-1)
    after = np.clip(np.searchsorted(times_s, wanted_s, side="left"), 0, len(times_s) - 1)
    found[gap_before[after] & (wanted_s < times_s[after])] = np.nan
    return found
