"""The values a session consists of: SI, one clock, the field frame."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from enum import StrEnum
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.config import FieldConfig, RobotConfig
from locbench.session.findings import Finding

__all__ = [
    "NO_TAG",
    "BodyIncrements",
    "BodyVelocities",
    "Detections",
    "EvidenceLevel",
    "MarkVisits",
    "OdometryLog",
    "PodTravel",
    "PoseTrack",
    "Session",
    "StartPose",
    "Stretch",
    "TagKind",
]

# While a robot settles on a mark its pose still moves; common practice, no source.
_SETTLING_S = 0.3


class EvidenceLevel(StrEnum):
    """What a log can support, decided before anything is computed."""

    DENSE_TRUTH = "A"
    SURVEYED_MARKS = "B"
    TAGS_ONLY = "C"
    NOTHING = "D"


# fills up the further ids of a fix where others have more
NO_TAG = -1


class TagKind(StrEnum):
    """What one detection measures."""

    ROBOT_POSE = "robot_pose"
    TAG_POSE = "tag_pose"
    RANGE_BEARING = "range_bearing"
    BEARING = "bearing"
    RANGE = "range"


@dataclass(frozen=True)
class PodTravel:
    """Cumulative travel per pod (N,) in metres, and the gyro's heading (N,) or None; flagged intervals end at a row.

    `drive_travel_m` is the travel of driven wheels, from which no pose is computed; empty where the log has none.
    """

    time_s: FloatArray
    travel_m: Mapping[str, FloatArray]
    heading_rad: FloatArray | None
    flagged: BoolArray
    drive_travel_m: Mapping[str, FloatArray] = field(default_factory=dict)


@dataclass(frozen=True)
class BodyIncrements:
    """Twists (N, 3) since the previous row, robot frame; the first row covers nothing and is ignored."""

    time_s: FloatArray
    twist: FloatArray
    flagged: BoolArray


@dataclass(frozen=True)
class BodyVelocities:
    """Velocities (N, 3) forward, left, turn rate in the robot frame; a heading (N,) replaces the turn rate."""

    time_s: FloatArray
    velocity: FloatArray
    heading_rad: FloatArray | None
    flagged: BoolArray


@dataclass(frozen=True)
class PoseTrack:
    """Poses (N, 3) over time with one standard uncertainty for all; headings are NaN where the log has none."""

    time_s: FloatArray
    pose: FloatArray
    position_std_m: float
    heading_std_rad: float
    flagged: BoolArray


OdometryLog: TypeAlias = PodTravel | BodyIncrements | BodyVelocities | PoseTrack


@dataclass(frozen=True)
class Detections:
    """Tag detections in the order of the file, known tags only.

    Attributes
    ----------
    captured_s, arrived_s
        (M,) on the session's clock; arrived is never before captured.
    tag
        (M,) ids; of a fix from several tags the first.
    other_tags
        (M, K) the further ids of a fix from several tags, -1 (`NO_TAG`) where it has fewer.
    tag_count
        (M,) how many tags a fix was computed from; at least as many as have an id.
    row
        (M,) data row in the file, from 1.
    value
        robot_pose: (M, 3) x, y, heading in the field. tag_pose: (M, 3) the tag's x, y, heading on the robot.
        range_bearing: (M, 2) and bearing: (M, 1), the bearing counter-clockwise from the optical axis in the camera's
        own axes. range: (M, 1). Headings are NaN where missing.
    own_covariance
        (M, D, D) of the value as the log's own spread columns have it; variances are NaN where it has none.
    range_m, view_angle_rad
        (M,) as the detection reports them (of a tag_pose as they follow from it); NaN where it does not. Ranges are
        horizontal unless `slant`.
    reprojection_ratio
        (M,) as the detection reports it; NaN where it does not.
    slant
        Whether a measured range runs through the air.
    mount
        (M, 6) x, y, z, yaw, pitch, roll of the camera or antenna on the robot at capture.
    """

    kind: TagKind
    captured_s: FloatArray
    arrived_s: FloatArray
    tag: IntArray
    other_tags: IntArray
    tag_count: IntArray
    row: IntArray
    value: FloatArray
    own_covariance: FloatArray
    range_m: FloatArray
    view_angle_rad: FloatArray
    reprojection_ratio: FloatArray
    slant: bool
    mount: FloatArray

    def __len__(self) -> int:
        return len(self.captured_s)

    def chosen(self, which: BoolArray | IntArray) -> "Detections":
        """Return the detections at those indices, or with those flags."""
        rows: dict[str, Any] = {field.name: getattr(self, field.name) for field in fields(self)}
        chosen: dict[str, Any] = {name: value[which] for name, value in rows.items() if isinstance(value, np.ndarray)}
        return replace(self, **chosen)


@dataclass(frozen=True)
class MarkVisits:
    """Times (K,) at which the robot stood on a known place; a press has equal begin and end.

    `pose` (K, 3) has a NaN heading where the mark has none; standard uncertainties are per coordinate (K,).
    """

    name: tuple[str, ...]
    begin_s: FloatArray
    end_s: FloatArray
    pose: FloatArray
    position_std_m: FloatArray
    heading_std_rad: FloatArray

    def __len__(self) -> int:
        return len(self.name)

    @property
    def settled_s(self) -> FloatArray:
        """(K,) from when on the robot stands still; of a press, or a stay too short to settle, its end."""
        return np.asarray(np.minimum(self.begin_s + _SETTLING_S, self.end_s))

    def inside(self, first_s: float, last_s: float) -> IntArray:
        """Return the rows of the visits between two times, both included."""
        return np.flatnonzero((self.begin_s >= first_s) & (self.end_s <= last_s))


@dataclass(frozen=True)
class StartPose:
    """Pose (3,) and covariance (3, 3) at the beginning of a stretch."""

    pose: FloatArray
    covariance: FloatArray


@dataclass(frozen=True)
class Stretch:
    """A part of the log over which estimators run without a break."""

    names: tuple[str, ...]
    start_s: float
    end_s: float
    start: StartPose


@dataclass(frozen=True)
class Session:
    """A log, ready to be replayed.

    `folder` is where it was read from; it never reaches a report. `requests_s` (P,) are the times at which the driver
    asked for a correction, in order; None if the log has no such table.
    """

    name: str
    folder: Path
    robot: RobotConfig
    field: FieldConfig
    odometry: OdometryLog
    stretches: tuple[Stretch, ...]
    detections: Detections | None
    marks: MarkVisits | None
    truth: PoseTrack | None
    onboard: PoseTrack | None
    requests_s: FloatArray | None
    findings: tuple[Finding, ...]
    evidence: EvidenceLevel
    fusion_files: tuple[Path, ...]
    shooter_file: Path | None
