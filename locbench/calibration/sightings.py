"""How detections of a drive differ from what shifted constants would make them read."""

import numpy as np

from locbench.arrays import FloatArray
from locbench.calibration.constants import ConstantKind, Constants
from locbench.calibration.drive import Drive, Seen
from locbench.geometry import between, compose, inverse, rotation_matrix, wrap_angle
from locbench.session import TagKind
from locbench.vision import predicted_values

__all__ = ["detection_residuals", "poses_when_seen"]

_PLANE = [0, 1, 3]


def poses_when_seen(
    drive: Drive, seen: Seen, path: FloatArray, knots: FloatArray, constants: Constants, shifts: FloatArray
) -> FloatArray:
    """Return (M, 3) where the robot was when each picture was taken.

    Parameters
    ----------
    path
        (N, 3) dead-reckoned poses, in any frame.
    knots
        (n, 3) poses of the robot at the drive's knots.
    shifts
        (P,) of the constants, for how late the stamps are.
    """
    late = constants.shift(shifts, ConstantKind.LATENCY, seen.camera)
    time = drive.wheels.time_s
    captured = np.clip(seen.detections.captured_s - late, time[0], time[-1])
    there = np.stack([np.interp(captured, time, column) for column in path.T], axis=-1)
    since = between(path[drive.knot_row[seen.knot]], there)
    return compose(knots[seen.knot], since)


def detection_residuals(seen: Seen, poses: FloatArray, constants: Constants, shifts: FloatArray) -> FloatArray:
    """Return (M, D) detections minus what they should read, along and across the line of sight, in standard deviations.

    Zero where a detection lacks the component.

    Parameters
    ----------
    poses
        (M, 3) of the robot at capture.
    shifts
        (P,) of the constants, for where the camera sits.
    """
    found = seen.detections
    mounts = _real_mounts(seen, constants, shifts)
    expected = predicted_values(found, seen.tags, poses, seen.mounts, mounts)
    error = found.value - expected
    match found.kind:
        case TagKind.ROBOT_POSE | TagKind.TAG_POSE:
            error[:, 2] = wrap_angle(error[:, 2])
            back = rotation_matrix(-seen.turn)
            error[:, :2] = (back @ error[:, :2, np.newaxis])[..., 0]
        case TagKind.BEARING | TagKind.RANGE_BEARING:
            error[:, -1] = wrap_angle(error[:, -1])
        case TagKind.RANGE:
            pass
    scaled = error / seen.std
    return np.where(np.isfinite(scaled), scaled, 0.0)


def _real_mounts(seen: Seen, constants: Constants, shifts: FloatArray) -> FloatArray:
    """Return (M, 6) where the cameras sit: what carries them turns them as the files say."""
    kinds = (ConstantKind.MOUNT_X, ConstantKind.MOUNT_Y, ConstantKind.MOUNT_YAW)
    shift = np.array([constants.shift(shifts, kind, seen.camera) for kind in kinds])
    carried = compose(seen.mounts[:, _PLANE], inverse(seen.mount))
    real = seen.mounts.copy()
    real[:, _PLANE] = compose(carried, np.broadcast_to(seen.mount + shift, carried.shape))
    return real
