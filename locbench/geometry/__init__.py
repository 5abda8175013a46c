"""Planar rigid motions, alignment of point sets, and the kinematics of rolling wheels.

Poses are arrays whose last axis is (x, y, theta): metres, metres, radians counter-clockwise from field +x.
Twists are arrays whose last axis is (dx, dy, dtheta) in the body frame: x forward, y left.
Every function works over any leading axes.
"""

from locbench.geometry.alignment import Alignment, mirrored_alignment, rigid_alignment, similarity_alignment
from locbench.geometry.kinematics import rolling_row, unseen_motion
from locbench.geometry.mounts import mount_rotation
from locbench.geometry.se2 import (
    adjoint,
    between,
    circular_mean,
    compose,
    exponential,
    interpolate_poses,
    inverse,
    left_jacobian,
    logarithm,
    right_jacobian,
    rotation_matrix,
    transform_points,
    wrap_angle,
)

__all__ = [
    "Alignment",
    "adjoint",
    "between",
    "circular_mean",
    "compose",
    "exponential",
    "interpolate_poses",
    "inverse",
    "left_jacobian",
    "logarithm",
    "mirrored_alignment",
    "mount_rotation",
    "right_jacobian",
    "rigid_alignment",
    "rolling_row",
    "rotation_matrix",
    "similarity_alignment",
    "transform_points",
    "unseen_motion",
    "wrap_angle",
]
