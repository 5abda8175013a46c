"""Small values made by hand for tests: motions, fields, detections."""

import dataclasses

import numpy as np
from scipy.spatial.transform import Rotation

from locbench.accuracy import Comparison
from locbench.config import FieldConfig, FusionConfig
from locbench.odometry import Motion
from locbench.session import Detections, StartPose, TagKind
from locbench.vision import prepare_sightings

__all__ = [
    "START",
    "camera_detections",
    "comparison",
    "detections",
    "doubtful",
    "field",
    "fusion",
    "motion",
    "range_detections",
    "sightings",
]

START = StartPose(np.array([1.0, 2.0, 0.3]), np.diag([1e-4, 1e-4, 1e-5]))


def motion(rows: int = 60, period_s: float = 0.05, seed: int = 1, speed: float = 1.0) -> Motion:
    """A wandering drive with an uneven clock."""
    rng = np.random.default_rng(seed)
    steps = period_s * rng.uniform(0.6, 1.4, size=rows)
    times = 10.0 + np.concatenate([[0.0], np.cumsum(steps[1:])])
    rates = np.column_stack([speed * rng.uniform(0, 1, rows), 0.3 * rng.normal(size=rows), rng.normal(size=rows)])
    return Motion.from_increments(times, rates * steps[:, np.newaxis], np.zeros(rows, dtype=bool))


def doubtful(drive: Motion) -> Motion:
    """The same drive with a gap in it and two whiles that look like slips."""
    rows = np.arange(len(drive.time_s))
    return dataclasses.replace(drive, flagged=rows == 9, suspect=(rows % 25 > 14) & (rows % 25 < 21))


def comparison(believed: np.ndarray, reference: np.ndarray, stds: tuple[float, float] = (0.0, 0.0)) -> Comparison:
    """Believed beside reference poses a metre and a second apart; `stds` of the reference's position and heading."""
    count = len(reference)
    return Comparison(
        time_s=np.arange(float(count)),
        path_length_m=np.arange(float(count)),
        turning_rad=np.zeros(count),
        believed=believed,
        believed_covariance=np.full((count, 3, 3), np.nan),
        reference=reference,
        reference_covariance=np.tile(np.diag(np.square([stds[0], *stds])), (count, 1, 1)),
        stretch=np.zeros(count),
        source=np.arange(count),
    )


def field(**more) -> FieldConfig:
    """A 4 m floor with four tags."""
    tags = [
        {"id": 1, "x": "4 m", "y": "1 m", "z": "0.5 m", "facing": "180 deg"},
        {"id": 2, "x": "0 m", "y": "3 m", "z": "0.4 m", "facing": "0 deg"},
        {"id": 3, "x": "2 m", "y": "4 m", "facing": "-90 deg"},
        {"id": 4, "x": "2 m", "y": "0 m", "facing": "90 deg"},
    ]
    floor = {"x_from": "0 m", "x_to": "4 m", "y_from": "0 m", "y_to": "4 m"}
    return FieldConfig.model_validate({"name": "test floor", "floor": floor, "tags": tags, **more})


def fusion(**more) -> FusionConfig:
    """A gated fusion configuration; keyword arguments are TOML tables."""
    return FusionConfig.model_validate({"name": "test_filter", "trust": {"gate_probability": "99 %"}, **more})


def detections(drive: Motion, truth: np.ndarray, count: int = 25, seed: int = 3, latest_s: float = 0.3) -> Detections:
    """Noisy robot poses at random times, late, out of order, and one in eight far off."""
    rng = np.random.default_rng(seed)
    captured = rng.uniform(drive.time_s[0], drive.time_s[-1] - latest_s, size=count)
    value = np.column_stack([np.interp(captured, drive.time_s, truth[:, i]) for i in range(3)])
    value += rng.normal(scale=[0.02, 0.02, 0.01], size=(count, 3))
    value[::8, :2] += 1.5
    return Detections(
        kind=TagKind.ROBOT_POSE,
        captured_s=captured,
        arrived_s=captured + rng.uniform(0.0, latest_s, size=count),
        tag=rng.integers(1, 5, size=count),
        other_tags=np.empty((count, 0), dtype=np.int64),
        tag_count=1 + np.arange(count) % 3,
        row=np.arange(1, count + 1),
        value=value,
        own_covariance=np.full((count, 3, 3), np.nan),
        range_m=np.where(rng.uniform(size=count) < 0.2, np.nan, rng.uniform(0.5, 4.0, size=count)),
        view_angle_rad=rng.uniform(0, 1.2, size=count),
        reprojection_ratio=np.where(rng.uniform(size=count) < 0.2, np.nan, rng.uniform(size=count)),
        slant=False,
        mount=np.zeros((count, 6)),
    )


