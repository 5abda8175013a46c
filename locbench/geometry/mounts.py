"""The rotation of a camera's mount."""

import numpy as np

from locbench.arrays import FloatArray

__all__ = ["mount_rotation"]


def mount_rotation(yaw_rad: FloatArray, pitch_rad: FloatArray, roll_rad: FloatArray) -> FloatArray:
    """Return (..., 3, 3) rotations from camera to robot axes: intrinsic yaw, pitch, roll.

    Axes are x forward, y left, z up, so a positive pitch looks down and a positive roll lifts the left side.
    """
    (cy, cp, cr), (sy, sp, sr) = (
        [np.cos(angle) for angle in (yaw_rad, pitch_rad, roll_rad)],
        [np.sin(angle) for angle in (yaw_rad, pitch_rad, roll_rad)],
    )
    rows = [
        [cy * cp, cy * sp * sr - sy * cr, cy * sp * cr + sy * sr],
        [sy * cp, sy * sp * sr + cy * cr, sy * sp * cr - cy * sr],
        [-sp, cp * sr, cp * cr],
    ]
    return np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)
