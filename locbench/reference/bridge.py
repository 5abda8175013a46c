"""Poses between two smoothed ones: odometry carried from the first, corrected by where it misses the second."""

import numpy as np

from locbench.arrays import FloatArray
from locbench.geometry import adjoint, between, compose, inverse
from locbench.odometry import Travel
from locbench.reference.smoother import Smoothed, linearised
from locbench.statistics import propagated_covariance

__all__ = ["bridged", "carried_on"]

# Each round shortens the step a thousandfold or more: the deviations are centimetres, the path metres.
_ROUNDS = 4


def bridged(smoothed: Smoothed, first: int, to_time: Travel, to_next: Travel) -> tuple[FloatArray, FloatArray]:
    """Return poses (M, 3) and covariances (M, 3, 3) at M times between a smoothed pose and the next one.

    Parameters
    ----------
    smoothed
        The smoothed poses.
    first
        Number of the one before the times.
    to_time
        Odometry from it to each of the M times.
    to_next
        Odometry from it to the next smoothed pose, one entry.

    Notes
    -----
    Given both ends, a pose between them is the odometry from the first conditioned on the odometry to the second; the
    ends' own joint uncertainty is added. Iterated as the smoother is.
    """
    begin, end = smoothed.pose[first], smoothed.pose[first + 1]
    rest = between(to_time.displacement, to_next.displacement[0])
    onward = adjoint(inverse(rest))
    rest_noise = to_next.covariance[0] - propagated_covariance(onward, to_time.covariance)
    pose = compose(begin, to_time.displacement)
    for _ in range(_ROUNDS):
        there = linearised(begin, pose, to_time.displacement, to_time.covariance)
        back = linearised(pose, end, rest, rest_noise)
        seen = back.carry @ there.added
        # where nothing moved there is no noise to share out, and the total has no inverse
        inverse_total = np.linalg.pinv(seen @ np.swapaxes(back.carry, -1, -2) + back.added, 1e-12, hermitian=True)
        gain = np.swapaxes(seen, -1, -2) @ inverse_total
        missed = back.offset + np.einsum("mij,mj->mi", back.carry, there.offset)
        pose = pose + there.offset - np.einsum("mij,mj->mi", gain, missed)
    keep = np.eye(3) - gain @ back.carry
    from_begin = keep @ there.carry
    own = propagated_covariance(keep, there.added) + propagated_covariance(gain, back.added)
    ends = np.block(
        [
            [smoothed.covariance[first], smoothed.with_next[first]],
            [smoothed.with_next[first].T, smoothed.covariance[first + 1]],
        ]
    )
    weights = np.concatenate([from_begin, gain], axis=-1)
    return pose, own + propagated_covariance(weights, ends)


def carried_on(smoothed: Smoothed, last: int, to_time: Travel) -> tuple[FloatArray, FloatArray]:
    """Return poses and covariances at times after the last smoothed pose, from odometry; arguments as `bridged`."""
    pose = compose(smoothed.pose[last], to_time.displacement)
    link = linearised(np.broadcast_to(smoothed.pose[last], pose.shape), pose, to_time.displacement, to_time.covariance)
    return pose, propagated_covariance(link.carry, smoothed.covariance[last]) + link.added
