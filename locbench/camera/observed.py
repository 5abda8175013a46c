"""Detections beside what they should read from where the robot really was."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from types import MappingProxyType
from typing import Any

import numpy as np

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.camera.components import Component
from locbench.config import FieldConfig
from locbench.geometry import compose, inverse, rotation_matrix, wrap_angle
from locbench.odometry import Motion
from locbench.odometry.rates import rates_at
from locbench.reference import Judge
from locbench.session import Detections, TagKind
from locbench.vision import predicted_values, tag_places

__all__ = [
    "Observed",
    "components_of",
    "joined",
    "observed",
    "reference_roots",
    "reference_variance",
    "residuals",
    "with_told_components",
]

_OF_POSE = (Component.ALONG, Component.ACROSS, Component.HEADING)
_OF_KIND: Mapping[TagKind, tuple[Component, ...]] = MappingProxyType(
    {
        TagKind.ROBOT_POSE: _OF_POSE,
        TagKind.TAG_POSE: _OF_POSE,
        TagKind.RANGE_BEARING: (Component.RANGE, Component.BEARING),
        TagKind.BEARING: (Component.BEARING,),
        TagKind.RANGE: (Component.RANGE,),
    }
)

_PLANE = [0, 1, 3]
_STEPS = np.diag([1e-5, 1e-5, 1e-5])
# to take the robot's velocity from a reference
_HALF_S = 0.02
# detections of one tag further apart belong to two passes
_PASS_GAP_S = 1.0
_LEAST_VARIANCE = 1e-12
_FEWEST_OF_A_COMPONENT = 30
# what all detections share, not a row of each
_SHARED = frozenset({"mount", "components"})


@dataclass(frozen=True)
class Observed:
    """M detections of one kind whose robot pose is known from elsewhere.

    Attributes
    ----------
    detections
        In order of capture within each session.
    components
        Names of the residuals' D columns.
    tags
        (M, 4) x, y, z, facing of each one's tag by the field file.
    mounts
        (M, 6) of the camera by the robot file.
    mount
        (3,) x, y, yaw of the camera on what carries it.
    pose, velocity, pose_covariance
        (M, 3), (M, 3) per second and (M, 3, 3) of the robot at capture.
    speed_m_s, turn_rate_rad_s
        (M,) by the odometry.
    range_m, view_angle_rad, signed_view_rad
        (M,) from the camera to the tag by the reference; the last with its sign.
    line_rad
        (M,) direction of the line of sight in the frame of the values.
    passed
        (M,) number of the pass: detections of one tag in one session without a break.
    leg
        (M,) number of the stretch between two references: the reference errs alike all along it.
    """

    detections: Detections
    components: tuple[Component, ...]
    tags: FloatArray
    mounts: FloatArray
    mount: FloatArray
    pose: FloatArray
    velocity: FloatArray
    pose_covariance: FloatArray
    speed_m_s: FloatArray
    turn_rate_rad_s: FloatArray
    range_m: FloatArray
    view_angle_rad: FloatArray
    signed_view_rad: FloatArray
    line_rad: FloatArray
    passed: IntArray
    leg: IntArray

    def __len__(self) -> int:
        return len(self.pose)

    def chosen(self, which: BoolArray) -> "Observed":
        """Return those with these flags."""
        rows: dict[str, Any] = {}
        for field in fields(self):
            if field.name in _SHARED:
                continue
            value = getattr(self, field.name)
            rows[field.name] = value.chosen(which) if isinstance(value, Detections) else value[which]
        return replace(self, **rows)


def components_of(kind: TagKind) -> tuple[Component, ...]:
    """Return what each detection of a kind measures."""
    return _OF_KIND[kind]


def observed(
    detections: Detections,
    mount: FloatArray,
    field: FieldConfig,
    motion: Motion,
    judge: Judge,
    leg_ends_s: FloatArray,
) -> Observed:
    """Return the detections of one stretch at which the reference knows the whole pose.

    Parameters
    ----------
    detections
        Of the session; those outside the stretch are left out.
    mount
        (3,) x, y, yaw of the camera on what carries it, as the robot file has it.
    field
        Where the tags hang.
    motion
        Odometry of the stretch, for how fast the robot was.
    judge
        Where it really was.
    leg_ends_s
        (L,) times at which the reference knows best, in order: visits to marks.
    """
    time = detections.captured_s
    inside = (time > motion.time_s[0]) & (time <= motion.time_s[-1])
    found = detections.chosen(np.flatnonzero(inside)[np.argsort(detections.captured_s[inside], kind="stable")])
    time = found.captured_s
    known = judge.at(time)
    before, after = judge.at(time - _HALF_S).pose, judge.at(time + _HALF_S).pose
    change = after - before
    change[:, 2] = wrap_angle(change[:, 2])
    told = np.column_stack([known.pose, change, known.covariance.reshape(-1, 9)])
    whole = np.asarray(np.isfinite(told).all(axis=1))
    found, pose = found.chosen(whole), known.pose[whole]
    rates = rates_at(motion, found.captured_s)
    tags = tag_places(found, field)[:, 0]
    mounts = found.mount
    if found.kind is TagKind.ROBOT_POSE:
        mounts = np.zeros((len(found), 6))
        mounts[:, _PLANE] = mount
    cameras = compose(pose, mounts[:, _PLANE])
    line = tags[:, :2] - cameras[:, :2]
    direction = np.arctan2(line[:, 1], line[:, 0])
    view = wrap_angle(direction + np.pi - tags[:, 3])
    return Observed(
        detections=found,
        components=components_of(found.kind),
        tags=tags,
        mounts=mounts,
        mount=mount,
        pose=pose,
        velocity=change[whole] / (2.0 * _HALF_S),
        pose_covariance=known.covariance[whole],
        speed_m_s=rates.speed_m_s,
        turn_rate_rad_s=rates.turn_rate_rad_s,
        range_m=np.hypot(line[:, 0], line[:, 1]),
        view_angle_rad=np.abs(view),
        signed_view_rad=view,
        line_rad=direction if found.kind is TagKind.ROBOT_POSE else direction - pose[:, 2],
        passed=_passes(found),
        leg=np.searchsorted(leg_ends_s, found.captured_s),
    )


def _passes(found: Detections) -> IntArray:
    passed = np.zeros(len(found), dtype=np.int64)
    first = 0
    for tag in np.unique(found.tag):
        rows = np.flatnonzero(found.tag == tag)
        number = np.cumsum(np.diff(found.captured_s[rows], prepend=found.captured_s[rows[0]]) > _PASS_GAP_S)
        passed[rows] = first + number
        first += int(number[-1]) + 1
    return passed


def joined(parts: Sequence[Observed]) -> Observed:
    """Return the detections of several stretches or sessions of one kind and camera as one."""
    first = parts[0]
    rows: dict[str, Any] = {}
    for field in fields(first):
        if field.name in _SHARED:
            continue
        values = [getattr(part, field.name) for part in parts]
        if isinstance(values[0], Detections):
            rows[field.name] = _joined_detections(values)
        else:
            rows[field.name] = np.concatenate(values)
    rows["passed"] = _numbered_on([part.passed for part in parts])
    rows["leg"] = _numbered_on([part.leg for part in parts])
    return replace(first, **rows)


def with_told_components(seen: Observed) -> Observed:
    """Return the detections without components that hardly any of them has, such as headings that were not logged."""
    counts = np.isfinite(seen.detections.value).sum(axis=0)
    enough = [name for name, count in zip(seen.components, counts, strict=True) if count >= _FEWEST_OF_A_COMPONENT]
    return replace(seen, components=tuple(enough))


def _numbered_on(parts: Sequence[IntArray]) -> IntArray:
    """Return numbers of all parts, none used in two of them."""
    first, found = 0, []
    for part in parts:
        found.append(part + first)
        first += int(part.max()) + 1 if len(part) else 0
    return np.concatenate(found)


def _joined_detections(parts: Sequence[Detections]) -> Detections:
    widest = max(part.other_tags.shape[1] for part in parts)
    rows: dict[str, Any] = {}
    for field in fields(parts[0]):
        values = [getattr(part, field.name) for part in parts]
        if not isinstance(values[0], np.ndarray):
            continue
        if field.name == "other_tags":
            values = [np.pad(v, ((0, 0), (0, widest - v.shape[1])), constant_values=-1) for v in values]
        rows[field.name] = np.concatenate(values)
    return replace(parts[0], **rows)


def residuals(
    seen: Observed, late_s: float, mount_shift: FloatArray, tag_shift: FloatArray, range_scale: float
) -> FloatArray:
    """Return (M, D) detections minus what they should read; NaN where a component is missing.

    Parameters
    ----------
    late_s
        By how much the stamps are late: the robot was then where it had been that much earlier.
    mount_shift
        (3,) by which the camera sits elsewhere than the robot file says: x, y, yaw.
    tag_shift
        (M, 3) by which each one's tag hangs elsewhere: x, y, facing.
    range_scale
        Ranges read times the true ones.
    """
    pose = seen.pose - late_s * seen.velocity
    tags = seen.tags.copy()
    tags[:, [0, 1, 3]] += tag_shift
    return _in_components(seen, _expected(seen, pose, tags, mount_shift, range_scale))


def _expected(
    seen: Observed, pose: FloatArray, tags: FloatArray, mount_shift: FloatArray, range_scale: float
) -> FloatArray:
    carried = compose(seen.mounts[:, _PLANE], inverse(seen.mount))
    real = seen.mounts.copy()
    real[:, _PLANE] = compose(carried, np.broadcast_to(seen.mount + mount_shift, carried.shape))
    expected = predicted_values(seen.detections, tags, pose, seen.mounts, real)
    if seen.detections.kind in (TagKind.RANGE, TagKind.RANGE_BEARING):
        expected[:, 0] *= range_scale
    if seen.detections.kind is TagKind.ROBOT_POSE:
        # the pose was computed with the field file's tag, whatever hangs where
        expected = compose(compose(seen.tags[:, _PLANE], inverse(tags[:, _PLANE])), expected)
    return expected


def _in_components(seen: Observed, expected: FloatArray) -> FloatArray:
    error = seen.detections.value - expected
    names = components_of(seen.detections.kind)
    for place, name in enumerate(names):
        if name in (Component.HEADING, Component.BEARING):
            error[:, place] = wrap_angle(error[:, place])
    if Component.ALONG in names:
        error[:, :2] = (rotation_matrix(-seen.line_rad) @ error[:, :2, np.newaxis])[..., 0]
    return error[:, [names.index(name) for name in seen.components]]


def reference_roots(seen: Observed) -> FloatArray:
    """Return (M, D, 3) what a standard deviation of the reference's error, along three axes, adds to the residuals."""

    def error(pose: FloatArray) -> FloatArray:
        return _in_components(seen, _expected(seen, pose, seen.tags, np.zeros(3), 1.0))

    here = error(seen.pose)
    slopes = np.stack([wrap_angle(error(seen.pose + step) - here) / step.sum() for step in _STEPS], axis=-1)
    floor = _LEAST_VARIANCE * np.eye(3)
    return np.asarray(np.nan_to_num(slopes) @ np.linalg.cholesky(seen.pose_covariance + floor))


def reference_variance(seen: Observed) -> FloatArray:
    """Return (M, D) what the reference's own uncertainty adds to the variance of the residuals."""
    return np.asarray(np.sum(reference_roots(seen) ** 2, axis=-1))
