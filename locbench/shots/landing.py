"""Where a shot aimed from a believed pose lands.

The launcher does its part exactly: the shot goes where the goal would be if the belief were true. So the landing
point is T_true T_believed^-1 goal, whatever the turret's offset, as long as its travel allows the aim.
"""

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.config.shooter import Turret
from locbench.geometry import compose, inverse, rotation_matrix, transform_points, wrap_angle
from locbench.statistics import propagated_covariance

__all__ = ["aim_angle", "can_aim", "goal_seen", "goal_seen_covariance", "landing_offset", "line_of_fire"]


def landing_offset(true_pose: FloatArray, believed_pose: FloatArray, goal: FloatArray) -> FloatArray:
    """Return how far shots land from the goal: lateral (left positive) and along the line from robot to goal.

    Parameters
    ----------
    true_pose, believed_pose
        (K, 3); without a heading the result is NaN.
    goal
        (2,) centre of the opening, field frame.

    Returns
    -------
    (K, 2) lateral and along, in metres. A pure heading error e at distance d gives (d sin(-e), d (cos e - 1)).
    """
    carry = compose(true_pose, inverse(believed_pose))
    offset = transform_points(carry, np.broadcast_to(goal, (len(carry), 2))) - goal
    unit = line_of_fire(true_pose, goal)
    along = np.sum(offset * unit, axis=1)
    lateral = unit[:, 0] * offset[:, 1] - unit[:, 1] * offset[:, 0]
    return np.column_stack([lateral, along])


def line_of_fire(pose: FloatArray, goal: FloatArray) -> FloatArray:
    """Return the unit vectors (K, 2) from poses to the goal; field +x where the robot stands in the goal."""
    line = goal - pose[:, :2]
    distance = np.linalg.norm(line, axis=1, keepdims=True)
    return np.where(distance > 0.0, line / np.where(distance > 0.0, distance, 1.0), [1.0, 0.0])


def aim_angle(believed_pose: FloatArray, goal: FloatArray, turret: Turret) -> FloatArray:
    """Return (K,) how far the turret turns from the beginning of its travel to the goal it believes in, 0 to 2 pi.

    NaN where its travel does not reach that direction.
    """
    axis = transform_points(believed_pose, np.array([turret.x, turret.y]))
    line = goal - axis
    angle = wrap_angle(np.arctan2(line[:, 1], line[:, 0]) - believed_pose[:, 2] - turret.travel_from)
    turned = np.mod(angle, 2.0 * np.pi)
    return np.where(turned <= turret.travel_to - turret.travel_from, turned, np.nan)


def can_aim(believed_pose: FloatArray, goal: FloatArray, turret: Turret) -> BoolArray:
    """Return (K,) whether the turret's travel reaches the direction in which it believes the goal to be."""
    return np.isfinite(aim_angle(believed_pose, goal, turret))


def goal_seen(pose: FloatArray, goal: FloatArray) -> FloatArray:
    """Return where the goal lies in the robot's frame, (K, 2).

    A shot aimed from a believed pose lands as far from the goal as the two places of the goal, the believed and the
    true one, are apart.
    """
    return transform_points(inverse(pose), np.broadcast_to(goal, (len(pose), 2)))


def goal_seen_covariance(pose: FloatArray, covariance: FloatArray, goal: FloatArray) -> FloatArray:
    """Return what an uncertain pose (K, 3), (K, 3, 3) makes of `goal_seen`: (K, 2, 2), to first order."""
    seen = goal_seen(pose, goal)
    jacobian = np.zeros((len(pose), 2, 3))
    jacobian[:, :, :2] = -rotation_matrix(-pose[:, 2])
    jacobian[:, 0, 2], jacobian[:, 1, 2] = seen[:, 1], -seen[:, 0]
    return propagated_covariance(jacobian, covariance)
