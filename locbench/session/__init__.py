"""A session folder: tables in, one clock, one frame, SI; what is wrong with them as typed findings."""

from locbench.session.camera_mounts import believed_camera
from locbench.session.findings import Finding, FindingCode, Measured, Severity
from locbench.session.model import (
    NO_TAG,
    BodyIncrements,
    BodyVelocities,
    Detections,
    EvidenceLevel,
    MarkVisits,
    OdometryLog,
    PodTravel,
    PoseTrack,
    Session,
    StartPose,
    Stretch,
    TagKind,
)
from locbench.session.odometry_tables import read_heading
from locbench.session.reading import Examination, SessionFiles, examine_session, read_session
from locbench.session.table_times import TableName, TableTimes, read_table_times

__all__ = [
    "NO_TAG",
    "BodyIncrements",
    "BodyVelocities",
    "Detections",
    "EvidenceLevel",
    "Examination",
    "Finding",
    "FindingCode",
    "MarkVisits",
    "Measured",
    "OdometryLog",
    "PodTravel",
    "PoseTrack",
    "Session",
    "SessionFiles",
    "Severity",
    "StartPose",
    "Stretch",
    "TableName",
    "TableTimes",
    "TagKind",
    "believed_camera",
    "examine_session",
    "read_heading",
    "read_session",
    "read_table_times",
]
