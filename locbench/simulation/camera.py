"""The camera: which tags a frame shows, and what its program makes of each, with the errors of such readings."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.config.field import Tag
from locbench.config.robot import CameraMount
from locbench.config.scenario import CameraErrors, CameraReport
from locbench.geometry import transform_points, wrap_angle
from locbench.session.writer import Readings
from locbench.simulation.motion import Motion
from locbench.simulation.readings import Picture, direct_readings, robot_pose_readings
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
    readings
        What each says, of the kind the camera reports.
    turret_yaw_rad
        (M,) of the turret at capture; None if the camera is fixed on the robot.
    flipped, false_id
        (M,) true where the tilt was taken the wrong way round, or the id is another tag's.
    dropped
        How many more detections were lost.
    """

    captured_s: FloatArray
    arrived_s: FloatArray
    tag: IntArray
    readings: Readings
    turret_yaw_rad: FloatArray | None
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
    aim: FloatArray | None = None,
) -> SimulatedDetections:
    """Return every detection of a run.

    Parameters
    ----------
    motion
        Where the robot truly is, from 0 to `duration_s`.
    mapped
        The tags as the field file has them: robot poses are computed with these.
    real
        The same tags, in the same order, where they really are: these are seen.
    aim
        The place (2,) that the turret keeps facing, if it carries the camera.
    """
    frame_s = np.arange(streams.frames.uniform() * errors.frame_period, duration_s, errors.frame_period)
    robot = motion.pose_at(frame_s)
    turret_yaw = _turret_yaw(robot, mount, aim)
    mounts = mount.placed(turret_yaw)
    sightings = see_tags(robot, mounts, real, errors)
    captured_s = frame_s[sightings.frame]
    latency_s = _latency(len(frame_s), errors, streams.latency)[sightings.frame]

    draws = streams.noise.standard_normal((len(captured_s), 3))
    flipped = _flips(sightings, errors, streams.flips)
    reported, false_id = _reported(sightings.tag, len(mapped), errors.false_ids, streams.ids)
    kept = streams.drops.uniform(size=len(captured_s)) >= errors.dropped
    arrived_s = captured_s + latency_s
    # what would arrive after the log's end is not in the log
    kept &= arrived_s <= duration_s
    rows = np.flatnonzero(kept)
    rows = rows[np.argsort(arrived_s[rows], kind="stable")]
    heights = np.array([tag.z for tag in real])
    picture = Picture(
        mount=mounts[sightings.frame[rows]],
        camera_pose=sightings.camera_pose[rows],
        tag_pose=sightings.tag_pose[rows],
        rise_m=heights[sightings.tag[rows]] - mounts[sightings.frame[rows], 2],
        range_m=sightings.range_m[rows],
        view_angle_rad=sightings.view_angle_rad[rows],
        draws=draws[rows],
        flipped=flipped[rows],
    )
    if errors.reports is CameraReport.ROBOT_POSE:
        readings: Readings = robot_pose_readings(picture, tag_poses(mapped)[reported[rows]], errors.noise)
    else:
        readings = direct_readings(picture, errors.reports, errors.noise)
    return SimulatedDetections(
        captured_s=captured_s[rows],
        arrived_s=arrived_s[rows],
        tag=np.array([tag.id for tag in mapped], dtype=np.int64)[reported[rows]],
        readings=readings,
        turret_yaw_rad=turret_yaw[sightings.frame[rows]] if mount.turns else None,
        flipped=flipped[rows],
        false_id=false_id[rows],
        dropped=int(np.sum(~kept)),
    )


def _turret_yaw(robot: FloatArray, mount: CameraMount, aim: FloatArray | None) -> FloatArray:
    """Return the yaw (F,) that turns the turret's forward direction from the robot's to the place it faces."""
    if aim is None:
        return np.zeros(len(robot))
    line = aim - transform_points(robot, np.array([mount.turret_x, mount.turret_y]))
    return wrap_angle(np.arctan2(line[:, 1], line[:, 0]) - robot[:, 2])


def _flips(sightings: Sightings, errors: CameraErrors, generator: np.random.Generator) -> BoolArray:
    """Return which detections (M,) are flipped: a share of all, in proportion to range^2 cos^2 of the view angle."""
    weight = (sightings.range_m * np.cos(sightings.view_angle_rad)) ** 2
    chance = errors.flips * weight / np.mean(weight) if len(weight) else weight
    flipped = generator.uniform(size=len(weight)) < chance
    # ranges and bearings do not look at the tag's tilt
    tilt_matters = errors.reports in (CameraReport.ROBOT_POSE, CameraReport.TAG_POSE)
    return np.asarray(flipped & tilt_matters)


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
