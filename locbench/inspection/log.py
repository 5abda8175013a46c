"""Everything that is wrong with a log itself, beyond what reading it finds."""

from collections.abc import Sequence

import numpy as np

from locbench.config import FusionConfig, SessionConfig
from locbench.inspection.counters import counter_faults, frozen_against_truth, motionless
from locbench.inspection.detections import detection_faults, excluded_detections
from locbench.inspection.diagnosis import Diagnosis
from locbench.inspection.stale import stale_detections
from locbench.inspection.tag_view import TagView, tag_view_diagnosis
from locbench.inspection.truth import truth_faults
from locbench.inspection.visits import visit_faults
from locbench.odometry import Motion
from locbench.session import Session

__all__ = ["log_faults"]

_MOVED_M = 0.5


def log_faults(
    session: Session,
    motion: Motion,
    config: SessionConfig,
    fusions: Sequence[FusionConfig],
    view: TagView | None,
) -> list[Diagnosis]:
    """Return what is wrong with the log, table by table; tables that share no time with it are named elsewhere.

    Parameters
    ----------
    session
        The log.
    motion
        Its odometry, measured.
    config
        Its session file, for the names of files and columns.
    fusions
        The fusion files it names.
    view
        How its detections cover the time, from `tag_view`; None without detections.
    """
    found = _odometry_faults(session, motion, config)
    if session.detections is not None and config.tags is not None:
        found += detection_faults(session.detections, session.field, session.truth, config.tags.file)
        found += excluded_detections(session.detections, fusions, config.tags.file)
        stale = stale_detections(session.detections, motion, config.tags.file)
        found += [] if stale is None else [stale]
        found += [] if view is None else [tag_view_diagnosis(view, motion, config.tags.file)]
    if session.marks is not None and config.marks is not None:
        found += visit_faults(session.marks, motion, config.marks.file)
    if session.truth is not None and config.truth is not None:
        found += truth_faults(session.truth, config.truth, motion, session.onboard, session.stretches, config)
    return found


def _odometry_faults(session: Session, motion: Motion, config: SessionConfig) -> list[Diagnosis]:
    still = motionless(motion, config, _moved_otherwise(session))
    if still:
        return still
    found = counter_faults(session.odometry, motion, session.robot, config)
    return found if session.truth is None else [*found, *frozen_against_truth(motion, session.truth, config)]


def _moved_otherwise(session: Session) -> bool:
    """Return whether truth, or visits of marks, say that the robot moved."""
    places = [track.pose[:, :2] for track in (session.truth, session.marks) if track is not None and len(track.pose)]
    return any(bool(np.max(np.ptp(place, axis=0)) > _MOVED_M) for place in places)
