"""Where a shot aimed from a believed pose lands.

The launcher does its part exactly: the shot goes where the goal would be if the belief were true. So the landing
point is T_true T_believed^-1 goal, whatever the turret's offset, as long as its travel allows the aim.
"""

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.config.shooter import Turret
from locbench.geometry import compose, inverse, transform_points, wrap_angle

__all__ = ["can_aim", "landing_offset", "line_of_fire"]


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


def can_aim(believed_pose: FloatArray, goal: FloatArray, turret: Turret) -> BoolArray:
    """Return (K,) whether the turret's travel reaches the direction in which it believes the goal to be."""
    axis = transform_points(believed_pose, np.array([turret.x, turret.y]))
    line = goal - axis
    angle = wrap_angle(np.arctan2(line[:, 1], line[:, 0]) - believed_pose[:, 2] - turret.travel_from)
    travel = turret.travel_to - turret.travel_from
    return np.asarray(np.mod(angle, 2.0 * np.pi) <= travel)
