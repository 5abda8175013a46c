"""The values a session consists of: SI, one clock, the field frame."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TypeAlias

import numpy as np

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.config import FieldConfig, RobotConfig
from locbench.session.findings import Finding

__all__ = [
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


class TagKind(StrEnum):
    """What one detection measures."""

    ROBOT_POSE = "robot_pose"
    RANGE = "range"


@dataclass(frozen=True)
class PodTravel:
    """Cumulative travel per pod (N,) in metres, and the gyro's heading (N,) or None; flagged intervals end at a row."""

    time_s: FloatArray
    travel_m: Mapping[str, FloatArray]
    heading_rad: FloatArray | None
    flagged: BoolArray


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
        (M,) ids.
    row
        (M,) data row in the file, from 1.
    value
        (M, 3) x, y, heading for robot_pose (heading NaN where missing); (M, 1) range for range.
    range_m, view_angle_rad
        (M,) as the detection reports them; NaN where it does not. Ranges are horizontal unless `slant`.
    mount
        (3,) x, y, z of the camera or antenna on the robot.
    """

    kind: TagKind
    captured_s: FloatArray
    arrived_s: FloatArray
    tag: IntArray
    row: IntArray
    value: FloatArray
    range_m: FloatArray
    view_angle_rad: FloatArray
    slant: bool
    mount: FloatArray

    def __len__(self) -> int:
        return len(self.captured_s)


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
        """Return the rows of the visits between two times, without one that begins at the very last moment."""
        return np.flatnonzero((self.begin_s >= first_s) & (self.begin_s < last_s) & (self.end_s <= last_s))


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

    `folder` is where it was read from; it never reaches a report.
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
    findings: tuple[Finding, ...]
    evidence: EvidenceLevel
    fusion_files: tuple[Path, ...]
    shooter_file: Path | None
