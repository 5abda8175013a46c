"""The robot pose that a tag's pose on the robot means, and how errors carry over."""

import numpy as np

from locbench.arrays import FloatArray
from locbench.geometry import compose, inverse

__all__ = ["robot_poses", "robot_poses_slope"]


def robot_poses(tag_on_robot: FloatArray, tag_on_field: FloatArray) -> FloatArray:
    """Return robot poses (M, 3) in the field from the tags' poses on the robot (M, 3) and in the field (M, 3).

    A tag without heading gives NaN: it can be seen so from anywhere on a circle.
    """
    return compose(tag_on_field, inverse(tag_on_robot))


def robot_poses_slope(tag_on_robot: FloatArray, tag_on_field: FloatArray) -> FloatArray:
    """Return (M, 3, 3) derivatives of `robot_poses` by the tags' poses on the robot.

    With the tag at m on the robot, seen under heading h, and at t in the field, facing f: theta = f - h and
    p = t - R(theta) m, so dp = -R(theta) dm + R'(theta) m dh and dtheta = -dh.
    """
    heading = tag_on_field[:, 2] - tag_on_robot[:, 2]
    cosine, sine = np.cos(heading), np.sin(heading)
    x, y = tag_on_robot[:, 0], tag_on_robot[:, 1]
    slope = np.zeros((len(heading), 3, 3))
    slope[:, 0, 0], slope[:, 0, 1] = -cosine, sine
    slope[:, 1, 0], slope[:, 1, 1] = -sine, -cosine
    slope[:, 0, 2] = -sine * x - cosine * y
    slope[:, 1, 2] = cosine * x - sine * y
    slope[:, 2, 2] = -1.0
    return slope
