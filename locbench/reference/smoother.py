"""Where the robot must have been at its fixes, given odometry between them.

An iterated fixed-interval smoother: each round linearises about the last trajectory and runs a forward filter and a
backward smoother, which is one Gauss-Newton step on the whole trajectory: Bell, "The iterated Kalman smoother as a
Gauss-Newton method", SIAM J. Optimization 4(3) 1994, 626-636. Odometry residuals are logarithms on SE(2); the backward
pass: Rauch, Tung & Striebel, AIAA Journal 3(8) 1965, 1445-1450.
"""

from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray
from locbench.geometry import (
    adjoint,
    between,
    compose,
    inverse,
    left_jacobian,
    logarithm,
    right_jacobian,
    wrap_angle,
)
from locbench.odometry import Travel
from locbench.statistics import propagated_covariance

__all__ = ["Fixes", "Linearised", "Smoothed", "condition", "linearised", "smooth"]

_MOST_ROUNDS = 50
_CONVERGED = 1e-11


@dataclass(frozen=True)
class Fixes:
    """Poses (N, 3) known from neither odometry nor tags, NaN headings where unknown, and covariances (N, 3, 3).

    The first one must have a heading.
    """

    pose: FloatArray
    covariance: FloatArray

    def __len__(self) -> int:
        return len(self.pose)


@dataclass(frozen=True)
class Smoothed:
    """Poses at the fixes given all fixes and all odometry.

    Attributes
    ----------
    pose, covariance
        (N, 3) with unwrapped headings and (N, 3, 3), field frame, additive error.
    with_next
        (N - 1, 3, 3) covariance of each pose (rows) with the next one (columns).
    converged
        Whether the rounds settled; if not, the poses mean nothing.
    """

    pose: FloatArray
    covariance: FloatArray
    with_next: FloatArray
    converged: bool


@dataclass(frozen=True)
class Linearised:
    """How deviations of two poses hang together: end = carry . begin + offset + noise of covariance `added`."""

    carry: FloatArray
    offset: FloatArray
    added: FloatArray


def linearised(begin: FloatArray, end: FloatArray, displacement: FloatArray, covariance: FloatArray) -> Linearised:
    """Return the first-order relation of small deviations, field frame, about the poses `begin` and `end` (..., 3).

    Parameters
    ----------
    displacement
        (..., 3) odometry from begin to end, in the frame of begin.
    covariance
        (..., 3, 3) its noise, in the frame of the end.
    """
    back = inverse(displacement)
    residual = logarithm(compose(back, between(begin, end)))
    to_end = np.linalg.solve(right_jacobian(residual), _into_body(end))
    from_begin = np.linalg.solve(left_jacobian(residual), adjoint(back) @ _into_body(begin))
    out = np.linalg.inv(to_end)
    return Linearised(
        carry=out @ from_begin,
        offset=-np.einsum("...ij,...j->...i", out, residual),
        added=propagated_covariance(out, covariance),
    )


def _into_body(pose: FloatArray) -> FloatArray:
    """Return (..., 3, 3) that turn field-frame deviations of poses into their body frames."""
    heading_only = np.zeros_like(pose)
    heading_only[..., 2] = -pose[..., 2]
    return adjoint(heading_only)


def condition(
    mean: FloatArray, covariance: FloatArray, residual: FloatArray, noise: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return a deviation's mean (3,) and covariance (3, 3) after measuring its first components, Joseph form.

    Parameters
    ----------
    residual
        (D,) measured deviation of the first D components.
    noise
        (D, D) covariance of the measurement.
    """
    size = len(residual)
    gain = np.linalg.solve(covariance[:size, :size] + noise, covariance[:size]).T
    keep = np.eye(3)
    keep[:, :size] -= gain
    return mean + gain @ (residual - mean[:size]), keep @ covariance @ keep.T + gain @ noise @ gain.T


def smooth(travel: Travel, fixes: Fixes) -> Smoothed:
    """Return the most probable poses at the fixes, with their covariance.

    Parameters
    ----------
    travel
        Odometry from each fix to the next, (N - 1) segments.
    fixes
        N fixes in order of time.
    """
    pose = _first_guess(travel.displacement, fixes.pose)
    for _ in range(_MOST_ROUNDS):
        step, covariance, with_next = _round(pose, travel, fixes)
        pose = pose + step
        if np.max(np.abs(step)) < _CONVERGED:
            return Smoothed(pose, covariance, with_next, True)
    return Smoothed(pose, covariance, with_next, False)


def _first_guess(displacement: FloatArray, fixed: FloatArray) -> FloatArray:
    """Return the fixes themselves, headings unwrapped along odometry and taken from it where unknown."""
    guess = fixed.copy()
    for k, step in enumerate(displacement, start=1):
        carried = guess[k - 1, 2] + step[2]
        known = np.isfinite(fixed[k, 2])
        guess[k, 2] = carried + wrap_angle(fixed[k, 2] - carried) if known else carried
    return guess


def deviation(fixed: FloatArray, pose: FloatArray) -> FloatArray:
    """Return how a fix (3,) deviates from a pose in the components it has: (3,), or (2,) without a heading."""
    residual = fixed - pose
    residual[2] = wrap_angle(residual[2])
    return residual if np.isfinite(residual[2]) else residual[:2]


def _round(pose: FloatArray, travel: Travel, fixes: Fixes) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the step (N, 3) of one Gauss-Newton round, covariances, and covariances with the next pose."""
    link = linearised(pose[:-1], pose[1:], travel.displacement, travel.covariance)
    count = len(pose)
    mean, covariance = np.zeros((count, 3)), np.zeros((count, 3, 3))
    expected, predicted = np.zeros((count, 3)), np.zeros((count, 3, 3))
    mean[0], covariance[0] = deviation(fixes.pose[0], pose[0]), fixes.covariance[0]
    for k in range(1, count):
        carry = link.carry[k - 1]
        expected[k] = carry @ mean[k - 1] + link.offset[k - 1]
        predicted[k] = carry @ covariance[k - 1] @ carry.T + link.added[k - 1]
        residual = deviation(fixes.pose[k], pose[k])
        noise = fixes.covariance[k][: len(residual), : len(residual)]
        mean[k], covariance[k] = condition(expected[k], predicted[k], residual, noise)
    with_next = np.zeros((count - 1, 3, 3))
    for k in range(count - 2, -1, -1):
        gain = np.linalg.solve(predicted[k + 1], link.carry[k] @ covariance[k]).T
        mean[k] = mean[k] + gain @ (mean[k + 1] - expected[k + 1])
        covariance[k] = covariance[k] + gain @ (covariance[k + 1] - predicted[k + 1]) @ gain.T
        with_next[k] = gain @ covariance[k + 1]
    return mean, covariance, with_next
