"""What many detections at once should read, seen from given poses, with the cameras really sitting somewhere else."""

import numpy as np

from locbench.arrays import FloatArray
from locbench.geometry import compose, inverse, mount_rotation, transform_points
from locbench.session import Detections, TagKind

__all__ = ["mount_error", "predicted_values"]

_PLANE = [0, 1, 3]


def mount_error(nominal: FloatArray, real: FloatArray) -> FloatArray:
    """Return (..., 3) the planar motion, on the robot's axes, that carries the mount as believed onto the real one.

    Parameters
    ----------
    nominal, real
        (..., 6) x, y, z, yaw, pitch, roll. A difference in height or tilt has no part in it.
    """
    return compose(real[..., _PLANE], inverse(nominal[..., _PLANE]))


def predicted_values(
    detections: Detections, tags: FloatArray, poses: FloatArray, nominal: FloatArray, real: FloatArray
) -> FloatArray:
    """Return (M, D) what detections would read without noise; see `Detections.value`.

    Parameters
    ----------
    detections
        M of them, for their kind and whether ranges are slant.
    tags
        (M, 4) x, y, z, facing of each one's tag where it really hangs.
    poses
        (M, 3) of the robot at capture, true or believed; NaN gives NaN.
    nominal
        (M, 6) where whoever made the poses of the log took the camera to be: of robot_pose the robot's own program,
        of tag_pose the robot file. Ranges and bearings do not depend on it.
    real
        (M, 6) where the cameras are.

    Notes
    -----
    A pose made with a wrong mount is wrong by a constant motion on the robot's axes, whichever tag was seen: the robot
    pose logged is the true one times `mount_error`, a tag's pose on the robot is that motion undone times the true one.
    """
    match detections.kind:
        case TagKind.ROBOT_POSE:
            return compose(poses, mount_error(nominal, real))
        case TagKind.TAG_POSE:
            on_robot = compose(inverse(poses), tags[:, _PLANE])
            return compose(inverse(mount_error(nominal, real)), on_robot)
        case TagKind.RANGE:
            return _ranges(detections, _offsets(tags, poses, real))[:, np.newaxis]
        case TagKind.BEARING:
            return _bearings(_offsets(tags, poses, real), real)[:, np.newaxis]
        case TagKind.RANGE_BEARING:
            offset = _offsets(tags, poses, real)
            return np.column_stack([_ranges(detections, offset), _bearings(offset, real)])


def _offsets(tags: FloatArray, poses: FloatArray, mounts: FloatArray) -> FloatArray:
    """Return (M, 3) from the camera to the tag, on the robot's axes."""
    plane = transform_points(inverse(poses), tags[:, :2])
    return np.column_stack([plane - mounts[:, :2], tags[:, 2] - mounts[:, 2]])


def _ranges(detections: Detections, offset: FloatArray) -> FloatArray:
    return np.asarray(np.linalg.norm(offset[:, : 3 if detections.slant else 2], axis=1))


def _bearings(offset: FloatArray, mounts: FloatArray) -> FloatArray:
    turned = np.swapaxes(mount_rotation(*mounts[:, 3:].T), -1, -2) @ offset[..., np.newaxis]
    return np.asarray(np.arctan2(turned[:, 1, 0], turned[:, 0, 0]))
