"""The camera: which tags a frame shows, and the robot pose computed from each, with the errors of such poses."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.config.field import Tag
from locbench.config.robot import CameraMount
from locbench.config.scenario import CameraErrors, CameraNoise
from locbench.geometry import between, compose, inverse, wrap_angle
from locbench.simulation.motion import Motion
from locbench.simulation.streams import CameraStreams
from locbench.simulation.visibility import Sightings, see_tags, tag_poses

__all__ = ["SimulatedDetections", "detect_tags"]


@dataclass(frozen=True)
class SimulatedDetections:
    """What the camera reports (M rows, in order of arrival), and what only the simulator knows about it.

    Attributes
    ----------
    tag
        (M,) reported ids.
    pose
        (M, 3) robot poses in the field frame.
    flipped, false_id
        (M,) true where the tilt was taken the wrong way round, or the id is another tag's.
    dropped
        How many more detections were lost.
    """

    captured_s: FloatArray
    arrived_s: FloatArray
    tag: IntArray
    pose: FloatArray
    range_m: FloatArray
    view_angle_rad: FloatArray
    flipped: BoolArray
    false_id: BoolArray
    dropped: int


def detect_tags(
    motion: Motion,
    duration_s: float,
    mount: CameraMount,
    mapped: Sequence[Tag],
    real: Sequence[Tag],
    errors: CameraErrors,
    streams: CameraStreams,
) -> SimulatedDetections:
    """Return every detection of a run.

    Parameters
    ----------
    motion
        Where the robot truly is, from 0 to `duration_s`.
    mapped
        The tags as the field file has them: poses are computed with these.
    real
        The same tags, in the same order, where they really are: these are seen.
    """
    frame_s = np.arange(streams.frames.uniform() * errors.frame_period, duration_s, errors.frame_period)
    sightings = see_tags(motion.pose_at(frame_s), mount, real, errors)
    captured_s = frame_s[sightings.frame]
    latency_s = _latency(len(frame_s), errors, streams.latency)[sightings.frame]

    relative = _measured(sightings, errors.noise, streams.noise)
    flipped = _flips(sightings, errors.flips, streams.flips)
    relative[flipped] = _flip(relative[flipped])
    reported, false_id = _reported(sightings.tag, len(mapped), errors.false_ids, streams.ids)
    robot_in_camera = inverse(np.array([mount.x, mount.y, mount.yaw]))
    pose = compose(compose(tag_poses(mapped)[reported], relative), robot_in_camera)
    pose[:, 2] = wrap_angle(pose[:, 2])

    kept = streams.drops.uniform(size=len(captured_s)) >= errors.dropped
    arrived_s = captured_s + latency_s
    # what would arrive after the log's end is not in the log
    kept &= arrived_s <= duration_s
    rows = np.flatnonzero(kept)
    rows = rows[np.argsort(arrived_s[rows], kind="stable")]
    return SimulatedDetections(
        captured_s=captured_s[rows],
        arrived_s=arrived_s[rows],
        tag=np.array([tag.id for tag in mapped], dtype=np.int64)[reported[rows]],
        pose=pose[rows],
        range_m=np.hypot(relative[rows, 0], relative[rows, 1]),
        view_angle_rad=np.abs(np.arctan2(relative[rows, 1], relative[rows, 0])),
        flipped=flipped[rows],
        false_id=false_id[rows],
        dropped=int(np.sum(~kept)),
    )


def _measured(sightings: Sightings, noise: CameraNoise, generator: np.random.Generator) -> FloatArray:
    """Return the camera's pose (M, 3) in the frame of the tag, errors added along and across the line of sight."""
    relative = between(sightings.tag_pose, sightings.camera_pose)
    distance, view = sightings.range_m, sightings.view_angle_rad
    growth = 1.0 + noise.view_angle_growth * np.sin(view) ** 2
    draws = generator.standard_normal((len(distance), 3))
    along = growth * np.hypot(noise.along_floor, noise.along_at_one_metre * distance**2) * draws[:, 0]
    across = growth * np.hypot(noise.across_floor, noise.across_at_one_metre * distance) * draws[:, 1]
    heading = growth * np.hypot(noise.heading_floor, noise.heading_at_one_metre * distance) * draws[:, 2]
    cosine, sine = np.cos(view), np.sin(view)
    error = np.stack([along * cosine - across * sine, along * sine + across * cosine, heading], axis=-1)
    return np.asarray(relative + error)


def _flip(relative: FloatArray) -> FloatArray:
    """Return the camera's pose in the frame of the tag with the tag's tilt mirrored about the line of sight.

    Range and the direction in which the camera sees the tag stay; only the view angle changes its sign.
    """
    view = np.arctan2(relative[:, 1], relative[:, 0])
    return np.stack([relative[:, 0], -relative[:, 1], relative[:, 2] - 2.0 * view], axis=-1)


def _flips(sightings: Sightings, share: float, generator: np.random.Generator) -> BoolArray:
    """Return which detections (M,) are flipped: `share` of all, in proportion to range^2 cos^2 of the view angle."""
    weight = (sightings.range_m * np.cos(sightings.view_angle_rad)) ** 2
    chance = share * weight / np.mean(weight) if len(weight) else weight
    return np.asarray(generator.uniform(size=len(weight)) < chance)


def _reported(
    tag: IntArray, number_of_tags: int, share: float, generator: np.random.Generator
) -> tuple[IntArray, BoolArray]:
    """Return the index (M,) of the tag that is reported, and whether it is another one's."""
    draws = generator.uniform(size=(len(tag), 2))
    false_id = draws[:, 0] < share
    steps = 1 + np.floor(draws[:, 1] * (number_of_tags - 1)).astype(np.int64)
    return np.where(false_id, (tag + steps) % number_of_tags, tag), false_id


def _latency(number_of_frames: int, errors: CameraErrors, generator: np.random.Generator) -> FloatArray:
    """Return the delay (F,) of each frame: gamma distributed, so never negative and with a tail of late ones."""
    if errors.latency_jitter == 0.0:
        return np.full(number_of_frames, errors.latency)
    shape = (errors.latency / errors.latency_jitter) ** 2
    return np.asarray(generator.gamma(shape, errors.latency / shape, size=number_of_frames))
