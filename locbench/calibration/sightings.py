"""How detections of a drive differ from what shifted constants would make them read."""

from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray
from locbench.calibration.constants import ConstantKind, Constants
from locbench.calibration.drive import Drive, Seen
from locbench.geometry import between, compose, inverse, rotation_matrix, wrap_angle
from locbench.session import TagKind
from locbench.statistics import propagated_covariance
from locbench.vision import predicted_values
from locbench.vision.noise import bearing_variance, pose_covariance, range_variance, share_of_one_tag

__all__ = ["Spreads", "detection_residuals", "poses_when_seen", "spreads"]

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


@dataclass(frozen=True)
class Spreads:
    """What detections of a drive are measured by.

    Attributes
    ----------
    std
        (M, D) standard deviations: of a position along the line of sight and across it.
    turn
        (M,) direction of the line of sight in the frame of the values; only positions are turned by it.
    """

    std: FloatArray
    turn: FloatArray


def spreads(seen: Seen, poses: FloatArray) -> Spreads:
    """Return how sure detections are, by where the robot must have been.

    By the range that a detection itself reports those that read too short would seem surer than those that read too
    long, and the camera would seem to sit nearer to the tags.

    Parameters
    ----------
    poses
        (M, 3) of the robot at capture.
    """
    cameras = compose(poses, seen.mounts[:, _PLANE])
    line = seen.tags[:, :2] - cameras[:, :2]
    direction = np.arctan2(line[:, 1], line[:, 0])
    distance = np.hypot(line[:, 0], line[:, 1])
    view = np.abs(wrap_angle(direction + np.pi - seen.tags[:, 3]))
    kind, turn = seen.detections.kind, np.zeros(len(line))
    own = np.diagonal(seen.own_covariance, axis1=1, axis2=2).copy()
    if kind in (TagKind.ROBOT_POSE, TagKind.TAG_POSE):
        ahead = np.tile([1.0, 0.0], (len(line), 1))
        variance = np.diagonal(pose_covariance(ahead, distance, view, seen.noise), axis1=1, axis2=2)
        variance = share_of_one_tag(seen.detections.tag_count, seen.noise)[:, np.newaxis] * variance
        turn = direction if kind is TagKind.ROBOT_POSE else direction - poses[:, 2]
        turned = propagated_covariance(rotation_matrix(-turn), seen.own_covariance[:, :2, :2])
        own[:, :2] = np.diagonal(turned, axis1=1, axis2=2)
    else:
        columns = {
            TagKind.RANGE: [range_variance],
            TagKind.BEARING: [bearing_variance],
            TagKind.RANGE_BEARING: [range_variance, bearing_variance],
        }[kind]
        variance = np.column_stack([column(distance, view, seen.noise) for column in columns])
    return Spreads(np.sqrt(np.where(np.isfinite(own), own, variance)), turn)


def detection_residuals(
    seen: Seen, spread: Spreads, poses: FloatArray, constants: Constants, shifts: FloatArray
) -> FloatArray:
    """Return (M, D) detections minus what they should read, along and across the line of sight, in standard deviations.

    Zero where a detection lacks the component.

    Parameters
    ----------
    spread
        What they are measured by.
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
            back = rotation_matrix(-spread.turn)
            error[:, :2] = (back @ error[:, :2, np.newaxis])[..., 0]
        case TagKind.BEARING | TagKind.RANGE_BEARING:
            error[:, -1] = wrap_angle(error[:, -1])
        case TagKind.RANGE:
            pass
    scaled = error / spread.std
    return np.where(np.isfinite(scaled), scaled, 0.0)


def _real_mounts(seen: Seen, constants: Constants, shifts: FloatArray) -> FloatArray:
    """Return (M, 6) where the cameras sit: what carries them turns them as the files say."""
    kinds = (ConstantKind.MOUNT_X, ConstantKind.MOUNT_Y, ConstantKind.MOUNT_YAW)
    shift = np.array([constants.shift(shifts, kind, seen.camera) for kind in kinds])
    carried = compose(seen.mounts[:, _PLANE], inverse(seen.mount))
    real = seen.mounts.copy()
    real[:, _PLANE] = compose(carried, np.broadcast_to(seen.mount + shift, carried.shape))
    return real
