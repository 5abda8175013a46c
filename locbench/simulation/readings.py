"""What a camera's program reads from a picture of a tag: a pose, a range, a bearing, each with its errors."""

from dataclasses import dataclass

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.config.scenario import CameraNoise, CameraReport
from locbench.geometry import between, compose, inverse, mount_rotation, wrap_angle
from locbench.session.writer import Bearings, Ranges, RangesAndBearings, Readings, RobotPoses, TagPoses

__all__ = ["Picture", "direct_readings", "robot_pose_readings"]

# no reading is nearer than this, however large its error
_NEAREST_M = 0.001


@dataclass(frozen=True)
class Picture:
    """M tags as they are truly seen, and the chance that makes the readings err.

    Attributes
    ----------
    mount
        (M, 6) of the camera on the robot.
    camera_pose, tag_pose
        (M, 3) in the field frame; a tag's theta is its facing.
    rise_m
        (M,) how far the tag is above the camera.
    range_m, view_angle_rad
        (M,) horizontal range; angle from the tag's normal to the line towards the camera, signed.
    draws
        (M, 3) standard normal: along and across the line of sight, and of headings.
    flipped
        (M,) where the tilt is taken the wrong way round.
    """

    mount: FloatArray
    camera_pose: FloatArray
    tag_pose: FloatArray
    rise_m: FloatArray
    range_m: FloatArray
    view_angle_rad: FloatArray
    draws: FloatArray
    flipped: BoolArray


def robot_pose_readings(picture: Picture, mapped: FloatArray, noise: CameraNoise) -> RobotPoses:
    """Return robot poses as computed with the reported tags' places (M, 3) on the map."""
    relative = between(picture.tag_pose, picture.camera_pose)
    along, across, heading = _errors(picture, noise)
    cosine, sine = np.cos(picture.view_angle_rad), np.sin(picture.view_angle_rad)
    relative += np.stack([along * cosine - across * sine, along * sine + across * cosine, heading], axis=-1)
    relative[picture.flipped] = _flip(relative[picture.flipped])
    pose = compose(compose(mapped, relative), inverse(picture.mount[:, [0, 1, 3]]))
    pose[:, 2] = wrap_angle(pose[:, 2])
    return RobotPoses(
        pose=pose,
        range_m=np.hypot(relative[:, 0], relative[:, 1]),
        view_angle_rad=np.abs(np.arctan2(relative[:, 1], relative[:, 0])),
    )


def direct_readings(picture: Picture, report: CameraReport, noise: CameraNoise) -> Readings:
    """Return what is read without a map: the tag on the camera's axes, its range, or its bearing.

    A bearing errs by the error across the line of sight over the range; heights are exact.
    """
    level = between(picture.camera_pose, picture.tag_pose)
    along, across, heading = _errors(picture, noise)
    bearing = np.arctan2(level[:, 1], level[:, 0])
    range_m = np.maximum(picture.range_m + along, _NEAREST_M)
    match report:
        case CameraReport.TAG_POSE:
            line = np.stack([np.cos(bearing), np.sin(bearing)], axis=-1)
            aside = np.stack([-line[:, 1], line[:, 0]], axis=-1)
            place = level[:, :2] + along[:, np.newaxis] * line + across[:, np.newaxis] * aside
            facing = np.where(picture.flipped, _mirrored(level[:, 2] + heading, place), level[:, 2] + heading)
            normal = np.stack([np.cos(facing), np.sin(facing), np.zeros(len(facing))], axis=-1)
            seen = _on_camera_axes(normal, picture.mount)
            in_camera = _on_camera_axes(np.column_stack([place, picture.rise_m]), picture.mount)
            return TagPoses(in_camera, np.arctan2(seen[:, 1], seen[:, 0]))
        case CameraReport.RANGE_BEARING:
            return RangesAndBearings(range_m, _seen_bearing(picture, bearing + across / picture.range_m))
        case CameraReport.BEARING:
            return Bearings(_seen_bearing(picture, bearing + across / picture.range_m))
        case CameraReport.RANGE:
            return Ranges(range_m)
        case CameraReport.ROBOT_POSE:
            raise ValueError("a robot pose needs the map; robot_pose_readings computes it")


def _errors(picture: Picture, noise: CameraNoise) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the errors (M,) along and across the line of sight, and of headings."""
    distance, draws = picture.range_m, picture.draws
    growth = 1.0 + noise.view_angle_growth * np.sin(picture.view_angle_rad) ** 2
    along = growth * np.hypot(noise.along_floor, noise.along_at_one_metre * distance**2) * draws[:, 0]
    across = growth * np.hypot(noise.across_floor, noise.across_at_one_metre * distance) * draws[:, 1]
    heading = growth * np.hypot(noise.heading_floor, noise.heading_at_one_metre * distance) * draws[:, 2]
    return along, across, heading


def _flip(relative: FloatArray) -> FloatArray:
    """Return the camera's pose in the frame of the tag with the tag's tilt mirrored about the line of sight.

    Range and the direction in which the camera sees the tag stay; only the view angle changes its sign.
    """
    view = np.arctan2(relative[:, 1], relative[:, 0])
    return np.stack([relative[:, 0], -relative[:, 1], relative[:, 2] - 2.0 * view], axis=-1)


def _mirrored(facing_rad: FloatArray, place: FloatArray) -> FloatArray:
    """Return the directions (M,) tags at `place` (M, 2) face, mirrored about the line of sight."""
    return np.asarray(2.0 * (np.arctan2(place[:, 1], place[:, 0]) + np.pi) - facing_rad)


def _seen_bearing(picture: Picture, bearing_rad: FloatArray) -> FloatArray:
    """Return bearings (M,) on the axes of a camera that may be tilted, from level ones."""
    level = np.stack(
        [picture.range_m * np.cos(bearing_rad), picture.range_m * np.sin(bearing_rad), picture.rise_m], axis=-1
    )
    seen = _on_camera_axes(level, picture.mount)
    return np.asarray(np.arctan2(seen[:, 1], seen[:, 0]))


def _on_camera_axes(level: FloatArray, mount: FloatArray) -> FloatArray:
    """Return vectors (M, 3) on the camera's axes from those turned by its yaw only."""
    tilt = mount_rotation(np.zeros(len(mount)), mount[:, 4], mount[:, 5])
    # a row vector times a rotation is its inverse applied to the vector
    return np.asarray((level[:, np.newaxis] @ tilt)[:, 0])