def range_detections(drive: Motion, truth: np.ndarray, count: int = 25, seed: int = 4) -> Detections:
    """Noisy slant ranges from an antenna off the reference point."""
    poses = detections(drive, truth, count, seed)
    tags = {tag.id: np.array([tag.x, tag.y, tag.z]) for tag in field().tags}
    mount = np.array([0.1, -0.05, 0.2])
    ranges = []
    for pose, tag in zip(poses.value, poses.tag, strict=True):
        c, s = np.cos(pose[2]), np.sin(pose[2])
        antenna = pose[:2] + np.array([c * mount[0] - s * mount[1], s * mount[0] + c * mount[1]])
        line = [*(antenna - tags[int(tag)][:2]), mount[2] - tags[int(tag)][2]]
        ranges.append(np.linalg.norm(line))
    return dataclasses.replace(
        poses,
        kind=TagKind.RANGE,
        value=np.array(ranges)[:, np.newaxis],
        own_covariance=np.full((count, 1, 1), np.nan),
        range_m=np.array(ranges),
        view_angle_rad=np.full(count, np.nan),
        slant=True,
        mount=np.tile([*mount, 0.0, 0.0, 0.0], (count, 1)),
    )


def camera_detections(kind: TagKind, drive: Motion, truth: np.ndarray, count: int = 25, seed: int = 6) -> Detections:
    """What a tilted camera on a turning turret makes of the tags, from noisy poses, one in eight far off.

    Bearings come from all around; a third of the detections report no range beside their value.
    """
    poses = detections(drive, truth, count, seed)
    rng = np.random.default_rng(seed)
    yaw = rng.uniform(-np.pi, np.pi, size=count)
    mount = np.column_stack(
        [0.15 * np.cos(yaw), 0.15 * np.sin(yaw), np.full(count, 0.3), yaw, np.tile([-0.15, 0.1], (count, 1))]
    )
    tags = {tag.id: (np.array([tag.x, tag.y, tag.z]), tag.facing) for tag in field().tags}
    on_robot, in_camera, facing = [], [], []
    for pose, tag, place in zip(poses.value, poses.tag, mount, strict=True):
        where, looks = tags[int(tag)]
        robot = Rotation.from_euler("Z", pose[2])
        on_robot.append(robot.inv().apply(where - [pose[0], pose[1], 0.0]))
        in_camera.append(Rotation.from_euler("ZYX", place[3:]).inv().apply(on_robot[-1] - place[:3]))
        facing.append(looks - pose[2])
    level = np.array(on_robot)[:, :2] - mount[:, :2]
    distance = np.hypot(level[:, 0], level[:, 1])
    bearing = np.array([np.arctan2(seen[1], seen[0]) for seen in in_camera])
    value = {
        TagKind.TAG_POSE: np.column_stack([np.array(on_robot)[:, :2], facing]),
        TagKind.RANGE_BEARING: np.column_stack([distance, bearing]),
        TagKind.BEARING: bearing[:, np.newaxis],
        TagKind.RANGE: distance[:, np.newaxis],
    }[kind]
    reported = np.where(rng.uniform(size=count) < 0.3, np.nan, distance) if kind is TagKind.BEARING else distance
    size = value.shape[1]
    return dataclasses.replace(
        poses,
        kind=kind,
        value=value,
        own_covariance=np.full((count, size, size), np.nan),
        range_m=reported,
        mount=mount,
    )


def sightings(found: Detections, config: FusionConfig):
    return prepare_sightings(found, field(), config)
