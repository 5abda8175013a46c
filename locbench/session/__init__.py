"""A session folder: tables in, one clock, one frame, SI; what is wrong with them as typed findings."""

from locbench.session.findings import Finding, FindingCode, Severity
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
from locbench.session.reading import read_session

__all__ = [
    "NO_TAG",
    "BodyIncrements",
    "BodyVelocities",
    "Detections",
    "EvidenceLevel",
    "Finding",
    "FindingCode",
    "MarkVisits",
    "OdometryLog",
    "PodTravel",
    "PoseTrack",
    "Session",
    "Severity",
    "StartPose",
    "Stretch",
    "TagKind",
    "read_heading",
    "read_session",
]
