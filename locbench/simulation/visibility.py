"""Which tags each frame of a camera shows."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray, IntArray
from locbench.config.field import Tag
from locbench.config.scenario import CameraErrors, TrueTagOffset
from locbench.geometry import compose, mount_rotation

__all__ = ["Sightings", "see_tags", "tag_poses", "true_tags"]


@dataclass(frozen=True)
class Sightings:
    """Which tag (M,) each frame (M,) shows, by index, and the true geometry of that.

    Attributes
    ----------
    camera_pose, tag_pose
        (M, 3) in the field frame; a tag's theta is its facing.
    range_m
        (M,) horizontal, from the camera.
    view_angle_rad
        (M,) from the tag's normal to the line towards the camera, signed, counter-clockwise.
    """

    frame: IntArray
    tag: IntArray
    camera_pose: FloatArray
    tag_pose: FloatArray
    range_m: FloatArray
    view_angle_rad: FloatArray


def tag_poses(tags: Sequence[Tag]) -> FloatArray:
    """Return (T, 3): x, y, facing."""
    return np.array([[tag.x, tag.y, tag.facing] for tag in tags], dtype=float).reshape(-1, 3)


def true_tags(tags: Sequence[Tag], offsets: Sequence[TrueTagOffset]) -> list[Tag]:
    """Return the tags where they really are."""
    by_id = {offset.id: offset for offset in offsets}
    moved: list[Tag] = []
    for tag in tags:
        offset = by_id.get(tag.id, TrueTagOffset(id=tag.id))
        place = {"x": tag.x + offset.dx, "y": tag.y + offset.dy, "facing": tag.facing + offset.turn}
        moved.append(tag.model_copy(update=place))
    return moved


def see_tags(robot_poses: FloatArray, mounts: FloatArray, tags: Sequence[Tag], camera: CameraErrors) -> Sightings:
    """Return every tag in view, frame by frame.

    Parameters
    ----------
    robot_poses
        (F, 3) true poses at the frames.
    mounts
        (F, 6) where the camera sits on the robot at the frames.
    tags
        Where the tags really are.
    """
    cameras = compose(robot_poses, mounts[:, [0, 1, 3]])
    places = tag_poses(tags)
    # from tag to camera, (F, T, 2)
    line = cameras[:, np.newaxis, :2] - places[:, :2]
    distance = np.hypot(line[..., 0], line[..., 1])
    bearing = np.arctan2(line[..., 1], line[..., 0]) - places[:, 2]
    view = np.arctan2(np.sin(bearing), np.cos(bearing))
    rise = np.array([tag.z for tag in tags]) - mounts[:, 2, np.newaxis]
    across, up = _image_angles(robot_poses[:, 2], -line, rise, mounts)

    seen = (distance >= camera.minimum_range) & (distance <= camera.maximum_range)
    seen &= np.abs(view) <= camera.maximum_view_angle
    seen &= np.abs(across) <= 0.5 * camera.field_of_view
    if camera.vertical_field_of_view is not None:
        seen &= np.abs(up) <= 0.5 * camera.vertical_field_of_view
    frame, tag = np.nonzero(seen)
    return Sightings(frame, tag, cameras[frame], places[tag], distance[seen], view[seen])


def _image_angles(
    heading_rad: FloatArray, towards_tag: FloatArray, rise_m: FloatArray, mounts: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the angles (F, T) to the left of the optical axis and above it."""
    cosine, sine = np.cos(heading_rad)[:, np.newaxis], np.sin(heading_rad)[:, np.newaxis]
    forward = cosine * towards_tag[..., 0] + sine * towards_tag[..., 1]
    left = -sine * towards_tag[..., 0] + cosine * towards_tag[..., 1]
    in_robot = np.stack([forward, left, rise_m], axis=-1)
    # a row vector times the mount's rotation is its inverse applied to the vector
    in_camera = in_robot @ mount_rotation(*mounts[:, 3:].T)
    return np.arctan2(in_camera[..., 1], in_camera[..., 0]), np.arctan2(in_camera[..., 2], in_camera[..., 0])
